//! How far probes of one kind differ, as variances: one shared curve, and for each
//! probe an offset and a gain drawn from a common distribution.
//!
//! `deviation = shared columns + offset_j + gain_j z + core_i + rest`, where the
//! offsets and gains of the probes are normal with zero mean and a 2 x 2 covariance,
//! cores read by several probes have an effect of their own, and the rest has the
//! variance of a pair of weight 1 divided by its weight. The variances are those of
//! highest restricted likelihood (REML; Patterson and Thompson 1971, Biometrika
//! 58:545; reference recalled from memory).

mod intervals;
mod likelihood;
mod minimise;
mod search;
mod spread;
mod start;

use super::arrow::Arrow;
use super::columns::Columns;
use super::error::BatchError;
use super::pool::{Design, Pool};
use crate::calibration::Domain;
use crate::curve::Curve;
use crate::fit::quadratic_form;
use crate::quantity::Estimate;
use intervals::Surroundings;
use likelihood::Likelihood;
use minimise::Counted;
use schemars::JsonSchema;
use search::highest;
use serde::Serialize;
use spread::Spread;
use start::Start;

/// Normal quantile of a two-sided 95 % interval.
const NORMAL_95: f64 = 1.959_963_984_540_054;

/// How an interval was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
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
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
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
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
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
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
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
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
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
    /// Standard deviation of the probes' gains, m3/m3 per m3/m3: on the water where
    /// cores are shared, on what the probe says of it where each has its own. `None`
    /// where a gain cannot be told from an offset.
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
    let columns = Columns::of(pool);
    let start = Start::of(pool, &columns)?;
    let own = columns.for_variances(start.sharing);
    let likelihood = Likelihood {
        own_columns: own.len() / pool.deviations.len().max(1),
        arrow: Arrow::of(&columns.rows(&own))?,
        cores: pool.design == Design::SharedCores,
    };
    let highest = highest(&likelihood, &start.relative(&likelihood))?;
    let scaling = likelihood.scaling(&highest.relative);
    let variance = likelihood.residual_variance(&highest.relative);
    let solved = likelihood.arrow.effects(scaling);
    let mut pairs = vec![0; pool.probes.len()];
    for deviation in &pool.deviations {
        pairs[deviation.probe] += 1;
    }
    let effects = solved
        .probes
        .iter()
        .zip(pool.probes.iter().zip(&pool.batches))
        .zip(&pairs)
        .map(|((block, (probe, batch)), pairs)| {
            ProbeEffect::of(
                block,
                columns.z_unit,
                variance,
                probe,
                batch.as_ref(),
                *pairs,
            )
        })
        .collect();
    let deviance = |numbers: &[f64]| likelihood.absolute(numbers);
    let counted = Counted::new(&deviance);
    let numbers = likelihood.numbers(&highest.relative);
    let around = Surroundings::of(&likelihood, &counted, numbers.clone(), highest.deviance);
    let places = likelihood.places();
    let spread = Spread::of(&places, &numbers, &around, columns.z_unit);
    let at_edge = |edge| highest.boundaries.contains(&edge);
    let has_correlation = !at_edge(Boundary::NoOffsets) && !at_edge(Boundary::NoGains);
    Ok(Mixed {
        normalised: pool.normalised,
        design: pool.design,
        probes: pool.probes.len(),
        pairs: pool.deviations.len(),
        centre: pool.centre,
        fixed: columns.shared_back(&solved.shared),
        fixed_covariance: columns
            .shared_covariance_back(&solved.shared_covariance)
            .into_iter()
            .map(|row| row.into_iter().map(|c| variance * c).collect())
            .collect(),
        offset_sd: spread.offset,
        gain_sd: spread.gain,
        correlation: places
            .angle
            .filter(|_| has_correlation)
            .map(|angle| around.correlation(angle)),
        core_sd: places.core.map(|core| around.standard_deviation(core)),
        residual_sd: around.residual(),
        spread: spread.covariance,
        spread_covariance: spread.uncertainty.filter(|_| highest.boundaries.is_empty()),
        log_likelihood: -0.5 * highest.deviance,
        evaluations: highest.evaluations + counted.asked.get(),
        boundaries: highest.boundaries,
        effects,
        curve: pool.choice.fit.curve.clone(),
        domain: pool.choice.fit.domain,
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

    /// The 95 % interval of [`between_sd`](Self::between_sd), from the curvature of
    /// the likelihood, on a logarithmic scale; `None` where the likelihood is highest
    /// at an edge.
    pub fn between_interval(&self, theta_v: f64) -> Option<(f64, f64)> {
        let of_variance = self.variance_of_between(theta_v)?;
        let sd = self.between_sd(theta_v);
        // d ln sd = d variance / (2 variance).
        let ratio = (NORMAL_95 * of_variance.max(0.0).sqrt() / (2.0 * sd * sd)).exp();
        (sd > 0.0 && ratio.is_finite()).then_some((sd / ratio, sd * ratio))
    }

    /// Degrees of freedom of the variance between probes at `theta_v`: twice its square
    /// over its variance (Satterthwaite 1946; recalled from memory), at most those of the
    /// probes.
    pub fn between_freedom(&self, theta_v: f64) -> f64 {
        let most = (self.probes as f64 - 1.0).max(1.0);
        let variance = self.between_sd(theta_v).powi(2);
        self.variance_of_between(theta_v)
            .map(|of_variance| 2.0 * variance * variance / of_variance)
            .filter(|freedom| freedom.is_finite() && *freedom > 0.0)
            .map_or(most, |freedom| freedom.min(most))
    }

    /// Variance of the variance between probes at `theta_v`, (m3/m3)^4.
    fn variance_of_between(&self, theta_v: f64) -> Option<f64> {
        let covariance = self.spread_covariance?;
        let z = theta_v - self.centre;
        let by = [1.0, 2.0 * z, z * z];
        Some(
            covariance
                .iter()
                .zip(by)
                .map(|(row, a)| a * row.iter().zip(by).map(|(c, b)| c * b).sum::<f64>())
                .sum(),
        )
    }

    /// How far the shared curve lies above the mean probe at `theta_v`, m3/m3, at
    /// the reference temperature, with its standard error.
    ///
    /// # Errors
    /// [`BatchError::OutsideCurve`].
    pub fn mean_deviation(&self, theta_v: f64) -> Result<Estimate<f64>, BatchError> {
        let Domain { low, high } = self.domain;
        let count = self.curve.count_at(theta_v, low, high).map_err(|_| {
            let (a, b) = (self.curve.value(low), self.curve.value(high));
            BatchError::OutsideCurve {
                theta: theta_v,
                low: a.min(b),
                high: a.max(b),
            }
        })?;
        let mut gradient = vec![0.0; self.fixed.len()];
        let parameters = self.curve.parameters.len().min(gradient.len());
        if let Some(by_parameters) = gradient.get_mut(..parameters) {
            self.curve.gradient(count, by_parameters);
        }
        let value = gradient.iter().zip(&self.fixed).map(|(g, b)| g * b).sum();
        let variance = quadratic_form(&self.fixed_covariance, &gradient);
        Ok(Estimate::new(value, variance.max(0.0).sqrt()))
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
