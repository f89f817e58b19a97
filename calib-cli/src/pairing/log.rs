//! The log, indexed once so that each core finds its readings without a search
//! through all of them.

use crate::workbench::LoggedReading;
use calib_core::quantity::Timestamp;
use calib_core::readings::Reading;
use std::collections::HashMap;

/// The readings by probe.
pub struct Log<'a> {
    readings: &'a [LoggedReading],
    probes: HashMap<&'a str, ProbeLog<'a>>,
}

/// What one probe logged; numbers are places in the log.
pub struct ProbeLog<'a> {
    /// Readings that name a core, by the core's id, in the order of the file.
    tagged: HashMap<&'a str, Vec<usize>>,
    /// Readings that name none, by time.
    untagged: Vec<usize>,
    /// The first reading.
    first: &'a LoggedReading,
    lowest: u32,
    highest: u32,
    count: usize,
}

impl<'a> Log<'a> {
    /// Indexes the log.
    pub fn index(readings: &'a [LoggedReading]) -> Self {
        let mut probes: HashMap<&str, ProbeLog<'_>> = HashMap::new();
        for (place, logged) in readings.iter().enumerate() {
            let probe = probes
                .entry(&logged.probe)
                .or_insert_with(|| ProbeLog::starting(logged));
            probe.lowest = probe.lowest.min(logged.reading.count);
            probe.highest = probe.highest.max(logged.reading.count);
            probe.count += 1;
            match &logged.sample {
                Some(sample) => probe.tagged.entry(sample).or_default().push(place),
                None => probe.untagged.push(place),
            }
        }
        for probe in probes.values_mut() {
            probe
                .untagged
                .sort_by_key(|&place| readings.get(place).map(|logged| logged.reading.time));
        }
        Self { readings, probes }
    }

    /// What a probe logged, if anything.
    pub fn probe(&self, id: &str) -> Option<&ProbeLog<'a>> {
        self.probes.get(id)
    }

    /// Every pair of a probe and a core that readings name, with their places;
    /// in no order.
    pub fn tags(&self) -> impl Iterator<Item = (&'a str, &'a str, &[usize])> {
        self.probes.iter().flat_map(|(probe, log)| {
            log.tagged
                .iter()
                .map(|(sample, places)| (*probe, *sample, places.as_slice()))
        })
    }

    /// The logged readings at `places`.
    pub fn at<'b>(&'b self, places: &'b [usize]) -> impl Iterator<Item = &'a LoggedReading> + 'b {
        places.iter().filter_map(|&place| self.readings.get(place))
    }

    /// Readings of `probe` that belong to `sample`: those that name it, or else
    /// those that name no core and were logged in the `seconds` up to
    /// `taken_at`, ends included.
    pub fn window<'b>(
        &'b self,
        probe: &'b ProbeLog<'a>,
        sample: &str,
        taken_at: Option<Timestamp>,
        seconds: i64,
    ) -> &'b [usize] {
        if let Some(places) = probe.tagged.get(sample) {
            return places;
        }
        let Some(end) = taken_at else { return &[] };
        let start = Timestamp(end.0.saturating_sub(seconds));
        let untagged = &probe.untagged;
        let from = untagged.partition_point(|&place| self.time(place) < Some(start));
        let to = untagged.partition_point(|&place| self.time(place) <= Some(end));
        untagged.get(from..to).unwrap_or_default()
    }

    /// Time of the last reading of `probe` up to `time` that names no core.
    pub fn last_untagged(&self, probe: &ProbeLog<'_>, time: Timestamp) -> Option<Timestamp> {
        let untagged = &probe.untagged;
        let to = untagged.partition_point(|&place| self.time(place) <= Some(time));
        self.time(*untagged.get(to.checked_sub(1)?)?)
    }

    fn time(&self, place: usize) -> Option<Timestamp> {
        self.readings.get(place).map(|logged| logged.reading.time)
    }
}

impl<'a> ProbeLog<'a> {
    fn starting(first: &'a LoggedReading) -> Self {
        Self {
            tagged: HashMap::new(),
            untagged: Vec::new(),
            first,
            lowest: first.reading.count,
            highest: first.reading.count,
            count: 0,
        }
    }

    /// The first of the readings, and how many, if there are several and all say
    /// the same count.
    pub fn all_the_same(&self) -> Option<(&'a LoggedReading, usize)> {
        (self.count > 1 && self.lowest == self.highest).then_some((self.first, self.count))
    }
}

/// Readings as the core takes them.
pub fn plain<'a>(logged: impl Iterator<Item = &'a LoggedReading>) -> Vec<Reading> {
    logged.map(|logged| logged.reading).collect()
}
