//! What is looked at before a capture listens.

use super::COMMAND_LINE;
use crate::capture::Source;
use crate::capture::sink::Sink;
use crate::failure::{Complaint, Failure};
use crate::table::{nearest, sample_ids};
use std::path::Path;

/// Sees that `source` can be read from its beginning with no row standing twice.
/// `timed` tells whether what it says has times of its own.
///
/// # Errors
/// Why it cannot.
pub fn may_be_read_again(source: &dyn Source, sink: &Sink, timed: bool) -> Result<(), Failure> {
    let complaint = |what: String, mend: &str| -> Result<(), Failure> {
        Err(Complaint::about(Path::new(COMMAND_LINE), what, mend).into())
    };
    if source.key().is_none() {
        return complaint(
            format!("--again: {} has no beginning to go back to", source.name()),
            "leave --again out; only a file or a database is read again",
        );
    }
    if !timed && sink.holds_readings() {
        return complaint(
            format!(
                "--again: lines of {} are not said to carry a time, so that those in {} already \
                 cannot be told from new ones",
                source.name(),
                sink.path().display()
            ),
            "say where the time stands with timestamp in --fields or --field, or append to \
             another file with --into",
        );
    }
    Ok(())
}

/// That earlier captures refused something of `source`, which is passed over now.
pub fn refused_earlier(refused: u64, source: &dyn Source) -> Option<String> {
    let (lines, were, them) = match refused {
        0 => return None,
        1 => ("line", "was", "it"),
        _ => ("lines", "were", "them"),
    };
    Some(format!(
        "{refused} {lines} of {} {were} refused earlier and are passed over; to read {them} \
         again, add --again",
        source.name()
    ))
}

/// That samples.csv has cores, but not `core`.
pub fn no_such_core(core: &str, folder: &Path) -> Option<String> {
    let mut ids: Vec<String> = sample_ids(folder).into_iter().collect();
    if ids.is_empty() || ids.iter().any(|id| id == core) {
        return None;
    }
    ids.sort();
    let mend = match nearest(core, ids.iter().map(String::as_str)) {
        Some(near) => format!("did you mean {near}?"),
        None => "write it there when it is weighed, or correct --sample".to_owned(),
    };
    Some(format!("samples.csv has no core {core}: {mend}"))
}
