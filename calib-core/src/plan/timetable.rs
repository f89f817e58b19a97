//! What is done on which day.
//!
//! Cores are taken in the morning, read before and weighed at once; the container is
//! made ready for the next level in the afternoon of the same day.

use super::notice::PlanNotice;
use super::oven::{Load, loads};
use super::wet_up::Step;
use schemars::JsonSchema;
use serde::Serialize;

/// Hours from an afternoon's work to the next morning's are 24 less this.
const AFTERNOON_TO_MORNING_H: u32 = 6;
const DAY_H: u32 = 24;
/// Half days that cores may wait for the oven without its being said.
const LONG_WAIT: u32 = 2;

/// Half a day of work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum DayPart {
    /// Before noon.
    Morning,
    /// After noon.
    Afternoon,
}

/// A half day of the plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
pub struct Slot {
    /// Day, from 1 for the day the container is first packed.
    pub day: u32,
    /// Morning or afternoon.
    pub part: DayPart,
}

impl Slot {
    fn half_days(self) -> u32 {
        2 * self.day + u32::from(self.part == DayPart::Afternoon)
    }

    /// So many half days later.
    pub(super) fn later(self, half_days: u32) -> Self {
        let at = self.half_days() + half_days;
        Self {
            day: at / 2,
            part: if at.is_multiple_of(2) {
                DayPart::Morning
            } else {
                DayPart::Afternoon
            },
        }
    }

    /// Half days since `earlier`; none if that is later.
    pub(super) fn half_days_after(self, earlier: Self) -> u32 {
        self.half_days().saturating_sub(earlier.half_days())
    }
}

/// Days of the week on which nobody is at the bench. What would fall on one is done on
/// the next day that is none: soil that stands closed and cores in the oven can wait.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct DaysOff {
    /// Day of the week of day 1, from 0 for Monday.
    pub first: u8,
    /// Whether each is off, from Monday on. All seven count as none.
    pub off: [bool; 7],
}

impl DaysOff {
    fn is_off(&self, day: u32) -> bool {
        let weekday = (u32::from(self.first) + day.saturating_sub(1)) % 7;
        let all = self.off.iter().all(|&off| off);
        !all && usize::try_from(weekday)
            .ok()
            .and_then(|place| self.off.get(place))
            .is_some_and(|&off| off)
    }

    /// `slot`, or the morning of the next day that is not off.
    pub(super) fn next(&self, slot: Slot) -> Slot {
        let mut slot = slot;
        while self.is_off(slot.day) {
            slot = Slot {
                day: slot.day + 1,
                part: DayPart::Morning,
            };
        }
        slot
    }
}

/// One thing to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(tag = "task", rename_all = "kebab-case")]
pub enum Task {
    /// Read the probe, take the level's cores and weigh them moist.
    TakeCores {
        /// Level, from 1.
        level: usize,
    },
    /// Weigh a load after 24 h and put it back.
    WeighDry {
        /// Load, from 1.
        load: usize,
    },
    /// Weigh it again, 4 h later or more.
    WeighDryAgain {
        /// Load, from 1.
        load: usize,
    },
    /// Put a load into the oven.
    LoadOven {
        /// Load, from 1.
        load: usize,
    },
    /// Pack and wet the container for a level, and close it.
    Prepare {
        /// Level, from 1.
        level: usize,
    },
}

/// The tasks of a half day, in their order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Day {
    /// When.
    #[serde(flatten)]
    pub slot: Slot,
    /// What.
    pub tasks: Vec<Task>,
}

/// The whole plan in time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Timetable {
    /// Days from packing to the last dry mass, the first counted.
    pub days: u32,
    /// When the container is made ready for each level.
    pub prepare: Vec<Slot>,
    /// When the cores of each level are taken.
    pub take: Vec<Slot>,
    /// Loads of the oven.
    pub loads: Vec<Load>,
    /// Half days on which there is something to do.
    pub work: Vec<Day>,
}

/// Puts the steps and the oven into days.
pub(super) fn timetable(
    steps: &[Step],
    cores_per_level: usize,
    oven_places: usize,
    days_off: DaysOff,
    notices: &mut Vec<PlanNotice>,
) -> Timetable {
    let (mut prepare, mut take) = (Vec::new(), Vec::new());
    let mut day = 1;
    for step in steps {
        prepare.push(Slot {
            day,
            part: DayPart::Afternoon,
        });
        let wait = (step.wait_h + AFTERNOON_TO_MORNING_H).div_ceil(DAY_H);
        let morning = days_off.next(Slot {
            day: day + wait.max(1),
            part: DayPart::Morning,
        });
        day = morning.day;
        take.push(morning);
    }
    let (loads, longest_wait) = loads(steps, &take, cores_per_level, oven_places, days_off);
    if longest_wait > LONG_WAIT {
        notices.push(PlanNotice::OvenWaits {
            days: longest_wait.div_ceil(2),
        });
    }
    let mut tasks: Vec<(Slot, Task)> = Vec::new();
    for (step, (&ready, &taken)) in steps.iter().zip(prepare.iter().zip(&take)) {
        let level = step.level;
        tasks.push((taken, Task::TakeCores { level }));
        tasks.push((ready, Task::Prepare { level }));
    }
    for load in &loads {
        let number = load.load;
        tasks.push((load.weigh_at, Task::WeighDry { load: number }));
        tasks.push((load.weigh_again_at, Task::WeighDryAgain { load: number }));
        tasks.push((load.in_at, Task::LoadOven { load: number }));
    }
    tasks.sort_by_key(|&(slot, task)| (slot, order(task)));
    let work: Vec<Day> = tasks
        .chunk_by(|one, next| one.0 == next.0)
        .filter_map(|of_slot| {
            let (slot, _) = of_slot.first()?;
            Some(Day {
                slot: *slot,
                tasks: of_slot.iter().map(|(_, task)| *task).collect(),
            })
        })
        .collect();
    Timetable {
        days: work.last().map_or(0, |last| last.slot.day),
        prepare,
        take,
        loads,
        work,
    }
}

/// The order of tasks within a half day: dry cores come out before moist ones go in.
fn order(task: Task) -> u8 {
    match task {
        Task::TakeCores { .. } => 0,
        Task::WeighDry { .. } => 1,
        Task::WeighDryAgain { .. } => 2,
        Task::LoadOven { .. } => 3,
        Task::Prepare { .. } => 4,
    }
}
