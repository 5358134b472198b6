//! Generated sketches: they compile, and in simulation they play what was planned, pulse by pulse.
//!
//! simavr stands for the ATmega2560; the PWM driver is a register model of its data sheet in
//! `tests/controller/simulate.c`. Times and widths below are in the board's own clock unless said.

use lipwright_core::export::packed::{self, Packed};
use lipwright_core::export::sketch::{FLASH_BYTES, Outputs, RAM_BYTES, Sketch, SketchSettings, sketches};
use lipwright_core::export::{ServoTrack, TrackMeta};
use lipwright_core::line::Segment;
use lipwright_core::motion::{PlanSettings, plan};
use lipwright_core::phonetics::MouthShape;
use lipwright_core::progress::Quiet;
use lipwright_core::rig::{Preset, Rig};
use lipwright_core::units::{Microseconds, Seconds};
use lipwright_tests::controller::{Built, Event, Run, address, build, quiet_inputs, servo_pin, simulate};
use lipwright_tests::workspace;
use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;

const FRAME: f64 = 0.02;
/// A timer tick, µs.
const TICK: f64 = 0.5;
const TOLERANCE: Microseconds = Microseconds::new(4.0);

/// A line of about so many seconds: shapes at a speaker's pace in an order nobody would say.
fn babble(rig: &Rig, name: &str, seconds: f64) -> ServoTrack {
    let mut state = 9u64;
    let mut draw = |n: u64| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % n
    };
    let mut segments = vec![Segment::new(Seconds::ZERO, Seconds::new(0.2), MouthShape::Rest)];
    let mut end = 0.2;
    while end < seconds {
        let shape = MouthShape::ALL[draw(MouthShape::ALL.len() as u64) as usize];
        let length = if draw(10) == 0 { 0.4 } else { 0.06 + 0.01 * draw(10) as f64 };
        segments.push(Segment::new(Seconds::new(end), Seconds::new(end + length), shape));
        end += length;
    }
    segments.push(Segment::new(Seconds::new(end), Seconds::new(end + 0.3), MouthShape::Rest));
    let plan =
        plan(&segments, Seconds::new(end + 0.3), rig, &PlanSettings::default(), &mut Quiet).expect("plans");
    ServoTrack::from_plan(&plan, rig, TrackMeta { line: name.into(), ..TrackMeta::default() }).expect("fits")
}

fn made(rig: &Rig, lines: &[ServoTrack], settings: &SketchSettings) -> Vec<Sketch> {
    sketches(lines, rig, settings).unwrap_or_else(|e| panic!("{e}"))
}

/// When the approach of a head with so many servos is over, with something to spare.
fn ready(servos: usize) -> f64 {
    1.4 + 0.2 * servos as f64
}

/// Pulls the trigger of a board for a moment.
fn trigger(script: &mut String, board: usize, at: f64) {
    let _ = writeln!(script, "{at} {board} pin E4 0\n{} {board} pin E4 1", at + 0.2);
}

/// Widths of one servo from the first pulse that belongs to frame 1 of a line triggered at `at`: frame
/// 0 is over when the first period after the trigger begins.
fn played(run: &Run, board: usize, channel: u8, at: f64, frames: usize) -> Vec<(f64, f64)> {
    let pulses = run.pulses(board, &servo_pin(channel));
    // The period that is laid out when the trigger comes still goes out.
    let first = pulses.iter().position(|p| p.0 > at).expect("pulses after the trigger") + 1;
    pulses[first..].iter().copied().take(frames - 1).collect()
}

struct Fixture {
    rig: Rig,
    track: ServoTrack,
    packed: Packed,
    sketches: Vec<Sketch>,
    built: Vec<Built>,
    _folder: tempfile::TempDir,
}

fn fixture(rig: Rig, seconds: f64, settings: &SketchSettings) -> Fixture {
    let track = babble(&rig, "babble", seconds);
    let packed = packed::pack(&track, &rig, TOLERANCE).expect("packs");
    let other = babble(&rig, "other", 1.0);
    let sketches = made(&rig, &[track.clone(), other], settings);
    let folder = tempfile::tempdir().expect("a folder");
    let built = sketches.iter().map(|s| build(s, folder.path())).collect();
    Fixture { rig, track, packed, sketches, built, _folder: folder }
}

#[test]
fn sketches_compile_for_every_preset_and_take_what_was_said() {
    let folder = tempfile::tempdir().expect("a folder");
    for preset in Preset::ALL {
        let rig = preset.rig();
        let lines = [babble(&rig, "first \"line\" ??/", 4.0), babble(&rig, "second", 2.0)];
        for outputs in [Outputs::Pins, Outputs::Driver] {
            let settings = SketchSettings {
                outputs,
                name: format!("{}-{outputs:?}", preset.name()),
                ..Default::default()
            };
            let sketch = &made(&rig, &lines, &settings)[0];
            let built = build(sketch, folder.path());
            let size = sketch.size;
            println!(
                "{} {outputs:?}: flash {} (said {}), RAM {} (said {}), lines {}",
                preset.name(),
                built.flash,
                size.flash,
                built.ram,
                size.ram,
                size.tracks
            );
            // What is said at export is never too little, and not more than a tenth too much.
            assert!(built.flash <= size.flash && 1.1 * built.flash as f64 > size.flash as f64, "flash");
            assert!(built.ram <= size.ram && 1.1 * built.ram as f64 > size.ram as f64, "RAM");
            assert!(size.flash <= FLASH_BYTES && size.ram <= RAM_BYTES);
        }
    }
}

#[test]
fn every_pulse_is_the_planned_one() {
    let f = fixture(Rig::harbourmaster(), 8.0, &SketchSettings::default());
    let at = ready(16);
    let mut script = quiet_inputs(0);
    script.insert_str(0, "0 0 watch B4\n");
    trigger(&mut script, 0, at);
    let frames = f.track.frames();
    let length = frames as f64 * FRAME;
    let _ = writeln!(script, "{} 0 say status", at + length + 0.5);
    let run = simulate(at + length + 1.0, &script, &[(&f.built[0].elf, 0.0)]);
    let (mut from_packed, mut from_plan, mut apart): (f64, f64, f64) = (0.0, 0.0, 0.0);
    for (i, servo) in f.rig.servos().iter().enumerate() {
        let widths = played(&run, 0, servo.channel, at, frames);
        assert_eq!(widths.len(), frames - 1, "{}", servo.name);
        let packed: Vec<f64> = f.packed.played.servos()[i].pulses().map(|p| p.value()).collect();
        let planned: Vec<f64> = f.track.servos()[i].pulses().map(|p| p.value()).collect();
        for (k, (rise, width)) in widths.iter().enumerate() {
            let tick = (packed[k + 1] / TICK).round() * TICK;
            from_packed = from_packed.max((width - tick).abs());
            from_plan = from_plan.max((width - planned[k + 1]).abs());
            if k > 0 {
                apart = apart.max((rise - widths[k - 1].0 - FRAME).abs());
            }
        }
        // Movement begins within a frame of when the track says, counted from the trigger.
        let moved = |w: &[f64]| w.windows(2).position(|p| (p[1] - p[0]).abs() > 1.5).map(|k| k + 1);
        let seen: Vec<f64> = widths.iter().map(|w| w.1).collect();
        if let (Some(first), Some(k)) = (moved(&packed), moved(&seen)) {
            let late = widths[k].0 - at - first as f64 * FRAME;
            assert!((-0.002..=FRAME + 0.005).contains(&late), "{}: {late}", servo.name);
        }
    }
    println!(
        "widths within {from_packed:.3} us of the packed track in ticks, {from_plan:.3} us of the plan; periods within {:.0} us",
        apart * 1e6
    );
    assert!(from_packed <= TICK + 1e-6 && from_plan <= TOLERANCE.value() + TICK + 1e-6);
    // Places within a period are chosen anew each time, between 0.2 and 4 ms after its beginning.
    assert!(apart < 0.004);
    assert!(run.said(0).contains("late edges: 0"), "{}", run.said(0));
    // The audio player is started when the recording's time 0 comes, within a frame.
    let audio = run.edges(0, "B4").iter().find(|e| e.1).expect("the audio output switched on").0;
    let late = audio - at + f.track.start().value();
    println!(
        "first sound due {:.0} ms after the trigger, {:.1} ms late",
        -1e3 * f.track.start().value(),
        1e3 * late
    );
    assert!((-0.002..=FRAME + 0.005).contains(&late));
}

#[test]
fn audio_that_needs_long_to_start_is_started_first() {
    let settings = SketchSettings { audio_lead: Seconds::new(0.9), ..Default::default() };
    let f = fixture(Rig::jaw_only(), 2.0, &settings);
    let at = ready(1);
    let mut script = format!("0 0 watch B4\n{}", quiet_inputs(0));
    trigger(&mut script, 0, at);
    let run = simulate(at + 4.0, &script, &[(&f.built[0].elf, 0.0)]);
    let audio = run.edges(0, "B4").iter().find(|e| e.1).expect("audio starts").0;
    assert!(audio - at < 2.0 * FRAME, "at once: {}", audio - at);
    let pulses = run.pulses(0, "A0");
    let rest = pulses.last().expect("pulses").1;
    let moved = pulses.iter().find(|p| p.0 > at && (p.1 - rest).abs() > 1.5).expect("moves").0;
    let packed: Vec<f64> = f.packed.played.servos()[0].pulses().map(|p| p.value()).collect();
    let first = packed.iter().position(|p| (p - packed[0]).abs() > 1.5).expect("moves") as f64;
    // Seen from the sound (0.9 s after the start signal), the movement is where the track has it.
    let off = (moved - audio - 0.9) - (f.track.start().value() + first * FRAME);
    assert!(off.abs() < FRAME + 0.005, "{off}");
}

#[test]
fn ten_minutes_do_not_drift() {
    let f = fixture(Rig::jaw_only(), 600.0, &SketchSettings::default());
    let at = ready(1);
    let mut script = quiet_inputs(0);
    trigger(&mut script, 0, at);
    let frames = f.track.frames();
    let length = frames as f64 * FRAME;
    let begun = std::time::Instant::now();
    let run = simulate(at + length + 0.5, &script, &[(&f.built[0].elf, 0.0)]);
    println!(
        "{length:.0} s simulated in {:.0} s; {} bytes, {:.1} bytes a second",
        begun.elapsed().as_secs_f64(),
        f.packed.boards[0].bytes.len(),
        f.packed.boards[0].bytes.len() as f64 / length
    );
    assert!(length > 600.0);
    let widths = played(&run, 0, 0, at, frames);
    assert_eq!(widths.len(), frames - 1);
    let packed: Vec<f64> = f.packed.played.servos()[0].pulses().map(|p| p.value()).collect();
    for (k, (rise, width)) in widths.iter().enumerate() {
        assert!((width - packed[k + 1]).abs() <= 1.5 * TICK, "frame {}: {width}", k + 1);
        let drift = rise - widths[0].0 - k as f64 * FRAME;
        assert!(drift.abs() < 0.0001, "frame {}: {drift} s", k + 1);
    }
}

#[test]
fn the_stop_input_brakes_holds_and_lets_go_slowly() {
    let f = fixture(Rig::harbourmaster(), 8.0, &SketchSettings::default());
    let at = ready(16);
    let mut script = format!("0 0 watch B4\n{}", quiet_inputs(0));
    trigger(&mut script, 0, at);
    let stop = at + 3.013;
    // The contact opens, closes again four seconds later; a trigger in between is not heard.
    let _ = writeln!(script, "{stop} 0 pin E5 1");
    trigger(&mut script, 0, stop + 1.0);
    let _ = writeln!(script, "{} 0 pin E5 0", stop + 4.0);
    let run = simulate(stop + 12.0, &script, &[(&f.built[0].elf, 0.0)]);
    let (mut any_moved, mut any_away) = (false, false);
    for (i, servo) in f.rig.servos().iter().enumerate() {
        let pulses = run.pulses(0, &servo_pin(servo.channel));
        let rest = servo.pulse(f.rig.rest_angles()[i]).value();
        let scale = servo.us_per_degree.abs() * FRAME;
        let (fastest, bend) = (servo.speed_up.value() * scale, servo.acceleration.value() * scale * FRAME);
        let after: Vec<f64> = pulses.iter().filter(|p| p.0 > stop - 0.1).map(|p| p.1).collect();
        for w in after.windows(3) {
            let change = (w[2] - 2.0 * w[1] + w[0]).abs();
            assert!(change <= bend + 4.0 * TICK, "{}: braked by {change} us, limit {bend}", servo.name);
        }
        // At full speed a servo needs speed / acceleration to stand still, and the stop is seen in one frame.
        let still = stop + FRAME * (fastest / bend).ceil() + 3.0 * FRAME;
        let held: Vec<f64> = pulses.iter().filter(|p| p.0 > still && p.0 < stop + 4.0).map(|p| p.1).collect();
        assert!(held.len() > 100);
        assert!(held.iter().all(|w| (w - held[0]).abs() <= 2.0 * TICK), "{} holds", servo.name);
        any_away |= (held[0] - rest).abs() > 10.0;
        let back: Vec<f64> = pulses.iter().filter(|p| p.0 > stop + 4.0).map(|p| p.1).collect();
        for w in back.windows(2) {
            assert!((w[1] - w[0]).abs() <= 0.1 * fastest + 2.0 * TICK, "{} returns slowly", servo.name);
        }
        any_moved |= back.windows(2).any(|w| (w[1] - w[0]).abs() > TICK);
        let last = *back.last().expect("pulses go on");
        // Brows and neck may already idle again.
        assert!((last - rest).abs() <= 15.0 + TICK, "{} is at rest: {last} against {rest}", servo.name);
    }
    assert!(any_away && any_moved, "the stop came while something was away from rest");
}

#[test]
fn a_program_that_hangs_is_reset_and_goes_on_from_where_it_was() {
    let f = fixture(Preset::JawAndLips.rig(), 6.0, &SketchSettings::default());
    let at = ready(3);
    let hang = at + 3.0;
    let stuck = address(&f.built[0].elf, "__stop_program");
    let mut script = quiet_inputs(0);
    trigger(&mut script, 0, at);
    let _ = writeln!(script, "{hang} 0 pc {stuck:x}");
    let mut inputs_again = String::new();
    // The reset lets go of all pins; the world outside holds them as before.
    for k in 0..20 {
        let t = hang + 0.2 + 0.02 * f64::from(k);
        let _ = writeln!(inputs_again, "{t} 0 pin E5 0\n{t} 0 pin E4 1\n{t} 0 pin G5 1");
    }
    script.push_str(&inputs_again);
    let _ = writeln!(script, "{} 0 say status", hang + 4.0);
    let run = simulate(hang + 5.0, &script, &[(&f.built[0].elf, 0.0)]);
    let said = run.said(0);
    assert!(said.contains("reset cause: 8"), "the watchdog's flag: {said}");
    assert!(said.contains("state: waiting"), "{said}");
    let mut away = false;
    for (i, servo) in f.rig.servos().iter().enumerate() {
        let pulses = run.pulses(0, &servo_pin(servo.channel));
        let before = pulses.iter().rev().find(|p| p.0 < hang).expect("pulses before").1;
        let gap = pulses.windows(2).map(|w| (w[1].0 - w[0].0, w[1].0)).filter(|g| g.1 > hang);
        let (gap, resumed) = gap.fold((0.0, 0.0), |a, b| if b.0 > a.0 { b } else { a });
        assert!(resumed - hang < 0.6, "{}: pulses are back after {} s", servo.name, resumed - hang);
        assert!(gap < 0.4, "{gap}");
        let after: Vec<f64> = pulses.iter().filter(|p| p.0 >= resumed).map(|p| p.1).collect();
        // One frame of the line may have been worked out but not kept: no more than a frame's speed.
        let slow = 0.1 * servo.speed_up.value() * servo.us_per_degree.abs() * FRAME;
        let frame = servo.speed_up.value() * servo.us_per_degree.abs() * FRAME;
        assert!((after[0] - before).abs() <= frame + TICK, "{} jumps: {before} to {}", servo.name, after[0]);
        assert!(after.windows(2).all(|w| (w[1] - w[0]).abs() <= slow + 2.0 * TICK), "{}", servo.name);
        let rest = servo.pulse(f.rig.rest_angles()[i]).value();
        away |= (before - rest).abs() > 10.0;
        assert!((after.last().expect("pulses") - rest).abs() <= TICK);
    }
    assert!(away, "it hung while something was away from rest");
}

#[test]
fn a_damaged_line_is_refused_and_the_head_stays_at_rest() {
    let settings = SketchSettings { idle: false, ..Default::default() };
    let f = fixture(Rig::harbourmaster(), 3.0, &settings);
    let part = address(&f.built[0].elf, "PART_0");
    let at = ready(16);
    for byte in [0, 30, 100] {
        let mut script = format!("0 0 watch B7\n0 0 xor {:x} 4\n{}", part + byte, quiet_inputs(0));
        trigger(&mut script, 0, at);
        let _ = writeln!(script, "{} 0 say list\n{} 0 say play 0", at + 0.5, at + 0.7);
        let _ = writeln!(script, "{} 0 say play 1", at + 4.0);
        let run = simulate(at + 6.0, &script, &[(&f.built[0].elf, 0.0)]);
        let said = run.said(0);
        assert!(said.contains("0 babble") && said.contains("BAD") && said.contains("cannot play"), "{said}");
        assert!(said.trim_end().ends_with("playing"), "the other line is sound: {said}");
        for (i, servo) in f.rig.servos().iter().enumerate() {
            let rest = servo.pulse(f.rig.rest_angles()[i]).value();
            let pulses = run.pulses(0, &servo_pin(servo.channel));
            let meanwhile = pulses.iter().filter(|p| p.0 > at && p.0 < at + 4.0);
            assert!(meanwhile.clone().count() > 150);
            assert!(meanwhile.clone().all(|p| (p.1 - rest).abs() <= TICK + 0.26), "{} at rest", servo.name);
        }
        // Two flashes of 200 ms, 400 ms apart, then a pause.
        let flashes: Vec<f64> = run.edges(0, "B7").iter().filter(|e| e.1 && e.0 > 0.5).map(|e| e.0).collect();
        let gaps: Vec<f64> = flashes.windows(2).map(|w| w[1] - w[0]).collect();
        assert!(
            gaps.len() > 4 && gaps.iter().all(|g| (g - 0.4).abs() < 0.03 || (g - 1.6).abs() < 0.03),
            "{gaps:?}"
        );
        assert!(gaps.windows(2).all(|g| (g[0] < 1.0) != (g[1] < 1.0)), "two flashes a time: {gaps:?}");
    }
}

/// NXP PCA9685 data sheet, Rev. 4: PRE_SCALE = round(25 MHz / (4096 · 50 Hz)) − 1 = 121, written while
/// asleep; a step is 122 / 25 MHz = 4.88 µs.
#[test]
fn the_pwm_driver_is_told_the_planned_pulses() {
    let settings = SketchSettings { outputs: Outputs::Driver, ..Default::default() };
    let f = fixture(Rig::harbourmaster(), 4.0, &settings);
    let at = ready(16);
    let mut script = format!("0 0 driver 40\n{}", quiet_inputs(0));
    trigger(&mut script, 0, at);
    let length = f.track.frames() as f64 * FRAME;
    let _ = writeln!(script, "{} 0 say status", at + length + 0.3);
    let run = simulate(at + length + 0.6, &script, &[(&f.built[0].elf, 0.0)]);
    assert!(run.said(0).contains("driver errors: 0"), "{}", run.said(0));
    let registers: Vec<(u8, u8)> = run
        .events
        .iter()
        .filter_map(|e| match e {
            Event::Register { register, value, .. } => Some((*register, *value)),
            _ => None,
        })
        .collect();
    assert!(registers.contains(&(0xFE, 121)), "{registers:?}");
    let awake = registers.iter().rev().find(|r| r.0 == 0).expect("MODE1 is written").1;
    assert!(awake & 0x10 == 0 && awake & 0x20 != 0, "awake, with auto-increment: {awake:#x}");
    let step = 122.0 / 25.0;
    let mut worst: f64 = 0.0;
    for (i, servo) in f.rig.servos().iter().enumerate() {
        let packed: Vec<f64> = f.packed.played.servos()[i].pulses().map(|p| p.value()).collect();
        // The driver keeps a width until it is told another: what holds at the end of every period.
        let told: Vec<(f64, f64)> = run
            .events
            .iter()
            .filter_map(|e| match e {
                Event::Channel { channel, at, on, off, .. } if *channel == usize::from(servo.channel) => {
                    Some((*at, f64::from((off & 4095).wrapping_sub(*on) & 4095) * step))
                }
                _ => None,
            })
            .collect();
        let start = told.iter().map(|t| t.0).find(|t| *t > at);
        let Some(_) = start else { continue };
        // Find the beginning of the line among possible periods: all channels share it.
        let fits = (0..30).map(|k| at + 0.001 * f64::from(k)).map(|from| {
            let error = |f: usize| {
                let when = from + (f as f64) * FRAME;
                let width = told.iter().rev().find(|t| t.0 <= when).map_or(packed[0], |t| t.1);
                (width - packed[f]).abs()
            };
            (1..packed.len()).map(error).fold(0.0, f64::max)
        });
        worst = worst.max(fits.fold(f64::INFINITY, f64::min));
    }
    println!("driver told within {worst:.2} us of the packed track; a step is {step:.2} us");
    assert!(worst <= 0.5 * step + TICK);
}

fn two_boards() -> Rig {
    let mut d = Preset::JawAndLips.describe();
    for (i, servo) in d.servos.iter_mut().enumerate().skip(2) {
        (servo.controller, servo.channel) = ("lip".into(), i as u64 - 2);
    }
    Rig::new(d).expect("valid")
}

/// Two boards on one trigger line and one synchronising line, clocks off by so many millionths, for so
/// many seconds: how far their frames come apart at most, in seconds of the world.
fn apart(f: &Fixture, a: f64, b: f64) -> f64 {
    let frames = f.track.frames();
    let seconds = frames as f64 * FRAME;
    let at = ready(2);
    let mut script = String::from("0 0 wire D2 1 D2\n");
    script.push_str(&quiet_inputs(0));
    script.push_str(&quiet_inputs(1));
    let _ = writeln!(script, "{at} 0 pin E4 0\n{at} 1 pin E4 0");
    let run = simulate(at + seconds + 0.3, &script, &[(&f.built[0].elf, a), (&f.built[1].elf, b)]);
    let world = |board: usize, ppm: f64| -> Vec<(f64, f64)> {
        run.pulses(board, "A0").into_iter().map(|(t, w)| (t / (1.0 + 1e-6 * ppm), w)).collect()
    };
    let (lead, follow) = (world(0, a), world(1, b));
    // The pulse that belongs to frame 1: found where the widths agree for five seconds.
    let first = |pulses: &[(f64, f64)], servo: usize| {
        let packed: Vec<f64> = f.packed.played.servos()[servo].pulses().map(|p| p.value()).collect();
        let start = pulses.iter().position(|p| p.0 > at).expect("pulses");
        let agrees = |offset: &usize| {
            (1..250).all(|k| (pulses[start + offset + k - 1].1 - packed[k]).abs() < 3.0 * TICK)
        };
        start + (0..4).find(agrees).unwrap_or_else(|| panic!("servo {servo} plays its track"))
    };
    let (la, fb) = (first(&lead, 0), first(&follow, 2));
    let compared = (lead.len() - la).min(follow.len() - fb).min(frames - 1);
    assert!(compared as f64 * FRAME > 0.98 * seconds - 1.0, "{compared} frames of {frames}");
    let worst = (0..compared).map(|k| (lead[la + k].0 - follow[fb + k].0).abs()).fold(0.0, f64::max);
    println!("{a:+} and {b:+} millionths: frames at most {:.2} ms apart over {seconds:.0} s", 1e3 * worst);
    worst
}

/// Crystals keep to 0.01 % (common practice).
#[test]
fn two_boards_keep_step_for_ten_minutes() {
    let f = fixture(two_boards(), 600.0, &SketchSettings::default());
    assert_eq!(f.sketches.len(), 2);
    assert!(apart(&f, -100.0, 100.0) < 0.005);
}

/// Ceramic resonators keep to 0.5 % (common practice).
#[test]
fn two_boards_with_poor_clocks_keep_step_too() {
    let f = fixture(two_boards(), 40.0, &SketchSettings::default());
    assert!(apart(&f, 5000.0, -5000.0) < 0.005);
    assert!(apart(&f, -5000.0, 5000.0) < 0.005);
}

/// The controller's reader, compiled for this computer, against the one in Rust.
#[test]
fn both_readers_of_packed_tracks_agree() {
    let folder = tempfile::tempdir().expect("a folder");
    for preset in Preset::ALL {
        let rig = preset.rig();
        let track = babble(&rig, "x", 12.0);
        let sketch = &made(&rig, std::slice::from_ref(&track), &SketchSettings::default())[0];
        let place = folder.path().join(&sketch.folder).join(preset.name());
        std::fs::create_dir_all(&place).expect("a folder");
        for file in &sketch.files {
            std::fs::write(place.join(&file.name), &file.text).expect("written");
        }
        let program = place.join("read");
        let output = Command::new("g++")
            .args(["-std=c++11", "-O2", "-Wall", "-Wextra", "-Werror", "-fsanitize=undefined,address", "-I"])
            .arg(&place)
            .arg(place.join("player.cpp"))
            .arg(workspace().join("tests/controller/read.cpp"))
            .arg("-o")
            .arg(&program)
            .output()
            .expect("g++ runs");
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        let bytes = packed::pack(&track, &rig, TOLERANCE).expect("packs").boards[0].bytes.clone();
        assert_eq!(read_by(&program, &place, &bytes), Some(packed::read(&bytes).expect("reads").pulses));
        for bit in (0..8 * bytes.len()).step_by(97) {
            let mut spoiled = bytes.clone();
            spoiled[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(read_by(&program, &place, &spoiled), None, "bit {bit}");
        }
    }
}

/// Pulses by channel and frame, or nothing where the program refuses the track.
fn read_by(program: &Path, place: &Path, bytes: &[u8]) -> Option<Vec<Vec<u16>>> {
    let file = place.join("track.lwp");
    std::fs::write(&file, bytes).expect("written");
    let output = Command::new(program).arg(&file).output().expect("runs");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(!said.contains("runtime error") && !said.contains("Sanitizer"), "{said}");
    if !output.status.success() {
        return None;
    }
    let text = String::from_utf8(output.stdout).expect("text");
    let rows: Vec<Vec<u16>> =
        text.lines().map(|l| l.split(',').map(|n| n.parse().expect("a number")).collect()).collect();
    Some((0..rows[0].len()).map(|c| rows.iter().map(|r| r[c]).collect()).collect())
}
