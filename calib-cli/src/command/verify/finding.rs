//! What `verify` found, in words.

use super::report::FileReport;
use crate::controller_file::ControllerFile;
use crate::failure::{Verdict, Warning};
use calib_core::controller::{
    Comparison, ControllerTable, EDGE_COUNTS, celsius_from_centi, counts_from_sixteenths,
    theta_v_from_units,
};
use jiff::civil::Date;
use std::collections::BTreeMap;
use std::fmt;
use std::path::{Path, PathBuf};

/// What was found in files that are sound.
pub(in crate::command) struct Examined(pub(in crate::command) Vec<Finding>);

impl Examined {
    /// Good if every file is, and no two of one probe differ.
    pub(in crate::command) fn verdict(&self) -> Verdict {
        if tables_at_odds(&self.0).is_none() && self.0.iter().all(Finding::is_good) {
            Verdict::Good
        } else {
            Verdict::Unfit
        }
    }

    /// The same for machines.
    pub(in crate::command) fn reports(&self) -> Vec<FileReport<'_>> {
        self.0.iter().map(FileReport::from).collect()
    }

    /// A warning for each probe that was to be checked again before `today`.
    pub(super) fn overdue(&self, today: Date) -> Vec<Warning> {
        let mut warned = BTreeMap::new();
        for finding in &self.0 {
            let record = finding.table.record();
            let due = record.dates.recheck_by;
            if due < today {
                warned
                    .entry((&record.probe, due))
                    .or_insert_with(|| Warning {
                        place: finding.file.display().to_string(),
                        what: format!("probe {} was to be checked again by {due}", record.probe),
                        why: "probes, cables and soil change; an old calibration may be off by \
                              more than its stated uncertainty"
                            .to_owned(),
                        advice: "take a core or two beside the probe and calibrate again"
                            .to_owned(),
                    });
            }
        }
        warned.into_values().collect()
    }
}

impl fmt::Display for Examined {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // Files of one table that were found alike are described once, together.
        for alike in self.0.chunk_by(Finding::is_alike) {
            for finding in alike {
                writeln!(
                    f,
                    "{}: sound {}, version {}, table_crc32 {:08x}\n  sha256 of the file {}",
                    finding.file.display(),
                    finding.format,
                    finding.table.record().version,
                    finding.table.crc32(),
                    finding.sha256
                )?;
            }
            if let [finding, ..] = alike {
                writeln!(f, "{finding}")?;
            }
        }
        if let Some((one, other)) = tables_at_odds(&self.0) {
            writeln!(
                f,
                "{} and {} are of the same probe but hold different tables: one of them is out of date",
                one.display(),
                other.display()
            )?;
        }
        Ok(())
    }
}

/// Two files of one probe with different tables, if there are any.
fn tables_at_odds(findings: &[Finding]) -> Option<(&Path, &Path)> {
    let mut first = BTreeMap::new();
    findings.iter().find_map(|finding| {
        let earlier: &Finding = first
            .entry(finding.table.record().probe.as_str())
            .or_insert(finding);
        (earlier.table != finding.table).then_some((earlier.file.as_path(), finding.file.as_path()))
    })
}

/// A sound controller file and how it compares with a calibration.
#[derive(Clone)]
pub(in crate::command) struct Finding {
    pub(super) file: PathBuf,
    pub(super) format: &'static str,
    pub(super) sha256: String,
    table: ControllerTable,
    pub(super) against: Option<(PathBuf, Comparison)>,
}

impl Finding {
    pub(super) fn new(
        file: &Path,
        read: &ControllerFile,
        table: &ControllerTable,
        against: Option<(PathBuf, Comparison)>,
    ) -> Self {
        Self {
            file: file.to_owned(),
            format: read.format,
            sha256: read.sha256.clone(),
            table: table.clone(),
            against,
        }
    }

    /// The table the file holds.
    pub(in crate::command) fn table(&self) -> &ControllerTable {
        &self.table
    }

    /// Whether both say the same of the same table.
    fn is_alike(&self, other: &Self) -> bool {
        self.table == other.table && self.against == other.against
    }

    /// Whether nothing speaks against the file.
    pub(in crate::command) fn is_good(&self) -> bool {
        self.against
            .as_ref()
            .is_none_or(|(_, comparison)| comparison.within(self.table.record().max_error))
    }

    /// What the file states of itself, m3/m3.
    pub(super) fn bound(&self) -> f64 {
        theta_v_from_units(self.table.record().max_error)
    }
}

pub(super) fn celsius(centi: Option<i16>) -> Option<f64> {
    centi.map(celsius_from_centi)
}

/// A reading in words: `512 counts and 19.87 C`.
fn reading(code: u32, centi: Option<i16>) -> String {
    match celsius(centi) {
        Some(celsius) => format!("{code} counts and {celsius:.2} C"),
        None => format!("{code} counts"),
    }
}

/// What the table says and how it compares; the file is named before.
impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let record = self.table.record();
        writeln!(
            f,
            "  probe {} in soil {}; calibrated {}, check again by {}",
            record.probe, record.soil, record.dates.calibrated_on, record.dates.recheck_by
        )?;
        writeln!(
            f,
            "  {} knots over {:.1} to {:.1} counts of a {}-bit converter; {}",
            record.knots.len(),
            counts_from_sixteenths(record.domain_low),
            counts_from_sixteenths(record.domain_high),
            record.adc_bits,
            record.direction
        )?;
        if let Some(term) = &record.temperature {
            writeln!(
                f,
                "  needs the soil temperature, {:.2} to {:.2} C; counts hold at {:.2} C",
                celsius_from_centi(term.lowest_centi),
                celsius_from_centi(term.highest_centi),
                celsius_from_centi(term.reference_centi)
            )?;
        }
        let (points, timing, live) = (record.set_points, record.timing, record.live);
        writeln!(
            f,
            "  below {} and above {} counts the wire is broken or shorted; {}",
            live.low,
            live.high,
            match timing.stuck_after_s {
                0 => "a stuck probe is not watched for".to_owned(),
                after => format!("stuck after {after} s without change"),
            }
        )?;
        writeln!(
            f,
            "  start at theta_v {:.4} m3/m3 ({} counts), stop at {:.4} m3/m3 ({} counts)",
            theta_v_from_units(points.refill),
            points.refill_count,
            theta_v_from_units(points.stop),
            points.stop_count
        )?;
        writeln!(
            f,
            "  pump on for {} to {} s, off for {} s or more",
            timing.minimum_on_s, timing.maximum_on_s, timing.minimum_off_s
        )?;
        let Some((path, comparison)) = &self.against else {
            return write!(
                f,
                "  the file itself is sound; it was not compared: no calibration was given and none lies beside it"
            );
        };
        let path = path.display();
        if self.is_good() {
            write!(f, "  gives the curve of {path} at every code:")?;
        } else {
            write!(f, "  does NOT give the curve of {path}:")?;
        }
        write!(f, " {} readings compared", comparison.compared)?;
        if let Some(largest) = comparison.largest {
            let difference = largest.difference();
            write!(
                f,
                ",\n    largest difference {:.4} m3/m3 at {} (table {:.4}, curve {:.4}: the table reads {}),\n    stated bound {:.4} m3/m3",
                difference.abs(),
                reading(largest.code, largest.temperature_centi),
                largest.table,
                largest.curve,
                if difference < 0.0 { "drier" } else { "wetter" },
                self.bound()
            )?;
        }
        if let Some(d) = comparison.table_only {
            write!(
                f,
                "\n    {} readings only the table answers, such as {}: it reaches beyond the calibrated counts",
                d.number,
                reading(d.code, d.temperature_centi)
            )?;
        }
        if let Some(d) = comparison.curve_only {
            write!(
                f,
                "\n    {} readings only the curve answers, at most {:.1} counts inside the calibrated ends{}",
                d.number,
                d.counts_inside,
                if d.counts_inside <= EDGE_COUNTS {
                    ": rounding at the ends, and harmless"
                } else {
                    ""
                }
            )?;
        }
        if !self.is_good() {
            write!(
                f,
                "\n    what to do: do not load it; run `ovendry export` to make it from the calibration as it is now"
            )?;
        }
        Ok(())
    }
}
