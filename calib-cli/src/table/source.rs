//! An input file as text, with the hash that proves later which one it was.

use crate::failure::Complaint;
use crate::findings::{Findings, Refused};
use crate::meant;
use crate::workbench::SourceFile;
use sha2::{Digest, Sha256};
use std::fs;
use std::path::{Path, PathBuf};

/// A file read whole.
#[derive(Debug)]
pub struct Source {
    /// The file, as the person would name it.
    pub file: PathBuf,
    /// Its text, without a byte order mark.
    pub text: String,
    /// Name and hash.
    pub stamp: SourceFile,
}

impl SourceFile {
    fn stamp(name: &str, bytes: &[u8]) -> Self {
        Self::digested(name, Sha256::new().chain_update(bytes))
    }

    /// Name and hash of a file whose bytes have all gone through `digest`.
    pub(super) fn digested(name: &str, digest: Sha256) -> Self {
        Self {
            name: name.to_owned(),
            sha256: hex(&digest.finalize()),
        }
    }

    /// Name and hash of a file as it lies in `folder` now; `None` if it cannot be
    /// read.
    pub fn of(folder: &Path, name: &str) -> Option<Self> {
        fs::read(folder.join(name))
            .ok()
            .map(|bytes| Self::stamp(name, &bytes))
    }
}

const EXPORT: &str = "export it again as CSV with UTF-8 text";

impl Source {
    /// Reads `name` in `folder`.
    pub fn read(folder: &Path, name: &str, findings: &mut Findings) -> Result<Self, Refused> {
        let file = shown_path(folder, name);
        let bytes = match fs::read(folder.join(name)) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                return findings.refuse(Complaint::about(
                    &file,
                    "is missing",
                    meant::mend(
                        &file,
                        "put it there, or run `ovendry start` to have a workbench folder laid out",
                    ),
                ));
            }
            Err(error) => {
                return findings.refuse(Complaint::about(
                    &file,
                    format!("cannot be read: {error}"),
                    "check that it is a file and that you may read it",
                ));
            }
        };
        let stamp = SourceFile::stamp(name, &bytes);
        let text = decode(&file, bytes, 1, findings)?;
        if text.trim().is_empty() {
            return findings.refuse(Complaint::about(
                &file,
                "is empty",
                "fill it, or run `ovendry start` in another folder to see what it should hold",
            ));
        }
        Ok(Self { file, text, stamp })
    }

    /// Line on which the byte at `offset` stands, counted from 1.
    pub fn line_of(&self, offset: usize) -> u64 {
        let before = self.text.as_bytes().get(..offset).unwrap_or_default();
        1 + before.iter().filter(|byte| **byte == b'\n').count() as u64
    }
}

/// The path as a person in the current folder would write it.
pub fn shown_path(folder: &Path, name: &str) -> PathBuf {
    if folder == Path::new(".") {
        PathBuf::from(name)
    } else {
        folder.join(name)
    }
}

/// The text of `bytes`, which start at `first_line` of the file.
pub(super) fn decode(
    file: &Path,
    bytes: Vec<u8>,
    first_line: u64,
    findings: &mut Findings,
) -> Result<String, Refused> {
    let line_of = |bytes: &[u8], at: usize| first_line - 1 + line_in(bytes, at);
    if bytes.starts_with(b"PK\x03\x04") {
        return findings.refuse(Complaint::about(
            file,
            "is a spreadsheet document, not text",
            EXPORT,
        ));
    }
    if bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF]) {
        return findings.refuse(Complaint::about(file, "is UTF-16 text, not UTF-8", EXPORT));
    }
    match String::from_utf8(bytes) {
        Ok(mut text) => {
            if text.starts_with('\u{FEFF}') {
                text.drain(..'\u{FEFF}'.len_utf8());
            }
            match text.find('\0') {
                None => Ok(text),
                Some(at) => findings.refuse(
                    Complaint::about(
                        file,
                        "holds a zero byte, as a log does after the power failed while writing",
                        "remove the damaged line",
                    )
                    .at_line(line_of(text.as_bytes(), at)),
                ),
            }
        }
        Err(error) => {
            let at = error.utf8_error().valid_up_to();
            findings.refuse(
                Complaint::about(file, "is not UTF-8 text", EXPORT)
                    .at_line(line_of(error.as_bytes(), at)),
            )
        }
    }
}

fn line_in(bytes: &[u8], at: usize) -> u64 {
    1 + bytes.iter().take(at).filter(|byte| **byte == b'\n').count() as u64
}

/// SHA-256 of `bytes`, hexadecimal.
pub fn sha256_of(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_hash_is_the_one_of_the_standard() {
        // FIPS 180-4, SHA-256 of "abc", as its example file gives it (from memory).
        assert_eq!(
            hex(&Sha256::digest(b"abc")),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }

    #[test]
    fn a_file_in_the_current_folder_is_named_without_a_folder() {
        assert_eq!(
            shown_path(Path::new("."), "site.toml"),
            Path::new("site.toml")
        );
    }
}
