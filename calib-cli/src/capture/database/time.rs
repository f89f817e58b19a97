//! Times as databases keep them.

use super::refusal::{Column, Table, not_read};
use super::{Asked, option, quoted, text_of};
use crate::capture::When;
use crate::failure::Failure;
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::Offset;
use rusqlite::{Connection, OptionalExtension};

/// Julian day of 1970-01-01T00:00:00Z: days are counted from noon.
const JULIAN_DAY_OF_1970: f64 = 2_440_587.5;
const SECONDS_PER_DAY: f64 = 86_400.0;

/// How a column keeps times.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum TimeUnit {
    /// Text: RFC 3339, or as time_format and utc_offset of site.toml say
    Text,
    /// Text in UTC, as SQLite's CURRENT_TIMESTAMP writes it; an offset that stands there
    /// counts
    UtcText,
    /// Seconds since 1970 (Unix)
    Seconds,
    /// Milliseconds since 1970
    Milliseconds,
    /// Julian days, as SQLite's julianday() gives them
    JulianDays,
}

impl TimeUnit {
    /// The name of the option's value.
    fn name(self) -> &'static str {
        match self {
            TimeUnit::Text => "text",
            TimeUnit::UtcText => "utc-text",
            TimeUnit::Seconds => "seconds",
            TimeUnit::Milliseconds => "milliseconds",
            TimeUnit::JulianDays => "julian-days",
        }
    }

    /// The time that `text` means; `None` if it means none. Text is given its meaning
    /// later, by the rules of site.toml.
    pub fn time(self, text: &str) -> Option<When> {
        // To the millisecond: a double has no more of a Julian day.
        let at_ms = |ms: f64| {
            let within = ms.is_finite() && ms.abs() < 1e15;
            within
                .then(|| Timestamp::from_millisecond(ms.round() as i64).ok())
                .flatten()
        };
        let number = || text.parse::<f64>().ok();
        let time = match self {
            TimeUnit::Text => return Some(When::Written(text.to_owned())),
            TimeUnit::UtcText => text.parse::<Timestamp>().ok().or_else(|| {
                let civil: DateTime = text.parse().ok().filter(|_| text.contains(':'))?;
                Offset::UTC.to_timestamp(civil).ok()
            }),
            TimeUnit::Seconds => at_ms(number()? * 1000.0),
            TimeUnit::Milliseconds => at_ms(number()?),
            TimeUnit::JulianDays => {
                at_ms((number()? - JULIAN_DAY_OF_1970) * SECONDS_PER_DAY * 1000.0)
            }
        };
        time.map(When::At)
    }

    /// The unit that `text` is more likely in, and what it means in this one, if that
    /// is no time of this century's and in the other it is.
    fn doubted_for(self, text: &str) -> Option<(Self, Timestamp)> {
        let likely = Self::of_number(text.parse().ok()?)?;
        match self.time(text)? {
            When::At(time) if likely != self => Some((likely, time)),
            _ => None,
        }
    }

    /// What a number is in if it is a time of this century's first decades.
    fn of_number(number: f64) -> Option<Self> {
        // 2001-09-09 to 2100-01-01, and the same in the other units.
        match number {
            1e9..4_102_444_800.0 => Some(TimeUnit::Seconds),
            1e12..4_102_444_800_000.0 => Some(TimeUnit::Milliseconds),
            2_451_545.0..2_488_070.0 => Some(TimeUnit::JulianDays),
            _ => None,
        }
    }
}

/// The unit of the column of times, and what to tell of it if it was not said. `rowid`
/// is what the number of a row is called.
///
/// # Errors
/// [`Failure::Input`] if the first row does not go with it.
pub fn unit(
    connection: &Connection,
    asked: &Asked,
    table: &Table,
    rowid: &str,
) -> Result<(TimeUnit, Option<String>), Failure> {
    let trouble = |error: rusqlite::Error| Failure::from(not_read(&asked.file, &error));
    let column = quoted(&asked.time);
    let at_the = |end: &str| {
        let text = connection.query_row(
            &format!(
                "SELECT {column} FROM {} WHERE {column} IS NOT NULL {end} LIMIT 1",
                quoted(&table.name)
            ),
            [],
            |row| Ok(text_of(row.get_ref(0)?)),
        );
        text.optional().map(Option::flatten).map_err(trouble)
    };
    let first = at_the("")?;
    let by_default = || {
        let filled = table
            .columns
            .iter()
            .find(|column| column.name.eq_ignore_ascii_case(&asked.time));
        filled.is_some_and(is_filled_in_utc)
    };
    // What the logger itself puts in may be text of another kind.
    let utc = || {
        let of_utc = |first: &String| {
            first.parse::<f64>().is_ok() || TimeUnit::UtcText.time(first).is_some()
        };
        by_default() && first.as_ref().is_none_or(of_utc)
    };
    let (unit, note) = match asked.unit {
        Some(unit) => (unit, None),
        None if utc() => (
            TimeUnit::UtcText,
            Some(format!(
                "{} is filled by CURRENT_TIMESTAMP, which is UTC: times without an offset are read as UTC (--time-unit utc-text)",
                asked.time
            )),
        ),
        None => (TimeUnit::Text, None),
    };
    let Some(first) = first else {
        return Ok((unit, note));
    };
    let number = first.parse::<f64>().ok();
    // A pattern of site.toml may take numbers, `%s`; only an unsaid unit is doubted.
    let text_for_number = asked.unit.is_none() && number.is_some();
    if !text_for_number && unit.time(&first).is_some() {
        let last = match unit.doubted_for(&first) {
            Some(_) => at_the(&format!("ORDER BY {rowid} DESC"))?,
            None => None,
        };
        // Early rows alone may be of a clock that was not set.
        if let Some(last) = last
            && let Some((likely, read_as)) = unit.doubted_for(&last)
        {
            return Err(option(
                "--time-unit",
                unit.name(),
                format!(
                    "makes {last} in column {} the time {read_as}: the unit is another",
                    asked.time
                ),
                format!("write --time-unit {}", likely.name()),
            )
            .into());
        }
        return Ok((unit, note));
    }
    let likely = match number {
        Some(number) => TimeUnit::of_number(number),
        None => Some(TimeUnit::Text),
    };
    let (what, mend) = match (asked.unit, likely) {
        (None, Some(likely)) => (
            format!("holds numbers, like {first}, and no unit is said for them"),
            format!(
                "add --time-unit {}, if that is what they are",
                likely.name()
            ),
        ),
        (None, None) => (
            format!("holds numbers, like {first}, which are no time in a unit known here"),
            "name the column that holds the times".to_owned(),
        ),
        (Some(unit), likely) => (
            format!("holds {first}, which is no time in {}", unit.name()),
            match likely.filter(|likely| *likely != unit) {
                Some(likely) => format!("write --time-unit {}", likely.name()),
                None => "name the column that holds the times, and its --time-unit".to_owned(),
            },
        ),
    };
    Err(option("--time-column", &asked.time, what, mend).into())
}

/// Whether the database itself fills the column with the time in UTC.
fn is_filled_in_utc(column: &Column) -> bool {
    let default = column.default.as_deref().unwrap_or_default();
    let default = default.to_uppercase().replace([' ', '(', ')'], "");
    default == "CURRENT_TIMESTAMP" || default == "DATETIME'NOW'"
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(unit: TimeUnit, text: &str) -> Option<String> {
        match unit.time(text)? {
            When::At(time) => Some(time.to_string()),
            other => Some(format!("{other:?}")),
        }
    }

    #[test]
    fn the_noon_that_began_2000_is_the_same_in_every_unit() {
        // Julian day 2451545.0 by its definition; 946728000 Unix seconds.
        for (unit, text) in [
            (TimeUnit::JulianDays, "2451545"),
            (TimeUnit::Seconds, "946728000"),
            (TimeUnit::Milliseconds, "946728000000"),
            (TimeUnit::UtcText, "2000-01-01 12:00:00"),
            (TimeUnit::UtcText, "2000-01-01T14:00:00+02:00"),
        ] {
            assert_eq!(
                at(unit, text).as_deref(),
                Some("2000-01-01T12:00:00Z"),
                "{unit:?}"
            );
        }
        assert_eq!(
            at(TimeUnit::Seconds, "1780000000.25").as_deref(),
            Some("2026-05-28T20:26:40.25Z")
        );
    }

    #[test]
    fn what_is_no_time_is_none() {
        for (unit, text) in [
            (TimeUnit::Seconds, ""),
            (TimeUnit::Seconds, "yesterday"),
            (TimeUnit::Seconds, "NaN"),
            (TimeUnit::Seconds, "1e300"),
            (TimeUnit::UtcText, "2026-05-04"),
        ] {
            assert_eq!(at(unit, text), None, "{text}");
        }
    }
}
