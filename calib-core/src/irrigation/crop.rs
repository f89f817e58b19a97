//! Root depth and allowed depletion by crop: Allen et al. (1998), FAO
//! Irrigation and Drainage Paper 56, Table 22.

use super::IrrigationError;
use crate::quantity::{Fraction, Millimetre, Quantity};
use crate::reference::{Table, plain_name};
use serde::Deserialize;

/// Crop evapotranspiration the table's depletion fractions are made for, mm/day.
pub const TABLE_EVAPOTRANSPIRATION: f64 = 5.0;

/// Lowest and highest depletion fraction the adjustment may give (recalled
/// from memory).
pub const DEPLETION_LIMITS: (f64, f64) = (0.1, 0.8);

/// Most a crop can use, mm/day; a plausibility limit of our own, well above
/// what hot dry wind draws from a full canopy.
pub const MAXIMUM_EVAPOTRANSPIRATION: f64 = 20.0;

/// Change of the depletion fraction for each mm/day below the table's
/// evapotranspiration (recalled from memory).
const DEPLETION_PER_MM: f64 = 0.04;

const FILE: &str = "fao56_table22.csv";

/// A row of the table.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Crop {
    /// The crop, as the table names it.
    #[serde(rename = "crop")]
    pub name: String,
    /// Lower end of the root depth, m.
    root_depth_low_m: f64,
    /// Upper end of the root depth, m.
    root_depth_high_m: f64,
    /// Share of the available water that may be used up before the crop is
    /// held back, at [`TABLE_EVAPOTRANSPIRATION`].
    #[serde(rename = "p_at_etc_5mm")]
    pub depletion: Fraction,
}

static CROPS: Table<Crop> = Table::new(
    FILE,
    include_str!("../../../reference-data/soil/fao56_table22.csv"),
);

/// Every row, in the order of the file.
///
/// # Errors
/// [`IrrigationError::Reference`] if the program was built from damaged data.
pub fn crops() -> Result<&'static [Crop], IrrigationError> {
    Ok(CROPS.rows()?)
}

/// The row for `name`; capitals, hyphens and extra spaces do not matter.
///
/// # Errors
/// [`IrrigationError::UnknownCrop`] with the names there are.
///
/// # Example
/// ```
/// use calib_core::irrigation::crop;
/// use calib_core::quantity::Quantity;
/// let lettuce = crop("Lettuce")?;
/// assert_eq!(lettuce.allowed_depletion(5.0)?.value(), 0.3);
/// assert!(crop("moss").is_err());
/// # Ok::<(), calib_core::irrigation::IrrigationError>(())
/// ```
pub fn crop(name: &str) -> Result<&'static Crop, IrrigationError> {
    let rows = crops()?;
    rows.iter()
        .find(|row| plain_name(&row.name) == plain_name(name))
        .ok_or_else(|| IrrigationError::UnknownCrop {
            name: name.to_owned(),
            known: rows
                .iter()
                .map(|row| row.name.as_str())
                .collect::<Vec<_>>()
                .join(", "),
        })
}

impl Crop {
    /// The range of root depth.
    ///
    /// # Errors
    /// [`IrrigationError::Implausible`] if the program was built from damaged
    /// data.
    pub fn root_depth_range(&self) -> Result<(Millimetre, Millimetre), IrrigationError> {
        Ok((
            Millimetre::new(1000.0 * self.root_depth_low_m)?,
            Millimetre::new(1000.0 * self.root_depth_high_m)?,
        ))
    }

    /// The root depth to irrigate by: the lower end of the range, which the
    /// table's footnote gives for irrigation scheduling (recalled from memory).
    ///
    /// # Errors
    /// As [`root_depth_range`](Self::root_depth_range).
    pub fn root_depth(&self) -> Result<Millimetre, IrrigationError> {
        Ok(self.root_depth_range()?.0)
    }

    /// Allowed depletion on a day of `evapotranspiration` mm: less on a hot
    /// day, more on a cool one, `p + 0.04 (5 - ETc)` kept within
    /// [`DEPLETION_LIMITS`] (both recalled from memory).
    ///
    /// # Errors
    /// [`IrrigationError::Evapotranspiration`] if that is not between 0 and
    /// [`MAXIMUM_EVAPOTRANSPIRATION`].
    pub fn allowed_depletion(&self, evapotranspiration: f64) -> Result<Fraction, IrrigationError> {
        if !(0.0..=MAXIMUM_EVAPOTRANSPIRATION).contains(&evapotranspiration) {
            return Err(IrrigationError::Evapotranspiration {
                value: evapotranspiration,
            });
        }
        let adjusted = self.depletion.value()
            + DEPLETION_PER_MM * (TABLE_EVAPOTRANSPIRATION - evapotranspiration);
        let (least, most) = DEPLETION_LIMITS;
        Ok(Fraction::new(adjusted.clamp(least, most))?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_crop_of_the_table_is_found_by_its_name() {
        assert_eq!(crops().unwrap().len(), 20);
        for row in crops().unwrap() {
            assert_eq!(crop(&row.name.to_uppercase()).unwrap(), row);
            let (low, high) = row.root_depth_range().unwrap();
            assert!(low < high, "{}", row.name);
            assert_eq!(row.allowed_depletion(5.0).unwrap(), row.depletion);
        }
        assert_eq!(crop("cool season turf").unwrap().name, "cool-season turf");
    }

    #[test]
    fn an_unknown_crop_is_answered_with_the_names_there_are() {
        let message = crop("moss").unwrap_err().to_string();
        assert!(
            message.starts_with(
                "\"moss\" is not a crop of FAO-56 Table 22 as carried here: tomato, lettuce,"
            ),
            "{message}"
        );
    }

    #[test]
    fn a_hot_day_allows_less_and_a_cool_day_more() {
        // p = 0.40 + 0.04 (5 - 7.5) = 0.30 and 0.40 + 0.04 (5 - 2) = 0.52.
        let tomato = crop("tomato").unwrap();
        let at = |etc: f64| tomato.allowed_depletion(etc).unwrap().value();
        assert!((at(7.5) - 0.30).abs() < 1e-12);
        assert!((at(2.0) - 0.52).abs() < 1e-12);
    }

    #[test]
    fn the_adjustment_stays_within_its_limits() {
        assert_eq!(
            crop("strawberry")
                .unwrap()
                .allowed_depletion(15.0)
                .unwrap()
                .value(),
            0.1
        );
        assert_eq!(
            crop("olive")
                .unwrap()
                .allowed_depletion(0.0)
                .unwrap()
                .value(),
            0.8
        );
    }

    #[test]
    fn a_water_use_no_field_has_is_refused() {
        for wrong in [-1.0, 21.0, f64::NAN] {
            assert!(matches!(
                crop("apple").unwrap().allowed_depletion(wrong),
                Err(IrrigationError::Evapotranspiration { .. })
            ));
        }
    }

    #[test]
    fn roots_are_reckoned_as_deep_as_scheduling_wants_them() {
        assert_eq!(
            crop("lettuce").unwrap().root_depth().unwrap().value(),
            300.0
        );
    }
}
