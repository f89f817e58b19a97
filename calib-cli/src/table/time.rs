//! Times as loggers write them: RFC 3339, or the pattern and offset that
//! site.toml declares.

use super::delimited::Sheet;
use super::header::Place;
use crate::findings::{Cell, Findings, Refused};
use calib_core::quantity::Timestamp;
use jiff::civil::DateTime;
use jiff::fmt::strtime::{self, BrokenDownTime};
use jiff::tz::Offset;
use std::cell::OnceCell;

/// A logger clock that was never set counts from 1970 or 2000; no reading is
/// older than this: 2001-01-01T00:00:00Z.
const EARLIEST: i64 = 978_307_200;
/// No reading is younger than this: 2100-01-01T00:00:00Z.
const LATEST: i64 = 4_102_444_800;
/// 2026-11-25T14:05:00Z, for examples: its day is no month and its hour no
/// morning hour, so that patterns cannot be confused.
const EXAMPLE: i64 = 1_795_615_500;

/// Cells looked at when guessing a pattern.
const GUESSED_FROM: usize = 500;

/// Patterns common in exports, tried in this order when a time is not understood.
const COMMON_PATTERNS: [&str; 17] = [
    "%d/%m/%Y %H:%M",
    "%d/%m/%Y %H:%M:%S",
    "%m/%d/%Y %H:%M",
    "%m/%d/%Y %H:%M:%S",
    "%m/%d/%Y %I:%M %p",
    "%m/%d/%Y %I:%M:%S %p",
    "%d.%m.%Y %H:%M",
    "%d.%m.%Y %H:%M:%S",
    "%d-%m-%Y %H:%M",
    "%d-%m-%Y %H:%M:%S",
    "%Y/%m/%d %H:%M",
    "%Y/%m/%d %H:%M:%S",
    "%Y.%m.%d %H:%M:%S",
    "%d/%m/%y %H:%M",
    "%m/%d/%y %H:%M",
    "%d.%m.%y %H:%M",
    "%s",
];

/// How times are written in this workbench.
#[derive(Debug, Clone, Default)]
pub struct Clock {
    /// The declared pattern; RFC 3339 where there is none.
    pub pattern: Option<String>,
    /// The declared offset, for times that carry none.
    pub offset: Option<Offset>,
}

/// What a declared pattern lacks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PatternFault {
    /// It cannot be followed at all.
    Unreadable,
    /// It does not fix the time to the minute.
    Incomplete,
    /// It carries no offset and none is declared.
    NoOffset,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fault {
    /// A date and time, but no offset and none declared.
    NoOffset,
    /// Not RFC 3339.
    NotRfc3339,
    /// Not the declared pattern.
    NotThePattern,
    /// Before [`EARLIEST`].
    ClockNotSet,
    /// After [`LATEST`].
    TooLate,
}

impl Clock {
    /// Checks the declared pattern.
    pub fn check_pattern(&self) -> Result<(), PatternFault> {
        let Some(pattern) = &self.pattern else {
            return Ok(());
        };
        let example = self.example().ok_or(PatternFault::Unreadable)?;
        let broken_down =
            BrokenDownTime::parse(pattern, &example).map_err(|_| PatternFault::Unreadable)?;
        let carries_offset = broken_down.offset().is_some() || broken_down.timestamp().is_some();
        if !carries_offset && self.offset.is_none() {
            return Err(PatternFault::NoOffset);
        }
        match self.parse(&example) {
            Ok(time) if time.as_second() == EXAMPLE => Ok(()),
            Ok(_) => Err(PatternFault::Incomplete),
            Err(_) => Err(PatternFault::Incomplete),
        }
    }

    /// The example time as this clock would write it.
    fn example(&self) -> Option<String> {
        let time = jiff::Timestamp::from_second(EXAMPLE).ok()?;
        let offset = self.offset.unwrap_or(Offset::UTC);
        match &self.pattern {
            None => Some(time.display_with_offset(offset).to_string()),
            Some(pattern) => {
                let mut written = BrokenDownTime::from(offset.to_datetime(time));
                written.set_offset(Some(offset));
                written.set_timestamp(Some(time));
                written.to_string(pattern).ok()
            }
        }
    }

    fn parse(&self, text: &str) -> Result<jiff::Timestamp, Fault> {
        let time = match &self.pattern {
            Some(pattern) => {
                let mut broken_down =
                    strtime::parse(pattern, text).map_err(|_| Fault::NotThePattern)?;
                if broken_down.offset().is_none() {
                    broken_down.set_offset(self.offset);
                }
                broken_down
                    .to_timestamp()
                    .map_err(|_| Fault::NotThePattern)?
            }
            None => match text.parse() {
                Ok(time) => time,
                Err(_) => {
                    let civil: DateTime = text.parse().map_err(|_| Fault::NotRfc3339)?;
                    if !text.contains(':') {
                        return Err(Fault::NotRfc3339);
                    }
                    let offset = self.offset.ok_or(Fault::NoOffset)?;
                    offset.to_timestamp(civil).map_err(|_| Fault::NotRfc3339)?
                }
            },
        };
        match time.as_second() {
            second if second < EARLIEST => Err(Fault::ClockNotSet),
            second if second > LATEST => Err(Fault::TooLate),
            _ => Ok(time),
        }
    }
}

/// The offset written in `text`: `Z`, `+01:00` or `+0100`, at most 14 hours.
pub fn parse_offset(text: &str) -> Option<Offset> {
    if text == "Z" {
        return Some(Offset::UTC);
    }
    ["%:z", "%z"]
        .iter()
        .find_map(|pattern| BrokenDownTime::parse(pattern, text).ok())
        .and_then(|broken_down| broken_down.offset())
        .filter(|offset| offset.seconds().abs() <= 14 * 3600)
}

/// A time as the core counts it.
pub fn whole_seconds(time: jiff::Timestamp) -> Timestamp {
    Timestamp(time.as_nanosecond().div_euclid(1_000_000_000) as i64)
}

/// Reads the times of one column.
#[derive(Debug)]
pub struct Times<'a> {
    clock: &'a Clock,
    sheet: &'a Sheet<'a>,
    place: Place,
    advice: OnceCell<String>,
}

impl<'a> Times<'a> {
    /// For the column at `place` of `sheet`.
    pub fn in_column(clock: &'a Clock, sheet: &'a Sheet<'a>, place: Place) -> Self {
        Self {
            clock,
            sheet,
            place,
            advice: OnceCell::new(),
        }
    }

    /// The time in `cell`.
    pub fn read(
        &self,
        cell: Cell<'_>,
        findings: &mut Findings,
    ) -> Result<jiff::Timestamp, Refused> {
        if cell.text.is_empty() {
            return findings
                .refuse(cell.complaint("is empty", "write the time, or remove the row"));
        }
        let fault = match self.clock.parse(cell.text) {
            Ok(time) => return Ok(time),
            Err(fault) => fault,
        };
        let (what, mend) = match fault {
            Fault::NoOffset => (
                "does not say its offset from UTC".to_owned(),
                "declare it for all times with utc_offset = \"+01:00\" (your own) under [site] \
                 in site.toml, or write it behind each time"
                    .to_owned(),
            ),
            Fault::NotRfc3339 => (
                "is not a time in RFC 3339 form".to_owned(),
                self.advice
                    .get_or_init(|| {
                        advise(
                            self.clock,
                            &self.sheet.first_cells(self.place, GUESSED_FROM),
                        )
                    })
                    .clone(),
            ),
            Fault::NotThePattern => (
                format!(
                    "does not follow time_format \"{}\" of site.toml",
                    self.clock.pattern.as_deref().unwrap_or_default()
                ),
                format!(
                    "write it like {}, or declare the pattern the file has",
                    self.clock.example().unwrap_or_default()
                ),
            ),
            Fault::ClockNotSet => (
                "is before 2001: the logger's clock was not set".to_owned(),
                "set the clock; remove these rows, or correct their times if you know by how much"
                    .to_owned(),
            ),
            Fault::TooLate => (
                "is after 2099".to_owned(),
                "correct the year, or time_format in site.toml".to_owned(),
            ),
        };
        findings.refuse(cell.complaint(what, mend))
    }
}

/// What to do about a column of times that are not RFC 3339.
fn advise(clock: &Clock, cells: &[String]) -> String {
    let fits = |pattern: &&str| {
        let guess = Clock {
            pattern: Some((*pattern).to_owned()),
            offset: Some(Offset::UTC),
        };
        !cells.is_empty() && cells.iter().all(|cell| guess.parse(cell).is_ok())
    };
    let offset = match clock.offset {
        Some(_) => "",
        None => " and utc_offset = \"+01:00\" (your own)",
    };
    let patterns: Vec<&str> = COMMON_PATTERNS.iter().copied().filter(fits).collect();
    match patterns.as_slice() {
        ["%s", ..] => {
            "declare time_format = \"%s\" (seconds since 1970) under [site] in site.toml".to_owned()
        }
        [only] => {
            format!("declare time_format = \"{only}\"{offset} under [site] in site.toml")
        }
        [one, other, ..] => format!(
            "declare time_format = \"{one}\" or \"{other}\", whichever the logger means,{offset} \
             under [site] in site.toml"
        ),
        [] if cells.iter().all(|cell| is_day_number(cell)) => {
            "it is a spreadsheet's day number: format the column as yyyy-mm-dd hh:mm:ss and \
             export again"
                .to_owned()
        }
        [] => "write it like 2026-11-25T14:05:00+01:00, or declare the pattern of the file as \
               time_format under [site] in site.toml"
            .to_owned(),
    }
}

/// Days since 1900, as spreadsheets store times: 36 000 is 1998, 60 000 is 2064.
fn is_day_number(text: &str) -> bool {
    text.replace(',', ".")
        .parse()
        .is_ok_and(|days: f64| (36_000.0..60_000.0).contains(&days))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clock(pattern: Option<&str>, offset: Option<&str>) -> Clock {
        Clock {
            pattern: pattern.map(str::to_owned),
            offset: offset.map(|text| parse_offset(text).unwrap()),
        }
    }

    fn seconds(clock: &Clock, text: &str) -> Result<i64, Fault> {
        clock.parse(text).map(|time| whole_seconds(time).0)
    }

    #[test]
    fn rfc_3339_needs_no_declaration() {
        let clock = Clock::default();
        for text in [
            "2026-11-25T14:05:00Z",
            "2026-11-25T15:05:00+01:00",
            "2026-11-25 14:05:00.9Z",
            "2026-11-25t09:05:00-05:00",
        ] {
            assert_eq!(seconds(&clock, text), Ok(EXAMPLE), "{text}");
        }
    }

    #[test]
    fn a_time_without_offset_takes_the_declared_one_or_is_refused() {
        let text = "2026-11-25T15:05:00";
        assert_eq!(seconds(&clock(None, Some("+01:00")), text), Ok(EXAMPLE));
        assert_eq!(seconds(&Clock::default(), text), Err(Fault::NoOffset));
    }

    #[test]
    fn a_date_alone_is_not_a_time() {
        let clock = clock(None, Some("Z"));
        assert_eq!(seconds(&clock, "2026-11-25"), Err(Fault::NotRfc3339));
    }

    #[test]
    fn a_declared_pattern_is_followed_with_the_declared_offset() {
        let clock = clock(Some("%d/%m/%Y %H:%M"), Some("+01:00"));
        assert_eq!(clock.check_pattern(), Ok(()));
        assert_eq!(seconds(&clock, "25/11/2026 15:05"), Ok(EXAMPLE));
        assert_eq!(
            seconds(&clock, "31/02/2026 15:05"),
            Err(Fault::NotThePattern)
        );
        assert_eq!(clock.example().as_deref(), Some("25/11/2026 15:05"));
    }

    #[test]
    fn seconds_since_1970_need_no_offset() {
        let clock = clock(Some("%s"), None);
        assert_eq!(clock.check_pattern(), Ok(()));
        assert_eq!(seconds(&clock, "1795615500"), Ok(EXAMPLE));
    }

    #[test]
    fn an_offset_in_the_pattern_goes_before_the_declared_one() {
        let clock = clock(Some("%Y-%m-%d %H:%M %z"), Some("+05:00"));
        assert_eq!(clock.check_pattern(), Ok(()));
        assert_eq!(seconds(&clock, "2026-11-25 15:05 +0100"), Ok(EXAMPLE));
    }

    #[test]
    fn a_pattern_that_does_not_fix_the_minute_is_refused() {
        let fault = |pattern, offset| clock(Some(pattern), offset).check_pattern().unwrap_err();
        assert_eq!(fault("%d/%m/%Y", Some("Z")), PatternFault::Incomplete);
        assert_eq!(fault("%d/%m %H:%M", Some("Z")), PatternFault::Incomplete);
        assert_eq!(fault("%d/%m/%Y %I:%M", Some("Z")), PatternFault::Incomplete);
        assert_eq!(fault("%d/%m/%Y %H:%M", None), PatternFault::NoOffset);
        assert_eq!(fault("%d/%m/%Y %H:%", Some("Z")), PatternFault::Unreadable);
        assert_eq!(
            fault("dd/mm/yyyy hh:mm", Some("Z")),
            PatternFault::Incomplete
        );
    }

    #[test]
    fn a_clock_that_was_never_set_is_recognised() {
        let clock = Clock::default();
        assert_eq!(
            seconds(&clock, "1970-01-01T00:03:00Z"),
            Err(Fault::ClockNotSet)
        );
        assert_eq!(
            seconds(&clock, "2000-01-01T00:03:00Z"),
            Err(Fault::ClockNotSet)
        );
        assert_eq!(seconds(&clock, "2165-01-01T00:03:00Z"), Err(Fault::TooLate));
    }

    #[test]
    fn the_pattern_of_a_column_is_guessed_from_all_its_cells() {
        let advice = |cells: &[&str]| {
            let cells: Vec<String> = cells.iter().map(|c| (*c).to_owned()).collect();
            advise(&Clock::default(), &cells)
        };
        assert!(
            advice(&["25/11/2026 14:05"])
                .starts_with("declare time_format = \"%d/%m/%Y %H:%M\" and")
        );
        assert!(
            advice(&["5/6/2026 14:05"])
                .starts_with("declare time_format = \"%d/%m/%Y %H:%M\" or \"%m/%d/%Y %H:%M\"")
        );
        assert!(
            advice(&["5/6/2026 14:05", "5/13/2026 14:05"])
                .starts_with("declare time_format = \"%m/%d/%Y %H:%M\" and")
        );
        assert!(advice(&["5/13/2026 2:05 PM"]).contains("\"%m/%d/%Y %I:%M %p\""));
        assert!(advice(&["1795615500"]).contains("\"%s\""));
        assert!(advice(&["46351,5868"]).contains("day number"));
        assert!(advice(&["yesterday"]).contains("write it like"));
    }

    #[test]
    fn offsets_beyond_fourteen_hours_are_none() {
        assert!(parse_offset("+01:00").is_some());
        assert!(parse_offset("-0330").is_some());
        assert!(parse_offset("+25:00").is_none());
        assert!(parse_offset("CET").is_none());
    }
}
