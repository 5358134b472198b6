//! The rig as the page edits it: a document with steps, judged after each, and the forms' fields.

mod draft;
mod fields;
mod measure;
mod outline;
mod page;
mod path;
mod plain;

pub use draft::{Entry, RigDraft};
pub use fields::{FACE, Field, Kind, SERVO, SUPPLY, linkage_fields, skin_fields};
pub use measure::{Direction, Reading, Response, Sheet, direction, response_of};
pub use outline::{ServoRow, outline, part_name, words};
pub use page::{RigPage, Step};
pub use plain::plain;
