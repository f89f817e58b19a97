//! What stands in a cell, brought to its plainest form: never another digit.

use super::super::number::{Mark, parse};
use super::super::time::Clock;
use super::columns::{Content, Named};

/// Words that stand for no number, where a cell may be empty as well.
pub(super) const NONE: [&str; 9] = ["-", "--", "n/a", "na", "#n/a", "nan", "null", "none", "nil"];

/// What is done about the decimal marks of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Marks {
    /// All are points already.
    Points,
    /// Commas, which become points.
    Commas {
        /// Whether the file could not be read for them.
        mends: bool,
    },
    /// A comma may be a thousands separator here: the person decides.
    Unsettled,
}

/// A number without the unit behind it, where that is the column's own.
pub(super) fn without_own_unit<'t>(text: &'t str, column: &str) -> &'t str {
    let same: &[&str] = match column.rsplit('_').next() {
        Some("g") => &["grams", "gram", "g"],
        Some("c") => &["\u{b0}c", "c"],
        Some("cm") => &["cm"],
        Some("cm3") => &["cm3", "cm\u{b3}"],
        Some("mm") => &["mm"],
        Some("mv") => &["mv"],
        _ => &[],
    };
    let lower = text.to_lowercase();
    // Lower case may be of another length; only then nothing is taken off.
    if lower.len() != text.len() {
        return text;
    }
    same.iter()
        .find_map(|unit| {
            let digits = text.get(..lower.strip_suffix(unit)?.len())?.trim_end();
            parse(digits).is_ok().then_some(digits)
        })
        .unwrap_or(text)
}

/// What the decimal marks of a file are, gathered cell by cell.
#[derive(Debug, Default)]
pub(super) struct MarksSeen {
    points: bool,
    commas: bool,
    /// Whether a number may have a thousands separator for a decimal mark.
    doubtful: bool,
}

impl MarksSeen {
    /// Looks at a cell of a column of numbers.
    pub(super) fn look_at(&mut self, text: &str, column: &str) {
        let number = without_own_unit(text.trim(), column);
        let Ok((_, Some(mark))) = parse(number) else {
            return;
        };
        match mark {
            Mark::Point => self.points = true,
            Mark::Comma => self.commas = true,
        }
        self.doubtful |= is_doubtful(number);
    }

    /// What is to be done in a file whose cells are parted by `delimiter`.
    pub(super) fn settled(&self, delimiter: u8) -> Marks {
        // One mark throughout and cells parted otherwise: read as it is today.
        let reads_today = delimiter != b',' && !self.points;
        match self.commas {
            false => Marks::Points,
            true if reads_today => Marks::Commas { mends: false },
            true if self.doubtful => Marks::Unsettled,
            true => Marks::Commas { mends: true },
        }
    }
}

/// Whether the mark in a number may part thousands instead: `1,234`, `1.234`.
pub(super) fn is_doubtful(number: &str) -> bool {
    let parts = number.trim_start_matches(['+', '-']).split_once(['.', ',']);
    parts.is_some_and(|(whole, rest)| {
        (1..=3).contains(&whole.len()) && whole != "0" && rest.len() == 3
    })
}

/// What was done to a cell: how it is told, and whether it could not be read for it.
pub(super) type Done = (&'static str, bool);

/// The cell below `column` in its plainest form, and what was done to it.
pub(super) fn plain(
    cell: &str,
    column: &Named,
    marks: Marks,
    clock: Option<&Clock>,
) -> (String, Vec<Done>) {
    if column.content == Content::Own {
        return (cell.to_owned(), Vec::new());
    }
    let mut done = Vec::new();
    let text = cell.trim();
    if text.len() < cell.len() {
        done.push(("blanks around cells are taken off", false));
    }
    let plain = match column.content {
        Content::Own | Content::Text => text.to_owned(),
        Content::Time => match clock.and_then(|clock| clock.as_rfc_3339(text)) {
            Some(time) => {
                done.push(("times are written in RFC 3339 form", false));
                time
            }
            None => text.to_owned(),
        },
        Content::Number { optional } => {
            if optional && NONE.contains(&text.to_lowercase().as_str()) {
                done.push(("words that stand for no value are left out", true));
                return (String::new(), done);
            }
            let number = without_own_unit(text, &column.name);
            if marks == Marks::Unsettled {
                return (text.to_owned(), done);
            }
            if number.len() < text.len() {
                done.push((
                    "units are taken off that the column's name says already",
                    true,
                ));
            }
            match (parse(number), marks) {
                (Ok((_, Some(Mark::Comma))), Marks::Commas { mends }) => {
                    done.push(("decimal commas become decimal points", mends));
                    number.replace(',', ".")
                }
                _ => number.to_owned(),
            }
        }
    };
    (plain, done)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn number(name: &str, optional: bool) -> Named {
        Named {
            name: name.to_owned(),
            content: Content::Number { optional },
        }
    }

    fn settled(cells: &[&str], delimiter: u8) -> Marks {
        let mut seen = MarksSeen::default();
        for cell in cells {
            seen.look_at(cell, "dry_g");
        }
        seen.settled(delimiter)
    }

    #[test]
    fn a_comma_that_may_part_thousands_is_left_to_the_person() {
        assert_eq!(settled(&["188.15", "38"], b','), Marks::Points);
        let read = Marks::Commas { mends: false };
        assert_eq!(settled(&["188,15", "188,150"], b';'), read);
        let refused = Marks::Commas { mends: true };
        assert_eq!(settled(&["188,15"], b','), refused);
        assert_eq!(settled(&["188,15", "38.4"], b';'), refused);
        assert_eq!(settled(&["0,128", "38,4"], b','), refused);
        for cells in [["1,234", "38,4"], ["188,15", "1.234"], ["188,150", "38.4"]] {
            assert_eq!(settled(&cells, b','), Marks::Unsettled, "{cells:?}");
        }
        assert_eq!(settled(&["188,15", "1.234"], b';'), Marks::Unsettled);
    }

    #[test]
    fn only_the_columns_own_unit_is_taken_off() {
        for (text, column, left) in [
            ("188.15 g", "dry_g", "188.15"),
            ("188,15g", "dry_g", "188,15"),
            ("0.188 kg", "dry_g", "0.188 kg"),
            ("188150 mg", "dry_g", "188150 mg"),
            ("21.5\u{b0}C", "soil_temp_c", "21.5"),
            ("21.5 F", "soil_temp_c", "21.5 F"),
            ("512 c", "raw_count", "512 c"),
            ("wet g", "dry_g", "wet g"),
        ] {
            assert_eq!(without_own_unit(text, column), left, "{text} in {column}");
        }
    }

    #[test]
    fn no_word_for_a_missing_mass_is_taken_out() {
        let plain = |text, optional| {
            let column = number("dry_g", optional);
            super::plain(text, &column, Marks::Points, None).0
        };
        assert_eq!(plain(" n/a ", true), "");
        assert_eq!(plain(" n/a ", false), "n/a");
        assert_eq!(plain("inf", true), "inf");
        assert_eq!(plain("+1e3", true), "+1e3");
    }
}
