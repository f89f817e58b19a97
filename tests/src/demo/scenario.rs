//! Who measures what: the truth behind the demo data.

/// Seed of every draw.
pub const SEED: u64 = 20_260_413;

/// Ring of 5.0 cm by 5.0 cm, as in `site.toml`.
pub const RING_VOLUME_CM3: f64 = std::f64::consts::PI * 5.0 * 5.0 / 4.0 * 5.0;

/// Density of water at 20 C, g/cm3 (the figure in reference-data/soil).
pub const WATER_DENSITY: f64 = 0.998_207;

/// Cores cut at each moisture level.
pub const CORES: usize = 3;
/// Readings logged beside each core.
pub const READINGS: usize = 12;
/// Seconds from one reading to the next.
pub const STEP_S: i64 = 30;
/// Standard deviation of one weighing before rounding, g.
pub const WEIGHING_SD: f64 = 0.005;
/// Share of readings hit by a disturbance.
pub const SPIKE_SHARE: f64 = 0.008;

/// Days after the first on which each level is measured, wettest first.
pub const LEVEL_DAYS: [i64; 7] = [0, 2, 5, 9, 15, 23, 34];

/// How soil temperature is spread over the cores.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Warmth {
    /// Morning, early afternoon and evening of an open bed: 8 to 30 C at every
    /// moisture level.
    OpenBed,
    /// A cold store that hardly changes: no temperature effect can be seen.
    ColdStore,
}

/// What the converter shows at 20 C for a water content.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Response {
    /// `count = b / (theta - a)`: falls as the soil gets wetter.
    Hyperbolic {
        /// m3/m3.
        a: f64,
        /// m3/m3 times counts.
        b: f64,
    },
    /// `count = s ln(b / (theta - a))`: falls as the soil gets wetter.
    Exponential {
        /// m3/m3.
        a: f64,
        /// m3/m3.
        b: f64,
        /// Counts.
        s: f64,
    },
    /// `count = c + g d - h d^3` with `d = theta - theta_c`: rises as the soil
    /// gets wetter, nearly straight, a little flatter at both ends.
    NearlyStraight {
        /// m3/m3.
        theta_c: f64,
        /// Counts.
        c: f64,
        /// Counts per m3/m3.
        g: f64,
        /// Counts per (m3/m3)^3.
        h: f64,
    },
}

impl Response {
    /// Count at 20 C for `theta` in m3/m3.
    pub fn count(self, theta: f64) -> f64 {
        match self {
            Response::Hyperbolic { a, b } => b / (theta - a),
            Response::Exponential { a, b, s } => s * (b / (theta - a)).ln(),
            Response::NearlyStraight { theta_c, c, g, h } => {
                let d = theta - theta_c;
                c + g * d - h * d * d * d
            }
        }
    }
}

/// One soil with the probe that is calibrated in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Plot {
    /// Identifier of the soil.
    pub soil: &'static str,
    /// Identifier of the probe.
    pub probe: &'static str,
    /// The soil's lines in `site.toml`, after its identifier.
    pub texture: &'static str,
    /// One phrase for a person: what soil it is.
    pub described_as: &'static str,
    /// Organic matter, percent.
    pub organic_matter: f64,
    /// Mean dry bulk density, g/cm3.
    pub bulk_density: f64,
    /// What `site.toml` says about the direction.
    pub stated_direction: &'static str,
    /// The truth about the probe.
    pub response: Response,
    /// Counts the reading rises per degree above 20 C.
    pub counts_per_c: f64,
    /// Standard deviation of one reading, counts.
    pub noise: f64,
    /// Standard deviation between what the probe and the core beside it hold,
    /// m3/m3.
    pub scatter: f64,
    /// How its temperatures are spread.
    pub warmth: Warmth,
    /// Mean water content of each level, wettest first, m3/m3.
    pub levels: [f64; 7],
    /// Days the whole series starts after the first soil's.
    pub starts_after_days: i64,
}

/// The three soils.
pub fn plots() -> Vec<Plot> {
    vec![
        Plot {
            soil: "terrace",
            probe: "terrace-1",
            texture: "texture = \"sandy loam\"",
            described_as: "sandy loam",
            organic_matter: 2.1,
            bulk_density: 1.52,
            stated_direction: "fall",
            response: Response::Hyperbolic {
                a: -0.163,
                b: 154.0,
            },
            counts_per_c: 1.0,
            noise: 1.4,
            scatter: 0.006,
            warmth: Warmth::OpenBed,
            levels: [0.285, 0.245, 0.205, 0.165, 0.125, 0.085, 0.052],
            starts_after_days: 0,
        },
        Plot {
            soil: "orchard",
            probe: "orchard-1",
            texture: "sand_percent = 22.0\nclay_percent = 17.0",
            described_as: "silt loam",
            organic_matter: 2.8,
            bulk_density: 1.40,
            stated_direction: "unknown",
            response: Response::Exponential {
                a: 0.0405,
                b: 5.12,
                s: 140.0,
            },
            counts_per_c: 0.7,
            noise: 1.8,
            scatter: 0.007,
            warmth: Warmth::OpenBed,
            levels: [0.370, 0.325, 0.280, 0.230, 0.180, 0.130, 0.085],
            starts_after_days: 1,
        },
        Plot {
            soil: "lowfield",
            probe: "lowfield-1",
            texture: "sand_percent = 31.0\nclay_percent = 33.0",
            described_as: "clay loam",
            organic_matter: 3.0,
            bulk_density: 1.36,
            stated_direction: "rise",
            response: Response::NearlyStraight {
                theta_c: 0.28,
                c: 470.0,
                g: 1350.0,
                h: 7000.0,
            },
            counts_per_c: 0.5,
            noise: 1.1,
            scatter: 0.009,
            warmth: Warmth::ColdStore,
            levels: [0.405, 0.365, 0.325, 0.285, 0.240, 0.195, 0.150],
            starts_after_days: 3,
        },
    ]
}
