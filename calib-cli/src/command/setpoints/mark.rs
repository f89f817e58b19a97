//! What `ovendry setpoints --explain` was asked about: a raw count, or a mark of an
//! old percent scale.

use super::Setpoints;
use crate::command::soil::command_line;
use crate::failure::Failure;
use schemars::JsonSchema;
use serde::Serialize;

/// What was asked for, as a raw count.
#[derive(Debug, Clone, Copy, Serialize, JsonSchema)]
pub(super) struct Mark {
    /// Raw count as read.
    pub(super) count: f64,
    /// The mark of the old scale it stands for, %.
    pub(super) percent: Option<f64>,
    /// Counts at 0 % and at 100 % of that scale.
    pub(super) scale: Option<(f64, f64)>,
}

/// The count that was asked about.
pub(super) fn mark(command: &Setpoints, asked: &str) -> Result<Mark, Failure> {
    let refused =
        |what: &str, mend: &str| -> Failure { command_line("--explain", asked, what, mend).into() };
    let number = |text: &str| -> Result<f64, Failure> {
        match text.trim().parse::<f64>() {
            Ok(number) if number.is_finite() => Ok(number),
            _ => Err(refused(
                "is neither a count nor a percentage",
                "write a raw count (480) or a mark of your old scale (35%)",
            )),
        }
    };
    let Some(percent) = asked.trim().strip_suffix('%') else {
        if command.count_at_0.is_some() || command.count_at_100.is_some() {
            return Err(refused(
                "is a raw count, beside the ends of a percent scale",
                "write it with %, or leave --count-at-0 and --count-at-100 out",
            ));
        }
        // A decimal comma is no reason to say less about what was meant.
        let count = number(&asked.replace(',', "."))?;
        if count > 0.0 && count < 1.0 {
            return Err(refused(
                "looks like a water content",
                "give a raw count, as the controller reads it (480)",
            ));
        }
        if count.fract() != 0.0 {
            return Err(refused(
                "is not a whole number, as a raw count is",
                "round it to the nearest count",
            ));
        }
        return Ok(Mark {
            count,
            percent: None,
            scale: None,
        });
    };
    let percent = number(percent)?;
    let (Some(zero), Some(full)) = (command.count_at_0, command.count_at_100) else {
        return Err(refused(
            "is a mark of a scale whose ends are not known",
            "add --count-at-0 and --count-at-100: the raw counts that your old scale calls 0 % and 100 %",
        ));
    };
    if zero == full || !zero.is_finite() || !full.is_finite() {
        return Err(refused(
            "is a mark of a scale whose ends are the same count",
            "give --count-at-0 and --count-at-100 as your old scale has them",
        ));
    }
    Ok(Mark {
        count: zero + (full - zero) * percent / 100.0,
        percent: Some(percent),
        scale: Some((zero, full)),
    })
}
