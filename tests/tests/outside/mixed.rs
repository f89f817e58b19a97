//! The spread of ten batches of probes, found by other programs too.
//!
//! Outside: R with its packages nlme (`lme`, probes with cores of their own) and lme4
//! (`lmer`, all batches), both by restricted likelihood, and R's own `lm` and `anova`
//! for the F tests. The script `mixed.R` says how they are used.

use crate::{Check, output_of};
use calib_core::batch::{Design, Mixed, OneCurve, Pool, Sharing, members, mixed, one_curve, pool};
use calib_core::curve::CurveKind;
use ovendry_tests::batch::{Batch, line, quadratic};
use ovendry_tests::{Bench, repository};
use std::collections::BTreeMap;
use std::fmt::Write;
use std::process::Command;

pub const CHECK: Check = Check {
    name: "R finds the spread of ten batches and the F tests of their probes as we do",
    needs: &["Rscript"],
    run,
};

/// Relative difference allowed: five digits.
const AGREED: f64 = 0.5e-5;

/// Ten batches: five with cores of each probe's own, five with cores shared by all.
fn batches() -> Vec<(Pool, Mixed, OneCurve)> {
    (0..10_u64)
        .map(|i| {
            let shared = i >= 5;
            let bends = i % 2 == 1;
            let batch = Batch {
                offset: 0.012,
                gain: 0.12,
                correlation: 0.3,
                theta_v: if bends { quadratic } else { line },
                ..Batch::alike(8 + 3 * i as usize, 9 + (i as usize % 5), shared)
            };
            let pairs = batch.pairs(8_800 + i);
            let kind = if bends {
                CurveKind::Quadratic
            } else {
                CurveKind::StraightLine
            };
            let members = members(&pairs, &BTreeMap::new(), "bed").expect("members");
            let pool = pool(&members, Some(kind)).expect("a pool");
            let mixed = mixed(&pool).expect("a spread");
            let tests = one_curve(&pool).expect("tests");
            (pool, mixed, tests)
        })
        .collect()
}

/// The pairs of a batch as a table for R.
fn table(pool: &Pool) -> String {
    let mut text = String::from("probe,core,d,z,w");
    for k in 0..pool.columns {
        let _ = write!(text, ",g{k}");
    }
    text.push('\n');
    for d in &pool.deviations {
        let _ = write!(
            text,
            "p{},c{},{:e},{:e},{:e}",
            d.probe, d.core, d.deviation, d.z, d.weight
        );
        for g in &d.gradient[..pool.columns] {
            let _ = write!(text, ",{g:e}");
        }
        text.push('\n');
    }
    text
}

fn run() -> Result<(), String> {
    let bench = Bench::empty();
    let batches = batches();
    for (i, (pool, _, _)) in batches.iter().enumerate() {
        bench.put(&format!("batch{i}.csv"), table(pool));
    }
    let script = repository().join("tests/tests/outside/mixed.R");
    let text = output_of(
        Command::new("Rscript")
            .arg("--vanilla")
            .arg(script)
            .arg(bench.path())
            .arg(batches.len().to_string()),
    )?;
    let said = String::from_utf8_lossy(&text);
    let mut compared = BTreeMap::new();
    let mut differences = Vec::new();
    for row in said.lines() {
        let words: Vec<&str> = row.split_whitespace().collect();
        let [program, batch, name, value] = words[..] else {
            println!("{row}");
            continue;
        };
        let value: f64 = value.parse().map_err(|_| format!("no number: {row}"))?;
        let batch: usize = batch.parse().map_err(|_| format!("no batch: {row}"))?;
        let (pool, mixed, tests) = batches.get(batch).ok_or("no such batch")?;
        let ours = figure(pool, mixed, tests, name).ok_or(format!("not known: {name}"))?;
        *compared.entry((program.to_owned(), batch)).or_insert(0) += 1;
        if (ours - value).abs() > AGREED * value.abs().max(size(mixed, name)) {
            differences.push(format!("{row}, ours {ours:e}"));
        }
    }
    // Every program answers for every batch it is for.
    let expected = [("lmer", 0..10), ("lme", 0..5), ("lm", 0..10)];
    for (program, range) in expected {
        for batch in range {
            let n = compared.get(&(program.to_owned(), batch)).copied();
            if n.unwrap_or(0) < 4 {
                differences.push(format!("{program} said too little of batch {batch}: {n:?}"));
            }
        }
    }
    println!("{} figures compared", compared.values().sum::<i32>());
    if differences.is_empty() {
        Ok(())
    } else {
        Err(differences.join("\n"))
    }
}

/// What a difference is measured by where that is more than the figure: one probe's
/// offset or gain may be next to nothing, so the spread of them all.
fn size(mixed: &Mixed, name: &str) -> f64 {
    let [[v, _], [_, w]] = mixed.spread;
    match name.split_at_checked(1) {
        Some(("o", place)) if place.parse::<usize>().is_ok() => v.sqrt(),
        Some(("g", place)) if place.parse::<usize>().is_ok() => w.sqrt(),
        _ => 0.0,
    }
}

/// Our figure of a name.
fn figure(pool: &Pool, mixed: &Mixed, tests: &OneCurve, name: &str) -> Option<f64> {
    let [[v, c], [_, w]] = mixed.spread;
    let f = |a, b| tests.test(a, b).map(|test| test.f);
    match name {
        "offset" => Some(v),
        "gain" => Some(w),
        "both" => Some(c),
        "core" => (pool.design == Design::SharedCores)
            .then_some(mixed.core_sd)
            .flatten()
            .map(|sd| sd.value.powi(2)),
        "residual" => Some(mixed.residual_sd.value.powi(2)),
        "one-offset" => f(Sharing::OneCurve, Sharing::OwnOffset),
        "offset-gain" => f(Sharing::OwnOffset, Sharing::OwnOffsetAndGain),
        "one-own" => f(Sharing::OneCurve, Sharing::OwnCurve),
        "p:one-offset" => Some(tests.test(Sharing::OneCurve, Sharing::OwnOffset)?.p_value),
        name => {
            let (kind, place) = name.split_at_checked(1)?;
            let place: usize = place.parse().ok()?;
            match kind {
                "b" => mixed.fixed.get(place).copied(),
                "s" => Some(mixed.fixed_covariance.get(place)?.get(place)?.sqrt()),
                // Predictions of the probes' offsets and gains.
                "o" => mixed.effects.get(place).map(|e| e.offset.value),
                "g" => mixed.effects.get(place).map(|e| e.gain.value),
                "u" => mixed.effects.get(place).map(|e| e.offset.u),
                _ => None,
            }
        }
    }
}
