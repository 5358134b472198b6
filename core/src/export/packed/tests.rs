//! Packed tracks come back exactly, keep every limit, and no bytes make the reader stumble.

use super::*;
use crate::export::TrackMeta;
use crate::line::Segment;
use crate::motion::{PlanSettings, keyframes, plan};
use crate::phonetics::MouthShape;
use crate::progress::Quiet;
use crate::rig::{Preset, Rig};
use crate::units::Seconds;
use proptest::prelude::*;

/// A small deterministic source of numbers.
struct Draw(u64);

impl Draw {
    fn next(&mut self) -> u32 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as u32
    }

    fn below(&mut self, n: usize) -> usize {
        self.next() as usize % n
    }
}

/// Shapes at a speaker's pace, in an order that nobody would say.
fn babble(rig: &Rig, seed: u64, shapes: usize) -> (crate::motion::Plan, ServoTrack) {
    let mut draw = Draw(seed);
    let mut segments = vec![Segment::new(Seconds::ZERO, Seconds::new(0.3), MouthShape::Rest)];
    for _ in 0..shapes {
        let shape = MouthShape::ALL[draw.below(MouthShape::ALL.len())];
        let start = segments[segments.len() - 1].end;
        let length = if draw.below(12) == 0 { 0.5 } else { 0.05 + 0.01 * draw.below(12) as f64 };
        segments.push(Segment::new(start, start + Seconds::new(length), shape));
    }
    let end = segments[segments.len() - 1].end + Seconds::new(0.3);
    segments.push(Segment::new(segments[segments.len() - 1].end, end, MouthShape::Rest));
    let plan = plan(&segments, end, rig, &PlanSettings::default(), &mut Quiet).expect("plans");
    let track = ServoTrack::from_plan(&plan, rig, TrackMeta::default()).expect("fits");
    (plan, track)
}

#[test]
fn babble_for_every_preset_keeps_tolerance_and_limits() {
    for preset in Preset::ALL {
        let rig = preset.rig();
        let (plan, track) = babble(&rig, 7, 60);
        for tolerance in [4.0, 1.0, 0.0] {
            // `pack` verifies against the rig before it gives anything out.
            let packed = pack(&track, &rig, Microseconds::new(tolerance))
                .unwrap_or_else(|e| panic!("{} at {tolerance}: {e}", preset.name()));
            assert!(packed.error.value() <= tolerance + 1e-9, "{}: {}", preset.name(), packed.error);
            assert!(verify(&packed.played, &rig).holds());
            let seconds = track.frames() as f64 * 0.02;
            let per_second = packed.boards[0].bytes.len() as f64 / seconds;
            println!("{} at {tolerance} us: {per_second:.1} bytes a second", preset.name());
        }
        let knots = keyframes(&plan, &rig, Microseconds::new(1.0));
        let keyed = ServoTrack::from_keyframes(&plan, &knots, &rig, TrackMeta::default()).expect("fits");
        pack(&keyed, &rig, Microseconds::new(4.0)).unwrap_or_else(|e| panic!("{}: {e}", preset.name()));
    }
}

#[test]
fn boards_get_their_own_part() {
    let mut d = Rig::harbourmaster().description().clone();
    for (i, servo) in d.servos.iter_mut().enumerate().skip(9) {
        (servo.controller, servo.channel) = ("tongue and brows".into(), i as u64 - 9);
    }
    let rig = Rig::new(d).expect("two boards");
    let (_, track) = babble(&rig, 3, 30);
    let packed = pack(&track, &rig, Microseconds::new(4.0)).expect("packs");
    let names: Vec<&str> = packed.boards.iter().map(|b| b.controller.as_str()).collect();
    assert_eq!(names, ["main", "tongue and brows"]);
    let parts: Vec<Unpacked> = packed.boards.iter().map(|b| read(&b.bytes).expect("reads")).collect();
    assert_eq!(parts.iter().map(|p| p.pulses.len()).collect::<Vec<_>>(), [9, 7]);
    assert_eq!((parts[0].start_us, parts[0].frames), (parts[1].start_us, parts[1].frames));
    let all = parts.iter().flat_map(|p| &p.pulses);
    for (column, servo) in all.zip(packed.played.servos()) {
        let played: Vec<u16> = servo.pulses().map(|p| (p.value() * 10.0).round() as u16).collect();
        assert_eq!(*column, played);
    }
    assert!(parts.iter().all(|p| p.rig == rig_mark(&rig)));
}

#[test]
fn what_does_not_fit_is_refused() {
    let rig = Rig::jaw_only();
    let (_, track) = babble(&rig, 1, 5);
    assert!(pack(&track, &Rig::harbourmaster(), Microseconds::new(4.0)).is_err(), "another rig's track");
    for tolerance in [-1.0, f64::NAN, f64::INFINITY] {
        assert!(pack(&track, &rig, Microseconds::new(tolerance)).is_err());
    }
}

fn sample() -> Vec<u8> {
    let rig = Rig::harbourmaster();
    let (_, track) = babble(&rig, 5, 12);
    pack(&track, &rig, Microseconds::new(4.0)).expect("packs").boards[0].bytes.clone()
}

#[test]
fn every_flipped_bit_and_every_cut_is_found() {
    let bytes = sample();
    for bit in 0..8 * bytes.len() {
        let mut spoiled = bytes.clone();
        spoiled[bit / 8] ^= 1 << (bit % 8);
        assert!(read(&spoiled).is_err(), "bit {bit}");
    }
    for length in 0..bytes.len() {
        assert!(read(&bytes[..length]).is_err(), "cut to {length}");
    }
    let newer = read(&[&b"LWP\x02"[..], &bytes[4..]].concat()).expect_err("newer");
    assert_eq!(newer, PackError::Newer(2));
}

/// Feeds the reader behind the check sum: random bytes, and written ones with changes.
fn fuzz(inputs: u64, seed: u64) -> (u64, u64) {
    let whole = sample();
    let body = &whole[..whole.len() - 4];
    let mut draw = Draw(seed);
    let (mut read, mut refused) = (0, 0);
    for _ in 0..inputs {
        let mut bytes = body.to_vec();
        match draw.below(4) {
            0 => bytes[HEADER..].iter_mut().for_each(|b| *b = draw.next() as u8),
            1 => bytes.truncate(HEADER + draw.below(body.len() - HEADER)),
            _ => {}
        }
        for _ in 0..draw.below(6) {
            let at = draw.below(bytes.len());
            bytes[at] = draw.next() as u8;
        }
        // Mostly few frames, for millions of inputs; else as written, so that some still read.
        if draw.below(32) > 0 {
            bytes[8..12].copy_from_slice(&(2 + draw.below(40) as u32).to_le_bytes());
        }
        match unpack(&bytes) {
            Ok(track) => {
                assert!(track.pulses.iter().all(|column| column.len() == track.frames));
                read += 1;
            }
            Err(_) => refused += 1,
        }
    }
    (read, refused)
}

#[test]
fn no_bytes_make_the_reader_stumble() {
    let (read, refused) = fuzz(20_000, 1);
    assert!(read > 50 && refused > 50, "both ends are met: {read} read, {refused} refused");
}

/// `cargo test --release -p lipwright-core ten_million -- --ignored --nocapture`
#[test]
#[ignore = "takes minutes; run it when the reader changes"]
fn ten_million_inputs_do_not_either() {
    let (read, refused) = fuzz(10_000_000, 2);
    println!("{} inputs: {read} read, {refused} refused, none stumbled", read + refused);
}

/// Counts how often each decision goes which way; odds lie still, so their addresses tell them apart.
struct Counter<'a>(&'a mut std::collections::HashMap<usize, [f64; 2]>);

impl super::coder::Decisions for Counter<'_> {
    fn decide(&mut self, odds: &mut super::coder::Odds, yes: bool) -> bool {
        self.0.entry(std::ptr::from_mut(odds) as usize).or_default()[usize::from(yes)] += 1.0;
        yes
    }
}

/// Prints `odds.rs` anew, counted over the dense tracks (CSV, full head) in the folder `TRACKS`:
/// `TRACKS=folder cargo test --release -p lipwright-core packed::tests::train -- --ignored --nocapture`
#[test]
#[ignore = "needs a folder of planned tracks; run it when contexts change, several times in turn"]
fn train() {
    let rig = Rig::harbourmaster();
    let folder = std::env::var("TRACKS").expect("TRACKS names a folder of planned tracks");
    let mut total = vec![[0.5, 0.5]; super::model::SIZE];
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let bytes = std::fs::read(entry.expect("readable").path()).expect("readable");
        let track = ServoTrack::from_bytes(&bytes).expect("a track");
        let paths = super::pack::paths(&track, &rig, 40).expect("packs");
        let corrections: Vec<Vec<i32>> = paths.iter().map(Path::corrections).collect();
        let mut player = Player::new(super::pack::channels(&paths));
        let mut counts = std::collections::HashMap::new();
        for t in 0..track.frames() {
            let wanted: Vec<i32> = corrections.iter().map(|c| c[t]).collect();
            let _ = player.frame(&mut Counter(&mut counts), &wanted);
        }
        for (sum, odds) in total.iter_mut().zip(player.model.odds.iter()) {
            if let Some(seen) = counts.get(&(std::ptr::from_ref(odds) as usize)) {
                *sum = [sum[0] + seen[0], sum[1] + seen[1]];
            }
        }
    }
    let odds = total.iter().map(|[no, yes]| ((32_768.0 * no / (no + yes)) as u16).clamp(64, 32_704));
    for row in odds.collect::<Vec<u16>>().chunks(16) {
        println!("    {},", row.iter().map(u16::to_string).collect::<Vec<_>>().join(", "));
    }
}

fn any_path() -> impl Strategy<Value = Path> {
    let corrections =
        prop::collection::vec(prop_oneof![6 => Just(0i32), 3 => -12..12i32, 1 => -300..300i32], 30);
    (1_000u16..60_000, 1u8..=255, corrections, any::<bool>()).prop_map(|(start, step, corrections, moves)| {
        let (mut at, mut speed, mut path) = (0i32, 0i32, vec![0i32]);
        for k in corrections {
            // Turned back where it would leave what 16 bits hold.
            let next = at + speed + k;
            let pulse = i32::from(start) + i32::from(step) * next;
            let k = if (0..=65_535).contains(&pulse) { k } else { -speed };
            speed += k;
            at += speed;
            path.push(at);
        }
        if moves { Path { start, step, at: path } } else { Path { start, step: 0, at: vec![0; 31] } }
    })
}

proptest! {
    #[test]
    fn any_paths_come_back(mut paths in prop::collection::vec(any_path(), 1..12), copy in 0usize..12) {
        if let Some(path) = paths.get(copy).cloned() {
            let mirrored = path.at.iter().map(|a| -a).collect();
            let fits = path.pulses().iter().all(|p| (0..=65_535).contains(&(2 * i32::from(path.start) - p)));
            if fits && paths.len() < 12 {
                paths.push(Path { at: mirrored, ..path.clone() });
            }
        }
        let head = Head { rig: 0x1234_5678, frame_us: 20_000, start_us: -460_000, frames: 31 };
        let back = read(&write(&head, &paths)).expect("reads");
        prop_assert_eq!((back.rig, back.frame_us, back.start_us), (head.rig, head.frame_us, head.start_us));
        for (column, path) in back.pulses.iter().zip(&paths) {
            let column: Vec<i32> = column.iter().map(|p| i32::from(*p)).collect();
            prop_assert_eq!(column, path.pulses());
        }
    }

    #[test]
    fn any_bytes_are_refused(bytes in prop::collection::vec(any::<u8>(), 0..80)) {
        prop_assert!(read(&bytes).is_err());
    }
}
