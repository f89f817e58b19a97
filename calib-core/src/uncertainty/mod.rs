//! Standard uncertainties, combined the way JCGM 100:2008 (GUM) combines them,
//! and distributions propagated by the draws of JCGM 101:2008.

mod budget;
mod monte_carlo;
mod noncentral_t;

pub use budget::{Budget, Contribution, Expanded, Source, coverage_factor};
pub use monte_carlo::{
    BLOCK, Draws, IntervalKind, MonteCarlo, MonteCarloError, Propagated, Validation, propagate,
    propagate_together,
};
pub use noncentral_t::NoncentralT;
pub(crate) use noncentral_t::scale_nodes;
