//! What the face should do at every controller frame, and how much each part of it matters.
//!
//! Every segment pulls every DOF towards its pose with weight `importance² · fade(t)`. The fade is
//! flat inside the segment, a little lower at its ends, and crosses over to the neighbour within
//! `overlap` of the boundary; it is 0 beyond, unlike the exponential dominance of M. Cohen and
//! D. Massaro (1993). The sum of all pulls on a DOF,
//! `Σs ws (x − xs)² = (Σ ws)(x − x̄)² + const` with `x̄ = Σ ws xs / Σ ws`, is one wanted value and one
//! weight per frame.

use super::events::Pulls;
use super::settings::{MotionError, PlanSettings};
use crate::line::{Event, ExpressionKey, Segment, lane_at};
use crate::phonetics::MouthShape;
use crate::rig::{Dof, DofValues, FacePart, Rig, ShapePose};
use crate::units::Seconds;
use std::ops::Range;

/// Weight with which every DOF is held to its rest value where no shape asks for it.
const IDLE_WEIGHT: f64 = 1e-4;

/// Share of the weight lost at the ends of a segment.
const END_DIP: f64 = 0.4;

/// Weight of a held shape from its start to its end, against that of another in its middle: what moves
/// from one to the next moves in the other's time.
const HELD: f64 = 4.0;

/// A shape may lead its sound by this share of its own length at most where it must touch: the
/// contact has to hold while it sounds.
const CONTACT_LEAD: f64 = 0.35;

/// Strength below which a closure is a hint and not a contact.
const CONTACT_STRENGTH: f64 = 0.3;

/// Controller frames of one line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Timeline {
    /// Seconds per frame.
    pub(super) frame: f64,
    /// Frame at line time 0.
    pub(super) origin: i64,
    /// Number of frames.
    pub(super) frames: usize,
}

impl Timeline {
    /// Room before 0 and after the end for the planned motion to start from and return to rest.
    pub(super) fn new(duration: f64, rig: &Rig, settings: &PlanSettings) -> Self {
        let frame = settings.frame.value();
        let lead = [settings.jaw_lead, settings.lip_lead, settings.corner_lead, settings.tongue_lead]
            .into_iter()
            .fold(0.0_f64, |a, b| a.max(b.value()))
            + settings.visual_lead.value();
        let earliest = settings.advance() + lead;
        let latest = settings.advance() + settings.visual_lead.value().min(lead);
        // Longest way a servo may have to go to or from rest: full travel at full speed.
        let mut way: f64 = 0.2;
        for (servo, rest) in rig.servos().iter().zip(rig.rest_angles()) {
            let (low, high) = rig.travel(servo.id);
            let distance = (high.value() - rest.value()).max(rest.value() - low.value()).max(0.0);
            let speed = servo.speed_up.value().min(servo.speed_down.value());
            way = way.max(distance / speed + speed / servo.acceleration.value());
        }
        // A very slow servo does not hold up the show: beyond this it has less time than it wants.
        let way = way.min(2.0);
        let lead_frames = ((earliest + way).max(0.0) / frame).ceil() as usize + 3;
        let tail = (duration - latest + way).max(0.0);
        let frames = lead_frames + (tail / frame).ceil() as usize + 4;
        Self { frame, origin: lead_frames as i64, frames }
    }

    /// Only the frames `range`, counted from its start.
    pub(super) fn cropped(&self, range: &Range<usize>) -> Self {
        Self { frame: self.frame, origin: self.origin - range.start as i64, frames: range.len() }
    }

    /// Line time of a frame.
    pub(super) fn time(&self, frame: usize) -> f64 {
        (frame as i64 - self.origin) as f64 * self.frame
    }

    /// First frame at or after a line time, which need not be one of the frames there are.
    fn at_or_after(&self, time: f64) -> i64 {
        (time / self.frame - 1e-9).ceil() as i64 + self.origin
    }

    /// First frame at or after a line time, clamped to the frames there are.
    pub(super) fn ceil(&self, time: f64) -> usize {
        self.at_or_after(time).clamp(0, self.frames as i64) as usize
    }
}

/// What must touch what.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ContactKind {
    /// Upper against lower lip.
    Lips,
    /// Lower lip at the upper teeth.
    LipOnTeeth,
    /// Tongue tip at or behind the teeth.
    TongueTip,
    /// Tongue body at the palate.
    TongueBody,
}

impl ContactKind {
    /// The contact that a shape lives by.
    #[must_use]
    pub fn of(shape: MouthShape) -> Option<Self> {
        match shape {
            MouthShape::Bilabial => Some(Self::Lips),
            MouthShape::Labiodental => Some(Self::LipOnTeeth),
            MouthShape::Dental | MouthShape::Alveolar => Some(Self::TongueTip),
            MouthShape::Velar => Some(Self::TongueBody),
            _ => None,
        }
    }
}

/// A contact asked for by one segment.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Contact {
    /// Position of its segment.
    pub(super) segment: usize,
    pub(super) kind: ContactKind,
    /// Pose to be reached.
    pub(super) target: DofValues,
    /// Frames whose position shows while the segment sounds: `first .. end`, never empty.
    pub(super) first: usize,
    pub(super) end: usize,
    /// The frame in the middle of the led segment.
    pub(super) centre: usize,
}

/// What is to be played.
#[derive(Clone, Copy)]
pub(super) struct Wishes<'a> {
    pub(super) segments: &'a [Segment],
    pub(super) expressions: &'a [ExpressionKey],
    pub(super) events: &'a [Event],
    pub(super) duration: Seconds,
}

/// Wanted values and weights of one line on one rig.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Targets {
    pub(super) timeline: Timeline,
    /// Wanted DOF values per frame.
    pub(super) wanted: Vec<DofValues>,
    /// Weight of the squared error per frame and DOF, 1/mm².
    pub(super) weight: Vec<DofValues>,
    pub(super) contacts: Vec<Contact>,
}

/// A stretch with one pose: a segment, half a diphthong, or silence.
struct Span {
    start: f64,
    end: f64,
    shape: MouthShape,
    strength: f64,
    /// Whole from start to end; neighbours keep out.
    held: bool,
}

impl Targets {
    pub(super) fn new(wishes: Wishes<'_>, rig: &Rig, settings: &PlanSettings) -> Result<Self, MotionError> {
        settings.validate()?;
        let length = wishes.duration.value();
        if !(0.0..=MotionError::LONGEST_LINE).contains(&length) {
            return Err(MotionError::BadDuration(length));
        }
        check(wishes)?;
        Ok(Self::over(Timeline::new(length, rig, settings), wishes, rig, settings))
    }

    /// For checked wishes, over the frames of any part of the line's timeline.
    pub(super) fn over(timeline: Timeline, wishes: Wishes<'_>, rig: &Rig, settings: &PlanSettings) -> Self {
        let mut targets = Self {
            timeline,
            wanted: vec![DofValues::default(); timeline.frames],
            weight: vec![DofValues::default(); timeline.frames],
            contacts: contacts(wishes.segments, rig, settings, timeline),
        };
        let rest = rig.rest();
        let looks = looks(timeline, wishes, rig, settings);
        // No lead or overlap is longer: spans further away have no frame here.
        let (first, last) = (timeline.time(0) - 10.0, timeline.time(timeline.frames) + 10.0);
        let spans = spans(wishes.segments);
        for (i, span) in spans.iter().enumerate() {
            if span.end > first && span.start < last {
                let held = |i: Option<usize>| i.and_then(|i| spans.get(i)).is_some_and(|s| s.held);
                let shut_out = [held(i.checked_sub(1)), held(Some(i + 1))];
                targets.add(span, shut_out, rig, &rest, &looks, settings);
            }
        }
        let pulls = Pulls::new(wishes, rig);
        for (t, look) in looks.iter().enumerate() {
            targets.add_look(t, look.as_ref(), rig);
            targets.add_events(t, timeline.time(t) + settings.advance(), &pulls, rig);
        }
        for (wanted, weight) in targets.wanted.iter_mut().zip(&mut targets.weight) {
            for dof in Dof::ALL {
                let total = weight[dof] + IDLE_WEIGHT;
                wanted[dof] = (wanted[dof] + IDLE_WEIGHT * rest[dof]) / total;
                weight[dof] = total;
            }
        }
        targets
    }

    /// Adds the pull of the expression lane at one frame.
    fn add_look(&mut self, t: usize, look: Option<&ShapePose>, rig: &Rig) {
        let Some(look) = look else { return };
        for spec in rig.dofs() {
            let dof = spec.dof;
            let weight = (look.importance[dof] * unit(dof)).powi(2);
            self.weight[t][dof] += weight;
            self.wanted[t][dof] += weight * look.target[dof];
        }
    }

    /// Adds weight and weight × target of one span (the division comes at the end). `shut_out`: the span
    /// before, and the span after, are held and let nothing else in.
    fn add(
        &mut self,
        span: &Span,
        shut_out: [bool; 2],
        rig: &Rig,
        rest: &DofValues,
        looks: &[Option<ShapePose>],
        settings: &PlanSettings,
    ) {
        let pose = rig.pose(span.shape);
        let overlap = settings.overlap.value().max(1e-6);
        let timeline = self.timeline;
        for spec in rig.dofs() {
            let dof = spec.dof;
            let importance = pose.importance[dof];
            if !(importance > 0.0) {
                continue;
            }
            let target = rest[dof] + span.strength * (pose.target[dof] - rest[dof]);
            let base = (importance * unit(dof)).powi(2);
            let shift = settings.advance() + lead(settings, dof.part(), span, false);
            let (start, end) = (span.start - shift, span.end - shift);
            let half = 0.5 * (end - start);
            let peak = fade(half, overlap);
            let out = shut_out.map(|held| if held { 0.0 } else { overlap });
            for t in timeline.ceil(start - out[0])..timeline.ceil(end + out[1]) {
                let time = timeline.time(t);
                let depth = (time - start).min(end - time);
                let mut weight = base * fade(depth, overlap) / peak;
                if span.held && depth >= 0.0 {
                    weight = HELD * base;
                } else if span.shape == MouthShape::Rest {
                    let u = smoothstep(depth / settings.silence_depth.value());
                    weight *= settings.rest_near_speech
                        + u * (settings.rest_in_silence - settings.rest_near_speech);
                } else {
                    let u = (1.0 - depth / half).clamp(0.0, 1.0);
                    weight *= 1.0 - END_DIP * u * u;
                }
                // In silence the look of the moment is what the face rests at.
                let target = match &looks[t] {
                    Some(look) if span.shape == MouthShape::Rest && look.importance[dof] > 0.0 => {
                        look.target[dof]
                    }
                    _ => target,
                };
                self.weight[t][dof] += weight;
                self.wanted[t][dof] += weight * target;
            }
        }
    }
}

/// Turns weigh less than millimetres: 1 degree of the head moves its side by about 1 mm per 57 mm of
/// radius.
pub(super) fn unit(dof: Dof) -> f64 {
    if dof.unit() == "deg" { 0.3 } else { 1.0 }
}

/// What the expression lane asks for at each frame that shows while the line lasts.
fn looks(
    timeline: Timeline,
    wishes: Wishes<'_>,
    rig: &Rig,
    settings: &PlanSettings,
) -> Vec<Option<ShapePose>> {
    let rest = rig.rest();
    let poses: Vec<ShapePose> = wishes.expressions.iter().map(|k| look(k, rig, &rest)).collect();
    // Keys stand at different times, which find them again.
    let pose_of = |key: &ExpressionKey| poses.get(wishes.expressions.partition_point(|k| k.time < key.time));
    let at = |t: usize| {
        let time = Seconds::new(timeline.time(t) + settings.advance());
        if !(time >= Seconds::ZERO && time <= wishes.duration) {
            return None;
        }
        let (before, next, share) = lane_at(wishes.expressions, time)?;
        let (a, b) = (pose_of(before)?, pose_of(next)?);
        let mut mixed = *a;
        for dof in Dof::ALL {
            mixed.target[dof] += share * (b.target[dof] - a.target[dof]);
            mixed.importance[dof] = a.importance[dof].max(b.importance[dof]);
        }
        Some(mixed)
    };
    (0..timeline.frames).map(at).collect()
}

/// One key's look on one rig.
fn look(key: &ExpressionKey, rig: &Rig, rest: &DofValues) -> ShapePose {
    let mut pose = *rig.expression(key.expression);
    for spec in rig.dofs() {
        let dof = spec.dof;
        pose.target[dof] = rest[dof] + key.amount * (pose.target[dof] - rest[dof]);
        if let Some(&own) = key.values.get(&dof) {
            (pose.target[dof], pose.importance[dof]) = (own, 1.0);
        }
        pose.target[dof] = pose.target[dof].clamp(spec.skin_min, spec.skin_max);
    }
    pose
}

/// Lead of a part of the face for one span; contacts cannot lead by more than a share of themselves.
fn lead(settings: &PlanSettings, part: FacePart, span: &Span, contact: bool) -> f64 {
    let further = match part {
        FacePart::Jaw => settings.jaw_lead,
        FacePart::Lips => settings.lip_lead,
        FacePart::Corners => settings.corner_lead,
        FacePart::Tongue => settings.tongue_lead,
        FacePart::Brows | FacePart::Neck | FacePart::Lids => Seconds::ZERO,
    };
    let lead = settings.visual_lead.value() + further.value();
    let most = CONTACT_LEAD * (span.end - span.start);
    if contact || ContactKind::of(span.shape).is_some() { lead.clamp(-most, most) } else { lead }
}

/// 0 at `overlap` outside, 1 at `overlap` inside, one half on the boundary.
fn fade(depth: f64, overlap: f64) -> f64 {
    smoothstep(0.5 * (depth / overlap + 1.0))
}

pub(super) fn smoothstep(x: f64) -> f64 {
    let x = x.clamp(0.0, 1.0);
    x * x * (3.0 - 2.0 * x)
}

pub(super) fn check(wishes: Wishes<'_>) -> Result<(), MotionError> {
    let mut before = f64::NEG_INFINITY;
    for (index, key) in wishes.expressions.iter().enumerate() {
        let good = key.time.value() > before
            && key.time.is_finite()
            && (0.0..=ExpressionKey::MOST).contains(&key.amount)
            && key.values.values().all(|v| v.abs() <= ExpressionKey::FURTHEST);
        if !good {
            return Err(MotionError::BadExpression { index });
        }
        before = key.time.value();
    }
    let mut before = Seconds::ZERO;
    for (index, event) in wishes.events.iter().enumerate() {
        // Written so that what is not a number fails, too.
        if !(event.time >= before && event.time.is_finite()) || event.fault().is_some() {
            return Err(MotionError::BadEvent { index });
        }
        before = event.time;
    }
    check_segments(wishes.segments)
}

fn check_segments(segments: &[Segment]) -> Result<(), MotionError> {
    let bad = |index, what| Err(MotionError::BadSegment { index, what });
    let mut last = f64::NEG_INFINITY;
    for (index, s) in segments.iter().enumerate() {
        let (start, end) = (s.start.value(), s.end.value());
        if !start.is_finite() || !end.is_finite() || !s.strength.is_finite() {
            return bad(index, "a time or strength is not a number");
        }
        if !(0.0..=Segment::MAX_STRENGTH).contains(&s.strength) {
            return bad(index, "its strength is outside 0 to 1.5");
        }
        if end < start {
            return bad(index, "it ends before it starts");
        }
        if start < last - 1e-6 {
            return bad(index, "it starts before the one before it ends");
        }
        if start < -1e-6 || end > MotionError::LONGEST_LINE + 1e-6 {
            return bad(index, "it lies outside the line");
        }
        last = end;
    }
    Ok(())
}

/// Spans in order: neighbouring silences merged, gaps filled, the two outer silences endless.
fn spans(segments: &[Segment]) -> Vec<Span> {
    const FAR: f64 = 1e5;
    let mut spans: Vec<Span> =
        vec![Span { start: -FAR, end: 0.0, shape: MouthShape::Rest, strength: 1.0, held: false }];
    for s in segments {
        let (start, end, strength, held) = (s.start.value(), s.end.value(), s.strength, s.held);
        if end - start < 1e-6 {
            continue;
        }
        match s.glide {
            Some(glide) if s.shape != MouthShape::Rest => {
                let middle = 0.5 * (start + end);
                push(&mut spans, Span { start, end: middle, shape: s.shape, strength, held });
                push(&mut spans, Span { start: middle, end, shape: glide, strength, held });
            }
            _ => push(&mut spans, Span { start, end, shape: s.shape, strength, held }),
        }
    }
    let end = spans.last().map_or(0.0, |s| s.end);
    push(&mut spans, Span { start: end, end: FAR, shape: MouthShape::Rest, strength: 1.0, held: false });
    spans
}

/// Adds a span; silence before it reaches up to it, and neighbouring silences become one unless one is
/// held.
fn push(spans: &mut Vec<Span>, span: Span) {
    let Some(last) = spans.last_mut() else {
        spans.push(span);
        return;
    };
    if last.shape == MouthShape::Rest && !last.held {
        last.end = span.start;
        if span.shape == MouthShape::Rest && !span.held {
            last.end = span.end;
            return;
        }
    } else if span.start > last.end + 1e-6 {
        let start = last.end;
        let merges = span.shape == MouthShape::Rest && !span.held;
        let end = if merges { span.end } else { span.start };
        spans.push(Span { start, end, shape: MouthShape::Rest, strength: 1.0, held: false });
        if merges {
            return;
        }
    }
    spans.push(span);
}

/// Contacts with a frame on the timeline, in order.
pub(super) fn contacts(
    segments: &[Segment],
    rig: &Rig,
    settings: &PlanSettings,
    timeline: Timeline,
) -> Vec<Contact> {
    let rest = rig.rest();
    let mut contacts = vec![];
    for (index, s) in segments.iter().enumerate() {
        let Some(kind) = ContactKind::of(s.shape) else { continue };
        let (start, end) = (s.start.value(), s.end.value());
        if s.strength < CONTACT_STRENGTH || end - start < 1e-6 {
            continue;
        }
        let part = match kind {
            ContactKind::Lips | ContactKind::LipOnTeeth => FacePart::Lips,
            ContactKind::TongueTip | ContactKind::TongueBody => FacePart::Tongue,
        };
        let span = Span { start, end, shape: s.shape, strength: s.strength, held: s.held };
        let advance = settings.advance();
        let centre = 0.5 * (start + end) - advance - lead(settings, part, &span, true);
        let centre = (centre / timeline.frame).round() as i64 + timeline.origin;
        let mut first = timeline.at_or_after(start - advance);
        let mut last = timeline.at_or_after(end - advance);
        if last <= first {
            (first, last) = (centre, centre + 1);
        }
        // The first and last two frames are known and not free. Segments lie inside the line, so on a
        // whole timeline none is left out.
        let (low, high) = (2, timeline.frames as i64 - 3);
        if last <= low || first > high {
            continue;
        }
        let (first, last) = (first.max(low), last.min(high + 1));
        let pose = rig.pose(s.shape);
        let mut target = rest;
        for spec in rig.dofs() {
            target[spec.dof] = rest[spec.dof] + s.strength * (pose.target[spec.dof] - rest[spec.dof]);
        }
        let place = |frame: i64| frame as usize;
        contacts.push(Contact {
            segment: index,
            kind,
            target,
            first: place(first),
            end: place(last),
            centre: place(centre.clamp(first, last - 1)),
        });
    }
    contacts
}

#[cfg(test)]
#[path = "tests/targets.rs"]
mod tests;
