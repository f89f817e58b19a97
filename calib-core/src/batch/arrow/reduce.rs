//! Taking the blocks out, one after another.

use super::triangle::{dot, forward, root};
use super::{Arrow, Bar, Block, Component, Family, Scaling};
use rayon::prelude::*;

/// Blocks taken out together by one worker. Sums are always formed in these groups
/// and in their order, so that results do not depend on the number of workers.
const GROUP: usize = 256;

/// Largest dense part that workers each keep a copy of.
const COPIED: usize = 64;

/// What taking out all blocks leaves.
#[derive(Debug, Clone)]
pub(in super::super) struct Reduced {
    /// Logarithm of the determinant of the blocks of probes and cores.
    pub(in super::super) log_determinant: f64,
    /// The same of the shared columns after them.
    pub(in super::super) log_determinant_shared: f64,
    /// Independent columns of probes and cores.
    pub(in super::super) rank: usize,
    /// Shared columns independent of them.
    pub(in super::super) rank_shared: usize,
    /// Weighted sum of squares left.
    pub(in super::super) sum_of_squares: f64,
    /// Root of the shared columns and y, (shared + 1) squared.
    pub(super) corner: Vec<f64>,
}

/// A bar after scaling: its root, and `root^-1` times its products with the dense
/// part and with the border.
#[derive(Debug, Clone, Default)]
pub(super) struct Cut {
    pub(super) root: Vec<f64>,
    pub(super) cross: Vec<f64>,
    pub(super) border: Vec<f64>,
    before: Vec<f64>,
}

/// Sums while bars are taken out.
#[derive(Debug, Clone)]
struct Sums {
    /// Lower triangle of size x size.
    dense: Vec<f64>,
    border: Vec<f64>,
    corner: Vec<f64>,
    log_determinant: f64,
    rank: usize,
}

/// A component after its bars are taken out.
#[derive(Debug, Clone)]
pub(super) struct DenseCut {
    /// Root of the dense part, size x size.
    pub(super) root: Vec<f64>,
    /// `root^-1` times its border, size x (shared + 1).
    pub(super) border: Vec<f64>,
    corner: Vec<f64>,
    log_determinant: f64,
    rank: usize,
}

impl Scaling {
    /// Multiplies the rows of the k x m matrix `a`, which belong to a block's
    /// columns, by the factor: `F' a`.
    pub(super) fn rows(self, family: Family, k: usize, a: &mut [f64], m: usize) {
        let Scaling::Random { probe, core } = self else {
            return;
        };
        match (family, k) {
            (Family::Core, _) => a.iter_mut().for_each(|x| *x *= core),
            (Family::Probe, 2) => {
                let (first, second) = a.split_at_mut(m);
                for (x, y) in first.iter_mut().zip(second) {
                    *x = probe[0] * *x + probe[1] * *y;
                    *y *= probe[2];
                }
            }
            (Family::Probe, _) => a.iter_mut().for_each(|x| *x *= probe[0]),
        }
    }

    /// Multiplies the columns of the n x m matrix `a`, in groups of k, by the
    /// factor: `a F`.
    fn columns(self, family: Family, k: usize, a: &mut [f64]) {
        let Scaling::Random { probe, core } = self else {
            return;
        };
        match (family, k) {
            (Family::Core, _) => a.iter_mut().for_each(|x| *x *= core),
            (Family::Probe, 2) => {
                for pair in a.chunks_exact_mut(2) {
                    pair[0] = probe[0] * pair[0] + probe[1] * pair[1];
                    pair[1] *= probe[2];
                }
            }
            (Family::Probe, _) => a.iter_mut().for_each(|x| *x *= probe[0]),
        }
    }

    /// A block's own products, scaled, with the pull to zero where it is random.
    fn own(self, block: &Block, out: &mut Vec<f64>) {
        out.clear();
        out.extend_from_slice(&block.own);
        let k = block.k;
        self.rows(block.family, k, out, k);
        self.columns(block.family, k, out);
        if self != Scaling::Fixed {
            for i in 0..k {
                out[i * k + i] += 1.0;
            }
        }
    }
}

impl Cut {
    /// Takes a bar out; gives the logarithm of its determinant and its rank.
    pub(super) fn take(&mut self, bar: &Bar, across: (Family, usize), s: Scaling) -> (f64, usize) {
        let block = &bar.block;
        let k = block.k;
        s.own(block, &mut self.root);
        self.before.clear();
        self.before.extend((0..k).map(|i| self.root[i * k + i]));
        let found = root(&mut self.root, k, &self.before);
        self.cross.clear();
        self.cross.extend_from_slice(&bar.cross);
        let columns = bar.meets.len();
        s.rows(block.family, k, &mut self.cross, columns);
        s.columns(across.0, across.1, &mut self.cross);
        forward(&self.root, k, &mut self.cross, columns);
        self.border.clear();
        self.border.extend_from_slice(&block.border);
        let t = block.border.len() / k.max(1);
        s.rows(block.family, k, &mut self.border, t);
        forward(&self.root, k, &mut self.border, t);
        found
    }
}

impl Bar {
    /// The first of the columns it meets, if they are all there are from there on
    /// without a gap, as where every probe meets every core.
    fn meets_together(&self) -> Option<usize> {
        let first = *self.meets.first()?;
        let in_order = |(i, at): (usize, &usize)| *at == first + i;
        self.meets.iter().enumerate().all(in_order).then_some(first)
    }
}

impl Sums {
    fn new(size: usize, t: usize) -> Self {
        Self {
            dense: vec![0.0; size * size],
            border: vec![0.0; size * t],
            corner: vec![0.0; t * t],
            log_determinant: 0.0,
            rank: 0,
        }
    }

    /// Takes off what the bars explain.
    fn of(bars: &[Bar], component: &Component, t: usize, scaling: Scaling) -> Self {
        let size = component.size;
        let mut sums = Sums::new(size, t);
        let mut cut = Cut::default();
        for bar in bars {
            let (log_determinant, rank) = cut.take(bar, component.across(), scaling);
            sums.log_determinant += log_determinant;
            sums.rank += rank;
            let columns = bar.meets.len();
            let together = bar.meets_together();
            for row in 0..bar.block.k {
                let cross = &cut.cross[row * columns..(row + 1) * columns];
                let border = &cut.border[row * t..(row + 1) * t];
                for (i, (at, x)) in bar.meets.iter().zip(cross).enumerate() {
                    let into = &mut sums.dense[at * size..(at + 1) * size];
                    if let Some(first) = together {
                        for (s, y) in into[first..=first + i].iter_mut().zip(cross) {
                            *s -= x * y;
                        }
                    } else {
                        for (other, y) in bar.meets[..=i].iter().zip(cross) {
                            into[*other] -= x * y;
                        }
                    }
                    let into = &mut sums.border[at * t..(at + 1) * t];
                    for (s, y) in into.iter_mut().zip(border) {
                        *s -= x * y;
                    }
                }
                for (i, x) in border.iter().enumerate() {
                    for (s, y) in sums.corner[i * t..=i * t + i].iter_mut().zip(border) {
                        *s -= x * y;
                    }
                }
            }
        }
        sums
    }

    fn add(mut self, other: &Sums) -> Self {
        for (into, from) in [
            (&mut self.dense, &other.dense),
            (&mut self.border, &other.border),
            (&mut self.corner, &other.corner),
        ] {
            for (a, b) in into.iter_mut().zip(from) {
                *a += b;
            }
        }
        self.log_determinant += other.log_determinant;
        self.rank += other.rank;
        self
    }
}

impl Component {
    /// Family and columns of a dense block.
    pub(super) fn across(&self) -> (Family, usize) {
        self.dense
            .first()
            .map_or((Family::Core, 1), |block| (block.family, block.k))
    }

    /// Takes its bars out, then its dense part.
    pub(super) fn cut(&self, t: usize, scaling: Scaling) -> DenseCut {
        let size = self.size;
        let mut sums = if self.bars.len() > GROUP && size <= COPIED {
            let parts: Vec<Sums> = self
                .bars
                .par_chunks(GROUP)
                .map(|bars| Sums::of(bars, self, t, scaling))
                .collect();
            parts
                .iter()
                .fold(Sums::new(size, t), |sum, part| sum.add(part))
        } else {
            Sums::of(&self.bars, self, t, scaling)
        };
        let mut before = Vec::with_capacity(size);
        let (mut own, mut border) = (Vec::new(), Vec::new());
        let mut start = 0;
        for block in &self.dense {
            let k = block.k;
            scaling.own(block, &mut own);
            border.clear();
            border.extend_from_slice(&block.border);
            scaling.rows(block.family, k, &mut border, t);
            for i in 0..k {
                before.push(own[i * k + i]);
                for j in 0..=i {
                    sums.dense[(start + i) * size + start + j] += own[i * k + j];
                }
            }
            for (s, b) in sums.border[start * t..].iter_mut().zip(&border) {
                *s += b;
            }
            start += k;
        }
        let (log_determinant, rank) = root(&mut sums.dense, size, &before);
        forward(&sums.dense, size, &mut sums.border, t);
        for row in sums.border.chunks_exact(t) {
            for (i, x) in row.iter().enumerate() {
                for (s, y) in sums.corner[i * t..=i * t + i].iter_mut().zip(row) {
                    *s -= x * y;
                }
            }
        }
        DenseCut {
            root: sums.dense,
            border: sums.border,
            corner: sums.corner,
            log_determinant: sums.log_determinant + log_determinant,
            rank: sums.rank + rank,
        }
    }
}

impl Arrow {
    /// Solves as far as the sum of squares and the determinants.
    pub(in super::super) fn reduce(&self, scaling: Scaling) -> Reduced {
        let t = self.shared + 1;
        let cuts: Vec<DenseCut> = if self.components.len() > GROUP {
            self.components
                .par_iter()
                .map(|component| component.cut(t, scaling))
                .collect()
        } else {
            self.components
                .iter()
                .map(|component| component.cut(t, scaling))
                .collect()
        };
        self.border(&cuts)
    }

    /// What is left for the shared columns by the components cut out.
    pub(super) fn border(&self, cuts: &[DenseCut]) -> Reduced {
        let (p, t) = (self.shared, self.shared + 1);
        let mut corner = self.corner.clone();
        let before: Vec<f64> = (0..p).map(|i| corner[i * t + i]).collect();
        let (mut log_determinant, mut rank) = (0.0, 0);
        for cut in cuts {
            log_determinant += cut.log_determinant;
            rank += cut.rank;
            for (a, b) in corner.iter_mut().zip(&cut.corner) {
                *a += b;
            }
        }
        // The shared columns, then y by what they leave of it.
        let mut shared: Vec<f64> = (0..p)
            .flat_map(|i| corner[i * t..i * t + p].to_vec())
            .collect();
        let (log_determinant_shared, rank_shared) = root(&mut shared, p, &before);
        let mut y = corner[p * t..p * t + p].to_vec();
        forward(&shared, p, &mut y, 1);
        let sum_of_squares = (corner[p * t + p] - dot(&y, &y)).max(0.0);
        for i in 0..p {
            corner[i * t..i * t + p].copy_from_slice(&shared[i * p..(i + 1) * p]);
        }
        corner[p * t..p * t + p].copy_from_slice(&y);
        Reduced {
            log_determinant,
            log_determinant_shared,
            rank,
            rank_shared,
            sum_of_squares,
            corner,
        }
    }

    /// Pairs summed.
    pub(in super::super) fn pairs(&self) -> usize {
        self.pairs
    }

    /// Sum of the logarithms of the weights.
    pub(in super::super) fn log_weights(&self) -> f64 {
        self.log_weights
    }
}
