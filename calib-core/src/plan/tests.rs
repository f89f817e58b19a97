use super::*;
use crate::quantity::{Fraction, Millilitre};

fn request() -> Request {
    Request {
        soil: SoilToPack {
            bulk_density: Density::new(1.4).unwrap(),
            particle_density: Density::new(2.65).unwrap(),
            field_capacity: Some(Vwc::new(0.28).unwrap()),
            wilting_point: Some(Vwc::new(0.14).unwrap()),
            grain: Some(Grain::Medium),
            stock_water: Gravimetric::new(0.03).unwrap(),
        },
        container: Container::of_volume(
            Millilitre::new(5000.0).unwrap(),
            Fraction::new(0.1).unwrap(),
        ),
        core: CoreSize {
            volume: CubicCentimetre::new(100.0).unwrap(),
            diameter: None,
            height: None,
        },
        water_temperature: Celsius::new(20.0).unwrap(),
        levels: LevelsAsked::Even(6),
        cores_per_level: 3,
        oven_places: 12,
    }
}

#[test]
fn a_usual_plan_stands() {
    let made = plan(&request()).unwrap();
    assert_eq!(made.cores(), 18);
}
