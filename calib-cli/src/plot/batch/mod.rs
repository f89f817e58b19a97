//! Many probes beside one shared curve: how far each lies from it, and how that
//! changes from dry to wet.

mod deviations;
mod lines;

pub use deviations::{DeviationChart, ProbePoint};
pub use lines::{DeviationLinesChart, ProbeLine};

use super::fonts::{self, Weight};
use super::pen::BODY;

/// How many probes are named at either end.
const NAMED_AT_EACH_END: usize = 3;
/// A longer name is cut, logical pixels.
const WIDEST_NAME: f64 = 150.0;

/// What both charts are about.
#[derive(Debug, Clone)]
pub struct Shown {
    /// The soil.
    pub soil: String,
    /// The shared curve, e.g. "hyperbolic curve".
    pub curve: String,
    /// Where the deviation is taken for the sorted chart, m3/m3.
    pub theta_v: f64,
}

/// A name as it fits beside a mark. Of one that is too wide the end is kept: names of
/// one batch mostly begin alike.
fn short(name: &str) -> String {
    let fits = |name: &str| fonts::room(name, BODY, Weight::Regular) <= WIDEST_NAME;
    if fits(name) {
        return name.to_owned();
    }
    let ends = name.char_indices().skip(1);
    ends.map(|(start, _)| format!("\u{2026}{}", &name[start..]))
        .find(|end| fits(end))
        .unwrap_or_else(|| "\u{2026}".to_owned())
}

/// Which of values sorted upwards are named: those that stand out first, from the
/// ends inwards, then the outermost of the others, so many at either end.
fn named_of(values: &[(f64, bool)]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|a, b| values[*a].0.total_cmp(&values[*b].0));
    let mut ends = (Vec::new(), Vec::new());
    let half = order.len() / 2;
    for standing_out in [true, false] {
        let of_kind = |index: &&usize| values[**index].1 == standing_out;
        for index in order[..half].iter().filter(of_kind) {
            if ends.0.len() < NAMED_AT_EACH_END {
                ends.0.push(*index);
            }
        }
        for index in order[half..].iter().rev().filter(of_kind) {
            if ends.1.len() < NAMED_AT_EACH_END {
                ends.1.push(*index);
            }
        }
    }
    // The likeliest to be looked for first, from either end in turn.
    let (mut low, mut high) = (ends.0.into_iter(), ends.1.into_iter());
    let mut named = Vec::new();
    loop {
        let pair = [high.next(), low.next()];
        if pair == [None, None] {
            return named;
        }
        named.extend(pair.into_iter().flatten());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_a_long_name_the_end_is_kept() {
        assert_eq!(short("p-12"), "p-12");
        let long = short("the-probe-beside-the-third-raised-bed-07");
        assert!(
            long.starts_with('\u{2026}') && long.ends_with("bed-07"),
            "{long}"
        );
    }

    #[test]
    fn those_that_stand_out_are_named_before_the_outermost() {
        let mut values: Vec<(f64, bool)> = (0..40).map(|i| (f64::from(i), false)).collect();
        values[12].1 = true;
        let named = named_of(&values);
        assert_eq!(named, [39, 12, 38, 0, 37, 1]);
        assert_eq!(named_of(&values[..2]), [1, 0]);
        assert!(named_of(&[]).is_empty());
    }
}
