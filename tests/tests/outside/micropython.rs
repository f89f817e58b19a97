//! The MicroPython module, run by MicroPython and by Python 3, gives our integers at
//! every count, switches the pump as we do, and finds every damaged table.
//!
//! Outside: MicroPython 1.27.0, its own build for WebAssembly, which `node` runs. It
//! lies in the folder that `OVENDRY_NODE_MODULES` names,
//! `target/outside-node/node_modules` of this repository if it does not; `.ci/run`
//! says how it is installed. Python is the one of `OVENDRY_PYTHON`.

use super::made_up::{answer, tables, temperatures};
use crate::{Check, output_of, python};
use calib_cli::controller::{ControllerFormat, FORMATS, render};
use calib_core::controller::{ControllerRecord, ControllerTable, Fault, Pump};
use ovendry_tests::{Bench, repository};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::path::PathBuf;
use std::process::Command;

pub const MICROPYTHON: Check = Check {
    name: "MicroPython reads every count, runs the pump and finds damage as we do",
    needs: &["node"],
    run: || {
        let folder = std::env::var_os("OVENDRY_NODE_MODULES").map_or_else(
            || repository().join("target/outside-node/node_modules"),
            PathBuf::from,
        );
        let interpreter =
            folder.join("@micropython/micropython-webassembly-pyscript/micropython.mjs");
        let runner = repository().join("tests/tests/outside/micropython.mjs");
        agrees("MicroPython", |bench| {
            let mut command = Command::new("node");
            command.arg(&runner).arg(&interpreter).arg("module.py");
            command.current_dir(bench.path());
            output_of(&mut command)
        })
    },
};

pub const PYTHON: Check = Check {
    name: "Python reads every count of a MicroPython module as we do",
    needs: &["python3"],
    run: || {
        agrees("Python", |bench| {
            let mut command = Command::new(python());
            command.arg("module.py").current_dir(bench.path());
            output_of(&mut command)
        })
    },
};

const STEPS_PER_TABLE: usize = 3000;
const DAMAGED_PER_TABLE: usize = 400;
/// Counts asked for on a line.
const ON_A_LINE: i64 = 1024;
/// Bytes of the image that hold its dates. A module only looks at their order, so
/// they are not changed at random.
const DATES: std::ops::Range<usize> = 54..62;

/// Requests and the answers expected, a line each.
#[derive(Default)]
struct Script {
    requests: Vec<String>,
    expected: Vec<String>,
    readings: usize,
    /// Steps after which the pump is off, and after which it is on.
    steps: [usize; 2],
    /// Tables that may not be used, and tables that may.
    images: [usize; 2],
}

impl Script {
    fn ask(&mut self, request: String, expected: impl Into<String>) {
        self.requests.push(request);
        self.expected.push(expected.into());
    }

    /// Every count the converter can give and some it cannot.
    fn read(&mut self, table: &ControllerTable) {
        let full_scale = i64::from(table.full_scale());
        // Only every other temperature for the many counts of a large converter: an interpreter takes its time.
        let (step, every) = match table.record().adc_bits {
            16 => (800, 2),
            12 => (400, 1),
            _ => (150, 1),
        };
        for temperature in temperatures(table, step).into_iter().step_by(every) {
            let centi = word(temperature);
            let mut first = -3;
            while first <= full_scale + 3 {
                let end = (first + ON_A_LINE).min(full_scale + 4);
                let pairs: Vec<String> = (first..end)
                    .map(|count| {
                        // Ours has no negative counts; they are no count either.
                        let count = u32::try_from(count).unwrap_or(u32::MAX);
                        let (theta_v, uncertainty) = answer(table, count, temperature);
                        format!("{theta_v} {uncertainty}")
                    })
                    .collect();
                self.ask(format!("read {first} {end} {centi}"), pairs.join(","));
                self.readings += pairs.len();
                first = end;
            }
            self.ask(
                format!("missing {centi}"),
                Fault::NoSuchCode.code().to_string(),
            );
        }
    }

    /// Readings as they come, and as they should not.
    fn pump(&mut self, table: &ControllerTable, random: &mut ChaCha8Rng) {
        let record = table.record();
        let timing = record.timing;
        let edges = [
            timing.minimum_on_s,
            timing.minimum_off_s,
            timing.maximum_on_s,
            timing.stuck_after_s,
        ];
        let points = record.set_points;
        let counts = [
            u32::from(points.refill_count),
            u32::from(points.stop_count),
            0,
            u32::from(table.full_scale()),
            u32::from(table.full_scale()) + 1,
            u32::from(record.live.low),
            u32::from(record.live.high),
        ];
        let wet = i64::from(points.stop_count) - i64::from(points.refill_count);
        let mut now = random.random_range(0..1_000_000_u32);
        let mut count = counts[0];
        let mut pump = Pump::start(table, now);
        self.ask(format!("pump {now}"), "off");
        for _ in 0..STEPS_PER_TABLE {
            now = match random.random_range(0..20) {
                0 => now.saturating_sub(random.random_range(1..5000)),
                1 => now,
                2..=5 => (now + edges[random.random_range(0..4)])
                    .saturating_sub(random.random_range(0..2)),
                _ => now + random.random_range(1..400),
            };
            count = match random.random_range(0..20) {
                0 => counts[random.random_range(0..7)],
                1..=5 => count,
                6 => random.random_range(0..=u32::from(table.full_scale())),
                // From somewhat too dry to somewhat wetter than enough.
                _ => {
                    let share = random.random_range(-30..=130);
                    let at = i64::from(points.refill_count) + wet * share / 100;
                    u32::try_from(at).unwrap_or(0)
                }
            };
            let temperature = match (random.random_range(0..25), &record.temperature) {
                (0, _) => None,
                (1, _) => Some(8500),
                (_, Some(term)) => {
                    Some(random.random_range(term.lowest_centi..=term.highest_centi))
                }
                (_, None) => Some(2000),
            };
            let step = pump.step(now, count, temperature);
            let answer = step
                .answer
                .map_or_else(Fault::code, |reading| reading.theta_v);
            self.ask(
                format!("step {now} {count} {}", word(temperature)),
                format!("{} {answer}", if step.on() { "on" } else { "off" }),
            );
            self.steps[usize::from(step.on())] += 1;
        }
    }

    fn image(&mut self, image: &[u8], sound: bool) {
        let digits: String = image.iter().map(|byte| format!("{byte:02x}")).collect();
        let digits = if digits.is_empty() { "-" } else { &digits };
        self.ask(
            format!("image {digits}"),
            if sound { "True" } else { "False" },
        );
        self.images[usize::from(sound)] += 1;
    }

    /// The image cut short, and with every single bit flipped.
    fn damage(&mut self, table: &ControllerTable) {
        let image = table.image();
        for length in 0..image.len() {
            self.image(&image[..length], false);
        }
        for position in 0..image.len() {
            for bit in 0..8 {
                let mut flipped = image.clone();
                flipped[position] ^= 1 << bit;
                self.image(&flipped, false);
            }
        }
        self.ask("pump 0".into(), "the table is not sound; keep the pump off");
        self.image(&image, true);
    }

    /// Images changed a little and given the right CRC-32, as a faulty exporter might.
    fn change(&mut self, table: &ControllerTable, random: &mut ChaCha8Rng) {
        let image = table.image();
        let body = &image[..image.len() - 4];
        for _ in 0..DAMAGED_PER_TABLE {
            let mut changed = body.to_vec();
            for _ in 0..random.random_range(1..=2) {
                let position = random.random_range(0..changed.len());
                if DATES.contains(&position) {
                    continue;
                }
                changed[position] = match random.random_range(0..3) {
                    0 => random.random(),
                    1 => changed[position].wrapping_add(1),
                    _ => changed[position].wrapping_sub(1),
                };
            }
            let crc = crc32fast::hash(&changed);
            changed.extend(crc.to_le_bytes());
            let sound = ControllerRecord::from_image(&changed, "p", "s")
                .and_then(ControllerTable::check)
                .is_ok();
            self.image(&changed, sound);
        }
    }
}

fn word(temperature: Option<i16>) -> String {
    temperature.map_or_else(|| "-".into(), |centi| centi.to_string())
}

fn module_format() -> &'static dyn ControllerFormat {
    FORMATS
        .into_iter()
        .find(|format| format.name() == "MicroPython module")
        .expect("a MicroPython module")
}

fn agrees(
    interpreter: &str,
    run: impl FnOnce(&Bench) -> Result<Vec<u8>, String>,
) -> Result<(), String> {
    let bench = Bench::empty();
    let mut random = ChaCha8Rng::seed_from_u64(27);
    let mut script = Script::default();
    for table in &tables() {
        let name = module_format().file_name(&table.record().probe);
        bench.put(&name, render(module_format(), table));
        let module = name.trim_end_matches(".py");
        script.ask(format!("import {module}"), "True");
        script.read(table);
        script.pump(table, &mut random);
        if script.images == [0; 2] {
            script.damage(table);
        }
        script.change(table, &mut random);
    }
    bench.put("module.py", include_str!("module.py"));
    bench.put("requests.txt", script.requests.join("\n"));
    let output = run(&bench)?;
    let output = String::from_utf8(output).map_err(|error| error.to_string())?;
    let answers: Vec<&str> = output.lines().collect();
    for (request, (got, expected)) in script
        .requests
        .iter()
        .zip(answers.iter().zip(&script.expected))
    {
        if got != expected {
            // A line may hold the answers to many counts.
            let differs = got
                .split(',')
                .zip(expected.split(','))
                .enumerate()
                .find(|(_, (got, expected))| got != expected);
            return Err(format!("{request}: place, got and expected: {differs:?}"));
        }
    }
    if answers.len() != script.expected.len() {
        return Err(format!(
            "{} answers to {} requests",
            answers.len(),
            script.expected.len()
        ));
    }
    println!(
        "{interpreter}: {} readings, {} steps of a pump off and {} of one on, {} tables refused and {} taken agree",
        script.readings, script.steps[0], script.steps[1], script.images[0], script.images[1]
    );
    Ok(())
}
