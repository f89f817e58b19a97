//! Choosing among the curves, and saying why.
//!
//! Every curve of the family is fitted. Those that fail (too few cores, not
//! determined, not monotone) are set aside with their reason. Among the rest,
//! the one that best foretells a core it has not seen (leave-one-core-out) leads, and the
//! simplest whose own errors are within one standard error of the leader's is
//! taken (the one-standard-error rule of Breiman, Friedman, Olshen and Stone
//! 1984, Classification and Regression Trees; recalled from memory; here with
//! the standard error of the paired differences). Between equally simple ones
//! the lower corrected AIC decides. A curve with a significant lack of fit gives
//! way to one without.

use super::error::FitError;
use super::fitting::{Fitting, SPENT_ON_CHOICE};
use super::loss::Loss;
use super::model_fit::ModelFit;
use super::observation::Observation;
use super::rival::{Rival, rivals};
use super::warmth::{self, LARGEST_INFLATION, LEAST_GAIN, TemperatureDecision};
use crate::curve::CurveKind;
use crate::quantity::{Celsius, lowest_and_highest};
use schemars::JsonSchema;
use serde::Serialize;

/// Probability below which lack of fit counts as significant.
pub const LACK_OF_FIT_LEVEL: f64 = 0.05;

/// What became of one curve.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "standing", rename_all = "kebab-case")]
pub enum Standing {
    /// The one taken.
    Chosen,
    /// It foretells unseen cores worse than the leader by more than one
    /// standard error.
    ForetellsWorse,
    /// As good as the chosen one but less simple, or as simple with a higher AIC.
    NoBetter,
    /// Its misfit at whole levels is larger than the scatter within levels, and
    /// another curve's is not.
    LackOfFit,
    /// It could not be used.
    Refused {
        /// Why.
        reason: String,
    },
    /// Not asked for.
    NotAskedFor,
}

/// One curve in the comparison.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Candidate {
    /// Which curve.
    pub kind: CurveKind,
    /// What became of it.
    #[serde(flatten)]
    pub standing: Standing,
    /// Root mean square leave-one-core-out error, m3/m3.
    pub left_out_rmse: Option<f64>,
    /// Corrected AIC.
    pub aicc: Option<f64>,
    /// Scatter of the cores about it, m3/m3.
    pub core_scatter: Option<f64>,
    /// Probability of its lack of fit.
    pub lack_of_fit_p: Option<f64>,
}

/// The curve taken, with the comparison it came out of.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Choice {
    /// The fit.
    pub fit: ModelFit,
    /// Every curve looked at, simplest first.
    pub candidates: Vec<Candidate>,
    /// The curves that the data do not rule out beside the one taken.
    pub rivals: Vec<Rival>,
    /// Whether there is a temperature term, and why.
    pub temperature: TemperatureDecision,
    /// The curve that foretells unseen cores best.
    pub leader: CurveKind,
    /// Whether the person named the curve.
    pub asked_for: bool,
}

pub(super) type Fittings = Vec<(CurveKind, Result<Fitting, FitError>)>;

/// What is asked of the fit.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Request {
    /// This curve, or a choice among the usual ones.
    pub curve: Option<CurveKind>,
    /// What residuals cost.
    pub loss: Loss,
}

impl From<Option<CurveKind>> for Request {
    /// By least squares.
    fn from(curve: Option<CurveKind>) -> Self {
        Self {
            curve,
            loss: Loss::Squares,
        }
    }
}

/// Fits the family (or only the curve asked for) and chooses.
///
/// # Errors
/// The curve's own [`FitError`] if one was asked for; [`FitError::NoCurve`] with
/// every curve's reason otherwise; [`FitError::NoResponse`] if the counts say
/// nothing about the water.
pub fn choose(
    observations: &[Observation],
    request: impl Into<Request>,
) -> Result<Choice, FitError> {
    let Request {
        curve: asked_for,
        loss,
    } = request.into();
    check_counts_move(observations)?;
    let kinds: Vec<CurveKind> = match asked_for {
        Some(kind) => vec![kind],
        None => CurveKind::USUAL.to_vec(),
    };
    let Decided {
        mut fits,
        set_aside,
        temperature,
    } = decide_temperature(observations, &kinds, loss);
    for (_, fit) in &mut fits {
        if let Ok(fitting) = fit {
            fitting.test();
        }
    }

    let usable: Vec<&ModelFit> = fits
        .iter()
        .filter_map(|(_, fit)| fit.as_ref().ok().map(|fitting| &fitting.fit))
        .collect();
    let Some((leader, chosen)) = take(&usable) else {
        let mut reasons: Vec<FitError> =
            fits.into_iter().filter_map(|(_, fit)| fit.err()).collect();
        return Err(match (asked_for, reasons.len()) {
            (Some(_), 1) => reasons.remove(0),
            _ => FitError::NoCurve { reasons },
        });
    };
    let fit = usable[chosen];
    let change = (fit.curve.value(fit.domain.high) - fit.curve.value(fit.domain.low)).abs();
    if change < 2.0 * fit.core_scatter {
        return Err(FitError::NoResponse {
            change,
            resolvable: 2.0 * fit.core_scatter,
        });
    }
    let leader = usable[leader];
    let candidates = CurveKind::ALL
        .iter()
        .map(|kind| describe(*kind, &fits, fit, leader))
        .collect();
    let (rivals, leader) = (rivals(&usable, &set_aside, fit), leader.curve.kind);
    let taken = fit.curve.kind;
    let spent = if kinds.len() > 1 {
        SPENT_ON_CHOICE
    } else {
        0.0
    };
    let fit = fits
        .into_iter()
        .filter_map(|(_, fit)| fit.ok())
        .find(|fitting| fitting.fit.curve.kind == taken)
        .map(|fitting| fitting.finish(observations, spent))
        .ok_or(FitError::NoCurve {
            reasons: Vec::new(),
        })?;
    Ok(Choice {
        rivals,
        leader,
        candidates,
        temperature,
        asked_for: asked_for.is_some(),
        fit,
    })
}

/// Least span of the counts, in standard uncertainties of one, with which a curve
/// can be told from noise (our choice: five times as far as two counts differ by
/// chance nineteen times in twenty).
const LEAST_COUNT_SPAN: f64 = 14.0;

/// Refuses counts that noise alone may have moved, as those of a dead probe.
fn check_counts_move(observations: &[Observation]) -> Result<(), FitError> {
    let mut u: Vec<f64> = observations.iter().map(|o| o.count.u).collect();
    u.sort_by(f64::total_cmp);
    let Some(u) = u.get(u.len() / 2).copied().filter(|_| u.len() > 2) else {
        return Ok(());
    };
    let (low, high) = lowest_and_highest(observations.iter().map(|o| o.count.value));
    let span = high - low;
    if span < LEAST_COUNT_SPAN * u {
        return Err(FitError::CountsStandStill { span, u });
    }
    Ok(())
}

fn fit_all(
    observations: &[Observation],
    kinds: &[CurveKind],
    reference: Option<Celsius>,
    loss: Loss,
) -> Fittings {
    kinds
        .iter()
        .map(|kind| (*kind, Fitting::of(observations, *kind, reference, loss)))
        .collect()
}

fn lowest_aicc(fits: &Fittings) -> Option<&ModelFit> {
    fits.iter()
        .filter_map(|(_, fit)| fit.as_ref().ok().map(|fitting| &fitting.fit))
        .filter(|fit| fit.aicc.is_some())
        .min_by(|a, b| {
            let key = |fit: &ModelFit| fit.aicc.unwrap_or(f64::INFINITY);
            key(a).total_cmp(&key(b))
        })
}

/// The fits to choose from once the temperature term is decided.
struct Decided {
    fits: Fittings,
    /// Those decided against that may be right all the same: with a term where
    /// there is none, without where there is one.
    set_aside: Fittings,
    temperature: TemperatureDecision,
}

/// Fits with a temperature term where the data can carry one.
fn decide_temperature(observations: &[Observation], kinds: &[CurveKind], loss: Loss) -> Decided {
    let plain = fit_all(observations, kinds, None, loss);
    let without = |fits, temperature| Decided {
        fits,
        set_aside: Vec::new(),
        temperature,
    };
    let confounded = |inflation, coefficient| TemperatureDecision::Confounded {
        inflation,
        coefficient,
    };
    let (reference, span) = match warmth::attempt(observations) {
        Ok(attempt) => attempt,
        Err(reason) => return without(plain, reason),
    };
    if let Some(best) = lowest_aicc(&plain) {
        let inflation = warmth::inflation(observations, best);
        if inflation > LARGEST_INFLATION {
            let warm = Fitting::of(observations, best.curve.kind, Some(reference), loss).ok();
            let coefficient = warm.and_then(|warm| warmth::coefficient(&warm.fit));
            return without(plain, confounded(inflation, coefficient));
        }
    }
    let warm = fit_all(observations, kinds, Some(reference), loss);
    let best = lowest_aicc(&warm).and_then(|fit| {
        let (coefficient, coefficient_expanded) = warmth::coefficient(fit)?;
        Some((fit.aicc?, coefficient, coefficient_expanded, fit))
    });
    let Some((aicc, coefficient, coefficient_expanded, fit)) = best else {
        let cores = observations.len();
        return without(plain, TemperatureDecision::TooFewCores { cores });
    };
    let inflation = warmth::inflation(observations, fit);
    if inflation > LARGEST_INFLATION {
        let coefficient = Some((coefficient, coefficient_expanded));
        return without(plain, confounded(inflation, coefficient));
    }
    let cooler = lowest_aicc(&plain).and_then(|fit| fit.aicc);
    if cooler.is_some_and(|cooler| aicc > cooler - LEAST_GAIN) {
        return Decided {
            fits: plain,
            set_aside: warm,
            temperature: TemperatureDecision::NoEffectSeen {
                coefficient,
                coefficient_expanded,
            },
        };
    }
    let carried = TemperatureDecision::Carried {
        reference,
        coefficient,
        coefficient_expanded,
        span,
        inflation,
    };
    Decided {
        fits: warm,
        set_aside: plain,
        temperature: carried,
    }
}

pub(super) fn lacks_fit(fit: &ModelFit) -> bool {
    fit.lack_of_fit
        .is_some_and(|test| test.p_value < LACK_OF_FIT_LEVEL)
}

/// Indices of the leader and of the one taken among `usable`.
fn take(usable: &[&ModelFit]) -> Option<(usize, usize)> {
    let any_fits = usable.iter().any(|fit| !lacks_fit(fit));
    let contenders: Vec<usize> = (0..usable.len())
        .filter(|i| !any_fits || !lacks_fit(usable[*i]))
        .collect();
    let error = |i: usize| usable[i].left_out_rmse.unwrap_or(f64::INFINITY);
    let leader = *contenders
        .iter()
        .min_by(|a, b| error(**a).total_cmp(&error(**b)))?;
    let size = |i: usize| usable[i].curve.parameters.len();
    let aicc = |i: usize| usable[i].aicc.unwrap_or(f64::INFINITY);
    let chosen = *contenders
        .iter()
        .filter(|i| within_one_standard_error(usable[**i], usable[leader]))
        .min_by(|a, b| {
            size(**a)
                .cmp(&size(**b))
                .then(aicc(**a).total_cmp(&aicc(**b)))
        })?;
    Some((leader, chosen))
}

/// Whether `fit` foretells unseen cores no worse than `leader`, give or take
/// one standard error of the mean difference of their squared errors. A core
/// counts with the smaller of the weights the two leave it: one that either
/// doubts is a poor witness for or against the other.
fn within_one_standard_error(fit: &ModelFit, leader: &ModelFit) -> bool {
    let differences: Option<Vec<f64>> = fit
        .residuals
        .iter()
        .zip(&leader.residuals)
        .map(|(a, b)| {
            let weight = a.weight.min(b.weight);
            Some(weight * (a.left_out_error?.powi(2) - b.left_out_error?.powi(2)))
        })
        .collect();
    let Some(differences) = differences else {
        return fit.curve.kind == leader.curve.kind || fit.left_out_rmse == leader.left_out_rmse;
    };
    let n = differences.len() as f64;
    let mean = differences.iter().sum::<f64>() / n;
    let variance = differences.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / (n - 1.0);
    mean <= (variance / n).sqrt()
}

fn describe(kind: CurveKind, fits: &Fittings, chosen: &ModelFit, leader: &ModelFit) -> Candidate {
    let found = fits.iter().find(|(k, _)| *k == kind).map(|(_, fit)| fit);
    let standing = match found {
        None => Standing::NotAskedFor,
        Some(Err(error)) => Standing::Refused {
            reason: error.to_string(),
        },
        Some(Ok(_)) if kind == chosen.curve.kind => Standing::Chosen,
        Some(Ok(Fitting { fit, .. })) if lacks_fit(fit) && !lacks_fit(chosen) => {
            Standing::LackOfFit
        }
        Some(Ok(Fitting { fit, .. })) if !within_one_standard_error(fit, leader) => {
            Standing::ForetellsWorse
        }
        Some(Ok(_)) => Standing::NoBetter,
    };
    let fit = found.and_then(|fit| fit.as_ref().ok().map(|fitting| &fitting.fit));
    Candidate {
        kind,
        standing,
        left_out_rmse: fit.and_then(|fit| fit.left_out_rmse),
        aicc: fit.and_then(|fit| fit.aicc),
        core_scatter: fit.map(|fit| fit.core_scatter),
        lack_of_fit_p: fit.and_then(|fit| fit.lack_of_fit).map(|test| test.p_value),
    }
}

impl Choice {
    /// Why this curve, in two sentences a grower can use.
    pub fn explanation(&self) -> [String; 2] {
        let fit = &self.fit;
        let kind = fit.curve.kind;
        let first = match (self.asked_for, fit.left_out_rmse) {
            (true, Some(rmse)) => format!(
                "You asked for the {kind}; shown a core it had not seen, it was typically off by {rmse:.3} m3/m3."
            ),
            (true, None) => format!(
                "You asked for the {kind}; it could not be tested on cores it had not seen, for they are too few or one alone holds it in place."
            ),
            (false, Some(rmse)) => format!(
                "The {kind} was taken: shown a core it had not seen, it was typically off by {rmse:.3} m3/m3{}.",
                if self.leader == kind {
                    ", the least of all curves tried".to_owned()
                } else {
                    format!(
                        ", which is as good as the best (the {}) as far as these cores can tell, and simpler",
                        self.leader
                    )
                }
            ),
            (false, None) => format!(
                "The {kind} was taken because it is the simplest curve the cores allow; it could not be tested on cores it had not seen, for they are too few or one alone holds it in place."
            ),
        };
        let refused = self
            .candidates
            .iter()
            .filter(|c| matches!(c.standing, Standing::Refused { .. }))
            .count();
        let second = if lacks_fit(fit) {
            format!(
                "It misses whole moisture levels by more than cores of one level differ, so {}{}.",
                if self.asked_for {
                    "another curve would serve better than more cores"
                } else {
                    "look at the chart for a level that lies off to one side before trusting it"
                },
                refused_note(refused)
            )
        } else if fit.core_scatter > 0.0 {
            format!(
                "Cores of one wetness differ by about {:.3} m3/m3 (one standard deviation) beyond what weighing explains, so more cores, not a finer balance, would sharpen it{}.",
                fit.core_scatter,
                refused_note(refused)
            )
        } else {
            format!(
                "The cores lie as close to the curve as their weighing allows{}.",
                refused_note(refused)
            )
        };
        [first, second]
    }
}

fn refused_note(refused: usize) -> String {
    match refused {
        0 => String::new(),
        1 => "; one curve was refused, for the reason in the table".to_owned(),
        n => format!("; {n} curves were refused, for the reasons in the table"),
    }
}
