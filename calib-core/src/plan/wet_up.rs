//! Water to add before each level, from dry to wet.
//!
//! Cores take soil and water away; stock, air-dry, makes the soil good. With packed
//! volume V, water density rho_w, N cores of volume v, and stock of w g/g at dry bulk
//! density rho_b, the water to add between levels a and b is the balance
//! `rho_w V theta_b - rho_w (V - N v) theta_a - w rho_b N v`, and before the first
//! level `rho_w V theta - w rho_b V`. Both follow from conservation of mass. Since dry
//! soil stays the same, so does what the container must show at each level, whatever
//! was lost to the air in between: that mass is the one to go by.

use super::Request;
use super::container::{Packing, lifting};
use super::equilibration::{Grain, wait_h};
use super::error::PlanError;
use super::notice::PlanNotice;
use crate::quantity::{Quantity, Vwc};
use schemars::JsonSchema;
use serde::Serialize;

/// Wettest soil that can be sieved and packed where field capacity is not known, as
/// a share of the pores. Our choice: near field capacity of most soils.
const WORKABLE: f64 = 0.6;
/// Stock kept in reserve, as a share of what is packed: for what sieves and hands
/// lose, and for measuring its water. Our choice.
const RESERVE: f64 = 0.1;
/// Less water than this, as a share of the volume, is not added.
const NOTHING: f64 = 5e-4;

/// How the water of a level gets into the soil.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum WettingMethod {
    /// The stock is packed as it is.
    AsItIs,
    /// Empty, sieve, spray and mix, pack anew.
    Mix,
    /// Mix up to what can still be sieved, pack, pour on the rest.
    MixThenPour,
    /// Too wet to sieve: fill the holes with moistened stock, pour on the rest.
    Pour,
}

/// Where a level stands and is read, so that temperature varies without regard to
/// wetness and its effect can be told from that of water.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Warmth {
    /// Some 10 C below the room: a cellar or a cool box.
    Cool,
    /// The room.
    Room,
    /// Some 10 C above it: near a heater, never on one.
    Warm,
}

impl Warmth {
    /// The place of level `number` (from 1) of `levels`: ends alike, so that the
    /// temperature has no slope against wetness, and by turns towards the middle. Of four
    /// levels that would be a parabola, the very bend of a curve: they go by turns from
    /// end to end, at the price of some slope.
    fn of(number: usize, levels: usize) -> Self {
        let from_the_end = match levels {
            4 => number,
            _ => number.min(levels + 1 - number),
        };
        if 2 * number == levels + 1 {
            Warmth::Room
        } else if from_the_end % 2 == 1 {
            Warmth::Cool
        } else {
            Warmth::Warm
        }
    }
}

/// One level: what to do before it is read.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Step {
    /// Level, from 1 for the driest.
    pub level: usize,
    /// Target water content, m3/m3.
    pub theta_v: f64,
    /// Share of the pores that water then fills.
    pub saturation: f64,
    /// Stock to put in, as it is (dry soil and its own water), g: the first filling,
    /// afterwards what the cores took.
    pub stock_to_add_g: f64,
    /// Water to add, g.
    pub water_to_add_g: f64,
    /// The same, ml at the water's temperature.
    pub water_to_add_ml: f64,
    /// How it gets into the soil.
    pub method: WettingMethod,
    /// Part of the water that is mixed in, ml.
    pub mix_in_ml: f64,
    /// Part of it that is poured on, ml.
    pub pour_on_ml: f64,
    /// What soil and water in the container must weigh together, g; the empty
    /// container comes on top.
    pub contents_g: f64,
    /// The same with the empty container, g, where that was weighed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub container_g: Option<f64>,
    /// Hours to wait, closed, before it is read.
    pub wait_h: u32,
    /// Where it stands meanwhile and is read.
    pub place: Warmth,
}

/// Stock to have ready, air-dry and sieved.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct StockNeeded {
    /// For the first filling, g.
    pub first_g: f64,
    /// To make good what the cores take, over all levels but the last, g.
    pub refill_g: f64,
    /// In reserve, g.
    pub reserve_g: f64,
    /// All together, g.
    pub total_g: f64,
    /// Water over all levels, ml.
    pub water_ml: f64,
}

/// The steps, and the stock they need.
pub(super) fn steps(
    request: &Request,
    packing: &Packing,
    targets: &[f64],
    notices: &mut Vec<PlanNotice>,
) -> Result<(Vec<Step>, StockNeeded), PlanError> {
    let soil = &request.soil;
    let rho_w = packing.water_density_g_cm3;
    let volume = packing.packed_ml;
    let taken = request.cores_per_level as f64 * request.core.volume.value();
    let refill_dry = packing.bulk_density_g_cm3 * taken;
    let refill_water = soil.stock_water.value() * refill_dry;
    let workable = workable(request, packing);

    let mut steps = Vec::with_capacity(targets.len());
    let mut before: Option<f64> = None;
    for (place, &theta) in targets.iter().enumerate() {
        let (held, stock_to_add_g) = match before {
            None => (packing.stock_water_g, packing.stock_g),
            Some(last) => (
                rho_w * (volume - taken) * last + refill_water,
                refill_dry + refill_water,
            ),
        };
        let wanted = rho_w * volume * theta;
        // Never below zero but by rounding: targets rise, and none is below the stock.
        let add = match wanted - held {
            add if add < NOTHING * rho_w * volume => 0.0,
            add => add,
        };
        let sieved = before.is_none_or(|last| last <= workable);
        let (method, mix_in) = if add == 0.0 {
            (WettingMethod::AsItIs, 0.0)
        } else if !sieved {
            let moist = rho_w * taken * workable - refill_water;
            (WettingMethod::Pour, moist.clamp(0.0, add))
        } else if theta <= workable {
            (WettingMethod::Mix, add)
        } else {
            let mixed = rho_w * volume * workable - held;
            (WettingMethod::MixThenPour, mixed.clamp(0.0, add))
        };
        let contents_g = packing.dry_soil_g + wanted;
        steps.push(Step {
            level: place + 1,
            theta_v: theta,
            saturation: theta / packing.porosity,
            stock_to_add_g,
            water_to_add_g: add,
            water_to_add_ml: add / rho_w,
            method,
            mix_in_ml: mix_in / rho_w,
            pour_on_ml: (add - mix_in) / rho_w,
            contents_g,
            container_g: packing.container_tare_g.map(|tare| tare + contents_g),
            wait_h: wait_h(soil.grain, method),
            place: Warmth::of(place + 1, targets.len()),
        });
        before = Some(theta);
    }
    let poured = steps.iter().find(|step| step.pour_on_ml > 0.0);
    if let (Some(Grain::Coarse), Some(field_capacity), Some(step)) =
        (soil.grain, soil.field_capacity, poured)
    {
        notices.push(PlanNotice::WaterSinks {
            first: step.level,
            field_capacity: field_capacity.value(),
        });
    }
    let refills = targets.len().saturating_sub(1) as f64;
    let refill_g = refills * (refill_dry + refill_water);
    let reserve_g = RESERVE * (packing.stock_g + refill_g);
    if let Some(heaviest) = steps.last() {
        lifting(heaviest.container_g.unwrap_or(heaviest.contents_g), notices);
    }
    let stock = StockNeeded {
        first_g: packing.stock_g,
        refill_g,
        reserve_g,
        total_g: packing.stock_g + refill_g + reserve_g,
        water_ml: steps.iter().map(|step| step.water_to_add_ml).sum(),
    };
    Ok((steps, stock))
}

/// Wettest water content at which the soil can still be sieved and packed, m3/m3.
fn workable(request: &Request, packing: &Packing) -> f64 {
    request
        .soil
        .field_capacity
        .map_or(WORKABLE * packing.porosity, Vwc::value)
        .min(packing.porosity)
}
