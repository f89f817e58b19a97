/* An ATmega328P that sends four hexadecimal digits a number over its UART. */
#ifndef ATMEGA328P_H
#define ATMEGA328P_H

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

static uint8_t on_line = 0u;

static void send(uint8_t byte)
{
    while ((UCSR0A & (1u << UDRE0)) == 0u) {
    }
    UDR0 = byte;
}

static void put(int16_t number)
{
    uint8_t shift = 16u;

    while (shift != 0u) {
        uint8_t digit;

        shift = (uint8_t)(shift - 4u);
        digit = (uint8_t)(((uint16_t)number >> shift) & 15u);
        send((uint8_t)((digit < 10u) ? ('0' + digit) : (('a' - 10) + digit)));
    }
    on_line = (uint8_t)(on_line + 1u);
    if (on_line == 16u) {
        on_line = 0u;
        send('\n');
    }
}

static void begin(void)
{
    UCSR0A = (1u << U2X0);
    UCSR0B = (1u << TXEN0);
    UBRR0 = 0u;
    TCCR1A = 0u;
    TCCR1B = 1u; /* counts every cycle */
}

/* Asleep without interrupts: the simulator ends. */
static void end(void)
{
    send('\n');
    while ((UCSR0A & (1u << UDRE0)) == 0u) {
    }
    cli();
    sleep_enable();
    sleep_cpu();
    for (;;) {
    }
}

#endif
