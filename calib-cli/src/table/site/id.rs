//! Identifiers: file names and C constants are made of them.

use super::declaration::Declaration;
use crate::findings::{Findings, Refused};

/// Whether `id` can be a file name and, with its hyphens made underscores, part
/// of a C identifier.
fn is_identifier(id: &str) -> bool {
    !id.is_empty()
        && id.len() <= 64
        && id
            .bytes()
            .all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_')
}

/// The identifier at `id`, unlike those in `taken` even where neither case nor
/// the kind of hyphen counts.
pub(super) fn read_id(
    table: &Declaration<'_>,
    taken: &mut Vec<(String, u64)>,
    findings: &mut Findings,
) -> Result<String, Refused> {
    let id = table.text("id", findings);
    let id = table.needed("id", id, findings)?;
    if !is_identifier(id.value) {
        return findings.refuse(id.cell.complaint(
            "holds more than letters a to z, digits, - and _ (64 at most)",
            format!(
                "write \"{}\"; it names files and C constants",
                plain_id(id.value)
            ),
        ));
    }
    let bare = id.value.to_lowercase().replace('-', "_");
    if let Some((_, line)) = taken.iter().find(|(other, _)| *other == bare) {
        return findings.refuse(id.cell.complaint(
            format!(
                "is taken already in line {line} (neither case nor - against _ tells ids apart)"
            ),
            "give each its own id",
        ));
    }
    taken.push((bare, id.cell.line));
    Ok(id.value.to_owned())
}

fn plain_id(id: &str) -> String {
    let plain: String = id
        .chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() || c == '_' {
                c
            } else {
                '-'
            }
        })
        .take(64)
        .collect();
    let plain = plain.trim_matches('-');
    if plain.is_empty() { "P1" } else { plain }.to_owned()
}
