//! The answer of `ovendry accuracy`, the same for people and machines.

use super::Accuracy;
use super::held::{Held, How, Material, Whose};
use super::words::{MEANINGS, notices};
use crate::failure::{Complaint, Failure, Warning};
use crate::fit_report::wrapped;
use crate::text_table::{Column, TextTable};
use crate::workbench::SourceFile;
use calib_core::accuracy::{
    AccuracyStudy, Division, Fold, Interval, Measure, Sample, Stratum, StudyRequest, Unforetold,
    Verdict as Judged, study,
};
use serde::Serialize;
use std::fmt;

/// Rows of a division shown; more probes or soils than this are cut short.
const MOST_ROWS: usize = 60;
/// Readings without a value that are named.
const NAMED: usize = 5;

/// Everything the command has to say.
#[derive(Serialize)]
pub(super) struct Answer {
    format: &'static str,
    version: u32,
    /// m3/m3.
    target: f64,
    /// Nobody asked for it.
    target_is_assumed: bool,
    sources: Vec<SourceFile>,
    pub(super) parts: Vec<Part>,
    warnings: Vec<Warning>,
    pub(super) written: Vec<String>,
}

/// Readings of one kind and how good they are.
#[derive(Serialize)]
pub(super) struct Part {
    whose: Whose,
    how: How,
    /// Whether the exit code rests on it.
    decides: bool,
    pub(super) study: AccuracyStudy,
    /// Readings beside cores.
    pairs: Vec<Sample>,
    /// Readings without a value.
    unread: Vec<Unforetold>,
    /// What was left out by turns, and the fit to the rest.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    folds: Vec<Fold>,
    #[serde(skip)]
    pub(super) held: Held,
}

impl Answer {
    /// Studies what was held against cores.
    ///
    /// # Errors
    /// [`Failure::Input`] where no part that decides has cores enough.
    pub(super) fn new(command: &Accuracy, material: Material) -> Result<Self, Failure> {
        let request = command.request();
        let mut warnings = material.warnings;
        let mut parts = Vec::new();
        let mut refused = Vec::new();
        for held in material.held {
            match studied(held, &request) {
                Ok(part) => parts.push(part),
                Err(of) => refused.push(of),
            }
        }
        if !parts.iter().any(|part: &Part| part.decides) {
            let file = command.against.as_ref().unwrap_or(&command.dir);
            return Err(Failure::Input(
                refused
                    .into_iter()
                    .map(|refused| {
                        Complaint::about(
                            file,
                            format!("{}: {}", refused.place, refused.what),
                            refused.advice,
                        )
                    })
                    .collect(),
            ));
        }
        warnings.extend(refused);
        Ok(Self {
            format: "ovendry accuracy",
            version: 1,
            target: command.target(),
            target_is_assumed: command.target.is_none(),
            sources: material.sources,
            parts,
            warnings,
            written: Vec::new(),
        })
    }

    /// Good if every part that decides meets the target.
    pub(super) fn verdict(&self) -> crate::failure::Verdict {
        let meets = |part: &Part| part.verdict() == Some(Judged::Meets);
        if self.parts.iter().filter(|part| part.decides).all(meets) {
            crate::failure::Verdict::Good
        } else {
            crate::failure::Verdict::Unfit
        }
    }

    pub(super) fn target(&self) -> f64 {
        self.target
    }

    pub(super) fn warnings(&self) -> &[Warning] {
        &self.warnings
    }

    pub(super) fn warn(&mut self, warnings: impl IntoIterator<Item = Warning>) {
        self.warnings.extend(warnings);
    }
}

/// The study of one kind of readings, or why there is none.
fn studied(held: Held, request: &StudyRequest) -> Result<Part, Warning> {
    match study(&held.samples, request) {
        Ok(study) => Ok(Part {
            whose: held.whose.clone(),
            how: held.how,
            decides: held.decides,
            study,
            pairs: if held.decides {
                held.samples.clone()
            } else {
                Vec::new()
            },
            unread: held.unread.clone(),
            folds: held.folds.clone(),
            held,
        }),
        Err(error) => Err(Warning {
            place: held.title(),
            what: error.to_string(),
            why: "nothing is said of it".to_owned(),
            advice: error.mend().to_owned(),
        }),
    }
}

impl Part {
    fn verdict(&self) -> Option<Judged> {
        let class = self.study.class.as_ref()?;
        class.target.as_ref().map(|target| target.verdict)
    }

    fn text(&self, explain: bool) -> String {
        let title = self.held.title();
        let mut text = format!("{title}\n{}\n\n", "=".repeat(title.len()));
        for sentence in self.held.verdict_words(&self.study) {
            text.push_str(&format!("{}\n", wrapped(&sentence)));
        }
        text.push_str(&format!("\n{}\n", self.measures()));
        if explain {
            text.push_str(&meanings());
        }
        for (division, heading) in [
            (Division::Moisture, "moisture, m3/m3"),
            (Division::Temperature, "temperature, C"),
            (Division::Soil, "soil"),
            (Division::Probe, "probe"),
        ] {
            text.push_str(&self.division(division, heading));
        }
        let known = notices(&self.study.notices);
        text.push_str(&listed_under("Before you use these figures:", &known));
        text.push_str(&self.unread());
        text.push_str(&listed_under(
            "What would make it firmer:",
            &self.held.firmer(&self.study),
        ));
        text
    }

    fn measures(&self) -> TextTable<4> {
        let mut table = TextTable::new([
            Column::words("measure"),
            Column::numbers("value", ""),
            Column::numbers("95 % interval", ""),
            Column::words("unit"),
        ]);
        let m = &self.study.measures;
        let drawn = |measure| {
            let drawn = self.study.bootstrap.as_ref()?;
            let found = drawn.measures.iter().find(|one| one.measure == measure)?;
            Some(found.interval)
        };
        let unit = "m3/m3";
        let bias = self.study.bias.as_ref().map(|bias| bias.interval);
        let concordance = m.concordance.as_ref();
        let rows = [
            (
                "bias",
                Some(m.bias),
                bias.or_else(|| drawn(Measure::Bias)),
                unit,
            ),
            ("RMSE", Some(m.rmse), drawn(Measure::Rmse), unit),
            (
                "unbiased RMSE",
                Some(m.unbiased_rmse),
                drawn(Measure::UnbiasedRmse),
                unit,
            ),
            (
                "MAE",
                Some(m.mean_absolute_error),
                drawn(Measure::MeanAbsoluteError),
                unit,
            ),
            ("R2", m.r_squared, drawn(Measure::RSquared), ""),
            (
                "Nash-Sutcliffe",
                m.nash_sutcliffe,
                drawn(Measure::NashSutcliffe),
                "",
            ),
            (
                "Lin's concordance",
                concordance.map(|found| found.value),
                concordance
                    .and_then(|found| found.interval)
                    .or_else(|| drawn(Measure::Concordance)),
                "",
            ),
        ];
        for (name, value, interval, unit) in rows {
            if let Some(value) = value {
                let signed = name == "bias";
                table.push(row(name, value, interval, unit, signed));
            }
        }
        if let Some(reference) = &self.study.reference_error {
            let rmse = &reference.rmse;
            table.push(row(
                "RMSE, cores' error taken off",
                rmse.value,
                rmse.interval,
                unit,
                false,
            ));
        }
        if let Some(limits) = &self.study.limits {
            for (name, limit) in [
                ("limits of agreement: upper", &limits.upper),
                ("limits of agreement: lower", &limits.lower),
            ] {
                table.push(row(name, limit.value, Some(limit.interval), unit, true));
            }
        }
        if let Some(found) = &self.study.proportional {
            let slope = &found.slope;
            table.push(row("slope", slope.value, Some(slope.interval), "", false));
        }
        table
    }

    fn division(&self, division: Division, heading: &'static str) -> String {
        let strata: Vec<&Stratum> = self
            .study
            .strata
            .iter()
            .filter(|stratum| stratum.division == division)
            .collect();
        if strata.is_empty() {
            return String::new();
        }
        let mut table = TextTable::new([
            Column::words(heading),
            Column::numbers("readings", ""),
            Column::numbers("bias", "m3/m3"),
            Column::numbers("95 % interval", ""),
            Column::numbers("RMSE", "m3/m3"),
            Column::numbers("95 % lie between", "m3/m3"),
        ]);
        for stratum in strata.iter().take(MOST_ROWS) {
            let measures = stratum.measures.as_ref();
            let number =
                |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |v| format!("{v:.4}"));
            let signed =
                |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |v| format!("{v:+.4}"));
            table.push([
                range(stratum),
                stratum.pairs.to_string(),
                signed(measures.map(|found| found.bias)),
                stratum
                    .bias
                    .as_ref()
                    .map_or_else(|| "-".to_owned(), |bias| interval(bias.interval, true)),
                number(measures.map(|found| found.rmse)),
                stratum.limits.as_ref().map_or_else(
                    || "-".to_owned(),
                    |limits| format!("{:+.4} to {:+.4}", limits.lower.value, limits.upper.value),
                ),
            ]);
        }
        let more = strata.len().saturating_sub(MOST_ROWS);
        let rest = if more > 0 {
            format!("({more} more are in --json)\n")
        } else {
            String::new()
        };
        format!("{table}{rest}\n")
    }

    fn unread(&self) -> String {
        let unread: Vec<String> = self
            .unread
            .iter()
            .take(NAMED)
            .map(|one| format!("core {} beside {}: {}.", one.core, one.probe, one.why))
            .collect();
        let heading = format!(
            "Readings without a value, not in the figures ({}):",
            self.unread.len()
        );
        let mut text = listed_under(&heading, &unread);
        if self.unread.len() > NAMED {
            text.truncate(text.trim_end().len());
            text.push_str(&format!("\n  - and {} more\n\n", self.unread.len() - NAMED));
        }
        text
    }
}

fn row(name: &str, value: f64, of: Option<Interval>, unit: &str, signed: bool) -> [String; 4] {
    let value = if signed {
        format!("{value:+.4}")
    } else {
        format!("{value:.4}")
    };
    [
        name.to_owned(),
        value,
        of.map_or_else(|| "-".to_owned(), |of| interval(of, signed)),
        unit.to_owned(),
    ]
}

fn interval(of: Interval, signed: bool) -> String {
    if signed {
        format!("{:+.4} to {:+.4}", of.low, of.high)
    } else {
        format!("{:.4} to {:.4}", of.low, of.high)
    }
}

/// `0.052 to 0.131`, or a name.
fn range(stratum: &Stratum) -> String {
    let digits = if stratum.division == Division::Temperature {
        1
    } else {
        3
    };
    match (&stratum.name, stratum.low, stratum.high) {
        (Some(name), _, _) => name.clone(),
        (None, Some(low), Some(high)) => format!("{low:.digits$} to {high:.digits$}"),
        (None, low, high) => format!("{low:?} to {high:?}"),
    }
}

/// Sentences as a list under a heading; nothing where there are none.
fn listed_under(heading: &str, sentences: &[String]) -> String {
    if sentences.is_empty() {
        return String::new();
    }
    let mut text = format!("{heading}\n");
    for sentence in sentences {
        let lines = wrapped(sentence).replace('\n', "\n    ");
        text.push_str(&format!("  - {lines}\n"));
    }
    text.push('\n');
    text
}

fn meanings() -> String {
    let widest = MEANINGS
        .iter()
        .map(|(word, _)| word.len())
        .max()
        .unwrap_or(0);
    let mut text = String::from("What the words say:\n");
    for (word, meaning) in MEANINGS {
        let indent = format!("\n{}", " ".repeat(widest + 4));
        let lines = wrapped(meaning).replace('\n', &indent);
        text.push_str(&format!("  {word:<widest$}  {lines}\n"));
    }
    text.push('\n');
    text
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, part) in self.parts.iter().enumerate() {
            write!(f, "{}", part.text(place == 0))?;
        }
        if self.target_is_assumed {
            writeln!(
                f,
                "{}",
                wrapped(&format!(
                    "The target of {} m3/m3 is assumed; name your own with --target.",
                    self.target
                ))
            )?;
        }
        for path in &self.written {
            writeln!(f, "wrote {path}")?;
        }
        Ok(())
    }
}
