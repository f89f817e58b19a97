//! site.toml: blanks behind lines and runs of empty lines. Everything it declares is
//! compared before and after.

use super::{Changes, Left};

/// The text in its plainest form.
pub(super) fn tidy(text: &str, changes: &mut Changes) -> Result<String, Left> {
    let Ok(declared) = text.parse::<toml::Table>() else {
        return Err("its syntax is to be mended first".to_owned());
    };
    let mut lines: Vec<&str> = Vec::new();
    for (number, line) in (1..).zip(text.split_terminator('\n')) {
        let trimmed = line.trim_end_matches([' ', '\t']);
        if trimmed.len() < line.len() {
            changes.at(number, "blanks at the ends of lines are taken off", false);
        }
        if trimmed.is_empty() && lines.last().is_none_or(|last| last.is_empty()) {
            changes.at(number, "empty lines beyond one are left out", false);
            continue;
        }
        lines.push(trimmed);
    }
    let mut after = lines.join("\n");
    if text.ends_with('\n') {
        after.push('\n');
    }
    match after.parse::<toml::Table>() {
        Ok(declares) if declares == declared => Ok(after),
        _ => Err("a text of several lines in it would not stay the same".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blanks_and_empty_lines_go_and_what_is_declared_stays() {
        let mut changes = Changes::default();
        let after = tidy(
            "\n\n[site]  \nname = \"a\"\n\n\n# x\t\nu = 1.50\n",
            &mut changes,
        );
        assert_eq!(
            after.as_deref(),
            Ok("[site]\nname = \"a\"\n\n# x\nu = 1.50\n")
        );
        assert_eq!(changes.0.len(), 2);
        assert_eq!(changes.0[0].lines, [1, 2, 6]);
        assert_eq!(changes.0[1].lines, [3, 7]);
    }

    #[test]
    fn a_text_of_several_lines_that_would_change_is_left() {
        let text = "[site]\nname = \"\"\"a  \n\n\nb\"\"\"\n";
        assert!(tidy(text, &mut Changes::default()).is_err());
    }
}
