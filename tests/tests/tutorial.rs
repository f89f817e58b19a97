//! What the tutorial and the README tell people to type does what they say, and the
//! tutorial's pictures are those the program draws on the way.
//!
//! A `console` block has commands after `$ ` and under each the lines it prints, in
//! order; `...` stands for lines left out, `exit code N` for how it ends if not with 0.
#![cfg(unix)]

use ovendry_tests::{Answer, Bench, program, repository};
use std::collections::BTreeSet;
use std::process::Command;

/// A command as shown, and the lines shown under it.
#[derive(Debug)]
struct Shown {
    command: String,
    lines: Vec<String>,
    code: i32,
}

/// The commands of every block of this kind.
fn shown(page: &str, kind: &str) -> Vec<Shown> {
    let mut found: Vec<Shown> = Vec::new();
    let fence = format!("```{kind}");
    let mut inside = false;
    for line in page.lines() {
        match line {
            _ if line == fence => inside = true,
            "```" => inside = false,
            _ if !inside => {}
            _ => match (line.strip_prefix("$ "), found.last_mut()) {
                (Some(command), _) => found.push(Shown {
                    command: command.to_owned(),
                    lines: Vec::new(),
                    code: 0,
                }),
                (None, Some(last)) => match line.strip_prefix("exit code ") {
                    Some(code) => last.code = code.parse().unwrap(),
                    None => last.lines.push(line.to_owned()),
                },
                (None, None) => panic!("{line}: output before any command"),
            },
        }
    }
    found
}

/// Runs a line as a shell would, with the program at hand as `ovendry` and the bench for a
/// home, so that nothing is left behind in that of whoever runs the tests.
fn typed(bench: &Bench, line: &str) -> Answer {
    let folder = program().parent().unwrap();
    let path = std::env::var("PATH").unwrap_or_default();
    let output = Command::new("sh")
        .args(["-c", line])
        .current_dir(bench.path())
        .env("PATH", format!("{}:{path}", folder.display()))
        .env("HOME", bench.path())
        .output()
        .unwrap();
    Answer {
        command: line.to_owned(),
        code: output.status.code(),
        stdout: String::from_utf8_lossy(&output.stdout).into_owned(),
        stderr: String::from_utf8_lossy(&output.stderr).into_owned(),
    }
}

/// The first line shown that was not printed, or not in this order. A line before `...`
/// need only begin as shown.
fn not_printed<'s>(shown: &'s [String], printed: &str) -> Option<&'s str> {
    let mut rest = printed.lines();
    let mut skips = false;
    for (place, line) in shown.iter().enumerate() {
        if line == "..." {
            skips = true;
            continue;
        }
        let cut = shown.get(place + 1).is_some_and(|next| next == "...");
        let is_it = |printed: &str| printed == line || (cut && printed.starts_with(line.as_str()));
        let there = if skips {
            rest.any(is_it)
        } else {
            rest.next().is_some_and(is_it)
        };
        if !there {
            return Some(line);
        }
        skips = false;
    }
    None
}

fn docs(name: &str) -> std::path::PathBuf {
    repository().join("calib-cli/docs").join(name)
}

#[test]
fn every_command_of_the_tutorial_prints_what_is_shown_and_draws_its_pictures() {
    let page = std::fs::read_to_string(docs("TUTORIAL.md")).unwrap();
    let commands = shown(&page, "console");
    assert!(commands.len() >= 15, "{}", commands.len());
    let bench = Bench::empty();
    for one in &commands {
        let answer = typed(&bench, &one.command).exits(one.code);
        if let Some(line) = not_printed(&one.lines, &answer.stdout) {
            panic!(
                "{}\nnot printed: {line}\n--- stdout\n{}",
                one.command, answer.stdout
            );
        }
    }
    let names: BTreeSet<String> = std::fs::read_dir(docs("pictures"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    let linked: BTreeSet<String> = page
        .split("](pictures/")
        .skip(1)
        .map(|link| link.split(')').next().unwrap().to_owned())
        .collect();
    assert_eq!(names, linked);
    let drawn = bench.contents();
    for name in names {
        let picture = std::fs::read(docs("pictures").join(&name)).unwrap();
        let here = drawn
            .iter()
            .find(|(path, _)| path.ends_with(&format!("/{name}")))
            .unwrap_or_else(|| panic!("{name} is drawn by no command of the tutorial"));
        assert!(
            *here.1 == picture,
            "{name}: copy {} of a run of the tutorial to calib-cli/docs/pictures",
            here.0
        );
    }
}

#[test]
fn a_line_that_is_not_printed_is_found_out() {
    let lines = |text: &str| text.lines().map(str::to_owned).collect::<Vec<_>>();
    let printed = "one\ntwo\nthree\nfour\n";
    assert_eq!(not_printed(&lines("one\ntwo"), printed), None);
    assert_eq!(not_printed(&lines("one\n...\nfour"), printed), None);
    assert_eq!(not_printed(&lines("one\nthree"), printed), Some("three"));
    assert_eq!(
        not_printed(&lines("...\nfour\n...\none"), printed),
        Some("one")
    );
    assert_eq!(not_printed(&lines("on\n..."), printed), None);
    assert_eq!(not_printed(&lines("on\ntwo"), printed), Some("on"));
}

#[test]
fn every_command_of_the_readme_runs() {
    let page = std::fs::read_to_string(repository().join("README.md")).unwrap();
    let bench = Bench::empty();
    // Blocks, in their order. Those of cargo are what runs this test.
    let mut ran = 0;
    let mut inside = false;
    for line in page.lines() {
        match line {
            "```sh" => inside = true,
            "```" => inside = false,
            _ if inside && line.starts_with("ovendry ") => {
                let drifted = line.contains(" drift ");
                typed(&bench, line).exits(i32::from(drifted));
                ran += 1;
            }
            _ => {}
        }
    }
    assert!(ran >= 4, "{ran}");
    // What stands in the text, on the demo's data under the README's name.
    typed(
        &bench,
        "ovendry start laid-out --demo && cp -r laid-out my-garden",
    )
    .exits(0);
    typed(&bench, "ovendry calibrate my-garden").exits(0);
    let mut tried = 0;
    for span in page.split('`').skip(1).step_by(2) {
        let to_fill = |word: &str| word.chars().any(char::is_uppercase) || word == "...";
        let is_command = span.starts_with("ovendry ") && !span.contains('\n');
        if !is_command
            || span.split(' ').count() < 3
            || span.split(' ').any(to_fill)
            || span.contains(" start ")
        {
            continue;
        }
        let forced = match span.split(' ').nth(1) {
            Some("fit" | "export" | "calibrate" | "report") if span.contains("my-garden") => {
                " --force"
            }
            _ => "",
        };
        let answer = typed(&bench, &format!("{span}{forced}"));
        let code = answer.code;
        assert!(
            matches!(code, Some(0 | 1)),
            "{span}: {code:?}\n{}",
            answer.stderr
        );
        tried += 1;
    }
    assert!(tried >= 8, "{tried}");
}
