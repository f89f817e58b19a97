//! What looks wrong about a window of readings.

use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;

/// Something to know about a window. `Display` says what was found,
/// [`why`](Flag::why) why it matters and [`advice`](Flag::advice) what to do.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Flag {
    /// A run of identical counts while the rest of the window is noisy.
    StuckRun {
        /// The count that repeats.
        count: u32,
        /// Length of the run.
        run: usize,
        /// Readings in the window.
        of: usize,
    },
    /// Every reading is the same count, and the same as in the window of
    /// another moisture level.
    StuckThroughout {
        /// The count that repeats.
        count: u32,
        /// Readings in the window.
        readings: usize,
    },
    /// Readings at an end of the converter's range; left out.
    AtRail {
        /// How many read 0.
        at_zero: usize,
        /// How many read full scale or more.
        at_full_scale: usize,
        /// Readings in the window.
        of: usize,
    },
    /// Readings far from the rest; left out.
    Spike {
        /// How many.
        left_out: usize,
        /// Readings they were judged among.
        of: usize,
        /// Distance of the furthest from the centre, counts.
        furthest: f64,
        /// Distance beyond which a reading is left out, counts.
        limit: f64,
    },
    /// A long pause in the log.
    Gap {
        /// The longest pause, seconds.
        seconds: i64,
        /// The usual interval, seconds.
        usual: f64,
    },
    /// Fewer readings than the rule asks for.
    TooFew {
        /// Readings used.
        used: usize,
        /// Fewest asked for.
        fewest: usize,
    },
    /// The counts were still moving when the window ended.
    StillDrifting {
        /// Change over the window, counts.
        total: f64,
        /// Length of the window, seconds.
        seconds: i64,
        /// Noise of one reading about the trend, counts.
        noise: f64,
    },
    /// Readings without a soil temperature.
    TemperatureMissing {
        /// How many.
        missing: usize,
        /// Readings used.
        of: usize,
    },
    /// The supply moved.
    SupplyShift {
        /// Lowest supply logged, mV.
        lowest: f64,
        /// Highest supply logged, mV.
        highest: f64,
        /// Largest change the rule allows, mV.
        allowed: f64,
    },
}

impl fmt::Display for Flag {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Flag::StuckRun { count, run, of } => write!(
                f,
                "{run} of {of} readings in a row say {count}, while the others scatter"
            ),
            Flag::StuckThroughout { count, readings } => write!(
                f,
                "all {readings} readings say {count}, as they did at another moisture level"
            ),
            Flag::AtRail {
                at_zero,
                at_full_scale,
                of,
            } => write!(
                f,
                "{} of {of} readings at an end of the converter's range ({at_zero} at zero, {at_full_scale} at full scale) left out",
                at_zero + at_full_scale
            ),
            Flag::Spike {
                left_out,
                of,
                furthest,
                limit,
            } => write!(
                f,
                "{left_out} of {of} readings left out, more than {limit:.1} counts from the centre (the furthest {furthest:.1})"
            ),
            Flag::Gap { seconds, usual } => write!(
                f,
                "the log pauses for {seconds} s where {usual:.0} s is usual"
            ),
            Flag::TooFew { used, fewest } => {
                let noun = if *used == 1 { "reading" } else { "readings" };
                write!(f, "only {used} usable {noun} where {fewest} are wanted")
            }
            Flag::StillDrifting {
                total,
                seconds,
                noise,
            } => write!(
                f,
                "the count moved by {total:+.1} over {seconds} s, with a noise of {noise:.1} counts about the trend"
            ),
            Flag::TemperatureMissing { missing, of } => {
                write!(f, "{missing} of {of} readings have no soil temperature")
            }
            Flag::SupplyShift {
                lowest,
                highest,
                allowed,
            } => write!(
                f,
                "the supply moved between {lowest:.0} and {highest:.0} mV, more than the {allowed:.0} mV allowed"
            ),
        }
    }
}

impl Flag {
    /// Why it matters.
    pub fn why(&self) -> &'static str {
        match self {
            Flag::StuckRun { .. } | Flag::StuckThroughout { .. } => {
                "a stuck reading says nothing about the soil beside the core"
            }
            Flag::AtRail { .. } => {
                "at the end of its range the converter cannot say how far beyond the signal was"
            }
            Flag::Spike { .. } => "wild readings point to a loose contact or electrical noise",
            Flag::Gap { .. } => {
                "readings before and after a pause may belong to soil of different wetness"
            }
            Flag::TooFew { .. } => "the centre of a few readings, and its uncertainty, are rough",
            Flag::StillDrifting { .. } => {
                "the soil or the probe had not settled, so the count does not belong to the core taken"
            }
            Flag::TemperatureMissing { .. } => {
                "a drift of the count with soil temperature can be found only where temperature is logged"
            }
            Flag::SupplyShift { .. } => {
                "the count of many probes follows their supply, which then looks like water"
            }
        }
    }

    /// What to do.
    pub fn advice(&self) -> &'static str {
        match self {
            Flag::StuckRun { .. } | Flag::StuckThroughout { .. } => {
                "check the cable and that the logger reads the probe afresh, then read again"
            }
            Flag::AtRail { .. } => "check the wiring, the supply and the converter's reference",
            Flag::Spike { .. } => {
                "check plugs and cable, and keep pump wiring away from the probe's"
            }
            Flag::Gap { .. } => {
                "check the logger's power and card; take the core within one unbroken spell"
            }
            Flag::TooFew { .. } => {
                "log for longer or more often before the next core; check that the window is long enough"
            }
            Flag::StillDrifting { .. } => {
                "let water spread and the probe settle before taking the core, or use a shorter window"
            }
            Flag::TemperatureMissing { .. } => "log soil temperature beside the probe",
            Flag::SupplyShift { .. } => {
                "feed the probe from a regulated supply, and log it with every reading"
            }
        }
    }
}
