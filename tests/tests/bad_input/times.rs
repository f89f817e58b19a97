//! Times, and the pattern they are declared in.

use super::Edit::{Change, Whole};
use super::{READINGS, SAMPLES, SITE, refused};

kinds! {
    "day-first-date" a_spreadsheets_date_gets_its_pattern_suggested:
        Change(READINGS, "2026-05-09T08:14:00Z", "25/11/2026 14:05")
        => "readings.csv:31: timestamp = \"25/11/2026 14:05\": is not a time in RFC 3339 form",
           "declare time_format = \"%d/%m/%Y %H:%M\" and utc_offset = \"+01:00\" (your own) under [site] in site.toml";
    "dates-all-day-first" a_column_of_dates_gets_its_pattern_suggested:
        Whole(READINGS, b"timestamp,probe_id,raw_count\n25/11/2026 14:05,P1,512\n")
        => "readings.csv:2: timestamp = \"25/11/2026 14:05\": is not a time in RFC 3339 form",
           "declare time_format = \"%d/%m/%Y %H:%M\" and utc_offset = \"+01:00\" (your own) under [site] in site.toml";
    "day-or-month-first" dates_that_may_be_read_two_ways_get_both_patterns_suggested:
        Whole(READINGS, b"timestamp,probe_id,raw_count\n5/6/2026 14:05,P1,512\n")
        => "readings.csv:2: timestamp = \"5/6/2026 14:05\": is not a time in RFC 3339 form",
           "declare time_format = \"%d/%m/%Y %H:%M\" or \"%m/%d/%Y %H:%M\", whichever is meant, and utc_offset = \"+01:00\" (your own) under [site] in site.toml";
    "spreadsheet-day-number" a_spreadsheets_day_number_is_recognised:
        Whole(READINGS, b"timestamp,probe_id,raw_count\n46351.5868,P1,512\n")
        => "readings.csv:2: timestamp = \"46351.5868\": is not a time in RFC 3339 form",
           "it is a spreadsheet's day number: format the column as yyyy-mm-dd hh:mm:ss and export again";
    "no-offset" a_time_without_its_offset_is_refused:
        Change(READINGS, "2026-05-09T08:14:00Z", "2026-05-09T08:14:00")
        => "readings.csv:31: timestamp = \"2026-05-09T08:14:00\": does not say its offset from UTC",
           "declare it for all times with utc_offset = \"+01:00\" (your own) under [site] in site.toml, or write it behind each time";
    "not-the-pattern" a_time_unlike_the_declared_pattern_is_refused:
        Change(SITE, "[site]", "[site]\ntime_format = \"%Y-%m-%dT%H:%M:%SZ\"\nutc_offset = \"Z\""),
        Change(SAMPLES, "2026-05-05T08:15:00Z", "5 May")
        => "samples.csv:3: taken_at = \"5 May\": is neither in RFC 3339 form nor like time_format \"%Y-%m-%dT%H:%M:%SZ\" of site.toml",
           "write it like 2026-11-25T14:05:00Z or 2026-11-25T14:05:00+01:00, or add the pattern of the file: time_format = [\"%Y-%m-%dT%H:%M:%SZ\", \"...\"] under [site] in site.toml";
    "clock-not-set" a_clock_that_was_never_set_is_recognised:
        Change(READINGS, "2026-05-04T08:10:00Z", "1970-01-01T00:00:07Z")
        => "readings.csv:2: timestamp = \"1970-01-01T00:00:07Z\": is before 2001: the logger's clock was not set",
           "set the clock; remove these rows, or correct their times if you know by how much";
    "year-too-late" a_time_in_another_century_is_refused:
        Change(READINGS, "2026-05-09T08:14:00Z", "2126-05-09T08:14:00Z")
        => "readings.csv:31: timestamp = \"2126-05-09T08:14:00Z\": is after 2099",
           "correct the year, or time_format in site.toml";
    "time-missing" a_reading_without_a_time_is_refused:
        Change(READINGS, "2026-05-09T08:14:00Z", "")
        => "readings.csv:31: timestamp = \"\": is empty",
           "write the time, or remove the row";
    "time-running-back" a_time_before_the_one_above_is_refused:
        Change(READINGS, "2026-05-05T08:12:00Z", "2026-05-04T20:12:00Z")
        => "readings.csv:9: timestamp = \"2026-05-04T20:12:00Z\": is earlier than the reading of P1 before it (2026-05-05T08:11:00Z in line 8)",
           "sort the file by time; if the clock was set back, correct the times before it";
}
