//! Everything the core says of the probes of one soil, gathered.

use super::noticed;
use super::report::Refused;
use crate::failure::Complaint;
use crate::pairs::Pairs;
use calib_core::batch::equivalence::{BatchComparison, ProbeMean, compare_batches};
use calib_core::batch::outlying::{
    FEWEST_PROBES, Outlying, OutlyingSettings, ProbeEstimate, outlying,
};
use calib_core::batch::precision::{LevelPrecision, precision};
use calib_core::batch::ranking::{Population, RangeMoments, RankingSettings, ranking};
use calib_core::batch::tolerance::ToleranceInterval;
use calib_core::batch::{
    BatchError, BatchStatisticsError, Circumstances, Decision, Design, Member, Mixed, OneCurve,
    Pool, PrecisionAt, Sharing, Slip, Study, Wetness, decide, mean_at, media_run_one_way, members,
    mixed, next_probe_at, normalised, one_curve, own_estimates, pool, precision_at, shared_curve,
    tells_gain,
};
use calib_core::calibration::COVERAGE;
use calib_core::curve::{Curve, CurveKind};
use calib_core::fit::Observation;
use calib_core::temperature::TemperatureTerm;
use calib_core::uncertainty::coverage_factor;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// Fewest probes a spread can be told from.
const FEWEST: usize = 3;
/// Share of further probes that the tolerance interval holds, and the confidence.
pub(super) const TOLERANCE: (f64, f64) = (0.95, 0.95);
/// Ratio of the spreads of two batches that counts as alike (our choice).
const SPREAD_MARGIN: f64 = 2.0;
/// Points of the chart from dry to wet.
const STEPS: usize = 12;
/// Largest share of the probes that may stand out for the study without them to be
/// made: with more, the rest is no batch of one kind either.
const MOST_STANDING_OUT: f64 = 0.2;
/// The least: fewer change the figures of so many probes in no digit shown.
const LEAST_STANDING_OUT: f64 = 0.005;

/// The study of one soil.
#[derive(Serialize, JsonSchema)]
pub(super) struct SoilStudy {
    pub soil: String,
    pub probes: usize,
    pub pairs: usize,
    pub cores: usize,
    pub design: Design,
    /// The curve of the mean probe, which is what one curve for all should be.
    pub curve: Curve,
    pub equation: &'static str,
    pub temperature: Option<TemperatureTerm>,
    /// What the pairs state as standard uncertainty of their theta_v, m3/m3 (root mean
    /// square).
    pub stated_u: f64,
    #[serde(skip)]
    pub kind: CurveKind,
    pub decision: Decision,
    /// One curve for all without the probes that stand out.
    pub without_standing_out: Option<Decision>,
    /// Between what 95 % of further probes read off, without the probes that stand out.
    pub next_probe_without: Vec<At<ToleranceInterval>>,
    /// Pairs, and cores that probes share, far from all others.
    pub far_off: Vec<FarOff>,
    pub as_read: Scale,
    pub two_media: Option<Scale>,
    pub no_two_media: Option<Refused>,
    /// ISO 5725 terms from dry to wet.
    pub precision: Vec<At<PrecisionAt>>,
    /// The same level by level, where each probe has cores of its own and levels repeat.
    pub precision_by_level: Vec<LevelPrecision>,
    /// Between what 95 % of further probes read off, with 95 % confidence; none where
    /// probes differ by no more than chance.
    pub next_probe: Vec<At<ToleranceInterval>>,
    pub no_next_probe: Option<Refused>,
    /// How outlying probes were looked for.
    pub cut_off: Option<f64>,
    pub not_looked_for: Option<Refused>,
    /// Share of draws in which every rank lies in its interval.
    pub ranks_all_held: Option<f64>,
    pub each: Vec<ProbeFound>,
    pub batches: Vec<BatchPair>,
    /// For the chart from dry to wet: theta_v, and the range of further probes there.
    #[serde(skip)]
    pub course: Vec<(f64, Option<(f64, f64)>)>,
}

/// A pair, or a core beside all its probes, far from all others.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(super) struct FarOff {
    /// Line of the file the cores stand in.
    pub line: Option<u64>,
    #[serde(flatten)]
    pub found: Slip,
}

/// The tests and the spread on one scale of counts.
#[derive(Serialize, JsonSchema)]
pub(super) struct Scale {
    pub tests: OneCurve,
    /// Without the probes, which stand in `each`.
    pub spread: Mixed,
}

/// Something at one place between dry and wet.
#[derive(Debug, Clone, Copy, Serialize, JsonSchema)]
pub(super) struct At<T> {
    pub wetness: Wetness,
    #[serde(flatten)]
    pub found: T,
}

/// One probe.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(super) struct ProbeFound {
    pub probe: String,
    pub batch: Option<String>,
    pub pairs: usize,
    /// By how much it reads above the cores at the middle wetness, drawn towards the
    /// others as far as its own pairs leave it open, m3/m3, with its 95 % interval.
    pub deviation: f64,
    /// Lower end of that interval, m3/m3.
    pub deviation_low: f64,
    /// Upper end of that interval, m3/m3.
    pub deviation_high: f64,
    /// At the chart's theta_v from the driest to the wettest.
    #[serde(skip)]
    pub course: Vec<f64>,
    /// By its own pairs alone: offset at the middle of the range, m3/m3.
    pub own_offset: f64,
    /// By its own pairs alone: change of the deviation by 1 m3/m3, a ratio.
    pub own_gain: f64,
    /// Root mean square deviation from dry to wet with its interval, and its place.
    pub placed: Option<calib_core::batch::ranking::Placed>,
    /// Robust distance from the middle of the batch, in standard deviations.
    pub distance: Option<f64>,
    /// Probability of lying as far off or farther by chance, somewhere in the batch.
    pub p_value: Option<f64>,
    pub stands_out: bool,
    /// Whether it was read beside too few cores to be given a place or to stand out.
    pub too_few_cores: bool,
}

/// Two batches side by side; probes that stand out are left out.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub(super) struct BatchPair {
    pub a: String,
    pub b: String,
    pub compared: Option<BatchComparison>,
    pub refused: Option<Refused>,
}

/// One scale of counts with everything computed on it.
struct Worked {
    pool: Pool,
    tests: OneCurve,
    mixed: Mixed,
}

impl Worked {
    fn of(pool: Pool) -> Result<Self, BatchError> {
        let (tests, mixed) = rayon::join(|| one_curve(&pool), || mixed(&pool));
        Ok(Self {
            tests: tests?,
            mixed: mixed?,
            pool,
        })
    }

    fn study(&self) -> Study<'_> {
        Study {
            pool: &self.pool,
            one_curve: &self.tests,
            mixed: &self.mixed,
        }
    }

    /// Standard deviation left, and its degrees of freedom, once each probe has
    /// its offset and gain.
    fn residual(&self) -> (f64, Option<f64>) {
        let stages = &self.tests.stages;
        let stage = [Sharing::OwnOffsetAndGain, Sharing::OwnOffset]
            .into_iter()
            .find_map(|sharing| stages.iter().find(|stage| stage.sharing == sharing));
        stage.map_or((self.mixed.residual_sd.value, None), |stage| {
            (stage.residual_sd, Some(stage.freedom))
        })
    }
}

impl SoilStudy {
    /// Studies the probes of `soil`.
    ///
    /// # Errors
    /// A complaint about the file where they cannot be studied together.
    pub fn of(
        read: &Pairs,
        soil: &str,
        curve: Option<CurveKind>,
        margin: f64,
        asked: Circumstances,
    ) -> Result<Self, Box<Complaint>> {
        let complaint = |error: BatchError| {
            Box::new(Complaint::about(
                &read.file,
                format!("soil {soil}: {error}"),
                error.mend(),
            ))
        };
        let members = members(&read.pairs, &read.media, soil).map_err(complaint)?;
        media_run_one_way(&members).map_err(|error| noticed::of_media(read, soil, &error))?;
        let far_off = noticed::far_off(read, soil, &members, asked.seed);
        let complaint = |error: BatchError| noticed::with_far_off(complaint(error), &far_off);
        if members.len() < FEWEST {
            return Err(Box::new(Complaint::about(
                &read.file,
                format!(
                    "soil {soil}: {} read in it, and it takes at least {FEWEST} probes to see how far they differ",
                    if members.len() == 1 {
                        "one probe was"
                    } else {
                        "two probes were"
                    }
                ),
                "read more probes beside cores of this soil; calibrate a single one with `ovendry fit`",
            )));
        }
        let asked = Circumstances {
            relative_volume_u: root_mean_square(&members, |seen| seen.relative_volume_u),
            ..asked
        };
        let (as_read, two_media) = rayon::join(
            || pool(&members, curve).and_then(Worked::of),
            || two_media(&members, curve),
        );
        let as_read = as_read.map_err(complaint)?;
        let (two_media, no_two_media) = match two_media {
            Ok(worked) => (Some(worked), None),
            Err(refused) => (None, Some(refused)),
        };
        let decision = decide(
            as_read.study(),
            two_media.as_ref().map(Worked::study),
            asked,
        )
        .map_err(complaint)?;
        Assembled {
            soil,
            far_off: &far_off,
            members: &members,
            margin,
            curve,
            asked,
        }
        .study(as_read, two_media, no_two_media, decision)
        .map_err(complaint)
    }

    /// The probes that stand out.
    pub fn standing_out(&self) -> impl Iterator<Item = &ProbeFound> {
        self.each.iter().filter(|probe| probe.stands_out)
    }
}

/// The probes on the scale of two media, or why not.
fn two_media(members: &[Member], curve: Option<CurveKind>) -> Result<Worked, Refused> {
    if members.iter().all(|member| member.media.is_none()) {
        return Err(Refused {
            reason: "no probe has counts in two media".to_owned(),
            mend: "read every probe in the same two, e.g. air and water, and state the counts"
                .to_owned(),
        });
    }
    normalised(members, curve)
        .and_then(Worked::of)
        .map_err(|error| Refused {
            reason: error.to_string(),
            mend: error.mend(),
        })
}

fn root_mean_square(members: &[Member], of: impl Fn(&Observation) -> f64) -> f64 {
    let all = members.iter().flat_map(|member| &member.observations);
    let (sum, many) = all.fold((0.0, 0.0), |(sum, many), seen| {
        (sum + of(seen).powi(2), many + 1.0)
    });
    if many > 0.0 {
        f64::sqrt(sum / many)
    } else {
        0.0
    }
}

/// What a study is put together from.
struct Assembled<'a> {
    soil: &'a str,
    far_off: &'a [FarOff],
    members: &'a [Member],
    margin: f64,
    curve: Option<CurveKind>,
    asked: Circumstances,
}

impl Assembled<'_> {
    fn study(
        self,
        as_read: Worked,
        two_media: Option<Worked>,
        no_two_media: Option<Refused>,
        decision: Decision,
    ) -> Result<SoilStudy, BatchError> {
        let (sd, freedom) = as_read.residual();
        let own = own_estimates(&as_read.pool, &as_read.mixed, sd);
        let enough = tells_gain(&as_read.pool);
        let found = self.look_for_outlying(&of_enough(&own, &enough), freedom);
        let mut each = self.each(&as_read, &own, &enough, found.as_ref().ok());
        let ranks_all_held = self.rank(&as_read, &of_enough(&own, &enough), &mut each);
        let theta = Wetness::Middle.theta_v(&as_read.pool);
        let batches = self.compare(&each, &own, theta - as_read.mixed.centre);
        let without = self.without(&each)?;
        let (low, high) = (
            Wetness::Dry.theta_v(&as_read.pool),
            Wetness::Wet.theta_v(&as_read.pool),
        );
        let mut course = Vec::new();
        for step in 0..=STEPS {
            let theta = low + (high - low) * step as f64 / STEPS as f64;
            let range = interval(&as_read.mixed, theta)?.and_then(Result::ok);
            course.push((theta, range.map(|found| (found.low, found.high))));
        }
        for (probe, effect) in each.iter_mut().zip(&as_read.mixed.effects) {
            let centre = as_read.mixed.centre;
            probe.course = course
                .iter()
                .map(|(theta, _)| effect.at(*theta, centre).value)
                .collect();
        }
        let (next_probe, no_next_probe) = next_probes(&as_read)?;
        let mut precision = Vec::new();
        for wetness in Wetness::ALL {
            let theta = wetness.theta_v(&as_read.pool);
            precision.push(At {
                wetness,
                found: precision_at(&as_read.mixed, theta),
            });
        }
        let (curve, temperature) = shared_curve(&as_read.pool, &as_read.mixed);
        Ok(SoilStudy {
            soil: self.soil.to_owned(),
            probes: as_read.pool.probes.len(),
            pairs: as_read.pool.deviations.len(),
            cores: as_read.pool.cores.len(),
            design: as_read.pool.design,
            kind: curve.kind,
            equation: curve.kind.model().equation(),
            curve,
            temperature,
            stated_u: root_mean_square(self.members, |seen| seen.theta_v.u),
            decision,
            next_probe_without: match &without {
                Some((_, worked)) => next_probes(worked)?.0,
                None => Vec::new(),
            },
            without_standing_out: without.map(|(decision, _)| decision),
            far_off: self.far_off.to_vec(),
            precision,
            precision_by_level: by_level(&as_read.pool),
            next_probe,
            no_next_probe,
            cut_off: found.as_ref().ok().map(|found| found.cut_off),
            not_looked_for: found.err().map(refused),
            ranks_all_held,
            each,
            batches,
            course,
            as_read: Scale::of(as_read),
            two_media: two_media.map(Scale::of),
            no_two_media,
        })
    }

    fn look_for_outlying(
        &self,
        own: &[ProbeEstimate],
        freedom: Option<f64>,
    ) -> Result<Outlying, BatchStatisticsError> {
        if own.len() < FEWEST_PROBES {
            return Err(BatchStatisticsError::TooFew {
                what: "probes",
                given: own.len(),
                needed: FEWEST_PROBES,
            });
        }
        let settings = OutlyingSettings {
            seed: self.asked.seed,
            sampling_freedom: freedom,
            ..OutlyingSettings::default()
        };
        outlying(own, &settings)
    }

    fn each(
        &self,
        as_read: &Worked,
        own: &[ProbeEstimate],
        enough: &[bool],
        outlying: Option<&Outlying>,
    ) -> Vec<ProbeFound> {
        let mut found = outlying.map(|outlying| outlying.probes.iter());
        let k = coverage_factor(COVERAGE, None);
        let theta = Wetness::Middle.theta_v(&as_read.pool);
        let effects = as_read.mixed.effects.iter().zip(own).zip(enough);
        effects
            .map(|((effect, own), enough)| {
                let at = effect.at(theta, as_read.mixed.centre);
                let found = found.as_mut().filter(|_| *enough).and_then(Iterator::next);
                ProbeFound {
                    probe: effect.probe.clone(),
                    batch: effect.batch.clone(),
                    pairs: effect.pairs,
                    deviation: at.value,
                    deviation_low: at.value - k * at.u,
                    deviation_high: at.value + k * at.u,
                    course: Vec::new(),
                    own_offset: own.offset,
                    own_gain: own.gain,
                    placed: None,
                    distance: found.map(|found| found.distance),
                    p_value: found.map(|found| found.p_value),
                    stands_out: found.is_some_and(|found| found.outlying),
                    too_few_cores: !enough,
                }
            })
            .collect()
    }

    /// Gives each probe its place; gives how often all ranks hold at once.
    fn rank(
        &self,
        as_read: &Worked,
        own: &[ProbeEstimate],
        each: &mut [ProbeFound],
    ) -> Option<f64> {
        let centre = as_read.mixed.centre;
        let range = RangeMoments::even(
            Wetness::Dry.theta_v(&as_read.pool) - centre,
            Wetness::Wet.theta_v(&as_read.pool) - centre,
        );
        let population = Population {
            centre: [0.0, 0.0],
            spread: as_read.mixed.spread,
        };
        let settings = RankingSettings {
            seed: self.asked.seed,
            ..RankingSettings::default()
        };
        let ranked = ranking(own, &range, Some(&population), &settings).ok()?;
        let judged = each.iter_mut().filter(|probe| !probe.too_few_cores);
        for (probe, placed) in judged.zip(ranked.probes) {
            probe.placed = Some(placed);
        }
        Some(ranked.all_held)
    }

    /// Every two batches, probes that stand out left out.
    fn compare(&self, each: &[ProbeFound], own: &[ProbeEstimate], z: f64) -> Vec<BatchPair> {
        let mut groups: BTreeMap<&str, Vec<ProbeMean>> = BTreeMap::new();
        for (probe, own) in each.iter().zip(own) {
            if let Some(batch) = probe.batch.as_deref().filter(|_| !probe.stands_out) {
                groups.entry(batch).or_default().push(mean_at(own, z));
            }
        }
        let groups: Vec<(&str, Vec<ProbeMean>)> = groups.into_iter().collect();
        let mut pairs = Vec::new();
        for (i, (a, of_a)) in groups.iter().enumerate() {
            for (b, of_b) in &groups[i + 1..] {
                let found = compare_batches(of_a, of_b, self.margin, SPREAD_MARGIN);
                pairs.push(BatchPair {
                    a: (*a).to_owned(),
                    b: (*b).to_owned(),
                    compared: found.as_ref().ok().copied(),
                    refused: found.err().map(refused),
                });
            }
        }
        pairs
    }

    /// The decision without the probes that stand out, where they are few.
    fn without(&self, each: &[ProbeFound]) -> Result<Option<(Decision, Worked)>, BatchError> {
        let out = each.iter().filter(|probe| probe.stands_out).count();
        let share = out as f64 / each.len().max(1) as f64;
        let few = (LEAST_STANDING_OUT..=MOST_STANDING_OUT).contains(&share);
        if !few || each.len() - out < FEWEST {
            return Ok(None);
        }
        let members: Vec<Member> = self
            .members
            .iter()
            .zip(each)
            .filter(|(_, probe)| !probe.stands_out)
            .map(|(member, _)| member.clone())
            .collect();
        let worked = Worked::of(pool(&members, self.curve)?)?;
        let decision = decide(worked.study(), None, self.asked)?;
        Ok(Some((decision, worked)))
    }
}

impl Scale {
    fn of(worked: Worked) -> Self {
        let mut spread = worked.mixed;
        spread.effects.clear();
        Self {
            tests: worked.tests,
            spread,
        }
    }
}

/// Those of the probes that have cores enough.
fn of_enough(own: &[ProbeEstimate], enough: &[bool]) -> Vec<ProbeEstimate> {
    let judged = own.iter().zip(enough).filter(|(_, enough)| **enough);
    judged.map(|(own, _)| *own).collect()
}

/// The range of further probes from dry to wet, or why there is none.
fn next_probes(
    worked: &Worked,
) -> Result<(Vec<At<ToleranceInterval>>, Option<Refused>), BatchError> {
    let (mut ranges, mut why_not) = (Vec::new(), None);
    for wetness in Wetness::ALL {
        let theta = wetness.theta_v(&worked.pool);
        match interval(&worked.mixed, theta)? {
            Some(Ok(found)) => ranges.push(At { wetness, found }),
            Some(Err(error)) => why_not = Some(refused(error)),
            None => {}
        }
    }
    Ok((ranges, why_not))
}

fn refused(error: BatchStatisticsError) -> Refused {
    Refused {
        reason: error.to_string(),
        mend: error.mend().to_owned(),
    }
}

/// The range of further probes at a theta_v; `None` where there is no spread.
fn interval(
    mixed: &Mixed,
    theta_v: f64,
) -> Result<Option<Result<ToleranceInterval, BatchStatisticsError>>, BatchError> {
    let (share, confidence) = TOLERANCE;
    next_probe_at(mixed, theta_v, share, confidence)
}

/// Precision level by level, where probes have cores of their own.
fn by_level(pool: &Pool) -> Vec<LevelPrecision> {
    if pool.design == Design::SharedCores {
        return Vec::new();
    }
    let mut levels = vec![BTreeMap::<usize, Vec<f64>>::new(); pool.levels.len()];
    for pair in &pool.deviations {
        if let Some(probes) = levels.get_mut(pair.level) {
            probes.entry(pair.probe).or_default().push(pair.deviation);
        }
    }
    let named = pool.levels.iter().zip(levels);
    named
        .filter_map(|(name, probes)| {
            let readings: Vec<Vec<f64>> = probes.into_values().collect();
            precision(name, &readings).ok()
        })
        .collect()
}
