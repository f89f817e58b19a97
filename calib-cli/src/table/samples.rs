//! samples.csv: one core a row, its masses and its volume.

use super::delimited::{Row, Sheet};
use super::header::{Column, Header, records};
use super::lost_mark::UsualMasses;
use super::names::{
    DIAMETER, DRY, DRY_AGAIN, HEIGHT, LEVEL, NOTE, PLACE, PROBE_ID, SAMPLE_ID, SAMPLES, SOIL,
    TAKEN_AT, TARE, VOLUME, VOLUME_U, WET,
};
use super::number::{Numbers, quantity};
use super::site::{Ring, SiteFile, known_probe, known_soil, ring_length};
use super::source::Source;
use super::time::{Times, whole_seconds};
use crate::findings::{Cell, Findings, Refused};
use crate::workbench::Sample;
use calib_core::gravimetry::{CoreMasses, CoreVolume, GravimetryError, Weighing};
use calib_core::quantity::{Centimetre, CubicCentimetre, Estimate, Gram, Quantity, Timestamp};
use csv::StringRecord;
use std::collections::HashMap;
use std::path::Path;

/// Relative standard uncertainty assumed for a core volume given as one figure.
/// Common practice.
const VOLUME_RELATIVE_U: f64 = 0.01;
/// A container with moist soil lighter than this many grams was weighed in
/// kilograms. Common practice.
const LIGHTEST_CORE_G: f64 = 5.0;
/// A container lighter than this many grams, where there is one at all, was
/// weighed in kilograms. Common practice.
const LIGHTEST_CONTAINER_G: f64 = 0.5;

/// The columns of samples.csv.
pub const COLUMNS: [Column; 15] = [
    Column::required(SAMPLE_ID, "an identifier for each core"),
    Column::required(SOIL, "id of the soil in site.toml"),
    Column::required(LEVEL, "moisture level the core belongs to"),
    Column::required(TARE, "empty container, g"),
    Column::required(WET, "container with the moist soil, g"),
    Column::required(DRY, "container with the oven-dry soil, g"),
    Column::optional(DRY_AGAIN, "container after a further drying spell, g"),
    Column::optional(DIAMETER, "inner diameter of the ring, cm"),
    Column::optional(HEIGHT, "height of the ring, cm"),
    Column::optional(VOLUME, "volume of the core, cm3"),
    Column::optional(VOLUME_U, "standard uncertainty of the volume, cm3"),
    Column::optional(PROBE_ID, "probe the core was taken beside"),
    Column::optional(TAKEN_AT, "when the core was taken"),
    Column::optional(PLACE, "where the core was taken"),
    Column::optional(NOTE, "free text"),
];

/// A core whose dry mass is still to come: a row with an empty dry_g.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Undried {
    /// Identifier.
    pub id: String,
    /// Soil it comes from.
    pub soil: String,
    /// Probe it stands beside, where the file says so.
    pub probe: Option<String>,
    /// Line of samples.csv.
    pub line: u64,
}

/// Reads samples.csv. Cores that are not dry yet go into `undried` where there is one,
/// and are complained about where there is none.
pub fn read(
    source: &Source,
    site: &SiteFile,
    undried: Option<&mut Vec<Undried>>,
    findings: &mut Findings,
) -> Result<Vec<Sample>, Refused> {
    let sheet = Sheet::open(source, &COLUMNS, findings)?;
    let mut reader = Reader {
        site,
        numbers: Numbers::in_file_parted_by(sheet.delimiter()),
        times: site
            .clock
            .as_ref()
            .map(|clock| Times::in_column(clock, &sheet, sheet.place(TAKEN_AT))),
        taken: HashMap::new(),
        usual: UsualMasses::of(&sheet),
        sheet: &sheet,
        undried,
    };
    let mut samples = Vec::new();
    let mut sound = true;
    sheet.each_row(findings, |row, findings| {
        let read = match reader.leaves_out(&row, findings) {
            Ok(true) => return,
            Ok(false) => reader.sample(&row, findings),
            Err(Refused) => Err(Refused),
        };
        match read {
            Ok(sample) => samples.push(sample),
            Err(Refused) => sound = false,
        }
    });
    if sound { Ok(samples) } else { Err(Refused) }
}

struct Reader<'a> {
    sheet: &'a Sheet<'a>,
    site: &'a SiteFile,
    numbers: Numbers,
    times: Option<Times<'a>>,
    /// Ids so far with their lines.
    taken: HashMap<String, u64>,
    /// Where cores that are not dry yet go, if they may be there at all.
    undried: Option<&'a mut Vec<Undried>>,
    /// What its cores usually weigh.
    usual: UsualMasses,
}

impl Reader<'_> {
    fn cell<'r>(&self, row: &Row<'r>, name: &'static str) -> Cell<'r> {
        row.cell(self.sheet.place(name))
    }

    /// Whether the core of this row is left out because it is not dry yet.
    fn leaves_out(&mut self, row: &Row<'_>, findings: &mut Findings) -> Result<bool, Refused> {
        let is_empty = |name| self.cell(row, name).text.is_empty();
        if self.undried.is_none() || !is_empty(DRY) || !is_empty(DRY_AGAIN) {
            return Ok(false);
        }
        let id = self.id(self.cell(row, SAMPLE_ID), findings);
        let soil = self.soil(self.cell(row, SOIL), findings);
        let probe = self.probe(self.cell(row, PROBE_ID), soil.as_deref().ok(), findings);
        let core = Undried {
            id: id?,
            soil: soil?,
            probe: probe?,
            line: row.line,
        };
        if let Some(undried) = &mut self.undried {
            undried.push(core);
        }
        Ok(true)
    }

    fn sample(&mut self, row: &Row<'_>, findings: &mut Findings) -> Result<Sample, Refused> {
        let id = self.id(self.cell(row, SAMPLE_ID), findings);
        let soil = self.soil(self.cell(row, SOIL), findings);
        let level = word(
            self.cell(row, LEVEL),
            "write the moisture level the core belongs to, e.g. 1 for the driest",
            findings,
        );
        let masses = self.masses(row, findings);
        let volume = self.volume(row, findings);
        let probe = self.probe(self.cell(row, PROBE_ID), soil.as_deref().ok(), findings);
        let taken_at = self.taken_at(self.cell(row, TAKEN_AT), findings);
        Ok(Sample {
            id: id?,
            soil: soil?,
            probe: probe?,
            level: level?,
            masses: masses?,
            volume: volume?,
            taken_at: taken_at?,
            place: some(self.cell(row, PLACE).text),
            note: self.cell(row, NOTE).text.to_owned(),
            written: self.written(row),
            line: row.line,
        })
    }

    fn id(&mut self, cell: Cell<'_>, findings: &mut Findings) -> Result<String, Refused> {
        let id = word(cell, "give the core an id of its own, e.g. A1", findings)?;
        if let Some(line) = self.taken.get(&id) {
            return findings.refuse(cell.complaint(
                format!("is the id of the core in line {line} already"),
                "give each core its own id, or remove the row that stands twice",
            ));
        }
        self.taken.insert(id.clone(), cell.line);
        Ok(id)
    }

    fn soil(&self, cell: Cell<'_>, findings: &mut Findings) -> Result<String, Refused> {
        let soil = word(cell, "write the id of a soil of site.toml", findings)?;
        if let Some(soils) = &self.site.soils {
            known_soil(cell, soils, findings)?;
        }
        Ok(soil)
    }

    fn probe(
        &self,
        cell: Cell<'_>,
        soil: Option<&str>,
        findings: &mut Findings,
    ) -> Result<Option<String>, Refused> {
        if cell.text.is_empty() {
            return Ok(None);
        }
        if let Some(probes) = &self.site.probes {
            let probe = known_probe(cell, probes, findings)?;
            if let Some(soil) = soil
                && probe.soil != soil
            {
                return findings.refuse(cell.complaint(
                    format!(
                        "is calibrated in soil {} (site.toml), and this core is of soil {soil}",
                        probe.soil
                    ),
                    "correct the core's soil or probe here, or the probe's soil in site.toml",
                ));
            }
        }
        Ok(Some(cell.text.to_owned()))
    }

    fn taken_at(
        &self,
        cell: Cell<'_>,
        findings: &mut Findings,
    ) -> Result<Option<Timestamp>, Refused> {
        match &self.times {
            Some(times) if !cell.text.is_empty() => {
                times.read(cell, findings).map(whole_seconds).map(Some)
            }
            _ => Ok(None),
        }
    }

    fn masses(&mut self, row: &Row<'_>, findings: &mut Findings) -> Result<CoreMasses, Refused> {
        let cells = [TARE, WET, DRY, DRY_AGAIN].map(|name| self.cell(row, name));
        let [tare_cell, wet_cell, dry_cell, again_cell] = cells;
        let tare = self.mass(tare_cell, findings);
        let wet = self.mass(wet_cell, findings);
        let dry = self.mass(dry_cell, findings);
        let dry_again = if again_cell.text.is_empty() {
            Ok(None)
        } else {
            self.mass(again_cell, findings).map(Some)
        };
        let (tare, wet, dry, dry_again) = (tare?, wet?, dry?, dry_again?);

        let in_grams = "write it in grams: 188.15 for 0.18815 kg";
        let kilograms = "looks like kilograms, not grams";
        if wet.value() < LIGHTEST_CORE_G {
            return findings.refuse(wet_cell.complaint(kilograms, in_grams));
        }
        let lightest = |mass: Gram, least: f64| mass.value() > 0.0 && mass.value() < least;
        for (cell, mass, least) in [
            (dry_cell, Some(dry), LIGHTEST_CORE_G),
            (again_cell, dry_again, LIGHTEST_CORE_G),
            (tare_cell, Some(tare), LIGHTEST_CONTAINER_G),
        ] {
            if mass.is_some_and(|mass| lightest(mass, least)) {
                return findings.refuse(cell.complaint(kilograms, in_grams));
            }
        }
        let own_volume = [DIAMETER, HEIGHT, VOLUME].map(|name| self.cell(row, name).text);
        if own_volume.iter().all(|text| text.is_empty()) {
            let all = [
                (wet_cell, Some(wet)),
                (dry_cell, Some(dry)),
                (again_cell, dry_again),
            ];
            self.marks_are_kept(&all, tare, findings)?;
        }
        let masses = CoreMasses {
            tare,
            wet,
            dry,
            dry_again,
        };
        let Err(error) = masses.check_order() else {
            return Ok(masses);
        };
        let weighed = |weighing| match weighing {
            Weighing::First => dry_cell,
            Weighing::Again => again_cell,
        };
        let (cell, lighter) = match error {
            GravimetryError::DryNotAboveTare { weighing, .. } => (weighed(weighing), tare_cell),
            GravimetryError::WetNotAboveDry { weighing, .. } => (wet_cell, weighed(weighing)),
            _ => return findings.refuse(wet_cell.complaint(error.to_string(), error.mend())),
        };
        findings.refuse(cell.complaint(
            format!("is not above {} = {}", lighter.column, lighter.text),
            error.mend(),
        ))
    }

    /// Complains of each mass that has lost its decimal mark.
    fn marks_are_kept(
        &self,
        masses: &[(Cell<'_>, Option<Gram>)],
        tare: Gram,
        findings: &mut Findings,
    ) -> Result<(), Refused> {
        let mut kept = Ok(());
        for (cell, mass) in masses {
            let Some(mass) = mass.map(|mass| mass.value()) else {
                continue;
            };
            let times = self.usual.times_too_large(cell.column, mass, tare.value());
            if let Some(times) = times {
                kept = findings.refuse(cell.complaint(
                    format!(
                        "is about {times} times what the other cores weigh; a decimal mark may be \
                         lost or misplaced"
                    ),
                    format!(
                        "write {} if that is what the balance said; a core of another size needs \
                         its own {VOLUME}, or {DIAMETER} and {HEIGHT}",
                        mass / times
                    ),
                ));
            }
        }
        kept
    }

    /// The cells a later stage may have to quote.
    fn written(&self, row: &Row<'_>) -> Vec<(&'static str, String)> {
        [TARE, WET, DRY, DRY_AGAIN, DIAMETER, HEIGHT, VOLUME]
            .into_iter()
            .map(|name| (name, self.cell(row, name).text.to_owned()))
            .filter(|(_, text)| !text.is_empty())
            .collect()
    }

    fn mass(&mut self, cell: Cell<'_>, findings: &mut Findings) -> Result<Gram, Refused> {
        if cell.text.is_empty() {
            return findings.refuse(cell.complaint("is empty", "weigh it, or remove the core"));
        }
        let value = self.numbers.read(cell, findings)?;
        if value < 0.0 {
            return findings.refuse(cell.complaint(
                "is negative",
                "correct the sign, or zero the empty balance and weigh again",
            ));
        }
        quantity(
            cell,
            value,
            "write it in grams: 214.87 for 214870 mg",
            findings,
        )
    }

    fn volume(&mut self, row: &Row<'_>, findings: &mut Findings) -> Result<CoreVolume, Refused> {
        let cells = [DIAMETER, HEIGHT, VOLUME, VOLUME_U].map(|name| self.cell(row, name));
        let [diameter_cell, height_cell, volume_cell, u_cell] = cells;
        let diameter = self.length(diameter_cell, findings);
        let height = self.length(height_cell, findings);
        let volume = self.numbers.read_if_any(volume_cell, findings);
        let u = self.numbers.read_if_any(u_cell, findings);
        let (diameter, height, volume, u) = (diameter?, height?, volume?, u?);
        if let Some(volume) = volume {
            if diameter.or(height).is_some() {
                return findings.refuse(volume_cell.complaint(
                    "stands beside a ring's diameter or height",
                    "keep one of the two: the volume, or the ring's measures",
                ));
            }
            return stated_volume(volume_cell, volume, u_cell, u, findings);
        }
        if u.is_some() {
            return findings.refuse(u_cell.complaint(
                format!("stands without {VOLUME}"),
                format!("add {VOLUME}, or leave this cell empty too"),
            ));
        }
        let Some(ring) = self.site.ring else {
            // [ring] was refused and complained about; nothing more is known.
            return Err(Refused);
        };
        self.ring_volume(diameter, height, ring, row, findings)
    }

    fn length(
        &mut self,
        cell: Cell<'_>,
        findings: &mut Findings,
    ) -> Result<Option<Centimetre>, Refused> {
        match self.numbers.read_if_any(cell, findings)? {
            None => Ok(None),
            Some(value) => ring_length(cell, value, findings).map(Some),
        }
    }

    fn ring_volume(
        &self,
        diameter: Option<Centimetre>,
        height: Option<Centimetre>,
        ring: Ring,
        row: &Row<'_>,
        findings: &mut Findings,
    ) -> Result<CoreVolume, Refused> {
        match (diameter.or(ring.diameter), height.or(ring.height)) {
            (Some(diameter), Some(height)) => Ok(CoreVolume::Ring {
                diameter: Estimate::new(diameter, ring.diameter_u),
                height: Estimate::new(height, ring.height_u),
            }),
            (diameter, _) => {
                let name = if diameter.is_none() { DIAMETER } else { HEIGHT };
                let cell = self.cell(row, name);
                findings.refuse(cell.complaint(
                    "is empty, and site.toml has no ring to take it from",
                    format!(
                        "fill {DIAMETER} and {HEIGHT} (or {VOLUME}), or add diameter_cm and \
                         height_cm below [ring] in site.toml"
                    ),
                ))
            }
        }
    }
}

fn stated_volume(
    volume_cell: Cell<'_>,
    volume: f64,
    u_cell: Cell<'_>,
    u: Option<f64>,
    findings: &mut Findings,
) -> Result<CoreVolume, Refused> {
    let value: CubicCentimetre = quantity(
        volume_cell,
        volume,
        "write it in cubic centimetres: 100 for 0.1 L",
        findings,
    )?;
    let u = match u {
        None => VOLUME_RELATIVE_U * volume,
        Some(u) if u > 0.0 && u <= volume / 4.0 => u,
        Some(_) => {
            return findings.refuse(u_cell.complaint(
                "is not a standard uncertainty above 0 and up to a quarter of the volume",
                "write it in cubic centimetres, or leave the cell empty for 1 % of the volume",
            ));
        }
    };
    Ok(CoreVolume::Stated(Estimate::new(value, u)))
}

/// The names of a table's columns in their order, and what parts the cells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeaderLine {
    /// As they are written.
    pub names: Vec<String>,
    /// The character between cells.
    pub delimiter: u8,
}

impl Default for HeaderLine {
    /// That of the blank table.
    fn default() -> Self {
        Self {
            names: COLUMNS.map(|column| column.name.to_owned()).to_vec(),
            delimiter: b',',
        }
    }
}

/// The header of the samples.csv in `folder`; `None` where there is none, or none that
/// can be understood.
pub fn header_line(folder: &Path) -> Option<HeaderLine> {
    let mut findings = Findings::default();
    let source = Source::read(folder, SAMPLES, &mut findings).ok()?;
    let header = Header::read(&source, &COLUMNS, &mut findings).ok()?;
    let mut names = StringRecord::new();
    // Reading from memory meets no I/O fault, and the text is UTF-8 already.
    let _ = records(header.text, header.delimiter).read_record(&mut names);
    Some(HeaderLine {
        names: names.iter().take(header.width).map(str::to_owned).collect(),
        delimiter: header.delimiter,
    })
}

/// The text, unless it is empty.
pub(super) fn some(text: &str) -> Option<String> {
    (!text.is_empty()).then(|| text.to_owned())
}

/// The text of a cell that must not be empty.
pub(super) fn word(cell: Cell<'_>, mend: &str, findings: &mut Findings) -> Result<String, Refused> {
    if cell.text.is_empty() {
        findings.refuse(cell.complaint("is empty", mend))
    } else {
        Ok(cell.text.to_owned())
    }
}
