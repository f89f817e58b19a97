//! Each effect, and how far it may be off.

use super::reduce::{Cut, DenseCut};
use super::triangle::{backward, inverse};
use super::{Arrow, Component, Family, Scaling};
use rayon::prelude::*;

/// The effect of one probe.
#[derive(Debug, Clone, Default)]
pub(in super::super) struct BlockEffect {
    /// One value a column.
    pub(in super::super) values: Vec<f64>,
    /// k x k covariance of their errors, for a residual variance of 1.
    pub(in super::super) covariance: Vec<f64>,
}

/// Everything solved for.
#[derive(Debug, Clone)]
pub(in super::super) struct Solved {
    /// Effects of the shared columns; zero where they are left out.
    pub(in super::super) shared: Vec<f64>,
    /// Their covariance for a residual variance of 1.
    pub(in super::super) shared_covariance: Vec<f64>,
    /// Effects of the probes, by place.
    pub(in super::super) probes: Vec<BlockEffect>,
}

/// The shared columns solved.
struct Shared {
    values: Vec<f64>,
    covariance: Vec<f64>,
    p: usize,
}

impl Arrow {
    /// Solves for every probe's effect.
    pub(in super::super) fn effects(&self, scaling: Scaling) -> Solved {
        let (p, t) = (self.shared, self.shared + 1);
        let cuts: Vec<DenseCut> = self
            .components
            .par_iter()
            .map(|component| component.cut(t, scaling))
            .collect();
        let corner = self.border(&cuts).corner;
        let root: Vec<f64> = (0..p)
            .flat_map(|i| corner[i * t..i * t + p].to_vec())
            .collect();
        let mut values = corner[p * t..p * t + p].to_vec();
        backward(&root, p, &mut values, 1);
        let shared = Shared {
            values,
            covariance: inverse(&root, p),
            p,
        };
        let found: Vec<(usize, BlockEffect)> = self
            .components
            .par_iter()
            .zip(&cuts)
            .flat_map(|(component, cut)| component.effects(cut, &shared, scaling))
            .collect();
        let probes = found.iter().map(|(place, _)| place + 1).max().unwrap_or(0);
        let mut by_place = vec![BlockEffect::default(); probes];
        for (place, effect) in found {
            by_place[place] = effect;
        }
        Solved {
            shared: shared.values,
            shared_covariance: shared.covariance,
            probes: by_place,
        }
    }
}

impl Component {
    fn effects(
        &self,
        cut: &DenseCut,
        shared: &Shared,
        scaling: Scaling,
    ) -> Vec<(usize, BlockEffect)> {
        let (p, t, size) = (shared.p, shared.p + 1, self.size);
        // The dense part: its values, and the covariance of it and the shared
        // columns together.
        let mut values: Vec<f64> = cut
            .border
            .chunks_exact(t)
            .map(|row| row[p] - super::triangle::dot(&row[..p], &shared.values))
            .collect();
        backward(&cut.root, size, &mut values, 1);
        let mut by_shared: Vec<f64> = cut
            .border
            .chunks_exact(t)
            .flat_map(|row| row[..p].to_vec())
            .collect();
        backward(&cut.root, size, &mut by_shared, p);
        let n = size + p;
        let mut covariance = vec![0.0; n * n];
        let own = inverse(&cut.root, size);
        // by_shared times the covariance of the shared columns.
        let weighed = product(&by_shared, &shared.covariance, p);
        for i in 0..size {
            for j in 0..size {
                covariance[i * n + j] = own[i * size + j]
                    + super::triangle::dot(
                        &weighed[i * p..(i + 1) * p],
                        &by_shared[j * p..(j + 1) * p],
                    );
            }
            for j in 0..p {
                covariance[i * n + size + j] = -weighed[i * p + j];
                covariance[(size + j) * n + i] = -weighed[i * p + j];
            }
        }
        for i in 0..p {
            for j in 0..p {
                covariance[(size + i) * n + size + j] = shared.covariance[i * p + j];
            }
        }
        if self.across().0 == Family::Probe && size > 0 {
            let k = self.across().1;
            let block = |(b, block): (usize, &super::Block)| {
                let start = b * k;
                let effect = BlockEffect {
                    values: values[start..start + k].to_vec(),
                    covariance: (0..k * k)
                        .map(|e| covariance[(start + e / k) * n + start + e % k])
                        .collect(),
                };
                (block.place, scaled(effect, k, scaling))
            };
            return self.dense.iter().enumerate().map(block).collect();
        }
        let rest = Rest {
            values,
            covariance,
            size,
            n,
        };
        self.bars
            .par_iter()
            .filter(|bar| bar.block.family == Family::Probe)
            .map_init(Cut::default, |cut, bar| {
                cut.take(bar, self.across(), scaling);
                let effect = rest.bar(cut, &bar.meets, bar.block.k, shared);
                (bar.block.place, scaled(effect, bar.block.k, scaling))
            })
            .collect()
    }
}

/// The dense part and the shared columns, solved.
struct Rest {
    values: Vec<f64>,
    covariance: Vec<f64>,
    size: usize,
    n: usize,
}

impl Rest {
    /// A bar by what it meets.
    fn bar(&self, cut: &Cut, meets: &[usize], k: usize, shared: &Shared) -> BlockEffect {
        let (p, t, columns) = (shared.p, shared.p + 1, meets.len());
        let width = columns + p;
        let places: Vec<usize> = meets
            .iter()
            .copied()
            .chain(self.size..self.size + p)
            .collect();
        let mut values = vec![0.0; k];
        let mut meeting = vec![0.0; k * width];
        for i in 0..k {
            let cross = &cut.cross[i * columns..(i + 1) * columns];
            let border = &cut.border[i * t..i * t + p];
            values[i] = cut.border[i * t + p]
                - super::triangle::dot(border, &shared.values)
                - meets
                    .iter()
                    .zip(cross)
                    .map(|(at, x)| self.values[*at] * x)
                    .sum::<f64>();
            meeting[i * width..i * width + columns].copy_from_slice(cross);
            meeting[i * width + columns..(i + 1) * width].copy_from_slice(border);
        }
        backward(&cut.root, k, &mut values, 1);
        backward(&cut.root, k, &mut meeting, width);
        let mut covariance = inverse(&cut.root, k);
        let mut through = vec![0.0; width];
        for i in 0..k {
            let row = &meeting[i * width..(i + 1) * width];
            for (into, at) in through.iter_mut().zip(&places) {
                let from = &self.covariance[at * self.n..(at + 1) * self.n];
                *into = places.iter().zip(row).map(|(b, x)| from[*b] * x).sum();
            }
            for j in 0..k {
                covariance[i * k + j] +=
                    super::triangle::dot(&through, &meeting[j * width..(j + 1) * width]);
            }
        }
        BlockEffect { values, covariance }
    }
}

/// From unit strength back to the effect itself: `F v`, `F C F'`.
fn scaled(effect: BlockEffect, k: usize, scaling: Scaling) -> BlockEffect {
    let Scaling::Random { probe, .. } = scaling else {
        return effect;
    };
    let BlockEffect { values, covariance } = effect;
    let factor: Vec<f64> = if k == 2 {
        vec![probe[0], 0.0, probe[1], probe[2]]
    } else {
        vec![probe[0]]
    };
    let transposed: Vec<f64> = (0..k * k).map(|e| factor[(e % k) * k + e / k]).collect();
    BlockEffect {
        values: product(&factor, &values, 1),
        covariance: product(&product(&factor, &covariance, k), &transposed, k),
    }
}

/// The n x m matrix `a` times the m x l matrix `b`, m from the length of `b`.
fn product(a: &[f64], b: &[f64], l: usize) -> Vec<f64> {
    if l == 0 || b.is_empty() {
        return Vec::new();
    }
    let m = b.len() / l;
    let mut out = vec![0.0; a.len() / m * l];
    for (row, into) in a.chunks_exact(m).zip(out.chunks_exact_mut(l)) {
        for (x, from) in row.iter().zip(b.chunks_exact(l)) {
            for (s, y) in into.iter_mut().zip(from) {
                *s += x * y;
            }
        }
    }
    out
}
