//! A model and its derivatives at one trial of the parameters, with every point's
//! inputs moved to where they fit best.

use super::problem::{Points, Regression};
use super::triangle::{Block, MAX_PARAMETERS, Triangle};

/// Most steps in which the adjustments of a point are moved to their best.
const SETTLING_STEPS: usize = 20;

/// Share of a point's part of Q that another step of its adjustments may promise
/// and not be taken. The reduced residual, which the parameters follow, is off by
/// the square of what the adjustments are.
const SETTLED: f64 = 1e-12;

/// The data with the inputs of a point side by side.
pub(super) struct Measured<'a, const M: usize> {
    y: &'a [f64],
    u_y: &'a [f64],
    x: &'a [[f64; M]],
    u_x: &'a [[f64; M]],
}

/// One over each uncertainty, worked out once a search: divisions are slow.
#[derive(Default)]
pub(super) struct Precisions<const M: usize> {
    y: Vec<f64>,
    /// Zero where the input is exact.
    x: Vec<[f64; M]>,
}

impl<const M: usize> Precisions<M> {
    /// Of these points.
    pub(super) fn take(&mut self, points: &Measured<'_, M>) {
        self.y.clear();
        self.y.extend(points.u_y.iter().map(|u| 1.0 / u));
        self.x.clear();
        let inverse = |u: f64| if u > 0.0 { 1.0 / u } else { 0.0 };
        self.x.extend(points.u_x.iter().map(|u| u.map(inverse)));
    }
}

impl<'a, const M: usize> Measured<'a, M> {
    /// The view of `points`, whose inputs are `M` each.
    pub(super) fn of(points: &Points<'a>) -> Self {
        Self {
            y: points.y,
            u_y: points.u_y,
            x: points.x.as_chunks().0,
            u_x: points.u_x.as_chunks().0,
        }
    }

    pub(super) fn len(&self) -> usize {
        self.y.len()
    }
}

/// The model at one point, adjusted by `d`.
#[derive(Clone, Copy)]
struct Spot<const M: usize> {
    d: [f64; M],
    /// Derivatives by the inputs.
    v: [f64; M],
    f: f64,
    /// Part of the sum of squares.
    q: f64,
}

/// The state at one trial: linearisation of every point.
pub(super) struct Linearised<const M: usize> {
    parameters: usize,
    /// Adjustments of the inputs.
    pub(super) d: Vec<[f64; M]>,
    /// Values of the model.
    f: Vec<f64>,
    /// Its derivatives by the parameters, point after point.
    pub(super) g: Vec<f64>,
    /// Its derivatives by the inputs.
    v: Vec<[f64; M]>,
    /// Effective variance of each point.
    pub(super) variances: Vec<f64>,
    /// Residual of each point, its inputs given back their adjustment.
    pub(super) residuals: Vec<f64>,
    /// The sum of squares.
    pub(super) q: f64,
}

impl<const M: usize> Linearised<M> {
    /// Without points.
    pub(super) fn new() -> Self {
        Self {
            parameters: 0,
            d: Vec::new(),
            f: Vec::new(),
            g: Vec::new(),
            v: Vec::new(),
            variances: Vec::new(),
            residuals: Vec::new(),
            q: f64::INFINITY,
        }
    }

    /// Makes room for so many points and parameters, nothing adjusted.
    pub(super) fn lay_out(&mut self, points: usize, parameters: usize) {
        self.parameters = parameters;
        self.d.clear();
        self.d.resize(points, [0.0; M]);
        self.v.resize(points, [0.0; M]);
        self.g.resize(points * parameters, 0.0);
        for values in [&mut self.f, &mut self.variances, &mut self.residuals] {
            values.resize(points, 0.0);
        }
        self.q = f64::INFINITY;
    }

    /// The derivatives by the parameters, point by point.
    fn gradients(&self) -> impl Iterator<Item = &[f64]> {
        let size = self.parameters;
        (0..self.f.len()).map(move |i| &self.g[i * size..(i + 1) * size])
    }

    /// Evaluates model and derivatives at `p`, with every adjustment moved from
    /// where it is to its best. Where the model has no value there, the search
    /// starts from `fallback` instead.
    pub(super) fn evaluate<R: Regression + ?Sized>(
        &mut self,
        model: &R,
        (points, precisions): (&Measured<'_, M>, &Precisions<M>),
        p: &[f64],
        fallback: &[[f64; M]],
    ) {
        let mut q = 0.0;
        for (i, fallback) in fallback.iter().enumerate() {
            let g = &mut self.g[i * self.parameters..(i + 1) * self.parameters];
            let mut at = |d: [f64; M]| points.evaluate(model, precisions, p, i, d, g);
            let mut spot = at(self.d[i]);
            if !spot.q.is_finite() {
                spot = at(*fallback);
            }
            let (spot, variance, residual) = points.settle(i, spot, at);
            (self.d[i], self.v[i], self.f[i]) = (spot.d, spot.v, spot.f);
            (self.variances[i], self.residuals[i]) = (variance, residual);
            q += spot.q;
        }
        self.q = if q.is_finite() { q } else { f64::INFINITY };
    }

    /// How uncertain rounding makes Q: a few parts in 1e15 of it, and what a
    /// last digit of the values that go into each residual is worth, which is
    /// all that counts where the data lie on the curve.
    pub(super) fn rounding(&self, points: &Measured<'_, M>, p: &[f64]) -> f64 {
        let mut floor = 0.0;
        for (i, gradient) in self.gradients().enumerate() {
            let mut size = points.y[i].abs();
            for (g, value) in gradient.iter().zip(p) {
                size += (g * value).abs();
            }
            for (v, x) in self.v[i].iter().zip(&points.x[i]) {
                size += (v * x).abs();
            }
            floor += (4.0 * f64::EPSILON * size / points.u_y[i]).powi(2);
        }
        1e-14 * self.q + floor
    }

    /// The weighted design, reflected into a triangle; `block` is scratch.
    pub(super) fn triangle(&self, block: &mut Block) -> Triangle {
        let mut triangle = Triangle::new(self.parameters);
        let targets = self.variances.iter().zip(&self.residuals);
        for (gradient, (variance, residual)) in self.gradients().zip(targets) {
            block.push(gradient, *residual, 1.0 / variance.sqrt());
            if block.is_full() {
                triangle.absorb(block);
            }
        }
        triangle.absorb(block);
        triangle
    }

    /// `sum_i G_i r_i / S_i` with products and sums compensated for rounding
    /// (the dot product of Ogita, Rump and Oishi 2005, SIAM J. Sci. Comput.
    /// 26:1955; reference recalled from memory), the residual itself kept to twice
    /// the precision, since where residuals are large it is itself rounded.
    pub(super) fn gradient(&self, points: &Measured<'_, M>) -> [f64; MAX_PARAMETERS] {
        let mut sums = [Compensated::default(); MAX_PARAMETERS];
        for (i, gradient) in self.gradients().enumerate() {
            let shift = dot(&self.v[i], &self.d[i]);
            let (difference, first) = exact_sum(points.y[i], -self.f[i]);
            let (residual, second) = exact_sum(difference, shift);
            let weight = 1.0 / self.variances[i];
            for (sum, g) in sums.iter_mut().zip(gradient) {
                let weighted = g * weight;
                sum.add_product(weighted, residual);
                sum.low += weighted * (first + second);
            }
        }
        sums.map(|sum| sum.high + sum.low)
    }

    /// Where the linear model has the adjustments after a step of the
    /// parameters.
    pub(super) fn move_adjustments(
        &self,
        points: &Measured<'_, M>,
        step: &[f64],
        out: &mut [[f64; M]],
    ) {
        for (i, gradient) in self.gradients().enumerate() {
            let explained: f64 = gradient.iter().zip(step).map(|(g, s)| g * s).sum();
            let left = (self.residuals[i] - explained) / self.variances[i];
            out[i] = points.adjusted(i, &self.v[i], left);
        }
    }
}

impl<const M: usize> Measured<'_, M> {
    /// The model at point `i`, its inputs adjusted by `d`.
    #[inline]
    fn evaluate<R: Regression + ?Sized>(
        &self,
        model: &R,
        precisions: &Precisions<M>,
        p: &[f64],
        i: usize,
        d: [f64; M],
        by_parameter: &mut [f64],
    ) -> Spot<M> {
        let (mut x, mut v, mut q) = (self.x[i], [0.0; M], 0.0);
        for ((x, d), precision) in x.iter_mut().zip(&d).zip(&precisions.x[i]) {
            *x += d;
            q += (d * precision).powi(2);
        }
        let inputs = model.inputs().min(M);
        let f = model.evaluate(i, &x[..inputs], p, by_parameter, &mut v[..inputs]);
        q += ((self.y[i] - f) * precisions.y[i]).powi(2);
        Spot { d, v, f, q }
    }

    /// Moves the adjustments of point `i` to where its part of Q is least:
    /// Gauss-Newton steps, each halved until it gains. `at` evaluates the point,
    /// and has done so last where the answer is; effective variance and residual
    /// there come with it.
    #[inline]
    fn settle(
        &self,
        i: usize,
        mut spot: Spot<M>,
        mut at: impl FnMut([f64; M]) -> Spot<M>,
    ) -> (Spot<M>, f64, f64) {
        let (mut variance, mut residual) = self.reduced(i, &spot);
        for _ in 0..SETTLING_STEPS {
            let left = residual / variance;
            let promised = spot.q - residual * left;
            if promised <= SETTLED * spot.q || promised.is_nan() {
                break;
            }
            let full = self.adjusted(i, &spot.v, left);
            let mut share = 1.0;
            let next = loop {
                let mut d = spot.d;
                for j in 0..M {
                    d[j] += share * (full[j] - d[j]);
                }
                let tried = at(d);
                if tried.q < spot.q {
                    break Some(tried);
                }
                share *= 0.5;
                if share <= 1e-3 {
                    break None;
                }
            };
            match next {
                Some(next) => spot = next,
                None => {
                    spot = at(spot.d);
                    (variance, residual) = self.reduced(i, &spot);
                    break;
                }
            }
            (variance, residual) = self.reduced(i, &spot);
        }
        (spot, variance, residual)
    }

    /// Effective variance and residual of point `i`.
    fn reduced(&self, i: usize, spot: &Spot<M>) -> (f64, f64) {
        let mut variance = self.u_y[i] * self.u_y[i];
        for (v, u) in spot.v.iter().zip(&self.u_x[i]) {
            variance += (v * u).powi(2);
        }
        let residual = self.y[i] - spot.f + dot(&spot.v, &spot.d);
        (variance, residual)
    }

    /// The best adjustments of point `i` where `left` is its residual over its
    /// effective variance.
    fn adjusted(&self, i: usize, v: &[f64; M], left: f64) -> [f64; M] {
        let mut d = self.u_x[i];
        for (d, v) in d.iter_mut().zip(v) {
            *d = *d * *d * v * left;
        }
        d
    }
}

fn dot<const M: usize>(a: &[f64; M], b: &[f64; M]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
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
        let (sum, lost) = exact_sum(self.high, product);
        self.high = sum;
        self.low += product_error(a, b, product) + lost;
    }
}

/// `a + b` as rounded, and what rounding took off it (Knuth 1969, The Art of
/// Computer Programming, vol. 2; recalled from memory).
fn exact_sum(a: f64, b: f64) -> (f64, f64) {
    let sum = a + b;
    let back = sum - a;
    (sum, (a - (sum - back)) + (b - back))
}

/// What rounding took off `product = a b` (Dekker 1971, Numer. Math. 18:224;
/// recalled from memory): as good as a fused multiplication, which not every
/// processor the program is built for has; nothing where halves overflow.
fn product_error(a: f64, b: f64, product: f64) -> f64 {
    let halves = |x: f64| {
        let spread = 134_217_729.0 * x; // 2^27 + 1
        let high = spread - (spread - x);
        (high, x - high)
    };
    let ((a_high, a_low), (b_high, b_low)) = (halves(a), halves(b));
    let error = a_low * b_low - (((product - a_high * b_high) - a_low * b_high) - a_high * b_low);
    if error.is_finite() { error } else { 0.0 }
}
