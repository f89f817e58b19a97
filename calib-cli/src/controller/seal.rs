//! The last two lines of every file: SHA-256 and CRC-32 of the bytes before them.
//!
//! The CRC-32 is quick and finds every flipped bit; the SHA-256 tells two files
//! apart for certain and can be compared by telephone. Neither proves who wrote
//! the file.

use super::FileError;
use sha2::{Digest, Sha256};

/// What stands before and after each of the two digests.
#[derive(Debug, Clone, Copy)]
pub struct Seal {
    /// Around the 64 hexadecimal digits of the SHA-256 of every byte before it.
    pub sha256: (&'static str, &'static str),
    /// Around the eight hexadecimal digits of the CRC-32 of every byte before it,
    /// the SHA-256 among them; at the very end of the file.
    pub crc32: (&'static str, &'static str),
}

impl Seal {
    /// `body` with both digests after it: a whole file.
    pub fn close(&self, body: String) -> String {
        let mut text = body;
        let digest = sha256(text.as_bytes());
        text.push_str(&[self.sha256.0, &digest, self.sha256.1].concat());
        let crc = crc32fast::hash(text.as_bytes());
        text.push_str(&format!("{}{crc:08x}{}", self.crc32.0, self.crc32.1));
        text
    }

    /// Checks both digests of a file of the format named, and gives the SHA-256.
    pub(super) fn check(&self, format: &'static str, bytes: &[u8]) -> Result<String, FileError> {
        let missing = FileError::SealMissing { format };
        let Some((body, digits)) = split::<8>(bytes, self.crc32) else {
            return Err(if bytes.ends_with(b"\r\n") {
                FileError::LineEnds
            } else {
                missing
            });
        };
        let stated = hexadecimal(digits)
            .and_then(|digits| u32::from_str_radix(digits, 16).ok())
            .ok_or(missing.clone())?;
        let computed = crc32fast::hash(body);
        if stated != computed {
            return Err(FileError::FileCrc { stated, computed });
        }
        let (body, digits) = split::<64>(body, self.sha256).ok_or(missing.clone())?;
        let stated = hexadecimal(digits).ok_or(missing)?;
        if stated != sha256(body) {
            return Err(FileError::FileSha256);
        }
        Ok(stated.to_owned())
    }
}

/// The bytes before a digest of `N` digits at the end, and those digits.
fn split<'a, const N: usize>(
    bytes: &'a [u8],
    (before, after): (&str, &str),
) -> Option<(&'a [u8], &'a [u8])> {
    let (rest, digits) = bytes
        .strip_suffix(after.as_bytes())?
        .split_last_chunk::<N>()?;
    Some((rest.strip_suffix(before.as_bytes())?, digits))
}

/// Lower-case hexadecimal digits as text.
pub(super) fn hexadecimal(digits: &[u8]) -> Option<&str> {
    let plain = |byte: &u8| byte.is_ascii_digit() || (b'a'..=b'f').contains(byte);
    digits
        .iter()
        .all(plain)
        .then(|| std::str::from_utf8(digits).ok())
        .flatten()
}

/// SHA-256 as 64 lower-case hexadecimal digits.
pub fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}
