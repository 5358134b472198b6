//! The head: servos, the mechanisms they drive, the face's degrees of freedom, its poses.

mod dof;
mod pose;

pub use dof::{Dof, FacePart};
pub use pose::DofValues;
