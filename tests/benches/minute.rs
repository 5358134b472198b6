//! What a minute of dialogue costs, and what the page weighs: `make bench`.
//!
//! Prints measurements of this run; nothing here passes or fails. Times are the best of a few
//! repeats on one thread, given also as a multiple of real time, and the planner's as a ratio to
//! hearing, so that a slow machine does not look like slow code.

use lipwright_core::audio::{ChannelChoice, Recording, read_wav};
use lipwright_core::line::Line;
use lipwright_core::motion::{PlanSettings, keyframes, plan};
use lipwright_core::phonetics::Lexicon;
use lipwright_core::progress::Quiet;
use lipwright_core::recognise::{AcousticModel, Hearing, ListenSettings, listen};
use lipwright_core::rig::Rig;
use lipwright_core::units::Microseconds;
use lipwright_tests::{sample_lines, workspace};
use std::io::Write;
use std::time::Instant;

const MINUTE: usize = 60 * 16_000;

/// A minute of the sample lines, one after another.
fn a_minute() -> (Recording, String) {
    let mut samples = Vec::new();
    let mut script = String::new();
    while samples.len() < MINUTE {
        for path in sample_lines() {
            let bytes = std::fs::read(&path).expect("a sample line");
            samples.extend_from_slice(read_wav(&bytes, ChannelChoice::Mix).expect("it reads").samples());
            script += &std::fs::read_to_string(path.with_extension("txt")).expect("its script");
        }
    }
    samples.truncate(MINUTE);
    let recording = Recording::from_interleaved(&samples, 1, Recording::RATE, ChannelChoice::Mix);
    (recording.expect("a minute of samples"), script)
}

/// Best time of a few repeats, in seconds, and the last result.
fn best<T>(mut work: impl FnMut() -> T) -> (f64, T) {
    let mut least = f64::INFINITY;
    loop {
        let start = Instant::now();
        let result = work();
        let now = start.elapsed().as_secs_f64();
        // Stop once a repeat brings nothing: the best no longer falls by a twentieth.
        if now > least * 0.95 {
            return (least.min(now), result);
        }
        least = now;
    }
}

fn row(what: &str, seconds: f64) {
    println!("{what:<44} {seconds:>8.3} s {:>8.0} x real time", 60.0 / seconds);
}

fn compressed(bytes: &[u8]) -> usize {
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    packer.write_all(bytes).expect("memory takes it");
    packer.finish().expect("memory takes it").len()
}

fn main() {
    let (recording, script) = a_minute();
    let model = AcousticModel::built_in();
    let lexicon_path = workspace().join("core/models/lexicon.bin");
    let lexicon =
        Lexicon::from_bytes(&std::fs::read(lexicon_path).expect("the dictionary")).expect("it reads");
    let settings = ListenSettings::default();
    let rig = Rig::harbourmaster();
    let hear = |script: Option<&str>| -> Hearing {
        listen(&recording, script, Some(&lexicon), &model, &settings, &mut Quiet).expect("it is heard")
    };

    println!("One minute of dialogue, native, one thread:");
    let (listening, heard) = best(|| hear(None));
    row("hearing without a script", listening);
    let (following, _) = best(|| hear(Some(&script)));
    row("hearing with a script", following);
    let line = Line::from_hearing(&heard).expect("a valid line");
    let (planning, planned) = best(|| {
        plan(line.segments(), line.duration(), &rig, &PlanSettings::default(), &mut Quiet).expect("it plans")
    });
    row("planning 16 servos", planning);
    let (choosing, _) = best(|| keyframes(&planned, &rig, Microseconds::new(4.0)));
    row("choosing keyframes within 4 us", choosing);
    row("hearing and planning together", listening + planning);
    println!("planning takes {:.2} times as long as hearing", planning / listening);

    println!("\nThe page, bytes as built and after gzip -9:");
    let dist = workspace().join("dist");
    let mut sum = 0;
    for name in ["lipwright-app_bg.wasm", "lipwright-app.js", "acoustic.bin", "style.css", "lexicon.bin"] {
        let Ok(bytes) = std::fs::read(dist.join(name)) else {
            println!("{name}: not built; run `make page`");
            continue;
        };
        let packed = compressed(&bytes);
        let note = if name == "lexicon.bin" { " (fetched with the first script)" } else { "" };
        println!("{name:<44} {:>9} {packed:>9}{note}", bytes.len());
        if name != "lexicon.bin" {
            sum += packed;
        }
    }
    println!("{:<44} {:>9} {sum:>9}", "to open the page", "");
}
