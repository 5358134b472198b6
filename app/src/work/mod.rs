//! Work done off the page: hearing, planning, writing files. The worker runs the same program as
//! the page and the same core as the command line.

pub mod compare;
pub mod jobs;
mod message;
mod problems;
pub mod serve;
mod suggest;

pub use message::{Answer, FileKind, Job, LineOf, Sound, Stage};
