//! The sample lines, heard and planned on the demonstration head: what its servos can say, and what
//! slower ones leave unsaid first.

use lipwright_core::audio::{ChannelChoice, read_wav};
use lipwright_core::line::Line;
use lipwright_core::motion::{Plan, PlanSettings, plan_line};
use lipwright_core::phonetics::{Lexicon, MouthShape};
use lipwright_core::progress::Quiet;
use lipwright_core::recognise::{AcousticModel, ListenSettings, listen};
use lipwright_core::rig::{Preset, Rig, Side};
use std::path::{Path, PathBuf};

static LEXICON: &[u8] = include_bytes!("../models/lexicon.bin");

fn samples() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-audio");
    let mut found: Vec<PathBuf> = std::fs::read_dir(folder)
        .expect("the sample lines")
        .filter_map(|e| Some(e.ok()?.path()))
        .filter(|p| p.extension().is_some_and(|e| e == "wav"))
        .collect();
    found.sort();
    assert!(found.len() >= 4, "{found:?}");
    found
}

fn lines() -> Vec<Line> {
    let (lexicon, model) = (Lexicon::from_bytes(LEXICON).expect("built in"), AcousticModel::built_in());
    let heard = |path: &PathBuf| {
        let bytes = std::fs::read(path).expect("a sample line");
        let recording = read_wav(&bytes, ChannelChoice::Mix).expect("a recording");
        let script = std::fs::read_to_string(path.with_extension("txt")).expect("its script");
        let settings = ListenSettings::default();
        let heard = listen(&recording, Some(&script), Some(&lexicon), &model, &settings, &mut Quiet);
        Line::from_hearing(&heard.expect("hears")).expect("a valid line")
    };
    samples().iter().map(heard).collect()
}

/// The demonstration head with servos of another speed; their accelerations go with it.
fn head(speed: f64) -> Rig {
    let mut d = Preset::Harbourmaster.describe();
    for servo in &mut d.servos {
        servo.speed_s_per_60deg /= speed;
        servo.acceleration_deg_per_s2 *= speed;
    }
    Rig::new(d).expect("still a head")
}

/// What a speed leaves unsaid: shares of closures, tongue contacts and vowels that are missed.
#[derive(Debug, Default)]
struct Missed {
    closures: (usize, usize),
    tongue: (usize, usize),
    vowels: (usize, usize),
}

fn share((missed, of): (usize, usize)) -> f64 {
    missed as f64 / of.max(1) as f64
}

/// Vowel targets: reached within 15 % of their way from rest, or a millimetre. Judged from the servo
/// angles, not from the report.
fn vowel_missed(plan: &Plan, line: &Line, rig: &Rig, index: usize) -> bool {
    let segment = &line.segments()[index];
    let shown = plan.settings.servo_lag.value();
    let pose = rig.pose(segment.shape);
    let faces: Vec<_> = (0..plan.frames())
        .filter(|&t| {
            let time = plan.time_of(t).value() + shown;
            time >= segment.start.value() - 0.03 && time <= segment.end.value()
        })
        .map(|t| {
            let angles: Vec<_> = plan.servos.iter().map(|s| s.planned[t]).collect();
            rig.forward(&angles)
        })
        .collect();
    rig.dofs().iter().filter(|d| pose.importance[d.dof] >= 0.5).any(|d| {
        let wanted = d.rest + segment.strength * (pose.target[d.dof] - d.rest);
        let near = faces.iter().map(|f| (f[d.dof] - wanted).abs()).fold(f64::INFINITY, f64::min);
        near > 1.0_f64.max(0.15 * (wanted - d.rest).abs())
    })
}

fn missed(lines: &[Line], speed: f64) -> Missed {
    let rig = head(speed);
    let mut out = Missed::default();
    for line in lines {
        let plan = plan_line(line, &rig, &PlanSettings::default(), &mut Quiet).expect("plans");
        let s = &plan.summary;
        out.closures.0 += s.closures - s.closures_reached;
        out.closures.1 += s.closures;
        out.tongue.0 += s.tongue_contacts - s.tongue_contacts_reached;
        out.tongue.1 += s.tongue_contacts;
        // The report says which: as many sentences as contacts missed, each with its segment.
        let told = plan.contacts.iter().filter(|c| !c.reached).inspect(|c| {
            assert!(c.segment < line.segments().len() && c.missing > 0.0);
            assert!(c.sentence().contains("not"), "{}", c.sentence());
        });
        assert_eq!(
            told.count(),
            s.closures + s.tongue_contacts - s.closures_reached - s.tongue_contacts_reached
        );
        for (i, segment) in line.segments().iter().enumerate() {
            use MouthShape::{HalfOpen, Open, Pursed, Rounded, Spread};
            if matches!(segment.shape, Open | HalfOpen | Spread | Rounded | Pursed) {
                out.vowels.0 += usize::from(vowel_missed(&plan, line, &rig, i));
                out.vowels.1 += 1;
            }
        }
    }
    out
}

#[test]
fn every_bilabial_of_the_sample_lines_closes_on_the_demonstration_head() {
    let rig = Rig::harbourmaster();
    let mut closed = 0;
    for line in lines() {
        let plan = plan_line(&line, &rig, &PlanSettings::default(), &mut Quiet).expect("plans");
        let shown = plan.settings.servo_lag.value();
        for s in line.segments().iter().filter(|s| s.shape == MouthShape::Bilabial) {
            let gap = (0..plan.frames())
                .filter(|&t| {
                    let time = plan.time_of(t).value() + shown;
                    time >= s.start.value() - 1e-9 && time < s.end.value()
                })
                .map(|t| {
                    let angles: Vec<_> = plan.servos.iter().map(|c| c.planned[t]).collect();
                    let face = rig.forward(&angles);
                    let gap = |side| rig.lip_gap(&face, side).expect("has lips").value();
                    gap(Side::Left).max(gap(Side::Right))
                })
                .fold(f64::INFINITY, f64::min);
            assert!(gap <= 0.3, "{gap} mm at {}", s.start);
            closed += 1;
        }
        assert_eq!(plan.summary.closures, plan.summary.closures_reached);
    }
    assert!(closed >= 10, "{closed} bilabials in the sample lines");
}

#[test]
fn slower_servos_give_up_vowels_first_and_closures_last() {
    let lines = lines();
    let mut told = vec![];
    for speed in [1.0, 0.5, 0.25, 0.12, 0.06, 0.03] {
        let missed = missed(&lines, speed);
        println!("{speed}: {missed:?}");
        told.push((speed, missed));
    }
    for (speed, m) in &told {
        assert!(share(m.closures) <= share(m.tongue) + 1e-9, "{speed}: {m:?}");
        assert!(share(m.tongue) <= share(m.vowels) + 1e-9, "{speed}: {m:?}");
    }
    // At full and at half speed nothing that must touch is missed, and vowels pay; slow enough, the order
    // is put to the test.
    for (speed, m) in &told[..2] {
        assert_eq!((m.closures.0, m.tongue.0), (0, 0), "{speed}: {m:?}");
    }
    assert!(told[1].1.vowels.0 > told[0].1.vowels.0, "{told:?}");
    // Tongue contacts give way while closures hold: a head that is far too slow keeps its lips near shut.
    assert!(told.iter().any(|(_, m)| m.tongue.0 > 0 && m.closures.0 == 0), "{told:?}");
}
