//! Every colour of the charts, in one place.
//!
//! Two hues carry meaning, a blue-green and an ochre, which stay apart for every
//! common kind of colour blindness; they also differ in lightness, so that a grey
//! print still reads. Levels differ by dash as well as by name.

use plotters::style::RGBColor;

/// Background.
pub const PAPER: RGBColor = RGBColor(255, 255, 255);
/// Text and error bars.
pub const INK: RGBColor = RGBColor(28, 41, 48);
/// Secondary text.
pub const MUTED: RGBColor = RGBColor(84, 99, 107);
/// The plot's edge and ticks.
pub const EDGE: RGBColor = RGBColor(150, 162, 167);
/// Grid lines.
pub const GRID: RGBColor = RGBColor(226, 230, 230);
/// The calibrated range of counts.
pub const DOMAIN: RGBColor = RGBColor(249, 245, 234);
/// The curve.
pub const CURVE: RGBColor = RGBColor(16, 84, 104);
/// The prediction band around it.
pub const BAND: RGBColor = RGBColor(181, 212, 216);
/// Cores.
pub const CORE: RGBColor = RGBColor(219, 148, 38);
/// Field capacity, wilting point, refill and stop.
pub const LEVEL: RGBColor = RGBColor(122, 62, 40);

/// Curves beside one another, far apart in lightness from neighbour to neighbour;
/// they differ by dash as well.
pub const CURVES: [RGBColor; 4] = [
    CURVE,
    RGBColor(196, 110, 16),
    RGBColor(120, 60, 130),
    RGBColor(90, 100, 104),
];
/// Ground of the texture triangle.
pub const GROUND: RGBColor = RGBColor(246, 242, 230);
/// Borders between areas.
pub const BORDER: RGBColor = RGBColor(150, 138, 112);

/// The colours a page shares with the charts, by the name its style calls them.
const NAMED: [(&str, RGBColor); 11] = [
    ("paper", PAPER),
    ("ink", INK),
    ("muted", MUTED),
    ("edge", EDGE),
    ("grid", GRID),
    ("domain", DOMAIN),
    ("curve", CURVE),
    ("band", BAND),
    ("core", CORE),
    ("level", LEVEL),
    ("ground", GROUND),
];

/// The same as CSS custom properties: `--ink`, `--curve` and so on.
pub fn style_sheet() -> String {
    let properties =
        NAMED.map(|(name, RGBColor(r, g, b))| format!("--{name}:#{r:02x}{g:02x}{b:02x}"));
    format!(":root{{{}}}\n", properties.join(";"))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance of sRGB, as WCAG 2.1 defines it (W3C Recommendation,
    /// 2018, "relative luminance"; constants recalled from memory).
    fn luminance(RGBColor(r, g, b): RGBColor) -> f64 {
        let linear = |channel: u8| {
            let c = f64::from(channel) / 255.0;
            if c <= 0.03928 {
                c / 12.92
            } else {
                ((c + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b)
    }

    fn contrast(one: RGBColor, other: RGBColor) -> f64 {
        let (a, b) = (luminance(one), luminance(other));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn text_stands_out_from_what_lies_behind_it() {
        for ink in [INK, MUTED, LEVEL] {
            for ground in [PAPER, DOMAIN, GROUND] {
                assert!(contrast(ink, ground) >= 4.5, "{ink:?} on {ground:?}");
            }
        }
    }

    #[test]
    fn curve_band_and_cores_differ_in_lightness_alone() {
        assert!(contrast(CURVE, BAND) > 3.0);
        assert!(contrast(CURVE, CORE) > 3.0);
        assert!(contrast(INK, CORE) > 3.0);
        assert!(contrast(CORE, BAND) > 1.5);
        for curve in CURVES {
            assert!(contrast(curve, PAPER) > 3.0, "{curve:?}");
        }
    }
}
