//! What the demo has for the studies of many probes, of accuracy and of drift:
//! tables of pairs, drawn from the same truth as the calibrations.

use super::generate::{Draw, second};
use super::scenario::{CORES, Plot, READINGS, SEED};
use jiff::Timestamp;

/// Probes of one batch.
pub const PROBES: usize = 20;
/// The batches.
pub const BATCHES: [&str; 2] = ["2026-A", "2026-B"];
/// Standard deviation of the probes' offsets, counts.
pub const OFFSET_SD: f64 = 8.0;
/// Standard deviation of the probes' gains, a share.
pub const GAIN_SD: f64 = 0.02;
/// By how many counts the second batch reads more than the first.
pub const BATCH_SHIFT: f64 = 5.0;
/// The probe that is off, of the first batch, with what is added to its offset
/// (counts) and to its gain.
pub const OUTLYING: (&str, f64, f64) = ("silt-A13", -42.0, 0.07);
/// Standard deviation between a container's core and what its probes have around
/// them on average, m3/m3.
pub const CONTAINER_SD: f64 = 0.003;
/// Standard deviation of that from probe to probe, m3/m3.
pub const BESIDE_SD: f64 = 0.003;
/// Counts at 20 C of a probe without offset and gain: in air, in water, and where a
/// gain turns about.
pub const MEDIA_AND_PIVOT: [f64; 3] = [768.0, 236.0, 520.0];
/// Standard deviation of a count in a medium, counts.
const MEDIUM_SD: f64 = 1.2;

/// Places at which later cores were taken, and cores at each.
pub const PLACES: (usize, usize) = (8, 3);
/// Standard deviation between places, m3/m3.
pub const PLACE_SD: f64 = 0.005;

/// Spot checks of a probe.
pub const CHECKS: usize = 10;
/// The probe that drifts, the day it begins, and counts in thirty days.
pub const DRIFTING: (&str, &str, f64) = ("terrace-1", "2026-12-01T00:00:00Z", 4.0);

/// Standard uncertainty of a core's water content by weighing, m3/m3.
const WEIGHING_U: f64 = 0.001;
/// Relative standard uncertainty of the ring's volume, by its measures in site.toml.
pub(super) const VOLUME_U: f64 = 0.0057;

/// A row of a table of pairs.
#[derive(Debug, Clone, PartialEq)]
pub struct PairRow {
    /// The core.
    pub sample: String,
    /// Its soil.
    pub soil: &'static str,
    /// The probe.
    pub probe: String,
    /// Middle of its readings, counts.
    pub count: f64,
    /// Water content of the core, m3/m3.
    pub theta_v: f64,
    /// Soil temperature, C.
    pub soil_temp_c: f64,
    /// Moisture level, where cores were taken by level.
    pub level: Option<String>,
    /// Batch of the probe, where it is one of many.
    pub batch: Option<&'static str>,
    /// Where the core was taken, where it says so.
    pub place: Option<String>,
    /// When.
    pub taken_at: Timestamp,
    /// Counts in air and in water.
    pub media: Option<(f64, f64)>,
}

/// Standard uncertainty of the middle of the readings, counts: noise and rounding.
pub(super) fn count_u(plot: &Plot) -> f64 {
    let rounding = 1.0 / 12.0;
    let variance = (plot.noise * plot.noise + rounding) / READINGS as f64 + rounding;
    (variance.sqrt() * 100.0).round() / 100.0
}

/// One probe of the many: how it differs from the response of its kind.
struct Member {
    name: String,
    batch: &'static str,
    offset: f64,
    gain: f64,
    media: (f64, f64),
}

impl Member {
    fn count(&self, count: f64) -> f64 {
        let pivot = MEDIA_AND_PIVOT[2];
        pivot + self.offset + (1.0 + self.gain) * (count - pivot)
    }
}

fn members(draw: &mut Draw) -> Vec<Member> {
    let mut members = Vec::new();
    for (batch, letter) in BATCHES.into_iter().zip(['A', 'B']) {
        for number in 1..=PROBES {
            let name = format!("silt-{letter}{number:02}");
            let shift = if letter == 'B' { BATCH_SHIFT } else { 0.0 };
            let mut member = Member {
                offset: shift + draw.normal(OFFSET_SD),
                gain: draw.normal(GAIN_SD),
                media: (0.0, 0.0),
                name,
                batch,
            };
            if member.name == OUTLYING.0 {
                member.offset += OUTLYING.1;
                member.gain += OUTLYING.2;
            }
            let [air, water, _] = MEDIA_AND_PIVOT;
            let mut read = |count| tenths(member.count(count) + draw.normal(MEDIUM_SD));
            member.media = (read(air), read(water));
            members.push(member);
        }
    }
    members
}

/// Forty probes of one kind, read side by side in containers of the orchard's soil.
///
/// # Panics
/// Never on the scenario as committed.
pub fn forty_probes(plots: &[Plot]) -> Vec<PairRow> {
    let plot = of_probe(plots, "orchard-1");
    let mut draw = Draw::of(SEED + 43);
    let members = members(&mut draw);
    let first = at("2026-05-25T08:00:00Z");
    let mut rows = Vec::new();
    for (level, mean) in plot.levels.into_iter().enumerate() {
        for (container, letter) in ['a', 'b', 'c'].into_iter().enumerate().take(CORES) {
            let water = mean + draw.normal(0.006);
            let core = water + draw.normal(CONTAINER_SD);
            let theta_v = rounded(core + draw.normal(WEIGHING_U));
            let hours = (24 * level + 3 * container) as i64;
            let room = 19.0 + draw.between(0.0, 4.0);
            for member in &members {
                let temperature = room + draw.normal(0.2);
                let around = water + draw.normal(BESIDE_SD);
                let count = member.count(plot.response.count(around))
                    + plot.counts_per_c * (temperature - 20.0)
                    + draw.normal(count_u(plot));
                rows.push(PairRow {
                    sample: format!("silt-L{}{letter}", level + 1),
                    soil: plot.soil,
                    probe: member.name.clone(),
                    count: tenths(count),
                    theta_v,
                    soil_temp_c: tenths(temperature),
                    level: Some(format!("L{}", level + 1)),
                    batch: Some(member.batch),
                    place: None,
                    taken_at: second(first + hours * 3600),
                    media: Some(member.media),
                });
            }
        }
    }
    rows
}

/// Cores of a later season beside the three calibrated probes, a few at each place.
///
/// # Panics
/// Never on the scenario as committed.
pub fn later_cores(plots: &[Plot]) -> Vec<PairRow> {
    let mut draw = Draw::of(SEED + 41);
    let first = at("2026-09-07T07:00:00Z");
    let mut rows = Vec::new();
    for plot in plots {
        for place in 0..PLACES.0 {
            let of_place = draw.normal(PLACE_SD);
            // Each place is met at its own wetness, from dry to wet in turn.
            let share = (place as f64 + draw.between(0.1, 0.9)) / PLACES.0 as f64;
            for core in 0..PLACES.1 {
                let days = draw.between(0.0, 11.0);
                let taken_at = first + (days * 86_400.0) as i64;
                let temperature = draw.between(11.0, 25.0);
                let water = within(plot, share) + draw.normal(0.008);
                let (count, theta_v) =
                    beside(&mut draw, plot, water, temperature, plot.scatter, of_place);
                rows.push(PairRow {
                    sample: format!(
                        "{}-later-{}{}",
                        plot.soil,
                        place + 1,
                        ['a', 'b', 'c'][core % 3]
                    ),
                    soil: plot.soil,
                    probe: plot.probe.to_owned(),
                    count,
                    theta_v,
                    soil_temp_c: tenths(temperature),
                    level: None,
                    batch: None,
                    place: Some(format!("{}-place-{}", plot.soil, place + 1)),
                    taken_at: second(taken_at),
                    media: None,
                });
            }
        }
    }
    rows
}

/// Now and then a core beside each of the three probes, over fourteen months.
///
/// # Panics
/// Never on the scenario as committed.
pub fn spot_checks(plots: &[Plot]) -> Vec<PairRow> {
    let mut draw = Draw::of(SEED + 42);
    let (first, last) = (at("2026-08-01T08:00:00Z"), at("2027-10-01T08:00:00Z"));
    let (drifting, begins, counts_a_month) = DRIFTING;
    let mut rows = Vec::new();
    for plot in plots {
        for check in 0..CHECKS {
            let apart = (last - first) as f64 / (CHECKS - 1) as f64;
            let jitter = if check == 0 {
                0.0
            } else {
                draw.between(-6.0, 6.0)
            };
            let taken_at = first + (apart * check as f64 + 86_400.0 * jitter) as i64;
            let temperature = draw.between(11.0, 24.0);
            let water = within(plot, draw.between(0.15, 0.85));
            let (count, theta_v) = beside(&mut draw, plot, water, temperature, plot.scatter, 0.0);
            let months = (taken_at - at(begins)).max(0) as f64 / (30.0 * 86_400.0);
            let drift = if plot.probe == drifting {
                counts_a_month * months
            } else {
                0.0
            };
            rows.push(PairRow {
                sample: format!("{}-check-{}", plot.soil, check + 1),
                soil: plot.soil,
                probe: plot.probe.to_owned(),
                count: tenths(count + drift),
                theta_v,
                soil_temp_c: tenths(temperature),
                level: None,
                batch: None,
                place: None,
                taken_at: second(taken_at),
                media: None,
            });
        }
    }
    rows
}

/// The count beside a core and the core's water content, where the probe has `water`
/// around it.
fn beside(
    draw: &mut Draw,
    plot: &Plot,
    water: f64,
    temperature: f64,
    scatter: f64,
    of_place: f64,
) -> (f64, f64) {
    let core = water + of_place + draw.normal(scatter);
    let count = plot.response.count(water)
        + plot.counts_per_c * (temperature - 20.0)
        + draw.normal(count_u(plot));
    (tenths(count), rounded(core + draw.normal(WEIGHING_U)))
}

/// A water content the calibration knows: `share` of the way from its driest level to
/// its wettest, and not to either end.
fn within(plot: &Plot, share: f64) -> f64 {
    let (wettest, driest) = (plot.levels[0], plot.levels[6]);
    driest + (0.08 + 0.84 * share) * (wettest - driest)
}

fn of_probe<'p>(plots: &'p [Plot], probe: &str) -> &'p Plot {
    let found = plots.iter().find(|plot| plot.probe == probe);
    found.expect("a probe of the scenario")
}

fn at(text: &str) -> i64 {
    text.parse::<Timestamp>().expect("a timestamp").as_second()
}

fn tenths(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

/// To a ten-thousandth.
fn rounded(value: f64) -> f64 {
    (value * 1e4).round() / 1e4
}
