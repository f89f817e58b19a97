//! The noise of a single reading, over many windows.

use crate::calibration::ReadingNoise;

/// Pools the noise of windows: variances weighted by their degrees of freedom,
/// which add up. `None` where no window has any (every one a single reading).
pub fn pool_noise(windows: impl IntoIterator<Item = ReadingNoise>) -> Option<ReadingNoise> {
    let (mut squares, mut degrees_of_freedom) = (0.0, 0.0);
    for noise in windows {
        squares += noise.degrees_of_freedom * noise.standard_deviation.powi(2);
        degrees_of_freedom += noise.degrees_of_freedom;
    }
    (degrees_of_freedom > 0.0).then(|| ReadingNoise {
        standard_deviation: (squares / degrees_of_freedom).sqrt(),
        degrees_of_freedom,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(standard_deviation: f64, degrees_of_freedom: f64) -> ReadingNoise {
        ReadingNoise {
            standard_deviation,
            degrees_of_freedom,
        }
    }

    #[test]
    fn the_longer_window_weighs_more() {
        let pooled = pool_noise([noise(1.0, 30.0), noise(3.0, 10.0)]).unwrap();
        assert_eq!(pooled.degrees_of_freedom, 40.0);
        assert!((pooled.standard_deviation - 3.0_f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn windows_of_one_reading_know_no_noise() {
        assert_eq!(pool_noise([noise(0.3, 0.0), noise(0.3, 0.0)]), None);
    }
}
