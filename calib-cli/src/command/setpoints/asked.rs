//! What the crop asks for, in all or stage by stage, and where each figure comes
//! from.

use super::super::soil::command_line;
use crate::failure::{Complaint, Failure};
use crate::meant;
use crate::workbench::{Controller, GrowthStage, Site};
use calib_core::irrigation::{Crop, Demand, IrrigationError, Stage, crop, days_of, deepest_stage};
use calib_core::quantity::{Fraction, Millimetre};
use calib_core::reference::PublicationKey;
use schemars::JsonSchema;
use serde::Serialize;

/// What the crop asks for, and where that comes from.
#[derive(Debug, Clone)]
pub(super) struct Asked {
    pub(super) demand: Demand,
    pub(super) depletion_from: String,
    pub(super) root_depth_from: String,
    pub(super) from_table: bool,
    pub(super) stage: Option<StageSpan>,
}

/// A stage and its days, counted from planting.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(super) struct StageSpan {
    pub(super) name: String,
    pub(super) first_day: u32,
    pub(super) last_day: u32,
}

/// The whole season: one entry without stages, one for each of them with.
pub(super) struct Season {
    /// In their order; never empty.
    all: Vec<Asked>,
    /// The one to go by.
    chosen: usize,
    /// Whether it was asked for by name.
    pub(super) by_name: bool,
}

impl Season {
    /// What to go by.
    pub(super) fn chosen(&self) -> &Asked {
        &self.all[self.chosen]
    }

    /// Every stage; empty where there are none.
    pub(super) fn stages(&self) -> &[Asked] {
        match self.all.as_slice() {
            [only] if only.stage.is_none() => &[],
            all => all,
        }
    }

    /// Whether any figure comes from the published table.
    pub(super) fn uses_table(&self) -> bool {
        self.all.iter().any(|asked| asked.from_table)
    }

    /// The stage gone by and why, for people; `None` without stages.
    pub(super) fn choice(&self) -> Option<String> {
        let stage = self.chosen().stage.as_ref()?;
        Some(format!(
            "{}, day {} to {} after planting{}",
            stage.name,
            stage.first_day,
            stage.last_day,
            if self.by_name {
                ""
            } else {
                ": the last stage with the deepest roots; --stage NAME takes another"
            }
        ))
    }
}

/// The season of a site; `wanted` names the stage to go by, otherwise it is the
/// last with the deepest roots.
pub(super) fn season(
    site: &Site,
    pump: &Controller,
    wanted: Option<&str>,
) -> Result<Season, Failure> {
    if site.stages.is_empty() {
        if let Some(name) = wanted {
            return Err(command_line(
                "--stage",
                name,
                format!("asks for a stage, and {} has none", site.file.display()),
                "add a [[stage]] with name, days and root_depth_mm for each stage of growth, or leave --stage out",
            )
            .into());
        }
        return Ok(Season {
            all: vec![asked(site, pump, None)?],
            chosen: 0,
            by_name: false,
        });
    }
    let mut all = Vec::new();
    for stage in &site.stages {
        all.push(asked(site, pump, Some(stage))?);
    }
    let stages: Vec<Stage> = site
        .stages
        .iter()
        .zip(&all)
        .map(|(stage, asked)| Stage {
            name: stage.name.clone(),
            days: stage.days,
            demand: asked.demand,
        })
        .collect();
    for (asked, (stage, (first_day, last_day))) in
        all.iter_mut().zip(stages.iter().zip(days_of(&stages)))
    {
        asked.stage = Some(StageSpan {
            name: stage.name.clone(),
            first_day,
            last_day,
        });
    }
    let chosen = match wanted {
        None => deepest_stage(&stages).unwrap_or(0),
        Some(name) => {
            let same = |stage: &Stage| stage.name.eq_ignore_ascii_case(name.trim());
            stages.iter().position(same).ok_or_else(|| {
                let known: Vec<&str> = stages.iter().map(|s| s.name.as_str()).collect();
                command_line(
                    "--stage",
                    name,
                    format!("is no stage of {}", site.file.display()),
                    meant::choose(name, known),
                )
            })?
        }
    };
    Ok(Season {
        all,
        chosen,
        by_name: wanted.is_some(),
    })
}

/// Allowed depletion and root depth: the stage's, or as stated, or else the
/// crop's.
fn asked(site: &Site, pump: &Controller, stage: Option<&GrowthStage>) -> Result<Asked, Failure> {
    let line = stage.map_or(pump.line, |stage| stage.line);
    let at_line = |error: IrrigationError| {
        Complaint::about(&site.file, error.to_string(), error.mend()).at_line(line)
    };
    let evapotranspiration = stage
        .and_then(|stage| stage.evapotranspiration)
        .unwrap_or(pump.evapotranspiration);
    let depletion = stage
        .and_then(|stage| stage.allowed_depletion)
        .or(pump.allowed_depletion);
    let root_depth = stage.map(|stage| stage.root_depth).or(pump.root_depth);
    let row: Option<&Crop> = match (&pump.crop, depletion, root_depth) {
        (_, Some(_), Some(_)) | (None, ..) => None,
        (Some(name), ..) => Some(crop(name).map_err(at_line)?),
    };
    let missing = |key: &str| {
        Complaint::about(
            &site.file,
            format!("[controller] states neither a crop nor {key}"),
            format!("add crop = \"...\" by its name in FAO-56 Table 22, or {key}"),
        )
        .at_line(pump.line)
    };
    let (allowed_depletion, depletion_from) = match (depletion, row) {
        (Some(depletion), _) => (depletion, "stated in site.toml".to_owned()),
        (None, Some(row)) => of_table(row, evapotranspiration).map_err(at_line)?,
        (None, None) => return Err(missing("allowed_depletion").into()),
    };
    let (root_depth, root_depth_from) = match (root_depth, row) {
        (Some(depth), _) => (
            depth,
            match stage {
                Some(stage) => format!(
                    "stage {}, the same from its first day to its last",
                    stage.name
                ),
                None => "stated in site.toml".to_owned(),
            },
        ),
        (None, Some(row)) => depth_of_table(row).map_err(at_line)?,
        (None, None) => return Err(missing("root_depth_mm").into()),
    };
    Ok(Asked {
        demand: Demand {
            allowed_depletion,
            root_depth,
        },
        depletion_from,
        root_depth_from,
        from_table: row.is_some(),
        stage: None,
    })
}

fn of_table(row: &Crop, evapotranspiration: f64) -> Result<(Fraction, String), IrrigationError> {
    Ok((
        row.allowed_depletion(evapotranspiration)?,
        format!(
            "{}, {} at {evapotranspiration} mm a day",
            row.name,
            PublicationKey::Fao56Table22
        ),
    ))
}

fn depth_of_table(row: &Crop) -> Result<(Millimetre, String), IrrigationError> {
    Ok((
        row.root_depth()?,
        format!(
            "{}, {}, the shallower end of its range, for irrigation scheduling as a footnote there says; from memory",
            row.name,
            PublicationKey::Fao56Table22
        ),
    ))
}
