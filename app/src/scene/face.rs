//! The head seen from the front: an invented harbourmaster, drawn from where the face really is.
//!
//! Everything that moves is a degree of freedom of the rig; what no servo drives stays still, so
//! the picture never promises a blink or a breath that the head does not have. Units as in
//! [`super::mouth`].

use super::mouth::{Anatomy, LIP_DOFS, Mouth, ghost_strength};
use super::pen::Pen;
use super::{DrawCmd, Frame, Path, Point, Rgba, Tone, pt};
use lipwright_core::rig::{Dof, DofValues};

/// What the stage shows, in mm: left, top, width, height.
const WHOLE: (f64, f64, f64, f64) = (-104.0, -125.0, 208.0, 204.0);
/// The same for a close look at the mouth.
const CLOSE: (f64, f64, f64, f64) = (-52.0, -44.0, 104.0, 90.0);

const SKIN: Rgba = Rgba::hex(0xd39b78);
const SKIN_LIT: Rgba = Rgba::hex(0xe3b392);
const SKIN_SHADE: Rgba = Rgba::hex(0xaa6f52);
const SKIN_FOLD: Rgba = Rgba::hex(0x7d4a38);
const RUDDY: Rgba = Rgba::hex(0xc2604e);
const HAIR: Rgba = Rgba::hex(0xd9d6cc);
const HAIR_SHADE: Rgba = Rgba::hex(0x9d9c96);
const HAIR_LIT: Rgba = Rgba::hex(0xf4f2ea);
const NAVY: Rgba = Rgba::hex(0x22364a);
const NAVY_DARK: Rgba = Rgba::hex(0x15232f);
const NAVY_LIT: Rgba = Rgba::hex(0x3a566f);
const BRASS: Rgba = Rgba::hex(0xd9a83f);
const BRASS_LIT: Rgba = Rgba::hex(0xf5da88);
const WOOL: Rgba = Rgba::hex(0xd8cfb8);

/// How much of the head is shown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Look {
    #[default]
    Whole,
    Close,
}

/// Draws the head in `width` × `height` pixels: planned motion solid, the wanted pose as a ghost.
#[must_use]
pub fn front(
    planned: &DofValues,
    wanted: Option<&DofValues>,
    anatomy: &Anatomy,
    look: Look,
    width: f64,
    height: f64,
) -> Vec<DrawCmd> {
    let frame = match look {
        Look::Whole => Frame::fit(WHOLE, width, height),
        Look::Close => Frame::fit(CLOSE, width, height),
    };
    let mut pen = Pen::new(frame);
    let turn = planned[Dof::NeckTurn].to_radians().sin();
    let jaw = planned[Dof::JawOpen].max(-2.0);
    backdrop(&mut pen);
    shoulders(&mut pen);
    pen.shift = turn * 8.0;
    ears(&mut pen);
    skull(&mut pen, jaw);
    pen.shift = turn * 34.0;
    cheeks(&mut pen, planned);
    eyes(&mut pen, planned);
    brows(&mut pen, planned);
    pen.shift = turn * 20.0;
    beard(&mut pen, jaw);
    pen.shift = turn * 40.0;
    mouth(&mut pen, planned, anatomy);
    pen.shift = turn * 52.0;
    nose(&mut pen);
    pen.shift = turn * 14.0;
    cap(&mut pen, turn);
    if let Some(wanted) = wanted {
        ghost(&mut pen, planned, wanted, anatomy);
    }
    pen.done()
}

fn backdrop(pen: &mut Pen) {
    // A lamp behind the head, and the rings of a harbour light.
    let glow = pen.radial(
        pt(0.0, -30.0),
        130.0,
        &[
            (0.0, Rgba::hex(0x6f9db8).faint(0.34)),
            (0.55, Rgba::hex(0x6f9db8).faint(0.12)),
            (1.0, Rgba::hex(0x6f9db8).faint(0.0)),
        ],
    );
    pen.fill(&Path::ellipse(pt(0.0, -30.0), 130.0, 130.0), glow);
    for radius in [92.0, 108.0, 124.0] {
        pen.line(
            &Path::ellipse(pt(0.0, -26.0), radius, radius),
            0.35,
            0.8,
            super::Paint::Faint(Tone::Quiet, 0.22),
        );
    }
}

fn shoulders(pen: &mut Pen) {
    let coat = Path::new()
        .start(pt(-104.0, 120.0))
        .curve(pt(-100.0, 74.0), pt(-74.0, 62.0), pt(-38.0, 50.0))
        .to(pt(38.0, 50.0))
        .curve(pt(74.0, 62.0), pt(100.0, 74.0), pt(104.0, 120.0))
        .close();
    let cloth = pen.linear(pt(0.0, 48.0), pt(0.0, 96.0), &[(0.0, NAVY_LIT), (0.4, NAVY), (1.0, NAVY_DARK)]);
    pen.fill(&coat, cloth);
    let wool = Path::new()
        .start(pt(-34.0, 96.0))
        .curve(pt(-42.0, 70.0), pt(-40.0, 52.0), pt(-34.0, 40.0))
        .to(pt(34.0, 40.0))
        .curve(pt(40.0, 52.0), pt(42.0, 70.0), pt(34.0, 96.0))
        .close();
    let knit = pen.linear(
        pt(-36.0, 0.0),
        pt(36.0, 0.0),
        &[(0.0, Rgba::hex(0xa39a82)), (0.35, WOOL), (0.65, WOOL), (1.0, Rgba::hex(0xa39a82))],
    );
    pen.fill(&wool, knit);
    for i in -5..=5 {
        let x = f64::from(i) * 6.4;
        let rib =
            Path::new().start(pt(x * 0.94, 44.0)).curve(pt(x * 1.1, 58.0), pt(x * 1.15, 72.0), pt(x, 96.0));
        pen.line(&rib, 0.7, 0.5, Rgba::hex(0x8d8469).faint(0.55));
    }
    for sign in [-1.0, 1.0] {
        let lapel = Path::new()
            .start(pt(sign * 34.0, 46.0))
            .curve(pt(sign * 56.0, 54.0), pt(sign * 60.0, 62.0), pt(sign * 56.0, 70.0))
            .to(pt(sign * 18.0, 108.0))
            .curve(pt(sign * 30.0, 88.0), pt(sign * 38.0, 70.0), pt(sign * 34.0, 46.0))
            .close();
        pen.fill(&lapel, NAVY_LIT);
        pen.line(&lapel, 0.6, 0.6, NAVY_DARK);
        let button = pt(sign * 58.0, 80.0);
        let brass = pen.radial(pt(button.x - 1.2, button.y - 1.4), 5.0, &[(0.0, BRASS_LIT), (1.0, BRASS)]);
        pen.fill(&Path::ellipse(button, 4.2, 4.2), brass);
        pen.line(&Path::ellipse(button, 2.4, 2.4), 0.5, 0.4, Rgba::hex(0x8a6420));
    }
}

fn ears(pen: &mut Pen) {
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

fn skull(pen: &mut Pen, jaw: f64) {
    let chin = 38.0 + jaw * 0.95;
    let half = |sign: f64| {
        [
            pt(sign * 58.0, -92.0),
            pt(sign * 68.0, -64.0),
            pt(sign * 67.0, -30.0),
            pt(sign * 60.0, 2.0 + jaw * 0.2),
            pt(sign * 44.0, 26.0 + jaw * 0.7),
            pt(sign * 20.0, chin),
        ]
    };
    let mut outline = vec![pt(0.0, -112.0)];
    outline.extend(half(1.0));
    let mut other = half(-1.0).to_vec();
    other.reverse();
    outline.extend(other);
    let shape = Path::blob(&outline);
    let light = pen.radial(pt(-14.0, -44.0), 96.0, &[(0.0, SKIN_LIT), (0.5, SKIN), (1.0, SKIN_SHADE)]);
    pen.fill(&shape, light);
}

fn cheeks(pen: &mut Pen, dofs: &DofValues) {
    for (sign, x, y) in [
        (1.0, dofs[Dof::CornerLeftX], dofs[Dof::CornerLeftY]),
        (-1.0, dofs[Dof::CornerRightX], dofs[Dof::CornerRightY]),
    ] {
        // A drawn-out, raised corner bunches the cheek.
        let lift = y * 0.55 + x * 0.25;
        let centre = pt(sign * (40.0 + x * 0.3), -22.0 - lift);
        let blush = pen.radial(
            centre,
            21.0,
            &[(0.0, RUDDY.faint(0.5)), (0.6, RUDDY.faint(0.18)), (1.0, RUDDY.faint(0.0))],
        );
        pen.fill(&Path::ellipse(centre, 21.0, 18.0), blush);
        // Fold from the wing of the nose round the corner of the mouth.
        let corner = pt(sign * (27.0 + x), -y);
        let fold = Path::smooth(&[
            pt(sign * 17.5, -21.0),
            pt(sign * (27.0 + x * 0.45), -14.0 - y * 0.4),
            pt(corner.x + sign * 8.5, corner.y - 2.0),
            pt(corner.x + sign * 7.5, corner.y + 9.0),
        ]);
        pen.line(&fold, 1.5, 1.0, SKIN_FOLD.faint(0.55));
        let hollow = Path::smooth(&[
            pt(sign * 52.0, -28.0 - lift * 0.6),
            pt(sign * 50.0, -10.0 - lift * 0.4),
            pt(sign * 46.0, 6.0),
        ]);
        pen.line(&hollow, 1.2, 0.8, SKIN_FOLD.faint(0.22));
    }
}

fn eyes(pen: &mut Pen, dofs: &DofValues) {
    for (sign, inner, outer) in [
        (1.0, dofs[Dof::BrowLeftInner], dofs[Dof::BrowLeftOuter]),
        (-1.0, dofs[Dof::BrowRightInner], dofs[Dof::BrowRightOuter]),
    ] {
        let c = pt(sign * 28.0, -46.0);
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
        pen.unclip();
        let upper = Path::smooth(&[
            pt(c.x - sign * 13.0, c.y + 2.4),
            pt(c.x - sign * 6.0, c.y - 5.2),
            pt(c.x + sign * 5.0, c.y - 6.2),
            pt(c.x + sign * 14.0, c.y + 1.0),
        ]);
        pen.line(&upper, 1.7, 1.0, Rgba::hex(0x54301f));
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
fn brow_points(sign: f64, inner: f64, outer: f64) -> [Point; 3] {
    let a = pt(sign * 11.0, -60.0 - inner);
    let c = pt(sign * 47.0, -61.0 - outer);
    let mid = pt(sign * 29.0, -66.0 - (inner * 0.5 + outer * 0.6));
    [a, mid, c]
}

fn brows(pen: &mut Pen, dofs: &DofValues) {
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

fn nose(pen: &mut Pen) {
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

/// A chin-curtain beard: no hair near the lips, and all of it rides on the jaw.
fn beard(pen: &mut Pen, jaw: f64) {
    let d = jaw * 0.95;
    let outer = [
        pt(-70.0, -40.0),
        pt(-71.0, -10.0),
        pt(-66.0, 20.0 + d * 0.5),
        pt(-52.0, 46.0 + d),
        pt(-28.0, 63.0 + d),
        pt(0.0, 70.0 + d),
        pt(28.0, 63.0 + d),
        pt(52.0, 46.0 + d),
        pt(66.0, 20.0 + d * 0.5),
        pt(71.0, -10.0),
        pt(70.0, -40.0),
    ];
    let inner = [
        pt(63.0, -40.0),
        pt(59.0, -12.0),
        pt(51.0, 10.0 + d * 0.4),
        pt(37.0, 23.0 + d * 0.9),
        pt(19.0, 27.0 + d),
        pt(0.0, 25.5 + d),
        pt(-19.0, 27.0 + d),
        pt(-37.0, 23.0 + d * 0.9),
        pt(-51.0, 10.0 + d * 0.4),
        pt(-59.0, -12.0),
        pt(-63.0, -40.0),
    ];
    let shape = Path::smooth(&outer).to(inner[0]).smooth_on(&inner).close();
    let mass = pen.linear(pt(0.0, 0.0), pt(0.0, 72.0 + d), &[(0.0, HAIR), (0.6, HAIR), (1.0, HAIR_SHADE)]);
    pen.fill(&shape, mass);
    // Locks from the skin outward, turning down under the chin.
    let mut reversed = inner;
    reversed.reverse();
    let steps = 44;
    for i in 0..=steps {
        let t = f64::from(i) / f64::from(steps) * 10.0;
        let k = (t.floor() as usize).min(9);
        let part = t - k as f64;
        let root = reversed[k].towards(reversed[k + 1], part);
        let tip = outer[k].towards(outer[k + 1], part);
        // A fixed pattern of lengths and leans, so that the beard does not flicker.
        let wobble = ((i * 37 % 11) as f64 - 5.0) / 5.0;
        let length = 0.72 + 0.3 * ((i * 53 % 7) as f64) / 6.0;
        let end = root.towards(tip, length);
        let side = pt((tip.y - root.y) * 0.14 * wobble, -(tip.x - root.x) * 0.14 * wobble);
        let a = root.towards(end, 0.35);
        let b = root.towards(end, 0.7);
        let lock = Path::new().start(root.towards(tip, 0.06)).curve(
            pt(a.x + side.x, a.y + side.y),
            pt(b.x - side.x, b.y - side.y),
            end,
        );
        let tone = match i % 4 {
            0 => HAIR_LIT,
            1 | 3 => HAIR_SHADE,
            _ => Rgba::hex(0xbdbab1),
        };
        pen.line(&lock, 1.3, 0.7, tone.faint(0.85));
    }
    // The edge by the skin is soft.
    for i in 0..40 {
        let t = f64::from(i) / 39.0 * 10.0;
        let k = (t.floor() as usize).min(9);
        let root = reversed[k].towards(reversed[k + 1], t - k as f64);
        let tip = outer[k].towards(outer[k + 1], t - k as f64);
        let from = root.towards(tip, -0.07 - 0.05 * ((i * 29 % 5) as f64) / 4.0);
        pen.line(&Path::segment(from, root.towards(tip, 0.16)), 0.9, 0.6, HAIR.faint(0.8));
    }
}

fn mouth(pen: &mut Pen, dofs: &DofValues, anatomy: &Anatomy) {
    let mouth = Mouth::of(dofs, anatomy);
    let jaw = dofs[Dof::JawOpen];
    // Shadow under the lower lip, and the groove above the upper.
    let under = pt(0.0, 15.0 + jaw);
    let shadow = pen.radial(under, 20.0, &[(0.0, SKIN_FOLD.faint(0.45)), (1.0, SKIN_FOLD.faint(0.0))]);
    pen.fill(&Path::ellipse(under, 20.0, 7.0), shadow);
    let top = -(dofs[Dof::UpperLipLeft] + dofs[Dof::UpperLipRight]) / 2.0;
    for sign in [-1.0, 1.0] {
        let groove = Path::smooth(&[
            pt(sign * 3.0, -14.0),
            pt(sign * 3.8, (-14.0 + top - 6.0) / 2.0),
            pt(sign * 4.6, top - 7.0),
        ]);
        pen.line(&groove, 0.9, 0.7, SKIN_FOLD.faint(0.3));
    }
    pen.line(&mouth.outline(), 2.2, 1.0, SKIN_FOLD.faint(0.22));
    mouth.draw(pen, true);
    for (x, y, sign) in [
        (dofs[Dof::CornerLeftX], dofs[Dof::CornerLeftY], 1.0),
        (dofs[Dof::CornerRightX], dofs[Dof::CornerRightY], -1.0),
    ] {
        let at = pt(sign * (27.0 + x + 2.4), -y);
        let dimple = Path::smooth(&[pt(at.x, at.y - 3.4), pt(at.x + sign * 1.6, at.y), pt(at.x, at.y + 3.6)]);
        pen.line(&dimple, 1.4, 0.9, SKIN_FOLD.faint(0.6));
    }
}

fn cap(pen: &mut Pen, turn: f64) {
    let crown = Path::new()
        .start(pt(-66.0, -78.0))
        .curve(pt(-74.0, -96.0), pt(-90.0, -100.0), pt(-86.0, -110.0))
        .curve(pt(-60.0, -130.0), pt(60.0, -130.0), pt(86.0, -110.0))
        .curve(pt(90.0, -100.0), pt(74.0, -96.0), pt(66.0, -78.0))
        .curve(pt(40.0, -90.0), pt(-40.0, -90.0), pt(-66.0, -78.0))
        .close();
    let cloth =
        pen.linear(pt(0.0, -128.0), pt(0.0, -80.0), &[(0.0, NAVY_LIT), (0.5, NAVY), (1.0, NAVY_DARK)]);
    pen.fill(&crown, cloth);
    for sign in [-1.0, 1.0] {
        let crease =
            Path::smooth(&[pt(sign * 70.0, -90.0), pt(sign * 62.0, -102.0), pt(sign * 40.0, -110.0)]);
        pen.line(&crease, 1.0, 0.7, NAVY_DARK.faint(0.7));
    }
    let band = Path::new()
        .start(pt(-67.0, -74.0))
        .curve(pt(-40.0, -88.0), pt(40.0, -88.0), pt(67.0, -74.0))
        .to(pt(68.0, -86.0))
        .curve(pt(40.0, -101.0), pt(-40.0, -101.0), pt(-68.0, -86.0))
        .close();
    pen.fill(&band, Rgba::hex(0x0f1a23));
    let braid = Path::new().start(pt(-67.0, -76.0)).curve(pt(-40.0, -90.0), pt(40.0, -90.0), pt(67.0, -76.0));
    pen.line(&braid, 2.6, 1.2, BRASS);
    pen.line(&braid, 0.8, 0.6, BRASS_LIT.faint(0.8));
    for sign in [-1.0, 1.0] {
        pen.fill(&Path::ellipse(pt(sign * 63.0, -78.5), 2.8, 2.8), BRASS_LIT);
    }
    let peak = Path::new()
        .start(pt(-60.0, -75.0))
        .curve(pt(-36.0, -88.0), pt(36.0, -88.0), pt(60.0, -75.0))
        .curve(pt(52.0, -63.0), pt(26.0, -69.5), pt(0.0, -69.5))
        .curve(pt(-26.0, -69.5), pt(-52.0, -63.0), pt(-60.0, -75.0))
        .close();
    let gloss = pen.linear(
        pt(0.0, -86.0),
        pt(0.0, -66.0),
        &[
            (0.0, Rgba::hex(0x0a1117)),
            (0.45, Rgba::hex(0x2b3d4b)),
            (0.6, Rgba::hex(0x0d161d)),
            (1.0, Rgba::hex(0x05090c)),
        ],
    );
    pen.fill(&peak, gloss);
    // The badge of the port: a light over two waves, in brass.
    pen.shift += turn * 22.0;
    let c = pt(0.0, -99.0);
    let brass = pen.linear(pt(0.0, -110.0), pt(0.0, -88.0), &[(0.0, BRASS_LIT), (1.0, BRASS)]);
    pen.fill(
        &Path::blob(&[
            pt(c.x, c.y - 12.0),
            pt(c.x + 10.0, c.y - 7.0),
            pt(c.x + 9.0, c.y + 5.0),
            pt(c.x, c.y + 11.0),
            pt(c.x - 9.0, c.y + 5.0),
            pt(c.x - 10.0, c.y - 7.0),
        ]),
        NAVY_DARK,
    );
    let tower = Path::polyline(&[
        pt(c.x - 2.6, c.y + 3.5),
        pt(c.x - 1.5, c.y - 5.0),
        pt(c.x + 1.5, c.y - 5.0),
        pt(c.x + 2.6, c.y + 3.5),
    ])
    .close();
    pen.fill(&tower, brass.clone());
    pen.fill(&Path::rect(c.x - 2.3, c.y - 8.4, 4.6, 2.4), brass.clone());
    for sign in [-1.0, 1.0] {
        let ray = Path::polyline(&[
            pt(c.x + sign * 3.4, c.y - 7.2),
            pt(c.x + sign * 7.2, c.y - 9.2),
            pt(c.x + sign * 7.2, c.y - 5.4),
        ])
        .close();
        pen.fill(&ray, BRASS_LIT.faint(0.9));
    }
    for dy in [4.8, 7.4] {
        let wave = Path::smooth(&[
            pt(c.x - 6.0, c.y + dy),
            pt(c.x - 3.0, c.y + dy - 1.2),
            pt(c.x, c.y + dy),
            pt(c.x + 3.0, c.y + dy - 1.2),
            pt(c.x + 6.0, c.y + dy),
        ]);
        pen.line(&wave, 0.9, 0.7, BRASS);
    }
    pen.shift -= turn * 22.0;
}

/// The wanted pose, thin, where it differs from the planned one: lips and brows.
fn ghost(pen: &mut Pen, planned: &DofValues, wanted: &DofValues, anatomy: &Anatomy) {
    let turn = wanted[Dof::NeckTurn].to_radians().sin();
    let tone = |dofs: &[Dof]| {
        let strength = ghost_strength(planned, wanted, dofs);
        (strength > 0.0).then(|| super::Paint::Own(Rgba::hex(0xffffff).faint(0.9 * strength)))
    };
    if let Some(tone) = tone(&LIP_DOFS) {
        let mouth = Mouth::of(wanted, anatomy);
        pen.shift = turn * 40.0;
        pen.ghost(&mouth.outline(), tone.clone());
        pen.ghost(&mouth.opening(), tone);
    }
    pen.shift = turn * 34.0;
    for (sign, inner, outer) in
        [(1.0, Dof::BrowLeftInner, Dof::BrowLeftOuter), (-1.0, Dof::BrowRightInner, Dof::BrowRightOuter)]
    {
        if let Some(tone) = tone(&[inner, outer]) {
            pen.ghost(&Path::smooth(&brow_points(sign, wanted[inner], wanted[outer])), tone);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FACE: Anatomy = Anatomy { lip_per_jaw: 1.0, teeth_edge: 1.0 };

    #[test]
    fn opening_the_jaw_changes_the_picture_and_a_still_face_does_not() {
        let rest = DofValues::default();
        let mut open = rest;
        open[Dof::JawOpen] = 10.0;
        let a = front(&rest, None, &FACE, Look::Whole, 300.0, 300.0);
        assert_eq!(a, front(&rest, None, &FACE, Look::Whole, 300.0, 300.0));
        let b = front(&open, None, &FACE, Look::Whole, 300.0, 300.0);
        assert_ne!(a, b);
        assert_eq!(a.len(), b.len(), "the same things are drawn, in other places");
    }

    #[test]
    fn the_ghost_shows_only_what_differs() {
        let rest = DofValues::default();
        let plain = front(&rest, None, &FACE, Look::Whole, 300.0, 300.0);
        assert_eq!(front(&rest, Some(&rest), &FACE, Look::Whole, 300.0, 300.0), plain);
        let mut wanted = rest;
        wanted[Dof::BrowLeftInner] = 5.0;
        let with_brow = front(&rest, Some(&wanted), &FACE, Look::Whole, 300.0, 300.0);
        assert_eq!(with_brow.len(), plain.len() + 1);
    }

    #[test]
    fn clips_are_closed() {
        let mut depth = 0i32;
        for command in
            front(&DofValues::default(), Some(&DofValues::default()), &FACE, Look::Close, 400.0, 300.0)
        {
            match command {
                DrawCmd::Clip(_) => depth += 1,
                DrawCmd::Unclip => depth -= 1,
                _ => {}
            }
            assert!(depth >= 0);
        }
        assert_eq!(depth, 0);
    }
}
