//! The expression lane's curves: what its keys ask of brows and mouth corners, speech left aside.

use super::*;
use lipwright_core::line::{Easing, ExpressionKey};
use lipwright_core::rig::Dof;

/// The curves: degrees of freedom, colour, and whether the line is dashed. Both sides of the face go together.
const CURVES: [([Dof; 2], Tone, bool); 3] = [
    ([Dof::BrowLeftInner, Dof::BrowRightInner], Tone::LeadJaw, false),
    ([Dof::BrowLeftOuter, Dof::BrowRightOuter], Tone::LeadJaw, true),
    ([Dof::CornerLeftY, Dof::CornerRightY], Tone::LeadLips, false),
];
/// Most pieces of a curve between two keys.
const PIECES: f64 = 16.0;

/// How far a key raises (or lowers, to −1) what a curve shows, as a share of the skin's way from rest; `None`
/// where this head has none of it.
fn raised(key: &ExpressionKey, rig: &Rig, dofs: [Dof; 2]) -> Option<f64> {
    let share = |dof: Dof| {
        let spec = rig.dof(dof)?;
        let by = key.amount * (rig.expression(key.expression).target[dof] - spec.rest);
        let by = key.values.get(&dof).map_or(by, |own| own - spec.rest);
        let way = if by > 0.0 { spec.skin_max - spec.rest } else { spec.rest - spec.skin_min };
        Some((by / way.max(1e-9)).clamp(-1.0, 1.0))
    };
    let shares: Vec<f64> = dofs.into_iter().filter_map(share).collect();
    (!shares.is_empty()).then(|| shares.iter().sum::<f64>() / shares.len() as f64)
}

/// Brows amber (inner ends solid, outer dashed), mouth corners vermilion; above the middle is up.
#[must_use]
pub fn looks(axis: &TimeAxis, keys: &[ExpressionKey], rig: &Rig, height: f64) -> Vec<DrawCmd> {
    let mut out = ground(axis, height);
    let middle = height / 2.0;
    let hair = Path::segment(pt(0.0, middle.round() + 0.5), pt(axis.width(), middle.round() + 0.5));
    out.push(line(hair, 1.0, Paint::Faint(Tone::Rule, 0.8)));
    // Those in view, and one on either side.
    let (from, to) = axis.span();
    let first = keys.partition_point(|k| k.time < from).saturating_sub(1);
    let last = (keys.partition_point(|k| k.time <= to) + 1).min(keys.len());
    let Some(seen) = keys.get(first..last).filter(|k| !k.is_empty()) else { return out };
    for (dofs, tone, dashed) in CURVES {
        let values: Option<Vec<f64>> = seen.iter().map(|k| raised(k, rig, dofs)).collect();
        let Some(values) = values else { continue };
        let y = |share: f64| middle - share * (middle - 3.0);
        let points = course(axis, seen, &values, &y);
        let stroke = if dashed { Stroke::dashed(1.4, tone, 4.0, 3.0) } else { Stroke::solid(1.6, tone) };
        out.push(DrawCmd::Stroke(Path::polyline(&points), stroke));
        let dot = |(key, value): (&ExpressionKey, &f64)| {
            Path::rect(axis.x(key.time) - 2.0, y(*value) - 2.0, 4.0, 4.0)
        };
        let dots = seen.iter().zip(&values).map(dot).fold(Path::new(), Path::with);
        out.push(fill(dots, tone));
    }
    out
}

/// A curve from key to key as their easings say, level before the first and after the last.
fn course(axis: &TimeAxis, keys: &[ExpressionKey], values: &[f64], y: &dyn Fn(f64) -> f64) -> Vec<Point> {
    let end = |time: Seconds, value: f64| pt(axis.x(time), y(value));
    let (before, after) = (Seconds::ZERO.min(keys[0].time), axis.duration().max(keys[keys.len() - 1].time));
    let mut points = vec![end(before, values[0]), end(keys[0].time, values[0])];
    for (pair, value) in keys.windows(2).zip(values.windows(2)) {
        let (a, b) = (&pair[0], &pair[1]);
        if a.easing == Easing::Hold {
            points.push(end(b.time, value[0]));
        } else {
            let wide = (axis.x(b.time) - axis.x(a.time)) / 4.0;
            let pieces = if a.easing == Easing::Linear { 1.0 } else { wide.clamp(1.0, PIECES).ceil() };
            for piece in 1..pieces as usize {
                let u = piece as f64 / pieces;
                let time = a.time + (b.time - a.time) * u;
                points.push(end(time, value[0] + (value[1] - value[0]) * a.easing.share(u)));
            }
        }
        points.push(end(b.time, value[1]));
    }
    points.push(end(after, values[values.len() - 1]));
    points
}

#[cfg(test)]
mod tests {
    use super::*;
    use lipwright_core::rig::{Expression, Preset};

    fn strokes(commands: &[DrawCmd]) -> Vec<&Path> {
        // After the ground's hairs and the middle.
        commands
            .iter()
            .filter_map(|c| if let DrawCmd::Stroke(p, _) = c { Some(p) } else { None })
            .skip(2)
            .collect()
    }

    fn at(axis: &TimeAxis, path: &Path, time: f64) -> f64 {
        let x = axis.x(Seconds::new(time));
        let points: Vec<Point> = path
            .pieces()
            .iter()
            .filter_map(|p| match p {
                crate::scene::Piece::Move(p) | crate::scene::Piece::Line(p) => Some(*p),
                _ => None,
            })
            .collect();
        let after = points.iter().position(|p| p.x >= x).expect("a point after it");
        let (a, b) = (points[after.saturating_sub(1)], points[after]);
        if b.x > a.x { a.y + (b.y - a.y) * (x - a.x) / (b.x - a.x) } else { b.y }
    }

    #[test]
    fn curves_go_from_key_to_key_as_their_easing_says() {
        let (rig, axis) = (Preset::Harbourmaster.rig(), TimeAxis::fitted(Seconds::new(4.0), 800.0));
        let key = |time: f64, look, easing| ExpressionKey {
            easing,
            ..ExpressionKey::new(Seconds::new(time), look)
        };
        let lane =
            |easing| vec![key(1.0, Expression::Neutral, easing), key(3.0, Expression::Smile, Easing::Smooth)];
        let middle = 15.0;
        for (easing, share) in [(Easing::Linear, 0.25), (Easing::Smooth, 0.15625), (Easing::Hold, 0.0)] {
            let commands = looks(&axis, &lane(easing), &rig, 2.0 * middle);
            let curves = strokes(&commands);
            assert_eq!(curves.len(), 3, "two of the brows, one of the corners");
            let up = |time: f64| middle - at(&axis, curves[2], time);
            assert!(up(0.5).abs() < 1e-9 && up(3.5) > 3.0, "neutral, then a smile: {}", up(3.5));
            // A quarter of the way: u²(3 − 2u) is 0.15625.
            assert!((up(1.5) / up(3.5) - share).abs() < 0.02, "{easing:?}: {}", up(1.5) / up(3.5));
        }
    }

    #[test]
    fn an_angry_brow_falls_inside_and_rises_outside() {
        let (rig, axis) = (Preset::Harbourmaster.rig(), TimeAxis::fitted(Seconds::new(4.0), 800.0));
        let commands = looks(&axis, &[ExpressionKey::new(Seconds::ZERO, Expression::Angry)], &rig, 30.0);
        let curves = strokes(&commands);
        assert!(at(&axis, curves[0], 2.0) > 15.0 && at(&axis, curves[1], 2.0) < 15.0);
        // A head without brows and corners has no curves, and none is drawn without keys.
        let jaw = Preset::JawOnly.rig();
        let none = looks(&axis, &[ExpressionKey::new(Seconds::ZERO, Expression::Angry)], &jaw, 30.0);
        assert!(strokes(&none).is_empty());
        assert!(strokes(&looks(&axis, &[], &rig, 30.0)).is_empty());
    }
}
