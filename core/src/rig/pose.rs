//! Poses: a target for every degree of freedom.

use super::Dof;

/// A value for every DOF, in its own unit (mm or degrees); rigs without a DOF ignore its entry.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DofValues([f64; Dof::COUNT]);

impl Default for DofValues {
    /// The reference rest pose: all zero.
    fn default() -> Self {
        Self([0.0; Dof::COUNT])
    }
}

impl std::ops::Index<Dof> for DofValues {
    type Output = f64;
    fn index(&self, dof: Dof) -> &f64 {
        &self.0[dof.index()]
    }
}

impl std::ops::IndexMut<Dof> for DofValues {
    fn index_mut(&mut self, dof: Dof) -> &mut f64 {
        &mut self.0[dof.index()]
    }
}
