//! Reports by hand: sentences, sums, currents.

use super::*;
use crate::line::ExpressionKey;
use crate::rig::Preset;

fn s(value: f64) -> Seconds {
    Seconds::new(value)
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-9
}

#[test]
fn contacts_are_told_in_a_sentence() {
    let told =
        |kind, reached| ContactReport { segment: 0, kind, time: s(1.837), missing: 0.42, reached }.sentence();
    for (kind, made, missed) in [
        (ContactKind::Lips, "lips closed at 1.84 s", "lips not closed at 1.84 s: 0.4 mm too far apart"),
        (
            ContactKind::LipOnTeeth,
            "lower lip at the teeth at 1.84 s",
            "lower lip not at the teeth at 1.84 s: 0.4 mm off",
        ),
        (
            ContactKind::TongueTip,
            "tongue tip at the teeth at 1.84 s",
            "tongue tip not at the teeth at 1.84 s: 0.4 mm short",
        ),
        (
            ContactKind::TongueBody,
            "tongue body at the palate at 1.84 s",
            "tongue body not at the palate at 1.84 s: 0.4 mm short",
        ),
    ] {
        assert_eq!((told(kind, true).as_str(), told(kind, false).as_str()), (made, missed));
    }
}

#[test]
fn shortfalls_are_told_in_a_sentence() {
    let (dof, servo, by) = (Dof::LowerLipLeft, ServoId(0), LimitedBy::Speed);
    let (shape, time, wanted, reached) = (MouthShape::Open, s(1.837), 5.96, -0.04);
    let short = Shortfall { segment: 0, shape, time, dof, servo, wanted, reached, by, importance: 1.0 };
    assert_eq!(short.sentence(), "lower lip left: 0.0 mm of 6.0 mm at 1.84 s, speed");
    let (dof, by, expression) = (Dof::NeckTurn, LimitedBy::Travel, Expression::Smile);
    let look = LookShortfall { key: 0, expression, time, dof, servo, wanted: -20.0, reached: -12.34, by };
    assert_eq!(look.sentence(), "neck turn: -12.3 deg of -20.0 deg at 1.84 s, travel");
}

/// A jaw that opens at 100 and shuts at 50 degrees a second, idles at 0.1 A and moves at 0.5 A.
fn jaw() -> Rig {
    let mut d = Preset::JawOnly.describe();
    let servo = &mut d.servos[0];
    servo.speed_s_per_60deg = 0.6;
    (servo.load_derating_up, servo.load_derating_down) = (1.0, 0.5);
    (servo.idle_current_a, servo.moving_current_a) = (0.1, 0.5);
    Rig::new(d).expect("still a head")
}

fn curve(angles: &[f64]) -> ServoCurve {
    ServoCurve {
        wanted: angles.iter().map(|a| Degrees::new(*a)).collect(),
        planned: angles.iter().map(|a| Degrees::new(*a)).collect(),
        limited: vec![None; angles.len()],
    }
}

#[test]
fn current_is_idle_and_a_share_of_moving_by_the_share_of_full_speed() {
    let rig = jaw();
    let servos = [curve(&[0.0, 1.0, 1.0, 0.5])];
    // 1 degree in 20 ms is half of 100 a second; back by half a degree is half of 50.
    for (t, amps) in [(0, 0.35), (1, 0.1), (2, 0.35)] {
        let is = current(&rig, &servos, t, 0.02);
        assert!(close(is, amps), "step {t}: {is} A");
    }
}

#[test]
fn errors_are_squared_weighed_and_summed_over_frames() {
    let rig = jaw();
    let servos = [curve(&[0.0, 0.0, 0.0])];
    let wishes = Wishes { segments: &[], expressions: &[], events: &[], duration: s(1.0) };
    let mut targets = Targets::new(wishes, &rig, &PlanSettings::default()).expect("valid");
    let open = rig.forward(&[Degrees::ZERO])[Dof::JawOpen];
    for t in 0..2 {
        targets.weight[t][Dof::JawOpen] = 3.0;
        targets.wanted[t][Dof::JawOpen] = open + 2.0 - 5.0 * t as f64;
    }
    // Frames 1 and 2 of the curves stand first in these targets: 3 · 2² + 3 · 3², weight 6.
    let (error, weight) = squares(&rig, &servos, &targets, 1, 1..3);
    assert!(close(error, 39.0) && close(weight, 6.0), "{error} {weight}");
}

#[test]
fn the_commonest_limit_is_named_and_none_where_there_is_none() {
    let mut curve = curve(&[0.0; 6]);
    assert_eq!(commonest(&curve, 0..6), None);
    curve.limited = [
        None,
        Some(LimitedBy::Speed),
        Some(LimitedBy::Travel),
        Some(LimitedBy::Speed),
        None,
        Some(LimitedBy::Travel),
    ]
    .into();
    assert_eq!(commonest(&curve, 0..4), Some(LimitedBy::Speed));
    assert_eq!(commonest(&curve, 2..3), Some(LimitedBy::Travel));
    assert_eq!(commonest(&curve, 4..5), None);
}

fn summary(objective: f64, bounds: &[f64], infeasible: bool, cut: bool) -> PlanSummary {
    let rig = jaw();
    let wishes = Wishes { segments: &[], expressions: &[], events: &[], duration: s(0.1) };
    let settings = PlanSettings::default();
    let targets = Targets::new(wishes, &rig, &settings).expect("valid");
    let head = super::super::head::Head::new(&rig, 0.02).expect("it stands");
    let planner = super::super::planner::Planner::new(head, targets, settings);
    let group = &planner.head.groups[0];
    let tracks: Vec<Track> = bounds
        .iter()
        .map(|&bound| Track { bound, infeasible, cut, ..Track::resting(&planner, group) })
        .collect();
    PlanSummary::new(&tracks, objective, &rig)
}

#[test]
fn a_plan_is_optimal_within_a_500th_of_what_is_proven() {
    // 100 against 60 + 39.9: a gap of 0.1 %.
    let good = summary(100.0, &[60.0, 39.9], false, false);
    assert_eq!((good.status, good.current_budget), (PlanStatus::Optimal, jaw().supply().budget));
    assert!(close(good.gap.expect("proven"), 0.001));
    let far = summary(100.0, &[60.0, 39.5], false, false);
    assert_eq!(far.status, PlanStatus::WithinLimits);
    assert!(close(far.gap.expect("proven"), 0.005));
    assert_eq!(summary(100.0, &[100.0], false, true).status, PlanStatus::WithinLimits, "cut");
    assert_eq!(summary(100.0, &[100.0], true, false).status, PlanStatus::OutsideLimits);
    // A bound above the objective by rounding is no gap.
    assert_eq!(summary(100.0, &[100.000_000_1], false, false).gap, Some(0.0));
    assert_eq!(summary(0.0, &[0.0], false, false).gap, Some(0.0));
}

#[test]
fn totals_are_counted_from_contacts_and_currents() {
    let rig = jaw();
    let settings = PlanSettings::default();
    let timeline = Timeline { frame: 0.02, origin: 10, frames: 40 };
    let view = View { rig: &rig, groups: &[], timeline, settings: &settings };
    let mut totals = summary(1.0, &[1.0], false, false);
    assert_eq!(totals.closure_share(), 1.0, "none asked for");
    let report = |kind, reached| ContactReport { segment: 0, kind, time: s(0.0), missing: 0.0, reached };
    let contacts = [
        report(ContactKind::Lips, true),
        report(ContactKind::Lips, false),
        report(ContactKind::LipOnTeeth, false),
        report(ContactKind::LipOnTeeth, true),
        report(ContactKind::Lips, true),
        report(ContactKind::TongueTip, true),
        report(ContactKind::TongueBody, false),
        report(ContactKind::TongueBody, false),
    ];
    totals.count(&view, &contacts, (8.0, 2.0), &[0.1, 0.5, 0.5, 0.1]);
    assert_eq!((totals.closures, totals.closures_reached), (5, 3));
    assert_eq!((totals.tongue_contacts, totals.tongue_contacts_reached), (3, 1));
    assert!(close(totals.closure_share(), 0.6));
    assert!(close(totals.weighted_error, 2.0));
    // The peak is at frame 1, nine frames before the line begins, when it is first reached.
    assert!(close(totals.peak_current.value(), 0.5) && close(totals.peak_at.value(), -0.18));
    assert!(close(totals.mean_current.value(), 0.3));
    totals.count(&view, &[], (0.0, 0.0), &[]);
    assert_eq!(
        (totals.weighted_error, totals.mean_current, totals.peak_current),
        (0.0, Amps::ZERO, Amps::ZERO)
    );
}

/// Frame 10 is line time 0, and each shows a frame after it is sent: frame `f` shows at `(f − 9) · 0.02` s.
const TIMELINE: Timeline = Timeline { frame: 0.02, origin: 10, frames: 200 };

/// Curves at rest but for the frames `there`, where the face has these values; every servo limited by its speed.
fn curves(rig: &Rig, values: &[(Dof, f64)], there: Range<usize>) -> Vec<ServoCurve> {
    let mut face = rig.rest();
    values.iter().for_each(|&(dof, value)| face[dof] = value);
    let (rest, reached) = (rig.rest_angles(), rig.reach(&face).angles);
    let one = |k: usize| {
        let at = |t: usize| if there.contains(&t) { reached[k] } else { rest[k] };
        let planned: Vec<Degrees> = (0..TIMELINE.frames).map(at).collect();
        let limited = vec![Some(LimitedBy::Speed); planned.len()];
        ServoCurve { wanted: planned.clone(), planned, limited }
    };
    (0..rest.len()).map(one).collect()
}

fn settings() -> PlanSettings {
    PlanSettings { servo_lag: s(0.02), visual_lead: s(0.04), ..PlanSettings::default() }
}

/// A jaw that rests at 1 mm, and matters so much to the open vowel.
fn resting_open(importance: f64) -> Rig {
    let mut d = Preset::JawOnly.describe();
    d.dofs[0].rest = 1.0;
    d.poses.entry(MouthShape::Open).or_default().importance.insert(Dof::JawOpen, importance);
    Rig::new(d).expect("still a head")
}

fn missed(rig: &Rig, segment: &Segment, jaw: f64, there: Range<usize>) -> Vec<Shortfall> {
    let settings = settings();
    let view = View { rig, groups: &[], timeline: TIMELINE, settings: &settings };
    shortfalls(&view, &curves(rig, &[(Dof::JawOpen, jaw)], there), 4, segment)
}

#[test]
fn a_target_is_reached_once_between_its_lead_and_the_end_of_its_sound() {
    let rig = resting_open(1.0);
    let open = rig.pose(MouthShape::Open).target[Dof::JawOpen];
    let segment = Segment::new(s(1.0), s(1.2), MouthShape::Open);
    // Sent 0.02 s ahead, and 0.04 s more for the lead: from 0.94 s, frame 57, to before 1.18 s, frame 69.
    for (frame, reached) in [(56, false), (57, true), (68, true), (69, false)] {
        let found = missed(&rig, &segment, open, frame..frame + 1);
        assert_eq!(found.is_empty(), reached, "at frame {frame} alone: {found:?}");
    }
    // 15 % of the way from rest may be missing.
    for (share, reached) in [(0.86, true), (0.84, false)] {
        let found = missed(&rig, &segment, 1.0 + share * (open - 1.0), 0..200);
        assert_eq!(found.is_empty(), reached, "{share}: {found:?}");
    }
    let mut half = segment.clone();
    half.strength = 0.5;
    for (share, reached) in [(0.43, true), (0.42, false)] {
        let found = missed(&rig, &half, 1.0 + share * (open - 1.0), 0..200);
        assert_eq!(found.is_empty(), reached, "{share} at half strength: {found:?}");
    }
    let found = missed(&rig, &half, 1.0 + 0.3 * (open - 1.0), 60..61);
    let [short] = found.as_slice() else { panic!("{found:?}") };
    assert_eq!((short.segment, short.shape, short.by), (4, MouthShape::Open, LimitedBy::Speed));
    assert!(close(short.time.value(), 1.02) && close(short.wanted, 1.0 + 0.5 * (open - 1.0)), "{short:?}");
    assert!((short.reached - 1.0 - 0.3 * (open - 1.0)).abs() < 1e-4 && short.importance == 1.0);
    // Half a millimetre is not seen, however small the way: 0.1 of the vowel.
    let mut faint = segment.clone();
    faint.strength = 0.4 / (open - 1.0);
    assert_eq!(missed(&rig, &faint, 1.0, 0..200), []);
    // Silence asks for nothing, and a shape not for what hardly matters to it.
    let mut rest = segment.clone();
    rest.shape = MouthShape::Rest;
    assert_eq!(missed(&rig, &rest, open, 0..200), []);
    for (importance, told) in [(0.3, true), (0.29, false)] {
        let found = missed(&resting_open(importance), &segment, 1.0, 0..200);
        assert_eq!(!found.is_empty(), told, "{importance}");
    }
    // What the skin does not allow is its travel's fault, whatever limits the servo.
    let mut strong = segment.clone();
    strong.strength = 1.5;
    let most = rig.dof(Dof::JawOpen).expect("a jaw").skin_max;
    if 1.0 + 1.5 * (open - 1.0) > most {
        let found = missed(&rig, &strong, 1.0, 0..200);
        assert_eq!(found.iter().map(|f| f.by).collect::<Vec<_>>(), [LimitedBy::Travel]);
    }
}

/// Pursed half as strong again wants corners further in than their skin goes: that is the skin's doing, whatever
/// limits the servos.
#[test]
fn below_the_skins_least_as_above_its_most_its_travel_is_to_blame() {
    let rig = Rig::harbourmaster();
    let settings = settings();
    let view = View { rig: &rig, groups: &[], timeline: TIMELINE, settings: &settings };
    let curves = curves(&rig, &[], 0..0);
    for (shape, strength, by) in [
        (MouthShape::Pursed, 1.5, LimitedBy::Travel),
        (MouthShape::Spread, 1.5, LimitedBy::Travel),
        (MouthShape::Pursed, 1.0, LimitedBy::Speed),
    ] {
        let mut segment = Segment::new(s(1.0), s(1.2), shape);
        segment.strength = strength;
        let corner = Dof::CornerLeftX;
        let (spec, wanted) = (rig.dof(corner).expect("a corner"), strength * rig.pose(shape).target[corner]);
        assert_eq!(wanted < spec.skin_min || wanted > spec.skin_max, by == LimitedBy::Travel, "{wanted}");
        let found = shortfalls(&view, &curves, 0, &segment);
        let short = found.iter().find(|f| f.dof == corner).expect("corners at rest miss it");
        assert_eq!((short.wanted, short.by), (wanted, by), "{shape} {strength}");
    }
}

/// A closure is made where the lips meet once in the time of its sound, and then; else it is missed by the least gap.
#[test]
fn a_closure_is_made_in_the_frame_in_which_the_lips_meet() {
    use crate::motion::head::Head;
    use crate::motion::targets::ContactKind;
    let rig = Preset::JawAndLips.rig();
    let head = Head::new(&rig, TIMELINE.frame).expect("it stands");
    let settings = settings();
    let view = View { rig: &rig, groups: &head.groups, timeline: TIMELINE, settings: &settings };
    let (kind, target) = (ContactKind::Lips, rig.pose(MouthShape::Bilabial).target);
    let contact = Contact { segment: 3, kind, target, first: 60, end: 70, centre: 65 };
    let said = |jaws: &[(usize, f64)]| {
        let mut open = curves(&rig, &[(Dof::JawOpen, 9.0)], 0..200);
        for &(frame, jaw) in jaws {
            let there = curves(&rig, &[(Dof::JawOpen, jaw)], frame..frame + 1);
            open.iter_mut().zip(&there).for_each(|(to, from)| to.planned[frame] = from.planned[frame]);
        }
        view.contact(&contact, &open).expect("it has lips")
    };
    for frame in [60, 66, 69] {
        let made = said(&[(frame, 0.0)]);
        assert_eq!(
            (made.segment, made.kind, made.reached),
            (3, ContactKind::Lips, true),
            "{frame}: {made:?}"
        );
        assert!(
            made.missing <= 0.0 && close(made.time.value(), (frame as f64 - 9.0) * 0.02),
            "{frame}: {made:?}"
        );
    }
    for outside in [59, 70] {
        assert!(!said(&[(outside, 0.0)]).reached, "{outside}");
    }
    // Two millimetres nearer in frame 64 than anywhere else.
    let missed = said(&[(64, 7.0)]);
    let per_jaw = rig.face().lower_lip_per_jaw;
    assert!(!missed.reached && close(missed.time.value(), 1.1), "{missed:?}");
    let nearer = said(&[]).missing - missed.missing;
    assert!((nearer - 2.0 * per_jaw).abs() < 1e-3, "{nearer}");
    // A head without lips or jaw there cannot make it.
    let without = View { groups: &[], ..view };
    assert!(without.contact(&contact, &curves(&rig, &[], 0..0)).is_none());
}

fn looks_missed(
    rig: &Rig,
    keys: &[ExpressionKey],
    duration: f64,
    values: &[(Dof, f64)],
    there: Range<usize>,
) -> Vec<LookShortfall> {
    let settings = settings();
    let view = View { rig, groups: &[], timeline: TIMELINE, settings: &settings };
    let wishes = Wishes { segments: &[], expressions: keys, events: &[], duration: s(duration) };
    look_shortfalls(&view, &curves(rig, values, there), wishes)
}

#[test]
fn a_look_is_there_within_a_quarter_of_a_second_or_before_the_next() {
    let rig = Preset::Lookout.rig();
    let key = |time: f64, neck: f64| {
        let mut key = ExpressionKey::new(s(time), Expression::Neutral);
        key.values.insert(Dof::NeckTurn, neck);
        key
    };
    let aside = |next: f64| [key(1.0, 20.0), key(next, 0.0)];
    let first = |keys: &[ExpressionKey], duration: f64, frame: usize| {
        let found = looks_missed(&rig, keys, duration, &[(Dof::NeckTurn, 20.0)], frame..frame + 1);
        found.iter().any(|f| f.key == 0)
    };
    // From 1 s, frame 59, for a quarter of a second: before 1.25 s, frame 71.
    for (frame, there) in [(58, false), (59, true), (71, true), (72, false)] {
        assert_eq!(!first(&aside(3.0), 4.0, frame), there, "frame {frame}");
    }
    // Until the next at 1.1 s: frame 63. Or until the line ends.
    for (frame, there) in [(63, true), (64, false)] {
        assert_eq!(!first(&aside(1.1), 4.0, frame), there, "frame {frame}, before the next");
        assert_eq!(!first(&aside(1.1)[..1], 1.1, frame), there, "frame {frame}, before the end");
    }
    let found = looks_missed(&rig, &aside(3.0)[..1], 4.0, &[(Dof::NeckTurn, 12.0)], 60..61);
    let [short] = found.as_slice() else { panic!("{found:?}") };
    assert_eq!((short.dof, short.wanted, short.by), (Dof::NeckTurn, 20.0, LimitedBy::Speed));
    assert!(close(short.time.value(), 1.02) && (short.reached - 12.0).abs() < 1e-3, "{short:?}");
}

#[test]
fn looks_ask_for_what_matters_to_them_by_their_amount_and_never_for_lids() {
    let mut d = Preset::Lookout.describe();
    d.dofs.iter_mut().filter(|x| x.dof == Dof::BrowLeftInner).for_each(|x| x.rest = 1.0);
    d.dofs.iter_mut().filter(|x| x.dof == Dof::BrowLeftOuter).for_each(|x| x.rest = 1.0);
    let rig = Rig::new(d).expect("valid");
    let key = ExpressionKey { amount: 0.5, ..ExpressionKey::new(s(1.0), Expression::Shocked) };
    let pose = rig.expression(Expression::Shocked);
    assert!(pose.importance[Dof::LidLeft] > 0.0, "the test wants a look that moves lids");
    let found = looks_missed(&rig, &[key], 4.0, &[], 0..0);
    let brow = found.iter().find(|f| f.dof == Dof::BrowLeftInner).expect("a brow at rest is not shocked");
    assert!(close(brow.wanted, 1.0 + 0.5 * (pose.target[Dof::BrowLeftInner] - 1.0)), "{brow:?}");
    assert!(
        found.iter().all(|f| pose.importance[f.dof] > 0.0 && f.dof.part() != FacePart::Lids),
        "{found:?}"
    );
    // Asked for by its own value, a lid counts.
    let mut wink = ExpressionKey::new(s(1.0), Expression::Neutral);
    wink.values.insert(Dof::LidLeft, 8.0);
    let found = looks_missed(&rig, &[wink], 4.0, &[], 0..0);
    assert_eq!(found.iter().map(|f| (f.dof, f.wanted)).collect::<Vec<_>>(), [(Dof::LidLeft, 8.0)]);
}

/// Of two servos that move one part the one is named that is farther from its own angle, whatever the angles are.
#[test]
fn of_two_servos_the_one_farther_off_is_named() {
    let rig = Rig::harbourmaster();
    let corner = Dof::CornerLeftX;
    let pair = rig.mechanisms().iter().find(|m| m.drives().iter().any(|d| d.dof == corner)).expect("there");
    let (a, b) = (pair.servos()[0].0, pair.servos()[1].0);
    let segment = Segment::new(s(1.0), s(1.2), MouthShape::Spread);
    let settings = settings();
    let view = View { rig: &rig, groups: &[], timeline: TIMELINE, settings: &settings };
    for (off_a, off_b, named) in [(2.0, 6.0, b), (6.0, 2.0, a), (-2.0, 6.0, b), (-6.0, 2.0, a)] {
        let mut curves = curves(&rig, &[], 0..0);
        for (servo, off) in [(a, off_a), (b, off_b)] {
            for t in 0..TIMELINE.frames {
                // As far on the other side of 0 as it is off: their sum is what they are not judged by.
                let planned = curves[servo].planned[t];
                curves[servo].wanted[t] = planned + Degrees::new(off);
            }
        }
        let found = shortfalls(&view, &curves, 0, &segment);
        let short = found.iter().find(|f| f.dof == corner).expect("corners at rest miss it");
        assert_eq!(short.servo.0, named, "{off_a} and {off_b}");
    }
}

/// A servo that stands at −p and is wanted at p is 2 p off, though the two numbers cancel; one that stands at p and is
/// wanted there is not off at all.
#[test]
fn far_off_is_a_matter_of_the_difference() {
    let rig = Rig::harbourmaster();
    let corner = Dof::CornerLeftX;
    let pair = rig.mechanisms().iter().find(|m| m.drives().iter().any(|d| d.dof == corner)).expect("there");
    let servos = [pair.servos()[0].0, pair.servos()[1].0];
    let segment = Segment::new(s(1.0), s(1.2), MouthShape::Spread);
    let settings = settings();
    let view = View { rig: &rig, groups: &[], timeline: TIMELINE, settings: &settings };
    for far in servos {
        let mut curves = curves(&rig, &[(corner, 3.0)], 0..TIMELINE.frames);
        for t in 0..TIMELINE.frames {
            curves[far].wanted[t] = Degrees::new(-curves[far].planned[t].value());
        }
        assert!(servos.iter().all(|&k| curves[k].planned[0].abs().value() > 3.0));
        let found = shortfalls(&view, &curves, 0, &segment);
        assert_eq!(found.iter().find(|f| f.dof == corner).map(|f| f.servo.0), Some(far));
    }
}

/// What is asked for at the very end of the skin is not beyond it: what limits the servo is to blame.
#[test]
fn the_skins_own_ends_are_within_it() {
    let rig = Preset::Lookout.rig();
    let neck = *rig.dof(Dof::NeckTurn).expect("a neck");
    for (value, by) in [
        (neck.skin_min, LimitedBy::Speed),
        (neck.skin_max, LimitedBy::Speed),
        (neck.skin_min - 1.0, LimitedBy::Travel),
        (neck.skin_max + 1.0, LimitedBy::Travel),
    ] {
        let mut key = ExpressionKey::new(s(1.0), Expression::Neutral);
        key.values.insert(Dof::NeckTurn, value);
        let found = looks_missed(&rig, &[key], 3.0, &[], 0..0);
        assert_eq!(found.iter().map(|f| f.by).collect::<Vec<_>>(), [by], "{value}");
    }
}

/// However short a wish is, and however late, one frame is looked at.
#[test]
fn the_shortest_and_the_latest_wish_has_a_frame() {
    let rig = resting_open(1.0);
    let settings = PlanSettings { servo_lag: s(0.02), visual_lead: s(0.0), ..PlanSettings::default() };
    let view = View { rig: &rig, groups: &[], timeline: TIMELINE, settings: &settings };
    let curves = curves(&rig, &[], 0..0);
    for (start, end) in [(1.001, 1.002), (3.79, 3.81), (3.9, 4.1), (50.0, 50.2)] {
        let segment = Segment::new(s(start), s(end), MouthShape::Open);
        assert_eq!(shortfalls(&view, &curves, 0, &segment).len(), 1, "{start} s");
    }
    let lookout = Preset::Lookout.rig();
    let key = |time: f64| {
        let mut key = ExpressionKey::new(s(time), Expression::Neutral);
        key.values.insert(Dof::NeckTurn, 20.0);
        key
    };
    for time in [1.011, 1.012, 1.013, 3.79, 3.9, 50.0] {
        let keys = [key(time), key(time + 0.001)];
        let found = looks_missed(&lookout, &keys, 60.0, &[], 0..0);
        assert_eq!(found.iter().map(|f| f.key).collect::<Vec<_>>(), [0, 1], "{time} s");
    }
}

#[test]
fn a_look_does_not_ask_for_what_it_does_not_care_about() {
    let mut d = Preset::Lookout.describe();
    let own = d.expressions.entry(Expression::Smile).or_default();
    own.target.insert(Dof::JawOpen, 5.0);
    own.importance.insert(Dof::JawOpen, 0.0);
    let rig = Rig::new(d).expect("still a head");
    let found = looks_missed(&rig, &[ExpressionKey::new(s(1.0), Expression::Smile)], 3.0, &[], 0..0);
    assert!(found.iter().all(|f| f.dof != Dof::JawOpen), "{found:?}");
}
