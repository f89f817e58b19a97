//! How far probes of one kind differ, as variances: one shared curve, and for each
//! probe an offset and a gain drawn from a common distribution.
//!
//! `deviation = shared columns + offset_j + gain_j z + core_i + rest`, where the
//! offsets and gains of the probes are normal with zero mean and a 2 x 2 covariance,
//! cores read by several probes have an effect of their own, and the rest has the
//! variance of a pair of weight 1 divided by its weight. The variances are those of
//! highest restricted likelihood (REML; Patterson and Thompson 1971, Biometrika
//! 58:545; reference recalled from memory).

use super::error::BatchError;
use super::pool::{Design, Pool};
use crate::calibration::Domain;
use crate::curve::Curve;
use crate::quantity::Estimate;
use serde::Serialize;

/// How an interval was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum IntervalMethod {
    /// The values that the restricted likelihood, profiled over all others, does not
    /// reject.
    ProfileLikelihood,
    /// From the curvature at the highest likelihood, on a logarithmic scale (for a
    /// correlation on Fisher's); where pairs are so many that both agree.
    Curvature,
}

/// A standard deviation (or a correlation) with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Component {
    /// Estimate.
    pub value: f64,
    /// Lower end of the 95 % interval; `None` where the data set none.
    pub low: Option<f64>,
    /// Upper end of the 95 % interval; `None` where the data set none.
    pub high: Option<f64>,
    /// How the interval was found.
    pub method: IntervalMethod,
}

/// Where the likelihood is highest at the edge of what can be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Boundary {
    /// Chance alone explains the offsets: their variance is estimated as zero.
    NoOffsets,
    /// Chance alone explains the gains.
    NoGains,
    /// Offset and gain go strictly together: there is but one way to differ.
    OneWayToDiffer,
    /// Cores have nothing of their own.
    NoCoreEffects,
}

/// What the model says of one probe.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ProbeEffect {
    /// The probe.
    pub probe: String,
    /// Batch it is of, where stated.
    pub batch: Option<String>,
    /// Pairs it was read in.
    pub pairs: usize,
    /// By how much it reads above the shared curve at [`Mixed::centre`], drawn
    /// towards zero by as much as its pairs leave open; m3/m3, with the standard
    /// error of prediction.
    pub offset: Estimate<f64>,
    /// By how much that grows with theta_v, m3/m3 per m3/m3.
    pub gain: Estimate<f64>,
    /// Covariance of the errors of offset and gain.
    pub covariance: f64,
}

/// The spread of the probes, and each of them.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Mixed {
    /// Whether counts were brought onto one scale by two media first.
    pub normalised: bool,
    /// How probes and cores go together.
    pub design: Design,
    /// Probes.
    pub probes: usize,
    /// Pairs.
    pub pairs: usize,
    /// theta_v about which gains turn, m3/m3.
    pub centre: f64,
    /// Correction of the shared curve's parameters (then of its temperature
    /// coefficient), as it appears in the deviations.
    pub fixed: Vec<f64>,
    /// Covariance of `fixed`.
    pub fixed_covariance: Vec<Vec<f64>>,
    /// Standard deviation of the probes' offsets at `centre`, m3/m3.
    pub offset_sd: Component,
    /// Standard deviation of the probes' gains, m3/m3 per m3/m3; `None` where a gain
    /// cannot be told from an offset.
    pub gain_sd: Option<Component>,
    /// Correlation of offset and gain; `None` where either has no spread.
    pub correlation: Option<Component>,
    /// Standard deviation of what is peculiar to a core, m3/m3, where cores are
    /// shared.
    pub core_sd: Option<Component>,
    /// Standard deviation of the rest for a pair of weight 1, m3/m3.
    pub residual_sd: Component,
    /// Covariance of a probe's offset and gain: `[[v, c], [c, w]]`.
    pub spread: [[f64; 2]; 2],
    /// Covariance of the estimates of `spread`'s v, c and w, from the curvature of
    /// the likelihood; `None` at an edge.
    pub spread_covariance: Option<[[f64; 3]; 3]>,
    /// Logarithm of the restricted likelihood at its highest.
    pub log_likelihood: f64,
    /// Edges of what can be at which the likelihood is highest.
    pub boundaries: Vec<Boundary>,
    /// Evaluations of the likelihood that the search took.
    pub evaluations: u64,
    /// Each probe, in the order of the pool.
    pub effects: Vec<ProbeEffect>,
    /// The shared curve the deviations are from.
    #[serde(skip)]
    pub curve: Curve,
    /// Counts over which it holds.
    #[serde(skip)]
    pub domain: Domain,
}

/// Finds the spread of the probes of a pool and the effect of each.
///
/// # Errors
/// [`BatchError::NoFreedom`], [`BatchError::NoScatter`],
/// [`BatchError::TooInterlaced`], [`BatchError::NotSettled`].
pub fn mixed(pool: &Pool) -> Result<Mixed, BatchError> {
    Err(BatchError::NoFreedom {
        pairs: pool.deviations.len(),
        effects: 0,
    })
}

impl Mixed {
    /// Standard deviation between probes at `theta_v`, m3/m3: how far a probe not
    /// calibrated for itself reads off for being the probe it is.
    pub fn between_sd(&self, theta_v: f64) -> f64 {
        let z = theta_v - self.centre;
        let [[v, c], [_, w]] = self.spread;
        (v + 2.0 * c * z + w * z * z).max(0.0).sqrt()
    }

    /// The 95 % interval of [`between_sd`](Self::between_sd); `None` where the
    /// likelihood is highest at an edge.
    pub fn between_interval(&self, theta_v: f64) -> Option<(f64, f64)> {
        let _ = theta_v;
        None
    }

    /// How far the shared curve lies above the mean probe at `theta_v`, m3/m3, at
    /// the reference temperature, with its standard error.
    ///
    /// # Errors
    /// [`BatchError::OutsideCurve`].
    pub fn mean_deviation(&self, theta_v: f64) -> Result<Estimate<f64>, BatchError> {
        Err(BatchError::OutsideCurve {
            theta: theta_v,
            low: 0.0,
            high: 0.0,
        })
    }
}

impl ProbeEffect {
    /// By how much the probe reads above the mean probe at `theta_v`, m3/m3, with
    /// the standard error; `centre` is that of the study.
    pub fn at(&self, theta_v: f64, centre: f64) -> Estimate<f64> {
        let z = theta_v - centre;
        let variance =
            self.offset.u.powi(2) + 2.0 * z * self.covariance + (z * self.gain.u).powi(2);
        Estimate::new(
            self.offset.value + z * self.gain.value,
            variance.max(0.0).sqrt(),
        )
    }
}
