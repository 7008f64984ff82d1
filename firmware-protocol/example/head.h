/* A measuring head: samples, button, status, commands. See README.md. */
#ifndef HEAD_H
#define HEAD_H

#include "../c/levelhead.h"
#include "hal.h"

/* Everything that a head remembers while it runs. */
typedef struct {
    lh_boot boot;
    lh_control control;
    lh_receiver receiver;
    uint8_t identity[LH_IDENTITY_SIZE];
    hal_readings readings;
    bool fresh;             /* readings came, and no sample has them yet */
    uint32_t sample_us;     /* when the next sample is due */
    uint32_t sample_rest;   /* what whole microseconds leave over of its period */
    uint32_t hello_us;      /* when the next hello is due */
    uint32_t status_us;     /* when the next status is due */
    uint32_t light_us;      /* when the light goes out */
    bool lit;
    bool pressed;           /* the button as debounced */
    uint32_t settled_us;    /* before this, the button is not looked at */
    lh_event event;         /* to be said a second time */
    bool event_waits;
    uint32_t event_us;
    uint16_t sensor_errors;
    uint16_t samples_dropped;
    uint8_t told_flags;
} head;

/* Start the head: a delimiter and the hello go out first. */
void head_begin(head *h);

/* Do all that is due. Call it over and over. */
void head_run(head *h);

#endif
