//! What differs between two texts, line by line, as a unified diff in which each line
//! that goes stands right above the one that comes for it.

use similar::{ChangeTag, DiffOp, TextDiff};
use std::fmt::Write;
use std::time::Duration;

/// Lines shown around a difference.
const AROUND: usize = 1;

/// After this long a coarser difference is taken; it is as right, and longer.
const LONG_ENOUGH: Duration = Duration::from_secs(2);

/// The unified diff of a file's text before and after; empty where they are the same.
pub fn unified(file: &str, before: &str, after: &str) -> String {
    let diff = TextDiff::configure()
        .timeout(LONG_ENOUGH)
        .diff_lines(before, after);
    let mut text = String::new();
    for ops in diff.grouped_ops(AROUND) {
        let (Some(first), Some(last)) = (ops.first(), ops.last()) else {
            continue;
        };
        if text.is_empty() {
            let _ = writeln!(text, "--- {file}\n+++ {file}");
        }
        let span = |from: usize, to: usize| match to - from {
            0 => format!("{from},0"),
            1 => format!("{}", from + 1),
            length => format!("{},{length}", from + 1),
        };
        let _ = writeln!(
            text,
            "@@ -{} +{} @@",
            span(first.old_range().start, last.old_range().end),
            span(first.new_range().start, last.new_range().end)
        );
        for op in &ops {
            write_op(&mut text, &diff, op);
        }
    }
    text
}

fn write_op(text: &mut String, diff: &TextDiff<'_, '_, str>, op: &DiffOp) {
    let mut comes = Vec::new();
    let mut goes = Vec::new();
    for change in diff.iter_changes(op) {
        let line: String = change.value().to_owned();
        match change.tag() {
            ChangeTag::Equal => write_line(text, ' ', &line),
            ChangeTag::Delete => goes.push(line),
            ChangeTag::Insert => comes.push(line),
        }
    }
    let mut comes = comes.into_iter();
    for line in goes {
        write_line(text, '-', &line);
        // For a line with nothing in it, none comes.
        if line.chars().any(char::is_alphanumeric)
            && let Some(line) = comes.next()
        {
            write_line(text, '+', &line);
        }
    }
    for line in comes {
        write_line(text, '+', &line);
    }
}

/// A line of the diff; what could steer a terminal is written as its code.
fn write_line(text: &mut String, mark: char, line: &str) {
    text.push(mark);
    let (line, ends) = match line.strip_suffix('\n') {
        Some(line) => (line, true),
        None => (line, false),
    };
    for letter in line.chars() {
        if letter.is_control() && letter != '\t' {
            text.extend(letter.escape_default());
        } else {
            text.push(letter);
        }
    }
    text.push('\n');
    if !ends {
        text.push_str("\\ No newline at end of file\n");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_line_stands_above_the_one_that_comes_for_it() {
        let before = "a;1,5\n\nb;2\nc;3\nd\ne\nf\ng;4\n";
        let after = "a,1.5\nb,2\nc,3\nd\ne\nf\ng,4\n";
        assert_eq!(
            unified("x.csv", before, after),
            "--- x.csv\n+++ x.csv\n@@ -1,5 +1,4 @@\n-a;1,5\n+a,1.5\n-\n-b;2\n+b,2\n-c;3\n+c,3\n d\n\
             @@ -7,2 +6,2 @@\n f\n-g;4\n+g,4\n"
        );
        assert_eq!(unified("x.csv", after, after), "");
    }

    #[test]
    fn a_line_without_an_end_and_one_that_steers_a_terminal_are_shown_so() {
        assert_eq!(
            unified("x", "a\u{1b}[2J \n", "a\u{1b}[2J"),
            "--- x\n+++ x\n@@ -1 +1 @@\n-a\\u{1b}[2J \n+a\\u{1b}[2J\n\\ No newline at end of file\n"
        );
    }
}
