/* See levelhead.h, and ../SPEC.md for the protocol itself. */
#include "levelhead.h"

enum {
    TYPE_SAMPLE = 0x10,
    TYPE_BATCH = 0x20,
    TYPE_HELLO = 0x30,
    TYPE_STATUS = 0x31,
    TYPE_EVENT = 0x32,
    TYPE_PONG = 0x33,
    TYPE_ACK = 0x34,
    TYPE_REFUSAL = 0x35
};

#define UNIT_DEGREE 0x2763u
#define UNIT_CELSIUS 0x272Fu
#define EXPONENT 0xFCu /* -4 */
#define ENTRY_SIZE 16u
#define RATE_MAX 10000u
#define HALF_TURN 1800000
#define TURN 3600000

#define CRC_SIZE 4u
#define CRC_BEGIN 0xFFFFFFFFu
#define CRC_SOUND 0xDEBB20E3u /* the register after data and its own CRC */
#define RAW_MAX 519u
#define BLOCK_FULL 0xFFu

/* Write the lowest bytes of a number, least significant first; return what comes after. */
static uint8_t *put(uint8_t *at, uint32_t number, unsigned bytes)
{
    for (; bytes > 0u; bytes--) {
        *at++ = (uint8_t)(number & 0xFFu);
        number >>= 8;
    }
    return at;
}

static uint16_t get16(const uint8_t *at)
{
    return (uint16_t)(at[0] | (uint16_t)((uint16_t)at[1] << 8));
}

/* Bitwise: a table would be four times as long as all else in this file is worth. */
static uint32_t crc_add(uint32_t crc, uint8_t byte)
{
    unsigned bit;

    crc ^= byte;
    for (bit = 0u; bit < 8u; bit++) {
        crc = (crc >> 1) ^ (0xEDB88320u & (0u - (crc & 1u)));
    }
    return crc;
}

uint8_t lh_status(uint32_t boot, uint8_t flags)
{
    return (uint8_t)(((boot & 7u) << 5) | (flags & (LH_LOCKED | LH_FAULT)));
}

int32_t lh_wrap(int32_t code)
{
    code %= TURN;
    if (code < -HALF_TURN) {
        code += TURN;
    } else if (code >= HALF_TURN) {
        code -= TURN;
    }
    return code;
}

/* Section 5.1: all that a receiver would reject is refused here. */
static bool hello_is_sound(const lh_hello *hello)
{
    unsigned all_or = 0u;
    unsigned all_and = 0xFFu;
    unsigned i;
    unsigned j;

    for (i = 0u; i < LH_IDENTITY_SIZE; i++) {
        all_or |= hello->head[i];
        all_and &= hello->head[i];
    }
    if (all_or == 0u || all_and == 0xFFu || hello->mounting > LH_FIXED) {
        return false;
    }
    if (hello->rate_dhz == 0u || hello->rate_dhz > RATE_MAX || hello->count > LH_CHANNELS_MAX) {
        return false;
    }
    for (i = 0u; i < hello->count; i++) {
        if (hello->channels[i].low > hello->channels[i].high) {
            return false;
        }
        for (j = 0u; j < i; j++) {
            if (hello->channels[j].channel == hello->channels[i].channel) {
                return false;
            }
        }
    }
    return true;
}

static uint8_t *put_channel(uint8_t *at, const lh_channel *channel)
{
    at = put(at, channel->channel, 1u);
    at = put(at, channel->kind, 1u);
    at = put(at, channel->kind == LH_CELSIUS ? UNIT_CELSIUS : UNIT_DEGREE, 2u);
    at = put(at, EXPONENT, 2u); /* and the reserved byte */
    at = put(at, channel->rate_dhz, 2u);
    at = put(at, (uint32_t)channel->low, 4u);
    return put(at, (uint32_t)channel->high, 4u);
}

/* Write the firmware's text, padded with 00; NULL when it is no text or too long. */
static uint8_t *put_text(uint8_t *at, const char *text)
{
    unsigned i;

    for (i = 0u; i < LH_FIRMWARE_SIZE; i++) {
        char letter = *text;

        if (letter != '\0') {
            if (letter < ' ' || letter > '~') {
                return NULL;
            }
            text++;
        }
        *at++ = (uint8_t)letter;
    }
    return *text == '\0' ? at : NULL;
}

size_t lh_put_hello(uint8_t *body, size_t room, const lh_hello *hello)
{
    uint8_t *at = body;
    unsigned i;

    if (!hello_is_sound(hello) || room < LH_HELLO_SIZE(hello->count)) {
        return 0u;
    }
    at = put(at, TYPE_HELLO, 1u);
    at = put(at, LH_MAJOR, 1u);
    at = put(at, LH_MINOR, 1u);
    at = put(at, hello->mounting, 1u);
    for (i = 0u; i < LH_IDENTITY_SIZE; i++) {
        *at++ = hello->head[i];
    }
    at = put(at, hello->boot, 4u);
    at = put_text(at, hello->firmware);
    if (at == NULL) {
        return 0u;
    }
    at = put(at, hello->rate_dhz, 2u);
    at = put(at, hello->streaming ? 1u : 0u, 1u);
    at = put(at, hello->count, 1u);
    at = put(at, ENTRY_SIZE, 1u);
    for (i = 0u; i < hello->count; i++) {
        at = put_channel(at, &hello->channels[i]);
    }
    return (size_t)(at - body);
}

size_t lh_put_sample(uint8_t *body, size_t room, uint8_t set, const lh_sample *sample)
{
    uint8_t *at = body;
    unsigned i;

    if (set > 1u || room < LH_SAMPLE_SIZE) {
        return 0u;
    }
    at = put(at, (uint32_t)TYPE_SAMPLE + set, 1u);
    at = put(at, sample->status, 1u);
    at = put(at, sample->seq, 2u);
    at = put(at, sample->t_us, 4u);
    for (i = 0u; i < 4u; i++) {
        at = put(at, (uint32_t)sample->codes[4u * set + i], 3u);
    }
    return LH_SAMPLE_SIZE;
}

size_t lh_put_status(uint8_t *body, size_t room, const lh_health *health)
{
    uint8_t *at = body;

    if (room < LH_STATUS_SIZE || (health->battery_percent > 100u && health->battery_percent != 255u)) {
        return 0u;
    }
    at = put(at, TYPE_STATUS, 1u);
    at = put(at, health->status, 1u);
    at = put(at, health->battery_percent, 2u); /* and the reserved byte */
    at = put(at, health->t_us, 4u);
    at = put(at, (uint32_t)health->temperature_cdegc, 2u);
    at = put(at, health->sensor_errors, 2u);
    at = put(at, health->samples_dropped, 2u);
    (void)put(at, health->frames_rejected, 2u);
    return LH_STATUS_SIZE;
}

size_t lh_put_event(uint8_t *body, size_t room, const lh_event *event)
{
    uint8_t *at = body;

    if (room < LH_EVENT_SIZE) {
        return 0u;
    }
    at = put(at, TYPE_EVENT, 1u);
    at = put(at, event->status, 1u);
    at = put(at, event->seq, 2u);
    at = put(at, event->t_us, 4u);
    at = put(at, event->code, 1u);
    (void)put(at, event->number, 1u);
    return LH_EVENT_SIZE;
}

size_t lh_put_pong(uint8_t *body, size_t room, uint8_t status, const lh_request *ping,
                   uint32_t received_us, uint32_t sent_us)
{
    uint8_t *at = body;

    if (room < LH_PONG_SIZE) {
        return 0u;
    }
    at = put(at, TYPE_PONG, 1u);
    at = put(at, status, 1u);
    at = put(at, ping->id, 2u);
    at = put(at, received_us, 4u);
    (void)put(at, sent_us, 4u);
    return LH_PONG_SIZE;
}

static size_t put_answer(uint8_t *body, size_t room, uint8_t status, const lh_request *command,
                         uint32_t type_and_reason, uint16_t value)
{
    uint8_t *at = body;

    if (room < LH_ANSWER_SIZE) {
        return 0u;
    }
    at = put(at, type_and_reason, 1u);
    at = put(at, status, 1u);
    at = put(at, command->id, 2u);
    at = put(at, command->op, 1u);
    at = put(at, type_and_reason >> 8, 1u);
    (void)put(at, value, 2u);
    return LH_ANSWER_SIZE;
}

size_t lh_put_ack(uint8_t *body, size_t room, uint8_t status, const lh_request *command,
                  uint16_t value)
{
    return put_answer(body, room, status, command, TYPE_ACK, value);
}

size_t lh_put_refusal(uint8_t *body, size_t room, uint8_t status, const lh_request *command,
                      uint8_t reason, uint16_t value)
{
    return put_answer(body, room, status, command, TYPE_REFUSAL | ((uint32_t)reason << 8), value);
}

void lh_batch_begin(lh_batch *batch, uint8_t *body, size_t room)
{
    batch->body = body;
    batch->room = room;
    batch->count = 0u;
}

bool lh_batch_add(lh_batch *batch, uint8_t set, const lh_sample *sample)
{
    size_t used = LH_BATCH_SIZE(batch->count);

    if (batch->count >= LH_BATCH_MAX || batch->room < used) {
        return false;
    }
    if (lh_put_sample(batch->body + used, batch->room - used, set, sample) == 0u) {
        return false;
    }
    batch->count++;
    batch->body[0] = TYPE_BATCH;
    batch->body[1] = batch->count;
    return true;
}

size_t lh_batch_end(const lh_batch *batch)
{
    return batch->count == 0u ? 0u : LH_BATCH_SIZE(batch->count);
}

size_t lh_frame(uint8_t *frame, size_t room, const uint8_t *body, size_t size)
{
    uint32_t crc = CRC_BEGIN;
    size_t code_at = 0u;
    size_t at = 1u;
    uint8_t code = 1u;
    size_t i;

    if (size == 0u || size > LH_BODY_MAX || room < LH_FRAME_ROOM(size)) {
        return 0u;
    }
    for (i = 0u; i < size; i++) {
        crc = crc_add(crc, body[i]);
    }
    crc = ~crc;
    for (i = 0u; i < size + CRC_SIZE; i++) {
        uint8_t byte = i < size ? body[i] : (uint8_t)((crc >> (8u * (i - size))) & 0xFFu);

        if (code == BLOCK_FULL) { /* and there is more: a full block stands for no zero */
            frame[code_at] = code;
            code_at = at++;
            code = 1u;
        }
        if (byte != 0u) {
            frame[at++] = byte;
            code++;
        } else {
            frame[code_at] = code;
            code_at = at++;
            code = 1u;
        }
    }
    frame[code_at] = code;
    frame[at++] = 0u;
    return at;
}

bool lh_read(const uint8_t *body, size_t size, lh_request *request)
{
    bool ping = size >= 4u && body[0] == LH_PING;
    bool command = size >= 6u && body[0] == LH_COMMAND;

    if (!ping && !command) {
        return false;
    }
    request->type = body[0];
    request->op = command ? body[1] : 0u;
    request->id = get16(body + 2);
    request->value = command ? get16(body + 4) : 0u;
    return true;
}

static void next_frame(lh_receiver *receiver)
{
    receiver->crc = CRC_BEGIN;
    receiver->raw = 0u;
    receiver->decoded = 0u;
    receiver->left = 0u;
    receiver->code = 0u;
}

void lh_receiver_begin(lh_receiver *receiver)
{
    next_frame(receiver);
    receiver->rejected = 0u;
    receiver->started = false;
}

static void take_decoded(lh_receiver *receiver, uint8_t byte)
{
    if (receiver->decoded < sizeof receiver->first) {
        receiver->first[receiver->decoded] = byte;
    }
    receiver->decoded++;
    receiver->crc = crc_add(receiver->crc, byte);
}

/* Take a byte that is no delimiter: the code of a block, or a byte in one. */
static void take_raw(lh_receiver *receiver, uint8_t byte)
{
    if (receiver->raw > RAW_MAX) {
        return; /* too long already: wait for the delimiter */
    }
    receiver->raw++;
    if (receiver->left > 0u) {
        receiver->left--;
        take_decoded(receiver, byte);
        return;
    }
    if (receiver->code != 0u && receiver->code != BLOCK_FULL) {
        take_decoded(receiver, 0u);
    }
    receiver->code = byte;
    receiver->left = (uint8_t)(byte - 1u);
}

/* Section 6, rule 1, at a delimiter. */
static bool is_sound(const lh_receiver *receiver)
{
    return receiver->raw <= RAW_MAX && receiver->left == 0u && receiver->decoded > CRC_SIZE &&
           receiver->crc == CRC_SOUND;
}

bool lh_receive(lh_receiver *receiver, uint8_t byte, lh_request *request)
{
    bool taken = false;
    bool fault;

    if (byte != 0u) {
        take_raw(receiver, byte);
        return false;
    }
    fault = receiver->raw > 0u;
    if (fault && is_sound(receiver)) {
        size_t size = (size_t)receiver->decoded - CRC_SIZE;

        taken = lh_read(receiver->first, size, request);
        fault = !taken;
    }
    /* What came before the first delimiter may be noise: it is no fault (section 6, rule 2). */
    if (fault && receiver->started && receiver->rejected < UINT16_MAX) {
        receiver->rejected++;
    }
    receiver->started = true;
    next_frame(receiver);
    return taken;
}

void lh_clock_begin(lh_clock *clock, uint32_t now, uint32_t mask, uint16_t us, uint16_t ticks)
{
    clock->t_us = 0u;
    clock->rest = 0u;
    clock->last = now & mask;
    clock->mask = mask;
    clock->us = us;
    clock->ticks = ticks;
}

uint32_t lh_clock_us(lh_clock *clock, uint32_t now)
{
    uint32_t passed = (now - clock->last) & clock->mask;

    clock->last = now & clock->mask;
    while (passed > 0u) { /* in steps whose product fits 32 bits */
        uint32_t step = passed > UINT16_MAX ? UINT16_MAX : passed;
        uint32_t sum = step * clock->us;
        uint32_t whole = sum / clock->ticks;

        clock->rest += sum % clock->ticks;
        if (clock->rest >= clock->ticks) {
            clock->rest -= clock->ticks;
            whole++;
        }
        clock->t_us += whole;
        passed -= step;
    }
    return clock->t_us;
}

bool lh_due(uint32_t now_us, uint32_t due_us)
{
    return ((now_us - due_us) & 0x80000000u) == 0u;
}
