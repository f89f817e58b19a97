//! How well each physical route foretells the cores.

use super::{
    DielectricError, ReferenceMedia, RefractiveMixture, RootLine, Topp, WaterFromPermittivity,
};
use crate::quantity::{Density, Estimate, Permittivity, Quantity, Vwc};
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;

/// Permittivity taken for the solid of the mixing model: the middle of the 4 to 5
/// that mineral grains have (common practice).
pub const SOLID_PERMITTIVITY: f64 = 4.5;

/// A core with the count beside it, as the physical route sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoreReading {
    /// Count at the temperature the media were measured at, or brought to it.
    pub count: Estimate<f64>,
    /// theta_v by the oven. Its uncertainty, above zero, weighs the core in the
    /// root line.
    pub theta_v: Estimate<Vwc>,
}

/// A way from permittivity to water content.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Route {
    /// [`Topp`]: one relation for all mineral soils.
    Topp,
    /// [`RefractiveMixture`] with the cores' mean bulk density.
    Mixture,
    /// [`RootLine`] fitted to the cores.
    RootLine,
}

impl Route {
    /// Whether the route needs no oven-dry core of the soil for its shape. (The
    /// mixing model needs a bulk density, which takes one dried core.)
    pub fn needs_no_fit(self) -> bool {
        self != Route::RootLine
    }
}

impl fmt::Display for Route {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Route::Topp => "Topp (1980) relation",
            Route::Mixture => "mixing model",
            Route::RootLine => "soil's own root line",
        })
    }
}

/// How far a route is off at the cores.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct RouteErrors {
    /// Which route.
    pub route: Route,
    /// Mean of what it says less what the oven says, m3/m3.
    pub bias: f64,
    /// Root mean square of the same, m3/m3.
    pub rmse: f64,
    /// Cores behind both.
    pub cores: usize,
    /// Cores for which the route has no answer: the count lies outside those of
    /// the media, or the answer is more water than the pores hold.
    pub unanswered: usize,
}

/// Each route against the oven, at cores it has not seen: the root line is fitted
/// anew without each core in turn; the other two see none.
///
/// A route without an answer at any core is left out; so is the mixing model
/// where density and porosity do not allow one, and the root line where the cores
/// fix none.
pub fn compare_routes(
    media: &ReferenceMedia,
    cores: &[CoreReading],
    bulk_density: Density,
    particle_density: Density,
    water: Permittivity,
) -> Vec<RouteErrors> {
    let mixture = Permittivity::new(SOLID_PERMITTIVITY)
        .map_err(DielectricError::from)
        .and_then(|solid| RefractiveMixture::new(bulk_density, particle_density, solid, water));
    let permittivities: Vec<Option<Estimate<Permittivity>>> = cores
        .iter()
        .map(|core| media.estimate(core.count).ok())
        .collect();
    let fixed = |route, relation: &dyn WaterFromPermittivity| {
        errors(route, cores, |i| {
            relation.theta_v(permittivities[i]?.value).ok()
        })
    };
    let root_line = errors(Route::RootLine, cores, |left_out| {
        let others: Vec<(Estimate<Permittivity>, Estimate<Vwc>)> = permittivities
            .iter()
            .zip(cores)
            .enumerate()
            .filter(|(i, _)| *i != left_out)
            .filter_map(|(_, (permittivity, core))| Some(((*permittivity)?, core.theta_v)))
            .collect();
        let fitted = RootLine::fit(&others).ok()?;
        fitted.line.theta_v(permittivities[left_out]?.value).ok()
    });
    [
        fixed(Route::Topp, &Topp),
        mixture
            .ok()
            .and_then(|mixture| fixed(Route::Mixture, &mixture)),
        root_line,
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// Bias and spread of what `says` gives for each core by its place.
fn errors(
    route: Route,
    cores: &[CoreReading],
    says: impl Fn(usize) -> Option<Vwc>,
) -> Option<RouteErrors> {
    let off: Vec<f64> = cores
        .iter()
        .enumerate()
        .filter_map(|(i, core)| Some(says(i)?.value() - core.theta_v.value.value()))
        .collect();
    let n = off.len() as f64;
    (!off.is_empty()).then(|| RouteErrors {
        route,
        bias: off.iter().sum::<f64>() / n,
        rmse: (off.iter().map(|e| e * e).sum::<f64>() / n).sqrt(),
        cores: off.len(),
        unanswered: cores.len() - off.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dielectric::Medium;

    fn media() -> ReferenceMedia {
        ReferenceMedia::new(
            [(1.0006, 860.0), (18.0, 520.0), (80.0, 250.0)].map(|(e, count)| Medium {
                count: Estimate::new(count, 0.5),
                permittivity: Estimate::new(Permittivity::new(e).unwrap(), 0.01),
            }),
        )
        .unwrap()
    }

    fn density(value: f64) -> Density {
        Density::new(value).unwrap()
    }

    fn water() -> Permittivity {
        Permittivity::new(80.1).unwrap()
    }

    /// Cores whose water follows `relation` but for `off`.
    fn cores(relation: &dyn WaterFromPermittivity, off: f64) -> Vec<CoreReading> {
        [5.0, 8.0, 12.0, 17.0, 22.0, 27.0]
            .into_iter()
            .map(|e| {
                let e = Permittivity::new(e).unwrap();
                let theta = relation.theta_v(e).unwrap().value() + off;
                CoreReading {
                    count: Estimate::new(media().count(e).unwrap(), 1.0),
                    theta_v: Estimate::new(Vwc::new(theta).unwrap(), 0.01),
                }
            })
            .collect()
    }

    fn of(routes: &[RouteErrors], route: Route) -> &RouteErrors {
        routes.iter().find(|r| r.route == route).unwrap()
    }

    #[test]
    fn a_soil_that_follows_a_route_is_foretold_by_it_alone() {
        let routes = compare_routes(
            &media(),
            &cores(&Topp, 0.0),
            density(1.4),
            density(2.65),
            water(),
        );
        let topp = of(&routes, Route::Topp);
        assert!(topp.rmse < 1e-9 && topp.bias.abs() < 1e-9 && topp.unanswered == 0);
        assert!(of(&routes, Route::Mixture).rmse > 1e-3);
        assert_eq!(routes.len(), 3);
    }

    #[test]
    fn a_soil_that_is_off_by_as_much_everywhere_shows_it_as_bias() {
        let routes = compare_routes(
            &media(),
            &cores(&Topp, 0.03),
            density(1.4),
            density(2.65),
            water(),
        );
        let topp = of(&routes, Route::Topp);
        assert!((topp.bias + 0.03).abs() < 1e-9 && (topp.rmse - 0.03).abs() < 1e-9);
    }

    #[test]
    fn the_root_line_is_judged_on_cores_it_has_not_seen() {
        let mut cores = cores(&RootLine::new(-0.17, 0.115).unwrap(), 0.0);
        let exact = compare_routes(&media(), &cores, density(1.4), density(2.65), water());
        assert!(of(&exact, Route::RootLine).rmse < 1e-6);
        // One core off by 0.06: the line without it foretells it 0.06 wrong, so
        // over six cores the error is at least 0.06 / sqrt(6).
        cores[5].theta_v.value = Vwc::new(cores[5].theta_v.value.value() + 0.06).unwrap();
        let off = compare_routes(&media(), &cores, density(1.4), density(2.65), water());
        assert!(of(&off, Route::RootLine).rmse > 0.06 / 6.0_f64.sqrt());
    }

    #[test]
    fn cores_beyond_the_media_and_the_pores_are_counted_not_guessed() {
        let mut cores = cores(&Topp, 0.0);
        cores[0].count.value = 900.0;
        let routes = compare_routes(&media(), &cores, density(1.9), density(2.65), water());
        let topp = of(&routes, Route::Topp);
        assert_eq!((topp.cores, topp.unanswered), (5, 1));
        // Pores hold 0.283: the wettest cores are more than the mixture allows.
        assert!(of(&routes, Route::Mixture).unanswered > 1);
        let dense = compare_routes(&media(), &cores, density(2.7), density(2.65), water());
        assert!(dense.iter().all(|r| r.route != Route::Mixture));
    }
}
