//! What a table says, in words, as the comment at the head of the formats that
//! carry its image; and the names, read back from there.

use super::FileError;
use calib_core::calibration::Direction;
use calib_core::controller::{
    ControllerRecord, ControllerTable, OpenCircuit, celsius_from_centi, counts_from_sixteenths,
    theta_v_from_units,
};

/// The caution every file carries.
pub(super) const CAUTION: [&str; 4] = [
    "Caution: a wrong reading can flood a field. Fit a shut-off that works without",
    "this controller, protect the water supply against backflow, and leave mains",
    "wiring near water to licensed persons; local codes come first. A controller",
    "without a sound table, or that meets any fault, keeps the pump off.",
];

/// The lines of the comment, without its marks.
pub(super) fn lines(table: &ControllerTable) -> Vec<String> {
    let record = table.record();
    let (points, timing, live) = (record.set_points, record.timing, record.live);
    let moves = match record.direction {
        Direction::RisesWhenWetter => "rises",
        Direction::FallsWhenWetter => "falls",
    };
    let open = match live.open_circuit {
        OpenCircuit::ReadsLow => "low",
        OpenCircuit::ReadsHigh => "high",
    };
    let mut lines = vec![
        format!("probe: {}", quoted(&record.probe)),
        format!("soil: {}", quoted(&record.soil)),
        format!(
            "table version {}, table_crc32 {:08x}",
            record.version,
            table.crc32()
        ),
        format!(
            "calibrated on {}, check again by {}",
            record.dates.calibrated_on, record.dates.recheck_by
        ),
        format!(
            "{}-bit converter; its count {moves} as the soil gets wetter",
            record.adc_bits
        ),
        format!(
            "calibrated from {:.2} to {:.2} counts; never extended beyond",
            counts_from_sixteenths(record.domain_low),
            counts_from_sixteenths(record.domain_high)
        ),
        format!(
            "below {} and above {} counts the wire is broken or shorted; an open circuit reads {open}",
            live.low, live.high
        ),
    ];
    lines.push(match &record.temperature {
        Some(term) => format!(
            "needs the soil temperature, {:.2} to {:.2} C; counts hold at {:.2} C",
            celsius_from_centi(term.lowest_centi),
            celsius_from_centi(term.highest_centi),
            celsius_from_centi(term.reference_centi)
        ),
        None => "does not look at the soil temperature".to_owned(),
    });
    lines.extend([
        format!(
            "start at or below theta_v {:.4} m3/m3 ({} counts), stop at or above {:.4} ({} counts)",
            theta_v_from_units(points.refill),
            points.refill_count,
            theta_v_from_units(points.stop),
            points.stop_count
        ),
        format!(
            "pump on for {} to {} s, off for {} s or more; {}",
            timing.minimum_on_s,
            timing.maximum_on_s,
            timing.minimum_off_s,
            if timing.stuck_after_s == 0 {
                "a stuck probe is not watched for".to_owned()
            } else {
                format!("stuck after {} s without change", timing.stuck_after_s)
            }
        ),
        format!(
            "within {:.4} m3/m3 of the fitted curve; straight lines between {} knots:",
            theta_v_from_units(record.max_error),
            record.knots.len()
        ),
    ]);
    lines.extend(record.knots.iter().map(|knot| {
        format!(
            "  {:>5} counts: theta_v {:.4} +- {:.4} m3/m3",
            knot.count,
            theta_v_from_units(knot.theta_v),
            theta_v_from_units(knot.expanded_uncertainty)
        )
    }));
    lines
}

/// A name as a JSON string in plain ASCII, without any character that could end
/// a comment.
fn quoted(name: &str) -> String {
    let mut text = String::from("\"");
    for unit in name.encode_utf16() {
        match u8::try_from(unit).map(char::from) {
            Ok(plain) if plain == ' ' || plain.is_ascii_alphanumeric() => text.push(plain),
            Ok(plain @ ('-' | '_' | '.' | ',' | '(' | ')' | '#' | '+' | ':')) => text.push(plain),
            _ => text.push_str(&format!("\\u{unit:04x}")),
        }
    }
    text.push('"');
    text
}

/// Reads a file that carries an image: the names from its heading, whose lines
/// begin with `mark`, and every number from `image`.
pub(super) fn read(
    text: &str,
    mark: &str,
    image: &[u8],
) -> Result<(ControllerRecord, u32), FileError> {
    let probe = name(text, mark, "probe")?;
    let soil = name(text, mark, "soil")?;
    let record = ControllerRecord::from_image(image, &probe, &soil)?;
    let crc = record.crc32();
    Ok((record, crc))
}

fn name(text: &str, mark: &str, what: &str) -> Result<String, FileError> {
    let start = format!("{mark}{what}: ");
    let fault = |line: usize, said: &str| FileError::Content {
        line: line as u64 + 1,
        what: format!("{said} the {what}"),
    };
    let (line, literal) = text
        .lines()
        .enumerate()
        .find_map(|(i, line)| Some((i, line.strip_prefix(start.as_str())?)))
        .ok_or_else(|| fault(0, "no line of the heading names"))?;
    serde_json::from_str(literal).map_err(|_| fault(line, "cannot read the name of"))
}
