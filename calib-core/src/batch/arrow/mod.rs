//! Weighted least squares of the shape that many probes make.
//!
//! Each pair belongs to one probe, which has a few columns of its own, perhaps to one
//! core, which has one, and to a few columns that all pairs share. The normal
//! equations then look like an arrow: small blocks down the diagonal and a narrow
//! border. They are solved by taking out the blocks one after another: first the
//! probes (or the cores, whichever leaves less), then what hangs together by them,
//! then the shared columns.
//!
//! Two uses. Where probes and cores are *fixed*, columns that others already explain
//! are left out and counted, which gives the rank. Where they are *random*, their
//! columns are multiplied by the factor of their covariance and pulled towards zero
//! with unit strength: the mixed model equations (Henderson 1950; Bates and DebRoy
//! 2004, J. Multivar. Anal. 91:1; references recalled from memory). With factors
//! instead of inverses a variance of zero is a number like any other.

mod build;
mod effects;
mod reduce;
#[cfg(test)]
mod tests;
mod triangle;

pub(super) use effects::BlockEffect;
pub(super) use reduce::Reduced;

/// One pair among the equations.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row {
    /// Place of its probe.
    pub(super) probe: usize,
    /// Place of its core, where cores have columns.
    pub(super) core: Option<usize>,
    /// Its weight, above zero.
    pub(super) weight: f64,
    /// What is to be explained.
    pub(super) y: f64,
}

/// Pairs with their columns, row by row.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rows<'a> {
    pub(super) rows: &'a [Row],
    /// Columns of its probe in every row.
    pub(super) own: &'a [f64],
    pub(super) own_columns: usize,
    /// Columns shared by all, in every row.
    pub(super) shared: &'a [f64],
    pub(super) shared_columns: usize,
}

/// Which of the two families a block belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Family {
    Probe,
    Core,
}

/// The columns of one probe or of one core.
#[derive(Debug, Clone)]
struct Block {
    family: Family,
    place: usize,
    /// Columns.
    k: usize,
    /// k x k products of the columns with one another.
    own: Vec<f64>,
    /// k x (shared + 1) products with the shared columns and with y.
    border: Vec<f64>,
}

/// A block that is taken out first, with its products with those left.
#[derive(Debug, Clone)]
struct Bar {
    block: Block,
    /// Columns of the other family that it meets, as places in the dense part.
    meets: Vec<usize>,
    /// k x `meets` products.
    cross: Vec<f64>,
}

/// What hangs together.
#[derive(Debug, Clone, Default)]
struct Component {
    bars: Vec<Bar>,
    /// The blocks left by taking out the bars; dense among themselves.
    dense: Vec<Block>,
    /// Columns of `dense` in all.
    size: usize,
}

/// The normal equations, summed once and solved as often as there are factors to try.
#[derive(Debug, Clone)]
pub(super) struct Arrow {
    components: Vec<Component>,
    /// (shared + 1) squared products of the shared columns and y.
    corner: Vec<f64>,
    shared: usize,
    pairs: usize,
    /// Sum of the logarithms of the weights.
    log_weights: f64,
}

/// What the columns of probes and cores are multiplied by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Scaling {
    /// Nothing; effects are fixed.
    Fixed,
    /// The relative factor of their covariance; effects are random.
    Random {
        /// Lower triangle `[[a, 0], [b, c]]` for a probe's columns, of which there
        /// are one or two.
        probe: [f64; 3],
        /// For a core's column.
        core: f64,
    },
}
