//! One capture at a time into one file.
//!
//! The lock is the operating system's, on a file beside the one appended to; it goes
//! with the process that holds it, however that ends. The file says who holds it.

use crate::failure::{Complaint, Failure};
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

/// A lock that is held until dropped.
#[derive(Debug)]
pub struct Lock {
    path: PathBuf,
    _held: File,
}

impl Lock {
    /// Locks `path` for appending to `target`.
    ///
    /// # Errors
    /// [`Failure::Input`] if another process holds it, [`Failure::Machine`] if the
    /// folder does not take it.
    pub fn take(path: &Path, target: &Path) -> Result<Self, Failure> {
        loop {
            let mut file = OpenOptions::new()
                .read(true)
                .write(true)
                .create(true)
                .truncate(false)
                .open(path)
                .map_err(|error| refused(path, &error))?;
            match file.try_lock() {
                Ok(()) => {}
                Err(TryLockError::WouldBlock) => return Err(taken(target, &mut file).into()),
                Err(TryLockError::Error(error)) => return Err(refused(path, &error)),
            }
            // Whoever held it may have removed the file between our opening and
            // locking it; then this is a lock on nothing.
            if !is_still_at(&file, path) {
                continue;
            }
            let written = file
                .set_len(0)
                .and_then(|()| writeln!(file, "{}", std::process::id()));
            return match written {
                Ok(()) => Ok(Self {
                    path: path.to_owned(),
                    _held: file,
                }),
                Err(error) => Err(refused(path, &error)),
            };
        }
    }
}

impl Drop for Lock {
    fn drop(&mut self) {
        // Left behind, it would hold nobody up.
        let _ = fs::remove_file(&self.path);
    }
}

fn taken(target: &Path, file: &mut File) -> Complaint {
    let mut holder = String::new();
    let _ = file.read_to_string(&mut holder);
    let who = match holder.trim() {
        "" => String::new(),
        id => format!(" (process {id})"),
    };
    Complaint::about(
        target,
        format!("another capture{who} is appending to it"),
        "end that one with Ctrl-C, or append to another file with --into",
    )
}

fn refused(path: &Path, error: &std::io::Error) -> Failure {
    Failure::Machine(Box::new(Complaint::about(
        path,
        format!("cannot be written: {error}"),
        "see that the folder may be written to and has room",
    )))
}

#[cfg(unix)]
fn is_still_at(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    match (file.metadata(), fs::metadata(path)) {
        (Ok(held), Ok(there)) => (held.dev(), held.ino()) == (there.dev(), there.ino()),
        _ => false,
    }
}

#[cfg(not(unix))]
fn is_still_at(_: &File, path: &Path) -> bool {
    path.exists()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lock_is_held_by_one_and_one_left_by_the_dead_holds_nobody_up() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("readings.csv.lock");
        let target = folder.path().join("readings.csv");
        fs::write(&path, "1\n").unwrap();
        let lock = Lock::take(&path, &target).unwrap();
        let refused = Lock::take(&path, &target).unwrap_err();
        assert_eq!(refused.exit_code(), 2);
        assert!(
            refused
                .to_string()
                .contains(&format!("(process {})", std::process::id())),
            "{refused}"
        );
        drop(lock);
        assert!(!path.exists());
        Lock::take(&path, &target).unwrap();
    }
}
