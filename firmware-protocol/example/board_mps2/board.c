/* The head's board: an Arm MPS2 with a Cortex-M3 (AN385), as an emulator plays it.
 *
 * UART0 is the line to the host. UART1 brings what the sensors read, in records of 36 bytes:
 *
 *   A5  flags (bit 0: swivel locked, bit 1: button down)  period in ms
 *   8 codes of i32, little-endian  sum
 *
 * where sum is that of all bytes before it, modulo 256. Whoever feeds them sends each a little
 * before its time; here one is taken every period, so that the feeder's own unrest does not
 * show. A real board has sensors instead, and none of this.
 *
 * The last KiB of the RAM stands for what a real board has in fuses and flash: the identity and a
 * random word, which the emulator puts there at each start of the machine, and the boot count,
 * which nothing clears.
 */
#include "../head.h"

#define REG(address) (*(volatile uint32_t *)(address))

#define UART0 0x40004000u
#define UART1 0x40005000u
#define DATA 0x00u
#define STATE 0x04u
#define CTRL 0x08u
#define INTCLEAR 0x0Cu
#define BAUDDIV 0x10u
#define STATE_TX_FULL 0x1u
#define STATE_RX_FULL 0x2u
#define CTRL_ON 0xBu /* send, receive, interrupt on receive */
#define INT_RX 0x2u
#define IRQ_UART0_RX 0u
#define IRQ_UART1_RX 2u

#define TIMER_CTRL 0x40000000u
#define TIMER_VALUE 0x40000004u
#define TIMER_RELOAD 0x40000008u

#define SYST_CSR 0xE000E010u
#define SYST_RVR 0xE000E014u
#define SYST_CVR 0xE000E018u
#define NVIC_ISER 0xE000E100u
#define TICKS_PER_MS 25000u
#define TICKS_PER_US 25u

#define KEPT 0x2003FC00u
#define KEPT_IDENTITY (KEPT + 0x00u)
#define KEPT_RANDOM (KEPT + 0x08u)
#define KEPT_MAGIC (KEPT + 0x10u)
#define KEPT_BOOT (KEPT + 0x14u)
#define KEPT_CHECK (KEPT + 0x18u)
#define MAGIC 0x4C48B007u

#define MARK 0xA5u
#define RECORD_SIZE 36u
#define WAITING 64u /* records that may wait for their time; the oldest goes first */

/* One writer, one reader: an interrupt may fill what the head empties. */
typedef struct {
    volatile uint16_t head;
    volatile uint16_t tail;
    uint16_t size;
    uint8_t *bytes;
} ring;

/* To the host there is room for a second and a half: a busy host misses nothing. */
static uint8_t room_from_host[256];
static uint8_t room_from_sensors[1024];
static uint8_t room_to_host[16384];
static ring from_host = {0u, 0u, sizeof room_from_host, room_from_host};
static ring from_sensors = {0u, 0u, sizeof room_from_sensors, room_from_sensors};
static ring to_host = {0u, 0u, sizeof room_to_host, room_to_host};
static lh_clock clock;
static uint8_t record[RECORD_SIZE];
static uint8_t record_size;
static hal_readings waiting[WAITING];
static uint8_t waiting_from;
static uint8_t waiting_count;
static uint32_t taken_us; /* the time of the record that was taken last */
static uint32_t period_us;
static bool starved = true; /* a record was due and had not come: its rhythm begins anew */

static bool ring_put(ring *r, uint8_t byte)
{
    uint16_t next = (uint16_t)((r->head + 1u) % r->size);

    if (next == r->tail) {
        return false;
    }
    r->bytes[r->head] = byte;
    r->head = next;
    return true;
}

static bool ring_get(ring *r, uint8_t *byte)
{
    if (r->head == r->tail) {
        return false;
    }
    *byte = r->bytes[r->tail];
    r->tail = (uint16_t)((r->tail + 1u) % r->size);
    return true;
}

static void receive(uint32_t uart, ring *r)
{
    REG(uart + INTCLEAR) = INT_RX; /* first: a byte that comes meanwhile must ask again */
    while ((REG(uart + STATE) & STATE_RX_FULL) != 0u) {
        (void)ring_put(r, (uint8_t)REG(uart + DATA));
    }
}

void on_uart0_rx(void);
void on_uart1_rx(void);
void on_systick(void);

void on_uart0_rx(void)
{
    receive(UART0, &from_host);
}

void on_uart1_rx(void)
{
    receive(UART1, &from_sensors);
}

void on_systick(void)
{
    /* It only ends the sleep. Time is never counted in interrupts: one that is missed would make
     * the head's clock slow. */
}

/* Ticks of 25 MHz; the timer counts down. */
static uint32_t timer_now(void)
{
    return ~REG(TIMER_VALUE);
}

void hal_begin(void)
{
    REG(UART0 + BAUDDIV) = 217u; /* 115200 bit/s of 25 MHz */
    REG(UART0 + CTRL) = CTRL_ON;
    REG(UART1 + BAUDDIV) = 16u;
    REG(UART1 + CTRL) = CTRL_ON;
    REG(NVIC_ISER) = (1u << IRQ_UART0_RX) | (1u << IRQ_UART1_RX);
    REG(TIMER_RELOAD) = 0xFFFFFFFFu;
    REG(TIMER_VALUE) = 0xFFFFFFFFu;
    REG(TIMER_CTRL) = 1u;
    lh_clock_begin(&clock, timer_now(), 0xFFFFFFFFu, 1u, TICKS_PER_US);
    REG(SYST_RVR) = TICKS_PER_MS - 1u;
    REG(SYST_CVR) = 0u;
    REG(SYST_CSR) = 7u; /* on, interrupt, processor clock */
}

uint32_t hal_time_us(void)
{
    return lh_clock_us(&clock, timer_now());
}

static int32_t code_at(const uint8_t *at)
{
    uint32_t code = (uint32_t)at[0] | ((uint32_t)at[1] << 8) | ((uint32_t)at[2] << 16) |
                    ((uint32_t)at[3] << 24);

    return (int32_t)code;
}

static void take_record(void)
{
    hal_readings *readings;
    uint8_t sum = 0u;
    unsigned i;

    for (i = 0u; i < RECORD_SIZE - 1u; i++) {
        sum = (uint8_t)(sum + record[i]);
    }
    if (sum != record[RECORD_SIZE - 1u]) {
        return; /* cut off: the next one is whole again */
    }
    if (waiting_count == WAITING) {
        waiting_from = (uint8_t)((waiting_from + 1u) % WAITING);
        waiting_count--;
    }
    readings = &waiting[(waiting_from + waiting_count) % WAITING];
    waiting_count++;
    readings->locked = (record[1] & 1u) != 0u;
    readings->button = (record[1] & 2u) != 0u;
    period_us = record[2] * 1000u;
    for (i = 0u; i < HAL_CHANNELS; i++) {
        readings->codes[i] = code_at(&record[3u + 4u * i]);
    }
}

static void hear_sensors(void)
{
    uint8_t byte;

    while (ring_get(&from_sensors, &byte)) {
        if (record_size == 0u && byte != MARK) {
            continue;
        }
        record[record_size++] = byte;
        if (record_size == RECORD_SIZE) {
            record_size = 0u;
            take_record();
        }
    }
}

bool hal_read(hal_readings *readings)
{
    uint32_t now_us = hal_time_us();

    hear_sensors();
    if (!lh_due(now_us, taken_us + period_us)) {
        return false;
    }
    if (waiting_count == 0u) {
        starved = true;
        return false;
    }
    *readings = waiting[waiting_from];
    waiting_from = (uint8_t)((waiting_from + 1u) % WAITING);
    waiting_count--;
    taken_us = starved ? now_us : taken_us + period_us;
    starved = false;
    readings->t_us = taken_us;
    return true;
}

bool hal_get(uint8_t *byte)
{
    return ring_get(&from_host, byte);
}

size_t hal_room(void)
{
    return (to_host.tail + (size_t)to_host.size - to_host.head - 1u) % to_host.size;
}

void hal_put(uint8_t byte)
{
    (void)ring_put(&to_host, byte);
}

void hal_identity(uint8_t identity[8])
{
    unsigned i;

    for (i = 0u; i < 8u; i++) {
        identity[i] = *(volatile uint8_t *)(KEPT_IDENTITY + i);
    }
}

uint32_t hal_new_boot(void)
{
    uint32_t boot = REG(KEPT_BOOT);
    bool kept = REG(KEPT_MAGIC) == MAGIC && REG(KEPT_CHECK) == ~boot;

    boot = kept ? boot + 1u : REG(KEPT_RANDOM);
    REG(KEPT_BOOT) = boot;
    REG(KEPT_CHECK) = ~boot;
    REG(KEPT_MAGIC) = MAGIC;
    return boot;
}

uint8_t hal_battery(void)
{
    return 255u;
}

void hal_light(bool on)
{
    REG(0x40028000u) = on ? 1u : 0u; /* user light 0 of the board */
}

static void send_waiting(void)
{
    uint8_t byte;

    while ((REG(UART0 + STATE) & STATE_TX_FULL) == 0u && ring_get(&to_host, &byte)) {
        REG(UART0 + DATA) = byte;
    }
}

void hal_wait(void)
{
    send_waiting();
    __asm volatile("wfi");
}

int main(void);

int main(void)
{
    static head h;

    hal_begin();
    head_begin(&h);
    for (;;) {
        head_run(&h);
        hal_wait();
    }
}
