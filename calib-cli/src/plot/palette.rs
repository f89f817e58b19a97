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

    fn linear(channel: u8) -> f64 {
        let c = f64::from(channel) / 255.0;
        if c <= 0.03928 {
            c / 12.92
        } else {
            ((c + 0.055) / 1.055).powf(2.4)
        }
    }

    /// Relative luminance of sRGB, as WCAG 2.1 defines it (W3C Recommendation,
    /// 2018, "relative luminance"; constants recalled from memory).
    fn luminance(RGBColor(r, g, b): RGBColor) -> f64 {
        0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b)
    }

    fn contrast(one: RGBColor, other: RGBColor) -> f64 {
        let (a, b) = (luminance(one), luminance(other));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn text_stands_out_from_what_lies_behind_it() {
        for ink in [INK, MUTED, LEVEL, CURVE] {
            for ground in [PAPER, DOMAIN, GROUND] {
                assert!(contrast(ink, ground) >= 4.5, "{ink:?} on {ground:?}");
            }
        }
    }

    /// What an eye without one kind of cone makes of linear sRGB: Vienot, Brettel and
    /// Mollon (1999), Color Research and Application 24, for red and for green cones; the
    /// figures recalled from memory.
    const MISSING_CONES: [[[f64; 3]; 3]; 2] = [
        [
            [0.11238, 0.88762, 0.0],
            [0.11238, 0.88762, 0.0],
            [0.00401, -0.00401, 1.0],
        ],
        [
            [0.29275, 0.70725, 0.0],
            [0.29275, 0.70725, 0.0],
            [-0.02234, 0.02234, 1.0],
        ],
    ];

    /// Coordinates in CIELAB (white D65) of linear sRGB.
    fn lab([r, g, b]: [f64; 3]) -> [f64; 3] {
        let part = |share: f64| {
            let edge = 6.0_f64 / 29.0;
            if share > edge.powi(3) {
                share.cbrt()
            } else {
                share / (3.0 * edge * edge) + 4.0 / 29.0
            }
        };
        let x = part((0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.9505);
        let y = part(0.2126 * r + 0.7152 * g + 0.0722 * b);
        let z = part((0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.089);
        [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
    }

    fn seen(cones: &[[f64; 3]; 3], RGBColor(r, g, b): RGBColor) -> [f64; 3] {
        let rgb = [r, g, b].map(linear);
        lab(cones.map(|row| {
            let sum: f64 = row
                .iter()
                .zip(rgb)
                .map(|(weight, part)| weight * part)
                .sum();
            sum.max(0.0)
        }))
    }

    #[test]
    fn marks_stay_apart_for_eyes_without_red_or_green_cones() {
        for cones in &MISSING_CONES {
            for (one, other) in [
                (CURVE, CORE),
                (CURVE, BAND),
                (CURVE, LEVEL),
                (CORE, BAND),
                (CORE, LEVEL),
            ] {
                let (a, b) = (seen(cones, one), seen(cones, other));
                let apart: f64 = a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum();
                // Neighbouring colours of 2 can just be told apart; 30 is far.
                assert!(
                    apart.sqrt() > 30.0,
                    "{one:?} and {other:?}: {}",
                    apart.sqrt()
                );
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
