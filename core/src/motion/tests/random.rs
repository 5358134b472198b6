//! Random heads and random lines: no limit is ever broken.

use super::*;
use crate::rig::RigDescription;

/// Deterministic numbers.
struct Dice(u64);

impl Dice {
    fn between(&mut self, a: f64, b: f64) -> f64 {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        a + (b - a) * (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }
    fn below(&mut self, n: usize) -> usize {
        (self.between(0.0, n as f64) as usize).min(n - 1)
    }
    fn chance(&mut self, p: f64) -> bool {
        self.between(0.0, 1.0) < p
    }
    /// Spread evenly over orders of magnitude.
    fn scale(&mut self, a: f64, b: f64) -> f64 {
        self.between(a.ln(), b.ln()).exp()
    }
}

/// A preset with other servos, skin and supply: sluggish, nervous, reversed, hardly able to move.
fn head(dice: &mut Dice) -> RigDescription {
    let preset = Preset::ALL[if dice.chance(0.25) { 2 } else { dice.below(Preset::ALL.len()) }];
    let mut d = preset.describe();
    let (slow, limp) = (dice.scale(0.3, 8.0), dice.scale(0.05, 2.0));
    for servo in &mut d.servos {
        servo.speed_s_per_60deg *= slow * dice.scale(0.7, 1.4);
        servo.acceleration_deg_per_s2 *= limp * dice.scale(0.7, 1.4);
        servo.load_derating_up = dice.between(0.3, 1.0);
        servo.load_derating_down = dice.between(0.3, 1.0);
        if dice.chance(0.3) {
            // The same travel in other pulses.
            let k = dice.between(0.6, 1.0);
            servo.us_per_degree *= k;
        }
    }
    for dof in &mut d.dofs {
        if dice.chance(0.3) {
            let keep = dice.between(0.02, 1.0);
            dof.skin_min = dof.rest + keep * (dof.skin_min - dof.rest);
            dof.skin_max = dof.rest + keep * (dof.skin_max - dof.rest);
        }
    }
    if dice.chance(0.3) {
        d.supply.budget_a *= dice.between(0.25, 1.0);
    }
    d
}

/// Chatter, single frames, long shapes, pauses, exaggeration.
fn script(dice: &mut Dice) -> (Vec<Segment>, Seconds) {
    let longest = [0.03, 0.1, 0.5][dice.below(3)];
    let count = dice.below(14);
    let mut line = vec![];
    let mut t = dice.between(0.0, 0.2);
    for _ in 0..count {
        let length = dice.between(0.01, longest);
        if dice.chance(0.85) {
            let mut s = segment(t, t + length, MouthShape::ALL[dice.below(MouthShape::COUNT)]);
            s.strength = if dice.chance(0.3) { dice.between(0.0, 1.5) } else { 1.0 };
            if dice.chance(0.2) {
                s.glide = Some(MouthShape::ALL[dice.below(MouthShape::COUNT)]);
            }
            line.push(s);
        }
        t += length;
    }
    (line, Seconds::new(t + dice.between(0.0, 0.3)))
}

fn settings(dice: &mut Dice) -> PlanSettings {
    let mut s = PlanSettings {
        frame: Seconds::new([0.01, 0.02, 0.02, 0.025, 0.04][dice.below(5)]),
        ..PlanSettings::default()
    };
    if dice.chance(0.3) {
        s.visual_lead = Seconds::new(dice.between(-0.1, 0.3));
        s.servo_lag = Seconds::new(dice.between(0.0, 0.1));
        s.audio_delay = Seconds::new(dice.between(-0.2, 0.3));
        s.smoothness = dice.scale(1e-4, 10.0);
        s.overlap = Seconds::new(dice.between(0.0, 0.1));
    }
    if dice.chance(0.15) {
        s.jerk = dice.scale(1e-3, 1.0);
    }
    s
}

fn run(count: usize, seed: u64) {
    let mut dice = Dice(seed);
    let (mut planned, mut contacts, mut made) = (0, 0, 0);
    while planned < count {
        let description = head(&mut dice);
        let (line, length) = script(&mut dice);
        let settings = settings(&mut dice);
        // Some heads contradict themselves; the rig says so.
        let Ok(rig) = Rig::new(description) else { continue };
        let plan = plan(&line, length, &rig, &settings, &mut Quiet).expect("valid input");
        let name = format!("case {planned}, {} {settings:?} {line:?}", rig.name());
        assert_ne!(plan.summary.status, PlanStatus::OutsideLimits, "{name}");
        let found = breaches(&written(&plan, &rig), plan.frame.value(), &rig);
        assert!(found.is_empty(), "{name}: {:?}", &found[..found.len().min(4)]);
        assert_judged(&plan, &rig);
        contacts += plan.contacts.len();
        made += plan.contacts.iter().filter(|c| c.reached).count();
        planned += 1;
    }
    assert!(contacts > count / 2 && made > contacts / 4, "{made} of {contacts} in {count}");
}

#[test]
fn random_heads_play_random_lines_within_every_limit() {
    run(150, 1);
}

/// `make soak`: all processors, some minutes of each.
#[test]
#[ignore = "minutes in release"]
fn ten_thousand_random_heads() {
    const SLICES: u64 = 40;
    let next = std::sync::atomic::AtomicU64::new(0);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                loop {
                    let slice = next.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
                    if slice >= SLICES {
                        break;
                    }
                    run(10_000 / SLICES as usize, 1000 + slice);
                }
            });
        }
    });
}

/// The head of the thousand on which pulses of 0.1 us first proved too coarse: a neck that may hardly
/// accelerate, in short frames. It is held at rest, and the report says by what.
#[test]
fn a_servo_too_slow_for_the_resolution_of_pulses_is_held() {
    let mut d = Preset::Harbourmaster.describe();
    let neck = d.servos.iter_mut().find(|s| s.name == "neck").expect("has one");
    neck.acceleration_deg_per_s2 = 74.3;
    let rig = Rig::new(d).expect("still a head");
    let settings = PlanSettings { frame: Seconds::new(0.01), ..PlanSettings::default() };
    let mut turn = crate::line::ExpressionKey::new(Seconds::new(0.5), crate::rig::Expression::Neutral);
    turn.values.insert(Dof::NeckTurn, 20.0);
    let silent = crate::line::Line::silent(Seconds::new(1.0)).expect("a line");
    let mut document = crate::line::Document::new(silent);
    document.set_expression(turn).expect("valid");
    let plan = plan_line(document.line(), &rig, &settings, &mut Quiet).expect("plans");
    assert_within(&plan, &rig);
    let neck = &plan.servos[15];
    assert!(neck.planned.iter().all(|a| *a == neck.planned[0]));
    assert!(neck.limited.contains(&Some(LimitedBy::Acceleration)), "{:?}", &neck.limited[..60]);
}
