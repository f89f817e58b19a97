//! What the diagnostics of a fit mean for the person with the spade: one plain
//! sentence each, with what to do about it.

mod cores;
mod loss;
mod parameters;
mod set_points;
mod temperature;

use crate::fitted::Fitted;
use crate::text_table::{Column, TextTable};
use calib_core::fit::{
    DryingOrder, Influence, NOTABLE_DISTANCE, PATTERN_LEVEL, Without, drying_order, influence,
    usual_leverage,
};
use calib_core::irrigation::{SetPoint, SetPoints};
use cores::{decisive_cores, pattern};
pub use loss::loss_remark;
use parameters::{ALL_BUT_ONE_NUMBER, Break, Correlation, find_break, strongest};
use schemars::JsonSchema;
use serde::Serialize;
use set_points::{Hinge, hinge_remark, hinges};
use std::fmt::Write as _;
use temperature::{TemperatureCost, temperature_cost, temperature_remark};

/// What is known beside the fit itself.
#[derive(Debug, Clone)]
pub struct Surroundings {
    /// Refill and stop, where they can be placed.
    pub set_points: Option<SetPoints>,
    /// Coolest and warmest soil the probe logged, C.
    pub logged: Option<(f64, f64)>,
}

/// The diagnostics of one fit.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Diagnosis {
    /// Leverage and Cook's distance, one entry a core.
    influence: Vec<Influence>,
    /// Leverage above this is called high.
    high_leverage: f64,
    /// Cook's distance above this is worth a second look.
    notable_distance: f64,
    /// Sides of the curve along the drying order, where cores lie on both.
    drying_order: Option<DryingOrder>,
    /// How far each core moves each set point.
    set_points: Vec<Hinge>,
    /// The two parameters most alike.
    strongest_correlation: Option<Correlation>,
    /// What leaving temperature out costs, or could cost.
    temperature: Option<TemperatureCost>,
    /// The break of a curve of two pieces.
    break_count: Option<Break>,
    /// What of this matters, in words.
    pub remarks: Vec<String>,
    /// What temperature costs and what to do, in words.
    pub temperature_remark: String,
    /// Where the break lies, in words.
    pub break_remark: Option<String>,
}

impl Diagnosis {
    /// Looks at a fit. `parameters` and `correlation` are in the order of its
    /// covariance.
    pub fn new(
        fitted: &Fitted<'_>,
        parameters: &[&str],
        correlation: &[Vec<f64>],
        surroundings: &Surroundings,
    ) -> Self {
        let fit = &fitted.choice.fit;
        let calibration = &fitted.calibration;
        let cores = fit.residuals.len();
        let influence = influence(fit);
        let order = drying_order(fit);
        let hinges = surroundings
            .set_points
            .as_ref()
            .map_or_else(Vec::new, |points| hinges(fit, points));
        let strongest = strongest(parameters, correlation);
        let decision = &fitted.choice.temperature;
        let at = surroundings
            .set_points
            .as_ref()
            .map_or_else(|| calibration.domain.middle(), |p| p.refill_count);
        let cost = temperature_cost(decision, calibration, surroundings.logged, at);
        let broken = find_break(calibration);

        let mut remarks = Vec::new();
        remarks.extend(decisive_cores(fit, &influence));
        remarks.extend(order.as_ref().and_then(|order| {
            (order.p_value < PATTERN_LEVEL).then(|| pattern(order, fitted.choice.asked_for))
        }));
        if let Some(points) = &surroundings.set_points {
            remarks.extend(hinge_remark(&hinges, points.dead_band()));
        }
        remarks.extend(
            strongest
                .as_ref()
                .filter(|pair| pair.correlation.abs() > ALL_BUT_ONE_NUMBER)
                .map(Correlation::remark),
        );
        Self {
            high_leverage: usual_leverage(fit.covariance.len(), cores),
            notable_distance: NOTABLE_DISTANCE / cores.max(1) as f64,
            influence,
            drying_order: order,
            set_points: hinges,
            strongest_correlation: strongest,
            temperature_remark: temperature_remark(decision, cost.as_ref(), surroundings),
            temperature: cost,
            break_remark: broken.as_ref().map(|b| b.remark(calibration.domain)),
            break_count: broken,
            remarks,
        }
    }

    /// The numbers behind the remarks, core by core.
    pub fn details(&self) -> String {
        let mut table = TextTable::new([
            Column::words("core"),
            Column::numbers("leverage", ""),
            Column::numbers("Cook's D", ""),
            Column::numbers("refill without it", "counts"),
            Column::numbers("stop without it", "counts"),
        ]);
        let shift = |point: SetPoint, place: usize| {
            self.set_points
                .iter()
                .find(|hinge| hinge.point == point)
                .and_then(|hinge| hinge.without.get(place))
                .map_or_else(
                    || "-".to_owned(),
                    |core| match core.without {
                        Without::Moved { counts, .. } => format!("{counts:+.1}"),
                        Without::NotReached { .. } => "not reached".to_owned(),
                        Without::NoCurve => "no curve".to_owned(),
                    },
                )
        };
        let marked = |value: f64, limit: f64| {
            let mark = if value > limit { "*" } else { " " };
            format!("{value:.2}{mark}")
        };
        for (place, core) in self.influence.iter().enumerate() {
            table.push([
                core.sample.clone(),
                marked(core.leverage, self.high_leverage),
                core.cooks_distance
                    .map_or_else(|| "- ".to_owned(), |d| marked(d, self.notable_distance)),
                shift(SetPoint::Refill, place),
                shift(SetPoint::Stop, place),
            ]);
        }
        let mut text = format!(
            "{table}  * leverage above {:.2} (2p/n) or Cook's distance above {:.2} (4/n): worth a second look\n    (common practice)\n",
            self.high_leverage, self.notable_distance
        );
        if let Some(order) = &self.drying_order {
            // Writing to a String cannot fail.
            let _ = writeln!(
                text,
                "  wettest to driest: {} cores above the curve, {} below, in {} runs; so few by chance: p = {:.2}",
                order.above, order.below, order.runs, order.p_value
            );
        }
        text
    }
}
