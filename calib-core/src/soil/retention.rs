//! Retention: how hard a soil holds its water, as suction (kPa, positive as the
//! soil dries) against theta_v.
//!
//! Every source gets a curve through what it says of the soil, and so does the
//! recommended pair of field capacity and wilting point.

use super::{FIELD_CAPACITY_KPA, SoilWater, VanGenuchten, WILTING_POINT_KPA};
use crate::quantity::{Estimate, Quantity, Vwc};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Suctions below this are not told apart, kPa: a water column of a
/// centimetre.
const LEAST_KPA: f64 = 0.1;
/// Suctions above this are not told apart, kPa: soil from a drying oven (from
/// memory).
const MOST_KPA: f64 = 1e6;

/// How near two water contents of a curve may come when they are shifted to see
/// what that does, as a share of the upper one.
const CLOSEST: f64 = 0.999;
/// A saturation, m3/m3, that a shift may leave at least; none of a soil is near it.
const LEAST_SATURATION: f64 = 1e-6;

/// Straight between saturation and field capacity, a power law below: the shape
/// of the retention curve of Saxton and Rawls (2006), Soil Sci. Soc. Am. J.
/// 70:1569 (the straight part and its end at air entry recalled from memory,
/// not checked).
///
/// * below field capacity, `ln(suction)` falls in a straight line with
///   `ln(theta_v)` through (field capacity, 33 kPa) and (wilting point,
///   1500 kPa);
/// * from there to saturation, suction falls in a straight line with theta_v to
///   the suction of air entry;
/// * at lower suction the soil stays saturated.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PowerLaw {
    /// theta_v at 33 kPa, m3/m3.
    pub field_capacity: f64,
    /// theta_v at 1500 kPa, m3/m3; above 0 and below field capacity.
    pub wilting_point: f64,
    /// theta_v at saturation, m3/m3; above field capacity. `None` where the
    /// source has none: then the curve begins at field capacity.
    pub saturation: Option<f64>,
    /// Suction at which air enters, kPa; from 0 to below 33.
    pub air_entry_kpa: f64,
}

impl PowerLaw {
    /// Exponent B of `suction = A theta_v^-B`.
    pub fn exponent(&self) -> f64 {
        (WILTING_POINT_KPA.ln() - FIELD_CAPACITY_KPA.ln())
            / (self.field_capacity.ln() - self.wilting_point.ln())
    }

    /// Factor A of `suction = A theta_v^-B`, kPa.
    pub fn factor_kpa(&self) -> f64 {
        (FIELD_CAPACITY_KPA.ln() + self.exponent() * self.field_capacity.ln()).exp()
    }

    fn suction(&self, theta_v: f64) -> Option<f64> {
        if theta_v <= self.field_capacity {
            let wetter = self.field_capacity.ln() - theta_v.ln();
            return Some(FIELD_CAPACITY_KPA * (self.exponent() * wetter).exp());
        }
        let saturation = self.saturation?;
        let share = (theta_v - self.field_capacity) / (saturation - self.field_capacity);
        (share <= 1.0)
            .then_some(FIELD_CAPACITY_KPA - share * (FIELD_CAPACITY_KPA - self.air_entry_kpa))
    }

    fn theta_v(&self, suction: f64) -> Option<f64> {
        if suction >= FIELD_CAPACITY_KPA {
            let drier = (suction / FIELD_CAPACITY_KPA).ln() / self.exponent();
            return Some(self.field_capacity * (-drier).exp());
        }
        let saturation = self.saturation?;
        let share = (FIELD_CAPACITY_KPA - suction) / (FIELD_CAPACITY_KPA - self.air_entry_kpa);
        Some(self.field_capacity + share.min(1.0) * (saturation - self.field_capacity))
    }

    /// With its three water contents brought to rise again, where a shift has
    /// left them out of order.
    fn ascending(mut self) -> Self {
        self.field_capacity = self.field_capacity.max(f64::MIN_POSITIVE);
        if let Some(saturation) = &mut self.saturation {
            *saturation = saturation.max(LEAST_SATURATION);
            self.field_capacity = self.field_capacity.min(CLOSEST * *saturation);
        }
        self.wilting_point = self
            .wilting_point
            .clamp(1e-4 * self.field_capacity, CLOSEST * self.field_capacity);
        self
    }
}

/// The retention curve of one source.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", tag = "function")]
pub enum Retention {
    /// Straight to field capacity, a power law below.
    PowerLaw(PowerLaw),
    /// The function of van Genuchten (1980).
    VanGenuchten(VanGenuchten),
}

impl Retention {
    /// theta_v at `suction` kPa, m3/m3; `None` where the source does not say:
    /// below 33 kPa of one without saturation.
    ///
    /// # Example
    /// ```
    /// use calib_core::soil::{PowerLaw, Retention};
    /// let curve = Retention::PowerLaw(PowerLaw {
    ///     field_capacity: 0.28,
    ///     wilting_point: 0.14,
    ///     saturation: Some(0.46),
    ///     air_entry_kpa: 3.0,
    /// });
    /// assert!((curve.theta_v(33.0).unwrap() - 0.28).abs() < 1e-12);
    /// assert!((curve.suction(0.14).unwrap() - 1500.0).abs() < 1e-6);
    /// assert!((curve.suction(0.37).unwrap() - 18.0).abs() < 1e-9);
    /// assert_eq!(curve.suction(0.47), None);
    /// ```
    pub fn theta_v(&self, suction: f64) -> Option<f64> {
        match self {
            Retention::PowerLaw(law) => law.theta_v(suction),
            Retention::VanGenuchten(curve) => Some(curve.theta_v(suction)),
        }
    }

    /// Suction at `theta_v` m3/m3, kPa; `None` where the curve does not get
    /// there: above saturation, or at and below what it never dries to.
    pub fn suction(&self, theta_v: f64) -> Option<f64> {
        let suction = match self {
            Retention::PowerLaw(law) if theta_v > 0.0 => law.suction(theta_v),
            Retention::PowerLaw(_) => None,
            Retention::VanGenuchten(curve) => curve.suction(theta_v),
        };
        suction.filter(|suction| suction.is_finite())
    }
}

impl Retention {
    /// The same suctions in a soil whose fine earth takes `share` of the volume
    /// and whose stones hold nothing.
    pub(super) fn of_whole(&self, share: f64) -> Self {
        match *self {
            Retention::PowerLaw(law) => Retention::PowerLaw(PowerLaw {
                field_capacity: share * law.field_capacity,
                wilting_point: share * law.wilting_point,
                saturation: law.saturation.map(|theta_s| share * theta_s),
                ..law
            }),
            Retention::VanGenuchten(curve) => Retention::VanGenuchten(VanGenuchten {
                theta_r: share * curve.theta_r,
                theta_s: share * curve.theta_s,
                ..curve
            }),
        }
    }
}

/// The suction that goes with a water content.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SuctionEstimate {
    /// Suction, kPa.
    pub kpa: f64,
    /// Suction if field capacity, wilting point and saturation lie one standard
    /// uncertainty off to the dry side, kPa.
    pub low_kpa: f64,
    /// The same to the other side, kPa.
    pub high_kpa: f64,
}

/// The curve of a soil whose field capacity, wilting point and saturation are
/// known with their uncertainties.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct SoilRetention {
    pub(super) water: SoilWater,
    pub(super) saturation: Option<Estimate<Vwc>>,
    pub(super) air_entry_kpa: f64,
}

impl SoilRetention {
    /// The curve through the estimates themselves.
    pub(super) fn curve(&self) -> PowerLaw {
        self.shifted([0.0; 3])
    }

    /// Suction at `theta_v`, m3/m3, with what one standard uncertainty of each
    /// input does to its logarithm, added in squares for either side apart
    /// (after JCGM 100:2008, 5.1.3, note 2: differences in place of partial
    /// derivatives, as the curve has a corner at field capacity). `None` above
    /// saturation and below the wilting point, where the curve is not extended.
    pub(super) fn suction_at(&self, theta_v: f64) -> Option<SuctionEstimate> {
        let curve = Retention::PowerLaw(self.curve());
        // The hair's breadth lets the wilting point itself in.
        let kpa = curve
            .suction(theta_v)
            .filter(|kpa| *kpa <= WILTING_POINT_KPA * (1.0 + 1e-9))?;
        let log = |suction: f64| suction.clamp(LEAST_KPA, MOST_KPA).ln();
        let (mut below, mut above) = (0.0_f64, 0.0_f64);
        for input in 0..3 {
            let (mut lower, mut upper) = (0.0_f64, 0.0_f64);
            for sign in [-1.0, 1.0] {
                let mut shift = [0.0; 3];
                shift[input] = sign;
                let shifted = self.shifted(shift);
                // Above a lowered saturation the soil is saturated.
                let there = Retention::PowerLaw(shifted)
                    .suction(theta_v)
                    .unwrap_or(shifted.air_entry_kpa);
                let change = log(there) - log(kpa);
                lower = lower.min(change);
                upper = upper.max(change);
            }
            below += lower * lower;
            above += upper * upper;
        }
        Some(SuctionEstimate {
            kpa,
            low_kpa: (log(kpa) - below.sqrt()).exp().min(kpa),
            high_kpa: (log(kpa) + above.sqrt()).exp().max(kpa),
        })
    }

    /// The curve with its three independent inputs shifted by so many standard
    /// uncertainties: field capacity with what of the wilting point follows it,
    /// the rest of the wilting point, and saturation.
    fn shifted(&self, [capacity, wilting, saturation]: [f64; 3]) -> PowerLaw {
        let (fc, wp) = (&self.water.field_capacity, &self.water.wilting_point);
        let r = self.water.correlation.clamp(-1.0, 1.0);
        let own = (1.0 - r * r).sqrt();
        PowerLaw {
            field_capacity: fc.value.value() + capacity * fc.u,
            wilting_point: wp.value.value() + (r * capacity + own * wilting) * wp.u,
            saturation: self
                .saturation
                .map(|theta_s| theta_s.value.value() + saturation * theta_s.u),
            air_entry_kpa: self.air_entry_kpa,
        }
        .ascending()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn estimate(value: f64, u: f64) -> Estimate<Vwc> {
        Estimate::new(Vwc::new(value).unwrap(), u)
    }

    fn soil(u: f64) -> SoilRetention {
        SoilRetention {
            water: SoilWater {
                field_capacity: estimate(0.28, u),
                wilting_point: estimate(0.14, u),
                correlation: 0.0,
            },
            saturation: Some(estimate(0.46, u)),
            air_entry_kpa: 3.0,
        }
    }

    #[test]
    fn the_curve_passes_through_what_it_is_made_from() {
        let found = soil(0.01);
        for (theta, kpa) in [(0.14, 1500.0), (0.28, 33.0), (0.46, 3.0)] {
            let there = found.suction_at(theta).unwrap();
            assert!((there.kpa / kpa - 1.0).abs() < 1e-9, "{theta}: {there:?}");
            assert!(there.low_kpa < kpa || theta == 0.46, "{there:?}");
            assert!(there.high_kpa > kpa, "{there:?}");
        }
        // Half way in ln theta is half way in ln suction.
        let middle = found.suction_at((0.14_f64 * 0.28).sqrt()).unwrap();
        assert!((middle.kpa - (33.0_f64 * 1500.0).sqrt()).abs() < 1e-6);
    }

    #[test]
    fn neither_beyond_saturation_nor_beyond_the_wilting_point_is_there_an_answer() {
        let found = soil(0.01);
        for theta in [-0.1, 0.0, 0.1399, 0.4601, 1.0, f64::NAN] {
            assert_eq!(found.suction_at(theta), None, "{theta}");
        }
        let unsaturated = SoilRetention {
            saturation: None,
            ..found
        };
        assert!(unsaturated.suction_at(0.28).is_some());
        assert_eq!(unsaturated.suction_at(0.281), None);
    }

    #[test]
    fn only_field_capacity_unknown_shifts_the_suction_as_by_hand() {
        let mut found = soil(0.0);
        found.water.field_capacity.u = 0.02;
        let there = found.suction_at(0.20).unwrap();
        // 33 (1500/33)^(ln(FC/0.20)/ln(FC/0.14)) at FC 0.26 and 0.30.
        let by_hand =
            |fc: f64| 33.0 * (1500.0_f64 / 33.0).powf((fc / 0.20).ln() / (fc / 0.14).ln());
        assert!((there.low_kpa - by_hand(0.26)).abs() < 1e-6, "{there:?}");
        assert!((there.high_kpa - by_hand(0.30)).abs() < 1e-6, "{there:?}");
    }

    #[test]
    fn what_is_known_exactly_has_an_interval_of_no_width() {
        let there = soil(0.0).suction_at(0.22).unwrap();
        assert!((there.high_kpa - there.low_kpa).abs() < 1e-9);
    }

    #[test]
    fn a_saturation_that_may_lie_below_zero_still_has_an_interval() {
        let soil = SoilRetention {
            water: SoilWater {
                field_capacity: estimate(0.03, 0.0994),
                wilting_point: estimate(0.02, 0.0994),
                correlation: 0.0,
            },
            saturation: Some(estimate(0.04, 0.0994)),
            air_entry_kpa: 2.0,
        };
        let there = soil.suction_at(0.02).unwrap();
        assert!(
            there.high_kpa.is_finite() && there.low_kpa > 0.0,
            "{there:?}"
        );
    }

    #[test]
    fn a_wilting_point_that_may_lie_at_field_capacity_still_has_a_finite_interval() {
        let (wilting, available, drained, u) = (0.1785, 0.0382, 0.0241, 0.0875);
        let soil = SoilRetention {
            water: SoilWater {
                field_capacity: estimate(wilting + available, u),
                wilting_point: estimate(wilting, u),
                correlation: 0.693,
            },
            saturation: Some(estimate(wilting + available + drained, u)),
            air_entry_kpa: 2.0,
        };
        let there = soil.suction_at(0.1809).unwrap();
        assert!(there.high_kpa.is_finite(), "{there:?}");
    }

    proptest! {
        #[test]
        fn a_wetter_soil_never_holds_its_water_harder(
            wilting in 0.02..0.2_f64, available in 0.01..0.25_f64, drained in 0.01..0.3_f64,
            u in 0.0..0.1_f64, correlation in -1.0..=1.0_f64, share in 0.0..=1.0_f64,
        ) {
            let soil = SoilRetention {
                water: SoilWater {
                    field_capacity: estimate(wilting + available, u),
                    wilting_point: estimate(wilting, u),
                    correlation,
                },
                saturation: Some(estimate(wilting + available + drained, u)),
                air_entry_kpa: 2.0,
            };
            let at = wilting + share * (available + drained);
            let there = soil.suction_at(at).unwrap();
            prop_assert!(there.low_kpa <= there.kpa && there.kpa <= there.high_kpa);
            prop_assert!(there.high_kpa.is_finite() && there.low_kpa > 0.0);
            let curve = Retention::PowerLaw(soil.curve());
            prop_assert!((curve.theta_v(there.kpa).unwrap() - at).abs() < 1e-9);
            if let Some(wetter) = soil.suction_at(at + 0.001) {
                prop_assert!(wetter.kpa <= there.kpa);
            }
        }
    }
}
