//! The SQL expression, run by two databases, gives our integers at every count and
//! many temperatures.
//!
//! Outside: PostgreSQL, a server of its own that `pg_virtualenv` starts and takes
//! away; and DuckDB, whose `/` gives fractions, by the package `duckdb` of the Python
//! that `OVENDRY_PYTHON` names (`python3` if it does not).

use super::made_up::{answer, tables, temperatures};
use crate::{Check, output_of, python};
use calib_cli::controller::{ControllerFormat, FORMATS, render};
use calib_core::controller::ControllerTable;
use ovendry_tests::{Bench, repository};
use std::process::Command;

pub const POSTGRESQL: Check = Check {
    name: "PostgreSQL reads every count of an SQL expression as we do",
    needs: &["pg_virtualenv", "psql"],
    run: || {
        agrees("PostgreSQL", |bench| {
            // The server's own start and end are told on standard output.
            output_of(
                Command::new("pg_virtualenv")
                    .args(["-o", "fsync=off", "psql", "--quiet", "--no-psqlrc"])
                    .args(["--tuples-only", "--no-align", "--field-separator=,"])
                    .args(["--set=ON_ERROR_STOP=1", "--output=rows.csv"])
                    .arg("--file=readings.sql")
                    .current_dir(bench.path()),
            )?;
            std::fs::read(bench.path().join("rows.csv")).map_err(|error| error.to_string())
        })
    },
};

pub const DUCKDB: Check = Check {
    name: "DuckDB reads every count of an SQL expression as we do",
    needs: &["python3"],
    run: || {
        agrees("DuckDB", |bench| {
            output_of(
                Command::new(python())
                    .arg(repository().join("tests/tests/outside/duckdb_rows.py"))
                    .arg("readings.sql")
                    .current_dir(bench.path()),
            )
        })
    },
};

fn sql_format() -> &'static dyn ControllerFormat {
    FORMATS
        .into_iter()
        .find(|format| format.name() == "SQL expression")
        .expect("an SQL expression")
}

/// A query over every count, some the converter cannot give, and none, at every
/// temperature, in columns as narrow as they can be.
fn query(number: usize, table: &ControllerTable, temperatures: &[Option<i16>]) -> String {
    let full_scale = table.full_scale();
    let narrow = full_scale < 32_767;
    let column = if narrow { "SMALLINT" } else { "INTEGER" };
    let (least, most) = if narrow {
        (i32::from(i16::MIN), i32::from(i16::MAX))
    } else {
        (i32::MIN, i32::MAX)
    };
    let rows: Vec<String> = temperatures
        .iter()
        .map(|centi| centi.map_or_else(|| "(NULL)".into(), |centi| format!("({centi})")))
        .collect();
    format!(
        "SELECT {number}, raw_count, soil_temp_centi, (\n{}) AS theta_v_e4\nFROM (\n    SELECT CAST(c AS {column}) AS raw_count, CAST(t AS SMALLINT) AS soil_temp_centi\n    FROM (\n        SELECT c FROM generate_series(-3, {}) AS g(c)\n        UNION ALL SELECT {least} UNION ALL SELECT {most} UNION ALL SELECT NULL\n    ) AS counts CROSS JOIN (VALUES {}) AS v(t)\n) AS readings;\n",
        render(sql_format(), table),
        i32::from(full_scale) + 3,
        rows.join(", ")
    )
}

fn agrees(
    database: &str,
    run: impl FnOnce(&Bench) -> Result<Vec<u8>, String>,
) -> Result<(), String> {
    let tables = tables();
    let bench = Bench::empty();
    let mut queries = String::new();
    let mut due = 0;
    for (number, table) in tables.iter().enumerate() {
        let step = match table.record().adc_bits {
            16 => 400,
            12 => 40,
            _ => 7,
        };
        let temperatures = temperatures(table, step);
        due += temperatures.len() * (usize::from(table.full_scale()) + 10);
        queries.push_str(&query(number, table, &temperatures));
    }
    bench.put("readings.sql", queries);
    let output = run(&bench)?;
    let output = String::from_utf8(output).map_err(|error| error.to_string())?;
    let mut answered = [0_usize; 3];
    for line in output.lines() {
        let cells: Vec<Option<i64>> = line.split(',').map(|cell| cell.parse().ok()).collect();
        let [Some(number), count, centi, got] = cells[..] else {
            return Err(format!("no row of four numbers: {line}"));
        };
        let table = usize::try_from(number)
            .ok()
            .and_then(|number| tables.get(number))
            .ok_or(format!("no such table: {line}"))?;
        let expected = count.map(|count| {
            // Ours has no negative counts; they are no count either.
            let count = u32::try_from(count).unwrap_or(u32::MAX);
            let centi = centi.and_then(|centi| i16::try_from(centi).ok());
            i64::from(answer(table, count, centi).0)
        });
        if got != expected {
            return Err(format!(
                "probe {}: {line}: expected {expected:?}",
                table.record().probe
            ));
        }
        answered[match expected {
            None => 2,
            Some(fault) if fault < -30_000 => 1,
            Some(_) => 0,
        }] += 1;
    }
    if answered.iter().sum::<usize>() != due {
        return Err(format!("{answered:?} rows of {due}"));
    }
    let [theta_v, faults, none] = answered;
    println!(
        "{database}: {theta_v} water contents, {faults} faults and {none} without a count agree"
    );
    Ok(())
}
