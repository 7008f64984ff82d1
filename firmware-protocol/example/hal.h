/* What the head needs of its board. Port these functions, and the head runs on yours. */
#ifndef HAL_H
#define HAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define HAL_CHANNELS 8u

/* What the sensors gave at one instant: codes in the order of the protocol's channels (1e-4
 * degree, 1e-4 degree Celsius), LH_NO_VALUE where there is none. */
typedef struct {
    uint32_t t_us; /* when they were read, by hal_time_us; later than those before */
    int32_t codes[HAL_CHANNELS];
    bool locked; /* the head cannot swing on its shaft */
    bool button; /* held down now */
} hal_readings;

/* Start clocks, pins and lines. Called once, first of all. */
void hal_begin(void);

/* Microseconds since the start. Wraps at 2^32, and never stops or steps between two starts. */
uint32_t hal_time_us(void);

/* The newest readings; false when the sensors gave none since the last call. */
bool hal_read(hal_readings *readings);

/* The next byte from the host; false when there is none. */
bool hal_get(uint8_t *byte);

/* How many bytes hal_put takes now without waiting. */
size_t hal_room(void);

/* Queue a byte for the host. */
void hal_put(uint8_t byte);

/* The head's own eight bytes: the same for its life, and no other's. */
void hal_identity(uint8_t identity[8]);

/* A boot id that is new at each start; the board remembers it. Called once per start. */
uint32_t hal_new_boot(void);

/* The battery in percent; 255 when the board cannot tell. */
uint8_t hal_battery(void);

/* A light that a person sees. */
void hal_light(bool on);

/* Sleep until anything may have happened; a millisecond at most. */
void hal_wait(void);

#endif
