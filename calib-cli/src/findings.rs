//! Everything found wrong or remarkable in a workbench, gathered in one place.

use crate::failure::{Complaint, Warning};
use std::collections::HashMap;
use std::path::{Path, PathBuf};

/// How many complaints of one kind in one column are shown one by one; further
/// lines are named together in a last one.
const SHOWN: usize = 5;

/// Runs of lines named in that last complaint.
const RUNS_NAMED: usize = 12;

/// Marks a value that was refused and already complained about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Refused;

/// Where a value stands and how it is written there.
#[derive(Debug, Clone, Copy)]
pub struct Cell<'a> {
    /// The file.
    pub file: &'a Path,
    /// Line, counted from 1.
    pub line: u64,
    /// Column of a table or key of a declaration.
    pub column: &'a str,
    /// What stands there, without blanks around it.
    pub text: &'a str,
}

impl Cell<'_> {
    /// A complaint about this value.
    pub fn complaint(&self, what: impl Into<String>, mend: impl Into<String>) -> Complaint {
        Complaint::about(self.file, what, mend)
            .at_line(self.line)
            .in_column(self.column, self.text)
    }
}

/// Complaints and warnings, gathered while the work goes on.
#[derive(Debug, Default)]
pub struct Findings {
    complaints: Vec<Complaint>,
    warnings: Vec<Warning>,
    kinds: HashMap<Kind, Repeats>,
}

/// Complaints that ask for the same mend in the same column are of one kind.
type Kind = (PathBuf, Option<String>, String);

#[derive(Debug, Default)]
struct Repeats {
    shown: usize,
    lines: Vec<u64>,
}

impl Findings {
    /// Adds a complaint, unless just this one is there already.
    pub fn complain(&mut self, complaint: Complaint) {
        let kind = (
            complaint.file.clone(),
            complaint.column.clone(),
            complaint.mend.clone(),
        );
        let repeats = self.kinds.entry(kind).or_default();
        match complaint.line {
            Some(line) if repeats.shown >= SHOWN => repeats.lines.push(line),
            _ if self.complaints.contains(&complaint) => {}
            _ => {
                repeats.shown += 1;
                self.complaints.push(complaint);
            }
        }
    }

    /// Adds a complaint and says so to the caller.
    pub fn refuse<T>(&mut self, complaint: Complaint) -> Result<T, Refused> {
        self.complain(complaint);
        Err(Refused)
    }

    /// Adds a warning.
    pub fn warn(&mut self, warning: Warning) {
        self.warnings.push(warning);
    }

    /// All complaints by file (in the order of `files`) and line, and all
    /// warnings.
    pub fn finish(mut self, files: &[&Path]) -> (Vec<Complaint>, Vec<Warning>) {
        for ((file, column, mend), mut repeats) in self.kinds {
            repeats.lines.sort_unstable();
            repeats.lines.dedup();
            if let Some(first) = repeats.lines.first() {
                let mut rest = Complaint::about(&file, further_lines(&repeats.lines), mend);
                rest.line = Some(*first);
                rest.column = column;
                rest.further_lines = repeats.lines;
                self.complaints.push(rest);
            }
        }
        let place = |complaint: &Complaint| {
            let file = files.iter().position(|file| **file == *complaint.file);
            (
                file.unwrap_or(files.len()),
                complaint.line,
                complaint.column.clone(),
                complaint.what.clone(),
            )
        };
        self.complaints.sort_by_cached_key(place);
        (self.complaints, self.warnings)
    }
}

/// `has the same problem in 4 more lines: 9, 12-14`.
fn further_lines(lines: &[u64]) -> String {
    let noun = if lines.len() == 1 { "line" } else { "lines" };
    format!(
        "has the same problem in {} more {noun}: {}",
        lines.len(),
        runs_of(lines)
    )
}

/// `9, 12-14`, of lines in their order; only the first runs of many are named.
pub fn runs_of(lines: &[u64]) -> String {
    let mut runs: Vec<(u64, u64)> = Vec::new();
    for &line in lines {
        match runs.last_mut() {
            Some((_, last)) if line <= *last + 1 => *last = line.max(*last),
            _ => runs.push((line, line)),
        }
    }
    let named: Vec<String> = runs
        .iter()
        .take(RUNS_NAMED)
        .map(|(first, last)| {
            if first == last {
                first.to_string()
            } else {
                format!("{first}-{last}")
            }
        })
        .collect();
    let more = if runs.len() > RUNS_NAMED { ", ..." } else { "" };
    named.join(", ") + more
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_complaints_of_one_kind_are_shown_five_times_and_then_named_together() {
        let mut findings = Findings::default();
        let file = Path::new("readings.csv");
        for line in (2..=8).chain(11..=12) {
            findings.complain(
                Complaint::about(file, format!("fault {line}"), "mend it")
                    .at_line(line)
                    .in_column("raw_count", "x"),
            );
        }
        let (complaints, _) = findings.finish(&[file]);
        assert_eq!(complaints.len(), 6);
        assert_eq!(
            complaints[5].to_string(),
            "readings.csv:7: raw_count: has the same problem in 4 more lines: 7-8, 11-12\n  \
             mend: mend it"
        );
    }

    #[test]
    fn complaints_come_by_file_and_line_whatever_the_order_they_were_found_in() {
        let mut findings = Findings::default();
        let (a, b) = (Path::new("b.toml"), Path::new("a.csv"));
        findings.complain(Complaint::about(b, "third", "x").at_line(1));
        findings.complain(Complaint::about(a, "second", "y").at_line(9));
        findings.complain(Complaint::about(a, "first", "z").at_line(2));
        let (complaints, _) = findings.finish(&[a, b]);
        let order: Vec<&str> = complaints.iter().map(|c| c.what.as_str()).collect();
        assert_eq!(order, ["first", "second", "third"]);
    }
}
