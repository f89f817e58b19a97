//! Reading a header back: names and numbers from its macros and tables.
//!
//! Only the lines that carry something are looked at. That the rest is the
//! reader we wrote is proved by writing the table again and comparing bytes.

use super::super::{FileError, hexadecimal};
use calib_core::calibration::Direction;
use calib_core::controller::{
    ControllerError, ControllerRecord, Dates, IntegerSetPoints, IntegerTemperature, Knot, Timing,
    VERSION,
};
use jiff::civil::Date;

/// A header's lines and the prefix of this probe's names.
struct Header<'a> {
    lines: Vec<&'a str>,
    /// `OVENDRY_<PROBE>_`
    prefix: String,
}

fn fault(line: usize, what: impl Into<String>) -> FileError {
    FileError::Content {
        line: line as u64 + 1,
        what: what.into(),
    }
}

/// What the header says, and the `table_crc32` it states.
pub(super) fn read(text: &str) -> Result<(ControllerRecord, u32), FileError> {
    let header = Header::find(text)?;
    let version: u32 = header.number("VERSION")?;
    if version != VERSION {
        return Err(ControllerError::Version { found: version }.into());
    }
    let temperature = match header.number("TEMPERATURE_TERM")? {
        0_u8 => None,
        1 => Some(IntegerTemperature {
            reference_centi: header.number("REFERENCE_CENTI")?,
            lowest_centi: header.number("LOWEST_CENTI")?,
            highest_centi: header.number("HIGHEST_CENTI")?,
            coefficient: header.number("COEFFICIENT")?,
            divisor: header.number("DIVISOR")?,
        }),
        _ => return Err(header.wrong("TEMPERATURE_TERM", "is neither 0 nor 1")),
    };
    let direction = match header.number("COUNTS_FALL_WHEN_WETTER")? {
        0_u8 => Direction::RisesWhenWetter,
        1 => Direction::FallsWhenWetter,
        _ => return Err(header.wrong("COUNTS_FALL_WHEN_WETTER", "is neither 0 nor 1")),
    };
    let record = ControllerRecord {
        version,
        probe: header.name("PROBE")?,
        soil: header.name("SOIL")?,
        dates: Dates {
            calibrated_on: header.date("CALIBRATED_ON")?,
            recheck_by: header.date("RECHECK_BY")?,
        },
        adc_bits: header.number("ADC_BITS")?,
        direction,
        domain_low: header.number("DOMAIN_LOW")?,
        domain_high: header.number("DOMAIN_HIGH")?,
        temperature,
        max_error: header.number("MAX_ERROR_E4")?,
        knots: header.knots()?,
        set_points: IntegerSetPoints {
            refill: header.number("REFILL_E4")?,
            stop: header.number("STOP_E4")?,
            refill_count: header.number("REFILL_COUNT")?,
            stop_count: header.number("STOP_COUNT")?,
        },
        timing: Timing {
            minimum_on_s: header.number("MINIMUM_ON_S")?,
            minimum_off_s: header.number("MINIMUM_OFF_S")?,
            maximum_on_s: header.number("MAXIMUM_ON_S")?,
        },
    };
    Ok((record, header.crc32()?))
}

impl<'a> Header<'a> {
    /// Finds this probe's prefix by the macro that names the probe.
    fn find(text: &'a str) -> Result<Self, FileError> {
        let lines: Vec<&str> = text.lines().collect();
        let prefix = lines
            .iter()
            .filter_map(|line| line.strip_prefix("#define "))
            .find_map(|rest| rest.split_once("PROBE \""))
            .map(|(prefix, _)| prefix.to_owned())
            .ok_or_else(|| fault(0, "no macro names the probe"))?;
        Ok(Self { lines, prefix })
    }

    /// The line index and text after `#define <PREFIX><key> `.
    fn macro_of(&self, key: &str) -> Result<(usize, &'a str), FileError> {
        let start = format!("#define {}{key} ", self.prefix);
        self.lines
            .iter()
            .enumerate()
            .find_map(|(i, line)| Some((i, line.strip_prefix(start.as_str())?)))
            .ok_or_else(|| fault(0, format!("there is no macro {}{key}", self.prefix)))
    }

    fn wrong(&self, key: &str, what: &str) -> FileError {
        match self.macro_of(key) {
            Ok((line, _)) => fault(line, format!("{}{key} {what}", self.prefix)),
            Err(error) => error,
        }
    }

    /// A number, `((int32_t)-12L)`, in the range of `T`.
    fn number<T: TryFrom<i64>>(&self, key: &str) -> Result<T, FileError> {
        let (_, value) = self.macro_of(key)?;
        value
            .strip_prefix("((int32_t)")
            .and_then(|rest| rest.strip_suffix("L)"))
            .and_then(|digits| digits.parse::<i64>().ok())
            .and_then(|number| T::try_from(number).ok())
            .ok_or_else(|| self.wrong(key, "is not a number in range"))
    }

    fn date(&self, key: &str) -> Result<Date, FileError> {
        let number: i32 = self.number(key)?;
        let part = |value: i32| i8::try_from(value).ok();
        i16::try_from(number / 10_000)
            .ok()
            .zip(part(number / 100 % 100))
            .zip(part(number % 100))
            .and_then(|((year, month), day)| Date::new(year, month, day).ok())
            .ok_or_else(|| self.wrong(key, "is not a date as YYYYMMDD"))
    }

    fn crc32(&self) -> Result<u32, FileError> {
        let (_, value) = self.macro_of("TABLE_CRC32")?;
        value
            .strip_prefix("((uint32_t)0x")
            .and_then(|rest| rest.strip_suffix("UL)"))
            .and_then(hexadecimal)
            .ok_or_else(|| self.wrong("TABLE_CRC32", "is not eight hexadecimal digits"))
    }

    /// A name, from its C string literal.
    fn name(&self, key: &str) -> Result<String, FileError> {
        let (_, literal) = self.macro_of(key)?;
        unescape(literal)
            .and_then(|bytes| String::from_utf8(bytes).ok())
            .ok_or_else(|| self.wrong(key, "is not a name in quotes"))
    }

    /// The values between `<table>[...] = {` and `};`, with the table's line.
    fn column(&self, table: &str) -> Result<(usize, Vec<i64>), FileError> {
        let name = format!(" {}{table}[", self.prefix.to_ascii_lowercase());
        let start = self
            .lines
            .iter()
            .position(|line| line.starts_with("static const") && line.contains(name.as_str()))
            .ok_or_else(|| fault(0, format!("there is no table{name}]")))?;
        let mut values = Vec::new();
        for (i, line) in self.lines.iter().enumerate().skip(start + 1) {
            if *line == "};" {
                return Ok((start, values));
            }
            for number in line.split(',').map(str::trim).filter(|n| !n.is_empty()) {
                values.push(
                    number
                        .trim_end_matches('u')
                        .parse::<i64>()
                        .map_err(|_| fault(i, format!("\"{number}\" is not a whole number")))?,
                );
            }
        }
        Err(fault(start, "the table does not end"))
    }

    fn knots(&self) -> Result<Vec<Knot>, FileError> {
        let (line, counts) = self.column("counts")?;
        let (_, thetas) = self.column("thetas")?;
        let (_, uncertainties) = self.column("uncertainties")?;
        let stated: usize = self.number("KNOTS")?;
        if [counts.len(), thetas.len(), uncertainties.len()] != [stated; 3] {
            return Err(fault(
                line,
                format!("the tables do not have {stated} numbers each"),
            ));
        }
        counts
            .into_iter()
            .zip(thetas)
            .zip(uncertainties)
            .map(|((count, theta_v), uncertainty)| {
                Some(Knot {
                    count: count.try_into().ok()?,
                    theta_v: theta_v.try_into().ok()?,
                    expanded_uncertainty: uncertainty.try_into().ok()?,
                })
            })
            .collect::<Option<Vec<Knot>>>()
            .ok_or_else(|| fault(line, "a number of the tables is out of range"))
    }
}

/// The bytes of a C string literal as this format writes it.
fn unescape(literal: &str) -> Option<Vec<u8>> {
    let inner = literal.strip_prefix('"')?.strip_suffix('"')?;
    let mut bytes = Vec::new();
    let mut rest = inner.bytes();
    while let Some(byte) = rest.next() {
        if byte != b'\\' {
            bytes.push(byte);
            continue;
        }
        let next = rest.next()?;
        if !next.is_ascii_digit() {
            bytes.push(next);
            continue;
        }
        let mut value = 0_u32;
        for digit in [Some(next), rest.next(), rest.next()] {
            value = value * 8 + char::from(digit?).to_digit(8)?;
        }
        bytes.push(u8::try_from(value).ok()?);
    }
    Some(bytes)
}
