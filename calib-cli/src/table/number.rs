//! Numbers as people and spreadsheets write them: with a decimal point or a
//! decimal comma, one of the two throughout a file, and nothing else.

use crate::findings::{Cell, Findings, Refused};
use calib_core::quantity::Quantity;

/// The character before the decimals.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// `38.42`
    Point,
    /// `38,42`
    Comma,
}

impl Mark {
    fn name(self) -> &'static str {
        match self {
            Mark::Point => "decimal point",
            Mark::Comma => "decimal comma",
        }
    }
}

/// Units people write behind a number, in small letters.
const UNITS: [&str; 17] = [
    "g", "gr", "gram", "grams", "kg", "mg", "c", "\u{b0}c", "f", "\u{b0}f", "cm", "mm", "cm3",
    "cm\u{b3}", "ml", "mv", "v",
];

/// Why a text is not a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fault {
    /// A word such as `NaN` or `n/a`.
    StandsForNone,
    /// `#N/A` and its kin.
    SpreadsheetError,
    /// `1,234.5`, `1 234`
    Thousands,
    /// `38.42 g`
    Unit,
    /// `6.0 %`
    PerCent,
    /// Anything else.
    NotANumber,
}

impl Fault {
    fn what_and_mend(self) -> (&'static str, &'static str) {
        match self {
            Fault::StandsForNone => (
                "stands for no number",
                "weigh or read it again, or remove the row",
            ),
            Fault::SpreadsheetError => (
                "is a spreadsheet's error mark, not a number",
                "mend the formula in the spreadsheet and export again",
            ),
            Fault::Thousands => (
                "has a thousands separator",
                "write the digits without it, e.g. 1234.5",
            ),
            Fault::Unit => (
                "carries a unit",
                "write the number alone; the column's name says the unit",
            ),
            Fault::PerCent => (
                "carries a per cent sign",
                "write the number alone, in the unit that the column's name says",
            ),
            Fault::NotANumber => ("is not a number", "write the number alone, e.g. 188.15"),
        }
    }
}

/// The number in `text` and the decimal mark it uses, if any.
pub(super) fn parse(text: &str) -> Result<(f64, Option<Mark>), Fault> {
    let plain = |text: &str| {
        text.bytes()
            .all(|b| b.is_ascii_digit() || b"+-.eE".contains(&b))
    };
    if plain(text)
        && let Ok(value) = text.parse::<f64>()
        && value.is_finite()
    {
        let mark = text.contains('.').then_some(Mark::Point);
        return Ok((value, mark));
    }
    if text.bytes().filter(|b| *b == b',').count() == 1 && !text.contains('.') {
        let pointed = text.replace(',', ".");
        if plain(&pointed)
            && let Ok(value) = pointed.parse::<f64>()
            && value.is_finite()
        {
            return Ok((value, Some(Mark::Comma)));
        }
    }
    Err(diagnose(text))
}

fn diagnose(text: &str) -> Fault {
    const NONE_WORDS: [&str; 12] = [
        "nan", "inf", "infinity", "na", "n/a", "null", "none", "nil", "missing", "-", "--", "?",
    ];
    let lower = text.to_lowercase();
    let unsigned = lower.trim_start_matches(['+', '-']);
    if NONE_WORDS.contains(&lower.as_str()) || NONE_WORDS.contains(&unsigned) {
        return Fault::StandsForNone;
    }
    if text.starts_with('#') {
        return Fault::SpreadsheetError;
    }
    let separator = |c: char| c.is_whitespace() || matches!(c, ',' | '.' | '\'' | '\u{2019}');
    if text.starts_with(|c: char| c.is_ascii_digit() || c == '-')
        && text
            .chars()
            .skip(1)
            .all(|c| c.is_ascii_digit() || separator(c))
    {
        return Fault::Thousands;
    }
    if text
        .strip_suffix('%')
        .is_some_and(|n| parse(n.trim()).is_ok())
    {
        return Fault::PerCent;
    }
    let digits = text.trim_end_matches(|c: char| !c.is_ascii_digit());
    let unit = &text[digits.len()..];
    if !digits.is_empty()
        && !unit.trim().is_empty()
        && parse(digits).is_ok()
        && UNITS.contains(&unit.trim().to_lowercase().as_str())
    {
        return Fault::Unit;
    }
    Fault::NotANumber
}

/// Reads the numbers of one file and holds it to one decimal mark.
#[derive(Debug)]
pub struct Numbers {
    commas_part_cells: bool,
    first: Option<(Mark, String)>,
}

impl Numbers {
    /// For a file whose cells are parted by `delimiter`.
    pub fn in_file_parted_by(delimiter: u8) -> Self {
        Self {
            commas_part_cells: delimiter == b',',
            first: None,
        }
    }

    /// The number in `cell`.
    pub fn read(&mut self, cell: Cell<'_>, findings: &mut Findings) -> Result<f64, Refused> {
        self.number(cell, false, findings)
    }

    /// The number in `cell`; messages say whether the cell `may_be_empty`.
    fn number(
        &mut self,
        cell: Cell<'_>,
        may_be_empty: bool,
        findings: &mut Findings,
    ) -> Result<f64, Refused> {
        if cell.text.is_empty() {
            return findings
                .refuse(cell.complaint("is empty", "write the value, or remove the row"));
        }
        match parse(cell.text) {
            Ok((value, None)) => Ok(value),
            Ok((_, Some(Mark::Comma))) if self.commas_part_cells => {
                findings.refuse(cell.complaint(
                    "has a decimal comma in a file whose cells are parted by commas",
                    "write a decimal point, or export with semicolons between the cells",
                ))
            }
            Ok((value, Some(mark))) => match &self.first {
                Some((used, place)) if *used != mark => findings.refuse(cell.complaint(
                    format!("has a {} where {place} has a {}", mark.name(), used.name()),
                    "use one decimal mark throughout the file",
                )),
                Some(_) => Ok(value),
                None => {
                    let place = format!("line {} ({} = \"{}\")", cell.line, cell.column, cell.text);
                    self.first = Some((mark, place));
                    Ok(value)
                }
            },
            Err(fault) => {
                let (what, mend) = fault.what_and_mend();
                let mend = match fault {
                    Fault::StandsForNone if may_be_empty => {
                        "leave the cell empty where there is no value"
                    }
                    _ => mend,
                };
                findings.refuse(cell.complaint(what, mend))
            }
        }
    }

    /// The number in `cell`, or `None` where the cell is empty.
    pub fn read_if_any(
        &mut self,
        cell: Cell<'_>,
        findings: &mut Findings,
    ) -> Result<Option<f64>, Refused> {
        if cell.text.is_empty() {
            Ok(None)
        } else {
            self.number(cell, true, findings).map(Some)
        }
    }
}

/// A percentage as a share of one, both as `text` has its decimals: `6.0 %` is
/// `0.060`, for `6.0 %`. The sign may be left away.
pub fn share_of_percentage(text: &str) -> Option<(String, String)> {
    let number = text.trim().trim_end_matches('%').trim_end();
    let (value, mark) = parse(number).ok()?;
    let decimals = number.split(['.', ',']).nth(1).map_or(0, str::len);
    let share = format!("{:.*}", decimals.min(9) + 2, value / 100.0);
    let share = match mark {
        Some(Mark::Comma) => share.replace('.', ","),
        _ => share,
    };
    Some((share, format!("{number} %")))
}

/// `value` as a quantity; outside its limits it is refused with `mend`.
pub fn quantity<Q: Quantity>(
    cell: Cell<'_>,
    value: f64,
    mend: &str,
    findings: &mut Findings,
) -> Result<Q, Refused> {
    match Q::new(value) {
        Ok(quantity) => Ok(quantity),
        Err(error) => findings.refuse(cell.complaint(error.to_string(), mend)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_percentage_is_told_as_a_share_with_its_own_decimals() {
        for (text, share, percentage) in [
            ("6.0 %", "0.060", "6.0 %"),
            ("25,4%", "0,254", "25,4 %"),
            ("25.4", "0.254", "25.4 %"),
            ("7", "0.07", "7 %"),
        ] {
            let expected = Some((share.to_owned(), percentage.to_owned()));
            assert_eq!(share_of_percentage(text), expected, "{text}");
        }
        assert_eq!(share_of_percentage("six %"), None);
    }

    #[test]
    fn points_commas_signs_and_exponents_are_read() {
        assert_eq!(parse("38.42"), Ok((38.42, Some(Mark::Point))));
        assert_eq!(parse("1,5"), Ok((1.5, Some(Mark::Comma))));
        assert_eq!(parse("-0,25"), Ok((-0.25, Some(Mark::Comma))));
        assert_eq!(parse("512"), Ok((512.0, None)));
        assert_eq!(parse("+1e3"), Ok((1000.0, None)));
        assert_eq!(parse(",5"), Ok((0.5, Some(Mark::Comma))));
    }

    #[test]
    fn what_is_not_a_number_is_refused_for_the_right_reason() {
        for (text, fault) in [
            ("NaN", Fault::StandsForNone),
            ("-inf", Fault::StandsForNone),
            ("Infinity", Fault::StandsForNone),
            ("n/a", Fault::StandsForNone),
            ("-", Fault::StandsForNone),
            ("#DIV/0!", Fault::SpreadsheetError),
            ("1.234,5", Fault::Thousands),
            ("1,234.5", Fault::Thousands),
            ("1 234", Fault::Thousands),
            ("1\u{202f}234,5", Fault::Thousands),
            ("1'234.5", Fault::Thousands),
            ("1,234,567", Fault::Thousands),
            ("188.15 g", Fault::Unit),
            ("21,5\u{b0}C", Fault::Unit),
            ("6.0 %", Fault::PerCent),
            ("6%", Fault::PerCent),
            ("18x4", Fault::NotANumber),
            ("38.1o", Fault::NotANumber),
            ("1e999", Fault::NotANumber),
            ("0x1F", Fault::NotANumber),
            ("dry", Fault::NotANumber),
            ("\u{2212}3", Fault::NotANumber),
            (".", Fault::NotANumber),
            ("e", Fault::NotANumber),
        ] {
            assert_eq!(parse(text), Err(fault), "{text}");
        }
    }
}
