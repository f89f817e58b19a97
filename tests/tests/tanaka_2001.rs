//! Density of water against Tanaka et al. (2001), Metrologia 38:301.
//!
//! The values in `reference-data/soil/dielectric_checks.csv` were compared with
//! a second, public copy of the formula, not with the paper
//! (reference-data/soil/NOTES.md).

use calib_core::gravimetry::water_density;
use calib_core::quantity::{Celsius, Quantity};
use ovendry_tests::reference_data;

#[test]
fn water_density_gives_every_published_value() {
    let text = reference_data("soil/dielectric_checks.csv");
    let mut checked = 0;
    for row in csv::Reader::from_reader(text.as_bytes()).records() {
        let row = row.unwrap();
        if &row[0] != "water_density_kg_per_m3" {
            continue;
        }
        let at: f64 = row[1].parse().unwrap();
        let expected: f64 = row[2].parse().unwrap();
        let found = 1000.0 * water_density(Celsius::new(at).unwrap()).unwrap().value();
        // Half a unit of the last of four decimals, and a little.
        assert!(
            (found - expected).abs() < 5.1e-5,
            "at {at} C\nexpected {expected} kg/m3\ngot      {found} kg/m3"
        );
        checked += 1;
    }
    assert_eq!(checked, 7, "rows of water density in the file");
}
