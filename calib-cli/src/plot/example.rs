//! A calibration for the tests of the charts: invented, of the shape a fit
//! gives.

use calib_core::calibration::{Calibration, Direction, Domain, ReadingNoise};
use calib_core::curve::{Curve, CurveKind};
use calib_core::fit::Observation;
use calib_core::quantity::{Celsius, Estimate, Quantity, Vwc};
use calib_core::temperature::TemperatureTerm;
use calib_core::uncertainty::Budget;

/// Departures of the cores from the curve, m3/m3, over and over.
const DEPARTURES: [f64; 7] = [0.004, -0.007, 0.002, 0.011, -0.003, -0.0005, -0.006];

/// A calibration whose counts fall when wetter, with temperature term, and its
/// 21 cores.
pub fn falling() -> (Calibration, Vec<Observation>) {
    let domain = Domain {
        low: 341.0,
        high: 742.0,
    };
    let curve = Curve {
        kind: CurveKind::Hyperbolic,
        axis: CurveKind::Hyperbolic.model().axis(domain.low, domain.high),
        parameters: vec![0.121, 0.284],
    };
    let temperature = TemperatureTerm {
        reference: Celsius::new(20.0).unwrap(),
        coefficient: 1.1,
    };
    calibration("terrace-1", "terrace", curve, Some(temperature), domain)
}

/// A calibration whose counts rise when wetter, without temperature term.
pub fn rising() -> (Calibration, Vec<Observation>) {
    let domain = Domain {
        low: 301.5,
        high: 619.0,
    };
    let curve = Curve {
        kind: CurveKind::StraightLine,
        axis: CurveKind::StraightLine
            .model()
            .axis(domain.low, domain.high),
        parameters: vec![0.277, 0.126],
    };
    calibration("lowfield-1", "lowfield", curve, None, domain)
}

fn calibration(
    probe: &str,
    soil: &str,
    curve: Curve,
    temperature: Option<TemperatureTerm>,
    domain: Domain,
) -> (Calibration, Vec<Observation>) {
    let mut covariance = vec![vec![2.5e-6, 3e-7], vec![3e-7, 8e-6]];
    if temperature.is_some() {
        covariance = vec![
            vec![2.5e-6, 3e-7, 0.0],
            vec![3e-7, 8e-6, 0.0],
            vec![0.0, 0.0, 0.05],
        ];
    }
    let cores = (0..21)
        .map(|i| core(&curve, temperature, domain, i))
        .collect();
    let calibration = Calibration {
        probe: probe.into(),
        soil: soil.into(),
        adc_bits: 10,
        curve,
        temperature,
        domain,
        temperature_range: Some((9.0, 29.0)),
        covariance,
        covariance_parts: Vec::new(),
        core_scatter: 0.0058,
        scatter_draws: Vec::new(),
        rivals: Vec::new(),
        degrees_of_freedom: 18.0,
        relative_volume_u: 0.0057,
        noise: ReadingNoise {
            standard_deviation: 1.4,
            degrees_of_freedom: 220.0,
        },
        temperature_u: 0.3,
        supply_relative_u: 0.0,
        probe_to_probe: 0.0,
        direction: if temperature.is_some() {
            Direction::FallsWhenWetter
        } else {
            Direction::RisesWhenWetter
        },
        cores: 21,
    };
    (calibration, cores)
}

fn core(
    curve: &Curve,
    temperature: Option<TemperatureTerm>,
    domain: Domain,
    index: u32,
) -> Observation {
    let (level, replicate) = (index / 3, index % 3);
    let share = (f64::from(level) + [0.0, 0.13, -0.1][replicate as usize]) / 6.0;
    let at_reference = domain.low + (domain.high - domain.low) * share.clamp(0.0, 1.0);
    let celsius = [10.0, 27.5, 18.0][replicate as usize];
    let shift = temperature.map_or(0.0, |term| term.coefficient * (celsius - 20.0));
    let departure = DEPARTURES[index as usize % DEPARTURES.len()];
    Observation {
        sample: format!("core-{}{}", level + 1, ["a", "b", "c"][replicate as usize]),
        level: format!("L{}", level + 1),
        count: Estimate::new(at_reference + shift, 0.5),
        temperature: Some(Celsius::new(celsius).unwrap()),
        theta_v: Estimate::new(
            Vwc::new(curve.value(at_reference) + departure).unwrap(),
            0.0009,
        ),
        budget: Budget::default(),
        relative_volume_u: 0.0057,
    }
}
