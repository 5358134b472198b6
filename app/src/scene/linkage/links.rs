//! The links of a mechanism, to scale, in millimetres.

use super::{Zones, zones};
use crate::scene::pen::Pen;
use crate::scene::{Align, DrawCmd, Face, Frame, Paint, Path, Point, Tone, pt};
use lipwright_core::rig::{FiveBar, Mechanism, PushRod, Rig, Rotary};
use lipwright_core::units::Degrees;

/// Draws a mechanism at these angles (one per servo of the rig) into `width` × `height` pixels;
/// nothing where the rig has no such mechanism.
#[must_use]
pub fn links(rig: &Rig, mechanism: usize, angles: &[Degrees], width: f64, height: f64) -> Vec<DrawCmd> {
    let Some(m) = rig.mechanisms().get(mechanism) else { return Vec::new() };
    let theta =
        |i: usize| m.servos().get(i).and_then(|id| angles.get(id.0)).map_or(0.0, |a: &Degrees| a.value());
    let zones = zones(rig, mechanism);
    let size = (width, height);
    match (m, zones) {
        (Mechanism::Rotary { linkage, .. }, Some(z)) => rotary(linkage, &z, theta(0), size),
        (Mechanism::PushRod { linkage, .. }, Some(z)) => push_rod(linkage, &z, theta(0), size),
        (Mechanism::Table { .. }, Some(z)) => dial(&z, theta(0), size),
        (Mechanism::FiveBar { linkage, drives, .. }, _) => {
            let skin = [0, 1].map(|i| {
                rig.dof(drives[i].dof).map_or((0.0, 0.0), |d| {
                    let ask = |v: f64| (v - drives[i].at_neutral) / drives[i].gain;
                    (ask(d.skin_min), ask(d.skin_max))
                })
            });
            five_bar(linkage, skin, [theta(0), theta(1)], size)
        }
        (Mechanism::Differential { .. }, _) => differential([theta(0), theta(1)], size),
        // One-servo kinds always have zones.
        _ => Vec::new(),
    }
}

/// A point at a distance and an angle (degrees, from +x towards up) from another.
fn polar(from: Point, radius: f64, degrees: f64) -> Point {
    let (sin, cos) = degrees.to_radians().sin_cos();
    pt(from.x + radius * cos, from.y - radius * sin)
}

/// An arc through enough points to look round.
fn arc(centre: Point, radius: f64, from: f64, to: f64) -> Vec<Point> {
    let steps = (((to - from).abs() / 4.0).ceil() as usize).clamp(1, 180);
    (0..=steps).map(|k| polar(centre, radius, from + (to - from) * k as f64 / steps as f64)).collect()
}

fn sector(centre: Point, radius: f64, from: f64, to: f64) -> Path {
    let mut points = arc(centre, radius, from, to);
    points.push(centre);
    Path::polyline(&points).close()
}

/// Shades the turns that the pulse range allows and linkage or skin do not; `drawn` turns a servo
/// angle into the angle on the drawing.
fn shade(pen: &mut Pen, centre: Point, radius: f64, z: &Zones, drawn: impl Fn(f64) -> f64) {
    let mut wedge = |a: f64, b: f64, paint: Paint| {
        if b - a > 0.05 {
            pen.fill(&sector(centre, radius, drawn(a), drawn(b)), paint);
        }
    };
    wedge(z.free.0, z.free.1, Paint::Faint(Tone::Signal, 0.14));
    for (a, b) in [(z.linkage.0, z.free.0), (z.free.1, z.linkage.1)] {
        wedge(a, b, Paint::Faint(Tone::Quiet, 0.22));
    }
    for (a, b) in [(z.pulse.0, z.linkage.0), (z.linkage.1, z.pulse.1)] {
        wedge(a, b, Paint::Faint(Tone::Danger, 0.30));
    }
}

fn axle(pen: &mut Pen, at: Point, size: f64) {
    pen.fill(&Path::ellipse(at, size * 1.5, size * 1.5), Tone::Ink);
    pen.fill(&Path::ellipse(at, size * 0.7, size * 0.7), Tone::Lane);
}

fn pin(pen: &mut Pen, at: Point, size: f64) {
    pen.fill(&Path::ellipse(at, size, size), Tone::Ink);
}

fn driven(pen: &mut Pen, at: Point, size: f64) {
    pen.fill(&Path::ellipse(at, size * 1.25, size * 1.25), Tone::LeadJaw);
    pen.line(&Path::ellipse(at, size * 1.25, size * 1.25), 0.0, 1.4, Tone::Ink);
}

fn word(pen: &mut Pen, at: Point, text: &str, align: Align) {
    let at = pen.place(at);
    pen.push(DrawCmd::Text {
        at,
        text: text.to_owned(),
        size: 10.5,
        face: Face::Text,
        align,
        upright: false,
        paint: Tone::Quiet.into(),
    });
}

/// A pen whose picture holds these points with some air round them, and the size of a pin in its units.
fn pen_round(points: &[Point], size: (f64, f64)) -> (Pen, f64) {
    let fold =
        |f: fn(f64, f64) -> f64, of: fn(&Point) -> f64, start: f64| points.iter().map(of).fold(start, f);
    let (x0, x1) = (fold(f64::min, |p| p.x, f64::INFINITY), fold(f64::max, |p| p.x, f64::NEG_INFINITY));
    let (y0, y1) = (fold(f64::min, |p| p.y, f64::INFINITY), fold(f64::max, |p| p.y, f64::NEG_INFINITY));
    let (w, h) = ((x1 - x0).max(1.0), (y1 - y0).max(1.0));
    let frame = Frame::fit((x0 - 0.12 * w, y0 - 0.12 * h, 1.24 * w, 1.24 * h), size.0, size.1);
    let unit = 4.0 / frame.scale.max(1e-6);
    (Pen::new(frame), unit)
}

fn rotary(l: &Rotary, z: &Zones, theta: f64, size: (f64, f64)) -> Vec<DrawCmd> {
    let centre = pt(0.0, 0.0);
    let Some(lever) = l.lever else { return dial(&scaled(z, l.ratio), l.ratio * theta, size) };
    let drawn = |t: f64| l.ratio * t;
    let ends = [z.pulse.0, z.pulse.1].map(|t| polar(centre, lever, drawn(t).clamp(-100.0, 100.0)));
    let (mut pen, unit) = pen_round(&[pt(-0.12 * lever, 0.0), pt(lever, 0.0), ends[0], ends[1]], size);
    shade(&mut pen, centre, lever, z, drawn);
    pen.ghost(&Path::segment(centre, pt(lever * 1.05, 0.0)), Tone::Rule);
    let tip = polar(centre, lever, drawn(theta));
    pen.line(&Path::segment(centre, tip), 0.0, 5.0, Tone::Planned);
    pen.line(&Path::segment(pt(tip.x, 0.0), tip), 0.0, 1.2, Paint::Faint(Tone::LeadJaw, 0.8));
    axle(&mut pen, centre, unit);
    driven(&mut pen, tip, unit);
    pen.done()
}

/// Zones of the axle behind a ratio.
fn scaled(z: &Zones, ratio: f64) -> Zones {
    let by = |(a, b): (f64, f64)| if ratio < 0.0 { (b * ratio, a * ratio) } else { (a * ratio, b * ratio) };
    Zones { pulse: by(z.pulse), linkage: by(z.linkage), free: by(z.free) }
}

/// A pointer that turns: for a part measured in degrees, and for a measured table, whose links
/// nobody described. Angle 0 points up; larger angles turn right.
fn dial(z: &Zones, theta: f64, size: (f64, f64)) -> Vec<DrawCmd> {
    let centre = pt(0.0, 0.0);
    let (mut pen, unit) = pen_round(&[pt(-11.0, -11.0), pt(11.0, 7.0)], size);
    let drawn = |t: f64| 90.0 - t;
    shade(&mut pen, centre, 10.0, z, drawn);
    pen.line(&Path::polyline(&arc(centre, 10.0, drawn(z.pulse.0), drawn(z.pulse.1))), 0.0, 1.2, Tone::Rule);
    pen.line(&Path::segment(centre, polar(centre, 10.0, drawn(theta))), 0.0, 5.0, Tone::Planned);
    axle(&mut pen, centre, unit);
    driven(&mut pen, polar(centre, 10.0, drawn(theta)), unit);
    pen.done()
}

fn push_rod(l: &PushRod, z: &Zones, theta: f64, size: (f64, f64)) -> Vec<DrawCmd> {
    let centre = pt(0.0, 0.0);
    let r = l.horn_radius;
    let far = r + l.rod_length;
    let line = pt(0.0, -l.offset);
    let (mut pen, unit) =
        pen_round(&[pt(-r, -r.max(l.offset)), pt(-r, r.max(-l.offset)), pt(far + 0.1 * r, 0.0)], size);
    let drawn = |t: f64| l.neutral_horn + t;
    shade(&mut pen, centre, r, z, drawn);
    pen.line(&Path::ellipse(centre, r, r), 0.0, 1.0, Tone::Rule);
    // The slider's line, and the stretch of it that is used.
    let slide = |t: f64| pt(l.slide(drawn(t)), line.y);
    pen.ghost(&Path::segment(pt(l.rod_length - r, line.y), pt(far, line.y)), Tone::Wanted);
    pen.line(&Path::segment(slide(z.free.0), slide(z.free.1)), 0.0, 6.0, Paint::Faint(Tone::Signal, 0.45));
    let at = polar(centre, r, drawn(theta));
    let slider = slide(theta);
    pen.line(&Path::segment(at, slider), 0.0, 3.5, Tone::Wanted);
    pen.line(&Path::segment(centre, at), 0.0, 5.5, Tone::Planned);
    axle(&mut pen, centre, unit);
    pin(&mut pen, at, unit);
    driven(&mut pen, slider, unit);
    word(&mut pen, pt(0.0, r + 3.2 * unit), "horn", Align::Centre);
    word(&mut pen, pt(l.rod_length, line.y + 4.5 * unit), "slider", Align::Centre);
    pen.done()
}

fn five_bar(l: &FiveBar, skin: [(f64, f64); 2], theta: [f64; 2], size: (f64, f64)) -> Vec<DrawCmd> {
    let up = |p: [f64; 2]| pt(p[0], -p[1]);
    let j = l.joints(theta);
    // The skin's rectangle (face frame, about the rest point) seen in the linkage's frame.
    let (s, c) = l.rotation.to_radians().sin_cos();
    let corner = |x: f64, y: f64| up([l.rest[0] + c * x + s * y, l.rest[1] - s * x + c * y]);
    let [(x0, x1), (y0, y1)] = skin;
    let rect = [corner(x0, y0), corner(x1, y0), corner(x1, y1), corner(x0, y1)];
    let mut points = rect.to_vec();
    points.extend([up([-l.proximal * 0.9, 0.0]), up([l.base + l.proximal * 0.9, 0.0]), pt(0.0, 4.0)]);
    let (mut pen, unit) = pen_round(&points, size);
    pen.fill(&Path::polyline(&rect).close(), Paint::Faint(Tone::Signal, 0.14));
    pen.line(&Path::polyline(&rect).close(), 0.0, 1.0, Paint::Faint(Tone::Signal, 0.6));
    pen.ghost(&Path::segment(up(j.axles[0]), up(j.axles[1])), Tone::Rule);
    for i in 0..2 {
        pen.line(&Path::segment(up(j.elbows[i]), up(j.tip)), 0.0, 3.5, Tone::Wanted);
        pen.line(&Path::segment(up(j.axles[i]), up(j.elbows[i])), 0.0, 5.5, Tone::Planned);
    }
    for i in 0..2 {
        axle(&mut pen, up(j.axles[i]), unit);
        pin(&mut pen, up(j.elbows[i]), unit);
    }
    driven(&mut pen, up(j.tip), unit);
    word(&mut pen, pt(rect[2].x, rect[2].y.min(rect[3].y) - 1.2 * unit), "skin", Align::Right);
    pen.done()
}

fn differential(theta: [f64; 2], size: (f64, f64)) -> Vec<DrawCmd> {
    let (mut pen, unit) = pen_round(&[pt(-26.0, -16.0), pt(26.0, 16.0)], size);
    // Two horns side by side lift the ends of one carrier.
    let axles = [pt(-14.0, 8.0), pt(14.0, 8.0)];
    let lift = |t: f64| -9.0 * t.to_radians().sin();
    let ends = [pt(-14.0, -6.0 + lift(theta[0])), pt(14.0, -6.0 + lift(theta[1]))];
    for i in 0..2 {
        let sign = if i == 0 { -1.0 } else { 1.0 };
        let tip = pt(axles[i].x + sign * 9.0 * theta[i].to_radians().cos(), axles[i].y + lift(theta[i]));
        pen.line(&Path::ellipse(axles[i], 9.0, 9.0), 0.0, 1.0, Tone::Rule);
        pen.line(&Path::segment(axles[i], tip), 0.0, 5.0, Tone::Planned);
        pen.line(&Path::segment(tip, pt(tip.x, ends[i].y)), 0.0, 2.5, Tone::Wanted);
        axle(&mut pen, axles[i], unit);
        pin(&mut pen, tip, unit);
    }
    pen.line(&Path::segment(pt(-24.0, ends[0].y), pt(24.0, ends[1].y)), 0.0, 4.5, Tone::Wanted);
    driven(&mut pen, ends[0].towards(ends[1], 0.5), unit);
    pen.done()
}
