//! Refill and stop: where a controller starts and ends an irrigation.
//!
//! Stop is field capacity. Refill lies the allowed depletion of the available
//! water below it. The dead band between them must be something the probe can
//! see: it is never narrower than the smallest change between two single
//! readings that is not just noise ([`Calibration::resolvable_change`] at the
//! refill count), or the pump would answer noise. Where the soil's band is
//! narrower, refill is lowered until the band is as wide as that, as long as
//! refill stays above the wilting point.
//!
//! A controller compares whole counts, so both set points are whole counts (at
//! the reference temperature of the calibration), each taken on the dry side:
//! stop never lies above field capacity, and the band never shrinks by rounding.
//! The water contents given are those of the curve at these counts.

use super::IrrigationError;
use super::scale::Scale;
use crate::calibration::Calibration;
use crate::quantity::{Celsius, Fraction, Millimetre, Quantity, Vwc};
use crate::soil::SoilWater;
use crate::uncertainty::{Budget, Source};
use serde::{Deserialize, Serialize};
use std::fmt;

/// A water content no one can tell from nothing, m3/m3: keeps the last binary
/// digit of a sum from costing a whole count.
const HAIR: f64 = 1e-9;

/// What decided the width of the dead band.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DeadBandGovernor {
    /// The allowed depletion of the soil's available water.
    AllowedDepletion,
    /// What the probe can resolve in this soil.
    ProbeResolution,
}

impl fmt::Display for DeadBandGovernor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            DeadBandGovernor::AllowedDepletion => "the allowed depletion",
            DeadBandGovernor::ProbeResolution => "what the probe resolves",
        })
    }
}

/// One of the two set points.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SetPoint {
    /// Where an irrigation starts.
    Refill,
    /// Where it stops.
    Stop,
}

impl fmt::Display for SetPoint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            SetPoint::Refill => "refill",
            SetPoint::Stop => "stop",
        })
    }
}

/// An end of the calibrated range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DomainEnd {
    /// The driest calibrated water content.
    Dry,
    /// The wettest calibrated water content.
    Wet,
}

impl fmt::Display for DomainEnd {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            DomainEnd::Dry => "dry",
            DomainEnd::Wet => "wet",
        })
    }
}

/// What the crop asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Demand {
    /// Share of the available water that may be used up before refill.
    pub allowed_depletion: Fraction,
    /// Depth of soil the roots draw on; above 0.
    pub root_depth: Millimetre,
}

/// Refill and stop with what they mean in water.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SetPoints {
    /// Start irrigating when theta_v falls to this.
    pub refill: Vwc,
    /// Stop when theta_v reaches this.
    pub stop: Vwc,
    /// `refill` as a raw count at the reference temperature; a whole count.
    pub refill_count: f64,
    /// `stop` as a raw count at the reference temperature; a whole count.
    pub stop_count: f64,
    /// Smallest change of theta_v the probe resolves at the refill point, m3/m3.
    pub resolvable: f64,
    /// What decided the width of the dead band.
    pub governor: DeadBandGovernor,
    /// Allowed depletion, share of available water.
    pub allowed_depletion: Fraction,
    /// Root depth the depth of water is reckoned over.
    pub root_depth: Millimetre,
    /// Depth of water from refill to stop over the root depth.
    pub net_depth: Millimetre,
}

impl SetPoints {
    /// Width of the dead band, m3/m3; positive.
    pub fn dead_band(&self) -> f64 {
        self.stop.value() - self.refill.value()
    }
}

/// Set points with how sure they are.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SetPointEvidence {
    /// The set points.
    pub set_points: SetPoints,
    /// Width the allowed depletion asks for, m3/m3.
    pub depletion_band: f64,
    /// Share of the available water used up at the refill point as set; more
    /// than the allowed depletion where the probe's resolution governs, and a
    /// trace more from whole counts.
    pub depletion_at_refill: f64,
    /// How far the soil's true water content, when the controller starts the
    /// pump, may be from the refill point the soil should have: what the
    /// calibration adds at that count, and field capacity and wilting point.
    pub refill_budget: Budget,
    /// The same when the controller stops it.
    pub stop_budget: Budget,
    /// Temperature the counts hold at; `None` where counts are not corrected.
    pub reference_temperature: Option<Celsius>,
}

/// The set points for a soil, a crop and a calibrated probe.
///
/// # Errors
/// [`IrrigationError::OutsideDomain`] and [`IrrigationError::BandLeavesDomain`]
/// if a set point lies where the probe was not calibrated,
/// [`IrrigationError::ReachesWiltingPoint`] if refill would not stay above the
/// wilting point, [`IrrigationError::NoRootZone`] for a root depth of 0.
pub fn set_points(
    water: &SoilWater,
    demand: &Demand,
    calibration: &Calibration,
) -> Result<SetPointEvidence, IrrigationError> {
    if demand.root_depth.value() <= 0.0 {
        return Err(IrrigationError::NoRootZone);
    }
    let scale = Scale::of(calibration);
    let available = water.available().value;
    let capacity = water.field_capacity.value.value();
    let wilting_point = water.wilting_point.value.value();

    let stop_count = scale.whole_count(SetPoint::Stop, capacity)?;
    let stop = scale.theta(stop_count);
    let depletion_band = demand.allowed_depletion.value() * available;
    let asked_count = scale.whole_count(SetPoint::Refill, stop - depletion_band + HAIR)?;
    let refill_count = scale.resolved_count(stop, asked_count)?;
    let governor = if refill_count == asked_count {
        DeadBandGovernor::AllowedDepletion
    } else {
        DeadBandGovernor::ProbeResolution
    };
    let refill = scale.theta(refill_count);
    if refill <= wilting_point {
        return Err(IrrigationError::ReachesWiltingPoint {
            refill,
            wilting_point,
            governor,
        });
    }

    let reference_temperature = calibration.temperature.map(|term| term.reference);
    let budget_at = |count: f64, theta: f64| -> Result<Budget, IrrigationError> {
        let mut budget = calibration.predict(count, reference_temperature)?.budget;
        let depletion = (capacity - theta) / available;
        // Taken as known: tables that disagree are no sample with degrees of
        // freedom. Taken as independent of the calibration, which never saw
        // these tables.
        budget.add_known(Source::SoilWater, water.depleted_by(depletion).u);
        Ok(budget)
    };
    Ok(SetPointEvidence {
        depletion_band,
        depletion_at_refill: (capacity - refill) / available,
        refill_budget: budget_at(refill_count, refill)?,
        stop_budget: budget_at(stop_count, stop)?,
        reference_temperature,
        set_points: SetPoints {
            refill: Vwc::new(refill)?,
            stop: Vwc::new(stop)?,
            refill_count,
            stop_count,
            resolvable: calibration.resolvable_change(refill_count),
            governor,
            allowed_depletion: demand.allowed_depletion,
            root_depth: demand.root_depth,
            net_depth: Millimetre::new((stop - refill) * demand.root_depth.value())?,
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::{Direction, Domain, ReadingNoise};
    use crate::curve::{Axis, Curve, CurveKind};
    use crate::quantity::Estimate;
    use crate::temperature::TemperatureTerm;
    use proptest::prelude::*;

    fn calibration(curve: Curve, domain: Domain, noise: f64) -> Calibration {
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

    /// 0.45 m3/m3 at 300 counts to 0.05 m3/m3 at 700: 0.001 m3/m3 a count.
    fn line(noise: f64) -> Calibration {
        let curve = Curve {
            kind: CurveKind::StraightLine,
            axis: Axis {
                origin: 500.0,
                unit: 200.0,
            },
            parameters: vec![0.25, -0.2],
        };
        calibration(
            curve,
            Domain {
                low: 300.0,
                high: 700.0,
            },
            noise,
        )
    }

    /// The same line with counts that rise as the soil gets wetter.
    fn rising_line(noise: f64) -> Calibration {
        let mut rising = line(noise);
        rising.curve.parameters[1] = 0.2;
        rising.direction = Direction::RisesWhenWetter;
        rising
    }

    fn soil(field_capacity: f64, wilting_point: f64) -> SoilWater {
        SoilWater {
            field_capacity: Estimate::new(Vwc::new(field_capacity).unwrap(), 0.03),
            wilting_point: Estimate::new(Vwc::new(wilting_point).unwrap(), 0.02),
            correlation: 0.5,
        }
    }

    fn demand(depletion: f64) -> Demand {
        Demand {
            allowed_depletion: Fraction::new(depletion).unwrap(),
            root_depth: Millimetre::new(300.0).unwrap(),
        }
    }

    #[test]
    fn refill_lies_the_allowed_depletion_below_field_capacity() {
        // FC - 0.4 (FC - WP) = 0.3005 - 0.4 x 0.2 = 0.2205; stop is the first
        // whole count not above 0.3005: 450, 0.300; refill 530, 0.220.
        let found = set_points(&soil(0.3005, 0.1005), &demand(0.4), &line(1.0)).unwrap();
        let set = &found.set_points;
        assert_eq!((set.stop_count, set.refill_count), (450.0, 530.0));
        assert!((set.stop.value() - 0.300).abs() < 1e-12);
        assert!((set.refill.value() - 0.220).abs() < 1e-12);
        assert!((set.net_depth.value() - 24.0).abs() < 1e-9);
        assert_eq!(set.governor, DeadBandGovernor::AllowedDepletion);
        assert!((found.depletion_band - 0.08).abs() < 1e-12);
    }

    #[test]
    fn a_probe_whose_counts_rise_gets_the_mirror_image() {
        let found = set_points(&soil(0.3005, 0.1005), &demand(0.4), &rising_line(1.0)).unwrap();
        assert_eq!(found.set_points.stop_count, 550.0);
        assert_eq!(found.set_points.refill_count, 470.0);
    }

    #[test]
    fn a_noisy_probe_widens_the_band_and_says_so() {
        let noisy = line(20.0);
        let found = set_points(&soil(0.3005, 0.1005), &demand(0.2), &noisy).unwrap();
        let set = &found.set_points;
        assert_eq!(set.governor, DeadBandGovernor::ProbeResolution);
        assert!((found.depletion_band - 0.04).abs() < 1e-12);
        // k sqrt(2) x 20.002 counts, k = 2.00 at 60 degrees of freedom: 56.6 counts.
        assert!((set.resolvable - 0.0566).abs() < 1e-4, "{}", set.resolvable);
        assert_eq!(set.refill_count - set.stop_count, 57.0);
        assert!(found.depletion_at_refill > 0.28);
    }

    #[test]
    fn a_probe_that_cannot_resolve_the_available_water_is_refused() {
        let error = set_points(&soil(0.3005, 0.2405), &demand(0.3), &line(30.0)).unwrap_err();
        assert!(matches!(
            error,
            IrrigationError::ReachesWiltingPoint {
                governor: DeadBandGovernor::ProbeResolution,
                ..
            }
        ));
        assert_eq!(
            error.to_string(),
            "the refill point 0.215 m3/m3 would reach the wilting point 0.240 m3/m3, set there by what the probe resolves"
        );
    }

    #[test]
    fn full_depletion_reaches_the_wilting_point_and_is_refused() {
        let error = set_points(&soil(0.3005, 0.1005), &demand(1.0), &line(1.0)).unwrap_err();
        assert!(matches!(
            error,
            IrrigationError::ReachesWiltingPoint {
                governor: DeadBandGovernor::AllowedDepletion,
                ..
            }
        ));
        assert_eq!(error.mend(), "allow less depletion");
    }

    #[test]
    fn a_set_point_beyond_the_cores_names_itself_the_range_and_the_mend() {
        let wet = set_points(&soil(0.47, 0.2), &demand(0.4), &line(1.0)).unwrap_err();
        assert_eq!(
            wet.to_string(),
            "the stop point 0.470 m3/m3 lies beyond the wet end of the calibrated 0.050 to 0.450 m3/m3; the curve is not extended"
        );
        assert!(wet.mend().starts_with("take wetter cores"));
        let dry = set_points(&soil(0.10, 0.02), &demand(0.8), &line(1.0)).unwrap_err();
        assert_eq!(
            dry.to_string(),
            "the refill point 0.036 m3/m3 lies beyond the dry end of the calibrated 0.050 to 0.450 m3/m3; the curve is not extended"
        );
        assert!(dry.mend().starts_with("take drier cores"));
    }

    #[test]
    fn a_band_the_probe_needs_but_the_cores_do_not_cover_is_refused() {
        let error = set_points(&soil(0.10, 0.02), &demand(0.3), &line(25.0)).unwrap_err();
        assert!(
            matches!(error, IrrigationError::BandLeavesDomain { .. }),
            "{error}"
        );
        assert!(error.mend().starts_with("take drier cores"));
    }

    #[test]
    fn a_whole_count_that_rounding_pushes_out_of_the_domain_is_refused() {
        let mut narrow = line(1.0);
        narrow.domain.high = 529.6;
        // Refill at 0.2205 - 0.0005 = 0.2200 is count 530, beyond 529.6.
        let error = set_points(&soil(0.3005, 0.1005), &demand(0.4), &narrow).unwrap_err();
        assert!(
            matches!(
                error,
                IrrigationError::OutsideDomain {
                    set_point: SetPoint::Refill,
                    end: DomainEnd::Dry,
                    ..
                }
            ),
            "{error}"
        );
    }

    #[test]
    fn no_depletion_at_all_leaves_what_the_probe_resolves() {
        let found = set_points(&soil(0.30, 0.10), &demand(0.0), &line(1.0)).unwrap();
        assert_eq!(found.set_points.governor, DeadBandGovernor::ProbeResolution);
        assert!(found.set_points.dead_band() >= found.set_points.resolvable);
    }

    #[test]
    fn a_root_zone_without_depth_is_refused() {
        let rootless = Demand {
            root_depth: Millimetre::new(0.0).unwrap(),
            ..demand(0.4)
        };
        assert_eq!(
            set_points(&soil(0.3, 0.1), &rootless, &line(1.0)),
            Err(IrrigationError::NoRootZone)
        );
    }

    #[test]
    fn both_budgets_hold_the_calibration_and_the_soil() {
        let found = set_points(&soil(0.30, 0.10), &demand(0.4), &line(1.0)).unwrap();
        for (budget, count, depletion) in [
            (&found.refill_budget, found.set_points.refill_count, 0.4),
            (&found.stop_budget, found.set_points.stop_count, 0.0),
        ] {
            let from_soil = budget.only(|source| source == Source::SoilWater).standard();
            let from_probe = budget.only(|source| source != Source::SoilWater).standard();
            let (capacity, wilting): (f64, f64) = ((1.0 - depletion) * 0.03, depletion * 0.02);
            let by_hand = (capacity * capacity + wilting * wilting + capacity * wilting).sqrt();
            // The set point is a whole count, up to two counts off the depletion.
            assert!((from_soil - by_hand).abs() < 3e-4, "{from_soil} {by_hand}");
            let predicted = line(1.0).predict(count, None).unwrap().expanded.standard;
            assert!((from_probe - predicted).abs() < 1e-12);
        }
    }

    #[test]
    fn counts_hold_at_the_reference_temperature() {
        let mut warm = line(1.0);
        warm.temperature = Some(TemperatureTerm {
            reference: Celsius::new(20.0).unwrap(),
            coefficient: 0.5,
        });
        let found = set_points(&soil(0.3005, 0.1005), &demand(0.4), &warm).unwrap();
        assert_eq!(found.reference_temperature, Celsius::new(20.0).ok());
        assert_eq!(found.set_points.refill_count, 530.0);
        let sensor = |budget: &Budget| {
            budget
                .only(|source| source == Source::TemperatureSensor)
                .standard()
        };
        assert!(sensor(&found.refill_budget) > 0.0);
    }

    /// A monotone curve between two whole or broken counts, of any kind that is
    /// monotone by construction, in either direction.
    fn any_calibration() -> impl Strategy<Value = Calibration> {
        (
            prop::sample::select(vec![
                CurveKind::StraightLine,
                CurveKind::Hyperbolic,
                CurveKind::Quadratic,
                CurveKind::Exponential,
            ]),
            100.0..400.0_f64,
            30.0..3000.0_f64,
            0.02..0.15_f64,
            0.25..0.6_f64,
            -0.9..0.9_f64,
            any::<bool>(),
            0.0..40.0_f64,
        )
            .prop_map(|(kind, low, span, dry, wet, bend, falls, noise)| {
                let domain = Domain {
                    low,
                    high: low + span,
                };
                let axis = kind.model().axis(domain.low, domain.high);
                let (z_low, z_high) = (axis.z(domain.low), axis.z(domain.high));
                // A shape rising from z_low to z_high, then scaled to dry..wet.
                let shape = match kind {
                    CurveKind::Hyperbolic => vec![0.0, -1.0],
                    CurveKind::Quadratic => vec![0.0, 1.0, 0.45 * bend],
                    CurveKind::Exponential => vec![0.0, 1.0, bend],
                    _ => vec![0.0, 1.0],
                };
                let model = kind.model();
                let (from, to) = (model.value(z_low, &shape), model.value(z_high, &shape));
                let (at_low, at_high) = if falls { (wet, dry) } else { (dry, wet) };
                let scale = (at_high - at_low) / (to - from);
                let mut parameters = shape;
                parameters[0] = at_low - scale * from;
                parameters[1] *= scale;
                if kind == CurveKind::Quadratic {
                    parameters[2] *= scale;
                }
                calibration(
                    Curve {
                        kind,
                        axis,
                        parameters,
                    },
                    domain,
                    noise,
                )
            })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]
        #[test]
        fn set_points_that_are_given_can_be_trusted(
            calibration in any_calibration(),
            wilting_point in 0.03..0.25_f64,
            available in 0.02..0.3_f64,
            depletion in 0.0..=1.0_f64,
        ) {
            let water = soil(wilting_point + available, wilting_point);
            let Ok(found) = set_points(&water, &demand(depletion), &calibration) else {
                return Ok(());
            };
            let set = &found.set_points;
            prop_assert!(set.refill < set.stop);
            prop_assert!(set.stop.value() <= water.field_capacity.value.value());
            prop_assert!(set.refill.value() > wilting_point);
            prop_assert!(set.dead_band() >= calibration.resolvable_change(set.refill_count));
            prop_assert!(set.dead_band() >= found.depletion_band - HAIR);
            prop_assert_eq!(set.refill_count.fract(), 0.0);
            prop_assert_eq!(set.stop_count.fract(), 0.0);
            for count in [set.refill_count, set.stop_count] {
                prop_assert!(calibration.domain.contains(count));
            }
            match calibration.direction {
                Direction::FallsWhenWetter => prop_assert!(set.refill_count > set.stop_count),
                Direction::RisesWhenWetter => prop_assert!(set.refill_count < set.stop_count),
            }
            prop_assert_eq!(calibration.curve.value(set.refill_count), set.refill.value());
            prop_assert_eq!(calibration.curve.value(set.stop_count), set.stop.value());
            // Refill is lowered no further than it must be.
            let wetter = if set.refill_count > set.stop_count { -1.0 } else { 1.0 };
            let before = set.refill_count + wetter;
            let band_before = set.stop.value() - calibration.curve.value(before);
            prop_assert!(
                band_before < calibration.resolvable_change(before)
                    || band_before < found.depletion_band + HAIR
            );
            for budget in [&found.refill_budget, &found.stop_budget] {
                prop_assert!(budget.standard().is_finite() && budget.standard() > 0.0);
            }
        }

        #[test]
        fn most_sound_soils_do_get_set_points(
            calibration in any_calibration(), share in 0.3..0.6_f64,
        ) {
            // A soil in the middle of the calibrated range and a quiet, fine probe.
            let mut calibration = calibration;
            calibration.noise.standard_deviation = 0.1;
            prop_assume!(calibration.domain.high - calibration.domain.low > 200.0);
            let scale = Scale::of(&calibration);
            let (dry, wet) = scale.range;
            let water = soil(wet - 0.1 * (wet - dry), dry + 0.1 * (wet - dry));
            prop_assert!(set_points(&water, &demand(share), &calibration).is_ok());
        }
    }
}
