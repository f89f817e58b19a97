//! samples.csv and readings.csv together.

use super::Edit::{Change, Fill, Without};
use super::{READINGS, SAMPLES, SITE, refused};

kinds! {
    "sample-without-readings" a_core_without_readings_is_refused:
        Without(READINGS, "A2")
        => "samples.csv:3: sample_id = \"A2\": has no readings: none of probe P1 names it, and none that names no core came in the 15 min up to taken_at",
           "write the core's id into sample_id of its readings, check taken_at and its offset from UTC, or lengthen window_minutes in site.toml";
    "reading-without-sample" a_reading_of_an_unknown_core_is_refused:
        Change(READINGS, "08:14:00Z,P1,615,16.9,3300,A2\n", "08:14:00Z,P1,615,16.9,3300,A2\n2026-05-05T08:14:30Z,P1,614,17.0,3300,B7\n")
        => "readings.csv:12: sample_id = \"B7\": is no core of samples.csv",
           "correct the id, add the core to samples.csv, or leave the cell empty to pair by time";
    "sample-id-mistyped" a_mistyped_id_is_told_once_with_the_core_it_leaves_alone:
        Fill { file: READINGS, column: "sample_id", rows: "A2", value: "A22" }
        => "readings.csv:7: sample_id = \"A22\": is no core of samples.csv, and core A2 there (line 3) has no readings (5 readings of P1 say so)",
           "if core A2 is meant, write the same id in both files; otherwise add the core to samples.csv, or leave the cell empty to pair by time";
    "no-way-to-pair" tables_with_nothing_to_pair_them_by_are_refused:
        Fill { file: READINGS, column: "sample_id", rows: "", value: "" },
        Fill { file: SAMPLES, column: "taken_at", rows: "", value: "" }
        => "samples.csv:2: taken_at = \"\": is empty for every core, and so is sample_id in readings.csv: nothing says which readings belong to which core",
           "fill taken_at with the time each core was taken, or sample_id in readings.csv with the core each reading belongs to";
    "reading-of-another-probe" readings_of_another_probe_than_the_cores_are_refused:
        Change(SITE, "[controller]", "[[probe]]\nid = \"P2\"\nadc_bits = 10\nsoil = \"loam\"\n\n[controller]"),
        Fill { file: SAMPLES, column: "probe_id", rows: "A3", value: "P2" },
        Fill { file: SAMPLES, column: "probe_id", rows: "A4", value: "P2" },
        Fill { file: READINGS, column: "probe_id", rows: "A2", value: "P2" },
        Fill { file: READINGS, column: "probe_id", rows: "A3", value: "P2" },
        Fill { file: READINGS, column: "probe_id", rows: "A4", value: "P2" }
        => "readings.csv:7: sample_id = \"A2\": stands beside probe P1 in samples.csv, and this is a reading of P2 (5 readings of P2 say so)",
           "correct the core's id or the probe here, or probe_id in samples.csv";
    "reading-of-another-soil" readings_of_a_probe_of_another_soil_are_refused:
        Change(SITE, "[[probe]]", "[[soil]]\nid = \"clay\"\ntexture = \"clay\"\n\n[[probe]]"),
        Change(SAMPLES, "A2,loam,L2,38.10,190.08,178.52,,P1", "A2,clay,L2,38.10,190.08,178.52,,")
        => "readings.csv:7: sample_id = \"A2\": is a core of soil clay (samples.csv:3), and this is a reading of probe P1, calibrated in soil loam (5 readings of P1 say so)",
           "correct the core's id, its soil, or the probe's soil; a probe calibrated in two soils needs an entry in site.toml for each";
    "one-level-only" cores_of_one_level_are_refused:
        Fill { file: SAMPLES, column: "level", rows: "", value: "L1" }
        => "samples.csv:2: level = \"L1\": is the level of all 6 cores of probe P1",
           "take cores at more moisture levels, from near dry to near saturation";
    "all-counts-alike" a_probe_that_says_one_thing_only_is_refused:
        Fill { file: READINGS, column: "raw_count", rows: "", value: "512" }
        => "readings.csv:2: raw_count = \"512\": is what all 30 readings of probe P1 say, dry or wet",
           "check the probe's wiring and supply and the converter's channel, then log again";
}
