//! Middles, lines and curves that a few wild values cannot move.

use crate::fit::Loss;

/// Standard deviations in a median absolute deviation of normal values.
pub(super) const MAD_TO_SD: f64 = 1.482_602_218_505_602;

/// Median absolute deviations beyond which a predictor is drawn in, so that a wild one
/// has no leverage.
const FARTHEST: f64 = 4.0;

/// Fewest pairs of a probe for which a slope is asked; fewer have an offset alone.
const FEWEST_FOR_SLOPE: usize = 5;

/// Neighbours in wetness whose residuals set the scale: at least so many, else this
/// share of all.
const NEIGHBOURS: (usize, usize) = (24, 3);

/// Share of the scale of all below which none falls: a few alike by chance (or by
/// rounding) do not make their neighbour wild.
const LEAST_SCALE: f64 = 0.4;

/// Rounds of reweighting.
const ROUNDS: usize = 12;

/// The median; 0 of nothing.
pub(super) fn median(mut values: Vec<f64>) -> f64 {
    let middle = values.len() / 2;
    if values.is_empty() {
        return 0.0;
    }
    let even = values.len().is_multiple_of(2);
    let (below, upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    if even {
        let lower = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (lower + *upper) / 2.0
    } else {
        *upper
    }
}

/// The median, and how far from it a value may lie without being drawn in.
pub(super) fn clipped_centre(values: &[f64]) -> (f64, f64) {
    let centre = median(values.to_vec());
    let spread = median(values.iter().map(|v| (v - centre).abs()).collect());
    if spread > 0.0 {
        (centre, FARTHEST * spread)
    } else {
        (centre, f64::INFINITY)
    }
}

/// Offset and slope of each probe's rows `(z, value)`: by repeated medians (Siegel
/// 1982, recalled from memory), then by Tukey's biweight with the scatter of all probes
/// together, which a few rows alone tell badly.
pub(super) fn probe_lines(probes: &[Vec<(f64, f64)>]) -> Vec<(f64, f64)> {
    let lines: Vec<(f64, f64)> = probes.iter().map(|rows| by_medians(rows)).collect();
    let left = probes.iter().zip(&lines).flat_map(|(rows, line)| {
        rows.iter()
            .map(|(z, value)| (value - line.0 - line.1 * z).abs())
    });
    // Lines of few rows leave less than the scatter there is.
    let scale = LEFT_TO_SCATTER * MAD_TO_SD * median(left.collect());
    let polish = |(rows, line): (&Vec<(f64, f64)>, &(f64, f64))| {
        (0..ROUNDS).fold(*line, |line, _| by_weights(rows, line, scale))
    };
    probes.iter().zip(&lines).map(polish).collect()
}

/// By how much lines of five or so rows understate the scatter about them.
const LEFT_TO_SCATTER: f64 = 1.4;

fn by_medians(rows: &[(f64, f64)]) -> (f64, f64) {
    let mut slope = 0.0;
    if rows.len() >= FEWEST_FOR_SLOPE {
        let of_each: Vec<f64> = rows
            .iter()
            .filter_map(|(z, value)| {
                let slopes: Vec<f64> = rows
                    .iter()
                    .filter(|(other, _)| other != z)
                    .map(|(other, at)| (at - value) / (other - z))
                    .collect();
                (!slopes.is_empty()).then(|| median(slopes))
            })
            .collect();
        slope = median(of_each);
    }
    let offset = median(rows.iter().map(|(z, value)| value - slope * z).collect());
    (offset, slope)
}

/// One round of reweighting; the line as it is where nothing keeps weight.
fn by_weights(rows: &[(f64, f64)], line: (f64, f64), scale: f64) -> (f64, f64) {
    let [mut one, mut first, mut second, mut sum, mut product] = [0.0; 5];
    for (z, value) in rows {
        let w = Loss::Tukey.weight((value - line.0 - line.1 * z) / scale);
        one += w;
        first += w * z;
        second += w * z * z;
        sum += w * value;
        product += w * z * value;
    }
    let determinant = one * second - first * first;
    let with_slope = rows.len() >= FEWEST_FOR_SLOPE && determinant > 1e-6 * one * second;
    let slope = if with_slope {
        (one * product - first * sum) / determinant
    } else {
        line.1
    };
    let offset = (sum - slope * first) / one;
    if one > 0.5 && offset.is_finite() && slope.is_finite() {
        (offset, slope)
    } else {
        line
    }
}

/// What a curve by `x` (a cubic, or less where `x` has few values) gives at each `x`,
/// fitted by least absolute values, then by Tukey's biweight. The one in twenty (at
/// least one) farthest out at either end has no part in it: a wild `x` pulls nothing.
///
/// Of more than [`MOST_FOR_CURVE`] pairs as many are fitted, evenly by rank of `x`.
pub(super) fn robust_curve(x: &[f64], y: &[f64]) -> Vec<f64> {
    let every = x.len().div_ceil(MOST_FOR_CURVE);
    let curve = if every > 1 {
        let mut order: Vec<usize> = (0..x.len()).collect();
        order.sort_by(|a, b| x[*a].total_cmp(&x[*b]));
        let taken = |of: &[f64]| -> Vec<f64> {
            let places = order.iter().step_by(every);
            places.map(|i| of[*i]).collect()
        };
        RobustCurve::fit(&taken(x), &taken(y))
    } else {
        RobustCurve::fit(x, y)
    };
    x.iter().map(|x| curve.at(*x)).collect()
}

/// Most pairs a robust curve is fitted to: more change nothing that a slip hides in (our
/// choice).
const MOST_FOR_CURVE: usize = 4_000;

/// A polynomial in `(x - centre) / unit`.
struct RobustCurve {
    centre: f64,
    unit: f64,
    line: [f64; 4],
}

impl RobustCurve {
    fn at(&self, x: f64) -> f64 {
        value(&self.line, (x - self.centre) / self.unit)
    }

    fn fit(x: &[f64], y: &[f64]) -> Self {
        let level = [median(y.to_vec()), 0.0, 0.0, 0.0];
        let mut sorted = x.to_vec();
        sorted.sort_by(f64::total_cmp);
        let outside = (x.len() / 20).max(1);
        let ends = sorted
            .get(outside)
            .zip(x.len().checked_sub(outside + 1).and_then(|i| sorted.get(i)));
        let Some((low, high)) = ends
            .map(|(low, high)| (*low, *high))
            .filter(|(low, high)| low < high)
        else {
            return Self {
                centre: 0.0,
                unit: f64::INFINITY,
                line: level,
            };
        };
        let mut curve = Self {
            centre: (low + high) / 2.0,
            unit: (high - low) / 2.0,
            line: level,
        };
        let z: Vec<f64> = x.iter().map(|x| (x - curve.centre) / curve.unit).collect();
        sorted.retain(|x| (low..=high).contains(x));
        sorted.dedup_by(|a, b| (*a - *b).abs() < 0.02 * curve.unit);
        let terms = sorted.len().div_ceil(2).clamp(1, 4);
        for round in 0..2 * ROUNDS {
            let left: Vec<f64> = y
                .iter()
                .zip(&z)
                .map(|(y, z)| y - value(&curve.line, *z))
                .collect();
            let scale = MAD_TO_SD * median(left.iter().map(|r| r.abs()).collect());
            if scale <= 0.0 {
                break;
            }
            let weights: Vec<f64> = left
                .iter()
                .zip(&z)
                .map(|(r, z)| {
                    let r = (r / scale).abs();
                    let pull = f64::from(u8::from(z.abs() <= 1.0));
                    pull * if round < ROUNDS {
                        1.0 / r.max(0.05)
                    } else {
                        Loss::Tukey.weight(r)
                    }
                })
                .collect();
            curve.line = polynomial(&z, y, &weights, terms);
        }
        curve
    }
}

/// The polynomial between -1 and 1; beyond, the straight line through its middle and
/// its end.
fn value(line: &[f64; 4], z: f64) -> f64 {
    if z.abs() > 1.0 {
        let (middle, end) = (line[0], value(line, z.signum()));
        return middle + (end - middle) * z.abs();
    }
    line.iter().rev().fold(0.0, |sum, c| sum * z + c)
}

/// Weighted least squares of a polynomial of `terms` terms, by elimination.
fn polynomial(z: &[f64], y: &[f64], weights: &[f64], terms: usize) -> [f64; 4] {
    let mut rows = [[0.0_f64; 5]; 4];
    for ((z, y), w) in z.iter().zip(y).zip(weights) {
        let powers = [1.0, *z, z * z, z * z * z];
        for i in 0..terms {
            for j in 0..terms {
                rows[i][j] += w * powers[i] * powers[j];
            }
            rows[i][4] += w * powers[i] * y;
        }
    }
    let mut usable = [false; 4];
    for i in 0..terms {
        let pivot = rows[i];
        // A power that the others make up already is left out.
        if pivot[i] <= 1e-12 * weights.iter().sum::<f64>() {
            continue;
        }
        usable[i] = true;
        for (k, row) in rows.iter_mut().enumerate().take(terms) {
            if k != i {
                let share = row[i] / pivot[i];
                for (entry, of_pivot) in row.iter_mut().zip(pivot) {
                    *entry -= share * of_pivot;
                }
            }
        }
    }
    let mut line = [0.0; 4];
    for i in 0..terms {
        if usable[i] {
            line[i] = rows[i][4] / rows[i][i];
        }
    }
    line
}

/// The median absolute value of the residuals nearest in `x` to each; `None` where all
/// of them together do not scatter.
pub(super) fn local_scales(x: &[f64], left: &[f64]) -> Option<Vec<f64>> {
    let overall = median(left.iter().map(|r| r.abs()).collect());
    if overall.is_nan() || overall <= 0.0 {
        return None;
    }
    let mut order: Vec<usize> = (0..x.len()).collect();
    order.sort_by(|a, b| x[*a].total_cmp(&x[*b]));
    let (least, share) = NEIGHBOURS;
    let window = least.max(x.len() / share).min(x.len());
    let mut scales = vec![0.0; x.len()];
    // Of many, windows a little apart do as well as one for each.
    let step = (window / 8).max(1);
    let mut scale = overall;
    for (place, i) in order.iter().enumerate() {
        if place.is_multiple_of(step) {
            let start = place.saturating_sub(window / 2).min(x.len() - window);
            let near = order[start..start + window].iter();
            scale = median(near.map(|i| left[*i].abs()).collect()).max(LEAST_SCALE * overall);
        }
        scales[*i] = scale;
    }
    Some(scales)
}
