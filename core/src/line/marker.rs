//! Named moments of a line.

use super::{Line, LineError};
use crate::units::Seconds;
use serde::{Deserialize, Serialize};

/// A named moment, to come back to and to loop between.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Marker {
    /// When, on the line's time axis.
    #[serde(rename = "time_s")]
    pub time: Seconds,
    /// What a person called it.
    pub name: String,
}

impl Marker {
    /// Longest name, in characters.
    pub const LONGEST: usize = 80;

    /// A marker.
    #[must_use]
    pub fn new(time: Seconds, name: impl Into<String>) -> Self {
        Self { time, name: name.into() }
    }

    fn problem(&self, duration: Seconds) -> Option<&'static str> {
        if !(self.time >= Seconds::ZERO && self.time <= duration) {
            return Some("its time must lie inside the line");
        }
        if self.name.trim().is_empty() || self.name.chars().count() > Self::LONGEST {
            return Some("its name must have 1 to 80 characters");
        }
        None
    }
}

/// Markers nearer than this are one.
const SAME: Seconds = Seconds::new(1e-3);

impl Line {
    /// The markers, by rising time.
    #[must_use]
    pub fn markers(&self) -> &[Marker] {
        &self.markers
    }

    /// Checks markers and puts them in the place of the present ones.
    pub(super) fn set_markers(&mut self, markers: Vec<Marker>) -> Result<(), LineError> {
        let mut last = Seconds::new(-1.0);
        for (index, marker) in markers.iter().enumerate() {
            let problem = marker.problem(self.duration);
            if let Some(problem) =
                problem.or((marker.time <= last).then_some("must come after the marker before it"))
            {
                return Err(LineError::Marker { index, at: marker.time, problem });
            }
            last = marker.time;
        }
        self.markers = markers;
        Ok(())
    }

    pub(super) fn with_marker(&self, marker: Marker) -> Result<Vec<Marker>, LineError> {
        if let Some(problem) = marker.problem(self.duration) {
            return Err(LineError::Marker { index: self.markers.len(), at: marker.time, problem });
        }
        let mut markers: Vec<_> =
            self.markers.iter().filter(|m| (m.time - marker.time).abs() >= SAME).cloned().collect();
        markers.insert(markers.partition_point(|m| m.time < marker.time), marker);
        Ok(markers)
    }

    pub(super) fn without_marker(&self, index: usize) -> Result<Vec<Marker>, LineError> {
        let count = self.markers.len();
        if index >= count {
            return Err(LineError::NoSuchMarker { index, count });
        }
        let mut markers = self.markers.clone();
        markers.remove(index);
        Ok(markers)
    }
}
