//! What a table and a calibration have in common: an answer to a reading.

use super::settings::TemperatureUse;
use crate::calibration::{Calibration, Direction};
use crate::controller::record::{
    SIXTEENTHS, THETA_SCALE, celsius_from_centi, counts_from_sixteenths, theta_v_from_units,
};
use crate::controller::table::{ControllerTable, full_scale};
use crate::quantity::{Celsius, Quantity};

/// What is said of one reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stated {
    /// theta_v, m3/m3.
    pub theta_v: f64,
    /// Its expanded uncertainty (95 %), m3/m3.
    pub expanded: f64,
}

/// Whatever turns a code and a soil temperature into a water content.
pub trait Answers {
    /// The probe's identifier.
    fn probe(&self) -> &str;
    /// The soil's name.
    fn soil(&self) -> &str;
    /// Bits of the converter.
    fn adc_bits(&self) -> u8;
    /// Which way the count moves.
    fn direction(&self) -> Direction;
    /// Lowest and highest count with an answer, at the reference temperature.
    fn domain(&self) -> (f64, f64);
    /// How a soil temperature is used, if it is.
    fn temperature(&self) -> Option<TemperatureUse>;
    /// theta_v of a reading with its uncertainty; `None` where there is no answer.
    /// `temperature_centi` is C x 100.
    fn stated(&self, code: u32, temperature_centi: Option<i16>) -> Option<Stated>;
    /// Largest difference from the fitted curve, m3/m3.
    fn bound(&self) -> f64;
    /// Itself, if it is a controller's table.
    fn table(&self) -> Option<&ControllerTable>;

    /// The largest code of the converter, as far as a table can have it.
    fn largest_code(&self) -> u32 {
        u32::from(full_scale(self.adc_bits()))
    }
}

impl Answers for ControllerTable {
    fn probe(&self) -> &str {
        &self.record().probe
    }

    fn soil(&self) -> &str {
        &self.record().soil
    }

    fn adc_bits(&self) -> u8 {
        self.record().adc_bits
    }

    fn direction(&self) -> Direction {
        self.record().direction
    }

    fn domain(&self) -> (f64, f64) {
        let record = self.record();
        (
            counts_from_sixteenths(record.domain_low),
            counts_from_sixteenths(record.domain_high),
        )
    }

    fn temperature(&self) -> Option<TemperatureUse> {
        let term = self.record().temperature?;
        let sixteenths = f64::from(term.coefficient) / f64::from(term.divisor());
        Some(TemperatureUse {
            reference_centi: term.reference_centi,
            lowest_centi: term.lowest_centi,
            highest_centi: term.highest_centi,
            counts_per_degree: 100.0 * sixteenths / f64::from(SIXTEENTHS),
        })
    }

    fn stated(&self, code: u32, temperature_centi: Option<i16>) -> Option<Stated> {
        let reading = self.evaluate(code, temperature_centi).ok()?;
        Some(Stated {
            theta_v: theta_v_from_units(reading.theta_v),
            expanded: theta_v_from_units(reading.expanded_uncertainty),
        })
    }

    fn bound(&self) -> f64 {
        theta_v_from_units(self.record().max_error)
    }

    fn table(&self) -> Option<&ControllerTable> {
        Some(self)
    }
}

fn celsius(centi: Option<i16>) -> Option<Celsius> {
    centi.and_then(|centi| Celsius::new(celsius_from_centi(centi)).ok())
}

impl Answers for Calibration {
    fn probe(&self) -> &str {
        &self.probe
    }

    fn soil(&self) -> &str {
        &self.soil
    }

    fn adc_bits(&self) -> u8 {
        self.adc_bits
    }

    fn direction(&self) -> Direction {
        self.direction
    }

    fn domain(&self) -> (f64, f64) {
        (self.domain.low, self.domain.high)
    }

    /// The temperatures a table of this calibration would accept.
    fn temperature(&self) -> Option<TemperatureUse> {
        let term = self.temperature?;
        let grid = self.grid_centi();
        let end = |centi: Option<&Option<i16>>| centi.copied().flatten();
        Some(TemperatureUse {
            reference_centi: (100.0 * term.reference.value()).round() as i16,
            lowest_centi: end(grid.first())?,
            highest_centi: end(grid.last())?,
            counts_per_degree: term.coefficient,
        })
    }

    fn stated(&self, code: u32, temperature_centi: Option<i16>) -> Option<Stated> {
        let prediction = self
            .predict(f64::from(code), celsius(temperature_centi))
            .ok()?;
        Some(Stated {
            theta_v: prediction.theta_v.value(),
            expanded: prediction.expanded.expanded,
        })
    }

    /// Half of what a table can show: a smaller difference reaches no controller.
    fn bound(&self) -> f64 {
        0.5 / THETA_SCALE
    }

    fn table(&self) -> Option<&ControllerTable> {
        None
    }
}
