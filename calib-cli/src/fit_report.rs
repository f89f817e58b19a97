//! What a fit says, as text for people and as JSON for machines.

use crate::bootstrap::CurveBootstrap;
use crate::diagnosis::{Diagnosis, Surroundings, loss_remark};
use crate::failure::{Failure, Warning};
use crate::fitted::{Fitted, Refused};
use crate::new_reading::{self, NewReading};
use crate::physical::PhysicalReport;
use crate::text_table::{Column, TextTable};
use calib_core::calibration::{COVERAGE, Calibration};
use calib_core::fit::{
    Candidate, LACK_OF_FIT_LEVEL, Loss, Observation, Residual, Standing, TemperatureDecision,
};
use calib_core::quantity::{Quantity, Timestamp};
use calib_core::uncertainty::coverage_factor;
use jiff::{Span, tz::Offset};
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt::Write;

/// Cores beyond parameters below which intervals are not sure to hold what they
/// claim, as `tests/coverage.csv` shows: from five levels of one core to seven.
const FEW_SPARE_CORES: usize = 7;

/// Probability below which the farthest core is warned of.
const OUTLYING_LEVEL: f64 = 0.05;

/// Smoothing from which there is none to speak of: a bend of e^100.
const UNSMOOTHED: f64 = 100.0;

/// Days after which a calibration should be checked: a year (common practice).
const RECHECK_DAYS: i64 = 365;

/// One probe's fit, with everything worth saying about it.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct ProbeReport {
    /// The calibration.
    pub calibration: Calibration,
    /// The curve's equation.
    pub equation: &'static str,
    /// The parameters with their standard uncertainties, the temperature
    /// coefficient last where there is one.
    pub parameters: Vec<Parameter>,
    /// Correlation of the parameters, in the same order.
    pub correlation: Vec<Vec<f64>>,
    /// Why this curve, in two sentences.
    pub explanation: [String; 2],
    /// What residuals cost; each core's weight stands with its residual.
    pub loss: Loss,
    /// What a robust loss made of the cores, in words.
    pub loss_remark: Option<String>,
    /// Whether temperature is corrected for, and why.
    pub temperature: TemperatureDecision,
    /// Whether the curve was asked for rather than chosen.
    pub asked_for: bool,
    /// Every curve looked at.
    pub candidates: Vec<Candidate>,
    /// Weighted sum of squares with uncertainties as stated.
    pub chi_square: f64,
    /// Standard deviation that smoothing allows the smoothed parameters, where the
    /// curve has any.
    pub smoothing: Option<f64>,
    /// One entry a core.
    pub residuals: Vec<Residual>,
    /// A new reading at several counts.
    pub predictions: Vec<NewReading>,
    /// The curve fitted again and again, where asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bootstrap: Option<CurveBootstrap>,
    /// What the diagnostics of the fit mean.
    pub diagnosis: Diagnosis,
    /// The physical routes at the cores, where the probe was read in media.
    pub physical: Option<PhysicalReport>,
    /// Why there are none, where the probe was read in media all the same.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub no_physical: Option<String>,
}

/// A fitted parameter.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Parameter {
    /// Its name in the equation.
    pub name: String,
    /// Its value.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
}

impl ProbeReport {
    /// Gathers what a fit says.
    ///
    /// # Errors
    /// [`Failure::Internal`] if the calibration has no answer inside its own
    /// domain.
    pub fn new(
        fitted: &Fitted<'_>,
        surroundings: &Surroundings,
        seed: u64,
    ) -> Result<Self, Failure> {
        let calibration = fitted.calibration.clone();
        let model = calibration.curve.kind.model();
        let names = model
            .parameter_names()
            .iter()
            .map(|name| (*name).to_owned());
        let values = calibration.curve.parameters.iter().copied();
        let mut parameters: Vec<(String, f64)> = names.zip(values).collect();
        if let Some(term) = calibration.temperature {
            parameters.push(("temperature".to_owned(), term.coefficient));
        }
        let u: Vec<f64> = (0..parameters.len())
            .map(|i| calibration.covariance[i][i].max(0.0).sqrt())
            .collect();
        let correlation: Vec<Vec<f64>> = calibration
            .covariance
            .iter()
            .zip(&u)
            .map(|(row, ui)| row.iter().zip(&u).map(|(c, uj)| c / (ui * uj)).collect())
            .collect();
        let parameter_names: Vec<&str> = parameters.iter().map(|(name, _)| name.as_str()).collect();
        let diagnosis = Diagnosis::new(fitted, &parameter_names, &correlation, surroundings);
        Ok(Self {
            diagnosis,
            physical: None,
            no_physical: None,
            bootstrap: None,
            equation: model.equation(),
            parameters: parameters
                .into_iter()
                .zip(&u)
                .map(|((name, value), u)| Parameter { name, value, u: *u })
                .collect(),
            correlation,
            explanation: fitted.choice.explanation(),
            loss: fitted.choice.fit.loss,
            loss_remark: loss_remark(&fitted.choice.fit),
            temperature: fitted.choice.temperature.clone(),
            asked_for: fitted.choice.asked_for,
            candidates: fitted.choice.candidates.clone(),
            chi_square: fitted.choice.fit.chi_square,
            smoothing: fitted.choice.fit.smoothing,
            residuals: fitted.choice.fit.residuals.clone(),
            predictions: new_reading::over_the_domain(&calibration, seed)?,
            calibration,
        })
    }

    /// The report as a person reads it.
    pub fn text(&self, details: bool) -> String {
        let mut text = String::new();
        let c = &self.calibration;
        let levels: std::collections::BTreeSet<&str> =
            self.residuals.iter().map(|r| r.level.as_str()).collect();
        let heading = format!(
            "Probe {} in {}: {} cores at {} moisture levels",
            c.probe,
            c.soil,
            c.cores,
            levels.len()
        );
        let rule = "=".repeat(heading.len());
        // Writing to a String cannot fail.
        let _ = write!(text, "{heading}\n{rule}\n\n{}\n", self.candidate_table());
        for sentence in &self.explanation {
            let _ = writeln!(text, "{}", wrapped(sentence));
        }
        if let Some(remark) = &self.loss_remark {
            let _ = writeln!(text, "{}", wrapped(remark));
        }
        let _ = writeln!(
            text,
            "{}",
            wrapped(&format!(
                "{} {}",
                sentence_case(&self.temperature.to_string()),
                self.diagnosis.temperature_remark
            ))
        );
        let _ = write!(text, "\n{}", self.curve_lines());
        let _ = write!(text, "\n{}", new_reading::text(c, &self.predictions));
        if let Some(bootstrap) = &self.bootstrap {
            let _ = write!(text, "\n{}", bootstrap.text());
        }
        if !self.diagnosis.remarks.is_empty() {
            text.push_str("\nWhat to watch, and what to do\n");
        }
        for remark in &self.diagnosis.remarks {
            let _ = writeln!(text, "{}", wrapped(remark));
        }
        if let Some(physical) = &self.physical {
            let _ = write!(text, "\n{}{}\n", physical.text(), wrapped(&physical.remark));
        }
        if let Some(why) = &self.no_physical {
            let _ = writeln!(text, "\n{}", wrapped(why));
        }
        if details {
            let _ = write!(text, "\nEvery core\n{}", self.residual_table());
            let _ = write!(
                text,
                "\nWhat each core decides\n{}",
                self.diagnosis.details()
            );
            let _ = write!(
                text,
                "\nHow the parameters correlate\n{}",
                self.correlation_lines()
            );
        } else {
            text.push_str(&self.worst_core());
        }
        text.push('\n');
        text
    }

    fn candidate_table(&self) -> TextTable<5> {
        let mut table = TextTable::new([
            Column::words("curve"),
            Column::numbers("error at unseen cores", "m3/m3"),
            Column::numbers("AICc", ""),
            Column::numbers("lack of fit", "p"),
            Column::words("verdict"),
        ]);
        let number = |value: Option<f64>, digits: usize| {
            value.map_or_else(|| "-".to_owned(), |v| format!("{v:.digits$}"))
        };
        for candidate in &self.candidates {
            if candidate.standing == Standing::NotAskedFor {
                continue;
            }
            table.push([
                candidate.kind.to_string(),
                number(candidate.left_out_rmse, 4),
                number(candidate.aicc, 1),
                candidate
                    .lack_of_fit_p
                    .map_or_else(|| "-".to_owned(), p_value),
                if self.asked_for && candidate.standing == Standing::Chosen {
                    "asked for".to_owned()
                } else {
                    verdict(&candidate.standing)
                },
            ]);
        }
        table
    }

    fn curve_lines(&self) -> String {
        let c = &self.calibration;
        let axis = c.curve.axis;
        let mut lines = format!("  {}", self.equation);
        if self.equation.contains('z') {
            let _ = write!(lines, ",  z = (count - {}) / {}", axis.origin, axis.unit);
        } else {
            let _ = write!(lines, ",  origin = {} counts", axis.origin);
        }
        lines.push('\n');
        for parameter in &self.parameters {
            if parameter.name == "temperature" {
                let _ = writeln!(
                    lines,
                    "  count at {} C = count - ({:.3} +- {:.3}) x (soil temperature - {0} C)   (95 %)",
                    c.temperature.map_or(0.0, |term| term.reference.value()),
                    parameter.value,
                    self.half_width(parameter)
                );
            } else {
                let _ = writeln!(
                    lines,
                    "  {} = {:.5} +- {:.5}   (95 %)",
                    parameter.name,
                    parameter.value,
                    self.half_width(parameter)
                );
            }
        }
        if let Some(remark) = &self.diagnosis.break_remark {
            let _ = writeln!(lines, "  {remark}");
        }
        if let Some(smoothing) = self.smoothing.filter(|s| *s < UNSMOOTHED) {
            let _ = writeln!(
                lines,
                "  smoothed: each bend e held to 0 +- {smoothing}, which foretells cores left out best"
            );
        }
        let _ = writeln!(
            lines,
            "  calibrated from {:.0} to {:.0} counts{}; {}",
            c.domain.low,
            c.domain.high,
            c.temperature.map_or_else(String::new, |term| format!(
                " (at {} C)",
                term.reference.value()
            )),
            c.direction
        );
        lines
    }

    fn half_width(&self, parameter: &Parameter) -> f64 {
        coverage_factor(COVERAGE, Some(self.calibration.degrees_of_freedom)) * parameter.u
    }

    fn residual_table(&self) -> TextTable<9> {
        let mut table = TextTable::new([
            Column::words("core"),
            Column::words("level"),
            Column::numbers("count", ""),
            Column::numbers("theta_v", "m3/m3"),
            Column::numbers("curve", "m3/m3"),
            Column::numbers("residual", "m3/m3"),
            Column::numbers("in s.d.", ""),
            Column::numbers("if left out", "m3/m3"),
            Column::numbers("weight", ""),
        ]);
        for r in &self.residuals {
            table.push([
                r.sample.clone(),
                r.level.clone(),
                format!("{:.1}", r.count),
                format!("{:.4}", r.theta_v),
                format!("{:.4}", r.fitted),
                format!("{:+.4}", r.residual),
                format!("{:+.1}", r.studentised),
                r.left_out_error
                    .map_or_else(|| "-".to_owned(), |e| format!("{e:+.4}")),
                format!("{:.2}", r.weight),
            ]);
        }
        table
    }

    fn correlation_lines(&self) -> String {
        let mut lines = String::new();
        for (parameter, row) in self.parameters.iter().zip(&self.correlation) {
            let _ = write!(lines, "  {:<12}", parameter.name);
            for value in row {
                let _ = write!(lines, "{value:>7.2}");
            }
            lines.push('\n');
        }
        lines
    }

    fn worst_core(&self) -> String {
        farthest(&self.residuals)
            .map_or_else(String::new, |worst| {
                format!(
                    "\nFarthest from the curve: core {} (level {}), {:+.3} m3/m3, {:.1} standard deviations; --details lists every core.\n",
                    worst.sample,
                    worst.level,
                    worst.residual,
                    worst.studentised.abs()
                )
            })
    }
}

/// The core farthest from the curve, in its own standard deviations.
fn farthest(residuals: &[Residual]) -> Option<&Residual> {
    residuals
        .iter()
        .max_by(|a, b| a.studentised.abs().total_cmp(&b.studentised.abs()))
}

fn p_value(p: f64) -> String {
    if p < 0.001 {
        "<0.001".to_owned()
    } else {
        format!("{p:.3}")
    }
}

/// How a curve fared, in words.
pub fn verdict(standing: &Standing) -> String {
    match standing {
        Standing::Chosen => "taken".to_owned(),
        Standing::ForetellsWorse => "foretells unseen cores worse".to_owned(),
        Standing::NoBetter => "no better than the one taken".to_owned(),
        Standing::LackOfFit => "misses whole levels".to_owned(),
        Standing::NotAskedFor => "not asked for".to_owned(),
        Standing::Refused { reason } => format!("refused: {reason}"),
    }
}

/// A refusal with its mend and the cores behind it, wettest first.
pub fn refusal(refused: &Refused) -> String {
    let mut table = TextTable::new([
        Column::words("core"),
        Column::words("level"),
        Column::numbers("count", ""),
        Column::numbers("theta_v", "m3/m3"),
    ]);
    let mut cores: Vec<&Observation> = refused.observations.iter().collect();
    cores.sort_by(|a, b| f64::total_cmp(&b.theta_v.value.value(), &a.theta_v.value.value()));
    for core in cores {
        table.push([
            core.sample.clone(),
            core.level.clone(),
            format!("{:.1}", core.count.value),
            format!("{:.4}", core.theta_v.value.value()),
        ]);
    }
    format!(
        "refused: probe {} in {}: {}\n  mend: {}\n\nIts cores, wettest first\n{table}",
        refused.probe, refused.soil, refused.reason, refused.mend
    )
}

/// Warnings that a fit itself gives rise to.
pub fn warnings(fitted: &Fitted<'_>) -> Vec<Warning> {
    let mut warnings = Vec::new();
    let place = format!("probe {}", fitted.calibration.probe);
    if let Some(test) = fitted
        .choice
        .fit
        .lack_of_fit
        .filter(|t| t.p_value < LACK_OF_FIT_LEVEL)
    {
        warnings.push(Warning {
            place: place.clone(),
            what: format!(
                "the curve misses whole moisture levels by more than cores of one level differ (F = {:.1}, p = {})",
                test.f,
                p_value(test.p_value)
            ),
            why: "at those levels every reading will be off the same way".to_owned(),
            advice: if fitted.choice.asked_for {
                "let `ovendry fit` choose the curve (leave --curve away)"
            } else {
                "look at the chart for levels that lie off to one side; repeat the worst one before trusting the set points there"
            }
            .to_owned(),
        });
    }
    let worst = farthest(&fitted.choice.fit.residuals);
    if let Some(worst) = worst.filter(|r| r.chance < OUTLYING_LEVEL) {
        warnings.push(Warning {
            place: format!("core {}", worst.sample),
            what: format!(
                "lies {:.1} standard deviations, as the other cores scatter, from the curve of probe {}; of so many cores one lies so far out by chance {}",
                worst.studentised.abs(),
                fitted.calibration.probe,
                if worst.chance < 0.001 {
                    "less than once in 1000 fits".to_owned()
                } else {
                    format!("once in {:.0} fits", 1.0 / worst.chance)
                }
            ),
            why: match fitted.choice.fit.loss {
                Loss::Squares => "one wrong mass or label can tilt the whole curve".to_owned(),
                loss => format!("one wrong mass or label can tilt the whole curve; {loss} left it {:.0} % of its pull", 100.0 * worst.weight),
            },
            advice: match fitted.choice.fit.loss {
                Loss::Squares => "check its masses and readings against the record sheet; `--loss tukey` (or huber) shows how much it decides; leave it out only for a reason you can name",
                Loss::Huber | Loss::Tukey => "check its masses and readings against the record sheet; leave it out only for a reason you can name",
            }
            .to_owned(),
        });
    }
    let parameters = fitted.calibration.covariance.len();
    let spare = fitted.calibration.cores.saturating_sub(parameters);
    if spare < FEW_SPARE_CORES {
        warnings.push(Warning {
            place,
            what: format!("only {spare} cores more than parameters"),
            why: "the scatter of the cores, and with it every +-, is then itself poorly known: do not trust the interval as you would another"
                .to_owned(),
            advice: "take more cores; two or three at each of five or more levels is usual (common practice)"
                .to_owned(),
        });
    }
    warnings
}

/// Date of the last reading, and the date to check again, both `YYYY-MM-DD`.
///
/// # Errors
/// [`Failure::Internal`] if the time lies beyond the calendar.
pub fn dates(last_reading: Timestamp) -> Result<(String, String), Failure> {
    let beyond = |e: jiff::Error| Failure::Internal(format!("time beyond the calendar: {e}"));
    let time = jiff::Timestamp::from_second(last_reading.0).map_err(beyond)?;
    let day = Offset::UTC.to_datetime(time).date();
    let recheck = day
        .checked_add(Span::new().days(RECHECK_DAYS))
        .map_err(beyond)?;
    Ok((day.to_string(), recheck.to_string()))
}

/// With a capital at the beginning and a full stop at the end.
pub fn sentence_case(text: &str) -> String {
    let mut characters = text.chars();
    let mut sentence: String = characters
        .next()
        .into_iter()
        .flat_map(char::to_uppercase)
        .collect();
    sentence.push_str(characters.as_str());
    if !sentence.ends_with('.') {
        sentence.push('.');
    }
    sentence
}

/// Breaks a sentence into lines of at most 78 characters.
pub fn wrapped(text: &str) -> String {
    wrapped_to(text, 78)
}

/// Breaks a sentence into lines of at most `width` characters.
pub fn wrapped_to(text: &str, width: usize) -> String {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let line = lines.last().map_or(0, String::len);
        if line > 0 && line + 1 + word.len() > width {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines.join("\n")
}
