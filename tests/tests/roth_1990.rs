//! The refractive-index mixture against Roth et al. (1990), as named in
//! reference-data/soil/NOTES.md.
//!
//! The values in `reference-data/soil/dielectric.csv` were computed from a form
//! recalled from memory, with a solid permittivity of 4 that is our choice: they
//! check the arithmetic, not the paper. At permittivities 30 and 40 they lie above
//! the porosity of 0.4717, so there the relation must refuse; the value it refuses
//! checks the arithmetic.

use calib_core::dielectric::{DielectricError, RefractiveMixture, WaterFromPermittivity};
use calib_core::quantity::{Density, Permittivity, Quantity};
use ovendry_tests::table::dielectric_rows;

#[test]
fn the_water_content_is_that_of_every_row_and_too_much_is_refused() {
    let relation = RefractiveMixture::new(
        Density::new(1.4).unwrap(),
        Density::new(2.65).unwrap(),
        Permittivity::new(4.0).unwrap(),
        Permittivity::new(80.103).unwrap(),
    )
    .unwrap();
    let rows = dielectric_rows(
        "soil/dielectric.csv",
        "crim_theta_eps_s_4_eps_w_80.103_rho_s_2.65",
    );
    assert_eq!(rows.len(), 6);
    let mut refused = 0;
    for (permittivity, expected) in rows {
        let found = match relation.theta_v(Permittivity::new(permittivity).unwrap()) {
            Ok(theta_v) => theta_v.value(),
            Err(DielectricError::AbovePorosity { theta, porosity }) => {
                assert!(theta > porosity);
                refused += 1;
                theta
            }
            Err(other) => panic!("at {permittivity}: {other}"),
        };
        // Half a unit of the last of six decimals.
        assert!(
            (found - expected).abs() < 5.1e-7,
            "at {permittivity}\nexpected {expected}\ngot      {found}"
        );
    }
    assert_eq!(refused, 2);
}
