//! Readings beside cores, made up for studies of accuracy.

use calib_core::accuracy::Sample;
use calib_core::quantity::{Estimate, Quantity, Vwc};

/// One core of a place: what the oven says, with its standard uncertainty, and what the
/// probe says, all in m3/m3.
///
/// # Panics
/// If the reference is no water content.
pub fn sample(
    (place, core): (usize, usize),
    (reference, reference_u): (f64, f64),
    reading: f64,
) -> Sample {
    Sample {
        core: format!("{place}.{core}"),
        cluster: place.to_string(),
        soil: "loam".into(),
        probe: "p".into(),
        count: 0.0,
        temperature: None,
        reference: Estimate::new(Vwc::new(reference).expect("a water content"), reference_u),
        relative_volume_u: 0.0,
        reading,
        reading_u: None,
    }
}
