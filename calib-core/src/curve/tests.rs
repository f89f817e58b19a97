//! What every model of the family must do, checked for all of them.

use super::*;
use num_dual::{Dual64, DualNum};
use proptest::prelude::*;

fn example(kind: CurveKind) -> Vec<f64> {
    match kind {
        CurveKind::StraightLine => vec![0.25, -0.12],
        CurveKind::Hyperbolic => vec![0.25, 0.3],
        CurveKind::Quadratic => vec![0.25, -0.12, 0.03],
        CurveKind::Exponential => vec![0.25, -0.12, -0.6],
        CurveKind::Power => vec![0.25, -0.3, -1.7],
        CurveKind::Cubic => vec![0.25, -0.12, 0.03, -0.02],
        CurveKind::TwoSegment => vec![0.22, -0.05, -0.16, 0.13],
        CurveKind::InvertedLogistic => vec![0.25, -0.09, 0.12, 0.55],
        CurveKind::MonotoneSpline => vec![0.25, -0.12, 0.7, -0.9, 0.4],
    }
}

/// The model as a textbook has it, for numbers that carry a derivative; good
/// away from the limits that the models' own forms pass through.
fn textbook<D: DualNum<Primitive = f64> + Copy>(kind: CurveKind, z: D, p: &[D]) -> D {
    let one = D::from(1.0);
    match kind {
        CurveKind::StraightLine => p[0] + p[1] * z,
        CurveKind::Hyperbolic => p[0] + p[1] * ((z + one).recip() - one),
        CurveKind::Quadratic => p[0] + p[1] * z + p[2] * z * z,
        CurveKind::Exponential => p[0] + p[1] / p[2] * ((p[2] * z).exp() - one),
        CurveKind::Power => p[0] + p[1] / p[2] * ((z + one).powd(p[2]) - one),
        CurveKind::Cubic => p[0] + p[1] * z + p[2] * z * z + p[3] * z * z * z,
        CurveKind::TwoSegment => {
            let side = if z.re() < p[3].re() { p[1] } else { p[2] };
            p[0] + side * (z - p[3])
        }
        CurveKind::InvertedLogistic => {
            // theta_v = m + w ln((z - L)/(U - z)), less its value at z = 0
            let q = (p[2] * p[2] + p[3] * 4.0).sqrt();
            let (low, high) = (-(p[2] + q).recip() * 2.0, -(p[2] - q).recip() * 2.0);
            p[0] + p[1] / q * (((z - low) / (high - z)).ln() - (-low / high).ln())
        }
        CurveKind::MonotoneSpline => {
            // The control polygon over the Greville abscissae, by de Boor's
            // recurrence; then less its value at z = 0.
            let r2 = p[2].exp();
            let r3 = r2 * p[3].exp();
            let r4 = r3 * p[4].exp();
            let mean = (one + r2 * 2.0 + r3 * 2.0 + r4) / 6.0;
            let mut control = [D::from(0.0); 5];
            for (i, (r, gap)) in [(one, 1.0), (r2, 2.0), (r3, 2.0), (r4, 1.0)]
                .into_iter()
                .enumerate()
            {
                control[i + 1] = control[i] + r / mean * (gap / 3.0);
            }
            p[0] + p[1] * (de_boor(z, &control) - de_boor(D::from(0.0), &control))
        }
    }
}

/// A cubic B-spline on the knots -1, 0 and 1, the outer ones fourfold.
fn de_boor<D: DualNum<Primitive = f64> + Copy>(z: D, control: &[D; 5]) -> D {
    let knots = [-1.0, -1.0, -1.0, -1.0, 0.0, 1.0, 1.0, 1.0, 1.0];
    let piece = if z.re() < 0.0 { 3 } else { 4 };
    let mut d = [0, 1, 2, 3].map(|j| control[j + piece - 3]);
    for r in 1..4 {
        for j in (r..4).rev() {
            let (from, to) = (knots[j + piece - 3], knots[j + 1 + piece - r]);
            let share = (z - from) / (to - from);
            d[j] = (-share + 1.0) * d[j - 1] + share * d[j];
        }
    }
    d[3]
}

fn dual(value: f64, direction: bool) -> Dual64 {
    Dual64::new(value, f64::from(u8::from(direction)))
}

const PLACES: [f64; 9] = [-0.95, -0.7, -0.4, -0.1, 0.0, 0.2, 0.45, 0.8, 0.97];

#[test]
fn every_value_is_the_textbook_value() {
    for kind in CurveKind::ALL {
        let p = example(kind);
        for z in PLACES {
            let (found, expected) = (kind.model().value(z, &p), textbook(kind, z, &p));
            assert!(
                (found - expected).abs() < 1e-14,
                "{kind} at z {z}: {found} vs {expected}"
            );
        }
    }
}

#[test]
fn every_slope_is_the_derivative_dual_numbers_give() {
    for kind in CurveKind::ALL {
        let p = example(kind);
        let fixed: Vec<Dual64> = p.iter().map(|v| dual(*v, false)).collect();
        for z in PLACES {
            let found = kind.model().slope(z, &p);
            let expected = textbook(kind, dual(z, true), &fixed).eps;
            assert!(
                (found - expected).abs() < 1e-13 * expected.abs().max(1.0),
                "{kind} at z {z}: {found} vs {expected}"
            );
        }
    }
}

#[test]
fn every_gradient_is_the_one_dual_numbers_give() {
    for kind in CurveKind::ALL {
        let p = example(kind);
        for z in PLACES {
            let mut found = vec![0.0; p.len()];
            kind.model().gradient(z, &p, &mut found);
            for (j, found) in found.iter().enumerate() {
                let moved: Vec<Dual64> = p
                    .iter()
                    .enumerate()
                    .map(|(i, v)| dual(*v, i == j))
                    .collect();
                let expected = textbook(kind, dual(z, false), &moved).eps;
                assert!(
                    (found - expected).abs() < 1e-13 * expected.abs().max(1.0),
                    "{kind} p{j} at z {z}: {found} vs {expected}"
                );
            }
        }
    }
}

#[test]
fn all_at_once_is_each_by_itself() {
    for kind in CurveKind::ALL {
        let (model, p) = (kind.model(), example(kind));
        let mut out_of_reach = vec![-9.0, -1.0, 9.0];
        out_of_reach.extend(PLACES);
        for z in out_of_reach {
            let (mut together, mut alone) = (vec![0.0; p.len()], vec![0.0; p.len()]);
            let (value, slope) = model.evaluate(z, &p, &mut together);
            model.gradient(z, &p, &mut alone);
            assert_eq!(together, alone, "{kind} at {z}");
            assert_eq!(value, model.value(z, &p), "{kind} at {z}");
            let expected = model.slope(z, &p);
            assert!(
                (slope - expected).abs() <= 1e-14 * expected.abs(),
                "{kind} at {z}: {slope} {expected}"
            );
        }
    }
}

/// Parameters close to, and at, the limits where the textbook form divides by
/// zero; only differences can check those.
#[test]
fn gradients_and_slopes_agree_with_central_differences_at_their_limits_too() {
    let limits: [(CurveKind, &[f64]); 8] = [
        (CurveKind::Exponential, &[0.25, -0.12, 0.0]),
        (CurveKind::Exponential, &[0.25, -0.12, 3e-3]),
        (CurveKind::Power, &[0.25, -0.3, 0.0]),
        (CurveKind::Power, &[0.25, -0.3, -2e-4]),
        (CurveKind::InvertedLogistic, &[0.25, -0.12, 0.0, 0.0]),
        (CurveKind::InvertedLogistic, &[0.25, -0.12, 0.2, -0.01]),
        (CurveKind::InvertedLogistic, &[0.25, -0.12, 0.1, -0.6]),
        (CurveKind::MonotoneSpline, &[0.25, -0.12, 0.0, 0.0, 0.0]),
    ];
    let h = 1e-5;
    for (kind, p) in limits {
        let model = kind.model();
        for z in PLACES {
            let mut found = vec![0.0; p.len()];
            model.gradient(z, p, &mut found);
            let by_z = (model.value(z + h, p) - model.value(z - h, p)) / (2.0 * h);
            assert!((model.slope(z, p) - by_z).abs() < 1e-7 * (1.0 + by_z.abs()));
            for j in 0..p.len() {
                let (mut up, mut down) = (p.to_vec(), p.to_vec());
                up[j] += h;
                down[j] -= h;
                let difference = (model.value(z, &up) - model.value(z, &down)) / (2.0 * h);
                assert!(
                    (found[j] - difference).abs() < 1e-7 * (1.0 + difference.abs()),
                    "{kind} p{j} at z {z}: {} vs {difference}",
                    found[j]
                );
            }
        }
    }
}

fn example_curve(kind: CurveKind) -> Curve {
    Curve {
        kind,
        axis: kind.model().axis(300.0, 700.0),
        parameters: example(kind),
    }
}

#[test]
fn the_slope_by_count_is_that_of_the_value_by_count() {
    for kind in CurveKind::ALL {
        let curve = example_curve(kind);
        for count in [310.0, 420.0, 500.0, 650.0] {
            let h = 1e-3;
            let difference = (curve.value(count + h) - curve.value(count - h)) / (2.0 * h);
            assert!(
                (curve.slope(count) - difference).abs() < 1e-9,
                "{kind} at {count}"
            );
        }
    }
}

#[test]
fn a_count_found_for_a_water_content_gives_that_water_content_back() {
    for kind in CurveKind::ALL {
        let curve = example_curve(kind);
        for count in [301.0, 355.5, 500.0, 699.0] {
            let back = curve.count_at(curve.value(count), 300.0, 700.0).unwrap();
            assert!((back - count).abs() < 1e-6, "{kind}: {back} vs {count}");
        }
    }
}

#[test]
fn only_the_cubic_and_the_spline_need_a_search() {
    for kind in CurveKind::ALL {
        let curve = example_curve(kind);
        let closed = curve.closed_form(curve.value(433.0), 300.0, 700.0);
        let searched = matches!(kind, CurveKind::Cubic | CurveKind::MonotoneSpline);
        assert_eq!(closed.is_none(), searched, "{kind}");
    }
}

proptest! {
    #[test]
    fn closed_form_and_search_find_the_same_count(
        kind in proptest::sample::select(CurveKind::ALL.to_vec()),
        b in prop_oneof![-0.3..-0.02, 0.02..0.3],
        bend in -0.9..0.9_f64,
        bend_too in 0.05..0.9_f64,
        place in 0.02..0.98_f64,
    ) {
        let parameters = match kind {
            CurveKind::StraightLine | CurveKind::Hyperbolic => vec![0.2, b],
            CurveKind::Quadratic => vec![0.2, b, 0.49 * b * bend],
            CurveKind::Exponential | CurveKind::Power => vec![0.2, b, 4.0 * bend],
            CurveKind::Cubic => vec![0.2, b, 0.2 * b * bend, 0.1 * b],
            CurveKind::TwoSegment => vec![0.2, b, b * bend_too, bend],
            CurveKind::InvertedLogistic => vec![0.2, b, 0.09 * bend, bend_too],
            CurveKind::MonotoneSpline => vec![0.2, b, bend, -bend, bend_too],
        };
        let curve = Curve { kind, axis: kind.model().axis(300.0, 700.0), parameters };
        let theta = curve.value(300.0) + place * (curve.value(700.0) - curve.value(300.0));
        let searched = curve.search(theta, 300.0, 700.0).unwrap();
        let found = curve.count_at(theta, 300.0, 700.0).unwrap();
        prop_assert!((found - searched).abs() < 1e-6, "{kind}: {found} vs {searched}");
        if let Some(closed) = curve.closed_form(theta, 300.0, 700.0) {
            prop_assert!((closed - searched).abs() < 1e-6, "{kind}: {closed} vs {searched}");
        }
    }
}

#[test]
fn a_water_content_beyond_the_curve_is_refused_with_its_range() {
    let curve = example_curve(CurveKind::StraightLine);
    let error = curve.count_at(0.5, 300.0, 700.0).unwrap_err();
    assert_eq!(
        error.to_string(),
        "theta_v 0.5000 m3/m3 lies outside the curve's range 0.1300 to 0.3700 m3/m3"
    );
}

#[test]
fn a_curve_that_turns_inside_the_range_has_no_inverse() {
    let curve = Curve {
        kind: CurveKind::Quadratic,
        axis: Axis::centred(300.0, 700.0),
        parameters: vec![0.2, 0.01, 0.1],
    };
    let turning = curve.turning_point_within(300.0, 700.0).unwrap();
    assert!(curve.slope(turning).abs() < 1e-12);
    assert!(matches!(
        curve.count_at(0.21, 300.0, 700.0),
        Err(CurveError::NotMonotone { .. })
    ));
}

#[test]
fn a_curve_that_ends_inside_the_range_is_refused_with_the_count() {
    let curve = Curve {
        kind: CurveKind::InvertedLogistic,
        axis: Axis::centred(300.0, 700.0),
        parameters: vec![0.25, -0.2, 0.0, 1.5625],
    };
    let error = curve.count_at(0.25, 300.0, 700.0).unwrap_err();
    assert_eq!(
        error.to_string(),
        "the inverted four-parameter logistic ends at 340.0 counts, and 300.0 to 700.0 reaches that far"
    );
    assert!(curve.count_at(0.25, 341.0, 659.0).is_ok());
    let beyond = example_curve(CurveKind::Power).check_defined(-5.0, 700.0);
    assert!(matches!(
        beyond,
        Err(CurveError::EndsInside { end: 0.0, .. })
    ));
}

#[test]
fn no_count_however_odd_makes_a_curve_nan() {
    for kind in CurveKind::ALL {
        let curve = example_curve(kind);
        for count in [
            -65_536.0, -1.0, 0.0, 1e-9, 150.0, 850.0, 65_535.0, 131_072.0,
        ] {
            assert!(!curve.value(count).is_nan(), "{kind} at {count}");
            assert!(curve.slope(count).is_finite(), "{kind} at {count}");
            let mut g = vec![0.0; curve.parameters.len()];
            curve.gradient(count, &mut g);
            assert!(g.iter().all(|v| !v.is_nan()), "{kind} at {count}: {g:?}");
        }
    }
}

#[test]
fn start_values_reproduce_noise_free_curves() {
    for kind in CurveKind::ALL {
        let model = kind.model();
        let p = example(kind);
        let from_zero = matches!(kind, CurveKind::Hyperbolic | CurveKind::Power);
        let points: Vec<StartPoint> = (0..9)
            .map(|i| (-1.0 + 0.25 * f64::from(i)) * if from_zero { 0.4 } else { 1.0 })
            .map(|z| StartPoint {
                z,
                theta: model.value(z, &p),
            })
            .collect();
        let start = model.start(&points).unwrap();
        for (found, expected) in start.iter().zip(&p) {
            assert!(
                (found - expected).abs() < 1e-3,
                "{kind}: {start:?} vs {p:?}"
            );
        }
    }
}

#[test]
fn a_count_without_a_value_is_refused_not_a_panic() {
    for (hole, none_has_it) in [(f64::NAN, true), (f64::INFINITY, true), (-1.0, false)] {
        let points: Vec<StartPoint> = [hole, -0.5, -0.1, 0.2, 0.6, 0.9]
            .into_iter()
            .map(|z| StartPoint { z, theta: 0.2 })
            .collect();
        for kind in CurveKind::ALL {
            let start = kind.model().start(&points);
            if none_has_it {
                assert_eq!(start, Err(CurveError::NoValue { kind }));
            } else if matches!(kind, CurveKind::Hyperbolic | CurveKind::Power) {
                assert_eq!(start, Err(CurveError::CountsNotPositive { kind }));
            } else {
                assert!(start.is_ok(), "{kind}: {start:?}");
            }
        }
    }
}

#[test]
fn identical_counts_fix_no_curve() {
    let points = vec![
        StartPoint { z: 0.2, theta: 0.1 },
        StartPoint { z: 0.2, theta: 0.3 },
    ];
    for kind in CurveKind::ALL {
        assert!(matches!(
            kind.model().start(&points),
            Err(CurveError::NotDetermined { .. })
        ));
    }
}

#[test]
fn the_list_runs_from_simple_to_less_simple_and_names_each_once() {
    let sizes: Vec<usize> = CurveKind::ALL.iter().map(|k| k.parameters()).collect();
    assert!(sizes.is_sorted(), "{sizes:?}");
    assert_eq!(sizes.last(), Some(&MAX_CURVE_PARAMETERS));
    for kind in CurveKind::ALL {
        let written = serde_json::to_string(&kind).unwrap();
        assert_eq!(written, format!("\"{}\"", kind.key()));
        assert_eq!(kind.model().kind(), kind);
    }
}
