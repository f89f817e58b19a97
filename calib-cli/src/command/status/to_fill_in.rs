//! What site.toml leaves open that the plan of the bench, the next step where nothing
//! is measured yet, will ask for. A notice, no fault: each may be given as an option.

use crate::table::SITE;
use std::path::Path;
use toml::{Table, Value};

/// What is left open, as site.toml calls it; also where other keys of it must still be
/// mended. Empty where it cannot be read at all.
pub fn for_the_plan(folder: &Path) -> Vec<String> {
    std::fs::read_to_string(folder.join(SITE))
        .ok()
        .and_then(|text| text.parse().ok())
        .map_or_else(Vec::new, |site| left_open(&site))
}

fn left_open(site: &Table) -> Vec<String> {
    let has = |name: &str, key: &str| site.get(name).is_some_and(|table| table.get(key).is_some());
    let mut open = Vec::new();
    if !has("ring", "diameter_cm") || !has("ring", "height_cm") {
        open.push("diameter_cm and height_cm of [ring]".to_owned());
    }
    for soil in site
        .get("soil")
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
    {
        if soil.get("bulk_density_g_cm3").is_none() {
            let id = soil.get("id").and_then(Value::as_str).unwrap_or("?");
            open.push(format!("bulk_density_g_cm3 of soil {id}"));
        }
    }
    let by_measures = has("plan", "container_diameter_cm") && has("plan", "container_height_cm");
    if !by_measures && !has("plan", "container_volume_ml") {
        open.push("the container of [plan]".to_owned());
    }
    open
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_commented_out_is_left_open() {
        let open = |text: &str| left_open(&text.parse().unwrap());
        assert_eq!(
            open("[ring]\n# diameter_cm = 5\n[[soil]]\nid = \"loam\"\ntexture = \"\"\n"),
            [
                "diameter_cm and height_cm of [ring]",
                "bulk_density_g_cm3 of soil loam",
                "the container of [plan]"
            ]
        );
        let full = "[ring]\ndiameter_cm = 5\nheight_cm = 5\n[[soil]]\nid = \"a\"\n\
                    bulk_density_g_cm3 = 1.4\n[plan]\ncontainer_volume_ml = 5000\n";
        assert!(open(full).is_empty());
    }
}
