/* Start-up of a Cortex-M: copy .data, clear .bss, call main. Nothing of a C library is used. */
#include <stddef.h>
#include <stdint.h>

extern uint32_t stack_top;
extern uint32_t data_from;
extern uint32_t data_begin;
extern uint32_t data_end;
extern uint32_t bss_begin;
extern uint32_t bss_end;

int main(void);
void on_uart0_rx(void);
void on_uart1_rx(void);
void on_systick(void);
void on_reset(void);
void *memset(void *at, int byte, size_t size);
void *memcpy(void *to, const void *from, size_t size);

void on_reset(void)
{
    uint32_t *from = &data_from;
    uint32_t *to;

    for (to = &data_begin; to < &data_end; to++) {
        *to = *from++;
    }
    for (to = &bss_begin; to < &bss_end; to++) {
        *to = 0u;
    }
    (void)main();
    for (;;) {
    }
}

static void on_fault(void)
{
    *(volatile uint32_t *)0xE000ED0Cu = 0x05FA0004u; /* start anew: a head that hangs is worse */
    for (;;) {
    }
}

/* Compilers may call these of their own accord, with or without a library. */
void *memset(void *at, int byte, size_t size)
{
    uint8_t *to = at;

    while (size-- > 0u) {
        *to++ = (uint8_t)byte;
    }
    return at;
}

void *memcpy(void *to, const void *from, size_t size)
{
    uint8_t *target = to;
    const uint8_t *source = from;

    while (size-- > 0u) {
        *target++ = *source++;
    }
    return to;
}

typedef void (*vector)(void);

__attribute__((section(".vectors"), used)) static const vector VECTORS[] = {
    (vector)(uintptr_t)&stack_top, on_reset, on_fault, on_fault, on_fault, on_fault, on_fault,
    NULL, NULL, NULL, NULL, on_fault, on_fault, NULL, on_fault, on_systick,
    on_uart0_rx, on_fault, on_uart1_rx,
};
