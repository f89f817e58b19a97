//! Water content from permittivity and bulk density against Malicki et al. (1996),
//! as named in reference-data/soil/NOTES.md.
//!
//! The values in `reference-data/soil/dielectric.csv` were computed from
//! coefficients recalled from memory: they check the arithmetic, not the paper.
//! At permittivity 40 the value lies above the porosity and checks arithmetic only.

use calib_core::dielectric::{Malicki, WaterFromPermittivity};
use calib_core::quantity::{Density, Permittivity, Quantity};
use ovendry_tests::table::dielectric_rows;

#[test]
fn the_water_content_is_that_of_every_row() {
    let relation = Malicki::new(Density::new(1.4).unwrap());
    let rows = dielectric_rows("soil/dielectric.csv", "malicki_1996_theta");
    assert_eq!(rows.len(), 6);
    for (permittivity, expected) in rows {
        let permittivity = Permittivity::new(permittivity).unwrap();
        let found = relation.theta_v(permittivity).unwrap().value();
        // Half a unit of the last of six decimals.
        assert!(
            (found - expected).abs() < 5.1e-7,
            "at {permittivity:?}\nexpected {expected}\ngot      {found}"
        );
    }
}
