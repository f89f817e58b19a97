/*
 * How many cycles an ATmega328P takes, counted by its own timer; what the
 * counting itself takes is subtracted. MEASURE says of what: 1 the slowest
 * conversion, 2 the slowest pump step, 3 the start-up check, in units of 256.
 */
#include "cases.h"
#include "atmega328p.h"

static volatile uint16_t given_count;
static volatile int16_t given_centi;
static volatile uint32_t given_s;
static volatile int16_t result;

#if MEASURE == 1
static uint16_t slowest(void)
{
    uint16_t most = 0u;
    uint16_t begun = TCNT1;
    uint16_t overhead;
    uint8_t k;

    result = (int16_t)((int16_t)given_count + given_centi);
    overhead = (uint16_t)(TCNT1 - begun);
    for (k = 0u; k < TEMPERATURES; k = (uint8_t)(k + 1u)) {
        uint16_t i;

        given_centi = (int16_t)OVENDRY_READ_U16(temperatures + (2u * k));
        for (i = 0u; i <= LAST; i = (uint16_t)(i + 1u)) {
            uint16_t taken;

            given_count = i;
            begun = TCNT1;
            result = ovendry_theta_v_e4(TABLE, given_count, given_centi);
            taken = (uint16_t)((uint16_t)(TCNT1 - begun) - overhead);
            most = (taken > most) ? taken : most;
        }
    }
    return most;
}
#elif MEASURE == 2
static uint16_t slowest(void)
{
    ovendry_pump pump;
    uint16_t most = 0u;
    uint16_t begun = TCNT1;
    uint16_t overhead;
    uint16_t i;

    result = (int16_t)((int16_t)given_count + given_centi + (int16_t)given_s);
    overhead = (uint16_t)(TCNT1 - begun);
    ovendry_pump_start(&pump, 1000u);
    for (i = 0u; i < READINGS; i = (uint16_t)(i + 1u)) {
        const uint8_t *const reading = readings + (8u * i);
        int16_t answer;
        uint16_t taken;

        given_s = (uint32_t)OVENDRY_READ_U32(reading);
        given_count = (uint16_t)OVENDRY_READ_U16(reading + 4);
        given_centi = (int16_t)OVENDRY_READ_U16(reading + 6);
        begun = TCNT1;
        result = (int16_t)ovendry_pump_step(&pump, TABLE, given_s, given_count, given_centi,
                                            &answer);
        taken = (uint16_t)((uint16_t)(TCNT1 - begun) - overhead);
        most = (taken > most) ? taken : most;
    }
    return most;
}
#else
static uint16_t slowest(void)
{
    uint16_t begun;

    TCCR1B = 4u; /* counts every 256 cycles */
    begun = TCNT1;
    result = (int16_t)ovendry_is_sound(TABLE, TABLE_LENGTH);
    return (uint16_t)(TCNT1 - begun);
}
#endif

int main(void)
{
    begin();
    put((int16_t)slowest());
    put(result);
    end();
}
