//! Water content from permittivity against Topp, Davis and Annan (1980), Water
//! Resour. Res. 16:574, both of its fits.
//!
//! The values in `reference-data/soil/dielectric.csv` and `dielectric_checks.csv`
//! were computed from coefficients recalled from memory
//! (reference-data/soil/NOTES.md): they check the arithmetic, not the paper.

use calib_core::dielectric::{Topp, WaterFromPermittivity, topp_permittivity};
use calib_core::quantity::{Permittivity, Quantity, Vwc};
use ovendry_tests::table::dielectric_rows;

fn theta_v(permittivity: f64) -> f64 {
    let permittivity = Permittivity::new(permittivity).unwrap();
    Topp.theta_v(permittivity).unwrap().value()
}

#[test]
fn the_water_content_is_that_of_every_row_in_both_files() {
    for (file, quantity) in [
        ("soil/dielectric.csv", "topp_1980_theta_from_eps"),
        ("soil/dielectric_checks.csv", "topp_theta_v"),
    ] {
        let rows = dielectric_rows(file, quantity);
        assert_eq!(rows.len(), 6, "{file}");
        for (permittivity, expected) in rows {
            let found = theta_v(permittivity);
            // Half a unit of the last of six decimals.
            assert!(
                (found - expected).abs() < 5.1e-7,
                "{file} at {permittivity}\nexpected {expected}\ngot      {found}"
            );
        }
    }
}

#[test]
fn the_permittivity_is_that_of_every_row() {
    let rows = dielectric_rows("soil/dielectric.csv", "topp_1980_eps_from_theta");
    assert_eq!(rows.len(), 5);
    for (theta, expected) in rows {
        let found = topp_permittivity(Vwc::new(theta).unwrap()).unwrap().value();
        assert!(
            (found - expected).abs() < 5.1e-7,
            "at {theta}\nexpected {expected}\ngot      {found}"
        );
    }
}

#[test]
fn the_two_fits_are_close_but_not_each_others_inverse() {
    let rows = dielectric_rows("soil/dielectric.csv", "topp_1980_eps_from_theta");
    let furthest = rows
        .iter()
        .map(|(theta, permittivity)| {
            let inverse = Topp.permittivity(Vwc::new(*theta).unwrap()).unwrap();
            (inverse.value() - permittivity).abs()
        })
        .fold(0.0, f64::max);
    assert!((0.4..0.6).contains(&furthest), "{furthest}");
}
