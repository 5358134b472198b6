//! Against M. Cohen and D. Massaro, "Modeling coarticulation in synthetic visual speech" (1993).

use super::*;

/// Their blend: dominance `alpha · exp(−theta |tau|)` of segments (centre, target, alpha).
fn blend(segments: &[(f64, f64, f64)], theta: f64, t: f64) -> f64 {
    let dominance = |&(centre, _, alpha): &(f64, f64, f64)| alpha * (-theta * (centre - t).abs()).exp();
    let total: f64 = segments.iter().map(dominance).sum();
    segments.iter().map(|s| dominance(s) * s.1).sum::<f64>() / total
}

#[test]
fn a_dominance_blend_leaves_the_lips_open_and_the_plan_closes_them() {
    let rig = Rig::harbourmaster();
    // Vowel, bilabial, vowel with centres 120 ms apart, theta = 20 per second.
    for (alpha, expected) in [(1.0, 0.153_572), (2.0, 0.083_173), (5.0, 0.035_017)] {
        let aperture = blend(&[(-0.12, 1.0, 1.0), (0.0, 0.0, alpha), (0.12, 1.0, 1.0)], 20.0, 0.0);
        assert!((aperture - expected).abs() < 1e-6, "{aperture}");
        // With this rig's open vowel the blend leaves more than a closed mouth's gap.
        let vowel = rig.pose(MouthShape::Open).target;
        let open = rig.lip_gap(&vowel, crate::rig::Side::Left).expect("has lips").value();
        assert!(aperture * open > CLOSED_GAP, "{}", aperture * open);
    }
    // Syllables of 120 ms with a closure of 60 to 80 ms: 4 to 8 a second.
    for rate in [4.0, 5.0, 6.0, 7.0, 8.0] {
        let syllable = 1.0 / rate;
        let closure = 0.45 * syllable;
        let mut line = vec![segment(0.3, 0.3 + syllable, MouthShape::Open)];
        let mut t = 0.3 + syllable;
        for _ in 0..6 {
            line.push(segment(t, t + closure, MouthShape::Bilabial));
            line.push(segment(t + closure, t + syllable, MouthShape::Open));
            t += syllable;
        }
        let plan = planned(&line, Seconds::new(t + 0.5), &rig);
        assert_within(&plan, &rig);
        assert_eq!((plan.summary.closures, plan.summary.closures_reached), (6, 6), "{rate} a second");
    }
}

#[test]
fn one_long_shape_is_reached_and_held() {
    let rig = Rig::harbourmaster();
    for shape in MouthShape::ALL {
        let plan = planned(&[segment(0.5, 1.5, shape)], Seconds::new(2.0), &rig);
        let face = rig.forward(&plan.angles_at(Seconds::new(0.96)));
        for spec in rig.dofs() {
            let (is, should) = (face[spec.dof], rig.pose(shape).target[spec.dof]);
            if rig.pose(shape).importance[spec.dof] > 0.0 {
                assert!((is - should).abs() < 0.3, "{shape} {}: {is} against {should}", spec.dof);
            }
        }
    }
}
