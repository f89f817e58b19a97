//! A file that a logger goes on writing: followed, found again when it is rotated or
//! begun anew, and read on from where an earlier run left it.

use super::lines::Lines;
use super::{Said, Source};
use crate::failure::{Complaint, Failure};
use crate::table::{folder_of, sha256_of};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;
use std::fs::{self, File, Metadata};
use std::io::{self, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Bytes read at once.
const CHUNK: u64 = 1 << 16;
/// Bytes at the head of a file, and before where it was left, by which it is known
/// again.
const KNOWN_BY: u64 = 1024;
/// How often a file is looked at.
const LOOK_AGAIN: Duration = Duration::from_millis(100);

/// A growing file.
pub struct GrowingFile {
    path: PathBuf,
    to_end: bool,
    reading: Reading,
    /// Files that were rotated away since the run before, oldest first, still to be
    /// read to their ends before `path`.
    waiting: VecDeque<File>,
    notes: Vec<Said>,
    lost: bool,
}

/// A file as far as it was read.
struct Reading {
    file: File,
    identity: Option<Identity>,
    /// Bytes read.
    offset: u64,
    /// Where the last line that ended has its end.
    settled: u64,
    /// The first bytes, at most [`KNOWN_BY`] of those read.
    head: Vec<u8>,
    lines: Lines,
}

/// Which file a name means just now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
struct Identity {
    device: u64,
    inode: u64,
}

#[cfg(unix)]
fn identity(metadata: &Metadata) -> Option<Identity> {
    use std::os::unix::fs::MetadataExt;
    Some(Identity {
        device: metadata.dev(),
        inode: metadata.ino(),
    })
}

#[cfg(not(unix))]
fn identity(_: &Metadata) -> Option<Identity> {
    None
}

/// Where a file was left, and how it is known again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
struct Cursor {
    offset: u64,
    identity: Option<Identity>,
    head: Digest,
    tail: Digest,
}

/// Some bytes of a file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
struct Digest {
    length: u64,
    sha256: String,
}

impl Digest {
    /// Of `length` bytes of `file` from `from`.
    fn of(file: &mut File, from: u64, length: u64) -> io::Result<Self> {
        let bytes = bytes_at(file, from, length)?;
        Ok(Self {
            length: bytes.len() as u64,
            sha256: sha256_of(&bytes),
        })
    }
}

fn bytes_at(file: &mut File, from: u64, length: u64) -> io::Result<Vec<u8>> {
    file.seek(SeekFrom::Start(from))?;
    let mut bytes = Vec::new();
    file.take(length).read_to_end(&mut bytes)?;
    Ok(bytes)
}

impl Cursor {
    fn of(file: &mut File, identity: Option<Identity>, offset: u64) -> io::Result<Self> {
        let tail = offset.min(KNOWN_BY);
        Ok(Self {
            offset,
            identity,
            head: Digest::of(file, 0, tail)?,
            tail: Digest::of(file, offset - tail, tail)?,
        })
    }

    /// Whether `file` is the one that was left here.
    fn fits(&self, file: &mut File) -> bool {
        let Ok(metadata) = file.metadata() else {
            return false;
        };
        if !metadata.is_file() || metadata.len() < self.offset {
            return false;
        }
        // Nothing was read of it yet: only the file itself can be known again.
        if self.offset == 0 {
            return identity(&metadata).is_some() && identity(&metadata) == self.identity;
        }
        let same = |known: &Digest, from: u64| {
            Digest::of(file, from, known.length).is_ok_and(|digest| digest == *known)
        };
        let mut same = same;
        same(&self.head, 0) && same(&self.tail, self.offset.saturating_sub(self.tail.length))
    }
}

impl Reading {
    fn from(mut file: File, offset: u64) -> io::Result<Self> {
        Ok(Self {
            identity: identity(&file.metadata()?),
            offset,
            settled: offset,
            head: bytes_at(&mut file, 0, offset.min(KNOWN_BY))?,
            lines: Lines::from_the_beginning(),
            file,
        })
    }

    /// Whether the file is still the one whose head was read, and not shorter.
    fn still_the_same(&mut self) -> io::Result<bool> {
        let head = self.head.len() as u64;
        Ok(self.file.metadata()?.len() >= self.offset
            && bytes_at(&mut self.file, 0, head)? == self.head)
    }

    /// Reads on; whether there was anything.
    fn read_on(&mut self, said: &mut Vec<Said>) -> io::Result<bool> {
        let bytes = bytes_at(&mut self.file, self.offset, CHUNK)?;
        let missing = KNOWN_BY as usize - self.head.len();
        self.head
            .extend_from_slice(bytes.get(..missing.min(bytes.len())).unwrap_or_default());
        self.lines.take(&bytes, jiff::Timestamp::now(), said);
        if let Some(end) = bytes.iter().rposition(|b| matches!(b, b'\n' | b'\r')) {
            self.settled = self.offset + end as u64 + 1;
        }
        self.offset += bytes.len() as u64;
        Ok(!bytes.is_empty())
    }
}

impl GrowingFile {
    /// Opens the file at `path`. With `to_end` it is read to where it ends now;
    /// otherwise it is followed.
    ///
    /// # Errors
    /// [`Failure::Input`] if it cannot be read.
    pub fn open(path: &Path, to_end: bool) -> Result<Self, Failure> {
        let reading = opened(path).and_then(|file| Reading::from(file, 0));
        match reading {
            Ok(reading) => Ok(Self {
                path: path.to_owned(),
                to_end,
                reading,
                waiting: VecDeque::new(),
                notes: Vec::new(),
                lost: false,
            }),
            Err(error) => Err(Complaint::about(
                path,
                format!("cannot be read: {error}"),
                "name the file that the logger writes to; it must be there already",
            )
            .into()),
        }
    }

    fn note(&mut self, what: &str) {
        self.notes
            .push(Said::Note(format!("{} {what}", self.path.display())));
    }

    /// What came, where reading meets no trouble.
    fn look(&mut self, said: &mut Vec<Said>) -> io::Result<()> {
        if !self.reading.still_the_same()? {
            self.reading.lines.cut(said);
            self.note("was begun anew, and is read from its beginning");
            let file = self.reading.file.try_clone()?;
            self.reading = Reading::from(file, 0)?;
        }
        if self.reading.read_on(said)? {
            return Ok(());
        }
        if let Some(next) = self.waiting.pop_front() {
            self.reading.lines.cut(said);
            self.reading = Reading::from(next, 0)?;
            return self.look(said);
        }
        let now = fs::metadata(&self.path).ok().as_ref().and_then(identity);
        if now.is_some() && now != self.reading.identity {
            // What its writer added between the two looks.
            while self.reading.read_on(said)? {}
            self.reading.lines.cut(said);
            self.note("was rotated; the new one is read from its beginning");
            self.reading = Reading::from(opened(&self.path)?, 0)?;
            return self.look(said);
        }
        if self.to_end {
            if self.reading.settled < self.reading.offset {
                self.note(
                    "does not end where a line ends; its last line is not taken, since it may \
                     be half a line: add a line feed if it is whole, and capture again",
                );
            }
            said.push(Said::End);
        }
        Ok(())
    }

    /// Files beside `path` that rotation may have named so, with when they were last
    /// written, oldest first.
    fn rotated(&self) -> Vec<(std::time::SystemTime, File)> {
        let Some(name) = self.path.file_name().map(|name| name.to_string_lossy()) else {
            return Vec::new();
        };
        let entries = fs::read_dir(folder_of(&self.path));
        let mut found: Vec<_> = entries
            .into_iter()
            .flatten()
            .flatten()
            .filter(|entry| is_rotation_of(&name, &entry.file_name().to_string_lossy()))
            .filter_map(|entry| {
                let file = File::open(entry.path()).ok()?;
                let metadata = file.metadata().ok().filter(Metadata::is_file)?;
                Some((metadata.modified().ok()?, file))
            })
            .collect();
        found.sort_by_key(|(modified, _)| *modified);
        found
    }
}

/// Whether `name` is `of` with a number or a date behind it, as rotation names files.
fn is_rotation_of(of: &str, name: &str) -> bool {
    name.strip_prefix(of)
        .and_then(|rest| rest.strip_prefix(['.', '-']))
        .is_some_and(|rest| {
            rest.starts_with(|c: char| c.is_ascii_digit())
                && rest
                    .chars()
                    .all(|c| c.is_ascii_digit() || matches!(c, '-' | '.' | 'T' | '_'))
        })
}

fn opened(path: &Path) -> io::Result<File> {
    let file = File::open(path)?;
    if file.metadata()?.is_file() {
        Ok(file)
    } else {
        Err(io::Error::other("is no plain file"))
    }
}

impl Source for GrowingFile {
    fn name(&self) -> String {
        self.path.display().to_string()
    }

    fn key(&self) -> Option<String> {
        let whole = fs::canonicalize(&self.path).unwrap_or_else(|_| self.path.clone());
        Some(format!("file:{}", whole.display()))
    }

    fn resume(&mut self, cursor: &serde_json::Value) -> Result<(), Failure> {
        let Ok(cursor) = serde_json::from_value::<Cursor>(cursor.clone()) else {
            self.note("was read before, but where it was left is not to be read; it is read from its beginning");
            return Ok(());
        };
        let failed = |error: io::Error| Failure::Internal(format!("a log cannot be read: {error}"));
        if cursor.fits(&mut self.reading.file) {
            let file = self.reading.file.try_clone().map_err(failed)?;
            self.reading = Reading::from(file, cursor.offset).map_err(failed)?;
            return Ok(());
        }
        let mut rotated = self.rotated();
        let left = rotated.iter_mut().position(|(_, file)| cursor.fits(file));
        let Some(left) = left else {
            if cursor.offset > 0 {
                self.note("is not the file that was read before; it is read from its beginning");
            }
            return Ok(());
        };
        // Those written after it, and then the file of the name itself.
        let mut rest = rotated.split_off(left).into_iter().map(|(_, file)| file);
        let current = self.reading.file.try_clone().map_err(failed)?;
        if let Some(first) = rest.next() {
            self.note("was rotated; what was left of the old one is read first");
            self.reading = Reading::from(first, cursor.offset).map_err(failed)?;
        }
        self.waiting = rest.chain([current]).collect();
        Ok(())
    }

    fn poll(&mut self, wait: Duration) -> Result<Vec<Said>, Failure> {
        let mut said = Vec::new();
        match self.look(&mut said) {
            Ok(()) if std::mem::take(&mut self.lost) => said.insert(0, Said::Back),
            Ok(()) => {}
            Err(error) if !self.lost => {
                self.lost = true;
                said.push(Said::Lost(error.to_string()));
            }
            Err(_) => {}
        }
        said.splice(0..0, std::mem::take(&mut self.notes));
        if said.is_empty() {
            std::thread::sleep(wait.min(LOOK_AGAIN));
        }
        Ok(said)
    }

    fn cursor(&self) -> Option<serde_json::Value> {
        let mut file = self.reading.file.try_clone().ok()?;
        let cursor = Cursor::of(&mut file, self.reading.identity, self.reading.settled).ok()?;
        serde_json::to_value(cursor).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::Refusal;
    use std::io::Write;

    struct Log {
        folder: tempfile::TempDir,
    }

    impl Log {
        fn new(text: &str) -> Self {
            let log = Self {
                folder: tempfile::tempdir().unwrap(),
            };
            fs::write(log.path(), text).unwrap();
            log
        }

        fn path(&self) -> PathBuf {
            self.folder.path().join("log.txt")
        }

        fn add(&self, text: &str) {
            let mut file = fs::OpenOptions::new()
                .append(true)
                .create(true)
                .open(self.path())
                .unwrap();
            file.write_all(text.as_bytes()).unwrap();
        }

        fn rotate(&self, to: &str) {
            fs::rename(self.path(), self.folder.path().join(to)).unwrap();
        }

        fn open(&self) -> GrowingFile {
            GrowingFile::open(&self.path(), true).unwrap_or_else(|failure| panic!("{failure}"))
        }

        fn resumed(&self, cursor: &serde_json::Value) -> GrowingFile {
            let mut file = self.open();
            file.resume(cursor).unwrap();
            file
        }
    }

    /// Lines up to the end, and refused ones with `!` before them.
    fn read(file: &mut GrowingFile) -> Vec<String> {
        let mut lines = Vec::new();
        loop {
            for said in file.poll(Duration::ZERO).unwrap() {
                match said {
                    Said::Line(bytes, _) => lines.push(String::from_utf8(bytes).unwrap()),
                    Said::Refused { bytes, why } => {
                        assert_eq!(why, Refusal::CutOff);
                        lines.push(format!("!{}", String::from_utf8(bytes).unwrap()));
                    }
                    Said::End => return lines,
                    _ => {}
                }
            }
        }
    }

    #[test]
    fn a_file_is_followed_and_its_unended_line_waits() {
        let log = Log::new("1\n2\n3");
        let mut file = log.open();
        assert_eq!(read(&mut file), ["1", "2"]);
        log.add("3\n4\n");
        assert_eq!(read(&mut file), ["33", "4"]);
    }

    #[test]
    fn reading_on_neither_loses_nor_doubles_a_line() {
        let log = Log::new("1\n2\n3");
        let mut file = log.open();
        assert_eq!(read(&mut file), ["1", "2"]);
        let cursor = file.cursor().unwrap();
        log.add("3\n4\n");
        assert_eq!(read(&mut log.resumed(&cursor)), ["33", "4"]);
    }

    #[test]
    fn a_rotated_file_is_read_to_its_end_and_then_the_new_one() {
        let log = Log::new("1\n2\n");
        let mut file = log.open();
        assert_eq!(read(&mut file), ["1", "2"]);
        log.add("3\n4");
        log.rotate("log.txt.1");
        log.add("5\n");
        assert_eq!(read(&mut file), ["3", "!4", "5"]);
    }

    #[test]
    fn files_rotated_between_two_runs_are_found_again() {
        let log = Log::new("first of all\n2\n");
        let mut file = log.open();
        read(&mut file);
        let cursor = file.cursor().unwrap();
        let later = std::time::Duration::from_millis(20);
        log.add("3\n");
        log.rotate("log.txt.2");
        std::thread::sleep(later);
        log.add("4\n");
        log.rotate("log.txt.1");
        std::thread::sleep(later);
        log.add("5\n");
        assert_eq!(read(&mut log.resumed(&cursor)), ["3", "4", "5"]);
    }

    #[test]
    fn a_file_begun_anew_is_read_from_its_beginning() {
        for text in ["9\n", "longer than it was before\n"] {
            let log = Log::new("1\n2\n3\n");
            let mut file = log.open();
            read(&mut file);
            let cursor = file.cursor().unwrap();
            fs::write(log.path(), text).unwrap();
            assert_eq!(read(&mut file), [text.trim()]);
            assert_eq!(read(&mut log.resumed(&cursor)), [text.trim()]);
        }
    }

    #[test]
    fn only_numbers_and_dates_name_rotations() {
        assert!(is_rotation_of("log.txt", "log.txt.1"));
        assert!(is_rotation_of("log.txt", "log.txt-20260504"));
        assert!(!is_rotation_of("log.txt", "log.txt.bak"));
        assert!(!is_rotation_of("log.txt", "log.txt"));
        assert!(!is_rotation_of("log.txt", "log.txt.1.gz"));
    }
}
