//! Writes the invented data of `demo-data/` again, from the fixed seed.
//!
//! `cargo run -p ovendry-tests --example make_demo_data [FOLDER]`

use std::path::PathBuf;

fn main() -> std::io::Result<()> {
    let folder = std::env::args_os().nth(1).map_or_else(
        || ovendry_tests::repository().join("demo-data"),
        PathBuf::from,
    );
    std::fs::create_dir_all(&folder)?;
    for (name, text) in ovendry_tests::demo::files() {
        std::fs::write(folder.join(name), text)?;
        println!("{}", folder.join(name).display());
    }
    Ok(())
}
