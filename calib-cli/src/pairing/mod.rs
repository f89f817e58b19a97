//! Cores and readings brought together: one calibration point a core and probe.
//!
//! A reading that names a core belongs to it. A core no reading of a probe names
//! takes the probe's readings of the window before it was taken. A core that
//! names a probe pairs with that one only, any other with every probe of its
//! soil that has readings for it.

mod fault;
mod log;
#[cfg(test)]
mod tests;
mod unpaired;

use crate::cores::{Core, reduce_core};
use crate::failure::{Complaint, Failure, Warning};
use crate::findings::Findings;
use crate::notice::{self, Notice};
use crate::table;
use crate::workbench::{Probe, Sample, Workbench};
use calib_core::calibration::{QUANTISATION, ReadingNoise};
use calib_core::fit::Observation;
use calib_core::gravimetry::too_far_apart;
use calib_core::quantity::{Estimate, Timestamp, Vwc};
use calib_core::readings::{WindowRule, WindowSummary, pool_noise, stuck_since, summarise};
use log::{Log, plain};
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::{BTreeMap, HashMap};
use unpaired::Lonely;

/// Noise assumed where no window holds two readings: rounding alone, known so
/// badly that the coverage factor grows.
const UNKNOWN_NOISE: ReadingNoise = ReadingNoise {
    standard_deviation: QUANTISATION,
    degrees_of_freedom: 1.0,
};

/// Everything a fit needs, from a whole workbench.
#[derive(Debug, Clone, PartialEq)]
pub struct Paired {
    /// The probes that have cores, in the order of site.toml.
    pub probes: Vec<PairedProbe>,
    /// Every core, in the order of samples.csv.
    pub cores: Vec<Core>,
    /// What was noticed and does not stop the work.
    pub warnings: Vec<Warning>,
}

/// The calibration points of one probe in its soil.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PairedProbe {
    /// The probe's identifier.
    pub probe: String,
    /// Its soil.
    pub soil: String,
    /// One point a core, in the order of samples.csv.
    pub observations: Vec<Observation>,
    /// The window of readings behind each point.
    pub windows: Vec<WindowSummary>,
    /// Noise of a single reading, pooled over the windows.
    pub noise: ReadingNoise,
    /// Time of the last reading used.
    pub last_reading: Timestamp,
}

/// One core with the places in the log of one probe's readings for it.
struct Pair<'a> {
    sample: &'a Sample,
    /// `None` where the core could not be reduced, which is complained about.
    core: Option<Core>,
    places: &'a [usize],
}

/// What the pairing of a workbench comes to and all that was found on the way.
#[derive(Debug)]
pub struct Inspection {
    /// The pairs, if nothing was refused.
    pub paired: Option<Paired>,
    /// Every fault of cores, readings and their pairing, by file and line. Empty
    /// exactly if there are pairs.
    pub complaints: Vec<Complaint>,
    /// What does not stop the work; the pairs hold the same.
    pub warnings: Vec<Warning>,
}

/// Pairs every core of the workbench with its readings.
///
/// # Errors
/// [`Failure::Input`] with every fault of cores, readings and their pairing.
pub fn pair(workbench: &Workbench) -> Result<Paired, Failure> {
    let inspection = inspect(workbench);
    inspection
        .paired
        .ok_or(Failure::Input(inspection.complaints))
}

/// Pairs every core of the workbench with its readings and tells everything
/// about it.
pub fn inspect(workbench: &Workbench) -> Inspection {
    let mut findings = Findings::default();
    let (probes, cores) = all_points(workbench, &mut findings);
    let (complaints, warnings) = table::finished(&workbench.folder, findings);
    Inspection {
        paired: complaints.is_empty().then(|| Paired {
            probes,
            cores,
            warnings: warnings.clone(),
        }),
        complaints,
        warnings,
    }
}

/// The points of every probe and the cores, as far as nothing is wrong with them.
fn all_points(workbench: &Workbench, findings: &mut Findings) -> (Vec<PairedProbe>, Vec<Core>) {
    let log = Log::index(&workbench.readings);
    let mut cores = Vec::new();
    let mut pairs: HashMap<&str, Vec<Pair<'_>>> = HashMap::new();
    let mut lonely = Vec::new();
    let standing = probes_by_soil(workbench);
    for sample in &workbench.samples {
        let core = reduce_core(workbench, sample, findings);
        cores.extend(core.clone());
        let probes = probes_of(sample, &standing, workbench);
        let mut alone = true;
        for probe in &probes {
            let places = log.probe(&probe.id).map_or(&[][..], |probe| {
                let seconds = workbench.site.window_seconds;
                log.window(probe, &sample.id, sample.taken_at, seconds)
            });
            if !places.is_empty() {
                alone = false;
                pairs.entry(&probe.id).or_default().push(Pair {
                    sample,
                    core: core.clone(),
                    places,
                });
            }
        }
        if alone {
            lonely.push(Lonely { sample, probes });
        }
    }
    unpaired::complain(workbench, &log, &lonely, findings);
    for warning in core_warnings(&cores) {
        findings.warn(warning);
    }
    let mut probes = Vec::new();
    for probe in &workbench.site.probes {
        // Cores that should have paired with it and did not are told of already.
        let lonely: Vec<&Sample> = lonely
            .iter()
            .filter(|core| core.may_pair_with(&probe.id))
            .map(|core| core.sample)
            .collect();
        match pairs.get(probe.id.as_str()) {
            Some(pairs) => {
                if let Some(complaint) = fault::one_level(workbench, probe, pairs, &lonely) {
                    findings.complain(complaint);
                }
                probes.extend(points(workbench, &log, probe, pairs, findings));
            }
            None if lonely.is_empty() => findings.warn(fault::no_cores(probe)),
            None => {}
        }
    }
    (probes, cores)
}

fn probes_by_soil(workbench: &Workbench) -> HashMap<&str, Vec<&Probe>> {
    let mut standing: HashMap<&str, Vec<&Probe>> = HashMap::new();
    for probe in &workbench.site.probes {
        standing.entry(&probe.soil).or_default().push(probe);
    }
    standing
}

/// The probes a core may pair with.
fn probes_of<'a>(
    sample: &Sample,
    standing: &HashMap<&str, Vec<&'a Probe>>,
    workbench: &'a Workbench,
) -> Vec<&'a Probe> {
    match &sample.probe {
        Some(named) => workbench
            .site
            .probes
            .iter()
            .filter(|probe| probe.id == *named)
            .collect(),
        None => standing
            .get(sample.soil.as_str())
            .cloned()
            .unwrap_or_default(),
    }
}

fn core_warnings(cores: &[Core]) -> Vec<Warning> {
    let mut soils: Vec<&str> = Vec::new();
    for core in cores {
        if !soils.contains(&core.soil.as_str()) {
            soils.push(&core.soil);
        }
    }
    soils
        .into_iter()
        .flat_map(|soil| {
            let notices = cores
                .iter()
                .filter(|core| core.soil == soil)
                .flat_map(|core| {
                    let warnings = core.reduced.warnings.iter();
                    warnings.map(|warning| (core.sample.clone(), Notice::from(warning)))
                });
            notice::warnings(&format!("soil {soil}"), notices)
        })
        .chain(slips_among_siblings(cores))
        .collect()
}

/// Cores of one soil and level that are too far apart to be alike.
fn slips_among_siblings(cores: &[Core]) -> Vec<Warning> {
    let mut levels: BTreeMap<(&str, &str), Vec<&Core>> = BTreeMap::new();
    for core in cores {
        levels
            .entry((&core.soil, &core.level))
            .or_default()
            .push(core);
    }
    let only_level = |soil: &str| levels.keys().filter(|(of, _)| *of == soil).count() < 2;
    levels
        .iter()
        // Where all cores carry one level, it is the levels that are at fault.
        .filter(|((soil, _), _)| !only_level(soil))
        .filter_map(|((soil, level), cores)| {
            let theta_v: Vec<Vwc> = cores.iter().map(|c| c.reduced.theta_v.value).collect();
            let (driest, wettest, difference) = too_far_apart(&theta_v)?;
            Some(Warning {
                place: format!("soil {soil}"),
                what: format!(
                    "cores {} and {} of level {level} differ by {difference:.2} m3/m3",
                    cores[driest].sample, cores[wettest].sample
                ),
                why: "cores of one level should be nearly alike; one mistyped mass spoils the whole calibration".to_owned(),
                advice: "look for a slip in the masses or the level of these two before anything else".to_owned(),
            })
        })
        .collect()
}

/// The points of one probe; `None` where something was complained about.
fn points(
    workbench: &Workbench,
    log: &Log<'_>,
    probe: &Probe,
    pairs: &[Pair<'_>],
    findings: &mut Findings,
) -> Option<PairedProbe> {
    if let Some(complaint) = fault::all_the_same(workbench, log, probe) {
        findings.complain(complaint);
        return None;
    }
    let mut windows = windows(workbench, log, probe, pairs, findings)?;
    flag_stuck(pairs, &mut windows);
    for warning in window_warnings(probe, pairs, &windows) {
        findings.warn(warning);
    }
    let noise = pool_noise(windows.iter().map(|window| window.noise)).unwrap_or_else(|| {
        findings.warn(fault::noise_unknown(probe));
        UNKNOWN_NOISE
    });
    Some(PairedProbe {
        probe: probe.id.clone(),
        soil: probe.soil.clone(),
        observations: pairs
            .iter()
            .zip(&windows)
            .map(|(pair, window)| observation(pair, window))
            .collect::<Option<_>>()?,
        noise,
        last_reading: windows.iter().map(|window| window.last).max()?,
        windows,
    })
}

/// The window of each pair; `None` where one of them cannot be used.
fn windows(
    workbench: &Workbench,
    log: &Log<'_>,
    probe: &Probe,
    pairs: &[Pair<'_>],
    findings: &mut Findings,
) -> Option<Vec<WindowSummary>> {
    let rule = WindowRule::for_converter(probe.adc_bits);
    let mut windows = Vec::new();
    for pair in pairs {
        match summarise(&plain(log.at(pair.places)), &rule) {
            Ok(window) => windows.push(window),
            Err(error) => {
                let first = log.at(pair.places).next();
                let complaint = fault::unusable(workbench, probe, pair.sample, first, error);
                findings.complain(complaint);
            }
        }
    }
    (windows.len() == pairs.len()).then_some(windows)
}

/// Compares each window with the last one before it of another moisture level.
fn flag_stuck(pairs: &[Pair<'_>], windows: &mut [WindowSummary]) {
    let mut by_time: Vec<(&str, &mut WindowSummary)> = pairs
        .iter()
        .map(|pair| pair.sample.level.as_str())
        .zip(windows)
        .collect();
    by_time.sort_by_key(|(_, window)| window.first);
    let mut last: Option<(&str, WindowSummary)> = None;
    let mut of_another_level: Option<WindowSummary> = None;
    for (level, window) in by_time {
        if let Some((of, before)) = last.take()
            && of != level
        {
            of_another_level = Some(before);
        }
        last = Some((level, window.clone()));
        let stuck = of_another_level
            .as_ref()
            .and_then(|before| stuck_since(before, window));
        window.flags.extend(stuck);
    }
}

fn window_warnings(probe: &Probe, pairs: &[Pair<'_>], windows: &[WindowSummary]) -> Vec<Warning> {
    let notices = pairs.iter().zip(windows).flat_map(|(pair, window)| {
        let flags = window.flags.iter();
        flags.map(|flag| (pair.sample.id.clone(), Notice::from(flag)))
    });
    notice::warnings(&format!("probe {}", probe.id), notices)
}

/// `None` where the core could not be reduced.
fn observation(pair: &Pair<'_>, window: &WindowSummary) -> Option<Observation> {
    let reduced = &pair.core.as_ref()?.reduced;
    Some(Observation {
        sample: pair.sample.id.clone(),
        level: pair.sample.level.clone(),
        count: window.count,
        temperature: window.temperature,
        theta_v: Estimate::new(reduced.theta_v.value, reduced.theta_u_independent),
        budget: reduced.independent_budget(),
        relative_volume_u: reduced.relative_volume_u,
    })
}
