//! A mechanism drawn as it stands and as far as it goes: the links themselves, and what they make of
//! the servo's pulse. Where the servo could turn but the linkage or the skin does not let it, the
//! drawing is shaded: those are the dead zones.

mod links;
mod plot;
mod sweep;

pub use links::links;
pub use plot::{Plane, plane, plot};
pub use sweep::{sweep, zones};

/// Servo angles, degrees, of one-servo mechanism: each range lies within the one before.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Zones {
    /// What the pulse range allows.
    pub pulse: (f64, f64),
    /// Of that, where the linkage is clear of its dead centres (or was measured).
    pub linkage: (f64, f64),
    /// Of that, where the skin is not overstretched: what the planner uses.
    pub free: (f64, f64),
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scene::DrawCmd;
    use lipwright_core::rig::{LinkageDescription, MechanismKind, Preset, Rig, ServoClass, TablePoint};

    /// A rig on which every kind of mechanism occurs.
    fn every_kind() -> Rig {
        use lipwright_core::rig::Dof::*;
        let mut d = Preset::Harbourmaster.describe();
        // Lids and outer brows make room.
        for _ in 0..2 {
            d.remove_mechanism(d.mechanisms.len() - 2);
        }
        d.add_mechanism(
            MechanismKind::Differential,
            ServoClass::Standard,
            "brow",
            &[BrowLeftOuter, BrowRightOuter],
        );
        assert!(d.change_kind(1, MechanismKind::Table));
        Rig::new(d).unwrap_or_else(|e| panic!("{e}"))
    }

    fn finite(commands: &[DrawCmd]) {
        let mut depth = 0;
        for c in commands {
            match c {
                DrawCmd::Fill(p, _) | DrawCmd::Stroke(p, _) => assert!(p.is_finite()),
                DrawCmd::Clip(p) => {
                    assert!(p.is_finite());
                    depth += 1;
                }
                DrawCmd::Unclip => depth -= 1,
                DrawCmd::Text { at, .. } => assert!(at.x.is_finite() && at.y.is_finite()),
            }
        }
        assert_eq!(depth, 0);
    }

    #[test]
    fn every_kind_is_drawn_and_moves() {
        let rig = every_kind();
        let kinds: std::collections::BTreeSet<_> =
            rig.description().mechanisms.iter().map(|m| m.linkage.kind().name()).collect();
        assert_eq!(kinds.len(), 5, "{kinds:?}");
        for m in 0..rig.mechanisms().len() {
            let still = links(&rig, m, &sweep(&rig, m, 0.0), 300.0, 200.0);
            let moved = links(&rig, m, &sweep(&rig, m, 0.3), 300.0, 200.0);
            finite(&still);
            assert_ne!(still, moved, "{}", rig.mechanisms()[m].name());
            let plane = plane(&rig, m);
            finite(&plot(&rig, m, &sweep(&rig, m, 0.3), plane.as_ref(), 300.0, 200.0));
            assert_eq!(plane.is_some(), rig.mechanisms()[m].servos().len() == 2);
        }
        assert!(links(&rig, 99, &[], 300.0, 200.0).is_empty());
    }

    #[test]
    fn the_sweep_covers_the_free_travel_and_nothing_else() {
        let rig = every_kind();
        for (m, mechanism) in rig.mechanisms().iter().enumerate() {
            let mut seen = vec![(f64::INFINITY, f64::NEG_INFINITY); rig.servos().len()];
            for k in 0..=200 {
                let angles = sweep(&rig, m, f64::from(k) / 200.0);
                assert!(rig.check_linkages(&angles).is_empty());
                for id in mechanism.servos() {
                    let (low, high) = rig.travel(*id);
                    let a = angles[id.0];
                    assert!(low.value() - 1e-9 <= a.value() && a.value() <= high.value() + 1e-9);
                    seen[id.0] = (seen[id.0].0.min(a.value()), seen[id.0].1.max(a.value()));
                }
            }
            if let [id] = mechanism.servos() {
                let (low, high) = rig.travel(*id);
                let covered = (seen[id.0].1 - seen[id.0].0) / (high - low).value();
                assert!(covered > 0.999, "{}: {covered}", mechanism.name());
            }
        }
    }

    #[test]
    fn dead_zones_are_where_linkage_and_skin_stop_the_servo() {
        let mut d = Preset::JawAndLips.describe();
        // A push-rod horn mounted 40 degrees off: the far dead centre comes into the pulse range.
        if let LinkageDescription::PushRod { neutral_horn_deg, .. } = &mut d.mechanisms[1].linkage {
            *neutral_horn_deg = 50.0;
        }
        let rig = Rig::new(d.clone()).expect("valid");
        let z = zones(&rig, 1).expect("one servo");
        assert!(z.pulse.0 < z.linkage.0, "the horn would pass its dead centre: {z:?}");
        assert!(z.linkage.0 <= z.free.0 && z.free.1 <= z.linkage.1 && z.linkage.1 <= z.pulse.1);
        // A table that was measured over part of the pulses: beyond it nothing is known.
        let point = |pulse_us, value| TablePoint { pulse_us, value, extra: Default::default() };
        d.mechanisms[1].linkage =
            LinkageDescription::Table { points: vec![point(1200.0, -2.0), point(1800.0, 4.0)] };
        for drive in &mut d.mechanisms[1].drives {
            drive.at_neutral = 0.0;
        }
        let rig = Rig::new(d).expect("valid");
        let z = zones(&rig, 1).expect("one servo");
        assert!((z.linkage.0 + 27.0).abs() < 0.1 && (z.linkage.1 - 27.0).abs() < 0.1, "{z:?}");
        assert_eq!(zones(&Rig::harbourmaster(), 5), None, "two servos have no single range");
    }
}
