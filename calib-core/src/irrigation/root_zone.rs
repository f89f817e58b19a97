//! Several probes at several depths, weighted into one value for the root zone.
//!
//! Each probe speaks for the slice of soil nearest to it: from half way to the
//! probe above (the first from the surface) to half way to the probe below (the
//! last to the end of the roots). It weighs
//!
//! * by the thickness of its slice, so that the value times the root depth is the
//!   water in the root zone (what we take where nothing is said); or
//! * by what roots draw from its slice: 40, 30, 20 and 10 % from the quarters of
//!   the root depth, top to bottom (common practice).
//!
//! A probe below the roots does not count: it speaks for soil the crop does not
//! draw from.
//!
//! At a set point every layer has used up the same share of its own available
//! water; what each probe shows there follows from that.
//!
//! What one probe is unsure of is taken as independent of the others, save the
//! ring volume all cores share. Field capacities and wilting points of the layers
//! are taken to be off together, as tables lean one way for all soils; between
//! soils measured one by one that overstates.

use super::available::WaterLeft;
use super::dead_band::{DayOfReadings, DeadBandGovernor, LeastBand, least_band};
use super::scale::Scale;
use super::{Demand, IrrigationError, SetPoint};
use crate::calibration::Calibration;
use crate::quantity::{Estimate, Millimetre, Quantity, Vwc};
use crate::soil::SoilWater;
use crate::uncertainty::Source;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// What roots draw from each quarter of their depth, top to bottom. Common
/// practice.
const UPTAKE_BY_QUARTER: [f64; 4] = [0.4, 0.3, 0.2, 0.1];

/// What a probe's share in the root zone goes by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Weighting {
    /// The thickness of its slice.
    #[default]
    Slices,
    /// What roots draw from its slice.
    RootUptake,
}

impl fmt::Display for Weighting {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Weighting::Slices => "the slice of the root zone nearest to each probe",
            Weighting::RootUptake => {
                "what roots draw from the slice nearest to each probe, 40, 30, 20 and 10 % by quarters of their depth"
            }
        })
    }
}

/// One probe of a root zone.
#[derive(Debug, Clone, Copy)]
pub struct Layer<'a> {
    /// How deep it lies.
    pub depth: Millimetre,
    /// Its calibration.
    pub calibration: &'a Calibration,
    /// The water its soil holds.
    pub water: SoilWater,
    /// How it is read, and what moves its readings within a day.
    pub day: DayOfReadings,
}

/// What one probe shows at the set points of the root zone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LayerPoint {
    /// The probe.
    pub probe: String,
    /// Its soil.
    pub soil: String,
    /// Its depth.
    pub depth: Millimetre,
    /// Its weight; those of a root zone add up to 1.
    pub weight: f64,
    /// theta_v there when the root zone is at refill, m3/m3.
    pub refill: f64,
    /// theta_v there when the root zone is at stop, m3/m3.
    pub stop: f64,
    /// `refill` as a whole count at the reference temperature.
    pub refill_count: f64,
    /// `stop` as a whole count at the reference temperature.
    pub stop_count: f64,
}

/// A probe that does not count, since it lies below the roots.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProbeBelowRoots {
    /// The probe.
    pub probe: String,
    /// Its depth.
    pub depth: Millimetre,
}

/// A set point of the root zone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RootZonePoint {
    /// What is left there, with the uncertainty of the readings.
    pub left: WaterLeft,
    /// Standard uncertainty of theta_v against the set point the soil should have:
    /// of the readings and of the soil's figures, m3/m3.
    pub combined_u: f64,
}

/// The set points of a root zone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RootZone {
    /// What the weights go by.
    pub weighting: Weighting,
    /// The water the root zone holds, weighted.
    pub water: SoilWater,
    /// Where an irrigation starts.
    pub refill: RootZonePoint,
    /// Where it stops.
    pub stop: RootZonePoint,
    /// The probes among the roots, from the top.
    pub layers: Vec<LayerPoint>,
    /// The probes below the roots, in the order given.
    pub below_roots: Vec<ProbeBelowRoots>,
    /// Width the allowed depletion asks for, m3/m3.
    pub depletion_band: f64,
    /// Width it takes for the pump to keep still, m3/m3.
    pub least_band: f64,
    /// What decided the width of the dead band.
    pub governor: DeadBandGovernor,
    /// Share of the available water used up at refill.
    pub depletion_at_refill: f64,
    /// Root depth.
    pub root_depth: Millimetre,
    /// Depth of water from refill to stop over the root depth.
    pub net_depth: Millimetre,
}

/// The weight of each probe, in the order given; they add up to 1, and a probe
/// below the roots has none. `probes` are name and depth.
///
/// # Errors
/// [`IrrigationError::BelowRoots`] if all probes lie there,
/// [`IrrigationError::SameDepth`], [`IrrigationError::NoProbe`],
/// [`IrrigationError::NoRootZone`].
///
/// # Example
/// ```
/// use calib_core::irrigation::{Weighting, weights};
/// use calib_core::quantity::{Millimetre, Quantity};
/// let depth = |mm| Millimetre::new(mm);
/// // 0 to 200 mm and 200 to 400 mm.
/// let found = weights(&[("a", depth(100.0)?), ("b", depth(300.0)?)], depth(400.0)?, Weighting::RootUptake)?;
/// assert!((found[0] - 0.7).abs() < 1e-12 && (found[1] - 0.3).abs() < 1e-12);
/// # Ok::<(), calib_core::irrigation::IrrigationError>(())
/// ```
pub fn weights(
    probes: &[(&str, Millimetre)],
    root_depth: Millimetre,
    weighting: Weighting,
) -> Result<Vec<f64>, IrrigationError> {
    let roots = root_depth.value();
    if roots <= 0.0 {
        return Err(IrrigationError::NoRootZone);
    }
    let mut order: Vec<(usize, &str, f64)> = probes
        .iter()
        .enumerate()
        .map(|(place, (name, depth))| (place, *name, depth.value()))
        .collect();
    order.sort_by(|a, b| a.2.total_cmp(&b.2));
    match order.first() {
        None => return Err(IrrigationError::NoProbe),
        Some((_, probe, depth)) if *depth > roots => {
            return Err(IrrigationError::BelowRoots {
                probe: (*probe).to_owned(),
                depth: *depth,
                root_depth: roots,
            });
        }
        Some(_) => order.retain(|(_, _, depth)| *depth <= roots),
    }
    let mut found = vec![0.0; probes.len()];
    let mut top = 0.0;
    for (i, (place, name, depth)) in order.iter().enumerate() {
        let bottom = match order.get(i + 1) {
            None => roots,
            Some((_, other, below)) if below == depth => {
                return Err(IrrigationError::SameDepth {
                    one: (*name).to_owned(),
                    other: (*other).to_owned(),
                    depth: *depth,
                });
            }
            Some((_, _, below)) => 0.5 * (depth + below),
        };
        if let Some(weight) = found.get_mut(*place) {
            *weight = share(bottom / roots, weighting) - share(top / roots, weighting);
        }
        top = bottom;
    }
    Ok(found)
}

/// Share of the root zone, or of what roots draw, down to `depth` as a share of
/// the root depth.
fn share(depth: f64, weighting: Weighting) -> f64 {
    match weighting {
        Weighting::Slices => depth,
        Weighting::RootUptake => UPTAKE_BY_QUARTER
            .iter()
            .enumerate()
            .map(|(quarter, uptake)| uptake * (4.0 * depth - quarter as f64).clamp(0.0, 1.0))
            .sum(),
    }
}

/// The set points of a root zone from its probes.
///
/// # Errors
/// As [`weights`]; [`IrrigationError::AtProbe`] where a set point lies beyond what
/// a probe was calibrated for, [`IrrigationError::ReachesWiltingPoint`].
pub fn root_zone(
    layers: &[Layer<'_>],
    demand: &Demand,
    weighting: Weighting,
) -> Result<RootZone, IrrigationError> {
    let named: Vec<(&str, Millimetre)> = layers
        .iter()
        .map(|layer| (layer.calibration.probe.as_str(), layer.depth))
        .collect();
    let weights = weights(&named, demand.root_depth, weighting)?;
    let zone: Vec<Weighted<'_>> = layers
        .iter()
        .zip(&weights)
        .filter(|(layer, _)| layer.depth.value() <= demand.root_depth.value())
        .map(|(layer, weight)| Weighted {
            layer,
            weight: *weight,
            scale: Scale::of(layer.calibration),
        })
        .collect();
    let water = mixed(&zone)?;
    let available = water.available().value;
    let capacity = water.field_capacity.value.value();
    let stop = point(&zone, SetPoint::Stop, 0.0)?;
    let asked = demand.allowed_depletion.value();
    let depletion_band = asked * available;
    let mut depletion = asked;
    let mut governor = DeadBandGovernor::AllowedDepletion;
    let least: Vec<LeastBand> = zone
        .iter()
        .zip(&stop.layers)
        .map(|(one, count)| least_band(one.layer.calibration, *count, &one.layer.day))
        .collect();
    let wilting_point = water.wilting_point.value.value();
    let (refill, least_width) = loop {
        let refill = point(&zone, SetPoint::Refill, depletion)?;
        if refill.theta <= wilting_point {
            return Err(IrrigationError::ReachesWiltingPoint {
                refill: refill.theta,
                wilting_point,
                governor,
            });
        }
        let width = width(&zone, &least, &refill);
        let lacking = width - (stop.theta - refill.theta);
        if lacking <= 0.0 {
            break (refill, width);
        }
        governor = DeadBandGovernor::ProbeResolution;
        // A little more than lacks, so that whole counts are passed.
        depletion += (1.01 * lacking + 1e-4) / available;
    };
    let at = |point: &Point| -> Result<RootZonePoint, IrrigationError> {
        let u = reading_u(&zone, point)?;
        let target = water.depleted_by((capacity - point.theta) / available);
        Ok(RootZonePoint {
            left: WaterLeft::at(Estimate::new(point.theta, u), &water, demand.root_depth),
            combined_u: u.hypot(target.u),
        })
    };
    let mut found: Vec<LayerPoint> = zone
        .iter()
        .zip(refill.layers.iter().zip(&stop.layers))
        .map(|(layer, (refill, stop))| LayerPoint {
            probe: layer.layer.calibration.probe.clone(),
            soil: layer.layer.calibration.soil.clone(),
            depth: layer.layer.depth,
            weight: layer.weight,
            refill: layer.scale.theta(*refill),
            stop: layer.scale.theta(*stop),
            refill_count: *refill,
            stop_count: *stop,
        })
        .collect();
    found.sort_by(|a, b| a.depth.value().total_cmp(&b.depth.value()));
    Ok(RootZone {
        weighting,
        water,
        refill: at(&refill)?,
        stop: at(&stop)?,
        layers: found,
        below_roots: layers
            .iter()
            .filter(|layer| layer.depth.value() > demand.root_depth.value())
            .map(|layer| ProbeBelowRoots {
                probe: layer.calibration.probe.clone(),
                depth: layer.depth,
            })
            .collect(),
        depletion_band,
        least_band: least_width,
        governor,
        depletion_at_refill: (capacity - refill.theta) / available,
        root_depth: demand.root_depth,
        net_depth: Millimetre::new((stop.theta - refill.theta) * demand.root_depth.value())?,
    })
}

struct Weighted<'a> {
    layer: &'a Layer<'a>,
    weight: f64,
    scale: Scale<'a>,
}

/// A wetness of the root zone, and the whole count of each probe there.
struct Point {
    theta: f64,
    layers: Vec<f64>,
}

/// The root zone once `depletion` of the available water is used up everywhere.
fn point(
    zone: &[Weighted<'_>],
    set_point: SetPoint,
    depletion: f64,
) -> Result<Point, IrrigationError> {
    let mut found = Point {
        theta: 0.0,
        layers: Vec::with_capacity(zone.len()),
    };
    for layer in zone {
        let theta = layer.layer.water.depleted_by(depletion).value;
        let count = layer
            .scale
            .whole_count(set_point, theta)
            .map_err(|error| error.at_probe(&layer.layer.calibration.probe))?;
        found.theta += layer.weight * layer.scale.theta(count);
        found.layers.push(count);
    }
    Ok(found)
}

/// Field capacity and wilting point of the root zone.
fn mixed(zone: &[Weighted<'_>]) -> Result<SoilWater, IrrigationError> {
    let sum = |of: &dyn Fn(&SoilWater) -> f64| -> f64 {
        zone.iter().map(|l| l.weight * of(&l.layer.water)).sum()
    };
    let capacity_u = sum(&|water| water.field_capacity.u);
    let wilting_u = sum(&|water| water.wilting_point.u);
    let together: f64 = zone
        .iter()
        .flat_map(|a| zone.iter().map(move |b| (a, b)))
        .map(|(a, b)| {
            let correlation = 0.5 * (a.layer.water.correlation + b.layer.water.correlation);
            let (capacity, wilting) = (a.layer.water.field_capacity, b.layer.water.wilting_point);
            a.weight * b.weight * correlation * capacity.u * wilting.u
        })
        .sum();
    let product = capacity_u * wilting_u;
    Ok(SoilWater {
        field_capacity: Estimate::new(
            Vwc::new(sum(&|water| water.field_capacity.value.value()))?,
            capacity_u,
        ),
        wilting_point: Estimate::new(
            Vwc::new(sum(&|water| water.wilting_point.value.value()))?,
            wilting_u,
        ),
        correlation: if product > 0.0 {
            (together / product).clamp(-1.0, 1.0)
        } else {
            0.0
        },
    })
}

/// Width it takes for the pump to keep still, m3/m3, with each curve as steep as
/// at `point`: noise of the probes adds in squares, what temperature, drift and
/// rounding move adds up.
fn width(zone: &[Weighted<'_>], least: &[LeastBand], point: &Point) -> f64 {
    let (mut squares, mut sum) = (0.0, 0.0);
    for ((layer, least), count) in zone.iter().zip(least).zip(&point.layers) {
        let per_count = layer.weight * layer.layer.calibration.curve.slope(*count).abs();
        // One count of the noise part is rounding.
        squares += (per_count * (least.noise_counts - 1.0)).powi(2);
        sum += per_count * (1.0 + least.temperature_counts + least.drift_counts);
    }
    squares.sqrt() + sum
}

/// Standard uncertainty of the weighted reading at `point`, m3/m3.
fn reading_u(zone: &[Weighted<'_>], point: &Point) -> Result<f64, IrrigationError> {
    let (mut squares, mut shared) = (0.0, 0.0);
    for (layer, count) in zone.iter().zip(&point.layers) {
        let calibration = layer.layer.calibration;
        let reference = calibration.temperature.map(|term| term.reference);
        let budget = calibration.predict(*count, reference)?.budget;
        let own = budget.only(|source| source != Source::CoreVolume);
        let ring = budget.only(|source| source == Source::CoreVolume);
        squares += (layer.weight * own.standard()).powi(2);
        shared += layer.weight * ring.standard();
    }
    Ok(squares.sqrt().hypot(shared))
}

#[cfg(test)]
mod tests;
