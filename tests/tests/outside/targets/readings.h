/*
 * What every target does with a table: the answer and the uncertainty of each
 * count at each temperature, then a pump followed through given readings. The
 * target brings put(), which sends one number away.
 */
#ifndef READINGS_H
#define READINGS_H

#include "ovendry_reader.h"

static void put(int16_t number);

/* Every count up to last at each of the temperatures, 2 bytes each. */
static void answers(const uint8_t *table, uint16_t last, const uint8_t *temperatures,
                    uint8_t number)
{
    uint8_t i;

    for (i = 0u; i < number; i = (uint8_t)(i + 1u)) {
        const int16_t centi = (int16_t)OVENDRY_READ_U16(temperatures + (2u * i));
        uint16_t count = 0u;

        for (;;) {
            put(ovendry_theta_v_e4(table, count, centi));
            put(ovendry_uncertainty_e4(table, count, centi));
            if (count == last) {
                break;
            }
            count = (uint16_t)(count + 1u);
        }
    }
}

/* A pump powered up at 1000 s; a reading is time, count and temperature in 8 bytes. */
static void pump_steps(const uint8_t *table, const uint8_t *readings, uint16_t number)
{
    ovendry_pump pump;
    uint16_t i;

    ovendry_pump_start(&pump, 1000u);
    for (i = 0u; i < number; i = (uint16_t)(i + 1u)) {
        const uint8_t *const reading = readings + (8u * (uint32_t)i);
        int16_t answer;

        put((int16_t)ovendry_pump_step(&pump, table, (uint32_t)OVENDRY_READ_U32(reading),
                                       (uint16_t)OVENDRY_READ_U16(reading + 4),
                                       (int16_t)OVENDRY_READ_U16(reading + 6), &answer));
        put(answer);
    }
}

#endif
