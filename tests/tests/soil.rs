//! `ovendry soil`: every source side by side with how far it was checked, one
//! recommended value with its reason, and what is refused.

use ovendry_tests::Bench;

fn with_soils(soils: &str) -> Bench {
    Bench::empty().with(
        "site.toml",
        format!(
            "[site]\nname = \"invented\"\n[balance]\nresolution_g = 0.01\n{soils}\
             [[probe]]\nid = \"p\"\nadc_bits = 10\nsoil = \"a\"\n"
        ),
    )
}

#[test]
fn sand_and_clay_get_a_class_its_nearest_neighbour_and_the_equations() {
    // Saxton and Rawls (2006), Table 3, loam row: 40 % sand, 20 % clay, 2.5 %
    // organic matter, field capacity 28 %, wilting point 14 % (second copy).
    let answer = Bench::empty()
        .run(&[
            "soil",
            "--sand",
            "40",
            "--clay",
            "20",
            "--organic-matter",
            "2.5",
        ])
        .exits(0)
        .says("Soil: loam (40 % sand, 40 % silt, 20 % clay)")
        .says("nearest other class: clay loam, if 7.0 percent points of the sand were clay")
        .says("Saxton and Rawls 2006, equations           0.280          0.137            0.143")
        .says("recommended                                0.280          0.137            0.143")
        .says("what the equations give, since they know this soil's own sand and clay");
    assert!(!answer.stdout.contains("organic matter is not known"));
}

#[test]
fn every_source_says_how_far_it_was_checked_in_the_words_of_the_notes() {
    Bench::empty()
        .run(&["soil", "--texture", "loam"])
        .exits(0)
        .says("Rawls, Brakensiek and Saxton (1982), Trans. ASAE 25:1316\n    second copy: none found\n    from memory, not checked: all of it")
        .says("second copy: all twelve rows, from a single copy")
        .says("To compare, with no part in what is recommended: FAO-56, Table 19 has field capacity 0.20 to 0.30, wilting point 0.07 to 0.17.")
        .says("in doubt: a copy that claims to be checked gives single values");
}

#[test]
fn machines_get_the_recommended_value_its_reason_and_its_sources() {
    let json = Bench::empty()
        .run(&["soil", "--texture", "Silty-Clay", "--json"])
        .exits(0)
        .json();
    assert_eq!(json["format"], "ovendry soil");
    let soil = &json["soils"][0];
    assert_eq!(soil["class"], "silty clay");
    assert_eq!(soil["field_capacity"]["basis"], "median");
    let sources = soil["sources"].as_array().unwrap();
    let mut capacities: Vec<f64> = sources
        .iter()
        .map(|source| source["field_capacity"].as_f64().unwrap())
        .collect();
    assert_eq!(capacities.len(), 4);
    capacities.sort_by(f64::total_cmp);
    let median = (capacities[1] + capacities[2]) / 2.0;
    assert!((soil["field_capacity"]["value"].as_f64().unwrap() - median).abs() < 1e-12);
    let publications = soil["publications"].as_array().unwrap();
    assert!(
        publications
            .iter()
            .all(|p| p["checked"].is_string() && p["from_memory"].is_string())
    );
}

#[test]
fn what_was_measured_on_the_soil_comes_first() {
    with_soils(
        "[[soil]]\nid = \"a\"\ntexture = \"loam\"\nfield_capacity = 0.31\nfield_capacity_u = 0.012\n",
    )
    .run(&["soil", "."])
    .exits(0)
    .says("a: loam")
    .says("recommended                              0.310")
    .says("+- one standard uncertainty              0.012")
    .says("field capacity: the value measured on this soil, which comes before any source.")
    .says("wilting point: the median of the class tables");
}

#[test]
fn one_soil_of_a_folder_can_be_asked_for() {
    let bench = with_soils(
        "[[soil]]\nid = \"a\"\ntexture = \"loam\"\n[[soil]]\nid = \"b\"\ntexture = \"clay\"\n",
    );
    let both = bench
        .run(&["soil", "."])
        .exits(0)
        .says("a: loam")
        .says("b: clay");
    // Each source is told of once, however many soils draw on it.
    assert_eq!(both.stdout.matches("J. Hydrol. 251:163").count(), 1);
    let one = bench
        .run(&["soil", ".", "--soil", "b"])
        .exits(0)
        .says("b: clay");
    assert!(!one.stdout.contains("a: loam"));
    bench
        .run(&["soil", ".", "--soil", "c"])
        .exits(2)
        .complains("command line: --soil = \"c\": is no soil of site.toml")
        .complains("mend: choose one of: a, b");
}

#[test]
fn a_class_that_is_none_of_the_twelve_is_refused_at_its_line() {
    with_soils("[[soil]]\nid = \"a\"\ntexture = \"peat\"\n")
        .run(&["soil", "."])
        .exits(2)
        .complains("site.toml:7: texture = \"peat\": is none of the twelve USDA texture classes: sand, loamy sand,")
        .complains("mend: write one of these names, or give sand and clay percentages");
    Bench::empty()
        .run(&["soil", "--texture", "peat"])
        .exits(2)
        .complains("command line: --texture = \"peat\": is none of the twelve");
}

#[test]
fn a_soil_of_which_nothing_is_known_is_told_what_to_give() {
    with_soils("[[soil]]\nid = \"a\"\n")
        .run(&["soil", "."])
        .exits(2)
        .complains("site.toml:5: soil a: nothing is known of the soil's field capacity")
        .complains("mend: give a texture");
}

#[test]
fn percentages_that_are_no_soil_are_refused() {
    let bench = Bench::empty();
    bench
        .run(&["soil", "--sand", "90", "--clay", "20"])
        .exits(2)
        .complains("sand 90 % and clay 20 % add up to more than 100 %");
    bench
        .run(&["soil", "--sand", "-5", "--clay", "20"])
        .exits(2)
        .complains("sand -5 % lies outside 0 to 100 %");
    bench
        .run(&["soil", "--sand", "NaN", "--clay", "20"])
        .exits(2)
        .complains("sand NaN % lies outside 0 to 100 %");
    bench
        .run(&[
            "soil",
            "--sand",
            "40",
            "--clay",
            "20",
            "--organic-matter",
            "250",
        ])
        .exits(2)
        .complains("organic matter 250 % lies outside 0 to 100 %");
}

#[test]
fn shares_of_one_for_percentages_are_recognised() {
    Bench::empty()
        .run(&["soil", "--sand", "0.22", "--clay", "0.3"])
        .exits(2)
        .complains("command line: --sand = \"0.22\": looks like a share of 1, not a percentage, as does the clay")
        .complains("mend: write percent by mass: 22 for 0.22");
    // Silt alone, and a real soil with hardly any clay, are none.
    for (sand, clay) in [("0", "0"), ("3", "0.5")] {
        Bench::empty()
            .run(&["soil", "--sand", sand, "--clay", clay])
            .exits(0)
            .says("silt");
    }
}

#[test]
fn saturation_stands_beside_the_others_and_where_a_source_has_none_a_dash() {
    Bench::empty()
        .run(&["soil", "--texture", "loam"])
        .exits(0)
        .says("Carsel and Parrish 1988                  0.164          0.088            0.076       0.430")
        .says("Rawls et al. 1982                        0.270          0.117            0.153           -")
        .says("saturation: the same, from the sources that have one.")
        .says("No charts drawn; --out FOLDER draws the texture triangle and the retention curves.");
    let json = Bench::empty()
        .run(&["soil", "--texture", "loam", "--json"])
        .exits(0)
        .json();
    let soil = &json["soils"][0];
    assert!((soil["saturation"]["value"].as_f64().unwrap() - 0.43).abs() < 1e-12);
    assert_eq!(soil["sources"][1]["retention"]["function"], "van-genuchten");
    assert_eq!(soil["retention"]["function"], "power-law");
}

#[test]
fn density_and_gravel_are_allowed_for_and_told() {
    let answer = Bench::empty()
        .run(&[
            "soil", "--sand", "40", "--clay", "20", "--organic-matter", "2.5",
            "--bulk-density", "1.6", "--gravel", "20",
        ])
        .exits(0)
        // 0.2 x 1.6 / 2.65 of the volume; between the stones 1.6 x 0.8 / 0.8792.
        .says("gravel: 20 % by mass is 12.1 % of the volume. Every figure here is of the whole soil, stones included")
        .says("density: 1.46 g/cm3 in the fine earth is 1.02 times the 1.43 that goes with its texture")
        .says("Soil Sci. Soc. Am. J. 70:1569, density, gravel and air entry\n    second copy: none sought\n    from memory, not checked: all of it");
    assert!(!answer.stdout.contains("Note:"), "{}", answer.stdout);
    with_soils(
        "[[soil]]\nid = \"a\"\nsand_percent = 40\nclay_percent = 20\norganic_matter_percent = 2.5\n\
         bulk_density_g_cm3 = 1.6\ngravel_percent = 20\n",
    )
    .run(&["soil", "."])
    .exits(0)
    .says("gravel: 20 % by mass is 12.1 % of the volume")
    .says("density: 1.46 g/cm3");
}

#[test]
fn a_density_out_of_reach_is_told_and_not_used() {
    Bench::empty()
        .run(&["soil", "--sand", "40", "--clay", "20", "--bulk-density", "1.95"])
        .exits(0)
        .says("Note: the equations took the normal density: a dry density of 1.95 g/cm3 in the fine earth is 1.36 times the 1.43")
        .says("Note: saturation is left out: the bulk density leaves room for 0.264 m3/m3");
    let bench = Bench::empty();
    bench
        .run(&["soil", "--texture", "loam", "--bulk-density", "1450"])
        .exits(2)
        .complains("command line: --bulk-density = \"1450\": looks like kg/m3, not g/cm3");
    bench
        .run(&["soil", "--texture", "loam", "--bulk-density", "2.7"])
        .exits(2)
        .complains("a dry bulk density of 2.7 g/cm3 leaves no pores");
    bench
        .run(&["soil", "--texture", "loam", "--gravel", "85"])
        .exits(2)
        .complains("gravel 85 % by mass: from 80 % on the stones touch")
        .complains("mend: give gravel as the share of the dry soil's mass above 2 mm");
}

#[test]
fn percentages_parted_at_63_micrometres_are_converted_and_told() {
    let answer = Bench::empty()
        .run(&["soil", "--sand", "50", "--clay", "12", "--silt-upper-um", "63"])
        .exits(0)
        .says("Soil: sandy loam (52.5 % sand, 35.5 % silt, 12 % clay)")
        .says("converted: parted at 63 um, sand was 50.0 % and silt 38.0 %; 2.5 percent points of silt count as sand above 50 um (0 to 5.1 is possible, one standard uncertainty 1.5)")
        .says("The class may also be loam; ask the laboratory for the share below 50 um.")
        .says("Nemes et al. (1999), Geoderma 90:187");
    assert!(!answer.stdout.contains("Whatever it is"));
    Bench::empty()
        .run(&[
            "soil",
            "--sand",
            "92",
            "--clay",
            "3",
            "--silt-upper-um",
            "63",
        ])
        .exits(0)
        .says("Whatever it is, the class stays.");
    Bench::empty()
        .run(&["soil", "--sand", "50", "--clay", "12", "--silt-upper-um", "0.063"])
        .exits(2)
        .complains("sand and silt parted at 0.063 micrometres are not converted: the bound must be one of 50 to 75")
        .complains("mend: ask the laboratory where it parts silt from sand");
}

#[test]
fn charts_are_drawn_only_where_asked_and_never_over_others() {
    let bench = with_soils(
        "[[soil]]\nid = \"a\"\nsand_percent = 40\nclay_percent = 20\n[[soil]]\nid = \"b\"\ntexture = \"clay\"\n",
    );
    let drawn = bench
        .run(&["soil", ".", "--out", "charts"])
        .exits(0)
        .says("Charts\n");
    assert!(!drawn.stdout.contains("No charts"));
    for name in ["texture", "a-retention", "b-retention"] {
        for kind in ["svg", "png"] {
            let file = bench.path().join(format!("charts/{name}.{kind}"));
            assert!(file.is_file(), "{}", file.display());
        }
    }
    // The same again is no change; another soil's charts are.
    bench.run(&["soil", ".", "--out", "charts"]).exits(0);
    bench
        .run(&["soil", ".", "--soil", "b", "--out", "charts", "--json"])
        .exits(0);
    let other = with_soils("[[soil]]\nid = \"a\"\ntexture = \"loam\"\n")
        .with("charts/a-retention.png", "mine");
    other
        .run(&["soil", ".", "--out", "charts"])
        .exits(2)
        .complains("exists already with other content");
    other
        .run(&["soil", ".", "--out", "charts", "--force"])
        .exits(0);
}

#[test]
fn beyond_the_equations_the_tables_stand_in_and_the_reason_is_printed() {
    Bench::empty()
        .run(&["soil", "--sand", "10", "--clay", "70"])
        .exits(0)
        .says("Saxton and Rawls 2006, Table 3")
        .says("clay 70 % is beyond what Saxton and Rawls (2006) give their equations for (below 60 %)");
}

#[test]
fn no_soil_at_all_or_two_at_once_is_a_wrong_call() {
    let bench = Bench::empty();
    bench.run(&["soil"]).exits(2);
    bench
        .run(&["soil", ".", "--texture", "loam"])
        .exits(2)
        .complains("cannot be used with");
    bench
        .run(&["soil", "--sand", "40"])
        .exits(2)
        .complains("--clay");
}
