//! What a mechanism makes of its servo: value over pulse, or for two servos the plane they reach.

use super::zones;
use crate::scene::{Align, DrawCmd, Face, Paint, Path, Point, Stroke, Tone, fill, line, pt};
use lipwright_core::rig::{LinkageDescription, Mechanism, Rig};
use lipwright_core::units::{Degrees, Microseconds};

/// Room round the plot for its numbers.
const LEFT: f64 = 34.0;
const BOTTOM: f64 = 18.0;
const TOP: f64 = 8.0;
const RIGHT: f64 = 10.0;

/// A rectangle of pixels with the values at its edges.
struct Area {
    x: (f64, f64),
    y: (f64, f64),
    width: f64,
    height: f64,
}

impl Area {
    fn at(&self, x: f64, y: f64) -> Point {
        let across = (x - self.x.0) / (self.x.1 - self.x.0).max(1e-9);
        let up = (y - self.y.0) / (self.y.1 - self.y.0).max(1e-9);
        pt(
            LEFT + across * (self.width - LEFT - RIGHT),
            self.height - BOTTOM - up * (self.height - TOP - BOTTOM),
        )
    }

    fn band(&self, from: f64, to: f64, paint: Paint) -> Option<DrawCmd> {
        let (a, b) = (self.at(from, self.y.1), self.at(to, self.y.0));
        (b.x - a.x > 0.3).then(|| fill(Path::rect(a.x, a.y, b.x - a.x, b.y - a.y), paint))
    }

    fn axes(&self, unit_x: &str, ticks_x: &[f64], ticks_y: &[f64]) -> Vec<DrawCmd> {
        let mut out = Vec::new();
        for x in ticks_x {
            let at = self.at(*x, self.y.0);
            out.push(line(Path::segment(at, pt(at.x, TOP)), 1.0, Paint::Faint(Tone::Rule, 0.6)));
            out.push(text(pt(at.x, self.height - 5.0), &number(*x), Align::Centre));
        }
        for y in ticks_y {
            let at = self.at(self.x.0, *y);
            out.push(line(
                Path::segment(at, pt(self.width - RIGHT, at.y)),
                1.0,
                Paint::Faint(Tone::Rule, 0.6),
            ));
            out.push(text(pt(LEFT - 5.0, at.y + 3.5), &number(*y), Align::Right));
        }
        out.push(text(pt(self.width - 2.0, self.height - 5.0), unit_x, Align::Right));
        out
    }
}

fn number(v: f64) -> String {
    let v = (v * 10.0).round() / 10.0 + 0.0;
    if v.fract() == 0.0 { format!("{v:.0}") } else { format!("{v:.1}") }
}

fn text(at: Point, text: &str, align: Align) -> DrawCmd {
    DrawCmd::Text {
        at,
        text: text.to_owned(),
        size: 10.0,
        face: Face::Text,
        align,
        upright: false,
        paint: Tone::Quiet.into(),
    }
}

/// Round steps that give three to six ticks over a range.
fn ticks(low: f64, high: f64) -> Vec<f64> {
    let span = (high - low).max(1e-9);
    let raw = span / 4.0;
    let base = 10f64.powf(raw.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].into_iter().map(|k| k * base).find(|s| *s >= raw).unwrap_or(raw);
    let first = (low / step).ceil() as i64;
    (first..).map(|k| k as f64 * step).take_while(|v| *v <= high + 1e-9).take(12).collect()
}

/// The plane that two servos reach: which cells of the skin's rectangle the linkage can have.
#[derive(Clone, Debug, PartialEq)]
pub struct Plane {
    x: (f64, f64),
    y: (f64, f64),
    /// Rows from the least y up; true where reached.
    cells: Vec<Vec<bool>>,
}

/// Cells a side.
const CELLS: usize = 20;

/// Looks through the plane of a two-servo mechanism (some milliseconds; not for every frame);
/// `None` for one servo.
#[must_use]
pub fn plane(rig: &Rig, mechanism: usize) -> Option<Plane> {
    let m = rig.mechanisms().get(mechanism).filter(|m| m.servos().len() == 2)?;
    let [a, b] = [m.drives().first()?.dof, m.drives().get(1)?.dof];
    let (dx, dy) = (rig.dof(a)?, rig.dof(b)?);
    let centre = |low: f64, high: f64, k: usize| low + (high - low) * (k as f64 + 0.5) / CELLS as f64;
    let reached = |i: usize, j: usize| {
        let mut wanted = rig.rest();
        wanted[a] = centre(dx.skin_min, dx.skin_max, i);
        wanted[b] = centre(dy.skin_min, dy.skin_max, j);
        let reach = rig.reach(&wanted);
        !reach.clamped.contains(&a) && !reach.clamped.contains(&b)
    };
    let cells = (0..CELLS).map(|j| (0..CELLS).map(|i| reached(i, j)).collect()).collect();
    Some(Plane { x: (dx.skin_min, dx.skin_max), y: (dy.skin_min, dy.skin_max), cells })
}

impl Plane {
    /// Share of the skin's rectangle that the linkage can have.
    #[must_use]
    pub fn share(&self) -> f64 {
        let all = self.cells.iter().map(Vec::len).sum::<usize>().max(1);
        self.cells.iter().flatten().filter(|c| **c).count() as f64 / all as f64
    }
}

/// Draws the value over the pulse, with dead zones shaded, or for two servos the plane that was
/// looked through.
#[must_use]
pub fn plot(
    rig: &Rig,
    mechanism: usize,
    angles: &[Degrees],
    plane: Option<&Plane>,
    width: f64,
    height: f64,
) -> Vec<DrawCmd> {
    let Some(m) = rig.mechanisms().get(mechanism) else { return Vec::new() };
    match plane {
        Some(plane) if m.servos().len() == 2 => plot_plane(rig, m, angles, plane, width, height),
        _ => plot_curve(rig, mechanism, angles, width, height),
    }
}

fn plot_curve(rig: &Rig, mechanism: usize, angles: &[Degrees], width: f64, height: f64) -> Vec<DrawCmd> {
    let (Some(m), Some(z)) = (rig.mechanisms().get(mechanism), zones(rig, mechanism)) else {
        return Vec::new();
    };
    let Some(servo) = m.servos().first().and_then(|id| rig.servos().get(id.0)) else { return Vec::new() };
    let Some(drive) = m.drives().first() else { return Vec::new() };
    let value = |theta: f64| m.forward(&[theta]).first().map_or(0.0, |v| v.1);
    let pulse = |theta: f64| servo.pulse(Degrees::new(theta)).value();
    const STEPS: usize = 80;
    let samples: Vec<(f64, f64)> = (0..=STEPS)
        .map(|k| {
            let p = servo.pulse_min + (servo.pulse_max - servo.pulse_min) * (k as f64 / STEPS as f64);
            (p.value(), servo.angle(p).value())
        })
        .collect();
    let inside = |theta: &f64| z.linkage.0 - 1e-9 <= *theta && *theta <= z.linkage.1 + 1e-9;
    let spec = rig.dof(drive.dof);
    let mut low = spec.map_or(0.0, |d| d.skin_min);
    let mut high = spec.map_or(1.0, |d| d.skin_max);
    for (_, theta) in samples.iter().filter(|s| inside(&s.1)) {
        low = low.min(value(*theta));
        high = high.max(value(*theta));
    }
    let air = 0.06 * (high - low).max(0.1);
    let area = Area {
        x: (servo.pulse_min.value(), servo.pulse_max.value()),
        y: (low - air, high + air),
        width,
        height,
    };
    let mut out =
        area.axes("µs", &ticks(area.x.0, area.x.1 - 0.08 * (area.x.1 - area.x.0)), &ticks(low, high));
    let mut zone = |a: f64, b: f64, paint: Paint| {
        let (a, b) = (pulse(a), pulse(b));
        out.extend(area.band(a.min(b), a.max(b), paint));
    };
    zone(z.pulse.0, z.linkage.0, Paint::Faint(Tone::Danger, 0.28));
    zone(z.linkage.1, z.pulse.1, Paint::Faint(Tone::Danger, 0.28));
    zone(z.linkage.0, z.free.0, Paint::Faint(Tone::Quiet, 0.20));
    zone(z.free.1, z.linkage.1, Paint::Faint(Tone::Quiet, 0.20));
    if let Some(d) = spec {
        for limit in [d.skin_min, d.skin_max] {
            let (a, b) = (area.at(area.x.0, limit), area.at(area.x.1, limit));
            out.push(DrawCmd::Stroke(Path::segment(a, b), Stroke::dashed(1.0, Tone::Quiet, 3.0, 3.0)));
        }
    }
    let curve: Vec<Point> =
        samples.iter().filter(|s| inside(&s.1)).map(|(p, theta)| area.at(*p, value(*theta))).collect();
    out.push(line(Path::polyline(&curve), 2.0, Tone::Planned));
    if let Some(LinkageDescription::Table { points }) =
        rig.description().mechanisms.get(mechanism).map(|m| &m.linkage)
    {
        for p in points {
            let at = area.at(p.pulse_us, value(servo.angle(Microseconds::new(p.pulse_us)).value()));
            out.push(line(Path::ellipse(at, 3.0, 3.0), 1.4, Tone::Signal));
        }
    }
    let theta = angles.get(servo.id.0).map_or(0.0, |a| a.value());
    let now = area.at(pulse(theta), value(theta));
    out.push(fill(Path::ellipse(now, 5.0, 5.0), Tone::LeadJaw));
    out.push(line(Path::ellipse(now, 5.0, 5.0), 1.4, Tone::Ink));
    out
}

fn plot_plane(
    rig: &Rig,
    m: &Mechanism,
    angles: &[Degrees],
    plane: &Plane,
    width: f64,
    height: f64,
) -> Vec<DrawCmd> {
    let air = |(a, b): (f64, f64)| (a - 0.06 * (b - a), b + 0.06 * (b - a));
    let area = Area { x: air(plane.x), y: air(plane.y), width, height };
    let mut out = area.axes("out", &ticks(plane.x.0, plane.x.1), &ticks(plane.y.0, plane.y.1));
    let (cw, ch) = ((plane.x.1 - plane.x.0) / CELLS as f64, (plane.y.1 - plane.y.0) / CELLS as f64);
    let (mut free, mut dead) = (Path::new(), Path::new());
    for (j, row) in plane.cells.iter().enumerate() {
        for (i, reached) in row.iter().enumerate() {
            let a = area.at(plane.x.0 + cw * i as f64, plane.y.0 + ch * (j + 1) as f64);
            let b = area.at(plane.x.0 + cw * (i + 1) as f64, plane.y.0 + ch * j as f64);
            let cell = Path::rect(a.x, a.y, b.x - a.x, b.y - a.y);
            let to = if *reached { &mut free } else { &mut dead };
            *to = std::mem::take(to).with(cell);
        }
    }
    out.push(fill(free, Paint::Faint(Tone::Signal, 0.14)));
    out.push(fill(dead, Paint::Faint(Tone::Danger, 0.30)));
    let theta: Vec<f64> =
        m.servos().iter().map(|id| angles.get(id.0).map_or(0.0, |a: &Degrees| a.value())).collect();
    if let [x, y] = m.forward(&theta)[..] {
        let now = area.at(x.1, y.1);
        out.push(fill(Path::ellipse(now, 5.0, 5.0), Tone::LeadJaw));
        out.push(line(Path::ellipse(now, 5.0, 5.0), 1.4, Tone::Ink));
    }
    let _ = rig;
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_few() {
        assert_eq!(ticks(800.0, 2200.0), [1000.0, 1500.0, 2000.0]);
        assert_eq!(ticks(-3.0, 6.0), [0.0, 5.0]);
        for (low, high) in [(0.0, 1e-3), (-1e4, 1e4), (0.4, 0.5), (3.0, 3.0)] {
            assert!(ticks(low, high).len() <= 12);
        }
    }

    #[test]
    fn a_corner_that_cannot_reach_all_its_skin_shows_it() {
        let whole = plane(&Rig::harbourmaster(), 5).expect("a corner");
        assert_eq!(whole.share(), 1.0, "the museum's corners reach all that their skin allows");
        let mut d = Rig::harbourmaster().description().clone();
        for dof in d.dofs.iter_mut().filter(|d| d.dof.name().starts_with("corner-left")) {
            (dof.skin_min, dof.skin_max) = (-20.0, 20.0);
        }
        let short = plane(&Rig::new(d).expect("valid"), 5).expect("a corner");
        assert!(short.share() > 0.2 && short.share() < 0.95, "{}", short.share());
    }
}
