//! A small vocabulary for whole-program tests: a folder of one's own, the
//! program run in it, and its answer in full when something is not as expected.

pub mod agreement;
pub mod batch;
pub mod controller;
pub mod coverage;
pub mod demo;
pub mod simulation;
pub mod straight_line;
pub mod table;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

/// The repository's root.
pub fn repository() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/.."))
}

/// Reads a file of `reference-data/`.
///
/// # Panics
/// If the file is not there.
pub fn reference_data(name: &str) -> String {
    let path = repository().join("reference-data").join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Builds the program once per test binary and gives its path.
///
/// # Panics
/// If it does not build.
pub fn program() -> &'static Path {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| {
        let mut build = escargot::CargoBuild::new()
            .manifest_path(repository().join("Cargo.toml"))
            .package("calib-cli")
            .bin("ovendry");
        if !cfg!(debug_assertions) {
            build = build.release();
        }
        build.run().expect("the program builds").path().to_owned()
    })
}

/// A folder of the test's own, removed when dropped.
pub struct Bench {
    folder: tempfile::TempDir,
}

impl Default for Bench {
    fn default() -> Self {
        Self::empty()
    }
}

impl Bench {
    /// An empty folder.
    ///
    /// # Panics
    /// If no temporary folder can be made.
    pub fn empty() -> Self {
        Self {
            folder: tempfile::tempdir().expect("a temporary folder"),
        }
    }

    /// A small workbench in which nothing is wrong: one soil, one probe, six
    /// cores of six levels, five readings each. Invented.
    ///
    /// # Panics
    /// If its files cannot be written.
    pub fn small() -> Self {
        Self::empty()
            .with("site.toml", include_str!("../small-workbench/site.toml"))
            .with(
                "samples.csv",
                include_str!("../small-workbench/samples.csv"),
            )
            .with(
                "readings.csv",
                include_str!("../small-workbench/readings.csv"),
            )
    }

    /// The workbench of `demo-data/`: three soils, three probes. Invented.
    ///
    /// # Panics
    /// If its files cannot be copied.
    pub fn demo() -> Self {
        Self::empty().with_demo(&["site.toml", "samples.csv", "readings.csv"])
    }

    /// Copies files of `demo-data/` into the folder.
    ///
    /// # Panics
    /// If one cannot be copied.
    pub fn with_demo(self, names: &[&str]) -> Self {
        names.iter().fold(self, |bench, name| {
            let path = repository().join("demo-data").join(name);
            bench.with(name, std::fs::read(path).expect("demo data"))
        })
    }

    /// The folder.
    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// Writes a file into the folder and returns the bench, for chaining.
    ///
    /// # Panics
    /// If the file cannot be written.
    pub fn with(self, name: &str, content: impl AsRef<[u8]>) -> Self {
        self.put(name, content);
        self
    }

    /// Writes a file into the folder.
    ///
    /// # Panics
    /// If the file cannot be written.
    pub fn put(&self, name: &str, content: impl AsRef<[u8]>) {
        let path = self.path().join(name);
        if let Some(parent) = path.parent() {
            std::fs::create_dir_all(parent).expect("a folder");
        }
        std::fs::write(path, content).expect("a file");
    }

    /// Reads a file of the folder.
    ///
    /// # Panics
    /// If it is not there.
    pub fn read(&self, name: &str) -> String {
        let path = self.path().join(name);
        std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
    }

    /// Names of everything in the folder, with sub-folders, sorted.
    pub fn listing(&self) -> Vec<String> {
        fn walk(root: &Path, folder: &Path, found: &mut Vec<String>) {
            for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
                let path = entry.path();
                if path.is_dir() {
                    walk(root, &path, found);
                } else if let Ok(name) = path.strip_prefix(root) {
                    found.push(name.to_string_lossy().replace('\\', "/"));
                }
            }
        }
        let mut found = Vec::new();
        walk(self.path(), self.path(), &mut found);
        found.sort();
        found
    }

    /// Every file of the folder with its bytes, to see later that none changed.
    ///
    /// # Panics
    /// If a file cannot be read.
    pub fn contents(&self) -> BTreeMap<String, Vec<u8>> {
        self.listing()
            .into_iter()
            .map(|name| {
                let bytes = std::fs::read(self.path().join(&name)).expect("a file");
                (name, bytes)
            })
            .collect()
    }

    /// Runs `ovendry` with `arguments` in the folder.
    ///
    /// # Panics
    /// If the program cannot be started.
    pub fn run(&self, arguments: &[&str]) -> Answer {
        let output = Command::new(program())
            .args(arguments)
            .current_dir(self.path())
            .env_remove("NO_COLOR")
            .output()
            .expect("the program starts");
        Answer {
            command: format!("ovendry {}", arguments.join(" ")),
            code: output.status.code(),
            stdout: String::from_utf8_lossy(&output.stdout).into_owned(),
            stderr: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }
}

/// What the program answered.
#[derive(Debug, Clone)]
pub struct Answer {
    /// The command as typed.
    pub command: String,
    /// Exit code; `None` if a signal ended it.
    pub code: Option<i32>,
    /// Standard output.
    pub stdout: String,
    /// Standard error.
    pub stderr: String,
}

impl Answer {
    /// Checks the exit code, showing both streams in full if it differs.
    ///
    /// # Panics
    /// If it differs.
    #[track_caller]
    pub fn exits(self, code: i32) -> Self {
        assert!(
            self.code == Some(code),
            "{}\nexpected exit code {code}, got {:?}\n--- stdout\n{}\n--- stderr\n{}",
            self.command,
            self.code,
            self.stdout,
            self.stderr
        );
        self
    }

    /// Checks that standard output contains `text`.
    ///
    /// # Panics
    /// If it does not.
    #[track_caller]
    pub fn says(self, text: &str) -> Self {
        assert!(
            self.stdout.contains(text),
            "{}\nexpected on stdout: {text}\n--- stdout\n{}\n--- stderr\n{}",
            self.command,
            self.stdout,
            self.stderr
        );
        self
    }

    /// Checks that standard error contains `text`.
    ///
    /// # Panics
    /// If it does not.
    #[track_caller]
    pub fn complains(self, text: &str) -> Self {
        assert!(
            self.stderr.contains(text),
            "{}\nexpected on stderr: {text}\n--- stdout\n{}\n--- stderr\n{}",
            self.command,
            self.stdout,
            self.stderr
        );
        self
    }

    /// Standard output as JSON.
    ///
    /// # Panics
    /// If it is not JSON.
    #[track_caller]
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.stdout).unwrap_or_else(|e| {
            panic!(
                "{}\nnot JSON: {e}\n--- stdout\n{}",
                self.command, self.stdout
            )
        })
    }
}
