//! Normal distributions mixed with weights.

use statrs::distribution::{Continuous, ContinuousCDF, Normal};

/// Share of the whole span to which a quantile is found.
const CLOSE: f64 = 1e-13;

/// One of the normal distributions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Part {
    /// Its weight.
    pub weight: f64,
    /// Its mean.
    pub mean: f64,
    /// Its standard deviation, above zero.
    pub sd: f64,
}

/// Normal distributions mixed; the weights add up to 1.
#[derive(Debug, Clone, Default)]
pub(super) struct Mixture(pub Vec<Part>);

impl Mixture {
    /// Mean.
    pub(super) fn mean(&self) -> f64 {
        self.0.iter().map(|part| part.weight * part.mean).sum()
    }

    /// Standard deviation.
    pub(super) fn sd(&self) -> f64 {
        let mean = self.mean();
        self.0
            .iter()
            .map(|part| part.weight * (part.sd.powi(2) + (part.mean - mean).powi(2)))
            .sum::<f64>()
            .sqrt()
    }

    /// Probability of a value below `value`, and of one above it, each summed by itself so
    /// that the smaller keeps its digits.
    pub(super) fn sides(&self, value: f64) -> (f64, f64) {
        let normal = Normal::standard();
        self.0.iter().fold((0.0, 0.0), |(below, above), part| {
            let z = (value - part.mean) / part.sd;
            let tail = normal.cdf(-z.abs());
            let (under, over) = if z < 0.0 {
                (tail, 1.0 - tail)
            } else {
                (1.0 - tail, tail)
            };
            (below + part.weight * under, above + part.weight * over)
        })
    }

    /// The standard normal value that lies where `value` lies here.
    pub(super) fn score(&self, value: f64) -> f64 {
        let (below, above) = self.sides(value);
        if below < above {
            normal_quantile(below)
        } else {
            -normal_quantile(above)
        }
    }

    /// Probability of a value farther from zero than `limit`.
    pub(super) fn beyond(&self, limit: f64) -> f64 {
        self.sides(-limit).0 + self.sides(limit).1
    }

    /// The value below which `probability` lies.
    pub(super) fn quantile(&self, probability: f64) -> f64 {
        let far = |part: &Part| 40.0 * part.sd;
        let (mut low, mut high) = self.0.iter().fold((0.0_f64, 0.0_f64), |(low, high), part| {
            (
                low.min(part.mean - far(part)),
                high.max(part.mean + far(part)),
            )
        });
        let close = CLOSE * (high - low);
        while high - low > close {
            let middle = 0.5 * (low + high);
            if middle <= low || middle >= high {
                break;
            }
            let (below, above) = self.sides(middle);
            // By the smaller side, so that far quantiles are found as well.
            let short = if probability < 0.5 {
                below < probability
            } else {
                above > 1.0 - probability
            };
            if short {
                low = middle;
            } else {
                high = middle;
            }
        }
        0.5 * (low + high)
    }
}

/// The standard normal value with `tail` below it: the library's, to nine digits or so,
/// made exact by a step of Newton.
fn normal_quantile(tail: f64) -> f64 {
    let normal = Normal::standard();
    let tail = tail.max(f64::MIN_POSITIVE);
    let near = normal.inverse_cdf(tail);
    let step = (normal.cdf(near) - tail) / normal.pdf(near);
    if step.is_finite() { near - step } else { near }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(weight: f64, mean: f64, sd: f64) -> Part {
        Part { weight, mean, sd }
    }

    #[test]
    fn one_part_is_a_normal_distribution() {
        let one = Mixture(vec![part(1.0, 0.01, 0.002)]);
        assert!((one.score(0.014) - 2.0).abs() < 1e-12);
        assert!((one.score(0.01 - 16.0 * 0.002) + 16.0).abs() < 1e-9);
        assert!((one.quantile(0.975) - 0.01 - 1.959_963_985 * 0.002).abs() < 1e-11);
        assert!((one.quantile(0.025) - 0.01 + 1.959_963_985 * 0.002).abs() < 1e-11);
    }

    #[test]
    fn mean_and_spread_are_those_of_the_whole() {
        let two = Mixture(vec![part(0.25, -1.0, 1.0), part(0.75, 1.0, 2.0)]);
        assert!((two.mean() - 0.5).abs() < 1e-15);
        // E x^2 = 0.25 (1 + 1) + 0.75 (4 + 1) = 4.25
        assert!((two.sd() - (4.25_f64 - 0.25).sqrt()).abs() < 1e-15);
        let (below, above) = two.sides(0.3);
        assert!((below + above - 1.0).abs() < 1e-14);
        assert!((two.sides(two.quantile(0.1)).0 - 0.1).abs() < 1e-12);
        assert!((two.beyond(0.0) - 1.0).abs() < 1e-14);
    }
}
