//! A logger's SQLite database, read while the logger goes on writing it: rows in the
//! order they were put in, from where an earlier run left it. Nothing is ever written
//! to it, and no lock is held between two looks.

mod refusal;
mod time;

use super::{Fields, Refusal, Said, Source};
use crate::failure::{Complaint, Failure};
use refusal::{is_locked, not_read, not_there};
use rusqlite::types::ValueRef;
use rusqlite::{Connection, OpenFlags, OptionalExtension, Row};
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
pub use time::TimeUnit;

/// How often the database is looked at.
const LOOK_AGAIN: Duration = Duration::from_secs(1);
/// Rows taken at one look.
const AT_ONCE: usize = 1000;
/// How long a lock is waited for at one look.
const WAIT_FOR_LOCK: Duration = Duration::from_millis(200);
/// A lock held longer than this is told.
const LONG_LOCK: Duration = Duration::from_secs(3);
/// How long a lock is waited for at the start, and after what time that is told.
const PATIENCE: Duration = Duration::from_secs(10);
const TELL_OF_WAITING: Duration = Duration::from_secs(1);

/// What to read, by the names the database gives it.
#[derive(Debug, Clone)]
pub struct Asked {
    /// The database.
    pub file: PathBuf,
    /// The table.
    pub table: String,
    /// Column of the counts.
    pub count: String,
    /// Column of the times.
    pub time: String,
    /// How times are written; found out where it is not said, as far as it can be.
    pub unit: Option<TimeUnit>,
    /// Column of the probe's name, where the table has several.
    pub probe: Option<String>,
    /// Column of the soil temperature, C.
    pub temperature: Option<String>,
    /// Column of the supply voltage, mV.
    pub supply: Option<String>,
}

/// A table of a database.
pub struct Database {
    asked: Asked,
    unit: TimeUnit,
    to_end: bool,
    select: String,
    one_row: String,
    highest: String,
    at: Cursor,
    looks_at: Instant,
    locked_since: Option<Instant>,
    lost: bool,
    notes: Vec<Said>,
}

/// The last row that was taken.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
struct Cursor {
    rowid: i64,
    /// What it said, to see that it is the same one still.
    said: String,
    /// Whether rows that were said before are being said again.
    #[serde(default)]
    again: bool,
}

impl Cursor {
    /// Whether no row was taken yet.
    fn is_before_all(&self) -> bool {
        *self == Self::default()
    }
}

/// Why a look came to nothing.
enum Trouble {
    /// It may pass.
    Passing(String),
    Lasting(Failure),
}

/// A name as SQL takes it, whatever letters are in it.
fn quoted(name: &str) -> String {
    format!("\"{}\"", name.replace('"', "\"\""))
}

fn open(file: &Path) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(file, flags)?;
    connection.busy_timeout(WAIT_FOR_LOCK)?;
    Ok(connection)
}

/// Waits until no other program's lock keeps `connection`, which is in a transaction,
/// from reading.
fn wait_for_lock(connection: &Connection, patience: Duration, file: &Path) -> rusqlite::Result<()> {
    let began = Instant::now();
    let mut told = false;
    loop {
        let read = connection.query_row("SELECT count(*) FROM sqlite_master", [], |_| Ok(()));
        match read {
            Err(error) if is_locked(&error) && began.elapsed() < patience => {}
            other => return other,
        }
        if !told && began.elapsed() >= TELL_OF_WAITING {
            told = true;
            eprintln!(
                "{} is locked by another program; waiting up to {} s",
                file.display(),
                patience.as_secs()
            );
        }
        // Not every lock makes SQLite itself wait.
        std::thread::sleep(Duration::from_millis(20));
    }
}

impl Database {
    /// Opens the table. With `to_end` it is read to the end it has now, and no further.
    /// Another program's lock is waited for, and standard error says so.
    ///
    /// # Errors
    /// [`Failure::Input`] if there is no such file, table or column, or if it cannot be
    /// read.
    pub fn open(asked: Asked, to_end: bool) -> Result<Self, Failure> {
        if !asked.file.is_file() {
            return Err(not_there(&asked.file).into());
        }
        let trouble = |error: rusqlite::Error| Failure::from(not_read(&asked.file, &error));
        let opened = open(&asked.file).map_err(trouble)?;
        // What it shares from here on, no writer locks before the last question.
        let connection = opened.unchecked_transaction().map_err(trouble)?;
        wait_for_lock(&connection, PATIENCE, &asked.file).map_err(trouble)?;
        let table = refusal::table(&connection, &asked)?;
        let rowid = ["rowid", "_rowid_", "oid"].into_iter().find(|alias| {
            !table
                .columns
                .iter()
                .any(|column| column.name.eq_ignore_ascii_case(alias))
        });
        let Some(rowid) = rowid else {
            return Err(refusal::no_rowid(&asked).into());
        };
        let (unit, note) = time::unit(&connection, &asked, &table, rowid)?;
        let column = |name: &Option<String>| name.as_deref().map_or("NULL".to_owned(), quoted);
        let columns = [
            quoted(&asked.time),
            quoted(&asked.count),
            column(&asked.probe),
            column(&asked.temperature),
            column(&asked.supply),
        ]
        .join(", ");
        let from = quoted(&table.name);
        Ok(Self {
            select: format!(
                "SELECT {rowid}, {columns} FROM {from} WHERE {rowid} > ?1 ORDER BY {rowid} LIMIT {AT_ONCE}"
            ),
            one_row: format!("SELECT {rowid}, {columns} FROM {from} WHERE {rowid} = ?1"),
            highest: format!("SELECT coalesce(max({rowid}), 0) FROM {from}"),
            asked,
            unit,
            to_end,
            at: Cursor::default(),
            looks_at: Instant::now(),
            locked_since: None,
            lost: false,
            notes: note.map(Said::Note).into_iter().collect(),
        })
    }

    /// What is new, at one look; and whether there may be more at once.
    fn look(&mut self) -> Result<(Vec<Said>, bool), Trouble> {
        if !self.asked.file.exists() {
            return Err(Trouble::Passing("the file is not there".to_owned()));
        }
        let read = (|| {
            let opened = open(&self.asked.file)?;
            // One state of the table for both questions, whatever is written meanwhile.
            let connection = opened.unchecked_transaction()?;
            let anew = !self.goes_on(&connection)?;
            let mut statement = connection.prepare(&self.select)?;
            // Ids may be zero and less.
            let from = if anew || self.at.is_before_all() {
                i64::MIN
            } else {
                self.at.rowid
            };
            let mut rows = statement.query([from])?;
            let mut said = Vec::new();
            let mut at = None;
            while let Some(row) = rows.next()? {
                let rowid = row.get(0)?;
                let fields = self.fields(row)?;
                at = Some(Cursor {
                    rowid,
                    said: what_it_said(&fields),
                    again: anew || self.at.again,
                });
                said.push(match fields {
                    Ok(fields) => Said::Row(fields, jiff::Timestamp::now()),
                    Err(shown) => Said::Refused {
                        bytes: shown.into_bytes(),
                        why: Refusal::FieldRefused,
                    },
                });
            }
            Ok((anew, said, at))
        })();
        let (anew, mut said, at) =
            read.map_err(|error: rusqlite::Error| match is_locked(&error) {
                true => Trouble::Passing("another program has locked it".to_owned()),
                false => Trouble::Lasting(not_read(&self.asked.file, &error).into()),
            })?;
        let more = said.len() == AT_ONCE;
        if anew {
            self.at = Cursor::default();
            said.insert(
                0,
                Said::Anew(format!(
                    "the rows of {} have other numbers than before, or it was begun anew; it is read \
                     from its first row, without those that are in the file already",
                    self.asked.table
                )),
            );
        }
        if let Some(at) = at {
            self.at = at;
        }
        self.at.again &= more;
        Ok((said, more))
    }

    /// Whether the last row taken is still what it was, or was taken out while later
    /// rows stayed.
    fn goes_on(&self, connection: &Connection) -> rusqlite::Result<bool> {
        if self.at.is_before_all() {
            return Ok(true);
        }
        let there = connection
            .query_row(&self.one_row, [self.at.rowid], |row| {
                Ok(what_it_said(&self.fields(row)?))
            })
            .optional()?;
        match there {
            Some(said) => Ok(said == self.at.said),
            None => {
                let highest: i64 = connection.query_row(&self.highest, [], |row| row.get(0))?;
                Ok(highest > self.at.rowid)
            }
        }
    }

    /// What a row says; or, where it cannot be a reading, how to show it.
    fn fields(&self, row: &Row<'_>) -> rusqlite::Result<Result<Fields, String>> {
        let mut texts = Vec::with_capacity(5);
        for place in 1..=5 {
            texts.push(text_of(row.get_ref(place)?));
        }
        let shown = || {
            let texts: Vec<&str> = texts.iter().flatten().map(String::as_str).collect();
            format!("row {:?}: {}", row.get::<_, i64>(0), texts.join(" | "))
        };
        let whole = texts.iter().all(Option::is_some);
        let mut texts = texts.iter().cloned().map(Option::unwrap_or_default);
        let mut next = || texts.next().unwrap_or_default();
        let (time, raw_count, probe, temperature, supply) =
            (next(), next(), next(), next(), next());
        let Some(time) = self.unit.time(&time).filter(|_| whole) else {
            return Ok(Err(shown()));
        };
        let said = |asked: &Option<String>, text: String| asked.is_some().then_some(text);
        Ok(Ok(Fields {
            time,
            probe_id: said(&self.asked.probe, probe),
            raw_count: Some(raw_count),
            soil_temp_c: said(&self.asked.temperature, temperature),
            supply_mv: said(&self.asked.supply, supply),
        }))
    }

    /// Tells of trouble that lasts longer than a moment.
    fn wait_for(&mut self, why: String) -> Vec<Said> {
        let since = *self.locked_since.get_or_insert_with(Instant::now);
        if self.lost || since.elapsed() < LONG_LOCK {
            return Vec::new();
        }
        self.lost = true;
        vec![Said::Lost(why)]
    }
}

/// A value as a table would write it; `None` for bytes that are no text.
fn text_of(value: ValueRef<'_>) -> Option<String> {
    match value {
        ValueRef::Null => Some(String::new()),
        ValueRef::Integer(whole) => Some(whole.to_string()),
        // The shortest text that means the very same number; 512.0 is 512.
        ValueRef::Real(number) => Some(number.to_string()),
        ValueRef::Text(text) => std::str::from_utf8(text)
            .ok()
            .map(|text| text.trim().to_owned()),
        ValueRef::Blob(_) => None,
    }
}

fn what_it_said(fields: &Result<Fields, String>) -> String {
    match fields {
        Err(shown) => shown.clone(),
        Ok(fields) => fields.shown(),
    }
}

impl Source for Database {
    fn name(&self) -> String {
        format!("{}, table {}", self.asked.file.display(), self.asked.table)
    }

    fn key(&self) -> Option<String> {
        let path = std::fs::canonicalize(&self.asked.file).ok()?;
        Some(format!("database:{}:{}", path.display(), self.asked.table))
    }

    fn resume(&mut self, cursor: &serde_json::Value) -> Result<(), Failure> {
        match serde_json::from_value(cursor.clone()) {
            Ok(cursor) => {
                self.at = cursor;
                if self.at.again {
                    self.notes.push(Said::Anew(
                        "rows that are in the file already may come again, and are left out"
                            .to_owned(),
                    ));
                }
            }
            Err(_) => self.notes.push(Said::Note(
                "where an earlier capture left it is not known; it is read from its first row"
                    .to_owned(),
            )),
        }
        Ok(())
    }

    fn poll(&mut self, wait: Duration) -> Result<Vec<Said>, Failure> {
        let mut said = std::mem::take(&mut self.notes);
        let until = self.looks_at.saturating_duration_since(Instant::now());
        if !until.is_zero() {
            std::thread::sleep(until.min(wait));
            return Ok(said);
        }
        self.looks_at = Instant::now() + LOOK_AGAIN;
        match self.look() {
            Ok((rows, more)) => {
                self.locked_since = None;
                if std::mem::take(&mut self.lost) {
                    said.push(Said::Back);
                }
                said.extend(rows);
                if more {
                    self.looks_at = Instant::now();
                } else if self.to_end {
                    said.push(Said::End);
                }
            }
            Err(Trouble::Passing(why)) => said.extend(self.wait_for(why)),
            Err(Trouble::Lasting(failure)) => return Err(failure),
        }
        Ok(said)
    }

    fn cursor(&self) -> Option<serde_json::Value> {
        serde_json::to_value(&self.at).ok()
    }
}

/// A complaint about an option.
fn option(name: &str, value: &str, what: impl Into<String>, mend: impl Into<String>) -> Complaint {
    Complaint::about(Path::new("command line"), what, mend).in_column(name, value)
}

#[cfg(test)]
mod tests;
