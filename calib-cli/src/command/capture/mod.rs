//! `ovendry capture`: what is listened to, and what is done with it.

mod before;
mod database;

use crate::capture::database::{Asked, Database};
use crate::capture::event::Event;
use crate::capture::form::{Declared, Form, Kind, Separator};
use crate::capture::recording::{Recording, Show, Task};
use crate::capture::show::{JsonLines, Lines, LiveTable};
use crate::capture::sink::{Sink, Sync, beside};
use crate::capture::{GrowingFile, Pipe, Port, RefusedLog, Source};
use crate::failure::{Complaint, Failure, Verdict};
use crate::table::heard::Listener;
use crate::table::names::{COUNT, PROBE_ID, SAMPLE_ID, SOIL_TEMPERATURE, SUPPLY, TIMESTAMP};
use crate::table::{READINGS, STEADY_MINUTES, listed, nearest, shown_path};
use clap::{ArgGroup, Args};
use database::DatabaseOptions;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// What complaints about options are placed at.
const COMMAND_LINE: &str = "command line";
/// Baud rate where none is given: what most sketches for small controllers use.
const USUAL_BAUD: u32 = 9600;

/// What to listen to.
#[derive(Debug, Args)]
#[command(group(ArgGroup::new("source").args(["port", "file", "pipe", "database"])))]
pub struct Capture {
    /// Workbench folder with a site.toml, whose `[capture]` may say the rest
    #[arg(default_value = ".")]
    dir: PathBuf,
    /// Listen to this serial port (8 data bits, no parity, 1 stop bit). On Linux a name
    /// below /dev/serial/by-id stays the same when it is plugged in again
    #[arg(long, value_name = "PATH")]
    port: Option<PathBuf>,
    /// Its baud rate; 9600 if not given
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(50..=4_000_000))]
    baud: Option<u32>,
    /// Follow this file, which a logger goes on writing; also when it is rotated, and
    /// from where an earlier capture left it
    #[arg(long, value_name = "FILE")]
    file: Option<PathBuf>,
    /// Listen to standard input
    #[arg(long)]
    pipe: bool,
    /// Take what the file or database holds already, then end. Exit code 1 if it holds
    /// nothing that an earlier run did not take: a logger that is dead is seen so
    #[arg(long, conflicts_with_all = ["port", "pipe"])]
    to_end: bool,
    /// Read the file or the database from its beginning, not from where an earlier
    /// capture left it; rows that stand already are passed over
    #[arg(long, conflicts_with_all = ["port", "pipe"])]
    again: bool,
    /// What a line looks like; csv if not given
    #[arg(long, value_enum)]
    form: Option<Kind>,
    /// csv: the cells in their order, out of timestamp, probe_id, raw_count,
    /// soil_temp_c and supply_mv, with - for one to pass over; raw_count if not given
    #[arg(long, value_name = "NAMES", allow_hyphen_values = true)]
    fields: Option<String>,
    /// pairs, json: what the line calls a field, e.g. raw_count=adc or (json)
    /// raw_count=sensor.adc; each field that is named must be in every line. May be
    /// given several times
    #[arg(long, value_name = "FIELD=NAME")]
    field: Vec<String>,
    /// csv: what parts the cells; a comma if not given
    #[arg(long, value_enum)]
    separator: Option<Separator>,
    /// The probe, where lines name none; may be left out if site.toml has one only
    #[arg(long, value_name = "ID")]
    probe: Option<String>,
    /// Tag readings with this core, while their probe is steady
    #[arg(long, value_name = "ID")]
    sample: Option<String>,
    /// Append to this file instead of DIR/readings.csv
    #[arg(long, value_name = "FILE")]
    into: Option<PathBuf>,
    /// When rows are brought to disk (fsync): after each, or every second in which rows
    /// came; second if not given. Each row is written at once in any case
    #[arg(long, value_enum)]
    fsync: Option<Sync>,
    /// How long a probe must be steady before a core is taken, minutes; 10 if not given
    #[arg(long, value_name = "MINUTES")]
    steady_minutes: Option<f64>,
    /// End after so long: 90s, 15m, 2h
    #[arg(long = "for", value_name = "DURATION", value_parser = duration)]
    length: Option<Duration>,
    /// End when every probe heard is steady; with --sample, when a dozen readings of
    /// each carry the core. Exit code 1 if it ends otherwise
    #[arg(long)]
    until_steady: bool,
    /// Print a line of JSON for everything that happens
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    database: DatabaseOptions,
}

/// `90s`, `15m`, `2h`, `1d`.
fn duration(text: &str) -> Result<Duration, String> {
    let (number, unit) = text.split_at(text.len() - text.chars().last().map_or(0, char::len_utf8));
    let seconds = match unit {
        "s" => 1,
        "m" => 60,
        "h" => 3600,
        "d" => 86_400,
        _ => 0,
    };
    number
        .parse::<u64>()
        .ok()
        .and_then(|number| number.checked_mul(seconds))
        .filter(|seconds| *seconds > 0)
        .map(Duration::from_secs)
        .ok_or_else(|| "write a whole number and s, m, h or d: 90s, 15m, 2h".to_owned())
}

/// Listens.
pub fn run(capture: &Capture) -> Result<Verdict, Failure> {
    let mut listener = Listener::of(&capture.dir)?;
    let form = capture.form(&listener)?;
    let named = capture.names_a_source();
    let stated = &listener.site().capture.database;
    let asked = capture.database.asked(stated, &capture.dir, named)?;
    capture.settle_the_probe(&form, asked.as_ref(), &mut listener)?;
    let mut task = capture.task(&listener)?;
    let carries = carries(&form, asked.as_ref());
    let lines = asked.is_none();
    let mut source = capture.source(asked, &listener)?;
    let into = capture
        .into
        .clone()
        .unwrap_or_else(|| shown_path(&capture.dir, READINGS));
    let sync = capture.fsync.or(listener.site().capture.sync);
    let (mut sink, found) = Sink::open(
        &into,
        &columns(carries, &into, task.sample.is_some()),
        source.as_ref(),
        &listener,
        sync.unwrap_or_default(),
    )?;
    let mut notes = found.notes;
    if capture.again {
        before::may_be_read_again(source.as_ref(), &sink, !lines || form.declares(TIMESTAMP))?;
        sink.read_again(&listener)?;
    } else if let Some(cursor) = &found.cursor {
        source.resume(cursor)?;
        task.read_before = true;
        notes.extend(before::refused_earlier(found.refused, source.as_ref()));
    }
    let sample = task.sample.as_deref();
    notes.extend(sample.and_then(|core| before::no_such_core(core, &capture.dir)));
    if lines && source.key().is_some() && !form.declares(TIMESTAMP) {
        notes.push(
            "lines carry no time of their own: each gets the time at which it is read here, also \
             one that has stood there for long"
                .to_owned(),
        );
    }
    let refusals = RefusedLog::at(beside(&into, ".refused"));
    let opened = Event::Opened {
        source: source.name(),
        into,
    };
    let recording = Recording::new(source, form, listener, sink, refusals, task);
    let terminal = console::Term::stdout();
    let mut show: Box<dyn Show> = if capture.json {
        Box::new(JsonLines)
    } else if terminal.is_term() {
        Box::new(LiveTable::on(terminal))
    } else {
        Box::new(Lines::default())
    };
    show.event(&opened, &recording)?;
    for what in notes {
        show.event(&Event::Note { what }, &recording)?;
    }
    let stop = asked_to_stop()?;
    recording.run(show.as_mut(), &stop)
}

/// Set when the person or the machine asks the program to end.
fn asked_to_stop() -> Result<Arc<AtomicBool>, Failure> {
    let stop = Arc::new(AtomicBool::new(false));
    let asked = Arc::clone(&stop);
    ctrlc::set_handler(move || asked.store(true, Ordering::Relaxed))
        .map_err(|error| Failure::Internal(format!("cannot listen for Ctrl-C: {error}")))?;
    Ok(stop)
}

/// The columns that a new file gets, and that one already there must have.
fn columns(carries: [bool; 2], into: &Path, tagging: bool) -> Vec<&'static str> {
    let is_new = std::fs::metadata(into).map_or(true, |there| there.len() == 0);
    let mut columns = vec![TIMESTAMP, PROBE_ID, COUNT];
    for (field, carried) in [SOIL_TEMPERATURE, SUPPLY].into_iter().zip(carries) {
        if carried || (is_new && field == SOIL_TEMPERATURE) {
            columns.push(field);
        }
    }
    if tagging || is_new {
        columns.push(SAMPLE_ID);
    }
    columns
}

/// Whether readings carry a soil temperature, and a supply voltage.
fn carries(form: &Form, asked: Option<&Asked>) -> [bool; 2] {
    match asked {
        Some(asked) => [asked.temperature.is_some(), asked.supply.is_some()],
        None => [SOIL_TEMPERATURE, SUPPLY].map(|field| form.declares(field)),
    }
}

fn command_line(
    option: &str,
    value: &str,
    what: impl Into<String>,
    mend: impl Into<String>,
) -> Complaint {
    Complaint::about(Path::new(COMMAND_LINE), what, mend).in_column(option, value)
}

impl Capture {
    /// Whether options name a source that sends lines.
    fn names_a_source(&self) -> bool {
        self.port.is_some() || self.file.is_some() || self.pipe
    }

    /// The form of a line: the options part by part, then site.toml. A kind given as an
    /// option that is not site.toml's leaves nothing of what stands there.
    fn form(&self, listener: &Listener) -> Result<Form, Failure> {
        let stated = &listener.site().capture.form;
        let other_kind = self
            .form
            .is_some_and(|kind| kind != stated.kind.unwrap_or_default());
        let stated = if other_kind {
            Declared::default()
        } else {
            stated.clone()
        };
        let declared = Declared {
            kind: self.form.or(stated.kind),
            fields: self.fields.clone().or(stated.fields),
            named: if self.field.is_empty() {
                stated.named
            } else {
                self.field.clone()
            },
            separator: self.separator.or(stated.separator),
        };
        declared.form().map_err(|fault| {
            command_line(
                &format!("--{}", fault.part),
                &fault.value,
                fault.what,
                fault.mend,
            )
            .into()
        })
    }

    /// Sees that each reading will have a probe.
    fn settle_the_probe(
        &self,
        form: &Form,
        asked: Option<&Asked>,
        listener: &mut Listener,
    ) -> Result<(), Failure> {
        let site = listener.site();
        let ids = || site.probes.iter().map(|probe| probe.id.as_str());
        if let Some(given) = &self.probe
            && site.probe(given).is_none()
        {
            let mend = match nearest(given, ids()) {
                Some(near) => format!("write {near}, or add the probe to site.toml"),
                None => format!("add the probe to site.toml; it knows {}", listed(ids())),
            };
            return Err(command_line("--probe", given, "is not a probe of site.toml", mend).into());
        }
        let only = match site.probes.as_slice() {
            [only] => Some(only.id.clone()),
            _ => None,
        };
        let assumed = self
            .probe
            .clone()
            .or_else(|| site.capture.probe.clone())
            .or(only);
        match assumed {
            Some(probe) => {
                listener.assume_probe(&probe);
                Ok(())
            }
            None if asked.is_some_and(|asked| asked.probe.is_some()) => Ok(()),
            None if asked.is_some() => Err(Complaint::about(
                Path::new(COMMAND_LINE),
                format!("rows name no probe, and site.toml has {}", listed(ids())),
                "say which one it is with --probe, or which column names it with --probe-column",
            )
            .into()),
            // Pairs and JSON may name it in their own way, line by line.
            None if form.declares(PROBE_ID) || !matches!(form, Form::Cells { .. }) => Ok(()),
            None => Err(Complaint::about(
                Path::new(COMMAND_LINE),
                format!(
                    "lines name no probe, and site.toml has {}",
                    listed(ids())
                ),
                "say which one it is with --probe, or where the line names it with probe_id in --fields",
            )
            .into()),
        }
    }

    fn task(&self, listener: &Listener) -> Result<Task, Failure> {
        if let Some(minutes) = self.steady_minutes
            && !STEADY_MINUTES.contains(&minutes)
        {
            return Err(command_line(
                "--steady-minutes",
                &minutes.to_string(),
                format!(
                    "lies outside {} to {}",
                    STEADY_MINUTES.start(),
                    STEADY_MINUTES.end()
                ),
                "write it in minutes, e.g. 10",
            )
            .into());
        }
        let sample = self.sample.as_deref().map(str::trim);
        if let Some(id) = sample
            && (id.is_empty() || id.chars().any(char::is_control))
        {
            return Err(command_line(
                "--sample",
                id,
                "is no id of a core",
                "write it as it will stand in samples.csv",
            )
            .into());
        }
        let minutes = self
            .steady_minutes
            .or(listener.site().capture.steady_minutes);
        Ok(Task {
            sample: sample.map(str::to_owned),
            length: self.length,
            until_steady: self.until_steady,
            steady_span_s: minutes.map(|minutes| (minutes * 60.0).round() as i64),
            read_before: false,
        })
    }

    fn source(
        &self,
        asked: Option<Asked>,
        listener: &Listener,
    ) -> Result<Box<dyn Source>, Failure> {
        if let Some(asked) = asked {
            return Ok(Box::new(Database::open(asked, self.to_end)?));
        }
        let stated = &listener.site().capture;
        let (port, file) = if self.names_a_source() {
            (self.port.clone(), self.file.clone())
        } else {
            (
                stated.port.as_ref().map(PathBuf::from),
                stated.file.as_ref().map(|file| self.dir.join(file)),
            )
        };
        if let Some(path) = port {
            let baud = self.baud.or(stated.baud).unwrap_or(USUAL_BAUD);
            return Ok(Box::new(Port::open(&path, baud)?));
        }
        if let Some(path) = file {
            return Ok(Box::new(GrowingFile::open(&path, self.to_end)?));
        }
        if self.pipe {
            return Ok(Box::new(Pipe::standard_input()));
        }
        Err(Complaint::about(
            Path::new(COMMAND_LINE),
            "does not say where readings come from",
            "add --port, --file, --pipe or --database, or say it below [capture] in site.toml",
        )
        .into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_length_of_time_is_a_number_and_its_unit() {
        assert_eq!(duration("90s"), Ok(Duration::from_secs(90)));
        assert_eq!(duration("2h"), Ok(Duration::from_secs(7200)));
        for text in [
            "",
            "90",
            "m",
            "0s",
            "1.5h",
            "-1s",
            "5 \u{b5}",
            "99999999999999999d",
        ] {
            assert!(duration(text).is_err(), "{text}");
        }
    }
}
