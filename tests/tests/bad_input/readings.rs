//! readings.csv.

use super::Edit::{Change, Fill};
use super::{READINGS, refused};

kinds! {
    "unknown-probe" a_reading_of_an_unknown_probe_gets_the_nearest_suggested:
        Change(READINGS, "08:12:00Z,P1,613", "08:12:00Z,p1,613")
        => "readings.csv:9: probe_id = \"p1\": is not a probe of site.toml",
           "write P1, or add the probe to site.toml";
    "probe-missing" a_reading_without_a_probe_is_refused:
        Change(READINGS, "08:12:00Z,P1,613", "08:12:00Z,,613")
        => "readings.csv:9: probe_id = \"\": is empty",
           "write the id of a probe of site.toml";
    "count-missing" a_reading_without_a_count_is_refused:
        Change(READINGS, ",614,", ",,")
        => "readings.csv:8: raw_count = \"\": is empty",
           "write the value, or remove the row";
    "count-too-large" a_count_above_the_largest_code_is_refused:
        Change(READINGS, ",614,", ",1024,")
        => "readings.csv:8: raw_count = \"1024\": is above 1023, the largest code of the 10 bits of P1",
           "correct adc_bits of the probe in site.toml, or remove the reading";
    "negative-count" a_negative_count_is_refused:
        Change(READINGS, ",614,", ",-3,")
        => "readings.csv:8: raw_count = \"-3\": is negative",
           "log the converter's own code, without an offset taken off";
    "fractional-count" a_voltage_for_a_count_is_refused:
        Change(READINGS, ",614,", ",1.98,")
        => "readings.csv:8: raw_count = \"1.98\": is not a whole number",
           "log the converter's own code: no mean, no voltage, no thousands separator";
    "all-readings-at-the-rail" a_window_at_the_end_of_the_converters_range_is_refused:
        Fill { file: READINGS, column: "raw_count", rows: "A2", value: "1023" }
        => "readings.csv:7: raw_count = \"1023\": probe P1, core A2: 5 of 5 readings say 1023, where the converter's range ends",
           "check the probe's wiring and supply, and the converter's reference voltage and number of bits; log again, or remove these readings";
    "temperature-sensor-absent" the_code_of_a_silent_temperature_sensor_is_refused:
        Change(READINGS, "17.0,3300,A2", "-127,3300,A2")
        => "readings.csv:8: soil_temp_c = \"-127\": is what a one-wire temperature sensor says when it does not answer, not a temperature",
           "mend its wiring; leave the cell empty where it gave no temperature";
    "temperature-power-on" the_power_on_code_of_a_temperature_sensor_is_refused:
        Change(READINGS, "17.0,3300,A2", "85.00,3300,A2")
        => "readings.csv:8: soil_temp_c = \"85.00\": is what a one-wire temperature sensor holds before its first measurement, not a temperature",
           "wait for the conversion before reading it; leave the cell empty where it gave no temperature";
    "temperature-impossible" a_temperature_no_soil_has_is_refused:
        Change(READINGS, "17.0,3300,A2", "170,3300,A2")
        => "readings.csv:8: soil_temp_c = \"170\": temperature 170 C lies outside -40 to 85 C",
           "write it in degrees Celsius, or leave the cell empty";
    "supply-in-volts" a_supply_in_volts_is_recognised:
        Change(READINGS, "17.0,3300,A2", "17.0,3.3,A2")
        => "readings.csv:8: supply_mv = \"3.3\": looks like volts, not millivolts",
           "write it in millivolts: 3300 for 3.3 V";
}
