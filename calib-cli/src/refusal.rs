//! A command line that was refused, as a complaint.

use crate::failure::{COMMAND_LINE, Complaint, Failure};
use clap::error::{ContextKind, ContextValue};
use std::path::Path;

/// What was refused, with what stands there where that is one thing.
pub fn of(refused: &clap::Error) -> Failure {
    let told = |kind| match refused.get(kind) {
        Some(ContextValue::String(one)) => Some(one.clone()),
        Some(ContextValue::Strings(several)) => Some(several.join(", ")),
        _ => None,
    };
    let text = refused.render().to_string();
    // First what is wrong, then perhaps what was meant, then how to call the command.
    let mut paragraphs = text.split("\n\n").map(str::trim);
    let what = paragraphs.next().unwrap_or_default();
    let what = what.strip_prefix("error: ").unwrap_or(what);
    let tip = paragraphs
        .find_map(|paragraph| paragraph.strip_prefix("tip: "))
        .map(|tip| format!("{tip}; or "))
        .unwrap_or_default();
    let (what, mend) = match told(ContextKind::ValidValue) {
        Some(values) if !values.is_empty() => (
            what.lines().next().unwrap_or(what),
            format!("choose one of: {values}"),
        ),
        _ => (what, format!("{tip}see the command with --help")),
    };
    let command = told(ContextKind::InvalidSubcommand);
    let column = command.as_ref().map(|_| "COMMAND".to_owned());
    Complaint {
        column: told(ContextKind::InvalidArg).or(column),
        value: told(ContextKind::InvalidValue).or(command),
        ..Complaint::about(Path::new(COMMAND_LINE), what, mend)
    }
    .into()
}
