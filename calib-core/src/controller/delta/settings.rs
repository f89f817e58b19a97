//! What differs between two tables or calibrations beside their readings.

use super::answers::Answers;
use crate::controller::record::{Dates, LiveCodes, Timing, theta_v_from_units};
use crate::controller::table::ControllerTable;

/// A setting that is no longer what it was.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Changed<T> {
    /// What it was.
    pub old: T,
    /// What it is.
    pub new: T,
}

impl<T: PartialEq> Changed<T> {
    /// Both, if they differ.
    fn if_it_did(old: T, new: T) -> Option<Self> {
        (old != new).then_some(Self { old, new })
    }
}

/// How a soil temperature is used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TemperatureUse {
    /// Temperature at which counts need no correction, C x 100.
    pub reference_centi: i16,
    /// Lowest temperature with an answer, C x 100.
    pub lowest_centi: i16,
    /// Highest temperature with an answer, C x 100.
    pub highest_centi: i16,
    /// Counts by which a reading rises per degree.
    pub counts_per_degree: f64,
}

impl TemperatureUse {
    /// Whether there is an answer at this temperature, C x 100.
    pub fn accepts(&self, centi: i16) -> bool {
        (self.lowest_centi..=self.highest_centi).contains(&centi)
    }
}

/// Where the pump starts or stops, before and now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SetPointMove {
    /// theta_v by its own table, m3/m3.
    pub theta_v: Changed<f64>,
    /// Raw count at the reference temperature.
    pub count: Changed<u16>,
    /// How much wetter the soil now is when the pump switches, m3/m3, both counts
    /// read by the new table, each at its own reference temperature; `None` where
    /// it has no answer for one of them.
    pub wetter_by: Option<f64>,
}

impl SetPointMove {
    /// `old` and `new` are theta_v x 10 000 and count; `old_reference` is the
    /// temperature the old count holds at, C x 100, if it holds at one.
    fn between(
        old: (i16, u16),
        new: (i16, u16),
        table: &ControllerTable,
        old_reference: Option<i16>,
    ) -> Self {
        let reference = table.record().temperature.map(|term| term.reference_centi);
        let read = |count: u16, centi: Option<i16>| {
            let reading = table.evaluate(u32::from(count), centi).ok()?;
            Some(theta_v_from_units(reading.theta_v))
        };
        Self {
            theta_v: Changed {
                old: theta_v_from_units(old.0),
                new: theta_v_from_units(new.0),
            },
            count: Changed {
                old: old.1,
                new: new.1,
            },
            wetter_by: read(new.1, reference)
                .zip(read(old.1, old_reference.or(reference)))
                .map(|(now, before)| now - before),
        }
    }

    /// Whether the count or the water content is another.
    pub fn moved(&self) -> bool {
        self.count.old != self.count.new || self.theta_v.old != self.theta_v.new
    }
}

/// What differs beside the readings. A setting that did not change, or that one
/// of the two does not have, is `None`.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Settings {
    /// The probe's identifier.
    pub probe: Option<Changed<String>>,
    /// The soil's name.
    pub soil: Option<Changed<String>>,
    /// Lowest and highest count with an answer, at the reference temperature.
    pub domain: Option<Changed<(f64, f64)>>,
    /// How a soil temperature is used, if it is.
    pub temperature: Option<Changed<Option<TemperatureUse>>>,
    /// Where the pump starts; given for two tables, moved or not.
    pub refill: Option<SetPointMove>,
    /// Where the pump stops; given for two tables, moved or not.
    pub stop: Option<SetPointMove>,
    /// How the pump may be switched and when a probe counts as stuck.
    pub timing: Option<Changed<Timing>>,
    /// Which codes a live probe can give.
    pub live: Option<Changed<LiveCodes>>,
    /// Dates of calibration and of the next check.
    pub dates: Option<Changed<Dates>>,
}

impl Settings {
    /// What differs between `old` and `new`.
    pub(super) fn between(old: &dyn Answers, new: &dyn Answers) -> Self {
        let text = |old: &str, new: &str| Changed::if_it_did(old.to_owned(), new.to_owned());
        let mut settings = Self {
            probe: text(old.probe(), new.probe()),
            soil: text(old.soil(), new.soil()),
            domain: Changed::if_it_did(old.domain(), new.domain()),
            temperature: Changed::if_it_did(old.temperature(), new.temperature()),
            ..Self::default()
        };
        if let (Some(old), Some(table)) = (old.table(), new.table()) {
            let (old, new) = (old.record(), table.record());
            let (before, now) = (old.set_points, new.set_points);
            let old_reference = old.temperature.map(|term| term.reference_centi);
            settings.refill = Some(SetPointMove::between(
                (before.refill, before.refill_count),
                (now.refill, now.refill_count),
                table,
                old_reference,
            ));
            settings.stop = Some(SetPointMove::between(
                (before.stop, before.stop_count),
                (now.stop, now.stop_count),
                table,
                old_reference,
            ));
            settings.timing = Changed::if_it_did(old.timing, new.timing);
            settings.live = Changed::if_it_did(old.live, new.live);
            settings.dates = Changed::if_it_did(old.dates, new.dates);
        }
        settings
    }

    /// Whether nothing that governs the pump or the faults differs. What the
    /// domain and the temperature term do is seen in the readings.
    pub(super) fn govern_alike(&self) -> bool {
        let moved = |set_point: Option<SetPointMove>| set_point.is_some_and(|it| it.moved());
        !moved(self.refill)
            && !moved(self.stop)
            && self.timing.is_none()
            && self.live.is_none()
            && self.temperature_needed_alike()
    }

    /// Whether both need a soil temperature, of the same range, or neither does.
    fn temperature_needed_alike(&self) -> bool {
        let range =
            |used: Option<TemperatureUse>| used.map(|used| (used.lowest_centi, used.highest_centi));
        self.temperature
            .is_none_or(|changed| range(changed.old) == range(changed.new))
    }
}
