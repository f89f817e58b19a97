//! The risk of set points: how likely the soil is really drier than the crop
//! should have it while the controller sees no need to start.
//!
//! A controller compares what the probe says with the refill point. What the soil
//! really holds differs by the calibration's error; what it should hold at least,
//! `FC - p (FC - WP)`, differs by what is not known of field capacity, wilting
//! point and the crop's allowed depletion p. All are drawn together (JCGM
//! 101:2008), the calibration's inputs each from its own distribution, field
//! capacity and wilting point jointly normal (drawn again where the wilting point
//! would not be the lower), p normal and kept within 0 to 1. Calibration, soil and
//! crop are taken as independent.
//!
//! What each is responsible for is found by drawing the same again with that one
//! known exactly, from the same random numbers, so that differences between the
//! answers are sharper than the answers.

mod model;
#[cfg(test)]
mod tests;

use super::IrrigationError;
use crate::calibration::{Calibration, PropagationError};
use crate::quantity::{Estimate, Fraction, Quantity, Vwc};
use crate::soil::SoilWater;
use crate::uncertainty::{
    IntervalKind, MonteCarlo, MonteCarloError, Propagated, propagate_together,
};
use model::{Model, OUTPUTS};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Standard uncertainty of an allowed depletion, share of the available water. Our
/// choice: 0.05 for variety, stage and the table's own rounding, and 0.04 for a
/// crop's water use known to some 20 % (FAO-56 Table 22's adjustment at 5 mm a
/// day), together 0.06.
pub const ALLOWED_DEPLETION_U: f64 = 0.06;

/// Standard uncertainty of a field capacity measured on the bed or a wilting point
/// measured in a laboratory, m3/m3. Common practice.
pub const MEASURED_SOIL_WATER_U: f64 = 0.02;

/// The depletion given is not exceeded in this share of cases.
const NOT_EXCEEDED: f64 = 0.95;

/// What is not known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Origin {
    /// What a reading of this probe says of theta_v.
    Calibration,
    /// Field capacity and wilting point.
    SoilWater,
    /// The crop's allowed depletion.
    Crop,
}

impl Origin {
    const ALL: [Origin; 3] = [Origin::Calibration, Origin::SoilWater, Origin::Crop];
}

impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Origin::Calibration => "the probe's calibration",
            Origin::SoilWater => "field capacity and wilting point",
            Origin::Crop => "the crop's allowed depletion",
        })
    }
}

/// How far the soil may be drier than the crop should have it, unseen.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Shortfall {
    /// Probability that it is, when the controller reads its refill point.
    pub at_refill: f64,
    /// The same at a reading somewhere between refill and stop, each theta_v
    /// equally likely.
    pub in_band: f64,
    /// Share of the available water really used up at the refill point, not
    /// exceeded with a probability of 95 %; above 1 beyond the wilting point.
    pub depletion: f64,
}

/// One of the things not known, and what knowing it would do.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Contributor {
    /// Which.
    pub origin: Origin,
    /// Standard uncertainty it alone gives the difference between what the soil
    /// holds at refill and what it should hold, m3/m3.
    pub u: f64,
    /// Its share of the variance of that difference, 0 to 1.
    pub variance_share: f64,
    /// What is left with this one known exactly.
    pub if_known: Shortfall,
}

/// The risk of a pair of set points.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Risk {
    /// As things are known.
    pub now: Shortfall,
    /// Calibration, soil water and crop, the largest first.
    pub contributors: Vec<Contributor>,
    /// With a field capacity measured on the bed, to
    /// [`MEASURED_SOIL_WATER_U`]; `None` where it is known as well already.
    pub with_field_capacity_measured: Option<Shortfall>,
    /// With a wilting point measured in a laboratory, as well; `None` likewise.
    pub with_wilting_point_measured: Option<Shortfall>,
    /// Allowed depletion, share of the available water.
    pub allowed_depletion: Estimate<f64>,
    /// Share of the available water used up at refill, taking every figure as it
    /// stands.
    pub depletion_at_refill: f64,
    /// Probability, of field capacity and wilting point as known, that the wilting
    /// point comes out the higher. Such draws are made again, so that where this is
    /// not small, every figure here is rough.
    pub upside_down: f64,
    /// Twice the standard error that chance leaves in the probabilities, the
    /// largest of all.
    pub numerical: f64,
    /// Number of draws.
    pub draws: usize,
    /// The seed.
    pub seed: u64,
}

/// Probability of field capacity and wilting point coming out upside down from which
/// the figures are called rough. Our choice.
const ROUGH_FROM: f64 = 0.05;

/// Share of the available water by which refill may lie below the allowed depletion
/// for whole counts alone.
const WHOLE_COUNTS: f64 = 0.03;

impl Risk {
    /// Whether refill, taking every figure as it stands, lies below what the crop
    /// allows: the probe resolves no narrower band.
    pub fn refill_is_too_dry(&self) -> bool {
        self.depletion_at_refill > self.allowed_depletion.value + WHOLE_COUNTS
    }

    /// Whether field capacity and wilting point are known too badly for figures that
    /// hold: they come out upside down in more than one case of twenty.
    pub fn is_rough(&self) -> bool {
        self.upside_down > ROUGH_FROM
    }

    /// What remains with the help that lowers the probability in the band most: a
    /// field capacity or wilting point measured, a perfect calibration or an exact
    /// crop figure. `None` where none lowers it by more than chance leaves in it.
    pub fn helps_most(&self) -> Option<(Help, Shortfall)> {
        let exact = self.contributors.iter().filter_map(|one| {
            let help = match one.origin {
                Origin::Calibration => Help::Calibration,
                Origin::Crop => Help::CropFigure,
                // Nobody gets to know both exactly; measuring one is offered below.
                Origin::SoilWater => return None,
            };
            Some((help, one.if_known))
        });
        let measured = [
            (Help::FieldCapacity, self.with_field_capacity_measured),
            (Help::WiltingPoint, self.with_wilting_point_measured),
        ];
        measured
            .into_iter()
            .filter_map(|(help, left)| Some((help, left?)))
            .chain(exact)
            .min_by(|a, b| a.1.in_band.total_cmp(&b.1.in_band))
            .filter(|(_, left)| left.in_band < self.now.in_band - self.numerical)
    }
}

/// What might be done about it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Help {
    /// A field capacity measured on the bed.
    FieldCapacity,
    /// A wilting point measured in a laboratory.
    WiltingPoint,
    /// A calibration without error.
    Calibration,
    /// An allowed depletion known exactly.
    CropFigure,
}

/// The risk of refill and stop, the two of `band`, for a soil and a crop, as far as this calibration,
/// `water` and `allowed_depletion` with its standard uncertainty
/// `allowed_depletion_u` (share of the available water) are known.
///
/// # Errors
/// [`IrrigationError::DepletionUncertainty`] if that is not between 0 and 1,
/// [`IrrigationError::Curve`] if the calibration does not reach from refill to
/// stop, [`IrrigationError::Propagation`] if it cannot be drawn from.
pub fn risk(
    calibration: &Calibration,
    water: &SoilWater,
    allowed_depletion: Fraction,
    allowed_depletion_u: f64,
    band: (Vwc, Vwc),
    seed: u64,
) -> Result<Risk, IrrigationError> {
    if !(0.0..=1.0).contains(&allowed_depletion_u) {
        return Err(IrrigationError::DepletionUncertainty {
            u: allowed_depletion_u,
        });
    }
    let allowed = Estimate::new(allowed_depletion.value(), allowed_depletion_u);
    let model = Model::of(calibration, water, allowed, band)?;
    let settings = MonteCarlo {
        seed,
        // A third of a percent point, so that whole percents can be told.
        tolerance: 0.003,
        // As many below as above: the upper end is not exceeded in 95 %.
        coverage: 2.0 * NOT_EXCEEDED - 1.0,
        interval: IntervalKind::ProbabilisticallySymmetric,
        most_blocks: 20,
    };
    let drawn = propagate_together(&settings, OUTPUTS, |draws, out| model.draw(draws, out))
        .into_iter()
        .collect::<Result<Vec<Propagated>, MonteCarloError>>()
        .map_err(PropagationError::from)?;
    Ok(model.told(&drawn, &settings))
}
