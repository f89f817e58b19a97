//! samples.csv.

use super::Edit::{Change, Cores, Whole};
use super::{SAMPLES, SITE, refused};

kinds! {
    "sample-id-missing" a_core_without_an_id_is_refused:
        Change(SAMPLES, "A2,loam", ",loam")
        => "samples.csv:3: sample_id = \"\": is empty",
           "give the core an id of its own, e.g. A1";
    "sample-twice" a_core_that_stands_twice_is_refused:
        Change(SAMPLES, "A4,loam", "A2,loam")
        => "samples.csv:5: sample_id = \"A2\": is the id of the core in line 3 already",
           "give each core its own id, or remove the row that stands twice";
    "unknown-soil" a_core_of_an_unknown_soil_gets_the_nearest_suggested:
        Change(SAMPLES, "A2,loam,", "A2,laom,")
        => "samples.csv:3: soil = \"laom\": is not a soil of site.toml",
           "write loam, or add the soil to site.toml";
    "level-missing" a_core_without_a_level_is_refused:
        Change(SAMPLES, ",L2,", ",,")
        => "samples.csv:3: level = \"\": is empty",
           "write the moisture level the core belongs to, e.g. 1 for the driest";
    "core-of-unknown-probe" a_core_beside_an_unknown_probe_is_refused:
        Change(SAMPLES, "P1,2026-05-05", "borehole,2026-05-05")
        => "samples.csv:3: probe_id = \"borehole\": is not a probe of site.toml",
           "add the probe to site.toml; it knows P1";
    "probe-of-another-soil" a_core_beside_a_probe_of_another_soil_is_refused:
        Change(SITE, "[[probe]]", "[[soil]]\nid = \"clay\"\ntexture = \"clay\"\n\n[[probe]]"),
        Change(SAMPLES, "A2,loam,", "A2,clay,")
        => "samples.csv:3: probe_id = \"P1\": is calibrated in soil loam (site.toml), and this core is of soil clay",
           "correct the core's soil or probe here, or the probe's soil in site.toml";
    "tare-missing" a_core_without_a_tare_is_refused:
        Change(SAMPLES, "38.10", "")
        => "samples.csv:3: tare_g = \"\": is empty",
           "weigh it, or remove the core";
    "negative-mass" a_negative_mass_is_refused:
        Change(SAMPLES, "38.10", "-38.10")
        => "samples.csv:3: tare_g = \"-38.10\": is negative",
           "correct the sign, or zero the empty balance and weigh again";
    "core-in-kilograms" a_core_weighed_in_kilograms_is_recognised:
        Change(SAMPLES, "38.10,190.08,178.52", "0.03810,0.19008,0.17852")
        => "samples.csv:3: wet_g = \"0.19008\": looks like kilograms, not grams",
           "write it in grams: 188.15 for 0.18815 kg";
    "one-mass-in-kilograms" one_mass_in_kilograms_is_recognised:
        Change(SAMPLES, "178.52", "0.17852")
        => "samples.csv:3: dry_g = \"0.17852\": looks like kilograms, not grams",
           "write it in grams: 188.15 for 0.18815 kg";
    "mass-in-milligrams" a_mass_in_milligrams_is_refused:
        Change(SAMPLES, "190.08", "190080")
        => "samples.csv:3: wet_g = \"190080\": mass 190080 g lies outside 0 to 50000 g",
           "write it in grams: 214.87 for 214870 mg";
    "wet-not-above-dry" a_core_that_gained_mass_in_the_oven_is_refused:
        Change(SAMPLES, "190.08,178.52", "178.52,190.08")
        => "samples.csv:3: wet_g = \"178.52\": is not above dry_g = 190.08",
           "look for swapped masses, or masses of two different cores; drying takes water away";
    "dry-not-above-tare" a_dry_core_no_heavier_than_its_container_is_refused:
        Change(SAMPLES, "178.52", "38.10")
        => "samples.csv:3: dry_g = \"38.10\": is not above tare_g = 38.10",
           "look for swapped masses, or a tare already taken off; every mass includes its container";
    "dry-again-above-wet" a_second_dry_mass_above_the_wet_mass_is_refused:
        Change(SAMPLES, "178.27", "187.27")
        => "samples.csv:2: wet_g = \"184.45\": is not above dry_again_g = 187.27",
           "look for swapped masses, or masses of two different cores; drying takes water away";
    "constant-mass-not-reached" a_core_still_losing_mass_is_refused:
        Change(SAMPLES, "178.27", "177.77")
        => "samples.csv:2: dry_again_g = \"177.77\": the core lost 0.510 g between its two dry weighings; a change of 0.139 g at most counts as dry",
           "dry longer, weigh again, and write the last two dry masses";
    "mass-gained" a_core_that_gained_mass_between_the_dry_weighings_is_refused:
        Change(SAMPLES, "178.27", "178.77")
        => "samples.csv:2: dry_again_g = \"178.77\": the core gained 0.490 g between its two dry weighings; a change of 0.140 g at most counts as dry",
           "dry again, let it cool in a desiccator or a closed tin, weigh again, and write the last two dry masses";
    "bulk-density-implausible" a_ring_of_another_size_is_refused:
        Change(SAMPLES, "dry_again_g", "ring_diameter_cm"), Change(SAMPLES, "178.27", "3.0")
        => "samples.csv:2: ring_diameter_cm = \"3.0\": dry bulk density 3.957 g/cm3 lies outside 0.2 to 2.2 g/cm3",
           "check the ring's size (inner diameter and height, cm), the dry mass and the tare";
    "dry-mass-implausible" a_mass_too_large_for_the_ring_is_refused:
        Change(SAMPLES, "190.08,178.52", "390.08,378.52")
        => "samples.csv:3: dry_g = \"378.52\": dry bulk density 3.467 g/cm3 lies outside 0.2 to 2.2 g/cm3",
           "check the ring's size (inner diameter and height, cm), the dry mass and the tare; the ring is the one of site.toml";
    "no-pores-left" a_core_denser_than_its_grains_is_refused:
        Cores(&["A1", "A2"]),
        Change(SITE, "bulk_density_g_cm3 = 1.42", "particle_density_g_cm3 = 2.0"),
        Change(SAMPLES, "dry_again_g", "ring_diameter_cm"), Change(SAMPLES, "178.27", "4.2")
        => "samples.csv:2: ring_diameter_cm = \"4.2\": dry bulk density 2.019 g/cm3 leaves no pores at a particle density of 2 g/cm3",
           "check the particle density, the ring's size (inner diameter and height, cm), the dry mass and the tare";
    "saturation-above-one" a_core_with_more_water_than_pores_is_refused:
        Change(SAMPLES, "216.29", "246.29")
        => "samples.csv:7: wet_g = \"246.29\": the core holds 1.507 times the water its pores can hold, more than the 1.075 its uncertainty allows",
           "check the wet mass and the ring's size; wipe off standing water before weighing; measure the particle density if the soil is unusual";
    "ring-in-millimetres" a_core_whose_ring_is_in_millimetres_is_recognised:
        Change(SAMPLES, "dry_again_g", "ring_height_cm"), Change(SAMPLES, "178.27", "50")
        => "samples.csv:2: ring_height_cm = \"50\": looks like millimetres: no sampling ring measures 50 cm",
           "write it in centimetres: 5.0 for a ring of 50 mm";
    "no-volume" a_core_without_any_volume_is_refused:
        Change(SITE, "diameter_cm = 5.0\n", ""),
        Whole(SAMPLES, b"sample_id,soil,level,tare_g,wet_g,dry_g\nA1,loam,L1,38,190,178\n")
        => "samples.csv:2: ring_diameter_cm = \"\": is empty, and site.toml has no ring to take it from",
           "fill ring_diameter_cm and ring_height_cm (or core_volume_cm3), or add diameter_cm and height_cm below [ring] in site.toml";
    "two-volumes" a_core_with_both_a_volume_and_a_ring_is_refused:
        Whole(SAMPLES, b"sample_id,soil,level,tare_g,wet_g,dry_g,core_volume_cm3,ring_height_cm\nA1,loam,L1,38,190,178,98,5\n")
        => "samples.csv:2: core_volume_cm3 = \"98\": stands beside a ring's diameter or height",
           "keep one of the two: the volume, or the ring's measures";
    "volume-in-litres" a_core_volume_in_litres_is_refused:
        Change(SAMPLES, "dry_again_g", "core_volume_cm3"), Change(SAMPLES, "178.27", "0.098")
        => "samples.csv:2: core_volume_cm3 = \"0.098\": core volume 0.098 cm3 lies outside 1 to 50000 cm3",
           "write it in cubic centimetres: 100 for 0.1 L";
    "volume-uncertainty-alone" a_volume_uncertainty_without_a_volume_is_refused:
        Change(SAMPLES, "dry_again_g", "core_volume_u_cm3"), Change(SAMPLES, "178.27", "1")
        => "samples.csv:2: core_volume_u_cm3 = \"1\": stands without core_volume_cm3",
           "add core_volume_cm3, or leave this cell empty too";
    "volume-uncertainty-too-large" a_volume_uncertainty_of_half_the_volume_is_refused:
        Whole(SAMPLES, b"sample_id,soil,level,tare_g,wet_g,dry_g,core_volume_cm3,core_volume_u_cm3\nA1,loam,L1,38,190,178,98,49\n")
        => "samples.csv:2: core_volume_u_cm3 = \"49\": is not a standard uncertainty above 0 and up to a quarter of the volume",
           "write it in cubic centimetres, or leave the cell empty for 1 % of the volume";
}
