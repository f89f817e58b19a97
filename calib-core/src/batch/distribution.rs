//! Probabilities and integrals that statements about a batch are made from.

use statrs::distribution::{ContinuousCDF, Normal};
use statrs::function::gamma::{checked_gamma_lr, checked_gamma_ur};

/// Degrees of freedom from which the chi-square distribution is taken for the cube
/// of a normal one (Wilson and Hilferty 1931; recalled from memory): series get long
/// there, and the difference is below 1e-8.
const MANY: f64 = 2e5;

/// Normal scale on which a chi-square variable of many degrees of freedom lies.
fn cube_root_scale(freedom: f64, x: f64) -> f64 {
    let spread = 2.0 / (9.0 * freedom);
    ((x / freedom).cbrt() - 1.0 + spread) / spread.sqrt()
}

/// Probability that chi-square exceeds `x`.
pub(super) fn chi_square_upper(freedom: f64, x: f64) -> f64 {
    if x <= 0.0 {
        1.0
    } else if x == f64::INFINITY {
        0.0
    } else if freedom > MANY {
        normal_upper(cube_root_scale(freedom, x))
    } else {
        checked_gamma_ur(freedom / 2.0, x / 2.0).unwrap_or(0.0)
    }
}

/// Probability that chi-square stays below `x`.
pub(super) fn chi_square_lower(freedom: f64, x: f64) -> f64 {
    if x <= 0.0 {
        0.0
    } else if x == f64::INFINITY {
        1.0
    } else if freedom > MANY {
        normal_upper(-cube_root_scale(freedom, x))
    } else {
        checked_gamma_lr(freedom / 2.0, x / 2.0).unwrap_or(1.0)
    }
}

/// Value that chi-square exceeds with probability `upper`.
pub(super) fn chi_square_point(freedom: f64, upper: f64) -> f64 {
    if upper <= 0.0 {
        return f64::INFINITY;
    }
    if upper >= 1.0 {
        return 0.0;
    }
    let (mut low, mut high) = (f64::MIN_POSITIVE.ln(), freedom.ln());
    while chi_square_upper(freedom, high.exp()) > upper {
        high += 1.0;
    }
    while high - low > f64::EPSILON * (1.0 + high.abs()) {
        let middle = low.midpoint(high);
        if middle <= low || middle >= high {
            break;
        }
        if chi_square_upper(freedom, middle.exp()) > upper {
            low = middle;
        } else {
            high = middle;
        }
    }
    low.midpoint(high).exp()
}

/// Probability that a standard normal variable exceeds `x`.
pub(super) fn normal_upper(x: f64) -> f64 {
    Normal::standard().sf(x)
}

/// Density of a standard normal variable.
pub(super) fn normal_density(x: f64) -> f64 {
    const PER_ROOT_TWO_PI: f64 =
        std::f64::consts::FRAC_2_SQRT_PI * std::f64::consts::FRAC_1_SQRT_2 / 2.0;
    PER_ROOT_TWO_PI * (-0.5 * x * x).exp()
}

/// Value that a standard normal variable exceeds with probability `upper`.
pub(super) fn normal_point(upper: f64) -> f64 {
    if upper < 0.5 {
        -Normal::standard().inverse_cdf(upper)
    } else {
        Normal::standard().inverse_cdf(1.0 - upper)
    }
}

/// Places and weights of Gauss's rule of ten points on -1 to 1, the half above 0
/// (Abramowitz and Stegun, Table 25.4; recalled from memory, and tested).
const GAUSS: [(f64, f64); 5] = [
    (0.148_874_338_981_631_21, 0.295_524_224_714_752_87),
    (0.433_395_394_129_247_2, 0.269_266_719_309_996_36),
    (0.679_409_568_299_024_4, 0.219_086_362_515_982_04),
    (0.865_063_366_688_984_5, 0.149_451_349_150_580_6),
    (0.973_906_528_517_171_7, 0.066_671_344_308_688_14),
];

/// The places of that rule between `low` and `high`, with their weights.
pub(super) fn gauss(low: f64, high: f64) -> impl Iterator<Item = (f64, f64)> {
    let (middle, half) = (low.midpoint(high), 0.5 * (high - low));
    GAUSS.iter().flat_map(move |(place, weight)| {
        [
            (middle - half * place, half * weight),
            (middle + half * place, half * weight),
        ]
    })
}

/// How often a piece may be halved.
const DEEPEST: u32 = 24;

/// The integral of `f` from `low` to `high`, pieces halved until halving changes
/// them by less than `tolerance`.
pub(super) fn integral(f: &impl Fn(f64) -> f64, low: f64, high: f64, tolerance: f64) -> f64 {
    fn rule(f: &impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
        gauss(low, high).map(|(x, weight)| weight * f(x)).sum()
    }
    fn piece(
        f: &impl Fn(f64) -> f64,
        (low, high): (f64, f64),
        whole: f64,
        tolerance: f64,
        depth: u32,
    ) -> f64 {
        let middle = low.midpoint(high);
        let (left, right) = (rule(f, low, middle), rule(f, middle, high));
        if depth == 0 || (left + right - whole).abs() <= tolerance {
            return left + right;
        }
        piece(f, (low, middle), left, tolerance, depth - 1)
            + piece(f, (middle, high), right, tolerance, depth - 1)
    }
    piece(f, (low, high), rule(f, low, high), tolerance, DEEPEST)
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::ChiSquared;

    #[test]
    fn the_rule_is_exact_for_powers_up_to_the_nineteenth() {
        for power in 0..20 {
            let sum: f64 = gauss(0.0, 1.0).map(|(x, w)| w * x.powi(power)).sum();
            assert!((sum * f64::from(power + 1) - 1.0).abs() < 1e-13, "{power}");
        }
    }

    #[test]
    fn an_integral_with_a_step_is_found() {
        let step = |x: f64| f64::from(u8::from(x > 0.3));
        assert!((integral(&step, 0.0, 1.0, 1e-12) - 0.7).abs() < 1e-6);
        let bell = integral(&normal_density, -9.0, 9.0, 1e-13);
        assert!((bell - 1.0).abs() < 1e-12);
    }

    #[test]
    fn chi_square_goes_over_into_its_approximation_without_a_step() {
        for z in [-4.0, -1.0, 0.0, 2.0, 5.0] {
            let x = MANY + z * (2.0 * MANY).sqrt();
            let (below, above) = (
                chi_square_upper(MANY, x),
                chi_square_upper(MANY * (1.0 + 1e-12), x),
            );
            assert!((below - above).abs() < 1e-7, "{z}: {below} {above}");
            assert!((chi_square_lower(MANY, x) + below - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn points_are_where_the_probability_says() {
        for freedom in [0.3, 1.0, 2.0, 7.5, 300.0, 1e6] {
            for upper in [1e-9, 0.025, 0.5, 0.975, 0.999_999] {
                let point = chi_square_point(freedom, upper);
                let got = chi_square_upper(freedom, point);
                assert!((got / upper - 1.0).abs() < 1e-9, "{freedom} {upper}: {got}");
            }
        }
        // Of two degrees of freedom: -2 ln P.
        assert!((chi_square_point(2.0, 0.05) + 2.0 * 0.05_f64.ln()).abs() < 1e-13);
        let other = ChiSquared::new(5.0)
            .expect("a distribution")
            .inverse_cdf(0.9);
        assert!((chi_square_point(5.0, 0.1) / other - 1.0).abs() < 1e-9);
        assert!((normal_point(0.025) - 1.959_963_984_540_054).abs() < 1e-12);
        assert!((normal_point(1e-12) - 7.034_483_825_301_1).abs() < 1e-9);
    }
}
