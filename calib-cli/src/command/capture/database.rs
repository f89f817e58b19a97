//! `capture --database`: what the logger calls its table and columns.

use super::COMMAND_LINE;
use crate::capture::database::{Asked, TimeUnit};
use crate::failure::{Complaint, Failure};
use crate::table::listed;
use crate::workbench::DatabaseKeys;
use std::path::{Path, PathBuf};

/// A logger's database; what is not given may stand below `[capture]` in site.toml.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "A logger's database")]
pub struct DatabaseOptions {
    /// Read this SQLite database, while its logger goes on writing it; nothing is
    /// written to it
    #[arg(long, value_name = "FILE")]
    database: Option<PathBuf>,
    /// Its table of readings, one reading a row
    #[arg(long, value_name = "NAME")]
    table: Option<String>,
    /// Column of the raw counts
    #[arg(long, value_name = "NAME")]
    count_column: Option<String>,
    /// Column of the times
    #[arg(long, value_name = "NAME")]
    time_column: Option<String>,
    /// How times are kept; text if not given
    #[arg(long, value_enum)]
    time_unit: Option<TimeUnit>,
    /// Column of the probe's name; without it all rows are of one probe (--probe)
    #[arg(long, value_name = "NAME")]
    probe_column: Option<String>,
    /// Column of the soil temperature, C
    #[arg(long, value_name = "NAME")]
    temperature_column: Option<String>,
    /// Column of the supply voltage, mV
    #[arg(long, value_name = "NAME")]
    supply_column: Option<String>,
}

impl DatabaseOptions {
    /// What is read of which database, by the options and then by what `stated` says;
    /// `None` if no database is read. `elsewhere`: options name another source.
    ///
    /// # Errors
    /// [`Failure::Input`] if it is not said what to read, or said for no database.
    pub fn asked(
        &self,
        stated: &DatabaseKeys,
        folder: &Path,
        elsewhere: bool,
    ) -> Result<Option<Asked>, Failure> {
        let stated_file = stated.file.as_ref().filter(|_| !elsewhere);
        let file = self
            .database
            .clone()
            .or_else(|| stated_file.map(|file| folder.join(file)));
        let Some(file) = file else {
            return match self.given() {
                Some(option) => Err(Complaint::about(
                    Path::new(COMMAND_LINE),
                    format!("{option} is about a database, and none is read"),
                    "add --database, or say it below [capture] in site.toml",
                )
                .into()),
                None => Ok(None),
            };
        };
        let either = |given: &Option<String>, stated: &Option<String>| {
            given.clone().or_else(|| stated.clone())
        };
        let table = either(&self.table, &stated.table);
        let count = either(&self.count_column, &stated.count);
        let time = either(&self.time_column, &stated.time);
        match (table, count, time) {
            (Some(table), Some(count), Some(time)) => Ok(Some(Asked {
                file,
                table,
                count,
                time,
                unit: self.time_unit.or(stated.unit),
                probe: either(&self.probe_column, &stated.probe),
                temperature: either(&self.temperature_column, &stated.temperature),
                supply: either(&self.supply_column, &stated.supply),
            })),
            (table, count, time) => {
                let missing: Vec<&str> = [
                    ("--table", table),
                    ("--count-column", count),
                    ("--time-column", time),
                ]
                .into_iter()
                .filter_map(|(option, said)| said.is_none().then_some(option))
                .collect();
                Err(Complaint::about(
                    &file,
                    "is a database of which it is not said what to read",
                    format!(
                        "add {}, or say it below [capture] in site.toml",
                        listed(missing)
                    ),
                )
                .into())
            }
        }
    }

    /// An option that only a database has use for, if one is given.
    fn given(&self) -> Option<&'static str> {
        [
            ("--table", self.table.is_some()),
            ("--count-column", self.count_column.is_some()),
            ("--time-column", self.time_column.is_some()),
            ("--time-unit", self.time_unit.is_some()),
            ("--probe-column", self.probe_column.is_some()),
            ("--temperature-column", self.temperature_column.is_some()),
            ("--supply-column", self.supply_column.is_some()),
        ]
        .into_iter()
        .find_map(|(option, given)| given.then_some(option))
    }
}
