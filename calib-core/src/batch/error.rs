//! Why many probes cannot be studied together.

use crate::fit::FitError;

/// Why there is no study of a batch. `Display` says what is wrong,
/// [`mend`](BatchError::mend) what to do.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BatchError {
    /// No pair of the soil asked for.
    #[error("no core of soil {soil} was read by any probe")]
    NoPairs {
        /// The soil.
        soil: String,
    },
    /// A study of many probes needs two or more.
    #[error("{probes} probe is too few to compare: it takes at least 2")]
    TooFewProbes {
        /// Probes given.
        probes: usize,
    },
    /// A count, a theta_v or an uncertainty that is no number.
    #[error("probe {probe}, core {core}: {what} is not a finite number")]
    NotFinite {
        /// The probe.
        probe: String,
        /// The core.
        core: String,
        /// Which value.
        what: &'static str,
    },
    /// Probes without counts in the two media.
    #[error(
        "{} of {probes} probes have no counts in the two media, the first of them {first}",
        missing
    )]
    NoMedia {
        /// Probes without.
        missing: usize,
        /// Probes in all.
        probes: usize,
        /// The first without.
        first: String,
    },
    /// A probe that reads the same in both media.
    #[error(
        "probe {probe} reads {low} counts in the one medium and {high} in the other: the two fix no scale"
    )]
    MediaStandStill {
        /// The probe.
        probe: String,
        /// Count in the low medium.
        low: f64,
        /// Count in the high medium.
        high: f64,
    },
    /// The media of some probes run against those of the others.
    #[error(
        "probe {probe} reads {low} counts in the medium of the lower permittivity and {high} in that of the higher, against what {} show",
        others(*swapped, *probes)
    )]
    MediaSwapped {
        /// The first such probe.
        probe: String,
        /// Count in the low medium.
        low: f64,
        /// Count in the high medium.
        high: f64,
        /// Such probes.
        swapped: usize,
        /// Probes with media.
        probes: usize,
    },
    /// The media of every probe run against the counts beside the cores.
    #[error(
        "probe {probe} and all others read {} in the medium of the lower permittivity ({low} and {high} counts), but beside cores counts {} as the soil gets wetter",
        if *rise { "more" } else { "less" },
        if *rise { "rise" } else { "fall" }
    )]
    AllMediaSwapped {
        /// The first probe.
        probe: String,
        /// Count in the low medium.
        low: f64,
        /// Count in the high medium.
        high: f64,
        /// Whether counts rise as cores get wetter.
        rise: bool,
    },
    /// No curve could be drawn through all pairs.
    #[error("no curve through all probes together: {0}")]
    Fit(#[from] FitError),
    /// As many effects as pairs, or more: nothing is left to judge them by.
    #[error("{pairs} pairs leave nothing to judge {effects} effects by")]
    NoFreedom {
        /// Pairs that count.
        pairs: usize,
        /// Effects to be told apart.
        effects: usize,
    },
    /// The pairs show no scatter at all, so nothing can be judged by it.
    #[error(
        "the deviations show no scatter (residual {residual:.1e} m3/m3), so nothing can be judged by it"
    )]
    NoScatter {
        /// Residual standard deviation, m3/m3.
        residual: f64,
    },
    /// Probes and cores so interlaced that the equations do not come apart.
    #[error(
        "{probes} probes and {cores} cores hang together, each by some other, in one block of {size} equations (limit {limit})"
    )]
    TooInterlaced {
        /// Probes that hang together.
        probes: usize,
        /// Cores that hang together.
        cores: usize,
        /// Equations left after the cheap ones.
        size: usize,
        /// Most that are solved.
        limit: usize,
    },
    /// The search for the variances did not settle.
    #[error("the search for the spread of the probes did not settle after {steps} steps")]
    NotSettled {
        /// Steps tried.
        steps: u64,
    },
    /// A theta_v outside what the shared curve covers.
    #[error(
        "theta_v {theta:.3} m3/m3 lies outside the {low:.3} to {high:.3} m3/m3 that the shared curve covers"
    )]
    OutsideCurve {
        /// The theta_v asked for.
        theta: f64,
        /// Lowest covered.
        low: f64,
        /// Highest covered.
        high: f64,
    },
    /// One soil alone cannot be compared.
    #[error("{soils} soil is too few to compare: it takes at least 2")]
    TooFewSoils {
        /// Soils given.
        soils: usize,
    },
    /// Each soil was read by probes of its own.
    #[error(
        "no probe was read in two soils, so a soil's curve and its probes cannot be told apart"
    )]
    SoilsHaveOwnProbes,
}

/// Whom the media of some run against.
fn others(swapped: usize, probes: usize) -> String {
    if swapped == 1 {
        format!("the other {} and the cores", probes.saturating_sub(1))
    } else {
        format!("the cores and the others ({swapped} of {probes} probes do)")
    }
}

impl BatchError {
    /// What to do about it.
    pub fn mend(&self) -> String {
        match self {
            BatchError::NoPairs { .. } => {
                "check the soil's name; list what there is with the command that pairs cores and readings".to_owned()
            }
            BatchError::TooFewProbes { .. } => {
                "read two or more probes in this soil; one probe alone is calibrated, not compared".to_owned()
            }
            BatchError::NotFinite { .. } => "give a number or leave the pair out".to_owned(),
            BatchError::NoMedia { .. } => {
                "read every probe in the same two media, or leave two-point normalisation out".to_owned()
            }
            BatchError::MediaStandStill { .. } => {
                "read the probe again in both media; if it still reads the same, it is broken".to_owned()
            }
            BatchError::MediaSwapped { .. } => {
                "look whether the two counts were swapped: the low medium is the one like air, the high one like water".to_owned()
            }
            BatchError::AllMediaSwapped { .. } => {
                "swap the two columns: the low medium is the one like air, the high one like water".to_owned()
            }
            BatchError::Fit(error) => error.mend().to_owned(),
            BatchError::NoFreedom { .. } => {
                "read each probe beside more cores, or more probes beside each core".to_owned()
            }
            BatchError::NoScatter { .. } => {
                "look whether theta_v was reckoned from the counts instead of weighed".to_owned()
            }
            BatchError::TooInterlaced { .. } => {
                "study the probes in groups that share cores, or give each probe cores of its own".to_owned()
            }
            BatchError::NotSettled { .. } => {
                "look for a probe or a core far from all others, and leave it out to see".to_owned()
            }
            BatchError::OutsideCurve { .. } => {
                "ask for a theta_v between those of the driest and the wettest core".to_owned()
            }
            BatchError::TooFewSoils { .. } => "give pairs of two or more soils".to_owned(),
            BatchError::SoilsHaveOwnProbes => {
                "read at least one probe in each of the soils".to_owned()
            }
        }
    }
}
