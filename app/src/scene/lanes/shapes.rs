//! The lane of mouth shapes, and what lies under the pointer in it.

use super::*;
use crate::editor::snap::Catch;

/// What the shapes lane shows besides the line.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ShapesState {
    /// The selected segments: the first, and the one after the last.
    pub selected: Option<(usize, usize)>,
    /// The boundary under the pointer or being dragged: start of this segment.
    pub boundary: Option<usize>,
    /// The segment under the pointer.
    pub hovered: Option<usize>,
    /// What the boundary in hand has caught on.
    pub caught: Option<Catch>,
}

/// The mouth shapes: each with its articulator's colour, its name, and the mouth that this rig makes.
#[must_use]
pub fn shapes(
    axis: &TimeAxis,
    document: &Line,
    poses: &[DofValues],
    anatomy: &Anatomy,
    state: ShapesState,
    height: f64,
) -> Vec<DrawCmd> {
    let mut out = ground(axis, height);
    let (from, to) = axis.span();
    let segments = document.segments();
    let first = segments.partition_point(|s| s.end < from);
    let mut top = Vec::new();
    let chosen = |index: usize| state.selected.is_some_and(|(from, to)| (from..to).contains(&index));
    let mut slivers = [Tone::LeadNone, Tone::LeadLips, Tone::LeadTip, Tone::LeadBody, Tone::LeadJaw]
        .map(|tone| (tone, Path::new(), f64::NEG_INFINITY));
    for (index, segment) in segments.iter().enumerate().skip(first).take_while(|(_, s)| s.start <= to) {
        let (x0, x1) = (axis.x(segment.start), axis.x(segment.end));
        if x1 - x0 < SLIVER && state.selected != Some((index, index + 1)) {
            // Thousands of slivers cost as much as one: a path per colour, a mark per half pixel.
            if let Some((_, path, last)) =
                slivers.iter_mut().find(|(tone, _, _)| *tone == articulator_tone(segment.shape.articulator()))
                && x1 - *last >= 0.5
            {
                *path =
                    std::mem::take(path).with(Path::rect(x0, height - 3.0 - FOOT, (x1 - x0).max(0.5), FOOT));
                *last = x1;
            }
            continue;
        }
        let body = segment_commands(segment, x0, x1, poses, anatomy, height, state.hovered == Some(index));
        out.extend(body);
        if chosen(index) {
            let frame = Path::rounded(x0 + 1.0, 2.0, (x1 - x0 - 2.0).max(2.0), height - 4.0, 4.0);
            top.push(line(frame, 2.0, Tone::Signal));
        }
        if state.boundary == Some(index) && index > 0 {
            top.push(line(Path::segment(pt(x0, 0.0), pt(x0, height)), 3.0, Tone::Signal));
            let grip = Path::rounded(x0 - 4.0, height / 2.0 - 9.0, 8.0, 18.0, 4.0);
            top.push(fill(grip, Tone::Signal));
        }
    }
    out.extend(slivers.into_iter().map(|(tone, path, _)| fill(path, tone)));
    out.extend(top);
    out
}

/// Segments narrower than this, in pixels, are drawn as their colour alone.
pub(super) const SLIVER: f64 = 3.0;

/// Height of the coloured foot of a segment.
const FOOT: f64 = 5.0;

fn segment_commands(
    segment: &Segment,
    x0: f64,
    x1: f64,
    poses: &[DofValues],
    anatomy: &Anatomy,
    height: f64,
    hovered: bool,
) -> Vec<DrawCmd> {
    let mut out = Vec::new();
    let tone = articulator_tone(segment.shape.articulator());
    let width = x1 - x0;
    let inner = (width - 1.0).max(1.0);
    let rest = segment.shape == MouthShape::Rest;
    let tint = if rest { 0.1 } else { 0.26 } + if hovered { 0.12 } else { 0.0 };
    let radius = 3.0f64.min(inner / 2.0);
    let body = Path::rounded(x0 + 0.5, 3.0, inner, height - 6.0, radius);
    out.push(fill(body.clone(), Paint::Faint(tone, tint)));
    out.push(DrawCmd::Clip(body));
    if segment.confidence < DOUBTFUL {
        out.extend(hatch(x0, 3.0, width, height - 6.0));
    }
    // The foot says the articulator; it is as long as the shape is strong.
    let foot_y = height - 3.0 - FOOT;
    out.push(fill(Path::rect(x0 + 0.5, foot_y, inner, FOOT), tone));
    if let Some(glide) = segment.glide {
        let to = articulator_tone(glide.articulator());
        let wedge = Path::polyline(&[
            pt(x0 + 0.5 + inner * 0.4, foot_y + FOOT),
            pt(x0 + 0.5 + inner * 0.75, foot_y),
            pt(x0 + 0.5 + inner, foot_y),
            pt(x0 + 0.5 + inner, foot_y + FOOT),
        ])
        .close();
        out.push(fill(wedge, to));
    }
    let text_room = 15.0;
    let name = segment.shape.name();
    let size = 10.5;
    let named = width > rough_width(name, size) + 6.0;
    let text_tone = if rest { Tone::Quiet } else { Tone::Ink };
    if named {
        let mouth_height = height - 12.0 - FOOT - text_room;
        if !rest {
            let w = (mouth_height * 1.68).min(width - 4.0);
            let h = w / 1.68;
            let x = x0 + (width - w) / 2.0;
            let y = 5.0 + (mouth_height - h) / 2.0;
            let pose = scaled(&poses[segment.shape.index()], segment.strength);
            match segment.glide {
                Some(glide) if width > 2.0 * w + 14.0 => {
                    let to = scaled(&poses[glide.index()], segment.strength);
                    out.extend(icon(&pose, anatomy, pt(x - w * 0.56, y), w, h));
                    out.extend(icon(&to, anatomy, pt(x + w * 0.56, y), w, h));
                }
                _ => out.extend(icon(&pose, anatomy, pt(x, y), w, h)),
            }
        }
        let at = pt(x0 + width / 2.0, foot_y - 5.0);
        out.push(label(at, name, size, Face::Text, Align::Centre, text_tone));
    } else if width >= 11.0 {
        // Too narrow to read across: the name stands upright, as small as it must.
        let room = height - 14.0 - FOOT;
        let size = (room / (name.chars().count() as f64 * 0.56)).min(9.5);
        out.push(DrawCmd::Text {
            at: pt(x0 + width / 2.0 + size * 0.36, foot_y - 4.0),
            text: name.to_owned(),
            size,
            face: Face::Text,
            align: Align::Left,
            upright: true,
            paint: text_tone.into(),
        });
    }
    if segment.locked {
        // A padlock.
        let body = Path::rect(x0 + 3.5, 8.0, 6.0, 4.5);
        let bow = Path::new().start(pt(x0 + 4.5, 8.0)).curve(
            pt(x0 + 4.5, 4.2),
            pt(x0 + 8.5, 4.2),
            pt(x0 + 8.5, 8.0),
        );
        out.extend([fill(body, Tone::Ink), line(bow, 1.2, Tone::Ink)]);
    } else if segment.by_hand {
        out.push(fill(Path::ellipse(pt(x0 + 6.0, 8.5), 2.0, 2.0), Tone::Ink));
    }
    if segment.held {
        // A bar from end to end, with stops.
        let y = 5.5;
        let (a, b) = (x0 + 2.0, x1 - 2.0);
        let stop = |x: f64| Path::segment(pt(x, y - 2.5), pt(x, y + 2.5));
        let bar = Path::segment(pt(a, y), pt(b, y)).with(stop(a)).with(stop(b));
        out.push(line(bar, 1.6, Tone::Ink));
    }
    if (segment.strength - 1.0).abs() > 1e-9 && width > 34.0 {
        let text = format!("{:.0}%", segment.strength * 100.0);
        out.push(label(pt(x1 - 4.0, 13.0), text, 9.5, Face::Text, Align::Right, Tone::Quiet));
    }
    out.push(DrawCmd::Unclip);
    out
}

/// A pose at a strength: 0 is rest (all zero), 1 the pose itself.
#[must_use]
pub fn scaled(pose: &DofValues, strength: f64) -> DofValues {
    let mut out = *pose;
    for (dof, value) in pose.iter() {
        out[dof] = value * strength;
    }
    out
}

/// How near a boundary the pointer must be to take it, pixels.
pub const GRIP: f64 = 6.0;

/// What of the shapes lane lies under a pixel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hit {
    /// The boundary at the start of this segment.
    Boundary(usize),
    /// The inside of this segment.
    Segment(usize),
}

/// Finds the boundary near a pixel, else the segment under it. Narrow segments give at most a
/// third of their width to each boundary, so that they can still be selected.
#[must_use]
pub fn hit(axis: &TimeAxis, document: &Line, x: f64) -> Option<Hit> {
    let time = axis.time(x);
    if time < Seconds::ZERO || time > document.duration() {
        return None;
    }
    let segments = document.segments();
    let index = document.segment_at(time);
    let (x0, x1) = (axis.x(segments[index].start), axis.x(segments[index].end));
    let grip = GRIP.min((x1 - x0) / 3.0);
    if index > 0 && x - x0 <= grip {
        return Some(Hit::Boundary(index));
    }
    if index + 1 < segments.len() && x1 - x <= grip {
        return Some(Hit::Boundary(index + 1));
    }
    Some(Hit::Segment(index))
}
