//! The season after the calibration: a log of the three beds, recorded while the
//! pump went by one raw-count threshold, and the weather behind it.
//!
//! The beds drain by a law of their own (`flux = K (theta / theta_fc)^m` out of
//! each of four layers, the unit-gradient law of redistribution), so that what the
//! program reads off the log can be held against a truth it did not make.

use super::scenario::{Plot, SEED};
use jiff::Timestamp;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// Days of the season.
pub const DAYS: usize = 60;
/// Seconds from one row of the log to the next, where the pump does not switch.
pub const LOG_STEP_S: i64 = 600;
/// Start of the log.
pub const STARTS: &str = "2026-05-25T00:00:00Z";

const STEP_H: f64 = 1.0 / 60.0;
const LAYERS: usize = 4;
const LAYER_MM: f64 = 100.0;
/// The layer the probe stands in.
const PROBE_LAYER: usize = 1;
/// Share of the crop's water taken from each layer. Common practice.
const UPTAKE: [f64; LAYERS] = [0.4, 0.3, 0.2, 0.1];
/// Depth the pump brings to the bed, mm/h: 30 L/min over 120 m2, 0.9 of it to the
/// roots.
const PUMP_MM_PER_H: f64 = 13.5;
/// Time in which water from the drip line reaches the soil around the probe, h.
const LAG_H: f64 = 0.6;
/// Share of the readings hit by a disturbance; there is one a minute.
const SPIKE_SHARE: f64 = 0.000_1;
/// Days at the start on which the beds lie covered and unplanted, and the pump rests.
const COVERED_DAYS: usize = 13;
/// Day from which the pump rests again and the crop dries the beds.
const LEFT_TO_DRY_FROM: usize = 50;
/// What leaves a covered bed, mm a day.
const COVERED_MM: f64 = 0.4;
/// Rain: day, hour it starts, depth in mm; each lasts three hours. The first two are
/// soakings by hose, before the cover goes on; the third and the last heavy one are
/// followed by more before the soil has drained.
const RAIN: [(usize, usize, f64); 10] = [
    (1, 15, 40.0),
    (7, 8, 42.0),
    (16, 3, 42.0),
    (17, 16, 9.0),
    (24, 18, 46.0),
    (31, 10, 4.0),
    (38, 20, 40.0),
    (45, 5, 44.0),
    (46, 2, 12.0),
    (54, 12, 3.5),
];

/// The truth about one bed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bed {
    /// Identifier of the probe in it.
    pub probe: &'static str,
    /// theta_v to which 400 mm of it drain in two days, m3/m3.
    pub drained: f64,
    /// theta_v at which the crop takes nothing more, m3/m3.
    pub spent: f64,
    /// theta_v with every pore full, m3/m3.
    pub full: f64,
    /// The exponent m of its drainage law.
    pub exponent: f64,
    /// theta_v to which the old threshold is set, m3/m3.
    pub threshold: f64,
}

/// The beds, one for each plot and in the same order.
pub const BEDS: [Bed; 3] = [
    Bed {
        probe: "terrace-1",
        drained: 0.186,
        spent: 0.070,
        full: 0.42,
        exponent: 12.0,
        threshold: 0.150,
    },
    Bed {
        probe: "orchard-1",
        drained: 0.292,
        spent: 0.125,
        full: 0.46,
        exponent: 16.0,
        threshold: 0.245,
    },
    Bed {
        probe: "lowfield-1",
        drained: 0.338,
        spent: 0.200,
        full: 0.47,
        exponent: 20.0,
        threshold: 0.300,
    },
];

/// One row of the log.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogRow {
    /// When.
    pub at: Timestamp,
    /// The probe.
    pub probe: &'static str,
    /// The converter's code.
    pub count: u32,
    /// Soil temperature, C; missing while its sensor was off.
    pub soil_temp_c: Option<f64>,
    /// Whether the pump ran from here to the next row.
    pub pump_on: bool,
    /// Rain since the row before, mm.
    pub rain_mm: f64,
}

/// One day's weather.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Day {
    /// The day.
    pub date: jiff::civil::Date,
    /// What the crop takes, mm.
    pub evapotranspiration_mm: f64,
    /// Rain, mm.
    pub rain_mm: f64,
}

/// The weather, day by day.
///
/// # Panics
/// Never: the scenario's dates are all representable.
pub fn weather() -> Vec<Day> {
    let mut draw = ChaCha8Rng::seed_from_u64(SEED + 1);
    let mut swing = 0.0;
    let first = jiff::tz::Offset::UTC.to_datetime(start()).date();
    (0..DAYS)
        .map(|day| {
            swing = 0.6 * swing + 0.5 * draw.sample::<f64, _>(StandardNormal);
            let rain = RAIN
                .iter()
                .filter(|r| r.0 == day)
                .fold(0.0, |sum, r| sum + r.2);
            let clear: f64 = (4.6 + swing).clamp(2.0, 7.0);
            let taken = match day {
                day if day < COVERED_DAYS => COVERED_MM,
                _ if rain > 5.0 => 0.5 * clear,
                _ => clear,
            };
            Day {
                date: first
                    .checked_add(jiff::Span::new().days(day as i64))
                    .expect("a representable date"),
                evapotranspiration_mm: (taken * 10.0).round() / 10.0,
                rain_mm: rain,
            }
        })
        .collect()
}

/// The log of every bed, by time.
pub fn log(plots: &[Plot]) -> Vec<LogRow> {
    let weather = weather();
    let mut rows: Vec<LogRow> = plots
        .iter()
        .zip(BEDS)
        .enumerate()
        .flat_map(|(index, (plot, bed))| of_bed(plot, &bed, &weather, SEED + 2 + index as u64))
        .filter(|row| !logger_is_off(row))
        .collect();
    rows.sort_by_key(|row| row.at);
    rows
}

/// theta_v in the probe's layer `hours` after the bed was soaked to `from` m3/m3
/// throughout, with nothing taken and nothing added: the truth behind a field
/// capacity read off the log.
pub fn undisturbed(bed: &Bed, from: f64, hours: f64) -> f64 {
    let mut soil = Profile::at(bed, from);
    for _ in 0..(hours / STEP_H).round() as usize {
        soil.drain();
    }
    soil.water[PROBE_LAYER]
}

/// The raw count at which the pump of a bed was switched, on the dry side of it.
pub fn old_threshold(plot: &Plot, bed: &Bed) -> f64 {
    plot.response.count(bed.threshold).round()
}

fn start() -> Timestamp {
    STARTS.parse().expect("a timestamp")
}

/// Seven hours without power at the orchard.
fn logger_is_off(row: &LogRow) -> bool {
    let hours = row.at.duration_since(start()).as_hours();
    row.probe == "orchard-1" && (33 * 24 + 9..33 * 24 + 16).contains(&hours)
}

/// Three hours with the terrace's thermometer unplugged.
fn thermometer_is_off(plot: &Plot, hour: f64) -> bool {
    plot.probe == "terrace-1" && (20.0 * 24.0 + 8.0..20.0 * 24.0 + 11.0).contains(&hour)
}

fn of_bed(plot: &Plot, bed: &Bed, weather: &[Day], seed: u64) -> Vec<LogRow> {
    let mut draw = ChaCha8Rng::seed_from_u64(seed);
    let mut soil = Profile::at(bed, 0.96 * bed.drained);
    let threshold = old_threshold(plot, bed);
    let falls = plot.response.count(bed.spent) > plot.response.count(bed.drained);
    let steps_a_row = (LOG_STEP_S / 60) as usize;
    let (mut pump_on, mut on_its_way, mut rain_since) = (false, 0.0, 0.0);
    let mut rows = Vec::new();
    for step in 0..DAYS * 24 * 60 {
        let hour = step as f64 * STEP_H;
        let (day, of_day) = (step / 1440, hour % 24.0);
        let temperature = soil_temperature(hour) + 0.05 * normal(&mut draw);
        let count = reading(&mut draw, plot, soil.water[PROBE_LAYER], temperature);
        let was_on = pump_on;
        pump_on = (COVERED_DAYS..LEFT_TO_DRY_FROM).contains(&day)
            && f64::from(count) != threshold
            && (f64::from(count) > threshold) == falls;
        if step % steps_a_row == 0 || pump_on != was_on {
            rows.push(LogRow {
                at: Timestamp::from_second(start().as_second() + step as i64 * 60)
                    .expect("a representable time"),
                probe: plot.probe,
                count,
                soil_temp_c: (!thermometer_is_off(plot, hour))
                    .then_some((temperature * 10.0).round() / 10.0),
                pump_on,
                rain_mm: std::mem::take(&mut rain_since),
            });
        }
        let raining = RAIN.iter().find(|(on, from, _)| {
            *on == day && (*from as f64..*from as f64 + 3.0).contains(&of_day)
        });
        let rain = raining.map_or(0.0, |(.., depth)| depth / 3.0 * STEP_H);
        rain_since += rain;
        if pump_on {
            on_its_way += PUMP_MM_PER_H * STEP_H;
        }
        let arrives = on_its_way * STEP_H / LAG_H;
        on_its_way -= arrives;
        soil.add(0, rain + 0.6 * arrives);
        soil.add(PROBE_LAYER, 0.4 * arrives);
        soil.take(weather[day].evapotranspiration_mm * share_of_day(of_day));
        soil.drain();
    }
    rows
}

/// Share of a day's evapotranspiration that falls into one step at `hour` of it.
fn share_of_day(hour: f64) -> f64 {
    const FROM: f64 = 5.0;
    const UNTIL: f64 = 19.0;
    if !(FROM..UNTIL).contains(&hour) {
        return 0.0;
    }
    let phase = std::f64::consts::PI * (hour - FROM) / (UNTIL - FROM);
    phase.sin().powi(2) * 2.0 / (UNTIL - FROM) * STEP_H
}

fn soil_temperature(hour: f64) -> f64 {
    let day = 2.0 * std::f64::consts::PI * (hour - 10.5) / 24.0;
    let week = 2.0 * std::f64::consts::PI * hour / (24.0 * 11.0);
    18.0 + 3.0 * day.sin() + 1.5 * week.sin()
}

fn reading(draw: &mut ChaCha8Rng, plot: &Plot, theta: f64, temperature: f64) -> u32 {
    let mut count = plot.response.count(theta)
        + plot.counts_per_c * (temperature - 20.0)
        + plot.noise * normal(draw);
    if draw.random::<f64>() < SPIKE_SHARE {
        count += if draw.random::<bool>() { 60.0 } else { -60.0 };
    }
    count.round().clamp(0.0, 1023.0) as u32
}

fn normal(draw: &mut ChaCha8Rng) -> f64 {
    draw.sample(StandardNormal)
}

/// Four layers of a bed.
struct Profile<'a> {
    bed: &'a Bed,
    /// theta_v of each layer, m3/m3.
    water: [f64; LAYERS],
    /// Drainage at `drained`, mm/h.
    conductivity: f64,
}

impl<'a> Profile<'a> {
    fn at(bed: &'a Bed, theta: f64) -> Self {
        // From far above, 400 mm under a flux K (theta / theta_fc)^m reach theta_fc
        // when (m - 1) K t = depth theta_fc.
        let depth = LAYERS as f64 * LAYER_MM;
        Self {
            bed,
            water: [theta; LAYERS],
            conductivity: depth * bed.drained / ((bed.exponent - 1.0) * 48.0),
        }
    }

    fn add(&mut self, layer: usize, depth_mm: f64) {
        self.water[layer] += depth_mm / LAYER_MM;
    }

    fn take(&mut self, depth_mm: f64) {
        for (water, share) in self.water.iter_mut().zip(UPTAKE) {
            let left = (*water - self.bed.spent) / (0.4 * (self.bed.drained - self.bed.spent));
            *water -= share * left.clamp(0.0, 1.0) * depth_mm / LAYER_MM;
        }
    }

    fn drain(&mut self) {
        for layer in 0..LAYERS {
            let theta = self.water[layer];
            let law = self.conductivity * (theta / self.bed.drained).powf(self.bed.exponent);
            let above = (theta - self.bed.drained).max(0.0) * LAYER_MM;
            let too_full = (theta - self.bed.full).max(0.0) * LAYER_MM;
            let leaves = (law * STEP_H)
                .min(0.2 * above + 0.002 * LAYER_MM)
                .max(too_full);
            self.water[layer] -= leaves / LAYER_MM;
            if let Some(below) = self.water.get_mut(layer + 1) {
                *below += leaves / LAYER_MM;
            }
        }
    }
}
