/*
 * Controller table of one soil moisture probe: from raw count to volumetric
 * water content theta_v, in integers only. C99, or C++11 and later.
 *
 * probe: "bench-3"
 * soil: "test bed"
 * table version 2, table_crc32 ec201978
 * calibrated on 2025-04-02, check again by 2026-04-02
 * 10-bit converter; its count falls as the soil gets wetter
 * calibrated from 310.56 to 699.19 counts; never extended beyond
 * below 10 and above 1013 counts the wire is broken or shorted; an open circuit reads low
 * needs the soil temperature, 11.50 to 27.80 C; counts hold at 20.00 C
 * start at or below theta_v 0.1690 m3/m3 (532 counts), stop at or above 0.2440 (443 counts)
 * pump on for 60 to 2700 s, off for 900 s or more; stuck after 86400 s without change
 * within 0.0006 m3/m3 of the fitted curve; straight lines between 5 knots:
 *     310 counts: theta_v 0.4180 +- 0.0231 m3/m3
 *     372 counts: theta_v 0.3227 +- 0.0214 m3/m3
 *     455 counts: theta_v 0.2310 +- 0.0203 m3/m3
 *     562 counts: theta_v 0.1452 +- 0.0199 m3/m3
 *     700 counts: theta_v 0.0684 +- 0.0206 m3/m3
 *
 * Do not edit: `ovendry verify` refuses the file if a byte has changed.
 *
 *   static ovendry_pump pump;
 *   int16_t answer;  theta_v in m3/m3 times 10 000, or a fault
 *
 *   at start: sound = ovendry_is_sound(ovendry_table_bench_3, OVENDRY_TABLE_BENCH_3_LENGTH);
 *             ovendry_pump_start(&pump, now_s);
 *   at each reading, temperature in hundredths of a degree Celsius:
 *   on = sound && ovendry_pump_step(
 *       &pump, ovendry_table_bench_3, now_s, count, temperature_centi, &answer);
 *
 * Caution: a wrong reading can flood a field. Fit a shut-off that works without
 * this controller, protect the water supply against backflow, and leave mains
 * wiring near water to licensed persons; local codes come first. A controller
 * without a sound table, or that meets any fault, keeps the pump off.
 */
#ifndef OVENDRY_TABLE_BENCH_3_H
#define OVENDRY_TABLE_BENCH_3_H

#include "ovendry_reader.h"

#if OVENDRY_READER_VERSION != 2
#error "this table needs ovendry_reader.h of version 2; export both again"
#endif

#define OVENDRY_TABLE_BENCH_3_LENGTH 96u

static const uint8_t ovendry_table_bench_3[OVENDRY_TABLE_BENCH_3_LENGTH] OVENDRY_FLASH = {
    0x02, 0x03, 0x10, 0x05, 0xff, 0x03, 0x0a, 0x00, 0xf5, 0x03, 0xd0, 0x07,
    0x7e, 0x04, 0xdc, 0x0a, 0x93, 0x18, 0x00, 0x00, 0x69, 0x13, 0x00, 0x00,
    0xb3, 0x2b, 0x00, 0x00, 0x9a, 0x06, 0x88, 0x09, 0x14, 0x02, 0xbb, 0x01,
    0x06, 0x00, 0x3c, 0x00, 0x00, 0x00, 0x84, 0x03, 0x00, 0x00, 0x8c, 0x0a,
    0x00, 0x00, 0x80, 0x51, 0x01, 0x00, 0x22, 0xff, 0x34, 0x01, 0x32, 0x26,
    0x35, 0x01, 0x36, 0x01, 0x74, 0x01, 0xc7, 0x01, 0x32, 0x02, 0xbc, 0x02,
    0x54, 0x10, 0x9b, 0x0c, 0x06, 0x09, 0xac, 0x05, 0xac, 0x02, 0xe7, 0x00,
    0xd6, 0x00, 0xcb, 0x00, 0xc7, 0x00, 0xce, 0x00, 0x78, 0x19, 0x20, 0xec
};

#endif
/* sha256: 5be12f4c8cdbfe6c827da4aa8a6cfa30e97ca26be2b9e00fbc1436666211f2ec */
/* crc32: a8cb4253 */
