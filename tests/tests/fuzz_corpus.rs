//! The kept corpus of the fuzzers: inputs that reach every part of the readers, and
//! whatever once made one fail. Run here by the stable compiler; how to go on
//! fuzzing stands in DEVELOPERS.md.

#[path = "../fuzz/rust/fuzz_targets/judged.rs"]
mod judged;

use ovendry_tests::repository;
use std::path::PathBuf;

/// Every kept input of a fuzzer.
fn corpus(name: &str) -> Vec<Vec<u8>> {
    let folder: PathBuf = repository().join("tests/fuzz/corpus").join(name);
    let entries =
        std::fs::read_dir(&folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
    entries
        .map(|entry| std::fs::read(entry.unwrap().path()).unwrap())
        .collect()
}

#[test]
fn no_kept_input_breaks_the_readers_of_files() {
    let inputs = corpus("controller_file");
    assert!(inputs.len() > 50, "{}", inputs.len());
    for input in inputs {
        judged::any_bytes_as_a_file(&input);
    }
}

#[test]
fn no_kept_input_breaks_the_reader_of_the_image() {
    let inputs = corpus("table_image");
    assert!(inputs.len() > 50, "{}", inputs.len());
    for input in inputs {
        judged::any_bytes_as_an_image(&input);
    }
}
