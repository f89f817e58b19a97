//! What can be wrong with a file of pairs. Two rows are all it takes: it is refused
//! before anything is studied.

use super::Edit::Whole;
use super::refused;

const PAIRS: &str = "pairs.csv";

macro_rules! rows {
    ($($row:literal),+) => {
        concat!("sample_id,soil,probe_id,raw_count,theta_v,theta_v_u,count_u,soil_temp_c,batch,place,taken_at,count_low_medium,count_high_medium\n", $($row, "\n"),+).as_bytes()
    };
}

kinds! {
    "pairs-not-there" a_file_of_pairs_that_is_not_there_is_named by ["accuracy", "autumn.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,0.254,0.004,0.6,,,,,,"))
        => "autumn.csv: is neither a folder nor a file",
           "name a workbench folder, or a file of pairs such as `ovendry pair` writes";
    "pairs-mistyped-name" a_mistyped_file_of_pairs_is_met_with_the_one_there by ["accuracy", "paris.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,0.254,0.004,0.6,,,,,,"))
        => "paris.csv: is neither a folder nor a file",
           "did you mean pairs.csv? If not, name a workbench folder, or a file of pairs such as `ovendry pair` writes";
    "pairs-other-kind" a_controller_file_is_no_table_of_pairs by ["accuracy", "P1.h"]:
        Whole("P1.h", b"#ifndef P1\n")
        => "P1.h: is a controller file, not a table of pairs",
           "give a file of pairs such as `ovendry pair` writes; `ovendry verify` checks it, `ovendry compare` sets two side by side";
    "pairs-table-of-workbench" a_table_of_a_workbench_is_no_table_of_pairs by ["accuracy", "samples.csv"]:
        Whole("notes.txt", b"none")
        => "samples.csv: is the table of cores of a workbench, not a table of pairs",
           "give the folder: .";
    "pairs-per-cent" a_water_content_in_per_cent_is_refused by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,25.4,0.004,0.6,,,,,,"))
        => "pairs.csv:2: theta_v = \"25.4\": looks like per cent, not m3/m3",
           "write it as a share of the volume: 0.254 for 25.4 %";
    "pairs-per-cent-sign" a_per_cent_sign_in_a_water_content_is_refused by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,6.0 %,0.004,0.6,,,,,,"))
        => "pairs.csv:2: theta_v = \"6.0 %\": is per cent, not a share of the volume",
           "write it as a share of the volume: 0.060 for 6.0 %";
    "pairs-count-none" a_word_for_no_count_is_refused by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,n/a,0.254,0.004,0.6,,,,,,"))
        => "pairs.csv:2: raw_count = \"n/a\": stands for no number",
           "weigh or read it again, or remove the row";
    "pairs-temperature-none" a_word_for_no_temperature_may_be_left_out by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,0.254,0.004,0.6,n/a,,,,,"))
        => "pairs.csv:2: soil_temp_c = \"n/a\": stands for no number",
           "leave the cell empty where there is no value";
    "pairs-medium-mistyped" a_mistyped_medium_is_told_once by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, b"sample_id,soil,probe_id,raw_count,theta_v,count_low_medum,count_high_medium\nA1,loam,P1,512,0.254,830,210\nA2,loam,P1,498,0.245,830,210\n")
        => "pairs.csv:1: count_low_medum: looks like the column `count_low_medium`, which is not there",
           "rename the column `count_low_medum` to `count_low_medium`, or give a column of your own another name";
    "pairs-time-with-hyphen" a_column_of_times_with_a_hyphen_is_recognised by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, b"sample_id,soil,probe_id,raw_count,theta_v,taken-at\nA1,loam,P1,512,0.254,2026-11-25\nA2,loam,P1,498,0.245,2026-11-25\n")
        => "pairs.csv:1: taken-at: looks like the column `taken_at`, which is not there",
           "rename the column `taken-at` to `taken_at`, or give a column of your own another name";
    "pairs-water-impossible" a_water_content_no_soil_has_is_refused by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,-0.02,0.004,0.6,,,,,,"))
        => "pairs.csv:2: theta_v = \"-0.02\": lies outside 0 to 1 m3/m3",
           "write the core's volumetric water content by oven-drying, or remove the row";
    "pairs-uncertainty-per-cent" an_uncertainty_in_per_cent_is_refused by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,0.254,0.4,0.6,,,,,,"))
        => "pairs.csv:2: theta_v_u = \"0.4\": is not a standard uncertainty above 0 and up to 0.1 m3/m3",
           "write it in m3/m3: 0.004 for 0.4 %; or leave the cell empty for 0.005";
    "pairs-count-uncertainty-zero" a_count_without_uncertainty_is_refused by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,0.254,0.004,0,,,,,,"))
        => "pairs.csv:2: count_u = \"0\": is not a standard uncertainty above 0",
           "write it in counts, or leave the cell empty for rounding alone";
    "pairs-count-negative" a_negative_centre_of_counts_is_refused by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,-512,0.254,0.004,0.6,,,,,,"))
        => "pairs.csv:2: raw_count = \"-512\": is negative",
           "write the converter's own code, without an offset taken off";
    "pairs-thermometer-silent" a_silent_thermometer_beside_a_core_is_refused by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,0.254,0.004,0.6,-127,,,,,"))
        => "pairs.csv:2: soil_temp_c = \"-127\": is what a one-wire temperature sensor says when it does not answer, not a temperature",
           "mend its wiring; leave the cell empty where it gave no temperature";
    "pairs-day-first" a_day_in_another_order_is_refused by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,0.254,0.004,0.6,,,,25/11/2026,,"))
        => "pairs.csv:2: taken_at = \"25/11/2026\": is neither a day nor a time in RFC 3339 form with its offset",
           "write it like 2026-11-25 or 2026-11-25T14:05:00+01:00";
    "pairs-no-such-day" a_day_no_calendar_has_is_refused by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,0.254,0.004,0.6,,,,2027-02-30,,"))
        => "pairs.csv:2: taken_at = \"2027-02-30\": is no day of the calendar: February 2027 has 28 days",
           "correct the day";
    "pairs-no-such-month" a_month_no_year_has_is_refused by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,0.254,0.004,0.6,,,,2027-25-11,,"))
        => "pairs.csv:2: taken_at = \"2027-25-11\": names month 25: there are 1 to 12",
           "write the year, then the month, then the day, like 2026-11-25";
    "pairs-year-impossible" a_day_before_all_probes_is_refused by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,0.254,0.004,0.6,,,,1970-01-01,,"))
        => "pairs.csv:2: taken_at = \"1970-01-01\": is before 2001 or after 2099",
           "correct the year, or leave the cell empty if it is not known";
    "pairs-row-twice" a_core_twice_beside_a_probe_is_refused by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,0.254,0.004,0.6,,,,,,", "A1,loam,P1,513,0.254,0.004,0.6,,,,,,"))
        => "pairs.csv:3: sample_id = \"A1\": stands beside probe P1 in line 2 already",
           "remove the row that stands twice, or give the cores ids of their own";
    "pairs-core-of-two-waters" a_core_of_two_water_contents_is_refused by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,0.254,0.004,0.6,,,,,,", "A1,loam,P2,498,0.245,0.004,0.6,,,,,,"))
        => "pairs.csv:3: theta_v = \"0.245\": is not what line 2 says of core A1",
           "a core says the same beside every probe: correct the row that is wrong, or give two cores two ids";
    "pairs-probe-of-two-batches" a_probe_of_two_batches_is_refused by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,0.254,0.004,0.6,,A,,,,", "A2,loam,P1,498,0.245,0.004,0.6,,B,,,,"))
        => "pairs.csv:3: batch = \"B\": is not what line 2 says of probe P1",
           "a probe is of one batch: write the same in each of its rows";
    "pairs-media-contradict" media_that_contradict_each_other_are_refused by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,0.254,0.004,0.6,,,,,830,210", "A2,loam,P1,498,0.245,0.004,0.6,,,,,830,211"))
        => "pairs.csv:3: count_high_medium = \"211\": is not what line 2 says of probe P1",
           "the media are one pair of counts a probe: write the same two in each of its rows";
    "pairs-one-medium" one_medium_without_the_other_is_refused by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,0.254,0.004,0.6,,,,,830,"))
        => "pairs.csv:2: count_high_medium = \"\": is empty where count_low_medium is not",
           "give the counts in both media, or in neither";
    "pairs-media-alike" two_media_that_read_alike_are_refused by ["accuracy", "pairs.csv"]:
        Whole(PAIRS, rows!("A1,loam,P1,512,0.254,0.004,0.6,,,,,830,830"))
        => "pairs.csv:2: count_high_medium = \"830\": is count_low_medium too",
           "read the probe in two media it tells apart, e.g. air and water, or leave both cells empty";
    "pairs-masses-for-water" a_table_of_masses_is_no_table_of_pairs by ["accuracy", "cores.csv"]:
        Whole("cores.csv", b"sample_id,soil,probe_id,raw_count,wet_g\nA1,loam,P1,512,190\n")
        => "cores.csv:1: theta_v: the column is missing",
           "add a column `theta_v`: water content of the core, m3/m3";
    "batch-no-text" a_batch_that_is_no_text_is_refused:
        super::Edit::Change("site.toml", "adc_bits = 10", "batch = 2026\nadc_bits = 10")
        => "site.toml:27: batch = \"2026\": is not text",
           "put it into quotation marks";
}
