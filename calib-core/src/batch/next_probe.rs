//! The next probe out of the box, before it is read beside any core.

use super::error::BatchError;
use super::mixed::Mixed;
use super::statistics_error::BatchStatisticsError;
use super::tolerance::{ToleranceInterval, tolerance_interval};

/// The range within which, with `confidence`, at least a `share` of further probes
/// read off the cores at `theta_v` by the [`shared_curve`](super::shared_curve()), m3/m3, as the mean of very
/// many readings of a probe would show it. `None` where the probes studied differ by no
/// more than chance.
///
/// The standard deviation is that between the probes; its degrees of freedom those of
/// a variance as uncertain (Satterthwaite 1946; recalled from memory), at most one less
/// than the probes.
///
/// # Errors
/// [`BatchError::OutsideCurve`] in the first, what [`tolerance_interval`] says in the
/// second.
pub fn next_probe_at(
    mixed: &Mixed,
    theta_v: f64,
    share: f64,
    confidence: f64,
) -> Result<Option<Result<ToleranceInterval, BatchStatisticsError>>, BatchError> {
    let mean = mixed.mean_deviation(theta_v)?;
    let sd = mixed.between_sd(theta_v);
    let variance = sd * sd;
    let probes = mixed.probes as f64;
    if variance <= 0.0 {
        return Ok(None);
    }
    let freedom = mixed.between_freedom(theta_v);
    let size = (variance / (mean.u * mean.u)).min(probes);
    Ok(Some(tolerance_interval(
        0.0, sd, size, freedom, share, confidence,
    )))
}
