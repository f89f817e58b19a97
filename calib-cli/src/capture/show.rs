//! The three ways to see a capture: a table drawn in place on a terminal, a line for
//! each change elsewhere, a line of JSON for everything.

use super::Refusal;
use super::event::{EndedBy, Event, Line, Summary};
use super::probe::duration;
use super::recording::{Recording, Show};
use crate::failure::Failure;
use crate::output::print;
use crate::text_table::{Column, TextTable};
use calib_core::quantity::Quantity;
use console::Term;
use std::collections::BTreeMap;
use std::time::{Duration, Instant};

/// How often the table is drawn.
const DRAW: Duration = Duration::from_millis(250);
/// Columns of a terminal that does not say how many it has.
const USUAL_WIDTH: usize = 80;

/// Characters told of one thing that was refused.
const TOLD_OF_ONE: usize = 60;

/// One line of JSON for everything that happens.
pub struct JsonLines;

impl Show for JsonLines {
    fn event(&mut self, event: &Event, _: &Recording) -> Result<(), Failure> {
        let line = Line {
            format: "ovendry capture",
            version: 1,
            at: jiff::Timestamp::now().to_string(),
            event,
        };
        let text = serde_json::to_string(&line)
            .map_err(|error| Failure::Internal(format!("cannot write an event: {error}")))?;
        print(&(text + "\n"))
    }
}

/// A line of text for each change.
#[derive(Default)]
pub struct Lines {
    refused: BTreeMap<Refusal, u64>,
}

impl Show for Lines {
    fn event(&mut self, event: &Event, recording: &Recording) -> Result<(), Failure> {
        if let Event::Refused { why, .. } = event {
            // The first of a kind, then at 10, 100, 1000 of them.
            let count = self.refused.entry(*why).or_default();
            *count += 1;
            if !is_power_of_ten(*count) {
                return Ok(());
            }
        }
        match sentence(event, recording) {
            Some(sentence) => print(&format!("{sentence}\n")),
            None => Ok(()),
        }
    }
}

fn is_power_of_ten(count: u64) -> bool {
    count
        .checked_ilog10()
        .is_some_and(|power| 10_u64.pow(power) == count)
}

/// What happened, in a sentence; readings are not told one by one.
fn sentence(event: &Event, recording: &Recording) -> Option<String> {
    Some(match event {
        Event::Reading { .. } => return None,
        Event::Opened { source, into } => {
            format!("listening to {source}; appending to {}", into.display())
        }
        Event::State { probe_id, .. } => {
            let words = recording
                .probes
                .get(probe_id)
                .map(|probe| probe.words(recording.task.sample.as_deref()))?;
            format!("{probe_id}: {words}")
        }
        Event::Refused { why, reason, shown } => {
            let reason = if reason.is_empty() {
                why.words()
            } else {
                reason
            };
            let count = recording.refused.get(why).copied().unwrap_or(1);
            let how_many = if count == 1 {
                "refused".to_owned()
            } else {
                format!("refused, {count} by now")
            };
            format!("{how_many}: {} ({reason})", shortened(shown))
        }
        Event::Lost { why } => format!(
            "{} is gone ({why}); waiting for it to come back",
            recording.source.name()
        ),
        Event::Back => format!("{} is there again", recording.source.name()),
        Event::Note { what } => what.clone(),
        Event::DiskRefuses { waiting, why } => {
            let wait = if *waiting == 1 { "waits" } else { "wait" };
            format!(
                "the disk refuses ({why}); {} {wait} in memory: make room",
                readings(*waiting as u64)
            )
        }
        Event::DiskTakes => "the disk takes readings again".to_owned(),
        Event::Ended(summary) => ending(summary, recording).trim_end().to_owned(),
    })
}

/// The beginning of what came: the rest is in the file that keeps it.
fn shortened(shown: &str) -> String {
    match shown.char_indices().nth(TOLD_OF_ONE) {
        Some((end, _)) => format!("{} ...", shown.get(..end).unwrap_or_default()),
        None => shown.to_owned(),
    }
}

/// `1 reading`, `2 readings`.
fn readings(number: u64) -> String {
    match number {
        1 => "1 reading".to_owned(),
        _ => format!("{number} readings"),
    }
}

/// What is said at the end.
fn ending(summary: &Summary, recording: &Recording) -> String {
    let ended = match summary.ended_by {
        EndedBy::Asked => "ended",
        EndedBy::Time => "the time is up",
        EndedBy::Steady => "every probe heard is steady",
        EndedBy::Source => "there is no more",
    };
    let mut text = format!(
        "{ended}: {} appended to {}",
        readings(summary.readings),
        summary.into.display()
    );
    if summary.stood_there_already > 0 {
        text.push_str(&format!(
            "; {} stood there already",
            summary.stood_there_already
        ));
    }
    text.push('\n');
    let refused: u64 = summary.refused.values().sum();
    if refused > 0 {
        let kinds: Vec<String> = summary
            .refused
            .iter()
            .map(|(why, count)| format!("{count} {}", why.words()))
            .collect();
        text.push_str(&format!(
            "refused: {}; kept in {}\n",
            kinds.join(", "),
            recording.refused_into().display()
        ));
    }
    for probe in &summary.probes {
        let words = recording
            .probes
            .get(&probe.probe_id)
            .map(|followed| followed.words(recording.task.sample.as_deref()))
            .unwrap_or_default();
        text.push_str(&format!(
            "{}: {}; {words}\n",
            probe.probe_id,
            readings(probe.readings_appended)
        ));
    }
    for advice in &summary.advice {
        text.push_str(&format!("  what to do: {advice}\n"));
    }
    text
}

/// A table drawn in place, with a few last sentences below it.
pub struct LiveTable {
    terminal: Term,
    drawn: usize,
    when: Option<Instant>,
    told: Vec<String>,
}

/// Sentences kept below the table.
const TOLD: usize = 4;

impl LiveTable {
    /// On this terminal.
    pub fn on(terminal: Term) -> Self {
        Self {
            terminal,
            drawn: 0,
            when: None,
            told: Vec::new(),
        }
    }

    fn redraw(&mut self, recording: &Recording) -> Result<(), Failure> {
        let (height, width) = self
            .terminal
            .size_checked()
            .map_or((24, USUAL_WIDTH), |(height, width)| {
                (height.into(), width.into())
            });
        let lines = fitted(&picture(recording, &self.told), height, width);
        let failed =
            |error: std::io::Error| Failure::Internal(format!("cannot draw the table: {error}"));
        self.terminal.clear_last_lines(self.drawn).map_err(failed)?;
        self.terminal
            .write_str(&(lines.join("\n") + "\n"))
            .map_err(failed)?;
        self.terminal.flush().map_err(failed)?;
        self.drawn = lines.len();
        self.when = Some(Instant::now());
        Ok(())
    }
}

impl Show for LiveTable {
    fn event(&mut self, event: &Event, recording: &Recording) -> Result<(), Failure> {
        match event {
            Event::Reading { .. } | Event::State { .. } => return Ok(()),
            Event::Ended(summary) => {
                self.redraw(recording)?;
                return print(&ending(summary, recording));
            }
            // Counted in the table.
            Event::Refused { .. } => return Ok(()),
            _ => {}
        }
        if let Some(sentence) = sentence(event, recording) {
            let time = jiff::Timestamp::now().strftime("%H:%M:%SZ");
            self.told.push(format!("{time} {sentence}"));
            if self.told.len() > TOLD {
                self.told.remove(0);
            }
        }
        self.redraw(recording)
    }

    fn draw(&mut self, recording: &Recording) -> Result<(), Failure> {
        if self.when.is_some_and(|when| when.elapsed() < DRAW) {
            return Ok(());
        }
        self.redraw(recording)
    }
}

/// Lines that fit a terminal: long ones go on in the next, a rule ends at the edge, and
/// none scrolls away above.
fn fitted(text: &str, height: usize, width: usize) -> Vec<String> {
    let width = width.saturating_sub(1).max(1);
    text.lines()
        .flat_map(|line| parted(line, width))
        .take(height.saturating_sub(1).max(1))
        .collect()
}

/// A line in pieces no longer than `width`, parted at blanks where that goes.
fn parted(line: &str, width: usize) -> Vec<String> {
    let mut rest: Vec<char> = line.chars().collect();
    let is_rule = line.chars().all(|c| matches!(c, '-' | ' '));
    if is_rule {
        rest.truncate(width);
    }
    let mut pieces = Vec::new();
    while rest.len() > width {
        let blank = rest.iter().take(width).rposition(|c| *c == ' ');
        let end = blank.filter(|at| *at > width / 2).unwrap_or(width);
        pieces.push(rest.drain(..end).collect());
    }
    pieces.push(rest.into_iter().collect());
    pieces
}

/// The whole picture.
fn picture(recording: &Recording, told: &[String]) -> String {
    let state = match recording.gone {
        Some(gone) => format!("GONE for {}", duration(gone.elapsed().as_secs())),
        None => "listening".to_owned(),
    };
    let mut text = format!(
        "{}: {state}, {} in all\n",
        recording.source.name(),
        duration(recording.began.elapsed().as_secs())
    );
    text.push_str(&format!(
        "{} appended to {}\n\n",
        readings(recording.readings),
        recording.into.display()
    ));
    if recording.probes.is_empty() {
        text.push_str("no reading yet\n");
    } else {
        text.push_str(&table(recording).to_string());
    }
    text.push('\n');
    let refused: u64 = recording.refused.values().sum();
    if let (1.., Some(last)) = (refused, &recording.last_refused) {
        text.push_str(&format!("refused: {refused} (the last: {last})\n"));
    }
    if let Some((waiting, why)) = recording.disk_trouble() {
        text.push_str(&format!(
            "THE DISK REFUSES ({why}): waiting: {}\n",
            readings(waiting as u64)
        ));
    }
    for advice in recording.advice(true) {
        text.push_str(&format!("what to do: {advice}\n"));
    }
    for line in told {
        text.push_str(line);
        text.push('\n');
    }
    text.push_str("Ctrl-C ends\n");
    text
}

fn table(recording: &Recording) -> TextTable<7> {
    let mut table = TextTable::new([
        Column::words("probe"),
        Column::numbers("count", ""),
        Column::numbers("soil", "C"),
        Column::numbers("moves", "counts/h"),
        Column::numbers("noise", "counts"),
        Column::numbers("readings", ""),
        Column::words("state"),
    ]);
    let or_dash = |value: Option<String>| value.unwrap_or_else(|| "-".to_owned());
    for (id, probe) in &recording.probes {
        let words = format!(
            "{} ({})",
            probe.words(recording.task.sample.as_deref()),
            probe.for_how_long()
        );
        table.push([
            id.clone(),
            probe.count.to_string(),
            or_dash(probe.temperature.map(|t| format!("{:.1}", t.value()))),
            or_dash(
                probe
                    .settled
                    .counts_per_hour
                    .map(|rate| format!("{rate:+.1}")),
            ),
            or_dash(probe.settled.noise.map(|noise| format!("{noise:.1}"))),
            probe.readings.to_string(),
            words,
        ]);
    }
    table
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_line_goes_on_in_the_next_and_nothing_is_lost() {
        assert_eq!(parted("probe P1 is steady", 11), ["probe P1", " is steady"]);
        assert_eq!(parted("abcdefgh", 3), ["abc", "def", "gh"]);
        assert_eq!(parted("", 3), [""]);
        assert_eq!(
            parted("--  ------", 6),
            ["--  --"],
            "a rule ends at the edge"
        );
        let lines = fitted("one two three\nfour\nfive", 3, 9);
        assert_eq!(lines, ["one two", " three"]);
    }

    #[test]
    fn refusals_are_told_at_1_10_100_of_them() {
        let told: Vec<u64> = (0..=1000).filter(|count| is_power_of_ten(*count)).collect();
        assert_eq!(told, [1, 10, 100, 1000]);
    }
}
