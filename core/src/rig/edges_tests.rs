//! What a person is told of a head and what becomes of it by editing, on heads made for one question each.

use super::super::*;
use crate::phonetics::MouthShape;
use crate::units::{Degrees, Microseconds};
use MouthShape::{
    Alveolar, HalfOpen, Labiodental, Open, Postalveolar, Pursed, Rhotic, Rounded, Sibilant, Spread,
};

fn harbourmaster(change: impl Fn(&mut RigDescription)) -> Rig {
    let mut d = Preset::Harbourmaster.describe();
    change(&mut d);
    Rig::new(d).unwrap_or_else(|e| panic!("{e}"))
}

fn skin(dof: Dof, min: f64, max: f64) -> Rig {
    harbourmaster(|d| {
        let spec = d.dofs.iter_mut().find(|x| x.dof == dof).expect("it has one");
        (spec.skin_min, spec.skin_max) = (min, max);
    })
}

fn notes(rig: &Rig) -> Vec<(MouthShape, Dof, ReachLimit)> {
    rig.reach_report().into_iter().map(|n| (n.shape, n.dof, n.by)).collect()
}

/// The reference face has 8 mm either way at a corner and 6 mm at an upper lip. What a shape wants of a part that
/// matters little to it is left out (an alveolar's and a dental's upper lip, 1.5 mm), and so is what the skin could give
/// (a sibilant's 3 mm, a rhotic's −2.5 mm).
#[test]
fn the_reach_report_names_what_the_skin_cannot_give_and_nothing_else() {
    let by_skin = |dof: Dof, shapes: &[MouthShape]| -> Vec<_> {
        let own = MouthShape::ALL.into_iter().filter(|s| shapes.contains(s));
        own.map(|s| (s, dof, ReachLimit::Skin)).collect()
    };
    let corner = Dof::CornerLeftX;
    assert_eq!(notes(&skin(corner, -2.8, 4.0)), by_skin(corner, &[Spread, Postalveolar, Rounded, Pursed]));
    let lip = Dof::UpperLipLeft;
    let wanting = [Labiodental, Sibilant, Postalveolar, Rhotic, Open, HalfOpen, Spread];
    assert_eq!(notes(&skin(lip, -3.0, 0.9)), by_skin(lip, &wanting));
}

/// With 3 mm to the palate the tongue has skin and servo enough, and no room.
#[test]
fn the_reach_report_knows_what_other_parts_leave() {
    let rig = harbourmaster(|d| {
        let palate = d.couplings.iter_mut().find(|c| c.name == "tongue tip under palate").expect("there");
        palate.max_mm = Some(3.0);
    });
    let found = notes(&rig);
    assert!(found.contains(&(Alveolar, Dof::TongueTip, ReachLimit::Coupling)), "{found:?}");
    assert!(found.iter().all(|n| n.2 == ReachLimit::Coupling), "{found:?}");
}

#[test]
fn the_parts_that_speak_are_jaw_lips_corners_and_tongue() {
    use FacePart::{Brows, Corners, Jaw, Lids, Lips, Neck, Tongue};
    for (part, speaks) in [
        (Jaw, true),
        (Lips, true),
        (Corners, true),
        (Tongue, true),
        (Brows, false),
        (Neck, false),
        (Lids, false),
    ] {
        assert_eq!(part.is_mouth(), speaks, "{part:?}");
    }
}

#[test]
fn removing_a_mechanism_leaves_what_others_have() {
    let mut d = Preset::Harbourmaster.describe();
    let mut spare = d.servos[0].clone();
    (spare.name, spare.channel) = ("spare".into(), 40);
    d.servos.push(spare);
    let lip_gaps = |d: &RigDescription| d.couplings.iter().filter(|c| c.name.starts_with("lip gap")).count();
    let tongue = d.mechanisms.iter().position(|m| m.name == "tongue tip rod").expect("there");
    assert_eq!((lip_gaps(&d), d.couplings.len()), (2, 3));
    d.remove_mechanism(tongue);
    assert!(
        d.servos.iter().any(|s| s.name == "spare"),
        "a servo that nothing uses is nobody else's business"
    );
    assert!(d.servos.iter().all(|s| s.name != "tongue tip"));
    assert_eq!((lip_gaps(&d), d.couplings.len()), (2, 2));
    // What is shared stays until its last user goes.
    let mut d = Preset::JawAndLips.describe();
    d.mechanisms[2].servos = d.mechanisms[1].servos.clone();
    let shared = d.mechanisms[1].servos[0].clone();
    d.remove_mechanism(1);
    assert!(d.servos.iter().any(|s| s.name == shared));
    d.remove_mechanism(1);
    assert!(d.servos.iter().all(|s| s.name != shared));
}

#[test]
fn a_tongue_without_a_jaw_is_not_tied_to_one() {
    let mut d = Preset::JawOnly.describe();
    d.remove_mechanism(0);
    d.add_mechanism(MechanismKind::PushRod, ServoClass::Standard, "tongue tip", &[Dof::TongueTip]);
    assert!(d.couplings.is_empty());
    // With the jaw comes the limit; lips alone do not bring it.
    d.add_mechanism(MechanismKind::PushRod, ServoClass::Standard, "upper", &[Dof::UpperLipLeft]);
    assert!(d.couplings.is_empty());
    d.add_mechanism(MechanismKind::Rotary, ServoClass::Standard, "jaw", &[Dof::JawOpen]);
    assert_eq!(d.couplings.iter().map(|c| c.name.as_str()).collect::<Vec<_>>(), ["tongue tip under palate"]);
}

/// A five-bar's rest point is where it is mounted; other linkages begin in the middle of the skin's travel.
#[test]
fn drives_begin_at_rest_in_the_middle_or_at_the_faces_own_value() {
    let neutral = |kind: MechanismKind| {
        let mut d = Preset::Harbourmaster.describe();
        let i = d.mechanisms.iter().position(|m| m.name == "corner left").expect("there");
        let rest: Vec<(f64, f64)> = [Dof::CornerLeftX, Dof::CornerLeftY]
            .map(|dof| {
                let spec = d.dofs.iter_mut().find(|x| x.dof == dof).expect("there");
                (spec.skin_min, spec.skin_max, spec.rest) = (-4.0, 6.0, 0.5);
                (spec.rest, 1.0)
            })
            .to_vec();
        assert!(d.change_kind(i, MechanismKind::Differential) && d.change_kind(i, kind));
        (d.mechanisms[i].drives.iter().map(|d| d.at_neutral).collect::<Vec<_>>(), rest)
    };
    let (five_bar, rest) = neutral(MechanismKind::FiveBar);
    assert_eq!(five_bar, rest.iter().map(|r| r.0).collect::<Vec<_>>());
    let (differential, rest) = neutral(MechanismKind::Differential);
    assert_eq!(differential, rest.iter().map(|r| r.1).collect::<Vec<_>>());
}

#[test]
fn mirroring_takes_linkages_and_drives_over() {
    let mut d = Preset::Harbourmaster.describe();
    let at = |d: &RigDescription, name: &str| {
        d.mechanisms.iter().position(|m| m.name.starts_with(name)).expect("there")
    };
    for part in ["corner", "upper lip"] {
        let left = at(&d, &format!("{part} left"));
        for drive in &mut d.mechanisms[left].drives {
            (drive.gain, drive.at_neutral) = (1.125, 0.25);
        }
    }
    let lip = at(&d, "upper lip left");
    let LinkageDescription::PushRod { rod_length_mm, .. } = &mut d.mechanisms[lip].linkage else {
        panic!("a rod")
    };
    *rod_length_mm = 47.0;
    let before = d.clone();
    d.mirror_left_to_right();
    for part in ["corner", "upper lip", "lower lip"] {
        let (left, right) = (at(&d, &format!("{part} left")), at(&d, &format!("{part} right")));
        assert_eq!(d.mechanisms[left], before.mechanisms[left]);
        assert_eq!(d.mechanisms[right].linkage, before.mechanisms[left].linkage);
        assert_eq!(d.mechanisms[right].servos, before.mechanisms[right].servos);
        let drives =
            |i: usize| d.mechanisms[i].drives.iter().map(|d| (d.gain, d.at_neutral)).collect::<Vec<_>>();
        assert_eq!(drives(left), drives(right));
    }
    // What has no twin stays as it is.
    for part in ["jaw", "tongue tip", "neck"] {
        assert_eq!(d.mechanisms[at(&d, part)], before.mechanisms[at(&before, part)]);
    }
}

/// Raising by 8 and tilting by 8 at a gain of 0.2 and 0.1 a degree need 40 + 80 degrees at most; servos that travel
/// farther are held back to that, and a degree.
#[test]
fn a_differentials_servos_go_no_farther_than_its_skin() {
    let mut d = Preset::JawOnly.describe();
    let brow = [Dof::BrowLeftInner, Dof::BrowLeftOuter];
    let i = d.add_mechanism(MechanismKind::Differential, ServoClass::Standard, "brow", &brow);
    d.mechanisms[i].linkage =
        LinkageDescription::Differential { common_per_degree: 0.4, difference_per_degree: 0.8 };
    for drive in &mut d.mechanisms[i].drives {
        drive.at_neutral = 0.0;
    }
    for spec in d.dofs.iter_mut().filter(|x| brow.contains(&x.dof)) {
        (spec.skin_min, spec.skin_max, spec.rest) = (-6.0, 8.0, 0.0);
    }
    let rig = Rig::new(d).expect("a brow");
    for id in rig.mechanisms()[i].servos() {
        let (low, high) = rig.travel(*id);
        let (start, end) = rig.servos()[id.0].pulse_travel();
        // 8/0.4 + 8/0.8 and −6/0.4 − 6/0.8; the second servo: 8/0.4 + 6/0.8 and −6/0.4 − 8/0.8.
        let first = *id == rig.mechanisms()[i].servos()[0];
        let expected = if first { (-22.5, 30.0) } else { (-25.0, 27.5) };
        let near = |a: Degrees, b: f64, end: Degrees| {
            (a.value() - b).abs() <= 1.01 || (a - end).abs().value() < 1e-9
        };
        assert!(near(low, expected.0, start) && near(high, expected.1, end), "{low} to {high}");
    }
    assert!(rig.servos().iter().any(|s| rig.travel(s.id) != s.pulse_travel()));
}

#[test]
fn a_broken_file_is_refused_with_the_readers_own_reason() {
    let told = RigDescription::from_json("{\"format\": ").expect_err("it is cut off").to_string();
    assert!(told.contains("EOF while parsing a value"), "{told}");
    assert_eq!(told.matches("line 1").count(), 1, "the place is told once: {told}");
}

#[test]
fn a_pose_speaks_only_of_parts_that_the_head_has() {
    let with = |dof: Dof| {
        let mut d = Preset::JawOnly.describe();
        d.poses.entry(Open).or_default().target.insert(dof, 3.0);
        Rig::new(d).err().map(|e| e.to_string())
    };
    assert_eq!(with(Dof::JawOpen), None);
    let told = with(Dof::TongueTip).expect("it has none");
    assert!(told.contains("is not a degree of freedom of this rig"), "{told}");
    let mut d = Preset::Harbourmaster.describe();
    let tongue = d.mechanisms.iter().position(|m| m.name == "tongue tip rod").expect("there");
    d.remove_mechanism(tongue);
    d.poses.entry(Open).or_default().target.insert(Dof::TongueTip, 3.0);
    assert!(Rig::new(d).is_err());
}

#[test]
fn names_are_names() {
    let names: Vec<&str> = Preset::ALL.iter().map(|p| p.name()).collect();
    assert_eq!(names, ["Jaw only", "Jaw and lips", "Harbourmaster", "Foam puppet", "Lookout"]);
    for preset in Preset::ALL {
        let file = preset.file_name();
        assert_eq!(file, format!("{}.json", preset.name().to_lowercase().replace(' ', "-")));
        assert_eq!(preset.rig().name(), preset.describe().name);
    }
    let mut seen: Vec<&str> = ServoClass::ALL.iter().map(|c| c.name()).collect();
    seen.sort_unstable();
    seen.dedup();
    assert!(seen.len() == ServoClass::ALL.len() && seen.iter().all(|n| n.len() > 5), "{seen:?}");
    for expression in Expression::ALL {
        assert_eq!(expression.to_string(), expression.name());
        assert!(expression.name().len() > 3);
    }
}

/// Seven angles of a push-rod, measured to a hundredth of a millimetre with a slip of known pattern.
fn readings(truth: PushRod, at_neutral: f64, slip: f64) -> Vec<(Microseconds, f64)> {
    let servo = &Rig::harbourmaster().servos()[1].clone();
    (0..7)
        .map(|i| {
            let theta = Degrees::new(-30.0 + 10.0 * f64::from(i));
            (
                servo.pulse(theta),
                truth.forward(theta.value()) + at_neutral + if i % 2 == 0 { slip } else { -slip },
            )
        })
        .collect()
}

/// From guesses well off the mark the fit comes to the rod that made the readings.
#[test]
fn a_push_rod_is_found_from_afar() {
    let servo = Rig::harbourmaster().servos()[1].clone();
    for horn in [70.0, 95.0, 115.0] {
        for lever in [0.5, -1.0, 2.5] {
            let truth =
                PushRod { horn_radius: 14.0, rod_length: 45.0, offset: 2.0, neutral_horn: horn, lever };
            for (away, share) in [(-15.0, 0.5), (12.0, 3.0)] {
                let guess = PushRod { neutral_horn: horn + away, lever: share * lever, ..truth };
                let fit = fit_push_rod(&servo, &readings(truth, -2.0, 0.0), guess).expect("it fits");
                assert!((fit.linkage.neutral_horn - horn).abs() < 1e-3, "{horn} {lever}: {fit:?}");
                assert!((fit.linkage.lever - lever).abs() < 1e-4 && (fit.at_neutral + 2.0).abs() < 1e-4);
                assert!(fit.residual < 1e-6 && fit.worst < 1e-6, "{fit:?}");
            }
        }
    }
}

/// No rod near the one that is found leaves less: it is the least-squares fit.
#[test]
fn no_neighbour_fits_better() {
    let servo = Rig::harbourmaster().servos()[1].clone();
    let truth = PushRod { horn_radius: 14.0, rod_length: 45.0, offset: 2.0, neutral_horn: 95.0, lever: 1.2 };
    for slip in [0.05, 0.3] {
        let points = readings(truth, 1.0, slip);
        let guess = PushRod { neutral_horn: 80.0, lever: 1.0, ..truth };
        let fit = fit_push_rod(&servo, &points, guess).expect("it fits");
        let left = |horn: f64, lever: f64, neutral: f64| -> Vec<f64> {
            let rod = PushRod { neutral_horn: horn, lever, ..guess };
            points.iter().map(|(p, v)| rod.forward(servo.angle(*p).value()) + neutral - v).collect()
        };
        let cost = |m: Vec<f64>| m.iter().map(|x| x * x).sum::<f64>();
        let l = &fit.linkage;
        let own = left(l.neutral_horn, l.lever, fit.at_neutral);
        let worst = own.iter().fold(0.0_f64, |a, b| a.max(b.abs()));
        assert!((fit.worst - worst).abs() < 1e-12);
        let best = cost(own);
        assert!((fit.residual - (best / 7.0).sqrt()).abs() < 1e-12);
        for (a, b, c) in [(0.05, 0.0, 0.0), (0.0, 0.001, 0.0), (0.0, 0.0, 0.001), (0.05, 0.001, 0.001)] {
            for sign in [1.0, -1.0] {
                let there = left(l.neutral_horn + sign * a, l.lever + sign * b, fit.at_neutral + sign * c);
                assert!(cost(there) > best, "{slip}: {sign} × ({a}, {b}, {c})");
            }
        }
    }
}

/// What is left may be a tenth of the span, whether the values lie about 0 or far from it, are few or many.
#[test]
fn a_fit_may_leave_a_tenth_of_the_span() {
    let servo = Rig::harbourmaster().servos()[1].clone();
    let truth = PushRod { horn_radius: 14.0, rod_length: 45.0, offset: 2.0, neutral_horn: 95.0, lever: 0.4 };
    for at_neutral in [0.0, 50.0, -50.0] {
        for (share, fits) in [(0.06, true), (0.16, false)] {
            let clean = readings(truth, at_neutral, 0.0);
            let span = clean[6].1 - clean[0].1;
            let points = readings(truth, at_neutral, share * span.abs());
            let told = fit_push_rod(&servo, &points, PushRod { neutral_horn: 90.0, ..truth });
            assert_eq!(told.is_ok(), fits, "{at_neutral}, {share}: {told:?}");
        }
    }
}

/// A cubic is met by the smooth curve to the last digits wherever its pulses lie: they are scaled for that.
#[test]
fn pulses_are_scaled_before_their_powers_are_taken() {
    let cubic = |u: f64| 3.0 * u + 0.5 * u * u + 2.0 * u * u * u;
    for (first, last) in [(1000.0, 1060.0), (500.0, 2500.0), (2400.0, 2500.0)] {
        let points: Vec<(Microseconds, f64)> = (0..8)
            .map(|k| f64::from(k) / 7.0)
            .map(|u| (Microseconds::new(first + (last - first) * u), cubic(u)))
            .collect();
        let residual = measure_linkage(&points).expect("it rises").residual.expect("eight points");
        assert!(residual < 2e-14, "{first} to {last}: {residual}");
    }
}

/// Paths of what is wrong with the harbourmaster once it is changed so.
fn wrong(change: impl Fn(&mut RigDescription)) -> Vec<String> {
    let mut d = Preset::Harbourmaster.describe();
    change(&mut d);
    match Rig::new(d) {
        Ok(_) => vec![],
        Err(RigError::Invalid(problems)) => problems.into_iter().map(|p| p.path).collect(),
        Err(other) => panic!("{other}"),
    }
}

fn set(d: &mut RigDescription, mechanism: usize, linkage: LinkageDescription) {
    d.mechanisms[mechanism].linkage = linkage;
}

/// Each number of a linkage alone: it is named, and nothing else is made of it.
#[test]
fn a_number_out_of_bounds_is_named_once_and_alone() {
    let d = Preset::Harbourmaster.describe();
    let at = |name: &str| d.mechanisms.iter().position(|m| m.name.starts_with(name)).expect("there");
    let (lip, corner, jaw) = (at("upper lip left"), at("corner left"), at("jaw"));
    for bad in [1e6, f64::NAN] {
        for k in 0..5 {
            let mut n = [14.0, 45.0, 3.0, 90.0, -1.0];
            n[k] = bad;
            let rod = LinkageDescription::PushRod {
                horn_radius_mm: n[0],
                rod_length_mm: n[1],
                offset_mm: n[2],
                neutral_horn_deg: n[3],
                lever_ratio: n[4],
            };
            let field =
                ["horn_radius_mm", "rod_length_mm", "offset_mm", "neutral_horn_deg", "lever_ratio"][k];
            assert_eq!(wrong(|d| set(d, lip, rod.clone())), [format!("mechanisms[{lip}].{field}")], "{bad}");
        }
        let LinkageDescription::FiveBar { elbows, .. } = d.mechanisms[corner].linkage else {
            panic!("a five-bar")
        };
        let fields = [
            "base_mm",
            "proximal_mm",
            "distal_mm",
            "rest_x_mm",
            "rest_y_mm",
            "rotation_deg",
            "link_width_mm",
        ];
        for (k, field) in fields.into_iter().enumerate() {
            let mut linkage = d.mechanisms[corner].linkage.clone();
            let LinkageDescription::FiveBar {
                base_mm,
                proximal_mm,
                distal_mm,
                rest_x_mm,
                rest_y_mm,
                rotation_deg,
                link_width_mm,
                ..
            } = &mut linkage
            else {
                panic!("a five-bar, elbows {elbows:?}")
            };
            let all = [base_mm, proximal_mm, distal_mm, rest_x_mm, rest_y_mm, rotation_deg, link_width_mm];
            *all.into_iter().nth(k).expect("seven") = bad;
            assert_eq!(
                wrong(|d| set(d, corner, linkage.clone())),
                [format!("mechanisms[{corner}].{field}")],
                "{bad}"
            );
        }
        for (k, field) in [(0, "pulse_us"), (1, "value")] {
            let mut n = [1000.0, 0.0];
            n[k] = bad;
            let point = |pulse_us, value| TablePoint { pulse_us, value, extra: Default::default() };
            let points = vec![point(n[0], n[1]), point(1500.0, 9.0), point(2000.0, 18.0)];
            let table = LinkageDescription::Table { points };
            assert_eq!(
                wrong(|d| set(d, jaw, table.clone())),
                [format!("mechanisms[{jaw}].points[0].{field}")]
            );
        }
        let dof = d.dofs.iter().position(|x| x.dof == Dof::TongueTip).expect("there");
        for (k, field) in ["asked_mm", "seen_rising_mm", "seen_falling_mm"].into_iter().enumerate() {
            let mut n = [[0.0; 3], [14.0; 3]];
            n[1][k] = bad;
            let points: Vec<ResponsePoint> = (n.into_iter())
                .map(|[asked, seen_rising, seen_falling]| ResponsePoint {
                    asked,
                    seen_rising,
                    seen_falling,
                    extra: Default::default(),
                })
                .collect();
            let told = wrong(|d| d.dofs[dof].response.clone_from(&points));
            assert_eq!(told, [format!("dofs[{dof}].response[1].{field}")]);
        }
    }
}

/// A rod must reach round its horn, whichever way it is offset; a factor of almost nothing moves nothing.
#[test]
fn rods_that_are_too_short_and_factors_that_move_nothing_are_named() {
    let d = Preset::Harbourmaster.describe();
    let at = |name: &str| d.mechanisms.iter().position(|m| m.name.starts_with(name)).expect("there");
    let (lip, jaw) = (at("upper lip left"), at("jaw"));
    let rod = |rod_length_mm: f64, offset_mm: f64, lever_ratio: f64| {
        let linkage = LinkageDescription::PushRod {
            horn_radius_mm: 14.0,
            rod_length_mm,
            offset_mm,
            neutral_horn_deg: 90.0,
            lever_ratio,
        };
        let mut told = wrong(|d| set(d, lip, linkage.clone()));
        told.retain(|path| path.starts_with("mechanisms"));
        told
    };
    let too_short = [format!("mechanisms[{lip}].rod_length_mm")];
    for offset in [-10.0, 10.0] {
        assert_eq!(rod(20.0, offset, -1.0), too_short);
        assert_eq!(rod(24.0, offset, -1.0), too_short);
        assert_eq!(rod(45.0, offset, -1.0), [""; 0]);
    }
    assert_eq!(rod(45.0, 0.0, 0.0005), [format!("mechanisms[{lip}].lever_ratio")]);
    assert_eq!(rod(45.0, 0.0, -0.0005), [format!("mechanisms[{lip}].lever_ratio")]);
    let named = |path: String, change: &dyn Fn(&mut RigDescription)| wrong(change).contains(&path);
    for (value, moves) in [(0.0005, false), (-0.0005, false), (0.001, true), (0.5, true)] {
        let gain = format!("mechanisms[{jaw}].drives[0].gain");
        assert_eq!(named(gain, &|d| d.mechanisms[jaw].drives[0].gain = value), !moves, "{value}");
        let rotary = LinkageDescription::Rotary { ratio: value, lever_mm: Some(60.0) };
        assert_eq!(
            named(format!("mechanisms[{jaw}].ratio"), &|d| set(d, jaw, rotary.clone())),
            !moves,
            "{value}"
        );
    }
    let mut base = Preset::JawOnly.describe();
    let brow = [Dof::BrowLeftInner, Dof::BrowLeftOuter];
    let i = base.add_mechanism(MechanismKind::Differential, ServoClass::Standard, "brow", &brow);
    for (value, moves) in [(0.00005, false), (0.0001, true), (0.1, true)] {
        for (k, field) in [(0, "common_per_degree"), (1, "difference_per_degree")] {
            let mut n = [0.1, 0.1];
            n[k] = value;
            let mut d = base.clone();
            d.mechanisms[i].linkage =
                LinkageDescription::Differential { common_per_degree: n[0], difference_per_degree: n[1] };
            let told = Rig::new(d).err().map(|e| e.to_string()).unwrap_or_default();
            assert_eq!(told.contains(&format!("mechanisms[{i}].{field}")), !moves, "{value}: {told}");
        }
    }
}
