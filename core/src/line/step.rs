//! Names of edits.

use crate::phonetics::MouthShape;
use std::fmt;

/// What an edit was, for the undo menu and for screen readers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// A boundary between two segments moved.
    MoveBoundary,
    /// A boundary moved, and the segments after it with it.
    Ripple,
    /// A segment got another shape.
    ReplaceShape(MouthShape),
    /// So many segments got another shape.
    ReplaceShapes(usize),
    /// A segment became two.
    Split,
    /// Several segments became one.
    Merge,
    /// A segment went.
    Delete,
    /// So many segments went.
    DeleteRun(usize),
    /// A segment does more or less of its shape.
    Strength,
    /// So many segments do more or less of their shapes.
    Strengths(usize),
    /// So many segments were locked against listening.
    Lock(usize),
    /// So many segments were unlocked.
    Unlock(usize),
    /// So many copied segments were written over the line.
    Paste(usize),
    /// A shape was written over a stretch of time.
    Paint(MouthShape),
    /// The recording was listened to again.
    Listen,
    /// A part of the recording was listened to again.
    ListenPart,
    /// Words of the script changed, and their part was aligned again.
    Realign,
    /// A marker was set or named.
    SetMarker,
    /// A marker went.
    DeleteMarker,
    /// A key of the expression lane was set.
    SetExpression,
    /// A key of the expression lane went.
    DeleteExpression,
    /// The whole expression lane was replaced.
    ReplaceExpressions,
    /// A blink or a turn of the head was added.
    AddEvent(&'static str),
    /// It moved in time.
    MoveEvent(&'static str),
    /// Its numbers changed.
    ChangeEvent(&'static str),
    /// It went.
    DeleteEvent(&'static str),
    /// So many segments are held to their ends.
    Hold(usize),
    /// So many segments are no longer held.
    LetGo(usize),
    /// Copied looks and events were put over a stretch.
    PasteLooks,
    /// Looks were suggested.
    Suggest,
    /// A suggested look was taken into the expression lane.
    TakeSuggestion,
    /// A suggested look was dismissed.
    DismissSuggestion,
}

/// `3 segments`, `1 segment`.
struct Segments(usize);

impl fmt::Display for Segments {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} segment{}", self.0, if self.0 == 1 { "" } else { "s" })
    }
}

impl fmt::Display for Step {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Step::MoveBoundary => f.write_str("move boundary"),
            Step::Ripple => f.write_str("move boundary and what follows"),
            Step::ReplaceShape(shape) => write!(f, "replace with {shape}"),
            Step::ReplaceShapes(count) => write!(f, "replace {count} shapes"),
            Step::Split => f.write_str("split"),
            Step::Merge => f.write_str("merge"),
            Step::Delete => f.write_str("delete"),
            Step::DeleteRun(count) => write!(f, "delete {}", Segments(*count)),
            Step::Strength => f.write_str("change strength"),
            Step::Strengths(count) => write!(f, "change strength of {}", Segments(*count)),
            Step::Lock(count) => write!(f, "lock {}", Segments(*count)),
            Step::Unlock(count) => write!(f, "unlock {}", Segments(*count)),
            Step::Paste(count) => write!(f, "paste {}", Segments(*count)),
            Step::Paint(shape) => write!(f, "paint {shape}"),
            Step::Listen => f.write_str("listen again"),
            Step::ListenPart => f.write_str("listen to the selection again"),
            Step::Realign => f.write_str("align changed words"),
            Step::SetMarker => f.write_str("set marker"),
            Step::DeleteMarker => f.write_str("delete marker"),
            Step::SetExpression => f.write_str("set expression"),
            Step::DeleteExpression => f.write_str("delete expression"),
            Step::ReplaceExpressions => f.write_str("replace expressions"),
            Step::AddEvent(what) => write!(f, "add {what}"),
            Step::MoveEvent(what) => write!(f, "move {what}"),
            Step::ChangeEvent(what) => write!(f, "change {what}"),
            Step::DeleteEvent(what) => write!(f, "delete {what}"),
            Step::Hold(count) => write!(f, "hold {}", Segments(*count)),
            Step::LetGo(count) => write!(f, "let go of {}", Segments(*count)),
            Step::PasteLooks => f.write_str("paste looks"),
            Step::Suggest => f.write_str("suggest looks"),
            Step::TakeSuggestion => f.write_str("take suggested look"),
            Step::DismissSuggestion => f.write_str("dismiss suggested look"),
        }
    }
}
