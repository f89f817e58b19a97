//! The simulated root zone, integrated by another program too.
//!
//! Outside: scipy's solve_ivp; the script `bucket.py` says how it is used. It needs
//! `scipy` in the Python that `OVENDRY_PYTHON` names (`python3` if it does not).
//!
//! The pump is on or off throughout and the probe has no noise, so that water
//! content and reading follow two smooth differential equations. Ours takes steps of
//! a minute; after five days, and at every quarter of a day before, both must give
//! the same water content to five digits.

use crate::{Check, output_of, python};
use calib_core::irrigation::bucket::{
    DRAINAGE_TIME_S, Day, Lag, ProbeModel, Pumping, RootZone, Scenario,
};
use calib_core::irrigation::{PumpTimes, Rule, Sees, Side, SwitchPoints, TemperatureBasis};
use calib_core::quantity::{Fraction, Millimetre, Quantity, SquareMetre, Vwc};
use ovendry_tests::{Bench, repository};
use serde_json::{Value, json};
use std::fs::File;
use std::process::Command;

pub const CHECK: Check = Check {
    name: "another program integrates the root zone and the probe behind it as we do",
    needs: &["python3"],
    run,
};

/// Relative difference allowed: five digits.
const AGREED: f64 = 0.5e-5;
const DAYS: usize = 5;

struct Case {
    start: f64,
    /// mm/h pumped throughout.
    rate: f64,
    etc: f64,
    lag_s: u32,
}

/// Drying into stress; draining under a thirsty sky; filling and draining at once.
const CASES: [Case; 3] = [
    Case {
        start: 0.17,
        rate: 0.0,
        etc: 8.0,
        lag_s: 3600,
    },
    Case {
        start: 0.35,
        rate: 0.0,
        etc: 4.0,
        lag_s: 7200,
    },
    Case {
        start: 0.14,
        rate: 0.9,
        etc: 6.0,
        lag_s: 1200,
    },
];

fn vwc(value: f64) -> Vwc {
    Vwc::new(value).expect("a water content")
}

fn scenario(case: &Case) -> Scenario {
    Scenario {
        zone: RootZone {
            depth: Millimetre::new(400.0).expect("a depth"),
            saturation: vwc(0.42),
            field_capacity: vwc(0.20),
            wilting_point: vwc(0.08),
            allowed_depletion: Fraction::new(0.4).expect("a share"),
            drainage_time_s: DRAINAGE_TIME_S,
        },
        pumping: Pumping {
            gross_mm_per_s: case.rate / 3600.0,
            efficiency: Fraction::new(0.85).expect("a share"),
            area: SquareMetre::new(100.0).expect("an area"),
        },
        probe: ProbeModel {
            noise: 0.0,
            swing: 0.0,
            basis: TemperatureBasis::Corrected,
            lag: Lag::FirstOrder { time_s: case.lag_s },
            range: (0.01, 0.45),
        },
        days: vec![
            Day {
                evapotranspiration: case.etc,
                rain: 0.0
            };
            DAYS + 1
        ],
        refill: vwc(case.start),
        stop: vwc(case.start),
        step_s: 60,
    }
}

/// Water content and reading at each quarter of a day.
fn ours(case: &Case) -> Result<Vec<[f64; 2]>, String> {
    let points = SwitchPoints::Single {
        threshold: vwc(0.45),
    };
    let side = Side {
        rule: Rule::new(points, PumpTimes::NONE).map_err(|e| e.to_string())?,
        sees: Sees::AsRead,
    };
    let mut course = Vec::new();
    scenario(case)
        .season(&side, 1, |moment| {
            if moment.second > 0 && moment.second % 21_600 == 0 {
                course.push([moment.theta_v, moment.reading.map_or(f64::NAN, Vwc::value)]);
            }
        })
        .map_err(|e| e.to_string())?;
    course.truncate(4 * DAYS);
    Ok(course)
}

fn run() -> Result<(), String> {
    let problems: Vec<Value> = CASES
        .iter()
        .map(|case| {
            let scenario = scenario(case);
            json!({
                "depth_mm": scenario.zone.depth.value(),
                "drainage_time_s": scenario.zone.drainage_time_s,
                "field_capacity": scenario.zone.field_capacity.value(),
                "wilting_point": scenario.zone.wilting_point.value(),
                "allowed_depletion": scenario.zone.allowed_depletion.value(),
                "arriving_mm_per_s":
                    scenario.pumping.gross_mm_per_s * scenario.pumping.efficiency.value(),
                "etc_mm": case.etc,
                "lag_s": case.lag_s,
                "start": case.start,
                "days": DAYS,
            })
        })
        .collect();
    let bench = Bench::empty();
    bench.put("problems.json", Value::from(problems).to_string());
    let file = File::open(bench.path().join("problems.json")).map_err(|e| e.to_string())?;
    let script = repository().join("tests/tests/outside/bucket.py");
    let text = output_of(Command::new(python()).arg(script).stdin(file))?;
    let said: Value = serde_json::from_slice(&text).map_err(|e| e.to_string())?;
    let mut differences = Vec::new();
    let mut largest = 0.0_f64;
    for (number, case) in CASES.iter().enumerate() {
        let ours = ours(case)?;
        let theirs: Vec<[f64; 2]> =
            serde_json::from_value(said["answers"][number].clone()).map_err(|e| e.to_string())?;
        if ours.len() != theirs.len() {
            return Err(format!("{} points, {} there", ours.len(), theirs.len()));
        }
        for (quarter, (a, b)) in ours.iter().zip(&theirs).enumerate() {
            for (what, a, b) in [("theta_v", a[0], b[0]), ("reading", a[1], b[1])] {
                let off = (a / b - 1.0).abs();
                largest = largest.max(off);
                if off.is_nan() || off > AGREED {
                    differences.push(format!(
                        "case {number}, quarter {}: {what} ours {a}, theirs {b}",
                        quarter + 1
                    ));
                }
            }
        }
    }
    println!(
        "{}: largest relative difference {largest:.1e}",
        said["program"]
    );
    if differences.is_empty() {
        Ok(())
    } else {
        Err(differences.join("\n"))
    }
}
