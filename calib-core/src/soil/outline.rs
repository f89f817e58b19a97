//! The texture classes as areas of the triangle, for drawing.

use super::TextureClass;

impl TextureClass {
    /// Corners of the class's area, in turn, as (sand, clay) percent; silt is the
    /// rest. Worked out from the rules of [`holds`](Self::holds), which alone
    /// decide a soil's class.
    pub fn outline(self) -> &'static [(f64, f64)] {
        match self {
            TextureClass::Sand => &[(100.0, 0.0), (85.0, 0.0), (90.0, 10.0)],
            TextureClass::LoamySand => &[(85.0, 0.0), (70.0, 0.0), (85.0, 15.0), (90.0, 10.0)],
            TextureClass::SandyLoam => &[
                (70.0, 0.0),
                (50.0, 0.0),
                (43.0, 7.0),
                (52.0, 7.0),
                (52.0, 20.0),
                (80.0, 20.0),
                (85.0, 15.0),
            ],
            TextureClass::Loam => &[
                (52.0, 7.0),
                (43.0, 7.0),
                (23.0, 27.0),
                (45.0, 27.0),
                (52.0, 20.0),
            ],
            TextureClass::SiltLoam => &[
                (50.0, 0.0),
                (20.0, 0.0),
                (8.0, 12.0),
                (0.0, 12.0),
                (0.0, 27.0),
                (23.0, 27.0),
            ],
            TextureClass::Silt => &[(20.0, 0.0), (0.0, 0.0), (0.0, 12.0), (8.0, 12.0)],
            TextureClass::SandyClayLoam => &[
                (52.0, 20.0),
                (80.0, 20.0),
                (65.0, 35.0),
                (45.0, 35.0),
                (45.0, 27.0),
            ],
            TextureClass::ClayLoam => &[(45.0, 27.0), (20.0, 27.0), (20.0, 40.0), (45.0, 40.0)],
            TextureClass::SiltyClayLoam => &[(20.0, 27.0), (0.0, 27.0), (0.0, 40.0), (20.0, 40.0)],
            TextureClass::SandyClay => &[(45.0, 35.0), (65.0, 35.0), (45.0, 55.0)],
            TextureClass::SiltyClay => &[(20.0, 40.0), (0.0, 40.0), (0.0, 60.0)],
            TextureClass::Clay => &[
                (45.0, 40.0),
                (20.0, 40.0),
                (0.0, 60.0),
                (0.0, 100.0),
                (45.0, 55.0),
            ],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::soil::Particles;

    /// Whether a ray to the right crosses the outline an odd number of times.
    fn inside(outline: &[(f64, f64)], (x, y): (f64, f64)) -> bool {
        let next = outline.iter().cycle().skip(1);
        outline
            .iter()
            .zip(next)
            .filter(|((x1, y1), (x2, y2))| {
                (*y1 > y) != (*y2 > y) && x < x1 + (y - y1) * (x2 - x1) / (y2 - y1)
            })
            .count()
            % 2
            == 1
    }

    #[test]
    fn the_areas_drawn_are_those_of_the_rules_and_leave_nothing_out() {
        let mut points = 0;
        for sand in 0..200 {
            for clay in 0..(200 - sand) {
                // Off every border, which all lie on whole percents or halves.
                let (sand, clay) = (f64::from(sand) / 2.0 + 0.13, f64::from(clay) / 2.0 + 0.17);
                if sand + clay > 99.9 {
                    continue;
                }
                let particles = Particles::from_sand_and_clay(sand, clay).unwrap();
                let drawn: Vec<TextureClass> = TextureClass::ALL
                    .into_iter()
                    .filter(|class| inside(class.outline(), (sand, clay)))
                    .collect();
                assert_eq!(drawn, [particles.class()], "{particles}");
                points += 1;
            }
        }
        assert!(points > 19_000);
    }

    #[test]
    fn the_areas_fill_the_triangle() {
        let area = |outline: &[(f64, f64)]| {
            let next = outline.iter().cycle().skip(1);
            let twice: f64 = outline
                .iter()
                .zip(next)
                .map(|((x1, y1), (x2, y2))| x1 * y2 - x2 * y1)
                .sum();
            twice.abs() / 2.0
        };
        let sum: f64 = TextureClass::ALL.iter().map(|c| area(c.outline())).sum();
        assert!((sum - 5000.0).abs() < 1e-9, "{sum}");
    }
}
