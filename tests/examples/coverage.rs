//! Writes the table of how often the 95 % intervals hold the truth
//! (`ovendry_tests::coverage` says how it is made).
//!
//! `cargo run --release -p ovendry-tests --example coverage -- 5000 > tests/coverage.csv`
//!
//! The number is that of calibrations a cell; a curve's name after it asks for the
//! cells of that curve only.

use ovendry_tests::coverage::{Cell, HEADER};

fn main() {
    let mut arguments = std::env::args().skip(1);
    let runs: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(200);
    let only = arguments.next();
    println!("{HEADER}");
    for cell in Cell::all() {
        if only.as_deref().is_none_or(|only| only == cell.kind.key()) {
            println!("{}", cell.line(runs));
        }
    }
}
