//! Words and tables that the reports of a probe and of a bed share.

use crate::failure::Warning;
use crate::text_table::{Column, TextTable};
use calib_core::calibration::COVERAGE;
use calib_core::irrigation::{
    Application, LeastBand, RunTime, STANDING_WATER_MM, Supply, TemperatureBasis, WaterLeft,
    soil_pulse,
};
use calib_core::quantity::{Estimate, Quantity};
use calib_core::soil::SuctionEstimate;
use calib_core::uncertainty::coverage_factor;
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt::{self, Write};

/// A set point in water.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct PointWater {
    /// What is left, with the uncertainty of the reading.
    #[serde(flatten)]
    pub left: WaterLeft,
    /// Suction by the soil's recommended retention curve, where it reaches there.
    pub suction: Option<SuctionEstimate>,
}

/// A standard uncertainty that rests on many sources, expanded to 95 %.
pub(super) fn expanded(standard: f64) -> f64 {
    coverage_factor(COVERAGE, None) * standard
}

/// A share of the available water as it is likely (95 %) to lie, in percent: no
/// less than nothing, no more than all.
pub(in crate::command) fn likely_percent(share: Estimate<f64>) -> (f64, f64) {
    let percent = |share: f64| 100.0 * share.clamp(0.0, 1.0);
    let u = expanded(share.u);
    (percent(share.value - u), percent(share.value + u))
}

/// A line of the table of set points.
pub(super) struct PointLine<'a> {
    pub(super) name: &'static str,
    /// Whole count; empty for a root zone.
    pub(super) count: String,
    /// Expanded uncertainty against the set point the soil should have, m3/m3.
    pub(super) expanded: f64,
    pub(super) water: &'a PointWater,
}

/// Both set points as every measure has them. `reading` is how far one reading
/// alone is sure (95 %), m3/m3, and where; `no_suction` says why there is none.
pub(super) fn point_table(
    lines: &[PointLine<'_>],
    reading: (f64, &str),
    no_suction: &str,
) -> String {
    let mut table = TextTable::new([
        Column::words("set point"),
        Column::numbers("raw count", ""),
        Column::numbers("theta_v", "m3/m3"),
        Column::numbers("+- U", "m3/m3"),
        Column::numbers("water left", "%"),
        Column::numbers("likely", "%"),
        Column::numbers("water left", "mm"),
        Column::numbers("used up", "mm"),
        Column::numbers("suction", "kPa"),
    ]);
    for line in lines {
        let left = &line.water.left;
        let (low, high) = likely_percent(left.share);
        table.push([
            line.name.to_owned(),
            line.count.clone(),
            format!("{:.3}", left.theta_v.value),
            format!("{:.3}", line.expanded),
            format!("{:.0}", 100.0 * left.share.value),
            format!("{low:.0} to {high:.0}"),
            format!("{:.1}", left.above_wilting_mm.value),
            // No minus before nothing.
            format!("{:.1}", left.depletion_mm.value + 0.0),
            line.water
                .suction
                .map_or_else(|| "-".to_owned(), |suction| rough(suction.kpa)),
        ]);
    }
    let (alone, place) = reading;
    let mut text = format!(
        "{table}+- U: how far the soil may be from the refill or stop it should have (95 %), probe and soil's\n\
         figures together; {place} alone: +- {alone:.3}.\n\
         Water left: of what the soil holds between wilting point and field capacity, likely (95 %) between\n\
         the two shares beside it. Suction: an estimate from the soil's figures.\n"
    );
    if lines.iter().any(|line| line.water.suction.is_none()) {
        text.push_str(&format!("No suction (-): {no_suction}.\n"));
    }
    text
}

/// Why a soil has no suction somewhere.
pub(super) const NO_SUCTION: &str =
    "the soil's figures do not reach a suction at this water content";

/// Two significant figures: no suction is known better.
pub(super) fn rough(kpa: f64) -> String {
    if kpa < 10.0 {
        return format!("{kpa:.1}");
    }
    let step = 10_f64.powf(kpa.log10().floor() - 1.0);
    format!("{:.0}", (kpa / step).round() * step)
}

/// What it takes for the pump to keep still, and of what that is made.
pub(super) fn least_band_words(least: &LeastBand, read_every_s: u32) -> String {
    let days = (1.0 / least.false_start_probability).round();
    let temperature = match least.temperature_basis {
        TemperatureBasis::Corrected => format!(
            "soil temperature {:.1} (what the correction leaves of {} C a day)",
            least.temperature_counts, least.temperature_swing_c
        ),
        TemperatureBasis::Stated => format!(
            "soil temperature {:.1} ({} C a day by counts_per_c, uncorrected)",
            least.temperature_counts, least.temperature_swing_c
        ),
        TemperatureBasis::LeftPossible => format!(
            "soil temperature {:.1} ({} C a day by the largest effect the cores leave possible, uncorrected)",
            least.temperature_counts, least.temperature_swing_c
        ),
        TemperatureBasis::Unknown => "soil temperature not known and left out".to_owned(),
    };
    let drift = if least.drift_counts > 0.0 {
        format!("drift {:.1}", least.drift_counts)
    } else {
        "drift 0 (drift_counts is not stated)".to_owned()
    };
    format!(
        "For the pump to keep still it takes {:.1} counts: noise {:.1}, {temperature}, {drift}.\n\
         That is one false start in {days:.0} days at most, read every {}.",
        least.counts(),
        least.noise_counts,
        duration(f64::from(read_every_s)),
    )
}

/// Depth, volume and time of one irrigation.
pub(super) fn write_water(
    out: &mut dyn Write,
    water: &Application,
    supply: &Supply,
    root_depth_mm: f64,
) -> fmt::Result {
    let uniformity = supply.distribution_uniformity.value();
    writeln!(
        out,
        "Water from refill to stop: {:.1} mm over {root_depth_mm} mm of roots; {:.1} mm to pump at an efficiency of {}{}.",
        water.net_depth.value(),
        water.gross_depth.value(),
        supply.application_efficiency.value(),
        if uniformity < 1.0 {
            format!(" and a distribution uniformity of {uniformity}")
        } else {
            String::new()
        }
    )?;
    if uniformity < 1.0 {
        writeln!(
            out,
            "So the driest quarter gets its {:.1} mm; on average {:.1} mm enter the soil, and what is too much drains. That holds where time stops the pump, or the probe stands in the driest quarter: one on an average spot stops it sooner.",
            water.net_depth.value(),
            water.mean_depth.value()
        )?;
    }
    writeln!(
        out,
        "Pump: {:.0} L over {} m2 at {} L/min, about {}.",
        water.volume_l,
        supply.area.value(),
        supply.flow.value(),
        duration(water.run_time_s)
    )?;
    if let Some(pulses) = &water.pulses {
        writeln!(
            out,
            "In pulses: {} of {}, with {} to soak in between; {} in all. That takes a timer: the controller starts again at refill only.{}",
            pulses.number,
            duration(pulses.on_s),
            duration(pulses.soak_s),
            duration(pulses.whole_s),
            if pulses.keeps_times {
                ""
            } else {
                " No whole number of pulses keeps both minimum_on_s and maximum_on_s: change one of them."
            }
        )?;
    }
    Ok(())
}

/// What a run outside the pump's limits means.
pub(super) fn run_warnings(place: &str, water: &Application, supply: &Supply) -> Vec<Warning> {
    let run = duration(water.run_time_s);
    let warning = |what, why, advice| Warning {
        place: place.to_owned(),
        what,
        why,
        advice,
    };
    let mut warnings = Vec::new();
    if water.run_time == RunTime::ShorterThanMinimum {
        warnings.push(warning(
            format!(
                "from refill to stop takes the pump {run}, and it must stay on for {} (minimum_on_s)",
                duration(f64::from(supply.minimum_on_s))
            ),
            "every start gives more water than the dead band holds; what the soil cannot hold drains and carries nutrients along".to_owned(),
            "water a larger area at a time, lower the flow, or allow more depletion".to_owned(),
        ));
    }
    if let RunTime::LongerThanMaximum { runs } = water.run_time {
        warnings.push(warning(
            format!(
                "from refill to stop takes the pump {run}, and it may run for {} at one go (maximum_on_s)",
                duration(f64::from(supply.maximum_on_s))
            ),
            format!(
                "the controller stops it early and starts again at refill only, so the bed is not filled to stop; a timer would take {runs} runs"
            ),
            "raise maximum_on_s if a burst line may run that long, raise the flow, or water a smaller area at a time".to_owned(),
        ));
    }
    warnings
}

/// That water comes faster than the soil takes it in, where the pump's times do
/// not see to it and one of these irrigations lasts long enough to matter.
pub(super) fn ponding_warning<'a>(
    mut waters: impl Iterator<Item = &'a Application>,
    supply: &Supply,
) -> Option<Warning> {
    let soil = soil_pulse(supply)?;
    let too_long = soil.standing_mm > 1.001 * STANDING_WATER_MM;
    let kept = f64::from(supply.maximum_on_s) <= soil.on_s
        && f64::from(supply.minimum_off_s) >= soil.soak_s - 1.0;
    if (kept && !too_long) || !waters.any(|water| water.run_time_s > soil.on_s) {
        return None;
    }
    Some(Warning {
        place: "the pump".to_owned(),
        what: format!(
            "water comes at {:.0} mm an hour and the soil takes in {:.0} (infiltration_mm_per_h){}",
            soil.rate,
            soil.infiltration,
            if too_long {
                format!("; even a pulse as short as the pump must run leaves {:.0} mm standing", soil.standing_mm)
            } else {
                String::new()
            }
        ),
        why: "what does not soak in stands on the ground and runs off to the low end: the high end stays dry, the surface crusts, and on a slope soil goes with it".to_owned(),
        advice: if too_long {
            "lower the flow, water a larger area at a time, or lower minimum_on_s".to_owned()
        } else {
            format!(
                "lower the flow, or let a timer give the water in pulses: {} on, {} to soak in; maximum_on_s = {:.0} stops the pump in time, but the controller then starts again at refill only",
                duration(soil.on_s),
                duration(f64::from(supply.minimum_off_s).max(soil.soak_s)),
                // The last binary digit must not cost a second.
                (soil.on_s + 1e-6).floor(),
            )
        },
    })
}

/// Seconds as a person says them: to the second below five minutes, to the minute
/// above.
pub(in crate::command) fn duration(seconds: f64) -> String {
    let whole = seconds.round() as u64;
    if whole < 60 {
        format!("{whole} s")
    } else if whole < 300 {
        match whole % 60 {
            0 => format!("{} min", whole / 60),
            rest => format!("{} min {rest} s", whole / 60),
        }
    } else {
        let minutes = (seconds / 60.0).round() as u64;
        match minutes % 60 {
            _ if minutes < 60 => format!("{minutes} min"),
            0 => format!("{} h", minutes / 60),
            rest => format!("{} h {rest} min", minutes / 60),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations_read_as_a_person_says_them() {
        for (seconds, said) in [
            (12.4, "12 s"),
            (59.6, "1 min"),
            (90.0, "1 min 30 s"),
            (3600.0, "1 h"),
            (8712.0, "2 h 25 min"),
            (7199.0, "2 h"),
        ] {
            assert_eq!(duration(seconds), said);
        }
    }

    #[test]
    fn a_share_is_likely_between_nothing_and_all() {
        let within = |value, u| {
            let (low, high) = likely_percent(Estimate::new(value, u));
            format!("{low:.0} to {high:.0}")
        };
        assert_eq!(within(0.5, 0.1), "30 to 70");
        assert_eq!(within(0.69, 0.41), "0 to 100");
        assert_eq!(within(1.2, 0.05), "100 to 100");
        assert_eq!(within(-0.2, 0.05), "0 to 0");
    }

    #[test]
    fn suction_is_told_to_two_figures() {
        for (kpa, said) in [
            (3.21, "3.2"),
            (33.0, "33"),
            (128.4, "130"),
            (1499.9, "1500"),
        ] {
            assert_eq!(rough(kpa), said);
        }
    }
}
