//! `theta_v = a + b z + c z^2 + d z^3`: the cubic.

use super::start::linear_start;
use super::{CurveError, CurveKind, CurveModel, StartPoint};

/// The cubic polynomial in the dimensionless count.
pub(super) struct Cubic;

/// The inverse is left to the search: Cardano's formula loses digits where two
/// roots are close, which is where a calibration nearly turns.
impl CurveModel for Cubic {
    fn kind(&self) -> CurveKind {
        CurveKind::Cubic
    }

    fn parameter_names(&self) -> &'static [&'static str] {
        &["a", "b", "c", "d"]
    }

    fn equation(&self) -> &'static str {
        "theta_v = a + b z + c z^2 + d z^3"
    }

    fn value(&self, z: f64, p: &[f64]) -> f64 {
        p[0] + z * (p[1] + z * (p[2] + z * p[3]))
    }

    fn slope(&self, z: f64, p: &[f64]) -> f64 {
        p[1] + z * (2.0 * p[2] + z * 3.0 * p[3])
    }

    fn gradient(&self, z: f64, _p: &[f64], out: &mut [f64]) {
        out[0] = 1.0;
        out[1] = z;
        out[2] = z * z;
        out[3] = z * z * z;
    }

    /// Real roots of the slope `b + 2 c z + 3 d z^2`, by the form of the
    /// quadratic formula that does not cancel. A double root is an inflection,
    /// not a turn.
    fn turning_points(&self, p: &[f64]) -> [Option<f64>; 2] {
        let (b, c, d3) = (p[1], p[2], 3.0 * p[3]);
        let discriminant = c * c - b * d3;
        if discriminant <= 0.0 {
            return [None, None];
        }
        let q = -(c + c.signum() * discriminant.sqrt());
        let mut roots = [q / d3, b / q];
        roots.sort_by(f64::total_cmp);
        roots.map(|z| z.is_finite().then_some(z))
    }

    fn start(&self, points: &[StartPoint]) -> Result<Vec<f64>, CurveError> {
        Ok(linear_start(self, points, &[0.0; 4], 4)?.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cubic_turns_where_its_slope_is_zero() {
        // slope (z - 0.5)(z + 2) = z^2 + 1.5 z - 1
        let p = [0.0, -1.0, 0.75, 1.0 / 3.0];
        let [low, high] = Cubic.turning_points(&p);
        assert!((low.unwrap() + 2.0).abs() < 1e-12);
        assert!((high.unwrap() - 0.5).abs() < 1e-12);
    }

    #[test]
    fn a_cubic_without_its_cubic_term_turns_once() {
        let [one, other] = Cubic.turning_points(&[0.0, -1.0, 1.0, 0.0]);
        let found: Vec<f64> = [one, other].into_iter().flatten().collect();
        assert_eq!(found.len(), 1);
        assert!((found[0] - 0.5).abs() < 1e-12);
    }

    #[test]
    fn an_inflection_with_zero_slope_is_not_a_turn() {
        assert_eq!(Cubic.turning_points(&[0.0, 0.0, 0.0, 1.0]), [None, None]);
    }
}
