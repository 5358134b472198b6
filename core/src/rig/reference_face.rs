//! The reference face: what each mouth shape and expression looks like before it meets a rig.
//!
//! Values were chosen by us for the travel in [`travel`], from the phonetic description of each
//! sound: height of the jaw by vowel height, corners by spreading and rounding, tongue by place of
//! articulation; a bilabial presses the lips past touching (A. Löfqvist and V. Gracco, JSLHR 40
//! (1997): the target of a bilabial is compression). They are a starting point: a person adjusts
//! them on their own head.

use super::{Dof, DofValues, Expression, ShapePose};
use crate::phonetics::MouthShape;

/// Skin travel of the reference face (least, greatest). An eye is about 10 mm open (common practice at head
/// scale); its lid shuts at the greatest value.
pub(super) const fn travel(dof: Dof) -> (f64, f64) {
    match dof {
        Dof::JawOpen => (0.0, 18.0),
        Dof::UpperLipLeft | Dof::UpperLipRight => (-3.0, 6.0),
        Dof::LowerLipLeft | Dof::LowerLipRight => (-6.0, 5.0),
        Dof::CornerLeftX | Dof::CornerRightX => (-8.0, 8.0),
        Dof::CornerLeftY | Dof::CornerRightY => (-5.0, 6.0),
        Dof::TongueTip => (0.0, 14.0),
        Dof::TongueBody => (0.0, 10.0),
        Dof::BrowLeftInner | Dof::BrowLeftOuter | Dof::BrowRightInner | Dof::BrowRightOuter => (-6.0, 8.0),
        Dof::NeckTurn => (-35.0, 35.0),
        Dof::LidLeft | Dof::LidRight => (-1.5, 11.0),
    }
}

/// Jaw, upper lip, lower lip, corner out, corner up, tongue tip, tongue body.
type Mouth = [f64; 7];

/// Targets in mm, then importances.
const fn shape(shape: MouthShape) -> (Mouth, Mouth) {
    match shape {
        MouthShape::Rest => ([0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0], [0.4, 0.4, 0.4, 0.3, 0.3, 0.1, 0.1]),
        // Lips 1.0 mm past touching, corners drawn in a little by the pressing.
        MouthShape::Bilabial => {
            ([1.5, -1.2, 1.3, 0.8, -0.3, 1.0, 1.0], [0.5, 1.0, 1.0, 0.2, 0.2, 0.03, 0.03])
        }
        // Lower lip's edge at the upper teeth, upper lip lifted off them.
        MouthShape::Labiodental => {
            ([2.5, 2.5, 1.5, 1.2, 0.5, 1.0, 1.0], [0.5, 0.5, 1.0, 0.2, 0.2, 0.03, 0.03])
        }
        MouthShape::Dental => ([4.5, 1.5, -0.5, 0.5, 0.0, 7.5, 0.5], [0.4, 0.2, 0.2, 0.15, 0.1, 1.0, 0.4]),
        MouthShape::Alveolar => {
            ([4.0, 1.5, -0.5, 1.0, 0.3, 12.0, 2.0], [0.3, 0.12, 0.12, 0.1, 0.1, 1.0, 0.3])
        }
        MouthShape::Sibilant => ([1.2, 2.0, -2.0, 3.0, 0.5, 5.0, 2.0], [0.7, 0.4, 0.4, 0.4, 0.2, 0.3, 0.2]),
        MouthShape::Postalveolar => {
            ([2.0, 3.0, -3.0, -4.0, 0.0, 5.5, 4.0], [0.6, 0.7, 0.7, 0.7, 0.2, 0.3, 0.3])
        }
        MouthShape::Rhotic => {
            ([4.0, 1.5, -1.0, -2.5, 0.0, 4.0, 8.5], [0.3, 0.35, 0.35, 0.45, 0.15, 0.8, 1.0])
        }
        MouthShape::Velar => ([7.0, 1.0, -1.0, 0.5, 0.0, 1.0, 9.0], [0.4, 0.1, 0.1, 0.1, 0.1, 0.3, 1.0]),
        MouthShape::Open => ([15.0, 2.0, -1.0, 0.0, -0.5, 1.0, 1.0], [1.0, 0.3, 0.3, 0.3, 0.2, 0.3, 0.3]),
        MouthShape::HalfOpen => ([9.0, 1.5, -0.5, 1.5, 0.3, 2.0, 2.5], [0.7, 0.3, 0.3, 0.3, 0.2, 0.25, 0.25]),
        MouthShape::Spread => ([4.0, 1.5, -1.0, 6.5, 1.5, 2.5, 4.5], [0.5, 0.4, 0.4, 1.0, 0.6, 0.25, 0.3]),
        MouthShape::Rounded => ([9.0, 0.5, 1.0, -5.0, 0.0, 1.0, 5.0], [0.6, 0.6, 0.6, 0.9, 0.3, 0.2, 0.3]),
        MouthShape::Pursed => ([4.0, -0.5, 1.5, -7.0, 0.0, 1.0, 6.0], [0.6, 0.9, 0.9, 1.0, 0.3, 0.2, 0.3]),
    }
}

fn mouth(m: Mouth) -> DofValues {
    let [jaw, upper, lower, out, up, tip, body] = m;
    DofValues::from_pairs(&[
        (Dof::JawOpen, jaw),
        (Dof::UpperLipLeft, upper),
        (Dof::UpperLipRight, upper),
        (Dof::LowerLipLeft, lower),
        (Dof::LowerLipRight, lower),
        (Dof::CornerLeftX, out),
        (Dof::CornerLeftY, up),
        (Dof::CornerRightX, out),
        (Dof::CornerRightY, up),
        (Dof::TongueTip, tip),
        (Dof::TongueBody, body),
    ])
}

/// The shape on the reference face.
pub(super) fn shape_pose(of: MouthShape) -> ShapePose {
    let (target, importance) = shape(of);
    ShapePose { target: mouth(target), importance: mouth(importance) }
}

/// The expression on the reference face: brow inner, brow outer, corner out, corner up, lid down.
pub(super) fn expression_pose(of: Expression) -> ShapePose {
    let ([inner, outer, out, up, lid], corners) = match of {
        Expression::Neutral => ([0.0, 0.0, 0.0, 0.0, 0.0], 0.0),
        Expression::Shocked => ([7.5, 6.5, 0.0, -1.0, -1.2], 0.2),
        Expression::Angry => ([-5.5, 2.5, -0.5, -2.5, 2.0], 0.4),
        Expression::Sympathetic => ([6.5, -2.5, 0.0, -1.0, 1.0], 0.2),
        Expression::Smile => ([1.0, 2.0, 4.0, 5.0, 1.0], 1.0),
        Expression::Frown => ([-3.0, -1.0, -1.0, -4.5, 1.5], 1.0),
    };
    let values = |inner, outer, out, up, lid| {
        DofValues::from_pairs(&[
            (Dof::BrowLeftInner, inner),
            (Dof::BrowLeftOuter, outer),
            (Dof::BrowRightInner, inner),
            (Dof::BrowRightOuter, outer),
            (Dof::CornerLeftX, out),
            (Dof::CornerLeftY, up),
            (Dof::CornerRightX, out),
            (Dof::CornerRightY, up),
            (Dof::LidLeft, lid),
            (Dof::LidRight, lid),
        ])
    };
    ShapePose {
        target: values(inner, outer, out, up, lid),
        importance: values(1.0, 1.0, corners * 0.5, corners, 1.0),
    }
}
