//! Tracks come back as they were written, and every kind of breach is found.

use super::*;
use crate::phonetics::MouthShape;
use crate::rig::{Dof, Elbows, LinkageDescription, Rig, RigDescription};
use crate::units::{Degrees, Microseconds, Seconds};
use proptest::prelude::*;

const FRAME: Seconds = Seconds::new(0.02);

fn meta() -> TrackMeta {
    TrackMeta {
        line: "Fog \"warning\", first".into(),
        audio_name: "fog.wav".into(),
        audio_sha256: sha256_hex(b"fog"),
    }
}

/// A slow move from rest to a pose and back, by a smooth curve, within all limits.
fn slow_move(rig: &Rig, shape: MouthShape, frames: usize) -> Vec<Vec<Degrees>> {
    let there = rig.reach(&rig.pose(shape).target).angles;
    let moving = (frames - 6) as f64;
    rig.rest_angles()
        .iter()
        .zip(there)
        .map(|(rest, there)| {
            (0..frames)
                .map(|f| {
                    let s = ((f as f64 - 2.5) / moving).clamp(0.0, 1.0);
                    let bump = 0.5 - 0.5 * (std::f64::consts::TAU * s).cos();
                    *rest + (there - *rest) * bump
                })
                .collect()
        })
        .collect()
}

fn pulses(rig: &Rig, angles: &[Vec<Degrees>]) -> Vec<Vec<Microseconds>> {
    rig.servos().iter().zip(angles).map(|(s, a)| a.iter().map(|a| s.pulse(*a)).collect()).collect()
}

fn dense(rig: &Rig, angles: &[Vec<Degrees>]) -> ServoTrack {
    ServoTrack::dense(rig, meta(), FRAME, Seconds::new(-0.12), &pulses(rig, angles)).expect("fits")
}

fn good(rig: &Rig) -> Vec<Vec<Degrees>> {
    slow_move(rig, MouthShape::Open, 120)
}

fn kinds(track: &ServoTrack, rig: &Rig) -> Vec<BreachKind> {
    verify(track, rig).breaches.into_iter().map(|b| b.kind).collect()
}

#[test]
fn slow_moves_to_every_pose_hold() {
    for rig in [Rig::harbourmaster(), Rig::jaw_only()] {
        for shape in MouthShape::ALL {
            let verdict = verify(&dense(&rig, &slow_move(&rig, shape, 120)), &rig);
            assert!(verdict.holds(), "{shape}: {verdict}");
            assert!(verdict.unchecked.is_empty());
            assert!(verdict.comparisons > 120 * 5 * rig.servos().len() as u64);
        }
    }
}

/// Changes one servo's angles and says what is found.
fn spoiled(rig: &Rig, servo: usize, change: impl Fn(usize, f64) -> f64) -> Verdict {
    let mut angles = good(rig);
    for (f, a) in angles[servo].iter_mut().enumerate() {
        *a = Degrees::new(change(f, a.value()));
    }
    verify(&dense(rig, &angles), rig)
}

fn has(verdict: &Verdict, servo: &str, kind: &BreachKind) -> bool {
    verdict.breaches.iter().any(|b| b.kind == *kind && b.servo == servo)
}

#[test]
fn travel_is_checked() {
    let rig = Rig::harbourmaster();
    let verdict = spoiled(&rig, 15, |f, a| if (40..80).contains(&f) { 63.1 } else { a });
    assert!(has(&verdict, "neck", &BreachKind::Travel), "{verdict}");
    assert!(has(&verdict, "neck", &BreachKind::Skin(Dof::NeckTurn)));
    let travel = verdict.breaches.iter().find(|b| b.kind == BreachKind::Travel).expect("just seen");
    assert_eq!(travel.frames, 40, "a stretch counts once");
    assert_eq!(travel.limit, 2200.0);
}

#[test]
fn speed_and_acceleration_are_checked_each_way_and_only_just() {
    let rig = Rig::harbourmaster();
    let neck = &rig.servos()[15];
    let step = neck.speed_up.value() * FRAME.value();
    let ramp = |factor: f64| {
        move |f: usize, _: f64| {
            let t = (f as f64 - 10.0).max(0.0);
            // Speeds up over five frames, runs, and comes back the same way.
            let run = |n: f64| if n < 5.0 { 0.1 * n * n } else { 2.5 + (n - 5.0) };
            let out = run(t.min(12.0)) - run((t - 12.0).clamp(0.0, 30.0)).min(9.5);
            factor * step * out * 0.999
        }
    };
    let fast = spoiled(&rig, 15, ramp(1.02));
    assert!(has(&fast, "neck", &BreachKind::SpeedUp) && has(&fast, "neck", &BreachKind::SpeedDown), "{fast}");
    let limit = neck.acceleration.value() * FRAME.value() * FRAME.value();
    // One frame of constant speed: the change of speed at its two ends is what counts.
    let jerk =
        |factor: f64| move |f: usize, _: f64| if (50..=51).contains(&f) { factor * limit } else { 0.0 };
    let quiet = spoiled(&rig, 15, |_, _| 0.0);
    assert!(quiet.holds(), "{quiet}");
    assert!(has(&spoiled(&rig, 15, jerk(1.02)), "neck", &BreachKind::Acceleration));
    let calm = spoiled(&rig, 15, jerk(0.98));
    assert!(calm.holds(), "{calm}");
}

#[test]
fn rest_at_both_ends_is_checked() {
    let rig = Rig::harbourmaster();
    let moved = |first: usize, last: usize| {
        move |f: usize, a: f64| if (first..=last).contains(&f) { a + 0.1 } else { a }
    };
    for (first, last, kind) in [
        (0, 0, BreachKind::StartNotAtRest),
        (1, 1, BreachKind::StartNotAtRest),
        (118, 118, BreachKind::EndNotAtRest),
        (119, 119, BreachKind::EndNotAtRest),
    ] {
        let verdict = spoiled(&rig, 15, moved(first, last));
        assert!(has(&verdict, "neck", &kind), "{first}: {verdict}");
    }
    assert!(spoiled(&rig, 15, moved(60, 60)).holds());
}

#[test]
fn skin_is_checked_through_the_linkages() {
    let rig = Rig::harbourmaster();
    let jaw = spoiled(&rig, 0, |f, a| if f > 2 && f < 117 { a - 0.5 } else { a });
    assert!(has(&jaw, "jaw", &BreachKind::Skin(Dof::JawOpen)), "{jaw}");
    // Both corner servos the same way lift the corner beyond its 6 mm.
    let mut angles = good(&rig);
    for f in 3..117 {
        let s = 0.5 - 0.5 * (std::f64::consts::TAU * (f as f64 - 3.0) / 114.0).cos();
        let high = rig.reach(&crate::rig::DofValues::from_pairs(&[(Dof::CornerLeftY, 6.0)])).angles;
        for servo in [5, 6] {
            angles[servo][f] = high[servo] * (1.15 * s);
        }
    }
    let verdict = verify(&dense(&rig, &angles), &rig);
    let both = "corner left inner + corner left outer";
    assert!(has(&verdict, both, &BreachKind::Skin(Dof::CornerLeftY)), "{verdict}");
}

#[test]
fn couplings_are_checked() {
    let rig = Rig::harbourmaster();
    let mut angles = slow_move(&rig, MouthShape::Bilabial, 120);
    let high = rig.reach(&crate::rig::DofValues::from_pairs(&[(Dof::LowerLipLeft, 3.2)])).angles;
    for f in 3..117 {
        let s = 0.5 - 0.5 * (std::f64::consts::TAU * (f as f64 - 2.5) / 114.0).clamp(0.0, 7.0).cos();
        angles[3][f] = rig.rest_angles()[3] + (high[3] - rig.rest_angles()[3]) * s;
    }
    let verdict = verify(&dense(&rig, &angles), &rig);
    let servos = "jaw + upper lip left + lower lip left";
    assert!(has(&verdict, servos, &BreachKind::Coupling("lip gap left".into())), "{verdict}");
}

#[test]
fn linkages_that_come_apart_are_found() {
    // The demonstration head's corners stay together over their whole pulse range; with the axles
    // further apart, cranks folded away from each other pull the rods into line and apart.
    let mut d = Rig::harbourmaster().description().clone();
    let corner = d.mechanisms.iter_mut().find(|m| m.name == "corner left").expect("has one");
    let LinkageDescription::FiveBar { base_mm, rest_x_mm, .. } = &mut corner.linkage else {
        panic!("corners are five-bars");
    };
    (*base_mm, *rest_x_mm) = (48.0, 24.0);
    let rig = Rig::new(d).expect("still assembles at rest");
    let both = "corner left inner + corner left outer";
    for (turn, comes_apart) in [(20.0, false), (62.0, true)] {
        let mut angles = good(&rig);
        for f in 40..80 {
            angles[5][f] = Degrees::new(turn);
            angles[6][f] = Degrees::new(-turn);
        }
        let verdict = verify(&dense(&rig, &angles), &rig);
        let found = has(&verdict, both, &BreachKind::Linkage("corner left".into()));
        assert_eq!(found, comes_apart, "{turn}: {verdict}");
    }
}

#[test]
fn the_current_budget_is_checked() {
    let rig = Rig::harbourmaster();
    let track = dense(&rig, &good(&rig));
    let peak = verify(&track, &rig).peak_current;
    assert!(peak > 0.1 && peak < rig.supply().budget.value());
    let mut d: RigDescription = rig.description().clone();
    d.supply.budget_a = peak * 0.99;
    let poorer = Rig::new(d).expect("still above idle");
    let found = kinds(&track, &poorer);
    assert!(found.contains(&BreachKind::Current) && found.contains(&BreachKind::RigDiffers), "{found:?}");
}

#[test]
fn servos_boards_and_channels_must_be_the_rigs() {
    let rig = Rig::harbourmaster();
    let mut d = rig.description().clone();
    d.servos[15].channel = 40;
    d.servos[0].controller = "second board".into();
    d.servos[9].name = "tongue".into();
    d.mechanisms[7].servos[0] = "tongue".into();
    let other = Rig::new(d).expect("valid");
    let found = kinds(&dense(&rig, &good(&rig)), &other);
    for kind in [
        BreachKind::RigDiffers,
        BreachKind::ChannelDiffers,
        BreachKind::ControllerDiffers,
        BreachKind::ServoMissing,
        BreachKind::ServoUnknown,
    ] {
        assert!(found.contains(&kind), "{kind:?} in {found:?}");
    }
}

#[test]
fn cranks_of_one_layer_must_keep_apart() {
    let rig_with = |width: f64| {
        let mut d = Rig::harbourmaster().description().clone();
        let corner = d.mechanisms.iter_mut().find(|m| m.name == "corner left").expect("has one");
        if let LinkageDescription::FiveBar { base_mm, elbows, rest_x_mm, rest_y_mm, link_width_mm, .. } =
            &mut corner.linkage
        {
            // Elbows that point at each other: 11.7 mm apart at rest, 8 mm when the cranks are level.
            (*base_mm, *rest_x_mm, *rest_y_mm) = (40.0, 20.0, 45.0);
            (*elbows, *link_width_mm) = (Elbows::In, width);
        }
        Rig::new(d).expect("apart at rest")
    };
    let level = |rig: &Rig| {
        let mut angles = good(rig);
        for f in 40..80 {
            angles[5][f] = Degrees::new(-27.0);
            angles[6][f] = Degrees::new(27.0);
        }
        verify(&dense(rig, &angles), rig)
    };
    let both = "corner left inner + corner left outer";
    let collision = BreachKind::Collision("corner left".into());
    let gaps = |v: &Verdict| v.breaches.iter().any(|b| b.kind == collision && b.servo == both);
    assert!(!gaps(&level(&rig_with(0.0))));
    let wide = level(&rig_with(10.0));
    assert!(gaps(&wide), "{wide}");
}

#[test]
fn boards_get_their_parts_on_one_clock() {
    let mut d = Rig::harbourmaster().description().clone();
    for (i, servo) in d.servos.iter_mut().enumerate().skip(11) {
        (servo.controller, servo.channel) = ("brows and neck".into(), i as u64 - 11);
    }
    let rig = Rig::new(d).expect("two boards");
    let track = dense(&rig, &good(&rig));
    assert_eq!(track.controllers(), ["main", "brows and neck"]);
    let parts: Vec<ServoTrack> =
        track.controllers().iter().filter_map(|name| track.for_controller(name)).collect();
    assert_eq!(parts.iter().map(|p| p.servos().len()).collect::<Vec<_>>(), [11, 5]);
    assert_eq!((parts[1].start(), parts[1].frames()), (track.start(), track.frames()));
    assert_eq!(ServoTrack::joined(&parts), Ok(track.clone()));
    assert!(track.for_controller("hands").is_none());
    assert!(ServoTrack::joined(&[]).is_err());
    assert!(ServoTrack::joined(&[parts[0].clone(), parts[0].clone()]).is_err(), "a servo twice");
    let later =
        ServoTrack::dense(&rig, meta(), FRAME, Seconds::ZERO, &pulses(&rig, &good(&rig))).expect("fits");
    let later = later.for_controller("main").expect("there");
    assert!(ServoTrack::joined(&[parts[1].clone(), later]).is_err(), "another clock");
    // A part alone is not the whole head.
    assert!(kinds(&parts[0], &rig).contains(&BreachKind::ServoMissing));
}

#[test]
fn csv_says_what_it_cannot_say() {
    let rig = Rig::jaw_only();
    let track = dense(&rig, &good(&rig));
    let back = ServoTrack::from_csv(&track.to_csv()).expect("reads");
    let verdict = verify(&back, &rig);
    assert!(verdict.holds() && verdict.unchecked.len() == 2);
    assert_eq!(back.start(), track.start());
    let text = track.export_csv(&rig).expect("good");
    assert!(text.starts_with("time_ms,jaw\r\n-120,"), "{}", &text[..40]);
}

/// Knots every 20 frames are straight lines: gentle enough to hold at this pace.
#[test]
fn keyed_tracks_are_judged_as_they_are_played() {
    let rig = Rig::jaw_only();
    let jaw = &rig.servos()[0];
    let rest = rig.rest_angles()[0];
    let knot = |frame: usize, degrees: f64| Knot { frame, pulse: jaw.pulse(rest + Degrees::new(degrees)) };
    let limit = jaw.acceleration.value() * 0.0004;
    let track = |slope: f64| {
        let knots = vec![knot(0, 0.0), knot(5, 0.0), knot(8, 3.0 * slope), knot(11, 0.0), knot(20, 0.0)];
        ServoTrack::keyed(&rig, meta(), FRAME, Seconds::ZERO, 21, &[knots]).expect("fits")
    };
    // At the middle knot the slope turns from +s to −s: twice s may be at most the limit.
    let calm = verify(&track(0.49 * limit), &rig);
    assert!(calm.holds(), "{calm}");
    assert_eq!(kinds(&track(0.51 * limit), &rig), [BreachKind::Acceleration]);
    let json = track(0.49 * limit).export_json(&rig).expect("good");
    let back = ServoTrack::from_json(&json).expect("reads");
    assert_eq!(back, track(0.49 * limit));
    assert_eq!(back.servos()[0].knots().expect("keyed").len(), 5);
    assert_eq!(back.servos()[0].pulses().count(), 21);
}

#[test]
fn exports_refuse_a_bad_track() {
    let rig = Rig::jaw_only();
    let mut angles = good(&rig);
    angles[0][60] += Degrees::new(30.0);
    let track = dense(&rig, &angles);
    assert!(matches!(track.export_json(&rig), Err(ExportError::Breaches(_))));
    assert!(matches!(track.export_csv(&rig), Err(ExportError::Breaches(_))));
}

#[test]
fn tracks_that_cannot_be_are_refused() {
    let rig = Rig::jaw_only();
    let column = vec![vec![Microseconds::new(1500.0); 4]];
    let build = |frame: f64, start: f64, pulses: &[Vec<Microseconds>]| {
        ServoTrack::dense(&rig, meta(), Seconds::new(frame), Seconds::new(start), pulses)
    };
    assert!(build(0.02, 0.0, &column).is_ok());
    for (frame, start) in
        [(0.0, 0.0), (-0.02, 0.0), (f64::NAN, 0.0), (1.0 / 60.0, 0.0), (0.02, f64::INFINITY)]
    {
        assert!(build(frame, start, &column).is_err(), "{frame} {start}");
    }
    assert!(build(0.02, 0.0, &[]).is_err());
    assert!(build(0.02, 0.0, &[vec![Microseconds::new(1500.0)]]).is_err());
    assert!(build(0.02, 0.0, &[vec![Microseconds::new(f64::NAN); 4]]).is_err());
    let knots = |frames: &[usize]| {
        let column = frames.iter().map(|f| Knot { frame: *f, pulse: Microseconds::new(1500.0) }).collect();
        ServoTrack::keyed(&rig, meta(), FRAME, Seconds::ZERO, 5, &[column])
    };
    assert!(knots(&[0, 4]).is_ok());
    for frames in [&[][..], &[0], &[1, 4], &[0, 3], &[0, 2, 2, 4], &[0, 3, 2, 4], &[0, 5]] {
        assert!(knots(frames).is_err(), "{frames:?}");
    }
}

#[test]
fn unreadable_tracks_say_where() {
    let json = dense(&Rig::jaw_only(), &good(&Rig::jaw_only())).to_json();
    for (from, to, says) in [
        ("lipwright-track", "lipwright-rig", "choose a servo track"),
        ("\"version\": 1", "\"version\": 3", "reads up to 2"),
        ("\"version\": 1", "\"version\": 0", "version"),
        ("\"frame_ms\": 20", "\"frame_ms\": 0", "frame"),
        ("\"frame_ms\": 20", "\"frame_ms\": \"20\"", "column"),
        ("\"frame_ms\": 20,", "", "frame_ms"),
        ("\"frames\": 120", "\"frames\": 121", "pulses for 121 frames"),
        ("\"frames\": 120", "\"frames\": -1", "column"),
        ("\"pulses_us\"", "\"pulses\"", "exactly one of pulses_us, knots and smooth_knots"),
        ("[1281.2,", "[1281.25,", "1281.25"),
        ("[1281.2,", "[-1,", "-1"),
        ("[1281.2,", "[1e300,", "pulse"),
    ] {
        let spoiled = json.replacen(from, to, 1);
        assert_ne!(spoiled, json, "{from} is not in the file: {}", &json[..600]);
        let error = ServoTrack::from_json(&spoiled).expect_err(to).to_string();
        assert!(error.contains(says), "{to}: {error}");
    }
    for (text, line) in [
        ("", 1),
        ("frame,jaw\r\n0,1500\r\n", 1),
        ("time_ms,jaw\r\n0,1500\r\n20,abc\r\n", 3),
        ("time_ms,jaw\r\n0,1500\r\n20,1500\r\n41,1500\r\n", 4),
        ("time_ms,jaw\r\n0,1500\r\n0,1500\r\n", 3),
        ("time_ms,jaw\r\n0,1500\r\n20\r\n", 3),
        ("time_ms,jaw\r\n0,\"1500\r\n", 2),
        ("time_ms,jaw\r\n0,15\"00\r\n", 2),
        ("time_ms,jaw\r\n0,\"1500\"x\r\n", 2),
        ("time_ms,jaw\r\nNaN,1500\r\n", 2),
        ("time_ms,jaw\r\n0,1500 0\r\n20,1500\r\n", 3),
        ("time_ms,jaw\r\n0,1500 0\r\n20,1500 1 2\r\n", 3),
        ("time_ms,jaw\r\n0,1500 0.125\r\n", 2),
        ("time_ms,jaw\r\n0,1500 99999\r\n", 2),
    ] {
        let error = ServoTrack::from_csv(text).expect_err(text).to_string();
        assert!(error.contains(&format!("line {line}:")), "{text:?}: {error}");
    }
    assert!(ServoTrack::from_csv("time_ms,jaw,jaw\r\n0,1,1\r\n20,1,1\r\n").is_err(), "two of a name");
}

prop_compose! {
    fn any_track()(
        servos in 1usize..5, frames in 2usize..40, form in 0..3, frame_us in 1u32..100_000,
        start in -2e6..2e6f64, seed in any::<u64>(), name in "[ -~é\r\n\",]{1,12}",
    ) -> ServoTrack {
        let mut rig = Rig::jaw_only().description().clone();
        let mut state = seed | 1;
        let mut draw = move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as f64 / f64::from(1u32 << 31)
        };
        // Only names and counts of the rig matter here.
        for i in 1..servos {
            let mut servo = rig.servos[0].clone();
            servo.name = format!("{name} {i}");
            servo.channel = i as u64;
            rig.servos.push(servo);
            let mut m = rig.mechanisms[0].clone();
            m.servos = vec![format!("{name} {i}")];
            let dof = Dof::ALL[i];
            m.drives[0].dof = dof;
            rig.mechanisms.push(m);
            let mut d = rig.dofs[0].clone();
            d.dof = dof;
            rig.dofs.push(d);
        }
        let rig = Rig::new(rig).expect("valid");
        let meta = TrackMeta { line: name.clone(), audio_name: name, audio_sha256: String::new() };
        let frame = Seconds::new(f64::from(frame_us) / 1e6);
        let start = Seconds::new(start / 1e6);
        if form > 0 {
            let knots: Vec<Vec<SmoothKnot>> = (0..servos).map(|_| {
                let inner = (1..frames - 1).filter(|_| draw() < 0.4).collect::<Vec<_>>();
                std::iter::once(0).chain(inner).chain([frames - 1]).map(|frame| SmoothKnot {
                    frame,
                    pulse: Microseconds::new(500.0 + 2000.0 * draw()),
                    slope: Microseconds::new(200.0 * draw() - 100.0),
                }).collect()
            }).collect();
            if form == 1 {
                return ServoTrack::smooth(&rig, meta, frame, start, frames, &knots).expect("fits");
            }
            let plain = |k: &SmoothKnot| Knot { frame: k.frame, pulse: k.pulse };
            let knots: Vec<Vec<Knot>> = knots.iter().map(|c| c.iter().map(plain).collect()).collect();
            ServoTrack::keyed(&rig, meta, frame, start, frames, &knots).expect("fits")
        } else {
            let pulses: Vec<Vec<Microseconds>> = (0..servos)
                .map(|_| (0..frames).map(|_| Microseconds::new(10_000.0 * draw())).collect()).collect();
            ServoTrack::dense(&rig, meta, frame, start, &pulses).expect("fits")
        }
    }
}

/// A smooth track of one servo, at rest at both ends, that swings by `by` µs over `length` frames.
fn swing(rig: &Rig, by: f64, length: usize, slope: f64) -> ServoTrack {
    let rest = rig.servos()[0].pulse(rig.rest_angles()[0]);
    let knot = |frame, by: f64, slope: f64| SmoothKnot {
        frame,
        pulse: rest + Microseconds::new(by),
        slope: Microseconds::new(slope),
    };
    let knots = [(0, 0.0, 0.0), (2, 0.0, 0.0), (2 + length, by, slope), (2 + 2 * length, 0.0, 0.0)];
    let mut column: Vec<SmoothKnot> = knots.into_iter().map(|(f, p, s)| knot(f, p, s)).collect();
    column.push(knot(4 + 2 * length, 0.0, 0.0));
    ServoTrack::smooth(rig, meta(), FRAME, Seconds::ZERO, 5 + 2 * length, &[column]).expect("fits")
}

/// The cubic, from its Bezier points, against what the track plays; and each limit found where a smooth
/// track breaks it between knots that themselves keep it.
#[test]
fn smooth_tracks_play_their_cubic_and_are_judged_by_it() {
    let rig = Rig::jaw_only();
    let track = swing(&rig, 200.0, 20, 3.0);
    let played: Vec<f64> = track.servos()[0].pulses().map(Microseconds::value).collect();
    let knots = track.servos()[0].smooth_knots().expect("smooth");
    assert_eq!(played.len(), track.frames());
    for w in knots.windows(2) {
        let length = (w[1].frame - w[0].frame) as f64;
        let (p, q) = (w[0].pulse.value(), w[1].pulse.value());
        let control = [p, p + w[0].slope.value() * length / 3.0, q - w[1].slope.value() * length / 3.0, q];
        for t in w[0].frame..=w[1].frame {
            let u = (t - w[0].frame) as f64 / length;
            let mut points = control;
            for level in (1..4).rev() {
                for i in 0..level {
                    points[i] += u * (points[i + 1] - points[i]);
                }
            }
            assert!((points[0] - played[t]).abs() < 1e-9, "frame {t}");
        }
    }
    assert!(verify(&track, &rig).holds(), "{}", verify(&track, &rig));
    // Knots that each keep every limit, and a curve between them that bends or moves too fast.
    let hasty = verify(&swing(&rig, 300.0, 4, 0.0), &rig);
    assert!(hasty.breaches.iter().any(|b| b.kind == BreachKind::Acceleration), "{hasty}");
    let hastier = verify(&swing(&rig, 400.0, 5, 0.0), &rig);
    assert!(hastier.breaches.iter().any(|b| b.kind == BreachKind::SpeedUp), "{hastier}");
    // A slope at the top carries the curve beyond the travel of its knots.
    let (low, high) = rig.travel(rig.servos()[0].id);
    let most = (rig.servos()[0].pulse(high) - rig.servos()[0].pulse(rig.rest_angles()[0])).value() - 1.0;
    assert!(most > 0.0 && low < high);
    let over = verify(&swing(&rig, most, 40, 12.0), &rig);
    assert!(over.breaches.iter().any(|b| matches!(b.kind, BreachKind::Skin(Dof::JawOpen))), "{over}");
    assert!(verify(&swing(&rig, most, 40, 0.0), &rig).holds());
}

/// The obvious way to find what [`verify`] finds servo by servo: whole columns, plain loops.
fn plainly_found(rig: &Rig, columns: &[Vec<f64>], kind: &BreachKind) -> Vec<String> {
    let step = FRAME.value();
    let mut found = Vec::new();
    for (servo, pulses) in rig.servos().iter().zip(columns) {
        let angle = |f: usize| (pulses[f] - servo.pulse_neutral.value()) / servo.us_per_degree;
        let n = pulses.len();
        let rest = servo.pulse(rig.rest_angles()[servo.id.0]).value();
        let speeds: Vec<f64> = (1..n).map(|f| (angle(f) - angle(f - 1)) / step).collect();
        let padded: Vec<f64> = std::iter::once(0.0).chain(speeds.iter().copied()).chain([0.0]).collect();
        let broken = match kind {
            BreachKind::Travel => {
                pulses.iter().any(|p| *p < servo.pulse_min.value() || *p > servo.pulse_max.value())
            }
            BreachKind::SpeedUp => speeds.iter().any(|v| *v > servo.speed_up.value()),
            BreachKind::SpeedDown => speeds.iter().any(|v| *v < -servo.speed_down.value()),
            BreachKind::Acceleration => {
                padded.windows(2).any(|w| (w[1] - w[0]).abs() / step > servo.acceleration.value())
            }
            BreachKind::StartNotAtRest => pulses[..2].iter().any(|p| (p - rest).abs() > 0.0501),
            BreachKind::EndNotAtRest => pulses[n - 2..].iter().any(|p| (p - rest).abs() > 0.0501),
            _ => false,
        };
        if broken {
            found.push(servo.name.clone());
        }
    }
    found
}

proptest! {
    #[test]
    fn the_judge_agrees_with_plain_loops(
        moves in prop::collection::vec((0usize..16, 0usize..40, 1usize..20, -90.0..90.0f64), 1..5),
    ) {
        let rig = Rig::harbourmaster();
        let mut columns: Vec<Vec<f64>> = rig
            .servos()
            .iter()
            .map(|s| vec![(s.pulse(rig.rest_angles()[s.id.0]).value() * 10.0).round() / 10.0; 40])
            .collect();
        for (servo, from, length, by) in moves {
            for f in from..(from + length).min(40) {
                // Tenths, as a track holds them; ramps of different steepness.
                let ramp = by * ((f - from + 1) as f64 / length as f64);
                columns[servo][f] = ((columns[servo][f] + ramp) * 10.0).round() / 10.0;
            }
        }
        let pulses: Vec<Vec<Microseconds>> =
            columns.iter().map(|c| c.iter().map(|p| Microseconds::new(*p)).collect()).collect();
        let track = ServoTrack::dense(&rig, meta(), FRAME, Seconds::ZERO, &pulses).expect("fits");
        let verdict = verify(&track, &rig);
        for kind in [
            BreachKind::Travel,
            BreachKind::SpeedUp,
            BreachKind::SpeedDown,
            BreachKind::Acceleration,
            BreachKind::StartNotAtRest,
            BreachKind::EndNotAtRest,
        ] {
            let mut named: Vec<String> = Vec::new();
            for servo in rig.servos() {
                if verdict.breaches.iter().any(|b| b.kind == kind && b.servo == servo.name) {
                    named.push(servo.name.clone());
                }
            }
            prop_assert_eq!(named, plainly_found(&rig, &columns, &kind), "{:?}", kind);
        }
    }

    #[test]
    fn json_comes_back_equal(track in any_track()) {
        prop_assert_eq!(ServoTrack::from_json(&track.to_json()).expect("reads"), track);
    }

    #[test]
    fn csv_comes_back_with_the_same_pulses(track in any_track()) {
        let text = track.to_csv();
        prop_assert!(text.ends_with("\r\n"));
        let back = ServoTrack::from_csv(&text).expect("reads");
        prop_assert_eq!((back.frames(), back.frame(), back.start()), (track.frames(), track.frame(), track.start()));
        for (a, b) in back.servos().iter().zip(track.servos()) {
            prop_assert_eq!(&a.name, &b.name);
            prop_assert_eq!(a.pulses().collect::<Vec<_>>(), b.pulses().collect::<Vec<_>>());
        }
        prop_assert_eq!(back.to_csv(), text);
    }

    #[test]
    fn any_text_is_read_or_refused(text in "\\PC{0,200}", cut in 0usize..400, track in any_track()) {
        let _ = ServoTrack::from_json(&text);
        let _ = ServoTrack::from_csv(&text);
        for whole in [track.to_json(), track.to_csv()] {
            let mut end = cut.min(whole.len());
            while !whole.is_char_boundary(end) {
                end -= 1;
            }
            let _ = ServoTrack::from_json(&whole[..end]);
            let _ = ServoTrack::from_csv(&whole[..end]);
        }
    }
}
