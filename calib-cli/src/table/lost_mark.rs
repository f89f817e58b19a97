//! Masses whose decimal mark was lost or slipped: beside the other cores of the file they
//! are ten, a hundred or a thousand times too large.

use super::delimited::Sheet;
use super::names::{DIAMETER, DRY, DRY_AGAIN, HEIGHT, VOLUME, WET};
use super::number::parse;
use crate::findings::Findings;

/// Masses of a column that must be known before one is measured by the others.
const FEWEST: usize = 4;
/// A mass so many times what is usual is remarkable: cores from one ring do not differ so.
/// Our own choice.
const REMARKABLE: f64 = 5.0;
/// With its mark put back it lies within this factor of what is usual.
const ALIKE: f64 = 1.5;

/// What cores of a file usually weigh, column by column.
#[derive(Debug, Default)]
pub(super) struct UsualMasses(Vec<(&'static str, f64)>);

impl UsualMasses {
    /// The middle mass of each column of `sheet`, of cores from the site's ring.
    pub(super) fn of(sheet: &Sheet<'_>) -> Self {
        let own_volume = [DIAMETER, HEIGHT, VOLUME].map(|name| sheet.place(name));
        let columns = [WET, DRY, DRY_AGAIN];
        let mut masses = columns.map(|name| (name, sheet.place(name), Vec::new()));
        sheet.rows(&mut Findings::default(), |row, _| {
            if own_volume
                .iter()
                .any(|place| !row.cell(*place).text.is_empty())
            {
                return;
            }
            for (_, place, known) in &mut masses {
                if let Ok((mass, _)) = parse(row.cell(*place).text)
                    && mass > 0.0
                {
                    known.push(mass);
                }
            }
        });
        let middles = masses.into_iter().filter_map(|(name, _, mut known)| {
            known.sort_by(f64::total_cmp);
            let enough = known.len() >= FEWEST;
            let middle = known.get(known.len() / 2).copied();
            middle.filter(|_| enough).map(|middle| (name, middle))
        });
        Self(middles.collect())
    }

    /// By how much `mass` in `column` of a core in a container of `tare` is too large, if
    /// a lost decimal mark makes it so.
    pub(super) fn times_too_large(&self, column: &str, mass: f64, tare: f64) -> Option<f64> {
        let (_, usual) = self.0.iter().find(|(name, _)| *name == column)?;
        // A heavy container is no slip.
        if mass - tare < REMARKABLE * usual {
            return None;
        }
        [10.0, 100.0, 1000.0].into_iter().find(|times| {
            let put_back = mass / times / usual;
            (1.0 / ALIKE..=ALIKE).contains(&put_back)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_a_mark_put_back_makes_usual_is_a_lost_mark() {
        let usual = UsualMasses(vec![(DRY, 171.0)]);
        let times = |mass, tare| usual.times_too_large(DRY, mass, tare);
        assert_eq!(times(17_132.0, 38.0), Some(100.0));
        assert_eq!(times(1753.6, 38.0), Some(10.0));
        assert_eq!(times(175.0, 38.0), None);
        assert_eq!(
            times(5000.0, 38.0),
            None,
            "a tenth would not be usual either"
        );
        assert_eq!(times(1700.0, 1500.0), None, "a heavy container");
        assert_eq!(usual.times_too_large(WET, 17_132.0, 38.0), None);
    }
}
