//! The curves that were not taken, and how likely each is to be the true one.

use super::choice::{Fittings, lacks_fit};
use super::fitting::Fitting;
use super::model_fit::ModelFit;
use crate::curve::Curve;
use crate::temperature::TemperatureTerm;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Weight below which a rival is not kept.
const LEAST_RIVAL_WEIGHT: f64 = 0.001;

/// A curve that was not taken and could as well be the true one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Rival {
    /// How likely it is to be the nearest to the truth, among the curve taken and
    /// all rivals.
    pub weight: f64,
    /// The curve.
    pub curve: Curve,
    /// Its temperature term, if it has one.
    pub temperature: Option<TemperatureTerm>,
    /// Covariance of its parameters, then of the temperature coefficient.
    pub covariance: Vec<Vec<f64>>,
    /// Scatter of the cores about it, m3/m3.
    pub core_scatter: f64,
}

/// The curves other than the one taken, by how likely each is to be the nearest
/// to the truth, and all of them as the temperature decision set them aside; those
/// with a significant lack of fit are left out unless the one taken has it too.
pub(super) fn rivals(usable: &[&ModelFit], set_aside: &Fittings, chosen: &ModelFit) -> Vec<Rival> {
    let allowed = |fit: &ModelFit| !lacks_fit(fit) || lacks_fit(chosen);
    let mut contenders: Vec<(f64, &ModelFit)> = Vec::new();
    for fit in usable {
        if fit.curve.kind != chosen.curve.kind && allowed(fit) {
            contenders.push((log_odds(fit, chosen), fit));
        }
    }
    for (kind, aside) in set_aside {
        let Ok(Fitting { fit: aside, .. }) = aside else {
            continue;
        };
        let same = usable.iter().find(|fit| fit.curve.kind == *kind);
        if let Some((same, gain)) = same
            .and_then(|fit| Some((*fit, fit.aicc? - aside.aicc?)))
            .filter(|_| allowed(aside))
        {
            contenders.push((log_odds(same, chosen) + 0.5 * gain, aside));
        }
    }
    // From the likeliest down, so that none is too likely for a number.
    let most = contenders.iter().map(|(odds, _)| *odds).fold(0.0, f64::max);
    let total = (-most).exp()
        + contenders
            .iter()
            .map(|(l, _)| (l - most).exp())
            .sum::<f64>();
    contenders
        .into_iter()
        .map(|(odds, fit)| Rival {
            weight: (odds - most).exp() / total,
            curve: fit.curve.clone(),
            temperature: fit.temperature,
            covariance: fit.covariance.clone(),
            core_scatter: fit.core_scatter,
        })
        .filter(|rival| rival.weight >= LEAST_RIVAL_WEIGHT)
        .collect()
}

/// How likely a curve is to be the nearest to the truth, relative to the one
/// chosen, as a natural logarithm: by the errors at cores left out, taken as normal
/// (Geisser and Eddy 1979, J. Am. Stat. Assoc. 74:153; recalled from memory). Where
/// cores are few the corrected AIC, which favours the fewest parameters then however
/// far the curve is off, serves this less well; it decides where cores were not left
/// out. Minus infinity where nothing can be said.
fn log_odds(fit: &ModelFit, chosen: &ModelFit) -> f64 {
    let cores = chosen.residuals.len() as f64;
    let odds = match chosen.left_out_rmse.zip(fit.left_out_rmse) {
        Some((here, there)) => cores * (here / there).ln(),
        None => chosen
            .aicc
            .zip(fit.aicc)
            .map_or(f64::NEG_INFINITY, |(here, there)| 0.5 * (here - there)),
    };
    if odds.is_finite() {
        odds
    } else {
        f64::NEG_INFINITY
    }
}
