#ifndef OVENDRY_READER_V1
#define OVENDRY_READER_V1

#include <stdint.h>

/*
 * Where the tables live. On AVR they stay in flash; elsewhere a constant is
 * where the compiler puts it. Define these three before including to place the
 * tables by other means.
 */
#ifndef OVENDRY_FLASH
#if defined(__AVR__)
#include <avr/pgmspace.h>
#define OVENDRY_FLASH PROGMEM
#define OVENDRY_FLASH_WORD(address) pgm_read_word(address)
#define OVENDRY_FLASH_DWORD(address) pgm_read_dword(address)
#else
#define OVENDRY_FLASH
#define OVENDRY_FLASH_WORD(address) (*(address))
#define OVENDRY_FLASH_DWORD(address) (*(address))
#endif
#endif

/* Pass this as the temperature when there is none. */
#define OVENDRY_NO_TEMPERATURE ((int16_t)(-32767 - 1))

/* Answers that are no water content, looked for in this order. */
#define OVENDRY_FAULT_COUNT_ABOVE_FULL_SCALE ((int16_t)-30001)
#define OVENDRY_FAULT_TEMPERATURE_MISSING ((int16_t)-30002)
#define OVENDRY_FAULT_TEMPERATURE_OUTSIDE_RANGE ((int16_t)-30003)
#define OVENDRY_FAULT_COUNT_BELOW_DOMAIN ((int16_t)-30004)
#define OVENDRY_FAULT_COUNT_ABOVE_DOMAIN ((int16_t)-30005)
#define OVENDRY_IS_FAULT(answer) ((answer) < -30000)

/* The nearest whole number to numerator / denominator, halves away from zero. */
static inline int32_t ovendry_divide_v1(int32_t numerator, int32_t denominator)
{
    const int32_t half = denominator / 2;

    if (numerator < 0) {
        return -((half - numerator) / denominator);
    }
    return (numerator + half) / denominator;
}

/* The first knot at or above a corrected count, but never the very first. */
static inline uint8_t ovendry_upper_knot_v1(const uint16_t *counts, uint8_t knots, int32_t sixteenths)
{
    uint8_t upper = 1u;

    while (((uint8_t)(upper + 1u) < knots)
           && (sixteenths > ((int32_t)OVENDRY_FLASH_WORD(&counts[upper]) * 16))) {
        upper = (uint8_t)(upper + 1u);
    }
    return upper;
}

/* theta_v x 10 000 at a corrected count inside the domain. */
static inline int16_t ovendry_interpolate_v1(const uint16_t *counts, const int16_t *theta_v,
                                             uint8_t knots, int32_t sixteenths)
{
    const uint8_t upper = ovendry_upper_knot_v1(counts, knots, sixteenths);
    const int32_t from = (int32_t)OVENDRY_FLASH_WORD(&counts[upper - 1u]) * 16;
    const int32_t to = (int32_t)OVENDRY_FLASH_WORD(&counts[upper]) * 16;
    const int32_t low = (int16_t)OVENDRY_FLASH_WORD(&theta_v[upper - 1u]);
    const int32_t high = (int16_t)OVENDRY_FLASH_WORD(&theta_v[upper]);

    return (int16_t)(low + ovendry_divide_v1((high - low) * (sixteenths - from), to - from));
}

/* One step of CRC-32 over a 32-bit word, lowest byte first. */
static inline uint32_t ovendry_crc32_v1(uint32_t crc, uint32_t word)
{
    uint8_t bit;

    crc ^= word;
    for (bit = 0u; bit < 32u; bit = (uint8_t)(bit + 1u)) {
        crc = ((crc & 1u) != 0u) ? ((crc >> 1) ^ (uint32_t)0xEDB88320UL) : (crc >> 1);
    }
    return crc;
}

#endif
