//! `ovendry plan`: what to pack, how much water to add, when the oven is free, the
//! record sheet and the table to fill in, with cores and without.

use ovendry_tests::Bench;
use std::collections::HashSet;

/// The small workbench without cores and readings, with a plan of these keys.
fn planned(keys: &str) -> Bench {
    let site = Bench::small().read("site.toml");
    Bench::empty().with("site.toml", format!("{site}[plan]\n{keys}\n"))
}

const CONTAINER: &str = "container_volume_ml = 5000\nstock_water_percent = 2.5";

fn numbers(value: &serde_json::Value, key: &str) -> Vec<f64> {
    value
        .as_array()
        .expect("a list")
        .iter()
        .map(|one| one[key].as_f64().expect("a number"))
        .collect()
}

#[test]
fn a_plan_is_made_before_there_is_any_core() {
    // 4500 ml at 1.42 g/cm3 are 6390 g of dry soil; 2.5 % of it is 160 g of water.
    planned(CONTAINER)
        .run(&["plan", "--simulations", "0", "."])
        .exits(0)
        .says("Plan for soil loam (loam): 6 levels of 3 cores")
        .says("pack       6550 g of air-dry stock (6390 g of dry soil, 160 g of its own water, 2.5 %)")
        .says("into 4500 ml of the container's 5000, 1.42 g/cm3 dry")
        .says("pores 0.464, field capacity 0.290, wilting point 0.130 m3/m3")
        .says("assumed    particle density 2.65 g/cm3; 10 % of headroom; water at 20 C; 3 cores a level")
        .says("standing times of ASTM D698 (from memory, not checked)")
        .says("Nothing was written.");
}

#[test]
fn the_cautions_of_oven_water_and_mains_stand_in_text_json_and_sheet() {
    let bench = planned(CONTAINER);
    let text = bench
        .run(&["plan", "--simulations", "0", "."])
        .exits(0)
        .stdout;
    let json = bench
        .run(&["plan", "--simulations", "0", ".", "--json", "--out", "out"])
        .exits(0)
        .json();
    let listed: Vec<&str> = json["cautions"]
        .as_array()
        .expect("a list")
        .iter()
        .filter_map(|caution| caution.as_str())
        .collect();
    let sheet = bench.read("out/record-sheet-loam.html");
    for place in [text, listed.join("\n"), sheet] {
        for word in [
            "105 C burns",
            "Water and mains kill together",
            "RCD",
            "Local codes",
        ] {
            assert!(place.contains(word), "{word} is missing from\n{place}");
        }
    }
}

#[test]
fn each_level_holds_its_water_in_the_numbers_for_machines() {
    let json = planned("container_volume_ml = 5000\nstock_water_percent = 2.5\ntargets = [0.08, 0.16, 0.24, 0.30, 0.36]\ncontainer_tare_g = 300")
        .run(&["plan", "--simulations", "0", ".", "--json"])
        .exits(0)
        .json();
    assert_eq!(json["format"], "ovendry plan");
    assert_eq!(json["verdict"], "good");
    let soil = &json["soils"][0];
    assert_eq!(
        numbers(&soil["steps"], "theta_v"),
        [0.08, 0.16, 0.24, 0.30, 0.36]
    );
    let water = 0.998_207;
    let ring = std::f64::consts::FRAC_PI_4 * 125.0;
    let (dry, taken) = (1.42 * 4500.0, 3.0 * ring);
    let added = numbers(&soil["steps"], "water_to_add_g");
    let first = water * 4500.0 * 0.08 - 0.025 * dry;
    let second = water * (4500.0 * 0.16 - (4500.0 - taken) * 0.08) - 0.025 * 1.42 * taken;
    assert!((added[0] - first).abs() < 0.01, "{added:?}");
    assert!((added[1] - second).abs() < 0.01, "{added:?}");
    let weighs = numbers(&soil["steps"], "container_g");
    for (theta, weighs) in [0.08, 0.16, 0.24, 0.30, 0.36].into_iter().zip(weighs) {
        assert!((weighs - (300.0 + dry + water * 4500.0 * theta)).abs() < 0.01);
    }
    assert_eq!(soil["cores"].as_array().map(Vec::len), Some(15));
}

#[test]
fn the_table_to_fill_in_reads_as_samples_once_it_is_filled() {
    let bench = planned(CONTAINER);
    bench
        .run(&[
            "plan",
            "--simulations",
            "0",
            ".",
            "--cores",
            "2",
            "--out",
            "out",
        ])
        .exits(0)
        .says("wrote out/record-sheet-loam.html")
        .says("wrote out/samples-to-fill.csv");
    let table = bench.read("out/samples-to-fill.csv");
    let mut lines = table.lines();
    assert_eq!(
        lines.next(),
        Some(
            "sample_id,soil,level,tare_g,wet_g,dry_g,dry_again_g,ring_diameter_cm,\
             ring_height_cm,core_volume_cm3,core_volume_u_cm3,probe_id,taken_at,place,note"
        )
    );
    let rows: Vec<&str> = lines.collect();
    assert_eq!(rows.len(), 12);
    assert_eq!(rows[0], "loam-1a,loam,1,,,,,,,,,P1,,,");
    assert_eq!(rows[11], "loam-6b,loam,6,,,,,,,,,P1,,,");
    let filled: String = rows
        .iter()
        .enumerate()
        .map(|(place, row)| {
            let wet = 185.0 + 3.0 * place as f64;
            row.replace(",,,,,,,,,P1", &format!(",38.1,{wet},178.2,178.18,,,,,P1")) + "\n"
        })
        .collect();
    bench.put(
        "samples.csv",
        format!("{}\n{filled}", table.lines().next().unwrap_or_default()),
    );
    bench.put(
        "readings.csv",
        "timestamp,probe_id,raw_count,soil_temp_c,sample_id\n2026-05-04T08:10:00Z,P1,663,16.5,loam-1a\n",
    );
    // One core has readings; that is all that is left to complain of.
    let said = bench.run(&["check", "."]).stdout;
    assert!(
        !said.contains("tare_g") && !said.contains("wet_g"),
        "{said}"
    );
    // A second plan keeps clear of the ids that are taken.
    bench
        .run(&["plan", "--simulations", "0", ".", "--out", "again"])
        .exits(0)
        .says("take cores loam-r2-1a to loam-r2-1c");
    assert!(
        bench
            .read("again/samples-to-fill.csv")
            .contains("\nloam-r2-6c,")
    );
}

#[test]
fn rows_to_fill_in_go_below_the_header_that_samples_csv_has() {
    let bench = Bench::empty();
    bench.run(&["start", "bench"]).exits(0);
    let blank = bench.read("bench/samples.csv");
    let site = Bench::small().read("site.toml");
    bench.put("bench/site.toml", format!("{site}[plan]\n{CONTAINER}\n"));
    let filled_below = |header: &str, out: &str| {
        bench
            .run(&["plan", "--simulations", "0", "bench", "--out", out])
            .exits(0);
        let table = bench.read(&format!("{out}/samples-to-fill.csv"));
        let rows = table
            .strip_prefix(header)
            .unwrap_or_else(|| panic!("{header}not above\n{table}"))
            .to_owned();
        bench.put("bench/samples.csv", format!("{header}{rows}"));
        // The cells stand where the header says: only the masses are missing.
        let answer = bench.run(&["check", "bench"]).exits(2);
        let answer = answer.says("tare_g = \"\": is empty");
        assert!(!answer.stdout.contains("the row has"), "{}", answer.stdout);
        rows
    };
    let rows = filled_below(&blank, "first");
    assert!(rows.starts_with("loam-1a,loam,1,,,,,,,,,P1,,,\n"), "{rows}");
    // Columns of one's own, in another order, parted by semicolons.
    let own = "Probe_ID;my shelf;level;sample_id;soil;tare_g;wet_g;dry_g\n";
    bench.put("bench/samples.csv", own);
    let rows = filled_below(own, "second");
    assert!(rows.starts_with("P1;;1;loam-1a;loam;;;\n"), "{rows}");
}

#[test]
fn an_empty_cell_of_the_table_is_asked_for_by_check() {
    let bench = planned(CONTAINER).with("readings.csv", Bench::small().read("readings.csv"));
    bench
        .run(&["plan", "--simulations", "0", ".", "--out", "out"])
        .exits(0);
    bench.put("samples.csv", bench.read("out/samples-to-fill.csv"));
    bench
        .run(&["check", "."])
        .exits(2)
        .says("samples.csv:2: tare_g = \"\": is empty")
        .says("mend: weigh it, or remove the core");
}

#[test]
fn a_sheet_has_a_row_for_each_core_and_the_columns_of_samples_csv() {
    let bench = planned(CONTAINER);
    bench
        .run(&["plan", "--simulations", "0", ".", "--out", "out"])
        .exits(0);
    let sheet = bench.read("out/record-sheet-loam.html");
    let rows = sheet.matches("<th scope=\"row\">loam-").count();
    assert_eq!(rows, 18);
    for column in [
        "sample_id",
        "tare_g",
        "wet_g",
        "dry_g",
        "dry_again_g",
        "raw_count",
        "soil_temp_c",
        "taken_at",
        "who",
    ] {
        assert!(
            sheet.contains(&format!("<th scope=\"col\">{column}")),
            "{column}"
        );
    }
    assert!(!sheet.contains("<script"), "a sheet needs no script");
}

#[test]
fn each_probe_of_the_soil_has_its_counts_on_the_sheet_and_its_words_are_explained() {
    let probe = |id: &str| format!("[[probe]]\nid = \"{id}\"\nsoil = \"loam\"\nadc_bits = 10\n");
    let sheet_of = |ids: &[&str]| {
        let site = planned(CONTAINER).read("site.toml");
        let more: String = ids.iter().map(|id| probe(id)).collect();
        let bench = Bench::empty().with("site.toml", format!("{site}\n{more}"));
        bench
            .run(&["plan", "--simulations", "0", ".", "--out", "out"])
            .exits(0);
        bench.read("out/record-sheet-loam.html")
    };
    let counts = |sheet: &str| sheet.matches("<th scope=\"col\">raw_count").count();
    let two = sheet_of(&["P2"]);
    for id in ["P1", "P2"] {
        let head = format!("<th scope=\"col\">raw_count<small>{id}</small>");
        assert!(two.contains(&head), "{id}");
    }
    assert_eq!(counts(&two), 2);
    assert_eq!(counts(&sheet_of(&["P2", "P3"])), 3);
    // More do not fit; one column is left.
    assert_eq!(counts(&sheet_of(&["P2", "P3", "P4"])), 1);
    for words in [
        "<code>ovendry capture --sample ID</code>",
        "the stock that fills the holes",
        "At each level",
        "some 10 C below, above the room",
    ] {
        assert!(two.contains(words), "{words}");
    }
}

#[test]
fn a_name_with_signs_of_markup_stays_a_name_on_the_sheet() {
    let site = Bench::small()
        .read("site.toml")
        .replace("Small workbench (invented)", "<b>Hill & vale</b>");
    let bench = Bench::empty().with("site.toml", format!("{site}[plan]\n{CONTAINER}\n"));
    bench
        .run(&["plan", "--simulations", "0", ".", "--out", "out"])
        .exits(0);
    let sheet = bench.read("out/record-sheet-loam.html");
    assert!(sheet.contains("&lt;b&gt;Hill &amp; vale&lt;/b&gt;"));
}

#[test]
fn a_start_gives_every_day_its_date() {
    let bench = planned(CONTAINER);
    let answer = bench
        .run(&["plan", "--simulations", "0", ".", "--start", "2026-12-28"])
        .exits(0);
    let answer = answer.says("Mon 2026-12-28  afternoon  pack level 1");
    // A loam's second level stands a day; across the turn of the year.
    answer.says("Fri 2027-01-01");
    let json = bench
        .run(&[
            "plan",
            "--simulations",
            "0",
            ".",
            "--start",
            "2026-12-28",
            "--json",
        ])
        .exits(0)
        .json();
    let dates = json["soils"][0]["dates"].as_array().expect("dates").clone();
    assert_eq!(dates[0]["date"], "2026-12-28");
    let days: HashSet<u64> = dates.iter().filter_map(|day| day["day"].as_u64()).collect();
    assert_eq!(days.len(), dates.len(), "each day once");
    bench
        .run(&["plan", "--simulations", "0", ".", "--start", "28.12.2026"])
        .exits(2)
        .complains("command line: --start = \"28.12.2026\": is not a day\n  mend: write year, month and day: 2026-11-30");
}

#[test]
fn nobody_is_asked_to_the_bench_on_a_day_off() {
    let bench = planned(CONTAINER);
    let text = bench
        .run(&[
            "plan",
            "--simulations",
            "0",
            ".",
            "--start",
            "2026-11-30",
            "--days-off",
            "sat,sun",
        ])
        .exits(0)
        .stdout;
    assert!(text.contains("Mon 2026-12-07"), "{text}");
    assert!(
        !text.contains("Sat 2026-") && !text.contains("Sun 2026-"),
        "{text}"
    );
    bench
        .run(&["plan", "--simulations", "0", ".", "--days-off", "sun"])
        .exits(2);
}

#[test]
fn options_go_before_site_toml() {
    let bench = planned(
        "container_volume_ml = 5000\nstock_water_percent = 2.5\ntargets = [0.1, 0.2, 0.3]\ncores_per_level = 2",
    );
    let plan = |options: &[&str]| {
        let asked = [&["plan", "--simulations", "0", ".", "--json"], options].concat();
        bench.run(&asked).exits(0).json()["soils"][0].clone()
    };
    let soil = plan(&[]);
    assert_eq!(numbers(&soil["steps"], "theta_v"), [0.1, 0.2, 0.3]);
    assert_eq!(soil["cores_per_level"], 2);
    let soil = plan(&[
        "--levels",
        "5",
        "--cores",
        "4",
        "--container-ml",
        "8000",
        "--bulk-density",
        "1.3",
    ]);
    assert_eq!(soil["steps"].as_array().map(Vec::len), Some(5));
    assert_eq!(soil["cores_per_level"], 4);
    assert_eq!(soil["packing"]["container_ml"], 8000.0);
    assert_eq!(soil["packing"]["bulk_density_g_cm3"], 1.3);
    let soil = plan(&["--targets", "0.30,0.05,0.15", "--stock-water", "1"]);
    assert_eq!(numbers(&soil["steps"], "theta_v"), [0.05, 0.15, 0.3]);
    assert_eq!(soil["packing"]["stock_water_percent"], 1.0);
}

#[test]
fn a_soil_can_be_planned_for_without_any_folder() {
    let bench = Bench::empty();
    bench
        .run(&[
            "plan",
            "--simulations",
            "0",
            "--texture",
            "silt loam",
            "--bulk-density",
            "1.35",
            "--container-ml",
            "5000",
            "--out",
            ".",
        ])
        .exits(0)
        .says("Plan for soil silt loam: 6 levels of 3 cores")
        .says("a ring 5 cm wide and 5 cm high")
        .says("core-1a to core-1c");
    assert_eq!(
        bench.listing(),
        ["record-sheet-silt-loam.html", "samples-to-fill.csv"]
    );
    bench
        .run(&["plan", "--simulations", "0", "--texture", "loam", "--container-ml", "5000"])
        .exits(2)
        .complains("command line: the bulk density of the soil is not known, so neither is the soil to pack")
        .complains("for a first look try 1.5");
    bench
        .run(&[
            "plan",
            "--simulations",
            "0",
            "--texture",
            "loamy clay",
            "--container-ml",
            "5000",
            "--bulk-density",
            "1.3",
        ])
        .exits(2)
        .complains("command line: --texture = \"loamy clay\": is none of the twelve");
    bench
        .run(&[
            "plan",
            "--simulations",
            "0",
            "--texture",
            "loam",
            "--bulk-density",
            "1.3",
        ])
        .exits(2)
        .complains("mend: add --container-ml 5000 (your own)");
}

#[test]
fn what_is_about_one_soil_is_not_taken_for_three() {
    let bench = Bench::demo();
    for option in [
        ["--targets", "0.1,0.2,0.3"],
        ["--bulk-density", "1.4"],
        ["--stock-water", "2"],
    ] {
        bench
            .run(&[&["plan", "--simulations", "0", "."], &option[..]].concat())
            .exits(2)
            .complains(&format!(
                "command line: {} is about one soil, and there are 3\n  mend: add --soil and one of: terrace, orchard, lowfield",
                option[0]
            ));
        bench
            .run(
                &[
                    &["plan", "--simulations", "0", ".", "--soil", "orchard"],
                    &option[..],
                ]
                .concat(),
            )
            .exits(0);
    }
    bench
        .run(&["plan", "--simulations", "0", ".", "--soil", "orchrad"])
        .exits(2)
        .complains("--soil = \"orchrad\": is no soil of ");
}

#[test]
fn wrong_options_are_refused_with_what_to_write() {
    let bench = planned(CONTAINER);
    for (options, complaint) in [
        (
            ["--targets", "5,12,20"],
            "command line: --targets = \"5\": looks like a percentage, not a share",
        ),
        (
            ["--targets", "0.1,0.2,0.6"],
            "command line: soil loam: theta_v 0.600 m3/m3 is more than the pores hold",
        ),
        (
            ["--stock-water", "0.02"],
            "command line: --stock-water = \"0.02\": looks like a share of 1",
        ),
        (
            ["--container-ml", "5"],
            "command line: --container-ml = \"5\": container volume 5 ml lies outside 200 to 50000 ml",
        ),
        (
            ["--bulk-density", "1400"],
            "command line: --bulk-density = \"1400\": density 1400 g/cm3 lies outside",
        ),
        (
            ["--levels", "2"],
            "command line: soil loam: 2 levels are outside 3 to 15",
        ),
        (
            ["--cores", "0"],
            "command line: soil loam: 0 cores a level are outside 1 to 12",
        ),
        (
            ["--oven-places", "0"],
            "command line: soil loam: 0 places in the oven are outside 1 to 500",
        ),
    ] {
        let asked = [
            &["plan", "--simulations", "0", ".", "--out", "out"],
            &options[..],
        ]
        .concat();
        bench.run(&asked).exits(2).complains(complaint);
    }
    assert_eq!(bench.listing(), ["site.toml"]);
}

#[test]
fn an_earlier_plan_is_not_overwritten_unless_told_to() {
    let bench = planned(CONTAINER);
    bench
        .run(&["plan", "--simulations", "0", ".", "--out", "out"])
        .exits(0);
    bench
        .run(&["plan", "--simulations", "0", ".", "--out", "out"])
        .exits(0);
    let other = [
        "plan",
        "--simulations",
        "0",
        ".",
        "--out",
        "out",
        "--cores",
        "2",
    ];
    bench
        .run(&other)
        .exits(2)
        .complains("exists already with other content");
    bench.run(&[&other[..], &["--force"]].concat()).exits(0);
}

#[test]
fn stock_whose_water_is_not_known_is_assumed_and_said() {
    planned("container_volume_ml = 5000")
        .run(&["plan", "--simulations", "0", "."])
        .exits(0)
        .complains("warning: soil loam: the water in the air-dry stock is not stated; 2.5 % of the dry mass is assumed, from memory")
        .complains("each percent more puts 0.014 m3/m3 more water into every level than planned");
}

#[test]
fn stones_that_the_sieve_takes_out_are_asked_back() {
    let site = Bench::small().read("site.toml").replace(
        "bulk_density_g_cm3 = 1.42\n",
        "bulk_density_g_cm3 = 1.42\ngravel_percent = 12\n",
    );
    Bench::empty()
        .with("site.toml", format!("{site}[plan]\n{CONTAINER}\n"))
        .run(&["plan", "--simulations", "0", "."])
        .exits(0)
        .complains("soil loam: 12 % of the dry soil are stones, which a sieve takes out")
        .complains("12 g for each 100 g of dry soil and stones together");
}

#[test]
fn the_demo_is_planned_with_all_its_soils() {
    let bench = Bench::demo();
    bench
        .run(&["plan", "--simulations", "0", ".", "--out", "plan"])
        .exits(0)
        .says("Plan for soil terrace (sandy loam)")
        .says("Plan for soil orchard (silt loam)")
        .says("Plan for soil lowfield (clay loam)");
    let table = bench.read("plan/samples-to-fill.csv");
    let ids: HashSet<&str> = table
        .lines()
        .skip(1)
        .filter_map(|row| row.split(',').next())
        .collect();
    assert_eq!(ids.len(), 54, "ids stand once");
}

#[test]
fn a_decimal_comma_an_unknown_texture_and_one_level_are_answered_in_place() {
    let bench = Bench::empty();
    let refused = |texture: &str, density: &str, more: &[&str]| {
        let loam = ["plan", "--texture", texture, "--bulk-density", density];
        let rest = ["--container-ml", "5000", "--simulations", "0"];
        bench.run(&[&loam[..], &rest, more].concat()).exits(2)
    };
    refused("loam", "0,9", &[]).complains("write a decimal point, not a comma: 0.9");
    refused("peat", "0.9", &[]).complains("can stand in the site.toml of a folder");
    refused("loam", "1.4", &["--levels", "1"]).complains("1 level is outside 3 to 15");
    refused("loam", "1.4", &["--targets", "0.2,0.3"])
        .complains("give as many water contents as that, commas between");
}
