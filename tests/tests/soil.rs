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
