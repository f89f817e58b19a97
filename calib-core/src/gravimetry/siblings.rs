//! Cores of one moisture level against each other: the cheapest way to catch a
//! mistyped mass.

use crate::quantity::{Quantity, Vwc};

/// Spread of theta_v among cores of one level, m3/m3, beyond which a slip is
/// likelier than the soil (our choice: several times what packed or wetted soil
/// shows from core to core).
pub const LARGEST_SPREAD: f64 = 0.10;

/// The driest and the wettest of cores that should be alike, as places in
/// `cores`, with their difference in m3/m3, where it exceeds [`LARGEST_SPREAD`];
/// `None` where they agree or there are fewer than two.
pub fn too_far_apart(cores: &[Vwc]) -> Option<(usize, usize, f64)> {
    let by_value =
        |a: &(usize, &Vwc), b: &(usize, &Vwc)| f64::total_cmp(&a.1.value(), &b.1.value());
    let (driest, low) = cores.iter().enumerate().min_by(by_value)?;
    let (wettest, high) = cores.iter().enumerate().max_by(by_value)?;
    let difference = high.value() - low.value();
    (difference > LARGEST_SPREAD).then_some((driest, wettest, difference))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cores(values: &[f64]) -> Vec<Vwc> {
        values.iter().map(|v| Vwc::new(*v).unwrap()).collect()
    }

    #[test]
    fn a_core_far_from_its_level_is_named_with_its_opposite() {
        let (driest, wettest, difference) = too_far_apart(&cores(&[0.31, 0.11, 0.30])).unwrap();
        assert_eq!((driest, wettest), (1, 0));
        assert!((difference - 0.20).abs() < 1e-12);
    }

    #[test]
    fn cores_that_differ_as_soil_does_are_let_be() {
        assert_eq!(too_far_apart(&cores(&[0.31, 0.28, 0.30])), None);
        assert_eq!(too_far_apart(&cores(&[0.31])), None);
        assert_eq!(too_far_apart(&[]), None);
    }
}
