//! Why a database cannot be read, and what to do about it.

use super::{Asked, option};
use crate::failure::{Complaint, Failure};
use crate::table::{listed, nearest};
use rusqlite::{Connection, Error, ErrorCode};
use std::path::Path;

/// A table that is there, with the columns asked for.
pub struct Table {
    /// Its name as the database writes it.
    pub name: String,
    /// All its columns.
    pub columns: Vec<Column>,
}

/// A column of a table.
pub struct Column {
    /// Its name.
    pub name: String,
    /// What fills it where a row says nothing, as SQL.
    pub default: Option<String>,
}

/// Finds the table, and sees that it has the columns.
///
/// # Errors
/// [`Failure::Input`] with the names that are probably meant.
pub fn table(connection: &Connection, asked: &Asked) -> Result<Table, Failure> {
    let trouble = |error: Error| Failure::from(not_read(&asked.file, &error));
    let tables: Vec<(String, String, bool)> = {
        let mut statement = connection
            .prepare(
                "SELECT name, type, wr FROM pragma_table_list \
                 WHERE schema = 'main' AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\' ORDER BY name",
            )
            .map_err(trouble)?;
        let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)));
        rows.and_then(Iterator::collect).map_err(trouble)?
    };
    let names = || tables.iter().map(|(name, ..)| name.as_str());
    let Some((name, kind, without_rowid)) = tables
        .iter()
        .find(|(name, ..)| name.eq_ignore_ascii_case(&asked.table))
    else {
        if tables.is_empty() {
            return Err(Complaint::about(
                &asked.file,
                "is a database without any table",
                "name the file that the logger writes to",
            )
            .into());
        }
        return Err(option(
            "--table",
            &asked.table,
            format!("is no table of {}", asked.file.display()),
            meant("tables", &asked.table, names()),
        )
        .into());
    };
    if kind == "view" {
        return Err(option(
            "--table",
            &asked.table,
            "is a view, in which no row can be told from another",
            "name the table it is made from",
        )
        .into());
    }
    if *without_rowid {
        return Err(no_rowid(asked).into());
    }
    let columns = columns(connection, name).map_err(trouble)?;
    let options = [
        ("--count-column", Some(&asked.count)),
        ("--time-column", Some(&asked.time)),
        ("--probe-column", asked.probe.as_ref()),
        ("--temperature-column", asked.temperature.as_ref()),
        ("--supply-column", asked.supply.as_ref()),
    ];
    let complaints: Vec<Complaint> = options
        .into_iter()
        .filter_map(|(name, column)| Some((name, column?)))
        .filter(|(_, column)| {
            !columns
                .iter()
                .any(|one| one.name.eq_ignore_ascii_case(column))
        })
        .map(|(name, column)| {
            option(
                name,
                column,
                format!("is no column of the table {}", asked.table),
                meant(
                    "columns",
                    column,
                    columns.iter().map(|one| one.name.as_str()),
                ),
            )
        })
        .collect();
    if complaints.is_empty() {
        Ok(Table {
            name: name.clone(),
            columns,
        })
    } else {
        Err(Failure::Input(complaints))
    }
}

fn columns(connection: &Connection, table: &str) -> rusqlite::Result<Vec<Column>> {
    let mut statement =
        connection.prepare("SELECT name, dflt_value FROM pragma_table_xinfo(?1)")?;
    let columns = statement.query_map([table], |row| {
        Ok(Column {
            name: row.get(0)?,
            default: row.get(1)?,
        })
    });
    columns?.collect()
}

/// What to write in place of `written`; `kind` says what the names are of.
fn meant<'n>(kind: &str, written: &str, names: impl Iterator<Item = &'n str> + Clone) -> String {
    match nearest(written, names.clone()) {
        Some(near) => format!("write {near}; its {kind}: {}", listed(names)),
        None => format!("write one of its {kind}: {}", listed(names)),
    }
}

/// That rows of the table carry no number of their own.
pub fn no_rowid(asked: &Asked) -> Complaint {
    option(
        "--table",
        &asked.table,
        "is a table WITHOUT ROWID, in which no row can be told from another",
        "let the logger write into a table that has its rowid",
    )
}

/// That there is no such file.
pub fn not_there(file: &Path) -> Complaint {
    if file.is_dir() {
        return Complaint::about(
            file,
            "is a folder, not a database",
            "name the database in it",
        );
    }
    Complaint::about(
        file,
        "is missing",
        "name the database that the logger writes to",
    )
}

/// Whether another program holds a lock, which it will give back.
pub fn is_locked(error: &Error) -> bool {
    matches!(
        error.sqlite_error_code(),
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked)
    )
}

/// Why the database cannot be read.
pub fn not_read(file: &Path, error: &Error) -> Complaint {
    let (what, mend) = match error.sqlite_error_code() {
        Some(ErrorCode::NotADatabase) => (
            "is not a SQLite database".to_owned(),
            "name the database that the logger writes to; a text file is followed with --file",
        ),
        Some(ErrorCode::DatabaseCorrupt) => (
            format!("is a damaged database: {error}"),
            "copy it, and have the copy recovered (the sqlite3 shell has .recover); nothing \
             was written to it",
        ),
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => (
            "is locked by another program".to_owned(),
            "wait until that program has done, or have it use journal_mode WAL, in which \
             reading and writing do not wait for each other",
        ),
        Some(ErrorCode::ReadOnly) => (
            "holds a write that was never finished, and is only read here".to_owned(),
            "let the logger open it once, which undoes that write",
        ),
        Some(ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => (
            format!("cannot be opened: {error}"),
            "see that you may read it and the files beside it whose names end in -wal and \
             -shm, and may write to its folder",
        ),
        _ => (
            format!("cannot be read: {error}"),
            "see that it is the database that the logger writes to",
        ),
    };
    Complaint::about(file, what, mend)
}
