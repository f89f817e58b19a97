//! weather.csv: one day a row, in order, no day left out.

use super::delimited::{Row, Sheet};
use super::header::{Column, Place};
use super::names::{DATE, EVAPOTRANSPIRATION, RAIN};
use super::number::Numbers;
use super::source::Source;
use crate::failure::{Failure, Warning};
use crate::findings::{Cell, Findings, Refused};
use calib_core::irrigation::MAXIMUM_EVAPOTRANSPIRATION;
use calib_core::irrigation::bucket::Day;
use jiff::civil::Date;
use std::path::Path;

/// More rain than this in a day, mm, was not measured in millimetres; a limit of our
/// own.
const MOST_RAIN: f64 = 1000.0;
/// Days that make ten years: more is another file's slip.
const MOST_DAYS: usize = 3660;

/// The columns of weather.csv.
pub const COLUMNS: [Column; 3] = [
    Column::required(DATE, "the day, e.g. 2026-05-04"),
    Column::required(
        EVAPOTRANSPIRATION,
        "crop evapotranspiration (ETc) of the day, mm",
    ),
    Column::optional(RAIN, "rain of the day, mm"),
];

/// Weather, day by day.
#[derive(Debug, Clone, PartialEq)]
pub struct Weather {
    /// First day.
    pub first: Date,
    /// Last day.
    pub last: Date,
    /// Each day.
    pub days: Vec<Day>,
    /// Whether the file has a column of rain.
    pub has_rain: bool,
}

/// Reads a weather file, and gives what was noticed on the way.
///
/// # Errors
/// [`Failure::Input`] with every fault found.
pub fn load(path: &Path) -> Result<(Weather, Vec<Warning>), Failure> {
    let mut findings = Findings::default();
    let name = path.to_string_lossy();
    let weather = Source::read(Path::new("."), &name, &mut findings)
        .and_then(|source| read(&source, &mut findings));
    let (complaints, warnings) = findings.finish(&[path]);
    match weather {
        Ok(weather) if complaints.is_empty() => Ok((weather, warnings)),
        _ => Err(Failure::Input(complaints)),
    }
}

fn read(source: &Source, findings: &mut Findings) -> Result<Weather, Refused> {
    let sheet = Sheet::open(source, &COLUMNS, findings)?;
    let [date, evapotranspiration, rain] = COLUMNS.map(|column| sheet.place(column.name));
    let mut reader = Reader {
        numbers: Numbers::in_file_parted_by(sheet.delimiter()),
        date,
        evapotranspiration,
        rain,
        latest: None,
    };
    let mut days: Vec<(Date, Day)> = Vec::new();
    let mut sound = true;
    sheet.each_row(findings, |row, findings| match reader.day(&row, findings) {
        Ok(day) if days.len() < MOST_DAYS => days.push(day),
        Ok(_) => {
            sound = false;
            findings.complain(row.cell(date).complaint(
                format!("is day {} of the file, more than ten years", MOST_DAYS + 1),
                "keep the seasons you want to simulate",
            ));
        }
        Err(Refused) => sound = false,
    });
    match (days.first(), days.last()) {
        (Some((first, _)), Some((last, _))) if sound => Ok(Weather {
            first: *first,
            last: *last,
            has_rain: rain.is_there(),
            days: days.into_iter().map(|(_, day)| day).collect(),
        }),
        _ => Err(Refused),
    }
}

struct Reader {
    numbers: Numbers,
    date: Place,
    evapotranspiration: Place,
    rain: Place,
    /// The day before and its line.
    latest: Option<(Date, u64)>,
}

impl Reader {
    fn day(&mut self, row: &Row<'_>, findings: &mut Findings) -> Result<(Date, Day), Refused> {
        let date = self.next_day(row.cell(self.date), findings);
        let cell = row.cell(self.evapotranspiration);
        let evapotranspiration = self.numbers.read(cell, findings).and_then(|value| {
            depth(
                cell,
                value,
                MAXIMUM_EVAPOTRANSPIRATION,
                "give the crop's use of water in millimetres a day, 2 to 9 in most weather",
                findings,
            )
        });
        let cell = row.cell(self.rain);
        let rain = match self.numbers.read_if_any(cell, findings) {
            Ok(None) => Ok(0.0),
            Ok(Some(value)) => depth(
                cell,
                value,
                MOST_RAIN,
                "give the day's rain in millimetres, 0 for a dry day",
                findings,
            ),
            Err(Refused) => Err(Refused),
        };
        Ok((
            date?,
            Day {
                evapotranspiration: evapotranspiration?,
                rain: rain?,
            },
        ))
    }

    /// The date in `cell`, which must be the day after the one before.
    fn next_day(&mut self, cell: Cell<'_>, findings: &mut Findings) -> Result<Date, Refused> {
        if cell.text.is_empty() {
            return findings.refuse(cell.complaint("is empty", "write the day, or remove the row"));
        }
        // A date alone: jiff would take one with a time of day, too.
        let date = match cell.text.parse::<Date>() {
            Ok(date) if cell.text.len() == 10 => date,
            _ => {
                return findings.refuse(cell.complaint(
                    "is not a day in the form year-month-day",
                    "write it like 2026-05-04; format the column as yyyy-mm-dd in a spreadsheet",
                ));
            }
        };
        let before = self.latest.replace((date, cell.line));
        let Some((day, line)) = before else {
            return Ok(date);
        };
        match day.tomorrow() {
            Ok(next) if next == date => Ok(date),
            Ok(next) if date > next => findings.refuse(cell.complaint(
                format!("does not follow {day} in line {line}: days in between are missing"),
                "write a row for each day; the day before and after are a fair guess of one \
                 that was not recorded",
            )),
            _ => findings.refuse(cell.complaint(
                format!("does not come after {day} in line {line}"),
                "sort the file by day, and keep one row for each",
            )),
        }
    }
}

fn depth(
    cell: Cell<'_>,
    value: f64,
    most: f64,
    mend: &str,
    findings: &mut Findings,
) -> Result<f64, Refused> {
    if (0.0..=most).contains(&value) {
        Ok(value)
    } else {
        findings.refuse(cell.complaint(format!("lies outside 0 to {most} mm a day"), mend))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn loaded(text: &str) -> Result<(Weather, Vec<Warning>), Vec<String>> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("weather.csv");
        std::fs::write(&path, text).unwrap();
        load(&path).map_err(|failure| match failure {
            Failure::Input(complaints) => complaints
                .iter()
                .map(|complaint| {
                    let told = complaint.to_string();
                    told.lines().next().unwrap_or_default()[path.to_string_lossy().len()..]
                        .to_owned()
                })
                .collect(),
            other => panic!("{other}"),
        })
    }

    #[test]
    fn days_are_read_in_order_with_rain_or_without() {
        let text = "date,evapotranspiration_mm,rain_mm\n2026-02-28,2.5,\n2026-03-01,3,12.5\n";
        let (weather, warnings) = loaded(text).unwrap();
        assert!(warnings.is_empty() && weather.has_rain);
        assert_eq!(weather.last.to_string(), "2026-03-01");
        assert_eq!(weather.days[1].rain, 12.5);
        assert_eq!(weather.days[0].rain, 0.0);
        let (dry, _) = loaded("evapotranspiration_mm;date\n2,5;2026-05-04\n").unwrap();
        assert!(!dry.has_rain);
        assert_eq!(dry.days[0].evapotranspiration, 2.5);
    }

    #[test]
    fn a_day_out_of_turn_is_refused_with_the_day_before() {
        let found = |second: &str| {
            loaded(&format!(
                "date,evapotranspiration_mm\n2026-05-04,4\n{second},4\n"
            ))
            .unwrap_err()
        };
        for (day, what) in [
            (
                "2026-05-06",
                "does not follow 2026-05-04 in line 2: days in between are missing",
            ),
            ("2026-05-04", "does not come after 2026-05-04 in line 2"),
            ("2026-05-01", "does not come after 2026-05-04 in line 2"),
            ("05/05/2026", "is not a day in the form year-month-day"),
            (
                "2026-05-05T00:00",
                "is not a day in the form year-month-day",
            ),
            ("", "is empty"),
        ] {
            assert_eq!(found(day), [format!(":3: date = \"{day}\": {what}")]);
        }
    }

    #[test]
    fn depths_no_field_has_are_refused() {
        let text = "date,evapotranspiration_mm,rain_mm\n2026-05-04,21,0\n2026-05-05,4,-1\n";
        assert_eq!(
            loaded(text).unwrap_err(),
            [
                ":2: evapotranspiration_mm = \"21\": lies outside 0 to 20 mm a day",
                ":3: rain_mm = \"-1\": lies outside 0 to 1000 mm a day",
            ]
        );
    }
}
