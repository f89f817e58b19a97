//! Writes the documented example in every format into `calib-cli/schema/`, for
//! when a format is added or its version changes. A test compares them.
//!
//! `cargo run -p ovendry-tests --example make_controller_examples`

use calib_cli::controller::{FORMATS, render};
use calib_core::controller::ControllerTable;
use ovendry_tests::controller::worked_example;
use ovendry_tests::repository;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let table = ControllerTable::check(worked_example())?;
    for format in FORMATS {
        let path = repository()
            .join("calib-cli/schema")
            .join(format.file_name("example"));
        std::fs::write(&path, render(format, &table))?;
    }
    Ok(())
}
