//! The lanes: ruler, waveform, words, mouth shapes, servos. All share one time axis.

mod looks;
mod map;
mod servo;
mod shapes;

use super::mouth::{Anatomy, icon};
use super::{
    Align, DrawCmd, Face, Paint, Path, Point, Stroke, TimeAxis, Tone, articulator_tone, fill, line, pt,
};
use crate::editor::Performance;
use lipwright_core::audio::{Recording, WaveformPyramid};
use lipwright_core::line::{Line, Segment};
use lipwright_core::phonetics::MouthShape;
use lipwright_core::recognise::HeardWord;
use lipwright_core::rig::{DofValues, Rig, ServoId};
use lipwright_core::units::Seconds;

pub use looks::looks;
pub use map::minimap;
#[cfg(test)]
use servo::curve;
pub use servo::servo;
use shapes::SLIVER;
pub use shapes::{GRIP, Hit, ShapesState, hit, scaled, shapes};

/// Segments less sure than this are hatched, so that a person looks there first.
pub const DOUBTFUL: f64 = 0.5;

/// True for a segment that the ear doubted and nobody has decided or locked.
#[must_use]
pub fn in_doubt(segment: &Segment) -> bool {
    segment.confidence < DOUBTFUL && !segment.by_hand && !segment.locked
}

fn label(at: Point, text: impl Into<String>, size: f64, face: Face, align: Align, tone: Tone) -> DrawCmd {
    DrawCmd::Text { at, text: text.into(), size, face, align, upright: false, paint: tone.into() }
}

/// Width of a text before the browser measures it; generous for B612 at the sizes used here.
fn rough_width(text: &str, size: f64) -> f64 {
    text.chars().count() as f64 * size * 0.6
}

/// Ground of a lane, with the labelled ticks of the ruler carried down as hairlines.
fn ground(axis: &TimeAxis, height: f64) -> Vec<DrawCmd> {
    let mut out = vec![fill(Path::rect(0.0, 0.0, axis.width(), height), Tone::Lane)];
    let end = axis.x(axis.duration());
    if end < axis.width() {
        out.push(fill(Path::rect(end, 0.0, axis.width() - end, height), Tone::LaneShade));
    }
    let (step, _) = axis.ruler_step(72.0);
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
    let (step, parts) = axis.ruler_step(72.0);
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
            axis.unit().say(Seconds::new(time), step),
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
        let segments: Vec<HeardSegment> = cuts
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
        Line::new(Seconds::new(2.0), segments.into_iter().map(Segment::from).collect()).expect("valid")
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
        let state = ShapesState { selected: Some((1, 2)), ..ShapesState::default() };
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
                crate::scene::Piece::Line(p) => Some(p.y),
                _ => None,
            })
            .fold(0.0, f64::min);
        assert_eq!(peak, -9.0, "a spike one frame long is still drawn");
    }
}
