//! Days as the core counts them, and as people write them.

use crate::table::rfc_3339;
use calib_core::quantity::Timestamp;
use jiff::civil::Date;
use jiff::tz::Offset;

const DAY_S: f64 = 86_400.0;
/// Most dates named on a chart.
const MOST_NAMED: usize = 5;

/// The beginning of a day; `None` where the text is no date.
pub(super) type Midnight = Option<Timestamp>;

/// The beginning of the day written `YYYY-MM-DD`, UTC.
pub(super) fn midnight(date: &str) -> Midnight {
    let date: Date = date.parse().ok()?;
    let start = Offset::UTC.to_timestamp(date.at(0, 0, 0, 0)).ok()?;
    Some(Timestamp(start.as_second()))
}

/// The day of `time` as `YYYY-MM-DD`, UTC.
pub(super) fn day(time: Timestamp) -> String {
    rfc_3339(time).chars().take(10).collect()
}

/// So many days after `time`.
pub(super) fn after(time: Timestamp, days: f64) -> Timestamp {
    Timestamp(time.0.saturating_add((days * DAY_S).round() as i64))
}

/// Days from `from` to `to`.
pub(super) fn days(from: Timestamp, to: Timestamp) -> f64 {
    to.seconds_since(from) as f64 / DAY_S
}

/// First days of months between two times, as days since `from` and `YYYY-MM`, evenly far
/// apart and few.
pub(super) fn months(from: Timestamp, to: Timestamp) -> Vec<(f64, String)> {
    let first = day(from);
    let (Some(year), Some(month)) = (
        first.get(..4).and_then(|year| year.parse::<i64>().ok()),
        first.get(5..7).and_then(|month| month.parse::<i64>().ok()),
    ) else {
        return Vec::new();
    };
    let starts: Vec<(i64, f64, String)> = (0..=12 * 60)
        .map(|i| {
            let months = year * 12 + month - 1 + i;
            (
                months,
                format!(
                    "{:04}-{:02}",
                    months.div_euclid(12),
                    months.rem_euclid(12) + 1
                ),
            )
        })
        .filter_map(|(months, name)| {
            let start = midnight(&format!("{name}-01"))?;
            Some((months, days(from, start), name))
        })
        .filter(|(_, day, _)| *day >= 0.0)
        .take_while(|(_, day, _)| *day <= days(from, to))
        .collect();
    [1, 2, 3, 6, 12, 24, 60]
        .into_iter()
        .map(|step| {
            starts
                .iter()
                .filter(|(months, ..)| months % step == 0)
                .map(|(_, day, name)| (*day, name.clone()))
                .collect::<Vec<_>>()
        })
        .find(|named| named.len() <= MOST_NAMED)
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_read_and_written_alike() {
        let start = midnight("2026-03-29").unwrap();
        assert_eq!(day(start), "2026-03-29");
        assert_eq!(day(after(start, 365.0)), "2027-03-29");
        assert_eq!(days(start, after(start, 12.5)), 12.5);
        assert_eq!(midnight("29.3.2026"), None);
    }

    #[test]
    fn a_few_months_are_named_however_long_it_took() {
        let start = midnight("2026-03-29").unwrap();
        for length in [3.0, 40.0, 170.0, 400.0, 1500.0, 6000.0] {
            let named = months(start, after(start, length));
            assert!(named.len() <= MOST_NAMED, "{named:?}");
            assert!(named.iter().all(|(day, _)| (0.0..=length).contains(day)));
        }
        let year = months(start, after(start, 400.0));
        assert_eq!(year[0].1, "2026-04");
        assert_eq!(year[0].0, 3.0);
    }
}
