//! What the face should do at every controller frame, and how much each part of it matters.
//!
//! Every segment pulls every DOF towards its pose with weight `importance² · fade(t)`. The fade is
//! flat inside the segment, a little lower at its ends, and crosses over to the neighbour within
//! `overlap` of the boundary; it is 0 beyond, unlike the exponential dominance of M. Cohen and
//! D. Massaro (1993). The sum of all pulls on a DOF,
//! `Σs ws (x − xs)² = (Σ ws)(x − x̄)² + const` with `x̄ = Σ ws xs / Σ ws`, is one wanted value and one
//! weight per frame.

use super::settings::{MotionError, PlanSettings};
use crate::line::Segment;
use crate::phonetics::MouthShape;
use crate::rig::{Dof, DofValues, FacePart, Rig};
use crate::units::Seconds;

/// Weight with which every DOF is held to its rest value where no shape asks for it.
const IDLE_WEIGHT: f64 = 1e-4;

/// Share of the weight lost at the ends of a segment.
const END_DIP: f64 = 0.4;

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
    /// Line time of frame 0 as an exact multiple of the frame: frames before 0.
    pub(super) lead_frames: usize,
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
        Self { frame, lead_frames, frames }
    }

    /// Line time of a frame.
    pub(super) fn time(&self, frame: usize) -> f64 {
        (frame as f64 - self.lead_frames as f64) * self.frame
    }

    /// First frame at or after a line time, clamped to the frames there are.
    pub(super) fn ceil(&self, time: f64) -> usize {
        let f = (time / self.frame - 1e-9).ceil() + self.lead_frames as f64;
        (f.max(0.0) as usize).min(self.frames)
    }

    /// Nearest frame.
    pub(super) fn nearest(&self, time: f64) -> usize {
        let f = (time / self.frame).round() + self.lead_frames as f64;
        (f.max(0.0) as usize).min(self.frames - 1)
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
}

impl Targets {
    pub(super) fn new(
        segments: &[Segment],
        duration: Seconds,
        rig: &Rig,
        settings: &PlanSettings,
    ) -> Result<Self, MotionError> {
        settings.validate()?;
        let length = duration.value();
        if !(0.0..=MotionError::LONGEST_LINE).contains(&length) {
            return Err(MotionError::BadDuration(length));
        }
        check(segments)?;
        let timeline = Timeline::new(length, rig, settings);
        let mut targets = Self {
            timeline,
            wanted: vec![DofValues::default(); timeline.frames],
            weight: vec![DofValues::default(); timeline.frames],
            contacts: contacts(segments, rig, settings, timeline),
        };
        let rest = rest_values(rig);
        for span in spans(segments) {
            targets.add(&span, rig, &rest, settings);
        }
        for (wanted, weight) in targets.wanted.iter_mut().zip(&mut targets.weight) {
            for dof in Dof::ALL {
                let total = weight[dof] + IDLE_WEIGHT;
                wanted[dof] = (wanted[dof] + IDLE_WEIGHT * rest[dof]) / total;
                weight[dof] = total;
            }
        }
        Ok(targets)
    }

    /// Adds weight and weight × target of one span (the division comes at the end).
    fn add(&mut self, span: &Span, rig: &Rig, rest: &DofValues, settings: &PlanSettings) {
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
            // Turns weigh less than millimetres: 1 degree of the head moves its side by about 1 mm
            // per 57 mm of radius.
            let unit = if dof.unit() == "deg" { 0.3 } else { 1.0 };
            let base = importance * importance * unit * unit;
            let shift = settings.advance() + lead(settings, dof.part(), span, false);
            let (start, end) = (span.start - shift, span.end - shift);
            let half = 0.5 * (end - start);
            let peak = fade(half, overlap);
            for t in timeline.ceil(start - overlap)..timeline.ceil(end + overlap) {
                let time = timeline.time(t);
                let depth = (time - start).min(end - time);
                let mut weight = base * fade(depth, overlap) / peak;
                if span.shape == MouthShape::Rest {
                    let u = smoothstep(depth / settings.silence_depth.value());
                    weight *= settings.rest_near_speech
                        + u * (settings.rest_in_silence - settings.rest_near_speech);
                } else {
                    let u = (1.0 - depth / half).clamp(0.0, 1.0);
                    weight *= 1.0 - END_DIP * u * u;
                }
                self.weight[t][dof] += weight;
                self.wanted[t][dof] += weight * target;
            }
        }
    }
}

/// Lead of a part of the face for one span; contacts cannot lead by more than a share of themselves.
fn lead(settings: &PlanSettings, part: FacePart, span: &Span, contact: bool) -> f64 {
    let further = match part {
        FacePart::Jaw => settings.jaw_lead,
        FacePart::Lips => settings.lip_lead,
        FacePart::Corners => settings.corner_lead,
        FacePart::Tongue => settings.tongue_lead,
        FacePart::Brows | FacePart::Neck => Seconds::ZERO,
    };
    let lead = settings.visual_lead.value() + further.value();
    let most = CONTACT_LEAD * (span.end - span.start);
    if contact || ContactKind::of(span.shape).is_some() { lead.clamp(-most, most) } else { lead }
}

/// 0 at `overlap` outside, 1 at `overlap` inside, one half on the boundary.
fn fade(depth: f64, overlap: f64) -> f64 {
    smoothstep(0.5 * (depth / overlap + 1.0))
}

fn smoothstep(x: f64) -> f64 {
    let x = x.clamp(0.0, 1.0);
    x * x * (3.0 - 2.0 * x)
}

/// Rest values of the driven DOFs (0 for the others).
pub(super) fn rest_values(rig: &Rig) -> DofValues {
    let mut rest = DofValues::default();
    for spec in rig.dofs() {
        rest[spec.dof] = spec.rest;
    }
    rest
}

fn check(segments: &[Segment]) -> Result<(), MotionError> {
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
    let mut spans: Vec<Span> = vec![Span { start: -FAR, end: 0.0, shape: MouthShape::Rest, strength: 1.0 }];
    for s in segments {
        let (start, end, strength) = (s.start.value(), s.end.value(), s.strength);
        if end - start < 1e-6 {
            continue;
        }
        match s.glide {
            Some(glide) if s.shape != MouthShape::Rest => {
                let middle = 0.5 * (start + end);
                push(&mut spans, Span { start, end: middle, shape: s.shape, strength });
                push(&mut spans, Span { start: middle, end, shape: glide, strength });
            }
            _ => push(&mut spans, Span { start, end, shape: s.shape, strength }),
        }
    }
    let end = spans.last().map_or(0.0, |s| s.end);
    push(&mut spans, Span { start: end, end: FAR, shape: MouthShape::Rest, strength: 1.0 });
    spans
}

/// Adds a span; silence before it reaches up to it, and neighbouring silences become one.
fn push(spans: &mut Vec<Span>, span: Span) {
    let Some(last) = spans.last_mut() else {
        spans.push(span);
        return;
    };
    if last.shape == MouthShape::Rest {
        last.end = span.start;
        if span.shape == MouthShape::Rest {
            last.end = span.end;
            return;
        }
    } else if span.start > last.end + 1e-6 {
        let start = last.end;
        let end = if span.shape == MouthShape::Rest { span.end } else { span.start };
        spans.push(Span { start, end, shape: MouthShape::Rest, strength: 1.0 });
        if span.shape == MouthShape::Rest {
            return;
        }
    }
    spans.push(span);
}

fn contacts(segments: &[Segment], rig: &Rig, settings: &PlanSettings, timeline: Timeline) -> Vec<Contact> {
    let rest = rest_values(rig);
    let mut contacts = vec![];
    for (index, s) in segments.iter().enumerate() {
        let Some(kind) = ContactKind::of(s.shape) else { continue };
        let (start, end) = (s.start.value(), s.end.value());
        if s.strength < CONTACT_STRENGTH || end - start < 1e-6 {
            continue;
        }
        let pose = rig.pose(s.shape);
        let mut target = rest;
        for spec in rig.dofs() {
            target[spec.dof] = rest[spec.dof] + s.strength * (pose.target[spec.dof] - rest[spec.dof]);
        }
        let part = match kind {
            ContactKind::Lips | ContactKind::LipOnTeeth => FacePart::Lips,
            ContactKind::TongueTip | ContactKind::TongueBody => FacePart::Tongue,
        };
        let span = Span { start, end, shape: s.shape, strength: s.strength };
        let advance = settings.advance();
        let centre = 0.5 * (start + end) - advance - lead(settings, part, &span, true);
        // The first and last two frames are at rest and not free.
        let (low, high) = (2, timeline.frames - 3);
        let centre = timeline.nearest(centre).clamp(low, high);
        let mut first = timeline.ceil(start - advance).clamp(low, high);
        let mut last = timeline.ceil(end - advance).clamp(low + 1, high + 1);
        if last <= first {
            (first, last) = (centre, centre + 1);
        }
        contacts.push(Contact {
            segment: index,
            kind,
            target,
            first,
            end: last,
            centre: centre.clamp(first, last - 1),
        });
    }
    contacts
}
