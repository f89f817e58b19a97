//! The charts of `ovendry accuracy`: two for each kind of readings.

use super::held::{Held, How, Whose};
use super::report::Answer;
use crate::failure::Failure;
use crate::output::OutputSet;
use crate::plot::{self, Against, AgreementChart, Chart, OneToOneChart};
use std::path::{Path, PathBuf};

impl Answer {
    /// Draws every chart into `out`. Where a file of other content is in the way and is
    /// not to be overwritten, none of that part's is written, which is warned of.
    ///
    /// # Errors
    /// [`Failure::Internal`] if drawing or the disk fails.
    pub(super) fn draw(&mut self, out: &Path, force: bool) -> Result<(), Failure> {
        let mut written = Vec::new();
        let mut warnings = Vec::new();
        for part in &self.parts {
            let of = part.held.title();
            let against = Against {
                of: &of,
                samples: &part.held.samples,
                limits: part.study.limits.as_ref(),
                mean: part.study.bias.as_ref().map(|bias| bias.interval),
                target: self.target(),
            };
            let stem = stem(&part.held);
            let mut files = drawn(
                out,
                &format!("{stem}-difference"),
                &AgreementChart::new(against),
            )?;
            files.extend(drawn(
                out,
                &format!("{stem}-line"),
                &OneToOneChart::new(against),
            )?);
            let mut outputs = OutputSet::default();
            for (path, bytes) in files {
                outputs.add(path, bytes);
            }
            let (paths, warning) = outputs.write_or_keep(force)?;
            written.extend(paths.iter().map(|path| path.display().to_string()));
            warnings.extend(warning);
        }
        self.written = written;
        self.warn(warnings);
        Ok(())
    }
}

/// A chart as SVG and PNG.
fn drawn(out: &Path, name: &str, chart: &impl Chart) -> Result<Vec<(PathBuf, Vec<u8>)>, Failure> {
    Ok(vec![
        (
            out.join(format!("{name}.svg")),
            plot::svg(chart)?.into_bytes(),
        ),
        (out.join(format!("{name}.png")), plot::png(chart)?),
    ])
}

/// How the names of its charts begin.
fn stem(held: &Held) -> String {
    let how = match held.how {
        How::SavedCalibration => "accuracy",
        How::CoreLeftOut => "left-out",
        How::ProbeLeftOut => "probe-left-out",
        How::SoilLeftOut => "soil-left-out",
    };
    match &held.whose {
        // A saved calibration is of one soil; left out, a probe may be in several.
        Whose::Probe { probe, .. } if held.how == How::SavedCalibration => {
            format!("{}.{how}", file_name(probe))
        }
        Whose::Probe { probe, soil } => {
            format!("{}.{}.{how}", file_name(probe), file_name(soil))
        }
        Whose::All => format!("all.{how}"),
    }
}

/// The identifier as part of a file name: those of a file of pairs may hold anything.
fn file_name(id: &str) -> String {
    id.chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() || c == '_' {
                c
            } else {
                '-'
            }
        })
        .collect()
}
