//! Lipwright's numbers beside those of general-purpose libraries: `tests/reference/README.md` lists them.

use lipwright_core::audio::{ChannelChoice, Recording, read_wav};
use lipwright_core::features::{Features, analyse};
use lipwright_core::line::Segment;
use lipwright_core::motion::solver::{self, FrameLimits, Problem, Row, Surroundings};
use lipwright_core::motion::{PlanSettings, plan};
use lipwright_core::phonetics::MouthShape;
use lipwright_core::progress::Quiet;
use lipwright_core::rig::{
    Differential, Dof, Drive, Elbows, FiveBar, Mechanism, Preset, PushRod, Rig, ServoId,
};
use lipwright_core::units::{Degrees, Hertz, Microseconds, Seconds};
use lipwright_tests::{human_prompts, python, sample_lines};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// Hands a case to a judge, shows what it measured, and fails where it does.
fn judged(script: &str, case: &Value) {
    let (good, said) = python::run(script, &case.to_string());
    println!("{said}");
    assert!(good, "{script}:\n{said}");
}

fn recording(path: &Path) -> Recording {
    let bytes = std::fs::read(path).expect("a recording");
    read_wav(&bytes, ChannelChoice::Mix).expect("a WAV file")
}

fn features(recording: &Recording) -> Features {
    analyse(recording, &mut Quiet).expect("nobody cancels")
}

/// Random numbers that repeat, 0 to 1 (the multiplier of Knuth's MMIX).
fn noise(state: &mut u64) -> f64 {
    *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    (*state >> 11) as f64 / (1u64 << 53) as f64
}

#[test]
fn spectra_agree_with_scipy() {
    for path in [&human_prompts()[0], &sample_lines()[0]] {
        let recording = recording(path);
        let log_mel: Vec<Vec<f32>> = features(&recording).log_mel().iter().map(|row| row.to_vec()).collect();
        judged("spectra.py", &json!({ "samples": recording.samples(), "log_mel": log_mel }));
    }
}

#[test]
fn the_resampler_agrees_with_scipy() {
    let converted = |samples: &[f32], rate: u32| {
        let rate = Hertz::new(f64::from(rate));
        let recording = Recording::from_interleaved(samples, 1, rate, ChannelChoice::Mix).expect("sound");
        recording.samples().to_vec()
    };
    let conversions = [8_000u32, 22_050, 44_100, 48_000, 96_000].map(|rate| {
        let mut state = u64::from(rate);
        let count = rate as usize;
        let white: Vec<f32> = (0..count).map(|_| (noise(&mut state) - 0.5) as f32).collect();
        let tones = [200.0, 1000.0, 3000.0, 7000.0, 9000.0, 12_000.0, 20_000.0].into_iter();
        let tones = tones.filter(|hz| hz * 2.2 < f64::from(rate)).map(|hz| {
            let wave = |i: usize| (0.5 * (std::f64::consts::TAU * hz * i as f64 / f64::from(rate)).sin()) as f32;
            let sound: Vec<f32> = (0..count).map(wave).collect();
            json!({ "hz": hz, "amplitude": 0.5, "samples_16k": converted(&sound, rate) })
        });
        json!({ "rate": rate, "tones": tones.collect::<Vec<_>>(), "noise_16k": converted(&white, rate), "noise": white })
    });
    judged("resampler.py", &json!({ "conversions": conversions }));
}

/// A vowel by three resonators in cascade (D. Klatt, JASA 67, 1980) on a pulse train.
fn vowel(formants: [f64; 3], f0: f64) -> Vec<f32> {
    const RATE: f64 = 16_000.0;
    let mut sound: Vec<f64> = vec![0.0; 8000];
    let mut next = 0.0;
    while next < 8000.0 {
        sound[next as usize] = 1.0;
        next += RATE / f0;
    }
    // The voice falls by 12 dB an octave and the lips' radiation gains 6.
    let mut last = 0.0;
    for x in &mut sound {
        last = *x + 0.95 * last;
        *x = last;
    }
    for (hz, width) in formants.into_iter().chain([3500.0, 4500.0]).zip([60.0, 90.0, 120.0, 175.0, 250.0]) {
        let c = -(-2.0 * std::f64::consts::PI * width / RATE).exp();
        let b =
            2.0 * (-std::f64::consts::PI * width / RATE).exp() * (std::f64::consts::TAU * hz / RATE).cos();
        let (mut y1, mut y2) = (0.0, 0.0);
        for x in &mut sound {
            let y = (1.0 - b - c) * *x + b * y1 + c * y2;
            (y2, y1) = (y1, y);
            *x = y;
        }
    }
    let peak = sound.iter().fold(0.0f64, |a, x| a.max(x.abs()));
    sound.iter().map(|x| (0.5 * x / peak) as f32).collect()
}

/// G. E. Peterson and H. L. Barney, JASA 24 (1952), Table II, men and women: F1, F2, F3 in hertz of
/// i, ɪ, ɛ, æ, ɑ, ɔ, ʊ, u, ʌ, ɝ; with the table's mean pitch, rounded.
const VOWELS: [([[f64; 3]; 10], f64); 2] = [
    (
        [
            [270.0, 2290.0, 3010.0],
            [390.0, 1990.0, 2550.0],
            [530.0, 1840.0, 2480.0],
            [660.0, 1720.0, 2410.0],
            [730.0, 1090.0, 2440.0],
            [570.0, 840.0, 2410.0],
            [440.0, 1020.0, 2240.0],
            [300.0, 870.0, 2240.0],
            [640.0, 1190.0, 2390.0],
            [490.0, 1350.0, 1690.0],
        ],
        130.0,
    ),
    (
        [
            [310.0, 2790.0, 3310.0],
            [430.0, 2480.0, 3070.0],
            [610.0, 2330.0, 2990.0],
            [860.0, 2050.0, 2850.0],
            [850.0, 1220.0, 2810.0],
            [590.0, 920.0, 2710.0],
            [470.0, 1160.0, 2680.0],
            [370.0, 950.0, 2670.0],
            [760.0, 1400.0, 2780.0],
            [500.0, 1640.0, 1960.0],
        ],
        220.0,
    ),
];

/// J. Hillenbrand, L. A. Getty, M. J. Clark and K. Wheeler, JASA 97 (1995), Table V, men and women: F1, F2,
/// F3 in hertz of i, ɪ, e, ɛ, æ, ɑ, ɔ, o, ʊ, u, ʌ, ɝ. Pitch as above.
const LATER_VOWELS: [([[f64; 3]; 12], f64); 2] = [
    (
        [
            [342.0, 2322.0, 3000.0],
            [427.0, 2034.0, 2684.0],
            [476.0, 2089.0, 2691.0],
            [580.0, 1799.0, 2605.0],
            [588.0, 1952.0, 2601.0],
            [768.0, 1333.0, 2522.0],
            [652.0, 997.0, 2538.0],
            [497.0, 910.0, 2459.0],
            [469.0, 1122.0, 2434.0],
            [378.0, 997.0, 2343.0],
            [623.0, 1200.0, 2550.0],
            [474.0, 1379.0, 1710.0],
        ],
        130.0,
    ),
    (
        [
            [437.0, 2761.0, 3372.0],
            [483.0, 2365.0, 3053.0],
            [536.0, 2530.0, 3047.0],
            [731.0, 2058.0, 2979.0],
            [669.0, 2349.0, 2972.0],
            [936.0, 1551.0, 2815.0],
            [781.0, 1136.0, 2824.0],
            [555.0, 1035.0, 2828.0],
            [519.0, 1225.0, 2827.0],
            [459.0, 1105.0, 2735.0],
            [753.0, 1426.0, 2933.0],
            [523.0, 1588.0, 1929.0],
        ],
        220.0,
    ),
];

/// What the ear hears in a steady vowel between silences: the share of each family of mouth shapes, front
/// (lips spread or half open), low (open), round, rhotic.
fn families(formants: [f64; 3], f0: f64) -> [f64; 4] {
    use lipwright_core::phonetics::Phone;
    use lipwright_core::recognise::{AcousticModel, Recogniser};
    let sound = vowel(formants, f0);
    let samples: Vec<f32> = [vec![0.0; 4000], sound, vec![0.0; 4000]].concat();
    let recording =
        Recording::from_interleaved(&samples, 1, Recording::RATE, ChannelChoice::Mix).expect("sound");
    let posteriors =
        AcousticModel::built_in().posteriors(features(&recording).log_mel(), &mut Quiet).expect("hears");
    let mut share = [0.0; 4];
    // The middle of the vowel: 0.35 to 0.65 s.
    for frame in 35..65 {
        for phone in Phone::ALL {
            let p = f64::from(posteriors.frame(frame)[phone.index()]);
            match phone.shape(true) {
                MouthShape::Spread | MouthShape::HalfOpen => share[0] += p,
                MouthShape::Open => share[1] += p,
                MouthShape::Rounded | MouthShape::Pursed => share[2] += p,
                MouthShape::Rhotic => share[3] += p,
                _ => {}
            }
        }
    }
    share
}

/// Vowels made of published formants alone, steady and buzzing, are far from the speech that the ear was
/// trained on; it must still tell the families of mouth shapes apart for most of them.
#[test]
fn vowels_of_published_formants_look_like_their_family() {
    const FRONT: usize = 0;
    const LOW: usize = 1;
    const ROUND: usize = 2;
    const RHOTIC: usize = 3;
    let early = [FRONT, FRONT, FRONT, FRONT, LOW, ROUND, ROUND, ROUND, LOW, RHOTIC];
    let later = [FRONT, FRONT, FRONT, FRONT, FRONT, LOW, ROUND, ROUND, ROUND, ROUND, LOW, RHOTIC];
    let first = VOWELS.iter().flat_map(|(table, f0)| table.iter().zip(early).map(move |(v, e)| (*v, *f0, e)));
    let then =
        LATER_VOWELS.iter().flat_map(|(table, f0)| table.iter().zip(later).map(move |(v, e)| (*v, *f0, e)));
    let (mut right, mut all) = (0, 0);
    for (formants, f0, expected) in first.chain(then) {
        let share = families(formants, f0);
        let heard = (0..4).max_by(|a, b| share[*a].total_cmp(&share[*b])).expect("four families");
        println!("{formants:?} at {f0} Hz: {expected} heard as {heard}, shares {share:.1?}");
        right += usize::from(heard == expected);
        all += 1;
    }
    println!("{right} of {all} vowels in their family");
    // 34 of 44 when this was written. What is missed: u and ʊ without the lips' slow movement sound
    // rhotic or low to it, and the later table's ɔ is nearly an ɑ, as for many speakers it is.
    assert!(right * 10 >= all * 7, "{right} of {all}");
}

#[test]
fn pitch_and_formants_agree_with_an_independent_analysis() {
    let measured = |samples: &[f32]| {
        let recording =
            Recording::from_interleaved(samples, 1, Recording::RATE, ChannelChoice::Mix).expect("sound");
        let features = features(&recording);
        (features.pitch_hz().to_vec(), features.formants_hz().to_vec())
    };
    let speech = |paths: Vec<PathBuf>| {
        let one = |path: &PathBuf| {
            let samples = recording(path).samples().to_vec();
            let (pitch, formants) = measured(&samples);
            json!({ "samples": samples, "pitch_hz": pitch, "formants_hz": formants })
        };
        paths.iter().map(one).collect::<Vec<_>>()
    };
    let vowels = VOWELS.iter().flat_map(|(table, f0)| {
        table.iter().map(move |formants| {
            let samples = vowel(*formants, *f0);
            let (pitch, found) = measured(&samples);
            json!({
                "samples": samples, "pitch_hz": pitch, "formants_hz": found, "truth_hz": formants, "f0_hz": f0
            })
        })
    });
    let case = json!({
        "human": speech(human_prompts()), "lines": speech(sample_lines()), "vowels": vowels.collect::<Vec<_>>()
    });
    judged("voice.py", &case);
}

/// Chatter, steps and slow curves for one to three servos, some tied by a row in every frame.
fn problem(seed: u64) -> Problem {
    let mut state = seed;
    let mut draw = move || noise(&mut state);
    let (frames, width) = (20 + (draw() * 80.0) as usize, 1 + (draw() * 3.0) as usize);
    let mut wanted = vec![0.0; frames * width];
    for c in 0..width {
        let mut at = 0.0;
        for t in 0..frames {
            if draw() < 0.15 {
                at = 80.0 * (draw() - 0.5);
            }
            wanted[t * width + c] = at;
        }
    }
    let limits: Vec<FrameLimits> = (0..width)
        .map(|_| FrameLimits {
            lower: -20.0 - 20.0 * draw(),
            upper: 15.0 + 20.0 * draw(),
            up: 2.0 + 6.0 * draw(),
            down: 2.0 + 6.0 * draw(),
            acceleration: 0.5 + 3.0 * draw(),
        })
        .collect();
    let ties = width > 1 && draw() < 0.7;
    let rows = (0..if ties { frames } else { 0 }).map(|t| Row {
        terms: vec![(t, 0, 1.0), (t, 1, -0.8)],
        lower: -12.0,
        upper: 10.0,
        price: None,
    });
    Problem {
        frames,
        width,
        weight: (0..frames * width).map(|_| 0.05 + draw()).collect(),
        wanted,
        cross: Vec::new(),
        smooth: (0..width).map(|_| 0.2 * draw()).collect(),
        jerk: vec![0.0; width],
        limits,
        surroundings: vec![Surroundings::resting(0.0); width],
        rows: rows.collect(),
    }
}

#[test]
fn the_planners_solver_agrees_with_osqp() {
    let problems = (1..=40).map(|seed| {
        let p = problem(seed * 7919);
        let solution = solver::solve(&p, &solver::Settings::default()).expect("a sound problem");
        json!({
            "frames": p.frames, "width": p.width, "wanted": p.wanted, "weight": p.weight, "smooth": p.smooth,
            "before": p.surroundings.iter().map(|s| s.before).collect::<Vec<_>>(),
            "after": p.surroundings.iter().map(|s| s.after).collect::<Vec<_>>(),
            "limits": p.limits.iter().map(|l| json!({
                "lower": l.lower, "upper": l.upper, "up": l.up, "down": l.down, "acceleration": l.acceleration
            })).collect::<Vec<_>>(),
            "rows": p.rows.iter().map(|r| json!({ "terms": r.terms, "lower": r.lower, "upper": r.upper }))
                .collect::<Vec<_>>(),
            "angles": solution.angles,
        })
    });
    judged("planner.py", &json!({ "problems": problems.collect::<Vec<_>>() }));
}

/// A pose of a head as the judge gets it: pulses in, face out.
fn pose(rig: &Rig, angles: &[Degrees], planned: bool) -> Value {
    let values = rig.forward(angles);
    let dofs: serde_json::Map<String, Value> =
        rig.dofs().iter().map(|d| (d.dof.name().to_owned(), json!(values[d.dof]))).collect();
    let pulses: Vec<f64> = rig.servos().iter().zip(angles).map(|(s, a)| s.pulse(*a).value()).collect();
    json!({ "pulses": pulses, "dofs": dofs, "planned": planned })
}

/// Three hundred poses of a head at random pulses, those where a linkage does not close left out, and
/// every frame of a planned line.
fn poses(rig: &Rig, seed: u64) -> Value {
    let mut state = seed;
    let mut list = Vec::new();
    while list.len() < 300 {
        let angle = |servo: &lipwright_core::rig::Servo, share: f64| {
            let (low, high) = (servo.pulse_min.value(), servo.pulse_max.value());
            servo.angle(Microseconds::new(low + (high - low) * share))
        };
        let angles: Vec<Degrees> = rig.servos().iter().map(|s| angle(s, noise(&mut state))).collect();
        if rig.check_linkages(&angles).is_empty() {
            list.push(pose(rig, &angles, false));
        } else {
            // Nearer to rest, where linkages do close.
            let rest = rig.rest_angles();
            let near: Vec<Degrees> = rest.iter().zip(&angles).map(|(r, a)| *r + (*a - *r) * 0.2).collect();
            if rig.check_linkages(&near).is_empty() {
                list.push(pose(rig, &near, false));
            }
        }
    }
    let s = Seconds::new;
    let shapes = MouthShape::ALL;
    let segments: Vec<Segment> = (0..shapes.len())
        .map(|i| Segment::new(s(0.2 * i as f64), s(0.2 * (i + 1) as f64), shapes[i]))
        .collect();
    let end = s(0.2 * shapes.len() as f64);
    let plan = plan(&segments, end, rig, &PlanSettings::default(), &mut Quiet).expect("it plans");
    for frame in 0..plan.frames() {
        list.push(pose(rig, &plan.angles_at(plan.start + plan.frame * frame as f64), true));
    }
    json!({ "rig": serde_json::from_str::<Value>(&rig.to_json()).expect("JSON"), "poses": list })
}

/// The jaw on a table of measured points.
fn measured() -> Rig {
    let mut rig: Value = serde_json::from_str(&Rig::jaw_only().to_json()).expect("JSON");
    let points = [(1000.0, -9.5), (1200.0, -6.0), (1500.0, 0.0), (1800.0, 5.5), (2000.0, 8.5)]
        .map(|(pulse_us, value)| json!({ "pulse_us": pulse_us, "value": value }));
    let servo = &mut rig["servos"][0];
    (servo["pulse_min_us"], servo["pulse_max_us"]) = (json!(1000.0), json!(2000.0));
    let drives = rig["mechanisms"][0]["drives"].clone();
    rig["mechanisms"][0] = json!({
        "name": "jaw, measured", "kind": "table", "points": points, "servos": ["jaw"], "drives": drives
    });
    rig["name"] = json!("Measured jaw");
    Rig::from_json(&rig.to_string()).expect("a jaw that opens")
}

/// One linkage of random sizes at random angles; none where it does not close.
fn linkage(state: &mut u64) -> Option<Value> {
    let mut draw = |low: f64, high: f64| low + (high - low) * noise(state);
    let drive = |dof| Drive { dof, gain: 1.0, at_neutral: 0.0, skin: None };
    let kind = draw(0.0, 2.2);
    if kind > 2.0 {
        let linkage = Differential { common: draw(-0.5, 0.5), difference: draw(-0.5, 0.5) };
        let (drives, servos) = ([drive(Dof::CornerLeftX), drive(Dof::CornerLeftY)], [ServoId(0), ServoId(1)]);
        let mechanism = Mechanism::Differential { name: String::new(), servos, drives, linkage };
        let theta = [draw(-60.0, 60.0), draw(-60.0, 60.0)];
        let values: Vec<f64> = mechanism.forward(&theta).iter().map(|v| v.1).collect();
        return Some(json!({
            "kind": "differential", "common_per_degree": linkage.common,
            "difference_per_degree": linkage.difference, "servos": ["a", "b"],
            "points": [{ "angles": theta, "values": values }]
        }));
    }
    if kind < 1.0 {
        let (r, e) = (draw(5.0, 25.0), draw(-12.0, 12.0));
        let linkage = PushRod {
            horn_radius: r,
            rod_length: r + e.abs() + draw(2.0, 60.0),
            offset: e,
            neutral_horn: draw(-180.0, 180.0),
            lever: draw(0.2, 2.0),
        };
        let drives = vec![drive(Dof::JawOpen)];
        let mechanism = Mechanism::PushRod { name: String::new(), servo: ServoId(0), drives, linkage };
        let points: Vec<Value> = (0..8)
            .map(|_| [draw(-60.0, 60.0)])
            .filter(|theta| mechanism.check(theta).is_ok())
            .map(|theta| json!({ "angles": theta, "values": [mechanism.forward(&theta)[0].1] }))
            .collect();
        return Some(json!({
            "kind": "push-rod", "horn_radius_mm": linkage.horn_radius, "rod_length_mm": linkage.rod_length,
            "offset_mm": e, "neutral_horn_deg": linkage.neutral_horn, "lever_ratio": linkage.lever,
            "points": points
        }));
    }
    let (base, a, b) = (draw(10.0, 45.0), draw(10.0, 30.0), draw(20.0, 60.0));
    let (rest, rotation) = ([draw(-20.0, 60.0), draw(10.0, 70.0)], draw(-90.0, 90.0));
    let elbows = Elbows::ALL[(draw(0.0, 4.0) as usize).min(3)];
    let linkage = FiveBar::new(base, a, b, elbows, rest, rotation).ok()?;
    let drives = [drive(Dof::CornerLeftX), drive(Dof::CornerLeftY)];
    let servos = [ServoId(0), ServoId(1)];
    let mechanism = Mechanism::FiveBar { name: String::new(), servos, drives, linkage };
    let points: Vec<Value> = (0..12)
        .map(|_| [draw(-40.0, 40.0), draw(-40.0, 40.0)])
        .filter(|theta| mechanism.check(theta).is_ok())
        .map(|theta| {
            let values: Vec<f64> = mechanism.forward(&theta).iter().map(|v| v.1).collect();
            json!({ "angles": theta, "values": values })
        })
        .collect();
    Some(json!({
        "kind": "five-bar", "base_mm": base, "proximal_mm": a, "distal_mm": b, "rest_x_mm": rest[0],
        "rest_y_mm": rest[1], "rotation_deg": rotation, "elbows": elbows, "points": points
    }))
}

#[test]
fn kinematics_agree_with_the_textbook() {
    let mut state = 20_261_125;
    let linkages: Vec<Value> = (0..600).filter_map(|_| linkage(&mut state)).collect();
    let heads = Preset::ALL.map(Preset::rig).into_iter().chain([measured()]);
    let rigs: Vec<Value> = heads.enumerate().map(|(i, rig)| poses(&rig, 77 + i as u64)).collect();
    judged("kinematics.py", &json!({ "rigs": rigs, "linkages": linkages }));
}

/// T. Flash and N. Hogan, J. Neurosci. 5 (1985): the smoothest reach from rest to rest,
/// x(s) = 10 s³ − 15 s⁴ + 6 s⁵, has its peak speed 1.875 D/T and peak acceleration 5.7735 D/T². No servo
/// that holds a speed V and an acceleration A makes a move sooner than the trapezoid or triangle of
/// speed does (standard result of motion control), and the planner, asked for a jump, must come close.
#[test]
fn a_jump_takes_the_shortest_time_that_the_servo_allows() {
    const FRAME: f64 = 0.02;
    for (distance, speed, acceleration) in
        [(60.0, 500.0, 5000.0), (40.0, 500.0, 5000.0), (10.0, 500.0, 5000.0), (60.0, 300.0, 6000.0)]
    {
        let shortest = if distance <= speed * speed / acceleration {
            2.0 * f64::sqrt(distance / acceleration)
        } else {
            distance / speed + speed / acceleration
        };
        let smoothest = f64::max(1.875 * distance / speed, f64::sqrt(5.773_502_7 * distance / acceleration));
        assert!(shortest < smoothest, "the smoothest move is never the fastest");
        let frames = 60;
        let mut wanted = vec![0.0; frames];
        wanted[30..].fill(distance);
        let per_frame = FrameLimits {
            lower: 0.0,
            upper: distance,
            up: speed * FRAME,
            down: speed * FRAME,
            acceleration: acceleration * FRAME * FRAME,
        };
        let problem = Problem {
            frames,
            width: 1,
            weight: vec![1.0; frames],
            wanted,
            cross: Vec::new(),
            smooth: vec![0.0],
            jerk: vec![0.0],
            limits: vec![per_frame],
            surroundings: vec![Surroundings { before: [0.0; 2], after: [distance; 2] }],
            rows: Vec::new(),
        };
        let solution = solver::solve(&problem, &solver::Settings::default()).expect("a sound problem");
        let left = solution.angles.iter().rposition(|a| *a < 1e-3 * distance).expect("it starts there");
        let there = solution.angles.iter().position(|a| *a > (1.0 - 1e-3) * distance).expect("it gets there");
        let took = (there - left) as f64 * FRAME;
        // Frames round a move by one at most: speed changes at frames only.
        assert!(
            took >= shortest - FRAME - 1e-9,
            "{distance} deg in {took:.3} s; a servo needs {shortest:.3}"
        );
        assert!(
            took <= shortest + 2.0 * FRAME,
            "{distance} deg in {took:.3} s where {shortest:.3} is enough"
        );
    }
}
