//! site.toml.

use super::Edit::Change;
use super::{SITE, refused};

/// Three media before `[controller]`: the probe of the first, and what
/// stands below the names.
macro_rules! media {
    ($probe:literal, $air:literal, $water:literal, $liquid:literal) => {
        concat!(
            "[[medium]]\nprobe = \"",
            $probe,
            "\"\nname = \"air\"\n",
            $air,
            "\n[[medium]]\nprobe = \"P1\"\nname = \"water\"\n",
            $water,
            "\n[[medium]]\nprobe = \"P1\"\nname = \"propanol\"\n",
            $liquid,
            "\n[controller]"
        )
    };
}

kinds! {
    // site.toml as a document.
    "toml-decimal-comma" a_decimal_comma_in_the_site_file_is_recognised:
        Change(SITE, "resolution_g = 0.01", "resolution_g = 0,01")
        => "site.toml:5: cannot be understood (unexpected key or value, expected newline, `#`): resolution_g = 0,01",
           "write the number with a decimal point";
    "toml-no-quotes" text_without_quotation_marks_is_refused:
        Change(SITE, "texture = \"loam\"", "texture = sandy loam")
        => "site.toml:20: cannot be understood (string values must be quoted, expected literal string): texture = sandy loam",
           "write key = value, with text in quotation marks";
    "probe-without-heading" two_probes_under_one_heading_are_told_apart:
        Change(SITE, "[controller]", "id = \"P2\"\nadc_bits = 10\nsoil = \"loam\"\n\n[controller]")
        => "site.toml:32: cannot be understood (duplicate key): id = \"P2\"",
           "put [[probe]] before each probe; below it each key stands once";
    "unknown-key" a_misspelt_key_gets_the_nearest_suggested:
        Change(SITE, "adc_bits", "adc_bit")
        => "site.toml:27: adc_bit: is not a key of [[probe]]",
           "rename it to adc_bits";
    "key-in-another-unit" a_key_in_another_unit_is_not_just_renamed:
        Change(SITE, "root_depth_mm = 300", "root_depth_cm = 30")
        => "site.toml:36: root_depth_cm: is not a key of [controller]",
           "convert the number from cm to mm and rename it to root_depth_mm";
    "water-use-out-of-range" a_water_use_no_field_has_is_refused:
        Change(SITE, "root_depth_mm = 300", "root_depth_mm = 300\nevapotranspiration_mm_per_day = 55")
        => "site.toml:37: evapotranspiration_mm_per_day = \"55\": lies outside 0 to 20 mm a day",
           "give the crop's use of water in millimetres a day, 2 to 9 in most weather";
    "key-of-no-table" a_key_unlike_any_is_told_what_the_table_may_have:
        Change(SITE, "reference_mv = 3300", "colour = \"green\"")
        => "site.toml:28: colour: is not a key of [[probe]]",
           "remove it; [[probe]] may have id, batch, adc_bits, reference_mv, supply_relative_u, probe_to_probe_counts, counts_when_wetter, threshold_count, soil, depth_mm, counts_per_c and drift_counts";
    "unknown-table" a_misspelt_table_gets_the_nearest_suggested:
        Change(SITE, "[controller]", "[controler]")
        => "site.toml:32: controler: is not a table of site.toml",
           "rename it to [controller]";
    "key-before-table" a_key_before_the_first_table_is_refused:
        Change(SITE, "[site]\n", "surveyor = \"me\"\n[site]\n")
        => "site.toml:1: surveyor: stands before the first table",
           "move it below the table it belongs to";
    "single-brackets" a_probe_in_single_brackets_is_refused:
        Change(SITE, "[[probe]]", "[probe]")
        => "site.toml:25: probe: does not stand as a table [[probe]]",
           "write [[probe]] on a line of its own and the keys below it";
    "no-site" a_site_file_without_its_site_is_refused:
        Change(SITE, "[site]\nname = \"Small workbench (invented)\"\n", "")
        => "site.toml: has no [site]",
           "add [site] and below it name = \"...\": the site's name";
    "no-balance" a_site_file_without_a_balance_is_refused:
        Change(SITE, "[balance]\nresolution_g = 0.01\nrepeatability_g = 0.005\n", "")
        => "site.toml: has no [balance]",
           "add [balance] and below it resolution_g = 0.01: the smallest step the balance shows, g";
    "no-probe" a_site_file_without_a_probe_is_refused:
        Change(SITE, "[[probe]]\nid = \"P1\"\nadc_bits = 10\nreference_mv = 3300\ncounts_when_wetter = \"fall\"\nsoil = \"loam\"\n", "")
        => "site.toml: has no [[probe]]",
           "add a [[probe]] table for each probe";
    "key-missing" a_key_left_out_is_named_with_its_meaning:
        Change(SITE, "adc_bits = 10\n", "")
        => "site.toml:25: adc_bits: is missing from [[probe]]",
           "add adc_bits = 10: bits of the converter it is read with";
    "name-empty" an_empty_name_is_refused:
        Change(SITE, "\"Small workbench (invented)\"", "\"\"")
        => "site.toml:2: name = \"\": is empty",
           "write it between the quotation marks";
    "number-in-quotes" a_number_in_quotation_marks_is_refused:
        Change(SITE, "area_m2 = 120", "area_m2 = \"120\"")
        => "site.toml:33: area_m2 = \"120\": is text, not a number",
           "write the number without quotation marks and with a decimal point";
    "toml-nan" nan_in_the_site_file_is_refused:
        Change(SITE, "repeatability_g = 0.005", "repeatability_g = nan")
        => "site.toml:6: repeatability_g = \"nan\": stands for no number",
           "write the number, or remove the line if it is not known";

    // The site and its instruments.
    "pattern-incomplete" a_time_pattern_without_the_minute_is_refused:
        Change(SITE, "[site]", "[site]\ntime_format = \"dd/mm/yyyy hh:mm\"\nutc_offset = \"Z\"")
        => "site.toml:2: time_format = \"dd/mm/yyyy hh:mm\": does not fix a time to the minute",
           "name year, month, day, hour and minute, as in \"%d/%m/%Y %H:%M\" (%Y year, %m month, %d day, %H hour, %M minute, %S second, %I with %p for am/pm)";
    "pattern-without-offset" a_time_pattern_without_an_offset_is_refused:
        Change(SITE, "[site]", "[site]\ntime_format = \"%d/%m/%Y %H:%M\"")
        => "site.toml:2: time_format = \"%d/%m/%Y %H:%M\": carries no offset from UTC, and utc_offset is not declared",
           "add utc_offset = \"+01:00\" (your own) below it";
    "zone-for-offset" a_zone_name_for_an_offset_is_refused:
        Change(SITE, "[site]", "[site]\nutc_offset = \"CET\"")
        => "site.toml:2: utc_offset = \"CET\": is not an offset from UTC",
           "write it like \"+01:00\", \"-03:30\" or \"Z\"; a zone's name will not do, since summer time would shift it";
    "balance-step-zero" a_balance_without_a_step_is_refused:
        Change(SITE, "resolution_g = 0.01", "resolution_g = 0")
        => "site.toml:5: resolution_g = \"0\": is not a step of a balance fit for cores: above 0 and up to 10 g",
           "write it in grams, e.g. 0.01";
    "site-ring-in-millimetres" a_site_ring_in_millimetres_is_recognised:
        Change(SITE, "height_cm = 5.0", "height_cm = 50")
        => "site.toml:10: height_cm = \"50\": looks like millimetres: no sampling ring measures 50 cm",
           "write it in centimetres: 5.0 for a ring of 50 mm";
    "uncertainty-zero" an_uncertainty_of_nothing_is_refused:
        Change(SITE, "height_u_cm = 0.02", "height_u_cm = 0")
        => "site.toml:12: height_u_cm = \"0\": is not a standard uncertainty above 0 and up to 1",
           "write it in the key's own unit; 0.02 is assumed where it is left out";
    "window-zero" a_window_of_no_length_is_refused:
        Change(SITE, "window_minutes = 15", "window_minutes = 0")
        => "site.toml:15: window_minutes = \"0\": is not a window between 1 and 1440 minutes",
           "write how many minutes of readings before a core belong to it, e.g. 30";

    // Soils.
    "field-capacity-percent" a_field_capacity_in_percent_is_recognised:
        Change(SITE, "field_capacity = 0.29", "field_capacity = 29")
        => "site.toml:22: field_capacity = \"29\": looks like a percentage, not a share",
           "write the share of the soil's volume that is water: 0.28 for 28 %";
    "wilting-above-capacity" a_wilting_point_above_field_capacity_is_refused:
        Change(SITE, "wilting_point = 0.13", "wilting_point = 0.31")
        => "site.toml:23: wilting_point = \"0.31\": is not below field_capacity = 0.29",
           "check both: a soil at its wilting point holds less water than at field capacity";
    "two-textures" a_class_beside_percentages_is_refused:
        Change(SITE, "texture = \"loam\"", "texture = \"loam\"\nsand_percent = 40\nclay_percent = 20")
        => "site.toml:20: texture = \"loam\": stands beside sand, silt or clay percentages",
           "keep one of the two: the class, or the percentages (they say more)";
    "fractions-off-100" fractions_that_do_not_add_up_are_refused:
        Change(SITE, "texture = \"loam\"", "sand_percent = 40\nsilt_percent = 45\nclay_percent = 20")
        => "site.toml:20: sand_percent = \"40\": sand, silt and clay add up to 105 %",
           "correct them to add up to 100";
    "fractions-of-one" fractions_of_one_for_percentages_are_recognised:
        Change(SITE, "texture = \"loam\"", "sand_percent = 0.4\nclay_percent = 0.2")
        => "site.toml:20: sand_percent = \"0.4\": looks like a share of 1, not a percentage",
           "write percent by mass: 60 for 0.60";
    "clay-missing" sand_without_clay_is_refused:
        Change(SITE, "texture = \"loam\"", "sand_percent = 40")
        => "site.toml:20: sand_percent = \"40\": stands without clay_percent",
           "add clay_percent; silt may be left out, it is the rest to 100";
    "density-per-cubic-metre" a_bulk_density_in_kilograms_per_cubic_metre_is_recognised:
        Change(SITE, "bulk_density_g_cm3 = 1.42", "bulk_density_g_cm3 = 1420")
        => "site.toml:21: bulk_density_g_cm3 = \"1420\": looks like kg/m3, not g/cm3",
           "write it in g/cm3: 1.4 for 1400 kg/m3";
    "denser-than-grains" a_soil_denser_than_its_grains_is_refused:
        Change(SITE, "bulk_density_g_cm3 = 1.42", "bulk_density_g_cm3 = 1.42\nparticle_density_g_cm3 = 1.40")
        => "site.toml:21: bulk_density_g_cm3 = \"1.42\": is not below particle_density_g_cm3 = 1.40",
           "check both: soil with pores is lighter than its grains";
    "silt-bound-in-millimetres" a_silt_bound_in_millimetres_is_recognised:
        Change(SITE, "texture = \"loam\"", "sand_percent = 40\nclay_percent = 20\nsilt_upper_um = 0.063")
        => "site.toml:22: silt_upper_um = \"0.063\": looks like millimetres, not micrometres",
           "write it in micrometres: 63 for 0.063 mm";
    "silt-bound-too-far" a_silt_bound_too_far_from_50_is_refused:
        Change(SITE, "texture = \"loam\"", "sand_percent = 40\nclay_percent = 20\nsilt_upper_um = 20")
        => "site.toml:22: silt_upper_um = \"20\": lies outside 50 to 75 micrometres, from where sand and silt can be converted",
           "ask the laboratory where it parts silt from sand: 50 micrometres (USDA) or 63 (ISO)";
    "silt-bound-of-a-class" a_silt_bound_beside_a_class_is_refused:
        Change(SITE, "texture = \"loam\"", "texture = \"loam\"\nsilt_upper_um = 63")
        => "site.toml:21: silt_upper_um = \"63\": stands without sand_percent and clay_percent",
           "remove it, or give the percentages the laboratory reported";
    "gravel-no-percentage" gravel_beyond_the_whole_is_refused:
        Change(SITE, "bulk_density_g_cm3 = 1.42", "bulk_density_g_cm3 = 1.42\ngravel_percent = 140")
        => "site.toml:22: gravel_percent = \"140\": is not a percentage",
           "write it between 0 and 100";

    // Probes.
    "id-with-blank" an_id_that_cannot_be_a_file_name_is_refused:
        Change(SITE, "[controller]", "[[probe]]\nid = \"P 2\"\nadc_bits = 10\nsoil = \"loam\"\n\n[controller]")
        => "site.toml:33: id = \"P 2\": holds more than letters a to z, digits, - and _ (64 at most)",
           "write \"P-2\"; it names files and C constants";
    "ids-alike" ids_that_would_name_the_same_file_are_refused:
        Change(SITE, "[controller]", "[[probe]]\nid = \"p1\"\nadc_bits = 10\nsoil = \"loam\"\n\n[controller]")
        => "site.toml:33: id = \"p1\": is taken already in line 26 (neither case nor - against _ tells ids apart)",
           "give each its own id";
    "bits-impossible" a_converter_of_too_many_bits_is_refused:
        Change(SITE, "adc_bits = 10", "adc_bits = 1023")
        => "site.toml:27: adc_bits = \"1023\": is not a whole number of bits from 8 to 16",
           "write the converter's bits: 10 if its counts end at 1023, 12 at 4095, 16 at 65535";
    "reference-in-volts" a_reference_in_volts_is_recognised:
        Change(SITE, "reference_mv = 3300", "reference_mv = 3.3")
        => "site.toml:28: reference_mv = \"3.3\": looks like volts, not millivolts",
           "write it in millivolts: 3300 for 3.3 V";
    "supply-as-percentage" an_uncertainty_of_the_supply_in_per_cent_is_recognised:
        Change(SITE, "reference_mv = 3300", "supply_relative_u = 0.2")
        => "site.toml:28: supply_relative_u = \"0.2\": looks like a percentage, not a share",
           "write a share of the reading: 0.002 for 0.2 %; leave the key out where the converter measures against the voltage that feeds the probe";
    "supply-negative" a_negative_uncertainty_of_the_supply_is_refused:
        Change(SITE, "reference_mv = 3300", "supply_relative_u = -0.002")
        => "site.toml:28: supply_relative_u = \"-0.002\": is not a relative standard uncertainty from 0 to 0.1",
           "write a share of the reading: 0.002 for 0.2 %; leave the key out where the converter measures against the voltage that feeds the probe";
    "probes-too-unlike" probes_that_differ_by_a_tenth_of_the_range_are_refused:
        Change(SITE, "reference_mv = 3300", "probe_to_probe_counts = 150")
        => "site.toml:28: probe_to_probe_counts = \"150\": is not a standard deviation from 0 to 102 counts, a tenth of the converter's range",
           "read several probes of the type side by side in one soil and write the standard deviation of their counts; leave the key out if no other probe shares the calibration";
    "probe-spread-negative" a_negative_spread_of_probes_is_refused:
        Change(SITE, "reference_mv = 3300", "probe_to_probe_counts = -6")
        => "site.toml:28: probe_to_probe_counts = \"-6\": is not a standard deviation from 0 to 102 counts, a tenth of the converter's range",
           "read several probes of the type side by side in one soil and write the standard deviation of their counts; leave the key out if no other probe shares the calibration";
    "direction-unclear" a_direction_in_other_words_is_refused:
        Change(SITE, "\"fall\"", "\"down\"")
        => "site.toml:29: counts_when_wetter = \"down\": is none of \"rise\", \"fall\" and \"unknown\"",
           "write \"unknown\" if you have not watched it; the cores will tell";
    "probe-soil-unknown" a_probe_in_an_unknown_soil_is_refused:
        Change(SITE, "soil = \"loam\"", "soil = \"sand\"")
        => "site.toml:30: soil = \"sand\": is not a soil of site.toml",
           "add the soil to site.toml; it knows loam";

    // Reference media.
    "medium-of-unknown-probe" a_medium_of_an_unknown_probe_is_refused:
        Change(SITE, "[controller]", media!("P2", "count = 842", "count = 205\ntemperature_c = 19", "count = 438\npermittivity = 20"))
        => "site.toml:33: probe = \"P2\": is not a probe of site.toml",
           "add the probe to site.toml; it knows P1";
    "medium-beyond-converter" a_count_the_converter_cannot_give_is_refused:
        Change(SITE, "[controller]", media!("P1", "count = 3368", "count = 205\ntemperature_c = 19", "count = 438\npermittivity = 20"))
        => "site.toml:35: count = \"3368\": lies outside 0 to 1023, the codes of probe P1's converter",
           "write the middle of a dozen readings, the probe wholly in the medium";
    "medium-without-permittivity" a_liquid_of_unstated_permittivity_is_refused:
        Change(SITE, "[controller]", media!("P1", "count = 842", "count = 205\ntemperature_c = 19", "count = 438"))
        => "site.toml:41: permittivity: is missing from [[medium]]",
           "add permittivity = 25: relative permittivity of the liquid at its temperature, from its data sheet";
    "water-without-temperature" water_of_unstated_temperature_is_refused:
        Change(SITE, "[controller]", media!("P1", "count = 842", "count = 205", "count = 438\npermittivity = 20"))
        => "site.toml:36: temperature_c: is missing from [[medium]]",
           "add temperature_c = 20: temperature of the water, C";
    "water-frozen" water_below_freezing_is_refused:
        Change(SITE, "[controller]", media!("P1", "count = 842", "count = 205\ntemperature_c = -4", "count = 438\npermittivity = 20"))
        => "site.toml:36: water at -4 C lies outside 0 to 85 C, the range of the formula",
           "give the temperature of the water while the probe was read in it";
    "permittivity-impossible" a_permittivity_no_liquid_has_is_refused:
        Change(SITE, "[controller]", media!("P1", "count = 842", "count = 205\ntemperature_c = 19", "count = 438\npermittivity = 200"))
        => "site.toml:45: permittivity = \"200\": relative permittivity 200 lies outside 0.5 to 120",
           "write the relative permittivity, a pure number: about 80 for water, 2 to 40 for most liquids";
    "media-too-few" one_medium_does_nothing:
        Change(SITE, "[controller]", "[[medium]]\nprobe = \"P1\"\nname = \"air\"\ncount = 842\n[controller]")
        => "site.toml:32: is the one medium of probe P1; two are the fewest",
           "give [[medium]] for air and for water, for `fit` also for one liquid between them, or leave all away";
    "media-alike" two_media_that_read_the_same_are_refused:
        Change(SITE, "[controller]", "[[medium]]\nprobe = \"P1\"\nname = \"air\"\ncount = 842\n[[medium]]\nprobe = \"P1\"\nname = \"water\"\ncount = 842\ntemperature_c = 20\n[controller]")
        => "site.toml:32: begins media of probe P1 whose counts do not move one way as permittivity rises: 842 in air (permittivity 1.0), 842 in water (permittivity 80.1)",
           "look for two counts exchanged or one medium named twice; if there are none, read the media again";
    "media-exchanged" counts_exchanged_between_media_are_refused:
        Change(SITE, "[controller]", media!("P1", "count = 842", "count = 438\ntemperature_c = 20", "count = 205\npermittivity = 20"))
        => "site.toml:32: begins media of probe P1 whose counts do not move one way as permittivity rises: 842 in air (permittivity 1.0), 205 in propanol (permittivity 20.0), 438 in water (permittivity 80.1)",
           "look for two counts exchanged or one medium named twice; if there are none, read the media again";

    // The pump.
    "roots-in-metres" a_root_depth_in_metres_is_recognised:
        Change(SITE, "root_depth_mm = 300", "root_depth_mm = 0.3")
        => "site.toml:36: root_depth_mm = \"0.3\": looks like metres or centimetres, not millimetres",
           "write it in millimetres: 300 for 0.3 m";
    "depletion-percent" a_depletion_in_percent_is_recognised:
        Change(SITE, "allowed_depletion = 0.3", "allowed_depletion = 30")
        => "site.toml:37: allowed_depletion = \"30\": looks like a percentage, not a share",
           "write a share above 0 and up to 1: 0.4 for 40 %";
    "efficiency-zero" an_efficiency_of_nothing_is_refused:
        Change(SITE, "application_efficiency = 0.9", "application_efficiency = 0")
        => "site.toml:38: application_efficiency = \"0\": is not above 0",
           "write a share above 0 and up to 1: 0.4 for 40 %";
    "flow-zero" a_pump_without_flow_is_refused:
        Change(SITE, "flow_l_per_min = 18", "flow_l_per_min = 0")
        => "site.toml:34: flow_l_per_min = \"0\": flow 0 L/min lies outside 0.001 to 100000 L/min",
           "write it in litres per minute";
    "on-times-crossed" a_shortest_time_above_the_longest_is_refused:
        Change(SITE, "minimum_on_s = 30\n", "minimum_on_s = 5000\n")
        => "site.toml:32: minimum_on_s = 5000 is longer than maximum_on_s = 3600",
           "make the shortest time on the smaller of the two";
    "seconds-in-parts" a_time_in_parts_of_a_second_is_refused:
        Change(SITE, "minimum_off_s = 300", "minimum_off_s = 0.5")
        => "site.toml:40: minimum_off_s = \"0.5\": is not a whole number of seconds up to a day (86400)",
           "write whole seconds; 300 is taken where it is left out";
    "unknown-texture" a_texture_that_is_none_of_the_twelve_is_refused:
        Change(SITE, "texture = \"loam\"", "texture = \"loamy clay\"")
        => "site.toml:20: texture = \"loamy clay\": is none of the twelve USDA texture classes: sand, loamy sand, sandy loam, loam, silt loam, silt, sandy clay loam, clay loam, silty clay loam, sandy clay, silty clay, clay",
           "write one of these names, or give sand and clay percentages";
    "unknown-crop" a_crop_without_figures_of_its_own_is_refused:
        Change(SITE, "crop = \"lettuce\"\nroot_depth_mm = 300\n", "crop = \"moonflower\"\n")
        => "site.toml:35: crop = \"moonflower\": is not a crop of FAO-56 Table 22 as carried here: tomato, lettuce, cabbage, carrot, onion dry, potato, sweet pepper, cucumber, green bean, spinach, strawberry, maize grain, winter wheat, alfalfa hay, sunflower, citrus 70% cover, apple, grape wine, olive, cool-season turf",
           "choose one of these names, or state allowed_depletion and root_depth_mm yourself";
    "threshold-not-a-count" a_threshold_in_volts_is_refused:
        Change(SITE, "soil = \"loam\"\n", "soil = \"loam\"\nthreshold_count = 1.65\n")
        => "site.toml:31: threshold_count = \"1.65\": is not a whole count from 0 to 1023",
           "write the raw count the pump was switched at, as the converter gave it";
    "relay-in-thousands" a_relays_life_in_thousands_is_refused:
        Change(SITE, "maximum_on_s = 3600\n", "maximum_on_s = 3600\nrelay_rated_operations = 100\n")
        => "site.toml:42: relay_rated_operations = \"100\": is not a whole number from 1000 to 100000000",
           "write the electrical life of the relay's data sheet in operations; 100000 is taken where it is left out";
    "season-too-long" a_season_longer_than_a_year_is_refused:
        Change(SITE, "maximum_on_s = 3600\n", "maximum_on_s = 3600\nseason_days = 400\n")
        => "site.toml:42: season_days = \"400\": is not a whole number from 1 to 366",
           "write the days a year in which the pump may be wanted; 180 is taken where it is left out";

    // What is captured.
    "capture-field-unknown" a_field_no_line_has_is_refused:
        Change(SITE, "[controller]", "[capture]\nfields = \"probe_id,count\"\n\n[controller]")
        => "site.toml:33: fields = \"probe_id,count\": names count, which is no field",
           "write raw_count";
    "capture-form-unknown" a_form_of_line_that_is_none_is_refused:
        Change(SITE, "[controller]", "[capture]\nform = \"xml\"\n\n[controller]")
        => "site.toml:33: form = \"xml\": is none of \"csv\", \"pairs\" and \"json\"",
           "write one of them";
    "capture-fields-of-json" an_order_of_cells_in_a_form_that_names_them_is_refused:
        Change(SITE, "[controller]", "[capture]\nform = \"json\"\nfields = \"raw_count\"\n\n[controller]")
        => "site.toml:34: fields = \"raw_count\": puts cells in order, which only the form csv has",
           "say what a value is called with field, e.g. raw_count=adc; or take the form csv";
    "capture-two-sources" two_places_to_listen_to_are_refused:
        Change(SITE, "[controller]", "[capture]\nport = \"/dev/ttyUSB0\"\nfile = \"log.txt\"\n\n[controller]")
        => "site.toml:34: file = \"log.txt\": names a second source beside port",
           "keep one of the two, and give the other as an option when it is wanted";
    "capture-database-and-file" a_database_beside_a_file_is_refused:
        Change(SITE, "[controller]", "[capture]\nfile = \"log.txt\"\ndatabase = \"logger.db\"\n\n[controller]")
        => "site.toml:34: database = \"logger.db\": names a second source beside file",
           "keep one of the two, and give the other as an option when it is wanted";
    "capture-database-without-table" a_database_of_which_no_table_is_named_is_refused:
        Change(SITE, "[controller]", "[capture]\ndatabase = \"logger.db\"\ntime_column = \"at\"\ncount_column = \"adc\"\n\n[controller]")
        => "site.toml:32: table: is missing from [capture]",
           "add table = \"log\": its table of readings";
    "capture-time-unit-unknown" a_unit_of_times_that_is_none_is_refused:
        Change(SITE, "[controller]", "[capture]\ntime_unit = \"hours\"\n\n[controller]")
        => "site.toml:33: time_unit = \"hours\": is none of \"text\", \"utc-text\", \"seconds\", \"milliseconds\" and \"julian-days\"",
           "write one of them";
    "capture-steady-out-of-range" no_time_at_all_to_be_steady_is_refused:
        Change(SITE, "[controller]", "[capture]\nbaud = 9600\nport = \"/dev/ttyUSB0\"\nsteady_minutes = 0\n\n[controller]")
        => "site.toml:35: steady_minutes = \"0\": lies outside 0.1 to 1440",
           "write it in minutes, e.g. 10";
    "capture-probe-unknown" a_probe_to_assume_that_is_none_is_refused:
        Change(SITE, "[controller]", "[capture]\nprobe = \"p1\"\n\n[controller]")
        => "site.toml:33: probe = \"p1\": is not a probe of site.toml",
           "write P1, or add the probe to site.toml";
}
