//! From a calibration and its set points to the controller's table.

use super::check::{answering_codes, correction_fits};
use super::error::ControllerError;
use super::knots::{Target, fewest};
use super::record::{
    ControllerRecord, Dates, IntegerSetPoints, IntegerTemperature, Knot, LiveCodes, OpenCircuit,
    SIXTEENTHS, SUPPORTED_BITS, TEMPERATURE_SHIFTS, THETA_RANGE, THETA_SCALE, Timing, VERSION,
    celsius_from_centi,
};
use super::table::{ControllerTable, full_scale};
use crate::calibration::{Calibration, ConvertError};
use crate::irrigation::SetPoints;
use crate::quantity::{Celsius, Quantity, Vwc};
use crate::temperature::TemperatureTerm;

/// Maximum error asked for unless told otherwise, m3/m3: a tenth of the 0.005
/// m3/m3 by which replicate cores of one bed commonly differ (common practice,
/// no source), so that the table adds nothing that shows.
pub const DEFAULT_MAX_ERROR: f64 = 0.0005;

/// Range of maximum errors that can be asked for, m3/m3.
const MAX_ERROR_ASKED: std::ops::RangeInclusive<f64> = 0.0001..=0.05;

const STEPS: f64 = SIXTEENTHS as f64;

impl ControllerTable {
    /// Makes the table of `calibration`.
    ///
    /// Knots are placed so that the table before rounding stays within
    /// `max_error` (m3/m3, 0.0001 to 0.05) of the curve at every corrected count
    /// that can occur. The error the table *states* is then measured: the
    /// largest difference of the finished integers from the curve at every such
    /// count, plus what rounding the temperature correction can add, rounded up.
    ///
    /// The accepted temperatures are the calibrated ones and the domain is
    /// narrowed by the rounding of the correction, so that the table never
    /// answers where the curve was not calibrated.
    ///
    /// # Errors
    /// [`ControllerError`] if the calibration does not fit a table, no table
    /// stays within `max_error`, or the result does not pass
    /// [`check`](Self::check), for instance for its set points.
    pub fn from_calibration(
        calibration: &Calibration,
        set_points: &SetPoints,
        timing: Timing,
        open_circuit: OpenCircuit,
        dates: Dates,
        max_error: f64,
    ) -> Result<Self, ControllerError> {
        if !MAX_ERROR_ASKED.contains(&max_error) {
            return Err(ControllerError::MaxErrorAsked { asked: max_error });
        }
        if !SUPPORTED_BITS.contains(&calibration.adc_bits) {
            return Err(ControllerError::AdcBits {
                bits: calibration.adc_bits,
            });
        }
        let (moved, shift) = at_whole_reference(calibration);
        let calibration = &moved;
        let correction = match &calibration.temperature {
            Some(term) => Some(Correction::new(calibration, term)?),
            None => None,
        };
        let domain = domain(calibration, correction.as_ref())?;
        let truth = Truth::new(calibration, domain, correction.is_some())?;
        let placed = fewest(
            &truth.target(),
            &truth.knots(calibration),
            max_error * THETA_SCALE,
        )
        .map_err(|count| ControllerError::BoundNotReachable {
            count,
            asked: max_error,
        })?;
        let knots = with_uncertainties(placed, calibration)?;

        let mut record = ControllerRecord {
            version: VERSION,
            probe: calibration.probe.clone(),
            soil: calibration.soil.clone(),
            dates,
            adc_bits: calibration.adc_bits,
            direction: calibration.direction,
            live: live_codes(
                calibration.adc_bits,
                domain,
                correction.as_ref().map(|c| &c.integer),
                open_circuit,
            ),
            domain_low: domain.0,
            domain_high: domain.1,
            temperature: correction.as_ref().map(|c| c.integer),
            max_error: u16::MAX,
            knots,
            set_points: IntegerSetPoints {
                refill: unit(set_points.refill.value()),
                stop: unit(set_points.stop.value()),
                refill_count: whole_count(set_points.refill_count + shift, domain),
                stop_count: whole_count(set_points.stop_count + shift, domain),
            },
            timing,
        };
        let measured = truth.largest_difference(&ControllerTable(record.clone()))
            + correction.map_or(0.0, |c| c.error_sixteenths * truth.steepest(calibration));
        record.max_error = (measured.ceil() as u16).max(1);
        // Refuses set points that lie off the curve, before they are drawn to it.
        let drawn = ControllerTable::check(record.clone())?;
        // The set points are what the table itself gives at the counts a person is
        // told, so that the controller switches at just those counts.
        let at = |count: u16| drawn.at_sixteenths(SIXTEENTHS * i32::from(count));
        let points = record.set_points;
        if let (Ok(refill), Ok(stop)) = (at(points.refill_count), at(points.stop_count)) {
            record.set_points.refill = refill.theta_v;
            record.set_points.stop = stop.theta_v;
        }
        ControllerTable::check(record)
    }
}

/// theta_v in whole units, halves away from zero.
fn unit(theta_v: f64) -> i16 {
    (theta_v * THETA_SCALE).round() as i16
}

/// The nearest whole count that lies inside the domain.
fn whole_count(count: f64, (low, high): (i32, i32)) -> u16 {
    let first = f64::from(low) / STEPS;
    let last = f64::from(high) / STEPS;
    count
        .round()
        .clamp(first.ceil(), last.floor().max(first.ceil())) as u16
}

/// The same calibration with its reference temperature in whole hundredths of a
/// degree, and how many counts that moved the curve. Nothing is lost: a reference
/// warmer by `d` moves every count at the reference by `coefficient d`.
fn at_whole_reference(calibration: &Calibration) -> (Calibration, f64) {
    let mut moved = calibration.clone();
    let mut shift = 0.0;
    if let Some(term) = &mut moved.temperature {
        let whole = (100.0 * term.reference.value()).round() / 100.0;
        if let Ok(reference) = Celsius::new(whole) {
            shift = term.coefficient * (whole - term.reference.value());
            term.reference = reference;
        }
    }
    moved.curve.axis.origin += shift;
    moved.domain.low += shift;
    moved.domain.high += shift;
    (moved, shift)
}

/// The temperature term in integers, with what that costs.
struct Correction {
    integer: IntegerTemperature,
    /// Largest error of a corrected count over the accepted temperatures,
    /// sixteenths.
    error_sixteenths: f64,
}

impl Correction {
    fn new(calibration: &Calibration, term: &TemperatureTerm) -> Result<Self, ControllerError> {
        let (lowest, highest) = calibration
            .temperature_range
            .ok_or(ControllerError::TemperatureRangeMissing)?;
        let reference = 100.0 * term.reference.value();
        let exact = term.coefficient * STEPS / 100.0;
        let at = |shift: u8| IntegerTemperature {
            reference_centi: reference.round() as i16,
            lowest_centi: (100.0 * lowest).ceil() as i16,
            highest_centi: (100.0 * highest).floor() as i16,
            coefficient: (exact * f64::from(1 << shift)).round() as i32,
            shift,
        };
        // The finest coefficient whose products fit 32 bits.
        let fits = |term: &IntegerTemperature| correction_fits(term, calibration.adc_bits);
        let Some(integer) = TEMPERATURE_SHIFTS
            .into_iter()
            .rev()
            .map(at)
            .find(|term| exact.is_finite() && fits(term))
        else {
            let coarsest = at(0);
            return Err(ControllerError::TemperatureCorrection {
                coefficient: coarsest.coefficient,
                divisor: coarsest.divisor(),
            });
        };
        let coefficient = f64::from(integer.coefficient) / f64::from(integer.divisor());
        let farthest = [integer.lowest_centi, integer.highest_centi]
            .map(|centi| (f64::from(centi) - f64::from(integer.reference_centi)).abs())
            .into_iter()
            .fold(0.0, f64::max);
        Ok(Self {
            integer,
            error_sixteenths: 0.5 + (coefficient - exact).abs() * farthest,
        })
    }
}

/// The domain in sixteenths, never wider than the calibrated one.
fn domain(
    calibration: &Calibration,
    correction: Option<&Correction>,
) -> Result<(i32, i32), ControllerError> {
    let calibrated = calibration.domain;
    let (low, high, top) = match correction {
        Some(c) => (
            (STEPS * calibrated.low + c.error_sixteenths).ceil(),
            (STEPS * calibrated.high - c.error_sixteenths).floor(),
            u16::MAX,
        ),
        None => (
            STEPS * calibrated.low.ceil(),
            STEPS * calibrated.high.floor(),
            full_scale(calibration.adc_bits),
        ),
    };
    let finite = low.is_finite() && high.is_finite();
    let (low, high) = (low.max(0.0), high.min(STEPS * f64::from(top)));
    // A whole step at least: two knots, and a set point on each side.
    if !finite || low + STEPS > high {
        return Err(ControllerError::DomainNotUsable {
            low: calibrated.low,
            high: calibrated.high,
        });
    }
    Ok((low as i32, high as i32))
}

/// Share of full scale, from either end, in which only a broken or shorted wire
/// reads (common practice, no source): 10 counts of a 10-bit converter.
const WIRE_MARGIN: u16 = 100;

/// The codes of a live probe: all but the outermost hundredth at either end, as
/// far as none of those can have an answer.
fn live_codes(
    bits: u8,
    domain: (i32, i32),
    term: Option<&IntegerTemperature>,
    open_circuit: OpenCircuit,
) -> LiveCodes {
    let full_scale = full_scale(bits);
    let margin = full_scale / WIRE_MARGIN;
    let (lowest, highest) = answering_codes(domain, term);
    let code = |at: i32| at.clamp(0, i32::from(full_scale)) as u16;
    LiveCodes {
        low: margin.min(code(lowest)),
        high: (full_scale - margin).max(code(highest)),
        open_circuit,
    }
}

/// The curve at every corrected count that can occur.
struct Truth {
    low: i32,
    high: i32,
    stride: i32,
    /// theta_v x 10 000.
    values: Vec<f64>,
}

impl Truth {
    fn new(
        calibration: &Calibration,
        (low, high): (i32, i32),
        corrected: bool,
    ) -> Result<Self, ControllerError> {
        let stride = if corrected { 1 } else { SIXTEENTHS };
        let values = (low..=high)
            .step_by(stride as usize)
            .map(|at| {
                let theta_v = Vwc::new(calibration.curve.value(f64::from(at) / STEPS))
                    .map_err(ConvertError::from)?;
                Ok(theta_v.value() * THETA_SCALE)
            })
            .collect::<Result<Vec<f64>, ControllerError>>()?;
        Ok(Self {
            low,
            high,
            stride,
            values,
        })
    }

    fn target(&self) -> Target<'_> {
        Target {
            low: self.low,
            stride: self.stride,
            values: &self.values,
        }
    }

    /// A knot on the curve at every whole count from at or below the domain to
    /// at or above it. A count outside continues the curve's last step in a
    /// straight line; the curve itself is not evaluated there.
    fn knots(&self, calibration: &Calibration) -> Vec<Knot> {
        let first = self.low.div_euclid(SIXTEENTHS);
        let last = (self.high + SIXTEENTHS - 1).div_euclid(SIXTEENTHS);
        let beyond = |end: Option<&f64>, inner: Option<&f64>, steps: i32| {
            let (end, inner) = (end.copied().unwrap_or(0.0), inner.copied().unwrap_or(0.0));
            end + (end - inner) * f64::from(steps) / f64::from(self.stride)
        };
        let before_last = self.values.len().saturating_sub(2);
        (first..=last)
            .map(|count| {
                let at = SIXTEENTHS * count;
                let value = if at < self.low {
                    beyond(self.values.first(), self.values.get(1), self.low - at)
                } else if at > self.high {
                    beyond(
                        self.values.last(),
                        self.values.get(before_last),
                        at - self.high,
                    )
                } else {
                    calibration.curve.value(f64::from(count)) * THETA_SCALE
                };
                let limits = (
                    f64::from(*THETA_RANGE.start()),
                    f64::from(*THETA_RANGE.end()),
                );
                Knot {
                    count: count as u16,
                    theta_v: value.round().clamp(limits.0, limits.1) as i16,
                    expanded_uncertainty: 0,
                }
            })
            .collect()
    }

    /// Largest difference of the table's integers from the curve, theta_v x
    /// 10 000.
    fn largest_difference(&self, table: &ControllerTable) -> f64 {
        (self.low..=self.high)
            .step_by(self.stride as usize)
            .zip(&self.values)
            .map(|(at, value)| match table.at_sixteenths(at) {
                Ok(reading) => (f64::from(reading.theta_v) - value).abs(),
                Err(_) => f64::INFINITY,
            })
            .fold(0.0, f64::max)
    }

    /// Steepest slope of the curve, theta_v x 10 000 for a sixteenth of a count.
    fn steepest(&self, calibration: &Calibration) -> f64 {
        (self.low..=self.high)
            .map(|at| calibration.curve.slope(f64::from(at) / STEPS).abs())
            .fold(0.0, f64::max)
            * THETA_SCALE
            / STEPS
    }
}

/// Places between two knots at which the uncertainty is looked at.
const LOOKS: u32 = 8;

/// The knots with the expanded uncertainty of a new reading there, rounded up. Where
/// it is larger between two knots, the larger of theirs is raised to it, since that
/// is what a reader takes there.
fn with_uncertainties(
    mut knots: Vec<Knot>,
    calibration: &Calibration,
) -> Result<Vec<Knot>, ControllerError> {
    for knot in &mut knots {
        knot.expanded_uncertainty = uncertainty(f64::from(knot.count), calibration)?;
    }
    for i in 1..knots.len() {
        let [from, to] = &knots[i - 1..=i] else {
            continue;
        };
        let width = f64::from(to.count) - f64::from(from.count);
        let mut largest = 0;
        for look in 1..LOOKS {
            let share = f64::from(look) / f64::from(LOOKS);
            let count = f64::from(from.count) + share * width;
            largest = largest.max(uncertainty(count, calibration)?);
        }
        let larger = if from.expanded_uncertainty > to.expanded_uncertainty {
            i - 1
        } else {
            i
        };
        if let Some(knot) = knots.get_mut(larger) {
            knot.expanded_uncertainty = knot.expanded_uncertainty.max(largest);
        }
    }
    Ok(knots)
}

/// The expanded uncertainty of a new reading at a count, x 10 000: the largest over
/// the lowest, reference and highest calibrated temperature, rounded up.
fn uncertainty(count: f64, calibration: &Calibration) -> Result<u16, ControllerError> {
    // The outermost knots may lie just outside the calibrated counts.
    let domain = calibration.domain;
    let whole = count.round() as u16;
    let count = count.clamp(domain.low, domain.high);
    let mut largest = 0.0_f64;
    for temperature in calibration.grid_temperatures() {
        // The raw count that is `count` once corrected.
        let raw = match (calibration.temperature, temperature) {
            (Some(term), Some(t)) => {
                count + term.coefficient * (t.value() - term.reference.value())
            }
            _ => count,
        };
        // Undo a rounding that may carry an end of the domain just outside.
        let inward = raw + (0.5 * (domain.low + domain.high) - count) * 1e-9;
        largest = largest.max(calibration.predict(inward, temperature)?.expanded.expanded);
    }
    let found = (largest * THETA_SCALE).ceil();
    if found <= f64::from(super::record::MAX_UNCERTAINTY) {
        Ok(found as u16)
    } else {
        Err(ControllerError::KnotUncertainty {
            count: whole,
            found: found as u32,
        })
    }
}

impl Calibration {
    /// The temperatures a table is judged at: lowest calibrated, reference and
    /// highest calibrated, each in whole hundredths of a degree inside the
    /// calibrated range; one `None` where there is no temperature term.
    pub(super) fn grid_temperatures(&self) -> Vec<Option<Celsius>> {
        self.grid_centi()
            .into_iter()
            .map(|centi| centi.and_then(|centi| Celsius::new(celsius_from_centi(centi)).ok()))
            .collect()
    }

    /// [`grid_temperatures`](Self::grid_temperatures) in hundredths of a degree.
    pub(super) fn grid_centi(&self) -> Vec<Option<i16>> {
        let Some(term) = self.temperature else {
            return vec![None];
        };
        let reference = (100.0 * term.reference.value()).round();
        let mut grid = match self.temperature_range {
            Some((lowest, highest)) => {
                let (lowest, highest) = ((100.0 * lowest).ceil(), (100.0 * highest).floor());
                vec![lowest, reference.min(highest).max(lowest), highest]
            }
            None => vec![reference],
        };
        grid.dedup();
        grid.into_iter().map(|centi| Some(centi as i16)).collect()
    }
}
