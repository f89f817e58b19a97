use super::*;
use crate::gravimetry::{CoreMasses, CoreVolume, Method, reduce};
use crate::quantity::{Estimate, Fraction, Gram, Millilitre};
use proptest::prelude::*;

fn vwc(value: f64) -> Vwc {
    Vwc::new(value).unwrap()
}

fn request() -> Request {
    Request {
        soil: SoilToPack {
            bulk_density: Density::new(1.4).unwrap(),
            particle_density: Density::new(2.65).unwrap(),
            field_capacity: Some(vwc(0.28)),
            wilting_point: Some(vwc(0.14)),
            grain: Some(Grain::Medium),
            stock_water: Gravimetric::new(0.03).unwrap(),
        },
        container: Container::of_volume(
            Millilitre::new(5000.0).unwrap(),
            Fraction::new(0.1).unwrap(),
        ),
        core: CoreSize {
            volume: CubicCentimetre::new(100.0).unwrap(),
            diameter: None,
            height: None,
        },
        water_temperature: Celsius::new(20.0).unwrap(),
        levels: LevelsAsked::Even(6),
        cores_per_level: 3,
        oven_places: 12,
        days_off: DaysOff::default(),
    }
}

fn targets(given: &[f64]) -> LevelsAsked {
    LevelsAsked::Targets(given.iter().copied().map(vwc).collect())
}

fn with(change: impl FnOnce(&mut Request)) -> Request {
    let mut request = request();
    change(&mut request);
    request
}

fn refused(change: impl FnOnce(&mut Request)) -> String {
    plan(&with(change)).unwrap_err().to_string()
}

fn noticed(change: impl FnOnce(&mut Request)) -> Vec<String> {
    plan(&with(change))
        .unwrap()
        .notices
        .iter()
        .map(PlanNotice::to_string)
        .collect()
}

/// The container followed by hand: soil and water put in, cores taken out.
#[derive(Default)]
struct Bucket {
    dry_g: f64,
    water_g: f64,
}

impl Bucket {
    fn put(&mut self, stock_g: f64, stock_water: f64, water_g: f64) {
        let dry = stock_g / (1.0 + stock_water);
        self.dry_g += dry;
        self.water_g += stock_g - dry + water_g;
    }

    fn take(&mut self, share: f64) {
        self.dry_g *= 1.0 - share;
        self.water_g *= 1.0 - share;
    }
}

/// Follows a plan step by step and compares what is in the bucket with what was planned.
fn follow(request: &Request) {
    let made = plan(request).unwrap();
    let stock_water = request.soil.stock_water.value();
    let volume = made.packing.packed_ml;
    let taken = request.core.volume.value() * request.cores_per_level as f64 / volume;
    let mut bucket = Bucket::default();
    for step in &made.steps {
        bucket.put(step.stock_to_add_g, stock_water, step.water_to_add_g);
        let theta = bucket.water_g / made.packing.water_density_g_cm3 / volume;
        assert!((theta - step.theta_v).abs() < 6e-4, "{theta} {step:?}");
        assert!((bucket.dry_g / volume - made.packing.bulk_density_g_cm3).abs() < 1e-9);
        let weighs = bucket.dry_g + bucket.water_g;
        assert!((weighs - step.contents_g).abs() < 6e-4 * volume, "{step:?}");
        assert!(step.water_to_add_g >= 0.0);
        let parts = step.mix_in_ml + step.pour_on_ml;
        assert!((parts - step.water_to_add_ml).abs() < 1e-9 && step.mix_in_ml >= 0.0);
        bucket.take(taken);
    }
}

#[test]
fn a_bucket_filled_by_the_plan_holds_at_each_level_what_was_planned() {
    follow(&request());
    follow(&with(|r| r.levels = targets(&[0.06, 0.12, 0.2, 0.3, 0.45])));
}

#[test]
fn a_core_of_the_plan_comes_out_of_the_oven_as_the_level_it_was_taken_at() {
    // What the plan packs is what the reduction of cores unpacks: same water density,
    // same volume.
    let made = plan(&request()).unwrap();
    for step in &made.steps {
        let tare = 40.0;
        let dry = tare + made.core.dry_soil_g;
        let water = step.theta_v * made.packing.water_density_g_cm3 * made.core.volume_cm3;
        let masses = CoreMasses {
            tare: Gram::new(tare).unwrap(),
            wet: Gram::new(dry + water).unwrap(),
            dry: Gram::new(dry).unwrap(),
            dry_again: None,
        };
        let volume = CoreVolume::Stated(Estimate::new(CubicCentimetre::new(100.0).unwrap(), 1.0));
        let reduced = reduce(&masses, &volume, &Method::new(0.01, 0.01).unwrap()).unwrap();
        assert!((reduced.theta_v.value.value() - step.theta_v).abs() < 1e-9);
        assert!((reduced.bulk_density.value.value() - 1.4).abs() < 1e-9);
        assert!((reduced.porosity.value.value() - made.packing.porosity).abs() < 1e-9);
        assert!((reduced.saturation.value - step.saturation).abs() < 1e-9);
    }
}

#[test]
fn levels_go_evenly_from_the_stock_to_nine_tenths_of_the_pores() {
    let made = plan(&request()).unwrap();
    let targets: Vec<f64> = made.targets().collect();
    // 0.03 g/g at 1.4 g/cm3 over 0.998207 g/cm3 of water; 0.9 (1 - 1.4 / 2.65).
    assert!((targets[0] - 0.042_075).abs() < 1e-6, "{targets:?}");
    assert!((targets[5] - 0.424_528).abs() < 1e-6, "{targets:?}");
    let gap = targets[1] - targets[0];
    assert!(
        targets
            .windows(2)
            .all(|pair| (pair[1] - pair[0] - gap).abs() < 1e-12)
    );
    assert_eq!(made.steps[0].method, WettingMethod::AsItIs);
    assert!(made.notices.is_empty(), "{:?}", made.notices);
}

#[test]
fn wet_soil_is_poured_on_and_never_sieved() {
    let made = plan(&request()).unwrap();
    let methods: Vec<WettingMethod> = made.steps.iter().map(|step| step.method).collect();
    use WettingMethod::{AsItIs, Mix, MixThenPour, Pour};
    // Field capacity is 0.28; levels 0.042, 0.119, 0.195, 0.272, 0.348, 0.425.
    assert_eq!(methods, [AsItIs, Mix, Mix, Mix, MixThenPour, Pour]);
    let step = made.steps[4];
    // Mixed up to field capacity: 0.28 of 4500 ml less what is there, 4200 ml at 0.2716
    // and 12.6 g in 420 g of dry stock.
    let there = 4200.0 * made.steps[3].theta_v + 12.6 / 0.998_207;
    assert!((step.mix_in_ml - (1260.0 - there)).abs() < 0.01, "{step:?}");
}

#[test]
fn targets_stand_from_dry_to_wet_in_whatever_order_they_are_asked_for() {
    let made = plan(&with(|r| r.levels = targets(&[0.3, 0.1, 0.2]))).unwrap();
    assert_eq!(made.targets().collect::<Vec<_>>(), [0.1, 0.2, 0.3]);
}

#[test]
fn what_cannot_be_packed_or_wetted_is_refused_with_its_numbers() {
    for (said, expected) in [
        (
            refused(|r| r.levels = targets(&[0.03, 0.2, 0.3])),
            "theta_v 0.030 m3/m3 is drier than the stock itself, which packs to 0.042 m3/m3 with the 3.0 % of water in it",
        ),
        (
            refused(|r| r.levels = targets(&[0.1, 0.2, 0.48])),
            "theta_v 0.480 m3/m3 is more than the pores hold: 0.472 m3/m3 at this density",
        ),
        (
            refused(|r| r.levels = targets(&[0.1, 0.2, 0.205])),
            "theta_v 0.200 and 0.205 m3/m3 are closer than 0.01 m3/m3, less than a level can be hit",
        ),
        (
            refused(|r| r.levels = targets(&[0.1, 0.2])),
            "2 levels are outside 3 to 15",
        ),
        (
            refused(|r| r.levels = LevelsAsked::Even(16)),
            "16 levels are outside 3 to 15",
        ),
        (
            refused(|r| r.cores_per_level = 0),
            "0 cores a level are outside 1 to 12",
        ),
        (
            refused(|r| r.oven_places = 0),
            "0 places in the oven are outside 1 to 500",
        ),
        (
            refused(|r| r.soil.stock_water = Gravimetric::new(0.28).unwrap()),
            "the stock packs to theta_v 0.393 m3/m3 already, too near the wettest level (0.425 m3/m3) for levels between",
        ),
        (
            refused(|r| r.soil.bulk_density = Density::new(2.5).unwrap()),
            "a dry bulk density of 2.5 g/cm3 lies outside 0.2 to 2.2 g/cm3",
        ),
        (
            refused(|r| r.soil.particle_density = Density::new(1.4).unwrap()),
            "a dry bulk density of 1.4 g/cm3 leaves no pores between grains of 1.4 g/cm3",
        ),
        (
            refused(|r| r.container.headroom = Fraction::new(0.7).unwrap()),
            "a headroom of 70 % leaves too little of the container for soil; 60 % at most",
        ),
        (
            refused(|r| r.container.volume = Millilitre::new(600.0).unwrap()),
            "3 cores of 100 cm3 take 56 % of the 540 ml of soil; 50 % at most",
        ),
    ] {
        assert_eq!(said, expected);
    }
    let deep = |cm| Centimetre::new(cm).unwrap();
    assert_eq!(
        refused(|r| {
            r.container =
                Container::cylinder(deep(30.0), deep(5.0), Fraction::new(0.1).unwrap()).unwrap();
            r.core = CoreSize::ring(deep(5.0), deep(5.0)).unwrap();
        }),
        "the ring is 5.0 cm high and the soil only 4.5 cm deep"
    );
}

#[test]
fn what_a_person_should_know_is_noticed() {
    for (said, expected) in [
        (
            noticed(|r| r.levels = targets(&[0.15, 0.2, 0.25, 0.3, 0.35])),
            "the driest level, 0.150 m3/m3, is not below the wilting point, 0.140 m3/m3",
        ),
        (
            noticed(|r| r.levels = targets(&[0.05, 0.1, 0.15, 0.2, 0.25])),
            "the wettest level, 0.250 m3/m3, is not above field capacity, 0.280 m3/m3",
        ),
        (
            noticed(|r| r.levels = targets(&[0.05, 0.1, 0.2, 0.3, 0.45])),
            "theta_v 0.450 m3/m3 is 95 % of the pores",
        ),
        (
            noticed(|r| r.levels = targets(&[0.05, 0.2, 0.3, 0.4])),
            "4 levels are few for a curve that bends",
        ),
        (
            noticed(|r| r.cores_per_level = 1),
            "one core a level shows no scatter between cores of one wetness",
        ),
        (
            noticed(|r| r.container.volume = Millilitre::new(1300.0).unwrap()),
            "the cores of a level take 26 % of the soil",
        ),
        (
            noticed(|r| {
                r.container.volume = Millilitre::new(18_000.0).unwrap();
                r.container.tare = Some(Gram::new(900.0).unwrap());
            }),
            "the filled container weighs 30 kg or more at the wettest level",
        ),
        (
            noticed(|r| r.oven_places = 2),
            "cores wait up to 3 days for a place in the oven",
        ),
    ] {
        assert_eq!(said, [expected]);
    }
    let rings = |r: &mut Request| {
        let cm = |cm| Centimetre::new(cm).unwrap();
        r.container = Container::cylinder(cm(14.0), cm(40.0), Fraction::new(0.1).unwrap()).unwrap();
        r.core = CoreSize::ring(cm(5.0), cm(5.0)).unwrap();
    };
    assert_eq!(
        noticed(rings),
        ["the rings of a level cover 38 % of the surface"]
    );
}

#[test]
fn a_fine_soil_waits_longer_than_a_coarse_one_and_poured_water_longest() {
    use WettingMethod::{AsItIs, Mix, Pour};
    let hours = |grain, method| wait_h(grain, method);
    assert!(hours(Some(Grain::Coarse), Mix) < hours(Some(Grain::Medium), Mix));
    assert!(hours(Some(Grain::Medium), Mix) < hours(Some(Grain::Fine), Mix));
    assert_eq!(hours(None, Mix), hours(Some(Grain::Fine), Mix));
    for grain in [Grain::Coarse, Grain::Medium, Grain::Fine] {
        assert!(hours(Some(grain), Pour) > hours(Some(grain), Mix));
        assert!(hours(Some(grain), AsItIs) <= hours(Some(grain), Mix));
    }
}

/// Degrees from the room and distance from the middle level, level by level.
fn degrees_by_level(levels: usize) -> Vec<(f64, f64)> {
    let made = plan(&with(|r| r.levels = LevelsAsked::Even(levels))).unwrap();
    let middle = (levels as f64 + 1.0) / 2.0;
    let degrees = |step: &Step| match step.place {
        Warmth::Cool => -10.0,
        Warmth::Room => 0.0,
        Warmth::Warm => 10.0,
    };
    let steps = made.steps.iter();
    steps
        .map(|step| (degrees(step), step.level as f64 - middle))
        .collect()
}

#[test]
fn warmth_has_no_slope_against_wetness() {
    for levels in LEVELS {
        let degrees = degrees_by_level(levels);
        let slope: f64 = degrees.iter().map(|(warm, level)| warm * level).sum();
        assert!(
            slope.abs() < 1e-9 || levels == 4,
            "{levels} levels: {slope}"
        );
        let cool = degrees.iter().filter(|(warm, _)| *warm < 0.0).count();
        let warm = degrees.iter().filter(|(warm, _)| *warm > 0.0).count();
        assert!(cool > 0 && (warm > 0 || levels == 3), "{levels}");
    }
}

#[test]
fn warmth_is_not_told_from_wetness_by_a_straight_line_or_a_parabola() {
    for levels in LEVELS.skip_while(|levels| *levels < 4) {
        let degrees = degrees_by_level(levels);
        let n = levels as f64;
        let mean = |value: &dyn Fn(f64) -> f64| {
            degrees.iter().map(|(_, level)| value(*level)).sum::<f64>() / n
        };
        let square = mean(&|level| level * level);
        // Polynomials orthogonal over the levels; what they leave of the warmth is what
        // a temperature term can be told by.
        let polynomials: [&dyn Fn(f64) -> f64; 3] =
            [&|_| 1.0, &|level| level, &|level| level * level - square];
        let whole: f64 = degrees.iter().map(|(warm, _)| warm * warm).sum();
        let explained: f64 = polynomials
            .iter()
            .map(|polynomial| {
                let shared: f64 = degrees
                    .iter()
                    .map(|(warm, at)| warm * polynomial(*at))
                    .sum();
                shared * shared / (n * mean(&|at| polynomial(at).powi(2)))
            })
            .sum();
        let left = 1.0 - explained / whole;
        assert!(left > 0.3, "{levels} levels: {left}");
    }
}

#[test]
fn nothing_is_done_on_a_day_off_and_nothing_is_cut_short() {
    let weekend = [false, false, false, false, false, true, true];
    let usual = plan(&request()).unwrap().timetable;
    for first in 0..7_u8 {
        let table = plan(&with(|r| {
            r.days_off = DaysOff {
                first,
                off: weekend,
            }
        }))
        .unwrap()
        .timetable;
        for day in &table.work {
            let weekday = (u32::from(first) + day.slot.day - 1) % 7;
            assert!(
                weekday < 5 || day.slot.day == 1,
                "day {} from {first}",
                day.slot.day
            );
        }
        assert_eq!(table.loads.len(), usual.loads.len());
        assert!(table.days >= usual.days);
        for load in &table.loads {
            assert!(load.weigh_at.half_days_after(load.in_at) >= 2);
            assert!(load.weigh_again_at > load.weigh_at);
        }
        for (ready, take) in table.prepare.iter().zip(&table.take) {
            assert!(take.day > ready.day);
        }
    }
    let never = plan(&with(|r| r.days_off.off = [true; 7]))
        .unwrap()
        .timetable;
    assert_eq!(never, usual, "who never works is taken for who always does");
}

proptest! {
    #[test]
    fn water_and_soil_are_neither_lost_nor_found(
        bulk in 0.9..1.8_f64, stock in 0.0..0.06_f64, ml in 2000.0..30_000.0_f64,
        core in 50.0..110.0_f64, cores in 1_usize..=4, levels in 3_usize..=12,
        temperature in 5.0..35.0_f64, known in any::<bool>(),
    ) {
        let request = with(|r| {
            r.soil.bulk_density = Density::new(bulk).unwrap();
            r.soil.stock_water = Gravimetric::new(stock).unwrap();
            r.soil.field_capacity = known.then(|| vwc(0.25));
            r.container.volume = Millilitre::new(ml).unwrap();
            r.core.volume = CubicCentimetre::new(core).unwrap();
            r.water_temperature = Celsius::new(temperature).unwrap();
            r.cores_per_level = cores;
            r.levels = LevelsAsked::Even(levels);
        });
        follow(&request);
    }

    #[test]
    fn the_oven_dries_every_core_once_for_a_day_and_never_more_than_it_holds(
        levels in 3_usize..=15, cores in 1_usize..=12, places in 1_usize..=40,
        grain in prop_oneof![Just(Grain::Coarse), Just(Grain::Medium), Just(Grain::Fine)],
    ) {
        let made = plan(&with(|r| {
            r.container.volume = Millilitre::new(20_000.0).unwrap();
            r.levels = LevelsAsked::Even(levels);
            r.cores_per_level = cores;
            r.oven_places = places;
            r.soil.grain = Some(grain);
        })).unwrap();
        let table = &made.timetable;
        let mut seen = std::collections::HashSet::new();
        for load in &table.loads {
            prop_assert!(!load.cores.is_empty() && load.cores.len() <= places);
            prop_assert_eq!(load.weigh_at.half_days_after(load.in_at), 2);
            prop_assert_eq!(load.weigh_again_at.half_days_after(load.weigh_at), 1);
            for core in &load.cores {
                prop_assert!(seen.insert((core.level, core.core)));
                prop_assert!(load.in_at >= table.take[core.level - 1]);
            }
        }
        prop_assert_eq!(seen.len(), made.cores());
        for pair in table.loads.windows(2) {
            prop_assert!(pair[1].in_at >= pair[0].weigh_again_at);
        }
        for (step, (ready, take)) in made.steps.iter().zip(table.prepare.iter().zip(&table.take)) {
            // From three in the afternoon to nine in the morning.
            let hours = 24 * (take.day - ready.day) - 6;
            prop_assert!(hours >= step.wait_h, "{:?}", step);
            prop_assert!(hours < step.wait_h + 24);
        }
        let tasks: usize = table.work.iter().map(|day| day.tasks.len()).sum();
        prop_assert_eq!(tasks, 2 * levels + 3 * table.loads.len());
        prop_assert!(table.work.windows(2).all(|pair| pair[0].slot < pair[1].slot));
    }
}

/// A sand as its texture has it: field capacity and wilting point close together.
fn sand(r: &mut Request) {
    r.soil.bulk_density = Density::new(1.6).unwrap();
    r.soil.field_capacity = Some(vwc(0.073));
    r.soil.wilting_point = Some(vwc(0.048));
    r.soil.grain = Some(Grain::Coarse);
    r.soil.stock_water = Gravimetric::new(0.02).unwrap();
}

#[test]
fn two_levels_lie_where_a_sand_is_watered_and_poured_water_is_said_to_sink() {
    let made = plan(&with(sand)).unwrap();
    let targets: Vec<f64> = made.targets().collect();
    assert_eq!(targets.len(), 6);
    // Refill half-way, and stop: closer than these the levels cannot be told apart.
    assert!((targets[1] - 0.0605).abs() < 1e-9, "{targets:?}");
    assert!((targets[2] - 0.073).abs() < 1e-9, "{targets:?}");
    assert!((targets[5] - 0.9 * made.packing.porosity).abs() < 1e-9);
    let gap = targets[3] - targets[2];
    assert!((targets[5] - targets[4] - gap).abs() < 1e-9, "{targets:?}");
    let sinks = made.notices.contains(&PlanNotice::WaterSinks {
        first: 4,
        field_capacity: 0.073,
    });
    assert!(sinks, "{:?}", made.notices);
    follow(&with(sand));
}

#[test]
fn a_density_that_leaves_less_room_than_field_capacity_is_noticed() {
    let notices = noticed(|r| {
        r.soil.bulk_density = Density::new(1.9).unwrap();
        r.soil.field_capacity = Some(vwc(0.371));
        r.soil.wilting_point = Some(vwc(0.24));
    });
    let told =
        "field capacity, 0.371 m3/m3, is more than the pores hold at this density, 0.283 m3/m3";
    assert!(notices.iter().any(|notice| notice == told), "{notices:?}");
    let beyond = "is not above field capacity";
    assert!(
        !notices.iter().any(|notice| notice.contains(beyond)),
        "{notices:?}"
    );
}

#[test]
fn stock_wetter_than_field_capacity_is_noticed() {
    let notices = noticed(|r| r.soil.stock_water = Gravimetric::new(0.25).unwrap());
    let told = "the stock packs to 0.351 m3/m3, wetter than field capacity, 0.280 m3/m3";
    assert!(notices.iter().any(|notice| notice == told), "{notices:?}");
}
