//! The pictures, looked at by the test: parsed, decoded and measured.

use super::fonts::{Weight, width};
use super::place::Space;
use super::*;
use calib_core::accuracy::{Interval, Limit, Limits, Sample};
use calib_core::calibration::{Calibration, ConvertError};
use calib_core::fit::Observation;
use calib_core::plan::foretold::{CoresPoint, CurveOfCores, Middle, PlaceName, Share};
use calib_core::quantity::{Estimate, Quantity, Vwc};
use calib_core::soil::{Particles, SoilDescription, SoilEvidence, Texture, evidence};
use plotters::style::RGBColor;
use std::sync::OnceLock;

type Example = (Calibration, Vec<Observation>);

fn levels() -> Vec<Level> {
    [
        ("field capacity", 0.171),
        ("stop", 0.166),
        ("refill", 0.141),
        ("wilting point", 0.079),
    ]
    .map(|(name, theta_v)| Level {
        name: name.to_owned(),
        theta_v,
    })
    .to_vec()
}

fn calibration_chart((calibration, cores): &Example, levels: &[Level]) -> CalibrationChart {
    CalibrationChart::new(calibration, cores, levels).unwrap()
}

fn residual_chart((calibration, cores): &Example) -> ResidualChart {
    ResidualChart::new(calibration, cores, &[]).unwrap()
}

/// Readings beside cores, and limits of agreement, as a study gives them: invented.
fn samples((calibration, cores): &Example, times: usize) -> (Vec<Sample>, Limits) {
    let samples: Vec<Sample> = (0..times)
        .flat_map(|time| cores.iter().map(move |core| (time, core)))
        .map(|(time, core)| {
            let theta_v = core.theta_v.value.value();
            let off = 0.004 - 0.02 * (theta_v - 0.15) + 0.003 * (time as f64).sin();
            let departure = 1.6 * (calibration.curve.value(core.count.value) - theta_v);
            Sample {
                core: core.sample.clone(),
                cluster: core.level.clone(),
                soil: calibration.soil.clone(),
                probe: calibration.probe.clone(),
                count: core.count.value,
                temperature: core.temperature,
                reference: core.theta_v,
                relative_volume_u: core.relative_volume_u,
                reading: theta_v + off + 0.3 * departure,
                reading_u: Some(0.0065),
            }
        })
        .collect();
    let differences: Vec<f64> = samples.iter().map(Sample::difference).collect();
    let n = differences.len() as f64;
    let mean = differences.iter().sum::<f64>() / n;
    let squares = differences.iter().map(|d| (d - mean).powi(2)).sum::<f64>();
    let standard_deviation = (squares / (n - 1.0)).sqrt();
    let limit = |sign: f64| {
        let value = mean + sign * 1.96 * standard_deviation;
        let half = 0.8 * standard_deviation;
        Limit {
            value,
            interval: Interval {
                low: value - half,
                high: value + half,
                confidence: 0.95,
            },
            interval_1986: None,
        }
    };
    let limits = Limits {
        pairs: samples.len(),
        clusters: 7,
        mean,
        standard_deviation,
        degrees_of_freedom: n - 1.0,
        between_clusters: None,
        within_clusters: None,
        lower: limit(-1.0),
        upper: limit(1.0),
    };
    (samples, limits)
}

/// Draws both formats; also writes them where `OVENDRY_PLOT_DIR` says, to be
/// looked at.
fn both(name: &'static str, chart: &impl Chart) -> Picture {
    let (svg, png) = (svg(chart).unwrap(), png(chart).unwrap());
    if let Some(folder) = std::env::var_os("OVENDRY_PLOT_DIR") {
        let path = std::path::PathBuf::from(folder).join(name);
        std::fs::write(path.with_extension("svg"), &svg).unwrap();
        std::fs::write(path.with_extension("png"), &png).unwrap();
    }
    Picture {
        name,
        title: chart.title().to_owned(),
        height: chart.height(),
        svg,
        png,
    }
}

struct Picture {
    name: &'static str,
    title: String,
    height: f64,
    svg: String,
    png: Vec<u8>,
}

fn every_picture() -> &'static [Picture] {
    static DRAWN: OnceLock<Vec<Picture>> = OnceLock::new();
    DRAWN.get_or_init(draw_every_picture)
}

/// Charts of soils: many in one triangle, one beside a border, one of measured
/// values alone; and what soils hold.
fn soil_pictures() -> &'static [Picture] {
    static DRAWN: OnceLock<Vec<Picture>> = OnceLock::new();
    DRAWN.get_or_init(|| {
        let (loam, _) = soil(Some((52.5, 12.0)), None);
        let (clay, clay_water) = soil(Some((31.0, 33.0)), None);
        let (silt, _) = soil(Some((3.0, 6.0)), None);
        let (sand, sand_water) = soil(Some((92.0, 3.0)), None);
        let (_, measured) = soil(None, Some((0.28, 0.11)));
        let named = |name: &str, point: &TexturePoint| TexturePoint {
            name: name.to_owned(),
            ..point.clone()
        };
        let point = |point: &Option<TexturePoint>, name| named(name, point.as_ref().unwrap());
        let many = [
            point(&loam, "terrace"),
            point(&clay, "the-third-raised-bed-of-the-south-terrace"),
            point(&silt, "lowfield"),
            point(&sand, "dune"),
        ];
        vec![
            both("texture-many", &TextureChart::new(&many)),
            both("texture-one", &TextureChart::new(&many[..1])),
            both(
                "retention-clay",
                &RetentionChart::new("lowfield", &clay_water),
            ),
            both("retention-sand", &RetentionChart::new("dune", &sand_water)),
            both("retention-measured", &RetentionChart::new("bed", &measured)),
        ]
        .into_iter()
        .chain(draw_reserves())
        .collect()
    })
}

fn soil(
    sand_and_clay: Option<(f64, f64)>,
    measured: Option<(f64, f64)>,
) -> (Option<TexturePoint>, SoilEvidence) {
    let estimate = |theta: f64| Estimate::new(Vwc::new(theta).unwrap(), 0.02);
    let found = evidence(&SoilDescription {
        texture: sand_and_clay.map(|(sand, clay)| {
            Texture::Particles(Particles::from_sand_and_clay(sand, clay).unwrap())
        }),
        field_capacity: measured.map(|(capacity, _)| estimate(capacity)),
        wilting_point: measured.map(|(_, wilting)| estimate(wilting)),
        ..SoilDescription::default()
    })
    .unwrap();
    let point = found.particles.map(|particles| TexturePoint {
        name: "soil".to_owned(),
        particles,
        border: found.border,
    });
    (point, found)
}

#[test]
fn charts_of_soils_carry_their_classes_sources_and_recommended_values() {
    let texts: Vec<String> = soil_pictures()
        .iter()
        .map(|picture| {
            let texts: Vec<_> = words(&picture.svg).into_iter().map(|w| w.text).collect();
            texts.join(" ")
        })
        .collect();
    for (number, phrases) in [
        (
            0,
            vec![
                "100 % clay",
                "silty clay loam",
                "terrace: sandy loam (52 % sand, 36 % silt, 12 % clay)",
                "dune: sand (92 % sand, 5 % silt, 3 % clay)",
            ],
        ),
        (
            1,
            vec!["0.5 points more silt make it loam", "S sand, LS loamy sand"],
        ),
        (
            2,
            vec![
                "Saxton and Rawls 2006, equations",
                "Carsel and Parrish 1988",
                "field capacity",
                "Suction, kPa",
                "1500",
                "\u{b1}",
            ],
        ),
        (
            4,
            vec![
                "from what was measured",
                "field capacity 0.280 \u{b1} 0.020",
            ],
        ),
    ] {
        for phrase in phrases {
            assert!(
                texts[number].contains(phrase),
                "{phrase:?} not in {}",
                texts[number]
            );
        }
    }
    for picture in soil_pictures() {
        roxmltree::Document::parse(&picture.svg).unwrap();
    }
}

fn draw_every_picture() -> Vec<Picture> {
    let (falling, rising) = (example::falling(), example::rising());
    let mut long = example::falling();
    long.0.probe = "the-probe-that-stands-beside-the-third-raised-bed-of-the-south-terrace".into();
    long.0.soil = "sandy loam <over> \"gravel\" & sand".into();
    for core in &mut long.1 {
        core.sample = format!("south-terrace-{}", core.sample);
    }
    vec![
        both("falling", &calibration_chart(&falling, &[])),
        both("falling-levels", &calibration_chart(&falling, &levels())),
        both("rising", &calibration_chart(&rising, &[])),
        both("falling-residuals", &residual_chart(&falling)),
        both("rising-residuals", &residual_chart(&rising)),
        both("long-names", &calibration_chart(&long, &levels())),
        both("long-names-residuals", &residual_chart(&long)),
    ]
    .into_iter()
    .chain(draw_agreement(&falling, &long))
    .collect()
}

/// What soils hold: a loam, a sand whose marks crowd, and one whose stop lies beyond.
fn draw_reserves() -> Vec<Picture> {
    let reserve = ReserveChart::new;
    vec![
        both(
            "reserve",
            &reserve(
                "orchard",
                0.12,
                0.31,
                Some(0.45),
                (0.25, 0.07),
                (0.31, 0.08),
            ),
        ),
        both(
            "reserve-sand",
            &reserve("dune", 0.03, 0.07, Some(0.43), (0.06, 0.01), (0.07, 0.01)),
        ),
        both(
            "reserve-full",
            &reserve("moor", 0.38, 0.52, None, (0.5, 0.05), (0.53, 0.3)),
        ),
    ]
}

/// Cores against uncertainty: made up, at the ordinary and with what is hard: a long
/// name, and a plan far too unsure for the chart.
fn cores_pictures() -> &'static [Picture] {
    static DRAWN: OnceLock<Vec<Picture>> = OnceLock::new();
    DRAWN.get_or_init(draw_cores)
}

fn draw_cores() -> Vec<Picture> {
    let middle = |median: f64| Middle {
        median,
        standard_error: 0.001,
        low: 0.8 * median,
        high: 1.3 * median,
        values: 200,
    };
    let share = |share: f64| Share {
        share,
        standard_error: 0.01,
    };
    let floor = 0.02;
    let curve = |few: usize, planned: (usize, usize), place| CurveOfCores {
        place,
        theta_v: 0.184,
        floor,
        points: [few, few + 2, few + 4]
            .into_iter()
            .flat_map(|levels| (1..=5).map(move |cores| (levels, cores)))
            .map(|(levels, cores_per_level)| {
                let cores = levels * cores_per_level;
                let spare = (cores as f64 - 2.5).max(0.4);
                CoresPoint {
                    levels,
                    cores_per_level,
                    cores,
                    planned: (levels, cores_per_level) == planned,
                    refused: share(0.0),
                    expanded: Some(middle(floor * (1.0 + 3.0 / spare))),
                    held: Some(share(0.95)),
                }
            })
            .collect(),
        steps: Vec::new(),
        enough: Some(3),
    };
    let long = "the-third-raised-bed-of-the-south-terrace";
    vec![
        both(
            "cores-and-uncertainty",
            &CoresAndUncertaintyChart::new("terrace", &curve(5, (7, 3), PlaceName::Refill)),
        ),
        both(
            "cores-and-uncertainty-hard",
            &CoresAndUncertaintyChart::new(long, &curve(3, (3, 2), PlaceName::Middle)),
        ),
    ]
}

/// Readings held against cores: one probe's, and one of a long name.
fn draw_agreement(falling: &Example, long: &Example) -> Vec<Picture> {
    let (few, limits) = samples(falling, 1);
    let (named, of_named) = samples(long, 1);
    let name = format!("Probe {} in {}", long.0.probe, long.0.soil);
    let falling = Against {
        of: "Probe terrace-1 in terrace",
        samples: &few,
        limits: Some(&limits),
        mean: about(&limits),
        target: 0.03,
    };
    let long = Against {
        of: &name,
        samples: &named,
        limits: Some(&of_named),
        mean: about(&of_named),
        target: 0.02,
    };
    vec![
        both("agreement", &AgreementChart::new(falling)),
        both("agreement-long-names", &AgreementChart::new(long)),
        both("one-to-one", &OneToOneChart::new(falling)),
        both("one-to-one-long-names", &OneToOneChart::new(long)),
    ]
}

/// An interval about the mean difference.
fn about(limits: &Limits) -> Option<Interval> {
    Some(Interval {
        low: limits.mean - 0.001,
        high: limits.mean + 0.001,
        confidence: 0.95,
    })
}

/// Readings held against cores where limits are missing or cores are many.
fn crowds() -> &'static [Picture] {
    static DRAWN: OnceLock<Vec<Picture>> = OnceLock::new();
    DRAWN.get_or_init(|| {
        let (others, _) = samples(&example::rising(), 1);
        let (many, limits) = samples(&example::falling(), 21);
        let rising = Against {
            of: "Probe lowfield-1 in lowfield",
            samples: &others,
            limits: None,
            mean: None,
            target: 0.01,
        };
        let all = Against {
            of: "All probes",
            samples: &many,
            limits: Some(&limits),
            mean: about(&limits),
            target: 0.01,
        };
        vec![
            both("agreement-without-limits", &AgreementChart::new(rising)),
            both("one-to-one-rising", &OneToOneChart::new(rising)),
            both("agreement-many", &AgreementChart::new(all)),
            both("one-to-one-many", &OneToOneChart::new(all)),
        ]
    })
}

/// Pictures without cores: of simulated seasons.
fn seasons() -> &'static [Picture] {
    static DRAWN: OnceLock<Vec<Picture>> = OnceLock::new();
    DRAWN.get_or_init(|| {
        let chattering = Course {
            theta_v: (0..=56).map(|i| (f64::from(i) / 4.0, 0.142)).collect(),
            runs: (0..280)
                .map(|i| f64::from(i) / 20.0)
                .map(|day| (day, day + 0.01))
                .collect(),
        };
        let banded = Course {
            theta_v: (0..=56)
                .map(|i| (f64::from(i) / 4.0, 0.166 - 0.0005 * f64::from(i % 50)))
                .collect(),
            runs: vec![(0.0, 0.04), (12.5, 12.54)],
        };
        let long = "the-probe-that-stands-beside-the-third-raised-bed-of-the-south-terrace";
        let days = ShownDays {
            first: 17,
            last: 30,
            of: "the weather, when the crop takes most beyond rain",
        };
        let chart = |probe: &str, single: &Course, band: &Course| {
            SeasonChart::new(
                probe,
                "terrace",
                days,
                single.clone(),
                band.clone(),
                &levels(),
            )
        };
        vec![
            both("season", &chart("terrace-1", &chattering, &banded)),
            both(
                "season-never-on",
                &chart(long, &Course::default(), &Course::default()),
            ),
        ]
    })
}

/// Control charts: an alarm on the last day, none with hardly any checks, none at all.
fn controls() -> &'static [Picture] {
    static DRAWN: OnceLock<Vec<Picture>> = OnceLock::new();
    DRAWN.get_or_init(|| {
        let departures = [0.004, -0.006, 0.011, 0.019, 0.022, 0.031];
        let alarmed = ControlRecord {
            probe: "terrace-1".into(),
            soil: "terrace".into(),
            says: "No longer holds: alarm at check 6 of 2027-03-02, wetter than the probe says"
                .into(),
            points: (1_u32..)
                .zip(departures)
                .map(|(i, departure)| ControlPoint {
                    day: 60.0 * f64::from(i),
                    probe_less_oven: departure,
                    bar: 0.013,
                })
                .collect(),
            alarm: Some(5),
            offsets: (0..=6)
                .map(|i| ControlOffset {
                    day: 60.0 * f64::from(i),
                    value: 0.004 * f64::from(i),
                    ends: (0.004 * f64::from(i) - 0.006, 0.004 * f64::from(i) + 0.006),
                })
                .collect(),
            allow: 0.02,
            dates: [
                (0.0, "2026-03"),
                (122.0, "2026-07"),
                (245.0, "2026-11"),
                (365.0, "2027-03"),
            ]
            .map(|(day, date)| (day, date.to_owned()))
            .to_vec(),
        };
        let long = "the-probe-that-stands-beside-the-third-raised-bed-of-the-south-terrace";
        let few = ControlRecord {
            probe: long.into(),
            points: alarmed.points[..1].to_vec(),
            offsets: alarmed.offsets[..2].to_vec(),
            alarm: None,
            says: "Too few checks to say".into(),
            ..alarmed.clone()
        };
        let none = ControlRecord {
            points: Vec::new(),
            offsets: Vec::new(),
            dates: Vec::new(),
            ..few.clone()
        };
        vec![
            both("control", &ControlChart::new(alarmed)),
            both("control-few", &ControlChart::new(few)),
            both("control-none", &ControlChart::new(none)),
        ]
    })
}

#[test]
fn a_control_chart_shows_every_check_what_is_allowed_and_the_alarm() {
    let picture = &controls()[0];
    let texts: Vec<_> = words(&picture.svg).into_iter().map(|w| w.text).collect();
    let count = |phrase: &str| texts.iter().filter(|text| *text == phrase).count();
    assert_eq!(count("allowed"), 2);
    // In the legend and beside its check.
    assert_eq!(count("alarm"), 2);
    for phrase in ["2026-03", "2027-03", "check, 95 % bar", "Date of the check"] {
        assert_eq!(count(phrase), 1, "{phrase} in {texts:?}");
    }
    let document = roxmltree::Document::parse(&picture.svg).unwrap();
    let circles = document
        .descendants()
        .filter(|node| node.has_tag_name("circle"))
        .count();
    // Six checks and the ring, and in the legend a check, a ring and a dot.
    assert_eq!(circles, 10);
    assert!(picture.svg.contains("Check 6 raised the alarm"));
    let quiet = &controls()[1];
    assert!(quiet.svg.contains("No alarm was raised") && !quiet.svg.contains(">alarm<"));
}

/// Charts of many probes: few, as many as a garden has, a factory's; in one batch, in
/// several, with long names, and all alike.
fn batch_pictures() -> &'static [Picture] {
    static DRAWN: OnceLock<Vec<Picture>> = OnceLock::new();
    DRAWN.get_or_init(|| {
        let shown = |soil: &str| Shown {
            soil: soil.to_owned(),
            curve: "hyperbolic curve".to_owned(),
            theta_v: 0.214,
        };
        let garden = probes(40, 2, "P");
        let mut alike = probes(5, 1, "p");
        for (point, line) in &mut alike {
            (point.value, point.low, point.high) = (0.0, 0.0, 0.0);
            line.deviations.fill(0.0);
        }
        let sets = [
            ("batch-4", "terrace", probes(4, 1, "p")),
            ("batch-40", "orchard", garden),
            ("batch-40-one", "orchard", probes(40, 1, "P")),
            ("batch-150", "lowfield", probes(150, 3, "")),
            ("batch-10000", "lowfield", probes(10_000, 2, "probe-")),
            ("batch-many-batches", "lowfield", probes(60, 20, "P")),
            (
                "batch-long-names",
                "sandy loam <over> \"gravel\" & sand of the third raised bed",
                probes(9, 2, "the-probe-beside-the-third-raised-bed-"),
            ),
            ("batch-alike", "dune", alike),
        ];
        sets.into_iter()
            .flat_map(|(name, soil, probes)| {
                let (points, lines): (Vec<_>, Vec<_>) = probes.into_iter().unzip();
                let theta: Vec<f64> = (0..=20).map(|i| 0.05 + 0.015 * f64::from(i)).collect();
                let band: Vec<_> = theta
                    .iter()
                    .map(|t| (-0.02 - 0.1 * (t - 0.2).abs(), 0.02 + 0.1 * (t - 0.2).abs()))
                    .collect();
                let shown = shown(soil);
                let points = DeviationChart::new(&shown, &points, Some((-0.027, 0.027)));
                let lines = DeviationLinesChart::new(&shown, &theta, &lines, &band);
                let second: &'static str = format!("{name}-lines").leak();
                [both(name, &points), both(second, &lines)]
            })
            .collect()
    })
}

/// Probes whose deviations spread evenly; of five and more, one stands out.
fn probes(many: usize, batches: usize, prefix: &str) -> Vec<(ProbePoint, ProbeLine)> {
    (0..many)
        .map(|i| {
            let share = ((i * 37) % many) as f64 / many as f64;
            let batch = i * batches / many;
            let stands_out = many > 4 && i == many / 3;
            let value = 0.04 * (share - 0.5)
                + 0.006 * (batch % 3) as f64
                + if stands_out { 0.06 } else { 0.0 };
            let gain = 0.1 * (((i * 53) % many) as f64 / many as f64 - 0.5);
            let name = format!("{prefix}{:02}", i + 1);
            let point = ProbePoint {
                name: name.clone(),
                batch: (batches > 1).then(|| format!("batch {}", batch + 1)),
                value,
                low: value - 0.006,
                high: value + 0.006,
                stands_out,
            };
            let deviations = (0..=20)
                .map(|k| value + gain * (0.015 * f64::from(k) - 0.15))
                .collect();
            let line = ProbeLine {
                name,
                deviations,
                stands_out,
            };
            (point, line)
        })
        .collect()
}

struct Word {
    text: String,
    space: Space,
    em: f64,
}

/// Every text of an SVG with the space it takes, in logical pixels.
fn words(svg: &str) -> Vec<Word> {
    let scale = f64::from(SVG_SCALE);
    roxmltree::Document::parse(svg)
        .unwrap()
        .descendants()
        .filter(|node| node.has_tag_name("text"))
        .map(|node| {
            let number = |name| node.attribute(name).unwrap().parse::<f64>().unwrap() / scale;
            let text = node.text().unwrap().trim().to_owned();
            let em = number("font-size");
            let weight = match node.attribute("font-weight") {
                Some("bold") => Weight::Medium,
                _ => Weight::Regular,
            };
            let wide = width(&text, em, weight);
            let left = number("x")
                - match node.attribute("text-anchor") {
                    Some("end") => wide,
                    Some("middle") => wide / 2.0,
                    _ => 0.0,
                };
            let baseline = number("y") + 0.76 * em;
            let space = Space {
                left,
                top: baseline - 0.72 * em,
                right: left + wide,
                bottom: baseline + 0.2 * em,
            };
            Word { text, space, em }
        })
        .collect()
}

#[test]
fn an_svg_file_carries_its_letters_once_and_fetches_nothing() {
    let text = svg(&residual_chart(&example::falling())).unwrap();
    assert_eq!(text.matches(super::WEB_FONT.trim_end()).count(), 1);
    assert_eq!(text.matches("<style>").count(), 1);
    let without = text
        .replace("url(data:", "")
        .replace("xmlns=\"http://www.w3.org/2000/svg\"", "");
    for way_out in ["http:", "https:", "@import", "url(", "href"] {
        assert!(!without.contains(way_out), "{way_out}");
    }
}

#[test]
fn the_core_farthest_out_in_standard_deviations_is_named_beside_its_residual() {
    let (calibration, cores) = example::falling();
    // Core 12 lies nearest to the curve, and yet farthest by its own deviation.
    let mut deviations = vec![0.5; cores.len()];
    deviations[12] = -3.9;
    let chart = ResidualChart::new(&calibration, &cores, &deviations).unwrap();
    let named = |chart: &ResidualChart| {
        let texts = words(&svg(chart).unwrap());
        texts.into_iter().any(|word| word.text == cores[12].sample)
    };
    assert!(named(&chart));
    assert!(
        chart
            .description()
            .contains(&format!("Farthest out: {} ", cores[12].sample))
    );
    assert!(!named(&residual_chart(&(calibration, cores.clone()))));
}

#[test]
fn every_svg_is_well_formed_and_tells_a_screen_reader_what_it_shows() {
    for picture in every_picture() {
        let document = roxmltree::Document::parse(&picture.svg).unwrap();
        let root = document.root_element();
        assert_eq!(root.tag_name().name(), "svg");
        assert_eq!(root.attribute("role"), Some("img"));
        let child = |name| {
            root.children()
                .find(|node| node.has_tag_name(name))
                .and_then(|node| node.text())
        };
        let namespaced = |name| child(("http://www.w3.org/2000/svg", name));
        assert_eq!(namespaced("title"), Some(picture.title.as_str()));
        let description = namespaced("desc").unwrap();
        assert!(description.contains("21 cores"), "{description}");
    }
}

#[test]
fn charts_carry_their_units_names_and_meaning_in_words() {
    let pictures = every_picture();
    let text_of = |name| {
        let picture = pictures.iter().find(|p| p.name == name).unwrap();
        let texts: Vec<_> = words(&picture.svg).into_iter().map(|w| w.text).collect();
        texts.join("\n")
    };
    let expected = [
        (
            "falling-levels",
            vec![
                "Probe terrace-1 in terrace",
                "Hyperbolic curve through 21 cores",
                "Volumetric water content, m\u{b3}/m\u{b3}",
                "Raw count, brought to 20 \u{b0}C",
                "core, 95 % bars",
                "calibrated counts",
                "curve, 95 % band of one new reading",
                "field capacity 0.171",
                "refill\n",
                "0.05\n0.10\n0.15",
            ],
        ),
        ("rising", vec!["Straight line through", "Raw count\n"]),
        (
            "rising-residuals",
            vec![
                "Core minus curve, m\u{b3}/m\u{b3}",
                "core-2a",
                "\u{2212}0.005",
            ],
        ),
    ];
    for (name, phrases) in expected {
        let text = text_of(name);
        for phrase in phrases {
            assert!(text.contains(phrase), "{name}: {phrase:?} not in\n{text}");
        }
    }
}

#[test]
fn letters_are_at_least_11_pixels_high_on_a_phone_360_wide() {
    for picture in every_picture()
        .iter()
        .chain(soil_pictures())
        .chain(seasons())
        .chain(crowds())
        .chain(controls())
        .chain(batch_pictures())
        .chain(cores_pictures())
    {
        for word in words(&picture.svg) {
            let em = word.em * 360.0 / WIDTH;
            assert!(em >= 11.0, "{}: {:?} is {em} px", picture.name, word.text);
        }
    }
}

#[test]
fn no_text_leaves_the_picture_or_lies_on_another() {
    for picture in every_picture()
        .iter()
        .chain(soil_pictures())
        .chain(seasons())
        .chain(crowds())
        .chain(controls())
        .chain(batch_pictures())
        .chain(cores_pictures())
    {
        let paper = Space {
            left: 0.0,
            top: 0.0,
            right: WIDTH,
            bottom: picture.height,
        };
        let words = words(&picture.svg);
        for (i, one) in words.iter().enumerate() {
            assert!(
                paper.holds(&one.space),
                "{}: {:?} at {:?}",
                picture.name,
                one.text,
                one.space
            );
            for other in &words[i + 1..] {
                assert!(
                    !one.space.touches(&other.space),
                    "{}: {:?} on {:?}",
                    picture.name,
                    one.text,
                    other.text
                );
            }
        }
    }
}

#[test]
fn a_season_says_how_often_each_rule_starts_the_pump() {
    let picture = &seasons()[0];
    let texts: Vec<_> = words(&picture.svg).into_iter().map(|w| w.text).collect();
    for phrase in [
        "Day 17 to 30 of the weather, when the crop takes most",
        "beyond rain. Pump starts: one threshold 280, refill and stop 2",
        "Water content of the root zone, m\u{b3}/m\u{b3}",
        "Days gone",
        "30",
        "pump on",
        "one threshold",
        "refill",
        "wilting point",
    ] {
        assert!(
            texts.iter().any(|text| text == phrase),
            "{phrase} in {texts:?}"
        );
    }
    // A mark for each run, none outside the plot's width.
    let marks = |colour: &str| picture.svg.matches(colour).count();
    assert!(marks("#DB9426") > 280, "{}", marks("#DB9426"));
    assert!(picture.svg.contains("<desc>") && seasons()[1].svg.contains("</svg>"));
}

#[test]
fn every_core_lies_inside_the_plot() {
    let chart = calibration_chart(&example::falling(), &levels());
    let scale = f64::from(SVG_SCALE);
    let text = svg(&chart).unwrap();
    let document = roxmltree::Document::parse(&text).unwrap();
    let plot = chart.plot();
    let inside = document
        .descendants()
        .filter(|node| node.has_tag_name("circle"))
        .filter(|node| {
            let number = |name| node.attribute(name).unwrap().parse::<f64>().unwrap() / scale;
            let (x, y, r) = (number("cx"), number("cy"), number("r"));
            plot.holds(&Space {
                left: x - r,
                top: y - r,
                right: x + r,
                bottom: y + r,
            })
        })
        .count();
    assert_eq!(inside, 21);
}

#[test]
fn every_png_has_its_size_and_every_colour_of_its_chart() {
    for picture in every_picture() {
        let mut reader = png::Decoder::new(picture.png.as_slice())
            .read_info()
            .unwrap();
        let mut pixels = vec![0; reader.output_buffer_size()];
        let info = reader.next_frame(&mut pixels).unwrap();
        assert_eq!(info.width, 1080);
        assert_eq!(f64::from(info.height), picture.height * 1.5);
        let count = |RGBColor(r, g, b): RGBColor| {
            pixels.chunks_exact(3).filter(|p| **p == [r, g, b]).count()
        };
        for (colour, least) in [
            (palette::PAPER, 100_000),
            (palette::DOMAIN, 50_000),
            (palette::CURVE, 1000),
            (palette::CORE, 500),
            (palette::INK, 1000),
        ] {
            assert!(count(colour) > least, "{}: {colour:?}", picture.name);
        }
    }
}

#[test]
fn the_same_calibration_always_gives_the_same_picture() {
    let chart = || calibration_chart(&example::rising(), &[]);
    assert_eq!(svg(&chart()).unwrap(), svg(&chart()).unwrap());
    assert_eq!(png(&chart()).unwrap(), png(&chart()).unwrap());
}

#[test]
fn a_core_without_the_temperature_it_needs_is_refused() {
    let (calibration, mut cores) = example::falling();
    cores[3].temperature = None;
    assert!(matches!(
        CalibrationChart::new(&calibration, &cores, &[]),
        Err(ConvertError::TemperatureMissing)
    ));
    assert!(matches!(
        ResidualChart::new(&calibration, &cores, &[]),
        Err(ConvertError::TemperatureMissing)
    ));
}
