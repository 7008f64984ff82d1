/* Wire protocol 1.0 between a measuring head and its host: the head's side.
 *
 * Section numbers in the comments are those of ../SPEC.md, which is what counts. C99 and C11.
 * Nothing is allocated, nothing is global, no library is called. Functions that write take the
 * room that there is and return how many bytes they wrote, or 0 when something does not fit or
 * may not be sent; then nothing that was written is to be used.
 *
 * A head on a byte link writes a body (lh_put_...), wraps it (lh_frame) and sends that. A head
 * on Bluetooth LE sends the body as it is (section 11).
 */
#ifndef LEVELHEAD_H
#define LEVELHEAD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define LH_MAJOR 1u
#define LH_MINOR 0u

#define LH_BODY_MAX 512u
#define LH_CHANNELS 8u      /* channels that have a place in a sample */
#define LH_CHANNELS_MAX 16u /* entries in a hello */
#define LH_BATCH_MAX 25u
#define LH_FIRMWARE_SIZE 24u
#define LH_IDENTITY_SIZE 8u

#define LH_SAMPLE_SIZE 20u
#define LH_STATUS_SIZE 16u
#define LH_EVENT_SIZE 10u
#define LH_PONG_SIZE 12u
#define LH_ANSWER_SIZE 8u
#define LH_HELLO_SIZE(channels) (45u + 16u * (size_t)(channels))
#define LH_BATCH_SIZE(entries) (2u + LH_SAMPLE_SIZE * (size_t)(entries))

/* Room that the frame of a body needs at most: body, CRC, COBS, delimiter. */
#define LH_FRAME_ROOM(body) ((size_t)(body) + 4u + ((size_t)(body) + 4u + 253u) / 254u + 1u)

/* A channel without a fresh value. Codes are in 1e-4 degree (degree Celsius). */
#define LH_NO_VALUE (-8388608)

/* Channels by number (section 5.1); their place in lh_sample.codes. */
enum {
    LH_INCL_X = 0,
    LH_INCL_Y = 1,
    LH_ROTATION = 2,
    LH_AZIMUTH_CROSS = 3,
    LH_AZIMUTH_TRACK = 4,
    LH_STEER = 5,
    LH_TEMPERATURE = 6,
    LH_INCL_Z = 7
};

/* Kinds of channels (section 5.1). */
enum { LH_ELEVATION = 1, LH_CIRCULAR = 2, LH_CELSIUS = 3 };

/* Mountings (section 5.1). */
enum { LH_HANGING = 0, LH_FIXED = 1 };

/* Flags of the status byte (section 4). */
enum { LH_LOCKED = 0x01, LH_FAULT = 0x02 };

/* Event codes (section 5.5). */
enum { LH_TAKE_STOP = 1 };

/* What comes from a host: types of an lh_request (section 3). */
enum { LH_PING = 0xB3, LH_COMMAND = 0xB4 };

/* Ops of a command (section 5.7). */
enum { LH_IDENTIFY = 1, LH_RATE = 2, LH_START = 3, LH_STOP = 4, LH_HELLO = 5 };

/* Reasons of a refusal (section 5.8). */
enum {
    LH_OTHER = 0,
    LH_UNKNOWN = 1,
    LH_BAD_VALUE = 2,
    LH_BUSY = 3,
    LH_NOT_ALLOWED = 4,
    LH_NOT_NOW = 5
};

/* One channel of the hello. Rates in 0.1 Hz, 0: not known. Low and high in codes. */
typedef struct {
    uint8_t channel; /* LH_INCL_X to LH_INCL_Z */
    uint8_t kind;    /* that of the channel */
    uint16_t rate_dhz;
    int32_t low;
    int32_t high;
} lh_channel;

/* Who a head is, and what its samples mean (section 5.1). */
typedef struct {
    uint8_t head[LH_IDENTITY_SIZE]; /* the same for life, and its own */
    uint32_t boot;                  /* another one at each start */
    const char *firmware;           /* printable ASCII, at most 24 characters, ends with 0 */
    uint16_t rate_dhz;              /* samples in 0.1 Hz, 1 to 10000 */
    uint8_t mounting;
    bool streaming;
    const lh_channel *channels;
    uint8_t count;
} lh_hello;

/* What a head read at one instant (section 5.2). The codes of undeclared channels are
 * LH_NO_VALUE. */
typedef struct {
    uint8_t status; /* from lh_status */
    uint16_t seq;   /* counts all samples, those not sent too */
    uint32_t t_us;
    int32_t codes[LH_CHANNELS];
} lh_sample;

/* How a head is (section 5.4). */
typedef struct {
    uint8_t status;
    uint8_t battery_percent; /* 255: not known */
    uint32_t t_us;
    int16_t temperature_cdegc; /* 0.01 degree Celsius; -32768: not known */
    uint16_t sensor_errors;
    uint16_t samples_dropped;
    uint16_t frames_rejected;
} lh_health;

/* Somebody did something at the head (section 5.5). */
typedef struct {
    uint8_t status;
    uint16_t seq;
    uint32_t t_us;
    uint8_t code;
    uint8_t number; /* counts the events of this boot, wraps */
} lh_event;

/* What a host asks. id is the ping_id or the command_id; op and value are 0 for a ping. */
typedef struct {
    uint8_t type;
    uint8_t op;
    uint16_t id;
    uint16_t value;
} lh_request;

/* The status byte (section 4): flags, and the mark of the present boot. Reserved flags are
 * left out. */
uint8_t lh_status(uint32_t boot, uint8_t flags);

/* Add one to a counter that stops at 65535 (section 5.4, rule 1). */
void lh_count(uint16_t *counter);

/* One start of a head, and what it counts from then on. */
typedef struct {
    uint32_t id;    /* boot id, for the hello */
    uint16_t seq;   /* of the newest sample; 65535 before the first, which is number 0 */
    uint8_t events; /* number of the next event */
} lh_boot;

/* Begin a start of the head (section 5.1, rule 2). id is new at each start: one more than the
 * last one that is kept in memory that survives (keep it before anything is sent), else random. */
void lh_boot_begin(lh_boot *boot, uint32_t id);

/* Number a sample (section 5.2, rules 3 and 4): call it once for each sample that was due, also
 * for one that will not be sent. flags: LH_LOCKED, LH_FAULT. t_us: the instant that the values
 * describe, in microseconds. All codes become LH_NO_VALUE, for the head to fill in. */
void lh_boot_sample(lh_boot *boot, uint8_t flags, uint32_t t_us, lh_sample *sample);

/* Number an event that happened at t_us, in microseconds (section 5.5). Send what comes out
 * twice, at least 20 ms apart and unchanged. */
void lh_boot_event(lh_boot *boot, uint8_t flags, uint32_t t_us, uint8_t code, lh_event *event);

/* A circular code brought into -1800000 to 1799999 (section 5.2, rule 1). Any int32_t. */
int32_t lh_wrap(int32_t code);

/* Bodies of messages. room: bytes at body. Each returns the size of the body in bytes, or 0. */

/* The hello (section 5.1). 0 also when a receiver would not take it, or not all of its channels:
 * no identity, a text that is not printable or too long, a rate out of range, a channel twice,
 * of no known number, not of its kind, or with low above high. */
size_t lh_put_hello(uint8_t *body, size_t room, const lh_hello *hello);

/* Set 0 or 1 of a sample (section 5.2). A head with any channel of set 1 sends both, 0 first. A
 * code beyond 24 bits goes as LH_NO_VALUE. */
size_t lh_put_sample(uint8_t *body, size_t room, uint8_t set, const lh_sample *sample);

/* The status (section 5.4). 0 also for a battery above 100 % that is not 255. */
size_t lh_put_status(uint8_t *body, size_t room, const lh_health *health);

/* An event (section 5.5). 0 also for a code that is not LH_TAKE_STOP. */
size_t lh_put_event(uint8_t *body, size_t room, const lh_event *event);

/* The answer to a ping (section 5.6): when its last byte came, and when the first byte of the
 * answer goes out, in microseconds. */
size_t lh_put_pong(uint8_t *body, size_t room, uint8_t status, const lh_request *ping,
                   uint32_t received_us, uint32_t sent_us);

/* The answers to a command (section 5.8). value: what is in force, or the nearest possible, in
 * the unit of the op; 0 where there is none. lh_obey calls them for the usual head. */
size_t lh_put_ack(uint8_t *body, size_t room, uint8_t status, const lh_request *command,
                  uint16_t value);
size_t lh_put_refusal(uint8_t *body, size_t room, uint8_t status, const lh_request *command,
                      uint8_t reason, uint16_t value);

/* What commands act on (section 5.7). The head fills it in at its start, keeps to it, does what
 * is asked for and then clears that. */
typedef struct {
    const uint16_t *rates_dhz; /* all at which the head can sample exactly, in 0.1 Hz */
    uint8_t rates;             /* how many these are */
    uint16_t rate_dhz;         /* in force, 0.1 Hz */
    bool streaming;            /* in force */
    bool hello_due;            /* asked for: a hello, before the answer is sent */
    uint16_t identify_ds;      /* asked for: that the head shows itself so long, in 0.1 s */
} lh_control;

/* Carry out a command and write its answer (sections 5.7 and 5.8). With no room, or for what is
 * no command, nothing changes. Send the hello first if one became due (not on Bluetooth LE). Once
 * more with the same command answers again and changes nothing. A command that came over a link
 * that may not give any is answered by lh_put_refusal with LH_NOT_ALLOWED instead. */
size_t lh_obey(uint8_t *body, size_t room, uint8_t status, lh_control *control,
               const lh_request *command);

/* A batch in the making (section 5.3), in the caller's buffer. */
typedef struct {
    uint8_t *body;
    size_t room;
    uint8_t count;
} lh_batch;

/* Begin a batch in a buffer of room bytes (section 5.3). On Bluetooth LE room is at most the MTU
 * less 3. */
void lh_batch_begin(lh_batch *batch, uint8_t *body, size_t room);

/* Add one set of a sample (section 5.3); false when no more fits: send the batch, begin anew, add
 * again. For a head that has set 0 alone. */
bool lh_batch_add(lh_batch *batch, uint8_t set, const lh_sample *sample);

/* Add both sets of a sample, or neither: they belong into the same batch (section 5.3, rule 1). */
bool lh_batch_add_both(lh_batch *batch, const lh_sample *sample);

/* Finish a batch (section 5.3); its size in bytes, 0 when nothing is in it. */
size_t lh_batch_end(const lh_batch *batch);

/* Wrap a body for a byte link: COBS(body + CRC-32) + 00 (section 2). The frame may not overlap
 * the body. Send one byte 00 before the first frame after a start. Returns the size of the frame
 * in bytes, or 0 when it does not fit, or the body has not 1 to LH_BODY_MAX bytes. */
size_t lh_frame(uint8_t *frame, size_t room, const uint8_t *body, size_t size);

/* Where bytes go one at a time, as to the ring buffer of a UART. context is the caller's. */
typedef void (*lh_sink)(void *context, uint8_t byte);

/* The same without a buffer (section 2). The sink has to take all of it, at most
 * LH_FRAME_ROOM(size) bytes: see that there is room before. Returns how many went, or 0. */
size_t lh_frame_to(lh_sink sink, void *context, const uint8_t *body, size_t size);

/* What has come from a host on a byte link (sections 2 and 6). Bounded: of any message it keeps
 * six bytes. rejected is frames_rejected of the status; the rest is for lh_receive alone. */
typedef struct {
    uint32_t crc;
    uint16_t raw;     /* bytes since the last delimiter, up to one too many */
    uint16_t decoded; /* bytes after COBS */
    uint16_t rejected;
    uint8_t left; /* bytes to come in the present COBS block */
    uint8_t code; /* of the present COBS block, 0 before the first */
    uint8_t first[6];
    bool started; /* a delimiter has come since the link was opened */
} lh_receiver;

/* Begin at the start of the head (section 6, rule 2): the count of rejected frames begins at 0. */
void lh_receiver_begin(lh_receiver *receiver);

/* Take one byte; true when it completes a request, which is then filled in (section 6). Frames
 * that are dropped are counted in rejected, which stops at 65535. */
bool lh_receive(lh_receiver *receiver, uint8_t byte, lh_request *request);

/* Read a bare body of size bytes, as Bluetooth LE brings it (section 11); false when it is none
 * that a head takes. What a newer host appends is ignored (section 9). */
bool lh_read(const uint8_t *body, size_t size, lh_request *request);

/* A counter of ticks turned into microseconds that wrap at 2^32 (section 7). A tick lasts
 * us/ticks microseconds: 1/1 at 1 MHz, 1/25 at 25 MHz, 15625/512 at 32768 Hz. The fraction that
 * is left over is kept, so nothing drifts. Call it at least once while the counter goes round;
 * each 65535 ticks since the last call cost two divisions. */
typedef struct {
    uint32_t t_us;
    uint32_t rest;
    uint32_t last;
    uint32_t mask; /* all ones in the counter's width */
    uint16_t us;
    uint16_t ticks;
} lh_clock;

/* Begin at 0 us (section 7), with the counter at now. us or ticks of 0 are taken as 1. */
void lh_clock_begin(lh_clock *clock, uint32_t now, uint32_t mask, uint16_t us, uint16_t ticks);

/* The time in microseconds (section 7), with the counter at now. */
uint32_t lh_clock_us(lh_clock *clock, uint32_t now);

/* Whether a time has come (section 7): true from due_us on, for 2^31 us (35 minutes). */
bool lh_due(uint32_t now_us, uint32_t due_us);

#ifdef __cplusplus
}
#endif

#endif
