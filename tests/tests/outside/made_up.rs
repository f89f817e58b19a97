//! Tables for programs that read them, and the temperatures to try them at.

use calib_core::calibration::Direction;
use calib_core::controller::{
    ControllerRecord, ControllerTable, IntegerSetPoints, IntegerTemperature, Knot, LiveCodes,
    MAX_KNOT_DISTANCE, OpenCircuit, SIXTEENTHS,
};
use calib_core::curve::CurveKind;
use ovendry_tests::controller::{Recipe, table, worked_example};

/// 8, 10, 12 and 16 bits, rising and falling, with and without a temperature term
/// and with every divisor; the documented example first.
pub fn tables() -> Vec<ControllerTable> {
    let mut records = vec![worked_example()];
    let recipe = Recipe {
        bend: 0.4,
        theta: (-0.004, 0.52),
        ..Recipe::default()
    };
    let rising = Recipe {
        direction: Direction::RisesWhenWetter,
        ..recipe
    };
    for (name, recipe) in [
        (
            "eight bits",
            Recipe {
                bits: 8,
                kind: CurveKind::Quadratic,
                temperature: None,
                ..rising
            },
        ),
        (
            "ten bits",
            Recipe {
                bits: 10,
                kind: CurveKind::TwoSegment,
                temperature: None,
                ..recipe
            },
        ),
        (
            "twelve bits \"\"\" \u{e9} \u{1f331} /*",
            Recipe {
                temperature: Some(-0.002),
                ..rising
            },
        ),
        ("16 bits", Recipe { bits: 16, ..recipe }),
    ] {
        let made = table(&recipe.calibration(name)).expect("a table");
        records.push(made.record().clone());
    }
    // Corrections that lie halfway between two whole ones, both ways.
    for (coefficient, shift) in [(24, 8), (-24, 8), (6144, 16), (-6144, 16)] {
        let name = format!("halfway {coefficient}");
        records.push(corrected(&name, coefficient, shift));
    }
    records.push(corrected("no divisor", -1, 0));
    if let [.., last] = records.as_mut_slice() {
        last.live = LiveCodes {
            low: 0,
            high: 1023,
            open_circuit: OpenCircuit::ReadsHigh,
        };
    }
    records[2].live.open_circuit = OpenCircuit::ReadsHigh;
    // A pump that need not rest, and a probe that is not watched.
    records[1].timing.minimum_on_s = 0;
    records[1].timing.minimum_off_s = 0;
    records[2].timing.stuck_after_s = 0;
    records.push(widest());
    records
        .into_iter()
        .map(|record| ControllerTable::check(record).expect("a table that may be used"))
        .collect()
}

fn corrected(probe: &str, coefficient: i32, shift: u8) -> ControllerRecord {
    let example = worked_example();
    ControllerRecord {
        probe: probe.into(),
        temperature: example.temperature.map(|term| IntegerTemperature {
            coefficient,
            shift,
            ..term
        }),
        ..example
    }
}

/// The largest numbers a table can hold: every count of 16 bits, corrections of almost
/// as much, the longest steps and the whole range of theta_v.
fn widest() -> ControllerRecord {
    let mut record = corrected("widest", 300_000, 8);
    record.adc_bits = 16;
    record.direction = Direction::RisesWhenWetter;
    record.live.low = 0;
    record.live.high = u16::MAX;
    record.knots = (0..=16)
        .map(|i| Knot {
            count: MAX_KNOT_DISTANCE * i,
            theta_v: -2000 + 400 * i16::try_from(i).expect("a small number"),
            expanded_uncertainty: 300 - 10 * i,
        })
        .collect();
    record.knots.push(Knot {
        count: u16::MAX,
        theta_v: 12_000,
        expanded_uncertainty: 10_000,
    });
    record.domain_low = 0;
    record.domain_high = SIXTEENTHS * i32::from(u16::MAX);
    record.set_points = IntegerSetPoints {
        refill: 0,
        stop: 1200,
        refill_count: 5 * MAX_KNOT_DISTANCE,
        stop_count: 8 * MAX_KNOT_DISTANCE,
    };
    record
}

/// Missing; beside, at and inside the ends of those accepted; around the reference;
/// power-on codes and the ends of 16 bits. Every `step` hundredths between.
pub fn temperatures(table: &ControllerTable, step: usize) -> Vec<Option<i16>> {
    let mut temperatures = vec![None];
    let mut add = |centi: &[i16]| temperatures.extend(centi.iter().copied().map(Some));
    add(&[i16::MIN, i16::MAX, -12_700, 8500]);
    if let Some(term) = &table.record().temperature {
        let (lowest, highest) = (term.lowest_centi, term.highest_centi);
        let reference = term.reference_centi;
        add(&[lowest - 1, lowest, lowest + 1]);
        add(&[reference - 1, reference, reference + 1]);
        add(&[highest - 1, highest, highest + 1]);
        let between: Vec<i16> = (lowest + 2..highest - 1).step_by(step).collect();
        add(&between);
    }
    temperatures.sort_unstable();
    temperatures.dedup();
    temperatures
}

/// What a reader answers: theta_v and its uncertainty, or twice the fault.
pub fn answer(table: &ControllerTable, count: u32, temperature: Option<i16>) -> (i16, i16) {
    match table.evaluate(count, temperature) {
        Ok(reading) => (reading.theta_v, reading.expanded_uncertainty as i16),
        Err(fault) => (fault.code(), fault.code()),
    }
}
