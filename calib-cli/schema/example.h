/*
 * Controller table of one soil moisture probe: from raw count to volumetric
 * water content theta_v, in integers only. C99, or C++11 and later.
 *
 * Do not edit. The last line holds the CRC-32 of every byte before it, and
 * `ovendry verify` refuses the file if one of them has changed.
 *
 *   int16_t answer = ovendry_bench_3_theta_v_e4(count, temperature_centi);
 *   if (OVENDRY_IS_FAULT(answer)) {
 *       keep the pump off
 *   }
 *
 * theta_v_e4 is theta_v in m3/m3 times 10 000: 2534 is 0.2534 m3/m3.
 * temperature_centi is the soil temperature in hundredths of a degree Celsius,
 * OVENDRY_NO_TEMPERATURE where there is none.
 *
 * Start the pump when theta_v_e4 falls to OVENDRY_BENCH_3_REFILL_E4; stop it
 * when it reaches OVENDRY_BENCH_3_STOP_E4, on any fault, and after
 * OVENDRY_BENCH_3_MAXIMUM_ON_S seconds in any case. A controller without
 * a sound table keeps the pump off.
 *
 * Caution: a wrong reading can flood a field. Fit a shut-off that works without
 * this controller, protect the water supply against backflow, and leave mains
 * wiring near water to licensed persons; local codes come first.
 */
#ifndef OVENDRY_BENCH_3_278AD43A_H
#define OVENDRY_BENCH_3_278AD43A_H

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

#define OVENDRY_BENCH_3_PROBE "bench-3"
#define OVENDRY_BENCH_3_SOIL "test bed"

/* CRC-32 over every number below */
#define OVENDRY_BENCH_3_TABLE_CRC32 ((uint32_t)0x278ad43aUL)

/* version of the table's meaning */
#define OVENDRY_BENCH_3_VERSION ((int32_t)1L)

/* calibrated on, check again by: YYYYMMDD */
#define OVENDRY_BENCH_3_CALIBRATED_ON ((int32_t)20250402L)
#define OVENDRY_BENCH_3_RECHECK_BY ((int32_t)20260402L)

/* the converter and which way it moves */
#define OVENDRY_BENCH_3_ADC_BITS ((int32_t)10L)
#define OVENDRY_BENCH_3_COUNTS_FALL_WHEN_WETTER ((int32_t)1L)

/* calibrated counts at the reference temperature, sixteenths of a count */
#define OVENDRY_BENCH_3_DOMAIN_LOW ((int32_t)4969L)
#define OVENDRY_BENCH_3_DOMAIN_HIGH ((int32_t)11187L)

/* temperature: hundredths of a degree; a reading is lowered by
 * COEFFICIENT * (temperature - REFERENCE) / DIVISOR sixteenths of a count */
#define OVENDRY_BENCH_3_TEMPERATURE_TERM ((int32_t)1L)
#define OVENDRY_BENCH_3_REFERENCE_CENTI ((int32_t)2000L)
#define OVENDRY_BENCH_3_LOWEST_CENTI ((int32_t)1150L)
#define OVENDRY_BENCH_3_HIGHEST_CENTI ((int32_t)2780L)
#define OVENDRY_BENCH_3_COEFFICIENT ((int32_t)6291L)
#define OVENDRY_BENCH_3_DIVISOR ((int32_t)65536L)

/* largest difference from the fitted curve, theta_v x 10 000 */
#define OVENDRY_BENCH_3_MAX_ERROR_E4 ((int32_t)6L)

/* start and stop of the pump: theta_v x 10 000, and raw counts at the
 * reference temperature; times in seconds */
#define OVENDRY_BENCH_3_REFILL_E4 ((int32_t)1690L)
#define OVENDRY_BENCH_3_STOP_E4 ((int32_t)2440L)
#define OVENDRY_BENCH_3_REFILL_COUNT ((int32_t)532L)
#define OVENDRY_BENCH_3_STOP_COUNT ((int32_t)443L)
#define OVENDRY_BENCH_3_MINIMUM_ON_S ((int32_t)60L)
#define OVENDRY_BENCH_3_MINIMUM_OFF_S ((int32_t)900L)
#define OVENDRY_BENCH_3_MAXIMUM_ON_S ((int32_t)2700L)

/* the table: counts, theta_v x 10 000 there, and its expanded uncertainty
 * (95 %) x 10 000; straight lines between */
#define OVENDRY_BENCH_3_KNOTS ((int32_t)5L)

static const uint16_t ovendry_bench_3_counts[OVENDRY_BENCH_3_KNOTS] OVENDRY_FLASH = {
    310u, 372u, 455u, 562u, 700u
};
static const int16_t ovendry_bench_3_thetas[OVENDRY_BENCH_3_KNOTS] OVENDRY_FLASH = {
    4180, 3227, 2310, 1452, 684
};
static const uint16_t ovendry_bench_3_uncertainties[OVENDRY_BENCH_3_KNOTS] OVENDRY_FLASH = {
    231u, 214u, 203u, 199u, 206u
};

/* The count at the reference temperature in sixteenths, or a fault. */
static inline int32_t ovendry_bench_3_corrected(uint16_t count, int16_t temperature_centi)
{
    int32_t sixteenths = (int32_t)count * 16;

    if (count > 1023u) {
        return OVENDRY_FAULT_COUNT_ABOVE_FULL_SCALE;
    }
    if (temperature_centi == OVENDRY_NO_TEMPERATURE) {
        return OVENDRY_FAULT_TEMPERATURE_MISSING;
    }
    if ((temperature_centi < OVENDRY_BENCH_3_LOWEST_CENTI) || (temperature_centi > OVENDRY_BENCH_3_HIGHEST_CENTI)) {
        return OVENDRY_FAULT_TEMPERATURE_OUTSIDE_RANGE;
    }
    sixteenths -= ovendry_divide_v1(
        OVENDRY_BENCH_3_COEFFICIENT * ((int32_t)temperature_centi - OVENDRY_BENCH_3_REFERENCE_CENTI), OVENDRY_BENCH_3_DIVISOR);
    if (sixteenths < OVENDRY_BENCH_3_DOMAIN_LOW) {
        return OVENDRY_FAULT_COUNT_BELOW_DOMAIN;
    }
    if (sixteenths > OVENDRY_BENCH_3_DOMAIN_HIGH) {
        return OVENDRY_FAULT_COUNT_ABOVE_DOMAIN;
    }
    return sixteenths;
}

/* theta_v x 10 000 of a reading, or a fault. */
static inline int16_t ovendry_bench_3_theta_v_e4(uint16_t count, int16_t temperature_centi)
{
    const int32_t corrected = ovendry_bench_3_corrected(count, temperature_centi);

    if (corrected < 0) {
        return (int16_t)corrected;
    }
    return ovendry_interpolate_v1(ovendry_bench_3_counts, ovendry_bench_3_thetas, (uint8_t)OVENDRY_BENCH_3_KNOTS, corrected);
}

/* Its expanded uncertainty (95 %) x 10 000, or a fault. */
static inline int16_t ovendry_bench_3_uncertainty_e4(uint16_t count, int16_t temperature_centi)
{
    const int32_t corrected = ovendry_bench_3_corrected(count, temperature_centi);
    uint8_t upper;
    int16_t below;
    int16_t above;

    if (corrected < 0) {
        return (int16_t)corrected;
    }
    upper = ovendry_upper_knot_v1(ovendry_bench_3_counts, (uint8_t)OVENDRY_BENCH_3_KNOTS, corrected);
    below = (int16_t)OVENDRY_FLASH_WORD(&ovendry_bench_3_uncertainties[upper - 1u]);
    above = (int16_t)OVENDRY_FLASH_WORD(&ovendry_bench_3_uncertainties[upper]);
    return (below > above) ? below : above;
}

/* The CRC-32 of every number above as this controller holds it; optional. */
static inline uint32_t ovendry_bench_3_computed_crc32(void)
{
    static const uint32_t words[22] OVENDRY_FLASH = {
        (uint32_t)OVENDRY_BENCH_3_VERSION,
        (uint32_t)OVENDRY_BENCH_3_ADC_BITS,
        (uint32_t)OVENDRY_BENCH_3_COUNTS_FALL_WHEN_WETTER,
        (uint32_t)OVENDRY_BENCH_3_DOMAIN_LOW,
        (uint32_t)OVENDRY_BENCH_3_DOMAIN_HIGH,
        (uint32_t)OVENDRY_BENCH_3_TEMPERATURE_TERM,
        (uint32_t)OVENDRY_BENCH_3_REFERENCE_CENTI,
        (uint32_t)OVENDRY_BENCH_3_LOWEST_CENTI,
        (uint32_t)OVENDRY_BENCH_3_HIGHEST_CENTI,
        (uint32_t)OVENDRY_BENCH_3_COEFFICIENT,
        (uint32_t)OVENDRY_BENCH_3_DIVISOR,
        (uint32_t)OVENDRY_BENCH_3_MAX_ERROR_E4,
        (uint32_t)OVENDRY_BENCH_3_REFILL_E4,
        (uint32_t)OVENDRY_BENCH_3_STOP_E4,
        (uint32_t)OVENDRY_BENCH_3_REFILL_COUNT,
        (uint32_t)OVENDRY_BENCH_3_STOP_COUNT,
        (uint32_t)OVENDRY_BENCH_3_MINIMUM_ON_S,
        (uint32_t)OVENDRY_BENCH_3_MINIMUM_OFF_S,
        (uint32_t)OVENDRY_BENCH_3_MAXIMUM_ON_S,
        (uint32_t)OVENDRY_BENCH_3_CALIBRATED_ON,
        (uint32_t)OVENDRY_BENCH_3_RECHECK_BY,
        (uint32_t)OVENDRY_BENCH_3_KNOTS
    };
    uint32_t crc = (uint32_t)0xFFFFFFFFUL;
    uint8_t i;

    for (i = 0u; i < 22u; i = (uint8_t)(i + 1u)) {
        crc = ovendry_crc32_v1(crc, (uint32_t)OVENDRY_FLASH_DWORD(&words[i]));
    }
    for (i = 0u; i < (uint8_t)OVENDRY_BENCH_3_KNOTS; i = (uint8_t)(i + 1u)) {
        crc = ovendry_crc32_v1(crc, (uint32_t)OVENDRY_FLASH_WORD(&ovendry_bench_3_counts[i]));
        crc = ovendry_crc32_v1(crc, (uint32_t)(int16_t)OVENDRY_FLASH_WORD(&ovendry_bench_3_thetas[i]));
        crc = ovendry_crc32_v1(crc, (uint32_t)OVENDRY_FLASH_WORD(&ovendry_bench_3_uncertainties[i]));
    }
    return crc ^ (uint32_t)0xFFFFFFFFUL;
}

/* Nonzero if the numbers are those exported; optional, at start-up. */
static inline uint8_t ovendry_bench_3_is_sound(void)
{
    return (uint8_t)(ovendry_bench_3_computed_crc32() == OVENDRY_BENCH_3_TABLE_CRC32);
}

#endif
/* crc32: 21f712f7 */
