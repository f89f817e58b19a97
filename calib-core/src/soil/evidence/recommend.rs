//! One recommended value from many.

use super::{Basis, Note};
use crate::quantity::{Estimate, Quantity, Vwc};
use crate::soil::spread::{median, spread};
use crate::soil::{Retention, SoilError, SourceWater};

/// Standard uncertainty of a saturation reckoned from a measured bulk density,
/// m3/m3: some 0.05 g/cm3 between ring cores of one bed. Our choice.
const FROM_DENSITY_U: f64 = 0.02;

/// What one of the two, field capacity or wilting point, is recommended from.
pub(super) struct Recommendation<'a> {
    pub(super) name: &'static str,
    pub(super) measured: Option<Estimate<Vwc>>,
    /// What the sources can offer; `None` where there are none.
    pub(super) basis: Option<Basis>,
    /// In the order of the sources.
    pub(super) from_sources: &'a [f64],
    /// What converting sand and silt adds to a value of the equations.
    pub(super) converted_u: f64,
}

/// The recommended value.
pub(super) fn recommend(
    from: Recommendation<'_>,
    notes: &mut Vec<Note>,
) -> Result<(Estimate<Vwc>, Basis), SoilError> {
    let Recommendation {
        name,
        measured,
        basis,
        from_sources,
        converted_u,
    } = from;
    if let Some(mut measured) = measured {
        if measured.value.value() <= 0.0 {
            return Err(SoilError::NotAboveZero {
                name,
                value: measured.value.value(),
            });
        }
        // Also true of NaN, which is no uncertainty either.
        if !(measured.u > 0.0 && measured.u.is_finite()) {
            measured.u = spread(from_sources, median(from_sources));
            notes.push(Note::MeasuredWithoutUncertainty {
                name,
                taken: measured.u,
            });
        }
        return Ok((measured, Basis::Measured));
    }
    let (Some(basis), Some(first)) = (basis, from_sources.first()) else {
        return Err(SoilError::NothingKnown { missing: name });
    };
    let (value, u) = if basis == Basis::Equations {
        (*first, spread(from_sources, *first).hypot(converted_u))
    } else {
        let value = median(from_sources);
        (value, spread(from_sources, value))
    };
    Ok((Estimate::new(Vwc::new(value)?, u), basis))
}

/// The recommended saturation: `pores`, all the room a measured density leaves;
/// else that of the equations where the others rest on them too; else the median
/// of the sources that have one. None where it would not lie above field capacity,
/// which is then noted.
pub(super) fn recommend_saturation(
    sources: &[SourceWater],
    basis: Option<Basis>,
    pores: Option<f64>,
    converted_u: f64,
    field_capacity: &Estimate<Vwc>,
    notes: &mut Vec<Note>,
) -> Result<Option<(Estimate<Vwc>, Basis)>, SoilError> {
    let values: Vec<f64> = sources
        .iter()
        .filter_map(|source| source.saturation.map(Quantity::value))
        .collect();
    let (value, u, basis) = match (pores, basis, values.first()) {
        (Some(pores), ..) => (pores, FROM_DENSITY_U, Basis::BulkDensity),
        (None, Some(Basis::Equations), Some(first)) => {
            let u = spread(&values, *first).hypot(converted_u);
            (*first, u, Basis::Equations)
        }
        (None, Some(basis), Some(_)) => {
            let value = median(&values);
            (value, spread(&values, value), basis)
        }
        _ => return Ok(None),
    };
    if value <= field_capacity.value.value() {
        notes.push(Note::SaturationBelowFieldCapacity {
            saturation: value,
            field_capacity: field_capacity.value.value(),
            basis,
        });
        return Ok(None);
    }
    Ok(Some((Estimate::new(Vwc::new(value)?, u), basis)))
}

/// Suction at air entry, kPa: that of Saxton and Rawls, the only source that has
/// one; 0 without.
pub(super) fn air_entry(sources: &[SourceWater]) -> f64 {
    sources
        .iter()
        .find_map(|source| match source.retention {
            Retention::PowerLaw(law) => law.saturation.and(Some(law.air_entry_kpa)),
            Retention::VanGenuchten(_) => None,
        })
        .unwrap_or(0.0)
}
