/*
 * The readings on a bare Cortex-M3 board (LM3S6965): start-up, UART and end.
 * Numbers go to UART0, lowest byte first.
 */
#include "readings.h"
#include "cases.h"

#define UART0_DATA (*(volatile uint32_t *)0x4000C000u)
#define UART0_FLAGS (*(volatile uint32_t *)0x4000C018u)
#define UART_FULL 0x20u

extern uint32_t stack_top;
extern uint32_t data_from;
extern uint32_t data_start;
extern uint32_t data_end;
extern uint32_t bss_start;
extern uint32_t bss_end;

void reset(void);
void fault(void);

__attribute__((section(".vectors"), used)) static const uintptr_t vectors[8] = {
    (uintptr_t)&stack_top, (uintptr_t)&reset, (uintptr_t)&fault, (uintptr_t)&fault,
    (uintptr_t)&fault,     (uintptr_t)&fault, (uintptr_t)&fault, 0u,
};

static void put(int16_t number)
{
    uint8_t i;

    for (i = 0u; i < 16u; i = (uint8_t)(i + 8u)) {
        while ((UART0_FLAGS & UART_FULL) != 0u) {
        }
        UART0_DATA = ((uint32_t)(uint16_t)number >> i) & 255u;
    }
}

/* Ends the emulator: semihosting call 0x18 with a reason, 0x20026 for a good end. */
static void end(uint32_t reason)
{
    __asm__ volatile("mov r0, #0x18\n\tmov r1, %0\n\tbkpt #0xAB" : : "r"(reason) : "r0", "r1");
    for (;;) {
    }
}

void fault(void)
{
    end(0x20023u);
}

void reset(void)
{
    volatile uint32_t *to = &data_start;
    const volatile uint32_t *from = &data_from;

    while (to < &data_end) {
        *to = *from;
        to++;
        from++;
    }
    for (to = &bss_start; to < &bss_end; to++) {
        *to = 0u;
    }
    end((cases() != 0u) ? 0x20026u : 0x20023u);
}
