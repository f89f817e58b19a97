//! The font the charts are measured and, as PNG, drawn with. It travels with
//! the program, so a machine without fonts draws the same picture.

use plotters::style::{FontDesc, FontFamily, FontStyle, register_font};
use std::sync::OnceLock;

/// The family: the carried font first, then what a browser may have instead.
const FAMILY: &str = "Roboto, Helvetica, Arial, sans-serif";

/// The Latin letters of the carried font as a style sheet, for a browser that lacks it:
/// it would set words in another font, that may be wider. Pages and charts carry it.
pub const WEB_FONT: &str = include_str!("../../assets/roboto.css");

const REGULAR: &[u8] = include_bytes!("../../assets/Roboto-Regular.ttf");
const MEDIUM: &[u8] = include_bytes!("../../assets/Roboto-Medium.ttf");

/// Ascent and descent of the carried font together, in em: what the bitmap
/// rasteriser calls the size of a font.
pub const LINE_PER_EM: f64 = 2400.0 / 2048.0;

/// Weight of a text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weight {
    /// For everything read at leisure.
    Regular,
    /// For titles.
    Medium,
}

/// The font at `size` (in the rasteriser's sense, [`LINE_PER_EM`] of an em).
pub fn font(size: f64, weight: Weight) -> FontDesc<'static> {
    static REGISTERED: OnceLock<()> = OnceLock::new();
    REGISTERED.get_or_init(|| {
        // A font that cannot be read shows as an error when text is drawn.
        let _ = register_font(FAMILY, FontStyle::Normal, REGULAR);
        let _ = register_font(FAMILY, FontStyle::Bold, MEDIUM);
    });
    let style = match weight {
        Weight::Regular => FontStyle::Normal,
        Weight::Medium => FontStyle::Bold,
    };
    FontDesc::new(FontFamily::Name(FAMILY), size, style)
}

/// Width of `text` when one em is `em` long, in the unit of `em`.
pub fn width(text: &str, em: f64, weight: Weight) -> f64 {
    // Measured large, since the measure comes back in whole pixels.
    let magnified = 64.0;
    font(magnified * LINE_PER_EM, weight)
        .box_size(text)
        .map_or(0.6 * em * text.chars().count() as f64, |(width, _)| {
            f64::from(width) * em / magnified
        })
}

/// Room to keep for `text`: a browser without the carried font shows an SVG in
/// another, whose letters are up to this much wider (measured in one browser
/// with a metric-compatible substitute for Arial).
pub fn room(text: &str, em: f64, weight: Weight) -> f64 {
    let slack = match weight {
        Weight::Regular => 1.06,
        Weight::Medium => 1.12,
    };
    slack * width(text, em, weight)
}

/// Breaks `text` at spaces into lines that need no more than `limit`. A single word that
/// is wider is cut and marked with an ellipsis.
pub fn wrap(text: &str, em: f64, weight: Weight, limit: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let word = shorten(word, em, weight, limit);
        let joined = lines.last().map(|line| format!("{line} {word}"));
        match (lines.last_mut(), joined) {
            (Some(line), Some(joined)) if room(&joined, em, weight) <= limit => *line = joined,
            _ => lines.push(word),
        }
    }
    lines
}

fn shorten(word: &str, em: f64, weight: Weight, limit: f64) -> String {
    let mut shown = word.to_owned();
    let mut kept = word;
    while room(&shown, em, weight) > limit {
        let Some((end, _)) = kept.char_indices().next_back() else {
            break;
        };
        kept = &kept[..end];
        shown = format!("{kept}\u{2026}");
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_carried_fonts_can_be_read() {
        for weight in [Weight::Regular, Weight::Medium] {
            assert!(font(20.0, weight).box_size("m\u{b3}").is_ok());
        }
    }

    #[test]
    fn no_line_is_wider_than_its_limit() {
        let text = "hyperbolic curve through 21 cores; a-very-long-identifier-without-a-space-in-it-at-all-whatever";
        let lines = wrap(text, 23.0, Weight::Regular, 300.0);
        assert!(lines.len() > 2);
        for line in &lines {
            assert!(width(line, 23.0, Weight::Regular) <= 300.0, "{line}");
        }
        assert!(lines.last().unwrap().ends_with('\u{2026}'));
    }
}
