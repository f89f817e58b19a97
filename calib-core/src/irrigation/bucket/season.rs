//! One season under one rule.

use super::ScenarioError;
use super::probe::{Lagging, ProbeModel, day_steps};
use super::root_zone::{RootZone, Water};
use crate::irrigation::DAY_S;
use crate::irrigation::control::{Control, Event, Stop};
use crate::irrigation::replay::{Duty, Sees, Side};
use crate::quantity::{Fraction, LitrePerMinute, Quantity, SquareMetre, Timestamp, Vwc};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Hours a day's rain takes. Our choice.
const RAIN_HOURS: u32 = 4;
/// First and last hour of the day in which a crop uses water. Our choice: a sine
/// over the half of the day around noon, as sunshine goes near the equinox.
const DAYLIGHT: (f64, f64) = (6.0, 18.0);

/// The weather of a day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Day {
    /// Crop evapotranspiration (ETc), mm.
    pub evapotranspiration: f64,
    /// Rain, mm.
    pub rain: f64,
}

/// What the pump brings while it is on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Pumping {
    /// Depth pumped, mm/s over the area.
    pub gross_mm_per_s: f64,
    /// Share of it that reaches the root zone.
    pub efficiency: Fraction,
    /// Area watered.
    #[serde(rename = "area_m2")]
    pub area: SquareMetre,
}

impl Pumping {
    /// What a pump of this `flow` brings to `area`: 1 L over 1 m2 is 1 mm.
    pub fn new(area: SquareMetre, flow: LitrePerMinute, efficiency: Fraction) -> Self {
        Self {
            gross_mm_per_s: flow.value() / 60.0 / area.value(),
            efficiency,
            area,
        }
    }

    /// What reaches the roots while the pump is on for `seconds`, mm.
    pub fn net_mm(&self, seconds: u32) -> f64 {
        self.gross_mm_per_s * self.efficiency.value() * f64::from(seconds)
    }
}

/// A season to be simulated, whatever the rule.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Scenario {
    /// The soil around the roots.
    pub zone: RootZone,
    /// The pump.
    pub pumping: Pumping,
    /// The probe.
    pub probe: ProbeModel,
    /// The weather, day by day; the first day starts at midnight.
    #[serde(skip)]
    pub days: Vec<Day>,
    /// Below this the bed is too dry, whatever the rule, m3/m3. The season starts
    /// with a water content drawn evenly between `refill` and `stop`.
    pub refill: Vwc,
    /// See `refill`, m3/m3.
    pub stop: Vwc,
    /// Seconds from one reading to the next; divides a day.
    pub step_s: u32,
}

/// One step of a season, for a chart or a test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// Seconds since the season began.
    pub second: i64,
    /// Water content of the root zone, m3/m3, before the step.
    pub theta_v: f64,
    /// The reading the rule compared; `None` without an answer.
    pub reading: Option<Vwc>,
    /// Whether the pump was on in the step, at least for a part.
    pub on: bool,
}

/// What became of a season. Depths are over the area watered, mm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct SeasonOutcome {
    /// Days simulated.
    pub days: usize,
    /// Starts and time on.
    pub duty: Duty,
    /// Stops because a reading had no answer.
    pub stops_without_answer: u64,
    /// Stops at the longest time on.
    pub stops_at_maximum: u64,
    /// Driest the root zone became, m3/m3.
    pub minimum_theta_v: f64,
    /// Its mean, m3/m3.
    pub mean_theta_v: f64,
    /// Hours it spent below refill.
    pub hours_below_refill: f64,
    /// Hours it spent above field capacity.
    pub hours_above_field_capacity: f64,
    /// Hours in which the calibrated reading had no answer.
    pub hours_without_answer: f64,
    /// Those of them in which the root zone was below refill.
    pub hours_without_answer_too_dry: f64,
    /// Water pumped.
    pub applied_mm: f64,
    /// Water pumped, L.
    pub applied_l: f64,
    /// Part of it that did not reach the root zone.
    pub lost_before_roots_mm: f64,
    /// Rain.
    pub rain_mm: f64,
    /// Taken up or evaporated.
    pub evapotranspiration_mm: f64,
    /// Asked for by the crop and not there.
    pub unmet_mm: f64,
    /// Drained below the roots.
    pub drained_mm: f64,
    /// Ran off the surface.
    pub runoff_mm: f64,
    /// Water in the root zone at the end less that at the beginning.
    pub storage_change_mm: f64,
}

impl SeasonOutcome {
    /// Water that came in less what went out and what is now more, mm: rounding
    /// alone.
    pub fn imbalance_mm(&self) -> f64 {
        let came = self.applied_mm + self.rain_mm;
        let went = self.lost_before_roots_mm
            + self.evapotranspiration_mm
            + self.drained_mm
            + self.runoff_mm;
        came - went - self.storage_change_mm
    }
}

impl Scenario {
    /// Checks everything a simulation rests on.
    ///
    /// # Errors
    /// [`ScenarioError`] with the first figure that cannot be.
    pub fn check(&self) -> Result<(), ScenarioError> {
        if self.days.is_empty() {
            return Err(ScenarioError::NoDays);
        }
        if self.step_s == 0 || !DAY_S.is_multiple_of(self.step_s) {
            return Err(ScenarioError::UnevenStep {
                step_s: self.step_s,
            });
        }
        let weather = self.days.iter().flat_map(|day| {
            [
                ("evapotranspiration", day.evapotranspiration),
                ("rain", day.rain),
            ]
        });
        for (what, value) in weather.chain([("pump rate", self.pumping.gross_mm_per_s)]) {
            if !(value.is_finite() && value >= 0.0) {
                return Err(ScenarioError::Figure { what, value });
            }
        }
        self.zone.check()?;
        self.probe.check()
    }

    /// One season under `side`; `watch` is told each step. The same seed gives the
    /// same start, noise and hours of rain, whatever the rule.
    ///
    /// # Errors
    /// As [`check`](Self::check).
    pub fn season(
        &self,
        side: &Side,
        seed: u64,
        mut watch: impl FnMut(Moment),
    ) -> Result<SeasonOutcome, ScenarioError> {
        self.check()?;
        let mut fate = ChaCha8Rng::seed_from_u64(seed);
        let mut noise = ChaCha8Rng::seed_from_u64(seed);
        noise.set_stream(1);
        let step = f64::from(self.step_s);
        let (driest, wettest) = (self.refill.value(), self.stop.value());
        let begin = driest + fate.random::<f64>() * (wettest - driest);
        let mut run = Run {
            scenario: self,
            side,
            control: Control::new(side.rule, Timestamp(0)),
            water: Water::new(self.zone, Vwc::new(begin).unwrap_or(self.refill), step)?,
            lagging: Lagging::new(self.probe.lag, begin, self.step_s),
            sums: Sums::default(),
        };
        let before = run.water.storage();
        let demands = daily_demand(self.step_s);
        let swings = self.probe.swings(self.step_s);
        let mut second = 0_i64;
        for day in &self.days {
            let rain_from = 3600.0 * f64::from(fate.random_range(0..=24 - RAIN_HOURS));
            let rain_to = rain_from + 3600.0 * f64::from(RAIN_HOURS);
            let falls = RainFall {
                from: rain_from,
                to: rain_to,
                depth: day.rain,
            };
            let steps = demands.iter().zip(&swings).zip(day_steps(self.step_s));
            for ((share, swing), of_day) in steps {
                let error: f64 = StandardNormal.sample(&mut noise);
                let moment = run.step(
                    Timestamp(second),
                    self.probe.noise * error,
                    *swing,
                    falls.within(of_day, step),
                    day.evapotranspiration * share,
                );
                watch(moment);
                second += i64::from(self.step_s);
            }
        }
        Ok(run.outcome(before))
    }
}

/// A day's rain, falling evenly between two seconds of the day.
struct RainFall {
    from: f64,
    to: f64,
    depth: f64,
}

impl RainFall {
    /// What falls in the step that starts at `second`, mm.
    fn within(&self, second: f64, step: f64) -> f64 {
        let wet = (second + step).min(self.to) - second.max(self.from);
        self.depth * wet.max(0.0) / (self.to - self.from)
    }
}

/// Share of the day's evapotranspiration in each step: half a sine over daylight,
/// integrated exactly, so that the shares sum to 1.
fn daily_demand(step_s: u32) -> Vec<f64> {
    let (dawn, dusk) = DAYLIGHT;
    let until = |second: f64| {
        let share = ((second / 3600.0 - dawn) / (dusk - dawn)).clamp(0.0, 1.0);
        0.5 * (1.0 - (std::f64::consts::PI * share).cos())
    };
    day_steps(step_s)
        .map(|second| until(second + f64::from(step_s)) - until(second))
        .collect()
}

#[derive(Debug, Default)]
struct Sums {
    starts: u64,
    on_s: f64,
    stops_without_answer: u64,
    stops_at_maximum: u64,
    steps: u64,
    minimum_theta_v: Option<f64>,
    theta_v: f64,
    below_refill: u64,
    above_field_capacity: u64,
    unanswered: u64,
    unanswered_too_dry: u64,
    rain: f64,
    evapotranspiration: f64,
    demand: f64,
    drained: f64,
    runoff: f64,
}

/// A season under way.
struct Run<'a> {
    scenario: &'a Scenario,
    side: &'a Side,
    control: Control,
    water: Water,
    lagging: Lagging,
    sums: Sums,
}

impl Run<'_> {
    fn step(&mut self, now: Timestamp, error: f64, swing: f64, rain: f64, demand: f64) -> Moment {
        let scenario = self.scenario;
        let theta_v = self.water.theta_v();
        let seen = self.lagging.see(theta_v) + error;
        let calibrated = scenario
            .probe
            .calibrated(seen + scenario.probe.uncorrected(swing));
        let reading = match self.side.sees {
            Sees::Calibrated => calibrated,
            Sees::AsRead => scenario.probe.as_read(seen + swing),
        };
        let step = self.control.push(now, reading);
        let end = Timestamp(now.0 + i64::from(scenario.step_s));
        let on_s = match self.control.deadline() {
            None => 0.0,
            Some(deadline) => deadline.min(end).seconds_since(now) as f64,
        };
        let pumped = scenario.pumping.gross_mm_per_s * on_s;
        let arriving = pumped * scenario.pumping.efficiency.value() + rain;
        let flows = self.water.step(arriving, demand);

        let sums = &mut self.sums;
        sums.steps += 1;
        sums.on_s += on_s;
        sums.starts += u64::from(step.event == Some(Event::Started));
        sums.stops_without_answer += u64::from(step.event == Some(Event::Stopped(Stop::NoAnswer)));
        sums.stops_at_maximum += u64::from(step.event == Some(Event::Stopped(Stop::MaximumOn)));
        sums.theta_v += theta_v;
        sums.minimum_theta_v = Some(sums.minimum_theta_v.map_or(theta_v, |m| m.min(theta_v)));
        let too_dry = theta_v < scenario.refill.value();
        sums.below_refill += u64::from(too_dry);
        sums.unanswered_too_dry += u64::from(too_dry && calibrated.is_none());
        sums.above_field_capacity += u64::from(theta_v > scenario.zone.field_capacity.value());
        sums.unanswered += u64::from(calibrated.is_none());
        sums.rain += rain;
        sums.demand += demand;
        sums.evapotranspiration += flows.evapotranspiration;
        sums.drained += flows.drainage;
        sums.runoff += flows.runoff;
        Moment {
            second: now.0,
            theta_v,
            reading,
            on: on_s > 0.0,
        }
    }

    fn outcome(&self, before: f64) -> SeasonOutcome {
        let (scenario, sums) = (self.scenario, &self.sums);
        let step = f64::from(scenario.step_s);
        let hours = |steps: u64| steps as f64 * step / 3600.0;
        let applied_mm = scenario.pumping.gross_mm_per_s * sums.on_s;
        SeasonOutcome {
            days: scenario.days.len(),
            duty: Duty {
                starts: sums.starts,
                on_s: sums.on_s,
                known_s: scenario.days.len() as f64 * f64::from(DAY_S),
            },
            stops_without_answer: sums.stops_without_answer,
            stops_at_maximum: sums.stops_at_maximum,
            minimum_theta_v: sums.minimum_theta_v.unwrap_or_default(),
            mean_theta_v: sums.theta_v / sums.steps.max(1) as f64,
            hours_below_refill: hours(sums.below_refill),
            hours_above_field_capacity: hours(sums.above_field_capacity),
            hours_without_answer: hours(sums.unanswered),
            hours_without_answer_too_dry: hours(sums.unanswered_too_dry),
            applied_mm,
            applied_l: applied_mm * scenario.pumping.area.value(),
            lost_before_roots_mm: applied_mm * (1.0 - scenario.pumping.efficiency.value()),
            rain_mm: sums.rain,
            evapotranspiration_mm: sums.evapotranspiration,
            unmet_mm: sums.demand - sums.evapotranspiration,
            drained_mm: sums.drained,
            runoff_mm: sums.runoff,
            storage_change_mm: self.water.storage() - before,
        }
    }
}
