//! USDA Soil Survey Manual, texture triangle: the twelve classes.
//!
//! Rules and points: `reference-data/soil`; its NOTES.md on the second copy of
//! the rules: "all twelve rules whole in one, made for the Canadian system, which
//! caps three clayey classes at 60 % clay; sand and loamy sand in several; loam,
//! clay loam, clay in part"; from memory, not checked: "leaving that cap out".
//! "The points come from the same rules, so they check an implementation, not the
//! rules; all 5,151 whole-percent points meet exactly one rule".

use calib_core::soil::{Particles, TextureClass};
use ovendry_tests::table::Table;

/// A rule as the file writes it: groups of comparisons joined by `and`, groups
/// joined by `or`; a comparison may be chained (`7 <= clay < 20`), its sides are
/// sums of figures and multiples of a separate (`silt + 1.5*clay`).
struct Rule(Vec<Vec<String>>);

impl Rule {
    fn read(text: &str) -> Self {
        Rule(
            text.split(" or ")
                .map(|group| {
                    group
                        .trim_matches(['(', ')'])
                        .split(" and ")
                        .map(str::to_owned)
                        .collect()
                })
                .collect(),
        )
    }

    /// Whether the rule holds, reckoned in halves of a percent point so that
    /// whole percents never meet a rounding.
    fn holds(&self, sand: i32, silt: i32, clay: i32) -> bool {
        self.0.iter().any(|group| {
            group
                .iter()
                .all(|comparison| compare(comparison, [sand, silt, clay]))
        })
    }
}

fn compare(comparison: &str, separates: [i32; 3]) -> bool {
    let words: Vec<&str> = comparison.split(' ').collect();
    let is_sign = |word: &&str| ["<", "<=", ">", ">="].contains(word);
    let sides: Vec<i32> = words
        .split(is_sign)
        .map(|side| side.iter().map(|term| halves(term, separates)).sum())
        .collect();
    let signs: Vec<&str> = words.iter().copied().filter(is_sign).collect();
    assert_eq!(sides.len(), signs.len() + 1, "cannot read {comparison}");
    assert!(!signs.is_empty(), "cannot read {comparison}");
    signs
        .iter()
        .zip(sides.windows(2))
        .all(|(sign, pair)| match *sign {
            "<" => pair[0] < pair[1],
            "<=" => pair[0] <= pair[1],
            ">" => pair[0] > pair[1],
            _ => pair[0] >= pair[1],
        })
}

/// A term in halves of a percent point.
fn halves(term: &str, [sand, silt, clay]: [i32; 3]) -> i32 {
    let separate = |name: &str| match name {
        "sand" => sand,
        "silt" => silt,
        "clay" => clay,
        other => panic!("{other} is no separate"),
    };
    if term == "+" {
        0
    } else if let Some((factor, name)) = term.split_once('*') {
        (2.0 * factor.parse::<f64>().expect("a factor")) as i32 * separate(name)
    } else if let Ok(figure) = term.parse::<i32>() {
        2 * figure
    } else {
        2 * separate(term)
    }
}

fn rules() -> Vec<(TextureClass, Rule)> {
    let table = Table::of("soil/usda_texture_classes.csv");
    table
        .text("class")
        .iter()
        .zip(table.text("rule_percent"))
        .map(|(class, rule)| (class.parse().expect("a class"), Rule::read(&rule)))
        .collect()
}

#[test]
fn every_point_of_the_file_falls_in_its_class() {
    let table = Table::of("soil/usda_texture_points.csv");
    let (sand, silt, clay) = (
        table.numbers("sand_percent"),
        table.numbers("silt_percent"),
        table.numbers("clay_percent"),
    );
    let classes = table.text("class");
    assert_eq!(classes.len(), 28);
    for (i, class) in classes.iter().enumerate() {
        let particles = Particles::new(sand[i], silt[i], clay[i]).unwrap();
        assert_eq!(particles.class().name(), class, "{particles}");
        let without_silt = Particles::from_sand_and_clay(sand[i], clay[i]).unwrap();
        assert_eq!(without_silt, particles);
    }
}

#[test]
fn the_program_and_the_written_rules_agree_at_every_whole_percent_point() {
    let rules = rules();
    assert_eq!(rules.len(), 12);
    let mut points = 0;
    for sand in 0..=100 {
        for clay in 0..=(100 - sand) {
            let silt = 100 - sand - clay;
            let met: Vec<TextureClass> = rules
                .iter()
                .filter(|(_, rule)| rule.holds(sand, silt, clay))
                .map(|(class, _)| *class)
                .collect();
            let particles =
                Particles::from_sand_and_clay(f64::from(sand), f64::from(clay)).unwrap();
            assert_eq!(met, [particles.class()], "{particles}");
            points += 1;
        }
    }
    assert_eq!(points, 5151);
}
