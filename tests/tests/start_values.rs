//! Whether the start values lead to the lowest minimum there is, as far as thirty
//! other starts can tell. The spline is fitted here without its smoothing, so in
//! one bed of four it has no minimum at all.
//!
//! `cargo test -p ovendry-tests --test start_values -- --nocapture` prints the table.

use calib_core::curve::{CurveKind, StartPoint};
use calib_core::fit::{Points, Settings, Solution, solve, solve_from};
use ovendry_tests::simulation::{OfCurve, reach};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;

const BEDS: u64 = 200;
const OTHER_STARTS: usize = 30;

/// Cores about a curve of the kind, some a hundred times as certain as others.
struct Bed {
    kind: CurveKind,
    truth: Vec<f64>,
    z: Vec<f64>,
    u_z: Vec<f64>,
    theta: Vec<f64>,
    u_theta: Vec<f64>,
}

impl Bed {
    fn dig(kind: CurveKind, seed: u64) -> (Self, ChaCha8Rng) {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut like = |p: f64| p * rng.random_range(0.7..1.4);
        let truth = match kind {
            CurveKind::StraightLine => vec![0.25, like(-0.12)],
            CurveKind::Hyperbolic => vec![0.22, like(0.17)],
            CurveKind::Quadratic => vec![0.22, like(-0.14), like(0.04)],
            CurveKind::Exponential => vec![0.2, like(-0.11), like(-0.9)],
            CurveKind::Power => vec![0.2, like(-0.2), like(-1.4)],
            CurveKind::Cubic => vec![0.23, like(-0.08), like(0.03), like(-0.05)],
            CurveKind::TwoSegment => vec![0.2, like(-0.05), like(-0.2), like(0.1)],
            CurveKind::InvertedLogistic => vec![0.22, like(-0.09), like(0.1), like(0.4)],
            CurveKind::MonotoneSpline => vec![0.22, like(-0.14), like(0.6), like(-0.8), 0.3],
        };
        let noise = 10f64.powf(rng.random_range(-3.3..-1.5));
        let mut bed = Self {
            kind,
            truth,
            z: Vec::new(),
            u_z: Vec::new(),
            theta: Vec::new(),
            u_theta: Vec::new(),
        };
        for _ in 0..rng.random_range(8..=24) {
            let z: f64 = reach(kind) * rng.random_range(-1.0..1.0);
            let mut u = || noise * 10f64.powf(rng.random_range(-2.0..0.0));
            let (u_z, u_theta) = (u(), u());
            let mut error = |u: f64| -> f64 {
                let e: f64 = StandardNormal.sample(&mut rng);
                u * e
            };
            bed.z.push(z + error(u_z));
            let theta = kind.model().value(z, &bed.truth);
            bed.theta.push(theta + error(u_theta) + error(0.3 * noise));
            bed.u_z.push(u_z);
            bed.u_theta.push(u_theta);
        }
        (bed, rng)
    }

    fn starts(&self) -> Option<Vec<Vec<f64>>> {
        let points: Vec<StartPoint> = self
            .z
            .iter()
            .zip(&self.theta)
            .map(|(z, theta)| StartPoint {
                z: *z,
                theta: *theta,
            })
            .collect();
        self.kind.model().starts(&points).ok()
    }

    fn points(&self) -> Points<'_> {
        Points {
            y: &self.theta,
            u_y: &self.u_theta,
            x: &self.z,
            u_x: &self.u_z,
        }
    }

    fn solve_once(&self, start: &[f64]) -> Solution {
        solve(
            &OfCurve(self.kind),
            &self.points(),
            start,
            &Settings::default(),
        )
    }

    fn solve(&self, starts: &[Vec<f64>]) -> Option<Solution> {
        solve_from(
            &OfCurve(self.kind),
            &self.points(),
            starts,
            &Settings::default(),
        )
    }
}

/// What one bed shows.
#[derive(PartialEq, Clone, Copy)]
enum Shown {
    AsLow,
    Higher,
    NoMinimum,
    NobodyKnows,
}

fn look(kind: CurveKind, seed: u64) -> Shown {
    let (bed, mut rng) = Bed::dig(kind, seed);
    let Some((starts, ours)) = bed.starts().and_then(|starts| {
        let ours = bed.solve(&starts)?;
        Some((starts, ours))
    }) else {
        return Shown::NoMinimum;
    };
    let lowest = (0..OTHER_STARTS)
        .filter_map(|i| {
            let from = if i % 2 == 0 { &bed.truth } else { &starts[0] };
            let other: Vec<f64> = from
                .iter()
                .map(|p| {
                    let e: f64 = StandardNormal.sample(&mut rng);
                    p + e * p.abs().max(0.1)
                })
                .collect();
            let found = bed.solve_once(&other);
            found.found_minimum().then_some(found.chi_square)
        })
        .fold(f64::INFINITY, f64::min);
    match (ours.found_minimum(), lowest.is_finite()) {
        (false, false) => Shown::NobodyKnows,
        (false, true) => Shown::NoMinimum,
        (true, _) if ours.chi_square > lowest * (1.0 + 1e-6) => Shown::Higher,
        (true, _) => Shown::AsLow,
    }
}

#[test]
fn no_other_start_leads_lower() {
    let mut faults: Vec<String> = Vec::new();
    println!("curve                    higher  no minimum  nobody's  of");
    for kind in CurveKind::ALL {
        let shown: Vec<Shown> = (0..BEDS)
            .into_par_iter()
            .map(|seed| look(kind, 31_000 + seed))
            .collect();
        let count = |what| shown.iter().filter(|s| **s == what).count();
        println!(
            "{:<24} {:>6} {:>11} {:>9} {BEDS:>5}",
            kind.to_string(),
            count(Shown::Higher),
            count(Shown::NoMinimum),
            count(Shown::NobodyKnows),
        );
        let missed = count(Shown::Higher) + count(Shown::NoMinimum);
        // The break may come to rest on a core, a kink that no search by
        // derivatives ends at; and errors of both axes bend even a cubic's valley.
        let allowed = match kind {
            CurveKind::TwoSegment => 3,
            CurveKind::Cubic => 1,
            _ => 0,
        };
        if missed > allowed {
            faults.push(format!(
                "{kind}: {missed} of {BEDS} missed the lowest minimum"
            ));
        }
    }
    assert_eq!(faults, Vec::<String>::new());
}
