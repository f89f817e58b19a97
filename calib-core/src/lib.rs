#![deny(missing_docs)]
//! The arithmetic of Ovendry: oven-dry masses and logged counts in, a
//! calibration with its uncertainty, set points and controller table out.
//!
//! Data flows one way. Each stage reads only the result type of the one before:
//!
//! ```text
//! gravimetry (masses -> theta_v +- u)   readings (log -> count +- u)
//!                    \                   /
//!                      fit::Observation
//!                             |
//!                      fit  (curve x both-axis errors x temperature)
//!                             |
//!                        calibration
//!                 /           |            \
//!              soil  ->  irrigation  ->  controller
//! ```
//!
//! What this crate does *not* do: it opens no file, prints nothing, knows no
//! command line, and does not panic on any input. Every failure is a value of
//! one error enum per room, carrying the numbers a person needs.
//!
//! Quantities that get confused (counts, volumetric and gravimetric water
//! content, celsius, millimetres) are newtypes of [`quantity`], each with its
//! unit and plausible range.

pub mod accuracy;
pub mod batch;
pub mod calibration;
pub mod controller;
pub mod curve;
pub mod dielectric;
pub mod drift;
pub mod fit;
pub mod gravimetry;
pub mod irrigation;
pub mod pair;
pub mod plan;
pub mod quantity;
pub mod readings;
pub mod reference;
pub mod soil;
pub mod temperature;
pub mod uncertainty;
