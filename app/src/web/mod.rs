//! The browser's side: canvas, sound, worker, files. Everything here only carries out what the
//! editor decided.

pub mod alone;
pub mod audio;
pub mod canvas;
pub mod clock;
pub mod database;
pub mod files;
pub mod js;
pub mod keep;
pub mod painter;
pub mod picker;
pub mod recorder;
pub mod room;
pub mod serial;
pub mod tiles;
pub mod turns;
pub mod worker_link;
