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

#define RESERVED 0u
#define UNIT_DEGREE 0x2763u
#define UNIT_CELSIUS 0x272Fu
#define EXPONENT 0xFCu /* -4 */
#define ENTRY_SIZE 16u
#define PLACES 4u /* codes in one set of a sample */
#define CODE_MAX 8388607
#define BATTERY_MAX 100u
#define BATTERY_NOT_KNOWN 255u
#define IDENTIFY_MAX 600u
#define RATE_MAX 10000u
#define HALF_TURN 1800000
#define TURN 3600000

#define CRC_SIZE 4u
#define CRC_BEGIN 0xFFFFFFFFu
#define CRC_SOUND 0xDEBB20E3u /* the register after data and its own CRC */
#define RAW_MAX 519u
#define BLOCK_FULL 0xFFu
#define BLOCK_MAX 254u /* bytes after the code */
#define PING_SIZE 4u
#define COMMAND_SIZE 6u

/* What the code below takes for granted; C99 has no static assertion. */
#define HOLDS(claim, is_so) typedef char claim[(is_so) ? 1 : -1]
HOLDS(a_full_batch_fits_a_body, LH_BATCH_SIZE(LH_BATCH_MAX) <= LH_BODY_MAX);
HOLDS(a_full_hello_fits_a_body, LH_HELLO_SIZE(LH_CHANNELS_MAX) <= LH_BODY_MAX);
HOLDS(the_longest_frame_is_that_of_a_full_body, LH_FRAME_ROOM(LH_BODY_MAX) == RAW_MAX + 1u);
HOLDS(a_receiver_keeps_a_whole_command, sizeof(((lh_receiver *)0)->first) >= COMMAND_SIZE);

/* Write the lowest bytes of a number, least significant first; return what comes after. */
static uint8_t *put(uint8_t *at, uint32_t number, unsigned bytes)
{
    for (; bytes > 0u; bytes--) {
        *at++ = (uint8_t)(number & 0xFFu);
        number >>= 8;
    }
    return at;
}

/* Write two bytes and a u16: the first four bytes of most messages are laid out so. */
static uint8_t *put_four(uint8_t *at, unsigned first, unsigned second, unsigned pair)
{
    return put(at, first | (second << 8) | ((uint32_t)pair << 16), 4u);
}

/* Read a u16 (section 1). */
static uint16_t get16(const uint8_t *at)
{
    return (uint16_t)(at[0] | (uint16_t)((uint16_t)at[1] << 8));
}

/* Take one byte into a CRC-32 (section 2, rule 2). Bit by bit: a table of 1 KB would be most of
 * this program, and at 921600 bit/s a Cortex-M3 of 25 MHz has 270 cycles a byte. */
static uint32_t crc_add(uint32_t crc, uint8_t byte)
{
    unsigned bit;

    crc ^= byte;
    for (bit = 0u; bit < 8u; bit++) {
        crc = (crc >> 1) ^ (0xEDB88320u & (0u - (crc & 1u)));
    }
    return crc;
}

void lh_count(uint16_t *counter)
{
    if (*counter < UINT16_MAX) {
        (*counter)++;
    }
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

/* Neither all 00 nor all FF (section 5.1). */
static bool is_identity(const uint8_t *head)
{
    unsigned ored = 0u;
    unsigned anded = 0xFFu;
    unsigned i;

    for (i = 0u; i < LH_IDENTITY_SIZE; i++) {
        ored |= head[i];
        anded &= head[i];
    }
    return ored != 0u && anded != 0xFFu;
}

/* 0.1 to 1000 Hz, in 0.1 Hz (section 8). */
static bool is_rate(uint16_t rate_dhz)
{
    return rate_dhz >= 1u && rate_dhz <= RATE_MAX;
}

/* The kind of a channel by its number (section 5.1). */
static unsigned kind_of(unsigned channel)
{
    if (channel == LH_TEMPERATURE) {
        return LH_CELSIUS;
    }
    return channel >= LH_ROTATION && channel <= LH_STEER ? LH_CIRCULAR : LH_ELEVATION;
}

/* Whether a receiver would take and use this channel (sections 5.1, rule 5, and 6, rule 1). */
static bool is_channel(const lh_channel *channel)
{
    return channel->channel < LH_CHANNELS && channel->kind == kind_of(channel->channel) &&
           channel->rate_dhz <= RATE_MAX && channel->low <= channel->high;
}

/* Whether all channels are sound, and none stands there twice (section 5.1). */
static bool are_channels(const lh_channel *channels, unsigned count)
{
    unsigned seen = 0u;
    unsigned i;

    for (i = 0u; i < count; i++) {
        unsigned bit;

        if (!is_channel(&channels[i])) {
            return false;
        }
        bit = 1u << channels[i].channel;
        if ((seen & bit) != 0u) {
            return false;
        }
        seen |= bit;
    }
    return true;
}

/* Write one entry of the hello (section 5.1). */
static uint8_t *put_channel(uint8_t *at, const lh_channel *channel)
{
    unsigned unit = channel->kind == LH_CELSIUS ? UNIT_CELSIUS : UNIT_DEGREE;

    at = put_four(at, channel->channel, channel->kind, unit);
    at = put_four(at, EXPONENT, RESERVED, channel->rate_dhz);
    at = put(at, (uint32_t)channel->low, 4u);
    return put(at, (uint32_t)channel->high, 4u);
}

/* Write the firmware's text, padded with 00 (section 5.1); NULL when it is too long or not
 * printable. */
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
    uint8_t *at;
    unsigned i;

    if (!is_identity(hello->head) || hello->mounting > LH_FIXED || !is_rate(hello->rate_dhz) ||
        !are_channels(hello->channels, hello->count) || room < LH_HELLO_SIZE(hello->count)) {
        return 0u;
    }
    at = put_four(body, TYPE_HELLO, LH_MAJOR, LH_MINOR | ((unsigned)hello->mounting << 8));
    for (i = 0u; i < LH_IDENTITY_SIZE; i++) {
        at = put(at, hello->head[i], 1u);
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
    return LH_HELLO_SIZE(hello->count);
}

/* Write a code as i24; one that does not fit is not to turn into another angle (section 5.2). */
static uint8_t *put_code(uint8_t *at, int32_t code)
{
    if (code < LH_NO_VALUE || code > CODE_MAX) {
        code = LH_NO_VALUE;
    }
    return put(at, (uint32_t)code, 3u);
}

size_t lh_put_sample(uint8_t *body, size_t room, uint8_t set, const lh_sample *sample)
{
    uint8_t *at;
    unsigned i;

    if (set > 1u || room < LH_SAMPLE_SIZE) {
        return 0u;
    }
    at = put_four(body, TYPE_SAMPLE + (unsigned)set, sample->status, sample->seq);
    at = put(at, sample->t_us, 4u);
    for (i = 0u; i < PLACES; i++) {
        at = put_code(at, sample->codes[PLACES * set + i]);
    }
    return LH_SAMPLE_SIZE;
}

size_t lh_put_status(uint8_t *body, size_t room, const lh_health *health)
{
    uint8_t *at;

    if (room < LH_STATUS_SIZE || (health->battery_percent > BATTERY_MAX &&
                                  health->battery_percent != BATTERY_NOT_KNOWN)) {
        return 0u;
    }
    /* The high byte of the battery is the reserved one. */
    at = put_four(body, TYPE_STATUS, health->status, health->battery_percent);
    at = put(at, health->t_us, 4u);
    at = put(at, (uint32_t)health->temperature_cdegc, 2u);
    at = put(at, health->sensor_errors, 2u);
    at = put(at, health->samples_dropped, 2u);
    (void)put(at, health->frames_rejected, 2u);
    return LH_STATUS_SIZE;
}

size_t lh_put_event(uint8_t *body, size_t room, const lh_event *event)
{
    uint8_t *at;

    if (room < LH_EVENT_SIZE || event->code != LH_TAKE_STOP) {
        return 0u;
    }
    at = put_four(body, TYPE_EVENT, event->status, event->seq);
    at = put(at, event->t_us, 4u);
    (void)put(at, event->code | ((uint32_t)event->number << 8), 2u);
    return LH_EVENT_SIZE;
}

size_t lh_put_pong(uint8_t *body, size_t room, uint8_t status, const lh_request *ping,
                   uint32_t received_us, uint32_t sent_us)
{
    uint8_t *at;

    if (room < LH_PONG_SIZE) {
        return 0u;
    }
    at = put_four(body, TYPE_PONG, status, ping->id);
    at = put(at, received_us, 4u);
    (void)put(at, sent_us, 4u);
    return LH_PONG_SIZE;
}

/* Write an acknowledge, whose reason is reserved, or a refusal (section 5.8). */
static size_t put_answer(uint8_t *body, size_t room, uint8_t status, const lh_request *command,
                         unsigned type, unsigned reason, uint16_t value)
{
    if (room < LH_ANSWER_SIZE) {
        return 0u;
    }
    body = put_four(body, type, status, command->id);
    (void)put_four(body, command->op, reason, value);
    return LH_ANSWER_SIZE;
}

size_t lh_put_ack(uint8_t *body, size_t room, uint8_t status, const lh_request *command,
                  uint16_t value)
{
    return put_answer(body, room, status, command, TYPE_ACK, RESERVED, value);
}

size_t lh_put_refusal(uint8_t *body, size_t room, uint8_t status, const lh_request *command,
                      uint8_t reason, uint16_t value)
{
    return put_answer(body, room, status, command, TYPE_REFUSAL, reason, value);
}

/* How far two numbers are apart. */
static unsigned distance(unsigned one, unsigned other)
{
    return one > other ? one - other : other - one;
}

/* The possible rate that lies nearest to a wanted one, in 0.1 Hz; 0 when there is none. */
static uint16_t nearest_rate(const lh_control *control, uint16_t wanted_dhz)
{
    unsigned least_dhz = UINT16_MAX;
    uint16_t nearest_dhz = 0u;
    unsigned i;

    for (i = 0u; i < control->rates; i++) {
        uint16_t rate_dhz = control->rates_dhz[i];
        unsigned off_dhz = distance(rate_dhz, wanted_dhz);

        if (is_rate(rate_dhz) && off_dhz < least_dhz) {
            least_dhz = off_dhz;
            nearest_dhz = rate_dhz;
        }
    }
    return nearest_dhz;
}

/* A duration that a head shows itself, brought into its range, in 0.1 s (section 5.7). */
static uint16_t nearest_duration(uint16_t wanted_ds)
{
    if (wanted_ds < 1u) {
        return 1u;
    }
    return wanted_ds > IDENTIFY_MAX ? (uint16_t)IDENTIFY_MAX : wanted_ds;
}

/* The value nearest to a command's that the head can do; 0 for ops without one. */
static uint16_t nearest_value(const lh_control *control, const lh_request *command)
{
    if (command->op == LH_IDENTIFY) {
        return nearest_duration(command->value);
    }
    return command->op == LH_RATE ? nearest_rate(control, command->value) : 0u;
}

/* Do what a command says, whose op and value are possible (section 5.7). Whatever may have
 * changed the hello calls for one, also the second time: the first may be what got lost. */
static void carry_out(lh_control *control, const lh_request *command)
{
    switch (command->op) {
    case LH_IDENTIFY:
        control->identify_ds = command->value;
        return;
    case LH_RATE:
        control->rate_dhz = command->value;
        break;
    case LH_START:
        control->streaming = true;
        break;
    case LH_STOP:
        control->streaming = false;
        break;
    default: /* LH_HELLO */
        break;
    }
    control->hello_due = true;
}

/* Whether the head can do what a command says (sections 5.7 and 5.8); nearest as above. */
static bool is_possible(const lh_request *command, uint16_t nearest)
{
    bool takes_value = command->op == LH_IDENTIFY || command->op == LH_RATE;

    return !takes_value || (nearest == command->value && nearest != 0u);
}

size_t lh_obey(uint8_t *body, size_t room, uint8_t status, lh_control *control,
               const lh_request *command)
{
    bool known = command->op >= LH_IDENTIFY && command->op <= LH_HELLO;
    uint16_t nearest = nearest_value(control, command);

    if (command->type != LH_COMMAND || room < LH_ANSWER_SIZE) {
        return 0u;
    }
    if (!known || !is_possible(command, nearest)) {
        uint8_t reason = known ? LH_BAD_VALUE : LH_UNKNOWN;

        return lh_put_refusal(body, room, status, command, reason, nearest);
    }
    carry_out(control, command);
    return lh_put_ack(body, room, status, command, nearest);
}

void lh_boot_begin(lh_boot *boot, uint32_t id)
{
    boot->id = id;
    boot->seq = UINT16_MAX;
    boot->events = 0u;
}

void lh_boot_sample(lh_boot *boot, uint8_t flags, uint32_t t_us, lh_sample *sample)
{
    unsigned i;

    boot->seq = (uint16_t)(boot->seq + 1u);
    sample->status = lh_status(boot->id, flags);
    sample->seq = boot->seq;
    sample->t_us = t_us;
    for (i = 0u; i < LH_CHANNELS; i++) {
        sample->codes[i] = LH_NO_VALUE;
    }
}

void lh_boot_event(lh_boot *boot, uint8_t flags, uint32_t t_us, uint8_t code, lh_event *event)
{
    event->status = lh_status(boot->id, flags);
    event->seq = boot->seq;
    event->t_us = t_us;
    event->code = code;
    event->number = boot->events;
    boot->events = (uint8_t)(boot->events + 1u);
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

bool lh_batch_add_both(lh_batch *batch, const lh_sample *sample)
{
    unsigned after = batch->count + 2u;

    if (after > LH_BATCH_MAX || batch->room < LH_BATCH_SIZE(after)) {
        return false;
    }
    return lh_batch_add(batch, 0u, sample) && lh_batch_add(batch, 1u, sample);
}

size_t lh_batch_end(const lh_batch *batch)
{
    return batch->count == 0u ? 0u : LH_BATCH_SIZE(batch->count);
}

/* A body with its CRC behind it, without a copy of either. */
typedef struct {
    const uint8_t *body;
    size_t size; /* of the body, bytes */
    uint32_t crc;
} payload;

/* Begin a payload: CRC-32 of the body (section 2, rule 2). */
static payload payload_of(const uint8_t *body, size_t size)
{
    payload whole = {body, size, CRC_BEGIN};
    size_t i;

    for (i = 0u; i < size; i++) {
        whole.crc = crc_add(whole.crc, body[i]);
    }
    whole.crc = ~whole.crc;
    return whole;
}

/* One byte of a payload. */
static uint8_t payload_byte(const payload *whole, size_t at)
{
    if (at < whole->size) {
        return whole->body[at];
    }
    return (uint8_t)((whole->crc >> (8u * (at - whole->size))) & 0xFFu);
}

/* How many bytes from a place on make one COBS block: up to a zero, the end, or 254. */
static size_t block_size(const payload *whole, size_t from)
{
    size_t left = whole->size + CRC_SIZE - from;
    size_t most = left < BLOCK_MAX ? left : BLOCK_MAX;
    size_t size = 0u;

    while (size < most && payload_byte(whole, from + size) != 0u) {
        size++;
    }
    return size;
}

size_t lh_frame_to(lh_sink sink, void *context, const uint8_t *body, size_t size)
{
    payload whole;
    size_t from = 0u;
    size_t sent = 0u;
    bool more = true;

    if (size == 0u || size > LH_BODY_MAX) {
        return 0u;
    }
    whole = payload_of(body, size);
    while (more) {
        size_t block = block_size(&whole, from);
        size_t i;

        sink(context, (uint8_t)(block + 1u));
        for (i = 0u; i < block; i++) {
            sink(context, payload_byte(&whole, from + i));
        }
        sent += block + 1u;
        from += block;
        more = from < size + CRC_SIZE;
        if (block < BLOCK_MAX) {
            from++; /* the zero that the code of the block stands for */
        }
    }
    sink(context, 0u);
    return sent + 1u;
}

/* A caller's buffer as a sink. */
typedef struct {
    uint8_t *frame;
    size_t room;
    size_t used;
} buffer;

/* Put a byte into a buffer, as long as there is room. */
static void buffer_put(void *context, uint8_t byte)
{
    buffer *into = context;

    if (into->used < into->room) {
        into->frame[into->used] = byte;
        into->used++;
    }
}

size_t lh_frame(uint8_t *frame, size_t room, const uint8_t *body, size_t size)
{
    buffer into = {frame, room, 0u};
    size_t needed = lh_frame_to(buffer_put, &into, body, size);

    return needed <= room ? needed : 0u;
}

bool lh_read(const uint8_t *body, size_t size, lh_request *request)
{
    bool ping = size >= PING_SIZE && body[0] == LH_PING;
    bool command = size >= COMMAND_SIZE && body[0] == LH_COMMAND;

    if (!ping && !command) {
        return false;
    }
    request->type = body[0];
    request->op = command ? body[1] : 0u;
    request->id = get16(body + 2);
    request->value = command ? get16(body + 4) : 0u;
    return true;
}

/* Begin after a delimiter (section 2). */
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

/* Take a byte of body and CRC; the first ones are all that a request has. */
static void take_decoded(lh_receiver *receiver, uint8_t byte)
{
    if (receiver->decoded < sizeof receiver->first) {
        receiver->first[receiver->decoded] = byte;
    }
    receiver->decoded++;
    receiver->crc = crc_add(receiver->crc, byte);
}

/* Take a byte that is no delimiter: the code of a COBS block, or a byte in one (section 2). */
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

    if (byte != 0u) {
        take_raw(receiver, byte);
        return false;
    }
    if (receiver->raw > 0u) {
        bool sound = is_sound(receiver);

        if (sound) {
            taken = lh_read(receiver->first, (size_t)receiver->decoded - CRC_SIZE, request);
        }
        /* Noise before the first delimiter is no fault (section 6, rule 2). */
        if (!taken && (sound || receiver->started)) {
            lh_count(&receiver->rejected);
        }
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
    clock->us = us > 0u ? us : 1u;
    clock->ticks = ticks > 0u ? ticks : 1u;
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
