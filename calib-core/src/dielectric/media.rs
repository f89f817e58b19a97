//! From counts to apparent permittivity by three media of known permittivity.

use super::DielectricError;
use crate::pair::TwoPoints;
use crate::quantity::{Estimate, Permittivity, Quantity};

/// Relative permittivity of air; from memory, and far closer to 1 than any probe
/// can tell.
pub const AIR_PERMITTIVITY: f64 = 1.0006;

/// A medium of known permittivity and the probe's count in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Medium {
    /// Count in the medium, with its standard uncertainty.
    pub count: Estimate<f64>,
    /// Permittivity of the medium at its temperature, with its standard
    /// uncertainty.
    pub permittivity: Estimate<Permittivity>,
}

/// The response of one probe: its counts in air, in water, and in a liquid
/// between the two.
///
/// The count is taken to be a ratio of two linear functions of permittivity,
/// `count = (p + q e)/(1 + r e)`: that is what a divider of two capacitors gives,
/// one of which is the probe's and proportional to permittivity, and a coating in
/// series with it leaves the form as it is (our own derivation, not from a
/// publication). Three media fix its three numbers. A count outside those of the
/// media is refused.
///
/// The permittivity is the apparent one, at the probe's own frequency: losses in
/// salty or clayey soil raise it.
///
/// Many liquids between air and water, alcohols among them, burn and give off
/// harmful vapour: work by their safety data sheet, away from flames and mains.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReferenceMedia {
    counts: [f64; 3],
    u_counts: [f64; 3],
    permittivities: [f64; 3],
    u_permittivities: [f64; 3],
}

impl ReferenceMedia {
    /// The response fixed by three media, in any order.
    ///
    /// # Errors
    /// [`DielectricError::MediaOutOfOrder`] unless the counts all rise or all fall
    /// with permittivity; [`DielectricError::NotANumber`] for a count or an
    /// uncertainty that is none.
    pub fn new(mut media: [Medium; 3]) -> Result<Self, DielectricError> {
        let usable = |u: f64| u >= 0.0 && u.is_finite();
        let known =
            |m: &Medium| m.count.value.is_finite() && usable(m.count.u) && usable(m.permittivity.u);
        if !media.iter().all(known) {
            return Err(DielectricError::NotANumber {
                what: "a count in a reference medium, or its uncertainty,",
            });
        }
        let permittivity = |m: &Medium| m.permittivity.value.value();
        media.sort_by(|a, b| permittivity(a).total_cmp(&permittivity(b)));
        let counts = media.map(|m| m.count.value);
        let permittivities = media.map(|m| permittivity(&m));
        let [one, two, three] = counts;
        let moves_one_way = (one < two && two < three) || (one > two && two > three);
        let [low, middle, high] = permittivities;
        if !(moves_one_way && low < middle && middle < high) {
            return Err(DielectricError::MediaOutOfOrder {
                counts,
                permittivities,
            });
        }
        Ok(Self {
            counts,
            u_counts: media.map(|m| m.count.u),
            permittivities,
            u_permittivities: media.map(|m| m.permittivity.u),
        })
    }

    /// The counts in the media of lowest and of highest permittivity.
    pub fn ends(&self) -> TwoPoints {
        let [low, _, high] = self.counts;
        TwoPoints { low, high }
    }

    /// The apparent permittivity at which the probe reads `count`.
    ///
    /// # Errors
    /// [`DielectricError::OutsideMedia`] outside the counts of the media.
    pub fn permittivity(&self, count: f64) -> Result<Permittivity, DielectricError> {
        let [one, _, three] = self.counts;
        let (low, high) = (one.min(three), one.max(three));
        if !(low..=high).contains(&count) {
            return Err(DielectricError::OutsideMedia { count, low, high });
        }
        let (permittivity, _) = carry(count, &self.counts, &self.permittivities);
        Ok(Permittivity::new(permittivity)?)
    }

    /// The count at an apparent permittivity: the exact inverse.
    ///
    /// # Errors
    /// [`DielectricError::PermittivityOutsideMedia`] outside those of the media.
    pub fn count(&self, permittivity: Permittivity) -> Result<f64, DielectricError> {
        let [low, _, high] = self.permittivities;
        let permittivity = permittivity.value();
        if !(low..=high).contains(&permittivity) {
            return Err(DielectricError::PermittivityOutsideMedia {
                permittivity,
                low,
                high,
            });
        }
        Ok(carry(permittivity, &self.permittivities, &self.counts).0)
    }

    /// The apparent permittivity with its standard uncertainty from the reading
    /// and from the media's counts and permittivities, all taken as independent;
    /// to first order (JCGM 100:2008, 5.1).
    ///
    /// To that order a small change of the three fixed values moves the response
    /// between them by the parabola through the three changes, so the
    /// sensitivities are the parabolas that are 1 at one medium and 0 at the
    /// other two (our own derivation; checked against dual numbers).
    ///
    /// # Errors
    /// As [`permittivity`](Self::permittivity), and
    /// [`DielectricError::NotANumber`] for an uncertainty that is none.
    pub fn estimate(
        &self,
        count: Estimate<f64>,
    ) -> Result<Estimate<Permittivity>, DielectricError> {
        let permittivity = self.permittivity(count.value)?;
        if !(count.u >= 0.0 && count.u.is_finite()) {
            return Err(DielectricError::NotANumber {
                what: "the uncertainty of a count",
            });
        }
        let (_, slope) = carry(count.value, &self.counts, &self.permittivities);
        let by_count = parabolas(count.value, &self.counts);
        let by_permittivity = parabolas(permittivity.value(), &self.permittivities);
        let mut square = (slope * count.u).powi(2);
        for i in 0..3 {
            square += (slope * by_count[i] * self.u_counts[i]).powi(2);
            square += (by_permittivity[i] * self.u_permittivities[i]).powi(2);
        }
        Ok(Estimate::new(permittivity, square.sqrt()))
    }
}

/// The ratio of linear functions that takes the three `from` to the three `to`,
/// at `x`, with its derivative: the one map that leaves the cross-ratio of four
/// numbers as it is.
fn carry(x: f64, from: &[f64; 3], to: &[f64; 3]) -> (f64, f64) {
    let [f1, f2, f3] = *from;
    let [t1, t2, t3] = *to;
    let (left, left_slope) = ((x - f1) * (f2 - f3) * (t2 - t1), (f2 - f3) * (t2 - t1));
    let (right, right_slope) = ((x - f3) * (f2 - f1) * (t2 - t3), (f2 - f1) * (t2 - t3));
    let (above, below) = (t1 * right - t3 * left, right - left);
    let above_slope = t1 * right_slope - t3 * left_slope;
    let below_slope = right_slope - left_slope;
    let value = above / below;
    (value, (above_slope - value * below_slope) / below)
}

/// The three parabolas that are 1 at one node and 0 at the others, at `x`.
fn parabolas(x: f64, nodes: &[f64; 3]) -> [f64; 3] {
    let [a, b, c] = *nodes;
    [
        (x - b) * (x - c) / ((a - b) * (a - c)),
        (x - a) * (x - c) / ((b - a) * (b - c)),
        (x - a) * (x - b) / ((c - a) * (c - b)),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_dual::{Dual64, DualNum};

    fn medium(count: f64, permittivity: f64) -> Medium {
        Medium {
            count: Estimate::new(count, 0.7),
            permittivity: Estimate::new(Permittivity::new(permittivity).unwrap(), 0.05),
        }
    }

    /// A made-up probe: `count = (900 + 12 e)/(1 + 0.05 e)`.
    fn count_of(permittivity: f64) -> f64 {
        (900.0 + 12.0 * permittivity) / (1.0 + 0.05 * permittivity)
    }

    const PLACES: [f64; 3] = [1.0006, 18.2, 79.6];

    fn probe() -> ReferenceMedia {
        ReferenceMedia::new([1, 0, 2].map(|i: usize| medium(count_of(PLACES[i]), PLACES[i])))
            .unwrap()
    }

    #[test]
    fn three_media_give_the_whole_response_back_both_ways() {
        for permittivity in [1.0006, 3.0, 11.0, 18.2, 40.0, 79.0] {
            let count = count_of(permittivity);
            let found = probe().permittivity(count).unwrap();
            assert!((found.value() - permittivity).abs() < 1e-9, "{found:?}");
            let back = probe().count(found).unwrap();
            assert!((back - count).abs() < 1e-9, "{back} vs {count}");
        }
    }

    #[test]
    fn the_media_themselves_come_out_exactly() {
        for place in PLACES {
            let found = probe().permittivity(count_of(place)).unwrap();
            assert!((found.value() - place).abs() < 1e-12 * place);
        }
    }

    /// The same response as p, q and r solved from the three media, for numbers
    /// that carry a derivative.
    fn solved<D: DualNum<Primitive = f64> + Copy>(count: D, counts: [D; 3], e: [D; 3]) -> D {
        // count + r e count = p + q e at each medium: take p out, then q.
        let [d21, d31] = [1, 2].map(|i| e[i] - e[0]);
        let [c21, c31] = [1, 2].map(|i| counts[i] - counts[0]);
        let [m21, m31] = [1, 2].map(|i| e[i] * counts[i] - e[0] * counts[0]);
        let r = (c31 * d21 - c21 * d31) / (m21 * d31 - m31 * d21);
        let q = (c21 + r * m21) / d21;
        let p = counts[0] + r * e[0] * counts[0] - q * e[0];
        (count - p) / (q - r * count)
    }

    #[test]
    fn the_uncertainty_is_what_dual_numbers_give() {
        let count = count_of(9.0);
        let values = [
            count,
            count_of(PLACES[0]),
            count_of(PLACES[1]),
            count_of(PLACES[2]),
            PLACES[0],
            PLACES[1],
            PLACES[2],
        ];
        let u = [1.1, 0.7, 0.7, 0.7, 0.05, 0.05, 0.05];
        let mut square = 0.0;
        for (moved, u) in u.iter().enumerate() {
            let d: Vec<Dual64> = values
                .iter()
                .enumerate()
                .map(|(i, v)| Dual64::new(*v, f64::from(u8::from(i == moved))))
                .collect();
            let by = solved(d[0], [d[1], d[2], d[3]], [d[4], d[5], d[6]]).eps;
            square += (by * u).powi(2);
        }
        let found = probe().estimate(Estimate::new(count, 1.1)).unwrap();
        assert!((found.value.value() - 9.0).abs() < 1e-9);
        assert!(
            (found.u / square.sqrt() - 1.0).abs() < 1e-9,
            "{} vs {}",
            found.u,
            square.sqrt()
        );
    }

    #[test]
    fn counts_outside_the_media_are_refused() {
        let error = probe().permittivity(900.0).unwrap_err();
        assert!(matches!(error, DielectricError::OutsideMedia { .. }));
        assert!(probe().permittivity(f64::NAN).is_err());
        assert!(matches!(
            probe().count(Permittivity::new(85.0).unwrap()),
            Err(DielectricError::PermittivityOutsideMedia { .. })
        ));
    }

    #[test]
    fn media_that_contradict_each_other_are_refused() {
        let crossed = [medium(860.0, 1.0), medium(400.0, 18.0), medium(450.0, 80.0)];
        let error = ReferenceMedia::new(crossed).unwrap_err();
        assert_eq!(
            error.to_string(),
            "counts [860.0, 400.0, 450.0] at permittivities [1.0, 18.0, 80.0] do not all rise, or all fall, from one medium to the next: measure the media again"
        );
        let same = [medium(860.0, 1.0), medium(500.0, 80.0), medium(450.0, 80.0)];
        assert!(ReferenceMedia::new(same).is_err());
        let nan = [
            medium(f64::NAN, 1.0),
            medium(500.0, 20.0),
            medium(450.0, 80.0),
        ];
        assert!(matches!(
            ReferenceMedia::new(nan),
            Err(DielectricError::NotANumber { .. })
        ));
    }
}
