//! What a plan is asked for, from site.toml and the command line; what neither says is
//! assumed, and said.

use super::super::soil::{command_line, known, wanted};
use super::Arguments;
use crate::failure::{
    COMMAND_LINE, Complaint, Failure, Warning, all_or_every_complaint, without_value,
};
use crate::table::{STOCK_WATER_MEND, WATER_CONTENT_MEND, stock_water_of, water_share_fault};
use crate::workbench::{self, ContainerSize, PlanKeys, Site};
use calib_core::gravimetry::USUAL_PARTICLE_DENSITY;
use calib_core::plan::{
    Container, CoreSize, DaysOff, Grain, LevelsAsked, Plan, PlanError, Request, SoilToPack,
    USUAL_CORES_PER_LEVEL, USUAL_HEADROOM, USUAL_LEVELS, USUAL_OVEN_PLACES,
    USUAL_WATER_TEMPERATURE_C, plan,
};
use calib_core::quantity::{
    Celsius, Centimetre, Density, Fraction, Gravimetric, Millilitre, Quantity, QuantityError, Vwc,
};
use calib_core::soil::{SoilDescription, SoilEvidence, Texture, TextureClass, evidence};
use std::path::Path;

/// Water of air-dry stock whose texture is not known, percent of the dry mass: a round
/// figure between those of [`Grain::air_dry_water`].
const UNKNOWN_STOCK_WATER: f64 = 0.03;
/// Inner diameter and height of the ring where none is stated, cm: a common size.
const USUAL_RING_CM: f64 = 5.0;

/// One soil's plan as it is asked for.
#[derive(Debug)]
pub(super) struct Asked {
    /// Its id, where it stands in site.toml.
    pub id: Option<String>,
    /// Its texture class, if known.
    pub class: Option<TextureClass>,
    /// The probes that are calibrated in it.
    pub probes: Vec<String>,
    /// What was taken because nothing was said.
    pub assumed: Vec<String>,
    /// What the core is asked.
    pub request: Request,
    /// Where a fault of the soil, and one of the plan, stands.
    origin: Origin,
}

#[derive(Debug, Clone)]
struct Origin {
    file: std::path::PathBuf,
    soil_line: Option<u64>,
    plan_line: Option<u64>,
}

impl Asked {
    /// The plan.
    ///
    /// # Errors
    /// A complaint where the figure that does not go stands.
    pub fn plan(&self, arguments: &Arguments) -> Result<Plan, Failure> {
        plan(&self.request).map_err(|error| self.placed(&error, arguments).into())
    }

    fn placed(&self, error: &PlanError, arguments: &Arguments) -> Complaint {
        let of_option = match error {
            PlanError::BulkDensity { .. } | PlanError::NoPores { .. } => {
                arguments.bulk_density.is_some()
            }
            PlanError::Count { what, .. } => match *what {
                "levels" => arguments.levels.is_some() || !arguments.targets.is_empty(),
                "cores a level" => arguments.cores.is_some(),
                _ => arguments.oven_places.is_some(),
            },
            PlanError::DrierThanStock { .. }
            | PlanError::AbovePorosity { .. }
            | PlanError::TooClose { .. } => !arguments.targets.is_empty(),
            PlanError::StockTooWet { .. } => arguments.stock_water.is_some(),
            PlanError::CoresTakeTooMuch { .. } | PlanError::RingHigherThanSoil { .. } => {
                arguments.cores.is_some()
                    || arguments.container_ml.is_some()
                    || arguments.core_cm3.is_some()
            }
            PlanError::Headroom { .. } | PlanError::Water(_) | PlanError::Implausible(_) => false,
        };
        let mend = match error {
            PlanError::Count { what: "levels", .. } if !arguments.targets.is_empty() => {
                "give as many water contents as that, commas between: 0.05,0.12,0.20,0.28,0.36"
            }
            _ => error.mend(),
        };
        let what = match &self.id {
            Some(id) => format!("soil {id}: {error}"),
            None => error.to_string(),
        };
        let complaint = if of_option {
            Complaint::about(Path::new(COMMAND_LINE), what, mend)
        } else {
            Complaint::about(&self.origin.file, what, mend)
        };
        let of_soil = matches!(
            error,
            PlanError::BulkDensity { .. } | PlanError::NoPores { .. }
        );
        let line = match self.origin.plan_line {
            Some(line) if !of_soil => Some(line),
            _ => self.origin.soil_line,
        };
        match line {
            Some(line) if !of_option => complaint.at_line(line),
            _ => complaint,
        }
    }
}

/// The soils of site.toml that are asked for, each with its warnings.
pub(super) fn from_site(
    site: &Site,
    arguments: &Arguments,
    days_off: DaysOff,
) -> Result<Vec<(Asked, Vec<Warning>)>, Failure> {
    let wanted = wanted(site, arguments.soil.as_deref())?;
    if wanted.len() > 1 {
        let of_one = [
            ("--bulk-density", arguments.bulk_density.is_some()),
            ("--targets", !arguments.targets.is_empty()),
            ("--stock-water", arguments.stock_water.is_some()),
        ];
        if let Some((option, _)) = of_one.into_iter().find(|(_, given)| *given) {
            let known: Vec<&str> = wanted.iter().map(|soil| soil.id.as_str()).collect();
            return Err(Complaint::about(
                Path::new(COMMAND_LINE),
                format!("{option} is about one soil, and there are {}", wanted.len()),
                format!("add --soil and one of: {}", known.join(", ")),
            )
            .into());
        }
    }
    all_or_every_complaint(wanted.into_iter().map(|soil| {
        let found = evidence_of(site, soil)?;
        let stated = Stated {
            id: Some(&soil.id),
            bulk_density: soil.bulk_density,
            particle_density: soil.particle_density.map(|density| density.value),
            gravel_percent: soil.gravel_percent,
            found: found.as_ref(),
            keys: site.plan.as_ref(),
            ring: site.ring,
            probes: site
                .probes
                .iter()
                .filter(|probe| probe.soil == soil.id)
                .map(|probe| probe.id.clone())
                .collect(),
            origin: Origin {
                file: site.file.clone(),
                soil_line: Some(soil.line),
                plan_line: site.plan.as_ref().map(|keys| keys.line),
            },
        };
        stated.asked(arguments, days_off)
    }))
}

/// What is known of a soil's water; `None` where too little is stated to say.
fn evidence_of(site: &Site, soil: &workbench::Soil) -> Result<Option<SoilEvidence>, Failure> {
    let measured = soil.field_capacity.is_some() && soil.wilting_point.is_some();
    if soil.texture.is_none() && !measured {
        return Ok(None);
    }
    known(site, soil).map(|(_, found)| Some(found))
}

/// The soil of the command line.
pub(super) fn from_command_line(
    arguments: &Arguments,
    days_off: DaysOff,
) -> Result<(Asked, Vec<Warning>), Failure> {
    let name = arguments.texture.as_deref().unwrap_or_default();
    let class: TextureClass = name.parse().map_err(|error: calib_core::soil::SoilError| {
        let what = without_value(&error.to_string(), name);
        let mend = match error {
            calib_core::soil::SoilError::UnknownClass { .. } => {
                "write one of these names; percentages of sand and clay can stand in the site.toml of a folder"
            }
            _ => error.mend(),
        };
        command_line("--texture", name, what, mend)
    })?;
    let known = SoilDescription {
        texture: Some(Texture::Class(class)),
        ..SoilDescription::default()
    };
    let found = evidence(&known).map_err(|error| {
        Complaint::about(Path::new(COMMAND_LINE), error.to_string(), error.mend())
    })?;
    Stated {
        id: None,
        bulk_density: None,
        particle_density: None,
        gravel_percent: None,
        found: Some(&found),
        keys: None,
        ring: None,
        probes: Vec::new(),
        origin: Origin {
            file: COMMAND_LINE.into(),
            soil_line: None,
            plan_line: None,
        },
    }
    .asked(arguments, days_off)
}

/// What files say of one soil.
struct Stated<'a> {
    id: Option<&'a str>,
    bulk_density: Option<Density>,
    particle_density: Option<Density>,
    gravel_percent: Option<f64>,
    found: Option<&'a SoilEvidence>,
    keys: Option<&'a PlanKeys>,
    ring: Option<workbench::RingSize>,
    probes: Vec<String>,
    origin: Origin,
}

impl Stated<'_> {
    fn asked(
        self,
        arguments: &Arguments,
        days_off: DaysOff,
    ) -> Result<(Asked, Vec<Warning>), Failure> {
        let mut assumed = Vec::new();
        let mut warnings = Vec::new();
        let keys = self.keys;
        let bulk_density = self.bulk_density(arguments)?;
        let particle_density = match self.particle_density {
            Some(density) => density,
            None => {
                assumed.push(format!("particle density {USUAL_PARTICLE_DENSITY} g/cm3"));
                usual(USUAL_PARTICLE_DENSITY)?
            }
        };
        let class = self.found.and_then(|found| found.class);
        let grain = class.map(Grain::from);
        let stock_water = match (
            arguments.stock_water,
            keys.and_then(|keys| keys.stock_water),
        ) {
            (Some(percent), _) => stock_water(percent)?,
            (None, Some(stated)) => stated,
            (None, None) => {
                let taken = match grain {
                    Some(grain) => grain.air_dry_water().map_err(never)?,
                    None => usual(UNKNOWN_STOCK_WATER)?,
                };
                warnings.push(self.stock_water_assumed(taken, bulk_density));
                taken
            }
        };
        let container = self.container(arguments, &mut assumed)?;
        let core = self.core(arguments, &mut assumed)?;
        let water_temperature = match keys.and_then(|keys| keys.water_temperature) {
            Some(stated) => stated,
            None => {
                assumed.push(format!("water at {USUAL_WATER_TEMPERATURE_C} C"));
                usual::<Celsius>(USUAL_WATER_TEMPERATURE_C)?
            }
        };
        let mut whole = |option: Option<usize>, stated: Option<usize>, taken: usize, what: &str| {
            option.or(stated).unwrap_or_else(|| {
                assumed.push(format!("{taken} {what}"));
                taken
            })
        };
        let cores_per_level = whole(
            arguments.cores,
            keys.and_then(|keys| keys.cores_per_level),
            USUAL_CORES_PER_LEVEL,
            "cores a level",
        );
        let oven_places = whole(
            arguments.oven_places,
            keys.and_then(|keys| keys.oven_places),
            USUAL_OVEN_PLACES,
            "places in the oven",
        );
        let targets = match arguments.targets.as_slice() {
            [] if arguments.levels.is_some() => None,
            [] => keys.and_then(|keys| keys.targets.clone()),
            given => Some(targets(given)?),
        };
        let levels = match targets {
            Some(targets) => LevelsAsked::Targets(targets),
            None => LevelsAsked::Even(whole(
                arguments.levels,
                keys.and_then(|keys| keys.levels),
                USUAL_LEVELS,
                "levels",
            )),
        };
        let tare = match arguments.container_tare {
            Some(g) => Some(option("--container-tare", g, "write it in grams")?),
            None => keys.and_then(|keys| keys.container_tare),
        };
        let container = tare.map_or(container, |tare| container.weighing(tare));
        if let Some(percent) = self.gravel_percent.filter(|percent| *percent > 0.0) {
            warnings.push(self.stones(percent));
        }
        let asked = Asked {
            id: self.id.map(str::to_owned),
            class,
            probes: self.probes,
            assumed,
            request: Request {
                soil: SoilToPack {
                    bulk_density,
                    particle_density,
                    field_capacity: self.found.map(|found| found.water.field_capacity.value),
                    wilting_point: self.found.map(|found| found.water.wilting_point.value),
                    grain,
                    stock_water,
                },
                container,
                core,
                water_temperature,
                levels,
                cores_per_level,
                oven_places,
                days_off,
            },
            origin: self.origin,
        };
        Ok((asked, warnings))
    }

    fn place(&self) -> String {
        self.id
            .map_or_else(|| "the soil".to_owned(), |id| format!("soil {id}"))
    }

    fn bulk_density(&self, arguments: &Arguments) -> Result<Density, Failure> {
        const IN_G_PER_CM3: &str = "write it in g/cm3: 1.4 for 1400 kg/m3";
        if let Some(given) = arguments.bulk_density {
            return option("--bulk-density", given, IN_G_PER_CM3);
        }
        if let Some(stated) = self.bulk_density {
            return Ok(stated);
        }
        let suggestion = match self.found.and_then(|found| found.saturation) {
            Some(saturation) => format!(
                "; for a first look try {:.2}, which goes with the texture",
                USUAL_PARTICLE_DENSITY * (1.0 - saturation.value.value())
            ),
            None => String::new(),
        };
        let mend = format!(
            "weigh a ring core of the field (oven-dry mass over the ring's volume) and {} \
             --bulk-density{suggestion}",
            match self.id {
                Some(_) => "write it as bulk_density_g_cm3 below its [[soil]], or add",
                None => "add",
            }
        );
        let complaint = Complaint::about(
            &self.origin.file,
            format!(
                "the bulk density of {} is not known, so neither is the soil to pack",
                self.place()
            ),
            mend,
        );
        Err(match self.origin.soil_line {
            Some(line) => complaint.at_line(line),
            None => complaint,
        }
        .into())
    }

    fn container(
        &self,
        arguments: &Arguments,
        assumed: &mut Vec<String>,
    ) -> Result<Container, Failure> {
        let headroom = match self.keys.and_then(|keys| keys.headroom) {
            Some(stated) => stated,
            None => {
                assumed.push(format!("{} % of headroom", 100.0 * USUAL_HEADROOM));
                usual::<Fraction>(USUAL_HEADROOM)?
            }
        };
        if let Some(ml) = arguments.container_ml {
            let volume: Millilitre = option(
                "--container-ml",
                ml,
                "write the container's inner volume in millilitres: 5000 for 5 L",
            )?;
            return Ok(Container::of_volume(volume, headroom));
        }
        let (complaint, mend) = match self.keys.and_then(|keys| keys.container) {
            Some(ContainerSize::Volume(volume)) => {
                return Ok(Container::of_volume(volume, headroom));
            }
            Some(ContainerSize::Cylinder { diameter, height }) => {
                match Container::cylinder(diameter, height, headroom) {
                    Ok(container) => return Ok(container),
                    Err(error) => (
                        error.to_string(),
                        "check container_diameter_cm and container_height_cm".to_owned(),
                    ),
                }
            }
            None => (
                "the container is not known, so neither is the soil to pack".to_owned(),
                match self.id {
                    Some(_) => {
                        "add [plan] with container_diameter_cm and container_height_cm, or \
                         container_volume_ml; or add --container-ml 5000 (your own)"
                    }
                    None => "add --container-ml 5000 (your own)",
                }
                .to_owned(),
            ),
        };
        let complaint = Complaint::about(&self.origin.file, complaint, mend);
        Err(match self.origin.plan_line {
            Some(line) => complaint.at_line(line),
            None => complaint,
        }
        .into())
    }

    fn core(&self, arguments: &Arguments, assumed: &mut Vec<String>) -> Result<CoreSize, Failure> {
        if let Some(cm3) = arguments.core_cm3 {
            let volume = option(
                "--core-cm3",
                cm3,
                "write what the ring holds in cubic centimetres: 98 for 5 x 5 cm",
            )?;
            return Ok(CoreSize {
                volume,
                diameter: None,
                height: None,
            });
        }
        let (diameter, height) = match self.ring {
            Some(ring) => (ring.diameter, ring.height),
            None => {
                assumed.push(format!(
                    "a ring {USUAL_RING_CM} cm wide and {USUAL_RING_CM} cm high"
                ));
                let side: Centimetre = usual(USUAL_RING_CM)?;
                (side, side)
            }
        };
        CoreSize::ring(diameter, height).map_err(|error| {
            Complaint::about(
                &self.origin.file,
                format!("the ring's {error}"),
                "check diameter_cm and height_cm below [ring]",
            )
            .into()
        })
    }

    fn stock_water_assumed(&self, taken: Gravimetric, density: Density) -> Warning {
        Warning {
            place: self.place(),
            what: format!(
                "the water in the air-dry stock is not stated; {} % of the dry mass is assumed, \
                 from memory",
                100.0 * taken.value()
            ),
            why: format!(
                "each percent more puts {:.3} m3/m3 more water into every level than planned",
                density.value() / 100.0
            ),
            advice: "weigh some 50 g of stock, dry it at 105 C, weigh again: water lost over dry \
                     mass, times 100, is stock_water_percent"
                .to_owned(),
        }
    }

    fn stones(&self, percent: f64) -> Warning {
        Warning {
            place: self.place(),
            what: format!("{percent} % of the dry soil are stones, which a sieve takes out"),
            why: "bulk density, water contents and cores of the plan are those of the whole soil, \
                  stones included"
                .to_owned(),
            advice: format!(
                "mix washed stones back into the stock, {percent} g for each 100 g of dry soil and \
                 stones together; where they are wider than a third of the ring, cut larger cores"
            ),
        }
    }
}

/// A figure of our own; it always fits its quantity.
fn usual<Q: Quantity>(value: f64) -> Result<Q, Failure> {
    Q::new(value).map_err(never)
}

fn never(error: QuantityError) -> Failure {
    Failure::Internal(error.to_string())
}

/// The value of an option as a quantity.
fn option<Q: Quantity>(name: &str, value: f64, mend: &str) -> Result<Q, Failure> {
    Q::new(value)
        .map_err(|error| command_line(name, &value.to_string(), error.to_string(), mend).into())
}

fn stock_water(percent: f64) -> Result<Gravimetric, Failure> {
    stock_water_of(percent).map_err(|what| {
        command_line(
            "--stock-water",
            &percent.to_string(),
            what,
            STOCK_WATER_MEND,
        )
        .into()
    })
}

fn targets(given: &[f64]) -> Result<Vec<Vwc>, Failure> {
    given
        .iter()
        .map(|&target| match water_share_fault(target) {
            None => usual(target),
            Some(what) => Err(command_line(
                "--targets",
                &target.to_string(),
                what,
                format!("{WATER_CONTENT_MEND}; commas between: 0.05,0.12,0.20"),
            )
            .into()),
        })
        .collect()
}
