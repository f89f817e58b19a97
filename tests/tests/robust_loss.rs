//! Whether a robust loss keeps what it promises: where some cores are grossly
//! wrong, intervals about the curve that still hold; where none is, intervals only
//! a little wider than those of least squares.
//!
//! `cargo test -p ovendry-tests --test robust_loss -- --nocapture` prints the table.

use calib_core::curve::CurveKind;
use calib_core::fit::{Loss, ModelFit, Request, fit_curve};
use calib_core::uncertainty::coverage_factor;
use ovendry_tests::simulation::{Truth, World, truth_of};
use rayon::prelude::*;

/// Calibrations of each kind, seven levels of three cores each.
const CALIBRATIONS: u64 = 400;
/// Counts at which the curve is compared with the truth.
const COUNTS: [f64; 3] = [360.0, 500.0, 640.0];
const CURVES: [CurveKind; 3] = [
    CurveKind::StraightLine,
    CurveKind::Hyperbolic,
    CurveKind::Quadratic,
];

/// Cores that scatter by 0.01 m3/m3, at one temperature; the ring volume, which all
/// cores share, is no part of what a fit can be unsure of.
fn truth(kind: CurveKind) -> Truth {
    Truth {
        warm: false,
        ring: 0.0,
        ..Truth::of(kind, 0.01)
    }
}

#[derive(Default)]
struct Study {
    fits: f64,
    held: f64,
    half_widths: Vec<f64>,
    alarms: f64,
}

impl Study {
    fn of(loss: Loss, wrong_cores: f64) -> Self {
        let mut study = Study::default();
        for kind in CURVES {
            let fits: Vec<ModelFit> = (0..CALIBRATIONS)
                .into_par_iter()
                .filter_map(|seed| {
                    let mut world = World::new(truth(kind), 9_000 + seed);
                    world = world.with_wrong_cores(wrong_cores);
                    fit_curve(&world.dig(7, 3), kind, None, loss).ok()
                })
                .collect();
            study.fits += fits.len() as f64 / (CURVES.len() as f64 * CALIBRATIONS as f64);
            for fit in fits {
                study.add(kind, &fit);
            }
        }
        study.half_widths.sort_by(f64::total_cmp);
        let cells = study.half_widths.len() as f64;
        study.held /= cells;
        study.alarms /= cells / COUNTS.len() as f64;
        study
    }

    fn add(&mut self, kind: CurveKind, fit: &ModelFit) {
        let factor = coverage_factor(0.95, Some(fit.degrees_of_freedom));
        let mut g = vec![0.0; kind.parameters()];
        for count in COUNTS {
            let z = fit.curve.axis.z(count);
            kind.model().gradient(z, &fit.curve.parameters, &mut g);
            let variance: f64 = fit
                .covariance
                .iter()
                .zip(&g)
                .map(|(row, a)| a * row.iter().zip(&g).map(|(c, b)| c * b).sum::<f64>())
                .sum();
            let half_width = factor * variance.sqrt();
            let off = fit.curve.value(count) - truth_of(kind)(count);
            self.held += f64::from(u8::from(off.abs() <= half_width));
            self.half_widths.push(half_width);
        }
        let lack = fit.lack_of_fit.is_some_and(|test| test.p_value < 0.05);
        self.alarms += f64::from(u8::from(lack));
    }

    fn median_half_width(&self) -> f64 {
        self.half_widths[self.half_widths.len() / 2]
    }
}

/// Least and largest share of intervals at 95 % that may hold: 1200 fits, of which
/// the share has a standard deviation of at most 0.7 %.
const HOLD: std::ops::RangeInclusive<f64> = 0.93..=0.97;

#[test]
fn robust_intervals_hold_with_and_without_wrong_cores() {
    println!("loss      wrong  fitted  hold  half width  lack-of-fit alarms");
    let mut faults: Vec<String> = Vec::new();
    for wrong in [0.0, 0.05, 0.1] {
        let [squares, huber, tukey] = Loss::ALL.map(|loss| {
            let study = Study::of(loss, wrong);
            println!(
                "{:<9} {:>3.0} % {:>6.3} {:>6.4} {:>11.5} {:>7.3}",
                loss.key(),
                100.0 * wrong,
                study.fits,
                study.held,
                study.median_half_width(),
                study.alarms
            );
            study
        });
        for (loss, study) in [(Loss::Huber, huber), (Loss::Tukey, tukey)] {
            let wider = study.median_half_width() / squares.median_half_width();
            let expected = if wrong == 0.0 {
                // 1/sqrt(0.95) is 1.026.
                1.0..=1.05
            } else if wrong == 0.05 {
                0.0..=0.75
            } else {
                0.0..=0.65
            };
            for (what, right) in [
                ("hold", HOLD.contains(&study.held)),
                ("width", expected.contains(&wider)),
                ("fitted", study.fits > 0.98),
                ("alarms", study.alarms < 0.07),
            ] {
                if !right {
                    faults.push(format!(
                        "{loss}, {wrong} wrong: {what} ({wider:.3} as wide)"
                    ));
                }
            }
        }
    }
    assert_eq!(faults, Vec::<String>::new());
}

/// How often, of 240 times, the true curve is chosen, and how many of the intervals for a new
/// reading hold.
fn after_choice(loss: Loss, wrong_cores: f64) -> (f64, f64) {
    let request = Request { curve: None, loss };
    let kinds = [
        CurveKind::StraightLine,
        CurveKind::Hyperbolic,
        CurveKind::Exponential,
    ];
    let answers: Vec<(bool, f64)> = kinds
        .into_par_iter()
        .flat_map(|kind| (0..80).into_par_iter().map(move |seed| (kind, seed)))
        .filter_map(|(kind, seed)| {
            let mut world = World::new(truth(kind), 11_000 + seed).with_wrong_cores(wrong_cores);
            let (calibration, choice) = world.calibrate(7, 3, request)?;
            let readings: Vec<bool> = (0..20)
                .filter_map(|_| world.foretells(&calibration))
                .map(|foretold| foretold.held)
                .collect();
            let held = readings.iter().filter(|held| **held).count() as f64;
            let chosen = choice.fit.curve.kind == kind;
            Some((chosen, held / readings.len().max(1) as f64))
        })
        .collect();
    let n = answers.len() as f64;
    let chosen = answers.iter().filter(|(chosen, _)| *chosen).count() as f64 / n;
    (
        chosen,
        answers.iter().map(|(_, held)| held).sum::<f64>() / n,
    )
}

#[test]
fn wrong_cores_do_not_turn_the_choice_of_curve() {
    println!("loss      wrong  true curve chosen  new readings held");
    let mut faults: Vec<String> = Vec::new();
    for wrong in [0.0, 0.1] {
        for loss in Loss::ALL {
            let (chosen, held) = after_choice(loss, wrong);
            println!(
                "{:<9} {:>3.0} % {chosen:>13.3} {held:>17.3}",
                loss.key(),
                100.0 * wrong
            );
            let least = match (loss, wrong == 0.0) {
                (Loss::Squares, true) => 0.92,
                (Loss::Squares, false) => 0.0,
                (_, true) => 0.89,
                (_, false) => 0.87,
            };
            // A wrong core widens the scatter found: more than 95 % may hold.
            if chosen < least || held < 0.93 {
                faults.push(format!(
                    "{loss}, {wrong} wrong: {chosen:.3} chosen, {held:.3} held"
                ));
            }
        }
    }
    assert_eq!(faults, Vec::<String>::new());
}
