//! What can be wrong with weather.csv.

use super::Edit::Whole;
use super::refused;

const WEATHER: &str = "weather.csv";

macro_rules! days {
    ($($row:literal),+) => {
        concat!("date,evapotranspiration_mm,rain_mm\n", $($row, "\n"),+).as_bytes()
    };
}

kinds! {
    "weather-day-form" a_day_in_another_form_is_refused by ["replay", "."]:
        Whole(WEATHER, days!("2026-05-04,4.7,0", "05/05/2026,4.7,0"))
        => "weather.csv:3: date = \"05/05/2026\": is not a day in the form year-month-day",
           "write it like 2026-05-04; format the column as yyyy-mm-dd in a spreadsheet";
    "weather-day-missing" a_day_left_out_of_the_weather_is_refused by ["replay", "."]:
        Whole(WEATHER, days!("2026-05-04,4.7,0", "2026-05-06,4.7,0"))
        => "weather.csv:3: date = \"2026-05-06\": does not follow 2026-05-04 in line 2: days in between are missing",
           "write a row for each day; the day before and after are a fair guess of one that was not recorded";
    "weather-day-twice" a_day_that_stands_twice_in_the_weather_is_refused by ["replay", "."]:
        Whole(WEATHER, days!("2026-05-04,4.7,0", "2026-05-04,4.7,0"))
        => "weather.csv:3: date = \"2026-05-04\": does not come after 2026-05-04 in line 2",
           "sort the file by day, and keep one row for each";
    "weather-water-use" a_days_use_of_water_no_field_has_is_refused by ["replay", "."]:
        Whole(WEATHER, days!("2026-05-04,47,0"))
        => "weather.csv:2: evapotranspiration_mm = \"47\": lies outside 0 to 20 mm a day",
           "give the crop's use of water in millimetres a day, 2 to 9 in most weather";
    "weather-rain-negative" rain_below_nothing_is_refused by ["replay", "."]:
        Whole(WEATHER, days!("2026-05-04,4.7,-1"))
        => "weather.csv:2: rain_mm = \"-1\": lies outside 0 to 1000 mm a day",
           "give the day's rain in millimetres, 0 for a dry day";
    "weather-no-number" a_day_without_a_figure_is_refused by ["replay", "."]:
        Whole(WEATHER, days!("2026-05-04,,0"))
        => "weather.csv:2: evapotranspiration_mm = \"\": is empty",
           "write the value, or remove the row";
    "weather-named-but-not-there" a_weather_file_that_is_not_there_is_named by ["replay", ".", "--weather", "rain.csv"]:
        Whole(WEATHER, days!("2026-05-04,4.7,0"))
        => "rain.csv: is missing",
           "put it there, or run `ovendry start` to have a workbench folder laid out";
}
