//! Permittivity of water against Malmberg and Maryott (1956), J. Res. NBS 56:1.
//!
//! The values in `reference-data/soil/dielectric_checks.csv` were computed from
//! coefficients recalled from memory (reference-data/soil/NOTES.md): they check
//! the arithmetic, not the paper.

use calib_core::dielectric::water_permittivity;
use calib_core::quantity::{Celsius, Quantity};
use ovendry_tests::table::dielectric_rows;

#[test]
fn the_permittivity_of_water_is_that_of_every_row() {
    let rows = dielectric_rows("soil/dielectric_checks.csv", "water_relative_permittivity");
    assert_eq!(rows.len(), 6);
    for (celsius, expected) in rows {
        let found = water_permittivity(Celsius::new(celsius).unwrap())
            .unwrap()
            .value();
        // Half a unit of the last of four decimals.
        assert!(
            (found - expected).abs() < 5.1e-5,
            "at {celsius} C\nexpected {expected}\ngot      {found}"
        );
    }
}
