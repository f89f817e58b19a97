//! The checks a record must pass before it may be used.

use super::error::ControllerError;
use super::record::{
    ControllerRecord, IntegerTemperature, Knot, MAX_KNOT_DISTANCE, MAX_KNOTS, MAX_NAME_BYTES,
    MAX_SECONDS, MAX_UNCERTAINTY, SIXTEENTHS, SUPPORTED_BITS, TEMPERATURE_SHIFTS, THETA_RANGE,
    VERSION, celsius_from_centi,
};
use super::table::{ControllerTable, full_scale};
use crate::calibration::Direction;
use crate::quantity::{Celsius, Quantity};

/// Refuses another version.
pub(super) fn version(record: &ControllerRecord) -> Result<(), ControllerError> {
    if record.version == VERSION {
        Ok(())
    } else {
        Err(ControllerError::Version {
            found: u32::from(record.version),
        })
    }
}

/// Everything but the set points, which need a table that can be read.
pub(super) fn record(record: &ControllerRecord) -> Result<(), ControllerError> {
    version(record)?;
    name("probe", &record.probe)?;
    name("soil", &record.soil)?;
    if !SUPPORTED_BITS.contains(&record.adc_bits) {
        return Err(ControllerError::AdcBits {
            bits: record.adc_bits,
        });
    }
    knots(record)?;
    domain(record)?;
    if let Some(term) = &record.temperature {
        temperature(term, record.adc_bits)?;
    }
    live_codes(record)?;
    if !(1..=10_000).contains(&record.max_error) {
        return Err(ControllerError::MaxError {
            found: record.max_error,
        });
    }
    timing(record)?;
    let dates = record.dates;
    if dates.calibrated_on.year() < 1970 || dates.recheck_by < dates.calibrated_on {
        return Err(ControllerError::Dates {
            calibrated_on: dates.calibrated_on,
            recheck_by: dates.recheck_by,
        });
    }
    Ok(())
}

fn name(what: &'static str, name: &str) -> Result<(), ControllerError> {
    if name.is_empty() || name.len() > MAX_NAME_BYTES || name.chars().any(char::is_control) {
        return Err(ControllerError::Name {
            what,
            name: name.to_owned(),
        });
    }
    Ok(())
}

fn knots(record: &ControllerRecord) -> Result<(), ControllerError> {
    let knots = &record.knots;
    if knots.len() < 2 || knots.len() > MAX_KNOTS {
        return Err(ControllerError::KnotNumber { found: knots.len() });
    }
    for knot in knots {
        if !THETA_RANGE.contains(&knot.theta_v) {
            return Err(ControllerError::KnotTheta {
                count: knot.count,
                theta_v: knot.theta_v,
            });
        }
        if knot.expanded_uncertainty > MAX_UNCERTAINTY {
            return Err(ControllerError::KnotUncertainty {
                count: knot.count,
                found: u32::from(knot.expanded_uncertainty),
            });
        }
    }
    for pair in knots.windows(2) {
        if let [from, to] = pair {
            if to.count <= from.count {
                return Err(ControllerError::KnotOrder {
                    previous: from.count,
                    count: to.count,
                });
            }
            direction(from, to, record.direction, false)?;
            if to.count - from.count > MAX_KNOT_DISTANCE {
                return Err(ControllerError::StepTooLong {
                    from_count: from.count,
                    to_count: to.count,
                });
            }
        }
    }
    if let (Some(first), Some(last)) = (knots.first(), knots.last()) {
        direction(first, last, record.direction, true)?;
    }
    Ok(())
}

/// Neighbours may be level, as a flat curve rounds; the whole table may not.
fn direction(
    from: &Knot,
    to: &Knot,
    stated: Direction,
    strictly: bool,
) -> Result<(), ControllerError> {
    let rise = match stated {
        Direction::RisesWhenWetter => i32::from(to.theta_v) - i32::from(from.theta_v),
        Direction::FallsWhenWetter => i32::from(from.theta_v) - i32::from(to.theta_v),
    };
    if rise < 0 || (strictly && rise == 0) {
        return Err(ControllerError::KnotDirection {
            from_count: from.count,
            from: from.theta_v,
            to_count: to.count,
            to: to.theta_v,
        });
    }
    Ok(())
}

fn domain(record: &ControllerRecord) -> Result<(), ControllerError> {
    let (Some(first), Some(last)) = (record.knots.first(), record.knots.last()) else {
        return Err(ControllerError::KnotNumber { found: 0 });
    };
    let below = i64::from(record.domain_low) - i64::from(SIXTEENTHS) * i64::from(first.count);
    let above = i64::from(SIXTEENTHS) * i64::from(last.count) - i64::from(record.domain_high);
    let close = 0..i64::from(SIXTEENTHS);
    if record.domain_low >= record.domain_high || !close.contains(&below) || !close.contains(&above)
    {
        return Err(ControllerError::Domain {
            low: record.domain_low,
            high: record.domain_high,
            first: first.count,
            last: last.count,
        });
    }
    Ok(())
}

/// Whether every product and every correction of the term fits, for a
/// converter of `bits`.
pub(super) fn correction_fits(term: &IntegerTemperature, bits: u8) -> bool {
    [term.lowest_centi, term.highest_centi]
        .into_iter()
        .all(|centi| {
            let difference = i64::from(centi) - i64::from(term.reference_centi);
            let product = (i64::from(term.coefficient) * difference).abs();
            let divisor = i64::from(term.divisor());
            let full_scale = i64::from(SIXTEENTHS) * i64::from(full_scale(bits));
            product + divisor / 2 <= i64::from(i32::MAX)
                && (product + divisor / 2) / divisor <= full_scale
        })
}

fn temperature(term: &IntegerTemperature, bits: u8) -> Result<(), ControllerError> {
    let limits = Celsius::LIMITS;
    let plausible = |centi: i16| {
        let celsius = celsius_from_centi(centi);
        celsius >= limits.min && celsius <= limits.max
    };
    if ![term.reference_centi, term.lowest_centi, term.highest_centi]
        .into_iter()
        .all(plausible)
        || term.lowest_centi >= term.highest_centi
    {
        return Err(ControllerError::TemperatureRange {
            reference: term.reference_centi,
            lowest: term.lowest_centi,
            highest: term.highest_centi,
        });
    }
    if !TEMPERATURE_SHIFTS.contains(&term.shift) {
        return Err(ControllerError::TemperatureDivisor { shift: term.shift });
    }
    if !correction_fits(term, bits) {
        return Err(ControllerError::TemperatureCorrection {
            coefficient: term.coefficient,
            divisor: term.divisor(),
        });
    }
    Ok(())
}

/// The lowest and highest code that can have an answer, at any accepted
/// temperature; they may lie beyond what the converter gives.
pub(super) fn answering_codes(
    (low, high): (i32, i32),
    term: Option<&IntegerTemperature>,
) -> (i32, i32) {
    let shifts = term.map_or([0, 0], |term| {
        [term.lowest_centi, term.highest_centi].map(|centi| term.correction(centi))
    });
    let (least, most) = (shifts[0].min(shifts[1]), shifts[0].max(shifts[1]));
    let up = SIXTEENTHS - 1;
    (
        (low + least + up).div_euclid(SIXTEENTHS),
        (high + most).div_euclid(SIXTEENTHS),
    )
}

fn live_codes(record: &ControllerRecord) -> Result<(), ControllerError> {
    let live = record.live;
    let full_scale = full_scale(record.adc_bits);
    let (lowest, highest) = answering_codes(
        (record.domain_low, record.domain_high),
        record.temperature.as_ref(),
    );
    if live.low <= live.high
        && live.high <= full_scale
        && i32::from(live.low) <= lowest.max(0)
        && i32::from(live.high) >= highest.min(i32::from(full_scale))
    {
        return Ok(());
    }
    Err(ControllerError::LiveCodes {
        low: live.low,
        high: live.high,
        lowest,
        highest,
        full_scale,
    })
}

fn timing(record: &ControllerRecord) -> Result<(), ControllerError> {
    let timing = record.timing;
    let longest = timing
        .minimum_on_s
        .max(timing.minimum_off_s)
        .max(timing.maximum_on_s)
        .max(timing.stuck_after_s);
    if longest > MAX_SECONDS
        || timing.maximum_on_s == 0
        || timing.minimum_on_s > timing.maximum_on_s
    {
        return Err(ControllerError::Timing {
            minimum_on_s: timing.minimum_on_s,
            minimum_off_s: timing.minimum_off_s,
            maximum_on_s: timing.maximum_on_s,
            stuck_after_s: timing.stuck_after_s,
        });
    }
    Ok(())
}

/// Refill below stop, counts in the order the wiring direction asks for, both
/// inside the domain, and each count belonging to its theta_v.
pub(super) fn set_points(table: &ControllerTable) -> Result<(), ControllerError> {
    let record = table.record();
    let points = record.set_points;
    if points.refill >= points.stop {
        return Err(ControllerError::SetPointOrder {
            refill: points.refill,
            stop: points.stop,
        });
    }
    let in_order = match record.direction {
        Direction::RisesWhenWetter => points.refill_count < points.stop_count,
        Direction::FallsWhenWetter => points.refill_count > points.stop_count,
    };
    if !in_order {
        return Err(ControllerError::SetPointCounts {
            refill_count: points.refill_count,
            stop_count: points.stop_count,
            direction: record.direction,
        });
    }
    set_point(table, "refill", points.refill, points.refill_count)?;
    set_point(table, "stop", points.stop, points.stop_count)
}

/// A count was rounded to a whole one and the table differs from the curve by
/// up to its stated error, so theta_v may lie anywhere between the neighbouring
/// counts, that error and one unit of rounding more.
fn set_point(
    table: &ControllerTable,
    which: &'static str,
    theta_v: i16,
    count: u16,
) -> Result<(), ControllerError> {
    let record = table.record();
    let at = SIXTEENTHS * i32::from(count);
    let read = |sixteenths: i32| {
        let inside = sixteenths.clamp(record.domain_low, record.domain_high);
        table
            .at_sixteenths(inside)
            .map(|reading| i32::from(reading.theta_v))
    };
    let (Ok(here), Ok(below), Ok(above)) = (
        table.at_sixteenths(at),
        read(at - SIXTEENTHS),
        read(at + SIXTEENTHS),
    ) else {
        return Err(ControllerError::SetPointOutsideDomain { which, count });
    };
    let slack = i32::from(record.max_error) + 1;
    let allowed = below.min(above) - slack..=below.max(above) + slack;
    if !allowed.contains(&i32::from(theta_v)) {
        return Err(ControllerError::SetPointMismatch {
            which,
            theta_v,
            count,
            from_table: here.theta_v,
        });
    }
    Ok(())
}

#[cfg(test)]
mod tests;
