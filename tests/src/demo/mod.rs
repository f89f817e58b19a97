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
mod studies;

pub use generate::{Core, Reading, cores};
pub use scenario::{Plot, RING_VOLUME_CM3, SEED, plots};
pub use season::{BEDS, Bed, DAYS, Day, LOG_STEP_S, LogRow, log, undisturbed, weather};
pub use studies::{
    BATCH_SHIFT, BATCHES, BESIDE_SD, CHECKS, CONTAINER_SD, DRIFTING, GAIN_SD, MEDIA_AND_PIVOT,
    OFFSET_SD, OUTLYING, PLACE_SD, PLACES, PROBES, PairRow, forty_probes, later_cores, spot_checks,
};

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
        (
            "forty-probes.csv",
            render::pairs(&plots, &forty_probes(&plots)),
        ),
        (
            "later-cores.csv",
            render::pairs(&plots, &later_cores(&plots)),
        ),
        (
            "spot-checks.csv",
            render::pairs(&plots, &spot_checks(&plots)),
        ),
        ("README.md", render::readme(&plots)),
    ]
}
