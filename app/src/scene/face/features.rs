//! Ears, eyes, brows, nose.

use super::super::pen::Pen;
use super::super::{Path, Point, Rgba, pt};
use super::*;

pub(super) fn ears(pen: &mut Pen) {
    for sign in [-1.0, 1.0] {
        let ear = Path::blob(&[
            pt(sign * 66.0, -56.0),
            pt(sign * 76.0, -58.0),
            pt(sign * 79.0, -44.0),
            pt(sign * 74.0, -26.0),
            pt(sign * 67.0, -22.0),
        ]);
        pen.fill(&ear, SKIN_SHADE);
        let inner = Path::smooth(&[
            pt(sign * 70.0, -51.0),
            pt(sign * 75.0, -47.0),
            pt(sign * 72.0, -37.0),
            pt(sign * 70.0, -30.0),
        ]);
        pen.line(&inner, 1.3, 0.8, SKIN_FOLD.faint(0.6));
    }
}

/// The upper lid's edge, from the inner to the outer corner of the eye: open, and shut.
const LID_OPEN: [(f64, f64); 4] = [(-13.0, 2.4), (-6.0, -5.2), (5.0, -6.2), (14.0, 1.0)];
const LID_SHUT: [(f64, f64); 4] = [(-13.0, 2.4), (-6.0, 5.2), (5.0, 5.2), (14.0, 1.0)];

/// The middle of an eye.
pub(super) fn eye(sign: f64) -> Point {
    pt(sign * 28.0, -46.0)
}

/// How far a lid is from open (0) to shut (1); open where the head has none.
pub(super) fn closed(dofs: &DofValues, lid: Dof, anatomy: &Anatomy) -> f64 {
    let shut = anatomy.lid_shut;
    if shut > 0.0 { (dofs[lid] / shut).clamp(-0.2, 1.0) } else { 0.0 }
}

/// The lid's edge in an eye about `c`, so far from open (0) to shut (1).
pub(super) fn lid_edge(c: Point, sign: f64, closed: f64) -> [Point; 4] {
    let mix = |i: usize| {
        let (open, shut) = (LID_OPEN[i], LID_SHUT[i]);
        pt(c.x + sign * open.0, c.y + open.1 + closed * (shut.1 - open.1))
    };
    [mix(0), mix(1), mix(2), mix(3)]
}

pub(super) fn eyes(pen: &mut Pen, dofs: &DofValues, anatomy: &Anatomy) {
    for (sign, inner, outer, lid) in [
        (1.0, dofs[Dof::BrowLeftInner], dofs[Dof::BrowLeftOuter], Dof::LidLeft),
        (-1.0, dofs[Dof::BrowRightInner], dofs[Dof::BrowRightOuter], Dof::LidRight),
    ] {
        let c = eye(sign);
        let closed = closed(dofs, lid, anatomy);
        let socket = pen.radial(
            pt(c.x, c.y - 3.0),
            20.0,
            &[(0.0, SKIN_FOLD.faint(0.55)), (0.7, SKIN_FOLD.faint(0.18)), (1.0, SKIN_FOLD.faint(0.0))],
        );
        pen.fill(&Path::ellipse(pt(c.x, c.y - 3.0), 20.0, 15.0), socket);
        let white = Path::new()
            .start(pt(c.x - sign * 12.0, c.y + 1.5))
            .curve(
                pt(c.x - sign * 7.0, c.y - 7.5),
                pt(c.x + sign * 6.0, c.y - 8.0),
                pt(c.x + sign * 12.5, c.y + 0.5),
            )
            .curve(
                pt(c.x + sign * 6.0, c.y + 6.4),
                pt(c.x - sign * 6.0, c.y + 6.6),
                pt(c.x - sign * 12.0, c.y + 1.5),
            )
            .close();
        pen.fill(&white, Rgba::hex(0xefe8dc));
        pen.clip(&white);
        let iris = pt(c.x - sign * 0.6, c.y - 0.6);
        let blue = pen.radial(
            pt(iris.x, iris.y + 1.0),
            6.4,
            &[(0.0, Rgba::hex(0x9cc0cc)), (0.65, Rgba::hex(0x4e7f93)), (1.0, Rgba::hex(0x234554))],
        );
        pen.fill(&Path::ellipse(iris, 6.0, 6.0), blue);
        pen.fill(&Path::ellipse(iris, 2.6, 2.6), Rgba::hex(0x0c1418));
        pen.fill(&Path::ellipse(pt(iris.x - 2.0, iris.y - 2.2), 1.3, 1.3), Rgba::hex(0xffffff).faint(0.9));
        let lid = Path::smooth(&[
            pt(c.x - sign * 13.0, c.y + 0.5),
            pt(c.x - sign * 5.0, c.y - 6.4),
            pt(c.x + sign * 5.0, c.y - 6.8),
            pt(c.x + sign * 13.0, c.y),
        ]);
        pen.line(&lid, 3.0, 1.0, Rgba::hex(0x3a2018).faint(0.45));
        let edge = lid_edge(c, sign, closed);
        if anatomy.lid_shut > 0.0 {
            let skin = Path::smooth(&edge)
                .to(pt(c.x + sign * 14.0, c.y - 14.0))
                .to(pt(c.x - sign * 13.0, c.y - 14.0))
                .close();
            pen.fill(&skin, SKIN_SHADE);
        }
        pen.unclip();
        pen.line(&Path::smooth(&edge), 1.7, 1.0, Rgba::hex(0x54301f));
        let fold = Path::smooth(&[
            pt(c.x - sign * 12.0, c.y - 4.0 - inner * 0.3),
            pt(c.x, c.y - 10.0 - (inner + outer) * 0.18),
            pt(c.x + sign * 14.0, c.y - 4.5 - outer * 0.3),
        ]);
        pen.line(&fold, 1.0, 0.8, SKIN_FOLD.faint(0.6));
        for (depth, strength) in [(9.5, 0.5), (13.0, 0.28)] {
            let bag = Path::smooth(&[
                pt(c.x - sign * 10.0, c.y + depth * 0.75),
                pt(c.x, c.y + depth),
                pt(c.x + sign * 10.0, c.y + depth * 0.72),
            ]);
            pen.line(&bag, 0.9, 0.7, SKIN_FOLD.faint(strength));
        }
        for (dy, reach) in [(-4.0, 9.0), (0.0, 10.0), (4.0, 8.5)] {
            let foot = Path::segment(
                pt(c.x + sign * 16.5, c.y + dy * 0.7),
                pt(c.x + sign * (16.5 + reach), c.y + dy * 1.9),
            );
            pen.line(&foot, 0.7, 0.6, SKIN_FOLD.faint(0.4));
        }
    }
}

/// Inner and outer point of a brow: side of the face, then the two raises.
pub(super) fn brow_points(sign: f64, inner: f64, outer: f64) -> [Point; 3] {
    let a = pt(sign * 11.0, -60.0 - inner);
    let c = pt(sign * 47.0, -61.0 - outer);
    let mid = pt(sign * 29.0, -66.0 - (inner * 0.5 + outer * 0.6));
    [a, mid, c]
}

pub(super) fn brows(pen: &mut Pen, dofs: &DofValues) {
    let raise = (dofs[Dof::BrowLeftInner] + dofs[Dof::BrowRightInner]) / 2.0;
    for (i, y) in [-73.0, -78.5].into_iter().enumerate() {
        let y = y - raise * 0.5;
        let strength = (0.3 + raise * 0.05).clamp(0.12, 0.7) * (1.0 - 0.25 * i as f64);
        let wrinkle = Path::smooth(&[
            pt(-38.0, y + 1.5),
            pt(-18.0, y - 1.5),
            pt(0.0, y + 0.8),
            pt(18.0, y - 1.5),
            pt(38.0, y + 1.5),
        ]);
        pen.line(&wrinkle, 0.9, 0.7, SKIN_FOLD.faint(strength));
    }
    // Frowning draws two furrows between the brows.
    let frown = (-raise).max(0.0);
    for sign in [-1.0, 1.0] {
        let furrow = Path::smooth(&[pt(sign * 4.0, -66.0), pt(sign * 3.2, -60.0), pt(sign * 4.4, -54.0)]);
        pen.line(&furrow, 0.9, 0.7, SKIN_FOLD.faint((0.25 + frown * 0.12).min(0.8)));
    }
    for (sign, inner, outer) in [
        (1.0, dofs[Dof::BrowLeftInner], dofs[Dof::BrowLeftOuter]),
        (-1.0, dofs[Dof::BrowRightInner], dofs[Dof::BrowRightOuter]),
    ] {
        let [a, m, c] = brow_points(sign, inner, outer);
        let shape = Path::blob(&[
            pt(a.x - sign * 2.0, a.y + 1.5),
            pt(a.x + sign * 2.0, a.y - 4.5),
            pt(m.x, m.y - 4.0),
            pt(c.x, c.y - 2.2),
            pt(c.x + sign * 6.5, c.y + 5.5),
            pt(c.x - sign * 3.0, c.y + 2.8),
            pt(m.x, m.y + 4.4),
            pt(a.x + sign * 4.0, a.y + 4.6),
        ]);
        pen.fill(&shape, HAIR_SHADE);
        // Hairs sweep outward along the brow.
        for i in 0..11 {
            let t = f64::from(i) / 10.0;
            let base = if t < 0.5 { a.towards(m, t * 2.0) } else { m.towards(c, t * 2.0 - 1.0) };
            let lean = 3.0 + 5.0 * t;
            let hair = Path::new().start(pt(base.x - sign * 1.0, base.y + 3.4)).curve(
                pt(base.x + sign * 0.5, base.y - 0.5),
                pt(base.x + sign * lean * 0.5, base.y - 4.4),
                pt(base.x + sign * lean, base.y - 4.6 + 3.0 * t * t),
            );
            pen.line(&hair, 1.25, 0.7, if i % 3 == 0 { HAIR_LIT } else { HAIR });
        }
    }
}

pub(super) fn nose(pen: &mut Pen) {
    let bulb = Path::blob(&[
        pt(-6.0, -52.0),
        pt(6.0, -52.0),
        pt(8.5, -36.0),
        pt(16.5, -25.0),
        pt(14.0, -16.5),
        pt(5.0, -15.5),
        pt(0.0, -13.5),
        pt(-5.0, -15.5),
        pt(-14.0, -16.5),
        pt(-16.5, -25.0),
        pt(-8.5, -36.0),
    ]);
    let shade = pen.linear(
        pt(0.0, -52.0),
        pt(0.0, -14.0),
        &[
            (0.0, SKIN.faint(0.0)),
            (0.45, SKIN.faint(0.9)),
            (0.8, RUDDY.faint(0.9)),
            (1.0, Rgba::hex(0x9c4a3c)),
        ],
    );
    pen.fill(&bulb, shade);
    for sign in [-1.0, 1.0] {
        let wing = Path::smooth(&[
            pt(sign * 13.0, -27.5),
            pt(sign * 17.2, -22.0),
            pt(sign * 14.5, -16.2),
            pt(sign * 10.0, -16.0),
        ]);
        pen.line(&wing, 1.2, 0.8, SKIN_FOLD.faint(0.75));
        pen.fill(&Path::ellipse(pt(sign * 7.0, -16.2), 3.6, 1.5), Rgba::hex(0x4b2018).faint(0.75));
    }
    let shine = pen.radial(
        pt(-3.5, -28.0),
        7.0,
        &[(0.0, Rgba::hex(0xffe2cf).faint(0.75)), (1.0, Rgba::hex(0xffe2cf).faint(0.0))],
    );
    pen.fill(&Path::ellipse(pt(-3.5, -28.0), 7.0, 7.0), shine);
    let ridge = Path::smooth(&[pt(-5.0, -50.0), pt(-6.5, -40.0), pt(-8.0, -33.0)]);
    pen.line(&ridge, 0.9, 0.6, SKIN_FOLD.faint(0.35));
}
