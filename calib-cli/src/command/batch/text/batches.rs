//! Is one batch like another?

use super::super::study::{BatchPair, SoilStudy};
use super::{item, p_value, section, water};
use calib_core::batch::equivalence::{BatchComparison, Verdict};

/// Pairs of batches told in text.
const MOST_PAIRS: usize = 10;

/// Every two batches, or nothing where there are not two.
pub(super) fn text(study: &SoilStudy, margin: f64) -> String {
    if study.batches.is_empty() {
        return String::new();
    }
    let mut body = String::new();
    for pair in study.batches.iter().take(MOST_PAIRS) {
        body.push_str(&item(&sentence(pair, margin)));
    }
    let more = study.batches.len().saturating_sub(MOST_PAIRS);
    if more > 0 {
        body.push_str(&format!("and {more} more pairs of batches, in --json\n"));
    }
    if study.standing_out().next().is_some() {
        body.push_str("Probes that stand out are left out here.\n");
    }
    section("Batch against batch", &body)
}

fn sentence(pair: &BatchPair, margin: f64) -> String {
    let (a, b) = (&pair.a, &pair.b);
    let Some(found) = &pair.compared else {
        let reason = pair.refused.as_ref().map_or("", |refused| &refused.reason);
        return format!("{a} and {b} cannot be compared: {reason}.");
    };
    let mean = &found.mean;
    let margin = water(margin);
    let said = match mean.verdict {
        Verdict::Equivalent => {
            format!("{a} and {b} are alike: their means differ by less than {margin} m3/m3.")
        }
        Verdict::DifferentWithinMargin => format!(
            "{} That it is different is sure; that it is less than {margin} m3/m3 as well.",
            reads(a, b, found)
        ),
        Verdict::Different {
            beyond_margin: true,
        } => format!(
            "{} That is surely more than {margin} m3/m3: do not let them share a curve.",
            reads(a, b, found)
        ),
        Verdict::Different {
            beyond_margin: false,
        } => format!(
            "{} Whether that is more than {margin} m3/m3 is not settled.",
            reads(a, b, found)
        ),
        Verdict::NotSettled { probes_in_each } => format!(
            "Neither shown to differ nor to be alike within {margin} m3/m3: {a} and {b}.{}",
            probes_in_each.map_or_else(String::new, |probes| format!(
                " About {probes} probes of each would settle it."
            ))
        ),
    };
    format!("{said} [{}]", figures(found))
}

fn reads(a: &str, b: &str, found: &BatchComparison) -> String {
    let difference = found.mean.difference.value;
    let (wetter, drier) = if difference > 0.0 { (a, b) } else { (b, a) };
    format!(
        "{wetter} reads {} m3/m3 wetter than {drier}.",
        water(difference.abs())
    )
}

fn figures(found: &BatchComparison) -> String {
    let mean = &found.mean;
    let ratio = found.spread.ratio;
    format!(
        "difference {:+.4}, 90 % {:+.4} to {:+.4}; equivalence {}, difference {}; ratio of spreads {:.2} ({:.2} to {}, {})",
        mean.difference.value,
        mean.equivalence_low,
        mean.equivalence_high,
        p_value(mean.equivalence_p),
        p_value(mean.difference_p),
        ratio.value,
        ratio.low,
        ratio
            .high
            .map_or_else(|| "?".to_owned(), |high| format!("{high:.2}")),
        p_value(found.spread.difference_p),
    )
}
