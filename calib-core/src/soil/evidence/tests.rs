//! What is known of a soil weighed, from nothing but a class to measured values.

use super::*;
use crate::reference::PublicationKey;
use crate::soil::LEAST_SPREAD;
use crate::soil::spread::spread;
use proptest::prelude::*;

fn vwc(value: f64, u: f64) -> Option<Estimate<Vwc>> {
    Some(Estimate::new(Vwc::new(value).unwrap(), u))
}

fn of_class(class: TextureClass) -> SoilDescription {
    SoilDescription {
        texture: Some(Texture::Class(class)),
        ..SoilDescription::default()
    }
}

fn of_particles(sand: f64, clay: f64) -> SoilDescription {
    SoilDescription {
        texture: Some(Texture::Particles(
            Particles::from_sand_and_clay(sand, clay).unwrap(),
        )),
        ..SoilDescription::default()
    }
}

#[test]
fn a_class_alone_gets_the_median_and_the_spread_about_it() {
    let found = evidence(&of_class(TextureClass::SandyLoam)).unwrap();
    // 0.18 (Saxton and Rawls), 0.08448 (Carsel and Parrish), 0.207 (Rawls),
    // and Schaap et al. between the first two.
    let capacity = found.water.field_capacity;
    let schaap = found.sources[2].field_capacity.value();
    assert!(schaap > 0.08448 && schaap < 0.18, "{schaap}");
    assert!((capacity.value.value() - (schaap + 0.18) / 2.0).abs() < 1e-12);
    let r = capacity.value.value();
    let by_hand =
        (((0.18 - r).powi(2) + (0.08448 - r).powi(2) + (schaap - r).powi(2) + (0.207 - r).powi(2))
            / 3.0_f64)
            .sqrt();
    // 0.08448 is rounded to 5e-6.
    assert!((capacity.u - by_hand).abs() < 1e-5);
    assert_eq!(found.field_capacity_basis, Basis::Median);
    assert!(found.border.is_none());
}

#[test]
fn known_sand_and_clay_get_the_equations_in_place_of_their_table() {
    let found = evidence(&of_particles(62.0, 11.0)).unwrap();
    assert_eq!(found.field_capacity_basis, Basis::Equations);
    assert_eq!(
        found.sources[0].publication,
        PublicationKey::SaxtonRawlsEquations
    );
    assert!(
        found
            .sources
            .iter()
            .all(|s| s.publication != PublicationKey::SaxtonRawlsTable3)
    );
    assert_eq!(
        found.water.field_capacity.value,
        found.sources[0].field_capacity
    );
    assert_eq!(
        found.notes,
        [Note::OrganicMatterAssumed {
            percent: TABLE_3_ORGANIC_MATTER
        }]
    );
}

#[test]
fn organic_matter_without_sand_and_clay_changes_nothing_and_says_so() {
    let mut known = of_class(TextureClass::Loam);
    let without = evidence(&known).unwrap();
    known.organic_matter_percent = Some(6.0);
    let with = evidence(&known).unwrap();
    assert_eq!(with.water, without.water);
    assert_eq!(with.notes, [Note::OrganicMatterUnused { percent: 6.0 }]);
}

#[test]
fn beyond_the_equations_the_class_tables_stand_in_and_say_why() {
    let found = evidence(&of_particles(10.0, 70.0)).unwrap();
    assert_eq!(found.field_capacity_basis, Basis::Median);
    assert_eq!(found.sources.len(), 4);
    assert!(
        found.notes[0]
            .to_string()
            .contains("clay 70 % is beyond what Saxton and Rawls (2006)"),
        "{}",
        found.notes[0]
    );
}

#[test]
fn measured_values_come_before_every_source() {
    let mut known = of_class(TextureClass::Loam);
    known.field_capacity = vwc(0.31, 0.008);
    let found = evidence(&known).unwrap();
    assert_eq!(found.water.field_capacity, known.field_capacity.unwrap());
    assert_eq!(found.field_capacity_basis, Basis::Measured);
    assert_eq!(found.wilting_point_basis, Basis::Median);
    assert_eq!(found.water.correlation, 0.0);
}

#[test]
fn measured_values_need_no_texture() {
    let known = SoilDescription {
        field_capacity: vwc(0.31, 0.008),
        wilting_point: vwc(0.12, 0.01),
        ..SoilDescription::default()
    };
    let found = evidence(&known).unwrap();
    assert!(found.sources.is_empty());
    assert!((found.water.available().value - 0.19).abs() < 1e-12);
}

#[test]
fn a_measured_value_without_uncertainty_gets_that_of_the_sources() {
    let mut known = of_class(TextureClass::Loam);
    let unmeasured = evidence(&known).unwrap().water.field_capacity.u;
    known.field_capacity = vwc(0.31, 0.0);
    let found = evidence(&known).unwrap();
    assert_eq!(found.water.field_capacity.u, unmeasured);
    assert!(matches!(
        found.notes[0],
        Note::MeasuredWithoutUncertainty { .. }
    ));
}

#[test]
fn contradictions_are_refused() {
    let mut known = of_class(TextureClass::Clay);
    known.field_capacity = vwc(0.15, 0.01);
    assert!(matches!(
        evidence(&known),
        Err(SoilError::NoAvailableWater { .. })
    ));
    known.field_capacity = vwc(-0.1, 0.01);
    assert_eq!(
        evidence(&known).unwrap_err().to_string(),
        "the measured field capacity -0.1 m3/m3 is not above zero"
    );
    assert_eq!(
        evidence(&SoilDescription::default())
            .unwrap_err()
            .to_string(),
        "nothing is known of the soil's field capacity: neither a texture nor a measured value"
    );
    let mut known = of_particles(40.0, 20.0);
    known.organic_matter_percent = Some(-2.0);
    assert!(matches!(evidence(&known), Err(SoilError::Percent { .. })));
}

#[test]
fn the_spread_of_what_is_in_between_is_that_of_the_sources_themselves() {
    // Above the floor, carrying the correlation along must give exactly what
    // one gets by reckoning FC - WP source by source.
    let found = evidence(&of_class(TextureClass::SandyLoam)).unwrap();
    let available = found.water.available();
    let by_source: Vec<f64> = found
        .sources
        .iter()
        .map(SourceWater::available_water)
        .collect();
    assert!(found.water.wilting_point.u > LEAST_SPREAD);
    assert!((available.u - spread(&by_source, available.value)).abs() < 1e-12);
}

proptest! {
    #[test]
    fn every_soil_of_the_triangle_gets_a_sound_pair(
        sand in 0.0..=100.0_f64, share in 0.0..=1.0_f64, om in prop::option::of(0.0..20.0_f64),
    ) {
        let mut known = of_particles(sand, (100.0 - sand) * share * 0.9999);
        known.organic_matter_percent = om;
        let found = evidence(&known).unwrap();
        let water = found.water;
        prop_assert!(water.wilting_point.value.value() > 0.0);
        prop_assert!(water.wilting_point.value < water.field_capacity.value);
        prop_assert!(water.field_capacity.value.value() < 0.6);
        prop_assert!(water.field_capacity.u >= LEAST_SPREAD);
        prop_assert!(water.wilting_point.u >= LEAST_SPREAD);
        prop_assert!((-1.0..=1.0).contains(&water.correlation));
        prop_assert!(water.available().u > 0.0);
    }
}

fn packed(sand: f64, clay: f64, g_cm3: f64) -> SoilDescription {
    SoilDescription {
        bulk_density: Some(Density::new(g_cm3).unwrap()),
        organic_matter_percent: Some(2.5),
        ..of_particles(sand, clay)
    }
}

#[test]
fn saturation_comes_from_the_equations_or_the_median_of_those_who_have_it() {
    let found = evidence(&of_class(TextureClass::Loam)).unwrap();
    // 0.46 (Saxton and Rawls), 0.43 (Carsel and Parrish), 0.399 (Schaap et al.);
    // Rawls et al. has none here.
    let saturation = found.saturation.unwrap();
    assert!((saturation.value.value() - 0.43).abs() < 1e-12);
    let by_hand: f64 = ((0.03_f64.powi(2) + 0.031_f64.powi(2)) / 2.0).sqrt();
    assert!((saturation.u - by_hand).abs() < 1e-9);
    assert_eq!(found.saturation_basis, Some(Basis::Median));
    let found = evidence(&of_particles(40.0, 20.0)).unwrap();
    assert_eq!(found.saturation_basis, Some(Basis::Equations));
    assert_eq!(
        found.saturation.unwrap().value,
        found.sources[0].saturation.unwrap()
    );
}

#[test]
fn a_bulk_density_is_in_the_equations_where_they_reach_and_else_in_saturation_alone() {
    let normal = evidence(&of_particles(40.0, 20.0)).unwrap();
    let found = evidence(&packed(40.0, 20.0, 1.55)).unwrap();
    let by = found.density.unwrap();
    assert!((by.factor - 1.55 / 1.4324).abs() < 1e-4, "{by:?}");
    assert!(found.water.field_capacity.value < normal.water.field_capacity.value);
    assert_eq!(
        found.water.wilting_point.value,
        normal.water.wilting_point.value
    );
    assert!((found.saturation.unwrap().value.value() - (1.0 - 1.55 / 2.65)).abs() < 1e-12);
    assert_eq!(found.saturation_basis, Some(Basis::Equations));
    assert!(found.notes.is_empty(), "{:?}", found.notes);

    let found = evidence(&packed(40.0, 20.0, 1.2)).unwrap();
    assert_eq!(found.density, None);
    assert_eq!(
        found.water.field_capacity.value,
        normal.water.field_capacity.value
    );
    assert_eq!(found.saturation_basis, Some(Basis::BulkDensity));
    assert!(
        matches!(found.notes[0], Note::DensityNotUsed { .. }),
        "{:?}",
        found.notes
    );

    let mut known = of_class(TextureClass::Loam);
    known.bulk_density = Density::new(1.3).ok();
    let found = evidence(&known).unwrap();
    assert_eq!(found.saturation_basis, Some(Basis::BulkDensity));
    assert!((found.saturation.unwrap().value.value() - (1.0 - 1.3 / 2.65)).abs() < 1e-12);
    assert_eq!(found.notes, [Note::DensityForSaturationOnly { g_cm3: 1.3 }]);

    assert!(matches!(
        evidence(&packed(40.0, 20.0, 2.65)),
        Err(SoilError::NoPores { .. })
    ));
}

#[test]
fn stones_take_their_share_of_every_source_and_of_what_is_recommended() {
    let bare = evidence(&packed(40.0, 20.0, 1.65)).unwrap();
    let mut known = packed(40.0, 20.0, 1.65);
    known.gravel_percent = Some(25.0);
    // Whole soil 1.65 with a quarter of stones: their volume is 0.25 x 1.65 / 2.65.
    let found = evidence(&known).unwrap();
    let gravel = found.gravel.unwrap();
    assert!((gravel.volume_percent - 100.0 * 0.25 * 1.65 / 2.65).abs() < 1e-9);
    // The fine earth between them is looser than the whole.
    assert!(found.density.unwrap().fine_earth_g_cm3 < 1.65);
    let share = gravel.fine_earth_share();
    let fine = found.equations.unwrap();
    for (whole, fine) in [
        (
            found.water.field_capacity.value.value(),
            fine.field_capacity,
        ),
        (found.water.wilting_point.value.value(), fine.wilting_point),
        (found.saturation.unwrap().value.value(), fine.saturation),
    ] {
        assert!((whole - share * fine).abs() < 1e-12);
    }
    for (with, without) in found.sources.iter().zip(&bare.sources).skip(1) {
        let ratio = with.field_capacity.value() / without.field_capacity.value();
        assert!((ratio - share).abs() < 1e-12);
        // Stones do not make a soil hold its water harder.
        let theta = with.field_capacity.value();
        assert!((with.retention.suction(theta).unwrap() - 33.0).abs() < 1e-6);
    }
    assert!(found.conductivity_mm_per_h().unwrap() < fine.conductivity_mm_per_h);

    known.bulk_density = None;
    let found = evidence(&known).unwrap();
    assert!(matches!(found.notes[0], Note::GravelDensityAssumed { .. }));
    known.gravel_percent = Some(120.0);
    assert!(matches!(evidence(&known), Err(SoilError::Percent { .. })));
    known.gravel_percent = Some(85.0);
    assert!(matches!(
        evidence(&known),
        Err(SoilError::TooMuchGravel { .. })
    ));
}

#[test]
fn measured_values_are_of_the_whole_soil_and_take_no_share_of_stones() {
    let mut known = of_class(TextureClass::Loam);
    known.field_capacity = vwc(0.24, 0.01);
    known.gravel_percent = Some(30.0);
    let found = evidence(&known).unwrap();
    assert_eq!(found.water.field_capacity, known.field_capacity.unwrap());
    assert!(found.gravel.is_some());
}

#[test]
fn percentages_parted_at_63_um_are_converted_and_their_doubt_is_in_the_uncertainty() {
    let mut known = of_particles(50.0, 12.0);
    let usda = evidence(&known).unwrap();
    assert_eq!(
        (usda.class, usda.silt_conversion),
        (Some(TextureClass::Loam), None)
    );
    known.silt_upper_um = Some(63.0);
    let found = evidence(&known).unwrap();
    assert_eq!(found.class, Some(TextureClass::SandyLoam));
    let how = found.silt_conversion.as_ref().unwrap();
    assert!((how.moved - 38.0 * 0.06698).abs() < 0.01, "{how:?}");
    assert!((found.particles.unwrap().sand() - 50.0 - how.moved).abs() < 1e-9);
    // The same soil, had the laboratory parted it at 50 um.
    let same = SoilDescription {
        texture: Some(Texture::Particles(found.particles.unwrap())),
        ..of_particles(1.0, 1.0)
    };
    let same = evidence(&same).unwrap();
    assert_eq!(
        found.water.field_capacity.value,
        same.water.field_capacity.value
    );
    assert!(found.water.field_capacity.u > same.water.field_capacity.u);
    known.silt_upper_um = Some(20.0);
    assert!(matches!(evidence(&known), Err(SoilError::SiltBound { .. })));
}

#[test]
fn the_recommended_curve_goes_through_what_was_measured() {
    let mut known = of_class(TextureClass::Loam);
    known.field_capacity = vwc(0.31, 0.012);
    known.wilting_point = vwc(0.15, 0.012);
    let found = evidence(&known).unwrap();
    assert!((found.suction_at(0.31).unwrap().kpa - 33.0).abs() < 1e-6);
    assert!((found.suction_at(0.15).unwrap().kpa - 1500.0).abs() < 1e-4);
    let there = found.suction_at(0.23).unwrap();
    assert!(there.low_kpa < there.kpa && there.kpa < there.high_kpa);
    assert!(there.kpa > 33.0 && there.kpa < 1500.0);
}

#[test]
fn a_measured_field_capacity_above_every_saturation_leaves_that_out_and_says_so() {
    let mut known = of_class(TextureClass::Loam);
    known.field_capacity = vwc(0.48, 0.02);
    let found = evidence(&known).unwrap();
    assert_eq!((found.saturation, found.saturation_basis), (None, None));
    assert!(
        found
            .notes
            .iter()
            .any(|note| matches!(note, Note::SaturationBelowFieldCapacity { .. }))
    );
    assert!(found.suction_at(0.47).is_some() && found.suction_at(0.49).is_none());
}
