//! Writes the rigs to start from as files: `cargo run -p lipwright-core --example rigs -- static/rigs`.

use lipwright_core::rig::Preset;
use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let Some(folder) = std::env::args().nth(1) else {
        eprintln!("rigs: no folder given; name the folder to write into");
        return ExitCode::from(2);
    };
    for preset in Preset::ALL {
        let path = Path::new(&folder).join(preset.file_name());
        if let Err(e) = std::fs::write(&path, preset.describe().to_json()) {
            eprintln!("rigs: {} cannot be written ({e}); check the folder", path.display());
            return ExitCode::from(2);
        }
        println!("{}", path.display());
    }
    ExitCode::SUCCESS
}
