//! The budgets behind refill and stop, and the risk they run, against a Monte Carlo
//! run of the same inputs written apart from the program's own (JCGM 101:2008, "Propagation of distributions using a Monte Carlo
//! method"; title from memory). Soil and calibration are invented.

use calib_core::calibration::{Calibration, Direction, Domain, ReadingNoise};
use calib_core::curve::{Curve, CurveKind};
use calib_core::irrigation::{ALLOWED_DEPLETION_U, Demand, risk, set_points};
use calib_core::quantity::{Celsius, Estimate, Fraction, Millimetre, Quantity, Vwc};
use calib_core::soil::SoilWater;
use calib_core::temperature::TemperatureTerm;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution, StandardNormal};

const DRAWS: usize = 200_000;
/// Three standard deviations of a standard deviation from that many draws
/// (0.5 %), and as much again for the curve's bend within the noise.
const TOLERANCE: f64 = 0.01;

fn soil() -> SoilWater {
    SoilWater {
        field_capacity: Estimate::new(Vwc::new(0.31).unwrap(), 0.012),
        wilting_point: Estimate::new(Vwc::new(0.13).unwrap(), 0.010),
        correlation: 0.7,
    }
}

fn calibration() -> Calibration {
    let kind = CurveKind::Hyperbolic;
    Calibration {
        probe: "p".into(),
        soil: "s".into(),
        adc_bits: 10,
        curve: Curve {
            kind,
            axis: kind.model().axis(380.0, 720.0),
            parameters: vec![0.19, 0.42],
        },
        temperature: Some(TemperatureTerm {
            reference: Celsius::new(20.0).unwrap(),
            coefficient: 2.0,
        }),
        domain: Domain {
            low: 380.0,
            high: 720.0,
        },
        temperature_range: Some((10.0, 30.0)),
        // Parameters with correlation -0.5; the temperature coefficient does not
        // act at the reference temperature.
        covariance: vec![
            vec![9e-6, -1.2e-5, 0.0],
            vec![-1.2e-5, 6.4e-5, 0.0],
            vec![0.0, 0.0, 0.01],
        ],
        covariance_parts: Vec::new(),
        core_scatter: 0.005,
        scatter_draws: Vec::new(),
        rivals: Vec::new(),
        degrees_of_freedom: 14.0,
        relative_volume_u: 0.02,
        noise: ReadingNoise {
            standard_deviation: 3.0,
            degrees_of_freedom: 200.0,
        },
        temperature_u: 0.5,
        supply_relative_u: 0.0,
        probe_to_probe: 0.0,
        direction: Direction::FallsWhenWetter,
        cores: 16,
    }
}

fn normal(random: &mut ChaCha8Rng) -> f64 {
    random.sample(StandardNormal)
}

/// Field capacity and wilting point of one draw.
fn soil_drawn(random: &mut ChaCha8Rng) -> (f64, f64) {
    let water = soil();
    let (z1, z2) = (normal(random), normal(random));
    let r = water.correlation;
    let capacity = water.field_capacity.value.value() + water.field_capacity.u * z1;
    let wilting = water.wilting_point.value.value()
        + water.wilting_point.u * (r * z1 + (1.0 - r * r).sqrt() * z2);
    (capacity, wilting)
}

/// What the soil holds in one draw when `count` is read; curve and scatter `spread`
/// times as uncertain as stated.
fn held_drawn(calibration: &Calibration, count: f64, spread: f64, random: &mut ChaCha8Rng) -> f64 {
    // Cholesky factor of the 2 x 2 covariance of the curve.
    let c = &calibration.covariance;
    let l11 = c[0][0].sqrt();
    let l21 = c[0][1] / l11;
    let l22 = (c[1][1] - l21 * l21).sqrt();
    let (p1, p2) = (spread * normal(random), spread * normal(random));
    let mut curve = calibration.curve.clone();
    curve.parameters[0] += l11 * p1;
    curve.parameters[1] += l21 * p1 + l22 * p2;

    let sensor =
        calibration.temperature.unwrap().coefficient * calibration.temperature_u * normal(random);
    let reading = count
        + calibration.noise.standard_deviation * normal(random)
        + (random.random::<f64>() - 0.5)
        + sensor;
    curve.value(reading) * (1.0 + calibration.relative_volume_u * normal(random))
        + spread * calibration.core_scatter * normal(random)
}

/// Standard deviation of (what the soil holds when the count is read) less (what
/// it should hold at `depletion`), over all inputs at once.
fn drawn(calibration: &Calibration, count: f64, depletion: f64, random: &mut ChaCha8Rng) -> f64 {
    let (mut sum, mut squares) = (0.0, 0.0);
    for _ in 0..DRAWS {
        let (capacity, wilting) = soil_drawn(random);
        let held = held_drawn(calibration, count, 1.0, random);
        let difference = held - (capacity - depletion * (capacity - wilting));
        sum += difference;
        squares += difference * difference;
    }
    let n = DRAWS as f64;
    ((squares - sum * sum / n) / (n - 1.0)).sqrt()
}

#[test]
fn the_budgets_of_refill_and_stop_hold_up_against_a_monte_carlo_run() {
    let calibration = calibration();
    let demand = Demand {
        allowed_depletion: Fraction::new(0.45).unwrap(),
        root_depth: Millimetre::new(300.0).unwrap(),
    };
    let water = soil();
    let found = set_points(&water, &demand, &calibration).unwrap();
    let set = &found.set_points;
    let depletion_at_stop =
        (water.field_capacity.value.value() - set.stop.value()) / water.available().value;
    let mut random = ChaCha8Rng::seed_from_u64(8);
    for (what, budget, count, depletion) in [
        (
            "refill",
            &found.refill_budget,
            set.refill_count,
            found.depletion_at_refill,
        ),
        (
            "stop",
            &found.stop_budget,
            set.stop_count,
            depletion_at_stop,
        ),
    ] {
        let expected = drawn(&calibration, count, depletion, &mut random);
        let got = budget.standard();
        assert!(
            (got / expected - 1.0).abs() < TOLERANCE,
            "{what}\nexpected {expected:.5} (drawn)\n     got {got:.5}"
        );
    }
}

/// Share of draws in which the soil holds less than it should when `theta` is read,
/// the allowed depletion drawn about `allowed`.
fn drier_than_allowed(
    calibration: &Calibration,
    theta: impl Fn(&mut ChaCha8Rng) -> f64,
    allowed: f64,
    random: &mut ChaCha8Rng,
) -> f64 {
    // Curve and scatter on the fit's degrees of freedom: Student's t.
    let freedom = calibration.degrees_of_freedom;
    let square = ChiSquared::new(freedom).unwrap();
    let mut below = 0_u32;
    for _ in 0..DRAWS {
        let spread = (freedom / square.sample(random)).sqrt();
        let (capacity, wilting) = soil_drawn(random);
        let depletion = allowed + ALLOWED_DEPLETION_U * normal(random);
        let count = calibration
            .count_at(Vwc::new(theta(random)).unwrap())
            .unwrap();
        let held = held_drawn(calibration, count, spread, random);
        below += u32::from(held < capacity - depletion * (capacity - wilting));
    }
    f64::from(below) / DRAWS as f64
}

#[test]
fn the_risk_at_refill_and_in_the_band_is_that_of_a_simulation_written_apart() {
    let calibration = calibration();
    let water = soil();
    let demand = Demand {
        allowed_depletion: Fraction::new(0.45).unwrap(),
        root_depth: Millimetre::new(300.0).unwrap(),
    };
    let set = set_points(&water, &demand, &calibration)
        .unwrap()
        .set_points;
    let (refill, stop) = (set.refill.value(), set.stop.value());
    let mut random = ChaCha8Rng::seed_from_u64(9);
    // As set, and with refill a fifth of the band higher.
    for raised in [0.0, 0.2] {
        let refill = refill + raised * (stop - refill);
        let found = risk(
            &calibration,
            &water,
            demand.allowed_depletion,
            ALLOWED_DEPLETION_U,
            (Vwc::new(refill).unwrap(), set.stop),
            5,
        )
        .unwrap();
        let at_refill = drier_than_allowed(&calibration, |_| refill, 0.45, &mut random);
        let in_band = drier_than_allowed(
            &calibration,
            |random| refill + (stop - refill) * random.random::<f64>(),
            0.45,
            &mut random,
        );
        for (what, expected, got) in [
            ("at refill", at_refill, found.now.at_refill),
            ("in the band", in_band, found.now.in_band),
        ] {
            // Three standard errors of the difference of two such shares.
            assert!(
                (got - expected).abs() < 0.005,
                "{what}, raised {raised}\nexpected {expected:.4} (drawn)\n     got {got:.4}"
            );
        }
    }
}
