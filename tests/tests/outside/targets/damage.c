/*
 * Judges tables from standard input, each after a byte that says whether to use
 * it and two with its length, and writes a byte of verdict for each. Used is what
 * is found sound: every count at a spread of temperatures, and pump steps, where
 * a sanitiser watches. Each table is in memory of just its size, so that a byte
 * read beyond is seen.
 */
#include "readings.h"
#include "cases.h"
#include <stdio.h>
#include <stdlib.h>

static volatile uint32_t sum = 0u;

static void put(int16_t number)
{
    sum = (sum * 3u) ^ (uint16_t)number;
}

static void use(const uint8_t *table)
{
    const int32_t lowest = ovendry_i16(table, OVENDRY_AT_LOWEST);
    const int32_t highest = ovendry_i16(table, OVENDRY_AT_HIGHEST);
    const int32_t spread[7] = {INT16_MIN, lowest - 1,  lowest,   (lowest + highest) / 2,
                               highest,   highest + 1, INT16_MAX};
    uint8_t bytes[14];
    uint8_t i;

    for (i = 0u; i < 7u; i++) {
        bytes[2u * i] = (uint8_t)((uint32_t)spread[i] & 255u);
        bytes[(2u * i) + 1u] = (uint8_t)(((uint32_t)spread[i] >> 8) & 255u);
    }
    answers(table, (uint16_t)(ovendry_u16(table, OVENDRY_AT_FULL_SCALE) | 1023u), bytes, 7u);
    pump_steps(table, readings, READINGS);
}

int main(void)
{
    uint8_t before[3];

    while (fread(before, 1u, 3u, stdin) == 3u) {
        const uint16_t length = ovendry_read_u16(before + 1);
        uint8_t *const table = (uint8_t *)malloc(length);
        uint8_t sound;

        if ((table == NULL) || (fread(table, 1u, length, stdin) != length)) {
            return 2;
        }
        sound = ovendry_is_sound(table, length);
        if ((sound != 0u) && (before[0] != 0u)) {
            use(table);
        }
        putchar((int)sound);
        free(table);
    }
    return 0;
}
