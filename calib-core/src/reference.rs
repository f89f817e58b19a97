//! Published tables carried inside the program, and how far each was checked.
//!
//! The tables are the files of `reference-data/soil/`, compiled in and read
//! once. What is said about the checking of a source is the wording of the
//! notes beside those files, and goes with every value to where it is printed.

use schemars::JsonSchema;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::sync::OnceLock;

/// Why a table compiled into the program cannot be used. A user can do nothing
/// about it: the program was built from damaged data.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ReferenceError {
    /// A row is not what the table should hold.
    #[error("the built-in table {file} is damaged: {detail}")]
    Damaged {
        /// File of `reference-data/soil/`.
        file: &'static str,
        /// What the reader said.
        detail: String,
    },
    /// A row the program counts on is not there.
    #[error("the built-in table {file} has no row for {row}")]
    RowMissing {
        /// File of `reference-data/soil/`.
        file: &'static str,
        /// The row looked for.
        row: String,
    },
}

/// A published source the program draws on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub enum PublicationKey {
    /// The texture triangle of the USDA Soil Survey Manual.
    #[serde(rename = "usda-texture")]
    UsdaTexture,
    /// The equations of Saxton and Rawls (2006).
    #[serde(rename = "saxton-rawls-2006-equations")]
    SaxtonRawlsEquations,
    /// Table 3 of Saxton and Rawls (2006): the equations for typical class members.
    #[serde(rename = "saxton-rawls-2006-table-3")]
    SaxtonRawlsTable3,
    /// Density, gravel and air entry of Saxton and Rawls (2006).
    #[serde(rename = "saxton-rawls-2006-adjustments")]
    SaxtonRawlsAdjustments,
    /// Interpolation of particle-size curves: Nemes et al. (1999).
    #[serde(rename = "nemes-1999")]
    Nemes,
    /// Class parameters of Carsel and Parrish (1988).
    #[serde(rename = "carsel-parrish-1988")]
    CarselParrish,
    /// Class averages of Schaap, Leij and van Genuchten (2001).
    #[serde(rename = "schaap-2001")]
    Schaap,
    /// Class averages of Rawls, Brakensiek and Saxton (1982).
    #[serde(rename = "rawls-1982")]
    Rawls,
    /// The retention function of van Genuchten (1980).
    #[serde(rename = "van-genuchten-1980")]
    VanGenuchten,
    /// Table 22 of FAO-56: root depth and depletion fraction by crop.
    #[serde(rename = "fao56-table-22")]
    Fao56Table22,
    /// Table 19 of FAO-56: typical ranges of soil water.
    #[serde(rename = "fao56-table-19")]
    Fao56Table19,
}

impl fmt::Display for PublicationKey {
    /// A name short enough for a table row.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            PublicationKey::UsdaTexture => "USDA texture triangle",
            PublicationKey::SaxtonRawlsEquations => "Saxton and Rawls 2006, equations",
            PublicationKey::SaxtonRawlsTable3 => "Saxton and Rawls 2006, Table 3",
            PublicationKey::SaxtonRawlsAdjustments => "Saxton and Rawls 2006, density and gravel",
            PublicationKey::Nemes => "Nemes et al. 1999",
            PublicationKey::CarselParrish => "Carsel and Parrish 1988",
            PublicationKey::Schaap => "Schaap et al. 2001",
            PublicationKey::Rawls => "Rawls et al. 1982",
            PublicationKey::VanGenuchten => "van Genuchten 1980",
            PublicationKey::Fao56Table22 => "FAO-56, Table 22",
            PublicationKey::Fao56Table19 => "FAO-56, Table 19",
        })
    }
}

/// A source with how far the copy in `reference-data/` was checked.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Publication {
    /// Which source.
    pub key: PublicationKey,
    /// Authors, year and place.
    pub citation: String,
    /// What a second copy confirmed. A second copy is a public transcription,
    /// not the publication itself, which was not read.
    pub checked: String,
    /// What is recalled from memory and was not checked; `-` where nothing is.
    pub from_memory: String,
}

static PUBLICATIONS: Table<Publication> = Table::new(
    "sources.csv",
    include_str!("../../reference-data/soil/sources.csv"),
);

/// The source behind `key`.
///
/// # Errors
/// [`ReferenceError`] if the program was built from damaged data.
pub fn publication(key: PublicationKey) -> Result<&'static Publication, ReferenceError> {
    PUBLICATIONS.find(&key.to_string(), |publication| publication.key == key)
}

/// A name as rows are looked up by: lower case, words parted by one space;
/// capitals, hyphens, underscores and extra spaces do not matter.
pub(crate) fn plain_name(name: &str) -> String {
    name.split([' ', '-', '_'])
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect::<Vec<_>>()
        .join(" ")
}

/// A CSV file compiled into the program, read at first use.
pub(crate) struct Table<Row> {
    file: &'static str,
    text: &'static str,
    rows: OnceLock<Result<Vec<Row>, ReferenceError>>,
}

impl<Row: DeserializeOwned> Table<Row> {
    /// `file` is the name used in errors, `text` its content.
    pub(crate) const fn new(file: &'static str, text: &'static str) -> Self {
        Self {
            file,
            text,
            rows: OnceLock::new(),
        }
    }

    /// Every row, in the order of the file.
    pub(crate) fn rows(&self) -> Result<&[Row], ReferenceError> {
        self.rows
            .get_or_init(|| {
                csv::Reader::from_reader(self.text.as_bytes())
                    .deserialize()
                    .collect::<Result<_, csv::Error>>()
                    .map_err(|error| ReferenceError::Damaged {
                        file: self.file,
                        detail: error.to_string(),
                    })
            })
            .as_deref()
            .map_err(Clone::clone)
    }

    /// The first row that `matches`; `name` is what an error calls it.
    pub(crate) fn find(
        &self,
        name: &str,
        matches: impl Fn(&Row) -> bool,
    ) -> Result<&Row, ReferenceError> {
        self.rows()?
            .iter()
            .find(|row| matches(row))
            .ok_or_else(|| ReferenceError::RowMissing {
                file: self.file,
                row: name.to_owned(),
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOTES: &str = include_str!("../../reference-data/soil/NOTES.md");

    #[test]
    fn what_is_said_of_a_source_is_what_the_notes_say_word_for_word() {
        let notes = NOTES.replace("**", "");
        let publications = PUBLICATIONS.rows().unwrap();
        assert_eq!(publications.len(), 11);
        for publication in publications {
            // The citation may add a table or equations behind the notes' own.
            let cited = notes
                .lines()
                .find(|line| {
                    line.contains(publication.checked.as_str())
                        && line.contains(publication.from_memory.as_str())
                })
                .unwrap_or_else(|| panic!("{:?} is not in the notes", publication.key));
            let source = publication
                .citation
                .trim_end_matches(", equations")
                .trim_end_matches(", density, gravel and air entry")
                .trim_end_matches(", Table 3");
            assert!(
                cited.contains(source)
                    || source.ends_with("Table 19") && cited.contains("the same, Table 19"),
                "{source} is not where the notes say {}",
                publication.checked
            );
        }
    }

    #[test]
    fn a_damaged_table_is_an_error_that_names_it() {
        static DAMAGED: Table<(String, f64)> = Table::new("x.csv", "a,b\none,1\ntwo,zwei\n");
        let error = DAMAGED.rows().unwrap_err();
        assert!(
            error
                .to_string()
                .starts_with("the built-in table x.csv is damaged: "),
            "{error}"
        );
    }

    #[test]
    fn a_missing_row_is_an_error_that_names_it() {
        static SHORT: Table<(String, f64)> = Table::new("x.csv", "a,b\none,1\n");
        let error = SHORT.find("two", |row| row.0 == "two").unwrap_err();
        assert_eq!(
            error.to_string(),
            "the built-in table x.csv has no row for two"
        );
    }
}
