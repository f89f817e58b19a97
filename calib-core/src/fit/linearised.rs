//! A model and its derivatives at one trial of the parameters, with every point's
//! inputs moved to where they fit best.

use super::problem::{MAX_INPUTS, Points, Regression};
use super::triangle::{MAX_PARAMETERS, Triangle};

/// Most steps in which the adjustments of a point are moved to their best.
const SETTLING_STEPS: usize = 20;

/// The state at one trial: linearisation of every point.
pub(super) struct Linearised {
    pub(super) d: Vec<f64>,
    pub(super) f: Vec<f64>,
    pub(super) g: Vec<[f64; MAX_PARAMETERS]>,
    pub(super) v: Vec<[f64; MAX_INPUTS]>,
    pub(super) q: f64,
}

impl Linearised {
    pub(super) fn new(points: usize, inputs: usize) -> Self {
        Self {
            d: vec![0.0; points * inputs],
            f: vec![0.0; points],
            g: vec![[0.0; MAX_PARAMETERS]; points],
            v: vec![[0.0; MAX_INPUTS]; points],
            q: f64::INFINITY,
        }
    }

    /// Evaluates model and derivatives at `p`, with every adjustment moved from
    /// where it is to its best. Where the model has no value there, the search
    /// starts from `fallback` instead.
    pub(super) fn evaluate<R: Regression + ?Sized>(
        &mut self,
        model: &R,
        points: &Points<'_>,
        p: &[f64],
        fallback: &[f64],
    ) {
        let inputs = model.inputs();
        let mut q = 0.0;
        for i in 0..points.y.len() {
            let mut at_point = self.evaluate_point(model, points, p, i);
            if !at_point.is_finite() {
                let range = i * inputs..(i + 1) * inputs;
                self.d[range.clone()].copy_from_slice(&fallback[range]);
                at_point = self.evaluate_point(model, points, p, i);
            }
            q += self.settle_point(model, points, p, i, at_point);
        }
        self.q = if q.is_finite() { q } else { f64::INFINITY };
    }

    /// Evaluates point `i` at its present adjustments and gives its part of Q.
    fn evaluate_point<R: Regression + ?Sized>(
        &mut self,
        model: &R,
        points: &Points<'_>,
        p: &[f64],
        i: usize,
    ) -> f64 {
        let inputs = model.inputs();
        let mut x = [0.0; MAX_INPUTS];
        let mut q = 0.0;
        let range = i * inputs..(i + 1) * inputs;
        let inputs_of_point = points.x[range.clone()]
            .iter()
            .zip(&self.d[range.clone()])
            .zip(&points.u_x[range]);
        for (x, ((observed, d), u)) in x.iter_mut().zip(inputs_of_point) {
            *x = observed + d;
            if *u > 0.0 {
                q += (d / u).powi(2);
            }
        }
        self.f[i] = model.evaluate(
            i,
            &x[..inputs],
            p,
            &mut self.g[i][..p.len()],
            &mut self.v[i][..inputs],
        );
        q + ((points.y[i] - self.f[i]) / points.u_y[i]).powi(2)
    }

    /// Moves the adjustments of point `i` to where its part of Q, `q` so far, is
    /// least: Gauss-Newton steps, each halved until it gains.
    fn settle_point<R: Regression + ?Sized>(
        &mut self,
        model: &R,
        points: &Points<'_>,
        p: &[f64],
        i: usize,
        mut q: f64,
    ) -> f64 {
        let inputs = model.inputs();
        for _ in 0..SETTLING_STEPS {
            let (variance, residual) = self.reduced(points, inputs, i);
            let promised = q - residual * residual / variance;
            if promised <= 1e-12 * q || promised.is_nan() {
                break;
            }
            let from = i * inputs;
            let mut start = [0.0; MAX_INPUTS];
            let mut full = [0.0; MAX_INPUTS];
            for j in 0..inputs {
                start[j] = self.d[from + j];
                full[j] = points.u_x[from + j].powi(2) * self.v[i][j] * residual / variance;
            }
            let before = q;
            let mut share = 1.0;
            while share > 1e-3 {
                for j in 0..inputs {
                    self.d[from + j] = start[j] + share * (full[j] - start[j]);
                }
                let tried = self.evaluate_point(model, points, p, i);
                if tried < before {
                    q = tried;
                    break;
                }
                share *= 0.5;
            }
            if q >= before {
                self.d[from..from + inputs].copy_from_slice(&start[..inputs]);
                return self.evaluate_point(model, points, p, i);
            }
        }
        q
    }

    /// How uncertain rounding makes Q: a few parts in 1e15 of it, and what a
    /// last digit of the values that go into each residual is worth, which is
    /// all that counts where the data lie on the curve.
    pub(super) fn rounding(&self, points: &Points<'_>, p: &[f64], inputs: usize) -> f64 {
        let mut floor = 0.0;
        for i in 0..points.y.len() {
            let mut size = points.y[i].abs();
            for (g, value) in self.g[i].iter().zip(p) {
                size += (g * value).abs();
            }
            for (v, x) in self.v[i].iter().zip(&points.x[i * inputs..]).take(inputs) {
                size += (v * x).abs();
            }
            floor += (4.0 * f64::EPSILON * size / points.u_y[i]).powi(2);
        }
        1e-14 * self.q + floor
    }

    /// Effective variance and residual of point `i`.
    pub(super) fn reduced(&self, points: &Points<'_>, inputs: usize, i: usize) -> (f64, f64) {
        let mut variance = points.u_y[i] * points.u_y[i];
        let mut residual = points.y[i] - self.f[i];
        for j in 0..inputs {
            let at = i * inputs + j;
            variance += (self.v[i][j] * points.u_x[at]).powi(2);
            residual += self.v[i][j] * self.d[at];
        }
        (variance, residual)
    }

    pub(super) fn triangle(
        &self,
        points: &Points<'_>,
        parameters: usize,
        inputs: usize,
    ) -> Triangle {
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
    pub(super) fn gradient(
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

    /// Where the linear model has the adjustments after a step of the
    /// parameters.
    pub(super) fn move_adjustments(
        &self,
        points: &Points<'_>,
        inputs: usize,
        step: &[f64],
        out: &mut [f64],
    ) {
        for i in 0..points.y.len() {
            let (variance, residual) = self.reduced(points, inputs, i);
            let explained: f64 = self.g[i].iter().zip(step).map(|(g, s)| g * s).sum();
            for j in 0..inputs {
                let at = i * inputs + j;
                out[at] = points.u_x[at].powi(2) * self.v[i][j] * (residual - explained) / variance;
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
