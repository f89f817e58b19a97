//! The water contents at which cores are taken.

use super::container::Packing;
use super::error::{PlanError, within};
use super::notice::PlanNotice;
use super::{LEVELS, Request};
use crate::quantity::{Quantity, Vwc};

/// Share of the pores that water fills without much ado; beyond it trapped air
/// stays behind. Common practice, from memory.
pub const NEAR_SATURATION: f64 = 0.9;
/// Levels closer than this, m3/m3, cannot be told from one another: cores of one
/// wetness differ by as much. Our choice.
const LEAST_GAP: f64 = 0.01;
/// Levels from which a bent curve shows. Common practice.
const ENOUGH_LEVELS: usize = 5;
/// Levels from which two can be put where the soil is watered: both ends beside them.
const FEWEST_TO_MOVE: usize = 4;
/// Room for the rounding of decimal figures, m3/m3.
const ROUND_OFF: f64 = 1e-9;

/// The levels asked for.
#[derive(Debug, Clone, PartialEq)]
pub enum LevelsAsked {
    /// So many, evenly from the stock as it is to [`NEAR_SATURATION`] of the pores;
    /// where none then lies between wilting point and field capacity, two are
    /// put there and the rest evenly above.
    Even(usize),
    /// These water contents, in any order.
    Targets(Vec<Vwc>),
}

/// `count` water contents from `lowest` to `highest`, evenly spaced: `count` of two or
/// more.
pub fn even(lowest: f64, highest: f64, count: usize) -> Vec<f64> {
    let gap = (highest - lowest) / (count.max(2) - 1) as f64;
    (0..count)
        .map(|place| lowest + gap * place as f64)
        .collect()
}

/// `count` levels from the stock to the wettest, never all of them outside the water
/// that plants use if there is room for it.
fn spread(request: &Request, stock: f64, highest: f64, count: usize) -> Vec<f64> {
    let evenly = even(stock, highest, count);
    let water = request.soil.wilting_point.zip(request.soil.field_capacity);
    let Some((dry, wet)) = water.map(|(dry, wet)| (dry.value(), wet.value())) else {
        return evenly;
    };
    let there = evenly.iter().filter(|theta| (dry..=wet).contains(*theta));
    if there.count() > 0 || count < FEWEST_TO_MOVE {
        return evenly;
    }
    let third = (wet - dry) / 3.0;
    let (first, second) = if third >= LEAST_GAP {
        (dry + third, wet - third)
    } else {
        (dry + (wet - dry) / 2.0, wet)
    };
    let above = even(second, highest, count - 2);
    let roomy = first - stock >= LEAST_GAP
        && second - first >= LEAST_GAP
        && highest - second >= LEAST_GAP * (count - 3) as f64;
    if !roomy {
        return evenly;
    }
    [stock, first].into_iter().chain(above).collect()
}

/// The targets from dry to wet, m3/m3.
pub(super) fn targets(
    request: &Request,
    packing: &Packing,
    notices: &mut Vec<PlanNotice>,
) -> Result<Vec<f64>, PlanError> {
    let stock = packing.stock_theta_v;
    let targets = match &request.levels {
        LevelsAsked::Even(count) => {
            within("levels", *count, LEVELS)?;
            let highest = NEAR_SATURATION * packing.porosity;
            if highest - stock < LEAST_GAP * *count as f64 {
                return Err(PlanError::StockTooWet { stock, highest });
            }
            spread(request, stock, highest, *count)
        }
        LevelsAsked::Targets(given) => {
            within("levels", given.len(), LEVELS)?;
            let mut targets: Vec<f64> = given.iter().map(|target| target.value()).collect();
            targets.sort_by(f64::total_cmp);
            targets
        }
    };
    for pair in targets.windows(2) {
        if let [first, second] = *pair
            && second - first < LEAST_GAP - ROUND_OFF
        {
            return Err(PlanError::TooClose {
                first,
                second,
                least: LEAST_GAP,
            });
        }
    }
    for &target in &targets {
        if target < stock - ROUND_OFF {
            return Err(PlanError::DrierThanStock {
                target,
                stock,
                stock_water: request.soil.stock_water.value(),
            });
        }
        if target > packing.porosity + ROUND_OFF {
            return Err(PlanError::AbovePorosity {
                target,
                porosity: packing.porosity,
            });
        }
        let saturation = target / packing.porosity;
        if saturation > NEAR_SATURATION + ROUND_OFF {
            notices.push(PlanNotice::NearSaturation { target, saturation });
        }
    }
    look_at_water(request, packing, notices);
    look_at_ends(request, packing, &targets, notices);
    Ok(targets)
}

/// Says where field capacity does not go with the density or the stock.
fn look_at_water(request: &Request, packing: &Packing, notices: &mut Vec<PlanNotice>) {
    let Some(field_capacity) = request.soil.field_capacity.map(Vwc::value) else {
        return;
    };
    let (porosity, stock) = (packing.porosity, packing.stock_theta_v);
    if field_capacity > porosity {
        notices.push(PlanNotice::FieldCapacityAbovePores {
            field_capacity,
            porosity,
        });
    }
    if stock > field_capacity {
        notices.push(PlanNotice::StockWet {
            stock,
            field_capacity,
        });
    }
}

/// Says where the levels leave out what set points need.
fn look_at_ends(
    request: &Request,
    packing: &Packing,
    targets: &[f64],
    notices: &mut Vec<PlanNotice>,
) {
    let (Some(&driest), Some(&wettest)) = (targets.first(), targets.last()) else {
        return;
    };
    if targets.len() < ENOUGH_LEVELS {
        notices.push(PlanNotice::FewLevels {
            levels: targets.len(),
        });
    }
    if let Some(wilting_point) = request.soil.wilting_point.map(Vwc::value)
        && driest >= wilting_point
    {
        notices.push(PlanNotice::DriestNotDry {
            driest,
            wilting_point,
        });
    }
    if let Some(field_capacity) = request.soil.field_capacity.map(Vwc::value)
        && wettest <= field_capacity
        // Beyond the pores no level can be added.
        && field_capacity < packing.porosity
    {
        notices.push(PlanNotice::WettestNotWet {
            wettest,
            field_capacity,
        });
    }
}
