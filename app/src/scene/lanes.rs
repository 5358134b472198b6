//! The lanes: ruler, waveform, words, mouth shapes, servos. All share one time axis.

use super::mouth::{Anatomy, icon};
use super::{
    Align, DrawCmd, Face, Paint, Path, Point, Stroke, TimeAxis, Tone, articulator_tone, fill, line, pt,
    ruler_step,
};
use crate::editor::Performance;
use lipwright_core::audio::{Recording, WaveformPyramid};
use lipwright_core::line::{Line, Segment};
use lipwright_core::phonetics::MouthShape;
use lipwright_core::recognise::HeardWord;
use lipwright_core::rig::{DofValues, Rig, ServoId};
use lipwright_core::units::Seconds;

/// Segments less sure than this are hatched, so that a person looks there first.
pub const DOUBTFUL: f64 = 0.5;

fn label(at: Point, text: impl Into<String>, size: f64, face: Face, align: Align, tone: Tone) -> DrawCmd {
    DrawCmd::Text { at, text: text.into(), size, face, align, upright: false, paint: tone.into() }
}

/// Width of a text before the browser measures it; generous for B612 at the sizes used here.
fn rough_width(text: &str, size: f64) -> f64 {
    text.chars().count() as f64 * size * 0.6
}

/// A time as minutes and seconds with as many decimals as the step needs.
#[must_use]
pub fn clock(time: f64, step: f64) -> String {
    let decimals = if step < 0.1 { 2 } else { usize::from(step < 1.0) };
    if time >= 60.0 {
        let minutes = (time / 60.0).floor();
        let width = if decimals == 0 { 2 } else { 3 + decimals };
        format!("{minutes:.0}:{:0width$.decimals$}", time - 60.0 * minutes)
    } else {
        format!("{time:.decimals$}")
    }
}

/// Ground of a lane, with the labelled ticks of the ruler carried down as hairlines.
fn ground(axis: &TimeAxis, height: f64) -> Vec<DrawCmd> {
    let mut out = vec![fill(Path::rect(0.0, 0.0, axis.width(), height), Tone::Lane)];
    let end = axis.x(axis.duration());
    if end < axis.width() {
        out.push(fill(Path::rect(end, 0.0, axis.width() - end, height), Tone::LaneShade));
    }
    let (step, _) = ruler_step(axis.scale(), 72.0);
    let mut hairs = Path::new();
    for time in ticks(axis, step) {
        let x = axis.x(Seconds::new(time)).round() + 0.5;
        hairs = hairs.with(Path::segment(pt(x, 0.0), pt(x, height)));
    }
    out.push(line(hairs, 1.0, Paint::Faint(Tone::Rule, 0.55)));
    out
}

/// Multiples of `step` in view and inside the line.
fn ticks(axis: &TimeAxis, step: f64) -> impl Iterator<Item = f64> + use<> {
    let (start, end) = axis.span();
    let first = (start.value() / step).ceil().max(0.0) as i64;
    let last = (end.value().min(axis.duration().value()) / step).floor() as i64;
    (first..=last).map(move |i| i as f64 * step)
}

/// The time ruler.
#[must_use]
pub fn ruler(axis: &TimeAxis, height: f64) -> Vec<DrawCmd> {
    let (step, parts) = ruler_step(axis.scale(), 72.0);
    let mut out = vec![fill(Path::rect(0.0, 0.0, axis.width(), height), Tone::Band)];
    let mut small = Path::new();
    for time in ticks(axis, step / parts as f64) {
        let x = axis.x(Seconds::new(time)).round() + 0.5;
        small = small.with(Path::segment(pt(x, height - 4.0), pt(x, height)));
    }
    out.push(line(small, 1.0, Tone::Rule));
    let mut big = Path::new();
    for time in ticks(axis, step) {
        let x = axis.x(Seconds::new(time)).round() + 0.5;
        big = big.with(Path::segment(pt(x, height - 9.0), pt(x, height)));
        out.push(label(
            pt(x + 4.0, height - 8.0),
            clock(time, step),
            10.5,
            Face::Text,
            Align::Left,
            Tone::Quiet,
        ));
    }
    out.push(line(big, 1.0, Tone::Quiet));
    out
}

/// The waveform: extremes as a pale body, loudness as its core.
#[must_use]
pub fn waveform(axis: &TimeAxis, pyramid: Option<&WaveformPyramid>, height: f64) -> Vec<DrawCmd> {
    let mut out = ground(axis, height);
    let middle = height / 2.0;
    out.push(line(
        Path::segment(pt(0.0, middle), pt(axis.width(), middle)),
        1.0,
        Paint::Faint(Tone::Rule, 0.8),
    ));
    let Some(pyramid) = pyramid else { return out };
    let rate = Recording::RATE.value();
    let columns = axis.width().ceil().max(0.0) as usize;
    let (start, _) = axis.span();
    let columns = pyramid.columns(start.value() * rate, rate / axis.scale(), columns);
    let reach = middle - 3.0;
    // Quiet recordings are drawn larger, up to ten times, so that their shape can be seen.
    let whole = pyramid.columns(0.0, pyramid.len().max(1) as f64, 1);
    let peak = whole.first().map_or(1.0, |c| f64::from(c.max.max(-c.min)));
    let gain = 1.0 / peak.clamp(0.1, 1.0);
    let y = |v: f32| middle - (f64::from(v) * gain).clamp(-1.0, 1.0) * reach;
    // One closed outline each: along the tops, back along the bottoms.
    let outline = |top: &dyn Fn(usize) -> f64, bottom: &dyn Fn(usize) -> f64| {
        let mut points: Vec<Point> = (0..columns.len()).map(|i| pt(i as f64 + 0.5, top(i))).collect();
        points.extend((0..columns.len()).rev().map(|i| pt(i as f64 + 0.5, bottom(i).max(top(i) + 1.0))));
        Path::polyline(&points).close()
    };
    out.push(fill(outline(&|i| y(columns[i].max), &|i| y(columns[i].min)), Tone::Wave));
    out.push(fill(
        outline(&|i| y(columns[i].rms), &|i| y(-columns[i].rms)),
        Paint::Faint(Tone::WaveCore, 0.9),
    ));
    out
}

/// The words of the script where they were heard.
#[must_use]
pub fn words(axis: &TimeAxis, words: &[HeardWord], height: f64) -> Vec<DrawCmd> {
    let mut out = ground(axis, height);
    let (from, to) = axis.span();
    let first = words.partition_point(|w| w.end < from);
    let mut slivers = Path::new();
    for word in words[first..].iter().take_while(|w| w.start <= to) {
        let (x0, x1) = (axis.x(word.start), axis.x(word.end));
        let width = x1 - x0;
        if width < SLIVER {
            slivers = slivers.with(Path::rect(x0, 3.0, width.max(0.5), height - 6.0));
            continue;
        }
        let body = Path::rounded(x0 + 0.5, 3.0, (width - 1.0).max(1.0), height - 6.0, 3.0);
        out.push(fill(body.clone(), Paint::Faint(Tone::Quiet, 0.18)));
        if word.confidence < DOUBTFUL {
            out.extend(hatch(x0, 3.0, width, height - 6.0));
        }
        if width > rough_width(&word.text, 11.5) * 0.7 {
            out.push(DrawCmd::Clip(body));
            let at = pt((x0.max(0.0) + x1.min(axis.width())) / 2.0, height / 2.0 + 4.0);
            out.push(label(at, word.text.clone(), 11.5, Face::Text, Align::Centre, Tone::Ink));
            out.push(DrawCmd::Unclip);
        }
    }
    out.push(fill(slivers, Paint::Faint(Tone::Quiet, 0.18)));
    out
}

/// Diagonal lines over a doubtful stretch.
fn hatch(x: f64, y: f64, width: f64, height: f64) -> Vec<DrawCmd> {
    let mut lines = Path::new();
    let mut at = x - height;
    while at < x + width {
        lines = lines.with(Path::segment(pt(at, y + height), pt(at + height, y)));
        at += 7.0;
    }
    vec![
        DrawCmd::Clip(Path::rect(x, y, width, height)),
        line(lines, 1.2, Paint::Faint(Tone::Danger, 0.55)),
        DrawCmd::Unclip,
    ]
}

/// What the shapes lane shows besides the line.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ShapesState {
    /// The selected segment.
    pub selected: Option<usize>,
    /// The boundary under the pointer or being dragged: start of this segment.
    pub boundary: Option<usize>,
    /// The segment under the pointer.
    pub hovered: Option<usize>,
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
    let mut slivers = [Tone::LeadNone, Tone::LeadLips, Tone::LeadTip, Tone::LeadBody, Tone::LeadJaw]
        .map(|tone| (tone, Path::new(), f64::NEG_INFINITY));
    for (index, segment) in segments.iter().enumerate().skip(first).take_while(|(_, s)| s.start <= to) {
        let (x0, x1) = (axis.x(segment.start), axis.x(segment.end));
        if x1 - x0 < SLIVER && state.selected != Some(index) {
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
        if state.selected == Some(index) {
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
const SLIVER: f64 = 3.0;

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
    if segment.by_hand {
        out.push(fill(Path::ellipse(pt(x0 + 6.0, 8.5), 2.0, 2.0), Tone::Ink));
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

/// One servo: the band it may move in, wanted thin, planned solid, marks where it was limited.
#[must_use]
pub fn servo(
    axis: &TimeAxis,
    rig: &Rig,
    id: ServoId,
    performance: Option<&Performance>,
    height: f64,
) -> Vec<DrawCmd> {
    let mut out = ground(axis, height);
    let (low, high) = rig.travel(id);
    let (low, high) = (low.value(), high.value());
    let pad = 5.0;
    let y = |angle: f64| height - pad - (angle - low) / (high - low).max(1e-9) * (height - 2.0 * pad);
    let end = axis.x(axis.duration()).min(axis.width());
    out.push(fill(Path::rect(0.0, pad, end.max(0.0), height - 2.0 * pad), Tone::Band));
    if let Some(rest) = rig.rest_angles().get(id.0) {
        let rest = y(rest.value()).round() + 0.5;
        out.push(DrawCmd::Stroke(
            Path::segment(pt(0.0, rest), pt(end.max(0.0), rest)),
            Stroke::dashed(1.0, Paint::Faint(Tone::Quiet, 0.5), 2.0, 4.0),
        ));
    }
    let Some(performance) = performance else { return out };
    let wanted = curve(axis, performance, performance.wanted(id.0), &y);
    out.push(DrawCmd::Stroke(wanted, Stroke::solid(1.0, Tone::Wanted)));
    out.push(line(curve(axis, performance, performance.planned(id.0), &y), 1.8, Tone::Planned));
    out.extend(limit_marks(axis, performance, id.0, high - low, height));
    out
}

/// Frames in view.
fn visible(axis: &TimeAxis, performance: &Performance) -> std::ops::Range<usize> {
    let head = performance.head();
    let (from, to) = axis.span();
    let index = |t: Seconds| (t - head.start) / head.frame;
    let first = index(from).floor().max(0.0) as usize;
    let last = (index(to).ceil().max(0.0) as usize + 1).min(head.frames);
    first.min(last)..last
}

/// A curve through frames; where several frames share a pixel, their extremes.
fn curve(axis: &TimeAxis, performance: &Performance, values: &[f32], y: &dyn Fn(f64) -> f64) -> Path {
    let range = visible(axis, performance);
    let x = |frame: usize| axis.x(performance.time_of(frame));
    let per_pixel = 1.0 / (performance.head().frame.value() * axis.scale());
    let Some(values) = values.get(..range.end) else { return Path::new() };
    if per_pixel <= 1.0 {
        let points: Vec<Point> = range.map(|f| pt(x(f), y(f64::from(values[f])))).collect();
        return Path::polyline(&points);
    }
    let group = per_pixel.ceil() as usize;
    let mut points = Vec::new();
    for first in range.clone().step_by(group) {
        let run = &values[first..(first + group).min(range.end)];
        let low = run.iter().copied().fold(f32::INFINITY, f32::min);
        let high = run.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        // Keep the order of the first and last value, so that slopes stay slopes.
        let rising = run.first() <= run.last();
        let (a, b) = if rising { (low, high) } else { (high, low) };
        points.push(pt(x(first), y(f64::from(a))));
        if a != b {
            points.push(pt(x(first) + 0.5, y(f64::from(b))));
        }
    }
    Path::polyline(&points)
}

/// Share of a servo's travel by which it must miss what was wanted for a limit to stand out.
const NOTABLE: f64 = 0.05;

/// A foot under frames in which the servo was at a limit; strong where it shows.
fn limit_marks(
    axis: &TimeAxis,
    performance: &Performance,
    servo: usize,
    travel: f64,
    height: f64,
) -> Vec<DrawCmd> {
    let (planned, wanted) = (performance.planned(servo), performance.wanted(servo));
    let (mut slight, mut strong) = (Path::new(), Path::new());
    let width = (axis.scale() * performance.head().frame.value()).max(1.0);
    // Neighbouring frames of one kind make one mark: a long line has few marks a pixel.
    let mut run: Option<(bool, f64, f64)> = None;
    let mut close = |run: Option<(bool, f64, f64)>| match run {
        Some((true, from, to)) => {
            strong = std::mem::take(&mut strong).with(Path::rect(from, height - 4.0, to - from, 4.0));
        }
        Some((false, from, to)) => {
            slight = std::mem::take(&mut slight).with(Path::rect(from, height - 2.0, to - from, 2.0));
        }
        None => {}
    };
    for frame in visible(axis, performance) {
        if performance.limited(servo, frame).is_none() {
            continue;
        }
        let x = axis.x(performance.time_of(frame)) - width / 2.0;
        let notable = f64::from((planned[frame] - wanted[frame]).abs()) > NOTABLE * travel;
        match &mut run {
            Some((kind, _, to)) if *kind == notable && x <= *to + 0.5 => *to = x + width,
            _ => {
                close(run);
                run = Some((notable, x, x + width));
            }
        }
    }
    close(run);
    vec![fill(slight, Paint::Faint(Tone::Danger, 0.45)), fill(strong, Tone::Danger)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use lipwright_core::recognise::{HeardSegment, Hearing};

    fn demo() -> Line {
        let cuts = [
            (0.0, MouthShape::Rest),
            (0.5, MouthShape::Bilabial),
            (0.6, MouthShape::Open),
            (1.0, MouthShape::Rest),
        ];
        let segments = cuts
            .iter()
            .enumerate()
            .map(|(i, (start, shape))| HeardSegment {
                start: Seconds::new(*start),
                end: Seconds::new(cuts.get(i + 1).map_or(2.0, |c| c.0)),
                shape: *shape,
                glide: None,
                confidence: if i == 2 { 0.2 } else { 0.9 },
                phone: None,
            })
            .collect();
        let hearing = Hearing { duration: Seconds::new(2.0), segments, words: Vec::new(), notes: Vec::new() };
        Line::from_hearing(&hearing).expect("valid")
    }

    #[test]
    fn times_read_as_a_clock() {
        assert_eq!(clock(0.25, 0.05), "0.25");
        assert_eq!(clock(12.0, 1.0), "12");
        assert_eq!(clock(75.5, 0.5), "1:15.5");
        assert_eq!(clock(60.0, 1.0), "1:00");
    }

    #[test]
    fn boundaries_are_taken_near_and_segments_inside() {
        let axis = TimeAxis::fitted(Seconds::new(2.0), 1000.0);
        let doc = demo();
        let x = axis.x(Seconds::new(0.5));
        assert_eq!(hit(&axis, &doc, x + 2.0), Some(Hit::Boundary(1)));
        assert_eq!(hit(&axis, &doc, x - 5.0), Some(Hit::Boundary(1)));
        assert_eq!(hit(&axis, &doc, x + 20.0), Some(Hit::Segment(1)));
        assert_eq!(hit(&axis, &doc, 2.0), Some(Hit::Segment(0)), "the start of the line is no boundary");
        assert_eq!(hit(&axis, &doc, 999.0), None, "after the end there is nothing");
    }

    #[test]
    fn a_narrow_segment_can_still_be_selected() {
        let axis = TimeAxis::fitted(Seconds::new(2.0), 120.0);
        let doc = demo();
        let middle = axis.x(Seconds::new(0.55));
        assert_eq!(hit(&axis, &doc, middle), Some(Hit::Segment(1)));
    }

    fn texts(commands: &[DrawCmd]) -> Vec<String> {
        commands
            .iter()
            .filter_map(|c| match c {
                DrawCmd::Text { text, .. } => Some(text.clone()),
                _ => None,
            })
            .collect()
    }

    #[test]
    fn shapes_are_named_where_there_is_room_and_doubt_is_hatched() {
        let rig = Rig::harbourmaster();
        let poses: Vec<DofValues> = MouthShape::ALL.iter().map(|s| rig.pose(*s).target).collect();
        let anatomy = Anatomy::from(&rig);
        let doc = demo();
        let wide = TimeAxis::fitted(Seconds::new(2.0), 1200.0);
        let state = ShapesState { selected: Some(1), ..ShapesState::default() };
        let commands = shapes(&wide, &doc, &poses, &anatomy, state, 60.0);
        let names = texts(&commands);
        assert!(names.contains(&"open".to_owned()) && names.contains(&"rest".to_owned()));
        let danger = |c: &DrawCmd| matches!(c, DrawCmd::Stroke(_, s) if matches!(s.paint, Paint::Faint(Tone::Danger, _)));
        assert_eq!(commands.iter().filter(|c| danger(c)).count(), 1, "one doubtful segment");
        let narrow = TimeAxis::fitted(Seconds::new(2.0), 60.0);
        // 0.1 s is 3 pixels there: no room for a name in any direction.
        assert!(
            !texts(&shapes(&narrow, &doc, &poses, &anatomy, state, 60.0)).contains(&"bilabial".to_owned())
        );
    }

    #[test]
    fn an_hour_seen_whole_costs_no_more_than_its_pixels() {
        let segments: Vec<HeardSegment> = (0..36_000)
            .map(|i| HeardSegment {
                start: Seconds::new(f64::from(i) * 0.1),
                end: Seconds::new(f64::from(i + 1) * 0.1),
                shape: MouthShape::ALL[i as usize % MouthShape::COUNT],
                glide: None,
                confidence: 0.3,
                phone: None,
            })
            .collect();
        let hearing =
            Hearing { duration: Seconds::new(3600.0), segments, words: Vec::new(), notes: Vec::new() };
        let doc = Line::from_hearing(&hearing).expect("valid");
        let axis = TimeAxis::fitted(Seconds::new(3600.0), 1000.0);
        let rig = Rig::jaw_only();
        let poses: Vec<DofValues> = MouthShape::ALL.iter().map(|s| rig.pose(*s).target).collect();
        let commands = shapes(&axis, &doc, &poses, &Anatomy::from(&rig), ShapesState::default(), 60.0);
        let pieces: usize = commands
            .iter()
            .map(|c| match c {
                DrawCmd::Fill(path, _) | DrawCmd::Stroke(path, _) | DrawCmd::Clip(path) => {
                    path.pieces().len()
                }
                _ => 1,
            })
            .sum();
        assert!(commands.len() < 20 && pieces < 60_000, "{} commands, {pieces} pieces", commands.len());
    }

    #[test]
    fn a_servo_lane_marks_limits_and_survives_a_missing_plan() {
        let rig = Rig::jaw_only();
        let axis = TimeAxis::fitted(Seconds::new(0.2), 200.0);
        assert!(!servo(&axis, &rig, ServoId(0), None, 40.0).is_empty());
        let plan = crate::editor::performance_tests::ramp();
        let commands = servo(&axis, &rig, ServoId(0), Some(&plan), 40.0);
        let marks: usize = commands
            .iter()
            .filter_map(|c| match c {
                DrawCmd::Fill(path, Paint::Tone(Tone::Danger) | Paint::Faint(Tone::Danger, _)) => {
                    Some(path.pieces().len())
                }
                _ => None,
            })
            .sum();
        assert!(marks > 0);
    }

    #[test]
    fn crowded_frames_keep_their_extremes() {
        let head = crate::editor::PerformanceHead {
            frame: Seconds::new(0.02),
            start: Seconds::ZERO,
            frames: 10_000,
            servos: 1,
            ..Default::default()
        };
        let mut planned = vec![0.0f32; 10_000];
        planned[5_003] = 9.0;
        let face = vec![0.0; 10_000 * lipwright_core::rig::Dof::COUNT];
        let plan =
            Performance::new(head, planned.clone(), planned, face, vec![0; 10_000]).expect("sizes fit");
        let axis = TimeAxis::fitted(Seconds::new(200.0), 300.0);
        let path = curve(&axis, &plan, plan.planned(0), &|v| -v);
        let peak = path
            .pieces()
            .iter()
            .filter_map(|p| match p {
                super::super::Piece::Line(p) => Some(p.y),
                _ => None,
            })
            .fold(0.0, f64::min);
        assert_eq!(peak, -9.0, "a spike one frame long is still drawn");
    }
}
