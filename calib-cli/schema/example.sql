-- Controller table of one soil moisture probe: from raw count to volumetric
-- water content theta_v, as one SQL expression in whole numbers only.
--
-- probe: "bench-3"
-- soil: "test bed"
-- table version 2, table_crc32 ec201978
-- calibrated on 2025-04-02, check again by 2026-04-02
-- 10-bit converter; its count falls as the soil gets wetter
-- calibrated from 310.56 to 699.19 counts; never extended beyond
-- below 10 and above 1013 counts the wire is broken or shorted; an open circuit reads low
-- needs the soil temperature, 11.50 to 27.80 C; counts hold at 20.00 C
-- start at or below theta_v 0.1690 m3/m3 (532 counts), stop at or above 0.2440 (443 counts)
-- pump on for 60 to 2700 s, off for 900 s or more; stuck after 86400 s without change
-- within 0.0006 m3/m3 of the fitted curve; straight lines between 5 knots:
--     310 counts: theta_v 0.4180 +- 0.0231 m3/m3
--     372 counts: theta_v 0.3227 +- 0.0214 m3/m3
--     455 counts: theta_v 0.2310 +- 0.0203 m3/m3
--     562 counts: theta_v 0.1452 +- 0.0199 m3/m3
--     700 counts: theta_v 0.0684 +- 0.0206 m3/m3
--
-- Do not edit: `ovendry verify` refuses the file if a byte has changed.
--
-- For a query or a view over columns of any whole-number type:
--
--     SELECT
--         raw_count, soil_temp_centi,
--         (
--             this file
--         ) AS theta_v_e4
--     FROM readings
--
-- soil_temp_centi is in hundredths of a degree Celsius, NULL where there is none;
-- where raw_count is NULL, so is the answer. theta_v_e4 is theta_v in m3/m3 times
-- 10 000 (2534 is 0.2534 m3/m3), or a fault, of those that a row alone can tell:
--
--     -30001 no count the converter can give
--     -30002 open circuit: the wire to the probe is broken
--     -30003 short circuit in the wire to the probe
--     -30005 soil temperature missing
--     -30006 soil temperature outside those calibrated
--     -30007 count below those calibrated
--     -30008 count above those calibrated
--
-- Exact in an engine with MOD and BIGINT: numbers fit 64 bits, and what is divided is
-- a multiple, since some engines divide to fractions and others cut them off.
-- n - MOD(n, d) is the multiple of d at or below n.
-- The corrected count stands as its 1048576fold and 4915200 more:
--
--     1048576 * CAST(raw_count AS BIGINT) + (17529967 - 6291 * CAST(soil_temp_centi AS BIGINT))
--
-- Caution: a wrong reading can flood a field. Fit a shut-off that works without
-- this controller, protect the water supply against backflow, and leave mains
-- wiring near water to licensed persons; local codes come first. A controller
-- without a sound table, or that meets any fault, keeps the pump off.
--
-- image: 02031005ff030a00f503d0077e04dc0a9318000069130000b32b00009a068809
-- image: 1402bb0106003c000000840300008c0a00008051010022ff3401322635013601
-- image: 7401c7013202bc0254109b0c0609ac05ac02e700d600cb00c700ce00781920ec
CASE
    WHEN raw_count IS NULL THEN NULL
    WHEN raw_count < 0 OR raw_count > 1023 THEN -30001
    WHEN raw_count < 10 THEN -30002
    WHEN raw_count > 1013 THEN -30003
    WHEN soil_temp_centi IS NULL THEN -30005
    WHEN soil_temp_centi < 1150 OR soil_temp_centi > 2780 THEN -30006
    WHEN 1048576 * CAST(raw_count AS BIGINT) + (17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)) < 330563584 THEN -30007
    WHEN 1048576 * CAST(raw_count AS BIGINT) + (17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)) < 395051008 THEN 4180 - CAST((953 * (1048576 * CAST(raw_count AS BIGINT) + (17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)) - MOD((17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)), 65536)) - 314432487424 - MOD(953 * (1048576 * CAST(raw_count AS BIGINT) + (17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)) - MOD((17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)), 65536)) - 314432487424, 65011712)) / 65011712 AS BIGINT)
    WHEN 1048576 * CAST(raw_count AS BIGINT) + (17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)) < 482082816 THEN 3227 - CAST((917 * (1048576 * CAST(raw_count AS BIGINT) + (17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)) - MOD((17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)), 65536)) - 362158161920 - MOD(917 * (1048576 * CAST(raw_count AS BIGINT) + (17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)) - MOD((17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)), 65536)) - 362158161920, 87031808)) / 87031808 AS BIGINT)
    WHEN 1048576 * CAST(raw_count AS BIGINT) + (17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)) < 594280448 THEN 2310 - CAST((858 * (1048576 * CAST(raw_count AS BIGINT) + (17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)) - MOD((17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)), 65536)) - 413514727424 - MOD(858 * (1048576 * CAST(raw_count AS BIGINT) + (17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)) - MOD((17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)), 65536)) - 413514727424, 112197632)) / 112197632 AS BIGINT)
    WHEN 1048576 * CAST(raw_count AS BIGINT) + (17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)) < 738131968 THEN 1452 - CAST((768 * (1048576 * CAST(raw_count AS BIGINT) + (17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)) - MOD((17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)), 65536)) - 456284700672 - MOD(768 * (1048576 * CAST(raw_count AS BIGINT) + (17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)) - MOD((17529967 - 6291 * CAST(soil_temp_centi AS BIGINT)), 65536)) - 456284700672, 144703488)) / 144703488 AS BIGINT)
    ELSE -30008
END
-- sha256: 8bde019de03dd82e0e5ac897d3a975dc8b9c51f0f7a1d2d67b1254bac92a58f7
-- crc32: 98b45635
