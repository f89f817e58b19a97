//! The answer of `ovendry replay`, the same for people and machines.

use super::log::LONGEST_GAP_S;
use super::{Replay, Subject, Threshold};
use crate::caution;
use crate::failure::Warning;
use crate::table::weather::Weather;
use crate::text_table::{Column, TextTable};
use crate::workbench::Controller;
use calib_core::irrigation::bucket::{Lag, RuleSeasons, Scenario, Spread};
use calib_core::irrigation::{Duty, RelayLife, RelayWear, Replayed, SetPoints};
use calib_core::quantity::Quantity;
use calib_core::soil::SoilWater;
use serde::Serialize;
use std::fmt;
use std::path::Path;

/// The rules, as columns and in JSON.
const RULES: [&str; 3] = ["one threshold", "with pump times", "refill and stop"];

/// Hours a season by which two rules may differ and still count as alike.
const SAME_HOURS: f64 = 0.1;
/// Share of the water between refill and stop that a lagging probe may add before it
/// is worth a warning. Our choice.
const LARGE_OVERSHOOT: f64 = 0.1;

/// What a log cannot tell.
const OPEN_LOOP: &str = "The readings are those of the log, whichever rule is replayed: how the soil would have answered another rule, a log cannot know. Water a rule asks for never comes, so one that finds the bed too dry asks again and again. Compare rules by the simulated seasons.";
/// What a simulated season cannot tell.
const BUCKET: &str = "The simulated bed is one bucket of evenly moist soil, with drainage, lag, day and noise as assumed: it tells rules apart, not how wet this bed will be on a given day.";

/// Everything the command has to say.
#[derive(Serialize)]
pub(super) struct Answer {
    format: &'static str,
    version: u32,
    probes: Vec<ProbeReport>,
    /// What the figures cannot tell.
    caveats: Vec<&'static str>,
    written: Vec<String>,
    pub(super) warnings: Vec<Warning>,
    cautions: Vec<&'static str>,
}

impl Answer {
    pub(super) fn new(
        probes: Vec<ProbeReport>,
        log: Option<&Path>,
        written: Vec<String>,
        warnings: Vec<Warning>,
    ) -> Self {
        let caveats = match log {
            Some(_) => vec![OPEN_LOOP, BUCKET],
            None => vec![BUCKET],
        };
        Self {
            format: "ovendry replay",
            version: 1,
            probes,
            caveats,
            written,
            warnings,
            cautions: [caution::PUMP, &[caution::LOCAL_RULES]].concat(),
        }
    }
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for probe in &self.probes {
            writeln!(f, "{probe}")?;
        }
        writeln!(f, "{BUCKET}")?;
        for path in &self.written {
            writeln!(f, "wrote {path}")?;
        }
        writeln!(f)
    }
}

/// One probe.
#[derive(Serialize)]
pub(super) struct ProbeReport {
    probe: String,
    soil: String,
    /// The simulated seasons in a sentence.
    verdict: String,
    /// What refill and stop do to the water bill, in a sentence.
    water: String,
    /// How many of the starts refill and stop save in the simulated seasons,
    /// percent; `None` where one threshold never starts the pump.
    starts_cut_percent: Option<f64>,
    set_points: SetPoints,
    threshold: Threshold,
    soil_water: SoilWater,
    season: SeasonReport,
    log: Option<LogReport>,
}

impl ProbeReport {
    pub(super) fn new(subject: &Subject<'_>, log: Option<Replayed>, season: SeasonReport) -> Self {
        Self {
            probe: subject.calibration.probe.clone(),
            soil: subject.calibration.soil.clone(),
            verdict: season.verdict(),
            water: season.water(),
            starts_cut_percent: season.starts_cut_percent(),
            set_points: subject.set_points.clone(),
            threshold: subject.threshold.clone(),
            soil_water: subject.water,
            log: log.map(|replayed| LogReport::new(replayed, &season)),
            season,
        }
    }

    /// What to think of before relying on the figures.
    pub(super) fn warnings(&self) -> Vec<Warning> {
        let mut warnings = Vec::new();
        let mut warn = |what: String, why: &str, advice: &str| {
            warnings.push(Warning {
                place: self.probe.clone(),
                what,
                why: why.to_owned(),
                advice: advice.to_owned(),
            });
        };
        let band = self.season.band();
        let (late, held) = (
            self.season.overshoot_mm(),
            self.set_points.net_depth.value(),
        );
        if band.hours_without_answer_too_dry.mean >= 1.0 {
            warn(
                format!(
                    "in a simulated season under refill and stop the bed is below refill and the calibration has no answer for {} hours",
                    round(band.hours_without_answer_too_dry.mean)
                ),
                "the pump stays off meanwhile, however dry the bed is",
                "take drier cores, at best below the wilting point, and fit again",
            );
        }
        // A longest time that cuts an irrigation short, or one that ends it.
        let cut = self.season.longest_run_mm < 0.9 * held && band.stops_at_maximum.mean >= 1.0;
        let timed = !cut && self.season.longest_run_mm < held + 0.5 * late;
        if cut {
            warn(
                format!(
                    "in a simulated season the pump is stopped {} times at its longest time on",
                    round(band.stops_at_maximum.mean)
                ),
                "an irrigation cut short does not reach stop, and the next starts at refill again",
                "raise maximum_on_s if a burst line may run that long, raise the flow, or water a smaller area",
            );
        }
        if !cut && !timed && late > LARGE_OVERSHOOT * held {
            warn(
                format!(
                    "while the probe lags, the pump brings some {late:.1} mm more, where the roots hold {held:.1} mm between refill and stop"
                ),
                "what comes after the bed is full drains and carries nutrients along",
                "measure the lag and write it as probe_lag_s; if it is so long, let the time stop the pump: maximum_on_s = the run time `ovendry setpoints` gives",
            );
        }
        if let Some(log) = &self.log {
            let (counted, gaps) = (log.replayed.counted_s, log.replayed.gap_s);
            if gaps > 0.1 * (counted + gaps) {
                warn(
                    format!(
                        "{} of the log's {} days lie in gaps longer than {} h",
                        round(gaps / DAY_S),
                        round((counted + gaps) / DAY_S),
                        LONGEST_GAP_S / 3600
                    ),
                    "nothing is known of the pump and the soil in a gap, so it is not counted",
                    "log at least once an hour",
                );
            }
            if log.replayed.unanswered_s > 0.05 * counted {
                warn(
                    format!(
                        "the calibration has no answer for {} of the log's {} days",
                        round(log.replayed.unanswered_s / DAY_S),
                        round(counted / DAY_S)
                    ),
                    "by refill and stop the pump is off there, however dry the bed is",
                    "look at these counts: a broken wire, a missing soil temperature, or soil wetter or drier than any core",
                );
            }
        }
        warnings
    }
}

impl fmt::Display for ProbeReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (set, threshold) = (&self.set_points, &self.threshold);
        writeln!(f, "Probe {} in soil {}", self.probe, self.soil)?;
        writeln!(f, "{}\n{}", self.verdict, self.water)?;
        writeln!(f)?;
        writeln!(
            f,
            "One threshold: {} counts ({:.3} m3/m3), {}; the count as read, on and off at once.",
            threshold.count,
            threshold.theta_v.value(),
            threshold.from
        )?;
        writeln!(
            f,
            "Refill {} and stop {} counts ({:.3} and {:.3} m3/m3), with the calibration and the pump's times.",
            set.refill_count,
            set.stop_count,
            set.refill.value(),
            set.stop.value()
        )?;
        writeln!(f)?;
        write!(f, "{}", self.season)?;
        if let Some(log) = &self.log {
            writeln!(f)?;
            write!(f, "{log}")?;
        }
        Ok(())
    }
}

/// One rule in the simulated seasons.
#[derive(Serialize)]
struct RuleInSeasons {
    rule: &'static str,
    #[serde(flatten)]
    seasons: RuleSeasons,
    relay: RelayWear,
}

/// The simulated seasons.
#[derive(Serialize)]
pub(super) struct SeasonReport {
    seasons: u32,
    seed: u64,
    days: usize,
    /// What the weather is.
    weather: String,
    /// Where the pore space comes from.
    saturation_from: &'static str,
    scenario: Scenario,
    /// What the longest time on brings to the roots at one go, mm.
    longest_run_mm: f64,
    relay: RelayLife,
    rules: [RuleInSeasons; 3],
}

impl SeasonReport {
    pub(super) fn new(
        subject: &Subject<'_>,
        pump: &Controller,
        weather: Option<&Weather>,
        scenario: &Scenario,
        rules: [RuleSeasons; 3],
        command: &Replay,
    ) -> Self {
        let relay = pump.season.relay;
        let mut names = RULES.into_iter();
        Self {
            seasons: command.seasons,
            seed: command.seed,
            days: scenario.days.len(),
            weather: match weather {
                Some(weather) => format!(
                    "weather of {} to {}{}",
                    weather.first,
                    weather.last,
                    if weather.has_rain {
                        ""
                    } else {
                        ", without rain"
                    }
                ),
                None => format!(
                    "{} mm of evapotranspiration every day (evapotranspiration_mm_per_day), no rain",
                    pump.evapotranspiration
                ),
            },
            saturation_from: subject.porosity.1,
            scenario: scenario.clone(),
            longest_run_mm: scenario.pumping.net_mm(pump.maximum_on_s),
            relay,
            rules: rules.map(|seasons| RuleInSeasons {
                rule: names.next().unwrap_or_default(),
                relay: relay.wear(seasons.starts_per_day.mean),
                seasons,
            }),
        }
    }

    fn single(&self) -> &RuleSeasons {
        &self.rules[0].seasons
    }

    fn band(&self) -> &RuleSeasons {
        &self.rules[2].seasons
    }

    fn starts_cut_percent(&self) -> Option<f64> {
        let single = self.single().starts_per_day.mean;
        (single > 0.0).then(|| 100.0 * (1.0 - self.band().starts_per_day.mean / single))
    }

    /// The comparison in a sentence.
    fn verdict(&self) -> String {
        let (single, band) = (self.single(), self.band());
        let (many, few) = (
            round(single.starts_per_day.mean),
            round(band.starts_per_day.mean),
        );
        let starts = match self.starts_cut_percent() {
            None => {
                return format!(
                    "One threshold never starts the pump in the simulated seasons; refill and stop start it {few} times a day."
                );
            }
            Some(cut) if cut <= 0.0 => format!(
                "Refill and stop start the pump {few} times a day where one threshold starts it {many} times"
            ),
            Some(cut) => {
                format!("Refill and stop cut starts from {many} a day to {few}, by {cut:.1} %")
            }
        };
        let (before, now) = (single.hours_below_refill.mean, band.hours_below_refill.mean);
        if now <= before + SAME_HOURS {
            format!(
                "{starts}, with no more time below refill ({now:.1} h a season, {before:.1} h with one threshold)."
            )
        } else {
            format!(
                "{starts}, but the bed is below refill for {now:.1} h a season, {before:.1} h with one threshold."
            )
        }
    }

    /// What refill and stop do to the water bill, in a sentence.
    fn water(&self) -> String {
        let (single, band) = (self.single(), self.band());
        let pumped = band.applied_mm.mean - single.applied_mm.mean;
        let drained = band.drained_mm.mean - single.drained_mm.mean;
        let wetter = band.mean_theta_v.mean - single.mean_theta_v.mean;
        let more = |difference: f64| if difference > 0.0 { "more" } else { "less" };
        format!(
            "They pump {} mm {} a season, and {} mm {} drain; the bed is {:.3} m3/m3 {} on average.",
            round(pumped.abs()),
            more(pumped),
            round(drained.abs()),
            more(drained),
            wetter.abs(),
            if wetter > 0.0 { "wetter" } else { "drier" }
        )
    }

    /// Water that reaches the roots between the bed being at stop and the probe
    /// seeing it, mm.
    fn overshoot_mm(&self) -> f64 {
        let (Lag::FirstOrder { time_s } | Lag::Delay { time_s }) = self.scenario.probe.lag;
        self.scenario.pumping.net_mm(time_s)
    }
}

impl fmt::Display for SeasonReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "Simulated: {} season{} of {} days, seed {}; {}.",
            self.seasons,
            if self.seasons == 1 { "" } else { "s" },
            self.days,
            self.seed,
            self.weather
        )?;
        let mut table = TextTable::new([
            Column::words("in a season"),
            Column::numbers(RULES[0], ""),
            Column::numbers(RULES[1], ""),
            Column::numbers(RULES[2], ""),
        ]);
        let mut row = |name: &str, cell: &dyn Fn(&RuleInSeasons) -> String| {
            let [single, slowed, band] = &self.rules;
            table.push([name.to_owned(), cell(single), cell(slowed), cell(band)]);
        };
        row("starts a day", &|rule| spread(&rule.seasons.starts_per_day));
        row("relay operations", &|rule| {
            round(rule.relay.operations_per_season)
        });
        row("years the relay lasts", &|rule| years(rule.relay.years));
        row("hours on a day", &|rule| {
            spread(&rule.seasons.hours_on_per_day)
        });
        row("driest, m3/m3", &|rule| {
            thousandths(&rule.seasons.minimum_theta_v)
        });
        row("mean, m3/m3", &|rule| {
            thousandths(&rule.seasons.mean_theta_v)
        });
        row("hours below refill", &|rule| {
            spread(&rule.seasons.hours_below_refill)
        });
        row("hours above field capacity", &|rule| {
            spread(&rule.seasons.hours_above_field_capacity)
        });
        row("water pumped, mm", &|rule| spread(&rule.seasons.applied_mm));
        row("water pumped, L", &|rule| spread(&rule.seasons.applied_l));
        row("water drained, mm", &|rule| {
            spread(&rule.seasons.drained_mm)
        });
        row("water drained, L", &|rule| spread(&rule.seasons.drained_l));
        row("crop went short of, mm", &|rule| {
            spread(&rule.seasons.unmet_mm)
        });
        write!(f, "{table}")?;
        writeln!(
            f,
            "+- is one standard deviation between seasons. Relay: {} days a year, rated for {} operations (relay_rated_operations); its data sheet goes first, and a motor wears contacts faster than the load most sheets speak of.",
            self.relay.season_days, self.relay.rated_operations
        )?;
        self.write_assumptions(f)
    }
}

impl SeasonReport {
    fn write_assumptions(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (zone, probe) = (&self.scenario.zone, &self.scenario.probe);
        let lag = match probe.lag {
            Lag::FirstOrder { time_s } | Lag::Delay { time_s } => time_s / 60,
        };
        writeln!(
            f,
            "Assumed: a reading every {} s (read more often, one threshold starts more often), noise of {:.4} m3/m3 (one standard deviation), {:.4} m3/m3 of daily swing without temperature correction, a probe {lag} min behind the pump (first order). Our choices where site.toml does not say.",
            self.scenario.step_s,
            probe.noise,
            probe.swing.abs()
        )?;
        writeln!(
            f,
            "Water above field capacity drains by 63 % in {:.0} h (our choice); the pores hold {:.3} m3/m3 ({}). The crop takes less beyond the allowed depletion (FAO-56 equation 84, recalled from memory).",
            zone.drainage_time_s / 3600.0,
            zone.saturation.value(),
            self.saturation_from
        )
    }
}

/// One rule on the log.
#[derive(Serialize)]
struct RuleOnLog {
    rule: &'static str,
    starts_per_day: f64,
    hours_on_per_day: f64,
    /// Water pumped in that time, mm a day.
    applied_mm_per_day: f64,
    relay: RelayWear,
}

impl RuleOnLog {
    fn new(rule: &'static str, duty: &Duty, season: &SeasonReport) -> Self {
        let gross_mm_per_h = 3600.0 * season.scenario.pumping.gross_mm_per_s;
        Self {
            rule,
            starts_per_day: duty.starts_per_day(),
            hours_on_per_day: duty.hours_per_day(),
            applied_mm_per_day: gross_mm_per_h * duty.hours_per_day(),
            relay: season.relay.wear(duty.starts_per_day()),
        }
    }
}

/// The log replayed.
#[derive(Serialize)]
pub(super) struct LogReport {
    #[serde(flatten)]
    replayed: Replayed,
    longest_gap_s: u32,
    /// The pump as recorded, if the log says, then each rule.
    rules: Vec<RuleOnLog>,
}

impl LogReport {
    fn new(replayed: Replayed, season: &SeasonReport) -> Self {
        let recorded = replayed
            .recorded
            .map(|duty| RuleOnLog::new("pump as recorded", &duty, season));
        let sides = replayed.sides.iter().zip(RULES);
        let rules = sides.map(|(side, rule)| RuleOnLog::new(rule, &side.duty, season));
        Self {
            rules: recorded.into_iter().chain(rules).collect(),
            longest_gap_s: LONGEST_GAP_S,
            replayed,
        }
    }
}

const DAY_S: f64 = 86_400.0;

impl fmt::Display for LogReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let log = &self.replayed;
        writeln!(
            f,
            "The log: {} rows, {} days counted; {} gap{} longer than {} h, {} days in all, not counted.",
            log.rows,
            round(log.counted_s / DAY_S),
            log.gaps,
            if log.gaps == 1 { "" } else { "s" },
            self.longest_gap_s / 3600,
            round(log.gap_s / DAY_S)
        )?;
        let mut table = TextTable::new([
            Column::words("on the log"),
            Column::numbers("starts", "a day"),
            Column::numbers("on", "h a day"),
            Column::numbers("pumped", "mm a day"),
            Column::numbers("relay operations", "a season"),
            Column::numbers("relay lasts", "years"),
        ]);
        for rule in &self.rules {
            table.push([
                rule.rule.to_owned(),
                round(rule.starts_per_day),
                round(rule.hours_on_per_day),
                round(rule.applied_mm_per_day),
                round(rule.relay.operations_per_season),
                years(rule.relay.years),
            ]);
        }
        write!(f, "{table}")?;
        writeln!(
            f,
            "The bed was below refill for {} h, above field capacity for {} h, and without an answer for {} h.",
            round(log.below_refill_s / 3600.0),
            round(log.above_field_capacity_s / 3600.0),
            round(log.unanswered_s / 3600.0)
        )?;
        if let Some(rain) = log.rain_mm {
            writeln!(f, "{rain:.0} mm of rain were logged.")?;
        }
        if log.recorded.is_none() {
            writeln!(f, "The log does not say when the pump ran (pump_on).")?;
        }
        writeln!(
            f,
            "What the pump does between two rows goes unseen: starts are at least so many."
        )?;
        writeln!(f, "{OPEN_LOOP}")
    }
}

/// A figure with the digits it deserves: two or three.
fn round(value: f64) -> String {
    let size = value.abs();
    if size < 0.0005 {
        "0".to_owned()
    } else if size < 0.095 {
        format!("{value:.3}")
    } else if size < 0.95 {
        format!("{value:.2}")
    } else if size < 9.5 {
        format!("{value:.1}")
    } else {
        format!("{value:.0}")
    }
}

/// `31 +- 1.2`; the spread alone is left out where there is none.
fn spread(figure: &Spread) -> String {
    if figure.standard_deviation < 0.0005 {
        round(figure.mean)
    } else {
        format!(
            "{} +- {}",
            round(figure.mean),
            round(figure.standard_deviation)
        )
    }
}

fn thousandths(figure: &Spread) -> String {
    format!("{:.3} +- {:.3}", figure.mean, figure.standard_deviation)
}

/// Years a relay lasts: no one plans for more than a hundred.
fn years(years: Option<f64>) -> String {
    match years {
        None => "no starts".to_owned(),
        Some(years) if years > 100.0 => "over 100".to_owned(),
        Some(years) => round(years),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_have_two_or_three_digits() {
        for (value, said) in [
            (0.0, "0"),
            (0.0004, "0"),
            (0.0234, "0.023"),
            (0.234, "0.23"),
            (2.34, "2.3"),
            (23.4, "23"),
            (2340.0, "2340"),
        ] {
            assert_eq!(round(value), said);
        }
    }

    #[test]
    fn a_relay_is_not_promised_for_centuries() {
        assert_eq!(years(Some(1800.0)), "over 100");
        assert_eq!(years(Some(12.3)), "12");
        assert_eq!(years(None), "no starts");
    }
}
