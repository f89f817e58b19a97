//! Standard input as a source, and the thread that both it and a serial port are read
//! on: a read may wait for ever, and the clock must go on meanwhile.

use super::lines::Lines;
use super::{Said, Source};
use crate::failure::Failure;
use std::io::{ErrorKind, Read};
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::time::Duration;

/// Chunks that may wait to be looked at: minutes of any serial line.
const WAITING: usize = 4096;
/// Bytes read at once.
const CHUNK: usize = 4096;

/// What a thread that reads has to say.
pub(super) enum Came {
    /// Bytes, and when they came.
    Bytes(Vec<u8>, jiff::Timestamp),
    /// For so long since the thread began, or since the last word, nothing came. Told
    /// only of sources whose reads end after a while.
    Silence(Duration),
    /// There is no more; why, if it is not simply the end.
    Gone(Option<String>),
}

/// Reads `from` on a thread of its own until it ends or nobody listens any more.
/// `patience` is how long a read of `from` waits before it says that nothing came.
pub(super) fn read_on_a_thread(
    mut from: impl Read + Send + 'static,
    patience: Duration,
) -> Receiver<Came> {
    let (sender, receiver) = sync_channel(WAITING);
    std::thread::spawn(move || {
        let mut buffer = [0; CHUNK];
        while let Some(came) = next(&mut from, &mut buffer, patience) {
            let over = matches!(came, Came::Gone(_));
            if sender.send(came).is_err() || over {
                return;
            }
        }
    });
    receiver
}

fn next(from: &mut impl Read, buffer: &mut [u8], patience: Duration) -> Option<Came> {
    loop {
        return Some(match from.read(buffer) {
            Ok(0) => Came::Gone(None),
            Ok(read) => Came::Bytes(
                buffer.get(..read).unwrap_or_default().to_vec(),
                jiff::Timestamp::now(),
            ),
            Err(error) => match error.kind() {
                ErrorKind::Interrupted => continue,
                ErrorKind::TimedOut | ErrorKind::WouldBlock => Came::Silence(patience),
                // What a terminal line says when its other end is gone.
                ErrorKind::BrokenPipe => Came::Gone(None),
                _ => Came::Gone(Some(error.to_string())),
            },
        });
    }
}

/// All that waits in `receiver`, after at most `wait` for the first of it.
pub(super) fn gathered(receiver: &Receiver<Came>, wait: Duration) -> Vec<Came> {
    let mut came = match receiver.recv_timeout(wait) {
        Ok(first) => vec![first],
        Err(RecvTimeoutError::Timeout) => return Vec::new(),
        Err(RecvTimeoutError::Disconnected) => return vec![Came::Gone(None)],
    };
    came.extend(receiver.try_iter());
    came
}

/// Standard input, to its end.
pub struct Pipe {
    came: Receiver<Came>,
    lines: Lines,
    ended: bool,
}

impl Pipe {
    /// Begins to read standard input.
    pub fn standard_input() -> Self {
        Self::of(std::io::stdin())
    }

    fn of(from: impl Read + Send + 'static) -> Self {
        Self {
            came: read_on_a_thread(from, Duration::ZERO),
            lines: Lines::from_the_beginning(),
            ended: false,
        }
    }
}

impl Source for Pipe {
    fn name(&self) -> String {
        "standard input".to_owned()
    }

    fn poll(&mut self, wait: Duration) -> Result<Vec<Said>, Failure> {
        let mut said = Vec::new();
        if self.ended {
            said.push(Said::End);
            return Ok(said);
        }
        for came in gathered(&self.came, wait) {
            match came {
                Came::Bytes(bytes, at) => self.lines.take(&bytes, at, &mut said),
                Came::Silence(_) => {}
                Came::Gone(why) => {
                    self.ended = true;
                    self.lines.cut(&mut said);
                    said.extend(why.map(Said::Note));
                    said.push(Said::End);
                }
            }
        }
        Ok(said)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::Refusal;

    #[test]
    fn a_pipe_is_read_to_its_end_and_its_unended_line_is_not_a_reading() {
        let mut pipe = Pipe::of(&b"663\n664\n66"[..]);
        let mut said = Vec::new();
        while !said.contains(&Said::End) {
            said.extend(pipe.poll(Duration::from_secs(5)).unwrap());
        }
        let lines: Vec<&[u8]> = said
            .iter()
            .filter_map(|said| match said {
                Said::Line(bytes, _) => Some(bytes.as_slice()),
                _ => None,
            })
            .collect();
        assert_eq!(lines, [b"663", b"664"]);
        assert!(said.contains(&Said::Refused {
            bytes: b"66".to_vec(),
            why: Refusal::CutOff
        }));
        assert_eq!(pipe.poll(Duration::ZERO).unwrap(), [Said::End]);
    }
}
