//! Sand (0.05 to 2 mm), silt (0.002 to 0.05 mm) and clay (below 0.002 mm) of a
//! soil, percent by mass, and how near it lies to another texture class.

use super::{SoilError, TextureClass};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// How far sand, silt and clay may add up from 100 percent, in percent points:
/// three figures rounded to whole percents can be one off.
pub const SUM_TOLERANCE: f64 = 1.0;

/// Steps to a percent point. Shares are held in whole steps so that a soil on
/// the border of two classes falls on the same side every time.
pub(super) const STEPS: i32 = 1000;
/// The whole, in steps.
const WHOLE: i32 = 100 * STEPS;
/// Step of the search for the nearest border, a tenth of a percent point.
const SEARCH_STEP: i32 = STEPS / 10;

/// One of the three soil separates.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Separate {
    /// 0.05 to 2 mm.
    Sand,
    /// 0.002 to 0.05 mm.
    Silt,
    /// Below 0.002 mm.
    Clay,
}

impl fmt::Display for Separate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Separate::Sand => "sand",
            Separate::Silt => "silt",
            Separate::Clay => "clay",
        })
    }
}

/// Sand, silt and clay by mass; they add up to the whole, each to a thousandth
/// of a percent point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Particles {
    pub(super) sand: i32,
    pub(super) silt: i32,
    pub(super) clay: i32,
}

/// The smallest move of mass between two separates that changes the class.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BorderShift {
    /// Percent points moved, to a tenth (rounded up).
    pub points: f64,
    /// The separate that loses them.
    pub from: Separate,
    /// The separate that gains them.
    pub to: Separate,
    /// The class on the other side.
    pub class: TextureClass,
}

impl Particles {
    /// Sand, silt and clay, percent by mass, as a laboratory reports them.
    /// Figures that add up to 100 only within [`SUM_TOLERANCE`] are scaled so
    /// that they do.
    ///
    /// # Errors
    /// [`SoilError::Percent`] if a figure is not between 0 and 100,
    /// [`SoilError::SumNotHundred`] if they add up to something else.
    ///
    /// # Example
    /// ```
    /// use calib_core::soil::{Particles, TextureClass};
    /// let particles = Particles::new(65.0, 25.0, 10.0)?;
    /// assert_eq!(particles.class(), TextureClass::SandyLoam);
    /// assert!(Particles::new(65.0, 25.0, 20.0).is_err());
    /// # Ok::<(), calib_core::soil::SoilError>(())
    /// ```
    pub fn new(sand: f64, silt: f64, clay: f64) -> Result<Self, SoilError> {
        for (name, percent) in [("sand", sand), ("silt", silt), ("clay", clay)] {
            check_percent(name, percent)?;
        }
        let sum = sand + silt + clay;
        // The hair's breadth keeps 33.7 + 33.7 + 33.6 = 101.00000000000001 in.
        if (sum - 100.0).abs() > SUM_TOLERANCE + 1e-9 {
            return Err(SoilError::SumNotHundred {
                sand,
                silt,
                clay,
                sum,
            });
        }
        Ok(Self::filled_with_silt(
            steps(sand * 100.0 / sum),
            steps(clay * 100.0 / sum),
        ))
    }

    /// Sand and clay, percent by mass; silt is the rest.
    ///
    /// # Errors
    /// [`SoilError::Percent`] if a figure is not between 0 and 100,
    /// [`SoilError::NoRoomForSilt`] if they add up to more than 100.
    pub fn from_sand_and_clay(sand: f64, clay: f64) -> Result<Self, SoilError> {
        check_percent("sand", sand)?;
        check_percent("clay", clay)?;
        if sand + clay > 100.0 + 1e-9 {
            return Err(SoilError::NoRoomForSilt { sand, clay });
        }
        Ok(Self::filled_with_silt(steps(sand), steps(clay)))
    }

    /// Sand and clay in steps; where both were rounded up past the whole, clay
    /// gives way.
    fn filled_with_silt(sand: i32, clay: i32) -> Self {
        let clay = clay.min(WHOLE - sand);
        Self {
            sand,
            silt: WHOLE - sand - clay,
            clay,
        }
    }

    /// With `points` percent points of silt called sand (negative: of sand called
    /// silt), as far as there are any.
    pub(super) fn with_sand_from_silt(mut self, points: f64) -> Self {
        let moved = (points * f64::from(STEPS))
            .round()
            .clamp(-f64::from(self.sand), f64::from(self.silt)) as i32;
        self.silt -= moved;
        self.sand += moved;
        self
    }

    /// Sand, percent by mass.
    pub fn sand(&self) -> f64 {
        f64::from(self.sand) / f64::from(STEPS)
    }

    /// Silt, percent by mass.
    pub fn silt(&self) -> f64 {
        f64::from(self.silt) / f64::from(STEPS)
    }

    /// Clay, percent by mass.
    pub fn clay(&self) -> f64 {
        f64::from(self.clay) / f64::from(STEPS)
    }

    /// The USDA texture class.
    pub fn class(&self) -> TextureClass {
        // The rules leave no point out (tested over the whole triangle), so the
        // fallback is never taken; clay is where the last rule stands.
        TextureClass::ALL
            .into_iter()
            .find(|class| class.holds(self))
            .unwrap_or(TextureClass::Clay)
    }

    /// The smallest move of mass from one separate to another, the third left
    /// as it is, that changes the class.
    ///
    /// Towards a straight border this is also the smallest change of the
    /// largest of the three figures.
    pub fn nearest_border(&self) -> Option<BorderShift> {
        use Separate::{Clay, Sand, Silt};
        let own = self.class();
        let pairs = [
            (Sand, Silt),
            (Sand, Clay),
            (Silt, Sand),
            (Silt, Clay),
            (Clay, Sand),
            (Clay, Silt),
        ];
        (1..=WHOLE / SEARCH_STEP).find_map(|tenths| {
            pairs.into_iter().find_map(|(from, to)| {
                let class = self.moved(from, to, tenths * SEARCH_STEP)?.class();
                (class != own).then(|| BorderShift {
                    points: f64::from(tenths) / 10.0,
                    from,
                    to,
                    class,
                })
            })
        })
    }

    /// With `steps` of mass moved; `None` where there is not so much to move.
    fn moved(mut self, from: Separate, to: Separate, steps: i32) -> Option<Self> {
        let source = self.share(from);
        if *source < steps {
            return None;
        }
        *source -= steps;
        *self.share(to) += steps;
        Some(self)
    }

    fn share(&mut self, separate: Separate) -> &mut i32 {
        match separate {
            Separate::Sand => &mut self.sand,
            Separate::Silt => &mut self.silt,
            Separate::Clay => &mut self.clay,
        }
    }
}

/// As a person writes it, e.g. `62 % sand, 27 % silt, 11 % clay`.
impl fmt::Display for Particles {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} % sand, {} % silt, {} % clay",
            self.sand(),
            self.silt(),
            self.clay()
        )
    }
}

/// Checks a share by mass.
pub(super) fn check_percent(name: &'static str, percent: f64) -> Result<(), SoilError> {
    if (0.0..=100.0).contains(&percent) {
        Ok(())
    } else {
        Err(SoilError::Percent { name, percent })
    }
}

/// Percent in whole steps; `percent` is between 0 and 100.
fn steps(percent: f64) -> i32 {
    (percent * f64::from(STEPS)).round() as i32
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn rules_met(particles: &Particles) -> Vec<TextureClass> {
        TextureClass::ALL
            .into_iter()
            .filter(|class| class.holds(particles))
            .collect()
    }

    #[test]
    fn every_whole_percent_point_meets_exactly_one_rule() {
        let mut points = 0;
        for sand in 0..=100 {
            for clay in 0..=(100 - sand) {
                let particles =
                    Particles::from_sand_and_clay(f64::from(sand), f64::from(clay)).unwrap();
                assert_eq!(rules_met(&particles).len(), 1, "{particles}");
                points += 1;
            }
        }
        assert_eq!(points, 5151);
    }

    proptest! {
        #[test]
        fn every_point_between_meets_exactly_one_rule(sand in 0..=WHOLE, share in 0.0..=1.0_f64) {
            let clay = (f64::from(WHOLE - sand) * share) as i32;
            let particles = Particles { sand, silt: WHOLE - sand - clay, clay };
            prop_assert_eq!(rules_met(&particles), vec![particles.class()]);
        }

        #[test]
        fn rounded_laboratory_figures_are_brought_to_the_whole(
            sand in 0.0..=100.0_f64, share in 0.0..=1.0_f64,
        ) {
            let clay = (100.0 - sand) * share;
            let rounded = [sand, 100.0 - sand - clay, clay].map(f64::round);
            let particles = Particles::new(rounded[0], rounded[1], rounded[2]).unwrap();
            prop_assert!((particles.sand() + particles.silt() + particles.clay() - 100.0).abs() < 1e-9);
            prop_assert!((particles.sand() - sand).abs() < 2.0);
        }

        #[test]
        fn a_shift_short_of_the_nearest_border_keeps_the_class(
            sand in 0..=1000_i32, share in 0.0..=1.0_f64,
        ) {
            let sand = sand * SEARCH_STEP;
            let clay = (f64::from((WHOLE - sand) / SEARCH_STEP) * share) as i32 * SEARCH_STEP;
            let particles = Particles { sand, silt: WHOLE - sand - clay, clay };
            let shift = particles.nearest_border().unwrap();
            let moved = steps(shift.points);
            let across = particles.moved(shift.from, shift.to, moved).unwrap();
            prop_assert_eq!(across.class(), shift.class);
            prop_assert_ne!(shift.class, particles.class());
            let short = particles.moved(shift.from, shift.to, moved - SEARCH_STEP).unwrap();
            prop_assert_eq!(short.class(), particles.class());
        }
    }

    #[test]
    fn figures_that_do_not_add_up_are_refused_with_their_sum() {
        assert_eq!(
            Particles::new(60.0, 30.0, 15.0).unwrap_err().to_string(),
            "sand 60 %, silt 30 % and clay 15 % add up to 105.0 %, further from 100 % than the 1 that rounding explains"
        );
        assert_eq!(
            Particles::from_sand_and_clay(60.0, 41.0)
                .unwrap_err()
                .to_string(),
            "sand 60 % and clay 41 % add up to more than 100 %"
        );
    }

    #[test]
    fn shares_beyond_the_whole_and_nan_are_refused() {
        for wrong in [-1.0, 100.5, f64::NAN, f64::INFINITY] {
            assert!(matches!(
                Particles::new(wrong, 0.0, 0.0),
                Err(SoilError::Percent { name: "sand", .. })
            ));
            assert!(matches!(
                Particles::from_sand_and_clay(0.0, wrong),
                Err(SoilError::Percent { name: "clay", .. })
            ));
        }
    }

    #[test]
    fn figures_one_percent_point_off_are_scaled() {
        let particles = Particles::new(33.7, 33.7, 33.6).unwrap();
        assert!((particles.sand() - 33.366).abs() < 1e-9);
        assert!((particles.clay() - 33.267).abs() < 1e-9);
    }

    #[test]
    fn a_soil_just_inside_its_class_says_what_lies_across_the_border() {
        let shift = Particles::from_sand_and_clay(53.0, 15.0)
            .unwrap()
            .nearest_border()
            .unwrap();
        assert_eq!(shift.class, TextureClass::Loam);
        assert_eq!((shift.points, shift.from), (1.0, Separate::Sand));
    }
}
