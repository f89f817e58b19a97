//! From rows to normal equations that come apart.

use super::super::error::BatchError;
use super::{Arrow, Bar, Block, Component, Family, Rows};
use std::collections::BTreeMap;

/// Most equations that may hang together once the blocks are taken out: they cost the
/// cube of their number (our choice).
const LARGEST_BLOCK: usize = 1_000;

/// Products of a probe's columns with the column of a core.
struct Link {
    probe: usize,
    core: usize,
    cross: Vec<f64>,
}

impl Arrow {
    /// Sums the products.
    ///
    /// # Errors
    /// [`BatchError::TooInterlaced`].
    pub(in super::super) fn of(data: &Rows<'_>) -> Result<Self, BatchError> {
        let (q, p) = (data.own_columns, data.shared_columns);
        let probes = count(data.rows.iter().map(|row| row.probe));
        let cores = count(data.rows.iter().filter_map(|row| row.core));
        let mut probe_blocks: Vec<Block> = (0..probes)
            .map(|place| Block::empty(Family::Probe, place, q, p))
            .collect();
        let mut core_blocks: Vec<Block> = (0..cores)
            .map(|place| Block::empty(Family::Core, place, 1, p))
            .collect();
        let mut corner = vec![0.0; (p + 1) * (p + 1)];
        let mut log_weights = 0.0;
        let mut links: BTreeMap<(usize, usize), Vec<f64>> = BTreeMap::new();
        let mut border = vec![0.0; p + 1];
        for (i, row) in data.rows.iter().enumerate() {
            let own = data.own.get(i * q..(i + 1) * q).unwrap_or_default();
            let shared = data.shared.get(i * p..(i + 1) * p).unwrap_or_default();
            border[..p].copy_from_slice(shared);
            border[p] = row.y;
            log_weights += row.weight.ln();
            add_product(&mut corner, &border, &border, row.weight);
            if let Some(block) = probe_blocks.get_mut(row.probe) {
                block.add(own, &border, row.weight);
            }
            if let Some(core) = row.core {
                if let Some(block) = core_blocks.get_mut(core) {
                    block.add(&[1.0], &border, row.weight);
                }
                let cross = links
                    .entry((row.probe, core))
                    .or_insert_with(|| vec![0.0; q]);
                for (sum, a) in cross.iter_mut().zip(own) {
                    *sum += row.weight * a;
                }
            }
        }
        let links = links
            .into_iter()
            .map(|((probe, core), cross)| Link { probe, core, cross })
            .collect();
        Ok(Self {
            components: components(probe_blocks, core_blocks, links, q)?,
            corner,
            shared: p,
            pairs: data.rows.len(),
            log_weights,
        })
    }
}

fn count(places: impl Iterator<Item = usize>) -> usize {
    places.max().map_or(0, |largest| largest + 1)
}

/// Adds `weight a b'` to the a x b matrix `sum`.
fn add_product(sum: &mut [f64], a: &[f64], b: &[f64], weight: f64) {
    for (row, x) in sum.chunks_exact_mut(b.len().max(1)).zip(a) {
        for (s, y) in row.iter_mut().zip(b) {
            *s += weight * x * y;
        }
    }
}

impl Block {
    fn empty(family: Family, place: usize, k: usize, shared: usize) -> Self {
        Self {
            family,
            place,
            k,
            own: vec![0.0; k * k],
            border: vec![0.0; k * (shared + 1)],
        }
    }

    fn add(&mut self, own: &[f64], border: &[f64], weight: f64) {
        add_product(&mut self.own, own, own, weight);
        add_product(&mut self.border, own, border, weight);
    }
}

/// Sorts blocks by what they hang together with.
fn components(
    probes: Vec<Block>,
    cores: Vec<Block>,
    links: Vec<Link>,
    q: usize,
) -> Result<Vec<Component>, BatchError> {
    let mut groups = Groups::new(probes.len() + cores.len());
    for link in &links {
        groups.join(link.probe, probes.len() + link.core);
    }
    // Probes without cores do not hang together with anything; one component of no
    // dense part serves them all.
    let mut alone = Component::default();
    let mut linked: BTreeMap<usize, Parts> = BTreeMap::new();
    let (n_probes, with_cores) = (probes.len(), !links.is_empty());
    for (i, block) in probes.into_iter().enumerate() {
        if with_cores {
            linked.entry(groups.root(i)).or_default().probes.push(block);
        } else {
            alone.bars.push(Bar::alone(block));
        }
    }
    for (i, block) in cores.into_iter().enumerate() {
        let root = groups.root(n_probes + i);
        linked.entry(root).or_default().cores.push(block);
    }
    for link in links {
        let root = groups.root(link.probe);
        linked.entry(root).or_default().links.push(link);
    }
    let mut all = vec![alone];
    for parts in linked.into_values() {
        all.push(parts.component(q)?);
    }
    Ok(all)
}

impl Bar {
    fn alone(block: Block) -> Self {
        Self {
            block,
            meets: Vec::new(),
            cross: Vec::new(),
        }
    }
}

/// What goes into one component.
#[derive(Default)]
struct Parts {
    probes: Vec<Block>,
    cores: Vec<Block>,
    links: Vec<Link>,
}

impl Parts {
    fn component(self, q: usize) -> Result<Component, BatchError> {
        let Parts {
            probes,
            cores,
            links,
        } = self;
        let cores_left = cores.len() <= probes.len() * q;
        let size = cores.len().min(probes.len() * q);
        if size > LARGEST_BLOCK {
            return Err(BatchError::TooInterlaced {
                probes: probes.len(),
                cores: cores.len(),
                size,
                limit: LARGEST_BLOCK,
            });
        }
        let (out, dense) = if cores_left || q == 0 {
            (probes, cores)
        } else {
            (cores, probes)
        };
        let width = dense.first().map_or(0, |block| block.k);
        let at: BTreeMap<usize, usize> = dense
            .iter()
            .enumerate()
            .map(|(i, block)| (block.place, i * width))
            .collect();
        let places: BTreeMap<usize, usize> = out
            .iter()
            .enumerate()
            .map(|(i, block)| (block.place, i))
            .collect();
        let mut met: Vec<Vec<(usize, Vec<f64>)>> = out.iter().map(|_| Vec::new()).collect();
        let probes_out = out.first().is_some_and(|b| b.family == Family::Probe);
        for link in links {
            let (here, there) = if probes_out {
                (link.probe, link.core)
            } else {
                (link.core, link.probe)
            };
            if let (Some(i), Some(start)) = (places.get(&here), at.get(&there)) {
                met[*i].push((*start, link.cross));
            }
        }
        let bars = out
            .into_iter()
            .zip(met)
            .map(|(block, met)| Bar::meeting(block, &met, width))
            .collect();
        Ok(Component {
            bars,
            size: dense.len() * width,
            dense,
        })
    }
}

impl Bar {
    /// `met` holds where each dense block begins and the products with it: a
    /// probe's columns by one where the bar is a probe, one by them where it is a core.
    fn meeting(block: Block, met: &[(usize, Vec<f64>)], width: usize) -> Self {
        let k = block.k;
        let columns = met.len() * width;
        let mut cross = vec![0.0; k * columns];
        for (n, (_, products)) in met.iter().enumerate() {
            for i in 0..k {
                for j in 0..width {
                    // One of the two indices is always zero.
                    cross[i * columns + n * width + j] = products[i.max(j)];
                }
            }
        }
        let meets = met
            .iter()
            .flat_map(|(start, _)| (0..width).map(move |j| start + j))
            .collect();
        Self {
            block,
            meets,
            cross,
        }
    }
}

/// Which of many hang together.
struct Groups {
    above: Vec<usize>,
}

impl Groups {
    fn new(n: usize) -> Self {
        Self {
            above: (0..n).collect(),
        }
    }

    fn root(&mut self, mut i: usize) -> usize {
        while self.above[i] != i {
            self.above[i] = self.above[self.above[i]];
            i = self.above[i];
        }
        i
    }

    fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.root(a), self.root(b));
        self.above[a.max(b)] = a.min(b);
    }
}
