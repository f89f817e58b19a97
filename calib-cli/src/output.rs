//! Writing results: whole or not at all, and never over what is there without
//! being told to.

use crate::failure::{Complaint, Failure, Warning};
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

/// Writes `value` to standard output as JSON on one line.
///
/// # Errors
/// As [`print_json`].
pub fn print_json_line(value: &impl serde::Serialize) -> Result<(), Failure> {
    let text = serde_json::to_string(value)
        .map_err(|error| Failure::Internal(format!("cannot write the result: {error}")))?;
    print(&(text + "\n"))
}

/// The warning that the chart at `path` is not of this answer.
fn kept(path: &Path) -> Warning {
    Warning {
        place: path.display().to_string(),
        what: "exists already with other content, from other input or options, and was left as it is"
            .to_owned(),
        why: "that chart does not show what this answer says".to_owned(),
        advice: "add --force to draw it anew, --out to draw it into another folder, or --no-charts for none"
            .to_owned(),
    }
}

/// Files to be written together.
///
/// Every file is first written beside its place and flushed to disk, then all
/// are renamed into place. Each file is whole at any moment; where one cannot be put
/// in its place, those before it are put back. (Only a machine that stops between two
/// renames can leave some files new and some old.)
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

    /// As [`write`](Self::write), for charts that are a by-product of a report: where
    /// others are there already they are left, and the warning says so. Gives the paths
    /// that now hold these charts.
    ///
    /// # Errors
    /// [`Failure::Internal`] if the disk refuses.
    pub fn write_or_keep(self, force: bool) -> Result<(Vec<PathBuf>, Option<Warning>), Failure> {
        let paths: Vec<PathBuf> = self.paths().map(Path::to_owned).collect();
        match self.write(force) {
            Ok(_) => Ok((paths, None)),
            Err(Failure::Input(_)) => Ok((Vec::new(), paths.first().map(|path| kept(path)))),
            Err(fault) => Err(fault),
        }
    }

    /// Writes every file. A file that already holds exactly these bytes is left
    /// alone. Gives those that took the place of others.
    ///
    /// # Errors
    /// [`Failure::Input`] if a file with other content exists and `force` is
    /// not set, or if one is in the way of a folder; [`Failure::Machine`] if the disk
    /// refuses.
    pub fn write(self, force: bool) -> Result<Vec<PathBuf>, Failure> {
        let mut pending = Vec::new();
        let mut took_the_place = Vec::new();
        for (path, bytes) in self.files {
            match there(&path)? {
                Some(there) if there == bytes => continue,
                Some(_) if !force => {
                    return Err(Complaint::about(
                        &path,
                        "exists already with other content, from other input or options",
                        if self.previous.is_some() {
                            "add --force to replace it; the old file is kept beside it as FILE.previous"
                        } else {
                            "add --force to replace it, or choose another folder with --out"
                        },
                    )
                    .into());
                }
                Some(there) => {
                    if let Some(suffix) = self.previous {
                        let mut kept = path.clone().into_os_string();
                        kept.push(suffix);
                        let kept = PathBuf::from(kept);
                        let before = self::there(&kept)?;
                        pending.push((kept, there.clone(), before));
                    }
                    took_the_place.push(path.clone());
                    pending.push((path, bytes, Some(there)));
                }
                None => pending.push((path, bytes, None)),
            }
        }
        let mut staged = Vec::new();
        for (path, bytes, before) in pending {
            let folder = match path.parent() {
                Some(folder) if !folder.as_os_str().is_empty() => folder.to_owned(),
                _ => PathBuf::from("."),
            };
            let failed = |error: std::io::Error| unwritable(&path, &error, "");
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
            staged.push((file, path, folder, before));
        }
        let mut replaced: Vec<(PathBuf, Option<Vec<u8>>)> = Vec::new();
        for (file, path, folder, before) in staged {
            if let Err(error) = file.persist(&path) {
                put_back(replaced);
                return Err(unwritable(
                    &path,
                    &error.error,
                    "; the files written before it were put back as they were",
                ));
            }
            replaced.push((path, before));
            // Makes the rename itself durable; not every platform can.
            let _ = fs::File::open(&folder).and_then(|folder| folder.sync_all());
        }
        Ok(took_the_place)
    }
}

/// Dates the file at `path` now: it was left alone where it held the same bytes
/// already, and is as new as what it was made from. Where the disk refuses, it stays as
/// old as it looks.
pub fn date_now(path: &Path) {
    if let Ok(file) = fs::File::options().append(true).open(path) {
        let _ = file.set_modified(std::time::SystemTime::now());
    }
}

/// That the disk does not take the file at `path`.
fn unwritable(path: &Path, error: &std::io::Error, so: &str) -> Failure {
    Failure::Machine(Box::new(Complaint::about(
        path,
        format!("cannot be written: {error}{so}"),
        "choose another folder with --out, or see that this one may be written to and has room",
    )))
}

/// What lies at `path`, if anything does.
///
/// # Errors
/// [`Failure::Input`] if something is there that cannot be read or is no plain file:
/// it must not be replaced unseen.
fn there(path: &Path) -> Result<Option<Vec<u8>>, Failure> {
    let refuse = |what: String, mend: &str| Err(Complaint::about(path, what, mend).into());
    if let Some(file) = path.ancestors().skip(1).find(|above| above.is_file()) {
        return Err(Complaint::about(
            file,
            "is a file; --out names a folder",
            "name a folder, or one that is not there yet",
        )
        .into());
    }
    match fs::symlink_metadata(path) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Ok(kind) if !kind.is_file() => {
            return refuse(
                "is no plain file, so it is not replaced".to_owned(),
                "move it away, or choose another folder with --out",
            );
        }
        _ => {}
    }
    match fs::read(path) {
        Ok(bytes) => Ok(Some(bytes)),
        Err(error) => refuse(
            format!("cannot be read, so it is not replaced: {error}"),
            "look at its permissions",
        ),
    }
}

/// Gives each file back what it held, or takes it away again. What fails here
/// cannot be mended any more.
fn put_back(replaced: Vec<(PathBuf, Option<Vec<u8>>)>) {
    for (path, before) in replaced {
        let _ = match before {
            Some(bytes) => fs::write(&path, bytes),
            None => fs::remove_file(&path),
        };
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
    fn nothing_is_written_where_a_folder_or_a_link_is_in_the_way() {
        let folder = tempfile::tempdir().unwrap();
        let way = folder.path().join("b.txt");
        fs::create_dir(&way).unwrap();
        let mut outputs = OutputSet::default();
        outputs.add(folder.path().join("a.txt"), "a");
        outputs.add(&way, "b");
        assert_eq!(outputs.write(true).unwrap_err().exit_code(), 2);
        assert!(!folder.path().join("a.txt").exists());
        #[cfg(unix)]
        {
            fs::remove_dir(&way).unwrap();
            fs::write(folder.path().join("elsewhere"), "mine").unwrap();
            std::os::unix::fs::symlink(folder.path().join("elsewhere"), &way).unwrap();
            let mut outputs = OutputSet::default();
            outputs.add(&way, "b");
            assert_eq!(outputs.write(true).unwrap_err().exit_code(), 2);
        }
    }

    #[test]
    fn a_file_where_a_folder_belongs_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("good.csv");
        fs::write(&file, "mine").unwrap();
        let mut outputs = OutputSet::default();
        outputs.add(file.join("charts").join("a.svg"), "a");
        let failure = outputs.write(true).unwrap_err();
        assert_eq!(failure.exit_code(), 2);
        let expected = format!("{}: is a file; --out names a folder", file.display());
        assert!(failure.to_string().starts_with(&expected), "{failure}");
        assert_eq!(fs::read_to_string(&file).unwrap(), "mine");
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn a_folder_that_takes_no_file_is_named_with_what_to_do() {
        let mut outputs = OutputSet::default();
        outputs.add("/proc/nowhere/a.txt", "a");
        let failure = outputs.write(false).unwrap_err();
        assert_eq!(failure.exit_code(), 3);
        let text = failure.to_string();
        assert!(
            text.starts_with("/proc/nowhere/a.txt: cannot be written: "),
            "{text}"
        );
        assert!(
            text.contains("mend: choose another folder with --out"),
            "{text}"
        );
    }

    #[test]
    fn what_was_replaced_is_put_back() {
        let folder = tempfile::tempdir().unwrap();
        let (old, new) = (folder.path().join("old"), folder.path().join("new"));
        fs::write(&old, "changed").unwrap();
        fs::write(&new, "added").unwrap();
        put_back(vec![
            (old.clone(), Some(b"before".to_vec())),
            (new.clone(), None),
        ]);
        assert_eq!(fs::read_to_string(&old).unwrap(), "before");
        assert!(!new.exists());
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
