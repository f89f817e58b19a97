//! A calibration as a controller sees it: whole counts, dry to wet.

use super::{DomainEnd, IrrigationError, SetPoint};
use crate::calibration::Calibration;
use crate::curve::CurveError;
use crate::quantity::{Count, Quantity, Vwc};

/// The calibration as a controller sees it: whole counts inside the domain.
pub(super) struct Scale<'a> {
    calibration: &'a Calibration,
    /// One count towards the dry end: +1 or -1.
    drier: f64,
    /// Driest and wettest calibrated water content, m3/m3.
    pub(super) range: (f64, f64),
}

impl<'a> Scale<'a> {
    /// The scale of `calibration`.
    pub(super) fn of(calibration: &'a Calibration) -> Self {
        let at_low = calibration.curve.value(calibration.domain.low);
        let at_high = calibration.curve.value(calibration.domain.high);
        Self {
            calibration,
            drier: if at_low > at_high { 1.0 } else { -1.0 },
            range: (at_low.min(at_high), at_low.max(at_high)),
        }
    }

    /// The curve at `count`, m3/m3.
    pub(super) fn theta(&self, count: f64) -> f64 {
        self.calibration.curve.value(count)
    }

    /// The wettest whole count at which the curve is not above `theta`.
    pub(super) fn whole_count(
        &self,
        set_point: SetPoint,
        theta: f64,
    ) -> Result<f64, IrrigationError> {
        let (low, high) = self.range;
        let beyond = |end: DomainEnd| IrrigationError::OutsideDomain {
            set_point,
            theta,
            end,
            low,
            high,
        };
        let exact = self
            .calibration
            .count_at(Vwc::new(theta)?)
            .map_err(|error| match error {
                CurveError::NotReached { .. } if theta < low => beyond(DomainEnd::Dry),
                CurveError::NotReached { .. } => beyond(DomainEnd::Wet),
                other => IrrigationError::Curve(other),
            })?;
        let nearest = exact.round();
        let whole = if self.theta(nearest) <= theta {
            nearest
        } else {
            nearest + self.drier
        };
        if self.calibrated(whole) {
            Ok(whole)
        } else {
            Err(beyond(DomainEnd::Dry))
        }
    }

    fn calibrated(&self, count: f64) -> bool {
        self.calibration.domain.contains(count) && Count::new(count).is_ok()
    }

    /// From `count` towards the dry end, the first whole count at least `least`
    /// counts from `stop_count` whose theta_v the probe tells from that at stop.
    pub(super) fn resolved_count(
        &self,
        stop_count: f64,
        mut count: f64,
        least: f64,
    ) -> Result<f64, IrrigationError> {
        let stop = self.theta(stop_count);
        // The last binary digit of a sum must not cost a whole count.
        let enough = |count: f64| (count - stop_count) * self.drier + 1e-9 >= least;
        loop {
            let resolvable = self.calibration.resolvable_change(count);
            let band = stop - self.theta(count);
            if enough(count) && band > 0.0 && band >= resolvable {
                return Ok(count);
            }
            count += self.drier;
            if !self.calibrated(count) {
                let (low, high) = self.range;
                return Err(IrrigationError::BandLeavesDomain {
                    least,
                    stop,
                    low,
                    high,
                });
            }
        }
    }
}
