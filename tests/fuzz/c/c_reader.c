/*
 * Fuzz target of ovendry_reader.h: any bytes are judged as they are, and again
 * with their version, length and CRC-32 mended. Whatever is found sound is read
 * at counts and temperatures and steps a pump, taken from the bytes too, and the
 * answers have to lie where a table's answers lie.
 *
 *   clang -std=c99 -g -O1 -fsanitize=fuzzer,address,undefined \
 *       -fno-sanitize-recover=all -I calib-cli/src/controller/c_header \
 *       tests/fuzz/c/c_reader.c -o c_reader
 *   ./c_reader NEW-FINDS tests/fuzz/corpus/c_reader
 */
#include "ovendry_reader.h"

#include <stddef.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void require(int holds)
{
    if (!holds) {
        abort();
    }
}

/* One reading by every function. */
static void read_once(const uint8_t *table, uint16_t count, int16_t centi)
{
    const int16_t theta_v = ovendry_theta_v_e4(table, count, centi);
    const int16_t uncertainty = ovendry_uncertainty_e4(table, count, centi);

    if (OVENDRY_IS_FAULT(theta_v)) {
        require(theta_v >= OVENDRY_FAULT_COUNT_ABOVE_DOMAIN);
        require(theta_v != OVENDRY_FAULT_STUCK);
        require(uncertainty == theta_v);
    } else {
        require((theta_v >= -2000) && (theta_v <= 12000));
        require((uncertainty >= 0) && (uncertainty <= 10000));
        require(count <= ovendry_u16(table, OVENDRY_AT_FULL_SCALE));
    }
}

static void use(const uint8_t *table, const uint8_t *data, size_t size)
{
    const uint16_t full_scale = ovendry_u16(table, OVENDRY_AT_FULL_SCALE);
    const uint32_t stride = 1u + ((uint32_t)full_scale / 512u);
    const int16_t lowest = ovendry_i16(table, OVENDRY_AT_LOWEST);
    const int16_t highest = ovendry_i16(table, OVENDRY_AT_HIGHEST);
    ovendry_pump pump;
    uint32_t now_s = 0u;
    uint32_t count;
    size_t at;

    for (count = 0u; count <= 65535u; count += stride) {
        read_once(table, (uint16_t)count, lowest);
        read_once(table, (uint16_t)count, highest);
        read_once(table, (uint16_t)count, OVENDRY_NO_TEMPERATURE);
    }
    ovendry_pump_start(&pump, now_s);
    for (at = 0u; (at + 6u) <= size; at++) {
        const uint16_t given = (uint16_t)(ovendry_read_u16(data + at) & full_scale);
        const int16_t centi = (int16_t)ovendry_read_u16(data + at + 4u);
        int16_t answer = 1;
        uint8_t on;

        read_once(table, given, centi);
        now_s += (uint32_t)ovendry_read_u16(data + at + 2u);
        if ((given & 31u) == 0u) {
            now_s -= 70000u;
        }
        on = ovendry_pump_step(&pump, table, now_s, given, ((given & 1u) != 0u) ? lowest : centi,
                               &answer);
        require((on == 0u) || !OVENDRY_IS_FAULT(answer));
        require((answer >= OVENDRY_FAULT_COUNT_ABOVE_DOMAIN) && (answer <= 12000));
    }
}

static void judge(const uint8_t *table, size_t length, const uint8_t *data, size_t size)
{
    if ((length <= 65535u) && (ovendry_is_sound(table, (uint16_t)length) != 0u)) {
        use(table, data, size);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    uint8_t *mended;
    size_t knots;
    size_t length;
    uint32_t crc;
    size_t i;

    judge(data, size, data, size);
    if (size < 78u) {
        return 0;
    }
    knots = data[3];
    if ((62u + (6u * knots) + 4u) > size) {
        knots = (size - 66u) / 6u;
    }
    length = 66u + (6u * knots);
    mended = (uint8_t *)malloc(length);
    require(mended != NULL);
    memcpy(mended, data, length);
    mended[0] = 2u;
    mended[3] = (uint8_t)knots;
    crc = ovendry_crc32(mended, (uint16_t)(length - 4u));
    for (i = 0u; i < 4u; i++) {
        mended[length - 4u + i] = (uint8_t)(crc >> (8u * i));
    }
    judge(mended, length, data, size);
    free(mended);
    return 0;
}
