//! The comparison for machines.

use super::{Report, Side};
use crate::caution;
use calib_core::controller::{
    Changed, Difference, LiveCodes, OnlyOne, SetPointMove, Timing, celsius_from_centi,
};
use serde::Serialize;
use serde_json::{Value, json};

impl Report<'_> {
    pub(super) fn to_json(&self) -> Value {
        let delta = &self.delta;
        let settings = &delta.settings;
        let cautions = [caution::PUMP, &[caution::LOCAL_RULES]].concat();
        json!({
            "format": "ovendry compare",
            "version": 1,
            "old": side(self.old),
            "new": side(self.new),
            "same": delta.is_the_same(),
            "every_number_is_the_same": self.every_number_is_the_same(),
            "readings": {
                "compared": delta.compared,
                "temperatures_c": delta.temperatures_centi.iter().flatten().map(|centi| celsius_from_centi(*centi)).collect::<Vec<f64>>(),
                "agree": delta.readings_agree(),
                "bound": delta.bound,
                "mean_difference": delta.mean,
                "most_wetter": delta.wetter.as_ref().map(difference),
                "most_drier": delta.drier.as_ref().map(difference),
                "rows": delta.rows.iter().map(difference).collect::<Vec<Value>>(),
                "only_old_answers": only(&delta.only_old),
                "only_new_answers": only(&delta.only_new),
                "least_explained": delta.least_explained.as_ref().map(difference),
            },
            "refill": settings.refill.as_ref().map(set_point),
            "stop": settings.stop.as_ref().map(set_point),
            "changed": {
                "probe": settings.probe.as_ref().map(|changed| both(changed, Clone::clone)),
                "soil": settings.soil.as_ref().map(|changed| both(changed, Clone::clone)),
                "domain_counts": settings.domain.as_ref().map(|changed| both(changed, |domain| *domain)),
                "temperature": settings.temperature.as_ref().map(|changed| both(changed, |used| {
                    used.map(|used| json!({
                        "reference_c": celsius_from_centi(used.reference_centi),
                        "lowest_c": celsius_from_centi(used.lowest_centi),
                        "highest_c": celsius_from_centi(used.highest_centi),
                        "counts_per_c": used.counts_per_degree,
                    }))
                })),
                "timing": settings.timing.as_ref().map(|changed| both(changed, timing)),
                "live_counts": settings.live.as_ref().map(|changed| both(changed, live)),
            },
            "warnings": self.warnings,
            "cautions": cautions,
        })
    }
}

fn side(side: &Side) -> Value {
    let answers = side.answers();
    let (calibrated_on, recheck_by) = side.dates();
    json!({
        "file": side.path,
        "kind": side.noun(),
        "probe": answers.probe(),
        "soil": answers.soil(),
        "adc_bits": answers.adc_bits(),
        "calibrated_on": calibrated_on,
        "recheck_by": recheck_by,
        "table_crc32": side.table().map(|table| format!("{:08x}", table.crc32())),
    })
}

fn difference(place: &Difference) -> Value {
    json!({
        "count": place.code,
        "temperature_c": place.temperature_centi.map(celsius_from_centi),
        "old_theta_v": place.old.theta_v,
        "new_theta_v": place.new.theta_v,
        "difference": place.difference(),
        "old_expanded_uncertainty": place.old.expanded,
        "new_expanded_uncertainty": place.new.expanded,
        "both_uncertainties": place.both_uncertainties(),
        "share_of_both": place.share(),
    })
}

fn only(one: &OnlyOne) -> Vec<Value> {
    one.ranges
        .iter()
        .map(|range| json!({"from_count": range.start(), "to_count": range.end()}))
        .collect()
}

fn set_point(point: &SetPointMove) -> Value {
    json!({
        "moved": point.moved(),
        "count": both(&point.count, |count| *count),
        "theta_v": both(&point.theta_v, |theta_v| *theta_v),
        "wetter_by_new": point.wetter_by,
    })
}

fn timing(timing: &Timing) -> Value {
    json!({
        "minimum_on_s": timing.minimum_on_s,
        "minimum_off_s": timing.minimum_off_s,
        "maximum_on_s": timing.maximum_on_s,
        "stuck_after_s": timing.stuck_after_s,
    })
}

fn live(live: &LiveCodes) -> Value {
    json!({
        "low": live.low,
        "high": live.high,
        "open_circuit": live.open_circuit,
    })
}

fn both<T, S: Serialize>(changed: &Changed<T>, say: impl Fn(&T) -> S) -> Value {
    json!({"old": say(&changed.old), "new": say(&changed.new)})
}
