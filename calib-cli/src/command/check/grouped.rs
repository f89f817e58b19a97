//! Problems and warnings as a person reads them: by file, then by kind, each mend
//! once.

use super::counted;
use crate::failure::{Complaint, Warning};
use crate::findings::runs_of;
use std::fmt::Write;
use std::path::Path;

/// Problems of one file that ask for one mend in one column.
struct Kind<'a> {
    mend: &'a str,
    /// Different problems, each with the further lines in which it stands too.
    shown: Vec<(&'a Complaint, Vec<u64>)>,
    /// Lines that are only counted.
    further: &'a [u64],
}

/// The problems of one file.
struct OfFile<'a> {
    file: &'a Path,
    kinds: Vec<Kind<'a>>,
    problems: usize,
}

fn group(complaints: &[Complaint]) -> Vec<OfFile<'_>> {
    let mut files: Vec<OfFile<'_>> = Vec::new();
    for complaint in complaints {
        let file = match files.iter().position(|one| one.file == complaint.file) {
            Some(known) => &mut files[known],
            None => {
                files.push(OfFile {
                    file: &complaint.file,
                    kinds: Vec::new(),
                    problems: 0,
                });
                let last = files.len() - 1;
                &mut files[last]
            }
        };
        file.problems += complaint.stands_for();
        file.add(complaint);
    }
    files
}

impl<'a> OfFile<'a> {
    fn add(&mut self, complaint: &'a Complaint) {
        let same_kind = |kind: &Kind<'_>| {
            kind.mend == complaint.mend
                && kind
                    .shown
                    .first()
                    .is_none_or(|(first, _)| first.column == complaint.column)
        };
        let Some(known) = self.kinds.iter().position(same_kind) else {
            self.kinds.push(Kind {
                mend: &complaint.mend,
                shown: vec![(complaint, Vec::new())],
                further: &[],
            });
            return;
        };
        let kind = &mut self.kinds[known];
        if !complaint.further_lines.is_empty() {
            kind.further = &complaint.further_lines;
            return;
        }
        let like = kind
            .shown
            .iter_mut()
            .find(|(one, _)| one.value == complaint.value && one.what == complaint.what);
        match (like, complaint.line) {
            (Some((_, lines)), Some(line)) => lines.push(line),
            _ => kind.shown.push((complaint, Vec::new())),
        }
    }
}

/// `5 problems of 2 kinds`; kinds are told apart only where there are fewer.
fn of_kinds(problems: usize, kinds: usize) -> String {
    let problems_told = counted(problems, "problem");
    if kinds < problems {
        format!("{problems_told} of {}", counted(kinds, "kind"))
    } else {
        problems_told
    }
}

/// All problems: how many there are in how many files, then file by file.
pub fn problems(complaints: &[Complaint], after: &str) -> String {
    let files = group(complaints);
    let all = files.iter().map(|file| file.problems).sum();
    let kinds = files.iter().map(|file| file.kinds.len()).sum();
    let mut text = format!(
        "{} in {}{after}\n",
        of_kinds(all, kinds),
        counted(files.len(), "file")
    );
    for file in &files {
        let told = of_kinds(file.problems, file.kinds.len());
        let _ = writeln!(text, "\n{}: {told}", file.file.display());
        for kind in &file.kinds {
            let last = kind.shown.len().saturating_sub(1);
            for (index, (complaint, lines)) in kind.shown.iter().enumerate() {
                let _ = writeln!(text, "{}", complaint.without_mend());
                // Lines that are only counted are told once with those of the last.
                let further = if index == last { kind.further } else { &[] };
                let mut all = [lines, further].concat();
                all.sort_unstable();
                all.dedup();
                likewise(&mut text, &all);
            }
            let _ = writeln!(text, "  mend: {}", kind.mend);
        }
    }
    text
}

/// `  likewise in 3 more lines: 9, 12-13`, if there are any.
fn likewise(text: &mut String, lines: &[u64]) {
    if !lines.is_empty() {
        let more = lines.len();
        let noun = if more == 1 { "line" } else { "lines" };
        let _ = writeln!(text, "  likewise in {more} more {noun}: {}", runs_of(lines));
    }
}

/// All warnings; what matters and what to do is told once for those that share it.
pub fn warnings(warnings: &[Warning]) -> String {
    let mut kinds: Vec<Vec<&Warning>> = Vec::new();
    for warning in warnings {
        let same = |kind: &&mut Vec<&Warning>| {
            kind.first()
                .is_some_and(|one| one.why == warning.why && one.advice == warning.advice)
        };
        match kinds.iter_mut().find(same) {
            Some(kind) => kind.push(warning),
            None => kinds.push(vec![warning]),
        }
    }
    let mut text = String::new();
    for kind in &kinds {
        for warning in kind {
            let _ = writeln!(text, "warning: {}: {}", warning.place, warning.what);
        }
        if let Some(first) = kind.first() {
            let _ = writeln!(
                text,
                "  why it matters: {}\n  what to do: {}",
                first.why, first.advice
            );
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn complaint(file: &str, line: u64, value: &str, what: &str, mend: &str) -> Complaint {
        Complaint::about(Path::new(file), what, mend)
            .at_line(line)
            .in_column("tare_g", value)
    }

    #[test]
    fn identical_slips_are_folded_and_a_mend_is_told_once_for_its_kind() {
        let mut counted_only = Complaint::about(Path::new("a.csv"), "likewise", "weigh again");
        counted_only.column = Some("tare_g".to_owned());
        counted_only.further_lines = vec![11, 12, 15];
        let told = problems(
            &[
                complaint("a.csv", 2, "NaN", "stands for no number", "weigh again"),
                complaint("a.csv", 3, "NaN", "stands for no number", "weigh again"),
                complaint("a.csv", 4, "-3", "is negative", "correct the sign"),
                complaint("a.csv", 5, "n/a", "stands for no number", "weigh again"),
                complaint("a.csv", 7, "NaN", "stands for no number", "weigh again"),
                counted_only,
                complaint("b.csv", 1, "x", "is not a number", "weigh again"),
            ],
            "; nothing was changed",
        );
        assert_eq!(
            told,
            "9 problems of 3 kinds in 2 files; nothing was changed\n\n\
             a.csv: 8 problems of 2 kinds\n\
             a.csv:2: tare_g = \"NaN\": stands for no number\n  \
             likewise in 2 more lines: 3, 7\n\
             a.csv:5: tare_g = \"n/a\": stands for no number\n  \
             likewise in 3 more lines: 11-12, 15\n  \
             mend: weigh again\n\
             a.csv:4: tare_g = \"-3\": is negative\n  \
             mend: correct the sign\n\n\
             b.csv: 1 problem\n\
             b.csv:1: tare_g = \"x\": is not a number\n  \
             mend: weigh again\n"
        );
    }

    #[test]
    fn lines_shown_alike_and_lines_only_counted_are_told_once() {
        let mut all: Vec<Complaint> = (2..=6)
            .map(|line| complaint("a.csv", line, "", "is empty", "weigh it"))
            .collect();
        let mut counted_only = Complaint::about(Path::new("a.csv"), "likewise", "weigh it");
        counted_only.column = Some("tare_g".to_owned());
        counted_only.further_lines = (7..=19).collect();
        all.push(counted_only);
        let told = problems(&all, "");
        assert!(
            told.contains("  likewise in 17 more lines: 3-19\n"),
            "{told}"
        );
        assert_eq!(told.matches("likewise").count(), 1, "{told}");
    }

    #[test]
    fn warnings_that_ask_for_the_same_stand_together() {
        let warning = |place: &str, advice: &str| Warning {
            place: place.to_owned(),
            what: "reads low".to_owned(),
            why: "it matters".to_owned(),
            advice: advice.to_owned(),
        };
        let all = [
            warning("P1", "look"),
            warning("P2", "wait"),
            warning("P3", "look"),
        ];
        assert_eq!(
            warnings(&all),
            "warning: P1: reads low\nwarning: P3: reads low\n  \
             why it matters: it matters\n  what to do: look\n\
             warning: P2: reads low\n  why it matters: it matters\n  what to do: wait\n"
        );
    }
}
