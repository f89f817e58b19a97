//! The worked data of Bland and Altman (1986), Lancet 327:307-310: peak flow of 17
//! subjects by two meters, L/min.
//!
//! NOTES.md of `reference-data/stats`: "all 68 readings equal a public transcription;
//! numpy gives -2.118, 38.765, and unrounded limits -79.65 and 75.41. Concordance and
//! within-subject figures are computed here. The paper was not read". The intervals of
//! the limits as published are recalled from memory.
//!
//! A published example of Lin's concordance with its data could not be recalled with
//! confidence; the concordance is compared with the figure "computed here" of that
//! table, and with numpy in `outside/agreement.py`.

use calib_core::accuracy::{Limits, concordance_of, standard_error_1986};
use ovendry_tests::table::{Table, agrees, expected};

const FILE: &str = "agreement.csv";

fn first_readings() -> (Vec<f64>, Vec<f64>) {
    let table = Table::of("stats/agreement.csv");
    (
        table.numbers("large_meter_1"),
        table.numbers("mini_meter_1"),
    )
}

/// Large meter minus mini meter, as the paper has it.
fn limits() -> Limits {
    let (large, mini) = first_readings();
    let d: Vec<f64> = large.iter().zip(&mini).map(|(l, m)| l - m).collect();
    let subjects: Vec<usize> = (0..d.len()).collect();
    Limits::of_differences(&d, &subjects, d.len(), 0.95).expect("limits")
}

#[test]
fn mean_and_standard_deviation_are_the_published_ones() {
    let found = limits();
    for (name, ours) in [
        ("mean difference", found.mean),
        ("SD of differences", found.standard_deviation),
    ] {
        let published = expected(FILE, name, "published");
        assert!(
            (ours - published).abs() < 0.05,
            "{name}: {ours} {published}"
        );
        agrees(name, ours, expected(FILE, name, "recomputed"), 1e-8);
    }
}

#[test]
fn limits_and_standard_errors_are_those_of_the_table() {
    let found = limits();
    for (name, ours) in [
        ("lower limit 1.96 SD", found.lower.value),
        ("upper limit 1.96 SD", found.upper.value),
        (
            "lower limit 2 SD",
            found.mean - 2.0 * found.standard_deviation,
        ),
        (
            "upper limit 2 SD",
            found.mean + 2.0 * found.standard_deviation,
        ),
        (
            "SE of a limit",
            standard_error_1986(found.standard_deviation, found.pairs),
        ),
        (
            "SE of mean difference",
            found.standard_deviation / (found.pairs as f64).sqrt(),
        ),
    ] {
        agrees(name, ours, expected(FILE, name, "recomputed"), 1e-8);
    }
}

#[test]
fn the_intervals_of_the_limits_have_the_published_width() {
    // Published: -114.3 to -45.1 and 40.9 to 110.1 (recalled from memory), about limits
    // of 2 SD; ours are about 1.96 SD.
    let found = limits();
    for (limit, published) in [(found.lower, (-114.3, -45.1)), (found.upper, (40.9, 110.1))] {
        let interval = limit.interval_1986.expect("independent pairs");
        let (ours, theirs) = (interval.high - interval.low, published.1 - published.0);
        assert!((ours - theirs).abs() < 0.4, "{ours} {theirs}");
        // The exact one is not symmetric: longer away from the mean.
        let exact = limit.interval;
        let (inner, outer) = if limit.value > 0.0 {
            (limit.value - exact.low, exact.high - limit.value)
        } else {
            (exact.high - limit.value, limit.value - exact.low)
        };
        assert!(outer > 1.2 * inner, "{exact:?}");
    }
}

#[test]
fn two_readings_a_subject_give_the_within_subject_scatter_of_each_meter() {
    let table = Table::of("stats/agreement.csv");
    for (meter, name) in [
        ("large", "large meter within-subject SD"),
        ("mini", "mini meter within-subject SD"),
    ] {
        let mut readings = table.numbers(&format!("{meter}_meter_1"));
        let subjects: Vec<usize> = (0..17).chain(0..17).collect();
        readings.extend(table.numbers(&format!("{meter}_meter_2")));
        let found = Limits::of_differences(&readings, &subjects, 17, 0.95).expect("limits");
        agrees(
            name,
            found.within_clusters.expect("repeated"),
            expected(FILE, name, "recomputed"),
            1e-8,
        );
    }
}

#[test]
fn limits_of_repeated_pairs_take_both_components_together() {
    // Pairs of first and of second readings: two differences a subject. From the mean
    // squares of the one-way analysis of variance, two a subject.
    let table = Table::of("stats/agreement.csv");
    let difference = |number: u8| -> Vec<f64> {
        let large = table.numbers(&format!("large_meter_{number}"));
        let mini = table.numbers(&format!("mini_meter_{number}"));
        large.iter().zip(&mini).map(|(l, m)| l - m).collect()
    };
    let (first, second) = (difference(1), difference(2));
    let all: Vec<f64> = first.iter().chain(&second).copied().collect();
    let subjects: Vec<usize> = (0..17).chain(0..17).collect();
    let found = Limits::of_differences(&all, &subjects, 17, 0.95).expect("limits");
    let within: f64 = first
        .iter()
        .zip(&second)
        .map(|(a, b)| (a - b).powi(2) / 2.0)
        .sum::<f64>()
        / 17.0;
    let mean = all.iter().sum::<f64>() / 34.0;
    let between: f64 = first
        .iter()
        .zip(&second)
        .map(|(a, b)| 2.0 * (0.5 * (a + b) - mean).powi(2))
        .sum::<f64>()
        / 16.0;
    let component = (between - within) / 2.0;
    agrees("mean", found.mean, mean, 1e-12);
    agrees(
        "standard deviation",
        found.standard_deviation,
        (component + within).sqrt(),
        1e-12,
    );
    agrees(
        "between",
        found.between_clusters.expect("repeated"),
        component.sqrt(),
        1e-12,
    );
    assert!(found.upper.interval_1986.is_none());
}

#[test]
fn correlation_and_concordance_are_those_of_the_table() {
    let (large, mini) = first_readings();
    let found = concordance_of(&large, &mini).expect("a concordance");
    for (name, ours) in [
        ("correlation", found.precision),
        ("concordance correlation n divisor", found.value),
        ("concordance correlation n-1 divisor", found.value_n_minus_1),
    ] {
        agrees(name, ours, expected(FILE, name, "recomputed"), 1e-8);
    }
}

#[test]
fn the_interval_of_the_concordance_is_the_one_by_the_delta_method() {
    // Ends by numpy as `outside/agreement.py` has it: the delta method on the moments of a
    // normal sample. The second with 100 L/min added, so that the shift counts.
    let (large, mini) = first_readings();
    for (added, low, high) in [
        (0.0, 0.850_491_873_168_557_5, 0.978_726_279_170_123),
        (100.0, 0.442_005_149_149_037_2, 0.808_858_441_898_521),
    ] {
        let moved: Vec<f64> = mini.iter().map(|reading| reading + added).collect();
        let found = concordance_of(&large, &moved).expect("a concordance");
        let interval = found.interval.expect("an interval");
        agrees("lower end", interval.low, low, 1e-10);
        agrees("upper end", interval.high, high, 1e-10);
    }
}
