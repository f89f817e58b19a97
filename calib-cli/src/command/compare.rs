//! `ovendry compare OLD NEW`: what a new table or calibration says differently.

mod json;
mod text;

pub(super) use json::Answer;

use crate::calibration_file::{CalibrationFile, SUFFIX};
use crate::controller_file::ControllerFile;
use crate::failure::{Complaint, Failure, Verdict, Warning, all_or_every_complaint};
use crate::output;
use calib_core::controller::{Answers, Changed, ControllerTable, Delta, NotComparable};
use std::path::{Path, PathBuf};

/// What a new controller file or calibration says differently from an old one.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// What is in use: a controller file, or a calibration (PROBE.calibration.json)
    #[arg(value_name = "OLD")]
    old: PathBuf,
    /// What is to take its place, of either kind
    #[arg(value_name = "NEW")]
    new: PathBuf,
    /// Which probe of a fleet [default: the probe of the other file]
    #[arg(long, value_name = "ID")]
    probe: Option<String>,
    /// Report as JSON
    #[arg(long)]
    json: bool,
}

/// Runs the command: good if a controller would do the same with either.
pub fn run(arguments: &Arguments) -> Result<Verdict, Failure> {
    let both = all_or_every_complaint([Given::load(&arguments.old), Given::load(&arguments.new)])?;
    let wanted = arguments
        .probe
        .as_deref()
        .or_else(|| both.iter().find_map(Given::only_probe));
    if let Some(asked) = &arguments.probe
        && let Some(other) = both
            .iter()
            .find(|given| given.only_probe().is_some_and(|probe| probe != asked))
    {
        return Err(Complaint::about(
            &other.path,
            format!("holds no table of probe {asked}"),
            "leave --probe out, or give the files of that probe",
        )
        .into());
    }
    let sides = all_or_every_complaint(both.iter().map(|given| given.side(wanted)))?;
    let [old, new] = sides.as_slice() else {
        return Err(Failure::Internal("two files give two sides".to_owned()));
    };
    let delta =
        Delta::between(old.answers(), new.answers()).map_err(|error| refusal(old, new, &error))?;
    let report = Report {
        warnings: warnings(old, new, &delta),
        old,
        new,
        delta,
    };
    for warning in &report.warnings {
        eprintln!("{warning}");
    }
    if arguments.json {
        output::print_json(&report.answer())?;
    } else {
        output::print(&report.to_string())?;
    }
    Ok(report.verdict())
}

/// A file as it was given.
struct Given {
    path: PathBuf,
    subjects: Vec<Subject>,
}

impl Given {
    fn load(path: &Path) -> Result<Self, Failure> {
        let subjects = if path.to_string_lossy().ends_with(SUFFIX) {
            vec![Subject::Calibration(Box::new(CalibrationFile::load(path)?))]
        } else {
            let read = ControllerFile::read(path)?;
            read.tables.into_iter().map(Subject::Table).collect()
        };
        Ok(Self {
            path: path.to_owned(),
            subjects,
        })
    }

    /// The probe, if the file is of one only.
    fn only_probe(&self) -> Option<&str> {
        match self.subjects.as_slice() {
            [one] => Some(one.answers().probe()),
            _ => None,
        }
    }

    /// What a file of one probe holds; of a fleet, what it holds of `wanted`.
    fn side(&self, wanted: Option<&str>) -> Result<Side<'_>, Failure> {
        let side = |subject| Side {
            path: &self.path,
            subject,
        };
        if let [one] = self.subjects.as_slice() {
            return Ok(side(one));
        }
        let probes = || {
            self.subjects
                .iter()
                .map(|subject| subject.answers().probe())
        };
        let found = wanted.and_then(|wanted| {
            let place = probes().position(|probe| probe == wanted)?;
            self.subjects.get(place)
        });
        found.map(side).ok_or_else(|| {
            let what = match wanted {
                Some(wanted) => format!("holds no table of probe {wanted}"),
                None => "holds the tables of a fleet".to_owned(),
            };
            let known: Vec<&str> = probes().collect();
            Complaint::about(
                &self.path,
                what,
                format!("name one of its probes with --probe: {}", known.join(", ")),
            )
            .into()
        })
    }
}

/// What gives water contents.
enum Subject {
    Table(ControllerTable),
    Calibration(Box<CalibrationFile>),
}

impl Subject {
    fn answers(&self) -> &dyn Answers {
        match self {
            Subject::Table(table) => table,
            Subject::Calibration(file) => &file.calibration,
        }
    }
}

/// One of the two that are compared.
struct Side<'a> {
    path: &'a Path,
    subject: &'a Subject,
}

impl Side<'_> {
    fn answers(&self) -> &dyn Answers {
        self.subject.answers()
    }

    fn table(&self) -> Option<&ControllerTable> {
        self.answers().table()
    }

    /// What a person calls it.
    fn noun(&self) -> &'static str {
        match self.subject {
            Subject::Table(_) => "table",
            Subject::Calibration(_) => "curve",
        }
    }

    /// When it was calibrated, and when that should be checked again.
    fn dates(&self) -> (String, String) {
        match self.subject {
            Subject::Table(table) => {
                let dates = table.record().dates;
                (
                    dates.calibrated_on.to_string(),
                    dates.recheck_by.to_string(),
                )
            }
            Subject::Calibration(file) => (file.calibrated_on.clone(), file.recheck_by.clone()),
        }
    }
}

/// Both files and what differs.
struct Report<'a> {
    old: &'a Side<'a>,
    new: &'a Side<'a>,
    delta: Delta,
    warnings: Vec<Warning>,
}

impl Report<'_> {
    /// Good if a controller would do the same with either.
    fn verdict(&self) -> Verdict {
        Verdict::good_if(self.delta.is_the_same())
    }

    /// Whether both are tables of the same numbers, names and dates.
    fn every_number_is_the_same(&self) -> bool {
        self.old.table().is_some() && self.old.table() == self.new.table()
    }
}

/// That the counts of two files do not mean the same.
fn refusal(old: &Side, new: &Side, error: &NotComparable) -> Failure {
    let mend = match error {
        NotComparable::AdcBits { .. } => {
            "compare two files for the same converter; if it was exchanged, take cores and readings with the new one and fit again"
        }
        NotComparable::Direction { .. } => {
            "compare two files for the same wiring; if probe or wiring was exchanged, take cores and readings with the new one and fit again"
        }
    };
    Complaint::about(
        new.path,
        format!("cannot be compared with {}: {error}", old.path.display()),
        mend,
    )
    .into()
}

/// That the two are not of one probe in one soil.
fn warnings(old: &Side, new: &Side, delta: &Delta) -> Vec<Warning> {
    let warning = |what: &str, changed: &Changed<String>, why: &str| Warning {
        place: new.path.display().to_string(),
        what: format!(
            "is for {what} {}, but {} is for {what} {}",
            changed.new,
            old.path.display(),
            changed.old
        ),
        why: why.to_owned(),
        advice: "make sure that both are the files you meant".to_owned(),
    };
    let probe = delta.settings.probe.as_ref().map(|changed| {
        warning(
            "probe",
            changed,
            "every probe has its own curve, so what differs may be the probes and no change of one",
        )
    });
    let soil = delta.settings.soil.as_ref().map(|changed| {
        warning(
            "soil",
            changed,
            "the same count means another water content in another soil",
        )
    });
    probe
        .into_iter()
        .chain(soil)
        .chain(less_sure(new, delta))
        .chain(uncorrected(new, delta))
        .collect()
}

/// That the new one is much less sure, which explains any change away.
fn less_sure(new: &Side, delta: &Delta) -> Option<Warning> {
    let ratio = delta.widened().filter(|_| delta.is_much_less_sure())?;
    Some(Warning {
        place: new.path.display().to_string(),
        what: format!("is much less sure than the old one: its +- is {ratio:.1} times as wide"),
        why: "the wider the new uncertainty, the more of a change it explains away".to_owned(),
        advice: "find out why before you load it: look at the cores with `ovendry fit --details`"
            .to_owned(),
    })
}

/// That the new one has lost the correction for soil temperature.
fn uncorrected(new: &Side, delta: &Delta) -> Option<Warning> {
    let changed = delta.settings.temperature.as_ref()?;
    (changed.old.is_some() && changed.new.is_none()).then(|| Warning {
        place: new.path.display().to_string(),
        what: "no longer corrects for soil temperature, which the old one did".to_owned(),
        why: "a warm or cold day then looks like a wetter or drier soil".to_owned(),
        advice: "see in `ovendry fit` why no correction could be fitted before you load it"
            .to_owned(),
    })
}
