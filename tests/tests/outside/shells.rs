//! Completions in the shells themselves, manual pages through `man`, and the bar on a
//! real terminal: what shells and terminals make of what we give them.

use crate::{Check, output_of};
use ovendry_tests::{Bench, program};
use std::path::{Path, PathBuf};
use std::process::Command;

pub const BASH: Check = Check {
    name: "bash completes commands, options, values and folders",
    needs: &["bash"],
    run: bash,
};

pub const ZSH: Check = Check {
    name: "zsh completes commands",
    needs: &["zsh"],
    run: zsh,
};

pub const FISH: Check = Check {
    name: "fish completes commands, options and values",
    needs: &["fish"],
    run: fish,
};

pub const MAN: Check = Check {
    name: "man shows every page without a warning",
    needs: &["man"],
    run: man,
};

pub const TERMINAL: Check = Check {
    name: "long work draws a bar on a terminal and takes it away",
    needs: &["script"],
    run: terminal,
};

/// A folder that holds the completions for `shell`, and a folder `my-garden`.
fn completions(shell: &str, file: &str) -> Result<(Bench, PathBuf), String> {
    let script = output_of(Command::new(program()).args(["completions", shell]))?;
    let bench = Bench::empty()
        .with(file, script)
        .with("my-garden/site.toml", "");
    let path = bench.path().join(file);
    Ok((bench, path))
}

fn same(what: &str, found: &str, expected: &str) -> Result<(), String> {
    if found.trim() == expected {
        Ok(())
    } else {
        Err(format!("{what}: expected {expected:?}, got {found:?}"))
    }
}

/// Words typed so far, and what they are completed to.
const TYPED: [(&[&str], &str); 4] = [
    (&["fi"], "fit"),
    (&["fit", "--boot"], "--bootstrap"),
    (&["fit", "--curve", "cub"], "cubic"),
    (&["verify", "--calib"], "--calibration"),
];

fn bash() -> Result<(), String> {
    let (bench, script) = completions("bash", "ovendry.bash")?;
    let complete = |words: &[&str]| -> Result<String, String> {
        let last = words.last().copied().unwrap_or_default();
        let before = words.iter().rev().nth(1).copied().unwrap_or("ovendry");
        // `compopt` works only where the shell itself asks for completions: it shows what
        // the shell is asked to add.
        let line = format!(
            "compopt() {{ echo \"$*\"; }}; source {script}; COMP_WORDS=(ovendry {all}); COMP_CWORD={place}; \
             _ovendry ovendry {last} {before}; echo \"${{COMPREPLY[@]}}\"",
            script = script.display(),
            all = words.join(" "),
            place = words.len(),
        );
        let found = output_of(
            Command::new("bash")
                .args(["--norc", "-c", &line])
                .current_dir(bench.path()),
        )?;
        Ok(String::from_utf8_lossy(&found).into_owned())
    };
    for (words, expected) in TYPED {
        same(&words.join(" "), &complete(words)?, expected)?;
    }
    same(
        "a folder after --out",
        &complete(&["fit", "--out", "my-"])?,
        "-o plusdirs",
    )
}

fn zsh() -> Result<(), String> {
    let (bench, script) = completions("zsh", "_ovendry")?;
    // A shell in a terminal of its own, a word typed in it, and the tabulator key.
    let inner = format!(
        "zmodload zsh/zpty; zpty inner zsh -f -i; \
         zpty -w inner 'PS1=READY; fpath=({folder} $fpath); autoload -U compinit; compinit -D -u; echo LOA''DED'; \
         zpty -r -m inner said '*LOADED*'; \
         zpty -w -n inner $'ovendry calib\\t'; \
         zpty -r -m inner said '*ovendry calibrate*' && print -r -- FOUND; \
         zpty -d inner",
        folder = script.parent().unwrap_or(Path::new(".")).display()
    );
    let found = output_of(
        Command::new("timeout")
            .args(["60", "zsh", "-f", "-c", &inner])
            .current_dir(bench.path()),
    )?;
    same("calib", &String::from_utf8_lossy(&found), "FOUND")
}

fn fish() -> Result<(), String> {
    let (bench, script) = completions("fish", "ovendry.fish")?;
    for (words, expected) in TYPED {
        let typed = words.join(" ");
        let line = format!("source {}; complete -C 'ovendry {typed}'", script.display());
        let found = output_of(
            Command::new("fish")
                .args(["--no-config", "-c", &line])
                .env("HOME", bench.path())
                .current_dir(bench.path()),
        )?;
        let found = String::from_utf8_lossy(&found);
        // The word, and after a tabulator what it is for.
        let word = found.split(['\t', '\n']).next().unwrap_or_default();
        same(&typed, word, expected)?;
    }
    Ok(())
}

fn man() -> Result<(), String> {
    let bench = Bench::empty();
    output_of(
        Command::new(program())
            .args(["man", "--out", "pages"])
            .current_dir(bench.path()),
    )?;
    let pages = bench.listing();
    if pages.len() < 15 {
        return Err(format!("too few pages: {pages:?}"));
    }
    for page in pages {
        // Warnings go to standard error, where `output_of` lets nothing pass.
        let shown = output_of(
            Command::new("man")
                .args(["--warnings", "-E", "ascii", "-l", &page])
                .env("MANWIDTH", "80")
                .env("MANPAGER", "cat")
                .current_dir(bench.path()),
        )?;
        let shown = String::from_utf8_lossy(&shown);
        for heading in ["NAME", "SYNOPSIS", "EXIT STATUS", "SEE ALSO"] {
            if !shown.lines().any(|line| line.trim() == heading) {
                return Err(format!("{page}: no heading {heading}\n{shown}"));
            }
        }
    }
    Ok(())
}

fn terminal() -> Result<(), String> {
    let bench = Bench::demo();
    let run = |replicates: &str, terminal: &str| -> Result<String, String> {
        let line = format!(
            "{} fit . --no-charts --force --probe orchard-1 --bootstrap {replicates} > said.txt",
            program().display()
        );
        // `script` gives it a terminal and shows what was drawn there.
        let drawn = output_of(
            Command::new("script")
                .args(["-q", "-e", "-c", &line, "/dev/null"])
                .env("TERM", terminal)
                .current_dir(bench.path()),
        )?;
        Ok(String::from_utf8_lossy(&drawn).into_owned())
    };
    let long = run("100000", "xterm")?;
    let bar = "fitting each curve again to cores drawn anew [";
    // What a terminal shows after its last line was cleared.
    let (before, left) = long
        .rsplit_once("\u{1b}[2K")
        .ok_or_else(|| format!("nothing was cleared: {long:?}"))?;
    if !before.contains(bar) || !before.contains(" %, ") {
        return Err(format!("no bar: {long:?}"));
    }
    if left.contains(bar) {
        return Err(format!("the bar is left standing: {long:?}"));
    }
    for (replicates, terminal) in [("10", "xterm"), ("100000", "dumb")] {
        let quiet = run(replicates, terminal)?;
        if quiet.contains(bar) {
            return Err(format!("a bar where none belongs: {quiet:?}"));
        }
    }
    Ok(())
}
