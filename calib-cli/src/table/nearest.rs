//! The known name a mistyped one was probably meant to be.

/// Similarity from 0 to 1 above which a name is worth suggesting.
const CLOSE_ENOUGH: f64 = 0.6;

/// The name in `known` most like `written`, if any is close.
///
/// Case, blanks and punctuation are ignored. A name that contains the other
/// (`count` and `raw_count`), or has all its words (`Dry weight (g)` and
/// `dry_g`), counts as close.
pub fn nearest<'k>(written: &str, known: impl IntoIterator<Item = &'k str>) -> Option<&'k str> {
    if bare(written).is_empty() {
        return None;
    }
    known
        .into_iter()
        .map(|name| (likeness(written, name), name))
        .filter(|(likeness, _)| *likeness >= CLOSE_ENOUGH)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name)
}

/// Share of a name's letters that a slip of the pen leaves as they are.
const SLIP: f64 = 0.8;

/// Whether `written` is `known` but for case, blanks, punctuation or a letter or
/// two: nobody gives a column of their own such a name.
pub fn slip_of(written: &str, known: &str) -> bool {
    strsim::normalized_damerau_levenshtein(&bare(written), &bare(known)) >= SLIP
}

fn bare(name: &str) -> String {
    name.chars()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_lowercase)
        .collect()
}

fn likeness(a: &str, b: &str) -> f64 {
    let (bare_a, bare_b) = (bare(a), bare(b));
    let edits = strsim::normalized_damerau_levenshtein(&bare_a, &bare_b);
    let (short, long) = if bare_a.len() <= bare_b.len() {
        (&bare_a, &bare_b)
    } else {
        (&bare_b, &bare_a)
    };
    let contained = short.len() >= 3 && long.contains(short.as_str());
    if contained || has_words_of(a, b) || has_words_of(b, a) {
        edits.max(CLOSE_ENOUGH + 0.1 * edits)
    } else {
        edits
    }
}

/// Whether every word of `name` begins a word of `text`; single letters must be
/// whole words.
fn has_words_of(text: &str, name: &str) -> bool {
    let words = |text: &str| -> Vec<String> {
        text.to_lowercase()
            .split(|c: char| !c.is_alphanumeric())
            .filter(|word| !word.is_empty())
            .map(str::to_owned)
            .collect()
    };
    let (text, name) = (words(text), words(name));
    name.len() >= 2
        && name.iter().all(|word| {
            text.iter()
                .any(|other| other == word || (word.len() >= 3 && other.starts_with(word)))
        })
}

/// Units as names of keys and columns end in them.
const UNITS: &[&str] = &[
    "mm", "cm", "m", "g", "mg", "kg", "cm3", "mm3", "ml", "l", "m2", "ha", "a", "s", "min", "h",
    "c", "f", "k", "mv", "v", "percent", "minutes", "seconds", "hours",
];

/// The units two names end in, where they differ: such a name must not just be
/// changed, for the number behind it would change its meaning.
pub fn other_unit<'n>(written: &'n str, known: &'n str) -> Option<(&'n str, &'n str)> {
    let unit = |name: &'n str| {
        name.rsplit('_')
            .next()
            .filter(|last| UNITS.contains(&last.to_lowercase().as_str()))
    };
    let (from, to) = (unit(written)?, unit(known)?);
    (!from.eq_ignore_ascii_case(to)).then_some((from, to))
}

/// The unit a name ends in, however its words are parted.
pub fn unit_of(name: &str) -> Option<String> {
    let last = name
        .split(|c: char| !c.is_alphanumeric())
        .rfind(|word| !word.is_empty())?
        .to_lowercase();
    UNITS.contains(&last.as_str()).then_some(last)
}

/// `the known ones are a, b and c`, for when nothing is near.
pub fn listed<'k>(names: impl IntoIterator<Item = &'k str>) -> String {
    let names: Vec<&str> = names.into_iter().collect();
    match names.as_slice() {
        [] => "none".to_owned(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slips_units_in_brackets_and_shortened_names_are_recognised() {
        let known = ["dry_g", "dry_again_g", "wet_g", "raw_count", "timestamp"];
        assert_eq!(nearest("Dry (g)", known), Some("dry_g"));
        assert_eq!(nearest("Dry weight (g)", known), Some("dry_g"));
        assert_eq!(
            nearest("Soil temperature, C", ["soil", "soil_temp_c"]),
            Some("soil_temp_c")
        );
        assert_eq!(nearest("raw_cuont", known), Some("raw_count"));
        assert_eq!(nearest("count", known), Some("raw_count"));
        assert_eq!(nearest("time", known), Some("timestamp"));
    }

    #[test]
    fn a_name_in_another_unit_is_told_from_a_slip() {
        assert_eq!(
            other_unit("root_depth_cm", "root_depth_mm"),
            Some(("cm", "mm"))
        );
        assert_eq!(other_unit("dry_kg", "dry_g"), Some(("kg", "g")));
        assert_eq!(other_unit("root_dept_mm", "root_depth_mm"), None);
        assert_eq!(other_unit("root_depth", "root_depth_mm"), None);
    }

    #[test]
    fn a_slip_is_told_from_a_name_that_only_shares_a_word() {
        for (written, known) in [
            ("taken-at", "taken_at"),
            ("Taken At", "taken_at"),
            ("count_low_medum", "count_low_medium"),
            ("bach", "batch"),
        ] {
            assert!(slip_of(written, known), "{written}");
        }
        for (written, known) in [("weighed_at", "taken_at"), ("batch_of_seed", "batch")] {
            assert!(!slip_of(written, known), "{written}");
        }
    }

    #[test]
    fn nothing_is_suggested_for_a_name_unlike_any() {
        assert_eq!(nearest("operator", ["dry_g", "soil"]), None);
        assert_eq!(nearest("", ["dry_g"]), None);
    }
}
