//! Mechanisms: what stands between servos and degrees of freedom.

use super::{Differential, Dof, FiveBar, KinematicError, PushRod, Rotary, ServoId, SkinResponse, Table};

/// A DOF moved by a mechanism: the mechanism asks for gain · q + `at_neutral`, and the skin follows
/// as its measured response says, or exactly.
#[derive(Clone, Debug, PartialEq)]
pub struct Drive {
    /// Which DOF.
    pub dof: Dof,
    /// Factor on the linkage's output; never 0.
    pub gain: f64,
    /// Value asked for at the neutral pulse, in the DOF's unit.
    pub at_neutral: f64,
    /// What the skin makes of it, where measured.
    pub skin: Option<SkinResponse>,
}

impl Drive {
    /// What the face does for a linkage output.
    pub(crate) fn value(&self, q: f64) -> f64 {
        let asked = self.gain * q + self.at_neutral;
        self.skin.as_ref().map_or(asked, |s| s.seen(asked))
    }

    /// The linkage output that makes the face do `value`.
    pub(crate) fn output(&self, value: f64) -> f64 {
        let asked = self.skin.as_ref().map_or(value, |s| s.asked(value));
        (asked - self.at_neutral) / self.gain
    }

    /// d(value)/dq.
    fn slope(&self, q: f64) -> f64 {
        let asked = self.gain * q + self.at_neutral;
        self.gain * self.skin.as_ref().map_or(1.0, |s| s.slope(asked))
    }
}

/// A linkage with its servos and what they drive.
///
/// One-servo kinds may drive several DOFs that then move together (both halves of a lip on one
/// servo). Two-servo kinds drive exactly two: outward and up for the five-bar, common and difference
/// for the differential pair.
#[derive(Clone, Debug, PartialEq)]
pub enum Mechanism {
    /// Gear, belt or horn on the axle.
    Rotary {
        /// Name for people.
        name: String,
        /// Its servo.
        servo: ServoId,
        /// What it drives.
        drives: Vec<Drive>,
        /// Sizes.
        linkage: Rotary,
    },
    /// Slider-crank.
    PushRod {
        /// Name for people.
        name: String,
        /// Its servo.
        servo: ServoId,
        /// What it drives.
        drives: Vec<Drive>,
        /// Sizes.
        linkage: PushRod,
    },
    /// Measured points.
    Table {
        /// Name for people.
        name: String,
        /// Its servo.
        servo: ServoId,
        /// What it drives.
        drives: Vec<Drive>,
        /// Points and curve.
        linkage: Table,
    },
    /// Two servos, one point of a plane.
    FiveBar {
        /// Name for people.
        name: String,
        /// Its servos: first axle, second axle.
        servos: [ServoId; 2],
        /// Outward, up.
        drives: [Drive; 2],
        /// Sizes.
        linkage: FiveBar,
    },
    /// Two servos, common motion and difference.
    Differential {
        /// Name for people.
        name: String,
        /// Its servos.
        servos: [ServoId; 2],
        /// Common, difference.
        drives: [Drive; 2],
        /// Gains.
        linkage: Differential,
    },
}

impl Mechanism {
    /// Name for people.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Self::Rotary { name, .. }
            | Self::PushRod { name, .. }
            | Self::Table { name, .. }
            | Self::FiveBar { name, .. }
            | Self::Differential { name, .. } => name,
        }
    }

    /// Its one or two servos.
    #[must_use]
    pub fn servos(&self) -> &[ServoId] {
        match self {
            Self::Rotary { servo, .. } | Self::PushRod { servo, .. } | Self::Table { servo, .. } => {
                std::slice::from_ref(servo)
            }
            Self::FiveBar { servos, .. } | Self::Differential { servos, .. } => servos,
        }
    }

    /// What it drives.
    #[must_use]
    pub fn drives(&self) -> &[Drive] {
        match self {
            Self::Rotary { drives, .. } | Self::PushRod { drives, .. } | Self::Table { drives, .. } => drives,
            Self::FiveBar { drives, .. } | Self::Differential { drives, .. } => drives,
        }
    }

    /// Output of a one-servo linkage at a servo angle in degrees; `None` for the two-servo kinds.
    pub(crate) fn single(&self) -> Option<Single<'_>> {
        match self {
            Self::Rotary { linkage, .. } => Some(Single::Rotary(linkage)),
            Self::PushRod { linkage, .. } => Some(Single::PushRod(linkage)),
            Self::Table { linkage, .. } => Some(Single::Table(linkage)),
            Self::FiveBar { .. } | Self::Differential { .. } => None,
        }
    }

    /// Servo angles, degrees, over which a one-servo linkage is one-to-one and clear of its dead
    /// centres (infinite where nothing bounds it); `None` for the two-servo kinds, where
    /// [`Mechanism::check`] judges each pair of angles.
    #[must_use]
    pub fn range(&self) -> Option<(f64, f64)> {
        self.single().map(Single::range)
    }

    /// Values of what it drives, for servo angles in degrees (one, or two in the order of
    /// [`Mechanism::servos`]; a missing one counts as 0).
    #[must_use]
    pub fn forward(&self, angles: &[f64]) -> Vec<(Dof, f64)> {
        let theta = [angles.first().copied().unwrap_or(0.0), angles.get(1).copied().unwrap_or(0.0)];
        match self {
            Self::FiveBar { drives, linkage, .. } => pair_values(drives, linkage.forward(theta)),
            Self::Differential { drives, linkage, .. } => pair_values(drives, linkage.forward(theta)),
            _ => {
                let q = self.single().map_or(0.0, |s| s.forward(theta[0]));
                self.drives().iter().map(|d| (d.dof, d.value(q))).collect()
            }
        }
    }

    /// ∂dof/∂angle at servo angles as for [`Mechanism::forward`], in DOF units per degree.
    #[must_use]
    pub fn partials(&self, angles: &[f64]) -> Vec<(ServoId, Dof, f64)> {
        let theta = [angles.first().copied().unwrap_or(0.0), angles.get(1).copied().unwrap_or(0.0)];
        let pair = |servos: &[ServoId; 2], drives: &[Drive; 2], q: [f64; 2], jacobian: [[f64; 2]; 2]| {
            let mut entries = Vec::with_capacity(4);
            for (k, drive) in drives.iter().enumerate() {
                let slope = drive.slope(q[k]);
                for (servo, by) in servos.iter().zip(jacobian[k]) {
                    entries.push((*servo, drive.dof, slope * by));
                }
            }
            entries
        };
        match self {
            Self::FiveBar { servos, drives, linkage, .. } => {
                pair(servos, drives, linkage.forward(theta), linkage.jacobian(theta))
            }
            Self::Differential { servos, drives, linkage, .. } => {
                pair(servos, drives, linkage.forward(theta), linkage.jacobian())
            }
            _ => {
                let (q, by) = self.single().map_or((0.0, 0.0), |s| (s.forward(theta[0]), s.slope(theta[0])));
                let servo = self.servos()[0];
                self.drives().iter().map(|d| (servo, d.dof, d.slope(q) * by)).collect()
            }
        }
    }

    /// Degrees from the nearest singular configuration; 90 where there is none.
    #[must_use]
    pub fn clearance(&self, angles: &[f64]) -> f64 {
        let theta = [angles.first().copied().unwrap_or(0.0), angles.get(1).copied().unwrap_or(0.0)];
        match self {
            Self::Rotary { linkage, .. } => linkage.clearance(theta[0]),
            Self::PushRod { linkage, .. } => linkage.clearance(theta[0]),
            Self::FiveBar { linkage, .. } => linkage.clearance(theta),
            Self::Table { .. } | Self::Differential { .. } => 90.0,
        }
    }

    /// Whether the linkage closes at these servo angles, clear of singular configurations.
    ///
    /// # Errors
    /// Names the linkage and by how much it fails.
    pub fn check(&self, angles: &[f64]) -> Result<(), KinematicError> {
        let theta = [angles.first().copied().unwrap_or(0.0), angles.get(1).copied().unwrap_or(0.0)];
        match self {
            Self::FiveBar { linkage, .. } => linkage.check(theta),
            Self::PushRod { linkage, .. } => {
                let clearance = linkage.clearance(theta[0]);
                // Angles at the very end of the range come back from the inverse with rounding.
                if clearance < PushRod::MIN_CLEARANCE - 1e-6 {
                    let needed = PushRod::MIN_CLEARANCE;
                    return Err(KinematicError::Singular { linkage: "push-rod", clearance, needed });
                }
                Ok(())
            }
            Self::Rotary { .. } | Self::Table { .. } | Self::Differential { .. } => Ok(()),
        }
    }
}

fn pair_values(drives: &[Drive; 2], q: [f64; 2]) -> Vec<(Dof, f64)> {
    drives.iter().zip(q).map(|(d, q)| (d.dof, d.value(q))).collect()
}

/// The one-servo linkages behind one face.
#[derive(Clone, Copy)]
pub(crate) enum Single<'a> {
    Rotary(&'a Rotary),
    PushRod(&'a PushRod),
    Table(&'a Table),
}

impl Single<'_> {
    pub(crate) fn forward(self, theta: f64) -> f64 {
        match self {
            Self::Rotary(l) => l.forward(theta),
            Self::PushRod(l) => l.forward(theta),
            Self::Table(l) => l.forward(theta),
        }
    }

    pub(crate) fn inverse(self, q: f64) -> Result<f64, KinematicError> {
        match self {
            Self::Rotary(l) => l.inverse(q),
            Self::PushRod(l) => l.inverse(q),
            Self::Table(l) => l.inverse(q),
        }
    }

    pub(crate) fn slope(self, theta: f64) -> f64 {
        match self {
            Self::Rotary(l) => l.slope(theta),
            Self::PushRod(l) => l.slope(theta),
            Self::Table(l) => l.slope(theta),
        }
    }

    pub(crate) fn range(self) -> (f64, f64) {
        match self {
            Self::Rotary(l) => l.range(),
            Self::PushRod(l) => l.range(),
            Self::Table(l) => l.range(),
        }
    }
}
