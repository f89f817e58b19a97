//! A serial port as a source: opened, lost when it is unplugged, opened again.

use super::lines::Lines;
use super::pipe::{Came, gathered, read_on_a_thread};
use super::{Said, Source};
use crate::failure::{Complaint, Failure};
use crate::table::listed;
use std::path::{Path, PathBuf};
use std::sync::mpsc::Receiver;
use std::time::{Duration, Instant};

/// How long one read of the port waits.
const PATIENCE: Duration = Duration::from_millis(25);
/// Silence after opening that shows no line to be in flight. Longer than senders pause
/// within a line: a one-wire thermometer takes 750 ms to measure (common practice).
const QUIET: Duration = Duration::from_secs(1);
/// How often a port that is gone is looked for.
const LOOK_AGAIN: Duration = Duration::from_millis(250);

/// A serial port, 8 data bits, no parity, 1 stop bit.
pub struct Port {
    path: PathBuf,
    baud: u32,
    state: State,
}

enum State {
    Open(Open),
    Lost { look_at: Instant },
}

struct Open {
    came: Receiver<Came>,
    lines: Lines,
    /// Silence since it was opened, while nothing has come yet.
    silence: Option<Duration>,
}

impl Open {
    fn from(path: &Path, baud: u32) -> Result<Self, serialport::Error> {
        let port = serialport::new(path.to_string_lossy(), baud)
            .timeout(PATIENCE)
            .open()?;
        Ok(Self {
            came: read_on_a_thread(port, PATIENCE),
            lines: Lines::joining(),
            silence: Some(Duration::ZERO),
        })
    }

    /// What came; whether the port is gone, and why.
    fn poll(&mut self, wait: Duration, said: &mut Vec<Said>) -> Option<String> {
        for came in gathered(&self.came, wait) {
            match came {
                Came::Silence(more) => {
                    if let Some(silence) = &mut self.silence {
                        *silence += more;
                        if *silence >= QUIET {
                            self.silence = None;
                            self.lines = Lines::from_the_beginning();
                        }
                    }
                }
                Came::Bytes(bytes, at) => {
                    self.silence = None;
                    self.lines.take(&bytes, at, said);
                }
                Came::Gone(why) => {
                    self.lines.cut(said);
                    return Some(why.unwrap_or_else(|| "unplugged or hung up".to_owned()));
                }
            }
        }
        None
    }
}

impl Port {
    /// Opens the port at `path`.
    ///
    /// # Errors
    /// [`Failure::Input`] if it is not there or not to be opened.
    pub fn open(path: &Path, baud: u32) -> Result<Self, Failure> {
        let open = Open::from(path, baud).map_err(|error| unopened(path, &error))?;
        Ok(Self {
            path: path.to_owned(),
            baud,
            state: State::Open(open),
        })
    }
}

fn unopened(path: &Path, error: &serialport::Error) -> Complaint {
    let there: Vec<String> = serialport::available_ports()
        .unwrap_or_default()
        .into_iter()
        .map(|port| port.port_name)
        .collect();
    let what = match error.kind() {
        serialport::ErrorKind::NoDevice
        | serialport::ErrorKind::Io(std::io::ErrorKind::NotFound) => {
            "is no serial port that is there".to_owned()
        }
        _ => format!("cannot be opened: {error}"),
    };
    let mend = if path.exists() {
        "see that no other program has it open and that you may read it (on Linux: the group \
         `dialout`)"
            .to_owned()
    } else if there.is_empty() {
        "plug it in; no serial port is there at all".to_owned()
    } else {
        format!(
            "plug it in, or name one that is there: {}",
            listed(there.iter().map(String::as_str))
        )
    };
    Complaint::about(path, what, mend)
}

impl Source for Port {
    fn name(&self) -> String {
        format!("{} at {} baud", self.path.display(), self.baud)
    }

    fn poll(&mut self, wait: Duration) -> Result<Vec<Said>, Failure> {
        let mut said = Vec::new();
        match &mut self.state {
            State::Open(open) => {
                if let Some(why) = open.poll(wait, &mut said) {
                    said.push(Said::Lost(why));
                    self.state = State::Lost {
                        look_at: Instant::now() + LOOK_AGAIN,
                    };
                }
            }
            State::Lost { look_at } => {
                let until = look_at.saturating_duration_since(Instant::now());
                std::thread::sleep(until.min(wait));
                if Instant::now() >= *look_at {
                    match Open::from(&self.path, self.baud) {
                        Ok(open) => {
                            self.state = State::Open(open);
                            said.push(Said::Back);
                        }
                        Err(_) => *look_at = Instant::now() + LOOK_AGAIN,
                    }
                }
            }
        }
        Ok(said)
    }
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use serialport::{SerialPort, TTYPort};
    use std::io::Write;

    /// Long enough for a silence to be one.
    const SILENCE: Duration = Duration::from_millis(1500);
    const SHORT: Duration = Duration::from_millis(300);

    /// The end a device would have, and a port on the other.
    fn pair() -> (TTYPort, Port) {
        let (device, other) = TTYPort::pair().expect("a pseudo-terminal");
        let path = PathBuf::from(other.name().expect("its name"));
        // Held open by nobody else: the port must be free to be opened exclusively.
        drop(other);
        let port = Port::open(&path, 9600).unwrap_or_else(|failure| panic!("{failure}"));
        (device, port)
    }

    /// Polls for at least `length`.
    fn heard(port: &mut Port, length: Duration) -> Vec<Said> {
        let until = Instant::now() + length;
        let mut said = Vec::new();
        while Instant::now() < until {
            said.extend(port.poll(Duration::from_millis(20)).unwrap());
        }
        said
    }

    fn lines(said: &[Said]) -> Vec<String> {
        said.iter()
            .filter_map(|said| match said {
                Said::Line(bytes, _) => Some(String::from_utf8(bytes.clone()).unwrap()),
                _ => None,
            })
            .collect()
    }

    #[test]
    fn after_a_silence_the_first_line_is_whole_and_is_taken() {
        let (mut device, mut port) = pair();
        assert_eq!(heard(&mut port, SILENCE), []);
        device.write_all(b"663\n664\n").unwrap();
        assert_eq!(lines(&heard(&mut port, SHORT)), ["663", "664"]);
    }

    #[test]
    fn a_line_in_flight_when_the_port_is_opened_is_passed_over() {
        let (mut device, other) = TTYPort::pair().expect("a pseudo-terminal");
        let path = PathBuf::from(other.name().expect("its name"));
        drop(other);
        let writer = std::thread::spawn(move || {
            // From before the port is opened until after, with no pause between.
            for _ in 0..40 {
                let _ = device.write_all(b"1663\n");
                std::thread::sleep(Duration::from_millis(5));
            }
            device
        });
        std::thread::sleep(Duration::from_millis(20));
        let mut port = Port::open(&path, 9600).unwrap_or_else(|failure| panic!("{failure}"));
        let said = heard(&mut port, SHORT);
        let lines = lines(&said);
        assert!(lines.len() > 10, "{said:?}");
        assert!(lines.iter().all(|line| line == "1663"), "{said:?}");
        drop(writer.join());
    }

    #[test]
    fn a_port_that_is_pulled_out_is_told_and_looked_for() {
        let (mut device, mut port) = pair();
        heard(&mut port, SILENCE);
        device.write_all(b"663\n66").unwrap();
        let mut said = heard(&mut port, SHORT);
        drop(device);
        said.extend(heard(&mut port, SHORT));
        assert_eq!(lines(&said), ["663"]);
        let lost = said.iter().filter(|said| matches!(said, Said::Lost(_)));
        assert_eq!(lost.count(), 1, "{said:?}");
        assert!(
            said.iter()
                .any(|said| matches!(said, Said::Refused { bytes, .. } if bytes == b"66")),
            "{said:?}"
        );
    }

    #[test]
    fn a_port_that_is_not_there_is_complained_about() {
        let failure = Port::open(Path::new("/dev/no-such-port"), 9600)
            .err()
            .unwrap();
        assert_eq!(failure.exit_code(), 2);
        assert!(
            failure
                .to_string()
                .contains("is no serial port that is there")
        );
    }
}
