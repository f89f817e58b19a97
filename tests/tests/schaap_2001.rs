//! Schaap, Leij and van Genuchten (2001), J. Hydrol. 251:163: class averages of the
//! parameters of the retention function of van Genuchten (1980), Soil Sci. Soc. Am.
//! J. 44:892, at 33 and 1500 kPa.
//!
//! Data: `reference-data/soil`; its NOTES.md on the second copy: "all twelve rows,
//! from a single copy". The paper has no column of water contents. They are held
//! against `schaap_2001_computed.csv`, worked out by the script beside it in decimal
//! arithmetic of 50 digits: another way of computing, and no other source. The
//! function itself is from memory.

use calib_core::quantity::Quantity;
use calib_core::reference::PublicationKey;
use calib_core::soil::{
    FIELD_CAPACITY_KPA, Retention, SourceWater, TextureClass, WILTING_POINT_KPA, class_sources,
};
use ovendry_tests::table::Table;

/// Twelve decimals are printed; sums of a few hundred in f64 lose no more.
const ROUNDING: f64 = 2e-12;

fn carried(class: &str) -> SourceWater {
    let class: TextureClass = class.parse().unwrap();
    class_sources(class)
        .unwrap()
        .into_iter()
        .find(|source| source.publication == PublicationKey::Schaap)
        .unwrap()
}

#[test]
fn class_averages_give_the_water_contents_worked_out_apart() {
    let table = Table::of("soil/schaap_2001_computed.csv");
    let classes = table.text("class");
    assert_eq!(classes.len(), 12);
    let (at_33, at_1500) = (table.numbers("theta_33kpa"), table.numbers("theta_1500kpa"));
    for (i, class) in classes.iter().enumerate() {
        let source = carried(class);
        for (what, expected, got) in [
            ("33 kPa", at_33[i], source.field_capacity.value()),
            ("1500 kPa", at_1500[i], source.wilting_point.value()),
        ] {
            assert!(
                (got - expected).abs() < ROUNDING,
                "{class} at {what}\nexpected {expected}\n     got {got}"
            );
        }
    }
}

#[test]
fn saturation_is_the_tables_own_theta_s_and_the_curve_leads_back_to_the_suction() {
    let table = Table::of("soil/schaap_2001.csv");
    for (class, theta_s) in table
        .text("class")
        .iter()
        .zip(table.numbers("theta_s_m3_m3"))
    {
        let source = carried(class);
        assert_eq!(
            source.saturation.map(Quantity::value),
            Some(theta_s),
            "{class}"
        );
        assert!(matches!(source.retention, Retention::VanGenuchten(_)));
        for (kpa, theta) in [
            (FIELD_CAPACITY_KPA, source.field_capacity),
            (WILTING_POINT_KPA, source.wilting_point),
        ] {
            let back = source.retention.suction(theta.value()).unwrap();
            assert!((back / kpa - 1.0).abs() < 1e-6, "{class}: {back}");
        }
    }
}
