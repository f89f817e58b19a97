//! site.toml: the plan of the bench.

use super::Edit::Change;
use super::{SITE, refused};

/// `[plan]` with these keys, the last table: its heading stands in line 42.
macro_rules! plan {
    ($keys:literal) => {
        Change(
            SITE,
            "maximum_on_s = 3600\n",
            concat!("maximum_on_s = 3600\n[plan]\n", $keys, "\n"),
        )
    };
}

kinds! {
    "container-in-millimetres" a_container_in_millimetres_is_recognised:
        plan!("container_diameter_cm = 180\ncontainer_height_cm = 20")
        => "site.toml:43: container_diameter_cm = \"180\": looks like millimetres: no container for the bench measures 180 cm",
           "write it in centimetres: 18 for a bucket of 180 mm";
    "container-in-litres" a_container_in_litres_is_recognised:
        plan!("container_volume_ml = 5")
        => "site.toml:43: container_volume_ml = \"5\": looks like litres, not millilitres",
           "write it in millilitres: 5000 for 5 L";
    "container-twice" a_volume_beside_measures_is_refused:
        plan!("container_volume_ml = 5000\ncontainer_height_cm = 20")
        => "site.toml:43: container_volume_ml = \"5000\": stands beside the container's diameter or height",
           "keep one of the two: the volume, or diameter and height";
    "container-half" a_diameter_without_a_height_is_refused:
        plan!("container_diameter_cm = 18")
        => "site.toml:42: container_height_cm: is missing from [plan]",
           "add container_height_cm = 20: inner height of the container, cm";
    "stock-as-share" stock_water_as_a_share_is_recognised:
        plan!("stock_water_percent = 0.025")
        => "site.toml:43: stock_water_percent = \"0.025\": looks like a share of 1, not a percentage",
           "write percent of the dry soil's mass: 2.5 for 0.025, 0 for oven-dry stock; weigh some stock, dry it at 105 C, and divide the water lost by the dry mass";
    "stock-too-wet" stock_that_no_sieve_takes_is_refused:
        plan!("stock_water_percent = 80")
        => "site.toml:43: stock_water_percent = \"80\": is more than the 60 % of the dry mass with which stock can still be sieved",
           "write percent of the dry soil's mass: 2.5 for 0.025, 0 for oven-dry stock; weigh some stock, dry it at 105 C, and divide the water lost by the dry mass";
    "headroom-as-share" a_headroom_as_a_share_is_refused:
        plan!("headroom_percent = 0.1")
        => "site.toml:43: headroom_percent = \"0.1\": is not a percentage: 0, or 1 to 60",
           "write how much of the container stays empty above the soil, in percent; 10 is taken where it is left out";
    "levels-in-parts" half_a_level_is_refused:
        plan!("levels = 5.5")
        => "site.toml:43: levels = \"5.5\": is not a whole number from 3 to 15",
           "write such a number; 6 is taken where it is left out";
    "cores-too-many" more_cores_than_anyone_takes_are_refused:
        plan!("cores_per_level = 30")
        => "site.toml:43: cores_per_level = \"30\": is not a whole number from 1 to 12",
           "write such a number; 3 is taken where it is left out";
    "targets-in-percent" targets_in_percent_are_recognised:
        plan!("targets = [\n  0.05,\n  12,\n  0.2\n]")
        => "site.toml:45: targets = \"12\": looks like a percentage, not a share",
           "write the share of the soil's volume that is water: 0.28 for 28 %";
    "targets-not-listed" one_number_is_no_list_of_targets:
        plan!("targets = 0.2")
        => "site.toml:43: targets = \"0.2\": is not a list of numbers",
           "put them into brackets, with commas between them";
    "targets-none" an_empty_list_of_targets_is_refused:
        plan!("targets = []")
        => "site.toml:43: targets = \"[]\": is an empty list",
           "fill it, or remove the line";
    "targets-as-text" a_target_in_quotation_marks_is_refused:
        plan!("targets = [0.1, \"0.2\", 0.3]")
        => "site.toml:43: targets = \"0.2\": is text, not a number",
           "write the number without quotation marks and with a decimal point";
    "levels-beside-targets" a_number_of_levels_beside_targets_is_refused:
        plan!("levels = 5\ntargets = [0.1, 0.2, 0.3]")
        => "site.toml:42: levels = 5 stands beside targets",
           "keep one of the two: the list of targets says how many levels there are";

    // What only a plan asks for.
    "container-not-stated" a_plan_without_a_container_says_what_to_add by ["plan", "."]:
        plan!("stock_water_percent = 2")
        => "site.toml:42: the container is not known, so neither is the soil to pack",
           "add [plan] with container_diameter_cm and container_height_cm, or container_volume_ml; or add --container-ml 5000 (your own)";
    "density-not-stated" a_plan_without_a_bulk_density_says_where_it_comes_from by ["plan", "."]:
        plan!("container_volume_ml = 5000"),
        Change(SITE, "bulk_density_g_cm3 = 1.42\n", "")
        => "site.toml:18: the bulk density of soil loam is not known, so neither is the soil to pack",
           "weigh a ring core of the field (oven-dry mass over the ring's volume) and write it as bulk_density_g_cm3 below its [[soil]], or add --bulk-density; for a first look try 1.51, which goes with the texture";
    "target-above-pores" a_target_that_the_pores_do_not_hold_is_refused by ["plan", "."]:
        plan!("container_volume_ml = 5000\nstock_water_percent = 2\ntargets = [0.05, 0.2, 0.5]")
        => "site.toml:42: soil loam: theta_v 0.500 m3/m3 is more than the pores hold: 0.464 m3/m3 at this density",
           "lower the target, or check the bulk density: denser soil has fewer pores";
    "target-below-stock" a_target_drier_than_the_stock_is_refused by ["plan", "."]:
        plan!("container_volume_ml = 5000\nstock_water_percent = 6\ntargets = [0.05, 0.2, 0.3]")
        => "site.toml:42: soil loam: theta_v 0.050 m3/m3 is drier than the stock itself, which packs to 0.085 m3/m3 with the 6.0 % of water in it",
           "spread the stock thinly and let it dry in the air before sieving, or leave that level out";
    "targets-too-close" targets_that_cannot_be_told_apart_are_refused by ["plan", "."]:
        plan!("container_volume_ml = 5000\nstock_water_percent = 2\ntargets = [0.05, 0.2, 0.205]")
        => "site.toml:42: soil loam: theta_v 0.200 and 0.205 m3/m3 are closer than 0.01 m3/m3, less than a level can be hit",
           "give each level its own water content, 0.01 m3/m3 apart or more";
    "container-too-small" cores_that_empty_the_container_are_refused by ["plan", "."]:
        plan!("container_volume_ml = 600\nstock_water_percent = 2")
        => "site.toml:42: soil loam: 3 cores of 98 cm3 take 55 % of the 540 ml of soil; 50 % at most",
           "take a larger container, a smaller ring or fewer cores a level";
    "container-too-shallow" a_ring_higher_than_the_soil_is_refused by ["plan", "."]:
        plan!("container_diameter_cm = 30\ncontainer_height_cm = 5\nstock_water_percent = 2")
        => "site.toml:42: soil loam: the ring is 5.0 cm high and the soil only 4.5 cm deep",
           "take a deeper container or a lower ring; a core must lie within the soil";
}
