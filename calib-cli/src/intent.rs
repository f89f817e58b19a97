//! What a person had in mind who typed a command there is none of: the command by what
//! it is for, or one that came after its folder.

use crate::meant;
use clap::builder::StyledStr;
use clap::error::{ContextKind, ContextValue, ErrorKind};
use std::path::Path;

/// Words people think of, and the command each of them wants.
const THOUGHTS: &[(&str, &[&str])] = &[
    (
        "start",
        &[
            "init",
            "new",
            "create",
            "setup",
            "begin",
            "demo",
            "example",
            "workbench",
        ],
    ),
    (
        "status",
        &["where", "next", "info", "todo", "state", "overview", "now"],
    ),
    (
        "plan",
        &[
            "design",
            "sheet",
            "record-sheet",
            "levels",
            "prepare",
            "pack",
            "schedule",
        ],
    ),
    (
        "capture",
        &[
            "log", "logger", "record", "serial", "port", "listen", "monitor", "import", "live",
        ],
    ),
    (
        "check",
        &[
            "lint", "problems", "errors", "test", "fix", "clean", "doctor", "mend", "inspect",
        ],
    ),
    (
        "calibrate",
        &["calibration", "all", "run", "go", "everything", "do"],
    ),
    (
        "fit",
        &[
            "curve",
            "regression",
            "regress",
            "model",
            "budget",
            "uncertainty",
            "bootstrap",
        ],
    ),
    ("pair", &["join", "merge", "pairs"]),
    (
        "accuracy",
        &[
            "validate",
            "validation",
            "error",
            "rmse",
            "bias",
            "agreement",
        ],
    ),
    (
        "soil",
        &[
            "texture",
            "soils",
            "field-capacity",
            "wilting-point",
            "retention",
            "triangle",
        ],
    ),
    (
        "batch",
        &["probes", "many", "tolerance", "outliers", "spread"],
    ),
    (
        "setpoints",
        &[
            "set-points",
            "threshold",
            "thresholds",
            "refill",
            "stop",
            "pump",
            "irrigation",
            "irrigate",
            "water",
            "band",
            "explain",
        ],
    ),
    (
        "replay",
        &["simulate", "simulation", "season", "compare-rules"],
    ),
    (
        "drift",
        &["recheck", "spot-check", "ageing", "aging", "due"],
    ),
    (
        "export",
        &[
            "controller",
            "controllers",
            "write",
            "save",
            "header",
            "load",
            "build",
            "c",
        ],
    ),
    ("verify", &["proof", "prove", "crc", "valid"]),
    ("compare", &["diff", "changes", "changed"]),
    ("report", &["html", "page", "summary", "print", "show"]),
    ("schema", &["json", "schemas"]),
    ("completions", &["completion", "complete", "shell"]),
    ("man", &["manual", "docs", "doc"]),
];

/// The same refusal, with what was probably meant where that can be told.
pub fn advised(mut refused: clap::Error, commands: &[String]) -> clap::Error {
    if refused.kind() != ErrorKind::InvalidSubcommand {
        return refused;
    }
    let Some(ContextValue::String(typed)) = refused.get(ContextKind::InvalidSubcommand) else {
        return refused;
    };
    let after: Vec<String> = std::env::args()
        .skip_while(|word| word != typed)
        .skip(1)
        .collect();
    if let Some(advice) = advice(typed, &after, commands) {
        refused.remove(ContextKind::SuggestedSubcommand);
        refused.insert(
            ContextKind::Suggested,
            ContextValue::StyledStrs(vec![StyledStr::from(advice)]),
        );
    }
    refused
}

/// What was meant by `typed`, which is no command, and by the words after it.
fn advice(typed: &str, after: &[String], commands: &[String]) -> Option<String> {
    let is_command = |word: &&str| commands.iter().any(|command| command == word);
    let thought = |word: &str| {
        THOUGHTS
            .iter()
            .find(|(_, words)| words.contains(&word.to_lowercase().as_str()))
            .map(|(command, _)| *command)
            .filter(|command| is_command(command))
    };
    if let Some(command) = thought(typed) {
        return Some(format!("for that there is `ovendry {command}`"));
    }
    let path = Path::new(typed);
    if !path.exists() {
        return None;
    }
    let second = after.first().map(String::as_str);
    let command = second.and_then(|word| Some(word).filter(is_command).or_else(|| thought(word)));
    if let Some(command) = command {
        return Some(format!(
            "the command comes first: `ovendry {command} {typed}`"
        ));
    }
    Some(match meant::kind(path) {
        _ if path.is_dir() => {
            format!("the command comes first; `ovendry status {typed}` says what is next there")
        }
        Some((kind, mend)) => format!("{typed} is {kind}: {mend}"),
        None => format!("{typed} is a file, not a command; `ovendry --help` lists the commands"),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(typed: &str, after: &[&str]) -> Option<String> {
        let commands = crate::command::names();
        let after: Vec<String> = after.iter().map(|word| (*word).to_owned()).collect();
        advice(typed, &after, &commands)
    }

    #[test]
    fn a_command_is_found_by_what_it_is_for() {
        for (typed, command) in [
            ("calibration", "calibrate"),
            ("init", "start"),
            ("Threshold", "setpoints"),
            ("diff", "compare"),
        ] {
            let expected = format!("for that there is `ovendry {command}`");
            assert_eq!(said(typed, &[]), Some(expected));
        }
        assert_eq!(said("xyzzy", &[]), None);
    }

    #[test]
    fn a_folder_before_its_command_is_turned_round() {
        let folder = tempfile::tempdir().unwrap();
        let name = folder.path().display().to_string();
        let turned = |command| {
            Some(format!(
                "the command comes first: `ovendry {command} {name}`"
            ))
        };
        assert_eq!(said(&name, &["check"]), turned("check"));
        assert_eq!(said(&name, &["curve"]), turned("fit"));
        let alone = said(&name, &[]).unwrap();
        assert!(
            alone.contains(&format!("`ovendry status {name}`")),
            "{alone}"
        );
        let file = folder.path().join("P1.h");
        std::fs::write(&file, "").unwrap();
        let file = said(&file.display().to_string(), &[]).unwrap();
        assert!(
            file.contains("is a controller file: `ovendry verify`"),
            "{file}"
        );
    }

    #[test]
    fn no_thought_leads_to_two_commands_or_is_one() {
        let mut words: Vec<&str> = THOUGHTS
            .iter()
            .flat_map(|(_, words)| *words)
            .copied()
            .collect();
        let many = words.len();
        words.sort_unstable();
        words.dedup();
        assert_eq!(words.len(), many);
        let commands = crate::command::names();
        for word in words {
            assert!(!commands.iter().any(|command| command == word), "{word}");
        }
    }

    #[test]
    fn every_command_can_be_thought_of() {
        for command in crate::command::names() {
            assert!(
                THOUGHTS.iter().any(|(known, _)| *known == command),
                "add the words people think of for `{command}`"
            );
        }
    }
}
