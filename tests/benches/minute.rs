//! What things cost and weigh, in one table: `make bench`.
//!
//! Prints measurements of this run; nothing here passes or fails. Times are processor time of one
//! thread (Linux; elsewhere the clock), the best of a few repeats. Seconds depend on the machine, so each
//! stands beside a reference that was timed in the same run:
//!
//! | reference | stands beside | why |
//! |---|---|---|
//! | spectra: a windowed 512-point transform every 10 ms of the same sound | hearing, planning, keyframes | what any look at the sound begins with, by a library that others keep fast |
//! | SHA-256 of the same bytes | opening a recording | has to touch every byte once, and opening does it anyway |
//! | JSON parsed into plain values | opening a rig or project | the part of reading that knows nothing of rigs |
//! | gzip of what was written | exports | turns as many bytes into a file |
//!
//! Growth is the time of four minutes over that of one: 4 is in proportion. Memory is the peak beyond what
//! was held before.

use lipwright_core::audio::{ChannelChoice, Recording, read_wav};
use lipwright_core::export::{ServoTrack, TrackMeta, packed, sha256_hex};
use lipwright_core::line::Line;
use lipwright_core::motion::{PlanSettings, keyframes, plan};
use lipwright_core::phonetics::Lexicon;
use lipwright_core::progress::Quiet;
use lipwright_core::project::{AudioRef, Project, ProjectLine};
use lipwright_core::recognise::{AcousticModel, Hearing, ListenSettings, listen};
use lipwright_core::rig::Rig;
use lipwright_core::units::Microseconds;
use lipwright_tests::{processor_time, sample_lines, workspace};
use peak_alloc::PeakAlloc;
use std::io::Write;

#[global_allocator]
static MEMORY: PeakAlloc = PeakAlloc;

/// The sample lines, one after another, and their script.
fn sound(minutes: usize) -> (Recording, String) {
    let count = minutes * 60 * 16_000;
    let mut samples = Vec::new();
    let mut script = String::new();
    while samples.len() < count {
        for path in sample_lines() {
            let bytes = std::fs::read(&path).expect("a sample line");
            samples.extend_from_slice(read_wav(&bytes, ChannelChoice::Mix).expect("it reads").samples());
            script += &std::fs::read_to_string(path.with_extension("txt")).expect("its script");
        }
    }
    samples.truncate(count);
    let recording = Recording::from_interleaved(&samples, 1, Recording::RATE, ChannelChoice::Mix);
    (recording.expect("minutes of samples"), script)
}

/// What a piece of work took.
struct Cost<T> {
    seconds: f64,
    peak: usize,
    made: T,
}

/// Least time that counts as measured: some machines count processor time in steps of 4 ms, and this is sixty.
const MEASURED: f64 = 0.25;

/// Best time of a few repeats, the peak of memory, and the last result. Work that is too short to be measured is
/// done several times between two looks at the clock.
fn cost<T>(mut work: impl FnMut() -> T) -> Cost<T> {
    let held = MEMORY.current_usage();
    MEMORY.reset_peak_usage();
    let mut made = std::hint::black_box(work());
    let peak = MEMORY.peak_usage().saturating_sub(held);
    let (mut least, mut times) = (f64::INFINITY, 1_u32);
    loop {
        let start = processor_time();
        for _ in 0..times {
            made = std::hint::black_box(work());
        }
        let all = (processor_time() - start).as_secs_f64();
        if all < MEASURED {
            times *= 2;
            continue;
        }
        let now = all / f64::from(times);
        // Stop once a repeat brings nothing: the best no longer falls by a twentieth.
        if now > least * 0.95 {
            return Cost { seconds: least.min(now), peak, made };
        }
        least = now;
    }
}

/// One row: what, its cost, the reference's time, and the time of four times as much where measured.
fn row<T>(what: &str, cost: &Cost<T>, reference: (&str, f64), four: Option<f64>) {
    let growth = four.map_or_else(|| "-".to_owned(), |f| format!("{:.1}", f / cost.seconds));
    println!(
        "{what:<34} {:>9.3} ms {:>8.2} x {:<12} {growth:>6} {:>9.2} MB",
        cost.seconds * 1e3,
        cost.seconds / reference.1,
        reference.0,
        cost.peak as f64 / 1e6
    );
}

/// A windowed 512-point spectrum every 10 ms; what it sums up to keeps the work from being left out.
fn spectra(samples: &[f32]) -> f32 {
    let transform = realfft::RealFftPlanner::<f32>::new().plan_fft_forward(512);
    let window: Vec<f32> =
        (0..512).map(|n| 0.5 - 0.5 * (std::f32::consts::TAU * n as f32 / 512.0).cos()).collect();
    let (mut frame, mut bins) = (transform.make_input_vec(), transform.make_output_vec());
    let mut sum = 0.0;
    for piece in samples.windows(512).step_by(160) {
        for ((x, s), w) in frame.iter_mut().zip(piece).zip(&window) {
            *x = s * w;
        }
        transform.process(&mut frame, &mut bins).expect("buffers of its own making");
        sum += bins.iter().map(|b| b.norm_sqr()).sum::<f32>();
    }
    sum
}

fn gzip(bytes: &[u8], level: u32) -> Vec<u8> {
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::new(level));
    packer.write_all(bytes).expect("memory takes it");
    packer.finish().expect("memory takes it")
}

/// The way of a line, for one minute and for four.
fn way() {
    let model = AcousticModel::built_in();
    let lexicon = std::fs::read(workspace().join("core/models/lexicon.bin")).expect("the dictionary");
    let lexicon = Lexicon::from_bytes(&lexicon).expect("it reads");
    let settings = ListenSettings::default();
    let rig = Rig::harbourmaster();
    let hear = |recording: &Recording, script: Option<&str>| -> Hearing {
        listen(recording, script, Some(&lexicon), &model, &settings, &mut Quiet).expect("it is heard")
    };
    let planned = |line: &Line| {
        plan(line.segments(), line.duration(), &rig, &PlanSettings::default(), &mut Quiet).expect("it plans")
    };
    let [one, four] = [1, 4].map(sound);
    let reference = ("spectra", cost(|| spectra(one.0.samples())).seconds);
    let listening = cost(|| hear(&one.0, None));
    row("hearing alone", &listening, reference, Some(cost(|| hear(&four.0, None)).seconds));
    let following = cost(|| hear(&one.0, Some(&one.1)));
    row(
        "hearing with its script",
        &following,
        reference,
        Some(cost(|| hear(&four.0, Some(&four.1))).seconds),
    );
    let line = Line::from_hearing(&listening.made).expect("a valid line");
    let long = Line::from_hearing(&hear(&four.0, None)).expect("a valid line");
    let planning = cost(|| planned(&line));
    let planning_long = cost(|| planned(&long));
    row("planning 16 servos", &planning, reference, Some(planning_long.seconds));
    let within = Microseconds::new(4.0);
    let choosing = cost(|| keyframes(&planning.made, &rig, within));
    let more = cost(|| keyframes(&planning_long.made, &rig, within)).seconds;
    row("choosing keyframes within 4 us", &choosing, reference, Some(more));

    let track = |made| ServoTrack::from_plan(made, &rig, TrackMeta::default()).expect("it fits");
    let (short, long) = (track(&planning.made), track(&planning_long.made));
    let written = |what: &str, write: &dyn Fn(&ServoTrack) -> Vec<u8>| {
        let done = cost(|| write(&short));
        let reference = cost(|| gzip(&done.made, 6)).seconds;
        row(what, &done, ("gzip", reference), Some(cost(|| write(&long)).seconds));
    };
    written("export as JSON, checked", &|t| t.export_json(&rig).expect("it holds").into_bytes());
    written("export as CSV, checked", &|t| t.export_csv(&rig).expect("it holds").into_bytes());
    written("export as MIDI, checked", &|t| t.export_midi(&rig, None).expect("it holds"));
    written("packed within 4 us, checked", &|t| {
        packed::pack(t, &rig, within).expect("it holds").boards.remove(0).bytes
    });
    opening(&line);
}

/// What opening files costs.
fn opening(line: &Line) {
    // A minute as recorders make it: stereo, 16 bits, 48 kHz.
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 48_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = std::io::Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut wav, spec).expect("a valid form");
    for i in 0..2 * 60 * 48_000 {
        writer.write_sample((i * 7919 % 20_011 - 10_005) as i16).expect("memory takes it");
    }
    writer.finalize().expect("memory takes it");
    let wav = wav.into_inner();
    let reading = cost(|| read_wav(&wav, ChannelChoice::Mix).expect("it reads"));
    row("opening a minute of stereo WAV", &reading, ("SHA-256", cost(|| sha256_hex(&wav)).seconds), None);
    let text = Rig::harbourmaster().to_json();
    let plain = |text: &str| serde_json::from_str::<serde_json::Value>(text).expect("it is JSON");
    let building = cost(|| Rig::from_json(&text).expect("it is a rig"));
    row("opening the full rig", &building, ("JSON", cost(|| plain(&text)).seconds), None);
    let mut project = Project::new("Harbour museum");
    let audio = AudioRef::of("minute.wav", &wav, line.duration());
    project.lines = (0..20)
        .map(|i| ProjectLine::new(format!("Line {i}"), audio.clone(), "Mind the step.", line.clone()))
        .collect();
    let text = project.to_json();
    let reading = cost(|| Project::from_json(&text).expect("it is a project"));
    row("opening a project, 20 minutes", &reading, ("JSON", cost(|| plain(&text)).seconds), None);
}

/// What the page weighs.
fn page() {
    println!("\n{:<34} {:>12} {:>15} {:>8}", "the page", "bytes", "after gzip -9", "share");
    let dist = workspace().join("dist");
    let mut sum = 0;
    for name in ["lipwright-app_bg.wasm", "lipwright-app.js", "acoustic.bin", "style.css", "lexicon.bin"] {
        let Ok(bytes) = std::fs::read(dist.join(name)) else {
            println!("{name}: not built; run `make page`");
            continue;
        };
        let packed = gzip(&bytes, 9).len();
        let share = 100.0 * packed as f64 / bytes.len().max(1) as f64;
        let note = if name == "lexicon.bin" { "  (fetched with the first script)" } else { "" };
        println!("{name:<34} {:>12} {packed:>15} {share:>6.0} %{note}", bytes.len());
        if name != "lexicon.bin" {
            sum += packed;
        }
    }
    println!("{:<34} {:>12} {sum:>15}", "to open the page", "");
}

fn main() {
    println!(
        "{:<34} {:>12} {:>23} {:>6} {:>12}",
        "a minute of dialogue, one thread", "time", "against", "growth", "memory"
    );
    way();
    page();
}
