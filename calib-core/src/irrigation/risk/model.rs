//! One draw of everything, and what all draws come to.

use super::{Contributor, MEASURED_SOIL_WATER_U, Origin, Risk, Shortfall};
use crate::calibration::{Calibration, NewReading};
use crate::irrigation::IrrigationError;
use crate::quantity::{Estimate, Quantity, Vwc};
use crate::soil::SoilWater;
use crate::uncertainty::{Draws, MonteCarlo, Propagated};
use rand::RngExt;
use rand_distr::{Distribution, StandardNormal};
use statrs::distribution::{ContinuousCDF, Normal};

/// Readings spread evenly over the dead band, in theta_v.
const PLACES: usize = 64;

/// Least available water a depletion is a share of, m3/m3.
const LEAST_AVAILABLE: f64 = 1e-3;

/// How often field capacity and wilting point are drawn again before they are
/// taken as they are.
const TRIES: usize = 50;

/// A water content and the count at which the controller reads it.
struct Place {
    theta: f64,
    count: f64,
}

impl Place {
    fn at(calibration: &Calibration, theta: f64) -> Result<Self, IrrigationError> {
        let count = calibration
            .count_at(Vwc::new(theta)?)
            .map_err(IrrigationError::Curve)?;
        Ok(Self { theta, count })
    }
}

/// What is drawn, all of it or with one thing known.
#[derive(Clone, Copy, PartialEq)]
enum Case {
    Now,
    Known(Origin),
    FieldCapacityMeasured,
    WiltingPointMeasured,
}

const CASES: [Case; 6] = [
    Case::Now,
    Case::Known(Origin::Calibration),
    Case::Known(Origin::SoilWater),
    Case::Known(Origin::Crop),
    Case::FieldCapacityMeasured,
    Case::WiltingPointMeasured,
];

/// Outputs of one case: at refill, in the band, depletion.
const FIGURES: usize = 3;
/// Those of every case, then the difference each origin makes alone.
pub(super) const OUTPUTS: usize = FIGURES * CASES.len() + Origin::ALL.len();

/// Everything that is drawn from.
pub(super) struct Model<'a> {
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

/// One draw of it as known and as it would be known.
struct SoilDraw {
    known: Held,
    capacity_measured: Held,
    wilting_measured: Held,
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

impl<'a> Model<'a> {
    pub(super) fn of(
        calibration: &'a Calibration,
        water: &SoilWater,
        allowed: Estimate<f64>,
        (refill, stop): (Vwc, Vwc),
    ) -> Result<Self, IrrigationError> {
        let temperature = calibration.temperature.map(|term| term.reference);
        let (refill, stop) = (refill.value(), stop.value());
        Ok(Self {
            reading: NewReading::of(calibration, temperature)?,
            refill: Place::at(calibration, refill)?,
            band: (0..PLACES)
                .map(|i| {
                    let share = (i as f64 + 0.5) / PLACES as f64;
                    Place::at(calibration, refill + share * (stop - refill))
                })
                .collect::<Result<_, _>>()?,
            water: *water,
            allowed,
        })
    }

    /// Draws once and writes [`OUTPUTS`] figures.
    pub(super) fn draw(&self, draws: &mut Draws, out: &mut [f64]) {
        let place = draws.random_range(0..self.band.len());
        let read = &self.band[place];
        let mut theta = [0.0; 2];
        self.reading
            .draw(&[self.refill.count, read.count], draws, &mut theta);
        let standard: f64 = StandardNormal.sample(draws);
        let allowed = (self.allowed.value + self.allowed.u * standard).clamp(0.0, 1.0);
        let soil = self.soil(draws);
        let as_told = self.told_soil();

        let mut figures = out.chunks_exact_mut(FIGURES);
        for (case, out) in CASES.iter().zip(&mut figures) {
            let held = match case {
                Case::Known(Origin::SoilWater) => as_told,
                Case::FieldCapacityMeasured => soil.capacity_measured,
                Case::WiltingPointMeasured => soil.wilting_measured,
                _ => soil.known,
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
            soil.known.limit(self.allowed.value),
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
    /// numbers as they would be with one of them measured. Each of the three is
    /// drawn again by itself where the wilting point would not be the lower.
    fn soil(&self, draws: &mut Draws) -> SoilDraw {
        let told = self.told_soil();
        let r = self.water.correlation.clamp(-1.0, 1.0);
        let (of_capacity, of_wilting) = (self.water.field_capacity.u, self.water.wilting_point.u);
        let mut sound: [Option<Held>; 3] = [None; 3];
        for _ in 0..TRIES {
            let first: f64 = StandardNormal.sample(draws);
            let second: f64 = StandardNormal.sample(draws);
            let held = |of_capacity: f64, of_wilting: f64, wilting: f64| Held {
                capacity: told.capacity + of_capacity * first,
                wilting: told.wilting + of_wilting * wilting,
            };
            let follows = r * first + (1.0 - r * r).sqrt() * second;
            // A measured value no longer goes with what tables say of the other.
            let drawn = [
                held(of_capacity, of_wilting, follows),
                held(of_capacity.min(MEASURED_SOIL_WATER_U), of_wilting, second),
                held(of_capacity, of_wilting.min(MEASURED_SOIL_WATER_U), second),
            ];
            for (sound, held) in sound.iter_mut().zip(drawn) {
                if sound.is_none() && held.wilting < held.capacity {
                    *sound = Some(held);
                }
            }
            if sound.iter().all(Option::is_some) {
                break;
            }
        }
        let [known, capacity_measured, wilting_measured] = sound.map(|held| held.unwrap_or(told));
        SoilDraw {
            known,
            capacity_measured,
            wilting_measured,
        }
    }

    /// What the draws of every output come to.
    pub(super) fn told(&self, drawn: &[Propagated], settings: &MonteCarlo) -> Risk {
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
        // Where it is known as well already, measuring tells nothing.
        let measured = |u: f64, case: Case| (u > MEASURED_SOIL_WATER_U).then(|| shortfall(case));
        Risk {
            now: shortfall(Case::Now),
            contributors,
            with_field_capacity_measured: measured(
                self.water.field_capacity.u,
                Case::FieldCapacityMeasured,
            ),
            with_wilting_point_measured: measured(
                self.water.wilting_point.u,
                Case::WiltingPointMeasured,
            ),
            allowed_depletion: self.allowed,
            depletion_at_refill: self.told_soil().depletion(self.refill.theta),
            upside_down: upside_down(&self.water),
            numerical: 2.0 * chance / (draws.max(1) as f64).sqrt(),
            draws,
            seed: settings.seed,
        }
    }
}

/// Probability that normal field capacity and wilting point come out upside down.
fn upside_down(water: &SoilWater) -> f64 {
    let available = water.available();
    if available.u > 0.0 {
        Normal::standard().sf(available.value / available.u)
    } else {
        0.0
    }
}
