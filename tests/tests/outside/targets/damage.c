/*
 * Damages a table in every small way and writes a byte of verdict for each:
 * every bit turned over, then cut at every byte, each as it is and with its
 * CRC-32 mended. A table that is found sound is used for every count and a
 * spread of temperatures, and for pump steps, where a sanitiser watches. Each
 * is in memory of just its size, so that a byte read beyond is seen.
 */
#include "readings.h"
#include "cases.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static volatile int32_t sum = 0;

static void put(int16_t number)
{
    sum = (int32_t)((uint32_t)sum * 3u) ^ number;
}

static void mend(uint8_t *table, uint16_t length)
{
    const uint32_t crc = ovendry_crc32(table, (uint16_t)(length - 4u));
    uint8_t i;

    for (i = 0u; i < 4u; i++) {
        table[length - 4u + i] = (uint8_t)(crc >> (8u * i));
    }
}

static void use(const uint8_t *table)
{
    const int32_t lowest = ovendry_i16(table, OVENDRY_AT_LOWEST);
    const int32_t highest = ovendry_i16(table, OVENDRY_AT_HIGHEST);
    const int32_t spread[7] = {INT16_MIN, lowest - 1, lowest,   (lowest + highest) / 2,
                               highest,   highest + 1, INT16_MAX};
    uint8_t bytes[14];
    uint8_t i;

    for (i = 0u; i < 7u; i++) {
        bytes[2u * i] = (uint8_t)((uint32_t)spread[i] & 255u);
        bytes[(2u * i) + 1u] = (uint8_t)(((uint32_t)spread[i] >> 8) & 255u);
    }
    (void)temperatures;
    answers(table, (uint16_t)(ovendry_u16(table, OVENDRY_AT_FULL_SCALE) | 1023u), bytes, 7u);
    pump_steps(table, readings, READINGS);
}

static void judge(const uint8_t *from, uint16_t length, int bit, int mended)
{
    uint8_t *const table = (uint8_t *)malloc((length == 0u) ? 1u : length);
    uint8_t sound;

    if (table == NULL) {
        exit(2);
    }
    memcpy(table, from, length);
    if (bit >= 0) {
        table[bit / 8] = (uint8_t)(table[bit / 8] ^ (1u << (bit % 8)));
    }
    if ((mended != 0) && (length >= 4u)) {
        mend(table, length);
    }
    sound = ovendry_is_sound(table, length);
    if (sound != 0u) {
        use(table);
    }
    putchar((int)sound);
    free(table);
}

int main(void)
{
    int mended;

    for (mended = 0; mended < 2; mended++) {
        int bit;
        uint16_t length;

        for (bit = 0; bit < (int)(8u * TABLE_LENGTH); bit++) {
            judge(TABLE, (uint16_t)TABLE_LENGTH, bit, mended);
        }
        for (length = 0u; length < TABLE_LENGTH; length++) {
            judge(TABLE, length, -1, mended);
        }
    }
    return 0;
}
