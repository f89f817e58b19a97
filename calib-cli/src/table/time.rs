//! Times as spreadsheets and loggers write them: in the patterns and with the
//! offset that site.toml declares, and always in RFC 3339 form too.

use super::delimited::Sheet;
use super::header::Place;
use crate::failure::Complaint;
use crate::findings::{Cell, Findings, Refused};
use calib_core::quantity::Timestamp;
use jiff::civil::{Date, DateTime};
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
    /// The declared patterns, tried in this order before RFC 3339.
    pub patterns: Vec<String>,
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
    /// Checks one declared pattern: first that it is sound, then that its times
    /// have an offset.
    pub fn check_pattern(&self, pattern: &str) -> Result<(), PatternFault> {
        let example = self.example(pattern).ok_or(PatternFault::Unreadable)?;
        let broken_down =
            BrokenDownTime::parse(pattern, &example).map_err(|_| PatternFault::Unreadable)?;
        match follow(pattern, &example, self.offset.or(Some(Offset::UTC))) {
            Some(time) if time.as_second() == EXAMPLE => {}
            _ => return Err(PatternFault::Incomplete),
        }
        let carries_offset = broken_down.offset().is_some() || broken_down.timestamp().is_some();
        if carries_offset || self.offset.is_some() {
            Ok(())
        } else {
            Err(PatternFault::NoOffset)
        }
    }

    /// The example time as `pattern` writes it.
    fn example(&self, pattern: &str) -> Option<String> {
        let time = jiff::Timestamp::from_second(EXAMPLE).ok()?;
        let offset = self.offset.unwrap_or(Offset::UTC);
        let mut written = BrokenDownTime::from(offset.to_datetime(time));
        written.set_offset(Some(offset));
        written.set_timestamp(Some(time));
        written.to_string(pattern).ok()
    }

    fn parse(&self, text: &str) -> Result<jiff::Timestamp, Fault> {
        let declared = self
            .patterns
            .iter()
            .find_map(|pattern| follow(pattern, text, self.offset));
        let time = match declared {
            Some(time) => time,
            None => self.rfc_3339(text)?,
        };
        match time.as_second() {
            second if second < EARLIEST => Err(Fault::ClockNotSet),
            second if second > LATEST => Err(Fault::TooLate),
            _ => Ok(time),
        }
    }

    /// The time `text` means, if it means one.
    pub fn time(&self, text: &str) -> Option<jiff::Timestamp> {
        self.parse(text).ok()
    }

    /// The time `text` means, written in RFC 3339 form with the offset it was written
    /// with; `None` where it means none, has that form already, or means another time by
    /// another of the declared patterns: what was written is then the only evidence.
    pub fn as_rfc_3339(&self, text: &str) -> Option<String> {
        let time = self.time(text)?;
        let mut meant = self
            .patterns
            .iter()
            .filter_map(|pattern| follow(pattern, text, self.offset));
        if meant.any(|meant| meant != time) {
            return None;
        }
        if text.parse().is_ok_and(|read: jiff::Timestamp| read == time) {
            return None;
        }
        let by_pattern = self.patterns.iter().find_map(|pattern| {
            follow(pattern, text, self.offset)?;
            strtime::parse(pattern, text).ok()
        });
        let offset = match by_pattern {
            Some(broken_down) if broken_down.timestamp().is_some() => Offset::UTC,
            Some(broken_down) => broken_down.offset().or(self.offset)?,
            None => self.offset?,
        };
        Some(if offset == Offset::UTC {
            time.to_string()
        } else {
            time.display_with_offset(offset).to_string()
        })
    }

    /// The time in RFC 3339 form, which is understood whatever is declared: the two
    /// tables often come from different machines.
    fn rfc_3339(&self, text: &str) -> Result<jiff::Timestamp, Fault> {
        let fault = if self.patterns.is_empty() {
            Fault::NotRfc3339
        } else {
            Fault::NotThePattern
        };
        if let Ok(time) = text.parse() {
            return Ok(time);
        }
        let civil: DateTime = text.parse().map_err(|_| fault)?;
        if !text.contains(':') {
            return Err(fault);
        }
        let offset = self.offset.ok_or(Fault::NoOffset)?;
        offset.to_timestamp(civil).map_err(|_| fault)
    }

    /// The declared patterns in quotation marks.
    fn quoted(&self) -> Vec<String> {
        self.patterns.iter().map(|p| format!("\"{p}\"")).collect()
    }

    /// The declared patterns as they would stand in site.toml with `more` added.
    fn list_with(&self, more: &str) -> String {
        let mut quoted = self.quoted();
        quoted.push(format!("\"{more}\""));
        format!("time_format = [{}]", quoted.join(", "))
    }
}

/// The time `text` means by `pattern`; `offset` is for a pattern that carries none.
fn follow(pattern: &str, text: &str, offset: Option<Offset>) -> Option<jiff::Timestamp> {
    let mut broken_down = strtime::parse(pattern, text).ok()?;
    if broken_down.offset().is_none() {
        broken_down.set_offset(offset);
    }
    broken_down.to_timestamp().ok()
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

/// The time in `cell`, in RFC 3339 form with its offset, or noon UTC of a day alone:
/// for a table that goes without site.toml, and for events that need no hour.
pub fn day_or_time(cell: Cell<'_>, findings: &mut Findings) -> Result<Timestamp, Refused> {
    const NOON: i64 = 12 * 3600;
    let day = (cell.text.len() == "2026-11-25".len())
        .then(|| cell.text.parse::<Date>().ok())
        .flatten()
        .and_then(|day| Offset::UTC.to_timestamp(day.at(0, 0, 0, 0)).ok())
        .map(|midnight| Timestamp(midnight.as_second() + NOON));
    let time = day.or_else(|| cell.text.parse().ok().map(whole_seconds));
    match time {
        Some(time) if (EARLIEST..=LATEST).contains(&time.0) => Ok(time),
        Some(_) => findings.refuse(cell.complaint(
            "is before 2001 or after 2099",
            "correct the year, or leave the cell empty if it is not known",
        )),
        None => findings.refuse(no_such_day(cell).unwrap_or_else(|| {
            cell.complaint(
                "is neither a day nor a time in RFC 3339 form with its offset",
                "write it like 2026-11-25 or 2026-11-25T14:05:00+01:00",
            )
        })),
    }
}

/// That the day in year-month-day form that `cell` begins with is in no calendar.
fn no_such_day(cell: Cell<'_>) -> Option<Complaint> {
    const MONTHS: [&str; 12] = [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ];
    let mut parts = cell.text.get(..10)?.split('-');
    let (year, month, day): (i16, i8, i8) = (
        parts.next().filter(|year| year.len() == 4)?.parse().ok()?,
        parts.next()?.parse().ok()?,
        parts.next()?.parse().ok()?,
    );
    let Ok(first) = Date::new(year, month, 1) else {
        return Some(cell.complaint(
            format!("names month {month}: there are 1 to 12"),
            "write the year, then the month, then the day, like 2026-11-25",
        ));
    };
    let last = first.days_in_month();
    if (1..=last).contains(&day) {
        return None;
    }
    let name = MONTHS.get(usize::try_from(month - 1).ok()?)?;
    Some(cell.complaint(
        format!("is no day of the calendar: {name} {year} has {last} days"),
        "correct the day",
    ))
}

/// A time of the core as RFC 3339 text; empty beyond the calendar.
pub fn rfc_3339(time: Timestamp) -> String {
    jiff::Timestamp::from_second(time.0).map_or_else(|_| String::new(), |time| time.to_string())
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
        if matches!(fault, Fault::NotRfc3339 | Fault::NotThePattern)
            && let Some(complaint) = no_such_day(cell)
        {
            return findings.refuse(complaint);
        }
        let (what, mend) = match fault {
            Fault::NoOffset => (
                "does not say its offset from UTC".to_owned(),
                "declare it for all times with utc_offset = \"+01:00\" (your own) under [site] \
                 in site.toml, or write it behind each time"
                    .to_owned(),
            ),
            Fault::NotRfc3339 => ("is not a time in RFC 3339 form".to_owned(), self.advice()),
            Fault::NotThePattern => (
                format!(
                    "is neither in RFC 3339 form nor like time_format {} of site.toml",
                    self.clock.quoted().join(" or ")
                ),
                self.advice(),
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

    fn advice(&self) -> String {
        self.advice
            .get_or_init(|| {
                let cells = self.sheet.first_cells(self.place, GUESSED_FROM);
                advise(self.clock, &cells)
            })
            .clone()
    }
}

/// What to do about a column of which some times are not understood.
fn advise(clock: &Clock, cells: &[String]) -> String {
    let strange: Vec<&String> = cells
        .iter()
        .filter(|cell| {
            matches!(
                clock.parse(cell),
                Err(Fault::NotRfc3339 | Fault::NotThePattern)
            )
        })
        .collect();
    let fits = |pattern: &&str| {
        let guess = Clock {
            patterns: vec![(*pattern).to_owned()],
            offset: Some(Offset::UTC),
        };
        !strange.is_empty() && strange.iter().all(|cell| guess.parse(cell).is_ok())
    };
    let offset = match clock.offset {
        Some(_) => "",
        None => " and utc_offset = \"+01:00\" (your own)",
    };
    let declare = |pattern: &str| {
        if clock.patterns.is_empty() {
            format!("declare time_format = \"{pattern}\"")
        } else {
            format!("add it to the list: {}", clock.list_with(pattern))
        }
    };
    let patterns: Vec<&str> = COMMON_PATTERNS.iter().copied().filter(fits).collect();
    match patterns.as_slice() {
        ["%s", ..] => format!(
            "{} (seconds since 1970) under [site] in site.toml",
            declare("%s")
        ),
        [only] => format!("{}{offset} under [site] in site.toml", declare(only)),
        [one, other, ..] => format!(
            "{} or \"{other}\", whichever is meant,{offset} under [site] in site.toml",
            declare(one)
        ),
        [] if strange.iter().all(|cell| is_day_number(cell)) => {
            "it is a spreadsheet's day number: format the column as yyyy-mm-dd hh:mm:ss and \
             export again"
                .to_owned()
        }
        [] => {
            let declared = clock
                .patterns
                .first()
                .and_then(|first| clock.example(first));
            let like = declared.map_or_else(String::new, |example| format!("{example} or "));
            format!(
                "write it like {like}2026-11-25T14:05:00+01:00, or {} under [site] in site.toml",
                if clock.patterns.is_empty() {
                    "declare the pattern of the file as time_format".to_owned()
                } else {
                    format!("add the pattern of the file: {}", clock.list_with("..."))
                }
            )
        }
    }
}

/// Days since 1900, as spreadsheets store times: 36 000 is 1998, 60 000 is 2064.
fn is_day_number(text: &str) -> bool {
    text.replace(',', ".")
        .parse()
        .is_ok_and(|days: f64| (36_000.0..60_000.0).contains(&days))
}

/// `90 s`, `45 min`, `30 h`, `12 days`: rounded to the unit.
pub fn how_long(seconds: i64) -> String {
    let (unit, name) = match seconds {
        ..120 => (1, "s"),
        120..7200 => (60, "min"),
        7200..172_800 => (3600, "h"),
        _ => (86_400, "days"),
    };
    format!("{} {name}", seconds.saturating_add(unit / 2) / unit)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clock(pattern: Option<&str>, offset: Option<&str>) -> Clock {
        Clock {
            patterns: pattern.into_iter().map(str::to_owned).collect(),
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
        assert_eq!(clock.check_pattern(&clock.patterns[0]), Ok(()));
        assert_eq!(seconds(&clock, "25/11/2026 15:05"), Ok(EXAMPLE));
        assert_eq!(
            seconds(&clock, "31/02/2026 15:05"),
            Err(Fault::NotThePattern)
        );
        assert_eq!(
            clock.example(&clock.patterns[0]).as_deref(),
            Some("25/11/2026 15:05")
        );
    }

    #[test]
    fn a_declared_time_is_written_in_rfc_3339_with_its_own_offset() {
        let written = |pattern, offset, text| clock(Some(pattern), offset).as_rfc_3339(text);
        assert_eq!(
            written("%d/%m/%Y %H:%M", Some("+01:00"), "25/11/2026 15:05").as_deref(),
            Some("2026-11-25T15:05:00+01:00")
        );
        assert_eq!(
            written(
                "%Y-%m-%d %H:%M %z",
                Some("+05:00"),
                "2026-11-25 15:05 +0100"
            )
            .as_deref(),
            Some("2026-11-25T15:05:00+01:00")
        );
        assert_eq!(
            written("%s", Some("+01:00"), "1795615500").as_deref(),
            Some("2026-11-25T14:05:00Z")
        );
        assert_eq!(
            written("%s", Some("+01:00"), "2026-11-25 15:05:00.25").as_deref(),
            Some("2026-11-25T15:05:00.25+01:00")
        );
        assert_eq!(written("%s", None, "2026-11-25T15:05:00+01:00"), None);
        assert_eq!(written("%s", None, "2026-11-25 15:05"), None, "no offset");
        let mut either = clock(Some("%m/%d/%Y %H:%M"), Some("+01:00"));
        either.patterns.push("%d/%m/%Y %H:%M".to_owned());
        assert_eq!(either.as_rfc_3339("03/04/2026 10:00"), None, "two meanings");
        assert_eq!(
            either.as_rfc_3339("13/04/2026 10:00").as_deref(),
            Some("2026-04-13T10:00:00+01:00")
        );
        // A pattern that takes the Z for a letter and nothing else.
        assert_eq!(
            written("%Y-%m-%dT%H:%M:%SZ", Some("+01:00"), "2026-11-25T15:05:00Z").as_deref(),
            Some("2026-11-25T15:05:00+01:00")
        );
    }

    #[test]
    fn a_spreadsheet_and_a_logger_may_write_times_each_in_their_own_way() {
        let clock = Clock {
            patterns: vec!["%d.%m.%Y %H:%M".to_owned(), "%m/%d/%Y %H:%M".to_owned()],
            offset: parse_offset("+01:00"),
        };
        for text in [
            "25.11.2026 15:05",
            "11/25/2026 15:05",
            "2026-11-25T14:05:00Z",
            "2026-11-25 15:05:00",
        ] {
            assert_eq!(seconds(&clock, text), Ok(EXAMPLE), "{text}");
        }
        assert_eq!(seconds(&clock, "25 Nov"), Err(Fault::NotThePattern));
    }

    #[test]
    fn a_pattern_guessed_beside_a_declared_one_is_added_to_the_list() {
        let clock = clock(Some("%d.%m.%Y %H:%M"), Some("Z"));
        let cells = ["25.11.2026 15:05", "11/25/2026 15:05"].map(str::to_owned);
        assert_eq!(
            advise(&clock, &cells),
            "add it to the list: time_format = [\"%d.%m.%Y %H:%M\", \"%m/%d/%Y %H:%M\"] \
             under [site] in site.toml"
        );
    }

    #[test]
    fn seconds_since_1970_need_no_offset() {
        let clock = clock(Some("%s"), None);
        assert_eq!(clock.check_pattern(&clock.patterns[0]), Ok(()));
        assert_eq!(seconds(&clock, "1795615500"), Ok(EXAMPLE));
    }

    #[test]
    fn an_offset_in_the_pattern_goes_before_the_declared_one() {
        let clock = clock(Some("%Y-%m-%d %H:%M %z"), Some("+05:00"));
        assert_eq!(clock.check_pattern(&clock.patterns[0]), Ok(()));
        assert_eq!(seconds(&clock, "2026-11-25 15:05 +0100"), Ok(EXAMPLE));
    }

    #[test]
    fn a_pattern_that_does_not_fix_the_minute_is_refused() {
        let fault = |pattern: &str, offset| {
            clock(Some(pattern), offset)
                .check_pattern(pattern)
                .unwrap_err()
        };
        assert_eq!(fault("%d/%m/%Y", Some("Z")), PatternFault::Incomplete);
        assert_eq!(fault("%d/%m %H:%M", Some("Z")), PatternFault::Incomplete);
        assert_eq!(fault("%d/%m/%Y %I:%M", Some("Z")), PatternFault::Incomplete);
        assert_eq!(fault("%d/%m/%Y %H:%M", None), PatternFault::NoOffset);
        assert_eq!(fault("dd/mm/yyyy hh:mm", None), PatternFault::Incomplete);
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
