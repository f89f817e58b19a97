//! Where what was refused is kept, so that nobody has to take our word for it: a file
//! beside the one appended to, with the time, the kind, the reason and what came.

use super::Refusal;
use std::fs::{self, File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};

/// Bytes at which the file is put aside as `.previous` and begun anew, so that a noisy
/// line fills no disk: the newest are kept.
const LARGEST: u64 = 512 * 1024;
/// Bytes shown of what came.
const SHOWN: usize = 200;

/// The file of what was refused.
#[derive(Debug)]
pub struct RefusedLog {
    path: PathBuf,
    file: Option<(File, u64)>,
}

impl RefusedLog {
    /// At `path`; made when there is something to keep.
    pub fn at(path: PathBuf) -> Self {
        Self { path, file: None }
    }

    /// Its path.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Keeps what came. A file that cannot be written is no reason to stop listening:
    /// what was refused is counted and shown all the same.
    pub fn keep(&mut self, at: jiff::Timestamp, why: Refusal, reason: &str, bytes: &[u8]) {
        let line = format!("{at}\t{}\t{reason}\t{}\n", why.words(), shown(bytes));
        let _ = self.write(&line);
    }

    fn write(&mut self, line: &str) -> std::io::Result<()> {
        if self.file.as_ref().is_some_and(|(_, size)| *size > LARGEST) {
            self.file = None;
            let mut previous = self.path.clone().into_os_string();
            previous.push(".previous");
            fs::rename(&self.path, previous)?;
        }
        if self.file.is_none() {
            let file = OpenOptions::new()
                .append(true)
                .create(true)
                .open(&self.path)?;
            let size = file.metadata()?.len();
            self.file = Some((file, size));
        }
        if let Some((file, size)) = &mut self.file {
            file.write_all(line.as_bytes())?;
            *size += line.len() as u64;
        }
        Ok(())
    }
}

/// Bytes as ASCII, with escapes for what is none.
pub fn shown(bytes: &[u8]) -> String {
    let head = bytes.get(..SHOWN).unwrap_or(bytes);
    let more = bytes.len() - head.len();
    let mut text = head.escape_ascii().to_string();
    if more > 0 {
        text.push_str(&format!(" ... and {more} bytes more"));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_refused_is_kept_in_ascii_and_a_flood_fills_no_disk() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("readings.csv.refused");
        let mut log = RefusedLog::at(path.clone());
        let at = jiff::Timestamp::UNIX_EPOCH;
        log.keep(at, Refusal::NotText, "", b"\xff6\0\x1b[2J");
        assert_eq!(
            fs::read_to_string(&path).unwrap(),
            "1970-01-01T00:00:00Z\tnot text\t\t\\xff6\\x00\\x1b[2J\n"
        );
        for _ in 0..20_000 {
            log.keep(at, Refusal::TooLong, "", &[0xff; 1025]);
        }
        let size = |path: &Path| fs::metadata(path).unwrap().len();
        assert!(size(&path) < LARGEST + 2000);
        assert!(size(&folder.path().join("readings.csv.refused.previous")) < LARGEST + 2000);
    }
}
