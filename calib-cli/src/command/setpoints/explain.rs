//! `ovendry setpoints --explain`: what a raw count, or a mark of an old percent
//! scale, means in each probe's soil.

use super::mark::{Mark, mark};
use super::words::{PointWater, likely_percent, rough};
use super::{Ground, Setpoints, calibrations, pump, season, stale};
use crate::caution;
use crate::command::soil::command_line;
use crate::failure::{Failure, Verdict, Warning, all_or_every_complaint};
use crate::output::{print, print_json};
use crate::table::load_site;
use calib_core::calibration::{Calibration, ConvertError, Direction};
use calib_core::irrigation::{
    IrrigationError, Meaning, Place, SetPoints, TemperatureBasis, WarmthSpan, meaning,
};
use calib_core::quantity::{Celsius, Quantity};
use calib_core::soil::SuctionEstimate;
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;

#[derive(Serialize, JsonSchema)]
pub(in crate::command) struct Answer {
    format: &'static str,
    version: u32,
    verdict: Verdict,
    asked: Mark,
    stage: Option<super::StageSpan>,
    meanings: Vec<Explained>,
    warnings: Vec<Warning>,
    cautions: Vec<&'static str>,
}

/// The meaning for one probe.
#[derive(Serialize, JsonSchema)]
struct Explained {
    probe: String,
    soil: String,
    set_points: SetPoints,
    /// Lowest and highest calibrated count.
    calibrated: (f64, f64),
    #[serde(skip)]
    direction: Direction,
    #[serde(skip)]
    mark: Mark,
    /// `None` outside the calibrated counts.
    meaning: Option<Meaning>,
    #[serde(skip)]
    water: Option<PointWater>,
    /// Suction by the soil's retention curve.
    suction: Option<SuctionEstimate>,
    /// Temperature at which the curve holds, where the calibration looks at it.
    #[serde(skip)]
    reference: Option<Celsius>,
    /// The count at the reference temperature, where it lies outside.
    outside: Option<f64>,
}

/// Runs the command.
pub(super) fn run(command: &Setpoints, asked: &str) -> Result<Verdict, Failure> {
    let mark = mark(command, asked)?;
    let temperature = match command.temperature {
        None => None,
        Some(t) => Some(Celsius::new(t).map_err(|error| {
            command_line(
                "--temperature",
                &t.to_string(),
                error.to_string(),
                "give the temperature of the soil in C",
            )
        })?),
    };
    let site = load_site(&command.dir)?;
    let pump = pump(&site)?;
    let season = season(&site, pump, command.stage.as_deref())?;
    let calibrations = calibrations(command)?;
    let meanings = all_or_every_complaint(calibrations.iter().map(|(path, file)| {
        let ground = Ground::of(&site, pump, path, file)?;
        explained(&ground, season.chosen(), mark, temperature)
    }))?;
    let mut warnings = stale(&calibrations, &command.dir);
    if let Some(temperature) = temperature {
        let all = calibrations.iter().map(|(_, file)| &file.calibration);
        warnings.extend(all.filter_map(|one| temperature_warning(one, temperature)));
    }
    let answer = Answer {
        format: "ovendry setpoints-explain",
        version: 1,
        verdict: Verdict::Good,
        asked: mark,
        stage: season.chosen().stage.clone(),
        meanings,
        warnings,
        cautions: [caution::PUMP, &[caution::LOCAL_RULES]].concat(),
    };
    for warning in &answer.warnings {
        eprintln!("{warning}");
    }
    if command.json {
        print_json(&answer)?;
    } else {
        if answer.meanings.len() > 1 {
            print(
                "The same count means something else on each probe: each has its own curve, in its own soil. --probe ID asks about one.\n\n",
            )?;
        }
        for one in &answer.meanings {
            print(&format!("{one}\n"))?;
        }
        print(&caution::take_care(&[caution::PUMP]))?;
    }
    Ok(answer.verdict)
}

/// That the calibration cannot speak for this temperature, or does not look at it.
fn temperature_warning(calibration: &Calibration, given: Celsius) -> Option<Warning> {
    let warning = |what, why: &str, advice: &str| Warning {
        place: calibration.probe.clone(),
        what,
        why: why.to_owned(),
        advice: advice.to_owned(),
    };
    if calibration.temperature.is_none() {
        return Some(warning(
            format!(
                "--temperature {} changes nothing: this calibration does not look at soil temperature",
                given.value()
            ),
            "the same soil may give another count when warm than when cool",
            "take cores in cool and in warm soil and fit again, or state counts_per_c under its [[probe]]",
        ));
    }
    let (coolest, warmest) = calibration.temperature_range?;
    (!(coolest..=warmest).contains(&given.value())).then(|| {
        warning(
            format!(
                "--temperature {} lies outside the {coolest:.1} to {warmest:.1} C of its cores",
                given.value()
            ),
            "what temperature does to the count was not seen there; the straight line through it is only carried on",
            "give a temperature the cores were read at, or take cores at this one and fit again",
        )
    })
}

fn explained(
    ground: &Ground<'_>,
    asked: &super::Asked,
    mark: Mark,
    temperature: Option<Celsius>,
) -> Result<Explained, Failure> {
    let calibration = ground.calibration;
    let largest = f64::from(calibration.largest_code());
    if !(0.0..=largest).contains(&mark.count) {
        return Err(command_line(
            "--explain",
            &mark.count.to_string(),
            format!(
                "is no count of probe {}, whose converter gives 0 to {largest}",
                calibration.probe
            ),
            "check the count, or the ends of the old scale; --probe asks about one probe alone",
        )
        .into());
    }
    let evidence = ground.points(asked)?;
    let found = meaning(
        mark.count,
        temperature,
        calibration,
        &ground.soil.water,
        &evidence,
        &ground.day,
    );
    let (found, outside) = match found {
        Ok(found) => (Some(found), None),
        Err(IrrigationError::Convert(ConvertError::OutsideDomain { count, .. })) => {
            (None, Some(count))
        }
        Err(error) => return Err(ground.placed(&error)),
    };
    let water = found.as_ref().map(|found| PointWater {
        left: found.left,
        suction: ground.soil.suction_at(found.left.theta_v.value),
    });
    Ok(Explained {
        probe: calibration.probe.clone(),
        soil: calibration.soil.clone(),
        set_points: evidence.set_points,
        calibrated: (calibration.domain.low, calibration.domain.high),
        direction: calibration.direction,
        mark,
        suction: water.as_ref().and_then(|water| water.suction),
        reference: calibration.temperature.map(|term| term.reference),
        water,
        meaning: found,
        outside,
    })
}

impl fmt::Display for Explained {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let count = format!("{:.0}", self.mark.count);
        writeln!(
            f,
            "Probe {} in soil {}: count {count}",
            self.probe, self.soil
        )?;
        if let (Some(percent), Some((zero, full))) = (self.mark.percent, self.mark.scale) {
            writeln!(
                f,
                "  {percent} % of the scale from {zero} (0 %) to {full} (100 %) is count {count}."
            )?;
        }
        let (low, high) = self.calibrated;
        let (Some(meaning), Some(water)) = (&self.meaning, &self.water) else {
            let at = self.outside.unwrap_or(self.mark.count);
            let drier = (at > high) == (self.direction == Direction::FallsWhenWetter);
            writeln!(
                f,
                "  No answer: it lies outside the calibrated {low:.0} to {high:.0} counts, in soil {} than any core.\n  As a threshold the controller would go by a soil nobody weighed; take {} cores and fit again.",
                if drier { "drier" } else { "wetter" },
                if drier { "drier" } else { "wetter" }
            )?;
            if self.mark.percent.is_none() && (0.0..=100.0).contains(&self.mark.count) {
                writeln!(
                    f,
                    "  Write {count}% if it is a mark of an old percent scale."
                )?;
            }
            return Ok(());
        };
        self.write_water(f, meaning, water)?;
        self.write_place(f, meaning)?;
        self.write_day(f, meaning.over_a_day)
    }
}

impl Explained {
    fn write_water(
        &self,
        f: &mut fmt::Formatter<'_>,
        meaning: &Meaning,
        water: &PointWater,
    ) -> fmt::Result {
        let (low, high) = self.calibrated;
        let left = &meaning.left;
        let (low_share, high_share) = likely_percent(left.share);
        let read = match (meaning.temperature, self.reference) {
            (Some(t), Some(reference)) if t != reference => format!(
                ", read in soil of {} C, which is count {:.0} at {} C",
                t.value(),
                meaning.count_at_reference,
                reference.value()
            ),
            (Some(t), _) => format!(", read in soil of {} C", t.value()),
            (None, _) => String::new(),
        };
        writeln!(
            f,
            "  The soil then holds {:.3} +- {:.3} m3/m3 (95 %){read}; inside the calibrated {low:.0} to {high:.0} counts.",
            left.theta_v.value, meaning.expanded
        )?;
        let millimetres = |value: f64, over: &str, under: &str| {
            if value >= 0.0 {
                format!("{value:.1} mm {over}")
            } else {
                format!("{:.1} mm {under}", -value)
            }
        };
        writeln!(
            f,
            "  Of the available water {:.0} % is left, likely between {low_share:.0} and {high_share:.0} % (95 %): {}, {}.",
            100.0 * left.share.value,
            millimetres(
                left.above_wilting_mm.value,
                "above the wilting point",
                "below the wilting point"
            ),
            millimetres(
                left.depletion_mm.value,
                "used up since field capacity",
                "more than field capacity, which drains"
            ),
        )?;
        match water.suction {
            Some(suction) => writeln!(
                f,
                "  Suction about {} kPa, likely between {} and {} (one standard uncertainty of the soil's figures).",
                rough(suction.kpa),
                rough(suction.low_kpa),
                rough(suction.high_kpa)
            ),
            None => Ok(()),
        }
    }

    fn write_place(&self, f: &mut fmt::Formatter<'_>, meaning: &Meaning) -> fmt::Result {
        let set = &self.set_points;
        let place = match meaning.place {
            Place::AtOrBelowRefill => "at or drier than the refill point: the pump should run",
            Place::InTheBand => "between refill and stop: neither start nor stop",
            Place::AtOrAboveStop => {
                "at or wetter than the stop point: a pump started here waters a full soil, and the water drains"
            }
        };
        writeln!(
            f,
            "  It lies {place}. Refill is count {} ({:.3} m3/m3), stop {} ({:.3}).",
            set.refill_count,
            set.refill.value(),
            set.stop_count,
            set.stop.value()
        )?;
        writeln!(
            f,
            "  Chance that the soil is really drier than refill when the probe reads this: {}.",
            chance(meaning.below_refill)
        )
    }

    fn write_day(&self, f: &mut fmt::Formatter<'_>, day: WarmthSpan) -> fmt::Result {
        if day.swing_c <= 0.0 {
            return Ok(());
        }
        let known = match day.basis {
            TemperatureBasis::Unknown => {
                return writeln!(
                    f,
                    "  What a day's {} C of swing in the soil does to it is not known; `ovendry setpoints` says how to learn it.",
                    day.swing_c
                );
            }
            TemperatureBasis::Corrected => "unless corrected for soil temperature",
            TemperatureBasis::Stated => "by counts_per_c as stated",
            TemperatureBasis::LeftPossible => "by the largest effect the cores leave possible",
        };
        match day.theta_v {
            Some((low, high)) => writeln!(
                f,
                "  Over a day that swings {} C the same raw count stands for {low:.3} to {high:.3} m3/m3, {known}.",
                day.swing_c
            ),
            None => writeln!(
                f,
                "  Over a day that swings {} C the same raw count leaves the calibrated range, {known}.",
                day.swing_c
            ),
        }
    }
}

/// A chance as a person says it.
fn chance(probability: f64) -> String {
    let percent = 100.0 * probability;
    if percent < 1.0 {
        "less than 1 %".to_owned()
    } else if percent > 99.0 {
        "more than 99 %".to_owned()
    } else {
        format!("{percent:.0} %")
    }
}
