/* The head. Only hal.h knows the board, only levelhead.h the protocol. */
#include "head.h"

#define FIRMWARE "example-head 1.0"

#define HELLO_EVERY_US 4000000u
#define STATUS_EVERY_US 1000000u
#define EVENT_AGAIN_US 25000u
#define DEBOUNCE_US 300000u /* SPEC.md 5.5: presses closer together are one */
#define SECOND_DHZ 10000000u /* microseconds times 0.1 Hz */
#define DS_US 100000u
#define LATE_PERIODS 200u /* so many samples behind, the head gives up catching up */

#define QUARTER_TURN 900000
#define HALF_TURN 1800000
#define COLD (-400000)
#define HOT 850000

static const uint16_t RATES_DHZ[] = {1000u, 500u, 2000u, 200u, 100u, 10u};

/* Rates stay 0, "not known": what the board gives may be slower than the samples. */
static const lh_channel CHANNELS[] = {
    {LH_INCL_X, LH_ELEVATION, 0u, -QUARTER_TURN, QUARTER_TURN},
    {LH_INCL_Y, LH_ELEVATION, 0u, -QUARTER_TURN, QUARTER_TURN},
    {LH_ROTATION, LH_CIRCULAR, 0u, -HALF_TURN, HALF_TURN - 1},
    {LH_AZIMUTH_CROSS, LH_CIRCULAR, 0u, -HALF_TURN, HALF_TURN - 1},
    {LH_AZIMUTH_TRACK, LH_CIRCULAR, 0u, -HALF_TURN, HALF_TURN - 1},
    {LH_TEMPERATURE, LH_CELSIUS, 0u, COLD, HOT},
};

#define COUNT(table) ((uint8_t)(sizeof(table) / sizeof((table)[0])))

static void put(void *context, uint8_t byte)
{
    (void)context;
    hal_put(byte);
}

/* Send a body, whole or not at all: half a frame would spoil the next one too. */
static bool say(const uint8_t *body, size_t size)
{
    if (size == 0u || hal_room() < LH_FRAME_ROOM(size)) {
        return false;
    }
    return lh_frame_to(put, NULL, body, size) > 0u;
}

static uint8_t flags_of(const head *h)
{
    return h->readings.locked ? (uint8_t)LH_LOCKED : 0u;
}

static uint8_t status_of(const head *h)
{
    return lh_status(h->boot.id, flags_of(h));
}

static bool say_hello(head *h, uint32_t now_us)
{
    uint8_t body[LH_HELLO_SIZE(COUNT(CHANNELS))];
    lh_hello hello = {{0}, 0u, FIRMWARE, 0u, LH_HANGING, false, CHANNELS, COUNT(CHANNELS)};
    unsigned i;

    for (i = 0u; i < LH_IDENTITY_SIZE; i++) {
        hello.head[i] = h->identity[i];
    }
    hello.boot = h->boot.id;
    hello.rate_dhz = h->control.rate_dhz;
    hello.streaming = h->control.streaming;
    h->hello_us = now_us + HELLO_EVERY_US;
    return say(body, lh_put_hello(body, sizeof body, &hello));
}

static void say_status(head *h, uint32_t now_us)
{
    uint8_t body[LH_STATUS_SIZE];
    int32_t code = h->readings.codes[LH_TEMPERATURE];
    lh_health health = {0u, 0u, 0u, INT16_MIN, 0u, 0u, 0u};

    health.status = status_of(h);
    health.battery_percent = hal_battery();
    health.t_us = now_us;
    if (code != LH_NO_VALUE) {
        health.temperature_cdegc = (int16_t)(code / 100);
    }
    health.sensor_errors = h->sensor_errors;
    health.samples_dropped = h->samples_dropped;
    health.frames_rejected = h->receiver.rejected;
    h->status_us = now_us + STATUS_EVERY_US;
    h->told_flags = flags_of(h);
    (void)say(body, lh_put_status(body, sizeof body, &health));
}

/* Take the next due time: the period is kept exact, to a tenth of a hertz and for ever. */
static void next_sample(head *h)
{
    uint32_t period_us = SECOND_DHZ / h->control.rate_dhz;

    h->sample_rest += SECOND_DHZ % h->control.rate_dhz;
    if (h->sample_rest >= h->control.rate_dhz) {
        h->sample_rest -= h->control.rate_dhz;
        period_us++;
    }
    h->sample_us += period_us;
}

static void send_sample(head *h, const lh_sample *sample)
{
    uint8_t first[LH_SAMPLE_SIZE];
    uint8_t second[LH_SAMPLE_SIZE];

    /* Both sets of a sample, or neither. */
    if (hal_room() < 2u * LH_FRAME_ROOM(LH_SAMPLE_SIZE)) {
        lh_count(&h->samples_dropped);
        return;
    }
    (void)say(first, lh_put_sample(first, sizeof first, 0u, sample));
    (void)say(second, lh_put_sample(second, sizeof second, 1u, sample));
}

/* The due sample, with what was read about its time; without values where nothing was, since an
 * old value may not be sent again (section 5.2, rule 2). */
static void take_sample(head *h, bool has_values)
{
    lh_sample sample;
    unsigned i;

    lh_boot_sample(&h->boot, flags_of(h), has_values ? h->readings.t_us : h->sample_us, &sample);
    if (has_values) {
        for (i = 0u; i < LH_CHANNELS; i++) {
            sample.codes[i] = h->readings.codes[i];
        }
        h->fresh = false;
    } else {
        lh_count(&h->sensor_errors);
    }
    send_sample(h, &sample);
    next_sample(h);
}

/* Number what could not be taken in time, so that the gap shows. */
static void skip_missed(head *h, uint32_t now_us)
{
    lh_sample missed;

    while (lh_due(now_us, h->sample_us + LATE_PERIODS * (SECOND_DHZ / h->control.rate_dhz))) {
        lh_boot_sample(&h->boot, 0u, now_us, &missed);
        lh_count(&h->samples_dropped);
        next_sample(h);
    }
}

/* Sensors have a pace of their own. A reading is for the sample whose time it is nearest to, so
 * that times never step back; also while the head catches up after it was held up. */
static void read_and_sample(head *h)
{
    uint32_t now_us = hal_time_us();
    uint32_t half_us = SECOND_DHZ / h->control.rate_dhz / 2u;
    bool due = h->control.streaming && lh_due(now_us, h->sample_us);
    bool came = false;

    if (!due || !h->fresh || !lh_due(h->readings.t_us, h->sample_us - half_us)) {
        came = hal_read(&h->readings);
        h->fresh = h->fresh || came;
    }
    if (!due) {
        return;
    }
    skip_missed(h, now_us);
    if (h->fresh && lh_due(h->readings.t_us, h->sample_us - half_us)) {
        take_sample(h, !lh_due(h->readings.t_us, h->sample_us + half_us));
    } else if (!came && lh_due(now_us, h->sample_us + half_us)) {
        take_sample(h, false);
    }
}

static void say_event(head *h, uint32_t now_us)
{
    uint8_t body[LH_EVENT_SIZE];

    (void)say(body, lh_put_event(body, sizeof body, &h->event));
    h->event_us = now_us + EVENT_AGAIN_US;
}

static void look_at_button(head *h, uint32_t now_us)
{
    if (!lh_due(now_us, h->settled_us) || h->readings.button == h->pressed) {
        return;
    }
    h->pressed = h->readings.button;
    if (h->pressed) {
        h->settled_us = now_us + DEBOUNCE_US;
        lh_boot_event(&h->boot, flags_of(h), now_us, LH_TAKE_STOP, &h->event);
        say_event(h, now_us);
        h->event_waits = true;
    }
}

static void obey(head *h, const lh_request *request)
{
    uint8_t answer[LH_ANSWER_SIZE];
    uint16_t rate_dhz = h->control.rate_dhz;
    bool streaming = h->control.streaming;
    size_t size = lh_obey(answer, sizeof answer, status_of(h), &h->control, request);
    uint32_t now_us = hal_time_us();

    if (h->control.rate_dhz != rate_dhz || h->control.streaming != streaming) {
        h->sample_us = now_us;
        h->sample_rest = 0u;
        h->fresh = false;
        next_sample(h);
    }
    if (h->control.hello_due) {
        h->control.hello_due = !say_hello(h, now_us);
    }
    if (h->control.identify_ds > 0u) {
        h->light_us = now_us + DS_US * h->control.identify_ds;
        h->control.identify_ds = 0u;
        h->lit = true;
        hal_light(true);
    }
    (void)say(answer, size);
}

static void hear_host(head *h)
{
    uint8_t pong[LH_PONG_SIZE];
    lh_request request;
    uint8_t byte;

    while (hal_get(&byte)) {
        if (!lh_receive(&h->receiver, byte, &request)) {
            continue;
        }
        if (request.type == LH_PING) {
            uint32_t received_us = hal_time_us();

            (void)say(pong, lh_put_pong(pong, sizeof pong, status_of(h), &request, received_us,
                                        hal_time_us()));
        } else {
            obey(h, &request);
        }
    }
}

void head_begin(head *h)
{
    uint32_t now_us = hal_time_us();
    unsigned i;

    lh_boot_begin(&h->boot, hal_new_boot());
    lh_receiver_begin(&h->receiver);
    hal_identity(h->identity);
    h->control.rates_dhz = RATES_DHZ;
    h->control.rates = COUNT(RATES_DHZ);
    h->control.rate_dhz = RATES_DHZ[0];
    h->control.streaming = true;
    h->sample_us = now_us;
    h->status_us = now_us;
    h->settled_us = now_us;
    for (i = 0u; i < HAL_CHANNELS; i++) {
        h->readings.codes[i] = LH_NO_VALUE;
    }
    hal_put(0u);
    (void)say_hello(h, now_us);
}

void head_run(head *h)
{
    uint32_t now_us;

    hear_host(h);
    read_and_sample(h);
    now_us = hal_time_us();
    look_at_button(h, now_us);
    if (h->event_waits && lh_due(now_us, h->event_us)) {
        h->event_waits = false;
        say_event(h, now_us);
    }
    if (lh_due(now_us, h->status_us) || flags_of(h) != h->told_flags) {
        say_status(h, now_us);
    }
    if (lh_due(now_us, h->hello_us)) {
        (void)say_hello(h, now_us);
    }
    if (h->lit && lh_due(now_us, h->light_us)) {
        h->lit = false;
        hal_light(false);
    }
}
