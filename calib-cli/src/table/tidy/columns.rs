//! The names in a header, and what stands below them.

use super::super::header::Column;
use super::super::names::{
    COUNT, DIAMETER, DRY, DRY_AGAIN, EVAPOTRANSPIRATION, HEIGHT, RAIN, SOIL_TEMPERATURE, SUPPLY,
    TAKEN_AT, TARE, TIMESTAMP, VOLUME, VOLUME_U, WET,
};
use super::super::nearest::{nearest, slip_of, unit_of};

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Content {
    /// A number, in the unit its name ends in.
    Number {
        /// Whether a cell of the column may be empty.
        optional: bool,
    },
    /// A time.
    Time,
    /// A text; only the blanks around it are form.
    Text,
    /// A column of the person's own: nothing in it is touched.
    Own,
}

/// A column of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Named {
    /// Its name, as it should be written.
    pub name: String,
    /// What it holds.
    pub content: Content,
}

/// What a known column holds.
fn content(column: &Column) -> Content {
    match column.name {
        TARE | WET | DRY | DRY_AGAIN | DIAMETER | HEIGHT | VOLUME | VOLUME_U | COUNT
        | SOIL_TEMPERATURE | SUPPLY | RAIN | EVAPOTRANSPIRATION => Content::Number {
            optional: !column.required,
        },
        TIMESTAMP | TAKEN_AT => Content::Time,
        _ => Content::Text,
    }
}

/// Whether a known column holds numbers.
pub(super) fn is_number(column: &Column) -> bool {
    matches!(content(column), Content::Number { .. })
}

/// Letters a name must have before one of them may be wrong in a column that a file
/// need not have: short words are like one another by chance.
const LONG_ENOUGH: usize = 8;

/// The columns that `header` names, of which `known` may be there. `None` where none
/// is, or where one stands twice.
pub(super) fn understand(header: &[&str], known: &[Column]) -> Option<Vec<Named>> {
    let exact = |written: &str| known.iter().find(|column| plain(written) == column.name);
    let mut columns: Vec<Option<&Column>> = header.iter().map(|name| exact(name)).collect();
    if columns.iter().all(Option::is_none) {
        return None;
    }
    for column in known {
        if columns.iter().flatten().any(|one| one.name == column.name) {
            continue;
        }
        let meant: Vec<usize> = (0..header.len())
            .filter(|place| columns[*place].is_none() && means(header[*place], column, known))
            .collect();
        if let [only] = meant.as_slice() {
            columns[*only] = Some(column);
        }
    }
    let twice = known.iter().any(|column| {
        let named = columns.iter().flatten();
        named.filter(|one| one.name == column.name).count() > 1
    });
    let named = header
        .iter()
        .zip(&columns)
        .map(|(written, column)| match column {
            Some(column) => Named {
                name: column.name.to_owned(),
                content: content(column),
            },
            None => Named {
                name: (*written).to_owned(),
                content: Content::Own,
            },
        });
    (!twice).then(|| named.collect())
}

fn plain(written: &str) -> String {
    written.trim().to_lowercase()
}

/// Whether `written` can only be a slip for `column`: the same letters, or nearly, and
/// the same unit at the end.
fn means(written: &str, column: &Column, known: &[Column]) -> bool {
    let bare = |name: &str| -> String {
        let letters = name.chars().filter(|c| c.is_alphanumeric());
        letters.flat_map(char::to_lowercase).collect()
    };
    let (letters, meant) = (bare(written), bare(column.name));
    if letters == meant {
        return true;
    }
    let long = column.required || meant.len() >= LONG_ENOUGH;
    long && slip_of(written, column.name)
        && unit_of(written) == unit_of(column.name)
        && nearest(written, known.iter().map(|one| one.name)) == Some(column.name)
}

#[cfg(test)]
mod tests {
    use super::super::super::{log, readings, samples, weather};
    use super::*;

    fn names(header: &[&str], known: &[Column]) -> Vec<String> {
        let named = understand(header, known).expect("a header");
        named.into_iter().map(|column| column.name).collect()
    }

    #[test]
    fn case_blanks_and_single_slips_are_mended() {
        let header = [" Timestamp", "Probe-ID", "raw_cuont", "Soil-tmp C", "mood"];
        assert_eq!(
            names(&header, &readings::COLUMNS),
            ["timestamp", "probe_id", "raw_count", "soil_temp_c", "mood"]
        );
    }

    #[test]
    fn another_unit_another_word_and_a_second_candidate_are_left() {
        let header = [
            "timestamp",
            "probe_id",
            "raw_count",
            "soil_temp_f",
            "Soil temp K",
        ];
        assert_eq!(
            names(&header, &readings::COLUMNS)[3..],
            ["soil_temp_f", "Soil temp K"]
        );
        let header = ["sample_id", "dry_kg", "Dry (g)", "plate", "wet g", "Wet_G "];
        assert_eq!(
            names(&header, &samples::COLUMNS),
            ["sample_id", "dry_kg", "dry_g", "plate", "wet g", "wet_g"]
        );
        assert_eq!(understand(&["wet_g", "WET_G"], &samples::COLUMNS), None);
        assert_eq!(understand(&["A1", "38.42"], &samples::COLUMNS), None);
    }

    #[test]
    fn every_column_with_a_unit_in_its_name_is_known_to_hold_numbers() {
        let all = samples::COLUMNS
            .iter()
            .chain(&readings::COLUMNS)
            .chain(&log::COLUMNS)
            .chain(&weather::COLUMNS);
        for column in all {
            let unit = ["_g", "_cm", "_cm3", "_c", "_mv", "_mm", "_count"]
                .iter()
                .any(|end| column.name.ends_with(end));
            let number = matches!(content(column), Content::Number { .. });
            assert_eq!(unit, number, "{}", column.name);
        }
    }
}
