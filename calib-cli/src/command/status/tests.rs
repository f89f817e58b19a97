//! Every state a workbench can be in, and what is next in it.

use super::seen::SiteSeen;
use super::*;
use crate::command::Cli;
use clap::Parser;
use jiff::civil::date;

const TODAY: Date = date(2027, 1, 10);

/// An empty folder.
fn nothing() -> Seen {
    Seen {
        folder: PathBuf::from("garden"),
        out: PathBuf::from("garden/out"),
        has_site: false,
        nearby: Vec::new(),
        site: None,
        site_problems: 0,
        cores: Table::Nothing,
        readings: Table::Nothing,
        problems: 0,
        blank_cells: 0,
        blank_cores: 0,
        too_few_problems: 0,
        warnings: 0,
        warned_of: None,
        sheet: None,
        too_few: None,
        unreadable: None,
        calibrated: Vec::new(),
        uncalibrated: Vec::new(),
        report: None,
    }
}

/// site.toml filled in, nothing measured.
fn site_only() -> Seen {
    Seen {
        has_site: true,
        site: Some(SiteSeen {
            name: "Garden".to_owned(),
            soils: 1,
            probes: 1,
            controller: true,
            port: false,
        }),
        ..nothing()
    }
}

/// Cores and readings, all sound.
fn measured_well() -> Seen {
    Seen {
        cores: Table::Rows(15),
        readings: Table::Rows(180),
        ..site_only()
    }
}

fn probe() -> seen::Probe {
    seen::Probe {
        id: "P1".to_owned(),
        stale: None,
        recheck_by: Some(date(2027, 5, 1)),
        drift: None,
        set_points: true,
        exported: Exported::Current,
    }
}

/// Everything done.
fn finished() -> Seen {
    Seen {
        calibrated: vec![probe()],
        ..measured_well()
    }
}

/// Each step with a folder that is there, in the order of [`Step`].
fn every_state() -> Vec<(Step, Seen)> {
    let with = |change: fn(&mut seen::Probe)| {
        let mut probe = probe();
        change(&mut probe);
        Seen {
            calibrated: vec![probe],
            ..measured_well()
        }
    };
    vec![
        (Step::NoWorkbench, nothing()),
        (
            Step::WorkbenchNearby,
            Seen {
                nearby: vec![PathBuf::from("garden/terrace field")],
                ..nothing()
            },
        ),
        (
            Step::SiteMissing,
            Seen {
                cores: Table::Rows(3),
                ..nothing()
            },
        ),
        (
            Step::SiteToFillIn,
            Seen {
                site: None,
                site_problems: 2,
                ..site_only()
            },
        ),
        (Step::ToPlan, site_only()),
        (
            Step::ToTakeCores,
            Seen {
                sheet: Some(PathBuf::from("garden/plan/record-sheet-loam.html")),
                problems: 2,
                ..site_only()
            },
        ),
        (
            Step::Weighing,
            Seen {
                problems: 4,
                blank_cells: 4,
                blank_cores: 2,
                ..measured_well()
            },
        ),
        (
            Step::CoresMissing,
            Seen {
                cores: Table::Nothing,
                problems: 1,
                ..measured_well()
            },
        ),
        (
            Step::ReadingsMissing,
            Seen {
                readings: Table::Nothing,
                problems: 1,
                ..measured_well()
            },
        ),
        (
            Step::ToMend,
            Seen {
                problems: 4,
                blank_cells: 3,
                blank_cores: 2,
                ..finished()
            },
        ),
        (
            Step::TooFewCores,
            Seen {
                too_few: Some("2 levels".to_owned()),
                problems: 1,
                too_few_problems: 1,
                ..measured_well()
            },
        ),
        (Step::ToCalibrate, measured_well()),
        (
            Step::SomeNotCalibrated,
            Seen {
                uncalibrated: vec!["P2".to_owned()],
                ..finished()
            },
        ),
        (
            Step::CalibrationStale,
            with(|probe| probe.stale = Some("samples.csv is another".to_owned())),
        ),
        (
            Step::CalibrationUnreadable,
            Seen {
                unreadable: Some(PathBuf::from("garden/out/P1.calibration.json")),
                ..finished()
            },
        ),
        (
            Step::NoLongerHolds,
            with(|probe| probe.drift = Some(Standing::NoLongerHolds)),
        ),
        (
            Step::CheckInDoubt,
            with(|probe| probe.drift = Some(Standing::OneCheckOff)),
        ),
        (
            Step::ControllerMissing,
            Seen {
                site: site_only().site.map(|site| SiteSeen {
                    controller: false,
                    ..site
                }),
                ..finished()
            },
        ),
        (Step::NoSetPoints, with(|probe| probe.set_points = false)),
        (
            Step::ToExport,
            with(|probe| probe.exported = Exported::Missing),
        ),
        (
            Step::ExportOutdated,
            with(|probe| probe.exported = Exported::Outdated),
        ),
        (
            Step::CheckDue,
            with(|probe| probe.recheck_by = Some(date(2027, 1, 9))),
        ),
        (Step::Done, finished()),
    ]
}

/// The report of [`finished`].
fn page(is_current: bool) -> Option<seen::Page> {
    Some(seen::Page {
        file: PathBuf::from("garden/out/report.html"),
        is_current,
    })
}

#[test]
fn a_report_is_asked_for_once_and_again_where_it_is_outdated() {
    let next = |report| {
        let seen = Seen {
            report,
            ..finished()
        };
        let here = Whereabouts::of(&seen, TODAY);
        (here.step, here.next.command)
    };
    let says = |step, command: &str| (step, command.to_owned());
    assert_eq!(next(None), says(Step::Done, "ovendry report garden"));
    assert_eq!(
        next(page(false)),
        says(Step::ReportOutdated, "ovendry report garden --force")
    );
    assert_eq!(next(page(true)), says(Step::Done, "ovendry replay garden"));
}

#[test]
fn warnings_are_told_in_place_of_sound() {
    let seen = Seen {
        warnings: 2,
        warned_of: Some("core a: lies far off".to_owned()),
        ..measured_well()
    };
    let why = Whereabouts::of(&seen, TODAY).next.why;
    assert!(!why.contains("sound"), "{why}");
    assert!(why.ends_with("(2 warnings): core a: lies far off"), "{why}");
}

#[test]
fn a_port_that_the_site_names_is_not_asked_for() {
    let mut seen = Seen {
        readings: Table::Nothing,
        ..measured_well()
    };
    let command = |seen: &Seen| Whereabouts::of(seen, TODAY).next.command;
    assert_eq!(
        command(&seen),
        "ovendry capture garden --port PORT --sample CORE"
    );
    seen.site = seen.site.map(|site| SiteSeen { port: true, ..site });
    assert_eq!(command(&seen), "ovendry capture garden --sample CORE");
}

#[test]
fn every_state_is_told_from_the_others() {
    for (step, seen) in every_state() {
        assert_eq!(Whereabouts::of(&seen, TODAY).step, step, "{seen:?}");
    }
}

#[test]
fn no_two_states_give_the_same_advice() {
    let mut said: Vec<Next> = every_state()
        .iter()
        .map(|(_, seen)| Whereabouts::of(seen, TODAY).next)
        .collect();
    let many = said.len();
    said.sort_by(|a, b| a.why.cmp(&b.why));
    said.dedup();
    assert_eq!(said.len(), many);
}

/// Parts a command as a shell does, as far as we quote.
fn words(command: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut quoted = false;
    for c in command.chars() {
        match c {
            '"' => quoted = !quoted,
            ' ' if !quoted => words.push(String::new()),
            c => {
                if let Some(word) = words.last_mut() {
                    word.push(c);
                }
            }
        }
    }
    words
}

#[test]
fn every_command_named_can_be_typed() {
    for (step, mut seen) in every_state() {
        for folder in [".", "garden", "terrace field"] {
            seen.folder = PathBuf::from(folder);
            let next = Whereabouts::of(&seen, TODAY).next;
            let words = words(&next.command);
            if let Err(refused) = Cli::try_parse_from(&words) {
                panic!("{step:?}: {}\n{refused}", next.command);
            }
            if seen.has_site {
                assert!(
                    words.iter().any(|word| word == folder),
                    "{step:?}: {}",
                    next.command
                );
            }
        }
    }
}

#[test]
fn a_check_due_today_is_not_overdue() {
    let mut seen = finished();
    for (due, step) in [(TODAY, Step::Done), (date(2027, 1, 9), Step::CheckDue)] {
        seen.calibrated = vec![seen::Probe {
            recheck_by: Some(due),
            ..probe()
        }];
        assert_eq!(Whereabouts::of(&seen, TODAY).step, step);
    }
}

#[test]
fn where_the_pump_is_not_described_the_fit_comes_next_not_the_whole_job() {
    let seen = Seen {
        site: site_only().site.map(|site| SiteSeen {
            controller: false,
            ..site
        }),
        ..measured_well()
    };
    let next = Whereabouts::of(&seen, TODAY).next;
    assert_eq!(next.command, "ovendry fit garden");
}

#[test]
fn the_answer_fits_a_terminal_and_is_ascii() {
    for (_, seen) in every_state() {
        let here = Whereabouts::of(&seen, TODAY);
        let text = text(&seen, &here);
        assert!(text.is_ascii(), "{text}");
        for line in text.lines().filter(|line| !line.starts_with("next: ")) {
            assert!(line.len() <= 80, "{line}");
        }
    }
}
