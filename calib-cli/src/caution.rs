//! Where the work can hurt: cautions for every text that sets a person to it.

/// Drying cores.
pub const OVEN: &[&str] = &[
    "A drying oven at 105 C burns: heat-proof gloves, tongs, a marked place for hot \
     containers; let cores cool before weighing.",
    "Ventilate the room: drying soil gives off steam and fumes. Dry nothing contaminated, \
     nothing flammable and no plastic in it.",
    "Soil rich in organic matter can char or smoulder at 105 C: do not leave it unwatched.",
];

/// The bench: water beside mains, dust, lifting.
pub const BENCH: &[&str] = &[
    "Water and mains kill together: keep oven, balance and logger on a dry table apart from the \
     wetting, sockets behind a residual current device (RCD, also called GFCI), hands dry, and \
     mains work to licensed hands; run probes on isolated low voltage.",
    "Dry soil is dusty: sieve outdoors or under extraction, with a dust mask, and wash your hands.",
    "A full container is heavy and rings are sharp: lift with two people, cut away from the hand.",
];

/// Pumps, valves and mains near water, and land that gets too much of it.
pub const PUMP: &[&str] = &[
    "Mains and water kill together: keep mains work to licensed hands, behind a residual \
     current device (RCD, also called GFCI), out of reach of spray and flooding; run probes \
     and controller on isolated low voltage.",
    "Where irrigation joins a drinking-water line, a backflow preventer is usually required by \
     law; fertiliser in the line asks for a stricter one.",
    "Over-irrigation starves roots of air; what the soil cannot hold drains, and leaches nutrients \
     and salts into ground water: look below the roots, with a spade or a second probe, before \
     leaving the pump to itself.",
    "A pump without water overheats: fit a float switch, or a flow or pressure cut-out, that \
     works without the controller.",
    "Set a longest run time outside this program too: a fault must not flood land or \
     buildings or wash fertiliser into ground water.",
];

/// What stands above all of them.
pub const LOCAL_RULES: &str =
    "Local codes, your workplace's rules and licensed practice come before anything written here.";

/// The cautions under their heading, as every command prints them.
pub fn take_care(cautions: &[&[&str]]) -> String {
    format!("Take care:\n{}", lines(cautions))
}

/// The cautions as indented lines, with [`LOCAL_RULES`] at the end.
fn lines(cautions: &[&[&str]]) -> String {
    cautions
        .iter()
        .flat_map(|group| group.iter())
        .chain([&LOCAL_RULES])
        .map(|caution| format!("  - {caution}\n"))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bench_is_never_printed_without_mains_dust_and_the_local_codes() {
        let text = lines(&[OVEN, BENCH]);
        for word in [
            "105 C burns",
            "RCD",
            "low voltage",
            "dust mask",
            LOCAL_RULES,
        ] {
            assert!(text.contains(word), "{word} is missing from\n{text}");
        }
        assert!(text.is_ascii());
    }

    #[test]
    fn pumping_is_never_printed_without_its_hazards_and_the_local_codes() {
        let text = lines(&[PUMP]);
        for word in [
            "licensed hands",
            "RCD",
            "GFCI",
            "low voltage",
            "backflow preventer",
            "leaches",
            "without water",
            "longest run time",
            LOCAL_RULES,
        ] {
            assert!(text.contains(word), "{word} is missing from\n{text}");
        }
        assert!(text.is_ascii());
    }
}
