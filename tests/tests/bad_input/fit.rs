//! What only fitting can find.

use super::Edit::{Change, Cores, Fill};
use super::{SAMPLES, SITE, refused};

kinds! {
    "two-points-for-a-cubic" two_cores_are_refused_a_cubic by ["fit", ".", "--curve", "cubic"]:
        Cores(&["A1", "A6"])
        => "samples.csv:3: sample_id = \"A6\": is the last core of probe P1, and 2 cores are too few for the cubic: it has 4 parameters and needs at least 5 cores",
           "take more cores at more moisture levels, or ask for a simpler curve";
    "two-points-for-any-curve" two_cores_are_refused_any_curve:
        Cores(&["A1", "A6"])
        => "samples.csv:3: sample_id = \"A6\": is the last core of probe P1, and 2 cores are too few for the straight line: it has 2 parameters and needs at least 3 cores",
           "take cores at five or more moisture levels, two or three at each";
    "levels-too-few" cores_of_too_few_levels_are_refused_a_curve by ["fit", ".", "--curve", "cubic"]:
        Fill { file: SAMPLES, column: "level", rows: "A2", value: "L1" },
        Fill { file: SAMPLES, column: "level", rows: "A3", value: "L1" },
        Fill { file: SAMPLES, column: "level", rows: "A5", value: "L4" }
        => "samples.csv:7: level = \"L6\": is the level of the last core of probe P1, and 3 moisture levels cannot fix the cubic: it needs at least 4",
           "take more cores at more moisture levels, or ask for a simpler curve";
    "against-the-wiring" counts_against_the_declared_direction_are_refused:
        Change(SITE, "\"fall\"", "\"rise\"")
        => "site.toml:25: counts_when_wetter = \"rise\": is not what the cores of probe P1 show: counts fall as the soil gets wetter",
           "look for rows of samples.csv or readings.csv under the wrong probe or core; if they are right, correct this key or set it to \"unknown\"";
}
