//! What is left out of a window, and what is noticed about the rest.

use super::robust::{median, spread};
use super::summary::ReadingError;
use super::{Flag, Reading, WindowRule};
use crate::quantity::{Celsius, Quantity};

/// The spike limit is widened by this over the number of readings, because the
/// robust spread of a few is itself rough. Our own choice: of windows of 12
/// normal readings, without it one in 50 loses a good reading, with it one in
/// 700 (20 000 simulated windows).
const FEW_READINGS: f64 = 8.0;

/// Leaves out readings at 0 and full scale.
pub(super) fn without_rails(
    readings: Vec<Reading>,
    rule: &WindowRule,
    flags: &mut Vec<Flag>,
) -> Result<Vec<Reading>, ReadingError> {
    let of = readings.len();
    let at_zero = readings.iter().filter(|r| r.count == 0).count();
    let at_full_scale = readings
        .iter()
        .filter(|r| r.count >= rule.full_scale && r.count != 0)
        .count();
    let at_rail = at_zero + at_full_scale;
    if at_rail == 0 {
        return Ok(readings);
    }
    if 2 * at_rail > of {
        return Err(ReadingError::MostAtRail {
            at_zero,
            at_full_scale,
            of,
            full_scale: rule.full_scale,
        });
    }
    flags.push(Flag::AtRail {
        at_zero,
        at_full_scale,
        of,
    });
    Ok(readings
        .into_iter()
        .filter(|r| r.count != 0 && r.count < rule.full_scale)
        .collect())
}

/// Leaves out the spikes and gives centre and spread of what is left.
pub(super) fn without_spikes(
    readings: &mut Vec<Reading>,
    rule: &WindowRule,
    flags: &mut Vec<Flag>,
) -> (f64, f64) {
    let (centre, spread) = centre_and_spread(readings);
    let few = 1.0 + FEW_READINGS / readings.len() as f64;
    let limit = rule.spike.max(1.0) * few * spread;
    let distance = |reading: &Reading| (f64::from(reading.count) - centre).abs();
    let furthest = readings.iter().map(distance).fold(0.0, f64::max);
    if furthest <= limit {
        return (centre, spread);
    }
    let of = readings.len();
    readings.retain(|reading| distance(reading) <= limit);
    flags.push(Flag::Spike {
        left_out: of - readings.len(),
        of,
        furthest,
        limit,
    });
    centre_and_spread(readings)
}

fn centre_and_spread(readings: &[Reading]) -> (f64, f64) {
    let mut counts: Vec<f64> = readings.iter().map(|r| f64::from(r.count)).collect();
    // Never empty: at least half of the readings are off the rails, and at
    // least half of those lie within one spread of their median.
    let centre = median(&mut counts).unwrap_or_default();
    (centre, spread(&counts, centre))
}

/// The longest pause, where it is far longer than usual. `readings` are in order
/// of time.
pub(super) fn gap(readings: &[Reading], rule: &WindowRule) -> Option<Flag> {
    let pauses: Vec<i64> = readings
        .iter()
        .zip(readings.iter().skip(1))
        .map(|(a, b)| b.time.seconds_since(a.time))
        .collect();
    let seconds = *pauses.iter().max()?;
    let usual = median(&mut pauses.iter().map(|s| *s as f64).collect::<Vec<_>>())?;
    (usual > 0.0 && seconds as f64 > rule.gap * usual).then_some(Flag::Gap { seconds, usual })
}

/// Mean soil temperature, where any was logged.
pub(super) fn temperature(readings: &[Reading], flags: &mut Vec<Flag>) -> Option<Celsius> {
    let logged: Vec<f64> = readings
        .iter()
        .filter_map(|r| r.soil_temperature)
        .map(Quantity::value)
        .collect();
    if logged.len() < readings.len() {
        flags.push(Flag::TemperatureMissing {
            missing: readings.len() - logged.len(),
            of: readings.len(),
        });
    }
    if logged.is_empty() {
        return None;
    }
    Celsius::new(logged.iter().sum::<f64>() / logged.len() as f64).ok()
}

/// Whether the supply moved.
pub(super) fn supply_shift(readings: &[Reading], rule: &WindowRule) -> Option<Flag> {
    let mut supply: Vec<f64> = readings.iter().filter_map(|r| r.supply_mv).collect();
    let lowest = supply.iter().copied().min_by(f64::total_cmp)?;
    let highest = supply.iter().copied().max_by(f64::total_cmp)?;
    let allowed = rule.supply_change * median(&mut supply)?;
    (highest - lowest > allowed).then_some(Flag::SupplyShift {
        lowest,
        highest,
        allowed,
    })
}
