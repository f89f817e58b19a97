//! What a calibration says of a new reading when every input is drawn from its
//! distribution: the JCGM 101 counterpart of [`Calibration::predict`].

use super::{Calibration, ConvertError};
use crate::curve::{CurveModel, MAX_CURVE_PARAMETERS};
use crate::fit::ScatterDraw;
use crate::quantity::{Celsius, Quantity};
use crate::uncertainty::{Draws, MonteCarlo, MonteCarloError, Propagated, propagate};
use nalgebra::{DMatrix, SymmetricEigen};
use rand::RngExt;
use rand_distr::{ChiSquared, Distribution, StandardNormal};

/// Most entries of a covariance: a curve's parameters and a temperature
/// coefficient.
const MOST: usize = MAX_CURVE_PARAMETERS + 1;

/// Share of the largest eigenvalue of the correlation matrix by which the
/// smallest may lie below zero and still be rounding.
const ROUNDING: f64 = 1e-9;

/// Fewest degrees of freedom drawn with: Student's t has no standard deviation
/// below three.
const FEWEST_DEGREES_OF_FREEDOM: f64 = 3.0;

/// Degrees of freedom above which a line is drawn from the normal distribution;
/// the two differ by about 1 % of that line in the 95 % interval.
const NEARLY_NORMAL: f64 = 100.0;

/// Why distributions could not be propagated.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PropagationError {
    /// The reading itself has no water content.
    #[error(transparent)]
    Convert(#[from] ConvertError),
    /// The covariance of the parameters is the covariance of nothing.
    #[error("the covariance of the parameters is none: {fault}")]
    NotACovariance {
        /// What is wrong with it.
        fault: &'static str,
    },
    /// The draws came to nothing.
    #[error(transparent)]
    Draws(#[from] MonteCarloError),
}

impl PropagationError {
    /// What to do about it.
    pub fn mend(&self) -> &'static str {
        match self {
            PropagationError::Convert(_) => "read within the calibrated counts, with a temperature",
            PropagationError::NotACovariance { .. } => {
                "choose a curve with fewer parameters with --curve, or take more cores"
            }
            PropagationError::Draws(_) => {
                "take cores beyond these counts, or choose another curve with --curve"
            }
        }
    }
}

impl Calibration {
    /// Draws theta_v of one new reading of this probe in this soil, JCGM
    /// 101:2008, with each input of [`predict`](Self::predict) from its own
    /// distribution:
    ///
    /// * parameters jointly normal, with the covariance that the scatter drawn
    ///   asks for;
    /// * scatter of the cores by the weights of its draws; where there are none,
    ///   by a scaled inverse chi-square with the fit's degrees of freedom, which
    ///   makes Student's t of both;
    /// * each rival curve with its weight, moved by the same errors of the
    ///   parameters as the curve taken;
    /// * noise of the reading by Student's t with its degrees of freedom (6.4.9
    ///   of the standard), its rounding uniform over one count (6.4.2);
    /// * soil thermometer, ring volume, supply and difference between probes
    ///   normal (6.4.7; clause numbers recalled from memory).
    ///
    /// # Errors
    /// [`PropagationError::Convert`] as [`theta_v`](Self::theta_v) has it,
    /// [`PropagationError::NotACovariance`] if the covariance is not square, not
    /// finite or not positive semi-definite, [`PropagationError::Draws`] if the
    /// curve has no value at some of the draws.
    pub fn propagate(
        &self,
        count: f64,
        temperature: Option<Celsius>,
        settings: &MonteCarlo,
    ) -> Result<Propagated, PropagationError> {
        self.theta_v(count, temperature)?;
        let reading = NewReading::of(self, count, temperature)?;
        Ok(propagate(settings, |draws| reading.draw(draws))?)
    }
}

/// A new reading, ready to be drawn: nothing is allocated or looked up from here
/// on.
struct NewReading<'a> {
    calibration: &'a Calibration,
    model: &'static dyn CurveModel,
    count: f64,
    /// Degrees above the reference and counts per degree, with a term.
    warmth: Option<(f64, f64)>,
    temperature: Option<Celsius>,
    parameters: [f64; MOST],
    curve_parameters: usize,
    /// Turns independent standard normal values into errors of the parameters.
    root: [[f64; MOST]; MOST],
    errors: usize,
    scatter: Scatter,
    noise: Scale,
    taken_weight: f64,
}

/// How the scatter of the cores is drawn.
enum Scatter {
    /// One of the draws, with the sum of the weights up to and with it.
    Draws(Vec<(f64, ScatterDraw)>),
    /// As estimated, on the fit's degrees of freedom.
    Estimated(Scale),
}

/// What an estimated standard deviation is multiplied by.
enum Scale {
    Known,
    /// The root of this many degrees of freedom over their chi-square.
    Estimated(f64, ChiSquared<f64>),
}

impl Scale {
    fn of(degrees_of_freedom: f64) -> Self {
        let freedom = degrees_of_freedom.max(FEWEST_DEGREES_OF_FREEDOM);
        match ChiSquared::new(freedom) {
            Ok(square) if freedom <= NEARLY_NORMAL => Scale::Estimated(freedom, square),
            _ => Scale::Known,
        }
    }

    fn draw(&self, draws: &mut Draws) -> f64 {
        match self {
            Scale::Known => 1.0,
            Scale::Estimated(freedom, square) => (freedom / square.sample(draws)).sqrt(),
        }
    }
}

fn normal(draws: &mut Draws) -> f64 {
    StandardNormal.sample(draws)
}

impl<'a> NewReading<'a> {
    fn of(
        calibration: &'a Calibration,
        count: f64,
        temperature: Option<Celsius>,
    ) -> Result<Self, PropagationError> {
        let curve = &calibration.curve;
        let curve_parameters = curve.parameters.len();
        let warmth = calibration
            .temperature
            .zip(temperature)
            .map(|(term, t)| (t.value() - term.reference.value(), term.coefficient));
        let errors = curve_parameters + usize::from(warmth.is_some());
        let root = root_of(&calibration.covariance, errors)?;
        let mut parameters = [0.0; MOST];
        for (place, value) in parameters.iter_mut().zip(&curve.parameters) {
            *place = *value;
        }
        let mut sum = 0.0;
        let cumulative: Vec<(f64, ScatterDraw)> = calibration
            .scatter_draws
            .iter()
            .map(|draw| {
                sum += draw.weight;
                (sum, *draw)
            })
            .collect();
        Ok(Self {
            calibration,
            model: curve.kind.model(),
            count,
            warmth,
            temperature,
            parameters,
            curve_parameters,
            root,
            errors,
            scatter: if cumulative.is_empty() {
                Scatter::Estimated(Scale::of(calibration.degrees_of_freedom))
            } else {
                Scatter::Draws(cumulative)
            },
            noise: Scale::of(calibration.noise.degrees_of_freedom),
            taken_weight: 1.0 - calibration.rivals.iter().map(|r| r.weight).sum::<f64>(),
        })
    }

    /// One draw of theta_v.
    fn draw(&self, draws: &mut Draws) -> f64 {
        let c = self.calibration;
        let (spread, scatter) = self.scatter_draw(draws);
        let error = self.parameter_errors(spread, draws);
        let mut parameters = self.parameters;
        for (value, error) in parameters
            .iter_mut()
            .zip(&error)
            .take(self.curve_parameters)
        {
            *value += error;
        }

        let mut read = self.count
            + normal(draws) * c.noise.standard_deviation * self.noise.draw(draws)
            + draws.random_range(-0.5..0.5);
        if c.probe_to_probe > 0.0 {
            read += normal(draws) * c.probe_to_probe;
        }
        if c.supply_relative_u > 0.0 {
            read += normal(draws) * c.supply_relative_u * self.count;
        }
        let mut at = read;
        let mut thermometer = 0.0;
        if let Some((above, coefficient)) = self.warmth {
            thermometer = normal(draws) * c.temperature_u;
            at -= (coefficient + error[self.curve_parameters]) * (above + thermometer);
        }
        let value = |at: f64, parameters: &[f64; MOST]| {
            let parameters = &parameters[..self.curve_parameters];
            self.model.value(c.curve.axis.z(at), parameters)
        };
        let mut theta = value(at, &parameters);
        if !c.rivals.is_empty() {
            theta += self.rival_distance(read, thermometer, draws, &value);
        }
        theta * (1.0 + normal(draws) * c.relative_volume_u) + normal(draws) * scatter
    }

    /// By how much the parameters' standard errors grow, and the scatter.
    fn scatter_draw(&self, draws: &mut Draws) -> (f64, f64) {
        match &self.scatter {
            Scatter::Estimated(scale) => {
                let scale = scale.draw(draws);
                (scale, scale * self.calibration.core_scatter)
            }
            Scatter::Draws(cumulative) => {
                let chance: f64 = draws.random();
                let place = cumulative.partition_point(|(sum, _)| *sum < chance);
                cumulative
                    .get(place)
                    .or(cumulative.last())
                    .map_or((1.0, 0.0), |(_, draw)| {
                        (draw.covariance_scale.sqrt(), draw.scatter)
                    })
            }
        }
    }

    fn parameter_errors(&self, spread: f64, draws: &mut Draws) -> [f64; MOST] {
        let mut error = [0.0; MOST];
        for column in self.root.iter().take(self.errors) {
            let size = spread * normal(draws);
            for (error, part) in error.iter_mut().zip(column) {
                *error += size * part;
            }
        }
        error
    }

    /// How far the curve drawn lies from the one taken, both as fitted: zero as
    /// often as the one taken is likely to be the nearest to the truth.
    fn rival_distance(
        &self,
        read: f64,
        thermometer: f64,
        draws: &mut Draws,
        value: &impl Fn(f64, &[f64; MOST]) -> f64,
    ) -> f64 {
        let mut chance = draws.random::<f64>() - self.taken_weight;
        for rival in &self.calibration.rivals {
            if chance < 0.0 {
                break;
            }
            chance -= rival.weight;
            if chance < 0.0 {
                let brought = |term: Option<(f64, f64)>| {
                    term.map_or(read, |(coefficient, above)| {
                        read - coefficient * (above + thermometer)
                    })
                };
                let its = rival.temperature.zip(self.temperature);
                let its =
                    its.map(|(term, t)| (term.coefficient, t.value() - term.reference.value()));
                let taken = self.warmth.map(|(above, coefficient)| (coefficient, above));
                return rival.curve.value(brought(its)) - value(brought(taken), &self.parameters);
            }
        }
        0.0
    }
}

/// Columns whose outer products add up to the leading `size` rows and columns of
/// a covariance.
fn root_of(covariance: &[Vec<f64>], size: usize) -> Result<[[f64; MOST]; MOST], PropagationError> {
    let none = |fault| PropagationError::NotACovariance { fault };
    if size > MOST || covariance.len() < size || covariance.iter().any(|row| row.len() < size) {
        return Err(none("it has too few rows or columns"));
    }
    let whole = DMatrix::from_fn(size, size, |i, j| covariance[i][j]);
    if whole.iter().any(|value| !value.is_finite()) {
        return Err(none("it holds what is no number"));
    }
    let spreads: Vec<f64> = whole.diagonal().iter().map(|v| v.sqrt()).collect();
    if spreads.iter().any(|spread| spread.is_nan()) {
        return Err(none("a variance is negative"));
    }
    // Correlations, so that parameters of different units count alike.
    let mut correlation = DMatrix::zeros(size, size);
    for i in 0..size {
        for j in 0..size {
            let scale = spreads[i] * spreads[j];
            if scale > 0.0 {
                correlation[(i, j)] = whole[(i, j)] / scale;
            } else if whole[(i, j)] != 0.0 {
                return Err(none("a parameter without variance has a covariance"));
            }
        }
    }
    if (&correlation - correlation.transpose()).amax() > 1e-6 {
        return Err(none("it is not symmetric"));
    }
    let decomposed = SymmetricEigen::new(correlation);
    let largest = decomposed.eigenvalues.iter().copied().fold(0.0, f64::max);
    let mut root = [[0.0; MOST]; MOST];
    for (k, value) in decomposed.eigenvalues.iter().enumerate() {
        if *value < -ROUNDING * largest {
            return Err(none("it is not positive semi-definite"));
        }
        for i in 0..size {
            root[k][i] = spreads[i] * value.max(0.0).sqrt() * decomposed.eigenvectors[(i, k)];
        }
    }
    Ok(root)
}

#[cfg(test)]
mod tests;
