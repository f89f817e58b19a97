//! Figures with the digits they deserve.

use calib_core::irrigation::bucket::Spread;

/// A figure with the digits it deserves: two or three.
pub fn round(value: f64) -> String {
    let size = value.abs();
    if size < 0.0005 {
        "0".to_owned()
    } else if size < 0.095 {
        format!("{value:.3}")
    } else if size < 0.95 {
        format!("{value:.2}")
    } else if size < 9.5 {
        format!("{value:.1}")
    } else {
        format!("{value:.0}")
    }
}

/// `31 +- 1.2`; the spread alone is left out where there is none.
pub fn spread(figure: &Spread) -> String {
    if figure.standard_deviation < 0.0005 {
        round(figure.mean)
    } else {
        format!(
            "{} +- {}",
            round(figure.mean),
            round(figure.standard_deviation)
        )
    }
}

/// Water contents to the thousandth.
pub fn thousandths(figure: &Spread) -> String {
    format!("{:.3} +- {:.3}", figure.mean, figure.standard_deviation)
}

/// Years a relay lasts: no one plans for more than a hundred.
pub fn years(years: Option<f64>) -> String {
    match years {
        None => "no starts".to_owned(),
        Some(years) if years > 100.0 => "over 100".to_owned(),
        Some(years) => round(years),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_have_two_or_three_digits() {
        for (value, said) in [
            (0.0, "0"),
            (0.0004, "0"),
            (0.0234, "0.023"),
            (0.234, "0.23"),
            (2.34, "2.3"),
            (23.4, "23"),
            (2340.0, "2340"),
        ] {
            assert_eq!(round(value), said);
        }
    }

    #[test]
    fn a_relay_is_not_promised_for_centuries() {
        assert_eq!(years(Some(1800.0)), "over 100");
        assert_eq!(years(Some(12.3)), "12");
        assert_eq!(years(None), "no starts");
    }
}
