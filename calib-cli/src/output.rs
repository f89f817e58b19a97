//! Writing results: whole or not at all, and never over what is there without
//! being told to.

use crate::failure::{Complaint, Failure};
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Writes `text` to standard output. A reader that has gone away is no failure.
///
/// # Errors
/// [`Failure::Internal`] if standard output cannot be written otherwise.
pub fn print(text: &str) -> Result<(), Failure> {
    let mut stdout = std::io::stdout().lock();
    match stdout
        .write_all(text.as_bytes())
        .and_then(|()| stdout.flush())
    {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => Err(Failure::Internal(
            format!("cannot write to standard output: {error}"),
        )),
        _ => Ok(()),
    }
}

/// Writes `value` to standard output as indented JSON.
///
/// # Errors
/// As [`print()`], and [`Failure::Internal`] if a number cannot be written as JSON.
pub fn print_json(value: &impl serde::Serialize) -> Result<(), Failure> {
    let text = serde_json::to_string_pretty(value)
        .map_err(|error| Failure::Internal(format!("cannot write the result: {error}")))?;
    print(&(text + "\n"))
}

/// Files to be written together.
///
/// Every file is first written beside its place and flushed to disk, then all
/// are renamed into place; a fault on the way leaves the old files as they were.
#[derive(Debug, Default)]
pub struct OutputSet {
    files: Vec<(PathBuf, Vec<u8>)>,
    /// What is put behind the name of a file that is replaced, to keep it.
    previous: Option<&'static str>,
}

impl OutputSet {
    /// Adds a file.
    pub fn add(&mut self, path: impl Into<PathBuf>, bytes: impl Into<Vec<u8>>) {
        self.files.push((path.into(), bytes.into()));
    }

    /// Keeps the file that each new one replaces, under its name and `suffix`.
    pub fn keep_previous(&mut self, suffix: &'static str) {
        self.previous = Some(suffix);
    }

    /// The paths, in the order they were added.
    pub fn paths(&self) -> impl Iterator<Item = &Path> {
        self.files.iter().map(|(path, _)| path.as_path())
    }

    /// Writes every file. A file that already holds exactly these bytes is left
    /// alone.
    ///
    /// # Errors
    /// [`Failure::Input`] if a file with other content exists and `force` is
    /// not set; [`Failure::Internal`] if the disk refuses.
    pub fn write(self, force: bool) -> Result<(), Failure> {
        let mut pending = Vec::new();
        for (path, bytes) in self.files {
            match fs::read(&path) {
                Ok(there) if there == bytes => continue,
                Ok(_) if !force => {
                    return Err(Complaint::about(
                        &path,
                        "exists already with other content, from other input or options",
                        "add --force to replace it, or choose another folder with --out",
                    )
                    .into());
                }
                Ok(there) => {
                    if let Some(suffix) = self.previous {
                        let mut kept = path.clone().into_os_string();
                        kept.push(suffix);
                        pending.push((PathBuf::from(kept), there));
                    }
                    pending.push((path, bytes));
                }
                Err(_) => pending.push((path, bytes)),
            }
        }
        let mut staged = Vec::new();
        for (path, bytes) in pending {
            let folder = match path.parent() {
                Some(folder) if !folder.as_os_str().is_empty() => folder.to_owned(),
                _ => PathBuf::from("."),
            };
            let failed = |error: std::io::Error| {
                Failure::Internal(format!("cannot write {}: {error}", path.display()))
            };
            fs::create_dir_all(&folder).map_err(failed)?;
            let mut file = tempfile::Builder::new()
                .prefix(".ovendry-")
                .tempfile_in(&folder)
                .map_err(failed)?;
            file.write_all(&bytes).map_err(failed)?;
            #[cfg(unix)]
            {
                use std::os::unix::fs::PermissionsExt;
                file.as_file()
                    .set_permissions(fs::Permissions::from_mode(0o644))
                    .map_err(failed)?;
            }
            file.as_file().sync_all().map_err(failed)?;
            staged.push((file, path, folder));
        }
        for (file, path, folder) in staged {
            file.persist(&path).map_err(|error| {
                Failure::Internal(format!("cannot write {}: {}", path.display(), error.error))
            })?;
            // Makes the rename itself durable; not every platform can.
            let _ = fs::File::open(&folder).and_then(|folder| folder.sync_all());
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_existing_file_is_kept_unless_forced() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.txt");
        fs::write(&path, "old").unwrap();

        let mut outputs = OutputSet::default();
        outputs.add(&path, "new");
        outputs.add(folder.path().join("b.txt"), "b");
        assert_eq!(outputs.write(false).unwrap_err().exit_code(), 2);
        assert_eq!(fs::read_to_string(&path).unwrap(), "old");
        assert!(!folder.path().join("b.txt").exists());

        let mut outputs = OutputSet::default();
        outputs.add(&path, "new");
        outputs.write(true).unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), "new");
    }

    #[test]
    fn a_file_that_is_replaced_is_kept_where_asked_for() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.txt");
        for text in ["one", "two", "two", "three"] {
            let mut outputs = OutputSet::default();
            outputs.keep_previous(".previous");
            outputs.add(&path, text);
            outputs.write(true).unwrap();
        }
        assert_eq!(fs::read_to_string(&path).unwrap(), "three");
        let kept = fs::read_to_string(folder.path().join("a.txt.previous")).unwrap();
        assert_eq!(kept, "two");
    }

    #[test]
    fn writing_the_same_bytes_again_needs_no_force() {
        let folder = tempfile::tempdir().unwrap();
        for _ in 0..2 {
            let mut outputs = OutputSet::default();
            outputs.add(folder.path().join("a.txt"), "same");
            outputs.write(false).unwrap();
        }
    }
}
