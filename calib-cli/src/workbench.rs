//! What the files of a workbench folder mean, typed and validated once.
//! Nothing after this stage looks at text.

use crate::capture::database::TimeUnit;
use crate::capture::form::Declared;
use crate::capture::sink::Sync;
use crate::failure::Warning;
use calib_core::calibration::Direction;
use calib_core::controller::OpenCircuit;
use calib_core::dielectric::ReferenceMedia;
use calib_core::gravimetry::{CoreMasses, CoreVolume};
use calib_core::irrigation::RelayLife;
use calib_core::irrigation::Weighting;
use calib_core::pair::TwoPoints;
use calib_core::quantity::{
    Celsius, Centimetre, Density, Estimate, Fraction, Gram, Gravimetric, LitrePerMinute,
    Millilitre, Millimetre, SquareMetre, Timestamp, Vwc,
};
use calib_core::readings::Reading;
use calib_core::soil::TextureClass;
use std::path::PathBuf;

/// A whole workbench: site, cores and readings.
#[derive(Debug, Clone)]
pub struct Workbench {
    /// The folder it was read from.
    pub folder: PathBuf,
    /// `site.toml`.
    pub site: Site,
    /// `samples.csv`.
    pub samples: Vec<Sample>,
    /// `readings.csv`, in the order of the file.
    pub readings: Vec<LoggedReading>,
    /// What was noticed while reading and did not stop the work.
    pub warnings: Vec<Warning>,
    /// Name and SHA-256 of each input file, for provenance.
    pub sources: Vec<SourceFile>,
}

/// An input file and what it held.
#[derive(
    Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema,
)]
pub struct SourceFile {
    /// File name without its folder.
    pub name: String,
    /// SHA-256 of its bytes, hexadecimal.
    pub sha256: String,
}

/// `site.toml`.
#[derive(Debug, Clone)]
pub struct Site {
    /// The site's name.
    pub name: String,
    /// Where the file lies, for messages.
    pub file: PathBuf,
    /// The balance used for the cores.
    pub balance: Balance,
    /// Soil temperature sensor: standard uncertainty, C.
    pub temperature_u: f64,
    /// Length of the window of readings before a core was taken, seconds, where
    /// pairing is by time.
    pub window_seconds: i64,
    /// The soils.
    pub soils: Vec<Soil>,
    /// The probes.
    pub probes: Vec<Probe>,
    /// What the pump waters, if stated.
    pub controller: Option<Controller>,
    /// Stages of the crop's growth, in their order; none where the crop is
    /// reckoned the same all season.
    pub stages: Vec<GrowthStage>,
    /// Probes at several depths that speak for one root zone.
    pub beds: Vec<Bed>,
    /// The ring of cores that give none of their own, if stated.
    pub ring: Option<RingSize>,
    /// What the bench is planned with, if stated.
    pub plan: Option<PlanKeys>,
    /// How readings are captured, as far as stated.
    pub capture: CaptureKeys,
}

/// `[capture]`: what its options say where they are not given.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CaptureKeys {
    /// The serial port.
    pub port: Option<String>,
    /// Its baud rate.
    pub baud: Option<u32>,
    /// The growing file, from the workbench folder.
    pub file: Option<String>,
    /// The logger's database.
    pub database: DatabaseKeys,
    /// What a line looks like.
    pub form: Declared,
    /// The probe, where lines name none.
    pub probe: Option<String>,
    /// When rows are brought to disk.
    pub sync: Option<Sync>,
    /// How long a probe must be steady, minutes.
    pub steady_minutes: Option<f64>,
}

/// What `[capture]` says of a logger's database.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct DatabaseKeys {
    /// The database, from the workbench folder.
    pub file: Option<String>,
    /// Its table of readings.
    pub table: Option<String>,
    /// Column of the times.
    pub time: Option<String>,
    /// How times are kept.
    pub unit: Option<TimeUnit>,
    /// Column of the probe's name.
    pub probe: Option<String>,
    /// Column of the counts.
    pub count: Option<String>,
    /// Column of the soil temperature.
    pub temperature: Option<String>,
    /// Column of the supply voltage.
    pub supply: Option<String>,
}

impl Site {
    /// The probe of this name.
    pub fn probe(&self, id: &str) -> Option<&Probe> {
        self.probes.iter().find(|probe| probe.id == id)
    }
}

/// The balance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Balance {
    /// Smallest step it shows, g.
    pub resolution_g: f64,
    /// Standard deviation of repeated weighings of one thing, g.
    pub repeatability_g: f64,
}

/// The sampling ring's inner measures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RingSize {
    /// Inner diameter.
    pub diameter: Centimetre,
    /// Height.
    pub height: Centimetre,
}

/// The container that soil is packed into, as stated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ContainerSize {
    /// A cylinder by its inner measures.
    Cylinder {
        /// Inner diameter.
        diameter: Centimetre,
        /// Inner height.
        height: Centimetre,
    },
    /// Its inner volume alone.
    Volume(Millilitre),
}

/// What the bench is planned with: the `[plan]` of site.toml. What is left out is
/// for the plan to assume.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanKeys {
    /// The container.
    pub container: Option<ContainerSize>,
    /// What it weighs empty.
    pub container_tare: Option<Gram>,
    /// Share of it left empty above the soil.
    pub headroom: Option<Fraction>,
    /// Water in the air-dry stock.
    pub stock_water: Option<Gravimetric>,
    /// Temperature of the water that is added.
    pub water_temperature: Option<Celsius>,
    /// Moisture levels.
    pub levels: Option<usize>,
    /// Cores taken at each.
    pub cores_per_level: Option<usize>,
    /// Cores the oven holds at once.
    pub oven_places: Option<usize>,
    /// Water contents of the levels, instead of their number.
    pub targets: Option<Vec<Vwc>>,
    /// Line of site.toml where the table starts.
    pub line: u64,
}

/// A soil.
#[derive(Debug, Clone, PartialEq)]
pub struct Soil {
    /// Identifier used in the other files.
    pub id: String,
    /// Texture, if stated.
    pub texture: Option<Texture>,
    /// Organic matter, percent by mass.
    pub organic_matter_percent: Option<f64>,
    /// Where its percentages part silt from sand, micrometres, if stated.
    pub silt_upper_um: Option<f64>,
    /// Dry bulk density in the field, stones included, if known.
    pub bulk_density: Option<Density>,
    /// Stones above 2 mm, percent of the dry mass, if stated.
    pub gravel_percent: Option<f64>,
    /// Particle density, if measured.
    pub particle_density: Option<Estimate<Density>>,
    /// Measured field capacity; overrides every table.
    pub field_capacity: Option<Estimate<Vwc>>,
    /// Measured wilting point; overrides every table.
    pub wilting_point: Option<Estimate<Vwc>>,
    /// Line of site.toml where the soil starts.
    pub line: u64,
}

/// Texture as stated.
#[derive(Debug, Clone, PartialEq)]
pub enum Texture {
    /// One of the twelve classes.
    Class(TextureClass),
    /// Percent by mass; sums to 100. Sand and silt part at 0.05 mm unless the soil
    /// states another bound.
    Fractions {
        /// Up to 2 mm.
        sand: f64,
        /// From 0.002 mm.
        silt: f64,
        /// Below 0.002 mm.
        clay: f64,
    },
}

/// A probe.
#[derive(Debug, Clone, PartialEq)]
pub struct Probe {
    /// Identifier used in the other files.
    pub id: String,
    /// Batch it was made or bought in, if stated.
    pub batch: Option<String>,
    /// Bits of the converter it is read with.
    pub adc_bits: u8,
    /// Reference voltage of the converter, millivolts, if stated.
    pub reference_mv: Option<f64>,
    /// Relative standard uncertainty of its supply or the converter's reference,
    /// between calibration and use; zero where they move together.
    pub supply_relative_u: f64,
    /// Standard deviation, counts, of the difference of two probes of the type, where
    /// others are to share the calibration; zero where none are.
    pub probe_to_probe_counts: f64,
    /// Which way counts move, if known.
    pub direction: Option<Direction>,
    /// The one raw count at which the pump was switched so far, if stated.
    pub threshold_count: Option<u32>,
    /// The soil it is calibrated in.
    pub soil: String,
    /// What it read in media of known permittivity, if it was.
    pub media: Option<Media>,
    /// How deep it lies, if stated.
    pub depth: Option<Millimetre>,
    /// Counts by which it moves per degree, where that was watched.
    pub counts_per_c: Option<f64>,
    /// By how much it may drift within a day, counts.
    pub drift_counts: f64,
    /// Line of site.toml where the probe starts.
    pub line: u64,
}

/// What a probe read in two or three media.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Media {
    /// Counts in the media of lowest and of highest permittivity.
    pub ends: TwoPoints,
    /// Its response, which takes three media.
    pub response: Option<ReferenceMedia>,
}

/// What the pump waters and what limits it.
#[derive(Debug, Clone, PartialEq)]
pub struct Controller {
    /// Irrigated area.
    pub area: SquareMetre,
    /// Flow of pump or valve.
    pub flow: LitrePerMinute,
    /// Crop by its name in FAO-56 Table 22, if stated.
    pub crop: Option<String>,
    /// Root depth; overrides the crop's.
    pub root_depth: Option<Millimetre>,
    /// Allowed depletion, share of available water; overrides the crop's.
    pub allowed_depletion: Option<Fraction>,
    /// Water the crop uses up, mm a day; adjusts the crop's allowed depletion.
    pub evapotranspiration: f64,
    /// Share of the water pumped that enters the soil of the area.
    pub application_efficiency: Fraction,
    /// Distribution uniformity of the low quarter; 1 where none is stated.
    pub distribution_uniformity: Fraction,
    /// How fast the soil takes in water, mm/h, if stated.
    pub infiltration_mm_per_h: Option<f64>,
    /// Shortest time the pump stays on, seconds.
    pub minimum_on_s: u32,
    /// Shortest time the pump stays off, seconds.
    pub minimum_off_s: u32,
    /// Longest time the pump may run at one go, seconds.
    pub maximum_on_s: u32,
    /// Seconds without any change of the count after which a probe is stuck; 0 for
    /// never.
    pub stuck_after_s: u32,
    /// What a broken wire to the probe reads.
    pub open_circuit: OpenCircuit,
    /// Seconds between two readings.
    pub read_every_s: u32,
    /// Chance, per day, of a start although the soil has not dried.
    pub false_start_probability: f64,
    /// Swing of soil temperature over a day at the probe, C.
    pub daily_temperature_swing_c: f64,
    /// What a replay or a simulated season asks for.
    pub season: SeasonKeys,
    /// Line of site.toml where the controller's table starts.
    pub line: u64,
}

/// A stage of the crop's growth.
#[derive(Debug, Clone, PartialEq)]
pub struct GrowthStage {
    /// Its name.
    pub name: String,
    /// Days it lasts.
    pub days: u32,
    /// Root depth.
    pub root_depth: Millimetre,
    /// Allowed depletion; overrides the controller's and the crop's.
    pub allowed_depletion: Option<Fraction>,
    /// Water the crop uses up, mm a day; overrides the controller's.
    pub evapotranspiration: Option<f64>,
    /// Line of site.toml where the stage starts.
    pub line: u64,
}

/// Probes at several depths in one bed.
#[derive(Debug, Clone, PartialEq)]
pub struct Bed {
    /// Identifier.
    pub id: String,
    /// Its probes.
    pub probes: Vec<String>,
    /// What their weights go by.
    pub weighting: Weighting,
    /// Line of site.toml where the bed starts.
    pub line: u64,
}

/// What a replay or a simulated season asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SeasonKeys {
    /// What the pump's relay is rated for, and how long it works a year.
    pub relay: RelayLife,
    /// Time constant by which the probe lags behind the pump, seconds.
    pub probe_lag_s: u32,
}

/// One core, a row of `samples.csv`.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    /// Identifier.
    pub id: String,
    /// Soil it came from.
    pub soil: String,
    /// Probe it stood beside, where the file says so; otherwise it pairs with
    /// every probe of its soil that has readings for it.
    pub probe: Option<String>,
    /// Moisture level it belongs to.
    pub level: String,
    /// Its masses.
    pub masses: CoreMasses,
    /// Its volume.
    pub volume: CoreVolume,
    /// When it was taken, where pairing is by time.
    pub taken_at: Option<Timestamp>,
    /// Where it was taken (a bed, a plot, a container), if stated.
    pub place: Option<String>,
    /// Free text.
    pub note: String,
    /// Its masses and measures as they are written, by column, for messages;
    /// empty cells are left out.
    pub written: Vec<(&'static str, String)>,
    /// Line of samples.csv.
    pub line: u64,
}

impl Sample {
    /// What is written in a column of masses or measures, if anything.
    pub fn written(&self, column: &str) -> Option<&str> {
        self.written
            .iter()
            .find(|(name, _)| *name == column)
            .map(|(_, text)| text.as_str())
    }
}

/// One row of `readings.csv`.
#[derive(Debug, Clone, PartialEq)]
pub struct LoggedReading {
    /// Probe that was read.
    pub probe: String,
    /// The reading.
    pub reading: Reading,
    /// The core it belongs to, where pairing is by sample.
    pub sample: Option<String>,
    /// Line of readings.csv.
    pub line: u64,
}
