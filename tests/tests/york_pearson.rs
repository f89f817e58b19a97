//! Pearson (1901) data with the weights of York (1966), Can. J. Phys. 44:1079: a
//! straight line with errors on both axes.
//!
//! NOTES.md of `reference-data/stats`: "data equal a public transcription that
//! cites Lybanon (1984). York's 2004 equations, a 40-digit stacked Gauss-Newton
//! and scipy.odr agree [...] Papers not read; published digits taken from public
//! test code that cites them". The standard errors compared are the absolute ones at
//! the adjusted points, and the same scaled by the reduced chi-square.

use calib_core::fit::{Points, Regression, Settings, solve};
use ovendry_tests::table::{Table, agrees, expected};

struct Line;

impl Regression for Line {
    fn parameters(&self) -> usize {
        2
    }
    fn inputs(&self) -> usize {
        1
    }
    fn evaluate(&self, _: usize, x: &[f64], p: &[f64], g: &mut [f64], v: &mut [f64]) -> f64 {
        g[0] = 1.0;
        g[1] = x[0];
        v[0] = p[1];
        p[0] + p[1] * x[0]
    }
}

#[test]
fn the_line_with_errors_on_both_axes_equals_the_published_answer() {
    let file = "york_pearson.csv";
    let table = Table::of("stats/york_pearson.csv");
    let (x, y) = (table.numbers("x"), table.numbers("y"));
    let from_weight = |w: Vec<f64>| -> Vec<f64> { w.iter().map(|w| 1.0 / w.sqrt()).collect() };
    let u_x = from_weight(table.numbers("weight_x"));
    let u_y = from_weight(table.numbers("weight_y"));
    let points = Points {
        y: &y,
        u_y: &u_y,
        x: &x,
        u_x: &u_x,
    };
    let found = solve(&Line, &points, &[5.0, 0.0], &Settings::default());
    assert!(found.found_minimum(), "{:?}", found.ending);
    let c = found.covariance().expect("a covariance");
    let (ua, ub) = (c[0][0].sqrt(), c[1][1].sqrt());
    let reduced = found.chi_square / 8.0;

    // Published digits: nine.
    agrees(
        "intercept",
        found.parameters[0],
        expected(file, "intercept", "published"),
        1e-9,
    );
    agrees(
        "slope",
        found.parameters[1],
        expected(file, "slope", "published"),
        2e-9,
    );
    for (quantity, got) in [
        ("intercept", found.parameters[0]),
        ("slope", found.parameters[1]),
        ("s(intercept)", ua),
        ("s(slope)", ub),
        ("s(intercept) scaled", ua * reduced.sqrt()),
        ("s(slope) scaled", ub * reduced.sqrt()),
        ("chi-square", found.chi_square),
        ("reduced chi-square", reduced),
    ] {
        agrees(quantity, got, expected(file, quantity, "recomputed"), 5e-9);
    }
}

#[test]
fn without_errors_on_x_it_is_weighted_least_squares() {
    let table = Table::of("stats/york_pearson.csv");
    let (x, y, w) = (
        table.numbers("x"),
        table.numbers("y"),
        table.numbers("weight_y"),
    );
    let u_y: Vec<f64> = w.iter().map(|w| 1.0 / w.sqrt()).collect();
    let points = Points {
        y: &y,
        u_y: &u_y,
        x: &x,
        u_x: &vec![0.0; x.len()],
    };
    let found = solve(&Line, &points, &[0.0, 0.0], &Settings::default());
    // The textbook closed form.
    let sum = |f: &dyn Fn(usize) -> f64| -> f64 { (0..x.len()).map(|i| w[i] * f(i)).sum() };
    let (s, sx, sy) = (sum(&|_| 1.0), sum(&|i| x[i]), sum(&|i| y[i]));
    let (sxx, sxy) = (sum(&|i| x[i] * x[i]), sum(&|i| x[i] * y[i]));
    let slope = (s * sxy - sx * sy) / (s * sxx - sx * sx);
    agrees("slope", found.parameters[1], slope, 1e-12);
    agrees(
        "intercept",
        found.parameters[0],
        (sy - slope * sx) / s,
        1e-12,
    );
    assert!(found.adjustments.iter().all(|d| *d == 0.0));
}
