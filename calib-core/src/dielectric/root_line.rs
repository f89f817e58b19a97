//! A soil's own line in the root of permittivity.

use super::malicki::square_of;
use super::{DielectricError, WaterFromPermittivity, root};
use crate::fit::{Points, Regression, Settings, solve};
use crate::quantity::{Estimate, Permittivity, Quantity, Vwc};

/// `theta_v = intercept + slope sqrt(e)`.
///
/// The root of permittivity is nearly proportional to what a unit of volume adds
/// (see [`RefractiveMixture`](super::RefractiveMixture)), so in one soil at one
/// density the line is straight; both its numbers depend on the soil.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RootLine {
    intercept: f64,
    slope: f64,
}

/// A line fitted to cores, with its covariance.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedRootLine {
    /// The line.
    pub line: RootLine,
    /// Covariance of intercept and slope, for uncertainties taken as known.
    pub covariance: [[f64; 2]; 2],
    /// Weighted sum of squares: about the number of pairs less two if the
    /// uncertainties are right.
    pub chi_square: f64,
}

impl RootLine {
    /// A line with its two numbers: theta_v at permittivity zero, and its rise
    /// per unit of the root of permittivity, both m3/m3.
    ///
    /// # Errors
    /// [`DielectricError::LineNotRising`] unless the slope is positive and both
    /// are finite.
    pub fn new(intercept: f64, slope: f64) -> Result<Self, DielectricError> {
        if !(slope > 0.0 && slope.is_finite() && intercept.is_finite()) {
            return Err(DielectricError::LineNotRising { intercept, slope });
        }
        Ok(Self { intercept, slope })
    }

    /// theta_v at permittivity zero, m3/m3.
    pub fn intercept(&self) -> f64 {
        self.intercept
    }

    /// Rise per unit of the root of permittivity, m3/m3.
    pub fn rise(&self) -> f64 {
        self.slope
    }

    /// The line through pairs from cores of one soil, by errors in both
    /// variables with the uncertainties stated; those of theta_v must not be
    /// zero.
    ///
    /// # Errors
    /// [`DielectricError::LineNotDetermined`] for fewer than three pairs, or all
    /// at one permittivity; [`DielectricError::NotANumber`] for an uncertainty
    /// that is none; [`DielectricError::LineNotRising`] if theta_v falls with
    /// permittivity.
    pub fn fit(
        pairs: &[(Estimate<Permittivity>, Estimate<Vwc>)],
    ) -> Result<FittedRootLine, DielectricError> {
        let not_determined = || DielectricError::LineNotDetermined { pairs: pairs.len() };
        let usable = |u: f64| u >= 0.0 && u.is_finite();
        if !pairs
            .iter()
            .all(|(e, t)| usable(e.u) && usable(t.u) && t.u > 0.0)
        {
            return Err(DielectricError::NotANumber {
                what: "the uncertainty of a permittivity or (above zero) of a theta_v",
            });
        }
        if pairs.len() < 3 {
            return Err(not_determined());
        }
        let (x, u_x): (Vec<f64>, Vec<f64>) =
            pairs.iter().map(|(e, _)| (e.value.value(), e.u)).unzip();
        let (y, u_y): (Vec<f64>, Vec<f64>) =
            pairs.iter().map(|(_, t)| (t.value.value(), t.u)).unzip();
        let exact = vec![0.0; x.len()];
        let settings = Settings::default();
        let points = |u_x| Points {
            x: &x,
            u_x,
            y: &y,
            u_y: &u_y,
        };
        // With permittivity taken as exact the problem is linear and any start
        // will do; its answer starts the search with both uncertainties.
        let start = solve(&Line, &points(&exact), &[0.0, 0.1], &settings).parameters;
        let solution = solve(&Line, &points(&u_x), &start, &settings);
        let covariance = match solution.covariance().as_deref() {
            Some([first, second])
                if solution.found_minimum() && solution.conditioning().number < 1e9 =>
            {
                match (&first[..], &second[..]) {
                    ([a, b], [c, d]) => [[*a, *b], [*c, *d]],
                    _ => return Err(not_determined()),
                }
            }
            _ => return Err(not_determined()),
        };
        match solution.parameters[..] {
            [intercept, slope] => Ok(FittedRootLine {
                line: Self::new(intercept, slope)?,
                covariance,
                chi_square: solution.chi_square,
            }),
            _ => Err(not_determined()),
        }
    }
}

/// The line as the solver sees it; the input is the permittivity itself, so that
/// its uncertainty is that of the measurement.
struct Line;

impl Regression for Line {
    fn parameters(&self) -> usize {
        2
    }

    fn inputs(&self) -> usize {
        1
    }

    fn evaluate(
        &self,
        _point: usize,
        x: &[f64],
        p: &[f64],
        by_parameter: &mut [f64],
        by_input: &mut [f64],
    ) -> f64 {
        // A search may try a permittivity below zero on its way: it gets a value
        // that sends it back.
        let root = if x[0] > 0.0 {
            x[0].sqrt()
        } else {
            f64::INFINITY
        };
        by_parameter[0] = 1.0;
        by_parameter[1] = root;
        by_input[0] = 0.5 * p[1] / root;
        p[0] + p[1] * root
    }
}

impl WaterFromPermittivity for RootLine {
    fn theta_v(&self, permittivity: Permittivity) -> Result<Vwc, DielectricError> {
        Ok(Vwc::new(self.intercept + self.slope * root(permittivity))?)
    }

    fn permittivity(&self, theta_v: Vwc) -> Result<Permittivity, DielectricError> {
        square_of((theta_v.value() - self.intercept) / self.slope, theta_v)
    }

    fn slope(&self, permittivity: Permittivity) -> f64 {
        0.5 * self.slope / root(permittivity)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pair(permittivity: f64, theta_v: f64) -> (Estimate<Permittivity>, Estimate<Vwc>) {
        (
            Estimate::new(Permittivity::new(permittivity).unwrap(), 0.2),
            Estimate::new(Vwc::new(theta_v).unwrap(), 0.01),
        )
    }

    /// A little off the line, turn about.
    fn pairs() -> [(Estimate<Permittivity>, Estimate<Vwc>); 4] {
        [(4.0, 1.0), (9.0, -1.0), (16.0, -1.0), (25.0, 1.0)]
            .map(|(e, off): (f64, f64)| pair(e, -0.16 + 0.11 * e.sqrt() + 1e-4 * off))
    }

    #[test]
    fn exact_pairs_give_their_line_back() {
        let exact = [4.0, 9.0, 16.0].map(|e: f64| pair(e, -0.16 + 0.11 * e.sqrt()));
        let fitted = RootLine::fit(&exact).unwrap();
        assert!((fitted.line.intercept() + 0.16).abs() < 1e-10);
        assert!((fitted.line.rise() - 0.11).abs() < 1e-10);
    }

    #[test]
    fn cores_give_the_line_they_lie_along() {
        let fitted = RootLine::fit(&pairs()).unwrap();
        assert!((fitted.line.intercept() + 0.16).abs() < 1e-4);
        assert!((fitted.line.rise() - 0.11).abs() < 1e-5);
        assert!(fitted.chi_square < 1e-3 && fitted.chi_square > 0.0);
    }

    /// Effective variances by hand: with the permittivity's uncertainty in it the
    /// covariance is that of weighted least squares with `u_y^2 + (f' u_x)^2`.
    #[test]
    fn the_covariance_counts_both_uncertainties() {
        let fitted = RootLine::fit(&pairs()).unwrap();
        let (mut s0, mut s1, mut s2) = (0.0, 0.0, 0.0);
        for (e, _) in pairs() {
            let root = root(e.value);
            let weight = 1.0 / (0.01_f64.powi(2) + (0.5 * 0.11 / root * 0.2).powi(2));
            s0 += weight;
            s1 += weight * root;
            s2 += weight * root * root;
        }
        let determinant = s0 * s2 - s1 * s1;
        let expected = [
            [s2 / determinant, -s1 / determinant],
            [-s1 / determinant, s0 / determinant],
        ];
        for (row, expected) in fitted.covariance.iter().zip(expected) {
            for (found, expected) in row.iter().zip(expected) {
                // The adjusted permittivities differ from the given ones a little.
                assert!((found / expected - 1.0).abs() < 1e-3, "{found} {expected}");
            }
        }
    }

    #[test]
    fn pairs_that_fix_no_line_are_refused() {
        let two = [pair(4.0, 0.06), pair(9.0, 0.17)];
        assert_eq!(
            RootLine::fit(&two),
            Err(DielectricError::LineNotDetermined { pairs: 2 })
        );
        let one_place = [pair(9.0, 0.15), pair(9.0, 0.16), pair(9.0, 0.17)];
        assert_eq!(
            RootLine::fit(&one_place),
            Err(DielectricError::LineNotDetermined { pairs: 3 })
        );
        let falling = [pair(4.0, 0.31), pair(9.0, 0.19), pair(16.0, 0.11)];
        assert!(matches!(
            RootLine::fit(&falling),
            Err(DielectricError::LineNotRising { .. })
        ));
        let mut no_uncertainty = [4.0, 9.0, 16.0].map(|e: f64| pair(e, 0.1 * e.sqrt()));
        no_uncertainty[1].1.u = f64::NAN;
        assert!(matches!(
            RootLine::fit(&no_uncertainty),
            Err(DielectricError::NotANumber { .. })
        ));
    }
}
