//! A servo's lane: wanted, planned, travel, limits.

use super::*;

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
pub(super) fn curve(
    axis: &TimeAxis,
    performance: &Performance,
    values: &[f32],
    y: &dyn Fn(f64) -> f64,
) -> Path {
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
