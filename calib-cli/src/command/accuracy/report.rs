//! The answer of `ovendry accuracy`, the same for people and machines.

use super::Accuracy;
use super::held::{Held, How, Material, Whose};
use super::words::MEANINGS;
use crate::failure::{Complaint, Failure, Warning};
use crate::fit_report::{wrapped, wrapped_to};
use crate::workbench::SourceFile;
use calib_core::accuracy::{
    AccuracyStudy, Division, Fold, Sample, StudyRequest, Unforetold, Verdict as Judged, study,
};
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;

/// Readings without a value that are named.
const NAMED: usize = 5;

/// Everything the command has to say.
#[derive(Serialize, JsonSchema)]
pub(in crate::command) struct Answer {
    format: &'static str,
    version: u32,
    /// Good if every part that decides meets the target.
    pub(super) verdict: crate::failure::Verdict,
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
#[derive(Serialize, JsonSchema)]
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
        let meets = |part: &Part| part.verdict() == Some(Judged::Meets);
        Ok(Self {
            format: "ovendry accuracy",
            version: 1,
            verdict: crate::failure::Verdict::good_if(
                parts.iter().filter(|part| part.decides).all(meets),
            ),
            target: command.target(),
            target_is_assumed: command.target.is_none(),
            sources: material.sources,
            parts,
            warnings,
            written: Vec::new(),
        })
    }

    /// What the exit code rests on, where that is not plain.
    fn exit_code(&self) -> Option<String> {
        let aside = self.parts.iter().any(|part| !part.decides);
        aside.then(|| {
            let deciding = self.parts.iter().filter(|part| part.decides).count();
            let rests = if deciding == 1 {
                "the first verdict".to_owned()
            } else {
                format!("the {deciding} verdicts at the top")
            };
            format!(
                "The exit code rests on {rests}: 0 where the target is met, 1 where not. What is \
                 said beside decides nothing."
            )
        })
    }

    /// The verdicts in a line each, where there are several.
    fn summary(&self) -> String {
        let deciding: Vec<&Part> = self.parts.iter().filter(|part| part.decides).collect();
        if deciding.len() < 2 {
            return String::new();
        }
        let mut text = format!("Target {} m3/m3\n", self.target);
        for part in deciding {
            let said = match part.verdict() {
                Some(Judged::Meets) => "met",
                Some(Judged::DoesNotMeet) => "missed",
                Some(Judged::NotSettled) => "not settled",
                None => "not settled, too few cores",
            };
            text.push_str(&format!("  {}: {said}\n", part.held.title()));
        }
        text.push('\n');
        text
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
    let why = "nothing is said of it".to_owned();
    if let Some(first) = held.unread.first()
        && held.samples.is_empty()
    {
        let count = held.unread.len();
        let what = if first.extrapolated {
            let seen = || held.unread.iter().map(|one| one.count);
            format!(
                "none of its {count} readings has a value: counts from {:.1} to {:.1}; {}",
                seen().fold(f64::INFINITY, f64::min),
                seen().fold(f64::NEG_INFINITY, f64::max),
                first.why
            )
        } else {
            format!("none of its {count} readings has a value: {}", first.why)
        };
        let advice = if first.extrapolated {
            "calibrate with drier and wetter cores, or test on cores between those fitted"
        } else {
            "give each core the soil temperature beside its count"
        };
        return Err(Warning {
            place: held.title(),
            what,
            why,
            advice: advice.to_owned(),
        });
    }
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
            why,
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
        // Where each soil has one probe, its line would stand there twice.
        let divided_alike = self.study.soils.len() == self.study.probes.len();
        for (division, heading) in [
            (Division::Moisture, "moisture, m3/m3"),
            (Division::Temperature, "temperature, C"),
            (Division::Soil, "soil"),
            (Division::Probe, "probe"),
        ] {
            if !(division == Division::Soil && divided_alike) {
                text.push_str(&self.division(division, heading));
            }
        }
        let known = self.held.notices(&self.study);
        text.push_str(&listed_under("Before you use these figures:", &known));
        text.push_str(&self.unread());
        text.push_str(&listed_under(
            "What would make it firmer:",
            &self.held.firmer(&self.study),
        ));
        text
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

/// Sentences as a list under a heading; nothing where there are none.
fn listed_under(heading: &str, sentences: &[String]) -> String {
    if sentences.is_empty() {
        return String::new();
    }
    let mut text = format!("{heading}\n");
    for sentence in sentences {
        let lines = wrapped_to(sentence, 74).replace('\n', "\n    ");
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
        let lines = wrapped_to(meaning, 74 - widest).replace('\n', &indent);
        text.push_str(&format!("  {word:<widest$}  {lines}\n"));
    }
    text.push('\n');
    text
}

impl fmt::Display for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.summary())?;
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
        if let Some(sentence) = self.exit_code() {
            writeln!(f, "{}", wrapped(&sentence))?;
        }
        for path in &self.written {
            writeln!(f, "wrote {path}")?;
        }
        Ok(())
    }
}
