//! A device on a serial line that misbehaves in every way we could think of.
//!
//! Outside: `socat` makes the two ends of the line, a pseudo-terminal each, and is killed
//! in the middle of lines as a cable is pulled out; `sh` starts the program with a file
//! size limit, as a disk that is full. The program is killed (SIGKILL) too. Every whole
//! valid line that was sent while the line was up and the program listened must stand in
//! readings.csv exactly once, in order, and nothing that was not sent whole.

use crate::Check;
use ovendry_tests::{Bench, program};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::fs::{self, File, OpenOptions};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

pub const FAULTS: Check = Check {
    name: "every whole line of a faulty serial line is captured once and nothing else",
    needs: &["socat"],
    run: faults,
};

pub const DISK_FULL: Check = Check {
    name: "a full disk loses no reading that was captured and leaves no half row",
    needs: &["sh"],
    run: disk_full,
};

/// Longer than the silence after which the program knows that a line begins.
const SILENCE: Duration = Duration::from_millis(2500);
const PATIENCE: Duration = Duration::from_secs(20);

/// The line: the device's end and the program's.
struct SerialLine {
    folder: PathBuf,
    socat: Child,
    device: File,
}

impl SerialLine {
    fn up(folder: &Path) -> Result<Self, String> {
        let (device, plug) = (folder.join("device"), folder.join("plug"));
        let end = |path: &Path| format!("pty,raw,echo=0,link={}", path.display());
        let socat = Command::new("socat")
            .args([end(&device), end(&plug)])
            .stderr(Stdio::null())
            .spawn()
            .map_err(|error| format!("socat: {error}"))?;
        wait(|| device.exists() && plug.exists(), "socat's links")?;
        let device = OpenOptions::new()
            .write(true)
            .open(&device)
            .map_err(|error| format!("{}: {error}", device.display()))?;
        Ok(Self {
            folder: folder.to_owned(),
            socat,
            device,
        })
    }

    fn send(&mut self, bytes: &[u8]) -> Result<(), String> {
        self.device
            .write_all(bytes)
            .map_err(|error| format!("the device cannot send: {error}"))
    }

    /// Pulled out, in whatever state.
    fn down(mut self) -> Result<PathBuf, String> {
        let failed = |error: std::io::Error| error.to_string();
        self.socat.kill().map_err(failed)?;
        self.socat.wait().map_err(failed)?;
        for end in ["device", "plug"] {
            let _ = fs::remove_file(self.folder.join(end));
        }
        Ok(self.folder)
    }
}

/// The program, listening.
fn listen(bench: &Bench) -> Result<Child, String> {
    Command::new(program())
        .args([
            "capture",
            ".",
            "--port",
            "plug",
            "--fields",
            "raw_count,soil_temp_c",
        ])
        .current_dir(bench.path())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(|error| error.to_string())
}

fn wait(mut done: impl FnMut() -> bool, what: &str) -> Result<(), String> {
    let until = Instant::now() + PATIENCE;
    while Instant::now() < until {
        if done() {
            return Ok(());
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    Err(format!("waited in vain for {what}"))
}

/// Counts and temperatures in readings.csv.
fn captured(bench: &Bench) -> Vec<String> {
    fs::read_to_string(bench.path().join("readings.csv"))
        .unwrap_or_default()
        .lines()
        .skip(1)
        .map(|line| {
            line.split(',')
                .skip(2)
                .take(2)
                .collect::<Vec<_>>()
                .join(",")
        })
        .collect()
}

fn faults() -> Result<(), String> {
    let bench = Bench::small();
    fs::remove_file(bench.path().join("readings.csv")).map_err(|error| error.to_string())?;
    let mut random = ChaCha8Rng::seed_from_u64(4);
    let mut sent: Vec<String> = Vec::new();
    let mut line = SerialLine::up(bench.path())?;
    let mut program = listen(&bench)?;
    for round in 0..15_u32 {
        std::thread::sleep(SILENCE);
        for _ in 0..random.random_range(5..25) {
            let reading = format!(
                "{},{}.5",
                random.random_range(1..1023),
                random.random_range(10..30)
            );
            match random.random_range(0..10) {
                // Noise, as at a wrong baud rate: bytes that are no text.
                0 => line.send(b"\xfe\x80\xf8\x00\xe0\n")?,
                // Half a line with its end, as after lost characters.
                1 => line.send(b"63\n,16.5\n")?,
                // Zero bytes in the middle of what would be a reading.
                2 => line.send(b"6\x0063,16.5\n")?,
                // A line that never seems to end, then ends.
                3 => line.send(&[&[b'7'; 3000][..], b"\n"].concat())?,
                // A reading no converter of ten bits gives.
                4 => line.send(b"4095,16.5\n")?,
                _ => {}
            }
            // The good line itself, whole or in two pieces.
            let text = format!("{reading}\r\n");
            let (a, b) = text.split_at(random.random_range(0..text.len()));
            line.send(a.as_bytes())?;
            if random.random_range(0..4) == 0 {
                std::thread::sleep(Duration::from_millis(15));
            }
            line.send(b.as_bytes())?;
            sent.push(reading);
        }
        // All that was sent whole has arrived; then the line in flight is cut.
        wait(|| captured(&bench).len() >= sent.len(), "what was sent")
            .map_err(|why| difference(&why, &sent, &captured(&bench)))?;
        line.send(b"51")?;
        std::thread::sleep(Duration::from_millis(50));
        match round % 3 {
            0 => {
                let folder = line.down()?;
                std::thread::sleep(SILENCE);
                line = SerialLine::up(&folder)?;
            }
            1 => {
                program.kill().map_err(|error| error.to_string())?;
                program.wait().map_err(|error| error.to_string())?;
                // The rest of the line comes while nobody listens, or just begins to.
                line.send(b"2,16.5\n")?;
                program = listen(&bench)?;
            }
            _ => line.send(b"\n")?,
        }
    }
    let captured = captured(&bench);
    program.kill().map_err(|error| error.to_string())?;
    let mut said = String::new();
    if let Some(mut stderr) = program.stderr.take() {
        let _ = stderr.read_to_string(&mut said);
    }
    program.wait().map_err(|error| error.to_string())?;
    line.down()?;
    if captured == sent {
        Ok(())
    } else {
        Err(difference(&said, &sent, &captured))
    }
}

fn difference(said: &str, sent: &[String], captured: &[String]) -> String {
    let first = sent.iter().zip(captured).position(|(a, b)| a != b);
    let at = first.unwrap_or(sent.len().min(captured.len()));
    let around = |lines: &[String]| {
        lines
            .get(at.saturating_sub(3)..lines.len().min(at + 4))
            .map(<[String]>::to_vec)
    };
    format!(
        "{said}\n{} sent, {} captured; from line {at} on\n--- sent\n{:?}\n--- captured\n{:?}",
        sent.len(),
        captured.len(),
        around(sent),
        around(captured)
    )
}

fn disk_full() -> Result<(), String> {
    let bench = Bench::small();
    let failed = |error: std::io::Error| error.to_string();
    fs::remove_file(bench.path().join("readings.csv")).map_err(failed)?;
    let sent: Vec<String> = (0..400).map(|i| (300 + i).to_string()).collect();
    bench.put("log.txt", sent.join("\n") + "\n");
    // The signal that comes with the limit ignored, a write beyond it fails as one to a
    // full disk does: after part of a row.
    let limited = Command::new("sh")
        .args([
            "-c",
            "trap '' XFSZ; ulimit -f 8; exec \"$0\" capture . --file log.txt --to-end",
        ])
        .arg(program())
        .current_dir(bench.path())
        .output()
        .map_err(failed)?;
    let said = String::from_utf8_lossy(&limited.stderr);
    if limited.status.code() != Some(3) || !said.contains("could not be written") {
        return Err(format!("{}: {said}", limited.status));
    }
    let text = bench.read("readings.csv");
    let rows = text.lines().count() - 1;
    if !text.ends_with('\n') || rows == 0 || rows >= sent.len() {
        return Err(format!("{rows} rows: ...{:?}", text.lines().last()));
    }
    // With room again nothing is missing and nothing stands twice.
    bench
        .run(&["capture", ".", "--file", "log.txt", "--to-end"])
        .exits(0);
    let counts: Vec<String> = captured(&bench)
        .iter()
        .map(|row| row.trim_end_matches(',').to_owned())
        .collect();
    if counts == sent {
        Ok(())
    } else {
        Err(difference("after the disk was full", &sent, &counts))
    }
}
