//! What a person who mistyped a name probably meant: a file, a folder, an id. For the
//! mend of a complaint; nothing is ever done on a guess.

use crate::calibration_file::SUFFIX;
use crate::table::{READINGS, SAMPLES, SITE, nearest, shown_path};
use calib_cli::controller::{FORMATS, is_fleet};
use std::fs;
use std::path::{Path, PathBuf};

/// Names listed one by one.
const LISTED: usize = 12;

/// The mend for an id that is none of `known`: what was probably meant, then what
/// there is.
pub fn choose<'k>(asked: &str, known: impl IntoIterator<Item = &'k str>) -> String {
    let known: Vec<&str> = known.into_iter().collect();
    let more = known.len().saturating_sub(LISTED);
    let list = known
        .iter()
        .take(LISTED)
        .copied()
        .collect::<Vec<_>>()
        .join(", ");
    let list = match (more, list.is_empty()) {
        (_, true) => return "there is none to choose yet".to_owned(),
        (0, _) => format!("choose one of: {list}"),
        _ => format!("choose one of: {list} and {more} more"),
    };
    match nearest(asked, known.iter().copied()) {
        Some(meant) => format!("did you mean {meant}? If not, {list}"),
        None => list,
    }
}

/// A file or folder that is there in place of `given`, which is not: one of its name
/// in a folder below (or in the results there), else one of almost its name.
pub fn path(given: &Path) -> Option<PathBuf> {
    let name = given.file_name()?.to_str()?;
    let folder = match given.parent() {
        Some(folder) if folder != Path::new("") => folder,
        _ => Path::new("."),
    };
    if !folder.is_dir() {
        let meant = path(folder)?.join(name);
        return if meant.exists() {
            Some(meant)
        } else {
            path(&meant)
        };
    }
    let here = names(folder);
    let below = |folder: &Path| {
        here.iter()
            .map(|one| shown_path(folder, one))
            .flat_map(|one| [one.join(name), one.join("out").join(name)])
            .find(|path| path.exists())
    };
    let almost = || {
        let alike = here.iter().map(String::as_str);
        nearest(
            name,
            alike.filter(|one| extension(one) == extension(name) && few_slips(name, one)),
        )
        .map(|one| shown_path(folder, one))
    };
    below(folder).or_else(almost)
}

/// `mend`, and before it what was probably meant by `given`, which is not there.
pub fn mend(given: &Path, mend: &str) -> String {
    match path(given) {
        Some(meant) => format!("did you mean {}? If not, {mend}", meant.display()),
        None => mend.to_owned(),
    }
}

/// As [`mend()`], where `given` may be there after all.
pub fn mend_if_missing(given: &Path, mend: &str) -> String {
    if given.exists() {
        mend.to_owned()
    } else {
        self::mend(given, mend)
    }
}

/// Whether a name ends as one of the controller formats has it, wholly: not every
/// .csv or .json is one.
fn is_controller_file(name: &str) -> bool {
    FORMATS.iter().any(|format| {
        let example = format.file_name("P");
        let ending = example.split_once('.').map(|(_, ending)| ending);
        ending.is_some_and(|ending| name.ends_with(&format!(".{ending}")))
    })
}

fn extension(name: &str) -> Option<&str> {
    name.rsplit_once('.').map(|(_, extension)| extension)
}

/// Whether few slips of the pen lead from one name to the other, or one holds the other.
/// Endings are alike by nature: only what stands before them is compared.
fn few_slips(one: &str, other: &str) -> bool {
    let stem = |name: &str| {
        let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
        stem.to_lowercase()
    };
    let (one, other) = (stem(one), stem(other));
    let longer = one.chars().count().max(other.chars().count());
    one.contains(&other)
        || other.contains(&one)
        || strsim::damerau_levenshtein(&one, &other) <= (longer / 3).max(1)
}

/// Names of what lies in `folder`, sorted; hidden ones are nobody's meaning.
fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| !name.starts_with('.'))
        .collect();
    names.sort();
    names
}

/// Folders that hold a workbench: those one level below `folder`, else the one above.
pub fn workbenches_near(folder: &Path) -> Vec<PathBuf> {
    let holds_one = |folder: &PathBuf| folder.join(SITE).is_file();
    let below: Vec<PathBuf> = names(folder)
        .iter()
        .map(|name| shown_path(folder, name))
        .filter(holds_one)
        .collect();
    if !below.is_empty() {
        return below;
    }
    let above = if folder == Path::new(".") {
        PathBuf::from("..")
    } else {
        match folder.parent() {
            Some(parent) if parent == Path::new("") => PathBuf::from("."),
            Some(parent) => parent.to_owned(),
            None => return Vec::new(),
        }
    };
    Some(above).filter(holds_one).into_iter().collect()
}

/// What a file is by its name, and what it is for; `None` where its name does not say.
pub fn kind(file: &Path) -> Option<(&'static str, &'static str)> {
    let name = file.file_name()?.to_str()?;
    let workbench = "give the folder it lies in, to a command that reads a workbench";
    Some(match name {
        SITE => ("the site.toml of a workbench", workbench),
        SAMPLES => ("the table of cores of a workbench", workbench),
        READINGS => ("the table of readings of a workbench", workbench),
        name if name.ends_with(SUFFIX) => (
            "a saved calibration",
            "`ovendry compare` sets two of them side by side; other commands take the folder of the workbench",
        ),
        name if is_fleet(file) || is_controller_file(name) => (
            "a controller file",
            "`ovendry verify` checks it, `ovendry compare` sets two side by side",
        ),
        _ => match extension(name)? {
            "svg" | "png" => ("a picture", "look at it; no command reads it"),
            "html" => ("a page", "open it in a browser; no command reads it"),
            _ => return None,
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_is_met_with_the_nearest_and_the_others() {
        let probes = ["terrace-1", "orchard-1", "lowfield-1"];
        assert_eq!(
            choose("terace-1", probes),
            "did you mean terrace-1? If not, choose one of: terrace-1, orchard-1, lowfield-1"
        );
        assert_eq!(
            choose("P7", probes),
            "choose one of: terrace-1, orchard-1, lowfield-1"
        );
        let many: Vec<String> = (10..50).map(|number| format!("silt-{number}")).collect();
        let said = choose("x", many.iter().map(String::as_str));
        assert!(said.ends_with("silt-20, silt-21 and 28 more"), "{said}");
    }

    #[test]
    fn a_path_is_met_with_one_that_is_there() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        for name in ["my-garden/out/P1.h", "my-garden/checks.csv", "notes.txt"] {
            fs::create_dir_all(at(name).parent().unwrap()).unwrap();
            fs::write(at(name), "").unwrap();
        }
        for (given, meant) in [
            ("checks.csv", Some("my-garden/checks.csv")),
            ("my-garden/cheks.csv", Some("my-garden/checks.csv")),
            ("my-gardn/checks.csv", Some("my-garden/checks.csv")),
            ("my-gardn", Some("my-garden")),
            ("my-garden/P1.h", Some("my-garden/out/P1.h")),
            ("my-garden/out/p2.sql", None),
            ("orchard/x.csv", None),
        ] {
            assert_eq!(path(&at(given)), meant.map(at), "{given}");
        }
    }

    #[test]
    fn a_file_is_known_by_its_name() {
        let kind = |name: &str| kind(Path::new(name)).map(|(what, _)| what);
        assert_eq!(kind("out/P1.h"), Some("a controller file"));
        assert_eq!(kind("out/fleet.json"), Some("a controller file"));
        assert_eq!(kind("P1.calibration.json"), Some("a saved calibration"));
        assert_eq!(
            kind("samples.csv"),
            Some("the table of cores of a workbench")
        );
        assert_eq!(kind("P1.svg"), Some("a picture"));
        for plain in ["pairs.csv", "log.csv", "notes.txt", "settings.json"] {
            assert_eq!(kind(plain), None, "{plain}");
        }
    }
}
