//! Planning again against planning anew, on a jaw alone and on a jaw with lips: quick enough to be asked of many edits.

use super::super::plan::plan_line;
use super::super::{PlanSettings, plan};
use super::*;
use crate::line::{Event, ExpressionKey};
use crate::motion::tests::segment;
use crate::phonetics::MouthShape::{self, *};
use crate::progress::Quiet;
use crate::rig::{Expression, Preset};
use crate::units::Seconds;

fn s(value: f64) -> Seconds {
    Seconds::new(value)
}

/// So many segments of a tenth of a second from 0.3 s on, with a closure every fifth.
fn line(count: usize) -> Vec<Segment> {
    let at = |k: usize| 0.3 + 0.1 * k as f64;
    const SHAPES: [MouthShape; 5] = [Open, HalfOpen, Bilabial, Spread, Velar];
    (0..count).map(|k| segment(at(k), at(k + 1), SHAPES[k % 5])).collect()
}

fn anew(segments: &[Segment], rig: &Rig, seconds: f64) -> Plan {
    plan(segments, s(seconds), rig, &PlanSettings::default(), &mut Quiet).expect("it plans")
}

/// All that a plan says is what the other says, but for the proof; angles within a twentieth of a degree.
fn same(a: &Plan, b: &Plan, what: &str) {
    for (k, (x, y)) in a.servos.iter().zip(&b.servos).enumerate() {
        assert_eq!(x.wanted, y.wanted, "{what}: servo {k}");
        for (t, (p, q)) in x.planned.iter().zip(&y.planned).enumerate() {
            assert!((*p - *q).abs().value() < 0.05, "{what}: servo {k} frame {t}: {p} and {q}");
        }
        let differ = x.limited.iter().zip(&y.limited).filter(|(a, b)| a != b).count();
        assert!(differ <= x.limited.len() / 50, "{what}: {differ} reasons differ");
    }
    let kinds = |p: &Plan| p.contacts.iter().map(|c| (c.segment, c.kind, c.reached)).collect::<Vec<_>>();
    assert_eq!(kinds(a), kinds(b), "{what}");
    let missed = |p: &Plan| p.shortfalls.iter().map(|s| (s.segment, s.dof)).collect::<Vec<_>>();
    assert_eq!(missed(a), missed(b), "{what}");
    let looks = |p: &Plan| p.looks.iter().map(|l| l.key).collect::<Vec<_>>();
    assert_eq!(looks(a), looks(b), "{what}");
    assert_eq!(a.event_shortfalls.len(), b.event_shortfalls.len(), "{what}");
    assert_eq!(a.targets, b.targets, "{what}");
    assert_eq!((&a.segments, &a.expressions, &a.events), (&b.segments, &b.expressions, &b.events), "{what}");
    for (t, (x, y)) in a.currents.iter().zip(&b.currents).enumerate() {
        assert!((x - y).abs() < 0.02, "{what}: {x} A and {y} A at {t}");
    }
    let (x, y) = (&a.summary, &b.summary);
    assert!((x.objective - y.objective).abs() < 2e-4 * y.objective + 1e-4, "{what}: {x:?} and {y:?}");
    assert!((x.weighted_error - y.weighted_error).abs() < 1e-3, "{what}: {x:?} and {y:?}");
    assert!(
        (a.squares.0 - b.squares.0).abs() < 1e-3 * b.squares.0 + 1e-4,
        "{what}: {:?} {:?}",
        a.squares,
        b.squares
    );
    assert!(
        (a.squares.1 - b.squares.1).abs() < 1e-9 * b.squares.1,
        "{what}: {:?} {:?}",
        a.squares,
        b.squares
    );
    assert_eq!((x.closures, x.closures_reached), (y.closures, y.closures_reached), "{what}");
    assert!((x.peak_current.value() - y.peak_current.value()).abs() < 0.02, "{what}: {x:?} and {y:?}");
    assert_eq!(x.gap, None, "{what}");
    assert_eq!(x.status, PlanStatus::WithinLimits, "{what}");
}

/// Every kind of edit in the middle, at the beginning and at the end of a line of eight seconds: the cut is shorter than
/// the line, so that what lies outside must be carried over.
#[test]
fn after_any_edit_the_plan_is_what_planning_anew_gives() {
    type Edits = Vec<(&'static str, Box<dyn Fn(&mut Vec<Segment>)>)>;
    let edits: Edits = vec![
        ("another shape", Box::new(|l| l[35].shape = Rounded)),
        ("a boundary", Box::new(|l| (l[40].end, l[41].start) = (s(4.43), s(4.43)))),
        ("one less", Box::new(|l| without(l.remove(30)))),
        (
            "one more",
            Box::new(|l| {
                l[30].end = s(3.35);
                l.insert(31, segment(3.35, 3.4, Bilabial));
            }),
        ),
        ("the first", Box::new(|l| l[0].shape = Bilabial)),
        ("the last", Box::new(|l| l.last_mut().expect("there is one").shape = Open)),
        ("the first away", Box::new(|l| without(l.remove(0)))),
        ("the last away", Box::new(|l| without(l.pop()))),
        ("two far apart", Box::new(|l| (l[10].shape, l[60].shape) = (Bilabial, Bilabial))),
        ("all of them", Box::new(|l| l.clear())),
    ];
    let rig = Rig::jaw_only();
    let before = line(70);
    let first = anew(&before, &rig, 8.0);
    for (what, edit) in edits {
        let mut after = before.clone();
        edit(&mut after);
        let mut plan = first.clone();
        replan(&mut plan, &after, &rig, &mut Quiet).expect("it plans again");
        same(&plan, &anew(&after, &rig, 8.0), what);
        // And back again, by another edit.
        replan(&mut plan, &before, &rig, &mut Quiet).expect("it plans again");
        same(&plan, &first, &format!("{what}, undone"));
    }
}

/// However far shapes lead, sounds wait and silence is deep: what an edit changes is planned again, wherever that shows.
#[test]
fn an_edit_is_planned_again_wherever_it_shows() {
    let usual = PlanSettings::default();
    let all = [
        PlanSettings { visual_lead: s(0.5), jaw_lead: s(0.5), silence_depth: s(2.0), ..usual },
        PlanSettings { visual_lead: s(0.7), audio_delay: s(4.0), ..usual },
        PlanSettings { audio_delay: s(-5.0), overlap: s(0.3), ..usual },
        PlanSettings { audio_delay: s(1.5), ..usual },
        PlanSettings { servo_lag: s(1.0), ..usual },
        PlanSettings { visual_lead: s(0.7), jaw_lead: s(0.7), silence_depth: s(0.01), ..usual },
    ];
    let rig = Rig::jaw_only();
    let mut before = line(25);
    before.extend((0..5).map(|k| segment(14.0 + 0.1 * f64::from(k), 14.1 + 0.1 * f64::from(k), Open)));
    let mut faster = before.clone();
    faster[12].shape = Rounded;
    let mut silent = before.clone();
    silent.truncate(25);
    let anew = |segments: &[Segment], settings: &PlanSettings| {
        plan(segments, s(18.0), &rig, settings, &mut Quiet).expect("it plans")
    };
    for (k, settings) in all.iter().enumerate() {
        for after in [&faster, &silent] {
            let mut plan = anew(&before, settings);
            replan(&mut plan, after, &rig, &mut Quiet).expect("it plans again");
            same(&plan, &anew(after, settings), &format!("settings {k}"));
        }
    }
}

/// What stays still at the ends of its first cut is not cut wider, and servos that have nothing to do with it are not
/// planned at all: brows in the middle of a look keep their angles to the last bit.
#[test]
fn a_small_edit_is_one_cut_and_leaves_other_groups_alone() {
    let rig = Preset::Lookout.rig();
    let keys = [(0.5, Expression::Smile), (2.0, Expression::Angry), (3.0, Expression::Shocked)];
    let keys: Vec<ExpressionKey> = keys.into_iter().map(|(t, e)| ExpressionKey::new(s(t), e)).collect();
    let segments = line(30);
    let wishes = Wishes { segments: &segments, expressions: &keys, events: &[], duration: s(20.0) };
    let first = plan_wishes(wishes, &rig, &PlanSettings::default(), &mut Quiet).expect("it plans");
    let mut after = segments.clone();
    after[15].shape = Rounded;
    let mut plan = first.clone();
    let mut cuts = 0;
    let mut counted = |_: &'static str, _: f64| {
        cuts += 1;
        true
    };
    replan(&mut plan, &after, &rig, &mut counted).expect("it plans again");
    assert_eq!(cuts, 1);
    let jaw = rig.servos().iter().position(|s| s.name.contains("jaw")).expect("a jaw");
    assert_ne!(plan.servos[jaw].planned, first.servos[jaw].planned);
    let mut alone = 0;
    for (group, servo) in
        rig.mechanisms().iter().flat_map(|m| m.servos().iter().map(move |s| (m.drives()[0].dof, s.0)))
    {
        if matches!(group.part(), crate::rig::FacePart::Brows | crate::rig::FacePart::Neck) {
            alone += 1;
            assert_eq!(plan.servos[servo].planned, first.servos[servo].planned, "{group}");
        }
    }
    assert!(alone > 1);
}

#[test]
fn lips_that_tie_servos_together_are_planned_again_together() {
    let rig = Preset::JawAndLips.rig();
    let before = line(40);
    let mut plan = anew(&before, &rig, 5.0);
    let mut after = before.clone();
    after[4].shape = Bilabial;
    (after[7].end, after[8].start) = (s(1.06), s(1.06));
    replan(&mut plan, &after, &rig, &mut Quiet).expect("it plans again");
    same(&plan, &anew(&after, &rig, 5.0), "lips");
}

#[test]
fn what_has_not_changed_is_not_touched() {
    let rig = Rig::jaw_only();
    let segments = line(40);
    let first = anew(&segments, &rig, 8.0);
    let mut plan = first.clone();
    replan(&mut plan, &segments, &rig, &mut Quiet).expect("nothing to do");
    assert_eq!(plan, first);
    // An edit near the end leaves the beginning as it is, to the last bit, and moves the end.
    let mut after = segments.clone();
    after[39].shape = Bilabial;
    replan(&mut plan, &after, &rig, &mut Quiet).expect("it plans again");
    let frames = plan.frames();
    let changed: Vec<usize> =
        (0..frames).filter(|&t| plan.servos[0].planned[t] != first.servos[0].planned[t]).collect();
    assert!(
        changed[0] > frames / 3 && changed.len() > 10,
        "{} of {frames} changed, from {}",
        changed.len(),
        changed[0]
    );
    assert_eq!(plan.currents[..changed[0] - 1], first.currents[..changed[0] - 1]);
}

#[test]
fn what_cannot_be_planned_again_is_refused_or_planned_anew() {
    let rig = Rig::jaw_only();
    let segments = line(10);
    let first = anew(&segments, &rig, 2.0);
    let mut plan = first.clone();
    let other = Preset::JawAndLips.rig();
    assert_eq!(replan(&mut plan, &segments, &other, &mut Quiet), Err(MotionError::OtherRig));
    let mut crossed = segments.clone();
    crossed.swap(3, 4);
    assert!(replan(&mut plan, &crossed, &rig, &mut Quiet).is_err());
    let mut after = segments.clone();
    after[5].shape = Rounded;
    assert_eq!(
        replan(&mut plan, &after, &rig, &mut |_: &'static str, _: f64| false),
        Err(MotionError::Cancelled)
    );
    assert_eq!(plan, first, "on an error the plan is as it was");
    // A longer line is another plan, proof and all; one that broke a limit is planned whole, too.
    let mut whole = after.clone();
    whole.insert(0, segment(0.0, 0.3, Rest));
    whole.push(segment(after[9].end.value(), 3.0, Rest));
    let long = Line::new(s(3.0), whole).expect("in order");
    replan_line(&mut plan, &long, &rig, &mut Quiet).expect("it plans");
    assert_eq!(plan, plan_line(&long, &rig, &PlanSettings::default(), &mut Quiet).expect("it plans"));
    let mut broken = first.clone();
    broken.summary.status = PlanStatus::OutsideLimits;
    replan(&mut broken, &after, &rig, &mut Quiet).expect("it plans");
    assert_eq!(broken, anew(&after, &rig, 2.0));
    // What was within its limits without proof stays so.
    let mut unproven = first.clone();
    unproven.summary.status = PlanStatus::WithinLimits;
    replan(&mut unproven, &after, &rig, &mut Quiet).expect("it plans");
    assert_eq!(unproven.summary.status, PlanStatus::WithinLimits);
}

/// A rail that feeds servos standing still and nothing more, or a little less than that: a silent line is within it, and
/// an edit that moves anything is drawn back to rest, or cannot be planned. Whether the line is cut whole or in its
/// middle, it is planned anew, and soon: the cut grows by threes.
#[test]
fn an_edit_that_the_rail_cannot_feed_is_planned_anew_and_says_so() {
    let mut d = Preset::JawOnly.describe();
    let rig = Rig::new(d.clone()).expect("a head");
    let head = Head::new(&rig, PlanSettings::default().frame.value()).expect("it stands");
    let moving = head.budget(PlanSettings::default().frame.value()).room;
    let budget = d.supply.budget_a;
    for (lacking, status) in [(0.0, PlanStatus::WithinLimits), (5e-7, PlanStatus::OutsideLimits)] {
        d.supply.budget_a = budget - moving - lacking;
        let rig = Rig::new(d.clone()).expect("a head that cannot move");
        for (seconds, most) in [(1.0, 1), (30.0, 4)] {
            let mut plan = anew(&[], &rig, seconds);
            assert_ne!(plan.summary.status, PlanStatus::OutsideLimits, "{seconds} s of silence");
            let middle = 0.5 * seconds;
            let open = [segment(middle - 0.1, middle + 0.1, Open)];
            let mut reports = 0;
            let mut counted = |stage: &'static str, share: f64| {
                // Planning anew reports shares of its own.
                reports += u32::from(stage == "planning" && share == 0.5);
                true
            };
            replan(&mut plan, &open, &rig, &mut counted).expect("it plans");
            assert!(reports <= most, "{seconds} s: {reports} cuts");
            assert_eq!(plan.summary.status, status, "{seconds} s");
            if status == PlanStatus::OutsideLimits {
                assert_eq!(plan, anew(&open, &rig, seconds));
            }
        }
    }
}

/// Old numbers and new ones: what stands before an edit keeps its number, what stands behind moves along, what was
/// changed has none.
#[test]
fn segments_keep_their_reports_under_their_new_numbers() {
    let rig = Rig::jaw_only();
    let old = line(6);
    let plan = anew(&old, &rig, 2.0);
    let edit = |new: &[Segment]| {
        let wishes = Wishes { segments: new, expressions: &[], events: &[], duration: plan.duration };
        let edit = Edit::between(&plan, wishes)?;
        let numbers: Vec<_> = (0..6).map(|k| edit.moved_to(k)).collect();
        Some((numbers, (edit.start * 100.0).round() as i32, (edit.end * 100.0).round() as i32))
    };
    let with = |change: &dyn Fn(&mut Vec<Segment>)| {
        let mut new = old.clone();
        change(&mut new);
        edit(&new)
    };
    let (none, all) = (None, (0..6).map(Some).collect::<Vec<_>>());
    assert_eq!(with(&|_| ()), None);
    let changed = |k: usize| {
        let mut numbers = all.clone();
        numbers[k] = none;
        numbers
    };
    assert_eq!(with(&|l| l[2].shape = Rounded), Some((changed(2), 50, 60)));
    assert_eq!(with(&|l| l[0].shape = Rounded), Some((changed(0), 30, 40)));
    assert_eq!(with(&|l| l[5].end = s(1.0)), Some((changed(5), 80, 100)));
    assert_eq!(with(&|l| l[5].end = s(0.85)), Some((changed(5), 80, 90)));
    let less = [Some(0), Some(1), none, Some(2), Some(3), Some(4)].to_vec();
    assert_eq!(with(&|l| without(l.remove(2))), Some((less, 50, 60)));
    assert_eq!(with(&|l| without(l.pop())), Some((changed(5), 80, 90)));
    let more = [Some(0), Some(1), none, Some(4), Some(5), Some(6)].to_vec();
    let split = |l: &mut Vec<Segment>| {
        l[2].end = s(0.55);
        l.insert(3, segment(0.55, 0.6, Rounded));
    };
    assert_eq!(with(&split), Some((more, 50, 60)));
    assert_eq!(with(&|l| l.push(segment(0.95, 1.0, Open))), Some((all.clone(), 95, 100)));
    // Two that are alike, one of them taken away: both ends find it equal, and it is counted once.
    let mut twice = old.clone();
    twice.insert(3, twice[2].clone());
    let (numbers, ..) = edit(&twice).expect("they differ");
    assert_eq!(numbers, [Some(0), Some(1), Some(2), Some(4), Some(5), Some(6)]);
}

/// A track that strays at the very ends of the cut has moved; one that strays inside has not, and at the ends of the
/// line there is nothing beyond.
#[test]
fn a_cut_is_wide_enough_where_its_last_four_frames_stay() {
    let rig = Preset::JawAndLips.rig();
    let segments = line(40);
    let plan = anew(&segments, &rig, 5.0);
    let timeline = plan.targets.timeline;
    for cut in [40..140, 0..140, 40..timeline.frames, 0..timeline.frames] {
        let wishes = Wishes { segments: &segments, expressions: &[], events: &[], duration: plan.duration };
        let targets = Targets::over(timeline.cropped(&cut), wishes, &rig, &plan.settings);
        let planner =
            Planner::new(Head::new(&rig, timeline.frame).expect("it stands"), targets, plan.settings);
        let groups = planner.head.groups.clone();
        let tracks: Vec<Track> =
            groups.iter().map(|g| Track::of_plan(&planner, g, &plan.servos, cut.start)).collect();
        assert!(!moved(&planner, &plan, &cut, &groups, &tracks));
        let (n, m) = (cut.len(), groups[0].servos.len());
        for t in 0..n {
            let known = t < 2 || t >= n - 2;
            let end = (cut.start > 0 && t < 6) || (cut.end < timeline.frames && t >= n - 6);
            for (c, by) in [(0, 0.03), (m - 1, -0.03), (m - 1, 0.03), (0, 0.01)] {
                let mut strayed = tracks.clone();
                strayed[0].angles[t * m + c] += by;
                let expected = end && !known && by.abs() > STILL;
                assert_eq!(moved(&planner, &plan, &cut, &groups, &strayed), expected, "{cut:?}, {t}, {by}");
            }
        }
    }
}

/// Looks and blinks reach over the lane's keys and to the end of their own time.
#[test]
fn looks_and_blinks_are_planned_again_where_they_differ() {
    let rig = Preset::Lookout.rig();
    let settings = PlanSettings::default();
    let keys = [(1.0, Expression::Smile), (4.0, Expression::Neutral), (6.0, Expression::Angry)];
    let keys: Vec<ExpressionKey> = keys.into_iter().map(|(t, e)| ExpressionKey::new(s(t), e)).collect();
    let events = [Event::blink(s(2.0)), Event::blink(s(5.0))];
    let segments = line(3);
    let wish = |keys: &'static [usize], events: &'static [usize]| (keys, events);
    let all = wish(&[0, 1, 2], &[0, 1]);
    let planned = |(k, e): (&[usize], &[usize])| {
        let keys: Vec<ExpressionKey> = k.iter().map(|&k| self::pick(&keys, k)).collect();
        let events: Vec<Event> = e.iter().map(|&k| self::pick(&events, k)).collect();
        (keys, events)
    };
    let duration = s(8.0);
    let (k, e) = planned(all);
    let first = Wishes { segments: &segments, expressions: &k, events: &e, duration };
    let first = plan_wishes(first, &rig, &settings, &mut Quiet).expect("it plans");
    for other in [wish(&[0, 1], &[0, 1]), wish(&[0, 1, 2], &[0]), wish(&[1, 2], &[1])] {
        let (k, e) = planned(other);
        let wishes = Wishes { segments: &segments, expressions: &k, events: &e, duration };
        let mut plan = first.clone();
        replan_wishes(&mut plan, wishes, &rig, &mut Quiet).expect("it plans again");
        let anew = plan_wishes(wishes, &rig, &settings, &mut Quiet).expect("it plans");
        same(&plan, &anew, &format!("{other:?}"));
    }
}

/// What is taken out of a list is not looked at.
fn without<T>(_: T) {}

fn pick<T: Clone>(all: &[T], k: usize) -> T {
    all[k].clone()
}
