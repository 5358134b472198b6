//! The head: servos, the mechanisms they drive, the face's degrees of freedom, its poses.
//!
//! ```text
//!  pulse (µs) ── Servo ── angle θ (deg) ── Mechanism ── DOF (mm or deg of the face)
//!                                                        │ skin travel, couplings
//!                                                        └ poses of the 14 mouth shapes
//! ```
//!
//! A [`RigDescription`] is what a person edits and what a file says; [`Rig::new`] judges it and
//! builds the [`Rig`], on which everything else relies. Angle 0 is a servo's neutral pulse. Kernels
//! compute in bare degrees and millimetres; the linkage types draw their own frames:
//! [`Rotary`], [`PushRod`], [`FiveBar`], [`Differential`], [`Table`].
//!
//! The lower lip rides on the jaw: its edge stands at `lower_lip − k · jaw_open` (k from the rig's
//! [`Face`], 1 by default), and the lip gap is the upper lip's value minus that.
//!
//! ```
//! use lipwright_core::phonetics::MouthShape;
//! use lipwright_core::rig::{Rig, Side};
//!
//! let rig = Rig::harbourmaster();
//! let closed = rig.reach(&rig.pose(MouthShape::Bilabial).target);
//! assert!(closed.clamped.is_empty());
//! let gap = rig.lip_gap(&closed.dofs, Side::Left).expect("this head has lips");
//! assert!(gap.value() < 0.0, "pressed past touching");
//! ```

mod blink;
#[cfg(test)]
mod by_hand_tests;
mod calibrate;
mod checks;
mod description;
mod differential;
mod dof;
mod edit;
mod error;
#[cfg(test)]
mod file_tests;
mod five_bar;
mod head;
mod least_squares;
mod mechanism;
mod mirror;
mod pose;
mod poses;
#[cfg(test)]
mod poses_tests;
mod power;
mod presets;
mod push_rod;
#[cfg(test)]
mod random_tests;
mod reach;
#[cfg(test)]
mod reach_tests;
mod read;
mod reference_face;
mod rotary;
mod servo;
mod skin;
mod table;
#[cfg(test)]
mod tests;
mod validate;
mod wiring;

pub use crate::fields::Problem as RigProblem;
pub use blink::BlinkCourse;
pub use calibrate::{CalibrationError, LinkageMeasurement, PushRodFit, fit_push_rod, measure_linkage};
pub use checks::{LOOK_ALIKE, PoseFinding, ReachLimit, ReachNote, TONGUE_SHARE};
pub use description::{
    CouplingDescription, DofDescription, DriveDescription, Extra, FaceDescription, LinkageDescription,
    MechanismDescription, PoseDescription, ResponsePoint, RigDescription, ServoDescription,
    SupplyDescription, TablePoint, TermDescription,
};
pub use differential::Differential;
pub use dof::{Dof, FacePart};
pub use edit::MechanismKind;
pub use error::{KinematicError, RigError};
pub use five_bar::{Elbows, FiveBar, FiveBarJoints};
pub use head::{Coupling, DofSpec, Face, Rig, Supply};
pub use mechanism::{Drive, Mechanism};
pub use pose::{DofValues, Expression, ShapePose, Side};
pub use power::PowerNeeds;
pub use presets::Preset;
pub use push_rod::PushRod;
pub use reach::Reach;
pub use rotary::Rotary;
pub use servo::{Servo, ServoClass, ServoId};
pub use skin::SkinResponse;
pub use table::Table;
