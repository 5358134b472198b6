//! The editable document of one line.

mod segment;

pub use segment::Segment;
