//! A made-up calibration simple enough to reckon with by hand.

use crate::Bench;
use calib_core::calibration::{Calibration, Direction, Domain, ReadingNoise};
use calib_core::curve::{Axis, Curve, CurveKind};

/// A site with one probe, `upper-1`, and a pump. Invented.
pub const SITE: &str = r#"
[site]
name = "invented"
[balance]
resolution_g = 0.01
[[soil]]
id = "upper"
field_capacity = 0.3005
field_capacity_u = 0.02
wilting_point = 0.1005
wilting_point_u = 0.02
[[probe]]
id = "upper-1"
adc_bits = 12
soil = "upper"
[controller]
area_m2 = 120
flow_l_per_min = 60
crop = "tomato"
root_depth_mm = 300
minimum_on_s = 600
minimum_off_s = 1200
maximum_on_s = 3000
"#;

/// [`SITE`] with the calibration of its probe, on which counts fall as the soil gets
/// wetter: 0.001 m3/m3 a count below 0.25 m3/m3 at 500.
///
/// # Panics
/// If the folder cannot be laid out.
pub fn bench() -> Bench {
    let calibration = calibration("upper-1", "upper", Direction::FallsWhenWetter);
    Bench::empty()
        .with("site.toml", SITE)
        .with("out/upper-1.calibration.json", saved(&calibration))
}

/// 0.001 m3/m3 a count around 0.25 m3/m3 at 500.
pub fn calibration(probe: &str, soil: &str, direction: Direction) -> Calibration {
    let slope = match direction {
        Direction::FallsWhenWetter => -0.2,
        Direction::RisesWhenWetter => 0.2,
    };
    Calibration {
        probe: probe.into(),
        soil: soil.into(),
        adc_bits: 12,
        curve: Curve {
            kind: CurveKind::StraightLine,
            axis: Axis {
                origin: 500.0,
                unit: 200.0,
            },
            parameters: vec![0.25, slope],
        },
        temperature: None,
        domain: Domain {
            low: 300.0,
            high: 700.0,
        },
        temperature_range: None,
        covariance: vec![vec![4e-6, 0.0], vec![0.0, 4e-6]],
        covariance_parts: Vec::new(),
        core_scatter: 0.006,
        scatter_draws: Vec::new(),
        rivals: Vec::new(),
        degrees_of_freedom: 13.0,
        relative_volume_u: 0.01,
        noise: ReadingNoise {
            standard_deviation: 1.0,
            degrees_of_freedom: 60.0,
        },
        temperature_u: 0.5,
        supply_relative_u: 0.0,
        probe_to_probe: 0.0,
        direction,
        cores: 15,
    }
}

/// The file `fit` would save it in.
pub fn saved(calibration: &Calibration) -> String {
    serde_json::json!({
        "format": "ovendry calibration",
        "version": 1,
        "program": "test",
        "calibrated_on": "2026-05-01",
        "recheck_by": "2027-05-01",
        "sources": [],
        "explanation": [],
        "calibration": calibration,
    })
    .to_string()
}
