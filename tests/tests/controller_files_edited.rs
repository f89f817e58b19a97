//! Controller files changed on purpose and sealed anew, format by format: what the
//! digests cannot see, the rest of the reader does.

use calib_cli::controller::{ControllerFormat, FileError, load, render};
use calib_core::controller::ControllerTable;
use ovendry_tests::controller::{example, format};

/// Changes the text and seals it anew, as someone would who edits on purpose.
fn edited(
    format: &dyn ControllerFormat,
    from: &str,
    to: &str,
) -> Result<ControllerTable, FileError> {
    let text = render(format, &example());
    assert!(text.contains(from), "{from}");
    let seal = format.seal();
    let length = [seal.sha256.0, seal.sha256.1, seal.crc32.0, seal.crc32.1]
        .map(str::len)
        .iter()
        .sum::<usize>()
        + 64
        + 8;
    let changed = text.replacen(from, to, 1);
    let body = changed[..changed.len() - length].to_owned();
    load(format, seal.close(body).as_bytes())
}

#[track_caller]
fn refused(result: Result<ControllerTable, FileError>, line: Option<u64>, said: &str) {
    let error = result.expect_err("must be refused");
    assert!(error.to_string().contains(said), "{error}");
    assert_eq!(error.line(), line, "{error}");
}

#[test]
fn json_edited_and_sealed_anew_is_still_refused() {
    let edit = |from: &str, to: &str| edited(format("JSON"), from, to);
    refused(
        edit("\"count\": 372", "\"count\": 373"),
        None,
        "one of them was changed",
    );
    refused(edit("\"version\": 2", "\"version\": 1"), None, "version 1");
    refused(
        edit("ovendry controller", "other controller"),
        Some(2),
        "format: is not",
    );
    refused(edit("2025-04-02", "2025-02-30"), Some(6), "is not a date");
    refused(edit("\"max_error_e4\": 6,", ""), Some(26), "max_error_e4");
    refused(
        edit("\"adc_bits\"", "\"colour\": 1,\n  \"adc_bits\""),
        Some(8),
        "colour",
    );
    refused(
        edit("\"version\": 2", "\"version\": 2,\n  \"version\": 2"),
        Some(4),
        "duplicate",
    );
    refused(
        edit("\"version\": 2", "\"version\":  2"),
        Some(3),
        "not as version 2",
    );
    refused(
        edit("\"count\": 372", "\"count\": 372.0"),
        Some(16),
        "372.0",
    );
    refused(
        edit("\"divisor\": 65536", "\"divisor\": 3"),
        Some(12),
        "a divisor other than 1, 256 or 65536",
    );
    refused(
        edit("bench-3", "bench-3\\u0007"),
        None,
        "control characters",
    );
    // A name is covered by the file's own digests alone; whoever seals anew may change it.
    assert!(edit("bench-3", "bench-4").is_ok());
}

#[test]
fn a_csv_edited_and_sealed_anew_is_still_refused() {
    let edit = |from: &str, to: &str| edited(format("CSV"), from, to);
    let line_of = |text: &str| {
        let table = render(format("CSV"), &example());
        let found = table.lines().position(|line| line.starts_with(text));
        Some(found.unwrap() as u64 + 1)
    };
    let count = "knots.count,1,372";
    refused(edit(count, "knots.count,1,373"), None, "was changed");
    refused(
        edit(count, "knots.count,1,372.5"),
        line_of(count),
        "\"372.5\" is not a whole number",
    );
    refused(
        edit(count, "knots.count,3,372"),
        line_of(count),
        "does not belong here",
    );
    refused(
        edit(count, "knots.count,1"),
        line_of(count),
        "no row of three",
    );
    refused(
        edit(count, "knots.count,1,372\nknots.count,1,372"),
        line_of(count).map(|line| line + 1),
        "does not belong here",
    );
    refused(edit(count, ""), Some(1), "count");
    refused(edit(count, "knots.colour,1,372"), Some(1), "colour");
    refused(edit("version,,2", "version,,1"), None, "version 1");
    refused(
        edit("2025-04-02", "2025-02-30"),
        line_of("calibrated_on"),
        "is not a date",
    );
    refused(
        edit("version,,2", "version,,+2"),
        line_of("version"),
        "not as version 2",
    );
}

#[test]
fn a_header_edited_and_sealed_anew_is_still_refused() {
    let edit = |from: &str, to: &str| edited(format("C header"), from, to);
    let line_of = |text: &str| {
        let header = render(format("C header"), &example());
        let found = header.lines().position(|line| line.contains(text));
        Some(found.unwrap() as u64 + 1)
    };
    // Whatever byte is changed, the image's CRC-32 tells; the version before it.
    let first_row = line_of("    0x02, 0x03");
    refused(edit("0x02, 0x03", "0x02, 0x02"), None, "was changed");
    refused(edit("0x02, 0x03", "0x01, 0x03"), None, "version 1");
    refused(edit("0x02, 0x03", "0x02, 3"), first_row, "is not a byte");
    refused(edit("};", "}"), line_of("};"), "\"}\" is not a byte");
    refused(edit("OVENDRY_FLASH =", "="), Some(1), "no bytes of a table");
    // The words for people count too, and so does what the compiler reads.
    refused(
        edit("(532 counts)", "(533 counts)"),
        line_of("532 counts"),
        "not as version 2",
    );
    refused(
        edit("#include \"ovendry", "#include \"other"),
        line_of("#include"),
        "not as version 2",
    );
    refused(edit("probe: \"", "probe: "), line_of("probe: \""), "name");
    refused(edit(" * soil:", " * soul:"), Some(1), "names the soil");
}

#[test]
fn a_module_edited_and_sealed_anew_is_still_refused() {
    let edit = |from: &str, to: &str| edited(format("MicroPython module"), from, to);
    let line_of = |text: &str| {
        let module = render(format("MicroPython module"), &example());
        let found = module.lines().position(|line| line.contains(text));
        Some(found.unwrap() as u64 + 1)
    };
    let row = line_of("# version, flags");
    refused(edit("\\x02\\x03", "\\x02\\x02"), None, "was changed");
    refused(edit("\\x02\\x03", "\\x01\\x03"), None, "version 1");
    refused(edit("\\x02\\x03", "\\x02x"), row, "is no row of bytes");
    refused(
        edit("    b\"\\x02", "    \"\\x02"),
        row,
        "is no row of bytes",
    );
    refused(
        edit("TABLE = (\n", "TABLE = \n"),
        Some(1),
        "no bytes of a table",
    );
    refused(
        edit("# full scale", "# all of it"),
        line_of("# full scale"),
        "not as version 2",
    );
    // The reader's code counts too.
    refused(
        edit("held >= _u32(42)", "held >= 0"),
        line_of("held >= _u32(42)"),
        "not as version 2",
    );
    refused(edit("\nsoil:", "\nsoul:"), Some(1), "names the soil");
}

#[test]
fn an_expression_edited_and_sealed_anew_is_still_refused() {
    let edit = |from: &str, to: &str| edited(format("SQL expression"), from, to);
    let line_of = |text: &str| {
        let expression = render(format("SQL expression"), &example());
        let found = expression.lines().position(|line| line.contains(text));
        Some(found.unwrap() as u64 + 1)
    };
    refused(edit("image: 0203", "image: 0202"), None, "was changed");
    refused(
        edit("image: 0203", "image: 02 3"),
        line_of("image: 0203"),
        "is not a line of bytes",
    );
    // The expression is no part of the image, but is written from it again.
    refused(
        edit("> 1023 THEN", "> 1022 THEN"),
        line_of("> 1023 THEN"),
        "not as version 2",
    );
    refused(
        edit("THEN -30007", "THEN 30007"),
        line_of("THEN -30007"),
        "not as version 2",
    );
    refused(edit("-- probe:", "-- probes:"), Some(1), "names the probe");
}
