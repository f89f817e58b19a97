//! Loads of the oven.

use super::timetable::{DaysOff, Slot};
use super::wet_up::Step;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::VecDeque;

/// Half days from loading to the first dry weighing: 24 h at 105 C. Common practice
/// (ISO 11465, from memory).
const DRYING: u32 = 2;
/// Half days from there to the second: 4 h or more.
const AGAIN: u32 = 1;

/// One core of the plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub struct OvenCore {
    /// Its level, from 1.
    pub level: usize,
    /// Which of the level's cores, from 1.
    pub core: usize,
}

/// What goes into the oven together. The oven is emptied before the next: moist cores
/// beside dry ones would moisten them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Load {
    /// From 1.
    pub load: usize,
    /// Its cores.
    pub cores: Vec<OvenCore>,
    /// When it goes in.
    pub in_at: Slot,
    /// When it has been in for 24 h, is weighed and goes back.
    pub weigh_at: Slot,
    /// When it is weighed again, 4 h later or more.
    pub weigh_again_at: Slot,
}

/// The loads, and the longest that a core waits for one, half days.
pub(super) fn loads(
    steps: &[Step],
    taken: &[Slot],
    cores_per_level: usize,
    places: usize,
    days_off: DaysOff,
) -> (Vec<Load>, u32) {
    let mut waiting: VecDeque<(OvenCore, Slot)> = steps
        .iter()
        .zip(taken)
        .flat_map(|(step, &slot)| {
            (1..=cores_per_level).map(move |core| {
                (
                    OvenCore {
                        level: step.level,
                        core,
                    },
                    slot,
                )
            })
        })
        .collect();
    let (mut loads, mut longest) = (Vec::new(), 0);
    let mut free_at: Option<Slot> = None;
    while let Some(&(_, first)) = waiting.front() {
        let in_at = days_off.next(free_at.map_or(first, |free| free.max(first)));
        let mut cores = Vec::new();
        while cores.len() < places
            && let Some(&(core, slot)) = waiting.front()
            && slot <= in_at
        {
            longest = longest.max(in_at.half_days_after(slot));
            cores.push(core);
            waiting.pop_front();
        }
        let weigh_at = days_off.next(in_at.later(DRYING));
        let weigh_again_at = days_off.next(weigh_at.later(AGAIN));
        free_at = Some(weigh_again_at);
        loads.push(Load {
            load: loads.len() + 1,
            cores,
            in_at,
            weigh_at,
            weigh_again_at,
        });
    }
    (loads, longest)
}
