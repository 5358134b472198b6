//! What pairs of servos reach, by geometry worked by hand: a differential pair is two straight lines to an angle, so that
//! its workspace is a diamond; a five-bar's arms are triangles, so that its workspace ends on a circle about an axle (law
//! of cosines).

use super::*;
use crate::units::Degrees;

const BROW: [Dof; 2] = [Dof::BrowLeftInner, Dof::BrowLeftOuter];
const CORNER: [Dof; 2] = [Dof::CornerLeftX, Dof::CornerLeftY];

/// A jaw and a pair of servos that turn `turn` degrees each way. Skin and rest of both DOFs, gain and value at neutral.
fn pair(
    dofs: [Dof; 2],
    linkage: LinkageDescription,
    turn: f64,
    skin: [(f64, f64, f64); 2],
    drives: [(f64, f64); 2],
) -> Rig {
    let mut d = Preset::JawOnly.describe();
    let i = d.add_mechanism(linkage.kind(), ServoClass::Standard, "pair", &dofs);
    d.mechanisms[i].linkage = linkage;
    for s in d.servos.iter_mut().filter(|s| s.name.starts_with("pair")) {
        s.us_per_degree = 5.0;
        (s.pulse_neutral_us, s.pulse_min_us, s.pulse_max_us) =
            (1500.0, 1500.0 - 5.0 * turn, 1500.0 + 5.0 * turn);
    }
    for (drive, (gain, at_neutral)) in d.mechanisms[i].drives.iter_mut().zip(drives) {
        (drive.gain, drive.at_neutral) = (gain, at_neutral);
    }
    for (dof, (low, rest, high)) in dofs.iter().zip(skin) {
        let spec = d.dofs.iter_mut().find(|x| x.dof == *dof).expect("it is driven");
        (spec.skin_min, spec.rest, spec.skin_max) = (low, rest, high);
    }
    match Rig::new(d) {
        Ok(rig) => rig,
        Err(e) => panic!("{e}"),
    }
}

const DIFFERENTIAL: LinkageDescription =
    LinkageDescription::Differential { common_per_degree: 0.1, difference_per_degree: 0.2 };

/// θ1 = 10 u + 5 v and θ2 = 10 u − 5 v, both within ±40: a diamond with its corners at (±4, 0) and (0, ±8), and a rest
/// that is not in its middle.
fn diamond() -> Rig {
    let skin = [(-10.0, 0.3, 10.0), (-12.0, 0.2, 12.0)];
    pair(BROW, DIFFERENTIAL, 40.0, skin, [(1.0, 0.0); 2])
}

fn reached(rig: &Rig, u: f64, v: f64) -> [f64; 2] {
    let reach = rig.reach(&DofValues::from_pairs(&[(BROW[0], u), (BROW[1], v)]));
    for (servo, angle) in rig.servos().iter().zip(&reach.angles) {
        let (low, high) = rig.travel(servo.id);
        assert!(low <= *angle && *angle <= high, "{} at {angle}", servo.name);
    }
    BROW.map(|dof| reach.dofs[dof])
}

/// Straight across an edge the nearest point is where the way from rest crosses it: 10 (0.3 + 2 k) + 5 (0.2 + k) = 40 at
/// k = 1.44, and so for the other three edges, whose normals are (±2, ±1).
#[test]
fn a_pair_goes_to_the_edge_on_the_straight_way_there() {
    let rig = diamond();
    for (a, b) in [(2.0, 1.0), (2.0, -1.0), (-2.0, 1.0), (-2.0, -1.0)] {
        let k = (40.0 - (5.0 * a * 0.3 + 5.0 * b * 0.2)) / 25.0;
        let [u, v] = reached(&rig, 0.3 + 3.0 * a, 0.2 + 3.0 * b);
        let (x, y) = (0.3 + k * a, 0.2 + k * b);
        assert!((u - x).abs() < 1e-9 && (v - y).abs() < 1e-9, "({u}, {v}), not ({x}, {y})");
    }
}

/// Of 24 directions one is within 15 degrees of any edge. Where it still comes no nearer, the way that is left along the
/// edge is at most tan 15° of the distance from it, so the miss at most 1 / cos 15° of the least there is; and what is
/// left of a step of a thousandth of a millimetre.
#[test]
fn a_pair_misses_by_hardly_more_than_it_must() {
    let rig = diamond();
    let corners = [[4.0, 0.0], [0.0, 8.0], [-4.0, 0.0], [0.0, -8.0]];
    let least = |w: [f64; 2]| {
        let edge = |k: usize| {
            let (a, b) = (corners[k], corners[(k + 1) % 4]);
            let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
            let s = ((w[0] - a[0]) * dx + (w[1] - a[1]) * dy) / (dx * dx + dy * dy);
            let s = s.clamp(0.0, 1.0);
            (a[0] + s * dx - w[0]).hypot(a[1] + s * dy - w[1])
        };
        (0..4).map(edge).fold(f64::INFINITY, f64::min)
    };
    let mut beyond = 0;
    for i in -10..=10 {
        for j in -12..=12 {
            let w = [f64::from(i), f64::from(j)];
            let [u, v] = reached(&rig, w[0], w[1]);
            let miss = (u - w[0]).hypot(v - w[1]);
            if 10.0 * w[0].abs() + 5.0 * w[1].abs() <= 40.0 {
                assert!(miss < 1e-9, "({u}, {v}) for {w:?}");
            } else {
                beyond += 1;
                let at_most = least(w) / 15_f64.to_radians().cos() + 0.003;
                assert!(miss <= at_most, "({u}, {v}) for {w:?}: {miss}, at most {at_most}");
            }
        }
    }
    assert!(beyond > 300, "{beyond}");
}

/// A corner of the skin's rectangle asks each servo for most: θ1 = 5 (u − ½) − 10 (v + ½) and θ2 = 5 (u − ½) + 10 (v + ½),
/// with a degree to spare.
#[test]
fn a_pairs_travel_is_what_the_corners_of_its_skin_ask_for() {
    let skin = [(-2.0, 0.0, 3.0), (-4.0, 0.0, 1.0)];
    let drives = [(2.0, 0.5), (-0.5, -0.5)];
    for (turn, first, second) in [(60.0, (-28.5, 48.5), (-48.5, 28.5)), (40.0, (-28.5, 40.0), (-40.0, 28.5))]
    {
        let rig = pair(BROW, DIFFERENTIAL, turn, skin, drives);
        for (k, (low, high)) in [first, second].into_iter().enumerate() {
            let (a, b) = rig.travel(ServoId(1 + k));
            assert!((a.value() - low).abs() < 1e-9 && (b.value() - high).abs() < 1e-9, "{a} to {b}");
        }
    }
}

/// The usual corner: axles at 0 and 24 mm, cranks 16, rods 38, at rest at (12, 36).
fn crank(p: [f64; 2], axle: f64, way: f64) -> f64 {
    let d = (p[0] - axle).hypot(p[1]);
    let inner = ((16.0 * 16.0 + d * d - 38.0 * 38.0) / (2.0 * 16.0 * d)).acos();
    (p[1].atan2(p[0] - axle) + way * inner).to_degrees()
}

/// How far from its axle an arm reaches that stays 8 degrees from straight.
fn longest_arm() -> f64 {
    (16.0_f64.powi(2) + 38.0_f64.powi(2) + 2.0 * 16.0 * 38.0 * 8_f64.to_radians().cos()).sqrt()
}

/// Turn of the first servo from rest to a point, and of the second.
fn turns(p: [f64; 2]) -> [f64; 2] {
    [(0.0, 1.0), (24.0, -1.0)].map(|(axle, way)| crank(p, axle, way) - crank([12.0, 36.0], axle, way))
}

/// A five-bar with such a skin, and the travel of its two servos.
fn corner_travel(x: (f64, f64), y: (f64, f64)) -> [(f64, f64); 2] {
    let skin = [(x.0, 0.0, x.1), (y.0, 0.0, y.1)];
    let rig = pair(CORNER, LinkageDescription::usual_corner(), 190.0, skin, [(1.0, 0.0); 2]);
    [1, 2].map(|k| {
        let (low, high) = rig.travel(ServoId(k));
        (low.value(), high.value())
    })
}

/// The first arm is the longer the farther out the point lies. Where the skin goes on beyond its reach the first servo
/// turns to where its circle meets the lowest line of the skin; where it ends before, to the skin's own corner, however
/// close the circle is.
#[test]
fn a_corners_travel_outwards_ends_on_the_circle_of_its_longer_arm() {
    let out = |y: f64| (longest_arm().powi(2) - (36.0 + y).powi(2)).sqrt() - 12.0;
    // The last of forty steps crosses the circle at the bottom.
    let end = out(-1.0);
    assert!((28.42..29.2).contains(&end), "{end}");
    let [(low, _), _] = corner_travel((-2.0, 29.2), (-1.0, 1.0));
    let least = turns([12.0 + end, 35.0])[0];
    assert!((low - (least - 1.0)).abs() < 1e-3, "{low}, not {least} − 1");
    // A step more would cross it at the top.
    assert!((27.0..27.7).contains(&out(1.0)));
    let [(low, _), _] = corner_travel((-2.0, 27.0), (-1.0, 1.0));
    let least = turns([39.0, 37.0])[0];
    assert!((low - (least - 1.0)).abs() < 1e-9, "{low}, not {least} − 1");
}

/// Upwards both arms get longer, each the more the farther the point is on the other's side.
#[test]
fn a_corners_travel_upwards_ends_on_both_circles() {
    let up = (longest_arm().powi(2) - 13.0_f64.powi(2)).sqrt() - 36.0;
    assert!((16.2325..16.7).contains(&up), "{up}");
    let [(low, _), (_, high)] = corner_travel((-1.0, 1.0), (-2.0, 16.7));
    let first = turns([13.0, 36.0 + up])[0];
    let second = turns([11.0, 36.0 + up])[1];
    assert!((low - (first - 1.0)).abs() < 1e-3, "{low}, not {first} − 1");
    assert!((high - (second + 1.0)).abs() < 1e-3, "{high}, not {second} + 1");
    // All of it is within reach, and a step more would be beyond it.
    let [(low, _), (_, high)] = corner_travel((-1.0, 1.0), (-2.0, 16.2));
    let (first, second) = (turns([13.0, 52.2])[0], turns([11.0, 52.2])[1]);
    assert!((low - (first - 1.0)).abs() < 1e-9, "{low}, not {first} − 1");
    assert!((high - (second + 1.0)).abs() < 1e-9, "{high}, not {second} + 1");
}

#[test]
fn linkages_that_do_not_close_are_named_by_place() {
    let rig = Rig::harbourmaster();
    let rest = rig.rest_angles();
    assert_eq!(rig.check_linkages(&rest), []);
    let i =
        rig.mechanisms().iter().position(|m| matches!(m, Mechanism::FiveBar { .. })).expect("has corners");
    let mut angles = rest.clone();
    // Both cranks turned round to below the axles: the rods are in line, or past it.
    for (id, turn) in rig.mechanisms()[i].servos().iter().zip([-100.0, 100.0]) {
        angles[id.0] = rest[id.0] + Degrees::new(turn);
    }
    let named: Vec<usize> = rig.check_linkages(&angles).into_iter().map(|(place, _)| place).collect();
    assert_eq!(named, [i]);
}

/// One output for two DOFs: the least of 1² (q − 3)² … for gains g and wishes v, q = Σ g v / Σ g².
#[test]
fn one_servo_for_two_parts_meets_them_in_the_least_squares_sense() {
    let mut d = Preset::JawOnly.describe();
    let lips = [Dof::UpperLipLeft, Dof::UpperLipRight];
    let i = d.add_mechanism(MechanismKind::Rotary, ServoClass::Standard, "lips", &lips);
    d.mechanisms[i].drives[0].gain = 0.5;
    d.mechanisms[i].drives[1].gain = 2.0;
    for drive in &mut d.mechanisms[i].drives {
        drive.at_neutral = 0.0;
    }
    let rig = Rig::new(d).expect("a head");
    let reach = rig.reach(&DofValues::from_pairs(&[(lips[0], 1.0), (lips[1], 1.0)]));
    let q = (0.5 + 2.0) / (0.25 + 4.0);
    let [left, right] = lips.map(|dof| reach.dofs[dof]);
    assert!((left - 0.5 * q).abs() < 1e-9 && (right - 2.0 * q).abs() < 1e-9, "{left} and {right} for {q}");
    assert_eq!(reach.clamped, lips);
}

/// A rod whose slider goes from −9 to 13 mm about its neutral: what is beyond is met at the nearer end, whatever the sign.
#[test]
fn beyond_a_rods_reach_its_nearer_end_is_taken() {
    let mut d = Preset::JawOnly.describe();
    let lip = Dof::UpperLipLeft;
    let i = d.add_mechanism(MechanismKind::PushRod, ServoClass::Standard, "lip", &[lip]);
    d.mechanisms[i].linkage = LinkageDescription::PushRod {
        horn_radius_mm: 12.0,
        rod_length_mm: 40.0,
        offset_mm: 0.0,
        neutral_horn_deg: 75.0,
        lever_ratio: 1.0,
    };
    d.mechanisms[i].drives[0].at_neutral = 0.0;
    let spec = d.dofs.iter_mut().find(|x| x.dof == lip).expect("it is driven");
    (spec.skin_min, spec.skin_max) = (-30.0, 30.0);
    let servo = d.servos.iter_mut().find(|s| s.name == "lip").expect("there");
    servo.us_per_degree = 5.0;
    (servo.pulse_neutral_us, servo.pulse_min_us, servo.pulse_max_us) = (1500.0, 550.0, 2450.0);
    let rig = Rig::new(d).expect("a head");
    let (low, high) = rig.mechanisms()[i].range().expect("one servo");
    let at = |angle: f64| rig.mechanisms()[i].forward(&[angle])[0].1;
    let ends = (at(low).min(at(high)), at(low).max(at(high)));
    assert!(ends.0 < -7.0 && ends.1 > 7.0 && (ends.0 + ends.1).abs() > 2.0, "{ends:?}");
    for wanted in [-30.0, ends.0 - 1.0, ends.1 + 1.0, 30.0] {
        let got = rig.reach(&DofValues::from_pairs(&[(lip, wanted)])).dofs[lip];
        let nearer = if wanted < 0.0 { ends.0 } else { ends.1 };
        assert!((got - nearer).abs() < 1e-9, "{got}, not {nearer}, for {wanted}");
    }
}
