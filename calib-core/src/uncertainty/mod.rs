//! Standard uncertainties, combined the way JCGM 100:2008 (GUM) combines them.

mod budget;

pub use budget::{Budget, Contribution, Expanded, Source, coverage_factor};
