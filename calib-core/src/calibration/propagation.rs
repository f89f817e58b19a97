//! What a calibration says of a new reading when every input is drawn from its
//! distribution: the JCGM 101 counterpart of [`Calibration::predict`].

use super::{Calibration, ConvertError};
use crate::curve::{Axis, Curve, CurveModel, MAX_CURVE_PARAMETERS};
use crate::fit::ScatterDraw;
use crate::quantity::{Celsius, Quantity};
use crate::temperature::TemperatureTerm;
use crate::uncertainty::{Draws, MonteCarlo, MonteCarloError, Propagated, propagate_together};
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
    /// * each rival curve with its weight, its own covariance and its own scatter;
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
        self.propagate_together(&[count], temperature, settings)
            .pop()
            .unwrap_or(Err(ConvertError::TemperatureMissing.into()))
    }

    /// As [`propagate`](Self::propagate) at each of `counts`, at one temperature:
    /// every input is drawn once a draw and serves all counts.
    ///
    /// # Errors
    /// As there, count by count.
    pub fn propagate_together(
        &self,
        counts: &[f64],
        temperature: Option<Celsius>,
        settings: &MonteCarlo,
    ) -> Vec<Result<Propagated, PropagationError>> {
        let readable: Vec<f64> = counts
            .iter()
            .copied()
            .filter(|count| self.theta_v(*count, temperature).is_ok())
            .collect();
        let mut drawn = match NewReading::of(self, temperature) {
            Ok(reading) => propagate_together(settings, readable.len(), |draws, out| {
                reading.draw(&readable, draws, out);
            })
            .into_iter()
            .map(|one| Ok(one?))
            .collect(),
            Err(error) => vec![Err(error); readable.len()],
        }
        .into_iter();
        counts
            .iter()
            .map(|count| {
                self.theta_v(*count, temperature)?;
                drawn
                    .next()
                    .unwrap_or(Err(ConvertError::TemperatureMissing.into()))
            })
            .collect()
    }
}

/// A new reading, ready to be drawn: nothing is allocated or looked up from here
/// on.
pub(crate) struct NewReading<'a> {
    calibration: &'a Calibration,
    /// The curve taken, then its rivals.
    curves: Vec<Drawable>,
    scatter: Scatter,
    noise: Scale,
}

/// One of the curves that may be the true one.
struct Drawable {
    /// Sum of the weights up to and with this one.
    up_to: f64,
    model: &'static dyn CurveModel,
    axis: Axis,
    parameters: [f64; MOST],
    curve_parameters: usize,
    /// Turns independent standard normal values into errors of the parameters.
    root: [[f64; MOST]; MOST],
    errors: usize,
    /// Degrees above the reference and counts per degree, with a term.
    warmth: Option<(f64, f64)>,
    /// By how much the variance of its scatter is more than that about the curve
    /// taken, m3/m3 squared; less where below zero.
    more_scatter: f64,
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

impl Drawable {
    fn of(
        curve: &Curve,
        term: Option<TemperatureTerm>,
        covariance: &[Vec<f64>],
        temperature: Option<Celsius>,
    ) -> Result<Self, PropagationError> {
        let warmth = term
            .zip(temperature)
            .map(|(term, t)| (t.value() - term.reference.value(), term.coefficient));
        let errors = curve.parameters.len() + usize::from(warmth.is_some());
        let mut parameters = [0.0; MOST];
        for (place, value) in parameters.iter_mut().zip(&curve.parameters) {
            *place = *value;
        }
        Ok(Self {
            up_to: 1.0,
            model: curve.kind.model(),
            axis: curve.axis,
            parameters,
            curve_parameters: curve.parameters.len(),
            root: root_of(covariance, errors)?,
            errors,
            warmth,
            more_scatter: 0.0,
        })
    }

    /// The curve with errors of its parameters `spread` times as large as the
    /// covariance has them and the thermometer off by `thermometer`.
    fn drawn(&self, thermometer: f64, spread: f64, draws: &mut Draws) -> DrawnCurve<'_> {
        let mut error = [0.0; MOST];
        for column in self.root.iter().take(self.errors) {
            let size = spread * normal(draws);
            for (error, part) in error.iter_mut().zip(column) {
                *error += size * part;
            }
        }
        let warmed = self.warmth.map_or(0.0, |(above, coefficient)| {
            (coefficient + error[self.curve_parameters]) * (above + thermometer)
        });
        let mut parameters = self.parameters;
        for (value, error) in parameters[..self.curve_parameters].iter_mut().zip(&error) {
            *value += error;
        }
        DrawnCurve {
            curve: self,
            parameters,
            warmed,
        }
    }
}

/// One draw of a curve.
struct DrawnCurve<'a> {
    curve: &'a Drawable,
    parameters: [f64; MOST],
    /// Counts that temperature adds.
    warmed: f64,
}

impl DrawnCurve<'_> {
    /// theta_v at the count read.
    fn theta(&self, read: f64) -> f64 {
        let curve = self.curve;
        let parameters = &self.parameters[..curve.curve_parameters];
        curve
            .model
            .value(curve.axis.z(read - self.warmed), parameters)
    }
}

impl<'a> NewReading<'a> {
    pub(crate) fn of(
        calibration: &'a Calibration,
        temperature: Option<Celsius>,
    ) -> Result<Self, PropagationError> {
        let c = calibration;
        let mut taken = Drawable::of(&c.curve, c.temperature, &c.covariance, temperature)?;
        taken.up_to = 1.0 - c.rivals.iter().map(|r| r.weight).sum::<f64>();
        let mut curves = vec![taken];
        let mut up_to = curves[0].up_to;
        for rival in &c.rivals {
            up_to += rival.weight;
            let its = Drawable::of(
                &rival.curve,
                rival.temperature,
                &rival.covariance,
                temperature,
            )?;
            curves.push(Drawable {
                up_to,
                more_scatter: rival.core_scatter.powi(2) - c.core_scatter.powi(2),
                ..its
            });
        }
        let mut sum = 0.0;
        let cumulative: Vec<(f64, ScatterDraw)> = c
            .scatter_draws
            .iter()
            .map(|draw| {
                sum += draw.weight;
                (sum, *draw)
            })
            .collect();
        Ok(Self {
            calibration,
            curves,
            scatter: if cumulative.is_empty() {
                Scatter::Estimated(Scale::of(c.degrees_of_freedom))
            } else {
                Scatter::Draws(cumulative)
            },
            noise: Scale::of(c.noise.degrees_of_freedom),
        })
    }

    /// One draw of theta_v at each of `counts`.
    pub(crate) fn draw(&self, counts: &[f64], draws: &mut Draws, out: &mut [f64]) {
        let c = self.calibration;
        let curve = self.curve_draw(draws);
        let (spread, scatter) = self.scatter_draw(draws);
        let mut off = normal(draws) * c.noise.standard_deviation * self.noise.draw(draws)
            + draws.random_range(-0.5..0.5);
        if c.probe_to_probe > 0.0 {
            off += normal(draws) * c.probe_to_probe;
        }
        let mut supply = 0.0;
        if c.supply_relative_u > 0.0 {
            supply = normal(draws) * c.supply_relative_u;
        }
        let thermometer = normal(draws) * c.temperature_u;
        let drawn = curve.drawn(thermometer, spread, draws);
        let scatter = (scatter * scatter + curve.more_scatter).max(0.0).sqrt();
        let volume = 1.0 + normal(draws) * c.relative_volume_u;
        let core = normal(draws) * scatter;
        for (out, count) in out.iter_mut().zip(counts) {
            let read = count + off + supply * count;
            let mut theta = drawn.theta(read);
            if !theta.is_finite() {
                // A curve that ends before here is no rival here.
                theta = self.curves[0].drawn(thermometer, spread, draws).theta(read);
            }
            *out = theta * volume + core;
        }
    }

    /// One of the curves, as often as it is likely to be the nearest to the truth.
    fn curve_draw(&self, draws: &mut Draws) -> &Drawable {
        let taken = &self.curves[0];
        if self.curves.len() == 1 {
            return taken;
        }
        let chance: f64 = draws.random();
        let place = self.curves.partition_point(|curve| curve.up_to < chance);
        self.curves.get(place).unwrap_or(taken)
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
