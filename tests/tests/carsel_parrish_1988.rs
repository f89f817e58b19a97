//! Carsel and Parrish (1988), "Developing joint probability distributions of soil
//! water retention characteristics" (title from memory), Water Resour. Res.
//! 24:755: class parameters of the retention function of van Genuchten (1980),
//! Soil Sci. Soc. Am. J. 44:892, at 33 and 1500 kPa.
//!
//! Data: `reference-data/soil`; its NOTES.md on the second copy: "all twelve rows;
//! the full copies share one lineage. One other copy differs in sandy clay loam
//! (alpha 0.027, other theta_s)". The water contents are no figures of the paper:
//! "last two columns computed at 336.5 and 15296 cm". The function itself is from
//! memory.

use calib_core::quantity::Quantity;
use calib_core::reference::PublicationKey;
use calib_core::soil::{
    FIELD_CAPACITY_KPA, TextureClass, VanGenuchten, WILTING_POINT_KPA, class_sources,
};
use ovendry_tests::table::Table;

/// The columns are rounded to 5e-6; the heads, rounded to 336.5 and 15296 cm,
/// add up to 2e-6.
const ROUNDING: f64 = 7e-6;

#[test]
fn class_parameters_give_the_computed_water_contents() {
    let table = Table::of("soil/carsel_parrish_1988.csv");
    let classes = table.text("class");
    assert_eq!(classes.len(), 12);
    let column = |name: &str| table.numbers(name);
    let (theta_r, theta_s) = (column("theta_r"), column("theta_s"));
    let (alpha, n) = (column("alpha_per_cm"), column("n"));
    let (at_33, at_1500) = (column("theta_33kpa"), column("theta_1500kpa"));
    for (i, name) in classes.iter().enumerate() {
        let curve = VanGenuchten {
            theta_r: theta_r[i],
            theta_s: theta_s[i],
            alpha_per_cm: alpha[i],
            n: n[i],
        };
        let class: TextureClass = name.parse().unwrap();
        let carried = class_sources(class)
            .unwrap()
            .into_iter()
            .find(|source| source.publication == PublicationKey::CarselParrish)
            .unwrap();
        for (what, expected, from_curve, carried) in [
            (
                "33 kPa",
                at_33[i],
                curve.theta_v(FIELD_CAPACITY_KPA),
                carried.field_capacity.value(),
            ),
            (
                "1500 kPa",
                at_1500[i],
                curve.theta_v(WILTING_POINT_KPA),
                carried.wilting_point.value(),
            ),
        ] {
            assert!(
                (from_curve - expected).abs() < ROUNDING,
                "{name} at {what}\nexpected {expected}\n     got {from_curve}"
            );
            assert_eq!(
                carried, from_curve,
                "{name} at {what}, as the program carries it"
            );
        }
    }
}
