use super::*;

fn plain(values: &[f64]) -> Vec<ProbeMean> {
    values
        .iter()
        .map(|value| ProbeMean {
            value: *value,
            variance: 0.0,
        })
        .collect()
}

fn close(got: f64, expected: f64) {
    assert!(
        (got - expected).abs() < 1e-9 * (1.0 + expected.abs()),
        "{got} {expected}"
    );
}

#[test]
fn equal_sizes_and_spreads_give_the_classic_t_and_f() {
    // Two batches of one pattern, 0.01 apart: Welch's degrees of freedom are then
    // n_a + n_b - 2, and with two degrees P = 1 - t / sqrt(2 + t^2) for two sides.
    let a = plain(&[0.01, 0.03]);
    let b = plain(&[0.00, 0.02]);
    let found = compare_batches(&a, &b, 0.02, 2.0).expect("a comparison");
    close(found.mean.freedom, 2.0);
    close(found.mean.standard_error, (2.0 * 0.0002_f64 / 2.0).sqrt());
    let t = 0.01 / found.mean.standard_error;
    close(found.mean.difference_p, 1.0 - t / (2.0 + t * t).sqrt());
    let toward = 0.01 / found.mean.standard_error;
    close(
        found.mean.equivalence_p,
        0.5 * (1.0 - toward / (2.0 + toward * toward).sqrt()),
    );
    close(found.spread.ratio.value, 1.0);
    close(found.spread.difference_p, 1.0);
    // F of (1, 1) below x: 2 / pi atan sqrt x; the margin squared over one.
    close(
        found.spread.equivalence_p,
        1.0 - 2.0 / std::f64::consts::PI * 2.0_f64.atan(),
    );
}

#[test]
fn the_interval_of_ninety_per_cent_and_the_two_one_sided_tests_agree() {
    let a = plain(&[0.011, 0.009, 0.012, 0.010, 0.013]);
    let b = plain(&[0.010, 0.008, 0.011, 0.007, 0.012, 0.010]);
    let first = compare_batches(&a, &b, 0.01, 3.0)
        .expect("a comparison")
        .mean;
    let margin = first
        .equivalence_low
        .abs()
        .max(first.equivalence_high.abs());
    let at = compare_batches(&a, &b, margin, 3.0)
        .expect("a comparison")
        .mean;
    close(at.equivalence_p, 0.05);
    assert_eq!(first.verdict, Verdict::Equivalent);
}

#[test]
fn small_stated_variances_change_next_to_nothing() {
    let a = plain(&[0.01, 0.03, 0.02, 0.05]);
    let b = plain(&[0.00, 0.02, -0.04]);
    let with = |batch: &[ProbeMean]| -> Vec<ProbeMean> {
        batch
            .iter()
            .map(|probe| ProbeMean {
                variance: 1e-13,
                ..*probe
            })
            .collect()
    };
    let one = compare_batches(&a, &b, 0.02, 2.0).expect("a comparison");
    let other = compare_batches(&with(&a), &with(&b), 0.02, 2.0).expect("a comparison");
    let near = |a: f64, b: f64| assert!((a / b - 1.0).abs() < 1e-6, "{a} {b}");
    near(one.mean.difference_p, other.mean.difference_p);
    near(one.spread.difference_p, other.spread.difference_p);
    near(one.spread.ratio.value, other.spread.ratio.value);
    near(one.spread.ratio.low, other.spread.ratio.low);
}

#[test]
fn each_verdict_has_its_batches() {
    let spread = [0.001, -0.001, 0.0015, -0.0015, 0.0005, -0.0005, 0.0, 0.0];
    let about = |middle: f64| plain(&spread.map(|s| middle + s));
    let said = |middle: f64, margin: f64| {
        compare_batches(&about(middle), &about(0.0), margin, 2.0)
            .expect("a comparison")
            .mean
            .verdict
    };
    assert_eq!(said(0.0, 0.01), Verdict::Equivalent);
    assert_eq!(said(0.005, 0.01), Verdict::DifferentWithinMargin);
    assert_eq!(
        said(0.0095, 0.0100),
        Verdict::Different {
            beyond_margin: false
        }
    );
    assert_eq!(
        said(0.05, 0.01),
        Verdict::Different {
            beyond_margin: true
        }
    );
    let Verdict::NotSettled {
        probes_in_each: Some(probes),
    } = said(0.0, 0.0005)
    else {
        panic!("{:?}", said(0.0, 0.0005));
    };
    // n = 2 (s / margin)^2 (1.645 + 1.282)^2, s = 0.00104.
    assert!((60..=85).contains(&probes), "{probes}");
}

#[test]
fn what_cannot_be_compared_is_refused() {
    let a = plain(&[0.01, 0.03]);
    let refused = |a: &[ProbeMean], b: &[ProbeMean], margin: f64, ratio: f64| {
        compare_batches(a, b, margin, ratio).is_err()
    };
    assert!(refused(&a, &a[..1], 0.01, 2.0));
    assert!(refused(&a, &plain(&[0.02, 0.02]), 0.01, 2.0));
    assert!(refused(&a, &plain(&[0.02, f64::NAN]), 0.01, 2.0));
    assert!(refused(&a, &a, 0.0, 2.0));
    assert!(refused(&a, &a, 0.01, 1.0));
    let mut below = a.clone();
    below[0].variance = -1e-9;
    assert!(refused(&a, &below, 0.01, 2.0));
}
