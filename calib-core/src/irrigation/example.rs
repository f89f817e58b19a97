//! A calibration made by hand, for the tests of this room.

use crate::calibration::{Calibration, Direction, Domain, ReadingNoise};
use crate::curve::{Axis, Curve, CurveKind};
use crate::quantity::{Estimate, Quantity, Vwc};
use crate::soil::SoilWater;

/// 0.45 m3/m3 at 300 counts to 0.05 m3/m3 at 700: 0.001 m3/m3 a count.
pub(super) fn line(noise: f64) -> Calibration {
    calibration(
        Curve {
            kind: CurveKind::StraightLine,
            axis: Axis {
                origin: 500.0,
                unit: 200.0,
            },
            parameters: vec![0.25, -0.2],
        },
        Domain {
            low: 300.0,
            high: 700.0,
        },
        noise,
    )
}

pub(super) fn calibration(curve: Curve, domain: Domain, noise: f64) -> Calibration {
    let direction = if curve.value(domain.low) > curve.value(domain.high) {
        Direction::FallsWhenWetter
    } else {
        Direction::RisesWhenWetter
    };
    let side = curve.parameters.len();
    Calibration {
        probe: "p".into(),
        soil: "s".into(),
        adc_bits: 12,
        curve,
        temperature: None,
        domain,
        temperature_range: None,
        covariance: (0..side)
            .map(|i| (0..side).map(|j| if i == j { 4e-6 } else { 0.0 }).collect())
            .collect(),
        covariance_parts: Vec::new(),
        core_scatter: 0.006,
        scatter_draws: Vec::new(),
        rivals: Vec::new(),
        degrees_of_freedom: 12.0,
        relative_volume_u: 0.01,
        noise: ReadingNoise {
            standard_deviation: noise,
            degrees_of_freedom: 60.0,
        },
        temperature_u: 0.5,
        supply_relative_u: 0.0,
        probe_to_probe: 0.0,
        direction,
        cores: 15,
    }
}

pub(super) fn soil(field_capacity: f64, wilting_point: f64) -> SoilWater {
    SoilWater {
        field_capacity: Estimate::new(Vwc::new(field_capacity).unwrap(), 0.03),
        wilting_point: Estimate::new(Vwc::new(wilting_point).unwrap(), 0.02),
        correlation: 0.5,
    }
}
