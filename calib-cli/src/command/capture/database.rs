//! `capture --database`: what the logger calls its table and columns.

use crate::capture::database::{Asked, Database, TimeUnit};
use crate::failure::Failure;
use std::path::PathBuf;

/// The columns that every table of readings must have, and the table itself.
const NEEDED: [&str; 3] = ["table", "count_column", "time_column"];

/// A logger's database.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "A logger's database")]
pub struct DatabaseOptions {
    /// Read this SQLite database, while its logger goes on writing it; nothing is
    /// written to it
    #[arg(long, value_name = "FILE", requires_all = NEEDED)]
    database: Option<PathBuf>,
    /// Its table of readings, one reading a row
    #[arg(long, value_name = "NAME", requires = "database")]
    table: Option<String>,
    /// Column of the raw counts
    #[arg(long, value_name = "NAME", requires = "database")]
    count_column: Option<String>,
    /// Column of the times
    #[arg(long, value_name = "NAME", requires = "database")]
    time_column: Option<String>,
    /// How times are kept; text if not given
    #[arg(long, value_enum, requires = "database")]
    time_unit: Option<TimeUnit>,
    /// Column of the probe's name; without it all rows are of one probe (--probe)
    #[arg(long, value_name = "NAME", requires = "database")]
    probe_column: Option<String>,
    /// Column of the soil temperature, C
    #[arg(long, value_name = "NAME", requires = "database")]
    temperature_column: Option<String>,
    /// Column of the supply voltage, mV
    #[arg(long, value_name = "NAME", requires = "database")]
    supply_column: Option<String>,
}

impl DatabaseOptions {
    /// Whether rows name their probe.
    pub fn names_probe(&self) -> bool {
        self.probe_column.is_some()
    }

    /// Whether a database is asked for.
    pub fn is_asked_for(&self) -> bool {
        self.database.is_some()
    }

    /// Whether rows carry a soil temperature, and a supply voltage.
    pub fn carries(&self) -> [bool; 2] {
        [
            self.temperature_column.is_some(),
            self.supply_column.is_some(),
        ]
    }

    /// The table as a source, if one is asked for.
    ///
    /// # Errors
    /// [`Failure::Input`] if it is not there or cannot be read.
    pub fn source(&self, to_end: bool) -> Result<Option<Database>, Failure> {
        let (Some(file), Some(table), Some(count), Some(time)) = (
            self.database.clone(),
            self.table.clone(),
            self.count_column.clone(),
            self.time_column.clone(),
        ) else {
            return Ok(None);
        };
        let asked = Asked {
            file,
            table,
            count,
            time,
            unit: self.time_unit,
            probe: self.probe_column.clone(),
            temperature: self.temperature_column.clone(),
            supply: self.supply_column.clone(),
        };
        Database::open(asked, to_end).map(Some)
    }
}
