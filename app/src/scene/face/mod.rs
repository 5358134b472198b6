//! The head seen from the front: an invented harbourmaster, drawn from where the face really is.
//!
//! Everything that moves is a degree of freedom of the rig; what no servo drives stays still, so
//! the picture never promises a blink or a breath that the head does not have. Units as in
//! [`super::mouth`].

mod dress;
mod features;

use super::mouth::{Anatomy, LIP_DOFS, Mouth, ghost_strength};
use super::pen::Pen;
use super::{DrawCmd, Frame, Path, Rgba, pt};
use dress::{backdrop, beard, cap, shoulders};
use features::{brow_points, brows, closed, ears, eye, eyes, lid_edge, nose};
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
    eyes(&mut pen, planned, anatomy);
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

/// The wanted pose, thin, where it differs from the planned one: lips, brows and lids.
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
    for (sign, lid) in [(1.0, Dof::LidLeft), (-1.0, Dof::LidRight)] {
        // Of a head without lids nothing is wanted that could be drawn.
        if let Some(tone) = tone(&[lid]).filter(|_| anatomy.lid_shut > 0.0) {
            pen.ghost(&Path::smooth(&lid_edge(eye(sign), sign, closed(wanted, lid, anatomy))), tone);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FACE: Anatomy = Anatomy { lip_per_jaw: 1.0, teeth_edge: 1.0, lid_shut: 11.0 };

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
    fn lids_shut_where_the_head_has_them() {
        let (rest, mut shut) = (DofValues::default(), DofValues::default());
        shut[Dof::LidLeft] = 11.0;
        shut[Dof::LidRight] = 11.0;
        let drawn = |dofs: &DofValues, face: &Anatomy| front(dofs, None, face, Look::Whole, 300.0, 300.0);
        assert_ne!(drawn(&rest, &FACE), drawn(&shut, &FACE));
        assert_eq!(drawn(&rest, &FACE).len(), drawn(&shut, &FACE).len());
        let bare = Anatomy { lid_shut: 0.0, ..FACE };
        assert_eq!(drawn(&rest, &bare), drawn(&shut, &bare), "no promise of a blink that it does not have");
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
        let mut blink = rest;
        (blink[Dof::LidLeft], blink[Dof::LidRight]) = (9.0, 9.0);
        let both = front(&rest, Some(&blink), &FACE, Look::Whole, 300.0, 300.0);
        assert_eq!(both.len(), plain.len() + 2, "the lids of both eyes");
        let bare = Anatomy { lid_shut: 0.0, ..FACE };
        let none = front(&rest, Some(&blink), &bare, Look::Whole, 300.0, 300.0);
        assert_eq!(none, front(&rest, None, &bare, Look::Whole, 300.0, 300.0));
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
