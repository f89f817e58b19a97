//! What a window of readings is judged by.

/// Limits for [`summarise`](super::summarise). Every default is our own choice.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WindowRule {
    /// Largest code of the converter; it and code 0 are the rails.
    pub full_scale: u32,
    /// Fewest readings a window should keep. Default 5.
    pub fewest: usize,
    /// A reading this many robust standard deviations from the centre (more in
    /// short windows, whose spread is rough) is a spike and left out. Default 5;
    /// less than 1 is taken as 1.
    pub spike: f64,
    /// A pause this many times the usual interval is a gap. Default 10: at
    /// random intervals about one pause in a thousand is that long.
    pub gap: f64,
    /// Shortest run of identical counts that counts as stuck in a window that is
    /// otherwise noisy. Default 20.
    pub stuck_run: usize,
    /// Largest change of the supply over the window, as a share of it. Default
    /// 0.02.
    pub supply_change: f64,
}

impl WindowRule {
    /// The defaults for a converter of `adc_bits` bits (at most 32).
    pub fn for_converter(adc_bits: u8) -> Self {
        Self {
            full_scale: u32::MAX >> (32 - u32::from(adc_bits.clamp(1, 32))),
            fewest: 5,
            spike: 5.0,
            gap: 10.0,
            stuck_run: 20,
            supply_change: 0.02,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn full_scale_is_the_largest_code() {
        assert_eq!(WindowRule::for_converter(10).full_scale, 1023);
        assert_eq!(WindowRule::for_converter(16).full_scale, 65_535);
        assert_eq!(WindowRule::for_converter(32).full_scale, u32::MAX);
        assert_eq!(WindowRule::for_converter(0).full_scale, 1);
    }
}
