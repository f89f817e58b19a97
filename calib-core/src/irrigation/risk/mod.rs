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

use super::IrrigationError;
use crate::calibration::{Calibration, NewReading, PropagationError};
use crate::curve::CurveError;
use crate::quantity::{Estimate, Fraction, Quantity, Vwc};
use crate::soil::SoilWater;
use crate::uncertainty::{
    Draws, IntervalKind, MonteCarlo, MonteCarloError, Propagated, propagate_together,
};
use rand::RngExt;
use rand_distr::{Distribution, StandardNormal};
use serde::{Deserialize, Serialize};
use std::fmt;

/// Standard uncertainty of an allowed depletion, share of the available water. Our
/// choice: 0.05 for variety, stage and the table's own rounding, and 0.04 for a
/// crop's water use known to some 20 % (FAO-56 Table 22's adjustment at 5 mm a
/// day), together 0.06.
pub const ALLOWED_DEPLETION_U: f64 = 0.06;

/// Standard uncertainty of a field capacity measured on the bed, m3/m3. Common
/// practice.
pub const MEASURED_FIELD_CAPACITY_U: f64 = 0.02;

/// Readings spread evenly over the dead band, in theta_v.
const PLACES: usize = 64;

/// The depletion given is not exceeded in this share of cases.
const NOT_EXCEEDED: f64 = 0.95;

/// Least available water a depletion is a share of, m3/m3.
const LEAST_AVAILABLE: f64 = 1e-3;

/// How often field capacity and wilting point are drawn again before they are
/// taken as they are.
const TRIES: usize = 50;

/// What is not known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
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
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
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
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
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
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Risk {
    /// As things are known.
    pub now: Shortfall,
    /// Calibration, soil water and crop, the largest first.
    pub contributors: Vec<Contributor>,
    /// With a field capacity measured on the bed, to
    /// [`MEASURED_FIELD_CAPACITY_U`]; `None` where it is known as well already.
    pub with_field_capacity_measured: Option<Shortfall>,
    /// Allowed depletion, share of the available water.
    pub allowed_depletion: Estimate<f64>,
    /// Twice the standard error that chance leaves in the probabilities, the
    /// largest of all.
    pub numerical: f64,
    /// Number of draws.
    pub draws: usize,
    /// The seed.
    pub seed: u64,
}

impl Risk {
    /// What remains in the band with the likeliest help, and by what: a field
    /// capacity measured, a perfect calibration or an exact crop figure. `None`
    /// where none lowers it by more than chance leaves in it.
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
        self.with_field_capacity_measured
            .map(|left| (Help::FieldCapacity, left))
            .into_iter()
            .chain(exact)
            .min_by(|a, b| a.1.in_band.total_cmp(&b.1.in_band))
            .filter(|(_, left)| left.in_band < self.now.in_band - self.numerical)
    }
}

/// What might be done about it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Help {
    /// A field capacity measured on the bed.
    FieldCapacity,
    /// A calibration without error.
    Calibration,
    /// An allowed depletion known exactly.
    CropFigure,
}

/// The risk of refill and stop for a soil and a crop, as far as this calibration,
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
    (refill, stop): (Vwc, Vwc),
    seed: u64,
) -> Result<Risk, IrrigationError> {
    if !(0.0..=1.0).contains(&allowed_depletion_u) {
        return Err(IrrigationError::DepletionUncertainty {
            u: allowed_depletion_u,
        });
    }
    let temperature = calibration.temperature.map(|term| term.reference);
    let model = Model {
        reading: NewReading::of(calibration, temperature)?,
        refill: Place::at(calibration, refill.value())?,
        band: (0..PLACES)
            .map(|i| {
                let share = (i as f64 + 0.5) / PLACES as f64;
                let theta = refill.value() + share * (stop.value() - refill.value());
                Place::at(calibration, theta)
            })
            .collect::<Result<_, _>>()?,
        water: *water,
        allowed: Estimate::new(allowed_depletion.value(), allowed_depletion_u),
    };
    let measurable = water.field_capacity.u > MEASURED_FIELD_CAPACITY_U;
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
    Ok(model.told(&drawn, measurable, &settings))
}

/// A water content and the count at which the controller reads it.
struct Place {
    theta: f64,
    count: f64,
}

impl Place {
    fn at(calibration: &Calibration, theta: f64) -> Result<Self, IrrigationError> {
        let count = calibration
            .count_at(Vwc::new(theta)?)
            .map_err(|error: CurveError| IrrigationError::Curve(error))?;
        Ok(Self { theta, count })
    }
}

/// What is drawn, all of it or with one thing known.
#[derive(Clone, Copy, PartialEq)]
enum Case {
    Now,
    Known(Origin),
    FieldCapacityMeasured,
}

const CASES: [Case; 5] = [
    Case::Now,
    Case::Known(Origin::Calibration),
    Case::Known(Origin::SoilWater),
    Case::Known(Origin::Crop),
    Case::FieldCapacityMeasured,
];

/// Outputs of one case: at refill, in the band, depletion.
const FIGURES: usize = 3;
/// Those of every case, then the difference each origin makes alone.
const OUTPUTS: usize = FIGURES * CASES.len() + Origin::ALL.len();

struct Model<'a> {
    reading: NewReading<'a>,
    refill: Place,
    band: Vec<Place>,
    water: SoilWater,
    allowed: Estimate<f64>,
}

/// One draw of what a soil holds between drainage and roots.
#[derive(Clone, Copy)]
struct Held {
    capacity: f64,
    wilting: f64,
}

impl Held {
    /// The least the soil should hold, m3/m3.
    fn limit(self, depletion: f64) -> f64 {
        self.capacity - depletion * (self.capacity - self.wilting)
    }

    /// Share of the available water used up at `theta`.
    fn depletion(self, theta: f64) -> f64 {
        (self.capacity - theta) / (self.capacity - self.wilting).max(LEAST_AVAILABLE)
    }
}

impl Model<'_> {
    fn draw(&self, draws: &mut Draws, out: &mut [f64]) {
        let place = draws.random_range(0..self.band.len());
        let read = &self.band[place];
        let mut theta = [0.0; 2];
        self.reading
            .draw(&[self.refill.count, read.count], draws, &mut theta);
        let standard: f64 = StandardNormal.sample(draws);
        let allowed = (self.allowed.value + self.allowed.u * standard).clamp(0.0, 1.0);
        let (water, measured) = self.soil(draws);
        let as_told = self.told_soil();

        let mut figures = out.chunks_exact_mut(FIGURES);
        for (case, out) in CASES.iter().zip(&mut figures) {
            let held = match case {
                Case::Known(Origin::SoilWater) => as_told,
                Case::FieldCapacityMeasured => measured,
                _ => water,
            };
            let allowed = match case {
                Case::Known(Origin::Crop) => self.allowed.value,
                _ => allowed,
            };
            let [at_refill, in_band] = match case {
                Case::Known(Origin::Calibration) => [self.refill.theta, read.theta],
                _ => theta,
            };
            let limit = held.limit(allowed);
            out.copy_from_slice(&[
                f64::from(u8::from(at_refill < limit)),
                f64::from(u8::from(in_band < limit)),
                held.depletion(at_refill),
            ]);
        }
        let alone = [
            theta[0] - self.refill.theta,
            water.limit(self.allowed.value),
            as_told.limit(allowed),
        ];
        let last = out.len() - alone.len();
        out[last..].copy_from_slice(&alone);
    }

    /// Field capacity and wilting point as they are taken.
    fn told_soil(&self) -> Held {
        Held {
            capacity: self.water.field_capacity.value.value(),
            wilting: self.water.wilting_point.value.value(),
        }
    }

    /// Field capacity and wilting point drawn as they are known, and from the same
    /// numbers as they would be with field capacity measured.
    fn soil(&self, draws: &mut Draws) -> (Held, Held) {
        let told = self.told_soil();
        let r = self.water.correlation.clamp(-1.0, 1.0);
        let (of_capacity, of_wilting) = (self.water.field_capacity.u, self.water.wilting_point.u);
        for _ in 0..TRIES {
            let first: f64 = StandardNormal.sample(draws);
            let second: f64 = StandardNormal.sample(draws);
            let follows = r * first + (1.0 - r * r).sqrt() * second;
            let known = Held {
                capacity: told.capacity + of_capacity * first,
                wilting: told.wilting + of_wilting * follows,
            };
            // A measured value no longer goes with what tables say of the other.
            let measured = Held {
                capacity: told.capacity + of_capacity.min(MEASURED_FIELD_CAPACITY_U) * first,
                wilting: told.wilting + of_wilting * second,
            };
            let sound = |held: &Held| held.wilting < held.capacity;
            if sound(&known) && sound(&measured) {
                return (known, measured);
            }
        }
        (told, told)
    }

    fn told(&self, drawn: &[Propagated], measurable: bool, settings: &MonteCarlo) -> Risk {
        let shortfall = |case: Case| {
            let at = FIGURES * CASES.iter().position(|one| *one == case).unwrap_or(0);
            let figure = |i: usize| drawn.get(at + i);
            Shortfall {
                at_refill: figure(0).map_or(0.0, |p| p.estimate),
                in_band: figure(1).map_or(0.0, |p| p.estimate),
                depletion: figure(2).map_or(0.0, |p| p.high),
            }
        };
        let alone = &drawn[drawn.len().saturating_sub(Origin::ALL.len())..];
        let whole: f64 = alone.iter().map(|one| one.standard.powi(2)).sum();
        let mut contributors: Vec<Contributor> = Origin::ALL
            .into_iter()
            .zip(alone)
            .map(|(origin, one)| Contributor {
                origin,
                u: one.standard,
                variance_share: if whole > 0.0 {
                    one.standard.powi(2) / whole
                } else {
                    0.0
                },
                if_known: shortfall(Case::Known(origin)),
            })
            .collect();
        contributors.sort_by(|a, b| b.variance_share.total_cmp(&a.variance_share));
        let draws = drawn.first().map_or(0, |p| p.draws);
        // Standard error of a share p of n draws: sqrt(p (1 - p) / n).
        let chance = drawn
            .chunks_exact(FIGURES)
            .take(CASES.len())
            .flat_map(|case| case.iter().take(2))
            .map(|p| (p.estimate * (1.0 - p.estimate)).max(0.0).sqrt())
            .fold(0.0, f64::max);
        Risk {
            now: shortfall(Case::Now),
            contributors,
            with_field_capacity_measured: measurable
                .then(|| shortfall(Case::FieldCapacityMeasured)),
            allowed_depletion: self.allowed,
            numerical: 2.0 * chance / (draws.max(1) as f64).sqrt(),
            draws,
            seed: settings.seed,
        }
    }
}

#[cfg(test)]
mod tests;
