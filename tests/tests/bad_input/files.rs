//! Files as a whole, headers, rows and numbers.

use super::Edit::{Change, Missing, Semicolons, Whole};
use super::{READINGS, SAMPLES, SITE, refused};

kinds! {
    // Files as a whole.
    "site-missing" a_missing_site_file_is_named:
        Missing(SITE)
        => "site.toml: is missing",
           "put it there, or run `ovendry start` to have a workbench folder laid out";
    "table-missing" a_missing_table_is_named:
        Missing(SAMPLES)
        => "samples.csv: is missing",
           "put it there, or run `ovendry start` to have a workbench folder laid out";
    "empty-file" an_empty_file_is_named:
        Whole(SAMPLES, b"\r\n")
        => "samples.csv: is empty",
           "fill it, or run `ovendry start` in another folder to see what it should hold";
    "no-rows" a_table_without_rows_is_named:
        Whole(READINGS, b"timestamp,probe_id,raw_count\n,,\n")
        => "readings.csv:1: holds a header and no rows",
           "add a row for each thing measured";
    "not-utf-8" text_in_another_encoding_is_refused:
        Whole(SAMPLES, b"sample_id,soil,level,tare_g,wet_g,dry_g,note\nA1,loam,L1,38,190,178,s\xFCd\n")
        => "samples.csv:2: is not UTF-8 text",
           "export it again as CSV with UTF-8 text";
    "utf-16" two_byte_text_is_refused:
        Whole(READINGS, b"\xFF\xFEt\0i\0m\0e\0")
        => "readings.csv: is UTF-16 text, not UTF-8",
           "export it again as CSV with UTF-8 text";
    "spreadsheet-document" a_spreadsheet_document_named_csv_is_refused:
        Whole(SAMPLES, b"PK\x03\x04\x14\0")
        => "samples.csv: is a spreadsheet document, not text",
           "export it again as CSV with UTF-8 text";
    "zero-bytes" a_log_damaged_by_a_power_cut_is_refused:
        Change(READINGS, "2026-05-05T08:12:00Z,P1,613", "2026-05-05T\0\0\0\0\0\0")
        => "readings.csv:9: holds a zero byte, as a log does after the power failed while writing",
           "remove the damaged line";

    // Header and rows.
    "no-header" rows_without_a_header_are_refused:
        Change(READINGS, "timestamp,probe_id,raw_count,soil_temp_c,supply_mv,sample_id\n", "")
        => "readings.csv:1: is not a header: it names none of the columns",
           "let the first line name the columns: at least timestamp, probe_id and raw_count";
    "column-renamed" a_header_with_its_unit_in_brackets_gets_the_name_suggested:
        Change(SAMPLES, ",dry_g,", ",Dry mass [g],")
        => "samples.csv:1: dry_g: the column is missing",
           "rename the column `Dry mass [g]` to `dry_g`";
    "column-missing" a_column_left_out_is_named_with_its_meaning:
        Whole(READINGS, b"timestamp,raw_count\n2026-05-04T08:10:00Z,663\n")
        => "readings.csv:1: probe_id: the column is missing",
           "add a column `probe_id`: id of the probe in site.toml";
    "column-mistyped" a_slip_in_a_column_that_may_be_left_out_is_recognised:
        Change(READINGS, "soil_temp_c", "Soil-tmp C")
        => "readings.csv:1: Soil-tmp C: looks like the column `soil_temp_c`, which is not there",
           "rename the column `Soil-tmp C` to `soil_temp_c`, or give a column of your own another name";
    "column-in-another-unit" a_column_in_another_unit_is_not_just_renamed:
        Change(READINGS, "soil_temp_c", "soil_temp_f")
        => "readings.csv:1: soil_temp_f: looks like the column `soil_temp_c`, which is not there",
           "convert the column `soil_temp_f` from f to c and name it `soil_temp_c`, or give a column of your own another name";
    "out-is-a-file" results_in_a_file_are_refused by ["fit", ".", "--out", "good.csv"]:
        Whole("good.csv", b"mine")
        => "good.csv: is a file; --out names a folder",
           "name a folder, or one that is not there yet";
    "column-twice" a_column_that_stands_twice_is_refused:
        Change(READINGS, "supply_mv", "raw_count")
        => "readings.csv:1: raw_count: stands in the header twice",
           "rename or remove one of the two columns";
    "row-cut-off" a_row_cut_off_while_writing_is_refused:
        Change(READINGS, "2026-05-09T08:14:00Z,P1,391,18.5,3301,A6\n", "2026-05-09T08:14:00Z,P1,39")
        => "readings.csv:31: the row has 3 cells where the header names 6",
           "complete the row, or remove it if the log was cut off while writing it";
    "cell-too-many" a_decimal_comma_in_a_comma_file_makes_a_cell_too_many:
        Change(SAMPLES, "38.10", "38,10")
        => "samples.csv:3: the row has 11 cells where the header names 10",
           "write decimal points, and put a text with a comma into quotation marks; or export with semicolons between the cells";
    "quote-not-closed" a_quotation_mark_that_swallows_rows_is_refused:
        Change(SAMPLES, "2026-05-06T08:15:00Z,invented", "2026-05-06T08:15:00Z,\"invented"),
        Change(SAMPLES, "2026-05-09T08:15:00Z,invented", "2026-05-09T08:15:00Z,invented\"")
        => "samples.csv:4: a quotation mark opened here holds the text up to line 7",
           "close it on the same line, and keep each note on one line";
    "quote-never-closed" a_quotation_mark_that_is_never_closed_is_refused:
        Change(SAMPLES, "2026-05-05T08:15:00Z,invented", "2026-05-05T08:15:00Z,\"invented")
        => "samples.csv:3: a quotation mark opened here is never closed",
           "close it on the same line";

    // Numbers.
    "text-for-number" text_where_a_number_belongs_is_refused:
        Change(SAMPLES, "38.10", "38.1o")
        => "samples.csv:3: tare_g = \"38.1o\": is not a number",
           "write the number alone, e.g. 188.15";
    "nan" nan_is_no_mass:
        Change(SAMPLES, "178.52", "NaN")
        => "samples.csv:3: dry_g = \"NaN\": stands for no number",
           "weigh or read it again, or remove the row";
    "infinity" infinity_is_no_count:
        Change(READINGS, ",614,", ",inf,")
        => "readings.csv:8: raw_count = \"inf\": stands for no number",
           "weigh or read it again, or remove the row";
    "spreadsheet-error" a_spreadsheets_error_mark_is_refused:
        Change(SAMPLES, "38.10", "#REF!")
        => "samples.csv:3: tare_g = \"#REF!\": is a spreadsheet's error mark, not a number",
           "mend the formula in the spreadsheet and export again";
    "thousands-separator" a_thousands_separator_is_refused:
        Change(READINGS, "18.5,3301,A6", "18.5,\"3,301.0\",A6")
        => "readings.csv:31: supply_mv = \"3,301.0\": has a thousands separator",
           "write the digits without it, e.g. 1234.5";
    "unit-in-cell" a_number_with_its_unit_is_refused:
        Change(SAMPLES, "38.10", "38.10 g")
        => "samples.csv:3: tare_g = \"38.10 g\": carries a unit",
           "write the number alone; the column's name says the unit";
    "quoted-decimal-comma" a_quoted_decimal_comma_in_a_comma_file_is_refused:
        Change(SAMPLES, "38.10", "\"38,10\"")
        => "samples.csv:3: tare_g = \"38,10\": has a decimal comma in a file whose cells are parted by commas",
           "write a decimal point, or export with semicolons between the cells";
    "decimal-mix" decimal_points_among_decimal_commas_are_refused:
        Semicolons(SAMPLES), Change(SAMPLES, "38,10;", "38.10;")
        => "samples.csv:3: tare_g = \"38.10\": has a decimal point where line 2 (tare_g = \"38,42\") has a decimal comma",
           "use one decimal mark throughout the file";
}
