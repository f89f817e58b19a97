//! Stages of a crop's growth: root depth goes from one to the next in steps.
//!
//! Roots grow day by day; a controller's numbers do not. Each stage keeps one root
//! depth and one allowed depletion from its first day to its last (stepwise, our
//! choice): state the depth the roots have at the start of the stage to water
//! for the shallow roots there are, as is safer for the crop.

use super::Demand;

/// A stage of growth.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// Its name, free text.
    pub name: String,
    /// Days it lasts.
    pub days: u32,
    /// What the crop asks for in it.
    pub demand: Demand,
}

/// First and last day of each stage, counted from 1 at planting.
pub fn days_of(stages: &[Stage]) -> Vec<(u32, u32)> {
    let mut before = 0_u32;
    stages
        .iter()
        .map(|stage| {
            let first = before.saturating_add(1);
            before = before.saturating_add(stage.days);
            (first, before)
        })
        .collect()
}

/// The place of the stage to go by where none is asked for: the last of those
/// with the deepest roots. `None` without stages.
pub fn deepest_stage(stages: &[Stage]) -> Option<usize> {
    // The last of equals is what `max_by` gives.
    (0..stages.len()).max_by(|a, b| {
        let depth = |i: &usize| stages[*i].demand.root_depth;
        depth(a)
            .partial_cmp(&depth(b))
            .unwrap_or(std::cmp::Ordering::Equal)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Fraction, Millimetre, Quantity};

    fn stage(name: &str, days: u32, depth: f64) -> Stage {
        Stage {
            name: name.into(),
            days,
            demand: Demand {
                allowed_depletion: Fraction::new(0.4).unwrap(),
                root_depth: Millimetre::new(depth).unwrap(),
            },
        }
    }

    #[test]
    fn days_follow_one_another_and_the_last_of_the_deepest_stages_is_gone_by() {
        let stages = [
            stage("initial", 25, 150.0),
            stage("development", 30, 250.0),
            stage("mid-season", 40, 400.0),
            stage("late season", 20, 400.0),
        ];
        assert_eq!(days_of(&stages), [(1, 25), (26, 55), (56, 95), (96, 115)]);
        assert_eq!(deepest_stage(&stages), Some(3));
        assert_eq!(deepest_stage(&stages[..2]), Some(1));
        assert_eq!(deepest_stage(&[]), None);
    }
}
