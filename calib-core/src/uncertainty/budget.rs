//! An uncertainty budget: contributions by source, their combination, effective
//! degrees of freedom and coverage factor.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};
use std::fmt;

/// Where a contribution comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Source {
    /// Resolution and repeatability of the balance.
    Balance,
    /// Diameter of the sampling ring.
    RingDiameter,
    /// Height of the sampling ring.
    RingHeight,
    /// Core volume given as one figure.
    CoreVolume,
    /// Water still in the soil when it was called dry.
    IncompleteDrying,
    /// Density of water at its temperature.
    WaterDensity,
    /// Particle density of the soil.
    ParticleDensity,
    /// Curve parameters (and temperature coefficient), from the fit's covariance.
    CurveParameters,
    /// Core-to-core scatter and lack of fit beyond the stated uncertainties.
    CoreScatter,
    /// Smoothing: how far the curve may bend where the cores do not say.
    Smoothing,
    /// Not knowing which curve of the family is the true one.
    CurveChoice,
    /// Noise of a single reading.
    ReadingNoise,
    /// Noise and rounding of the readings beside the cores, as they reach the
    /// curve.
    WindowReadings,
    /// Reference theta_v of the cores, where its uncertainty is not itemised.
    ReferenceValue,
    /// Rounding of the reading to a whole count.
    Quantisation,
    /// The temperature sensor.
    TemperatureSensor,
    /// Supply voltage or converter reference, between calibration and use.
    SupplyReference,
    /// Differences between probes of one type, where they share a calibration.
    ProbeToProbe,
    /// Field capacity and wilting point of the soil.
    SoilWater,
}

impl Source {
    /// Whether a single reading brings it along: its noise, its rounding, the
    /// thermometer at that moment. The mean of many readings is all but free of it.
    pub fn is_of_one_reading(self) -> bool {
        matches!(
            self,
            Source::ReadingNoise | Source::Quantisation | Source::TemperatureSensor
        )
    }
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Source::Balance => "balance",
            Source::RingDiameter => "ring diameter",
            Source::RingHeight => "ring height",
            Source::CoreVolume => "core volume",
            Source::IncompleteDrying => "incomplete drying",
            Source::WaterDensity => "water density",
            Source::ParticleDensity => "particle density",
            Source::CurveParameters => "curve parameters",
            Source::CoreScatter => "core-to-core scatter and lack of fit",
            Source::Smoothing => "smoothing of the curve",
            Source::CurveChoice => "choice of curve",
            Source::ReadingNoise => "noise of one reading",
            Source::WindowReadings => "readings beside the cores",
            Source::ReferenceValue => "reference theta_v as stated",
            Source::Quantisation => "rounding to whole counts",
            Source::TemperatureSensor => "temperature sensor",
            Source::SupplyReference => "supply or converter reference",
            Source::ProbeToProbe => "differences between probes",
            Source::SoilWater => "field capacity and wilting point",
        })
    }
}

/// One line of a budget, already multiplied by its sensitivity, so in the unit
/// of the result.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Contribution {
    /// Where it comes from.
    pub source: Source,
    /// Standard uncertainty it gives the result, m3/m3.
    pub u: f64,
    /// Degrees of freedom behind it; `None` where it is taken as known.
    pub degrees_of_freedom: Option<f64>,
}

/// Contributions taken as uncorrelated with one another.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Budget {
    /// The lines, in the order they were added.
    pub lines: Vec<Contribution>,
}

/// A standard uncertainty expanded to a stated coverage.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Expanded {
    /// Combined standard uncertainty u_c, m3/m3.
    pub standard: f64,
    /// Effective degrees of freedom; `None` where unlimited.
    pub degrees_of_freedom: Option<f64>,
    /// Coverage factor k.
    pub coverage_factor: f64,
    /// Expanded uncertainty U = k u_c, m3/m3.
    pub expanded: f64,
    /// Coverage probability the factor stands for, e.g. 0.95.
    pub coverage: f64,
}

impl Budget {
    /// Adds a line whose standard uncertainty is taken as known.
    pub fn add_known(&mut self, source: Source, u: f64) {
        self.lines.push(Contribution {
            source,
            u: u.abs(),
            degrees_of_freedom: None,
        });
    }

    /// Adds a line estimated with `degrees_of_freedom`; fewer than one are taken
    /// as one.
    pub fn add_estimated(&mut self, source: Source, u: f64, degrees_of_freedom: f64) {
        self.lines.push(Contribution {
            source,
            u: u.abs(),
            degrees_of_freedom: Some(degrees_of_freedom),
        });
    }

    /// The lines that `keep` chooses.
    pub fn only(&self, keep: impl Fn(Source) -> bool) -> Budget {
        Budget {
            lines: self
                .lines
                .iter()
                .copied()
                .filter(|line| keep(line.source))
                .collect(),
        }
    }

    /// Combined standard uncertainty: the root of the sum of squares.
    /// JCGM 100:2008, equation (10), with sensitivities already applied.
    pub fn standard(&self) -> f64 {
        self.lines
            .iter()
            .map(|line| line.u * line.u)
            .sum::<f64>()
            .sqrt()
    }

    /// Effective degrees of freedom by Welch and Satterthwaite: JCGM 100:2008,
    /// equation (G.2b). Lines taken as known add nothing to the denominator;
    /// `None` if all are.
    ///
    /// The lines [`Source::CurveParameters`] and [`Source::CoreScatter`] are
    /// estimated from the same residuals and so enter as one.
    pub fn degrees_of_freedom(&self) -> Option<f64> {
        let (mut fit_square, mut fit_dof, mut denominator) = (0.0, f64::INFINITY, 0.0);
        for line in &self.lines {
            // Less than one, or no number, would make a line too small to matter
            // decide the whole budget, or a line of zero undo it.
            let Some(dof) = line.degrees_of_freedom.map(|dof| dof.max(1.0)) else {
                continue;
            };
            if matches!(line.source, Source::CurveParameters | Source::CoreScatter) {
                fit_square += line.u * line.u;
                fit_dof = f64::min(fit_dof, dof);
            } else {
                denominator += line.u.powi(4) / dof;
            }
        }
        denominator += fit_square * fit_square / fit_dof;
        (denominator > 0.0).then(|| self.standard().powi(4) / denominator)
    }

    /// Expands to `coverage` (for example 0.95) with the quantile of Student's
    /// t at the effective degrees of freedom, truncated to a whole number as
    /// JCGM 100:2008, G.4.1, has it.
    pub fn expand(&self, coverage: f64) -> Expanded {
        let standard = self.standard();
        let degrees_of_freedom = self.degrees_of_freedom();
        let coverage_factor = coverage_factor(coverage, degrees_of_freedom);
        Expanded {
            standard,
            degrees_of_freedom,
            coverage_factor,
            expanded: coverage_factor * standard,
            coverage,
        }
    }
}

/// Two-sided coverage factor for `coverage` at `degrees_of_freedom` (whole
/// part, at least 1), or of the normal distribution where those are unlimited.
/// A coverage of 1 or more, or one that is no number, is taken as all but 1.
pub fn coverage_factor(coverage: f64, degrees_of_freedom: Option<f64>) -> f64 {
    let coverage = if coverage.is_nan() { 1.0 } else { coverage };
    let upper = 0.5 + coverage.clamp(0.0, 1.0 - 1e-12) / 2.0;
    let student = degrees_of_freedom
        .map(|dof| dof.floor().max(1.0))
        .filter(|dof| *dof < 1e6)
        .and_then(|dof| StudentsT::new(0.0, 1.0, dof).ok());
    match student {
        Some(t) => t.inverse_cdf(upper),
        None => Normal::standard().inverse_cdf(upper),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coverage_factors_are_those_of_the_guide() {
        // JCGM 100:2008, Table G.2, t_95(v), recalled from memory:
        // v = 5: 2.57, v = 10: 2.23, v = 20: 2.09, infinity: 1.960.
        for (dof, expected) in [(5.0, 2.57), (10.0, 2.23), (20.0, 2.09)] {
            assert!((coverage_factor(0.95, Some(dof)) - expected).abs() < 0.005);
        }
        assert!((coverage_factor(0.95, None) - 1.960).abs() < 0.0005);
    }

    #[test]
    fn effective_degrees_of_freedom_follow_welch_and_satterthwaite() {
        let mut budget = Budget::default();
        budget.add_estimated(Source::ReadingNoise, 3.0, 4.0);
        budget.add_known(Source::Quantisation, 4.0);
        assert!((budget.standard() - 5.0).abs() < 1e-12);
        assert!((budget.degrees_of_freedom().unwrap() - 625.0 / (81.0 / 4.0)).abs() < 1e-9);
    }

    #[test]
    fn a_budget_of_known_lines_has_unlimited_degrees_of_freedom() {
        let mut budget = Budget::default();
        budget.add_known(Source::Balance, 1.0);
        assert_eq!(budget.degrees_of_freedom(), None);
    }

    #[test]
    fn a_line_without_degrees_of_freedom_neither_rules_nor_undoes_the_budget() {
        for (u, least) in [(0.0, 3.0), (1e-5, 2.999)] {
            for dof in [0.0, 0.5, f64::NAN] {
                let mut budget = Budget::default();
                budget.add_estimated(Source::CurveParameters, 0.01, 3.0);
                budget.add_estimated(Source::ReadingNoise, u, dof);
                let effective = budget.degrees_of_freedom().unwrap();
                assert!(
                    (least..=3.001).contains(&effective),
                    "{u} {dof}: {effective}"
                );
            }
        }
    }

    #[test]
    fn a_coverage_that_is_none_does_not_panic() {
        for coverage in [f64::NAN, 1.0, 7.0] {
            assert!(coverage_factor(coverage, Some(3.0)) > 1000.0);
            assert!(coverage_factor(coverage, None) > 7.0);
        }
        assert_eq!(coverage_factor(-1.0, None), 0.0);
    }

    #[test]
    fn lines_from_the_same_residuals_count_as_one() {
        let mut budget = Budget::default();
        budget.add_estimated(Source::CurveParameters, 3.0, 6.0);
        budget.add_estimated(Source::CoreScatter, 4.0, 6.0);
        assert!((budget.degrees_of_freedom().unwrap() - 6.0).abs() < 1e-9);
    }
}
