//! Which way the counts in the two media run.

use super::error::BatchError;
use super::member::Member;
use crate::quantity::Quantity;

/// Share of concordance beyond which the counts beside the cores have a direction.
const CLEAR: f64 = 0.5;

/// Refuses media that run the wrong way: those of one probe against those of the
/// others (its two counts are swapped, most likely), or those of all against what the
/// counts beside the cores show. The wetter a core, the nearer the count to that in
/// the medium of the higher permittivity.
///
/// # Errors
/// [`BatchError::MediaSwapped`], [`BatchError::AllMediaSwapped`].
pub fn media_run_one_way(members: &[Member]) -> Result<(), BatchError> {
    let read: Vec<(&Member, f64)> = members
        .iter()
        .filter_map(|member| {
            let media = member.media?;
            Some((member, (media.high - media.low).signum()))
        })
        .collect();
    let sum: f64 = read.iter().map(|(_, way)| way).sum();
    let of_cores = with_wetness(members);
    let right = of_cores.unwrap_or(sum.signum());
    let wrong: Vec<&Member> = read
        .iter()
        .filter(|(_, way)| *way == -right)
        .map(|(member, _)| *member)
        .collect();
    let Some((first, media)) = wrong.first().and_then(|first| Some((first, first.media?))) else {
        return Ok(());
    };
    if wrong.len() == read.len() {
        return Err(BatchError::AllMediaSwapped {
            probe: first.probe.clone(),
            low: media.low,
            high: media.high,
            rise: right > 0.0,
        });
    }
    Err(BatchError::MediaSwapped {
        probe: first.probe.clone(),
        low: media.low,
        high: media.high,
        swapped: wrong.len(),
        probes: read.len(),
    })
}

/// 1 where counts rise as cores get wetter, -1 where they fall: pairs of one probe,
/// two by two, as Kendall's coefficient has them. `None` where that is not clear.
fn with_wetness(members: &[Member]) -> Option<f64> {
    let (mut sum, mut many) = (0.0, 0.0);
    for member in members {
        for (i, a) in member.observations.iter().enumerate() {
            for b in &member.observations[i + 1..] {
                let drier = a.theta_v.value.value() - b.theta_v.value.value();
                let lower = a.count.value - b.count.value;
                if drier != 0.0 && lower != 0.0 {
                    sum += (drier * lower).signum();
                    many += 1.0;
                }
            }
        }
    }
    (many > 0.0 && f64::abs(sum) > CLEAR * many).then(|| f64::signum(sum))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::batch::example::{as_members, batch};
    use crate::pair::TwoPoints;

    /// Counts of the example fall as cores get wetter.
    fn read(swapped: &[usize]) -> Result<(), BatchError> {
        let mut members = as_members(&batch(6, 5, false, 0.01, 1));
        for (i, member) in members.iter_mut().enumerate() {
            let (low, high) = (800.0 + i as f64, 200.0);
            member.media = Some(if swapped.contains(&i) {
                TwoPoints {
                    low: high,
                    high: low,
                }
            } else {
                TwoPoints { low, high }
            });
        }
        media_run_one_way(&members)
    }

    #[test]
    fn a_probe_whose_media_are_swapped_is_named_with_both_counts() {
        assert_eq!(read(&[]), Ok(()));
        let said = read(&[2]).unwrap_err().to_string();
        assert!(said.contains("probe p2") && said.contains("200") && said.contains("802"));
        assert!(said.contains("the other 5"), "{said}");
        // By the cores it is told even where most are swapped.
        let said = read(&[0, 1, 3, 4]).unwrap_err().to_string();
        assert!(
            said.contains("probe p0") && said.contains("4 of 6"),
            "{said}"
        );
    }

    #[test]
    fn media_that_all_run_against_the_cores_are_refused() {
        let error = read(&[0, 1, 2, 3, 4, 5]).unwrap_err();
        assert!(matches!(
            error,
            BatchError::AllMediaSwapped { rise: false, .. }
        ));
        assert!(error.mend().contains("air"), "{}", error.mend());
    }
}
