//! Calibrations made up for the tests of controller files: any curve of the
//! family, either wiring direction, with or without a temperature term, 8 to 16
//! bits. Every number here is invented.

use calib_cli::controller::{ControllerFormat, FORMATS};
use calib_core::calibration::{Calibration, Direction, Domain, ReadingNoise};
use calib_core::controller::{
    ControllerError, ControllerRecord, ControllerTable, DEFAULT_MAX_ERROR, Dates, IntegerSetPoints,
    IntegerTemperature, Knot, LiveCodes, OpenCircuit, Timing, VERSION,
};
use calib_core::curve::{Curve, CurveKind};
use calib_core::irrigation::{DeadBandGovernor, SetPoints};
use calib_core::quantity::{Celsius, Fraction, Millimetre, Quantity, Vwc};
use calib_core::temperature::TemperatureTerm;
use jiff::civil::date;
use serde_json::json;

/// What a made-up calibration is made of.
#[derive(Debug, Clone, Copy)]
pub struct Recipe {
    /// Bits of the converter.
    pub bits: u8,
    /// Curve.
    pub kind: CurveKind,
    /// How sharply it bends, -1 to 1.
    pub bend: f64,
    /// Which way the count moves.
    pub direction: Direction,
    /// Lowest and highest calibrated count, shares of full scale.
    pub domain: (f64, f64),
    /// theta_v at the dry and the wet end.
    pub theta: (f64, f64),
    /// Share of the calibrated counts by which a reading rises per degree, if
    /// there is a temperature term.
    pub temperature: Option<f64>,
    /// Reference temperature, C.
    pub reference: f64,
}

impl Default for Recipe {
    fn default() -> Self {
        Self {
            bits: 12,
            kind: CurveKind::Hyperbolic,
            bend: 0.6,
            direction: Direction::FallsWhenWetter,
            domain: (0.31, 0.72),
            theta: (0.06, 0.44),
            temperature: Some(0.002),
            reference: 19.87,
        }
    }
}

impl Recipe {
    /// The calibration, of probe `probe` in soil `test bed`.
    ///
    /// # Panics
    /// If the recipe is no monotone curve; see [`is_monotone`](Self::is_monotone).
    pub fn calibration(&self, probe: &str) -> Calibration {
        let calibration = self.assemble(probe);
        assert!(self.is_monotone(), "{self:?}");
        calibration
    }

    /// Whether the curve does not turn inside its domain.
    pub fn is_monotone(&self) -> bool {
        let made = self.assemble("p");
        made.curve
            .turning_point_within(made.domain.low, made.domain.high)
            .is_none()
    }

    fn assemble(&self, probe: &str) -> Calibration {
        let full_scale = f64::from((1_u32 << self.bits) - 1);
        let (low, high) = (self.domain.0 * full_scale, self.domain.1 * full_scale);
        let axis = self.kind.model().axis(low, high);
        // The shape at unit slope; the shape parameters follow `a` and `b`.
        let bend = self.bend;
        let shape = |b: f64| match self.kind {
            CurveKind::StraightLine | CurveKind::Hyperbolic => vec![0.0, b],
            CurveKind::Quadratic => vec![0.0, b, 0.45 * bend * b],
            CurveKind::Exponential => vec![0.0, b, 2.5 * bend],
            CurveKind::Power => vec![0.0, b, 1.0 + 2.5 * bend],
            CurveKind::Cubic => vec![0.0, b, 0.2 * bend * b, 0.4 * bend * b],
            CurveKind::TwoSegment => vec![0.0, b, b * (1.2 + bend), 0.4 * bend],
            CurveKind::InvertedLogistic => vec![0.0, b, 0.3 * bend, 0.5],
            CurveKind::MonotoneSpline => vec![0.0, b, bend, -2.0 * bend, 1.5 * bend],
        };
        let at = |count: f64, p: &[f64]| self.kind.model().value(axis.z(count), p);
        let (at_low, at_high) = match self.direction {
            Direction::RisesWhenWetter => self.theta,
            Direction::FallsWhenWetter => (self.theta.1, self.theta.0),
        };
        let unit = shape(1.0);
        let b = (at_high - at_low) / (at(high, &unit) - at(low, &unit));
        let mut parameters = shape(b);
        parameters[0] = at_low - at(low, &parameters);

        let size = parameters.len() + usize::from(self.temperature.is_some());
        let covariance = (0..size)
            .map(|i| (0..size).map(|j| if i == j { 4e-6 } else { 0.0 }).collect())
            .collect();
        Calibration {
            probe: probe.into(),
            soil: "test bed".into(),
            adc_bits: self.bits,
            curve: Curve {
                kind: self.kind,
                axis,
                parameters,
            },
            temperature: self.temperature.map(|share| TemperatureTerm {
                reference: celsius(self.reference),
                coefficient: share * (high - low),
            }),
            domain: Domain { low, high },
            temperature_range: Some((11.234, 28.046)),
            covariance,
            covariance_parts: Vec::new(),
            core_scatter: 0.006,
            scatter_draws: Vec::new(),
            rivals: Vec::new(),
            degrees_of_freedom: 17.0,
            relative_volume_u: 0.008,
            noise: ReadingNoise {
                standard_deviation: 0.0005 * full_scale,
                degrees_of_freedom: 190.0,
            },
            temperature_u: 0.3,
            supply_relative_u: 0.0,
            probe_to_probe: 0.0,
            direction: self.direction,
            cores: 21,
        }
    }
}

fn celsius(value: f64) -> Celsius {
    Celsius::new(value).expect("a plausible temperature")
}

/// Set points a third and two thirds up the calibrated water contents.
///
/// # Panics
/// If the curve does not reach them.
pub fn set_points(calibration: &Calibration) -> SetPoints {
    let ends =
        [calibration.domain.low, calibration.domain.high].map(|c| calibration.curve.value(c));
    let (dry, wet) = (ends[0].min(ends[1]), ends[0].max(ends[1]));
    let theta = |share: f64| Vwc::new(dry + share * (wet - dry)).expect("a water content");
    let (refill, stop) = (theta(0.35), theta(0.65));
    let count = |theta_v: Vwc| calibration.count_at(theta_v).expect("inside the curve");
    SetPoints {
        refill,
        stop,
        refill_count: count(refill),
        stop_count: count(stop),
        resolvable: 0.004,
        governor: DeadBandGovernor::AllowedDepletion,
        allowed_depletion: Fraction::new(0.4).expect("a share"),
        root_depth: Millimetre::new(300.0).expect("a depth"),
        net_depth: Millimetre::new(24.0).expect("a depth"),
    }
}

/// Pump times.
pub const TIMING: Timing = Timing {
    minimum_on_s: 60,
    minimum_off_s: 900,
    maximum_on_s: 2700,
    stuck_after_s: 86_400,
};

/// Dates.
pub const DATES: Dates = Dates {
    calibrated_on: date(2025, 4, 2),
    recheck_by: date(2026, 4, 2),
};

/// The controller's table of `calibration` with the set points, times and dates
/// above and the default maximum error.
///
/// # Errors
/// As [`ControllerTable::from_calibration`].
pub fn table(calibration: &Calibration) -> Result<ControllerTable, ControllerError> {
    ControllerTable::from_calibration(
        calibration,
        &set_points(calibration),
        TIMING,
        OpenCircuit::ReadsLow,
        DATES,
        DEFAULT_MAX_ERROR,
    )
}

/// The worked example of `calib-cli/schema/CONTROLLER-FILE.md`, by hand.
pub fn worked_example() -> ControllerRecord {
    let knot = |count, theta_v, expanded_uncertainty| Knot {
        count,
        theta_v,
        expanded_uncertainty,
    };
    ControllerRecord {
        version: VERSION,
        probe: "bench-3".into(),
        soil: "test bed".into(),
        dates: DATES,
        adc_bits: 10,
        direction: Direction::FallsWhenWetter,
        live: LiveCodes {
            low: 10,
            high: 1013,
            open_circuit: OpenCircuit::ReadsLow,
        },
        domain_low: 4969,
        domain_high: 11_187,
        temperature: Some(IntegerTemperature {
            reference_centi: 2000,
            lowest_centi: 1150,
            highest_centi: 2780,
            coefficient: 6291,
            shift: 16,
        }),
        max_error: 6,
        knots: vec![
            knot(310, 4180, 231),
            knot(372, 3227, 214),
            knot(455, 2310, 203),
            knot(562, 1452, 199),
            knot(700, 684, 206),
        ],
        set_points: IntegerSetPoints {
            refill: 1690,
            stop: 2440,
            refill_count: 532,
            stop_count: 443,
        },
        timing: TIMING,
    }
}

/// The documented example, checked.
///
/// # Panics
/// If it does not pass the checks.
pub fn example() -> ControllerTable {
    ControllerTable::check(worked_example()).expect("a valid table")
}

/// The format a person calls `name`.
///
/// # Panics
/// If there is none.
pub fn format(name: &str) -> &'static dyn ControllerFormat {
    let found = FORMATS.into_iter().find(|format| format.name() == name);
    found.unwrap_or_else(|| panic!("no format {name}"))
}

/// The saved calibration file of `calibration`, as `fit` writes it.
pub fn calibration_file(calibration: &Calibration) -> String {
    json!({
        "format": "ovendry calibration",
        "version": 1,
        "program": "test",
        "calibrated_on": "2025-04-02",
        "recheck_by": "2026-04-02",
        "sources": [],
        "explanation": [],
        "calibration": calibration,
    })
    .to_string()
}
