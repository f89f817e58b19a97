//! The risk of a probe's set points, the same for people and machines.

use crate::table::LOG;
use calib_core::calibration::Calibration;
use calib_core::irrigation::{
    ALLOWED_DEPLETION_U, Contributor, Help, IrrigationError, MEASURED_SOIL_WATER_U, Origin, Risk,
    SetPoints, Shortfall, risk,
};
use calib_core::soil::SoilWater;
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;
use std::path::PathBuf;

/// Chooses the random draws; any number serves, and always this one, so that the
/// same workbench gives the same answer.
const SEED: u64 = 505;

/// The risk, with what would lower it most.
#[derive(Debug, Serialize, JsonSchema)]
pub struct RiskReport {
    #[serde(flatten)]
    pub risk: Risk,
    pub helps_most: Option<HelpReport>,
    /// The folder to read field capacity off the log of, where that may be done.
    #[serde(skip)]
    logged_in: Option<PathBuf>,
}

/// One thing to measure, and what it would leave of the risk.
#[derive(Debug, Serialize, JsonSchema)]
pub struct HelpReport {
    pub help: Help,
    pub left: Shortfall,
}

/// The risk of `set_points` as far as `calibration` and `water` are known; the
/// allowed depletion is taken as known to [`ALLOWED_DEPLETION_U`]. `logged_in` is
/// the folder whose log may give the field capacity, if there is one.
///
/// # Errors
/// [`IrrigationError`] if the calibration cannot be drawn from.
pub fn reckon(
    calibration: &Calibration,
    water: &SoilWater,
    set_points: &SetPoints,
    logged_in: Option<PathBuf>,
) -> Result<RiskReport, IrrigationError> {
    let risk = risk(
        calibration,
        water,
        set_points.allowed_depletion,
        ALLOWED_DEPLETION_U,
        (set_points.refill, set_points.stop),
        SEED,
    )?;
    let helps_most = risk
        .helps_most()
        .map(|(help, left)| HelpReport { help, left });
    Ok(RiskReport {
        risk,
        helps_most,
        logged_in,
    })
}

impl fmt::Display for RiskReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Risk {
            now,
            contributors,
            allowed_depletion,
            ..
        } = &self.risk;
        writeln!(
            f,
            "Risk that the bed is drier than the crop should have it while the pump waits: {} ({} at refill itself, {}).",
            percent(now.in_band),
            percent(now.at_refill),
            if self.risk.refill_is_too_dry() {
                "which lies below the crop's limit, for the probe resolves no narrower band"
            } else {
                "as the crop's limit is taken to lie there"
            }
        )?;
        writeln!(
            f,
            "  At refill, 19 times in 20, {}; {} are allowed.",
            used_up(now.depletion, "is used up"),
            percent(allowed_depletion.value)
        )?;
        let shares: Vec<String> = contributors
            .iter()
            .map(|one| format!("{} {}", one.origin, percent(one.variance_share)))
            .collect();
        writeln!(f, "  Share in what is not known: {}.", shares.join(", "))?;
        self.write_help(f)?;
        writeln!(
            f,
            "  Readings anywhere from refill to stop taken as equally likely, the allowed depletion as known to +- {:.0} points (one standard uncertainty, our choice). {} draws, seed {}: chance leaves +- {:.1} points in each probability.",
            100.0 * allowed_depletion.u,
            self.risk.draws,
            self.risk.seed,
            100.0 * self.risk.numerical
        )?;
        if self.risk.is_rough() {
            writeln!(
                f,
                "  All this is rough: as far as the soil's figures are known, the wilting point may be the higher one in {} of cases, which no soil has; such draws were made again. Measure field capacity first.",
                percent(self.risk.upside_down)
            )?;
        }
        Ok(())
    }
}

impl RiskReport {
    fn write_help(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let now = &self.risk.now;
        match &self.helps_most {
            None => writeln!(
                f,
                "  No one measurement would lower it: {}.",
                if self.risk.refill_is_too_dry() {
                    "the refill point itself is what lies too dry"
                } else {
                    "nothing that is not known stands out"
                }
            )?,
            Some(HelpReport { help, left }) => writeln!(
                f,
                "  What would help most: {} would take the {} to {}, and at refill {}.",
                match help {
                    Help::FieldCapacity => format!(
                        "a field capacity measured on this bed (to +- {MEASURED_SOIL_WATER_U} m3/m3, one standard uncertainty)"
                    ),
                    Help::WiltingPoint => format!(
                        "a wilting point measured in a laboratory (to +- {MEASURED_SOIL_WATER_U} m3/m3, one standard uncertainty)"
                    ),
                    Help::Calibration =>
                        "a calibration without error (more cores come part of the way)".to_owned(),
                    Help::CropFigure => "an allowed depletion known exactly".to_owned(),
                },
                percent(now.in_band),
                percent(left.in_band),
                used_up(left.depletion, "would be used up")
            )?,
        }
        if let Some(most) = &self.helps_most {
            writeln!(f, "    {}", how_to(most.help))?;
            if let (Help::FieldCapacity, Some(folder)) = (most.help, &self.logged_in) {
                writeln!(
                    f,
                    "    {LOG} is there: `ovendry soil {} --log` may read it off.",
                    folder.display()
                )?;
            }
        }
        let helped = self.helps_most.as_ref().map(|most| most.help);
        let others: Vec<String> = self
            .risk
            .contributors
            .iter()
            .filter_map(|one| left_by(one, helped))
            .collect();
        if others.is_empty() {
            return Ok(());
        }
        writeln!(
            f,
            "  Left would be, of the {}: {}.",
            percent(now.in_band),
            others.join(", ")
        )
    }
}

/// How a person goes about it.
pub fn how_to(help: Help) -> &'static str {
    match help {
        Help::FieldCapacity => {
            "Soak the bed, cover it, leave the pump off for four days and log the probe; `ovendry soil --log` then says what to write into site.toml. Tables know a texture, not this bed."
        }
        Help::WiltingPoint => {
            "A soil laboratory measures it at 1500 kPa on a sample of this bed; write wilting_point into site.toml."
        }
        Help::Calibration => {
            "Take more cores beside this probe, most of them about as wet as at refill, and fit again."
        }
        Help::CropFigure => {
            "Ask an adviser for a figure of this variety and stage, and write allowed_depletion into site.toml; leaves that flag before refill show it is too high."
        }
    }
}

/// What perfect knowledge of one thing would leave, unless that was told already.
fn left_by(one: &Contributor, told: Option<Help>) -> Option<String> {
    let name = match (one.origin, told) {
        (Origin::Calibration, Some(Help::Calibration)) | (Origin::Crop, Some(Help::CropFigure)) => {
            return None;
        }
        (Origin::Calibration, _) => "with a perfect calibration",
        (Origin::SoilWater, _) => "with field capacity and wilting point both known exactly",
        (Origin::Crop, _) => "with an exact crop figure",
    };
    Some(format!("{} {name}", percent(one.if_known.in_band)))
}

/// A probability or share in whole percents.
fn percent(share: f64) -> String {
    if share > 0.0 && share < 0.005 {
        "less than 1 %".to_owned()
    } else {
        format!("{:.0} %", 100.0 * share)
    }
}

fn used_up(depletion: f64, verb: &str) -> String {
    if depletion >= 1.0 {
        format!("as much as all of the available water {verb}")
    } else {
        format!(
            "at most {} of the available water {verb}",
            percent(depletion)
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use calib_core::quantity::Estimate;

    fn shortfall(in_band: f64, depletion: f64) -> Shortfall {
        Shortfall {
            at_refill: 0.5,
            in_band,
            depletion,
        }
    }

    fn report(now: Shortfall, measured: Option<Shortfall>) -> RiskReport {
        let one = |origin, variance_share, in_band| Contributor {
            origin,
            u: 0.02,
            variance_share,
            if_known: shortfall(in_band, 0.5),
        };
        let risk = Risk {
            now,
            contributors: vec![
                one(Origin::SoilWater, 0.8, 0.09),
                one(Origin::Calibration, 0.197, 0.28),
                one(Origin::Crop, 0.003, 0.31),
            ],
            with_field_capacity_measured: measured,
            with_wilting_point_measured: None,
            allowed_depletion: Estimate::new(0.3, 0.06),
            depletion_at_refill: 0.31,
            upside_down: 0.01,
            numerical: 0.002,
            draws: 200_000,
            seed: SEED,
        };
        let helps_most = risk
            .helps_most()
            .map(|(help, left)| HelpReport { help, left });
        RiskReport {
            risk,
            helps_most,
            logged_in: None,
        }
    }

    #[test]
    fn the_most_helpful_measurement_is_told_with_both_figures() {
        let text = report(shortfall(0.31, 0.74), Some(shortfall(0.14, 0.52))).to_string();
        for phrase in [
            "while the pump waits: 31 % (50 % at refill itself, as the crop's limit is taken to lie there).",
            "at most 74 % of the available water is used up; 30 % are allowed.",
            "field capacity and wilting point 80 %, the probe's calibration 20 %, the crop's allowed depletion less than 1 %.",
            "What would help most: a field capacity measured on this bed (to +- 0.02 m3/m3, one standard uncertainty) would take the 31 % to 14 %, and at refill at most 52 % of the available water would be used up.",
            "9 % with field capacity and wilting point both known exactly, 28 % with a perfect calibration, 31 % with an exact crop figure.",
            "200000 draws, seed 505: chance leaves +- 0.2 points",
        ] {
            assert!(text.contains(phrase), "{phrase:?} not in\n{text}");
        }
    }

    #[test]
    fn a_log_that_is_there_is_pointed_to_where_field_capacity_would_help() {
        let now = shortfall(0.31, 0.74);
        let mut logged = report(now, Some(shortfall(0.14, 0.52)));
        assert!(!logged.to_string().contains("log.csv is there"));
        logged.logged_in = Some("garden".into());
        assert!(
            logged
                .to_string()
                .contains("log.csv is there: `ovendry soil garden --log` may read it off.")
        );
        // Another measurement would help most.
        let mut other = report(now, None);
        other.logged_in = logged.logged_in;
        assert!(!other.to_string().contains("log.csv is there"));
    }

    #[test]
    fn where_nothing_helps_it_says_why() {
        let mut dry = shortfall(0.2, 1.2);
        dry.at_refill = 0.97;
        let mut below = report(dry, None);
        below.risk.depletion_at_refill = 0.6;
        let text = below.to_string();
        assert!(
            text.contains("which lies below the crop's limit, for the probe resolves no narrower"),
            "{text}"
        );
        assert!(
            text.contains("No one measurement would lower it: the refill point itself"),
            "{text}"
        );
        assert!(
            text.contains("as much as all of the available water is used up"),
            "{text}"
        );
    }
}
