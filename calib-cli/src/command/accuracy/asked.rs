//! What the command line asks of a study.

use super::{Accuracy, TARGET};
use calib_core::accuracy::StudyRequest;

/// Cuts between ranges of a quantity.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cuts {
    of: Quantity,
    at: Vec<f64>,
}

/// What ranges can be made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Quantity {
    Moisture,
    Temperature,
}

/// `moisture=0.1,0.25` or `temperature=12,20`.
pub(super) fn cuts(text: &str) -> Result<Cuts, String> {
    let form = "write it like moisture=0.1,0.25 or temperature=12,20";
    let (quantity, at) = text.split_once('=').ok_or(form)?;
    let of = match quantity {
        "moisture" => Quantity::Moisture,
        "temperature" => Quantity::Temperature,
        _ => return Err(format!("ranges are of moisture or temperature; {form}")),
    };
    let at: Vec<f64> = at
        .split(',')
        .map(|cut| cut.trim().parse::<f64>().ok().filter(|cut| cut.is_finite()))
        .collect::<Option<_>>()
        .ok_or(form)?;
    if at.is_empty() || at.windows(2).any(|pair| pair[0] >= pair[1]) {
        return Err("the cuts must rise, e.g. 0.1,0.25".to_owned());
    }
    if of == Quantity::Moisture && at.iter().any(|cut| !(0.0..1.0).contains(cut)) {
        return Err("cuts of moisture are in m3/m3, from 0 to 1".to_owned());
    }
    Ok(Cuts { of, at })
}

impl Accuracy {
    /// The target, m3/m3.
    pub(super) fn target(&self) -> f64 {
        self.target.unwrap_or(TARGET)
    }

    /// What is asked of each study.
    pub(super) fn request(&self) -> StudyRequest {
        let cuts = |of| {
            let asked = self.by.iter().rev().find(|cuts| cuts.of == of);
            asked.map_or_else(Vec::new, |cuts| cuts.at.clone())
        };
        StudyRequest {
            target: Some(self.target()),
            moisture_cuts: cuts(Quantity::Moisture),
            temperature_cuts: cuts(Quantity::Temperature),
            replicates: self.bootstrap as usize,
            seed: self.seed,
            ..StudyRequest::default()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cuts_are_read_and_slips_are_told() {
        let read = cuts("moisture=0.1, 0.25").unwrap();
        assert_eq!((read.of, read.at), (Quantity::Moisture, vec![0.1, 0.25]));
        assert_eq!(cuts("temperature=12").unwrap().of, Quantity::Temperature);
        for slip in [
            "moisture",
            "soil=1",
            "moisture=",
            "moisture=0.2,0.1",
            "moisture=10,25",
            "temperature=x",
        ] {
            assert!(cuts(slip).is_err(), "{slip}");
        }
    }
}
