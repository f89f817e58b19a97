//! What the core notices about cores and readings, put together as warnings: one
//! a kind, however many cores show it.

use crate::failure::Warning;
use calib_core::gravimetry::CoreWarning;
use calib_core::readings::Flag;

/// How many cores are named in one warning.
const NAMED: usize = 4;

/// Something noticed about one core or its readings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    what: String,
    why: &'static str,
    advice: &'static str,
}

impl From<&CoreWarning> for Notice {
    fn from(warning: &CoreWarning) -> Self {
        Self {
            what: warning.to_string(),
            why: warning.why(),
            advice: warning.advice(),
        }
    }
}

impl From<&Flag> for Notice {
    fn from(flag: &Flag) -> Self {
        Self {
            what: flag.to_string(),
            why: flag.why(),
            advice: flag.advice(),
        }
    }
}

/// Warnings about one place. Notices that ask for the same are of one kind: the
/// first is told in full, the cores of the others are named.
pub fn warnings(place: &str, notices: impl IntoIterator<Item = (String, Notice)>) -> Vec<Warning> {
    let mut kinds: Vec<(Notice, Vec<String>)> = Vec::new();
    for (core, notice) in notices {
        let same = |kind: &Notice| kind.why == notice.why && kind.advice == notice.advice;
        match kinds.iter_mut().find(|(kind, _)| same(kind)) {
            Some((_, cores)) => cores.push(core),
            None => kinds.push((notice, vec![core])),
        }
    }
    kinds
        .into_iter()
        .map(|(notice, cores)| Warning {
            place: place.to_owned(),
            what: told(&notice.what, &cores),
            why: notice.why.to_owned(),
            advice: notice.advice.to_owned(),
        })
        .collect()
}

/// `core A1: what (likewise A2, A3)`.
fn told(what: &str, cores: &[String]) -> String {
    let Some((first, others)) = cores.split_first() else {
        return what.to_owned();
    };
    let named = others
        .iter()
        .take(NAMED)
        .cloned()
        .collect::<Vec<_>>()
        .join(", ");
    match others.len() {
        0 => format!("core {first}: {what}"),
        n if n <= NAMED => format!("core {first}: {what} (likewise {named})"),
        n => format!(
            "core {first}: {what} (likewise {named} and {} more)",
            n - NAMED
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn too_few(used: usize) -> Notice {
        Notice::from(&Flag::TooFew { used, fewest: 5 })
    }

    #[test]
    fn notices_of_one_kind_become_one_warning() {
        let missing = Notice::from(&Flag::TemperatureMissing { missing: 9, of: 9 });
        let found = warnings(
            "probe p1",
            [
                ("A1".to_owned(), too_few(3)),
                ("A1".to_owned(), missing),
                ("A2".to_owned(), too_few(4)),
            ],
        );
        assert_eq!(found.len(), 2);
        assert_eq!(
            found[0].what,
            "core A1: only 3 usable readings where 5 are wanted (likewise A2)"
        );
        assert_eq!(
            found[1].what,
            "core A1: 9 of 9 readings have no soil temperature"
        );
    }

    #[test]
    fn many_cores_are_counted_not_listed() {
        let found = warnings("probe p1", (1..=9).map(|i| (format!("A{i}"), too_few(1))));
        assert_eq!(
            found[0].what,
            "core A1: only 1 usable reading where 5 are wanted (likewise A2, A3, A4, A5 and 4 more)"
        );
    }
}
