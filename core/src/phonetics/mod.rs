//! Phones, mouth shapes, and the way from written words to phones.
//!
//! This room looks at no other: everything here is facts about speech.

mod phone;
mod shape;

pub use phone::{ParsePhoneError, Phone};
pub use shape::{Articulator, MouthShape, ParseShapeError};
