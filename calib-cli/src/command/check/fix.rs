//! `check --fix`: the form of the files mended, shown line by line.

use super::diff::unified;
use super::{Found, inspect};
use crate::capture::hold_off;
use crate::failure::{Complaint, Failure, Warning};
use crate::findings::runs_of;
use crate::output::OutputSet;
use crate::table::tidy::{self, Change, Outcome, Tidied};
use crate::table::{LOG, READINGS, SAMPLES, SITE, WEATHER};
use serde::Serialize;
use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};

/// Put behind the name of a file that is replaced.
const PREVIOUS: &str = ".previous";

/// Lines of a diff shown of each file, unless all are asked for.
const SHOWN: usize = 60;

/// What `--fix` did, or with `--dry-run` would do.
#[derive(Debug, Serialize, schemars::JsonSchema)]
pub struct Mended {
    /// Whether the files were written.
    pub written: bool,
    /// The files whose form changes.
    pub files: Vec<MendedFile>,
    /// Files whose form is not mended.
    pub left: Vec<LeftFile>,
}

/// A file whose form changes.
#[derive(Debug, Serialize, schemars::JsonSchema)]
pub struct MendedFile {
    /// The file.
    pub file: PathBuf,
    /// Each kind of change.
    pub changes: Vec<Change>,
    /// What differs, as a unified diff with line ends left out of account.
    pub diff: String,
    /// Where the file is kept as it was, if it was written.
    pub previous: Option<PathBuf>,
}

/// A file whose form is not mended.
#[derive(Debug, Serialize, schemars::JsonSchema)]
pub struct LeftFile {
    /// The file.
    pub file: PathBuf,
    /// Why.
    pub why: String,
}

/// Whether a change of form would mend what keeps a file of `folder` from being read.
pub fn would_help(folder: &Path) -> bool {
    tidy::look_at(folder).iter().any(|outcome| match outcome {
        Outcome::Tidied(tidied) => tidied.changes.iter().any(|change| change.mends),
        _ => false,
    })
}

/// Mends the form of the files of `folder`, or only looks at what would be, and checks
/// what is then there.
///
/// # Errors
/// [`Failure::Input`] if a file changes meanwhile or must not be replaced,
/// [`Failure::Machine`] if the disk refuses.
pub fn run(folder: &Path, dry_run: bool) -> Result<(Mended, Found), Failure> {
    let mut left = Vec::new();
    let mut tidied = Vec::new();
    for outcome in tidy::look_at(folder) {
        match outcome {
            Outcome::AsItShouldBe => {}
            Outcome::Tidied(one) => tidied.push(*one),
            Outcome::Left { file, why } => left.push(LeftFile { file, why }),
        }
    }
    let found = if dry_run {
        inspect_as_if(folder, &tidied)?
    } else {
        write(&tidied)?;
        inspect(folder)?
    };
    let files = tidied.into_iter().map(|one| MendedFile {
        diff: unified(&one.file.display().to_string(), &one.before, &one.after),
        previous: (!dry_run).then(|| previous(&one.file)),
        changes: one.changes,
        file: one.file,
    });
    let mended = Mended {
        written: !dry_run,
        files: files.collect(),
        left,
    };
    Ok((mended, found))
}

fn previous(file: &Path) -> PathBuf {
    let mut name = file.to_owned().into_os_string();
    name.push(PREVIOUS);
    name.into()
}

fn write(tidied: &[Tidied]) -> Result<(), Failure> {
    let captures: Vec<_> = tidied
        .iter()
        .filter(|one| [READINGS, LOG].iter().any(|name| one.file.ends_with(name)))
        .map(|one| hold_off(&one.file))
        .collect::<Result<_, _>>()?;
    for one in tidied {
        if fs::read(&one.file).ok().as_ref() != Some(&one.bytes) {
            return Err(Complaint::about(
                &one.file,
                "changed while its form was looked at; nothing was written",
                "stop what writes to it, then run this again",
            )
            .into());
        }
    }
    let mut set = OutputSet::default();
    set.keep_previous(PREVIOUS);
    for one in tidied {
        set.add(&one.file, one.after.as_bytes());
    }
    let written = set.write(true).map(|_| ());
    drop(captures);
    written
}

/// What `check` would find if the files had been written.
fn inspect_as_if(folder: &Path, tidied: &[Tidied]) -> Result<Found, Failure> {
    if tidied.is_empty() {
        return inspect(folder);
    }
    let failed = |error: std::io::Error| {
        Failure::Internal(format!("a temporary folder cannot be used: {error}"))
    };
    let copy = tempfile::tempdir().map_err(failed)?;
    for name in [SITE, SAMPLES, READINGS, LOG, WEATHER] {
        let file = folder.join(name);
        if file.is_file() {
            fs::copy(&file, copy.path().join(name)).map_err(failed)?;
        }
    }
    for one in tidied {
        let name = one.file.file_name().unwrap_or_default();
        fs::write(copy.path().join(name), &one.after).map_err(failed)?;
    }
    let mut found = inspect(copy.path())?;
    let shown = |text: &mut String| {
        let there = format!("{}/", copy.path().display());
        let here = match folder == Path::new(".") {
            true => String::new(),
            false => format!("{}/", folder.display()),
        };
        *text = text.replace(&there, &here);
    };
    for Complaint {
        file, what, mend, ..
    } in &mut found.problems
    {
        let mut name = file.display().to_string();
        shown(&mut name);
        *file = name.into();
        shown(what);
        shown(mend);
    }
    for Warning {
        place,
        what,
        why,
        advice,
    } in &mut found.warnings
    {
        [place, what, why, advice].into_iter().for_each(shown);
    }
    Ok(found)
}

/// What was done, file by file.
pub fn as_text(mended: &Mended, whole_diff: bool) -> String {
    let mut text = String::new();
    for one in &mended.files {
        let _ = writeln!(text, "{}: form only, no number altered", one.file.display());
        for change in &one.changes {
            let _ = write!(text, "  {}", change.what);
            let _ = match change.lines.len() {
                0 => writeln!(text),
                1 => writeln!(text, ": line {}", runs_of(&change.lines)),
                many => writeln!(text, ": {many} lines, {}", runs_of(&change.lines)),
            };
        }
        let lines = one.diff.lines().count();
        let most = if whole_diff { lines } else { SHOWN };
        for line in one.diff.lines().take(most) {
            let _ = writeln!(text, "{line}");
        }
        if lines > most {
            let more = lines - most;
            let _ = writeln!(
                text,
                "  ... {more} more lines of the diff; --whole-diff shows them all"
            );
        }
        let _ = match &one.previous {
            Some(previous) => writeln!(
                text,
                "wrote {}; as it was: {}\n",
                one.file.display(),
                previous.display()
            ),
            None => writeln!(text),
        };
    }
    for one in &mended.left {
        let _ = writeln!(
            text,
            "{}: its form is left as it is: {}\n",
            one.file.display(),
            one.why
        );
    }
    if mended.files.is_empty() {
        text.push_str("no form to mend\n\n");
    } else if !mended.written {
        text.push_str(
            "nothing was written: run it without --dry-run to do so. What then remains:\n\n",
        );
    }
    text
}
