//! Saxton and Rawls (2006), "Soil water characteristic estimates by texture and
//! organic matter for hydrologic solutions" (title from memory), Soil Sci. Soc.
//! Am. J. 70:1569: Table 3 from the paper's own equations.
//!
//! Data: `reference-data/soil`; its NOTES.md on the second copy: "coefficients of
//! theta_1500, theta_33, theta_(S-33), theta_S, lambda, K_S in several, one of
//! which has 1.238 for 1.283: the others, and the table, say 1.283. Table: ten
//! rows matched by their values, the copy naming no source"; from memory, not
//! checked: "sandy clay and clay rows; the plant available water column (it equals
//! rounded FC - WP in all rows); equation numbers; validity organic matter < 8 %,
//! clay < 60 % by mass". "The equations give all twelve rows within rounding".

use calib_core::quantity::Quantity;
use calib_core::reference::PublicationKey;
use calib_core::soil::{
    Particles, Retention, SaxtonRawls, SoilDescription, Texture, TextureClass, class_sources,
    evidence,
};
use ovendry_tests::table::{Table, agrees};

/// What the equations give for each row of a table with sand, clay and organic
/// matter columns, beside the row's class.
fn equations(table: &Table) -> Vec<(String, SaxtonRawls)> {
    let sand = table.numbers("sand_percent");
    let clay = table.numbers("clay_percent");
    let organic_matter = table.numbers("om_percent");
    let rows: Vec<(String, SaxtonRawls)> = table
        .text("class")
        .into_iter()
        .enumerate()
        .map(|(i, class)| {
            let particles = Particles::from_sand_and_clay(sand[i], clay[i]).unwrap();
            assert_eq!(particles.class().name(), class);
            let found = SaxtonRawls::new(&particles, organic_matter[i]).unwrap();
            (class, found)
        })
        .collect();
    assert_eq!(rows.len(), 12);
    rows
}

/// Checks a column printed to a last digit of `unit` against `value`.
fn within_rounding(table: &Table, column: &str, unit: f64, value: impl Fn(&SaxtonRawls) -> f64) {
    for ((class, found), printed) in equations(table).iter().zip(table.numbers(column)) {
        let got = value(found);
        assert!(
            (got - printed).abs() <= 0.5 * unit + 1e-9,
            "{class}, {column}\nexpected {printed}, give or take {}\n     got {got}",
            0.5 * unit
        );
    }
}

#[test]
fn the_equations_give_every_row_of_table_3_within_its_rounding() {
    let table = Table::of("soil/saxton_rawls_2006_table3.csv");
    within_rounding(&table, "wp_percent", 1.0, |r| 100.0 * r.wilting_point);
    within_rounding(&table, "fc_percent", 1.0, |r| 100.0 * r.field_capacity);
    within_rounding(&table, "sat_percent", 1.0, |r| 100.0 * r.saturation);
    within_rounding(&table, "ks_mm_per_h", 0.1, |r| r.conductivity_mm_per_h);
}

#[test]
fn the_equations_give_the_figures_worked_out_beside_table_3() {
    let table = Table::of("soil/saxton_rawls_2006_table3.csv");
    within_rounding(&table, "wp_equation", 0.01, |r| 100.0 * r.wilting_point);
    within_rounding(&table, "fc_equation", 0.01, |r| 100.0 * r.field_capacity);
    within_rounding(&table, "sat_equation", 0.01, |r| 100.0 * r.saturation);
    within_rounding(&table, "ks_equation", 0.01, |r| r.conductivity_mm_per_h);
}

#[test]
fn available_water_of_table_3_is_the_rounded_difference() {
    let table = Table::of("soil/saxton_rawls_2006_table3.csv");
    within_rounding(&table, "paw_percent", 1.0, |r| {
        100.0 * (r.field_capacity - r.wilting_point)
    });
}

#[test]
fn every_intermediate_comes_out_in_the_digits_computed_apart() {
    let table = Table::of("soil/saxton_rawls_2006_computed.csv");
    let column = |name: &str, value: fn(&SaxtonRawls) -> f64| {
        for ((class, found), computed) in equations(&table).iter().zip(table.numbers(name)) {
            // Six digits are printed: half a unit of the last is 5e-6 at most.
            agrees(&format!("{class}, {name}"), value(found), computed, 5e-6);
        }
    };
    column("theta_1500_m3_m3", |r| r.wilting_point);
    column("theta_33_m3_m3", |r| r.field_capacity);
    column("theta_s_minus_33_m3_m3", |r| r.saturation_above_33);
    column("theta_s_m3_m3", |r| r.saturation);
    column("B", |r| r.exponent);
    column("lambda", |r| r.lambda);
    column("A_kPa", |r| r.factor_kpa);
    column("ks_mm_per_h", |r| r.conductivity_mm_per_h);
    column("matric_density_g_per_cm3", |r| r.matric_density);
}

#[test]
fn table_3_is_carried_with_its_saturation() {
    let table = Table::of("soil/saxton_rawls_2006_table3.csv");
    for (class, percent) in table.text("class").iter().zip(table.numbers("sat_percent")) {
        let class: TextureClass = class.parse().unwrap();
        let carried = class_sources(class)
            .unwrap()
            .into_iter()
            .find(|source| source.publication == PublicationKey::SaxtonRawlsTable3)
            .unwrap();
        assert_eq!(
            carried.saturation.map(Quantity::value),
            Some(percent / 100.0)
        );
    }
}

#[test]
fn the_recommended_curve_is_the_power_law_worked_out_apart() {
    // suction = A theta^-B with A and B of the computed table, six digits each: with
    // B up to 11, A's and B's last digits let suction slip by 1e-4 of itself.
    let table = Table::of("soil/saxton_rawls_2006_computed.csv");
    let (a, b) = (table.numbers("A_kPa"), table.numbers("B"));
    let (sand, clay) = (table.numbers("sand_percent"), table.numbers("clay_percent"));
    for (i, class) in table.text("class").iter().enumerate() {
        let particles = Particles::from_sand_and_clay(sand[i], clay[i]).unwrap();
        let found = evidence(&SoilDescription {
            texture: Some(Texture::Particles(particles)),
            organic_matter_percent: Some(2.5),
            ..SoilDescription::default()
        })
        .unwrap();
        assert!(matches!(found.retention(), Retention::PowerLaw(_)));
        for kpa in [40.0, 100.0, 500.0, 1400.0_f64] {
            let theta = (a[i] / kpa).powf(1.0 / b[i]);
            let got = found.suction_at(theta).unwrap();
            assert!(
                (got.kpa / kpa - 1.0).abs() < 1e-4,
                "{class}\nexpected {kpa}\n     got {got:?}"
            );
            assert!(got.low_kpa < got.kpa && got.kpa < got.high_kpa);
        }
    }
}

#[test]
fn at_its_normal_density_the_adjustment_gives_the_matric_density_worked_out_apart() {
    let table = Table::of("soil/saxton_rawls_2006_computed.csv");
    let densities = table.numbers("matric_density_g_per_cm3");
    for ((class, found), density) in equations(&table).iter().zip(densities) {
        let (same, by) = found.at_density(density).unwrap();
        agrees(&format!("{class}, DF"), by.factor, 1.0, 5e-6);
        agrees(
            &format!("{class}, theta_33"),
            same.field_capacity,
            found.field_capacity,
            1e-5,
        );
        agrees(
            &format!("{class}, theta_S"),
            same.saturation,
            found.saturation,
            2e-5,
        );
    }
}
