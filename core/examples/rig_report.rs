//! What a head can and cannot do: `cargo run -p lipwright-core --example rig_report -- RIG.json`,
//! or without a file for every rig to start from.

use lipwright_core::phonetics::MouthShape;
use lipwright_core::rig::{Preset, Rig, Side};
use std::process::ExitCode;

fn main() -> ExitCode {
    let Some(path) = std::env::args().nth(1) else {
        for preset in Preset::ALL {
            report(&preset.rig());
        }
        return ExitCode::SUCCESS;
    };
    let text = match std::fs::read_to_string(&path) {
        Ok(text) => text,
        Err(e) => {
            eprintln!("rig_report: {path} cannot be read ({e}); check the name");
            return ExitCode::from(2);
        }
    };
    match Rig::from_json(&text) {
        Ok(rig) => {
            report(&rig);
            ExitCode::SUCCESS
        }
        Err(e) => {
            eprintln!("{path}:\n{e}");
            ExitCode::from(1)
        }
    }
}

fn report(rig: &Rig) {
    println!("{}: {} servos, {} degrees of freedom", rig.name(), rig.servos().len(), rig.dofs().len());
    println!("distance between poses, mm:");
    for (i, a) in MouthShape::ALL.into_iter().enumerate() {
        let row = MouthShape::ALL[..i].iter().map(|b| format!("{:5.1}", rig.pose_distance(a, *b).value()));
        println!("  {:<13}{}", a.name(), row.collect::<String>());
    }
    for (what, shape) in
        [("bilabial lip gap", MouthShape::Bilabial), ("labiodental teeth gap", MouthShape::Labiodental)]
    {
        for side in Side::BOTH {
            let target = &rig.pose(shape).target;
            let gap = match shape {
                MouthShape::Bilabial => rig.lip_gap(target, side),
                _ => rig.teeth_gap(target, side),
            };
            if let Some(gap) = gap {
                println!("{what} {side:?}: {gap:.2}");
            }
        }
    }
    if let Some(share) = rig.tongue_difference(MouthShape::Alveolar, MouthShape::Rhotic) {
        println!("tongue, alveolar against rhotic: {:.0} % of a servo's travel", 100.0 * share);
    }
    for finding in rig.check_poses() {
        println!("look: {finding}");
    }
    for note in rig.reach_report() {
        println!("reach: {note}");
    }
    let p = rig.power_needs();
    println!(
        "current: idle {:.2}, moving {:.2}, stall {:.2}, budget {:.2}; linear regulator heat {:.0} at budget, {:.0} at stall\n",
        p.idle,
        p.moving,
        p.stall,
        rig.supply().budget,
        p.heat_at_budget,
        p.heat_at_stall
    );
}
