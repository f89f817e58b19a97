//! The loop: what comes from the source goes to the sink, and what happens is told.

use super::event::{EndedBy, Event, ProbeSummary, Summary};
use super::form::Form;
use super::probe::Followed;
use super::refused::{RefusedLog, shown};
use super::sink::{Sink, Taken};
use super::{Fields, Refusal, Said, Source};
use crate::failure::{Complaint, Failure, Verdict};
use crate::table::heard::{Heard, Listener};
use calib_core::quantity::Quantity;
use calib_core::readings::SettlingRule;
use std::collections::{BTreeMap, HashSet};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// How long one look at the source waits.
const LOOK: Duration = Duration::from_millis(100);
/// How often probes are looked at when nothing comes.
const LOOK_AT_PROBES: Duration = Duration::from_millis(500);
/// Refusals of one kind after which advice is given.
const ADVICE_AFTER: u64 = 5;

/// What to do, beside listening.
#[derive(Debug, Clone, Default)]
pub struct Task {
    /// Readings of a steady probe are tagged with this core.
    pub sample: Option<String>,
    /// End after so long.
    pub length: Option<Duration>,
    /// End when every probe heard is steady.
    pub until_steady: bool,
    /// Shortest time over which a probe must be steady, s; the rule's own where absent.
    pub steady_span_s: Option<i64>,
    /// An earlier capture read the source already.
    pub read_before: bool,
}

/// Shows what happens.
pub trait Show {
    /// Something happened.
    ///
    /// # Errors
    /// That it cannot be shown.
    fn event(&mut self, event: &Event, recording: &Recording) -> Result<(), Failure>;

    /// Called often, for what is drawn in place.
    ///
    /// # Errors
    /// That it cannot be shown.
    fn draw(&mut self, _recording: &Recording) -> Result<(), Failure> {
        Ok(())
    }
}

/// A capture under way.
pub struct Recording {
    /// Where readings come from.
    pub source: Box<dyn Source>,
    form: Form,
    listener: Listener,
    sink: Option<Sink>,
    /// The file appended to.
    pub into: PathBuf,
    refusals: RefusedLog,
    /// What to do.
    pub task: Task,
    /// When it began.
    pub began: Instant,
    /// Each probe heard.
    pub probes: BTreeMap<String, Followed>,
    /// Readings appended.
    pub readings: u64,
    there_already: u64,
    /// Those of them that a table begun anew said again.
    said_again: u64,
    /// Probe, count and time of what was in the file when a table was begun anew.
    in_the_file: HashSet<(String, u32, jiff::Timestamp)>,
    without_temperature: u64,
    /// What was refused, by kind.
    pub refused: BTreeMap<Refusal, u64>,
    /// The last of it.
    pub last_refused: Option<String>,
    lost: u64,
    /// Since when the source is gone, while it is.
    pub gone: Option<Instant>,
    disk_refuses: bool,
    looked: Instant,
}

impl Recording {
    /// A recording that will append to `sink`.
    pub fn new(
        source: Box<dyn Source>,
        form: Form,
        listener: Listener,
        sink: Sink,
        refusals: RefusedLog,
        task: Task,
    ) -> Self {
        Self {
            source,
            form,
            listener,
            into: sink.path().to_owned(),
            sink: Some(sink),
            refusals,
            task,
            began: Instant::now(),
            probes: BTreeMap::new(),
            readings: 0,
            there_already: 0,
            said_again: 0,
            in_the_file: HashSet::new(),
            without_temperature: 0,
            refused: BTreeMap::new(),
            last_refused: None,
            lost: 0,
            gone: None,
            disk_refuses: false,
            looked: Instant::now(),
        }
    }

    /// The file that keeps what was refused.
    pub fn refused_into(&self) -> &Path {
        self.refusals.path()
    }

    /// What waits for a disk that refuses, and why it does.
    pub fn disk_trouble(&self) -> Option<(usize, &str)> {
        self.sink.as_ref().and_then(Sink::trouble)
    }

    /// Listens until it is to end.
    ///
    /// # Errors
    /// [`Failure::Machine`] if readings could not be written; what the source or `show`
    /// cannot go on from. What was appended until then stays.
    pub fn run(mut self, show: &mut dyn Show, stop: &AtomicBool) -> Result<Verdict, Failure> {
        let heard = self.listen(show, stop);
        let ended = match self.sink.take() {
            Some(sink) => sink.end(self.source.as_ref()),
            None => Ok(()),
        };
        let ended_by = heard?;
        ended?;
        let summary = self.summary(ended_by);
        let verdict = summary.verdict;
        show.event(&Event::Ended(summary), &self)?;
        Ok(verdict)
    }

    fn listen(&mut self, show: &mut dyn Show, stop: &AtomicBool) -> Result<EndedBy, Failure> {
        loop {
            if stop.load(Ordering::Relaxed) {
                return Ok(EndedBy::Asked);
            }
            let left = self
                .task
                .length
                .map(|length| length.saturating_sub(self.began.elapsed()));
            if left == Some(Duration::ZERO) {
                return Ok(EndedBy::Time);
            }
            let mut ended = false;
            for said in self.source.poll(LOOK.min(left.unwrap_or(LOOK)))? {
                ended |= said == Said::End;
                self.hear(said, show)?;
            }
            self.mind_the_disk(show)?;
            if ended || self.looked.elapsed() >= LOOK_AT_PROBES {
                self.look_at_probes(show)?;
            }
            show.draw(self)?;
            if self.all_steady() {
                return Ok(EndedBy::Steady);
            }
            if ended {
                return Ok(EndedBy::Source);
            }
        }
    }

    fn hear(&mut self, said: Said, show: &mut dyn Show) -> Result<(), Failure> {
        match said {
            Said::Line(bytes, at) => {
                let line = String::from_utf8_lossy(&bytes);
                match self.form.fields(&line) {
                    Ok(fields) => self.take(&fields, at, &bytes, show),
                    Err(why) => self.refuse(Refusal::NotTheForm, &why, &bytes, show),
                }
            }
            Said::Row(fields, at) => {
                let bytes = fields.shown().into_bytes();
                self.take(&fields, at, &bytes, show)
            }
            Said::Refused { bytes, why } => self.refuse(why, "", &bytes, show),
            Said::Lost(why) => {
                self.lost += 1;
                self.gone = Some(Instant::now());
                show.event(&Event::Lost { why }, self)
            }
            Said::Back => {
                self.gone = None;
                show.event(&Event::Back, self)
            }
            Said::Note(what) => show.event(&Event::Note { what }, self),
            Said::Anew(what) => {
                let bytes = std::fs::read(&self.into).map_err(|error| {
                    Complaint::about(
                        &self.into,
                        format!("cannot be read: {error}"),
                        "see that it is there and may be read: it says what was captured already",
                    )
                })?;
                let rows = self.listener.rows(&String::from_utf8_lossy(&bytes));
                self.in_the_file = rows
                    .into_iter()
                    .filter_map(|(probe, count, time)| Some((probe, count, time?)))
                    .collect();
                show.event(&Event::Note { what }, self)
            }
            Said::End => Ok(()),
        }
    }

    fn take(
        &mut self,
        fields: &Fields,
        arrival: jiff::Timestamp,
        bytes: &[u8],
        show: &mut dyn Show,
    ) -> Result<(), Failure> {
        let reading = match self.listener.meaning(fields, arrival) {
            Ok(reading) => reading,
            Err(why) => return self.refuse(Refusal::FieldRefused, &why, bytes, show),
        };
        let known = (reading.probe.clone(), reading.count, reading.time);
        if self.in_the_file.contains(&known) {
            self.there_already += 1;
            self.said_again += 1;
            self.follow(&reading).take(&reading);
            return Ok(());
        }
        let tag = self.tag(&reading);
        let Some(sink) = &mut self.sink else {
            return Ok(());
        };
        match sink.take(reading.clone(), tag.as_deref())? {
            Taken::OutOfOrder(why) => self.refuse(Refusal::OutOfOrder, &why, bytes, show),
            Taken::There => {
                self.there_already += 1;
                self.follow(&reading).take(&reading);
                Ok(())
            }
            Taken::Written(time) => {
                self.readings += 1;
                self.without_temperature += u64::from(reading.thermometer_silent);
                let probe = self.follow(&reading);
                probe.take(&reading);
                probe.readings += 1;
                probe.tagged += u64::from(tag.is_some());
                show.event(
                    &Event::Reading {
                        timestamp: time.to_string(),
                        probe_id: reading.probe,
                        raw_count: reading.count,
                        soil_temp_c: reading.soil_temperature.map(Quantity::value),
                        sample_id: tag,
                    },
                    self,
                )
            }
        }
    }

    /// The core that a reading is tagged with: only where its probe is steady with it.
    fn tag(&self, reading: &Heard) -> Option<String> {
        let sample = self.task.sample.clone()?;
        let mut probe = self.probes.get(&reading.probe)?.clone();
        probe.take(reading);
        probe.look();
        probe.is_steady().then_some(sample)
    }

    fn follow(&mut self, reading: &Heard) -> &mut Followed {
        let full_scale = self
            .listener
            .site()
            .probe(&reading.probe)
            .map_or(u32::from(u16::MAX), |probe| {
                (1_u32 << probe.adc_bits.min(16)) - 1
            });
        let mut rule = SettlingRule::for_full_scale(full_scale);
        if let Some(span) = self.task.steady_span_s {
            rule.span_s = span;
        }
        self.probes
            .entry(reading.probe.clone())
            .or_insert_with(|| Followed::new(rule, reading))
    }

    fn refuse(
        &mut self,
        why: Refusal,
        reason: &str,
        bytes: &[u8],
        show: &mut dyn Show,
    ) -> Result<(), Failure> {
        *self.refused.entry(why).or_default() += 1;
        if let Some(sink) = &mut self.sink {
            sink.refused();
        }
        self.refusals
            .keep(jiff::Timestamp::now(), why, reason, bytes);
        let shown = shown(bytes);
        self.last_refused = Some(if reason.is_empty() {
            why.words().to_owned()
        } else {
            reason.to_owned()
        });
        show.event(
            &Event::Refused {
                why,
                reason: reason.to_owned(),
                shown,
            },
            self,
        )
    }

    fn mind_the_disk(&mut self, show: &mut dyn Show) -> Result<(), Failure> {
        let Some(sink) = &mut self.sink else {
            return Ok(());
        };
        sink.tick(self.source.as_ref())?;
        let trouble = sink.trouble().map(|(waiting, why)| Event::DiskRefuses {
            waiting,
            why: why.to_owned(),
        });
        if trouble.is_some() == self.disk_refuses {
            return Ok(());
        }
        self.disk_refuses = trouble.is_some();
        show.event(&trouble.unwrap_or(Event::DiskTakes), self)
    }

    fn look_at_probes(&mut self, show: &mut dyn Show) -> Result<(), Failure> {
        self.looked = Instant::now();
        let mut changed = Vec::new();
        for (id, probe) in &mut self.probes {
            if probe.look() {
                changed.push(Event::State {
                    probe_id: id.clone(),
                    settled: probe.settled,
                });
            }
        }
        for event in changed {
            show.event(&event, self)?;
        }
        Ok(())
    }

    fn all_steady(&self) -> bool {
        let tagging = self.task.sample.is_some();
        self.task.until_steady
            && !self.probes.is_empty()
            && self
                .probes
                .values()
                .all(|probe| probe.is_steady() && probe.has_enough(tagging))
    }

    fn summary(&self, ended_by: EndedBy) -> Summary {
        let heard = self.readings + self.there_already > self.said_again;
        let good = if self.task.until_steady {
            ended_by == EndedBy::Steady
        } else {
            heard
        };
        Summary {
            verdict: if good { Verdict::Good } else { Verdict::Unfit },
            ended_by,
            into: self.into.clone(),
            readings: self.readings,
            stood_there_already: self.there_already,
            without_temperature: self.without_temperature,
            refused: self.refused.clone(),
            lost: self.lost,
            probes: self
                .probes
                .iter()
                .map(|(id, probe)| ProbeSummary {
                    probe_id: id.clone(),
                    readings_appended: probe.readings,
                    readings_tagged: probe.tagged,
                    settled: probe.settled,
                })
                .collect(),
            advice: self.advice_at_the_end(heard),
        }
    }

    /// [`advice`](Self::advice), and what only the end can tell.
    fn advice_at_the_end(&self, heard: bool) -> Vec<String> {
        let mut advice = self.advice(heard);
        let refused = |why: Refusal| self.refused.get(&why).copied().unwrap_or(0);
        let unread = refused(Refusal::NotTheForm) + refused(Refusal::FieldRefused);
        if unread > self.readings && self.source.key().is_some() {
            advice.push(format!(
                "what was refused is not read again by itself: mend the cause (the last: {}), then \
                 run this with --again, which reads {} from its beginning",
                self.last_refused.as_deref().unwrap_or("not known"),
                self.source.name()
            ));
        }
        if let Some(core) = &self.task.sample
            && self.readings > 0
            && self.probes.values().all(|probe| probe.tagged == 0)
        {
            advice.push(format!(
                "no reading carries core {core}: no probe was steady while it was listened to; \
                 listen until one is (--until-steady), then take the core"
            ));
        }
        advice
    }

    /// What to do about what was refused.
    pub fn advice(&self, heard: bool) -> Vec<String> {
        let refused = |why: Refusal| self.refused.get(&why).copied().unwrap_or(0);
        let most = |why: Refusal| refused(why) >= ADVICE_AFTER && refused(why) > self.readings;
        let mut advice = Vec::new();
        if most(Refusal::NotText) || most(Refusal::TooLong) {
            advice.push(
                "most of what came is not text: look whether --baud is the rate the sender uses"
                    .to_owned(),
            );
        }
        if most(Refusal::NotTheForm) {
            advice.push(format!(
                "most lines are not of the declared form (the last {}): look at --form, --fields and --field",
                self.last_refused.as_deref().unwrap_or("was cut")
            ));
        }
        if self.without_temperature > 0 {
            advice.push(
                "a thermometer did not answer (-127 or 85 C): mend its wiring; those readings have no temperature"
                    .to_owned(),
            );
        }
        if !heard && self.refused.is_empty() {
            let what = if self.task.read_before {
                "nothing new came since the capture before"
            } else {
                "nothing came at all"
            };
            advice.push(format!(
                "{what}: look whether what sends or logs readings has power, and whether {} is where they come",
                self.source.name()
            ));
        }
        advice
    }
}
