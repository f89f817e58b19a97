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
//! parameters squared.
//!
//! Marquardt damping acts on `p` in units of the columns' lengths. What is
//! lowered is Q with every `d_i` at its best for the `p` tried (variable
//! projection: Golub and Pereyra 1973, SIAM J. Numer. Anal. 10:413; reference
//! recalled from memory): then every damped step of `p` leads downhill at first,
//! which a step of `p` and `d` together does not where the inputs are much less
//! certain than the outputs.

use super::linearised::{Linearised, Measured, Precisions};
use super::problem::{MAX_INPUTS, Points, Regression};
use super::solution::{Ending, Solution};
use super::triangle::{Block, MAX_PARAMETERS, Triangle};

/// How long and how finely the solver works.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Most steps tried, accepted or not.
    pub max_steps: usize,
    /// A step whose every component is below this share of the parameter's size
    /// (or of its standard uncertainty) ends the search.
    pub tolerance: f64,
    /// Whether the search goes on to the last digits the arithmetic has. Without,
    /// it ends within 1e-6 or so of a standard uncertainty.
    pub to_last_digits: bool,
    /// Damping of the first step, as a share of each parameter's own curvature: the
    /// smaller, the more the linear model at the start is trusted. Positive.
    pub first_damping: f64,
}

impl Settings {
    /// For fits that are only a step to another, or one of thousands.
    pub fn quick() -> Self {
        Self {
            to_last_digits: false,
            ..Self::default()
        }
    }
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            max_steps: 500,
            tolerance: 1e-10,
            to_last_digits: true,
            first_damping: 1e-3,
        }
    }
}

/// Share of Q from which the linear model promises too little for Q to tell better
/// from worse.
const CLOSE: f64 = 1e-10;

/// Share of Q from which a quick search need not take another step: within 1e-6 or so
/// of a standard uncertainty.
const THERE: f64 = 1e-14;

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
        && points.y.iter().chain(points.x).all(|v| v.is_finite())
        && points.u_y.iter().all(|u| *u > 0.0 && u.is_finite())
        && points.u_x.iter().all(|u| *u >= 0.0 && u.is_finite());
    if !fits_together {
        return Solution::nowhere(start, n, inputs);
    }
    match inputs {
        // A model without inputs is given one that is exact and that it never
        // sees.
        0 => {
            let none = vec![0.0; n];
            let points = Points {
                x: &none,
                u_x: &none,
                ..*points
            };
            Search::<1>::new().solution(model, &Measured::of(&points), start, settings)
        }
        1 => Search::<1>::new().solution(model, &Measured::of(points), start, settings),
        2 => Search::<2>::new().solution(model, &Measured::of(points), start, settings),
        _ => Search::<MAX_INPUTS>::new().solution(model, &Measured::of(points), start, settings),
    }
}

/// Least share of the damping that a good step leaves.
const SHRINKAGE: f64 = 0.1;

/// The same where the step gained what the linear model promised, but for so much:
/// there the problem is as good as linear, and damping only delays.
const SHRINKAGE_WHERE_LINEAR: f64 = 0.01;
const LINEAR: f64 = 0.02;

/// Room for a search among models of `M` inputs, to be used again where there are
/// thousands: nothing is allocated for problems no larger than the first.
pub(super) struct Search<const M: usize> {
    p: Vec<f64>,
    trial: Vec<f64>,
    here: Linearised<M>,
    there: Linearised<M>,
    exact: Vec<[f64; M]>,
    precisions: Precisions<M>,
    block: Block,
}

/// How a search ended, and the Gauss-Newton matrix's triangle there.
pub(super) struct Found {
    ending: Ending,
    steps: usize,
    triangle: Triangle,
}

impl Found {
    /// Whether the search ended at a minimum, with a covariance.
    pub(super) fn is_minimum(&self) -> bool {
        self.ending == Ending::Converged && self.triangle.is_regular()
    }

    /// Sine of the least angle between a parameter's column of the design and
    /// those before it: as good as zero where the points do not determine it.
    pub(super) fn least_sine(&self) -> f64 {
        self.triangle.least_sine()
    }
}

impl<const M: usize> Search<M> {
    pub(super) fn new() -> Self {
        Self {
            p: Vec::new(),
            trial: Vec::new(),
            here: Linearised::new(),
            there: Linearised::new(),
            exact: Vec::new(),
            precisions: Precisions::default(),
            block: Block::new(),
        }
    }

    /// The parameters at the end of the last search.
    pub(super) fn parameters(&self) -> &[f64] {
        &self.p
    }

    fn solution<R: Regression + ?Sized>(
        mut self,
        model: &R,
        points: &Measured<'_, M>,
        start: &[f64],
        settings: &Settings,
    ) -> Solution {
        let found = self.run(model, points, start, settings);
        if found.ending == Ending::StartNotFinite {
            return Solution::nowhere(start, points.len(), model.inputs());
        }
        let inputs = model.inputs().min(M);
        Solution {
            ending: found.ending,
            parameters: self.p,
            chi_square: self.here.q,
            adjustments: self
                .here
                .d
                .iter()
                .flat_map(|d| &d[..inputs])
                .copied()
                .collect(),
            residuals: self.here.residuals,
            variances: self.here.variances,
            gradients: self.here.g,
            steps: found.steps,
            triangle: found.triangle,
        }
    }

    /// The search itself. Numbers must be finite and uncertainties positive where
    /// [`solve`] asks for it.
    pub(super) fn run<R: Regression + ?Sized>(
        &mut self,
        model: &R,
        points: &Measured<'_, M>,
        start: &[f64],
        settings: &Settings,
    ) -> Found {
        let (n, parameters) = (points.len(), start.len());
        let Self {
            p,
            trial,
            here,
            there,
            exact,
            precisions,
            block,
        } = self;
        p.clear();
        p.extend_from_slice(start);
        trial.clone_from(p);
        here.lay_out(n, parameters);
        there.lay_out(n, parameters);
        exact.clear();
        exact.resize(n, [0.0; M]);
        precisions.take(points);
        let known = (points, &*precisions);
        here.evaluate(model, known, p, exact);
        if !here.q.is_finite() {
            return Found {
                ending: Ending::StartNotFinite,
                steps: 0,
                triangle: Triangle::new(parameters),
            };
        }
        let mut lengths = [0.0_f64; MAX_PARAMETERS];
        let (mut damping, mut growth) = (settings.first_damping, 2.0);
        let mut steps = 0;
        let mut ending = Ending::StepLimit;

        'search: while steps < settings.max_steps {
            let triangle = here.triangle(block);
            for (j, length) in lengths.iter_mut().enumerate().take(parameters) {
                *length = length.max(triangle.column_norm(j));
            }
            let rounding = here.rounding(points, p);
            if !settings.to_last_digits && here.q - triangle.rest() <= THERE * here.q + rounding {
                ending = Ending::Converged;
                break;
            }
            loop {
                steps += 1;
                let mut gained = false;
                if let Some(step) =
                    damped(&triangle, &lengths[..parameters], damping, block).solve()
                {
                    for k in 0..parameters {
                        trial[k] = p[k] + step[k];
                    }
                    here.move_adjustments(points, &step[..parameters], &mut there.d);
                    there.evaluate(model, known, trial, &here.d);
                    let promised = here.q - triangle.sum_of_squares_at(&step);
                    let gain = here.q - there.q;
                    let negligible = (0..parameters).all(|k| {
                        step[k].abs()
                            <= settings.tolerance
                                * p[k].abs().max(1.0 / lengths[k].max(f64::MIN_POSITIVE))
                    });
                    // Close to the minimum Q no longer tells better from worse.
                    let close = here.q - triangle.rest() <= CLOSE * here.q + rounding;
                    if gain > 0.0 || (close && gain >= -rounding) {
                        gained = true;
                        let quality = if promised > rounding {
                            gain / promised
                        } else {
                            1.0
                        };
                        std::mem::swap(here, there);
                        std::mem::swap(p, trial);
                        let least = if (quality - 1.0).abs() < LINEAR {
                            SHRINKAGE_WHERE_LINEAR
                        } else {
                            SHRINKAGE
                        };
                        damping *= f64::max(least, 1.0 - (2.0 * quality - 1.0).powi(3)).min(2.0);
                        damping = damping.max(1e-16);
                        growth = 2.0;
                        // The last digits are left to the polish where it is quick.
                        let enough = !settings.to_last_digits
                            || negligible
                            || promised <= rounding
                            || (quality - 1.0).abs() < LINEAR;
                        if close && enough {
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
        if settings.to_last_digits {
            self.polish(model, points, &lengths);
        }
        let Self { p, here, block, .. } = self;
        let triangle = here.triangle(block);
        // However the search ended, the last word has the linear model here.
        let open = here.q - triangle.rest();
        let settled = open <= 1e-8 * here.q + here.rounding(points, p);
        Found {
            ending: match ending {
                Ending::Converged if !settled => Ending::NoFurtherProgress,
                Ending::NoFurtherProgress | Ending::StepLimit if settled => Ending::Converged,
                _ => ending,
            },
            steps,
            triangle,
        }
    }

    /// Undamped steps for the last digits: close to the minimum, Q no longer tells
    /// better from worse (it changes with the square of the distance), but the
    /// steps still shrink. Goes on while they do.
    ///
    /// The steps come from the corrected seminormal equations: the gradient is
    /// summed with compensation and only the matrix is taken from the triangle, so
    /// the solution is as good as the residuals themselves (Bjorck 1987, Linear
    /// Algebra Appl. 88/89:31; reference recalled from memory). One triangle does for
    /// all the steps: a matrix a little off makes them only a little less quick.
    fn polish<R: Regression + ?Sized>(
        &mut self,
        model: &R,
        points: &Measured<'_, M>,
        lengths: &[f64; MAX_PARAMETERS],
    ) {
        let Self {
            p,
            trial,
            here,
            there,
            precisions,
            block,
            ..
        } = self;
        let known = (points, &*precisions);
        let parameters = p.len();
        let mut last = f64::INFINITY;
        let triangle = here.triangle(block);
        for _ in 0..60 {
            let Some(step) = triangle.solve_normal(&here.gradient(points)) else {
                return;
            };
            let size = (0..parameters)
                .map(|k| (step[k] * lengths[k]).powi(2))
                .sum::<f64>()
                .sqrt();
            let settled = step
                .iter()
                .zip(p.iter())
                .all(|(s, p)| s.abs() <= NEGLIGIBLE * p.abs());
            if size >= 0.9 * last || settled {
                return;
            }
            for k in 0..parameters {
                trial[k] = p[k] + step[k];
            }
            here.move_adjustments(points, &step[..parameters], &mut there.d);
            there.evaluate(model, known, trial, &here.d);
            // Never NaN: a Q that is no number is held as infinite.
            if there.q > here.q * (1.0 + 1e-9) {
                return;
            }
            std::mem::swap(here, there);
            std::mem::swap(p, trial);
            last = size;
        }
    }
}

/// The triangle with Marquardt's rows added.
fn damped(triangle: &Triangle, lengths: &[f64], damping: f64, block: &mut Block) -> Triangle {
    let mut damped = triangle.clone();
    let root = damping.sqrt();
    for (j, length) in lengths.iter().enumerate() {
        let mut row = [0.0; MAX_PARAMETERS];
        row[j] = *length;
        block.push(&row[..lengths.len()], 0.0, root);
    }
    damped.absorb(block);
    damped
}

/// Share of a parameter below which a step is not worth taking.
const NEGLIGIBLE: f64 = 1e-12;

#[cfg(test)]
mod tests {
    use super::*;

    /// y = p0 + p1 x, or no value at all away from p = (0, 0) if `brittle`.
    struct Line {
        brittle: bool,
    }

    impl Regression for Line {
        fn parameters(&self) -> usize {
            2
        }
        fn inputs(&self) -> usize {
            1
        }
        fn evaluate(&self, _: usize, x: &[f64], p: &[f64], g: &mut [f64], v: &mut [f64]) -> f64 {
            g.copy_from_slice(&[1.0, x[0]]);
            v[0] = p[1];
            if self.brittle && p != [0.0, 0.0] {
                f64::NAN
            } else {
                p[0] + p[1] * x[0]
            }
        }
    }

    const LINE: Line = Line { brittle: false };
    const X: [f64; 6] = [-1.0, -0.7, -0.2, 0.3, 0.5, 1.0];
    const Y: [f64; 6] = [0.42, 0.31, 0.29, 0.21, 0.20, 0.11];

    fn fit(model: &Line, y: &[f64], u_y: f64, u_x: f64) -> Solution {
        let points = Points {
            y,
            u_y: &[u_y; 6],
            x: &X,
            u_x: &[u_x; 6],
        };
        solve(model, &points, &[0.0, 0.0], &Settings::default())
    }

    #[test]
    fn inputs_far_less_certain_than_outputs_still_lead_downhill() {
        // With outputs all but exact this is the regression of x on y, turned
        // round.
        let n = Y.len() as f64;
        let (mean_x, mean_y) = (X.iter().sum::<f64>() / n, Y.iter().sum::<f64>() / n);
        let (mut xy, mut yy) = (0.0, 0.0);
        for (x, y) in X.iter().zip(&Y) {
            xy += (x - mean_x) * (y - mean_y);
            yy += (y - mean_y).powi(2);
        }
        let slope = yy / xy;
        for u_y in [1e-6, 1e-9] {
            let found = fit(&LINE, &Y, u_y, 0.5);
            assert_eq!(found.ending, Ending::Converged);
            assert!(found.steps < 60, "{}", found.steps);
            assert!((found.parameters[1] / slope - 1.0).abs() < 1e-9);
            assert!((found.parameters[0] - (mean_y - slope * mean_x)).abs() < 1e-9);
        }
    }

    #[test]
    fn points_on_the_line_itself_are_a_minimum() {
        let exact = X.map(|x| 0.25 - 0.12 * x);
        for (u_y, u_x) in [(0.002, 0.0), (0.002, 0.005), (1e-5, 0.0), (1e-9, 0.3)] {
            let found = fit(&LINE, &exact, u_y, u_x);
            assert!(found.found_minimum(), "{u_y} {u_x}: {:?}", found.ending);
            assert!(found.steps < 30, "{}", found.steps);
            assert!((found.parameters[0] - 0.25).abs() < 1e-13);
            assert!((found.parameters[1] + 0.12).abs() < 1e-13);
        }
    }

    #[test]
    fn a_start_that_cannot_be_left_is_not_called_a_minimum() {
        let found = fit(&Line { brittle: true }, &Y, 0.01, 0.0);
        assert_eq!(found.ending, Ending::NoFurtherProgress);
        assert!(!found.found_minimum());
    }

    #[test]
    fn numbers_that_are_none_and_uncertainties_that_cannot_be_are_refused() {
        let mut hole = Y;
        hole[2] = f64::NAN;
        assert_eq!(fit(&LINE, &hole, 0.1, 0.1).ending, Ending::StartNotFinite);
        for (u_y, u_x) in [
            (0.1, f64::NAN),
            (0.1, f64::INFINITY),
            (0.1, -0.1),
            (0.0, 0.1),
            (f64::NAN, 0.1),
            (f64::INFINITY, 0.1),
        ] {
            let found = fit(&LINE, &Y, u_y, u_x);
            assert_eq!(found.ending, Ending::StartNotFinite, "{u_y} {u_x}");
        }
    }

    struct Constant;

    impl Regression for Constant {
        fn parameters(&self) -> usize {
            0
        }
        fn inputs(&self) -> usize {
            0
        }
        fn evaluate(&self, _: usize, _: &[f64], _: &[f64], _: &mut [f64], _: &mut [f64]) -> f64 {
            1.0
        }
    }

    #[test]
    fn nothing_to_fit_or_nothing_to_fit_to_does_not_panic() {
        let none = Points {
            y: &[],
            u_y: &[],
            x: &[],
            u_x: &[],
        };
        let settings = Settings::default();
        assert!(!solve(&LINE, &none, &[0.0, 0.0], &settings).found_minimum());
        let one = Points {
            y: &[1.5],
            u_y: &[0.5],
            ..none
        };
        let found = solve(&Constant, &one, &[], &settings);
        assert_eq!(found.chi_square, 1.0);
    }
}
