//! Poses of one rig: the reference face scaled to its reach, then what the person adjusted.

use super::description::PoseDescription;
use super::{Dof, DofValues, Expression, Rig, ShapePose, Side, reference_face};
use crate::phonetics::MouthShape;

/// Least opening of every shape that is not closed, mm, on a face of the reference size.
const LEAST_OPENING: f64 = 1.5;

pub(super) fn shape(rig: &Rig, shape: MouthShape) -> ShapePose {
    let reference = reference_face::shape_pose(shape);
    let mut target = scaled(rig, &reference.target);
    narrow_by_jaw(rig, &mut target, &reference.target);
    let compression = rig.face().lip_compression.value();
    for side in Side::BOTH {
        match shape {
            MouthShape::Rest => {}
            MouthShape::Bilabial => {
                // Past touching by two thirds of the compression allowed.
                set_lip_gap(rig, &mut target, side, -2.0 * compression / 3.0);
            }
            MouthShape::Labiodental => {
                set_lower_lip_edge(rig, &mut target, side, rig.face().upper_teeth_edge.value());
            }
            _ => {
                let open = LEAST_OPENING * jaw_share(rig).map_or(1.0, |s| s.min(1.0));
                if rig.lip_gap(&target, side).is_some_and(|gap| gap.value() < open) {
                    set_lip_gap(rig, &mut target, side, open);
                }
            }
        }
    }
    finish(rig, target, reference.importance, rig.description().poses.get(&shape))
}

pub(super) fn expression(rig: &Rig, expression: Expression) -> ShapePose {
    let reference = reference_face::expression_pose(expression);
    let adjusted = rig.description().expressions.get(&expression);
    finish(rig, scaled(rig, &reference.target), reference.importance, adjusted)
}

/// Skin travel of the jaw on this rig against the reference face's, which begins shut at 0.
fn jaw_share(rig: &Rig) -> Option<f64> {
    let (_, most) = reference_face::travel(Dof::JawOpen);
    rig.dof(Dof::JawOpen).map(|d| (d.skin_max - d.skin_min) / most)
}

/// Offsets from rest stretched so that the reference face's travel becomes this skin's, each way.
fn scaled(rig: &Rig, reference: &DofValues) -> DofValues {
    let mut values = rig.rest();
    for d in rig.dofs() {
        let (low, high) = reference_face::travel(d.dof);
        let wanted = reference[d.dof];
        let (end, room) = if wanted > 0.0 { (high, d.skin_max - d.rest) } else { (low, d.skin_min - d.rest) };
        // Many begin at 0 and have no way the other way.
        let share = if wanted == 0.0 { 0.0 } else { wanted / end };
        values[d.dof] = d.rest + share * room;
    }
    values
}

/// On a head without lips, what the lips would take off the opening is taken off by the jaw: a
/// pursed mouth is a small one there.
fn narrow_by_jaw(rig: &Rig, values: &mut DofValues, reference: &DofValues) {
    let has_lips = Side::BOTH.iter().any(|s| rig.dof(s.upper_lip()).or(rig.dof(s.lower_lip())).is_some());
    let Some(share) = jaw_share(rig).filter(|_| !has_lips) else { return };
    let narrower = reference[Dof::LowerLipLeft] - reference[Dof::UpperLipLeft];
    if narrower > 0.0 {
        shift(rig, values, Dof::JawOpen, -narrower * share);
    }
}

/// Moves `dof` by `change`, as far as the skin lets it; gives back how far it went.
fn shift(rig: &Rig, values: &mut DofValues, dof: Dof, change: f64) -> f64 {
    let Some(d) = rig.dof(dof) else { return 0.0 };
    let before = values[dof];
    values[dof] = (before + change).clamp(d.skin_min, d.skin_max);
    values[dof] - before
}

/// Brings the lips of one side to a gap: lower lip first, then upper lip, then the jaw.
fn set_lip_gap(rig: &Rig, values: &mut DofValues, side: Side, gap: f64) {
    let Some(now) = rig.lip_gap(values, side) else { return };
    let mut open = gap - now.value();
    open += shift(rig, values, side.lower_lip(), -open);
    open -= shift(rig, values, side.upper_lip(), open);
    let per_jaw = rig.face().lower_lip_per_jaw;
    if per_jaw > 0.0 {
        shift(rig, values, Dof::JawOpen, open / per_jaw);
    }
}

/// Brings the lower lip's edge of one side to a height: lower lip first, then the jaw.
fn set_lower_lip_edge(rig: &Rig, values: &mut DofValues, side: Side, edge: f64) {
    let Some(gap) = rig.teeth_gap(values, side) else { return };
    let mut rise = edge - (rig.face().upper_teeth_edge.value() - gap.value());
    rise -= shift(rig, values, side.lower_lip(), rise);
    let per_jaw = rig.face().lower_lip_per_jaw;
    if per_jaw > 0.0 {
        shift(rig, values, Dof::JawOpen, -rise / per_jaw);
    }
}

/// Lays the person's own numbers over the generated ones, and holds the result to the head's reach
/// and couplings.
fn finish(
    rig: &Rig,
    mut target: DofValues,
    mut importance: DofValues,
    adjusted: Option<&PoseDescription>,
) -> ShapePose {
    if let Some(own) = adjusted {
        for (dof, value) in &own.target {
            target[*dof] = *value;
        }
        for (dof, value) in &own.importance {
            importance[*dof] = *value;
        }
    }
    let mut importance_here = DofValues::default();
    for d in rig.dofs() {
        importance_here[d.dof] = importance[d.dof];
    }
    let reached = rig.reach(&target).dofs;
    ShapePose { target: held_to_couplings(rig, reached), importance: importance_here }
}

/// The furthest point from rest towards `target` that every coupling allows (they are linear, and
/// rest is allowed), as the linkages can make it.
fn held_to_couplings(rig: &Rig, target: DofValues) -> DofValues {
    let rest = rig.rest();
    let mut share: f64 = 1.0;
    for c in rig.couplings() {
        let (at_rest, at_target) = (c.sum(&rest), c.sum(&target));
        let mut hold = |limit: f64| {
            if at_target != at_rest {
                share = share.min(((limit - at_rest) / (at_target - at_rest)).max(0.0));
            }
        };
        match (c.min, c.max) {
            (Some(min), _) if at_target < min => hold(min),
            (_, Some(max)) if at_target > max => hold(max),
            _ => {}
        }
    }
    if share >= 1.0 {
        return target;
    }
    let mut held = target;
    for d in rig.dofs() {
        held[d.dof] = rest[d.dof] + share * (target[d.dof] - rest[d.dof]);
    }
    rig.reach(&held).dofs
}
