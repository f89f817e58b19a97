//! How long the study of ten thousand probes takes, 21 pairs each.
//!
//!

use calib_core::batch::{Member, mixed, one_curve, pool};
use calib_core::curve::CurveKind;
use calib_core::fit::{Loss, Observation, choose, fit_curve};
use calib_core::quantity::{Estimate, Quantity, Vwc};
use calib_core::uncertainty::Budget;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use std::time::Instant;

const PROBES: usize = 10_000;
const CORES: usize = 21;

/// Probes along a line, each with an offset and a gain.
fn members(shared: bool) -> Vec<Member> {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut normal = |sd: f64| -> f64 {
        let z: f64 = StandardNormal.sample(&mut rng);
        sd * z
    };
    let common: Vec<f64> = (0..CORES).map(|_| normal(0.008)).collect();
    (0..PROBES)
        .map(|probe| {
            let (offset, gain) = (normal(0.01), normal(0.08));
            let observations = (0..CORES)
                .map(|i| {
                    let felt = 0.12 + 0.24 * i as f64 / (CORES - 1) as f64;
                    let (sample, error) = if shared {
                        (format!("c{i}"), common[i])
                    } else {
                        (format!("c{probe}-{i}"), normal(0.008))
                    };
                    let apparent = felt + offset + gain * (felt - 0.24) + normal(0.004);
                    Observation {
                        sample,
                        level: (i / 3).to_string(),
                        count: Estimate::new(500.0 - (apparent - 0.25) / 0.0009, 0.6),
                        temperature: None,
                        theta_v: Estimate::new(
                            Vwc::new(felt + error).expect("a water content"),
                            0.002,
                        ),
                        budget: Budget::default(),
                        relative_volume_u: 0.0,
                    }
                })
                .collect();
            Member {
                probe: format!("p{probe}"),
                batch: None,
                media: None,
                observations,
            }
        })
        .collect()
}

fn main() {
    for shared in [false, true] {
        let members = members(shared);
        let t = Instant::now();
        let some: Vec<Observation> = members
            .iter()
            .flat_map(|m| m.observations.clone())
            .step_by(103)
            .collect();
        for kind in CurveKind::USUAL {
            let t = Instant::now();
            let f = fit_curve(&some, kind, None, Loss::Squares);
            println!("{kind} {:?} {:?}", f.map(|f| f.core_scatter), t.elapsed());
        }
        println!("fits {:?}", t.elapsed());
        let t = Instant::now();
        let _ = choose(&some, None);
        println!("choose {:?}", t.elapsed());
        let t = Instant::now();
        let p = pool(&members, Some(CurveKind::StraightLine)).unwrap();
        println!("pool on a line {:?} {}", t.elapsed(), p.scatter);
        let t = Instant::now();
        let o = one_curve(&p).unwrap();
        println!(
            "tests {:?} {:?}",
            t.elapsed(),
            o.tests.iter().map(|t| (t.f, t.p_value)).collect::<Vec<_>>()
        );
        let t = Instant::now();
        let m = mixed(&p).unwrap();
        println!(
            "mixed {:?} {} {:?} {:?}",
            t.elapsed(),
            m.evaluations,
            m.offset_sd,
            m.residual_sd
        );
    }
}
