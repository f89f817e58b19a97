//! The charts of `ovendry soil`: one texture triangle for all soils, retention
//! curves for each.

use super::Known;
use crate::failure::Failure;
use crate::output::OutputSet;
use crate::plot::{self, Chart, RetentionChart, TextureChart, TexturePoint};
use std::path::{Path, PathBuf};

/// What a soil without an identifier is called.
const UNNAMED: &str = "soil";

/// Draws everything and writes it into `folder`; gives the files' paths.
pub(super) fn draw(soils: &[Known], folder: &Path, force: bool) -> Result<Vec<PathBuf>, Failure> {
    let mut outputs = OutputSet::default();
    let points: Vec<TexturePoint> = soils
        .iter()
        .filter_map(|soil| {
            Some(TexturePoint {
                name: name(soil).to_owned(),
                particles: soil.found.particles?,
                border: soil.found.border,
            })
        })
        .collect();
    if !points.is_empty() {
        add(&mut outputs, folder, "texture", &TextureChart::new(&points))?;
    }
    for soil in soils {
        let chart = RetentionChart::new(name(soil), &soil.found);
        add(
            &mut outputs,
            folder,
            &format!("{}-retention", name(soil)),
            &chart,
        )?;
    }
    let paths = outputs.paths().map(Path::to_owned).collect();
    outputs.write(force)?;
    Ok(paths)
}

fn name(soil: &Known) -> &str {
    soil.id.as_deref().unwrap_or(UNNAMED)
}

fn add(
    outputs: &mut OutputSet,
    folder: &Path,
    name: &str,
    chart: &impl Chart,
) -> Result<(), Failure> {
    outputs.add(folder.join(format!("{name}.svg")), plot::svg(chart)?);
    outputs.add(folder.join(format!("{name}.png")), plot::png(chart)?);
    Ok(())
}
