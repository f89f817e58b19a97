//! Where a search ended, and what can be asked of it.

use super::triangle::Triangle;

/// How a search ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// At a minimum, as far as the arithmetic can tell: the linear model
    /// promises no more than a part in 1e8 of Q from any step.
    Converged,
    /// No step lowers the sum of squares any further, though the linear model
    /// promises that one should.
    NoFurtherProgress,
    /// The allowed number of steps was used up.
    StepLimit,
    /// The data or the start values give no finite sum of squares, or do not
    /// fit the model in number.
    StartNotFinite,
}

/// Where a search ended.
#[derive(Debug, Clone)]
pub struct Solution {
    /// How it ended.
    pub ending: Ending,
    /// The parameters.
    pub parameters: Vec<f64>,
    /// Q at the solution.
    pub chi_square: f64,
    /// Adjustments `d` of the inputs, point after point; n x m values.
    pub adjustments: Vec<f64>,
    /// `y_i - f_i + V_i d_i`: how far each point is off once its inputs are
    /// given back their adjustment, to first order; n values.
    pub residuals: Vec<f64>,
    /// Effective variance `S_i` behind each residual; n values.
    pub variances: Vec<f64>,
    /// Derivatives of the model by each parameter, point after point; n x p values.
    pub gradients: Vec<f64>,
    /// Steps tried.
    pub steps: usize,
    /// The Gauss-Newton matrix's triangle at the adjusted points.
    pub(super) triangle: Triangle,
}

/// How well a design determines its parameters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditioning {
    /// Condition number of the design with columns scaled to unit length.
    pub number: f64,
    /// Index of the parameter least determined.
    pub weakest: usize,
}

impl Solution {
    pub(super) fn nowhere(start: &[f64], points: usize, inputs: usize) -> Self {
        Self {
            ending: Ending::StartNotFinite,
            parameters: start.to_vec(),
            chi_square: f64::INFINITY,
            adjustments: vec![0.0; points * inputs],
            residuals: vec![0.0; points],
            variances: vec![0.0; points],
            gradients: vec![0.0; start.len() * points],
            steps: 0,
            triangle: Triangle::new(start.len()),
        }
    }

    /// Covariance of the parameters for uncertainties taken as known, from the
    /// Gauss-Newton matrix at the adjusted points; `None` if it is singular.
    pub fn covariance(&self) -> Option<Vec<Vec<f64>>> {
        self.triangle.covariance()
    }

    /// `g' C g` with the covariance `C`: the variance of a value whose
    /// derivatives by the parameters are `g`; infinite or no number if `C` is
    /// singular.
    pub fn variance_of(&self, g: &[f64]) -> f64 {
        self.triangle.variance(g)
    }

    /// Leverage of each point: the diagonal of the hat matrix; n values.
    pub fn leverages(&self) -> Vec<f64> {
        let size = self.parameters.len().max(1);
        self.gradients
            .chunks(size)
            .zip(&self.variances)
            .map(|(g, variance)| self.variance_of(g) / variance)
            .collect()
    }

    /// How well the points determine the parameters.
    pub fn conditioning(&self) -> Conditioning {
        let (number, weakest) = self.triangle.condition();
        Conditioning { number, weakest }
    }

    /// Whether the parameters are a minimum, with a covariance.
    pub fn found_minimum(&self) -> bool {
        self.ending == Ending::Converged && self.triangle.is_regular()
    }
}

/// `v' M v`; rows or entries beyond the shorter of the two are not looked at.
pub(crate) fn quadratic_form(rows: &[Vec<f64>], v: &[f64]) -> f64 {
    bilinear_form(rows, v, v)
}

/// `v' M w`; rows or entries beyond the shorter of the two are not looked at.
pub(crate) fn bilinear_form(rows: &[Vec<f64>], v: &[f64], w: &[f64]) -> f64 {
    rows.iter()
        .zip(v)
        .map(|(row, vi)| vi * row.iter().zip(w).map(|(m, wj)| m * wj).sum::<f64>())
        .sum()
}
