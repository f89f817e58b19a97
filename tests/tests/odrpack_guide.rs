//! Nonlinear errors-in-variables problems of the ODRPACK95 guide and test output
//! (NIST work, public domain): Fuller (1987) example 3.2.2, Draper and Smith
//! (1981) exercise I, Powell and Macdonald (1972) tables 7 and 8.
//!
//! NOTES.md of `reference-data/stats`: 40-digit Gauss-Newton over parameters and
//! true x, and scipy.odr, agree with the printed reports. Standard errors are
//! scaled by the residual variance with n - p degrees of freedom.

use calib_core::fit::{Points, Regression, Settings, Solution, solve};
use ovendry_tests::table::{Table, agrees, expected};

struct Sandstone;
impl Regression for Sandstone {
    fn parameters(&self) -> usize {
        3
    }
    fn inputs(&self) -> usize {
        1
    }
    fn evaluate(&self, _: usize, x: &[f64], p: &[f64], g: &mut [f64], v: &mut [f64]) -> f64 {
        let e = (p[2] * x[0]).exp();
        let rise = e - 1.0;
        g[0] = 1.0;
        g[1] = rise * rise;
        g[2] = 2.0 * p[1] * rise * e * x[0];
        v[0] = 2.0 * p[1] * rise * e * p[2];
        p[0] + p[1] * rise * rise
    }
}

struct Reaction;
impl Regression for Reaction {
    fn parameters(&self) -> usize {
        2
    }
    fn inputs(&self) -> usize {
        2
    }
    fn evaluate(&self, _: usize, x: &[f64], p: &[f64], g: &mut [f64], v: &mut [f64]) -> f64 {
        let t = 1.0 / x[1] - 1.0 / 620.0;
        let e = (-p[1] * t).exp();
        let y = (-p[0] * x[0] * e).exp();
        g[0] = -y * x[0] * e;
        g[1] = y * p[0] * x[0] * e * t;
        v[0] = -y * p[0] * e;
        v[1] = -y * p[0] * x[0] * e * p[1] / (x[1] * x[1]);
        y
    }
}

struct Powell;
impl Regression for Powell {
    fn parameters(&self) -> usize {
        3
    }
    fn inputs(&self) -> usize {
        1
    }
    fn evaluate(&self, _: usize, x: &[f64], p: &[f64], g: &mut [f64], v: &mut [f64]) -> f64 {
        let base = 1.0 + p[2] * x[0] / p[1];
        let y = p[0] * base.powf(-1.0 / p[2]);
        g[0] = y / p[0];
        g[1] = y * x[0] / (p[1] * p[1]) / base;
        g[2] = y * (base.ln() / (p[2] * p[2]) - x[0] / (p[1] * p[2] * base));
        v[0] = -y / (p[1] * base);
        y
    }
}

fn compare(file: &str, found: &Solution, points: usize, parameter_digits: f64) {
    assert!(found.found_minimum(), "{file}: {:?}", found.ending);
    let variance = found.chi_square / (points - found.parameters.len()) as f64;
    let covariance = found.covariance().expect("a covariance");
    agrees(
        &format!("{file} sum of squares"),
        found.chi_square,
        expected(file, "sum of squares", "recomputed"),
        1e-9,
    );
    for (k, value) in found.parameters.iter().enumerate() {
        let name = format!("b{}", k + 1);
        agrees(
            &format!("{file} {name}"),
            *value,
            expected(file, &name, "recomputed"),
            parameter_digits,
        );
        agrees(
            &format!("{file} s({name})"),
            (variance * covariance[k][k]).sqrt(),
            expected(file, &format!("s({name})"), "recomputed"),
            1e-8,
        );
    }
}

#[test]
fn gas_saturation_of_sandstone_with_some_inputs_held_exact() {
    let table = Table::of("stats/odr_sandstone.csv");
    let x = table.numbers("gas_saturation_percent");
    let y = table.numbers("wave_velocity");
    let u_x: Vec<f64> = table
        .numbers("x_held_exact")
        .iter()
        .map(|held| 1.0 - held)
        .collect();
    let points = Points {
        y: &y,
        u_y: &vec![1.0; y.len()],
        x: &x,
        u_x: &u_x,
    };
    let found = solve(
        &Sandstone,
        &points,
        &[1500.0, -50.0, -0.1],
        &Settings::default(),
    );
    compare("odr_sandstone.csv", &found, y.len(), 1e-8);
}

#[test]
fn a_reaction_with_two_noisy_inputs() {
    let table = Table::of("stats/odr_reaction.csv");
    let (x1, x2, y) = (table.numbers("x1"), table.numbers("x2"), table.numbers("y"));
    let x: Vec<f64> = x1.iter().zip(&x2).flat_map(|(a, b)| [*a, *b]).collect();
    let points = Points {
        y: &y,
        u_y: &vec![1.0; y.len()],
        x: &x,
        u_x: &vec![1.0; x.len()],
    };
    let found = solve(&Reaction, &points, &[0.01155, 5000.0], &Settings::default());
    compare("odr_reaction.csv", &found, y.len(), 1e-9);
}

#[test]
fn a_decaying_power_with_unit_weights() {
    let table = Table::of("stats/odr_powell.csv");
    let (x, y) = (table.numbers("x"), table.numbers("y"));
    let points = Points {
        y: &y,
        u_y: &vec![1.0; y.len()],
        x: &x,
        u_x: &vec![1.0; x.len()],
    };
    let found = solve(&Powell, &points, &[25.0, 30.0, 6.0], &Settings::default());
    compare("odr_powell.csv", &found, y.len(), 1e-9);
}
