//! What can stop a command, and the exit code that says so.

use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;
use std::path::{Path, PathBuf};

/// What stands for the file where the command line is at fault.
pub const COMMAND_LINE: &str = "command line";

/// How a command that ran to its end judged its subject.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Fit for use: exit code 0.
    Good,
    /// Judged not fit for use: exit code 1.
    Unfit,
    /// The input itself was to be judged, and must be mended first: exit code 2.
    Faulty,
}

impl Verdict {
    /// Good if `fit` for use.
    pub fn good_if(fit: bool) -> Self {
        if fit { Verdict::Good } else { Verdict::Unfit }
    }
}

/// Why a command stopped.
#[derive(Debug)]
pub enum Failure {
    /// Something in the input must be mended first: exit code 2. Never empty;
    /// all are shown.
    Input(Vec<Complaint>),
    /// The input is as it should be, and what comes of it is judged not fit for
    /// use: exit code 1.
    Unfit(Box<Complaint>),
    /// The machine refuses, and the person may help it: exit code 3.
    Machine(Box<Complaint>),
    /// The program or the machine failed: exit code 3.
    Internal(String),
}

impl Failure {
    /// The exit code for this failure.
    pub fn exit_code(&self) -> u8 {
        match self {
            Failure::Input(_) => 2,
            Failure::Unfit(_) => 1,
            Failure::Machine(_) | Failure::Internal(_) => 3,
        }
    }
}

/// A failure for machines: what `--json` prints in place of the result.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Told<'a> {
    format: &'static str,
    version: u32,
    /// The exit code: 1 judged not fit for use, 2 bad input, 3 the program or the
    /// machine failed.
    exit_code: u8,
    /// All that must be mended; empty only where the program failed.
    problems: Vec<&'a Complaint>,
    /// The same as a person reads it.
    message: String,
}

impl<'a> From<&'a Failure> for Told<'a> {
    fn from(failure: &'a Failure) -> Self {
        Self {
            format: "ovendry failure",
            version: 1,
            exit_code: failure.exit_code(),
            problems: match failure {
                Failure::Input(complaints) => complaints.iter().collect(),
                Failure::Unfit(complaint) | Failure::Machine(complaint) => vec![complaint],
                Failure::Internal(_) => Vec::new(),
            },
            message: failure.to_string(),
        }
    }
}

/// Every result, or every complaint among them. A failure that is no fault of
/// the input comes before complaints.
pub fn all_or_every_complaint<T>(
    results: impl IntoIterator<Item = Result<T, Failure>>,
) -> Result<Vec<T>, Failure> {
    let (mut good, mut complaints) = (Vec::new(), Vec::new());
    for result in results {
        match result {
            Ok(one) => good.push(one),
            Err(Failure::Input(more)) => complaints.extend(more),
            Err(internal) => return Err(internal),
        }
    }
    if complaints.is_empty() {
        Ok(good)
    } else {
        Err(Failure::Input(complaints))
    }
}

impl From<Complaint> for Failure {
    fn from(complaint: Complaint) -> Self {
        Failure::Input(vec![complaint])
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Failure::Internal(what) => write!(f, "internal failure: {what}"),
            Failure::Unfit(complaint) | Failure::Machine(complaint) => write!(f, "{complaint}"),
            Failure::Input(complaints) => {
                for (place, complaint) in complaints.iter().enumerate() {
                    let parting = if place == 0 { "" } else { "\nerror: " };
                    write!(f, "{parting}{complaint}")?;
                }
                Ok(())
            }
        }
    }
}

/// One fault in the input: where, what stands there, what is wrong, how to
/// mend it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Complaint {
    /// The file, as the person would name it.
    pub file: PathBuf,
    /// Line, counted from 1, where there is one.
    pub line: Option<u64>,
    /// Column or key.
    pub column: Option<String>,
    /// What stands there.
    pub value: Option<String>,
    /// What is wrong with it.
    pub what: String,
    /// What to do about it.
    pub mend: String,
    /// Further lines with the same problem, where there are too many to show each.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub further_lines: Vec<u64>,
}

impl Complaint {
    /// A complaint about a whole file.
    pub fn about(file: &Path, what: impl Into<String>, mend: impl Into<String>) -> Self {
        Self {
            file: file.to_owned(),
            line: None,
            column: None,
            value: None,
            what: what.into(),
            mend: mend.into(),
            further_lines: Vec::new(),
        }
    }

    /// How many problems it stands for.
    pub fn stands_for(&self) -> usize {
        self.further_lines.len().max(1)
    }

    /// Where it stands and what is wrong: `samples.csv:7: dry_g = "214.87": what`.
    pub fn without_mend(&self) -> String {
        let line = self.line.map(|line| format!(":{line}"));
        let value = match (&self.column, &self.value) {
            (Some(column), Some(value)) => format!("{column} = \"{value}\": "),
            (Some(column), None) => format!("{column}: "),
            _ => String::new(),
        };
        format!(
            "{}{}: {value}{}",
            self.file.display(),
            line.unwrap_or_default(),
            self.what
        )
    }

    /// The same complaint, placed at `line`.
    pub fn at_line(mut self, line: u64) -> Self {
        self.line = Some(line);
        self
    }

    /// The same complaint, placed in `column` where `value` stands.
    pub fn in_column(mut self, column: impl Into<String>, value: impl Into<String>) -> Self {
        self.column = Some(column.into());
        self.value = Some(value.into());
        self
    }
}

/// `samples.csv:7: dry_g = "214.87": what is wrong` and, on the next line, the
/// mend.
impl fmt::Display for Complaint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}\n  mend: {}", self.without_mend(), self.mend)
    }
}

/// Something that does not stop the work: what, why it matters, what to do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Warning {
    /// Where, as `file:line` or the name of a probe, soil or sample.
    pub place: String,
    /// What was found.
    pub what: String,
    /// Why it matters.
    pub why: String,
    /// What to do.
    pub advice: String,
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "warning: {}: {}\n  why it matters: {}\n  what to do: {}",
            self.place, self.what, self.why, self.advice
        )
    }
}

/// A message that opens with the value it is about, without it: a complaint
/// names the value itself.
pub fn without_value(message: &str, value: &str) -> String {
    message
        .strip_prefix(&format!("\"{value}\" "))
        .unwrap_or(message)
        .to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn complaints_are_gathered_and_one_of_the_machine_comes_first() {
        let input = || -> Result<u8, Failure> {
            Err(Complaint::about(Path::new("a"), "is wrong", "mend it").into())
        };
        match all_or_every_complaint([input(), Ok(1), input()]) {
            Err(Failure::Input(complaints)) => assert_eq!(complaints.len(), 2),
            other => panic!("{other:?}"),
        }
        let internal = Err(Failure::Internal("disk".into()));
        let found = all_or_every_complaint([input(), internal]);
        assert!(matches!(found, Err(Failure::Internal(_))));
        assert_eq!(all_or_every_complaint([Ok(1), Ok(2)]).unwrap(), [1, 2]);
    }

    #[test]
    fn a_complaint_names_file_line_column_value_and_mend() {
        let complaint =
            Complaint::about(Path::new("samples.csv"), "is not a number", "write digits")
                .at_line(7)
                .in_column("dry_g", "18x");
        assert_eq!(
            complaint.to_string(),
            "samples.csv:7: dry_g = \"18x\": is not a number\n  mend: write digits"
        );
    }
}
