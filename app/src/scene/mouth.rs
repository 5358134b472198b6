//! The mouth seen from the front, computed from where the face's degrees of freedom are.
//!
//! Units are millimetres of the face; the origin is the middle of the closed mouth, x towards the
//! viewer's right (the character's left), y down. The same outlines make the mouth of the stage and
//! the little mouths of the lanes and the palette.

use super::pen::Pen;
use super::{DrawCmd, Frame, Path, Point, Rgba, pt};
use lipwright_core::rig::{Dof, DofValues, Rig};

/// Half the width of the mouth at rest.
const HALF_WIDTH: f64 = 27.0;
/// Height of the red of each lip at rest.
const UPPER_RED: f64 = 6.0;
const LOWER_RED: f64 = 8.0;
/// Cutting edge of the lower teeth below the line of the closed lips, which the jaw carries.
const LOWER_EDGE: f64 = 2.4;
/// Top of the flat tongue below the jaw's zero.
const TONGUE_FLAT: f64 = 4.5;

const LIP: Rgba = Rgba::hex(0xb4574d);
const LIP_DARK: Rgba = Rgba::hex(0x8a3b38);
const LIP_LIGHT: Rgba = Rgba::hex(0xcf7b6a);
const CAVITY: Rgba = Rgba::hex(0x2a0f12);
const CAVITY_DEEP: Rgba = Rgba::hex(0x120607);
const TOOTH: Rgba = Rgba::hex(0xf2ead6);
const TOOTH_SHADE: Rgba = Rgba::hex(0xc9bb9c);
const TONGUE: Rgba = Rgba::hex(0xd5706f);
const TONGUE_DEEP: Rgba = Rgba::hex(0x94403f);

/// Sizes of a face that its degrees of freedom do not say.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Anatomy {
    /// Fall of the lower lip per millimetre of jaw opening.
    pub lip_per_jaw: f64,
    /// How far the upper teeth's edge lies below the line of the closed lips, mm.
    pub teeth_edge: f64,
    /// How far down the upper lids go to shut the eyes, mm; 0 where the head has none.
    pub lid_shut: f64,
}

impl From<&Rig> for Anatomy {
    fn from(rig: &Rig) -> Self {
        let face = rig.face();
        let lid = rig.dof(Dof::LidLeft).or(rig.dof(Dof::LidRight));
        Self {
            lip_per_jaw: face.lower_lip_per_jaw,
            teeth_edge: -face.upper_teeth_edge.value(),
            lid_shut: lid.map_or(0.0, |d| d.skin_max.max(0.0)),
        }
    }
}

/// How strongly a ghost of the wanted pose shows, 0 to 1: not at all where planned and wanted agree
/// within what anyone could see, in full from 1.5 mm of difference on.
pub(super) fn ghost_strength(planned: &DofValues, wanted: &DofValues, dofs: &[Dof]) -> f64 {
    let most = dofs.iter().map(|d| (planned[*d] - wanted[*d]).abs()).fold(0.0, f64::max);
    ((most - 0.25) / 1.25).clamp(0.0, 1.0)
}

/// The DOFs that shape the lips.
pub(super) const LIP_DOFS: [Dof; 9] = [
    Dof::JawOpen,
    Dof::UpperLipLeft,
    Dof::UpperLipRight,
    Dof::LowerLipLeft,
    Dof::LowerLipRight,
    Dof::CornerLeftX,
    Dof::CornerLeftY,
    Dof::CornerRightX,
    Dof::CornerRightY,
];

/// The outlines of one mouth.
pub(super) struct Mouth {
    upper: [Point; 5],
    lower: [Point; 5],
    half: f64,
    jaw: f64,
    tip: f64,
    body: f64,
    press: f64,
    middle: f64,
    teeth_edge: f64,
}

impl Mouth {
    pub fn of(dofs: &DofValues, anatomy: &Anatomy) -> Self {
        let jaw = dofs[Dof::JawOpen];
        let fall = jaw * anatomy.lip_per_jaw;
        let left = pt(HALF_WIDTH + dofs[Dof::CornerLeftX], -dofs[Dof::CornerLeftY]);
        let right = pt(-HALF_WIDTH - dofs[Dof::CornerRightX], -dofs[Dof::CornerRightY]);
        // Edge of each lip at the middle of each half, y down.
        let (mut up_l, mut up_r) = (-dofs[Dof::UpperLipLeft], -dofs[Dof::UpperLipRight]);
        let (mut low_l, mut low_r) = (fall - dofs[Dof::LowerLipLeft], fall - dofs[Dof::LowerLipRight]);
        let mut press: f64 = 0.0;
        for (up, low) in [(&mut up_l, &mut low_l), (&mut up_r, &mut low_r)] {
            if *low < *up {
                // Lips cannot pass through each other: they meet half way and flatten.
                press = press.max(*up - *low);
                let meet = (*up + *low) / 2.0;
                (*up, *low) = (meet, meet);
            }
        }
        let middle = (left.x + right.x) / 2.0;
        let half = (left.x - right.x) / 2.0;
        let (up_m, low_m) = ((up_l + up_r) / 2.0, (low_l + low_r) / 2.0);
        let open = (low_m - up_m).max(0.0);
        // A wide opening takes the rounder outline.
        let spread = 0.56 + 0.12 * (open / 14.0).min(1.0);
        let side = |corner: Point, edge: f64| {
            let x = middle + (corner.x - middle) * spread;
            pt(x, edge + (corner.y - edge) * 0.16)
        };
        Self {
            upper: [right, side(right, up_r), pt(middle, up_m), side(left, up_l), left],
            lower: [right, side(right, low_r), pt(middle, low_m), side(left, low_l), left],
            half,
            jaw,
            tip: dofs[Dof::TongueTip],
            body: dofs[Dof::TongueBody],
            press,
            middle,
            teeth_edge: anatomy.teeth_edge,
        }
    }

    /// Lips keep their flesh: a narrow mouth has full lips, a wide or pressed one thin.
    fn fullness(&self) -> f64 {
        (HALF_WIDTH / self.half.max(8.0)).powf(0.8).clamp(0.6, 1.5) / (1.0 + 0.16 * self.press.min(6.0))
    }

    /// Outline of the opening between the lips.
    pub fn opening(&self) -> Path {
        let mut back = self.lower;
        back.reverse();
        Path::smooth(&self.upper).smooth_on(&back).close()
    }

    /// Where the lips meet or end, left to right, upper lip.
    pub fn seam(&self) -> Path {
        Path::smooth(&self.upper)
    }

    fn upper_outer(&self) -> Vec<Point> {
        let t = UPPER_RED * self.fullness();
        let [r, rs, m, ls, l] = self.upper;
        let reach = 1.6;
        let lift = |p: Point, by: f64| pt(p.x, p.y - by);
        vec![
            pt(r.x - reach, r.y - 0.3),
            lift(rs.towards(r, 0.1), t * 0.72),
            lift(m.towards(rs, 0.34), t * 1.08),
            lift(m, t * 0.82),
            lift(m.towards(ls, 0.34), t * 1.08),
            lift(ls.towards(l, 0.1), t * 0.72),
            pt(l.x + reach, l.y - 0.3),
        ]
    }

    fn lower_outer(&self) -> Vec<Point> {
        let t = LOWER_RED * self.fullness();
        let [r, rs, m, ls, l] = self.lower;
        let drop = |p: Point, by: f64| pt(p.x, p.y + by);
        vec![
            pt(r.x - 1.6, r.y - 0.3),
            drop(rs.towards(r, 0.12), t * 0.7),
            drop(m.towards(rs, 0.4), t * 1.02),
            drop(m, t * 1.04),
            drop(m.towards(ls, 0.4), t * 1.02),
            drop(ls.towards(l, 0.12), t * 0.7),
            pt(l.x + 1.6, l.y - 0.3),
        ]
    }

    fn lip(outer: &[Point], inner: &[Point; 5]) -> Path {
        let mut back = inner.to_vec();
        back.reverse();
        let (Some(first), Some(last)) = (outer.first(), outer.last()) else { return Path::new() };
        let _ = first;
        let mut joined = vec![*last];
        joined.extend(back);
        Path::smooth(outer).to(joined[1]).smooth_on(&joined[1..]).close()
    }

    pub fn upper_lip(&self) -> Path {
        Self::lip(&self.upper_outer(), &self.upper)
    }

    pub fn lower_lip(&self) -> Path {
        Self::lip(&self.lower_outer(), &self.lower)
    }

    /// Everything the red of the lips and the opening cover together.
    pub fn outline(&self) -> Path {
        let mut back = self.lower_outer();
        back.reverse();
        Path::smooth(&self.upper_outer()).smooth_on(&back).close()
    }

    fn teeth_half(&self) -> f64 {
        (self.half * 0.86).min(21.0)
    }

    /// Row of teeth: outline and the lines between teeth.
    fn teeth(&self, edge: f64, root: f64) -> (Path, Path) {
        let half = self.teeth_half();
        let widths = [4.4, 8.6, 12.6, 16.4, 21.0];
        let sign = if root < edge { 1.0 } else { -1.0 };
        // The row bends back to the sides, so its edge climbs towards the roots.
        let y = |x: f64| edge - sign * 1.9 * (x / 21.0).powi(2) * 1.6;
        let mut outline = Path::new().start(pt(self.middle - half, root));
        let mut gaps = Path::new();
        let mut stops: Vec<f64> = widths.iter().rev().map(|w| -w).filter(|w| *w > -half).collect();
        stops.insert(0, -half);
        stops.push(0.0);
        stops.extend(widths.iter().copied().filter(|w| *w < half));
        stops.push(half);
        outline = outline.to(pt(self.middle - half, y(-half)));
        for pair in stops.windows(2) {
            let (a, b) = (pair[0], pair[1]);
            let bulge = sign * 0.5;
            outline = outline.curve(
                pt(self.middle + a + (b - a) * 0.25, y(a) + bulge),
                pt(self.middle + b - (b - a) * 0.25, y(b) + bulge),
                pt(self.middle + b, y(b)),
            );
            if b < half {
                gaps = gaps.with(Path::segment(
                    pt(self.middle + b, y(b) - sign * 0.2),
                    pt(self.middle + b, y(b) - sign * 7.0),
                ));
            }
        }
        (outline.to(pt(self.middle + half, root)).close(), gaps)
    }

    fn dome(&self, half: f64, top: f64, foot: f64, sharp: f64) -> Path {
        let c = self.middle;
        Path::new()
            .start(pt(c - half, foot))
            .curve(pt(c - half, top + (foot - top) * 0.35), pt(c - half * sharp, top), pt(c, top))
            .curve(pt(c + half * sharp, top), pt(c + half, top + (foot - top) * 0.35), pt(c + half, foot))
            .close()
    }

    /// Height of the top of the tongue's tip.
    fn tip_top(&self) -> f64 {
        self.jaw + TONGUE_FLAT - self.tip
    }

    /// Draws teeth and tongue inside the opening, then the lips.
    pub fn draw(&self, pen: &mut Pen, detail: bool) {
        let opening = self.opening();
        let deep = pen.radial(
            pt(self.middle, self.jaw * 0.45),
            self.half.max(12.0),
            &[(0.0, CAVITY_DEEP), (0.75, CAVITY), (1.0, CAVITY)],
        );
        pen.fill(&opening, deep);
        pen.clip(&opening);
        let foot = self.jaw + 24.0;
        let across = (self.half * 0.8).min(20.0);
        // The body of the tongue, behind: high and dark when drawn up and back.
        let body_top = self.jaw + 0.5 - self.body * 0.9;
        let body = self.dome(across * 0.92, body_top, foot, 0.62);
        let shade = pen.linear(
            pt(0.0, body_top),
            pt(0.0, body_top + 13.0),
            &[(0.0, TONGUE_DEEP), (1.0, Rgba::hex(0x6b2b2d))],
        );
        pen.fill(&body, shade);
        // The blade and tip, in front.
        let raised = (self.tip / 9.0).clamp(0.0, 1.0);
        let back = (self.body / 9.0).clamp(0.0, 1.0);
        let tip_top = self.tip_top() + back * 3.0;
        let blade = self.dome(across * (0.86 - 0.24 * raised), tip_top, foot, 0.7 - 0.12 * raised);
        let shine = pen.linear(
            pt(0.0, tip_top),
            pt(0.0, tip_top + 11.0),
            &[(0.0, Rgba::hex(0xe48d88)), (0.3, TONGUE), (1.0, TONGUE_DEEP)],
        );
        let draw_tongue = |pen: &mut Pen| {
            pen.fill(&blade, shine.clone());
            if detail {
                let c = self.middle;
                let groove = Path::new().start(pt(c, tip_top + 2.2)).curve(
                    pt(c + 0.4, tip_top + 4.0),
                    pt(c - 0.4, tip_top + 7.0),
                    pt(c, tip_top + 11.0),
                );
                pen.line(&groove, 0.7, 0.5, Rgba::hex(0x8f3d3d).faint(0.7));
            }
        };
        draw_tongue(pen);
        // Between the teeth (dental) the tip is in front of the lower row.
        let lower_edge = self.jaw + LOWER_EDGE;
        let between = tip_top < lower_edge && tip_top > self.teeth_edge - 1.5;
        let (lower, lower_gaps) = self.teeth(lower_edge, self.jaw + 14.0);
        let row = pen.linear(
            pt(0.0, lower_edge),
            pt(0.0, lower_edge + 8.0),
            &[(0.0, TOOTH_SHADE), (1.0, Rgba::hex(0xa8987a))],
        );
        pen.fill(&lower, row);
        if detail {
            pen.line(&lower_gaps, 0.35, 0.4, Rgba::hex(0x6a5a44).faint(0.55));
        }
        if between {
            draw_tongue(pen);
        }
        let (upper, upper_gaps) = self.teeth(self.teeth_edge, -16.0);
        let row = pen.linear(pt(0.0, -7.0), pt(0.0, self.teeth_edge), &[(0.0, TOOTH_SHADE), (0.6, TOOTH)]);
        pen.fill(&upper, row);
        if detail {
            pen.line(&upper_gaps, 0.35, 0.4, Rgba::hex(0x6a5a44).faint(0.5));
            // The upper lip's shadow falls on the teeth.
            let shadow = self.seam();
            pen.line(&shadow, 2.6, 1.0, CAVITY_DEEP.faint(0.35));
        }
        pen.unclip();
        let top = self.upper[2].y;
        let bottom = self.lower[2].y;
        let upper_paint =
            pen.linear(pt(0.0, top - UPPER_RED), pt(0.0, top), &[(0.0, LIP), (0.55, LIP), (1.0, LIP_DARK)]);
        let lower_paint = pen.linear(
            pt(0.0, bottom),
            pt(0.0, bottom + LOWER_RED),
            &[(0.0, LIP_DARK), (0.22, LIP), (0.5, LIP_LIGHT), (1.0, LIP)],
        );
        pen.fill(&self.lower_lip(), lower_paint);
        pen.fill(&self.upper_lip(), upper_paint);
        pen.line(&Path::smooth(&self.upper), 0.7, 0.7, Rgba::hex(0x4a1d1e).faint(0.75));
    }
}

/// What a little mouth shows around it, in mm: left, top, width, height.
const ICON_BOX: (f64, f64, f64, f64) = (-32.0, -11.0, 64.0, 38.0);

/// A little mouth in a box of pixels with its top left corner at `at`.
#[must_use]
pub fn icon(dofs: &DofValues, anatomy: &Anatomy, at: Point, width: f64, height: f64) -> Vec<DrawCmd> {
    let mut frame = Frame::fit(ICON_BOX, width, height);
    frame.origin = pt(frame.origin.x + at.x, frame.origin.y + at.y);
    let mut pen = Pen::new(frame);
    Mouth::of(dofs, anatomy).draw(&mut pen, false);
    pen.done()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const FACE: Anatomy = Anatomy { lip_per_jaw: 1.0, teeth_edge: 1.0, lid_shut: 0.0 };

    #[test]
    fn a_shut_mouth_shows_no_opening_and_an_open_one_does() {
        let rest = Mouth::of(&DofValues::default(), &FACE);
        for (u, l) in rest.upper.iter().zip(&rest.lower) {
            assert!((u.y - l.y).abs() < 1e-9);
        }
        let mut open = DofValues::default();
        open[Dof::JawOpen] = 12.0;
        let open = Mouth::of(&open, &FACE);
        assert!((open.lower[2].y - open.upper[2].y - 12.0).abs() < 1e-9);
    }

    #[test]
    fn the_characters_left_is_the_viewers_right() {
        let mut smile = DofValues::default();
        smile[Dof::CornerLeftX] = 5.0;
        let mouth = Mouth::of(&smile, &FACE);
        assert!(mouth.upper[4].x > -mouth.upper[0].x);
    }

    proptest! {
        /// Whatever a rig does, lips never cross and nothing drawn is infinite.
        #[test]
        fn lips_never_cross(values in prop::collection::vec(-15.0f64..25.0, Dof::COUNT)) {
            let mut dofs = DofValues::default();
            for (dof, v) in Dof::ALL.into_iter().zip(values) {
                dofs[dof] = v;
            }
            let mouth = Mouth::of(&dofs, &FACE);
            prop_assert!(mouth.upper[2].y <= mouth.lower[2].y + 1e-9);
            for command in icon(&dofs, &FACE, pt(0.0, 0.0), 40.0, 30.0) {
                match command {
                    DrawCmd::Fill(path, _) | DrawCmd::Stroke(path, _) | DrawCmd::Clip(path) => {
                        prop_assert!(path.is_finite());
                    }
                    _ => {}
                }
            }
        }
    }
}
