//! Invented data of our own scenario: a market-garden cooperative with three
//! soils, one probe in each.
//!
//! [`files`] gives the bytes of every file in `demo-data/`, always the same
//! ones: chance comes from ChaCha with the fixed [`SEED`] and nowhere else.
//! Masses are rounded to 0.01 g, temperatures to 0.1 C and counts to whole
//! numbers before they are written, so that a last-bit difference between two
//! platforms' `ln` or `exp` does not reach the files.

mod generate;
mod render;
mod scenario;
mod season;

pub use generate::{Core, Reading, cores};
pub use scenario::{Plot, RING_VOLUME_CM3, SEED, plots};
pub use season::{BEDS, Bed, DAYS, Day, LOG_STEP_S, LogRow, log, undisturbed, weather};

/// Name and content of each file of `demo-data/`.
pub fn files() -> Vec<(&'static str, String)> {
    let plots = plots();
    let cores = cores(&plots);
    vec![
        ("site.toml", render::site(&plots)),
        ("samples.csv", render::samples(&cores)),
        ("readings.csv", render::readings(&cores)),
        ("log.csv", render::log(&log(&plots))),
        ("weather.csv", render::weather(&weather())),
        ("README.md", render::readme(&plots)),
    ]
}
