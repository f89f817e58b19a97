//! Half-way through: where the next cores help most.
//!
//! A calibration on the cores so far says at every count how unsure its curve is, which
//! other curves the cores do not rule out, and how errors at one count go with those at
//! another ([`ErrorsTogether`](crate::calibration)). With that the value of a core can be
//! reckoned before it is dug, whatever it will weigh:
//!
//! * Errors of what the curve says are taken to have the covariance `K`: that of the
//!   parameters, and of the distance of every other curve from the one taken, each by
//!   its weight. A core at count c with variance `S` (scatter, weighing, readings beside
//!   it) leaves `K(a,b) - K(a,c) K(c,b) / (K(c,c) + S)`: the best linear estimate (for
//!   one curve alone, exactly what least squares leave; with several, a core where they
//!   differ is worth more, for it tells them apart).
//! * The *mean variance* that is left, over the whole range or at the set points, is what
//!   the I-criterion makes least; D is the determinant of the parameters' covariance,
//!   here the mean over the curves of its logarithm (Atkinson, Donev and Tobias 2007,
//!   Optimum Experimental Designs, with SAS, chapters 10 to 12 and 18; recalled from
//!   memory).
//!
//! One, two and three cores are sought exhaustively over a grid of the calibrated range,
//! cores at one place included. All is to first order about the curve as it stands, at
//! the reference temperature, and nothing is said beyond the calibrated counts.

mod advice;
mod knowledge;
mod search;
#[cfg(test)]
mod tests;

pub use advice::{
    Advice, Criterion, MOST_MORE_CORES, NewCore, NextCoreError, NextCores, PlaceAfter, Target,
    next_cores,
};
