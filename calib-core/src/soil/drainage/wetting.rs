//! Where a log shows the soil soaked and then left alone.

use super::hours::{Hours, Wetting};

/// Rise of theta_v within [`RISE_HOURS`] that is worth following, m3/m3: a few
/// millimetres over a root zone drain nowhere. Our choice.
const LEAST_RISE: f64 = 0.02;

/// Hours in which a soaking rises by that.
const RISE_HOURS: usize = 12;

/// Hours from the start of a rise in which its highest hour is looked for.
const PEAK_HOURS: usize = 24;

/// Rise above the driest hour since the peak that is water and not noise, m3/m3.
/// Our choice; tells of wetting where the log has neither rain nor pump.
const RISE_WHILE_DRAINING: f64 = 0.01;

/// Neither rise counts unless it is this many standard deviations of one hour's theta_v:
/// of 96 hours the wettest and the driest lie some 5 apart by chance. Our choice.
const LEAST_RISE_OVER_NOISE: f64 = 7.0;

/// Longest gap in the log across which drainage is followed, hours. Our choice.
const LONGEST_GAP: usize = 6;

/// Longest drainage followed, hours: after four days little is left to drain, and
/// what leaves is the crop's.
pub(super) const LONGEST: usize = 96;

/// What ended the time a soaked soil was left alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum EndedBy {
    /// All the hours that are followed at most were seen.
    Nothing,
    /// Rain.
    Rain,
    /// The pump.
    Irrigation,
    /// theta_v rose again, though the log has no water for it.
    Rise,
    /// A gap in the log.
    Gap,
    /// The log's end.
    LogEnd,
}

/// A soaking and the time after it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Soaking {
    /// The last hour that was still being wetted.
    pub(super) peak: usize,
    /// Highest theta_v, m3/m3.
    pub(super) wettest: f64,
    /// Hours from there that were left alone.
    pub(super) hours: usize,
    /// What ended them.
    pub(super) ended_by: EndedBy,
}

/// Every soaking of a log, in order of time.
pub(super) fn soakings(log: &Hours) -> Vec<Soaking> {
    let mut found = Vec::new();
    let by_noise = LEAST_RISE_OVER_NOISE * log.noise();
    let mut at = 0;
    while at < log.hours.len() {
        match soaking_from(log, at, by_noise) {
            Some(soaking) => {
                at = soaking.peak + soaking.hours.max(1);
                found.push(soaking);
            }
            None => at += 1,
        }
    }
    found
}

fn theta(log: &Hours, hour: usize) -> Option<f64> {
    log.hours.get(hour)?.theta_v
}

/// The soaking whose rise starts at hour `start`, if one does; a rise below `by_noise`
/// does not count.
fn soaking_from(log: &Hours, start: usize, by_noise: f64) -> Option<Soaking> {
    let before = theta(log, start)?;
    let highest = |hours: usize| {
        (start..=start + hours)
            .filter_map(|hour| Some((hour, theta(log, hour)?)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
    };
    let (_, soon) = highest(RISE_HOURS)?;
    if soon - before < LEAST_RISE.max(by_noise) {
        return None;
    }
    // The rise starts at its driest hour, not somewhere on the way down to it.
    if theta(log, start + 1).is_some_and(|next| next < before) {
        return None;
    }
    let (highest_hour, wettest) = highest(PEAK_HOURS)?;
    let mut peak = highest_hour;
    while log.hours.get(peak + 1).is_some_and(|h| h.wetting.is_some()) {
        peak += 1;
    }
    let (hours, ended_by) = left_alone(log, peak, RISE_WHILE_DRAINING.max(by_noise));
    Some(Soaking {
        peak,
        wettest,
        hours,
        ended_by,
    })
}

/// Hours after `peak` in which nothing was added, and what ended them: rain, pump, or
/// theta_v higher by `rise` than it had been.
fn left_alone(log: &Hours, peak: usize, rise: f64) -> (usize, EndedBy) {
    let mut driest = f64::INFINITY;
    let mut silent = 0;
    for since in 1..=LONGEST {
        let Some(hour) = log.hours.get(peak + since) else {
            return (since - 1 - silent, EndedBy::LogEnd);
        };
        match hour.wetting {
            Some(Wetting::Rain) => return (since - 1, EndedBy::Rain),
            Some(Wetting::Irrigation) => return (since - 1, EndedBy::Irrigation),
            None => {}
        }
        let Some(theta) = hour.theta_v else {
            silent += 1;
            if silent > LONGEST_GAP {
                return (since - silent, EndedBy::Gap);
            }
            continue;
        };
        silent = 0;
        // One hour may stray; water stays.
        let next = log
            .hours
            .get(peak + since + 1)
            .and_then(|hour| hour.theta_v);
        if theta.min(next.unwrap_or(theta)) > driest + rise {
            return (since - 1, EndedBy::Rise);
        }
        driest = driest.min(theta);
    }
    (LONGEST, EndedBy::Nothing)
}

#[cfg(test)]
mod tests {
    use super::super::hours::LoggedWater;
    use super::*;
    use crate::quantity::Timestamp;

    /// An hour: theta_v and, where there was any, what wetted it.
    type Row = (Option<f64>, Option<Wetting>);

    /// A log with a row an hour.
    fn log(rows: impl IntoIterator<Item = Row>) -> Hours {
        let mut hours = Hours::default();
        for (hour, (theta_v, wetting)) in rows.into_iter().enumerate() {
            hours.push(LoggedWater {
                time: Timestamp(3600 * hour as i64),
                theta_v,
                pump_on: Some(wetting == Some(Wetting::Irrigation)),
                rain_mm: Some(if wetting == Some(Wetting::Rain) {
                    5.0
                } else {
                    0.0
                }),
            });
        }
        hours.finish()
    }

    /// Dry for ten hours, rained on for three, then draining.
    fn soaked(after: usize) -> Vec<Row> {
        let mut rows = vec![(Some(0.20), None); 10];
        for theta in [0.26, 0.30, 0.34] {
            rows.push((Some(theta), Some(Wetting::Rain)));
        }
        rows.extend((1..=after).map(|h| (Some(0.33 * (h as f64).powf(-0.05)), None)));
        rows
    }

    fn only(rows: Vec<Row>) -> Soaking {
        let found = soakings(&log(rows));
        assert_eq!(found.len(), 1, "{found:?}");
        found[0]
    }

    #[test]
    fn a_soaking_left_alone_is_followed_for_four_days() {
        let found = only(soaked(150));
        assert_eq!((found.peak, found.hours), (12, LONGEST));
        assert_eq!(found.ended_by, EndedBy::Nothing);
        assert_eq!(found.wettest, 0.34);
    }

    #[test]
    fn rain_pump_rise_gap_and_the_end_of_the_log_end_it() {
        let ended = |change: &dyn Fn(&mut Vec<Row>)| {
            let mut rows = soaked(90);
            change(&mut rows);
            let found = soakings(&log(rows))[0];
            (found.hours, found.ended_by)
        };
        assert_eq!(ended(&|_| {}), (90, EndedBy::LogEnd));
        assert_eq!(
            ended(&|rows| rows[43].1 = Some(Wetting::Rain)),
            (30, EndedBy::Rain)
        );
        assert_eq!(
            ended(&|rows| rows[43].1 = Some(Wetting::Irrigation)),
            (30, EndedBy::Irrigation)
        );
        assert_eq!(
            ended(&|rows| for row in &mut rows[43..] {
                row.0 = row.0.map(|theta| theta + 0.015);
            }),
            (30, EndedBy::Rise)
        );
        assert_eq!(
            ended(&|rows| for row in &mut rows[43..50] {
                row.0 = None;
            }),
            (30, EndedBy::Gap)
        );
        let bridged = ended(&|rows| {
            for row in &mut rows[43..49] {
                row.0 = None;
            }
        });
        assert_eq!(bridged, (90, EndedBy::LogEnd));
    }

    #[test]
    fn a_small_rise_or_none_is_no_soaking() {
        let steady = log((0..200).map(|h| (Some(0.2 + 0.015 * f64::from(h % 2)), None)));
        assert!(soakings(&steady).is_empty());
        assert!(soakings(&Hours::default()).is_empty());
    }

    #[test]
    fn two_soakings_are_two() {
        let mut rows = soaked(60);
        rows.extend(soaked(60));
        let found = soakings(&log(rows));
        assert_eq!(found.len(), 2, "{found:?}");
        assert_eq!(found[0].hours, 60 + 10);
    }
}
