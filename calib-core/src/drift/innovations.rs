//! What the calibration lets the next check be, and where the check lies in it.
//!
//! While the calibration holds, the departure of check t is the error of the curve there,
//! the error of the reading, that of weighing, and the scatter of one core:
//!
//! `d_t = e(c_t) + r + w_t + s_t`.
//!
//! The curve's error is the same unknown curve for all checks; its covariance between any
//! two counts is what the calibration's covariance and its instrument say. So, the scatter
//! given, the departures are jointly normal, about zero or, where a rival is the true curve,
//! about its distance from the one taken; and the Cholesky factor of their covariance gives
//! each one's distribution after those before it: the filter of Kalman (1960, J. Basic Eng.
//! 82:35), all checks at once. Which curve is the true one is known only by weights, and the
//! scatter only as the fit's degrees of freedom allow; both are distributions that each
//! check sharpens. The next check is thus foretold by normal distributions mixed; where weighing
//! and reading are small beside the scatter this is Student's t with one degree of freedom
//! more after each check, as for recursive residuals (Brown, Durbin and Evans 1975, J. R.
//! Stat. Soc. B 37:149). The probability below the check, turned into a normal quantile, is
//! its score: independent from check to check and standard normal. (References recalled
//! from memory.)

use super::check::Check;
use super::error::DriftError;
use super::mixture::{Mixture, Part};
use super::scatter::scatter_nodes;
use super::sequential::End;
use crate::calibration::{Calibration, Domain, ReadAt};
use crate::quantity::{Celsius, Quantity};
use nalgebra::{Cholesky, DMatrix};
use schemars::JsonSchema;
use serde::Serialize;

/// Values of the scatter kept for each curve.
const NODES: usize = 61;

/// Weight below which a curve with its scatter is not looked at for one check: it moves no
/// score below six standard deviations.
const NEGLIGIBLE: f64 = 1e-10;

/// Where a check lies in what the calibration lets it be.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Score {
    /// The departure the calibration and the checks before lead one to expect, m3/m3.
    pub expected: f64,
    /// Within this and `high` the departure lies in 95 of 100 cases while the calibration
    /// holds, m3/m3.
    pub low: f64,
    /// See `low`.
    pub high: f64,
    /// Where the departure lies, as a standard normal value.
    pub score: f64,
}

/// The readings of `checks`, for the calibration's errors.
pub(super) fn readings(checks: &[Check]) -> Vec<ReadAt> {
    checks
        .iter()
        .map(|check| ReadAt {
            count: check.count,
            temperature: check.temperature_c.and_then(|t| Celsius::new(t).ok()),
        })
        .collect()
}

/// What stands between the checks beside the error of the curve: weighing, reading, ring;
/// m3/m3 squared.
pub(super) fn check_errors(
    calibration: &Calibration,
    checks: &[Check],
    other_ring: bool,
) -> DMatrix<f64> {
    let at = readings(checks);
    DMatrix::from_fn(checks.len(), checks.len(), |i, j| {
        let (here, there) = (&checks[i], &checks[j]);
        let mut sum = 0.0;
        if i == j {
            sum += here.reference_u.powi(2);
        }
        if here.visit == there.visit {
            let per_degree = calibration
                .temperature
                .map_or(0.0, |term| term.coefficient * calibration.temperature_u);
            let reading = here.count_u * there.count_u + per_degree.powi(2);
            sum += calibration.slope_at(&at[i]) * calibration.slope_at(&at[j]) * reading;
        }
        if other_ring {
            let rings = calibration.relative_volume_u.powi(2)
                + here.relative_volume_u * there.relative_volume_u;
            sum += here.calibrated * there.calibrated * rings;
        }
        sum
    })
}

/// Foretells checks at counts, temperatures and uncertainties that are known, one after
/// the other.
#[derive(Debug, Clone)]
pub struct Foreteller {
    size: usize,
    nodes: Vec<Node>,
    ends: Vec<End>,
}

/// In which third of the range each check lies, by the calibration.
pub(super) fn ends_of(calibration: &Calibration, checks: &[Check]) -> Vec<End> {
    let Domain { low, high } = calibration.domain;
    let (a, b) = (calibration.curve.value(low), calibration.curve.value(high));
    checks
        .iter()
        .map(|check| End::of(check.calibrated, a.min(b), a.max(b)))
        .collect()
}

/// One of the curves that may be the true one, with one value of the scatter.
#[derive(Debug, Clone)]
struct Node {
    ln_weight: f64,
    /// Departure at each check if this is the true curve, m3/m3.
    above: Vec<f64>,
    /// Lower triangle of the Cholesky factor, row after row.
    rows: Vec<f64>,
}

impl Node {
    fn row(&self, i: usize) -> &[f64] {
        let from = i * (i + 1) / 2;
        self.rows.get(from..from + i + 1).unwrap_or_default()
    }
}

impl Foreteller {
    /// Of `checks`, whose departures are not looked at.
    ///
    /// # Errors
    /// [`DriftError::Calibration`] if the calibration's covariance is none.
    pub fn new(
        calibration: &Calibration,
        checks: &[Check],
        other_ring: bool,
    ) -> Result<Self, DriftError> {
        Self::with_nodes(calibration, checks, other_ring, NODES)
    }

    /// As [`new`](Self::new), with so many values of the scatter for each curve.
    pub(super) fn with_nodes(
        calibration: &Calibration,
        checks: &[Check],
        other_ring: bool,
        number: usize,
    ) -> Result<Self, DriftError> {
        let together = calibration.errors_together(&readings(checks));
        let fixed = &together.instrument + check_errors(calibration, checks, other_ring);
        let scatters = scatter_nodes(calibration, number)?;
        let mut nodes = Vec::new();
        for curve in &together.curves {
            for scatter in &scatters {
                let mut whole = &fixed + &curve.parameters * scatter.covariance_scale;
                for i in 0..checks.len() {
                    whole[(i, i)] += (scatter.variance + curve.more_scatter).max(0.0);
                }
                nodes.push(Node {
                    ln_weight: scatter.ln_weight + curve.weight.max(f64::MIN_POSITIVE).ln(),
                    above: curve.above.iter().copied().collect(),
                    rows: packed(&factor(whole)?),
                });
            }
        }
        Ok(Self {
            size: checks.len(),
            nodes,
            ends: ends_of(calibration, checks),
        })
    }

    /// How many checks it foretells.
    pub(super) fn checks(&self) -> usize {
        self.size
    }

    /// In which third of the range each check lies.
    pub fn ends(&self) -> &[End] {
        &self.ends
    }

    /// The distribution of each departure after those before it, handed to `look` with the
    /// departure itself.
    fn walk(&self, departures: &[f64], mut look: impl FnMut(f64, &Mixture)) {
        let size = self.size.min(departures.len());
        let mut whitened = vec![0.0; size * self.nodes.len()];
        let mut ln_weights: Vec<f64> = self.nodes.iter().map(|node| node.ln_weight).collect();
        let mut mixture = Mixture::default();
        for (i, departure) in departures.iter().enumerate().take(size) {
            let most = ln_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let total: f64 = ln_weights.iter().map(|ln| (ln - most).exp()).sum();
            mixture.0.clear();
            let nodes = self.nodes.iter().zip(&mut ln_weights);
            for ((node, ln_weight), whitened) in nodes.zip(whitened.chunks_exact_mut(size)) {
                let row = node.row(i);
                let before: f64 = row.iter().zip(&whitened[..i]).map(|(l, e)| l * e).sum();
                let (mean, sd) = (node.above[i] + before, row[i]);
                let weight = (*ln_weight - most).exp() / total;
                if weight > NEGLIGIBLE {
                    mixture.0.push(Part { weight, mean, sd });
                }
                let e = (departure - mean) / sd;
                whitened[i] = e;
                *ln_weight -= 0.5 * e * e + sd.ln();
            }
            look(*departure, &mixture);
        }
    }

    /// The score of each of `departures`, in order of time.
    pub fn scores(&self, departures: &[f64]) -> Vec<f64> {
        let mut scores = Vec::with_capacity(departures.len());
        self.walk(departures, |value, mixture| {
            scores.push(mixture.score(value));
        });
        scores
    }

    /// As [`scores`](Self::scores), each with what was foretold.
    pub fn foretell(&self, departures: &[f64]) -> Vec<Score> {
        let mut scores = Vec::with_capacity(departures.len());
        self.walk(departures, |value, mixture| {
            scores.push(Score {
                expected: mixture.mean(),
                low: mixture.quantile(0.025),
                high: mixture.quantile(0.975),
                score: mixture.score(value),
            });
        });
        scores
    }

    /// Departures as they may come while the calibration holds: `chance`, between 0 and
    /// 1, chooses curve and scatter; `normals` are independent standard normal values.
    pub(super) fn draw(&self, chance: f64, normals: &[f64], out: &mut Vec<f64>) {
        let mut sum = 0.0;
        let node = self.nodes.iter().find(|node| {
            sum += node.ln_weight.exp();
            sum >= chance
        });
        out.clear();
        let Some(node) = node.or(self.nodes.last()) else {
            return;
        };
        out.extend((0..self.size.min(normals.len())).map(|i| {
            let row = node.row(i).iter();
            node.above[i] + row.zip(normals).map(|(l, z)| l * z).sum::<f64>()
        }));
    }
}

/// The lower triangle `L` of `covariance = L L'`.
pub(super) fn factor(covariance: DMatrix<f64>) -> Result<DMatrix<f64>, DriftError> {
    Cholesky::new(covariance)
        .map(|cholesky| cholesky.unpack())
        .ok_or(DriftError::Calibration {
            fault: "the errors foretold have no covariance",
        })
}

fn packed(lower: &DMatrix<f64>) -> Vec<f64> {
    (0..lower.nrows())
        .flat_map(|i| (0..=i).map(move |j| lower[(i, j)]))
        .collect()
}
