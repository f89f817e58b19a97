//! The file that readings are appended to.
//!
//! Each row is written whole, with one call and at once; it is brought to disk (fsync)
//! after each row or at least every second, and at the end. What a crash leaves half
//! written is moved aside, never guessed. Where the disk refuses, rows wait in memory
//! and are tried again.

use super::Source;
use super::again::Standing;
use super::layout::Layout;
use super::lock::Lock;
use super::mark::{Mark, Marks, Row, Running};
use crate::failure::{Complaint, Failure};
use crate::table::heard::{Heard, Listener};
use std::collections::{HashMap, VecDeque};
use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Rows that may wait for a disk that refuses: a day and more of one a second.
const MOST_WAITING: usize = 100_000;
/// How long rows may stand on the disk's word alone, and how soon a disk that refused is
/// tried again.
const SECOND: Duration = Duration::from_secs(1);
/// Of a longer file only so many bytes at its end are looked at, for the last times.
const LOOKED_AT: u64 = 4 << 20;
/// Bytes at its head, for the header.
const HEAD: u64 = 64 << 10;

/// When what was written is brought to disk.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub enum Sync {
    /// After each row
    Each,
    /// Every second in which rows came
    #[default]
    Second,
}

/// The file, open for appending.
#[derive(Debug)]
pub struct Sink {
    path: PathBuf,
    file: File,
    layout: Layout,
    sync: Sync,
    marks: Marks,
    key: Option<String>,
    /// Of each probe, the time of its last row.
    latest: HashMap<String, jiff::Timestamp>,
    waiting: VecDeque<Vec<u8>>,
    /// Rows that are passed over when the source says them again.
    standing: Standing,
    /// Why the disk refused, while it does, and when it is tried again.
    trouble: Option<(String, Instant)>,
    /// Whether rows were written since the last time they were brought to disk.
    dirty: bool,
    synced: Instant,
    /// Held as long as the file is appended to.
    _lock: Lock,
}

/// What was found when a sink was opened, as sentences for the person.
#[derive(Debug, Default)]
pub struct Found {
    /// What to tell.
    pub notes: Vec<String>,
    /// Where the source is to go on.
    pub cursor: Option<serde_json::Value>,
    /// What earlier captures refused of the source before that.
    pub refused: u64,
}

/// What became of a reading.
#[derive(Debug, Clone, PartialEq)]
pub enum Taken {
    /// It was written, or waits for the disk; its time is the one written.
    Written(jiff::Timestamp),
    /// It stands in the file already, from a capture that was broken off, or from one
    /// that read its source before.
    There,
    /// It cannot be appended, and why.
    OutOfOrder(String),
}

impl Sink {
    /// Opens the file at `path` for readings of `source`, which carry `columns` (among
    /// those of readings.csv); makes it with a header if it is not there.
    ///
    /// # Errors
    /// [`Failure::Input`] if another capture appends to it, if it is no table of
    /// readings or lacks one of `columns`; [`Failure::Machine`] if it cannot be written.
    pub fn open(
        path: &Path,
        columns: &[&'static str],
        source: &dyn Source,
        listener: &Listener,
        sync: Sync,
    ) -> Result<(Self, Found), Failure> {
        let failed = |error: io::Error| unwritable(path, &error);
        let lock = Lock::take(&beside(path, ".lock"), path)?;
        if fs::metadata(path).map_or(true, |there| there.len() == 0) {
            begin(path, columns).map_err(failed)?;
        }
        let mut file = OpenOptions::new()
            .read(true)
            .append(true)
            .open(path)
            .map_err(failed)?;
        let mut marks = Marks::read(&beside(path, ".capture"));
        let mut found = Found::default();
        end_last_line(path, &mut file, marks.running.is_some(), &mut found).map_err(failed)?;
        let text = looked_at(&mut file).map_err(failed)?;
        let (layout, latest) = Layout::of(path, &text, columns, listener)?;
        if let Some(broken_off) = marks.running.take() {
            recover(
                &mut file,
                &broken_off,
                &layout,
                listener,
                &mut marks,
                &mut found,
            )
            .map_err(failed)?;
        }
        let key = source.key();
        if let Some(mark) = key.as_ref().and_then(|key| marks.sources.get(key)) {
            found.cursor.clone_from(&mark.cursor);
            found.refused = mark.refused;
        }
        let again = key.as_ref().and_then(|key| marks.sources.get(key));
        let again = again.is_some_and(|mark| mark.again);
        let mut sink = Self {
            path: path.to_owned(),
            file,
            layout,
            sync,
            marks,
            key,
            latest,
            waiting: VecDeque::new(),
            standing: Standing::default(),
            trouble: None,
            dirty: false,
            synced: Instant::now(),
            _lock: lock,
        };
        if again {
            sink.know_what_stands(listener).map_err(failed)?;
        }
        sink.mark(None).map_err(failed)?;
        Ok((sink, found))
    }

    /// The source will be read from its beginning once more: what stands in the file is
    /// passed over then.
    ///
    /// # Errors
    /// [`Failure::Machine`] if the file cannot be read.
    pub fn read_again(&mut self, listener: &Listener) -> Result<(), Failure> {
        if let Some(key) = &self.key {
            let mark = self.marks.sources.entry(key.clone()).or_default();
            mark.there.clear();
            mark.refused = 0;
            mark.again = true;
        }
        self.know_what_stands(listener)
            .map_err(|error| unwritable(&self.path, &error))
    }

    fn know_what_stands(&mut self, listener: &Listener) -> io::Result<()> {
        let text = fs::read(&self.path)?;
        self.standing = Standing::of(&String::from_utf8_lossy(&text), listener);
        Ok(())
    }

    /// Counts something of the source that was refused.
    pub fn refused(&mut self) {
        if let Some(key) = &self.key {
            self.marks.sources.entry(key.clone()).or_default().refused += 1;
        }
    }

    /// Whether readings stand in the file.
    pub fn holds_readings(&self) -> bool {
        !self.latest.is_empty()
    }

    /// Its path.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Rows that wait for a disk that refuses, and why it does.
    pub fn trouble(&self) -> Option<(usize, &str)> {
        self.trouble
            .as_ref()
            .map(|(why, _)| (self.waiting.len(), why.as_str()))
    }

    /// Appends `reading`, tagged with the core `sample`.
    ///
    /// # Errors
    /// [`Failure::Machine`] if the disk has refused for so long that no more rows can
    /// wait.
    pub fn take(&mut self, reading: Heard, sample: Option<&str>) -> Result<Taken, Failure> {
        let mut another = false;
        if let Some(mark) = self.mark_of_source()
            && let Some(row) = mark.there.front()
        {
            if row.is_of(&reading) {
                mark.there.pop_front();
                return Ok(Taken::There);
            }
            another = true;
        }
        if self.standing.has(&reading) {
            return Ok(Taken::There);
        }
        let probe = reading.probe.clone();
        // One that cannot be appended was none of the rows before either.
        let reading = match reading.in_order_after(self.latest.get(&probe).copied()) {
            Ok(reading) => reading,
            Err(why) => return Ok(Taken::OutOfOrder(why)),
        };
        if another && let Some(mark) = self.mark_of_source() {
            // The source says something else than it did: what is left is no guide.
            mark.there.clear();
        }
        let time = self
            .layout
            .stamp(&reading, self.latest.get(&probe).copied());
        self.waiting
            .push_back(self.layout.row(&reading, time, sample));
        self.latest.insert(probe, time);
        self.drain();
        if self.waiting.len() > MOST_WAITING {
            return Err(self.unwritten());
        }
        Ok(Taken::Written(time))
    }

    fn mark_of_source(&mut self) -> Option<&mut Mark> {
        self.marks.sources.get_mut(self.key.as_ref()?)
    }

    /// Writes what waits, unless the disk refused a moment ago.
    fn drain(&mut self) {
        if self
            .trouble
            .as_ref()
            .is_some_and(|(_, again)| Instant::now() < *again)
        {
            return;
        }
        if let Err(error) = self.write_waiting() {
            self.trouble = Some((error.to_string(), Instant::now() + SECOND));
        } else {
            self.trouble = None;
        }
    }

    fn write_waiting(&mut self) -> io::Result<()> {
        if self.waiting.is_empty() {
            return Ok(());
        }
        self.follow_the_name()?;
        while let Some(row) = self.waiting.front() {
            let length = self.file.metadata()?.len();
            if let Err(error) = self.file.write_all(row) {
                // Half a row must not stay; what cannot be taken back now is moved
                // aside by the next capture.
                let _ = self.file.set_len(length);
                return Err(error);
            }
            self.dirty = true;
            self.waiting.pop_front();
            if self.sync == Sync::Each {
                self.file.sync_data()?;
            }
        }
        Ok(())
    }

    /// Goes on in the file that now has the name, if another was put in its place: an
    /// editor does so, and `check --fix`.
    fn follow_the_name(&mut self) -> io::Result<()> {
        if same_file(&self.file, &self.path) {
            return Ok(());
        }
        if !self.path.exists() {
            begin(&self.path, &self.layout.columns())?;
        }
        let mut file = OpenOptions::new()
            .read(true)
            .append(true)
            .open(&self.path)?;
        end_last_line(&self.path, &mut file, false, &mut Found::default())?;
        if self.layout.header_of(&looked_at(&mut file)?) != self.layout.header {
            return Err(io::Error::other(
                "another file with other columns was put in its place",
            ));
        }
        self.file = file;
        Ok(())
    }

    /// To be called often: writes what waits, and brings rows to disk when it is time.
    /// `cursor` is where `source` is to go on.
    ///
    /// # Errors
    /// [`Failure::Machine`] if rows cannot be brought to disk.
    pub fn tick(&mut self, source: &dyn Source) -> Result<(), Failure> {
        self.drain();
        let due = self.dirty && (self.sync == Sync::Each || self.synced.elapsed() >= SECOND);
        if due && self.waiting.is_empty() {
            self.bring_to_disk(Some(source))
                .map_err(|error| unwritable(&self.path, &error))?;
        }
        Ok(())
    }

    fn bring_to_disk(&mut self, source: Option<&dyn Source>) -> io::Result<()> {
        self.file.sync_data()?;
        self.dirty = false;
        self.synced = Instant::now();
        match (source, &self.key) {
            (Some(source), Some(_)) => self.mark(Some(source)),
            _ => Ok(()),
        }
    }

    /// Remembers that a capture runs, and how far its source was read.
    fn mark(&mut self, source: Option<&dyn Source>) -> io::Result<()> {
        if let (Some(source), Some(key)) = (source, &self.key) {
            self.marks.sources.entry(key.clone()).or_default().cursor = source.cursor();
        }
        let length = self.file.metadata()?.len();
        self.marks.running = Some(Running::at(&mut self.file, self.key.as_deref(), length)?);
        self.marks.write(&beside(&self.path, ".capture"))
    }

    /// Ends: everything on disk, and the source's place remembered.
    ///
    /// # Errors
    /// [`Failure::Machine`] with the number of rows that could not be written.
    pub fn end(mut self, source: &dyn Source) -> Result<(), Failure> {
        self.trouble = None;
        self.drain();
        if !self.waiting.is_empty() {
            return Err(self.unwritten());
        }
        self.bring_to_disk(Some(source))
            .and_then(|()| {
                if let Some(key) = &self.key {
                    self.marks.sources.entry(key.clone()).or_default().cursor = source.cursor();
                }
                self.marks.running = None;
                self.marks.write(&beside(&self.path, ".capture"))
            })
            .map_err(|error| unwritable(&self.path, &error))
    }

    fn unwritten(&self) -> Failure {
        let why = self.trouble.as_ref().map_or("", |(why, _)| why.as_str());
        let noun = if self.waiting.len() == 1 {
            "reading"
        } else {
            "readings"
        };
        Failure::Machine(Box::new(Complaint::about(
            &self.path,
            format!("{} {noun} could not be written: {why}", self.waiting.len()),
            "make room on the disk, or append to a file on another one with --into",
        )))
    }
}

/// The file's name with `suffix` behind it.
pub fn beside(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.to_owned().into_os_string();
    name.push(suffix);
    PathBuf::from(name)
}

fn unwritable(path: &Path, error: &io::Error) -> Failure {
    Failure::Machine(Box::new(Complaint::about(
        path,
        format!("cannot be appended to: {error}"),
        "see that it may be written to and that the disk has room; or append to another file with --into",
    )))
}

/// Makes the file with its header, whole or not at all.
fn begin(path: &Path, columns: &[&'static str]) -> io::Result<()> {
    let folder = crate::table::folder_of(path);
    let mut file = tempfile::Builder::new()
        .prefix(".ovendry-")
        .tempfile_in(folder)?;
    writeln!(file, "{}", columns.join(","))?;
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        file.as_file()
            .set_permissions(fs::Permissions::from_mode(0o644))?;
    }
    file.as_file().sync_all()?;
    file.persist(path)?;
    // Makes the name itself durable; not every platform can.
    let _ = File::open(folder).and_then(|folder| folder.sync_all());
    Ok(())
}

/// Sees that the file ends where a line ends. A last line without end was broken off if
/// a capture was: it is moved aside. Otherwise somebody's editor left the end out.
fn end_last_line(
    path: &Path,
    file: &mut File,
    broken_off: bool,
    found: &mut Found,
) -> io::Result<()> {
    let length = file.metadata()?.len();
    let from = length.saturating_sub(HEAD);
    file.seek(SeekFrom::Start(from))?;
    let mut end = Vec::new();
    file.read_to_end(&mut end)?;
    let whole = end
        .iter()
        .rposition(|byte| *byte == b'\n')
        .map_or(0, |at| at + 1);
    let rest = end.get(whole..).unwrap_or_default();
    if rest.is_empty() {
        return Ok(());
    }
    if !broken_off {
        let ending: &[u8] = if end.get(..whole).unwrap_or_default().ends_with(b"\r\n") {
            b"\r\n"
        } else {
            b"\n"
        };
        return file.write_all(ending);
    }
    let aside = beside(path, ".unfinished");
    let mut kept = OpenOptions::new().append(true).create(true).open(&aside)?;
    kept.write_all(rest)?;
    kept.write_all(b"\n")?;
    kept.sync_all()?;
    file.set_len(from + whole as u64)?;
    found.notes.push(format!(
        "the last line of {} was broken off; it was moved to {}",
        path.display(),
        aside.display()
    ));
    Ok(())
}

/// The text of the file; of a long one, the head and the end.
fn looked_at(file: &mut File) -> io::Result<String> {
    let length = file.metadata()?.len();
    file.seek(SeekFrom::Start(0))?;
    let mut bytes = Vec::new();
    if length <= LOOKED_AT {
        file.read_to_end(&mut bytes)?;
    } else {
        Read::by_ref(file).take(HEAD).read_to_end(&mut bytes)?;
        let whole = bytes.iter().rposition(|byte| *byte == b'\n');
        bytes.truncate(whole.map_or(0, |at| at + 1));
        file.seek(SeekFrom::Start(length - LOOKED_AT))?;
        let mut end = Vec::new();
        file.read_to_end(&mut end)?;
        let from = end.iter().position(|byte| *byte == b'\n');
        bytes.extend_from_slice(end.get(from.map_or(0, |at| at + 1)..).unwrap_or_default());
    }
    Ok(String::from_utf8_lossy(&bytes)
        .trim_start_matches('\u{FEFF}')
        .to_owned())
}

/// After a capture that was broken off: which rows its source will say again.
fn recover(
    file: &mut File,
    broken_off: &Running,
    layout: &Layout,
    listener: &Listener,
    marks: &mut Marks,
    found: &mut Found,
) -> io::Result<()> {
    let Some(source) = &broken_off.source else {
        return Ok(());
    };
    if !broken_off.fits(file) {
        found.notes.push(
            "the last capture was broken off and the file was changed since; readings that \
             came just before may stand twice"
                .to_owned(),
        );
        return Ok(());
    }
    file.seek(SeekFrom::Start(broken_off.length))?;
    let mut bytes = Vec::new();
    file.read_to_end(&mut bytes)?;
    let text = format!("{}\n{}", layout.header, String::from_utf8_lossy(&bytes));
    let rows: Vec<Row> = listener
        .rows(&text)
        .into_iter()
        .map(|(probe, count, time)| Row {
            probe,
            count,
            time: time.map(|time| time.to_string()),
        })
        .collect();
    if !rows.is_empty() {
        found.notes.push(format!(
            "the last capture was broken off; {} of its readings stand here already and are not written again",
            rows.len()
        ));
    }
    marks
        .sources
        .entry(source.clone())
        .or_default()
        .there
        .extend(rows);
    Ok(())
}

#[cfg(unix)]
fn same_file(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    match (file.metadata(), fs::metadata(path)) {
        (Ok(open), Ok(there)) => (open.dev(), open.ino()) == (there.dev(), there.ino()),
        _ => false,
    }
}

#[cfg(not(unix))]
fn same_file(_: &File, path: &Path) -> bool {
    path.exists()
}
