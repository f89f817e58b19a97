//! JCGM 100:2008 (GUM), Annex H.3, Table H.6: the calibration of a thermometer.
//!
//! Ordinary least squares with an unknown common variance, so covariances are
//! scaled by s^2 as H.3 does. Data and published figures: `reference-data/stats`;
//! its NOTES.md: "data equal two independent public transcriptions; ordinary
//! least squares gives every published digit. The document itself was not read".

use calib_core::fit::{Points, Regression, Settings, solve};
use ovendry_tests::table::{Table, agrees, expected};

/// b(t) = y1 + y2 (t - 20 C)
struct Correction;

impl Regression for Correction {
    fn parameters(&self) -> usize {
        2
    }
    fn inputs(&self) -> usize {
        1
    }
    fn evaluate(&self, _: usize, x: &[f64], p: &[f64], g: &mut [f64], v: &mut [f64]) -> f64 {
        g[0] = 1.0;
        g[1] = x[0] - 20.0;
        v[0] = p[1];
        p[0] + p[1] * (x[0] - 20.0)
    }
}

#[test]
fn the_thermometer_calibration_of_the_guide_comes_out_in_every_digit() {
    let file = "gum_h3.csv";
    let table = Table::of("stats/gum_h3.csv");
    let x = table.numbers("thermometer_reading_celsius");
    let y = table.numbers("observed_correction_celsius");
    let n = y.len();
    let points = Points {
        y: &y,
        u_y: &vec![1.0; n],
        x: &x,
        u_x: &vec![0.0; n],
    };
    let found = solve(&Correction, &points, &[0.0, 0.0], &Settings::default());
    assert!(found.found_minimum(), "{:?}", found.ending);
    let variance = found.chi_square / (n as f64 - 2.0);
    let c = found.covariance().expect("a covariance");
    let (u1, u2) = ((variance * c[0][0]).sqrt(), (variance * c[1][1]).sqrt());
    let at_30 = found.parameters[0] + 10.0 * found.parameters[1];
    let u_at_30 = (variance * (c[0][0] + 20.0 * c[0][1] + 100.0 * c[1][1])).sqrt();

    for (quantity, got, half_digit) in [
        ("y1", found.parameters[0], 0.00005),
        ("s(y1)", u1, 0.00005),
        ("y2", found.parameters[1], 0.000_005),
        ("s(y2)", u2, 0.000_005),
        ("r(y1;y2)", c[0][1] / (c[0][0] * c[1][1]).sqrt(), 0.0005),
        ("s", variance.sqrt(), 0.00005),
        ("b(30 C)", at_30, 0.00005),
        ("u(b(30 C))", u_at_30, 0.00005),
    ] {
        let published = expected(file, quantity, "published");
        assert!(
            (got - published).abs() <= half_digit,
            "{quantity}: published {published}, got {got}"
        );
        // Recomputed figures have seven or eight digits.
        agrees(quantity, got, expected(file, quantity, "recomputed"), 3e-6);
    }
}
