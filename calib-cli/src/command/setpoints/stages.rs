//! A line for each stage of growth.

use super::Ground;
use super::asked::{Season, StageSpan};
use super::words::duration;
use crate::text_table::{Column, TextTable};
use calib_core::irrigation::{Application, SetPoints, Supply, apply};
use schemars::JsonSchema;
use serde::Serialize;

/// The set points of one stage, or why it has none.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub(super) struct StageRow {
    #[serde(flatten)]
    pub(super) span: StageSpan,
    /// mm.
    pub(super) root_depth: f64,
    pub(super) set_points: Option<SetPoints>,
    pub(super) application: Option<Application>,
    /// Why there are none, and what to do about it.
    pub(super) refused: Option<(String, &'static str)>,
}

/// A row for each stage; none where there are none.
pub(super) fn rows(ground: &Ground<'_>, supply: &Supply, season: &Season) -> Vec<StageRow> {
    season
        .stages()
        .iter()
        .filter_map(|asked| {
            let found = ground.points_for(&asked.demand).and_then(|found| {
                let water = apply(found.set_points.net_depth, supply)?;
                Ok((found.set_points, water))
            });
            let mut row = StageRow {
                span: asked.stage.clone()?,
                root_depth: f64::from(asked.demand.root_depth),
                set_points: None,
                application: None,
                refused: None,
            };
            match found {
                Ok((set_points, water)) => {
                    row.set_points = Some(set_points);
                    row.application = Some(water);
                }
                Err(error) => row.refused = Some((error.to_string(), error.mend())),
            }
            Some(row)
        })
        .collect()
}

/// The rows as a table.
pub(super) fn table(rows: &[StageRow]) -> String {
    let mut table = TextTable::new([
        Column::words("stage"),
        Column::words("days"),
        Column::numbers("roots", "mm"),
        Column::numbers("refill", "m3/m3"),
        Column::numbers("count", ""),
        Column::numbers("stop", "m3/m3"),
        Column::numbers("count", ""),
        Column::numbers("water", "mm"),
        Column::words("run"),
    ]);
    for row in rows {
        let of = |number: &dyn Fn(&SetPoints) -> String| {
            row.set_points
                .as_ref()
                .map_or_else(|| "-".to_owned(), number)
        };
        table.push([
            row.span.name.clone(),
            format!("{}-{}", row.span.first_day, row.span.last_day),
            row.root_depth.to_string(),
            of(&|set| format!("{:.3}", f64::from(set.refill))),
            of(&|set| set.refill_count.to_string()),
            of(&|set| format!("{:.3}", f64::from(set.stop))),
            of(&|set| set.stop_count.to_string()),
            of(&|set| format!("{:.1}", f64::from(set.net_depth))),
            row.application
                .map_or_else(|| "-".to_owned(), |water| duration(water.run_time_s)),
        ]);
    }
    table.to_string()
}
