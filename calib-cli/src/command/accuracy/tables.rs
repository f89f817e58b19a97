//! The tables of `ovendry accuracy`.

use super::report::Part;
use crate::text_table::{Column, TextTable};
use calib_core::accuracy::{Division, Interval, Measure, Stratum};

/// Rows of a division shown; more probes or soils than this are cut short.
const MOST_ROWS: usize = 60;

impl Part {
    /// Every measure with its interval.
    pub(super) fn measures(&self) -> TextTable<4> {
        let mut table = TextTable::new([
            Column::words("measure"),
            Column::numbers("value", ""),
            Column::numbers("95 % interval", ""),
            Column::words("unit"),
        ]);
        let m = &self.study.measures;
        let drawn = |measure| {
            let drawn = self.study.bootstrap.as_ref()?;
            let found = drawn.measures.iter().find(|one| one.measure == measure)?;
            Some(found.interval)
        };
        let unit = "m3/m3";
        let bias = self.study.bias.as_ref().map(|bias| bias.interval);
        let concordance = m.concordance.as_ref();
        let rows = [
            (
                "bias",
                Some(m.bias),
                bias.or_else(|| drawn(Measure::Bias)),
                unit,
            ),
            ("RMSE", Some(m.rmse), drawn(Measure::Rmse), unit),
            (
                "unbiased RMSE",
                Some(m.unbiased_rmse),
                drawn(Measure::UnbiasedRmse),
                unit,
            ),
            (
                "MAE",
                Some(m.mean_absolute_error),
                drawn(Measure::MeanAbsoluteError),
                unit,
            ),
            ("R2", m.r_squared, drawn(Measure::RSquared), ""),
            (
                "Nash-Sutcliffe",
                m.nash_sutcliffe,
                drawn(Measure::NashSutcliffe),
                "",
            ),
            (
                "Lin's concordance",
                concordance.map(|found| found.value),
                concordance
                    .and_then(|found| found.interval)
                    .or_else(|| drawn(Measure::Concordance)),
                "",
            ),
        ];
        for (name, value, interval, unit) in rows {
            if let Some(value) = value {
                let signed = name == "bias";
                table.push(row(name, value, interval, unit, signed));
            }
        }
        let reference = self.study.reference_error.as_ref();
        if let Some(reference) = reference.filter(|found| found.u > 0.0) {
            let rmse = &reference.rmse;
            table.push(row(
                "RMSE, cores' error taken off",
                rmse.value,
                rmse.interval,
                unit,
                false,
            ));
        }
        if let Some(limits) = &self.study.limits {
            for (name, limit) in [
                ("limits of agreement: upper", &limits.upper),
                ("limits of agreement: lower", &limits.lower),
            ] {
                table.push(row(name, limit.value, Some(limit.interval), unit, true));
            }
        }
        if let Some(found) = &self.study.proportional {
            let slope = &found.slope;
            table.push(row("slope", slope.value, Some(slope.interval), "", false));
        }
        table
    }

    /// The same by ranges or names; nothing where there is only one.
    pub(super) fn division(&self, division: Division, heading: &'static str) -> String {
        let strata: Vec<&Stratum> = self
            .study
            .strata
            .iter()
            .filter(|stratum| stratum.division == division)
            .collect();
        if strata.is_empty() {
            return String::new();
        }
        let mut missing = false;
        let mut table = TextTable::new([
            Column::words(heading),
            Column::numbers("readings", ""),
            Column::numbers("bias", "m3/m3"),
            Column::numbers("95 % interval", ""),
            Column::numbers("RMSE", "m3/m3"),
            Column::numbers("95 % lie between", "m3/m3"),
        ]);
        for stratum in strata.iter().take(MOST_ROWS) {
            let measures = stratum.measures.as_ref();
            missing |= stratum.bias.is_none() || stratum.limits.is_none();
            let number =
                |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |v| format!("{v:.4}"));
            let signed =
                |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |v| format!("{v:+.4}"));
            table.push([
                range(stratum),
                stratum.pairs.to_string(),
                signed(measures.map(|found| found.bias)),
                stratum
                    .bias
                    .as_ref()
                    .map_or_else(|| "-".to_owned(), |bias| interval(bias.interval, true)),
                number(measures.map(|found| found.rmse)),
                stratum.limits.as_ref().map_or_else(
                    || "-".to_owned(),
                    |limits| format!("{:+.4} to {:+.4}", limits.lower.value, limits.upper.value),
                ),
            ]);
        }
        let more = strata.len().saturating_sub(MOST_ROWS);
        let rest = if more > 0 {
            format!("({more} more are in --json)\n")
        } else {
            String::new()
        };
        let few = if missing {
            "(-: too few places or cores to say)\n"
        } else {
            ""
        };
        format!("{table}{rest}{few}\n")
    }
}

fn row(name: &str, value: f64, of: Option<Interval>, unit: &str, signed: bool) -> [String; 4] {
    let value = if signed {
        format!("{value:+.4}")
    } else {
        format!("{value:.4}")
    };
    [
        name.to_owned(),
        value,
        of.map_or_else(|| "-".to_owned(), |of| interval(of, signed)),
        unit.to_owned(),
    ]
}

fn interval(of: Interval, signed: bool) -> String {
    if signed {
        format!("{:+.4} to {:+.4}", of.low, of.high)
    } else {
        format!("{:.4} to {:.4}", of.low, of.high)
    }
}

/// `0.052 to 0.131`, or a name.
fn range(stratum: &Stratum) -> String {
    let digits = if stratum.division == Division::Temperature {
        1
    } else {
        3
    };
    match (&stratum.name, stratum.low, stratum.high) {
        (Some(name), _, _) => name.clone(),
        (None, Some(low), Some(high)) => format!("{low:.digits$} to {high:.digits$}"),
        (None, low, high) => format!("{low:?} to {high:?}"),
    }
}
