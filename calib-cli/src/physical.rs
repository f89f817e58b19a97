//! What the physical route, by reference media, would have said of the cores.

use crate::cores::Core;
use crate::failure::Failure;
use crate::fitted::Fitted;
use crate::text_table::{Column, TextTable};
use crate::workbench::Workbench;
use calib_core::dielectric::{CoreReading, Route, RouteErrors, compare_routes, water_permittivity};
use calib_core::gravimetry::Method;
use calib_core::quantity::{Celsius, Density, Estimate, Quantity, QuantityError};
use schemars::JsonSchema;
use serde::Serialize;

/// A route whose error is up to this many times the fitted curve's could stand in
/// for it (our choice).
const AS_GOOD_AS: f64 = 1.5;

/// The physical routes beside the fitted curve.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct PhysicalReport {
    /// The fitted curve's root mean square error at unseen cores, m3/m3.
    curve_rmse: Option<f64>,
    /// Its mean error there, m3/m3.
    curve_bias: Option<f64>,
    /// Each route at the cores.
    routes: Vec<RouteErrors>,
    /// Mean dry bulk density of the cores, g/cm3, for the mixing model.
    bulk_density: f64,
    /// Temperature of the soil's water for the mixing model, C.
    water_temperature: f64,
    /// Whether a route could stand in for oven-dry cores, in words.
    pub remark: String,
}

/// What keeps the routes from being compared, where the probe was read in media.
pub fn lacking(workbench: &Workbench, probe: &str) -> Option<String> {
    let media = workbench.site.probe(probe)?.media?;
    media.response.is_none().then(|| {
        format!(
            "Reference media instead of cores? Probe {probe} was read in two media: that brings its counts onto the scale of other probes (`ovendry batch`). Comparing published formulas with the cores needs a third [[medium]], a liquid between the two."
        )
    })
}

impl PhysicalReport {
    /// Compares the routes, where the probe was read in three reference media.
    ///
    /// # Errors
    /// [`Failure::Internal`] if the cores have no mean density.
    pub fn new(
        workbench: &Workbench,
        fitted: &Fitted<'_>,
        cores: &[Core],
    ) -> Result<Option<Self>, Failure> {
        let paired = fitted.paired;
        let probe = workbench.site.probe(&paired.probe);
        let Some(media) = probe.and_then(|probe| probe.media?.response) else {
            return Ok(None);
        };
        let fit = &fitted.choice.fit;
        let readings: Vec<CoreReading> = paired
            .observations
            .iter()
            .zip(&fit.residuals)
            .map(|(o, at_reference)| CoreReading {
                count: Estimate::new(at_reference.count, o.count.u),
                theta_v: Estimate::new(o.theta_v.value, o.theta_v.u.hypot(fit.core_scatter)),
            })
            .collect();
        let implausible = |e: QuantityError| Failure::Internal(e.to_string());
        let own: Vec<&Core> = cores
            .iter()
            .filter(|core| fit.residuals.iter().any(|r| r.sample == core.sample))
            .collect();
        let bulk_density =
            mean(own.iter().map(|c| c.reduced.bulk_density.value.value())).unwrap_or(f64::NAN);
        let particle = workbench
            .site
            .soils
            .iter()
            .find(|soil| soil.id == paired.soil)
            .and_then(|soil| soil.particle_density);
        let default = Method::new(1.0, 0.0).map_err(implausible)?;
        let temperatures = paired.observations.iter().filter_map(|o| o.temperature);
        let water_temperature = mean(temperatures.map(Quantity::value))
            .unwrap_or(default.water_temperature.value.value())
            .max(0.0);
        let water = Celsius::new(water_temperature)
            .map_err(|e| Failure::Internal(e.to_string()))
            .and_then(|t| water_permittivity(t).map_err(|e| Failure::Internal(e.to_string())))?;
        let routes = compare_routes(
            &media,
            &readings,
            Density::new(bulk_density).map_err(implausible)?,
            particle.unwrap_or(default.particle_density).value,
            water,
        );
        let curve_rmse = fit.left_out_rmse;
        let errors: Option<Vec<f64>> = fit.residuals.iter().map(|r| r.left_out_error).collect();
        Ok(Some(Self {
            remark: remark(&routes, curve_rmse),
            curve_rmse,
            curve_bias: errors.and_then(|errors| mean(errors.into_iter().map(|e| -e))),
            routes,
            bulk_density,
            water_temperature,
        }))
    }

    /// The table and its sentence, the curve in the first row.
    pub fn text(&self) -> String {
        let mut table = TextTable::new([
            Column::words("from count to theta_v by"),
            Column::numbers("bias", "m3/m3"),
            Column::numbers("error at unseen cores", "m3/m3"),
            Column::numbers("cores answered", ""),
        ]);
        let number = |value: Option<f64>, signed: bool| match value {
            Some(v) if signed => format!("{v:+.3}"),
            Some(v) => format!("{v:.3}"),
            None => "-".to_owned(),
        };
        let all = self
            .routes
            .first()
            .map_or(0, |route| route.cores + route.unanswered);
        table.push([
            "the fitted curve".to_owned(),
            number(self.curve_bias, true),
            number(self.curve_rmse, false),
            format!("{all} of {all}"),
        ]);
        for route in &self.routes {
            table.push([
                format!("media and {}", route.route),
                number(Some(route.bias), true),
                number(Some(route.rmse), false),
                format!("{} of {all}", route.cores),
            ]);
        }
        let note = if self.routes.iter().any(|route| route.unanswered > 0) {
            "  no answer where the count lies outside those of the media, or would be more water\n  than the pores hold\n"
        } else {
            ""
        };
        format!("Reference media instead of cores?\n{table}{note}")
    }
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, n) = values.fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
    (n > 0.0).then(|| sum / n)
}

/// Whether a route could stand in for oven-dry cores.
fn remark(routes: &[RouteErrors], curve_rmse: Option<f64>) -> String {
    let Some(curve) = curve_rmse else {
        return "The curve itself could not be tested on unseen cores, so nothing can be said of replacing them: take more cores.".to_owned();
    };
    let answering = |keep: &dyn Fn(Route) -> bool| {
        routes
            .iter()
            .filter(|r| r.unanswered == 0 && keep(r.route))
            .min_by(|a, b| a.rmse.total_cmp(&b.rmse))
    };
    let good = |route: &&RouteErrors| route.rmse <= AS_GOOD_AS * curve;
    let own_line = answering(&|route| !route.needs_no_fit()).filter(good);
    match answering(&Route::needs_no_fit) {
        Some(best) if good(&best) => format!(
            "In this soil the {} does nearly as well as cores ({:.3} against {curve:.3} m3/m3): for a further probe here three media would do; check it with one wet and one dry core.",
            best.route, best.rmse
        ),
        best => {
            let why = match best {
                Some(best) => format!(
                    "the best of the published formulas, the {}, is off by {:.3} m3/m3, the curve by {curve:.3}",
                    best.route, best.rmse
                ),
                None => "no published formula has an answer at every core".to_owned(),
            };
            match own_line {
                Some(line) => format!(
                    "Media alone do not replace oven-dry cores in this soil: {why}. With the soil's own root line from these cores ({:.3}) three media may do for a further probe here; check it with one wet and one dry core.",
                    line.rmse
                ),
                None => format!(
                    "Media do not replace oven-dry cores in this soil: {why}. Keep taking cores."
                ),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn route(route: Route, rmse: f64, unanswered: usize) -> RouteErrors {
        RouteErrors {
            route,
            bias: 0.0,
            rmse,
            cores: 10 - unanswered,
            unanswered,
        }
    }

    #[test]
    fn only_a_route_that_answers_everywhere_and_nearly_as_well_stands_in() {
        let says = |topp: (f64, usize), line: f64| {
            let routes = [
                route(Route::Topp, topp.0, topp.1),
                route(Route::RootLine, line, 0),
            ];
            remark(&routes, Some(0.01))
        };
        assert!(says((0.014, 0), 0.01).starts_with("In this soil the Topp (1980) relation does"));
        for topp in [(0.016, 0), (0.005, 1)] {
            let text = says(topp, 0.012);
            assert!(text.starts_with("Media alone do not replace"), "{text}");
            assert!(text.contains("own root line"), "{text}");
            assert!(says(topp, 0.03).ends_with("Keep taking cores."));
        }
        assert!(remark(&[], None).contains("take more cores"));
    }
}
