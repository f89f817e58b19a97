//! The columns that explain deviations: what all probes share, and what each may have
//! to itself, made independent of one another so that nothing is lost in rounding.

use super::arrow::{Row, Rows};
use super::one_curve::Sharing;
use super::pool::{Design, Deviation, Pool};

/// Share of a column's square that must be left for it to say anything of its own.
const LEAST_LEFT: f64 = 1e-9;

/// Columns of the pairs of a pool.
#[derive(Debug, Clone)]
pub(super) struct Columns {
    rows: Vec<Row>,
    shared: Basis,
    /// Offset, gain, then the rest of a curve of one's own.
    own: Basis,
    /// What a gain acts on, row by row, divided by `z_unit`.
    z: Vec<f64>,
    /// Whether z varies, so that a gain can be told from an offset.
    pub(super) gain_determined: bool,
    /// What z is divided by in the column of the gain.
    pub(super) z_unit: f64,
}

impl Columns {
    /// Of a pool.
    pub(super) fn of(pool: &Pool) -> Self {
        let curve_columns = pool.choice.fit.curve.parameters.len();
        Self::from_deviations(&pool.deviations, pool.design, pool.columns, curve_columns)
    }

    /// Of deviations whose gradients have `columns` entries, the first
    /// `curve_columns` of them by parameters of the curve.
    pub(super) fn from_deviations(
        deviations: &[Deviation],
        design: Design,
        columns: usize,
        curve_columns: usize,
    ) -> Self {
        let n = deviations.len();
        let weights: Vec<f64> = deviations.iter().map(|d| d.weight).collect();
        let squares: f64 = deviations.iter().map(|d| d.z * d.z).sum();
        let z_unit = match (squares / n.max(1) as f64).sqrt() {
            unit if unit > 0.0 => unit,
            _ => 1.0,
        };
        let gradient = |i: usize| deviations.iter().map(move |d| d.gradient[i]).collect();
        let shared: Vec<Vec<f64>> = (0..columns).map(gradient).collect();
        let mut own: Vec<Vec<f64>> = vec![
            vec![1.0; n],
            deviations.iter().map(|d| d.z / z_unit).collect(),
        ];
        own.extend((0..curve_columns).map(gradient));
        let z = own[1].clone();
        let own = Basis::of(own, &weights);
        Self {
            rows: deviations
                .iter()
                .map(|d| Row {
                    probe: d.probe,
                    core: (design == Design::SharedCores).then_some(d.core),
                    weight: d.weight,
                    y: d.deviation,
                })
                .collect(),
            shared: Basis::of(shared, &weights),
            gain_determined: own.kept.get(1) == Some(&true),
            own,
            z,
            z_unit,
        }
    }

    /// Columns a probe has to itself under a way of sharing.
    fn own_columns(&self, sharing: Sharing) -> usize {
        let with_gain = 1 + usize::from(self.gain_determined);
        match sharing {
            Sharing::OneCurve => 0,
            Sharing::OwnOffset => 1,
            Sharing::OwnOffsetAndGain => with_gain,
            Sharing::OwnCurve => self.own.columns,
        }
    }

    /// Whether a way of sharing has more columns than the one before it.
    pub(super) fn adds_columns(&self, sharing: Sharing, before: Sharing) -> bool {
        self.own_columns(sharing) > self.own_columns(before)
    }

    /// Columns of probes for tests, in which they need only span the same.
    pub(super) fn for_tests(&self, sharing: Sharing) -> Vec<f64> {
        let k = self.own_columns(sharing);
        self.own
            .values
            .chunks_exact(self.own.columns.max(1))
            .flat_map(|row| row[..k].to_vec())
            .collect()
    }

    /// Columns of probes for variances: 1, or 1 and z in its unit.
    pub(super) fn for_variances(&self, sharing: Sharing) -> Vec<f64> {
        if sharing == Sharing::OwnOffset {
            return vec![1.0; self.rows.len()];
        }
        self.z.iter().flat_map(|z| [1.0, *z]).collect()
    }

    /// The rows with `own` as the columns of probes.
    pub(super) fn rows<'a>(&'a self, own: &'a [f64]) -> Rows<'a> {
        Rows {
            rows: &self.rows,
            own_columns: own.len() / self.rows.len().max(1),
            own,
            shared: &self.shared.values,
            shared_columns: self.shared.columns,
        }
    }

    /// Effects of the columns given, by those of the independent ones.
    pub(super) fn shared_back(&self, effects: &[f64]) -> Vec<f64> {
        self.shared.back(effects)
    }

    /// Covariance of the effects of the columns given.
    pub(super) fn shared_covariance_back(&self, covariance: &[f64]) -> Vec<Vec<f64>> {
        self.shared.covariance_back(covariance)
    }
}

/// Columns made orthonormal under the weights, one after another (modified
/// Gram-Schmidt); those that others explain are left out.
#[derive(Debug, Clone)]
struct Basis {
    /// Row by row.
    values: Vec<f64>,
    /// Columns kept.
    columns: usize,
    /// Which of the columns given are kept.
    kept: Vec<bool>,
    /// The kept column k is the sum of the columns given times `into[k]`.
    into: Vec<Vec<f64>>,
}

impl Basis {
    fn of(given: Vec<Vec<f64>>, weights: &[f64]) -> Self {
        let n = weights.len();
        let inner = |a: &[f64], b: &[f64]| -> f64 {
            a.iter()
                .zip(b)
                .zip(weights)
                .map(|((x, y), w)| w * x * y)
                .sum()
        };
        let mut kept = Vec::with_capacity(given.len());
        let mut done: Vec<Vec<f64>> = Vec::new();
        let mut into: Vec<Vec<f64>> = Vec::new();
        let total = given.len();
        for (place, mut column) in given.into_iter().enumerate() {
            let before = inner(&column, &column);
            let mut made_of = vec![0.0; total];
            made_of[place] = 1.0;
            // Twice is enough (Kahan's rule, as Parlett 1980 tells it; recalled from
            // memory).
            for _ in 0..2 {
                for (other, its) in done.iter().zip(&into) {
                    let along = inner(&column, other);
                    for (x, y) in column.iter_mut().zip(other) {
                        *x -= along * y;
                    }
                    for (x, y) in made_of.iter_mut().zip(its) {
                        *x -= along * y;
                    }
                }
            }
            let left = inner(&column, &column);
            let independent = left > LEAST_LEFT * before && left > 0.0;
            kept.push(independent);
            if independent {
                let length = left.sqrt();
                column.iter_mut().for_each(|x| *x /= length);
                made_of.iter_mut().for_each(|x| *x /= length);
                done.push(column);
                into.push(made_of);
            }
        }
        Self {
            values: (0..n)
                .flat_map(|i| done.iter().map(move |column| column[i]))
                .collect(),
            columns: done.len(),
            kept,
            into,
        }
    }

    fn back(&self, effects: &[f64]) -> Vec<f64> {
        let mut given = vec![0.0; self.kept.len()];
        for (effect, made_of) in effects.iter().zip(&self.into) {
            for (sum, share) in given.iter_mut().zip(made_of) {
                *sum += effect * share;
            }
        }
        given
    }

    fn covariance_back(&self, covariance: &[f64]) -> Vec<Vec<f64>> {
        let (k, m) = (self.columns, self.kept.len());
        let mut given = vec![vec![0.0; m]; m];
        for (a, from) in self.into.iter().enumerate() {
            for (b, other) in self.into.iter().enumerate() {
                let c = covariance[a * k + b];
                for (row, x) in given.iter_mut().zip(from) {
                    for (sum, y) in row.iter_mut().zip(other) {
                        *sum += c * x * y;
                    }
                }
            }
        }
        given
    }
}
