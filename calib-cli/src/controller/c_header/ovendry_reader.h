/*
 * Reader of a controller table, version 2: from raw count to volumetric water
 * content theta_v, and when the pump may run. The same file serves every probe.
 * C99, or C++11 and later. Whole numbers only, nothing on the heap.
 *
 *   if (ovendry_is_sound(table, length) == 0u) { keep the pump off, for good }
 *   answer = ovendry_theta_v_e4(table, count, temperature_centi);
 *   if (OVENDRY_IS_FAULT(answer)) { keep the pump off }
 *
 * or, with the times a pump has to keep, once at power-up and then at each reading:
 *
 *   ovendry_pump_start(&pump, now_s);
 *   on = ovendry_pump_step(&pump, table, now_s, count, temperature_centi, &answer);
 *
 * theta_v_e4 is theta_v in m3/m3 times 10 000: 2534 is 0.2534 m3/m3.
 * temperature_centi is the soil temperature in hundredths of a degree Celsius,
 * OVENDRY_NO_TEMPERATURE where there is none.
 *
 * ovendry_is_sound reads no byte beyond length, whatever the bytes are. The
 * other functions trust the table: ask ovendry_is_sound before, at least once at
 * start-up. What is not called costs no flash.
 *
 * Caution: a wrong reading can flood a field. Fit a shut-off that works without
 * this controller, protect the water supply against backflow, and leave mains
 * wiring near water to licensed persons; local codes come first.
 */
#ifndef OVENDRY_READER_VERSION
#define OVENDRY_READER_VERSION 2

#include <stdint.h>

/*
 * Where tables live and how they are read. On AVR they stay in the lowest 64 KiB
 * of flash. Elsewhere they are read byte by byte, so byte order and alignment do
 * not matter. Define all four before including to read them by other means; an
 * address is a const uint8_t pointer, numbers are stored lowest byte first.
 */
#ifndef OVENDRY_FLASH
#if defined(__AVR__)
#include <avr/pgmspace.h>
#define OVENDRY_FLASH PROGMEM
#define OVENDRY_READ_U8(address) pgm_read_byte(address)
#define OVENDRY_READ_U16(address) pgm_read_word(address)
#define OVENDRY_READ_U32(address) pgm_read_dword(address)
#else
#define OVENDRY_FLASH
#define OVENDRY_READ_U8(address) (*(address))
#define OVENDRY_READ_U16(address) ovendry_read_u16(address)
#define OVENDRY_READ_U32(address) ovendry_read_u32(address)

static inline uint16_t ovendry_read_u16(const uint8_t *address)
{
    return (uint16_t)((uint32_t)address[0] | ((uint32_t)address[1] << 8));
}

static inline uint32_t ovendry_read_u32(const uint8_t *address)
{
    return (uint32_t)ovendry_read_u16(address) | ((uint32_t)ovendry_read_u16(address + 2) << 16);
}
#endif
#endif

/* Pass this as the temperature when there is none. */
#define OVENDRY_NO_TEMPERATURE ((int16_t)(-32767 - 1))

/* Answers that are no water content, looked for in this order. */
#define OVENDRY_FAULT_NO_SUCH_COUNT ((int16_t)-30001)
#define OVENDRY_FAULT_OPEN_CIRCUIT ((int16_t)-30002)
#define OVENDRY_FAULT_SHORT_CIRCUIT ((int16_t)-30003)
#define OVENDRY_FAULT_STUCK ((int16_t)-30004) /* of ovendry_pump_step only */
#define OVENDRY_FAULT_TEMPERATURE_MISSING ((int16_t)-30005)
#define OVENDRY_FAULT_TEMPERATURE_OUTSIDE_RANGE ((int16_t)-30006)
#define OVENDRY_FAULT_COUNT_BELOW_DOMAIN ((int16_t)-30007)
#define OVENDRY_FAULT_COUNT_ABOVE_DOMAIN ((int16_t)-30008)
#define OVENDRY_IS_FAULT(answer) ((answer) < -30000)

/* Where each number of a table stands, bytes from its first. */
#define OVENDRY_AT_VERSION 0u
#define OVENDRY_AT_FLAGS 1u
#define OVENDRY_AT_SHIFT 2u
#define OVENDRY_AT_KNOTS 3u
#define OVENDRY_AT_FULL_SCALE 4u
#define OVENDRY_AT_LIVE_LOW 6u
#define OVENDRY_AT_LIVE_HIGH 8u
#define OVENDRY_AT_REFERENCE 10u
#define OVENDRY_AT_LOWEST 12u
#define OVENDRY_AT_HIGHEST 14u
#define OVENDRY_AT_COEFFICIENT 16u
#define OVENDRY_AT_DOMAIN_LOW 20u
#define OVENDRY_AT_DOMAIN_HIGH 24u
#define OVENDRY_AT_REFILL 28u
#define OVENDRY_AT_STOP 30u
#define OVENDRY_AT_REFILL_COUNT 32u
#define OVENDRY_AT_STOP_COUNT 34u
#define OVENDRY_AT_MAX_ERROR 36u
#define OVENDRY_AT_MINIMUM_ON 38u
#define OVENDRY_AT_MINIMUM_OFF 42u
#define OVENDRY_AT_MAXIMUM_ON 46u
#define OVENDRY_AT_STUCK_AFTER 50u
#define OVENDRY_AT_CALIBRATED_ON 54u
#define OVENDRY_AT_RECHECK_BY 58u
#define OVENDRY_AT_COUNTS 62u

#define OVENDRY_FLAG_COUNTS_FALL 1u
#define OVENDRY_FLAG_TEMPERATURE 2u
#define OVENDRY_FLAG_OPEN_HIGH 4u

/*
 * One number of a table. Those with a sign are stored in two's complement, which
 * is what int16_t and int32_t are.
 */
static inline uint8_t ovendry_u8(const uint8_t *table, uint16_t at)
{
    return (uint8_t)OVENDRY_READ_U8(table + at);
}

static inline uint16_t ovendry_u16(const uint8_t *table, uint16_t at)
{
    return (uint16_t)OVENDRY_READ_U16(table + at);
}

static inline int16_t ovendry_i16(const uint8_t *table, uint16_t at)
{
    return (int16_t)ovendry_u16(table, at);
}

static inline uint32_t ovendry_u32(const uint8_t *table, uint16_t at)
{
    return (uint32_t)OVENDRY_READ_U32(table + at);
}

static inline int32_t ovendry_i32(const uint8_t *table, uint16_t at)
{
    return (int32_t)ovendry_u32(table, at);
}

/*
 * Sixteenths of a count by which a reading at an accepted temperature is lowered:
 * to the nearest, halves away from zero.
 */
static inline int32_t ovendry_correction(const uint8_t *table, int16_t temperature_centi)
{
    const int16_t difference =
        (int16_t)(temperature_centi - ovendry_i16(table, OVENDRY_AT_REFERENCE));
    const int32_t product = ovendry_i32(table, OVENDRY_AT_COEFFICIENT) * (int32_t)difference;
    const uint8_t shift = ovendry_u8(table, OVENDRY_AT_SHIFT);
    const uint8_t below_zero = (uint8_t)((uint8_t)((uint32_t)product >> 24) >> 7);

    if (shift == 16u) {
        return (int16_t)(uint16_t)(((uint32_t)product + 0x8000u - below_zero) >> 16);
    }
    if (shift == 8u) {
        /* 2^31 is added, so that nothing negative is shifted, and its share taken off. */
        const uint32_t raised =
            ((uint32_t)product ^ (uint32_t)0x80000000UL) + 0x80u - below_zero;

        return (int32_t)(raised >> 8) - (int32_t)0x800000L;
    }
    return product;
}

/* The count at the reference temperature in sixteenths, or a fault. */
static inline int32_t ovendry_corrected(const uint8_t *table, uint16_t count,
                                        int16_t temperature_centi)
{
    const uint8_t flags = ovendry_u8(table, OVENDRY_AT_FLAGS);
    /* Two numbers side by side are read at once, here and below. */
    const uint32_t live = ovendry_u32(table, OVENDRY_AT_LIVE_LOW);
    int32_t sixteenths = (int32_t)((uint32_t)count << 4);

    if (count < (uint16_t)live) {
        return ((flags & OVENDRY_FLAG_OPEN_HIGH) != 0u) ? OVENDRY_FAULT_SHORT_CIRCUIT
                                                        : OVENDRY_FAULT_OPEN_CIRCUIT;
    }
    if (count > (uint16_t)(live >> 16)) {
        if (count > ovendry_u16(table, OVENDRY_AT_FULL_SCALE)) {
            return OVENDRY_FAULT_NO_SUCH_COUNT;
        }
        return ((flags & OVENDRY_FLAG_OPEN_HIGH) != 0u) ? OVENDRY_FAULT_OPEN_CIRCUIT
                                                        : OVENDRY_FAULT_SHORT_CIRCUIT;
    }
    if ((flags & OVENDRY_FLAG_TEMPERATURE) != 0u) {
        const uint32_t ends = ovendry_u32(table, OVENDRY_AT_LOWEST);

        if ((temperature_centi < (int16_t)(uint16_t)ends)
            || (temperature_centi > (int16_t)(uint16_t)(ends >> 16))) {
            return (temperature_centi == OVENDRY_NO_TEMPERATURE)
                       ? OVENDRY_FAULT_TEMPERATURE_MISSING
                       : OVENDRY_FAULT_TEMPERATURE_OUTSIDE_RANGE;
        }
        sixteenths -= ovendry_correction(table, temperature_centi);
    }
    if (sixteenths < ovendry_i32(table, OVENDRY_AT_DOMAIN_LOW)) {
        return OVENDRY_FAULT_COUNT_BELOW_DOMAIN;
    }
    if (sixteenths > ovendry_i32(table, OVENDRY_AT_DOMAIN_HIGH)) {
        return OVENDRY_FAULT_COUNT_ABOVE_DOMAIN;
    }
    return sixteenths;
}

/*
 * The last knot below a corrected count inside the domain, the first if there is
 * none: where its count stands.
 */
static inline const uint8_t *ovendry_lower_knot(const uint8_t *table, uint8_t knots,
                                                int32_t sixteenths)
{
    const uint32_t raised = (uint32_t)sixteenths + 15u;
    const uint16_t whole =
        (uint16_t)((uint16_t)((uint16_t)raised >> 4) | (uint16_t)((uint16_t)(raised >> 16) << 12));
    const uint8_t *from = table + OVENDRY_AT_COUNTS;
    uint8_t left = (uint8_t)(knots - 2u);

    /* It is the knot at from, or one of at most left after it. */
    do {
        const uint8_t offset = (uint8_t)((left + 1u) & 0xFEu);

        if (whole > (uint16_t)OVENDRY_READ_U16(from + offset)) {
            from += offset;
        }
        left = (uint8_t)(left >> 1);
    } while (left != 0u);
    return from;
}

/* One step of a long division: the rest is the upper half of work. */
#define OVENDRY_DIVIDE_STEP(work, divisor)                         \
    do {                                                           \
        (work) <<= 1;                                              \
        if ((uint16_t)((work) >> 16) >= (divisor)) {               \
            (work) = ((work) - ((uint32_t)(divisor) << 16)) | 1u;  \
        }                                                          \
    } while (0)

/*
 * size x position / (16 width) to the nearest, halves up; size is below 2^14,
 * width below 2^12 and position at most 16 width. Work begins below 4 width x
 * 2^16. Each of fourteen steps brings one more of its bits into the upper half,
 * where the rest is, and one bit of the quotient into the lower. The rest is
 * below 4 width, so it never runs over. The quotient is at most size: where that
 * is below 2^10, as it mostly is, the first four bits are zero.
 */
static inline uint16_t ovendry_share(uint16_t size, uint16_t position, uint16_t width)
{
    const uint16_t divisor = (uint16_t)(width << 2);
    uint32_t work = ((uint32_t)size * (uint32_t)position) + (uint16_t)(divisor << 1);
    uint8_t round;

    if (size < 1024u) {
        work <<= 4;
    } else {
        for (round = 4u; round != 0u; round = (uint8_t)(round - 1u)) {
            OVENDRY_DIVIDE_STEP(work, divisor);
        }
    }
    for (round = 2u; round != 0u; round = (uint8_t)(round - 1u)) {
        OVENDRY_DIVIDE_STEP(work, divisor);
        OVENDRY_DIVIDE_STEP(work, divisor);
        OVENDRY_DIVIDE_STEP(work, divisor);
        OVENDRY_DIVIDE_STEP(work, divisor);
        OVENDRY_DIVIDE_STEP(work, divisor);
    }
    return (uint16_t)((uint16_t)work & 0x3FFFu);
}

/* theta_v x 10 000 at a corrected count inside the domain. */
static inline int16_t ovendry_at_sixteenths(const uint8_t *table, int32_t sixteenths)
{
    const uint8_t knots = ovendry_u8(table, OVENDRY_AT_KNOTS);
    const uint8_t *const knot = ovendry_lower_knot(table, knots, sixteenths);
    const uint8_t *const thetas = knot + (2u * (uint16_t)knots);
    const uint32_t counts = (uint32_t)OVENDRY_READ_U32(knot);
    const uint32_t theta_v = (uint32_t)OVENDRY_READ_U32(thetas);
    const uint16_t from = (uint16_t)counts;
    const uint16_t width = (uint16_t)((uint16_t)(counts >> 16) - from);
    const uint16_t position = (uint16_t)((uint16_t)sixteenths - (uint16_t)(from << 4));
    const uint16_t below = (uint16_t)theta_v;
    /* A number below zero wraps, and so does a fall. */
    const uint16_t rise = (uint16_t)((uint16_t)(theta_v >> 16) - below);
    const uint8_t falls = (uint8_t)(rise >= 0x8000u);
    uint16_t share = ovendry_share((falls != 0u) ? (uint16_t)(0u - rise) : rise, position, width);

    if (falls != 0u) {
        share = (uint16_t)(0u - share);
    }
    return (int16_t)(uint16_t)(below + share);
}

/* theta_v x 10 000 of a reading, or a fault. */
static inline int16_t ovendry_theta_v_e4(const uint8_t *table, uint16_t count,
                                         int16_t temperature_centi)
{
    const int32_t corrected = ovendry_corrected(table, count, temperature_centi);

    if (corrected < 0) {
        return (int16_t)corrected;
    }
    return ovendry_at_sixteenths(table, corrected);
}

/* Its expanded uncertainty (95 %) x 10 000, or a fault. */
static inline int16_t ovendry_uncertainty_e4(const uint8_t *table, uint16_t count,
                                             int16_t temperature_centi)
{
    const int32_t corrected = ovendry_corrected(table, count, temperature_centi);
    const uint8_t knots = ovendry_u8(table, OVENDRY_AT_KNOTS);
    const uint8_t *uncertainty;
    int16_t below;
    int16_t above;

    if (corrected < 0) {
        return (int16_t)corrected;
    }
    uncertainty = ovendry_lower_knot(table, knots, corrected) + (4u * (uint16_t)knots);
    below = (int16_t)OVENDRY_READ_U16(uncertainty);
    above = (int16_t)OVENDRY_READ_U16(uncertainty + 2);
    return (below > above) ? below : above;
}

#define OVENDRY_PUMP_ON 1u
#define OVENDRY_PUMP_COUNTED 2u

/* What a pump's control remembers from one reading to the next. */
typedef struct ovendry_pump {
    uint32_t since_s;   /* last switch, or power-up */
    uint32_t now_s;     /* latest reading, or power-up */
    uint32_t changed_s; /* when the count last changed */
    uint16_t count;     /* latest count, if any */
    uint8_t state;      /* OVENDRY_PUMP_ON, OVENDRY_PUMP_COUNTED */
} ovendry_pump;

/* Power-up: off, and as if just stopped. */
static inline void ovendry_pump_start(ovendry_pump *pump, uint32_t now_s)
{
    pump->since_s = now_s;
    pump->now_s = now_s;
    pump->changed_s = now_s;
    pump->count = 0u;
    pump->state = 0u;
}

/*
 * One reading at now_s, seconds of a clock that should not be set back. Nonzero
 * while the pump is to be on. Puts theta_v x 10 000 or a fault into *answer;
 * at a fault the pump is off.
 */
static inline uint8_t ovendry_pump_step(ovendry_pump *pump, const uint8_t *table, uint32_t now_s,
                                        uint16_t count, int16_t temperature_centi, int16_t *answer)
{
    const uint8_t set_back = (uint8_t)(now_s < pump->now_s);
    const uint32_t stuck_after_s = ovendry_u32(table, OVENDRY_AT_STUCK_AFTER);
    int16_t theta_v = ovendry_theta_v_e4(table, count, temperature_centi);
    uint8_t on = (uint8_t)(pump->state & OVENDRY_PUMP_ON);

    pump->now_s = now_s;
    if ((pump->state < OVENDRY_PUMP_COUNTED) || (count != pump->count) || (set_back != 0u)) {
        pump->count = count;
        pump->changed_s = now_s;
    }
    if ((stuck_after_s != 0u) && ((now_s - pump->changed_s) >= stuck_after_s)
        && ((theta_v > OVENDRY_FAULT_NO_SUCH_COUNT)
            || (theta_v < OVENDRY_FAULT_SHORT_CIRCUIT))) {
        theta_v = OVENDRY_FAULT_STUCK;
    }

    if ((set_back != 0u)
        || ((on != 0u)
            && ((now_s - pump->since_s) >= ovendry_u32(table, OVENDRY_AT_MAXIMUM_ON)))) {
        /* Nobody knows how long it has been on or off, or it has run long enough. */
        on = 0u;
        pump->since_s = now_s;
    } else {
        const uint8_t was = on;
        const uint32_t held_s = now_s - pump->since_s;

        if (OVENDRY_IS_FAULT(theta_v)) {
            on = 0u;
        } else if (on != 0u) {
            if ((theta_v >= ovendry_i16(table, OVENDRY_AT_STOP))
                && (held_s >= ovendry_u32(table, OVENDRY_AT_MINIMUM_ON))) {
                on = 0u;
            }
        } else if ((theta_v <= ovendry_i16(table, OVENDRY_AT_REFILL))
                   && (held_s >= ovendry_u32(table, OVENDRY_AT_MINIMUM_OFF))) {
            on = OVENDRY_PUMP_ON;
        } else {
            /* stays off */
        }
        if (on != was) {
            pump->since_s = now_s;
        }
    }
    pump->state = (uint8_t)(on | OVENDRY_PUMP_COUNTED);
    *answer = theta_v;
    return on;
}

/* CRC-32 of the first length bytes (0xEDB88320 reflected, 0xFFFFFFFF before and after). */
static inline uint32_t ovendry_crc32(const uint8_t *table, uint16_t length)
{
    uint32_t crc = (uint32_t)0xFFFFFFFFUL;
    uint16_t at;
    uint8_t bit;

    for (at = 0u; at < length; at = (uint16_t)(at + 1u)) {
        crc ^= ovendry_u8(table, at);
        for (bit = 0u; bit < 8u; bit = (uint8_t)(bit + 1u)) {
            crc = ((crc & 1u) != 0u) ? ((crc >> 1) ^ (uint32_t)0xEDB88320UL) : (crc >> 1);
        }
    }
    return crc ^ (uint32_t)0xFFFFFFFFUL;
}

/* Nonzero if the number YYYYMMDD is a day from 1970 to 9999. */
static inline uint8_t ovendry_is_day(uint32_t number)
{
    const uint32_t year = number / 10000u;
    const uint16_t rest = (uint16_t)(number % 10000u);
    const uint8_t month = (uint8_t)(rest / 100u);
    const uint8_t day = (uint8_t)(rest % 100u);
    uint8_t days = 31u;

    if ((year < 1970u) || (year > 9999u) || (month < 1u) || (month > 12u)) {
        return 0u;
    }
    if ((month == 4u) || (month == 6u) || (month == 9u) || (month == 11u)) {
        days = 30u;
    } else if (month == 2u) {
        const uint16_t short_year = (uint16_t)year;

        days = (((short_year % 4u) == 0u)
                && (((short_year % 100u) != 0u) || ((short_year % 400u) == 0u)))
                   ? 29u
                   : 28u;
    } else {
        /* 31 */
    }
    return (uint8_t)((day >= 1u) && (day <= days));
}

static inline uint8_t ovendry_is_temperature(int16_t centi)
{
    return (uint8_t)((centi >= -4000) && (centi <= 8500));
}

/* Whether the term's product and correction fit at an accepted temperature. */
static inline uint8_t ovendry_correction_fits(const uint8_t *table, int16_t centi)
{
    const int16_t difference = (int16_t)(centi - ovendry_i16(table, OVENDRY_AT_REFERENCE));
    const uint16_t by = (uint16_t)((difference < 0) ? -difference : difference);
    const int32_t coefficient = ovendry_i32(table, OVENDRY_AT_COEFFICIENT);
    const uint32_t size = (coefficient < 0) ? (0u - (uint32_t)coefficient) : (uint32_t)coefficient;
    const uint32_t upper = (size >> 16) * by;
    const uint8_t shift = ovendry_u8(table, OVENDRY_AT_SHIFT);
    const uint32_t half = ((uint32_t)1u << shift) >> 1;
    uint32_t product;

    if (upper > 32767u) {
        return 0u;
    }
    /* The difference is at most 12 500, so this fits 32 bits without a sign. */
    product = (upper << 16) + ((size & (uint32_t)0xFFFFu) * by) + half;
    return (uint8_t)((product <= (uint32_t)0x7FFFFFFFUL)
                     && ((product >> shift)
                         <= ((uint32_t)ovendry_u16(table, OVENDRY_AT_FULL_SCALE) << 4)));
}

/* Whether the temperature term can be used; without one its numbers are zero. */
static inline uint8_t ovendry_term_is_sound(const uint8_t *table)
{
    const uint8_t shift = ovendry_u8(table, OVENDRY_AT_SHIFT);
    const int16_t reference = ovendry_i16(table, OVENDRY_AT_REFERENCE);
    const int16_t lowest = ovendry_i16(table, OVENDRY_AT_LOWEST);
    const int16_t highest = ovendry_i16(table, OVENDRY_AT_HIGHEST);

    if ((ovendry_u8(table, OVENDRY_AT_FLAGS) & OVENDRY_FLAG_TEMPERATURE) == 0u) {
        return (uint8_t)((shift == 0u) && (reference == 0) && (lowest == 0) && (highest == 0)
                         && (ovendry_u32(table, OVENDRY_AT_COEFFICIENT) == 0u));
    }
    return (uint8_t)(((shift == 0u) || (shift == 8u) || (shift == 16u))
                     && (ovendry_is_temperature(reference) != 0u)
                     && (ovendry_is_temperature(lowest) != 0u)
                     && (ovendry_is_temperature(highest) != 0u) && (lowest < highest)
                     && (ovendry_correction_fits(table, lowest) != 0u)
                     && (ovendry_correction_fits(table, highest) != 0u));
}

/* Whether the knots are in order and the domain ends at the first and the last. */
static inline uint8_t ovendry_knots_are_sound(const uint8_t *table)
{
    const uint8_t knots = ovendry_u8(table, OVENDRY_AT_KNOTS);
    const uint16_t column = (uint16_t)(2u * knots);
    const uint8_t falls = (uint8_t)(ovendry_u8(table, OVENDRY_AT_FLAGS) & OVENDRY_FLAG_COUNTS_FALL);
    const int32_t low = ovendry_i32(table, OVENDRY_AT_DOMAIN_LOW);
    const int32_t high = ovendry_i32(table, OVENDRY_AT_DOMAIN_HIGH);
    uint16_t count = 0u;
    int16_t theta_v = 0;
    uint8_t rises = 0u;
    uint8_t i;

    for (i = 0u; i < knots; i = (uint8_t)(i + 1u)) {
        const uint16_t at = (uint16_t)(OVENDRY_AT_COUNTS + (2u * i));
        const uint16_t next_count = ovendry_u16(table, at);
        const int16_t next_theta_v = ovendry_i16(table, (uint16_t)(at + column));

        if ((next_theta_v < -2000) || (next_theta_v > 12000)
            || (ovendry_u16(table, (uint16_t)(at + (2u * column))) > 10000u)) {
            return 0u;
        }
        if (i == 0u) {
            /* Sixteenths above the first; a number below it wraps to a large one. */
            if (((uint32_t)low - ((uint32_t)next_count << 4)) > 15u) {
                return 0u;
            }
        } else {
            if ((next_count <= count) || ((uint16_t)(next_count - count) > 4095u)
                || ((falls != 0u) ? (next_theta_v > theta_v) : (next_theta_v < theta_v))) {
                return 0u;
            }
            if (next_theta_v != theta_v) {
                rises = 1u;
            }
        }
        count = next_count;
        theta_v = next_theta_v;
    }
    return (uint8_t)((rises != 0u) && (low < high)
                     && ((((uint32_t)count << 4) - (uint32_t)high) <= 15u));
}

/* theta_v x 10 000 at a corrected count, brought into the domain first. */
static inline int16_t ovendry_clipped(const uint8_t *table, int32_t sixteenths)
{
    const int32_t low = ovendry_i32(table, OVENDRY_AT_DOMAIN_LOW);
    const int32_t high = ovendry_i32(table, OVENDRY_AT_DOMAIN_HIGH);
    const int32_t raised = (sixteenths < low) ? low : sixteenths;

    return ovendry_at_sixteenths(table, (raised > high) ? high : raised);
}

/*
 * Whether a set point's count has an answer and belongs to its theta_v: a count
 * is rounded, and the table is off the curve by up to its stated error.
 */
static inline uint8_t ovendry_point_is_sound(const uint8_t *table, int16_t theta_v, uint16_t count)
{
    const int32_t at = (int32_t)((uint32_t)count << 4);
    const int32_t slack = (int32_t)ovendry_u16(table, OVENDRY_AT_MAX_ERROR) + 1;
    int16_t least;
    int16_t most;

    if ((at < ovendry_i32(table, OVENDRY_AT_DOMAIN_LOW))
        || (at > ovendry_i32(table, OVENDRY_AT_DOMAIN_HIGH))) {
        return 0u;
    }
    least = ovendry_clipped(table, at - 16);
    most = ovendry_clipped(table, at + 16);
    if (least > most) {
        const int16_t swap = least;

        least = most;
        most = swap;
    }
    return (uint8_t)(((int32_t)theta_v >= ((int32_t)least - slack))
                     && ((int32_t)theta_v <= ((int32_t)most + slack)));
}

static inline uint8_t ovendry_points_are_sound(const uint8_t *table)
{
    const uint8_t falls = (uint8_t)(ovendry_u8(table, OVENDRY_AT_FLAGS) & OVENDRY_FLAG_COUNTS_FALL);
    const int16_t refill = ovendry_i16(table, OVENDRY_AT_REFILL);
    const int16_t stop = ovendry_i16(table, OVENDRY_AT_STOP);
    const uint16_t refill_count = ovendry_u16(table, OVENDRY_AT_REFILL_COUNT);
    const uint16_t stop_count = ovendry_u16(table, OVENDRY_AT_STOP_COUNT);

    return (uint8_t)((refill < stop)
                     && ((falls != 0u) ? (refill_count > stop_count) : (refill_count < stop_count))
                     && (ovendry_point_is_sound(table, refill, refill_count) != 0u)
                     && (ovendry_point_is_sound(table, stop, stop_count) != 0u));
}

/* Times at most seven days, and the days it was calibrated and is due again. */
static inline uint8_t ovendry_times_are_sound(const uint8_t *table)
{
    const uint32_t minimum_on_s = ovendry_u32(table, OVENDRY_AT_MINIMUM_ON);
    const uint32_t maximum_on_s = ovendry_u32(table, OVENDRY_AT_MAXIMUM_ON);
    const uint32_t calibrated_on = ovendry_u32(table, OVENDRY_AT_CALIBRATED_ON);
    const uint32_t recheck_by = ovendry_u32(table, OVENDRY_AT_RECHECK_BY);
    const uint32_t longest_s = (uint32_t)604800UL;

    return (uint8_t)((minimum_on_s <= maximum_on_s) && (maximum_on_s >= 1u)
                     && (maximum_on_s <= longest_s)
                     && (ovendry_u32(table, OVENDRY_AT_MINIMUM_OFF) <= longest_s)
                     && (ovendry_u32(table, OVENDRY_AT_STUCK_AFTER) <= longest_s)
                     && (calibrated_on <= recheck_by) && (ovendry_is_day(calibrated_on) != 0u)
                     && (ovendry_is_day(recheck_by) != 0u));
}

/* Whether the live codes cut off none that has an answer at an accepted temperature. */
static inline uint8_t ovendry_live_is_sound(const uint8_t *table)
{
    const uint16_t full_scale = ovendry_u16(table, OVENDRY_AT_FULL_SCALE);
    const uint16_t live_low = ovendry_u16(table, OVENDRY_AT_LIVE_LOW);
    const uint16_t live_high = ovendry_u16(table, OVENDRY_AT_LIVE_HIGH);
    int32_t low = ovendry_i32(table, OVENDRY_AT_DOMAIN_LOW);
    int32_t high = ovendry_i32(table, OVENDRY_AT_DOMAIN_HIGH);

    if ((ovendry_u8(table, OVENDRY_AT_FLAGS) & OVENDRY_FLAG_TEMPERATURE) != 0u) {
        const int32_t cold = ovendry_correction(table, ovendry_i16(table, OVENDRY_AT_LOWEST));
        const int32_t warm = ovendry_correction(table, ovendry_i16(table, OVENDRY_AT_HIGHEST));

        low += (cold < warm) ? cold : warm;
        high += (cold < warm) ? warm : cold;
    }
    return (uint8_t)((live_low <= live_high) && (live_high <= full_scale)
                     && ((live_low == 0u) || ((((int32_t)live_low - 1) * 16) < low))
                     && ((live_high == full_scale) || ((((int32_t)live_high + 1) * 16) > high)));
}

/*
 * Nonzero if the bytes are a table of this version that can be used: length,
 * CRC-32, and every number where it has to be. Reads no byte beyond length.
 */
static inline uint8_t ovendry_is_sound(const uint8_t *table, uint16_t length)
{
    uint8_t knots;
    uint16_t full_scale;
    uint16_t max_error;

    if (length < (OVENDRY_AT_COUNTS + 4u)) {
        return 0u;
    }
    knots = ovendry_u8(table, OVENDRY_AT_KNOTS);
    if ((ovendry_u8(table, OVENDRY_AT_VERSION) != (uint8_t)OVENDRY_READER_VERSION) || (knots < 2u)
        || (length != (uint16_t)(OVENDRY_AT_COUNTS + 4u + (6u * knots)))) {
        return 0u;
    }
    if (ovendry_crc32(table, (uint16_t)(length - 4u))
        != ovendry_u32(table, (uint16_t)(length - 4u))) {
        return 0u;
    }
    full_scale = ovendry_u16(table, OVENDRY_AT_FULL_SCALE);
    max_error = ovendry_u16(table, OVENDRY_AT_MAX_ERROR);
    return (uint8_t)((ovendry_u8(table, OVENDRY_AT_FLAGS)
                      <= (OVENDRY_FLAG_COUNTS_FALL | OVENDRY_FLAG_TEMPERATURE
                          | OVENDRY_FLAG_OPEN_HIGH))
                     && (full_scale >= 255u)
                     && ((full_scale & (uint16_t)(full_scale + 1u)) == 0u)
                     && (max_error >= 1u) && (max_error <= 10000u)
                     && (ovendry_term_is_sound(table) != 0u)
                     && (ovendry_knots_are_sound(table) != 0u)
                     && (ovendry_live_is_sound(table) != 0u)
                     && (ovendry_points_are_sound(table) != 0u)
                     && (ovendry_times_are_sound(table) != 0u));
}

#endif
