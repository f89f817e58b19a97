//! What a robust loss has made of the cores, in words.

use calib_core::fit::{Loss, ModelFit};

/// Weight below which a core is said to have lost its pull (our choice).
const DOUBTED: f64 = 0.5;

/// What the loss did and what to do about the cores it doubts; `None` for least
/// squares, of which there is nothing to say.
pub fn loss_remark(fit: &ModelFit) -> Option<String> {
    let rule = match fit.loss {
        Loss::Squares => return None,
        Loss::Huber => "no core pulls the curve harder than one a little off it",
        Loss::Tukey => {
            "a core pulls the curve the less the farther off it lies, and in the end not at all"
        }
    };
    let doubted: Vec<String> = fit
        .residuals
        .iter()
        .filter(|core| core.weight < DOUBTED)
        .map(|core| {
            format!(
                "{} (level {}) lost {:.0} % of its pull",
                core.sample,
                core.level,
                100.0 * (1.0 - core.weight)
            )
        })
        .collect();
    let (noun, those) = match doubted.len() {
        0 => {
            return Some(format!(
                "Fitted with {}: {rule}. No core lost more than {:.0} % of its pull, so none stands apart from the rest and least squares would do as well.",
                fit.loss,
                100.0 * (1.0 - DOUBTED)
            ));
        }
        1 => ("Core", "that core"),
        _ => ("Cores", "those cores"),
    };
    Some(format!(
        "Fitted with {}: {rule}. {noun} {}; check masses and labels of {those} against the record sheet, and leave a core out only for a reason you can name.",
        fit.loss,
        doubted.join(", ")
    ))
}
