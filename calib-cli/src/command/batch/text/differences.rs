//! Do the probes differ, and how? The tests, each with what it means.

use super::super::report::SoilsTogether;
use super::super::study::SoilStudy;
use super::{item, p_value, paragraph, section, water};
use calib_core::batch::{Sharing, SharingTest};

/// Share of the target below which a difference, however sure, matters little.
const LITTLE: f64 = 0.1;

/// The tests of the probes.
pub(super) fn text(study: &SoilStudy) -> String {
    let target = study.decision.asked.target;
    let told = |tests: &[SharingTest]| -> String {
        tests
            .iter()
            .map(|test| item(&format!("{} [{}]", meaning(test, target), figures(test))))
            .collect()
    };
    let mut body = told(&study.as_read.tests.tests);
    if let Some(scale) = &study.two_media {
        body.push_str("\nAfter two-point normalisation in the two media:\n");
        body.push_str(&told(&scale.tests.tests));
    }
    section("Do the probes differ?", &body)
}

fn figures(test: &SharingTest) -> String {
    format!(
        "{} against {}: F({:.0}, {:.0}) = {:.2}, {}",
        name(test.enough),
        name(test.against),
        test.extra_freedom,
        test.freedom,
        test.f,
        p_value(test.p_value)
    )
}

fn name(sharing: Sharing) -> &'static str {
    match sharing {
        Sharing::OneCurve => "one curve",
        Sharing::OwnOffset => "own offsets",
        Sharing::OwnOffsetAndGain => "own offsets and gains",
        Sharing::OwnCurve => "own curves",
    }
}

/// What the test says of the probes; with how much it matters where it says that they
/// differ.
fn meaning(test: &SharingTest, target: f64) -> String {
    let spread = water(test.spread);
    let little = if test.needed && test.spread < LITTLE * target {
        format!(" That is sure, and little beside {} m3/m3.", water(target))
    } else {
        String::new()
    };
    let said = match (test.enough, test.against, test.needed) {
        (Sharing::OneCurve, Sharing::OwnOffset, true) => format!(
            "Some probes read wetter than others from dry to wet: they lie {spread} m3/m3 apart (standard deviation)."
        ),
        (Sharing::OneCurve, Sharing::OwnOffset, false) => {
            "No probe reads wetter or drier than the others by more than chance.".to_owned()
        }
        (Sharing::OwnOffset, Sharing::OwnOffsetAndGain, true) => format!(
            "How far a probe is off changes from dry to wet (by {spread} m3/m3, standard deviation): it is not a mere shift."
        ),
        (Sharing::OwnOffset, Sharing::OwnOffsetAndGain, false) => {
            "How far a probe is off does not change from dry to wet by more than chance.".to_owned()
        }
        (Sharing::OneCurve, _, true) => format!(
            "A curve for each probe fits better than one for all: probes lie {spread} m3/m3 apart."
        ),
        (Sharing::OneCurve, _, false) => {
            "A curve for each probe fits no better than one for all.".to_owned()
        }
        (Sharing::OwnOffset, _, true) => format!(
            "Shifting one curve for each probe is not enough: their curves still lie {spread} m3/m3 apart."
        ),
        (Sharing::OwnOffset, _, false) => {
            "One curve, shifted for each probe, fits as well as a curve for each.".to_owned()
        }
        (_, _, true) => format!(
            "Probes differ in the shape of their curves: shifted and stretched, these still lie {spread} m3/m3 apart."
        ),
        (_, _, false) => {
            "One shape, shifted and stretched for each probe, fits as well as a curve for each."
                .to_owned()
        }
    };
    said + &little
}

/// The same of soils.
fn of_soil(test: &SharingTest) -> &'static str {
    match (test.enough, test.against, test.needed) {
        (Sharing::OneCurve, Sharing::OwnOffset, true) => {
            "In some soil the same count means more water than in another."
        }
        (Sharing::OneCurve, Sharing::OwnOffset, false) => {
            "No soil is shifted against the others by more than chance."
        }
        (_, _, true) => "Curves of different shape fit better, one for each soil.",
        (_, _, false) => "A curve for each soil fits no better.",
    }
}

/// May several soils share a curve?
pub(super) fn of_soils(together: &SoilsTogether) -> String {
    let title = "One curve for several soils?";
    if let Some(refused) = &together.refused {
        return section(
            title,
            &paragraph(&format!(
                "This cannot be said: {}. To have it said, {}.",
                refused.reason, refused.mend
            )),
        );
    }
    let Some(found) = &together.found else {
        return String::new();
    };
    let names = found.soils.join(", ");
    let mut body = paragraph(&if found.one_curve {
        format!(
            "Nothing says that {names} need curves of their own. With more probes or cores a difference might still show."
        )
    } else {
        let apart: Vec<String> = found
            .soils
            .iter()
            .zip(&found.offsets)
            .map(|(soil, offset)| format!("{soil} by {offset:+.3}"))
            .collect();
        format!(
            "No: {names} need curves of their own. By one curve for all, probes would read off in {} m3/m3 on average (+ is too wet).",
            apart.join(", in ")
        )
    });
    for test in &found.tests {
        body.push_str(&item(&format!("{} [{}]", of_soil(test), figures(test))));
    }
    section(title, &body)
}
