//! `[capture]`: where readings come from and what a line looks like, for `ovendry
//! capture`; its options go before these keys.

use super::declaration::{Declaration, Entry, Key};
use super::document::File;
use crate::capture::database::TimeUnit;
use crate::capture::form::{Declared, Kind, Separator};
use crate::capture::sink::Sync;
use crate::findings::{Findings, Refused};
use crate::table::site::known_probe;
use crate::workbench::{CaptureKeys, DatabaseKeys, Probe};
use clap::ValueEnum;
use std::ops::RangeInclusive;

/// Baud rates a serial port may have.
const BAUD: RangeInclusive<f64> = 50.0..=4_000_000.0;
/// Minutes over which a probe must be steady.
pub const STEADY_MINUTES: RangeInclusive<f64> = 0.1..=1440.0;

pub(super) const KEYS: &[Key] = &[
    Key::new("port", "\"/dev/ttyUSB0\": the serial port"),
    Key::new("baud", "9600: the rate of the serial port"),
    Key::new("file", "\"log.txt\": a file that a logger goes on writing"),
    Key::new(
        "database",
        "\"logger.db\": a SQLite database that a logger goes on writing",
    ),
    Key::new("table", "\"log\": its table of readings"),
    Key::new("time_column", "\"at\": column of the times"),
    Key::new(
        "time_unit",
        "\"text\", \"utc-text\", \"seconds\", \"milliseconds\" or \"julian-days\": how times are kept",
    ),
    Key::new("probe_column", "\"node\": column of the probe's name"),
    Key::new("count_column", "\"adc\": column of the raw counts"),
    Key::new(
        "temperature_column",
        "\"soil\": column of the soil temperature, C",
    ),
    Key::new("supply_column", "\"mv\": column of the supply voltage, mV"),
    Key::new(
        "form",
        "\"csv\", \"pairs\" or \"json\": what a line looks like",
    ),
    Key::new(
        "fields",
        "\"probe_id,raw_count,soil_temp_c\": the cells of a csv line in their order",
    ),
    Key::new(
        "field",
        "[\"raw_count=adc\"]: what a line of pairs or json calls a field",
    ),
    Key::new(
        "separator",
        "\"comma\", \"semicolon\", \"tab\" or \"blank\": what parts the cells of a csv line",
    ),
    Key::new("probe", "\"P1\": the probe, where lines name none"),
    Key::new(
        "fsync",
        "\"second\" or \"each\": when rows are brought to disk",
    ),
    Key::new(
        "steady_minutes",
        "10: how long a probe must be steady before a core is taken",
    ),
];

/// Reads it.
pub(super) fn read(
    file: &File<'_>,
    probes: Option<&[Probe]>,
    findings: &mut Findings,
) -> Result<CaptureKeys, Refused> {
    let Some(table) = file.table("capture", "[capture]", KEYS, findings)? else {
        return Ok(CaptureKeys::default());
    };
    let port = table.text("port", findings);
    let log = table.text("file", findings);
    let database = table.text("database", findings);
    let tables = read_database(&table, findings);
    let baud = number(
        &table,
        "baud",
        BAUD,
        "write the rate that the sender uses, e.g. 9600",
        findings,
    );
    let kind = one_of::<Kind>(&table, "form", findings);
    let separator = one_of::<Separator>(&table, "separator", findings);
    let sync = one_of::<Sync>(&table, "fsync", findings);
    let fields = table.text("fields", findings);
    let named = table.texts("field", findings);
    let probe = match table.text("probe", findings) {
        Ok(Some(entry)) => match probes {
            Some(probes) => known_probe(entry.cell, probes, findings).map(|_| Some(entry)),
            None => Ok(Some(entry)),
        },
        other => other,
    };
    let steady = number(
        &table,
        "steady_minutes",
        STEADY_MINUTES,
        "write it in minutes, e.g. 10",
        findings,
    );
    let (fields, named) = (fields?, named?);
    let form = Declared {
        kind: kind?,
        fields: fields.map(|entry| entry.value.to_owned()),
        named: named.iter().map(|entry| entry.value.to_owned()).collect(),
        separator: separator?,
    };
    if let Err(fault) = form.form() {
        let cell = named
            .iter()
            .chain(&fields)
            .find(|entry| entry.value == fault.value)
            .map(|entry| entry.cell);
        return findings.refuse(match cell {
            Some(cell) => cell.complaint(fault.what, fault.mend),
            None => table.complaint(format!("{} {}", fault.part, fault.what), fault.mend),
        });
    }
    let (port, log, database) = (port?, log?, database?);
    let mut sources = [("port", port), ("file", log), ("database", database)]
        .into_iter()
        .filter_map(|(name, entry)| Some((name, entry?)));
    if let (Some((first, _)), Some((_, second))) = (sources.next(), sources.next()) {
        return findings.refuse(second.cell.complaint(
            format!("names a second source beside {first}"),
            "keep one of the two, and give the other as an option when it is wanted",
        ));
    }
    let mut tables = tables?;
    if database.is_some() {
        let needed = [
            ("table", &tables.table),
            ("time_column", &tables.time),
            ("count_column", &tables.count),
        ];
        let needed =
            needed.map(|(key, said)| table.needed(key, Ok(said.as_ref()), findings).is_ok());
        if needed.contains(&false) {
            return Err(Refused);
        }
    }
    let owned = |entry: Option<Entry<'_, &str>>| entry.map(|entry| entry.value.to_owned());
    tables.file = owned(database);
    Ok(CaptureKeys {
        port: owned(port),
        baud: baud?.map(|baud| baud as u32),
        file: owned(log),
        database: tables,
        form,
        probe: owned(probe?),
        sync: sync?,
        steady_minutes: steady?,
    })
}

/// What is said of the database, but which it is.
fn read_database(
    table: &Declaration<'_>,
    findings: &mut Findings,
) -> Result<DatabaseKeys, Refused> {
    let mut text = |key| {
        let entry = table.text(key, findings);
        entry.map(|entry| entry.map(|entry| entry.value.to_owned()))
    };
    let [name, time, probe, count, temperature, supply] = [
        "table",
        "time_column",
        "probe_column",
        "count_column",
        "temperature_column",
        "supply_column",
    ]
    .map(&mut text);
    let unit = one_of::<TimeUnit>(table, "time_unit", findings);
    Ok(DatabaseKeys {
        file: None,
        table: name?,
        time: time?,
        unit: unit?,
        probe: probe?,
        count: count?,
        temperature: temperature?,
        supply: supply?,
    })
}

fn number(
    table: &Declaration<'_>,
    key: &'static str,
    limits: RangeInclusive<f64>,
    mend: &str,
    findings: &mut Findings,
) -> Result<Option<f64>, Refused> {
    match table.number(key, findings)? {
        Some(entry) if !limits.contains(&entry.value) => findings.refuse(entry.cell.complaint(
            format!("lies outside {} to {}", limits.start(), limits.end()),
            mend,
        )),
        entry => Ok(entry.map(|entry| entry.value)),
    }
}

/// A word out of those that the option of the same name takes.
fn one_of<T: ValueEnum>(
    table: &Declaration<'_>,
    key: &'static str,
    findings: &mut Findings,
) -> Result<Option<T>, Refused> {
    let Some(entry) = table.text(key, findings)? else {
        return Ok(None);
    };
    if let Ok(value) = T::from_str(entry.value, false) {
        return Ok(Some(value));
    }
    let words: Vec<String> = T::value_variants()
        .iter()
        .filter_map(|value| Some(format!("\"{}\"", value.to_possible_value()?.get_name())))
        .collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    findings.refuse(entry.cell.complaint(
        format!("is none of {}", crate::table::listed(words.iter().copied())),
        "write one of them",
    ))
}
