//! The head cut down the middle and seen from its right side: tongue, teeth, palate and lips.
//!
//! Units are millimetres; the origin is where the lips meet at rest, the front of the face to the
//! left (negative x), y down. The jaw turns about its hinge, carrying lower teeth, lip and tongue.

use super::mouth::{Anatomy, LIP_DOFS, ghost_strength};
use super::pen::Pen;
use super::{Align, DrawCmd, Face, Frame, Paint, Path, Point, Rgba, Tone, pt};
use lipwright_core::rig::{Dof, DofValues};

const SHOWN: (f64, f64, f64, f64) = (-34.0, -48.0, 112.0, 106.0);
/// The jaw's hinge.
const HINGE: Point = pt(68.0, -34.0);
/// The cutting edge of the lower incisors at rest.
const LOWER_INCISOR: Point = pt(8.0, 2.6);

const FLESH: Rgba = Rgba::hex(0xcf9576);
const FLESH_EDGE: Rgba = Rgba::hex(0x9a6148);
const BONE: Rgba = Rgba::hex(0xefe5cd);
const BONE_EDGE: Rgba = Rgba::hex(0xa8997a);
const LIP: Rgba = Rgba::hex(0xbd6155);
const TONGUE: Rgba = Rgba::hex(0xd77873);
const TONGUE_EDGE: Rgba = Rgba::hex(0x9c4746);

/// Turns points with the jaw.
struct JawTurn {
    sin: f64,
    cos: f64,
}

impl JawTurn {
    /// `open` is the DOF: how far the lower incisors go down, mm.
    fn new(open: f64) -> Self {
        let radius = (LOWER_INCISOR.x - HINGE.x).hypot(LOWER_INCISOR.y - HINGE.y);
        // The incisors start a little past level from the hinge; solve for the drop exactly.
        let start = (LOWER_INCISOR.y - HINGE.y).atan2(HINGE.x - LOWER_INCISOR.x);
        let sine = ((LOWER_INCISOR.y - HINGE.y + open) / radius).clamp(-1.0, 1.0);
        let angle = sine.asin() - start;
        Self { sin: angle.sin(), cos: angle.cos() }
    }

    fn at(&self, x: f64, y: f64) -> Point {
        let (dx, dy) = (x - HINGE.x, y - HINGE.y);
        pt(HINGE.x + dx * self.cos + dy * self.sin, HINGE.y - dx * self.sin + dy * self.cos)
    }
}

/// How far the lips stand forward, mm: corners drawn in push the flesh out. An estimate for the
/// picture, since no DOF measures it.
fn protrusion(dofs: &DofValues) -> f64 {
    let inward = -(dofs[Dof::CornerLeftX] + dofs[Dof::CornerRightX]) / 2.0;
    (inward * 0.7).clamp(-2.0, 8.0)
}

/// Outline of the tongue and its two measured points (tip, body).
fn tongue(dofs: &DofValues, jaw: &JawTurn) -> (Path, Point, Point) {
    let tip = dofs[Dof::TongueTip];
    let body = dofs[Dof::TongueBody];
    // The tip swings up on an arc: between the teeth first, then back to the ridge.
    let tip_x = 14.0 + 0.032 * tip * tip.abs() + body * 0.42;
    let points = [
        (tip_x, 4.5 - tip),
        (22.0 + body * 0.34, 1.6 - tip * 0.58 - body * 0.22),
        (33.0 + body * 0.4, -3.0 - tip * 0.12 - body * 0.86),
        (45.0 + body * 0.45, -5.0 - body * 1.0),
        (55.0 + body * 0.3, 3.0 - body * 0.66),
        (60.0 + body * 0.1, 19.0 - body * 0.15),
        (57.0, 42.0),
        (44.0, 40.0),
        (33.0, 30.0),
        (25.0, 18.5 - tip * 0.1),
        (tip_x + 7.0, 11.0 - tip * 0.62),
        (tip_x + 1.4, 7.6 - tip * 0.96),
    ];
    let points: Vec<Point> = points.iter().map(|(x, y)| jaw.at(*x, *y)).collect();
    (Path::blob(&points), points[0], points[3])
}

/// Draws the cut in `width` × `height` pixels.
#[must_use]
pub fn cut(
    planned: &DofValues,
    wanted: Option<&DofValues>,
    anatomy: &Anatomy,
    width: f64,
    height: f64,
) -> Vec<DrawCmd> {
    let mut pen = Pen::new(Frame::fit(SHOWN, width, height));
    let jaw = JawTurn::new(planned[Dof::JawOpen]);
    let push = protrusion(planned);
    throat(&mut pen, &jaw);
    let (outline, tip, body) = tongue(planned, &jaw);
    let flesh = pen.linear(
        pt(0.0, -12.0),
        pt(0.0, 40.0),
        &[(0.0, Rgba::hex(0xe59089)), (0.35, TONGUE), (1.0, Rgba::hex(0xb25755))],
    );
    pen.fill(&outline, flesh);
    pen.line(&outline, 0.7, 0.9, TONGUE_EDGE);
    lower(&mut pen, planned, &jaw, push);
    upper(&mut pen, planned, anatomy, push);
    if let Some(wanted) = wanted {
        let jaw = JawTurn::new(wanted[Dof::JawOpen]);
        let ghost = |strength: f64| Paint::Own(Rgba::hex(0xffffff).faint(0.9 * strength));
        let strength = ghost_strength(planned, wanted, &[Dof::JawOpen, Dof::TongueTip, Dof::TongueBody]);
        if strength > 0.0 {
            pen.ghost(&tongue(wanted, &jaw).0, ghost(strength));
        }
        let strength = ghost_strength(planned, wanted, &LIP_DOFS);
        if strength > 0.0 {
            pen.ghost(&lower_lip(wanted, &jaw, protrusion(wanted))[1], ghost(strength));
            pen.ghost(&upper_lip(wanted, protrusion(wanted))[1], ghost(strength));
        }
    }
    // The jaw's lever and hinge.
    pen.line(&Path::segment(HINGE, jaw.at(30.0, 26.0)), 1.2, 1.2, Rgba::hex(0x10202b).faint(0.4));
    pen.fill(&Path::ellipse(HINGE, 3.2, 3.2), Rgba::hex(0x10202b));
    pen.fill(&Path::ellipse(HINGE, 1.7, 1.7), Tone::LeadJaw);
    // The points that the rig measures, in the colours of their articulators.
    for (at, tone) in [(tip, Tone::LeadTip), (body, Tone::LeadBody)] {
        pen.fill(&Path::ellipse(at, 2.1, 2.1), Rgba::hex(0x10202b));
        pen.fill(&Path::ellipse(at, 1.5, 1.5), tone);
    }
    labels(&mut pen);
    pen.done()
}

fn throat(pen: &mut Pen, jaw: &JawTurn) {
    let hollow = Path::new()
        .start(pt(5.0, -11.0))
        .to(pt(72.0, -30.0))
        .to(pt(74.0, 140.0))
        .to(pt(56.0, 140.0))
        .curve(pt(56.0, 90.0), jaw.at(52.0, 50.0), jaw.at(44.0, 40.0))
        .to(jaw.at(6.0, 12.0))
        .close();
    pen.fill(&hollow, Rgba::hex(0x241014).faint(0.9));
}

/// The upper lip: its flesh, and the red in front.
fn upper_lip(dofs: &DofValues, push: f64) -> [Path; 2] {
    let raise = (dofs[Dof::UpperLipLeft] + dofs[Dof::UpperLipRight]) / 2.0;
    let edge = -raise;
    let flesh = Path::blob(&[
        pt(-4.6 - push * 0.7, edge - 8.4),
        pt(-7.0 - push, edge - 4.0),
        pt(-5.8 - push * 1.05, edge - 0.8),
        pt(-1.4 - push * 0.9, edge),
        pt(3.4 - push * 0.3, edge - 1.4),
        pt(5.4, edge - 5.0),
        pt(5.4, -12.0),
        pt(0.0, -13.0),
    ]);
    let red = Path::blob(&[
        pt(-5.8 - push * 0.85, edge - 6.6),
        pt(-7.4 - push, edge - 3.9),
        pt(-5.9 - push * 1.05, edge - 0.7),
        pt(-1.4 - push * 0.9, edge + 0.1),
        pt(1.4 - push * 0.6, edge - 1.0),
        pt(-1.8 - push * 0.8, edge - 3.4),
    ]);
    [flesh, red]
}

/// The lower lip, which rides on the jaw.
fn lower_lip(dofs: &DofValues, jaw: &JawTurn, push: f64) -> [Path; 2] {
    let raise = (dofs[Dof::LowerLipLeft] + dofs[Dof::LowerLipRight]) / 2.0;
    let edge = -raise;
    let turned =
        |points: &[(f64, f64)]| Path::blob(&points.iter().map(|(x, y)| jaw.at(*x, *y)).collect::<Vec<_>>());
    let flesh = turned(&[
        (5.4, edge + 3.0),
        (2.0 - push * 0.5, edge + 0.6),
        (-1.0 - push * 0.9, edge),
        (-5.4 - push * 1.1, edge + 1.0),
        (-7.0 - push, edge + 4.6),
        (-4.6 - push * 0.7, edge + 9.0),
        (-1.0, edge + 12.0),
        (5.4, edge + 11.0),
    ]);
    let red = turned(&[
        (1.4 - push * 0.6, edge + 0.7),
        (-1.0 - push * 0.9, edge - 0.1),
        (-5.5 - push * 1.1, edge + 0.8),
        (-7.3 - push, edge + 4.4),
        (-5.8 - push * 0.8, edge + 7.6),
        (-2.6 - push * 0.7, edge + 4.0),
    ]);
    [flesh, red]
}

/// Flesh without an outline where it grows out of the face, then the red.
fn draw_lip(pen: &mut Pen, lip: &[Path; 2], tone: &Paint) {
    let [flesh, red] = lip;
    pen.fill(flesh, tone.clone());
    pen.fill(red, LIP);
    pen.line(red, 0.5, 0.8, FLESH_EDGE.faint(0.8));
}

fn upper(pen: &mut Pen, dofs: &DofValues, anatomy: &Anatomy, push: f64) {
    let lip_edge = -(dofs[Dof::UpperLipLeft] + dofs[Dof::UpperLipRight]) / 2.0;
    // Skull: nose, palate, soft palate, and the wall of the throat behind.
    let mass = Path::new()
        .start(pt(-2.0, -120.0))
        .curve(pt(-2.0, -80.0), pt(-8.0, -60.0), pt(-5.0, -46.0))
        .curve(pt(-8.0, -38.0), pt(-21.0, -30.0), pt(-21.5, -25.0))
        .curve(pt(-21.5, -20.5), pt(-12.0, -20.0), pt(-6.0, -18.5))
        .curve(pt(-3.0, -17.0), pt(-3.4, -13.0), pt(-5.8 - push * 0.9, lip_edge - 5.0))
        .curve(pt(-2.0, lip_edge - 4.0), pt(2.0, lip_edge - 5.0), pt(6.0, -10.0))
        .curve(pt(12.5, -6.5), pt(14.5, -5.5), pt(17.0, -8.5))
        .curve(pt(22.0, -15.0), pt(32.0, -18.0), pt(43.0, -15.0))
        .curve(pt(52.0, -12.5), pt(57.0, -7.0), pt(59.0, 3.0))
        .curve(pt(61.0, 5.0), pt(63.0, 3.0), pt(62.5, 0.0))
        .curve(pt(62.0, -10.0), pt(65.0, -16.0), pt(69.0, -18.0))
        .curve(pt(73.0, 0.0), pt(73.0, 30.0), pt(70.0, 140.0))
        .to(pt(160.0, 140.0))
        .to(pt(160.0, -120.0))
        .close();
    let tone = pen.linear(
        pt(-20.0, 0.0),
        pt(78.0, 0.0),
        &[(0.0, FLESH), (0.45, Rgba::hex(0xbd8467)), (1.0, Rgba::hex(0x8f6350))],
    );
    pen.fill(&mass, tone.clone());
    pen.line(&mass, 0.6, 0.9, FLESH_EDGE);
    // Upper incisor, its edge where the front view has it.
    let tooth = Path::new()
        .start(pt(5.6, -12.0))
        .curve(pt(4.4, -6.0), pt(4.8, -2.0), pt(6.0, anatomy.teeth_edge))
        .curve(pt(8.0, -2.0), pt(10.0, -6.0), pt(9.6, -12.0))
        .close();
    pen.fill(&tooth, BONE);
    pen.line(&tooth, 0.5, 0.8, BONE_EDGE);
    draw_lip(pen, &upper_lip(dofs, push), &tone);
}

fn lower(pen: &mut Pen, dofs: &DofValues, jaw: &JawTurn, push: f64) {
    let p = |x: f64, y: f64| jaw.at(x, y);
    let raise = (dofs[Dof::LowerLipLeft] + dofs[Dof::LowerLipRight]) / 2.0;
    let mass = Path::new()
        .start(p(4.0, 10.0))
        .to(p(-1.0 - push * 0.6, 4.0 - raise))
        .to(p(-5.2 - push * 0.9, 6.0 - raise))
        .curve(p(-4.4 - push * 0.4, 10.0 - raise), p(-0.6, 14.0), p(-2.4, 20.0))
        .curve(p(-8.0, 30.0), p(-2.0, 40.0), p(8.0, 42.0))
        .curve(p(24.0, 46.0), p(34.0, 48.0), pt(46.0, 140.0))
        .to(pt(62.0, 140.0))
        .curve(pt(62.0, 56.0), p(58.0, 46.0), p(56.0, 42.0))
        .curve(p(46.0, 40.0), p(36.0, 32.0), p(28.0, 22.0))
        .curve(p(22.0, 17.0), p(17.0, 14.0), p(12.5, 13.0))
        .to(p(5.0, 10.0))
        .close();
    let tone = pen.linear(
        pt(-10.0, 0.0),
        pt(70.0, 0.0),
        &[(0.0, FLESH), (0.6, Rgba::hex(0xb57c61)), (1.0, Rgba::hex(0x8f6350))],
    );
    pen.fill(&mass, tone.clone());
    pen.line(&mass, 0.6, 0.9, FLESH_EDGE);
    let tooth = Path::new()
        .start(p(6.0, 14.0))
        .curve(p(6.2, 9.0), p(7.0, 5.0), p(LOWER_INCISOR.x, LOWER_INCISOR.y))
        .curve(p(10.0, 5.0), p(11.4, 9.0), p(10.6, 14.0))
        .close();
    pen.fill(&tooth, BONE);
    pen.line(&tooth, 0.5, 0.8, BONE_EDGE);
    draw_lip(pen, &lower_lip(dofs, jaw, push), &tone);
}

fn labels(pen: &mut Pen) {
    for (x, y, text) in [(36.0, -27.0, "palate"), (62.0, -37.5, "hinge")] {
        let at = pen.place(pt(x, y));
        pen.push(DrawCmd::Text {
            at,
            text: text.to_owned(),
            size: 10.5,
            face: Face::Text,
            align: if text == "hinge" { Align::Right } else { Align::Centre },
            upright: false,
            paint: Rgba::hex(0x2a1710).faint(0.85).into(),
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_jaw_turns_so_that_the_incisors_drop_by_the_dof() {
        for open in [0.0, 3.0, 9.0, 16.0] {
            let at = JawTurn::new(open).at(LOWER_INCISOR.x, LOWER_INCISOR.y);
            assert!((at.y - LOWER_INCISOR.y - open).abs() < 1e-9, "{open}: {at:?}");
        }
    }

    #[test]
    fn raising_tip_and_body_moves_their_points_up() {
        let flat = DofValues::default();
        let jaw = JawTurn::new(0.0);
        let (_, tip0, body0) = tongue(&flat, &jaw);
        let mut raised = flat;
        raised[Dof::TongueTip] = 8.0;
        raised[Dof::TongueBody] = 8.0;
        let (_, tip1, body1) = tongue(&raised, &jaw);
        assert!(tip1.y < tip0.y - 7.0 && body1.y < body0.y - 7.0 && body1.x > body0.x);
    }
}
