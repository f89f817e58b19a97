//! The 95 % intervals hold the truth as often as they claim, also after the curve
//! was chosen: the table of the full study (`tests/coverage.csv`, made by the
//! example `coverage`) is held to that, and cells of it are made again in small.

use calib_core::curve::CurveKind;
use ovendry_tests::coverage::{Cell, HEADER};
use ovendry_tests::repository;

/// Degrees of freedom below which `fit` says that the interval may not be trusted.
const TRUSTED_FROM: usize = 7;

struct Row {
    curve: String,
    levels: usize,
    cores: usize,
    scatter: f64,
    held: Option<f64>,
    chosen_held: f64,
}

fn table() -> Vec<Row> {
    let mut reader = csv::Reader::from_path(repository().join("tests/coverage.csv"))
        .expect("the table of the study");
    let header: Vec<String> = reader
        .headers()
        .expect("a header")
        .iter()
        .map(str::to_owned)
        .collect();
    assert_eq!(header.join(","), HEADER);
    reader
        .records()
        .map(|record| {
            let record = record.expect("a row");
            Row {
                curve: record[0].to_owned(),
                scatter: record[1].parse().expect("a scatter"),
                levels: record[2].parse().expect("levels"),
                cores: record[3].parse().expect("cores"),
                held: record[6].parse().ok(),
                chosen_held: record[9].parse().expect("a share"),
            }
        })
        .collect()
}

#[test]
fn the_table_holds_every_cell_and_keeps_what_the_intervals_claim() {
    let rows = table();
    assert_eq!(rows.len(), Cell::all().len());
    let mut outside = Vec::new();
    for row in &rows {
        let kind = CurveKind::ALL
            .into_iter()
            .find(|kind| kind.key() == row.curve)
            .expect("a curve");
        // The temperature coefficient is one more parameter.
        let freedom = (row.levels * row.cores).saturating_sub(kind.parameters() + 1);
        if freedom < TRUSTED_FROM {
            continue;
        }
        for (way, held) in [("asked for", row.held), ("chosen", Some(row.chosen_held))] {
            // No curve among those chosen from has the shape of the others; and four
            // readings of 600 calibrations have a standard deviation of 0.5 or so.
            let chosen_from = CurveKind::USUAL.contains(&kind);
            let kept = match (way, chosen_from) {
                (_, true) => 94.0..=96.5,
                ("asked for", false) => 93.0..=97.0,
                _ => 92.5..=98.5,
            };
            if held.is_none_or(|held| !kept.contains(&held)) {
                outside.push(format!(
                    "{} {} {}x{} {way}: {held:?}",
                    row.curve, row.scatter, row.levels, row.cores
                ));
            }
        }
    }
    assert!(outside.is_empty(), "{outside:#?}");
}

#[test]
fn cells_made_again_in_small_agree_with_the_table() {
    let rows = table();
    for (kind, scatter, levels, cores) in [
        (CurveKind::Hyperbolic, 0.004, 7, 3),
        (CurveKind::Exponential, 0.01, 5, 2),
        (CurveKind::StraightLine, 0.02, 9, 1),
    ] {
        let cell = Cell {
            kind,
            scatter,
            levels,
            cores,
        };
        let row = rows
            .iter()
            .find(|row| {
                (row.curve.as_str(), row.scatter, row.levels, row.cores)
                    == (kind.key(), scatter, levels, cores)
            })
            .expect("the cell");
        let [asked, chosen] = cell.study(400);
        for (held, expected) in [
            (asked.held_percent(), row.held),
            (chosen.held_percent(), Some(row.chosen_held)),
        ] {
            // 400 calibrations of four readings: a standard deviation of 0.6 to 0.8.
            let (held, expected) = (held.expect("readings"), expected.expect("readings"));
            assert!((held - expected).abs() < 2.5, "{kind}: {held} {expected}");
        }
    }
}
