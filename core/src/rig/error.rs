//! What can be wrong with a rig, and with a linkage asked for the impossible.

use crate::fields::Problem;

/// Why a rig could not be read or built.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RigError {
    /// The text is not JSON.
    #[error(
        "the rig file is not valid JSON at line {line}, column {column}: {reason}; correct the file there"
    )]
    Syntax {
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
        /// What the JSON reader says.
        reason: String,
    },
    /// The JSON is something else than a rig.
    #[error(
        "format: the file says {found}, not \"lipwright-rig\"; choose a rig file (a track or project is another file)"
    )]
    NotARig {
        /// What stands in its `format` field.
        found: String,
    },
    /// The file was written by a later Lipwright.
    #[error(
        "version: the rig file has version {found}, this Lipwright reads up to {supported}; open it with a newer Lipwright"
    )]
    Newer {
        /// Version in the file.
        found: u64,
        /// Newest version this build reads.
        supported: u64,
    },
    /// Fields are missing, of the wrong kind, out of range or contradict each other.
    #[error("{}", list(.0))]
    Invalid(Vec<Problem>),
}

impl RigError {
    /// Every single fault; empty where the file could not be read as a rig at all.
    #[must_use]
    pub fn problems(&self) -> &[Problem] {
        match self {
            Self::Invalid(problems) => problems,
            _ => &[],
        }
    }
}

fn list(problems: &[Problem]) -> String {
    problems.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
}

/// Why a linkage cannot do what was asked.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum KinematicError {
    /// The wanted value lies outside what the linkage can reach.
    #[error(
        "{linkage} cannot reach {wanted:.2}: it reaches {min:.2} to {max:.2}; ask for less or change its lengths"
    )]
    Unreachable {
        /// Kind of linkage.
        linkage: &'static str,
        /// Value asked for (mm, or the distance of the point from a crank's axle).
        wanted: f64,
        /// Least reachable.
        min: f64,
        /// Greatest reachable.
        max: f64,
    },
    /// Links are straight or folded there: motion through it is undefined.
    #[error(
        "{linkage} is within {clearance:.2} degrees of straight or folded links; keep at least {needed:.1} degrees away"
    )]
    Singular {
        /// Kind of linkage.
        linkage: &'static str,
        /// Degrees from the singular configuration.
        clearance: f64,
        /// Degrees that must be kept.
        needed: f64,
    },
    /// With these crank angles the links do not meet.
    #[error(
        "{linkage} does not close: its joints are {distance:.2} mm apart and the links bridge {bridge:.2} mm; keep to angles where they meet"
    )]
    NotAssemblable {
        /// Kind of linkage.
        linkage: &'static str,
        /// Distance to bridge, mm.
        distance: f64,
        /// Length of the links that should bridge it, mm.
        bridge: f64,
    },
    /// The point can only be had with the links folded over to their other side.
    #[error(
        "{linkage} would have to fold over to its other side to get there; ask for a point on the side where it rests"
    )]
    OtherAssembly {
        /// Kind of linkage.
        linkage: &'static str,
    },
    /// Two links in one layer would touch.
    #[error(
        "{linkage} would run its cranks into each other: {gap:.2} mm between their centre lines, they need {needed:.2}; keep further apart or put them in two layers"
    )]
    Collision {
        /// Kind of linkage.
        linkage: &'static str,
        /// Distance of their centre lines, mm.
        gap: f64,
        /// Distance needed, mm.
        needed: f64,
    },
    /// An angle or target is infinite or not a number.
    #[error("{linkage} was given {value}; give a finite number")]
    NotFinite {
        /// Kind of linkage.
        linkage: &'static str,
        /// The value.
        value: f64,
    },
}
