//! site.toml: how water comes, how the probe is read, stages and beds.

use super::Edit::Change;
use super::{SITE, refused};

/// One more key of `[controller]`, the last table.
macro_rules! pump {
    ($key:literal) => {
        Change(
            SITE,
            "maximum_on_s = 3600\n",
            concat!("maximum_on_s = 3600\n", $key, "\n"),
        )
    };
}

/// One more key of `[[probe]]`.
macro_rules! probe {
    ($key:literal) => {
        Change(
            SITE,
            "reference_mv = 3300\n",
            concat!("reference_mv = 3300\n", $key, "\n"),
        )
    };
}

kinds! {
    "uniformity-percent" a_uniformity_in_percent_is_recognised:
        pump!("distribution_uniformity = 85")
        => "site.toml:42: distribution_uniformity = \"85\": looks like a percentage, not a share",
           "write a share above 0 and up to 1: 0.4 for 40 %";
    "infiltration-zero" a_soil_that_takes_no_water_is_refused:
        pump!("infiltration_mm_per_h = 0")
        => "site.toml:42: infiltration_mm_per_h = \"0\": is not above 0 and up to 2000 mm an hour",
           "write how many millimetres of water the ground takes in an hour once it is wet: press a ring into it, pour 20 mm, and take the time";
    "never-read" a_probe_that_is_never_read_is_refused:
        pump!("read_every_s = 0")
        => "site.toml:42: read_every_s = \"0\": is not a whole number of seconds from 1 to a day (86400)",
           "write how often the controller reads the probe; 60 is taken where it is left out";
    "stuck-at-once" a_live_probe_is_not_called_stuck_within_the_hour:
        pump!("stuck_after_s = 600")
        => "site.toml:42: stuck_after_s = \"600\": is so short that a live probe in quiet soil would pass for stuck",
           "write an hour (3600) or more, or 0 for never";
    "stuck-in-few-readings" a_few_equal_counts_are_no_stuck_probe:
        pump!("read_every_s = 3600\nstuck_after_s = 7200")
        => "site.toml:32: stuck_after_s = 7200 is less than 10 readings at read_every_s = 3600",
           "make it longer, read more often, or write 0 for never: a few equal counts are no stuck probe";
    "read-too-seldom" a_pump_that_no_reading_could_stop_in_time_is_refused:
        pump!("read_every_s = 7200")
        => "site.toml:32: read_every_s = 7200 is longer than maximum_on_s = 3600",
           "read at least that often: only a reading can switch the pump off";
    "open-circuit-unknown" a_broken_wire_reads_low_or_high:
        pump!("open_circuit = \"zero\"")
        => "site.toml:42: open_circuit = \"zero\": is neither reads-low nor reads-high",
           "unplug a probe and look: near 0 is reads-low, near full scale is reads-high; a count that wanders wants a resistor from the input to ground";
    "false-start-certain" a_certain_false_start_is_refused:
        pump!("false_start_probability = 1")
        => "site.toml:42: false_start_probability = \"1\": is not a chance a day from 0.000001 to 0.1",
           "write 0.01 for one false start in a hundred days; 0.01 is taken where it is left out";
    "swing-impossible" a_swing_no_soil_has_is_refused:
        pump!("daily_temperature_swing_c = 55")
        => "site.toml:42: daily_temperature_swing_c = \"55\": lies outside 0 to 40 C",
           "write how far the soil at the probe goes from its coolest to its warmest hour, in C; 5 is taken where it is left out";
    "probe-depth-in-metres" a_probe_depth_in_metres_is_recognised:
        probe!("depth_mm = 0.15")
        => "site.toml:29: depth_mm = \"0.15\": looks like metres or centimetres, not millimetres",
           "write it in millimetres: 300 for 0.3 m";
    "drift-negative" a_negative_drift_is_refused:
        probe!("drift_counts = -2")
        => "site.toml:29: drift_counts = \"-2\": lies outside 0 to 102 counts, a tenth of the converter's range",
           "write it in counts of this converter";
    "warmth-impossible" an_effect_of_temperature_no_probe_has_is_refused:
        probe!("counts_per_c = 300")
        => "site.toml:29: counts_per_c = \"300\": lies outside -102 to 102 counts, a tenth of the converter's range",
           "write it in counts of this converter";
    "stage-days-in-parts" a_stage_of_broken_days_is_refused:
        pump!("[[stage]]\nname = \"initial\"\ndays = 20.5\nroot_depth_mm = 150")
        => "site.toml:44: days = \"20.5\": is not a whole number of days from 1 to 730",
           "write how many days the stage lasts, e.g. 30";
    "stage-without-depth" a_stage_without_root_depth_is_refused:
        pump!("[[stage]]\nname = \"initial\"\ndays = 20")
        => "site.toml:42: root_depth_mm: is missing from [[stage]]",
           "add root_depth_mm = 250: root depth in it, mm";
    "stages-alike" two_stages_of_one_name_are_refused:
        pump!("[[stage]]\nname = \"initial\"\ndays = 20\nroot_depth_mm = 150\n[[stage]]\nname = \"Initial\"\ndays = 30\nroot_depth_mm = 300")
        => "site.toml:47: name = \"Initial\": is taken already in line 43",
           "give each stage its own name, in the order they follow one another";
    "bed-without-probes" a_bed_without_probes_is_refused:
        pump!("[[bed]]\nid = \"south\"")
        => "site.toml:42: probes: is missing from [[bed]]",
           "add probes = [\"P1\", \"P2\"]: its probes, each with a depth_mm";
    "bed-of-unknown-probe" a_bed_of_an_unknown_probe_is_refused:
        pump!("[[bed]]\nid = \"south\"\nprobes = [\"deep\"]")
        => "site.toml:44: probes = \"deep\": is not a probe of site.toml",
           "add the probe to site.toml; it knows P1";
    "bed-of-probe-without-depth" a_bed_of_a_probe_without_depth_is_refused:
        pump!("[[bed]]\nid = \"south\"\nprobes = [\"P1\"]")
        => "site.toml:44: probes = \"P1\": has no depth_mm (its [[probe]] stands in line 25)",
           "add depth_mm = 150 (how deep it lies, mm) to that [[probe]]";
    "bed-names-probe-twice" a_bed_that_names_a_probe_twice_is_refused:
        probe!("depth_mm = 150"), pump!("[[bed]]\nid = \"south\"\nprobes = [\"P1\", \"P1\"]")
        => "site.toml:45: probes = \"P1\": stands twice in the bed",
           "name each probe once";
    "bed-weight-unclear" a_weight_in_other_words_is_refused:
        probe!("depth_mm = 150"), pump!("[[bed]]\nid = \"south\"\nprobes = [\"P1\"]\nweight_by = \"volume\"")
        => "site.toml:46: weight_by = \"volume\": is neither \"depth\" nor \"roots\"",
           "write \"depth\" to weigh each probe by the slice of soil nearest to it, or \"roots\" to weigh it by what roots draw from that slice";
}
