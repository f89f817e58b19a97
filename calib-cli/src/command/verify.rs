//! `ovendry verify FILE...`: are these controller files whole, and do they give
//! the calibration's curve at every code?

use crate::calibration_file::{CalibrationFile, SUFFIX};
use crate::failure::{Complaint, Failure, Verdict};
use crate::output;
use calib_cli::controller::{ControllerFormat, format_of, load};
use calib_core::controller::{
    Comparison, ControllerTable, Disagreement, SIXTEENTHS, THETA_SCALE, day_number,
};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};

/// Check controller files, and compare them with their calibration at every code.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// Controller files: JSON or C header
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Calibration to compare with [default: PROBE.calibration.json beside the file]
    #[arg(long, value_name = "FILE")]
    calibration: Option<PathBuf>,
    /// Report as JSON
    #[arg(long)]
    json: bool,
}

/// Runs the command.
pub fn run(arguments: &Arguments) -> Result<Verdict, Failure> {
    let given = match &arguments.calibration {
        Some(path) => Some(Against::load(path.clone())?),
        None => None,
    };
    let mut findings = Vec::new();
    let mut complaints = Vec::new();
    for file in &arguments.files {
        let examined = match &given {
            Some(against) => examine(file, Some(against)),
            None => examine_with_neighbour(file),
        };
        match examined {
            Ok(finding) => findings.push(finding),
            Err(Failure::Input(found)) => complaints.extend(found),
            Err(failure) => return Err(failure),
        }
    }
    let findings = Examined(findings);
    if arguments.json {
        output::print_json(&findings.to_json())?;
    } else {
        output::print(&findings.to_string())?;
    }
    let verdict = findings.verdict();
    // The last one is shown by the program itself.
    match complaints.pop() {
        None => Ok(verdict),
        Some(last) => {
            for complaint in complaints {
                eprintln!("error: {complaint}");
            }
            Err(last.into())
        }
    }
}

/// What was found in files that are sound.
pub(super) struct Examined(pub(super) Vec<Finding>);

impl Examined {
    /// Good if every file is, and no two of one probe differ.
    pub(super) fn verdict(&self) -> Verdict {
        if tables_at_odds(&self.0).is_none() && self.0.iter().all(Finding::is_good) {
            Verdict::Good
        } else {
            Verdict::Unfit
        }
    }

    pub(super) fn to_json(&self) -> Value {
        json!({
            "format": "ovendry verify",
            "version": 1,
            "files": self.0.iter().map(Finding::to_json).collect::<Vec<Value>>(),
            "verdict": self.verdict(),
        })
    }
}

impl fmt::Display for Examined {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for finding in &self.0 {
            writeln!(f, "{finding}")?;
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

/// A calibration to compare with, and where it was read from.
pub(super) struct Against {
    path: PathBuf,
    file: CalibrationFile,
}

impl Against {
    /// Reads a calibration file.
    fn load(path: PathBuf) -> Result<Self, Failure> {
        let file = CalibrationFile::load(&path)?;
        Ok(Self { path, file })
    }

    /// The calibration and where it was read from.
    pub(super) fn file(&self) -> (&Path, &CalibrationFile) {
        (&self.path, &self.file)
    }

    /// A calibration already read.
    pub(super) fn new(path: PathBuf, file: CalibrationFile) -> Self {
        Self { path, file }
    }
}

/// A sound controller file and how it compares with a calibration.
pub(super) struct Finding {
    file: PathBuf,
    format: &'static dyn ControllerFormat,
    table: ControllerTable,
    against: Option<(PathBuf, Comparison)>,
}

/// Reads and checks a file and compares it with the calibration beside it, if
/// one of its probe lies there.
fn examine_with_neighbour(file: &Path) -> Result<Finding, Failure> {
    let alone = examine(file, None)?;
    let beside = file.with_file_name(format!("{}{SUFFIX}", alone.table.record().probe));
    if beside.is_file() {
        examine(file, Some(&Against::load(beside)?))
    } else {
        Ok(alone)
    }
}

/// Reads and checks a file and compares it with `against`.
///
/// # Errors
/// [`Failure::Input`] if the file is damaged, no controller file, or of another
/// probe or soil than the calibration.
pub(super) fn examine(file: &Path, against: Option<&Against>) -> Result<Finding, Failure> {
    let format = format_of(file).ok_or_else(|| {
        Complaint::about(
            file,
            "is no kind of controller file this program knows",
            "give a file that `ovendry export` wrote: .controller.json or .h",
        )
    })?;
    let bytes = fs::read(file).map_err(|error| {
        Complaint::about(
            file,
            format!("cannot be read: {error}"),
            "check the file's name, or run `ovendry export` to write it",
        )
    })?;
    let table = load(format, &bytes).map_err(|error| {
        let complaint = Complaint::about(file, error.to_string(), error.mend());
        match error.line() {
            Some(line) => complaint.at_line(line),
            None => complaint,
        }
    })?;
    let compared = match against {
        None => None,
        Some(against) => {
            same_probe_and_soil(file, &table, against)?;
            let comparison = table.compare(&against.file.calibration);
            Some((against.path.clone(), comparison))
        }
    };
    Ok(Finding {
        file: file.to_owned(),
        format,
        table,
        against: compared,
    })
}

fn same_probe_and_soil(
    file: &Path,
    table: &ControllerTable,
    against: &Against,
) -> Result<(), Failure> {
    let (record, calibration) = (table.record(), &against.file.calibration);
    if record.probe == calibration.probe && record.soil == calibration.soil {
        return Ok(());
    }
    Err(Complaint::about(
        file,
        format!(
            "is for probe {} in soil {}, but {} holds probe {} in soil {}",
            record.probe,
            record.soil,
            against.path.display(),
            calibration.probe,
            calibration.soil
        ),
        "give the calibration of the same probe and soil with --calibration",
    )
    .into())
}

impl Finding {
    /// Whether nothing speaks against the file.
    fn is_good(&self) -> bool {
        self.against
            .as_ref()
            .is_none_or(|(_, comparison)| comparison.within(self.table.record().max_error))
    }

    fn bound(&self) -> f64 {
        f64::from(self.table.record().max_error) / THETA_SCALE
    }

    fn to_json(&self) -> Value {
        let record = self.table.record();
        let calibration = self.against.as_ref().map(|(path, comparison)| {
            let disagreement = |found: &Option<Disagreement>| {
                found.map(|d| {
                    json!({
                        "readings": d.number,
                        "count": d.code,
                        "temperature_c": celsius(d.temperature_centi),
                        "counts_inside_domain": d.counts_inside,
                    })
                })
            };
            json!({
                "file": path,
                "within_bound": self.is_good(),
                "readings_compared": comparison.compared,
                "largest_difference": comparison.largest.map(|largest| json!({
                    "count": largest.code,
                    "temperature_c": celsius(largest.temperature_centi),
                    "table_theta_v": largest.table,
                    "curve_theta_v": largest.curve,
                    "difference": largest.difference(),
                })),
                "only_table_answers": disagreement(&comparison.table_only),
                "only_curve_answers": disagreement(&comparison.curve_only),
            })
        });
        json!({
            "file": self.file,
            "format": self.format.name(),
            "version": record.version,
            "probe": record.probe,
            "soil": record.soil,
            "calibrated_on": day_number(record.dates.calibrated_on),
            "recheck_by": day_number(record.dates.recheck_by),
            "table_crc32": format!("{:08x}", self.table.crc32()),
            "knots": record.knots.len(),
            "stated_bound": self.bound(),
            "calibration": calibration,
        })
    }
}

fn celsius(centi: Option<i16>) -> Option<f64> {
    centi.map(|centi| f64::from(centi) / 100.0)
}

/// A reading in words: `512 counts and 19.87 C`.
fn reading(code: u32, centi: Option<i16>) -> String {
    match celsius(centi) {
        Some(celsius) => format!("{code} counts and {celsius:.2} C"),
        None => format!("{code} counts"),
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let record = self.table.record();
        let counts = |sixteenths: i32| f64::from(sixteenths) / f64::from(SIXTEENTHS);
        let theta_v = |units: i16| f64::from(units) / THETA_SCALE;
        writeln!(
            f,
            "{}: sound {}, version {}, table_crc32 {:08x}",
            self.file.display(),
            self.format.name(),
            record.version,
            self.table.crc32()
        )?;
        writeln!(
            f,
            "  probe {} in soil {}; calibrated {}, check again by {}",
            record.probe, record.soil, record.dates.calibrated_on, record.dates.recheck_by
        )?;
        writeln!(
            f,
            "  {} knots over {:.1} to {:.1} counts of a {}-bit converter; {}",
            record.knots.len(),
            counts(record.domain_low),
            counts(record.domain_high),
            record.adc_bits,
            record.direction
        )?;
        if let Some(term) = &record.temperature {
            let degrees = |centi: i16| f64::from(centi) / 100.0;
            writeln!(
                f,
                "  needs the soil temperature, {:.2} to {:.2} C; counts hold at {:.2} C",
                degrees(term.lowest_centi),
                degrees(term.highest_centi),
                degrees(term.reference_centi)
            )?;
        }
        let points = record.set_points;
        writeln!(
            f,
            "  start at theta_v {:.4} m3/m3 ({} counts), stop at {:.4} m3/m3 ({} counts)",
            theta_v(points.refill),
            points.refill_count,
            theta_v(points.stop),
            points.stop_count
        )?;
        let Some((path, comparison)) = &self.against else {
            return write!(
                f,
                "  the file itself is sound; no calibration was given or lies beside it to compare with"
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
                "\n    {} readings only the curve answers, at most {:.1} counts inside the calibrated ends",
                d.number, d.counts_inside
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
