//! Why nothing can be foretold.

/// Why a plan could not be simulated.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ForetellError {
    /// No levels, or no cores at them.
    #[error("{levels} levels of {cores_per_level} cores are no plan")]
    NoCores {
        /// Levels.
        levels: usize,
        /// Cores at each.
        cores_per_level: usize,
    },
    /// More cores than anybody digs.
    #[error("{cores} cores are more than the {most} that are simulated")]
    TooManyCores {
        /// Cores asked for.
        cores: usize,
        /// Most cores simulated.
        most: usize,
    },
    /// A water content no soil has.
    #[error(
        "theta_v {theta_v} m3/m3 lies outside 0 to 1, so no core can be dug or reading taken there"
    )]
    NoSuchWater {
        /// The water content, m3/m3.
        theta_v: f64,
    },
    /// The probe would read beyond its converter's range.
    #[error(
        "at theta_v {theta_v:.3} m3/m3 the probe would read {count:.0}, beyond its converter's 0 to {largest_code}"
    )]
    BeyondConverter {
        /// The water content, m3/m3.
        theta_v: f64,
        /// The count the truth has there.
        count: f64,
        /// Largest code of the converter.
        largest_code: u32,
    },
    /// A figure of the truth is no standard deviation, or no number.
    #[error("{name} {value} is not a number from 0 to {most}")]
    Figure {
        /// Which figure.
        name: &'static str,
        /// The value given.
        value: f64,
        /// Largest value taken.
        most: f64,
    },
    /// Too few simulated calibrations to say anything.
    #[error("{runs} simulated calibrations are too few to say anything; {least} is the least")]
    TooFewRuns {
        /// Runs asked for.
        runs: usize,
        /// Least number of runs.
        least: usize,
    },
}

impl ForetellError {
    /// What to do about it.
    pub fn mend(&self) -> &'static str {
        match self {
            ForetellError::NoCores { .. } => "plan at least one core at one level",
            ForetellError::TooManyCores { .. } => "plan fewer levels or fewer cores at each",
            ForetellError::NoSuchWater { .. } => {
                "give levels and set points between dry soil and the pore space"
            }
            ForetellError::BeyondConverter { .. } => {
                "leave this level out, or check adc_bits; a reading at the end of the range says nothing"
            }
            ForetellError::Figure { .. } => "give a figure in this range",
            ForetellError::TooFewRuns { .. } => "simulate more calibrations",
        }
    }
}
