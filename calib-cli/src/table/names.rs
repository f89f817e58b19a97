//! Names of a workbench's files, and of the columns and keys in them: the one
//! place for each, used by readers and messages alike.

use calib_core::calibration::Direction;

/// The site file.
pub const SITE: &str = "site.toml";
/// The cores' file.
pub const SAMPLES: &str = "samples.csv";
/// The readings beside the cores.
pub const READINGS: &str = "readings.csv";

/// The log of the season.
pub const LOG: &str = "log.csv";
/// The weather, day by day.
pub const WEATHER: &str = "weather.csv";

/// Column of both tables: the core.
pub const SAMPLE_ID: &str = "sample_id";
/// Column of both tables: the probe.
pub const PROBE_ID: &str = "probe_id";

/// Column of samples.csv: the soil.
pub const SOIL: &str = "soil";
/// Column of samples.csv: the moisture level.
pub const LEVEL: &str = "level";
/// Column of samples.csv: the empty container.
pub const TARE: &str = "tare_g";
/// Column of samples.csv: the container with the moist soil.
pub const WET: &str = "wet_g";
/// Column of samples.csv: the container with the oven-dry soil.
pub const DRY: &str = "dry_g";
/// Column of samples.csv: the same after a further drying spell.
pub const DRY_AGAIN: &str = "dry_again_g";
/// Column of samples.csv: inner diameter of the ring.
pub const DIAMETER: &str = "ring_diameter_cm";
/// Column of samples.csv: height of the ring.
pub const HEIGHT: &str = "ring_height_cm";
/// Column of samples.csv: volume of the core.
pub const VOLUME: &str = "core_volume_cm3";
/// Column of samples.csv: standard uncertainty of that volume.
pub const VOLUME_U: &str = "core_volume_u_cm3";
/// Column of samples.csv: when the core was taken.
pub const TAKEN_AT: &str = "taken_at";
/// Column of samples.csv and of a file of pairs: where it was taken.
pub const PLACE: &str = "place";
/// Column of samples.csv: free text.
pub const NOTE: &str = "note";

/// Column of readings.csv: when it was read.
pub const TIMESTAMP: &str = "timestamp";
/// Column of readings.csv: what the converter said.
pub const COUNT: &str = "raw_count";
/// Column of readings.csv: soil temperature.
pub const SOIL_TEMPERATURE: &str = "soil_temp_c";
/// Column of readings.csv: supply voltage.
pub const SUPPLY: &str = "supply_mv";

/// Column of log.csv: whether the pump ran.
pub const PUMP_ON: &str = "pump_on";
/// Column of log.csv: rain since the row before; of weather.csv: rain of the day.
pub const RAIN: &str = "rain_mm";

/// Column of weather.csv: the day.
pub const DATE: &str = "date";
/// Column of weather.csv: the crop's water use that day.
pub const EVAPOTRANSPIRATION: &str = "evapotranspiration_mm";

/// Column of a file of pairs: the core's volumetric water content.
pub const THETA_V: &str = "theta_v";
/// Column of a file of pairs: its standard uncertainty.
pub const THETA_V_U: &str = "theta_v_u";
/// Column of a file of pairs: standard uncertainty of the count.
pub const COUNT_U: &str = "count_u";
/// Column of a file of pairs, and key of a probe in site.toml: the batch.
pub const BATCH: &str = "batch";
/// Column of a file of pairs: the probe's count in the medium of lower permittivity.
pub const LOW_MEDIUM: &str = "count_low_medium";
/// Column of a file of pairs: its count in the medium of higher permittivity.
pub const HIGH_MEDIUM: &str = "count_high_medium";
/// Column of a file of pairs: relative standard uncertainty of the core's volume.
pub const VOLUME_RELATIVE_U: &str = "core_volume_relative_u";

/// Key of a probe in site.toml: which way its counts move.
pub const COUNTS_WHEN_WETTER: &str = "counts_when_wetter";

/// The word that key has for a direction.
pub fn direction_word(direction: Direction) -> &'static str {
    match direction {
        Direction::RisesWhenWetter => "rise",
        Direction::FallsWhenWetter => "fall",
    }
}
