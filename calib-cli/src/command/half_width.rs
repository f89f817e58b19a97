//! A largest error as typed: how far from the truth a reading may be, m3/m3.

/// The largest that is asked for, m3/m3: a reading that far off tells nothing of a soil.
const LARGEST: f64 = 0.5;

/// Reads a largest error in m3/m3, above zero and at most 0.5.
///
/// # Errors
/// A sentence with the number as it should be written.
pub(super) fn half_width(text: &str) -> Result<f64, String> {
    let text = text.trim();
    if let Ok(value) = text.replacen(',', ".", 1).parse::<f64>()
        && text.contains(',')
    {
        return Err(format!("write it with a point: {value} for {text}"));
    }
    let number = text.trim_end_matches('%').trim_end();
    match number.parse::<f64>() {
        Ok(value) if number == text && value > 0.0 && value <= LARGEST => Ok(value),
        Ok(value) if value > 0.0 && value <= 100.0 * LARGEST => Err(format!(
            "write it as a share of the volume, in m3/m3: {} for {number} %",
            // Rounded, as 0.07 is not a hundredth of 7 in binary.
            (value * 1e7).round() / 1e9
        )),
        _ => Err(format!(
            "give a water content in m3/m3, above 0 and at most {LARGEST}, such as 0.03"
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_is_read_and_every_slip_is_told_with_the_number_to_write() {
        assert_eq!(half_width("0.03"), Ok(0.03));
        assert_eq!(half_width(" 0.5 "), Ok(0.5));
        for (slip, told) in [
            ("0,03", "write it with a point: 0.03 for 0,03"),
            ("3", "in m3/m3: 0.03 for 3 %"),
            ("7", "in m3/m3: 0.07 for 7 %"),
            ("3 %", "in m3/m3: 0.03 for 3 %"),
            ("0", "above 0 and at most 0.5"),
            ("-0.03", "above 0 and at most 0.5"),
            ("60", "above 0 and at most 0.5"),
            ("x", "such as 0.03"),
            ("NaN", "such as 0.03"),
            ("inf", "such as 0.03"),
            ("", "such as 0.03"),
        ] {
            let error = half_width(slip).unwrap_err();
            assert!(error.contains(told), "{slip}: {error}");
        }
    }
}
