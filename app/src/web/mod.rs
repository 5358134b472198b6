//! The browser's side: canvas, sound, worker, files. Everything here only carries out what the
//! editor decided.

pub mod audio;
pub mod canvas;
pub mod clock;
pub mod files;
pub mod keep;
pub mod painter;
pub mod serial;
pub mod tiles;
pub mod worker_link;
