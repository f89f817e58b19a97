//! Errors in variables by Levenberg and Marquardt; weighted least squares is
//! the special case in which no input has an uncertainty.
//!
//! Minimised over the parameters `p` and the true inputs `x_i + d_i`:
//!
//! `Q = sum_i (y_i - f(x_i + d_i; p))^2 / u(y_i)^2 + sum_ij d_ij^2 / u(x_ij)^2`
//!
//! (Boggs, Byrd and Schnabel 1987, SIAM J. Sci. Stat. Comput. 8:1052; reference
//! recalled from memory). In a Gauss-Newton step each point's `d_i` appears in
//! that point's terms only and is eliminated exactly: with `V_i = df/dx`,
//! `G_i = df/dp` and the effective variance `S_i = u(y_i)^2 + sum_j V_ij^2
//! u(x_ij)^2`, what is left is ordinary least squares with rows
//! `G_i / sqrt(S_i)` against `(y_i - f_i + V_i d_i) / sqrt(S_i)`. The work is
//! linear in the number of points, and needs no matrix larger than the
//! parameters squared. Marquardt damping acts on `p` in units of the columns'
//! lengths; a damped step shortens the move of `d` alike.

use super::problem::{MAX_INPUTS, Points, Regression};
use super::triangle::{MAX_PARAMETERS, Triangle};

/// How long and how finely the solver works.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Most steps tried, accepted or not.
    pub max_steps: usize,
    /// A step whose every component is below this share of the parameter's size
    /// (or of its standard uncertainty) ends the search.
    pub tolerance: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            max_steps: 500,
            tolerance: 1e-10,
        }
    }
}

/// How a search ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// Steps became negligible.
    Converged,
    /// No step lowers the sum of squares any further, though the last was not
    /// negligible: a minimum as sharp as the arithmetic allows, or a start from
    /// which nothing is gained.
    NoFurtherProgress,
    /// The allowed number of steps was used up.
    StepLimit,
    /// The start values give no finite sum of squares.
    StartNotFinite,
}

/// Where a search ended.
#[derive(Debug, Clone)]
pub struct Solution {
    /// How it ended.
    pub ending: Ending,
    /// The parameters.
    pub parameters: Vec<f64>,
    /// Their covariance for uncertainties taken as known, from the Gauss-Newton
    /// matrix at the adjusted points; `None` if it is singular.
    pub covariance: Option<Vec<Vec<f64>>>,
    /// Q at the solution.
    pub chi_square: f64,
    /// Adjustments `d` of the inputs, point after point; n x m values.
    pub adjustments: Vec<f64>,
    /// `y_i - f_i + V_i d_i`: how far each point is off once its inputs are
    /// given back their adjustment, to first order; n values.
    pub residuals: Vec<f64>,
    /// Effective variance `S_i` behind each residual; n values.
    pub variances: Vec<f64>,
    /// Leverage of each point: the diagonal of the hat matrix; n values.
    pub leverages: Vec<f64>,
    /// Condition number of the design with columns scaled to unit length.
    pub condition: f64,
    /// Index of the parameter least determined.
    pub weakest: usize,
    /// Steps tried.
    pub steps: usize,
}

/// The state at one trial: linearisation of every point.
struct Linearised {
    d: Vec<f64>,
    f: Vec<f64>,
    g: Vec<[f64; MAX_PARAMETERS]>,
    v: Vec<[f64; MAX_INPUTS]>,
    q: f64,
}

impl Linearised {
    fn new(points: usize, inputs: usize) -> Self {
        Self {
            d: vec![0.0; points * inputs],
            f: vec![0.0; points],
            g: vec![[0.0; MAX_PARAMETERS]; points],
            v: vec![[0.0; MAX_INPUTS]; points],
            q: f64::INFINITY,
        }
    }

    /// Evaluates model and derivatives at `p` and the present adjustments.
    #[allow(
        clippy::needless_range_loop,
        reason = "j counts inputs, in x as in the flat arrays"
    )]
    fn evaluate<R: Regression + ?Sized>(&mut self, model: &R, points: &Points<'_>, p: &[f64]) {
        let m = model.inputs();
        let parameters = model.parameters();
        let mut q = 0.0;
        for i in 0..points.y.len() {
            let mut x = [0.0; MAX_INPUTS];
            for j in 0..m {
                let at = i * m + j;
                x[j] = points.x[at] + self.d[at];
                if points.u_x[at] > 0.0 {
                    q += (self.d[at] / points.u_x[at]).powi(2);
                }
            }
            self.f[i] = model.evaluate(
                i,
                &x[..m],
                p,
                &mut self.g[i][..parameters],
                &mut self.v[i][..m],
            );
            q += ((points.y[i] - self.f[i]) / points.u_y[i]).powi(2);
        }
        self.q = if q.is_finite() { q } else { f64::INFINITY };
    }

    /// Effective variance and residual of point `i`.
    fn reduced(&self, points: &Points<'_>, inputs: usize, i: usize) -> (f64, f64) {
        let mut variance = points.u_y[i] * points.u_y[i];
        let mut residual = points.y[i] - self.f[i];
        for j in 0..inputs {
            let at = i * inputs + j;
            variance += (self.v[i][j] * points.u_x[at]).powi(2);
            residual += self.v[i][j] * self.d[at];
        }
        (variance, residual)
    }

    fn triangle(&self, points: &Points<'_>, parameters: usize, inputs: usize) -> Triangle {
        let mut triangle = Triangle::new(parameters);
        for i in 0..points.y.len() {
            let (variance, residual) = self.reduced(points, inputs, i);
            let weight = 1.0 / variance.sqrt();
            let mut row = self.g[i];
            for value in &mut row[..parameters] {
                *value *= weight;
            }
            triangle.absorb(&mut row, residual * weight);
        }
        triangle
    }

    /// `sum_i G_i r_i / S_i` with products and sums compensated for rounding
    /// (the dot product of Ogita, Rump and Oishi 2005, SIAM J. Sci. Comput.
    /// 26:1955; reference recalled from memory). `y` and `f` go in apart, since where
    /// residuals are large their difference is itself rounded.
    fn gradient(
        &self,
        points: &Points<'_>,
        parameters: usize,
        inputs: usize,
    ) -> [f64; MAX_PARAMETERS] {
        let mut sums = [Compensated::default(); MAX_PARAMETERS];
        for i in 0..points.y.len() {
            let (variance, _) = self.reduced(points, inputs, i);
            let shift: f64 = (0..inputs)
                .map(|j| self.v[i][j] * self.d[i * inputs + j])
                .sum();
            for (sum, g) in sums.iter_mut().zip(&self.g[i]).take(parameters) {
                let weighted = g / variance;
                sum.add_product(weighted, points.y[i]);
                sum.add_product(weighted, -self.f[i]);
                sum.add_product(weighted, shift);
            }
        }
        sums.map(|sum| sum.high + sum.low)
    }

    /// Adjustments after a step of the parameters, `share` of the way to where
    /// the linear model has them.
    fn move_adjustments(
        &self,
        points: &Points<'_>,
        inputs: usize,
        parameters: usize,
        step: &[f64; MAX_PARAMETERS],
        share: f64,
        out: &mut [f64],
    ) {
        for i in 0..points.y.len() {
            let (variance, residual) = self.reduced(points, inputs, i);
            let explained: f64 = (0..parameters).map(|k| self.g[i][k] * step[k]).sum();
            for j in 0..inputs {
                let at = i * inputs + j;
                let full =
                    points.u_x[at].powi(2) * self.v[i][j] * (residual - explained) / variance;
                out[at] = self.d[at] + share * (full - self.d[at]);
            }
        }
    }
}

/// A sum of products carried to about twice the working precision.
#[derive(Clone, Copy, Default)]
struct Compensated {
    high: f64,
    low: f64,
}

impl Compensated {
    fn add_product(&mut self, a: f64, b: f64) {
        let product = a * b;
        let product_error = a.mul_add(b, -product);
        let sum = self.high + product;
        let back = sum - self.high;
        let sum_error = (self.high - (sum - back)) + (product - back);
        self.high = sum;
        self.low += product_error + sum_error;
    }
}

/// Fits `model` to `points` from `start`.
///
/// Never panics on numbers: a search that leads nowhere has an [`Ending`] that
/// says so. Slices whose lengths do not match the model give
/// [`Ending::StartNotFinite`].
pub fn solve<R: Regression + ?Sized>(
    model: &R,
    points: &Points<'_>,
    start: &[f64],
    settings: &Settings,
) -> Solution {
    let n = points.y.len();
    let (parameters, inputs) = (model.parameters(), model.inputs());
    let fits_together = parameters == start.len()
        && parameters <= MAX_PARAMETERS
        && inputs <= MAX_INPUTS
        && points.u_y.len() == n
        && points.x.len() == n * inputs
        && points.u_x.len() == n * inputs
        && points.u_y.iter().all(|u| *u > 0.0);
    if !fits_together {
        return Solution::nowhere(start, n, inputs);
    }
    let mut p = start.to_vec();
    let mut here = Linearised::new(n, inputs);
    here.evaluate(model, points, &p);
    if !here.q.is_finite() {
        return Solution::nowhere(start, n, inputs);
    }
    let mut there = Linearised::new(n, inputs);
    let mut trial = p.clone();
    let mut lengths = [0.0_f64; MAX_PARAMETERS];
    let (mut damping, mut growth) = (1e-3, 2.0);
    let mut steps = 0;
    let mut ending = Ending::StepLimit;

    'search: while steps < settings.max_steps {
        let triangle = here.triangle(points, parameters, inputs);
        for (j, length) in lengths.iter_mut().enumerate().take(parameters) {
            *length = length.max(triangle.column_norm(j));
        }
        loop {
            steps += 1;
            let step = damped(&triangle, &lengths, parameters, damping).solve();
            let mut gained = false;
            if let Some(step) = step {
                for k in 0..parameters {
                    trial[k] = p[k] + step[k];
                }
                let share = 1.0 / (1.0 + damping);
                here.move_adjustments(points, inputs, parameters, &step, share, &mut there.d);
                there.evaluate(model, points, &trial);
                let promised = here.q - triangle.sum_of_squares_at(&step);
                let gain = here.q - there.q;
                // Rounding makes Q itself uncertain by a few parts in 1e15.
                let noise = 1e-14 * here.q;
                let negligible = (0..parameters).all(|k| {
                    step[k].abs()
                        <= settings.tolerance
                            * p[k].abs().max(1.0 / lengths[k].max(f64::MIN_POSITIVE))
                });
                if there.q <= here.q + noise && there.q.is_finite() {
                    gained = true;
                    let quality = if promised > noise {
                        gain / promised
                    } else {
                        1.0
                    };
                    std::mem::swap(&mut here, &mut there);
                    std::mem::swap(&mut p, &mut trial);
                    damping *= f64::max(0.1, 1.0 - (2.0 * quality - 1.0).powi(3)).min(2.0);
                    damping = damping.max(1e-16);
                    growth = 2.0;
                    if negligible && promised.abs() <= 1e-10 * here.q.max(f64::MIN_POSITIVE) + noise
                    {
                        ending = Ending::Converged;
                        break 'search;
                    }
                }
            }
            if gained {
                break;
            }
            damping *= growth;
            growth *= 2.0;
            if damping > 1e20 || steps >= settings.max_steps {
                if damping > 1e20 {
                    ending = Ending::NoFurtherProgress;
                }
                break 'search;
            }
        }
    }
    polish(model, points, &mut p, &mut here, &mut there, &lengths);
    Solution::at(points, parameters, inputs, p, &here, ending, steps)
}

/// The triangle with Marquardt's rows added.
fn damped(
    triangle: &Triangle,
    lengths: &[f64; MAX_PARAMETERS],
    parameters: usize,
    damping: f64,
) -> Triangle {
    let mut damped = triangle.clone();
    let root = damping.sqrt();
    for j in 0..parameters {
        let mut row = [0.0; MAX_PARAMETERS];
        row[j] = root * lengths[j];
        damped.absorb(&mut row, 0.0);
    }
    damped
}

/// Undamped steps for the last digits: close to the minimum, Q no longer tells
/// better from worse (it changes with the square of the distance), but the
/// steps still shrink. Goes on while each is less than half the one before.
///
/// The steps come from the corrected seminormal equations: the gradient is
/// summed with compensation and only the matrix is taken from the triangle, so
/// the solution is as good as the residuals themselves (Bjorck 1987, Linear
/// Algebra Appl. 88/89:31; reference recalled from memory).
fn polish<R: Regression + ?Sized>(
    model: &R,
    points: &Points<'_>,
    p: &mut Vec<f64>,
    here: &mut Linearised,
    there: &mut Linearised,
    lengths: &[f64; MAX_PARAMETERS],
) {
    let (parameters, inputs) = (p.len(), model.inputs());
    let mut last = f64::INFINITY;
    let mut trial = p.clone();
    for _ in 0..20 {
        let triangle = here.triangle(points, parameters, inputs);
        let Some(step) = triangle.solve_normal(&here.gradient(points, parameters, inputs)) else {
            return;
        };
        let size = (0..parameters)
            .map(|k| (step[k] * lengths[k]).powi(2))
            .sum::<f64>()
            .sqrt();
        if size >= 0.5 * last {
            return;
        }
        for k in 0..parameters {
            trial[k] = p[k] + step[k];
        }
        here.move_adjustments(points, inputs, parameters, &step, 1.0, &mut there.d);
        there.evaluate(model, points, &trial);
        if there.q.is_nan() || there.q > here.q * (1.0 + 1e-9) {
            return;
        }
        std::mem::swap(here, there);
        std::mem::swap(p, &mut trial);
        last = size;
        if size == 0.0 {
            return;
        }
    }
}

impl Solution {
    fn nowhere(start: &[f64], points: usize, inputs: usize) -> Self {
        Self {
            ending: Ending::StartNotFinite,
            parameters: start.to_vec(),
            covariance: None,
            chi_square: f64::INFINITY,
            adjustments: vec![0.0; points * inputs],
            residuals: vec![0.0; points],
            variances: vec![0.0; points],
            leverages: vec![0.0; points],
            condition: f64::INFINITY,
            weakest: 0,
            steps: 0,
        }
    }

    fn at(
        points: &Points<'_>,
        parameters: usize,
        inputs: usize,
        p: Vec<f64>,
        here: &Linearised,
        ending: Ending,
        steps: usize,
    ) -> Self {
        let triangle = here.triangle(points, parameters, inputs);
        let (condition, weakest) = triangle.condition();
        let covariance = triangle.covariance();
        let mut residuals = Vec::with_capacity(points.y.len());
        let mut variances = Vec::with_capacity(points.y.len());
        let mut leverages = Vec::with_capacity(points.y.len());
        for i in 0..points.y.len() {
            let (variance, residual) = here.reduced(points, inputs, i);
            residuals.push(residual);
            variances.push(variance);
            let g = &here.g[i][..parameters];
            leverages.push(
                covariance
                    .as_ref()
                    .map_or(0.0, |c| quadratic_form(c, g) / variance),
            );
        }
        Self {
            ending,
            parameters: p,
            covariance,
            chi_square: here.q,
            adjustments: here.d.clone(),
            residuals,
            variances,
            leverages,
            condition,
            weakest,
            steps,
        }
    }

    /// Whether the parameters are a minimum.
    pub fn found_minimum(&self) -> bool {
        matches!(self.ending, Ending::Converged | Ending::NoFurtherProgress)
            && self.covariance.is_some()
    }
}

/// `v' M v`; rows or entries beyond the shorter of the two are not looked at.
pub(crate) fn quadratic_form(rows: &[Vec<f64>], v: &[f64]) -> f64 {
    rows.iter()
        .zip(v)
        .map(|(row, vi)| vi * row.iter().zip(v).map(|(m, vj)| m * vj).sum::<f64>())
        .sum()
}
