//! Keys of `[controller]` that only a replay or a simulated season asks for.

use super::controller::read_seconds;
use super::declaration::Declaration;
use crate::findings::{Findings, Refused};
use crate::workbench::SeasonKeys;
use calib_core::irrigation::bucket::PROBE_LAG_S;
use calib_core::irrigation::{RATED_OPERATIONS, RelayLife, SEASON_DAYS};
use std::ops::RangeInclusive;

/// A relay rated for fewer operations than this was meant in thousands; for more, in
/// nothing a maker states. Common practice.
const OPERATIONS: RangeInclusive<f64> = 1_000.0..=100_000_000.0;

/// Reads them.
pub(super) fn read(
    table: &Declaration<'_>,
    findings: &mut Findings,
) -> Result<SeasonKeys, Refused> {
    let operations = whole(
        table,
        "relay_rated_operations",
        RATED_OPERATIONS,
        OPERATIONS,
        "write the electrical life of the relay's data sheet in operations",
        findings,
    );
    let days = whole(
        table,
        "season_days",
        SEASON_DAYS,
        1.0..=366.0,
        "write the days a year in which the pump may be wanted",
        findings,
    );
    let lag = read_seconds(table, "probe_lag_s", PROBE_LAG_S, findings);
    Ok(SeasonKeys {
        relay: RelayLife {
            rated_operations: operations?,
            season_days: days?,
        },
        probe_lag_s: lag?,
    })
}

fn whole(
    table: &Declaration<'_>,
    key: &'static str,
    usual: u32,
    limits: RangeInclusive<f64>,
    mend: &str,
    findings: &mut Findings,
) -> Result<u32, Refused> {
    match table.number(key, findings)? {
        None => Ok(usual),
        Some(entry) if entry.value.fract() == 0.0 && limits.contains(&entry.value) => {
            Ok(entry.value as u32)
        }
        Some(entry) => findings.refuse(entry.cell.complaint(
            format!(
                "is not a whole number from {} to {}",
                limits.start(),
                limits.end()
            ),
            format!("{mend}; {usual} is taken where it is left out"),
        )),
    }
}
