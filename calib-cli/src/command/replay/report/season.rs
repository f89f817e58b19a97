//! The simulated seasons of one probe, told.

use super::figure::{round, spread, thousandths, years};
use super::{DAY_S, RULES, RuleName};
use crate::command::replay::{Replay, Subject};
use crate::table::weather::Weather;
use crate::text_table::{Column, TextTable};
use crate::workbench::Controller;
use calib_core::irrigation::bucket::{Lag, ProbeModel, RuleSeasons, Scenario};
use calib_core::irrigation::{Duty, RelayLife, RelayWear, TemperatureBasis};
use calib_core::quantity::Quantity;
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;

/// Hours a season by which two rules may differ and still count as alike.
const SAME_HOURS: f64 = 0.1;

/// Starts a day may differ by this factor before the log speaks against the
/// simulation. Our choice.
const OTHERWISE: f64 = 2.0;

/// One rule in the simulated seasons.
#[derive(Serialize, JsonSchema)]
pub struct RuleInSeasons {
    pub rule: RuleName,
    #[serde(flatten)]
    pub seasons: RuleSeasons,
    pub relay: RelayWear,
}

/// Refill and stop less one threshold, means over the seasons.
#[derive(Debug, Clone, Copy)]
pub struct Change {
    /// Water pumped, mm a season.
    pub pumped_mm: f64,
    /// Water lost below the roots, mm a season.
    pub drained_mm: f64,
    /// Water content of the bed, m3/m3.
    pub wetter: f64,
}

/// The simulated seasons.
#[derive(Serialize, JsonSchema)]
pub struct SeasonReport {
    pub seasons: u32,
    pub seed: u64,
    pub days: usize,
    /// What the weather is.
    pub weather: String,
    /// Where the saturation of the scenario comes from.
    saturation_from: &'static str,
    pub(super) scenario: Scenario,
    /// What the longest time on brings to the roots at one go, mm.
    pub(super) longest_run_mm: f64,
    pub(super) relay: RelayLife,
    pub rules: [RuleInSeasons; 3],
}

impl SeasonReport {
    pub(in crate::command::replay) fn new(
        subject: &Subject<'_>,
        pump: &Controller,
        weather: Option<&Weather>,
        scenario: &Scenario,
        rules: [RuleSeasons; 3],
        command: &Replay,
    ) -> Self {
        let relay = pump.season.relay;
        let [single, slowed, band] = rules;
        let [first, second, third] = RULES;
        let rules = [(first, single), (second, slowed), (third, band)];
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
            saturation_from: subject.saturation.1,
            scenario: scenario.clone(),
            longest_run_mm: scenario.pumping.net_mm(pump.maximum_on_s),
            relay,
            rules: rules.map(|(rule, seasons)| RuleInSeasons {
                rule,
                relay: relay.wear(seasons.starts_per_day.mean),
                seasons,
            }),
        }
    }

    pub(super) fn single(&self) -> &RuleSeasons {
        &self.rules[0].seasons
    }

    pub(super) fn band(&self) -> &RuleSeasons {
        &self.rules[2].seasons
    }

    pub(super) fn starts_cut_percent(&self) -> Option<f64> {
        let single = self.single().starts_per_day.mean;
        (single > 0.0).then(|| 100.0 * (1.0 - self.band().starts_per_day.mean / single))
    }

    /// The comparison in a sentence.
    pub(super) fn verdict(&self) -> String {
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
            let more = if now <= before { "no" } else { "hardly any" };
            format!(
                "{starts}, with {more} more time below refill ({now:.1} h a season, {before:.1} h with one threshold)."
            )
        } else {
            format!(
                "{starts}, but the bed is below refill for {now:.1} h a season, {before:.1} h with one threshold."
            )
        }
    }

    /// What speaks against the comparison where the pump as recorded, under the old
    /// rule, started far more or less often than one threshold does here. Nothing
    /// does on less than a day.
    pub(super) fn doubt(&self, recorded: &Duty) -> Option<String> {
        if recorded.known_s < DAY_S {
            return None;
        }
        let (logged, simulated) = (recorded.starts_per_day(), self.single().starts_per_day.mean);
        let said = format!(
            "Your log shows {} starts a day with the old rule; the simulation, reading every {} s, {}.",
            round(logged),
            self.scenario.step_s,
            round(simulated)
        );
        let mend = "Set read_every_s to what your controller does before going by this";
        if simulated > OTHERWISE * logged {
            Some(format!(
                "{said} {mend}; rows further apart than the controller's reads hide starts, so log at each switch of the pump, too."
            ))
        } else if logged > OTHERWISE * simulated {
            Some(format!(
                "{said} {mend}; the probe may also be noisier or quicker than assumed, or something else may have started the pump."
            ))
        } else {
            None
        }
    }

    /// What refill and stop change in a season beside one threshold.
    pub fn change(&self) -> Change {
        let (single, band) = (self.single(), self.band());
        Change {
            pumped_mm: band.applied_mm.mean - single.applied_mm.mean,
            drained_mm: band.drained_mm.mean - single.drained_mm.mean,
            wetter: band.mean_theta_v.mean - single.mean_theta_v.mean,
        }
    }

    /// What refill and stop do to the water bill, in a sentence.
    pub(super) fn water(&self) -> String {
        let Change {
            pumped_mm: pumped,
            drained_mm: drained,
            wetter,
        } = self.change();
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
    pub(super) fn overshoot_mm(&self) -> f64 {
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
            Column::numbers(RULES[0].words(), ""),
            Column::numbers(RULES[1].words(), ""),
            Column::numbers(RULES[2].words(), ""),
        ]);
        let mut row = |name: &str, cell: &dyn Fn(&RuleInSeasons) -> String| {
            let [single, slowed, band] = &self.rules;
            table.push([name.to_owned(), cell(single), cell(slowed), cell(band)]);
        };
        row("starts a day", &|rule| spread(&rule.seasons.starts_per_day));
        let operations = format!("relay operations in {} days", self.relay.season_days);
        row(&operations, &|rule| round(rule.relay.operations_per_season));
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
            "Assumed: a reading every {} s (read more often, one threshold starts more often), noise of {:.4} m3/m3 (one standard deviation), {}, a probe {lag} min behind the pump (first order). Our choices where site.toml does not say.",
            self.scenario.step_s,
            probe.noise,
            swing(probe)
        )?;
        writeln!(
            f,
            "Water above field capacity drains by 63 % in {:.0} h (our choice); above {:.3} m3/m3 it runs off ({}). The crop takes less beyond the allowed depletion (FAO-56 equation 84, recalled from memory).",
            zone.drainage_time_s / 3600.0,
            zone.saturation.value(),
            self.saturation_from
        )
    }
}

/// How far the day's warmth takes a reading, m3/m3 to either side, and which.
fn swing(probe: &ProbeModel) -> String {
    let far = format!("{:.4} m3/m3 of daily swing", probe.swing.abs());
    match probe.basis {
        TemperatureBasis::Corrected => format!("{far} in the count as read"),
        TemperatureBasis::Stated => format!("{far} in every reading (counts_per_c)"),
        TemperatureBasis::LeftPossible => {
            format!("{far} in every reading (the most that its cores leave possible)")
        }
        TemperatureBasis::Unknown => {
            "a daily swing by temperature that is not known and left out".to_owned()
        }
    }
}
