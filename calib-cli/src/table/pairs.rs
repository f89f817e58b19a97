//! A file of pairs: one core beside one probe a row, already reduced to water
//! content and count. It goes without site.toml, so that data from elsewhere can be
//! studied too.

use super::delimited::{Row, Sheet};
use super::header::{Column, Place};
use super::names::{
    BATCH, COUNT, COUNT_U, HIGH_MEDIUM, LEVEL, LOW_MEDIUM, NOTE, PLACE, PROBE_ID, SAMPLE_ID, SOIL,
    SOIL_TEMPERATURE, TAKEN_AT, THETA_V, THETA_V_U, VOLUME_RELATIVE_U,
};
use super::number::{Numbers, quantity, share_of_percentage};
use super::readings::celsius;
use super::samples::{some, word};
use super::source::Source;
use super::time::day_or_time;
use crate::failure::Warning;
use crate::findings::{Cell, Findings, Refused};
use calib_core::calibration::QUANTISATION;
use calib_core::fit::Observation;
use calib_core::pair::{Pair, TwoPoints};
use calib_core::quantity::{Celsius, Count, Estimate, Quantity, Vwc};
use calib_core::uncertainty::Budget;
use std::collections::{BTreeMap, HashMap};

/// Standard uncertainty of a core's water content where none is stated, m3/m3.
/// Common practice for a ring and a balance; small, since it is taken off where
/// the reference's share of a difference is.
pub const ASSUMED_THETA_V_U: f64 = 0.005;
/// A standard uncertainty above this many m3/m3 is a percentage or a slip.
const LARGEST_THETA_V_U: f64 = 0.1;
/// A relative standard uncertainty of a volume above this is a percentage or a slip.
const LARGEST_VOLUME_U: f64 = 0.25;

/// The columns of a file of pairs.
pub const COLUMNS: [Column; 16] = [
    Column::required(SAMPLE_ID, "an identifier for each core"),
    Column::required(SOIL, "an identifier for the core's soil"),
    Column::required(PROBE_ID, "an identifier for the probe read beside it"),
    Column::required(COUNT, "middle of the probe's readings beside it, counts"),
    Column::required(THETA_V, "water content of the core, m3/m3"),
    Column::optional(THETA_V_U, "standard uncertainty of theta_v, m3/m3"),
    Column::optional(COUNT_U, "standard uncertainty of raw_count, counts"),
    Column::optional(SOIL_TEMPERATURE, "soil temperature, C"),
    Column::optional(LEVEL, "moisture level the core belongs to"),
    Column::optional(BATCH, "batch the probe was made or bought in"),
    Column::optional(PLACE, "where the core was taken"),
    Column::optional(TAKEN_AT, "when the core was taken"),
    Column::optional(
        LOW_MEDIUM,
        "count of the probe in the medium of lower permittivity",
    ),
    Column::optional(
        HIGH_MEDIUM,
        "count of the probe in the medium of higher permittivity",
    ),
    Column::optional(
        VOLUME_RELATIVE_U,
        "relative standard uncertainty of the core's volume",
    ),
    Column::optional(NOTE, "free text"),
];

/// What a file of pairs says.
#[derive(Debug, Default)]
pub struct Table {
    /// The pairs, in the order of the file.
    pub pairs: Vec<Pair>,
    /// The line of each.
    pub lines: Vec<u64>,
    /// Counts in the two media, by probe.
    pub media: BTreeMap<String, TwoPoints>,
    /// Rows without theta_v_u: [`ASSUMED_THETA_V_U`] was taken.
    pub assumed_theta_u: usize,
}

/// Reads a file of pairs.
pub fn read(source: &Source, findings: &mut Findings) -> Result<Table, Refused> {
    let sheet = Sheet::open(source, &COLUMNS, findings)?;
    let mut reader = Reader {
        numbers: Numbers::in_file_parted_by(sheet.delimiter()),
        places: COLUMNS.map(|column| sheet.place(column.name)),
        cores: HashMap::new(),
        probes: HashMap::new(),
        beside: HashMap::new(),
        table: Table::default(),
        assumed_count_u: 0,
    };
    let mut sound = true;
    sheet.each_row(findings, |row, findings| {
        sound &= reader.pair(&row, findings).is_ok();
    });
    reader.warn_of_assumptions(source, findings);
    if sound {
        Ok(reader.table)
    } else {
        Err(Refused)
    }
}

struct Reader {
    numbers: Numbers,
    places: [Place; COLUMNS.len()],
    /// Cores so far, by id: their number and the place of their first pair.
    cores: HashMap<String, (u32, usize)>,
    /// Probes so far, likewise, and the line that states their media.
    probes: HashMap<String, (u32, usize, Option<u64>)>,
    /// The line of each core beside each probe.
    beside: HashMap<(u32, u32), u64>,
    table: Table,
    assumed_count_u: usize,
}

impl Reader {
    fn pair(&mut self, row: &Row<'_>, findings: &mut Findings) -> Result<(), Refused> {
        let [
            sample_cell,
            soil_cell,
            probe_cell,
            count_cell,
            theta_cell,
            theta_u_cell,
            count_u_cell,
            warmth_cell,
            level_cell,
            batch_cell,
            place_cell,
            taken_cell,
            low_cell,
            high_cell,
            volume_cell,
            _,
        ] = self.places.map(|place| row.cell(place));
        let sample = word(sample_cell, "give the core an id, e.g. A1", findings);
        let soil = word(
            soil_cell,
            "write an id for the core's soil, e.g. loam",
            findings,
        );
        let probe = word(probe_cell, "write the id of the probe, e.g. P1", findings);
        let count = self.count(count_cell, findings);
        let theta = self.theta(theta_cell, findings);
        let theta_u = self.theta_u(theta_u_cell, findings);
        let count_u = self.count_u(count_u_cell, findings);
        let temperature = self.temperature(warmth_cell, findings);
        let taken_at = match taken_cell.text {
            "" => Ok(None),
            _ => day_or_time(taken_cell, findings).map(Some),
        };
        let media = self.media(low_cell, high_cell, findings);
        let volume_u = self.volume_u(volume_cell, findings);
        let sample = sample?;
        let pair = Pair {
            probe: probe?,
            soil: soil?,
            batch: some(batch_cell.text),
            place: some(place_cell.text),
            taken_at: taken_at?,
            observation: Observation {
                level: some(level_cell.text).unwrap_or_else(|| sample.clone()),
                sample,
                count: Estimate::new(count?, count_u?),
                temperature: temperature?,
                theta_v: Estimate::new(theta?, theta_u?),
                budget: Budget::default(),
                relative_volume_u: volume_u?,
            },
        };
        let core = self.agrees_with_its_core(
            &pair,
            [
                soil_cell,
                theta_cell,
                theta_u_cell,
                level_cell,
                place_cell,
                taken_cell,
            ],
            findings,
        )?;
        let probe =
            self.agrees_with_its_probe(&pair, media?, batch_cell, [low_cell, high_cell], findings)?;
        match self.beside.insert((core, probe), row.line) {
            None => {}
            Some(line) => {
                return findings.refuse(sample_cell.complaint(
                    format!("stands beside probe {} in line {line} already", pair.probe),
                    "remove the row that stands twice, or give the cores ids of their own",
                ));
            }
        }
        self.table.pairs.push(pair);
        self.table.lines.push(row.line);
        Ok(())
    }

    /// The number of the core; what is said of it must be what was said before.
    fn agrees_with_its_core(
        &mut self,
        pair: &Pair,
        cells: [Cell<'_>; 6],
        findings: &mut Findings,
    ) -> Result<u32, Refused> {
        let next = (self.cores.len() as u32, self.table.pairs.len());
        let Some(&(core, first)) = self.cores.get(pair.core()) else {
            self.cores.insert(pair.core().to_owned(), next);
            return Ok(next.0);
        };
        // A first pair that was refused over its probe is not there to compare with.
        let Some(other) = self
            .table
            .pairs
            .get(first)
            .filter(|other| other.core() == pair.core())
        else {
            return Ok(core);
        };
        let (now, before) = (&pair.observation, &other.observation);
        let same = [
            pair.soil == other.soil,
            now.theta_v.value == before.theta_v.value,
            now.theta_v.u == before.theta_v.u,
            now.level == before.level,
            pair.place == other.place,
            pair.taken_at == other.taken_at,
        ];
        let Some((_, cell)) = same.into_iter().zip(cells).find(|(same, _)| !same) else {
            return Ok(core);
        };
        let line = self.table.lines.get(first).copied().unwrap_or_default();
        findings.refuse(cell.complaint(
            format!("is not what line {line} says of core {}", pair.core()),
            "a core says the same beside every probe: correct the row that is wrong, or give \
             two cores two ids",
        ))
    }

    /// The number of the probe; its batch and its media must be those of before.
    fn agrees_with_its_probe(
        &mut self,
        pair: &Pair,
        media: Option<TwoPoints>,
        batch_cell: Cell<'_>,
        media_cells: [Cell<'_>; 2],
        findings: &mut Findings,
    ) -> Result<u32, Refused> {
        let next = (self.probes.len() as u32, self.table.pairs.len(), None);
        let (probe, first, media_line) = match self.probes.get_mut(&pair.probe) {
            Some(known) => known,
            None => self.probes.entry(pair.probe.clone()).or_insert(next),
        };
        let (probe, first) = (*probe, *first);
        if let Some(media) = media {
            match (self.table.media.get(&pair.probe), *media_line) {
                (Some(before), Some(line)) => {
                    let same = [media.low == before.low, media.high == before.high];
                    if let Some((_, cell)) =
                        same.into_iter().zip(media_cells).find(|(same, _)| !same)
                    {
                        return findings.refuse(cell.complaint(
                            format!("is not what line {line} says of probe {}", pair.probe),
                            "the media are one pair of counts a probe: write the same two in \
                             each of its rows",
                        ));
                    }
                }
                _ => {
                    *media_line = Some(batch_cell.line);
                    self.table.media.insert(pair.probe.clone(), media);
                }
            }
        }
        if let Some(other) = self.table.pairs.get(first)
            && other.probe == pair.probe
            && other.batch != pair.batch
        {
            let line = self.table.lines.get(first).copied().unwrap_or_default();
            return findings.refuse(batch_cell.complaint(
                format!("is not what line {line} says of probe {}", pair.probe),
                "a probe is of one batch: write the same in each of its rows",
            ));
        }
        Ok(probe)
    }

    fn count(&mut self, cell: Cell<'_>, findings: &mut Findings) -> Result<f64, Refused> {
        let value = self.numbers.read(cell, findings)?;
        if value < 0.0 {
            return findings.refuse(cell.complaint(
                "is negative",
                "write the converter's own code, without an offset taken off",
            ));
        }
        quantity::<Count>(
            cell,
            value,
            "write the middle of the readings, in counts",
            findings,
        )
        .map(Quantity::value)
    }

    fn theta(&mut self, cell: Cell<'_>, findings: &mut Findings) -> Result<Vwc, Refused> {
        refuse_per_cent(cell, findings)?;
        let value = self.numbers.read(cell, findings)?;
        if value > 1.0 && value <= 100.0 {
            return findings
                .refuse(cell.complaint("looks like per cent, not m3/m3", as_a_share(cell)));
        }
        if !(0.0..=1.0).contains(&value) {
            return findings.refuse(cell.complaint(
                "lies outside 0 to 1 m3/m3",
                "write the core's volumetric water content by oven-drying, or remove the row",
            ));
        }
        quantity(cell, value, "write it in m3/m3", findings)
    }

    fn theta_u(&mut self, cell: Cell<'_>, findings: &mut Findings) -> Result<f64, Refused> {
        refuse_per_cent(cell, findings)?;
        match self.numbers.read_if_any(cell, findings)? {
            None => {
                self.table.assumed_theta_u += 1;
                Ok(ASSUMED_THETA_V_U)
            }
            Some(u) if u > 0.0 && u <= LARGEST_THETA_V_U => Ok(u),
            Some(_) => findings.refuse(cell.complaint(
                format!("is not a standard uncertainty above 0 and up to {LARGEST_THETA_V_U} m3/m3"),
                format!(
                    "write it in m3/m3: 0.004 for 0.4 %; or leave the cell empty for {ASSUMED_THETA_V_U}"
                ),
            )),
        }
    }

    fn count_u(&mut self, cell: Cell<'_>, findings: &mut Findings) -> Result<f64, Refused> {
        match self.numbers.read_if_any(cell, findings)? {
            None => {
                self.assumed_count_u += 1;
                Ok(QUANTISATION)
            }
            Some(u) if u > 0.0 => Ok(u),
            Some(_) => findings.refuse(cell.complaint(
                "is not a standard uncertainty above 0",
                "write it in counts, or leave the cell empty for rounding alone",
            )),
        }
    }

    fn temperature(
        &mut self,
        cell: Cell<'_>,
        findings: &mut Findings,
    ) -> Result<Option<Celsius>, Refused> {
        match self.numbers.read_if_any(cell, findings)? {
            None => Ok(None),
            Some(value) => celsius(cell, value, findings).map(Some),
        }
    }

    fn volume_u(&mut self, cell: Cell<'_>, findings: &mut Findings) -> Result<f64, Refused> {
        refuse_per_cent(cell, findings)?;
        match self.numbers.read_if_any(cell, findings)? {
            None => Ok(0.0),
            Some(u) if (0.0..=LARGEST_VOLUME_U).contains(&u) => Ok(u),
            Some(_) => findings.refuse(cell.complaint(
                format!("is not a relative standard uncertainty from 0 to {LARGEST_VOLUME_U}"),
                "write a share of the volume: 0.005 for 0.5 %; or leave the cell empty",
            )),
        }
    }

    fn media(
        &mut self,
        low_cell: Cell<'_>,
        high_cell: Cell<'_>,
        findings: &mut Findings,
    ) -> Result<Option<TwoPoints>, Refused> {
        let low = self.numbers.read_if_any(low_cell, findings);
        let high = self.numbers.read_if_any(high_cell, findings);
        match (low?, high?) {
            (None, None) => Ok(None),
            (Some(low), Some(high)) if low != high => Ok(Some(TwoPoints { low, high })),
            (Some(_), Some(_)) => findings.refuse(high_cell.complaint(
                format!("is {LOW_MEDIUM} too"),
                "read the probe in two media it tells apart, e.g. air and water, or leave both \
                 cells empty",
            )),
            (low, _) => {
                let (lacking, there) = if low.is_none() {
                    (low_cell, HIGH_MEDIUM)
                } else {
                    (high_cell, LOW_MEDIUM)
                };
                findings.refuse(lacking.complaint(
                    format!("is empty where {there} is not"),
                    "give the counts in both media, or in neither",
                ))
            }
        }
    }

    fn warn_of_assumptions(&self, source: &Source, findings: &mut Findings) {
        let rows = self.table.pairs.len();
        if self.table.assumed_theta_u > 0 {
            findings.warn(Warning {
                place: source.file.display().to_string(),
                what: format!(
                    "{THETA_V_U} is empty in {} of {rows} rows: {ASSUMED_THETA_V_U} m3/m3 is assumed",
                    self.table.assumed_theta_u
                ),
                why: "what is said of the cores' own error rests on a guess there".to_owned(),
                advice: format!(
                    "fill {THETA_V_U}; `ovendry pair` does, from the weighings of a workbench"
                ),
            });
        }
        if self.assumed_count_u > 0 {
            findings.warn(Warning {
                place: source.file.display().to_string(),
                what: format!(
                    "{COUNT_U} is empty in {} of {rows} rows: rounding to whole counts alone is assumed",
                    self.assumed_count_u
                ),
                why: "the noise of the readings is then taken for scatter of the cores".to_owned(),
                advice: format!(
                    "fill {COUNT_U} with the standard uncertainty of the middle of the readings, if you know it"
                ),
            });
        }
    }
}

/// Refuses a cell that ends in a per cent sign, where a share belongs.
fn refuse_per_cent(cell: Cell<'_>, findings: &mut Findings) -> Result<(), Refused> {
    if cell.text.ends_with('%') {
        findings.refuse(cell.complaint("is per cent, not a share of the volume", as_a_share(cell)))
    } else {
        Ok(())
    }
}

fn as_a_share(cell: Cell<'_>) -> String {
    match share_of_percentage(cell.text) {
        Some((share, percentage)) => {
            format!("write it as a share of the volume: {share} for {percentage}")
        }
        None => "write it as a share of the volume: 0.254 for 25.4 %".to_owned(),
    }
}
