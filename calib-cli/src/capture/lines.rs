//! Bytes as they come, parted into lines.
//!
//! Line feed and carriage return both end a line; empty lines say nothing. A line is
//! only ever given whole: what was in flight when the source was opened or went away is
//! told as such and never taken for a reading, since half of `663` is `63`.

use super::{Refusal, Said};

/// Most bytes a line may have. The longest sensible one is far shorter.
pub const LONGEST: usize = 1024;

/// Parts bytes into lines.
#[derive(Debug)]
pub struct Lines {
    held: Vec<u8>,
    state: State,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// What is held is the beginning of a line.
    InLine,
    /// The source was opened while a line may have been in flight: its rest is passed
    /// over.
    Joining,
    /// The line was told to be too long: its rest is passed over.
    PassingOver,
}

impl Lines {
    /// From a place where a line begins.
    pub fn from_the_beginning() -> Self {
        Self {
            held: Vec::new(),
            state: State::InLine,
        }
    }

    /// From a place where a line may be in flight: up to its end nothing is taken.
    pub fn joining() -> Self {
        Self {
            held: Vec::new(),
            state: State::Joining,
        }
    }

    /// Takes `bytes`, which came at `at`, and says every line they end.
    pub fn take(&mut self, bytes: &[u8], at: jiff::Timestamp, said: &mut Vec<Said>) {
        for &byte in bytes {
            if matches!(byte, b'\n' | b'\r') {
                if self.state == State::InLine && !self.held.is_empty() {
                    said.push(line(std::mem::take(&mut self.held), at));
                }
                self.held.clear();
                self.state = State::InLine;
            } else if self.state == State::InLine {
                self.held.push(byte);
                if self.held.len() > LONGEST {
                    said.push(Said::Refused {
                        bytes: std::mem::take(&mut self.held),
                        why: Refusal::TooLong,
                    });
                    self.state = State::PassingOver;
                }
            }
        }
    }

    /// The source went away or ended: what is held was cut off.
    pub fn cut(&mut self, said: &mut Vec<Said>) {
        if !self.held.is_empty() {
            said.push(Said::Refused {
                bytes: std::mem::take(&mut self.held),
                why: Refusal::CutOff,
            });
        }
    }
}

/// A whole line, or that it is not text. A character that text does not have anywhere
/// in it spoils the line: what stands beside it may be damaged too.
fn line(bytes: Vec<u8>, at: jiff::Timestamp) -> Said {
    let text = std::str::from_utf8(&bytes).is_ok_and(|text| {
        text.chars()
            .all(|c| (!c.is_control() || c == '\t') && c != char::REPLACEMENT_CHARACTER)
    });
    if text {
        Said::Line(bytes, at)
    } else {
        Said::Refused {
            bytes,
            why: Refusal::NotText,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at() -> jiff::Timestamp {
        jiff::Timestamp::UNIX_EPOCH
    }

    fn read(lines: &mut Lines, chunks: &[&[u8]]) -> Vec<Said> {
        let mut said = Vec::new();
        for chunk in chunks {
            lines.take(chunk, at(), &mut said);
        }
        said
    }

    fn good(text: &str) -> Said {
        Said::Line(text.as_bytes().to_vec(), at())
    }

    fn refused(bytes: &[u8], why: Refusal) -> Said {
        Said::Refused {
            bytes: bytes.to_vec(),
            why,
        }
    }

    #[test]
    fn every_end_of_line_ends_one_and_empty_lines_say_nothing() {
        let said = read(
            &mut Lines::from_the_beginning(),
            &[b"663\n664\r\n\r\n6", b"65\r666\n\n"],
        );
        assert_eq!(said, [good("663"), good("664"), good("665"), good("666")]);
    }

    #[test]
    fn half_a_line_is_never_given_whichever_half_it_is() {
        let mut lines = Lines::joining();
        let mut said = read(&mut lines, &[b"3,16.5\n664,16.5\n66"]);
        lines.cut(&mut said);
        assert_eq!(said, [good("664,16.5"), refused(b"66", Refusal::CutOff)]);
    }

    #[test]
    fn noise_spoils_its_line_and_no_other() {
        let said = read(
            &mut Lines::from_the_beginning(),
            &[b"663\n6\x0064\n\xfe\x80\xff\n665\n\x1b[2J666\n"],
        );
        assert_eq!(
            said,
            [
                good("663"),
                refused(b"6\x0064", Refusal::NotText),
                refused(b"\xfe\x80\xff", Refusal::NotText),
                good("665"),
                refused(b"\x1b[2J666", Refusal::NotText),
            ]
        );
    }

    #[test]
    fn a_line_without_end_is_told_once_and_takes_no_memory() {
        let mut lines = Lines::from_the_beginning();
        let noise = vec![b'x'; 100 * LONGEST];
        let said = read(&mut lines, &[&noise, b"\n663\n"]);
        assert_eq!(said.len(), 2);
        assert!(matches!(
            &said[0],
            Said::Refused { bytes, why: Refusal::TooLong } if bytes.len() == LONGEST + 1
        ));
        assert_eq!(said[1], good("663"));
    }

    proptest! {
        #[test]
        fn how_the_bytes_are_chopped_does_not_matter(
            bytes in prop::collection::vec(prop::sample::select(b"12,\n\r\0\xff".to_vec()), 0..200),
            chop in 1_usize..9,
        ) {
            let whole = read(&mut Lines::from_the_beginning(), &[&bytes]);
            let chunks: Vec<&[u8]> = bytes.chunks(chop).collect();
            prop_assert_eq!(whole, read(&mut Lines::from_the_beginning(), &chunks));
        }
    }
}
