//! What the checks of the C reader share: tables, readings for a pump, the
//! program's `cases.h`, and our own answers to compare with.

use super::made_up::temperatures;
use calib_cli::controller::{ControllerFormat, identifier, render};
use calib_core::controller::{ControllerTable, Pump};
use ovendry_tests::Bench;
use ovendry_tests::controller::format;

/// The warnings every compiler has to be content with.
pub const WARNINGS: [&str; 10] = [
    "-Wall",
    "-Wextra",
    "-Werror",
    "-pedantic",
    "-Wconversion",
    "-Wsign-conversion",
    "-Wshadow",
    "-Wcast-qual",
    "-Wcast-align",
    "-Wundef",
];

/// When the pump of `readings.h` powers up, seconds.
pub const POWER_UP_S: u32 = 1000;

/// The C header among the formats.
pub fn c_header() -> &'static dyn ControllerFormat {
    format("C header")
}

/// A reading for a pump; no temperature is the smallest number.
#[derive(Debug, Clone, Copy)]
pub struct Given {
    /// Time, seconds.
    pub now_s: u32,
    /// Code of the converter.
    pub count: u16,
    centi: i16,
}

impl Given {
    /// Soil temperature, C x 100, if there is one.
    pub fn temperature(&self) -> Option<i16> {
        given(self.centi)
    }
}

/// What a target is given to do with one table.
pub struct Case {
    /// The table.
    pub table: ControllerTable,
    /// Its counts are tried up to this one.
    pub last: u16,
    /// Temperatures each is tried at, C x 100.
    pub temperatures: Vec<i16>,
    /// Readings for a pump.
    pub readings: Vec<Given>,
}

impl Case {
    /// Every count the converter gives and one more, at a grid of temperatures.
    pub fn of_every_count(table: ControllerTable) -> Self {
        let mut temperatures: Vec<i16> = temperatures(&table, 48)
            .into_iter()
            .map(|centi| centi.unwrap_or(i16::MIN))
            .collect();
        temperatures.dedup();
        Self {
            last: table.full_scale().saturating_add(1),
            temperatures,
            readings: readings(&table, 1500),
            table,
        }
    }
}

/// Numbers without order, always the same ones.
struct Numbers(u32);

impl Numbers {
    fn below(&mut self, limit: u32) -> u32 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 17;
        self.0 ^= self.0 << 5;
        (self.0 >> 4) % limit
    }
}

/// Readings as a pump may meet them: counts that repeat, wander, jump or stand
/// at the rails; temperatures missing and impossible; times that are just at a
/// limit, long apart, the same, or earlier.
pub fn readings(table: &ControllerTable, number: usize) -> Vec<Given> {
    let record = table.record();
    let timing = record.timing;
    let limits = [
        timing.minimum_on_s,
        timing.minimum_off_s,
        timing.maximum_on_s,
        timing.stuck_after_s,
    ];
    let (first, last) = (
        record.knots[0].count,
        record.knots[record.knots.len() - 1].count,
    );
    let full = table.full_scale();
    let (lowest, highest) = record
        .temperature
        .map_or((1000, 2000), |term| (term.lowest_centi, term.highest_centi));
    let mut numbers = Numbers(0x0BAD_5EED);
    let mut given = Given {
        now_s: POWER_UP_S,
        count: first,
        centi: lowest,
    };
    (0..number)
        .map(|_| {
            let wait = match numbers.below(16) {
                0 => 0,
                1 => numbers.below(100_000),
                2..=6 => {
                    let limit = limits[numbers.below(4) as usize];
                    (limit + numbers.below(3)).saturating_sub(1)
                }
                _ => numbers.below(400),
            };
            given.now_s = if numbers.below(40) == 0 {
                given.now_s.saturating_sub(numbers.below(5000))
            } else {
                given.now_s.wrapping_add(wait)
            };
            given.count = match numbers.below(24) {
                0 => numbers.below(65_536) as u16,
                1 => 0,
                2 => full,
                3 => full.saturating_add(1),
                4..=9 => given.count,
                // Either end, so that the pump is switched.
                10..=13 => first + numbers.below(u32::from(last - first) / 8 + 1) as u16,
                14..=17 => last - numbers.below(u32::from(last - first) / 8 + 1) as u16,
                _ => first + numbers.below(u32::from(last - first) + 1) as u16,
            };
            given.centi = match numbers.below(32) {
                0 => i16::MIN,
                1 => 8500,
                2 => lowest - 1,
                _ => lowest + numbers.below((highest - lowest) as u32 + 1) as i16,
            };
            given
        })
        .collect()
}

/// Bytes as a C array that stays in program memory.
fn array(name: &str, bytes: &[u8]) -> String {
    let rows: Vec<String> = bytes
        .chunks(16)
        .map(|row| {
            let numbers: Vec<String> = row.iter().map(u8::to_string).collect();
            format!("    {}", numbers.join(", "))
        })
        .collect();
    format!(
        "static const uint8_t {name}[{}] OVENDRY_FLASH = {{\n{}\n}};\n",
        bytes.len(),
        rows.join(",\n")
    )
}

fn reading_bytes(readings: &[Given]) -> Vec<u8> {
    readings
        .iter()
        .flat_map(|given| {
            let mut bytes = given.now_s.to_le_bytes().to_vec();
            bytes.extend(given.count.to_le_bytes());
            bytes.extend(given.centi.to_le_bytes());
            bytes
        })
        .collect()
}

/// Name of a table's array and of its length.
fn names(table: &ControllerTable) -> (String, String) {
    let id = format!("ovendry_table_{}", identifier(&table.record().probe));
    let length = format!("{}_LENGTH", id.to_ascii_uppercase());
    (id, length)
}

/// Puts the headers, the reader and `readings.h` into the bench, and begins
/// `cases.h` with what includes them.
fn headers(bench: &Bench, tables: &[&ControllerTable]) -> String {
    let reader = c_header().companion().expect("a reader");
    bench.put(reader.file_name, reader.text);
    bench.put("readings.h", include_str!("targets/readings.h"));
    let mut includes = String::new();
    for (i, table) in tables.iter().enumerate() {
        let header = c_header().file_name(&format!("table{i}"));
        bench.put(&header, render(c_header(), table));
        includes.push_str(&format!("#include \"{header}\"\n"));
    }
    // Twice, as happens when two parts of a program include the same header.
    format!("{includes}{includes}")
}

/// Puts `cases.h`, whose `cases()` does all of them, and what it includes.
pub fn put_cases(bench: &Bench, cases: &[Case]) {
    let tables: Vec<&ControllerTable> = cases.iter().map(|case| &case.table).collect();
    let mut text = headers(bench, &tables);
    let mut calls = String::new();
    for (i, case) in cases.iter().enumerate() {
        let centis: Vec<u8> = case
            .temperatures
            .iter()
            .flat_map(|centi| centi.to_le_bytes())
            .collect();
        text.push_str(&array(&format!("temperatures{i}"), &centis));
        text.push_str(&array(
            &format!("readings{i}"),
            &reading_bytes(&case.readings),
        ));
        let (id, length) = names(&case.table);
        calls.push_str(&format!(
            "    if (ovendry_is_sound({id}, {length}) == 0u) {{\n        return 0u;\n    }}\n    answers({id}, {}u, temperatures{i}, {}u);\n    pump_steps({id}, readings{i}, {}u);\n",
            case.last,
            case.temperatures.len(),
            case.readings.len()
        ));
    }
    text.push_str(&format!(
        "static uint8_t cases(void)\n{{\n{calls}    return 1u;\n}}\n"
    ));
    bench.put("cases.h", text);
}

/// Puts a `cases.h` that only names one table, and readings and temperatures
/// for it.
pub fn put_table(bench: &Bench, table: &ControllerTable, readings: &[Given], temperatures: &[i16]) {
    let (id, length) = names(table);
    let centis: Vec<u8> = temperatures
        .iter()
        .flat_map(|centi| centi.to_le_bytes())
        .collect();
    let text = [
        headers(bench, &[table]),
        format!(
            "#define TABLE {id}\n#define TABLE_LENGTH {length}\n#define LAST {}u\n#define READINGS {}u\n#define TEMPERATURES {}u\n",
            table.full_scale(),
            readings.len(),
            temperatures.len()
        ),
        array("readings", &reading_bytes(readings)),
        array("temperatures", &centis),
    ];
    bench.put("cases.h", text.concat());
}

/// Puts the reader and a `cases.h` of nothing but readings for a pump.
pub fn put_readings(bench: &Bench, readings: &[Given]) {
    headers(bench, &[]);
    bench.put(
        "cases.h",
        format!(
            "#define READINGS {}u\n{}",
            readings.len(),
            array("readings", &reading_bytes(readings))
        ),
    );
}

fn given(centi: i16) -> Option<i16> {
    (centi != i16::MIN).then_some(centi)
}

/// How many answers agreed.
#[derive(Debug, Default)]
pub struct Agreed {
    /// Water contents.
    pub contents: u32,
    /// Faults.
    pub faults: u32,
    /// Pump steps.
    pub steps: usize,
    /// Starts of the pump among them.
    pub starts: u32,
}

/// Compares what a target sent with our answers, the first difference in full.
pub fn compare(
    cases: &[Case],
    mut sent: impl Iterator<Item = i16>,
    agreed: &mut Agreed,
) -> Result<(), String> {
    let mut next = || [sent.next(), sent.next()];
    for case in cases {
        let probe = &case.table.record().probe;
        for centi in &case.temperatures {
            for count in 0..=u32::from(case.last) {
                let expected = match case.table.evaluate(count, given(*centi)) {
                    Ok(reading) => {
                        agreed.contents += 1;
                        [reading.theta_v, reading.expanded_uncertainty as i16]
                    }
                    Err(fault) => {
                        agreed.faults += 1;
                        [fault.code(); 2]
                    }
                };
                let got = next();
                if got != expected.map(Some) {
                    return Err(format!(
                        "probe {probe} at count {count}, temperature {centi}: expected {expected:?}, got {got:?}"
                    ));
                }
            }
        }
        let mut pump = Pump::start(&case.table, POWER_UP_S);
        let mut was_on = false;
        for (i, reading) in case.readings.iter().enumerate() {
            let step = pump.step(
                reading.now_s,
                u32::from(reading.count),
                reading.temperature(),
            );
            let answer = match step.answer {
                Ok(reading) => reading.theta_v,
                Err(fault) => fault.code(),
            };
            let expected = [i16::from(step.on()), answer];
            let got = next();
            if got != expected.map(Some) {
                return Err(format!(
                    "probe {probe}, pump step {i}, {reading:?}: expected {expected:?}, got {got:?}"
                ));
            }
            agreed.steps += 1;
            agreed.starts += u32::from(step.on() && !was_on);
            was_on = step.on();
        }
    }
    if next()[0].is_some() {
        return Err("the program sent more than it was asked".into());
    }
    if agreed.contents == 0 || agreed.faults == 0 || agreed.starts < 10 {
        return Err(format!("too little was tried: {agreed:?}"));
    }
    Ok(())
}

/// 16-bit numbers, lowest byte first.
pub fn numbers(bytes: &[u8]) -> impl Iterator<Item = i16> {
    bytes
        .chunks_exact(2)
        .map(|pair| i16::from_le_bytes([pair[0], pair[1]]))
}
