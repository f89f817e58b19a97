//! Why there is no such statement about a batch.

/// Why figures of many probes do not give what was asked of them. `Display` says
/// what is wrong, [`mend`](BatchStatisticsError::mend) what to do.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BatchStatisticsError {
    /// Fewer of something than the statement needs.
    #[error("{given} {} too few: at least {needed} are needed", if *given == 1 { format!("{} is", what.trim_end_matches('s')) } else { format!("{what} are") })]
    TooFew {
        /// What is counted.
        what: &'static str,
        /// How many there are.
        given: usize,
        /// How many it takes.
        needed: usize,
    },
    /// A figure is no number.
    #[error("{what} number {place} is {value}, not a number to reckon with")]
    NotFinite {
        /// What the figure is.
        what: &'static str,
        /// Its place, counted from 1.
        place: usize,
        /// The figure.
        value: f64,
    },
    /// As many effects as readings: nothing is left to see their scatter by.
    #[error(
        "curve and probes take up all the pairs there are, so nothing is left to see by how much a probe's cores scatter"
    )]
    NothingLeft,
    /// A figure lies outside what it can be.
    #[error("{what} is {value}, which must lie between {low} and {high}")]
    OutOfRange {
        /// What the figure is.
        what: &'static str,
        /// The figure.
        value: f64,
        /// Least it may be.
        low: f64,
        /// Most it may be.
        high: f64,
    },
    /// Variances and covariance that no pair of figures can have.
    #[error(
        "probe number {place}: variances {first} and {second} with covariance {covariance} are not those of two figures"
    )]
    NotACovariance {
        /// Place of the probe, counted from 1.
        place: usize,
        /// Variance of the offset.
        first: f64,
        /// Variance of the gain.
        second: f64,
        /// Covariance of the two.
        covariance: f64,
    },
    /// No probe has two readings of one level.
    #[error(
        "none of the {probes} probes has two readings of this level, so its repeatability is unknown"
    )]
    NoReplicates {
        /// Probes with a reading.
        probes: usize,
    },
    /// The figures do not differ at all, so there is no spread to judge by.
    #[error(
        "{alike} of {given} {what} are alike to the last digit, so there is no spread to judge by"
    )]
    NoSpread {
        /// What is alike.
        what: &'static str,
        /// How many are alike.
        alike: usize,
        /// How many there are.
        given: usize,
    },
    /// Probes differ no more than readings of one probe.
    #[error(
        "probes differ no more than readings of one probe do (ratio of mean squares {f:.3}), so no spread between probes can be seen"
    )]
    NoSpreadBetween {
        /// Ratio of the mean squares.
        f: f64,
    },
    /// A search for a figure did not end.
    #[error("the search for {what} did not settle after {steps} steps")]
    NotSettled {
        /// The figure.
        what: &'static str,
        /// Steps tried.
        steps: usize,
    },
}

impl BatchStatisticsError {
    /// What to do about it.
    pub fn mend(&self) -> &'static str {
        match self {
            BatchStatisticsError::TooFew { .. } => "bring more of them, or leave this question out",
            BatchStatisticsError::NotFinite { .. } | BatchStatisticsError::OutOfRange { .. } => {
                "look for a wrong figure in the table it comes from"
            }
            BatchStatisticsError::NothingLeft => "read each probe beside more cores",
            BatchStatisticsError::NotACovariance { .. } => {
                "give the probe more cores at more than one moisture level, or leave it out"
            }
            BatchStatisticsError::NoReplicates { .. } => {
                "take at least two cores beside a probe at this level"
            }
            BatchStatisticsError::NoSpread { .. } => {
                "look whether the same rows were entered for several probes"
            }
            BatchStatisticsError::NoSpreadBetween { .. } => {
                "state the interval for a single reading of the next probe instead"
            }
            BatchStatisticsError::NotSettled { .. } => {
                "look for figures of very unequal size; it should not happen with sound data"
            }
        }
    }
}

/// The figure if it is finite.
pub(super) fn finite(
    what: &'static str,
    index: usize,
    value: f64,
) -> Result<f64, BatchStatisticsError> {
    if value.is_finite() {
        Ok(value)
    } else {
        Err(BatchStatisticsError::NotFinite {
            what,
            place: index + 1,
            value,
        })
    }
}

/// The figure if it lies strictly between two others.
pub(super) fn between(
    what: &'static str,
    value: f64,
    low: f64,
    high: f64,
) -> Result<f64, BatchStatisticsError> {
    if value > low && value < high {
        Ok(value)
    } else {
        Err(BatchStatisticsError::OutOfRange {
            what,
            value,
            low,
            high,
        })
    }
}

/// Whether there are enough of something.
pub(super) fn enough(
    what: &'static str,
    given: usize,
    needed: usize,
) -> Result<(), BatchStatisticsError> {
    if given < needed {
        Err(BatchStatisticsError::TooFew {
            what,
            given,
            needed,
        })
    } else {
        Ok(())
    }
}
