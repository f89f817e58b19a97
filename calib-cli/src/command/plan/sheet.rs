use super::report::SoilPlan;
pub(super) fn render(_soil: &SoilPlan, _site: Option<&str>) -> String {
    String::new()
}
