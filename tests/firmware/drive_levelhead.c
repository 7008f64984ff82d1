/* Drives every function of levelhead.h, for a build with sanitizers.
 *
 *     drive_levelhead SEED ROUNDS < frames      one frame a line, in hexadecimal
 *
 * Every buffer is allocated with exactly the room that is stated, so that a byte too far is seen.
 * Prints how many requests the frames held; anything that is not as it should be ends it with 1.
 */
#include "levelhead.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define BYTES_MAX 4096u

static void expect(bool is_so, const char *what)
{
    if (!is_so) {
        (void)fprintf(stderr, "not so: %s\n", what);
        exit(1);
    }
}

/* xorshift32: the same numbers on every machine. */
static uint32_t drawn(uint32_t *state)
{
    *state ^= *state << 13;
    *state ^= *state >> 17;
    *state ^= *state << 5;
    return *state;
}

static void *room_of(size_t size)
{
    void *memory = malloc(size);

    expect(memory != NULL || size == 0u, "memory");
    return memory;
}

static void fill(uint32_t *state, uint8_t *bytes, size_t size)
{
    size_t i;

    for (i = 0u; i < size; i++) {
        bytes[i] = (uint8_t)(drawn(state) >> 9);
    }
}

/* How many requests there are in bytes between two delimiters. */
static unsigned heard(const uint8_t *bytes, size_t size)
{
    lh_receiver receiver;
    lh_request request;
    unsigned requests = 0u;
    size_t i;

    lh_receiver_begin(&receiver);
    (void)lh_receive(&receiver, 0u, &request);
    for (i = 0u; i < size; i++) {
        requests += lh_receive(&receiver, bytes[i], &request) ? 1u : 0u;
    }
    return requests + (lh_receive(&receiver, 0u, &request) ? 1u : 0u);
}

/* Read a line of hexadecimal digits; the size in bytes, 0 at the end. */
static size_t line_of(uint8_t *bytes)
{
    size_t size = 0u;
    unsigned byte;

    while (size < BYTES_MAX && scanf("%2x", &byte) == 1) {
        bytes[size++] = (uint8_t)byte;
        if (byte == 0u) {
            return size;
        }
    }
    return size;
}

static void counted(void *context, uint8_t byte)
{
    size_t *count = context;

    (void)byte;
    (*count)++;
}

/* Wrap a body into a buffer that may be too small, and into a sink. */
static void wrap(uint32_t *state, const uint8_t *body, size_t size)
{
    size_t room = drawn(state) % (LH_FRAME_ROOM(LH_BODY_MAX) + 1u);
    uint8_t *frame = room_of(room);
    size_t wrapped = lh_frame(frame, room, body, size);
    size_t count = 0u;

    expect(lh_frame_to(counted, &count, body, size) == count, "size of a frame to a sink");
    expect(wrapped == (count <= room ? count : 0u), "size of a frame");
    expect(count <= LH_FRAME_ROOM(size), "room of a frame");
    free(frame);
}

static void say_hello(uint32_t *state, uint8_t *body, size_t room)
{
    lh_channel channels[20];
    char firmware[28];
    lh_hello hello = {{0}, 0u, firmware, 1000u, LH_HANGING, true, channels, 0u};

    fill(state, (uint8_t *)channels, sizeof channels);
    fill(state, hello.head, sizeof hello.head);
    (void)memset(firmware, '7', sizeof firmware);
    firmware[drawn(state) % sizeof firmware] = '\0';
    firmware[sizeof firmware - 1u] = '\0';
    hello.count = (uint8_t)(drawn(state) % 20u);
    if (hello.count <= LH_CHANNELS) {
        unsigned i;

        for (i = 0u; i < hello.count; i++) {
            channels[i].channel = (uint8_t)i;
            channels[i].kind = i == LH_TEMPERATURE ? LH_CELSIUS : LH_CIRCULAR;
            channels[i].kind = i < LH_ROTATION || i > LH_TEMPERATURE ? LH_ELEVATION : channels[i].kind;
            channels[i].rate_dhz %= 10001u;
            channels[i].low = -1 - (channels[i].high & 0x7FFF);
            channels[i].high &= 0x7FFF;
        }
    }
    if (lh_put_hello(body, room, &hello) != 0u) {
        expect(room >= LH_HELLO_SIZE(hello.count), "room of a hello");
    }
}

static void say_batch(uint32_t *state, uint8_t *body, size_t room, const lh_sample *sample)
{
    lh_batch batch;
    unsigned i;

    lh_batch_begin(&batch, body, room);
    for (i = drawn(state) % 30u; i > 0u; i--) {
        if ((drawn(state) & 1u) != 0u) {
            (void)lh_batch_add(&batch, (uint8_t)(drawn(state) % 3u), sample);
        } else {
            (void)lh_batch_add_both(&batch, sample);
        }
    }
    expect(lh_batch_end(&batch) <= room, "room of a batch");
}

static void say_all(uint32_t *state, const lh_request *request)
{
    static const uint16_t rates[] = {100u, 1000u, 65535u};
    size_t room = drawn(state) % (LH_BODY_MAX + 1u);
    uint8_t *body = room_of(room);
    uint8_t status = (uint8_t)(drawn(state) & 0xFFu);
    lh_control control = {rates, 3u, 100u, true, false, 0u};
    lh_boot boot;
    lh_sample sample;
    lh_health health;
    lh_event event;

    lh_boot_begin(&boot, drawn(state));
    lh_boot_sample(&boot, status, drawn(state), &sample);
    fill(state, (uint8_t *)sample.codes, sizeof sample.codes);
    lh_boot_event(&boot, status, drawn(state), LH_TAKE_STOP, &event);
    fill(state, (uint8_t *)&health, sizeof health);
    expect(lh_put_sample(body, room, status % 3u, &sample) <= room, "sample");
    expect(lh_put_status(body, room, &health) <= room, "status");
    expect(lh_put_event(body, room, &event) <= room, "event");
    expect(lh_put_pong(body, room, status, request, drawn(state), drawn(state)) <= room, "pong");
    expect(lh_put_ack(body, room, status, request, 7u) <= room, "ack");
    expect(lh_put_refusal(body, room, status, request, LH_BUSY, 7u) <= room, "refusal");
    expect(lh_obey(body, room, status, &control, request) <= room, "answer");
    say_hello(state, body, room);
    say_batch(state, body, room, &sample);
    free(body);
}

/* Ask with random bytes, wrapped and bare. */
static void ask(uint32_t *state)
{
    static const uint8_t types[] = {LH_PING, LH_COMMAND, 0x10u, 0x30u};
    lh_request request = {0u, 0u, 0u, 0u};
    size_t size = drawn(state) % (LH_BODY_MAX + 2u);
    uint8_t *body = room_of(size);

    fill(state, body, size);
    if (size > 0u) {
        body[0] = types[drawn(state) % sizeof types];
    }
    (void)lh_read(body, size, &request);
    request.op %= 7u;
    wrap(state, body, size);
    say_all(state, &request);
    (void)heard(body, size);
    free(body);
}

static void keep_time(uint32_t *state)
{
    lh_clock clock;
    unsigned i;

    lh_clock_begin(&clock, drawn(state), drawn(state), (uint16_t)(drawn(state) >> 16),
                   (uint16_t)(drawn(state) >> 16));
    for (i = 0u; i < 3u; i++) {
        uint32_t now_us = lh_clock_us(&clock, clock.last + drawn(state) % 1000000u);

        expect(lh_due(now_us, now_us), "what is now is due");
    }
    lh_count(&clock.ticks);
    expect(lh_status(clock.t_us, 0xFFu) == (uint8_t)((clock.t_us << 5 & 0xFFu) | 3u), "a status");
    expect(lh_wrap((int32_t)(drawn(state) >> 1)) < 1800000, "an angle within a turn");
    expect(lh_wrap(INT32_MIN) >= -1800000, "an angle within a turn");
}

/* How many requests a frame holds; none where it is cut short or has a wrong bit. */
static unsigned heard_whole(uint8_t *frame, size_t size)
{
    size_t at;

    for (at = 0u; at + 1u < size; at++) {
        uint8_t bit = (uint8_t)(1u << (at % 8u));

        expect(heard(frame, at) == 0u, "nothing is heard from a part of a frame");
        frame[at] ^= bit;
        expect(heard(frame, size) == 0u, "nothing is heard from a frame with a wrong bit");
        frame[at] ^= bit;
    }
    return heard(frame, size);
}

int main(int count, char **words)
{
    uint8_t *bytes = room_of(BYTES_MAX);
    unsigned requests = 0u;
    uint32_t state;
    unsigned long rounds;
    size_t size;

    expect(count == 3, "usage: drive_levelhead SEED ROUNDS < frames");
    state = (uint32_t)strtoul(words[1], NULL, 10);
    for (size = line_of(bytes); size > 0u; size = line_of(bytes)) {
        requests += heard_whole(bytes, size);
    }
    for (rounds = strtoul(words[2], NULL, 10); rounds > 0u; rounds--) {
        ask(&state);
        keep_time(&state);
    }
    free(bytes);
    (void)printf("%u\n", requests);
    return 0;
}
