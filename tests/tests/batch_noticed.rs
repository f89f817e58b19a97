//! `ovendry batch` before data that a person got wrong: slips of a count, swapped media,
//! probes of one core. What is wrong is named by line and probe.

use ovendry_tests::{Bench, repository};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

const HEAD: &str =
    "sample_id,soil,probe_id,raw_count,theta_v,theta_v_u,count_low_medium,count_high_medium";

/// Rows of a table of 12 probes, each beside six cores of its own, as fields.
fn rows(theta_u: &str) -> Vec<Vec<String>> {
    let mut draws = ChaCha8Rng::seed_from_u64(12);
    let mut normal = |sd: f64| {
        let draw: f64 = StandardNormal.sample(&mut draws);
        sd * draw
    };
    let mut rows = Vec::new();
    for probe in 1..=12 {
        let offset = normal(8.0);
        for core in 0..6 {
            let theta = 0.08 + 0.05 * f64::from(core) + normal(0.006);
            let count = 800.0 - 1200.0 * theta + offset + normal(6.0);
            rows.push(vec![
                format!("K{probe}-{core}"),
                "loam".to_owned(),
                format!("P{probe:02}"),
                format!("{count:.1}"),
                format!("{theta:.4}"),
                theta_u.to_owned(),
                format!("{:.1}", 830.0 + offset),
                format!("{:.1}", 210.0 + offset),
            ]);
        }
    }
    rows
}

fn bench(rows: &[Vec<String>]) -> Bench {
    let lines: Vec<String> = rows.iter().map(|row| row.join(",")).collect();
    Bench::empty().with("pairs.csv", format!("{HEAD}\n{}\n", lines.join("\n")))
}

const RUN: [&str; 3] = ["batch", "pairs.csv", "--no-charts"];

#[test]
fn a_count_slipped_by_ten_is_named_by_its_line() {
    let mut rows = rows("0.004");
    let sound = bench(&rows).run(&RUN);
    assert!(!sound.stderr.contains("far from all others"), "{sound:?}");
    let count: f64 = rows[10][3].parse().unwrap();
    rows[10][3] = format!("{:.1}", 10.0 * count);
    bench(&rows)
        .run(&RUN)
        .complains("line 12: core K2-4 beside probe P02 lies far from all others (")
        .complains("look for a slip of the count or the mass")
        .says("But first, line 12: core K2-4");
}

#[test]
fn media_swapped_for_one_probe_are_refused_by_line_with_both_counts() {
    let mut rows = rows("0.004");
    for row in rows.iter_mut().filter(|row| row[2] == "P05") {
        row.swap(6, 7);
    }
    let (low, high) = (rows[24][6].clone(), rows[24][7].clone());
    let bench = bench(&rows);
    bench
        .run(&RUN)
        .exits(2)
        .complains("pairs.csv:26: soil loam: probe P05 reads ")
        .complains(low.trim_end_matches(".0"))
        .complains(high.trim_end_matches(".0"))
        .complains("the other 11");
    assert_eq!(bench.listing(), ["pairs.csv"]);
}

#[test]
fn media_swapped_for_all_probes_are_refused() {
    let mut rows = rows("0.004");
    for row in &mut rows {
        row.swap(6, 7);
    }
    bench(&rows)
        .run(&RUN)
        .exits(2)
        .complains("probe P01 and all others")
        .complains("the low medium is the one like air");
}

#[test]
fn a_probe_of_one_core_is_named_and_given_no_place() {
    let mut rows = rows("0.004");
    rows.drain(67..);
    let bench = bench(&rows);
    let text = bench.run(&RUN).stdout.replace('\n', " ");
    assert!(text.contains("of its own: P12 (1 core)"), "{text}");
    let table = bench.read("out/loam.probes.csv");
    let last = table.lines().last().unwrap();
    assert!(
        last.starts_with("P12,") && last.ends_with(",not judged"),
        "{last}"
    );
    assert!(last.contains(",,,,,,"), "{last}");
}

#[test]
fn a_stated_uncertainty_beyond_the_scatter_is_warned_of() {
    let warns = |theta_u: &str| {
        let answer = bench(&rows(theta_u)).run(&RUN);
        answer.stderr.contains("but pairs scatter by")
    };
    assert!(!warns("0.004"));
    assert!(warns("0.012"));
}

#[test]
fn what_to_do_stands_before_the_figures_and_all_of_twelve_are_ranked() {
    let mut rows = rows("0.004");
    for row in rows.iter_mut().filter(|row| row[2] == "P07") {
        let count: f64 = row[3].parse().unwrap();
        row[3] = format!("{:.1}", count + 90.0);
    }
    let text = bench(&rows).run(&RUN).stdout;
    let place = |title: &str| {
        let found = text.find(&format!("\n{title}\n---"));
        found.unwrap_or_else(|| panic!("{title:?} not in {text}"))
    };
    let order = [
        "Can one curve serve these probes?",
        "Probes that stand out",
        "The next probe out of the box",
        "Do the probes differ?",
        "How far they differ",
        "Repeatability and reproducibility",
        "The order of the probes",
    ];
    let places: Vec<usize> = order.iter().map(|title| place(title)).collect();
    assert!(places.is_sorted(), "{places:?}");
    let ranks = &text[place("The order of the probes")..];
    for probe in 1..=12 {
        assert!(
            ranks.contains(&format!("P{probe:02}")),
            "P{probe:02}: {ranks}"
        );
    }
    let joined = text.replace('\n', " ");
    for phrase in [
        "stands out is in these figures; without it: ",
        "without it probe_to_probe_counts = ",
        "U above holds the probe that stands out",
    ] {
        assert!(
            joined
                .replace("   ", " ")
                .replace("  ", " ")
                .contains(phrase),
            "{phrase}: {text}"
        );
    }
}

/// The curve of the demo's probes bends more at its ends than a robust cubic follows.
#[test]
fn no_slip_is_seen_in_the_demo_where_there_is_none() {
    let bench = Bench::empty();
    let file = repository().join("demo-data/forty-probes.csv");
    bench.put("forty.csv", std::fs::read(file).expect("the demo"));
    let answer = bench.run(&["batch", "forty.csv", "--no-charts"]).exits(0);
    assert!(
        !answer.stderr.contains("far from all others"),
        "{}",
        answer.stderr
    );
}
