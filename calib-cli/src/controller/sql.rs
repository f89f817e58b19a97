//! The table as one SQL expression, for a database that holds raw counts.
//!
//! Whole numbers only, by means that engines have in common: CASE, comparison,
//! `+ - *`, MOD and CAST. Some engines' `/` gives fractions and that of others cuts
//! them off, so only exact multiples are divided.
//!
//! The expression has no room for a name, so the corrected count stands wherever it
//! is needed, as a linear form of both columns (`Corrected`).

use super::heading::{self, CAUTION};
use super::seal::hexadecimal;
use super::{ControllerFormat, FileError, Seal};
use calib_core::controller::{
    ControllerRecord, ControllerTable, Fault, IntegerTemperature, Knot, OpenCircuit, SIXTEENTHS,
};

/// The SQL expression.
pub(super) struct Sql;

/// What begins a line of the heading.
const MARK: &str = "-- ";
/// What begins a line with bytes of the image.
const IMAGE: &str = "-- image: ";
/// Bytes of the image on a line.
const ON_A_LINE: usize = 32;

impl ControllerFormat for Sql {
    fn name(&self) -> &'static str {
        "SQL expression"
    }

    fn file_name(&self, probe: &str) -> String {
        format!("{probe}.sql")
    }

    fn seal(&self) -> Seal {
        Seal {
            sha256: ("-- sha256: ", "\n"),
            crc32: ("-- crc32: ", "\n"),
        }
    }

    fn body(&self, table: &ControllerTable) -> String {
        let corrected = Corrected::of(table.record().temperature.as_ref());
        let comment = [
            lines(&OPENING),
            heading::lines(table),
            lines(&USAGE),
            faults(),
            lines(&HOW),
            corrected.explained(),
            lines(&CAUTION),
            vec![String::new()],
        ];
        let mut text = String::new();
        for line in comment.iter().flatten() {
            text.push_str(format!("{MARK}{line}").trim_end());
            text.push('\n');
        }
        for bytes in table.image().chunks(ON_A_LINE) {
            let digits: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
            text.push_str(&format!("{IMAGE}{digits}\n"));
        }
        text.push_str(&expression(table, &corrected));
        text
    }

    fn read(&self, text: &str) -> Result<(ControllerRecord, u32), FileError> {
        heading::read(text, MARK, &image(text)?)
    }
}

const OPENING: [&str; 3] = [
    "Controller table of one soil moisture probe: from raw count to volumetric",
    "water content theta_v, as one SQL expression in whole numbers only.",
    "",
];

const USAGE: [&str; 16] = [
    "",
    "Do not edit: `ovendry verify` refuses the file if a byte has changed.",
    "",
    "For a query or a view over columns of any whole-number type:",
    "",
    "    SELECT",
    "        raw_count, soil_temp_centi,",
    "        (",
    "            this file",
    "        ) AS theta_v_e4",
    "    FROM readings",
    "",
    "soil_temp_centi is in hundredths of a degree Celsius, NULL where there is none;",
    "where raw_count is NULL, so is the answer. theta_v_e4 is theta_v in m3/m3 times",
    "10 000 (2534 is 0.2534 m3/m3), or a fault, of those that a row alone can tell:",
    "",
];

const HOW: [&str; 4] = [
    "",
    "Exact in an engine with MOD and BIGINT: numbers fit 64 bits, and what is divided is",
    "a multiple, since some engines divide to fractions and others cut them off.",
    "n - MOD(n, d) is the multiple of d at or below n.",
];

fn lines(text: &[&str]) -> Vec<String> {
    text.iter().map(|line| (*line).to_owned()).collect()
}

fn faults() -> Vec<String> {
    Fault::ALL
        .iter()
        .filter(|fault| **fault != Fault::Stuck)
        .map(|fault| format!("    {} {fault}", fault.code()))
        .collect()
}

/// The corrected count of a row, in fine steps of which `steps` are a sixteenth.
///
/// With `n = coefficient (t - reference)` and `d` the divisor, the correction is
/// `n / d` to the nearest, halves away from zero, which is
/// `floor((n + d/2 - [n < 0]) / d)`. So the corrected count is, in sixteenths,
/// `16 count + floor((d/2 - 1 - n + [n < 0]) / d)`. `[n < 0]` only matters where `n`
/// lies halfway between two multiples of `d`, and is left out of the text where that
/// happens at no accepted temperature.
struct Corrected {
    /// `16 d count`.
    count: String,
    /// `d/2 - 1 - n + [n < 0] + above`, which is never negative; empty without a
    /// temperature term.
    warmth: String,
    /// Sixteenths by which the sum of both lies above the corrected count.
    above: i64,
    /// `d`.
    steps: i64,
}

impl Corrected {
    fn of(term: Option<&IntegerTemperature>) -> Self {
        let steps = term.map_or(1, |term| i64::from(term.divisor()));
        let mut corrected = Self {
            count: format!(
                "{} * CAST(raw_count AS BIGINT)",
                i64::from(SIXTEENTHS) * steps
            ),
            warmth: String::new(),
            above: 0,
            steps,
        };
        if let Some(term) = term {
            corrected.warm(term);
        }
        corrected
    }

    fn warm(&mut self, term: &IntegerTemperature) {
        let coefficient = i64::from(term.coefficient);
        let reference = i64::from(term.reference_centi);
        let half = self.steps / 2;
        let n = |centi: i16| coefficient * (i64::from(centi) - reference);
        let largest = n(term.lowest_centi).max(n(term.highest_centi));
        self.above = (largest + self.steps).max(0) / self.steps;
        let halfway = (term.lowest_centi..=term.highest_centi)
            .map(n)
            .any(|n| half > 0 && n < 0 && n.rem_euclid(self.steps) == half);
        let away = if halfway {
            let side = if coefficient > 0 { '<' } else { '>' };
            format!(" + CASE WHEN soil_temp_centi {side} {reference} THEN 1 ELSE 0 END")
        } else {
            String::new()
        };
        self.warmth = format!(
            "({} {} * CAST(soil_temp_centi AS BIGINT){away})",
            coefficient * reference + (half - 1).max(0) + self.steps * self.above,
            signed(-coefficient),
        );
    }

    /// What stands for the corrected count in the expression, in words.
    fn explained(&self) -> Vec<String> {
        vec![
            format!(
                "The corrected count stands as its {}fold{}:",
                i64::from(SIXTEENTHS) * self.steps,
                match self.above {
                    0 => String::new(),
                    above => format!(" and {} more", self.steps * above),
                }
            ),
            String::new(),
            format!("    {}", self.sum()),
            String::new(),
        ]
    }

    /// The sum, in fine steps.
    fn sum(&self) -> String {
        if self.warmth.is_empty() {
            self.count.clone()
        } else {
            format!("{} + {}", self.count, self.warmth)
        }
    }

    /// Holds where the corrected count is below so many sixteenths.
    fn below(&self, sixteenths: i64) -> String {
        format!(
            "{} < {}",
            self.sum(),
            self.steps * (sixteenths + self.above)
        )
    }

    /// theta_v x 10 000 on the line between two knots, where the corrected count lies
    /// between them.
    fn between(&self, from: &Knot, to: &Knot) -> String {
        let start = i64::from(SIXTEENTHS) * i64::from(from.count);
        let width = i64::from(SIXTEENTHS) * i64::from(to.count) - start;
        let rise = i64::from(to.theta_v) - i64::from(from.theta_v);
        if rise == 0 {
            return from.theta_v.to_string();
        }
        // Fine steps below a whole sixteenth come from the temperature alone.
        let sixteenths = if self.steps == 1 {
            self.sum()
        } else {
            format!("{} - MOD({}, {})", self.sum(), self.warmth, self.steps)
        };
        // `steps` times `|rise| (sixteenths - start) + width / 2`, never negative
        // here; that is divided by `width`, rounding down.
        let constant = width / 2 - rise.abs() * (start + self.above);
        let fine = format!(
            "{} * ({sixteenths}) {}",
            rise.abs(),
            signed(self.steps * constant)
        );
        let divisor = self.steps * width;
        format!(
            "{} {} CAST(({fine} - MOD({fine}, {divisor})) / {divisor} AS BIGINT)",
            from.theta_v,
            if rise > 0 { '+' } else { '-' }
        )
    }
}

/// A number as it is added: `+ 5` or `- 5`.
fn signed(number: i64) -> String {
    let sign = if number < 0 { '-' } else { '+' };
    format!("{sign} {}", number.abs())
}

/// The expression, a line each WHEN.
fn expression(table: &ControllerTable, corrected: &Corrected) -> String {
    let record = table.record();
    let fault = |fault: Fault| fault.code().to_string();
    let full_scale = table.full_scale();
    let mut whens = vec![
        ("raw_count IS NULL".to_owned(), "NULL".to_owned()),
        (
            format!("raw_count < 0 OR raw_count > {full_scale}"),
            fault(Fault::NoSuchCode),
        ),
    ];
    let live = record.live;
    let (low, high) = match live.open_circuit {
        OpenCircuit::ReadsLow => (Fault::OpenCircuit, Fault::ShortCircuit),
        OpenCircuit::ReadsHigh => (Fault::ShortCircuit, Fault::OpenCircuit),
    };
    if live.low > 0 {
        whens.push((format!("raw_count < {}", live.low), fault(low)));
    }
    if live.high < full_scale {
        whens.push((format!("raw_count > {}", live.high), fault(high)));
    }
    if let Some(term) = &record.temperature {
        whens.push((
            "soil_temp_centi IS NULL".to_owned(),
            fault(Fault::TemperatureMissing),
        ));
        whens.push((
            format!(
                "soil_temp_centi < {} OR soil_temp_centi > {}",
                term.lowest_centi, term.highest_centi
            ),
            fault(Fault::TemperatureOutsideRange),
        ));
    }
    whens.push((
        corrected.below(i64::from(record.domain_low)),
        fault(Fault::CountBelowDomain),
    ));
    for pair in record.knots.windows(2) {
        if let [from, to] = pair {
            // The table ends at the domain, inside its last step.
            let end = (SIXTEENTHS * i32::from(to.count)).min(record.domain_high);
            whens.push((
                corrected.below(i64::from(end) + 1),
                corrected.between(from, to),
            ));
        }
    }
    let mut text = String::from("CASE\n");
    for (when, then) in whens {
        text.push_str(&format!("    WHEN {when} THEN {then}\n"));
    }
    text.push_str(&format!(
        "    ELSE {}\nEND\n",
        Fault::CountAboveDomain.code()
    ));
    text
}

/// The bytes of the lines that carry the image.
fn image(text: &str) -> Result<Vec<u8>, FileError> {
    let mut image = Vec::new();
    for (number, line) in (1..).zip(text.lines()) {
        let Some(digits) = line.strip_prefix(IMAGE) else {
            continue;
        };
        let bytes = bytes(digits).ok_or_else(|| FileError::Content {
            line: number,
            what: "is not a line of bytes in hexadecimal".to_owned(),
        })?;
        image.extend(bytes);
    }
    Ok(image)
}

/// The bytes of hexadecimal digits.
fn bytes(digits: &str) -> Option<Vec<u8>> {
    hexadecimal(digits.as_bytes())?
        .as_bytes()
        .chunks(2)
        .map(|pair| u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok())
        .collect()
}
