//! Pictures as values: every canvas is a list of drawing commands computed from the document and
//! the view, so that what is drawn can be tested without a browser.
//!
//! Coordinates are logical (CSS) pixels, x to the right and y down. [`crate::web::painter`] is the
//! only place that knows device pixels and the browser's canvas.

mod axis;
pub mod face;
pub mod lanes;
pub mod linkage;
pub mod mouth;
mod path;
mod pen;
pub mod side;
mod tones;

pub use axis::TimeAxis;
pub use path::{Frame, Path, Piece, Point, pt};
pub use tones::{Rgba, Theme, Tone, articulator_tone};

/// How an area or a line is coloured.
#[derive(Clone, Debug, PartialEq)]
pub enum Paint {
    /// One colour of the theme.
    Tone(Tone),
    /// One colour of the theme, thinned: 0 invisible, 1 solid.
    Faint(Tone, f64),
    /// A colour of the picture itself (skin, cloth), the same in every theme.
    Own(Rgba),
    /// Along a line from the first point to the second.
    Linear(Point, Point, Vec<(f64, Rgba)>),
    /// From the centre to the radius.
    Radial(Point, f64, Vec<(f64, Rgba)>),
}

impl From<Tone> for Paint {
    fn from(tone: Tone) -> Self {
        Paint::Tone(tone)
    }
}

impl From<Rgba> for Paint {
    fn from(colour: Rgba) -> Self {
        Paint::Own(colour)
    }
}

/// Where a text stands relative to its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Align {
    Left,
    Centre,
    Right,
}

/// Which letters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Face {
    /// Words.
    Text,
    /// Words that stand out.
    Strong,
}

/// One drawing command.
#[derive(Clone, Debug, PartialEq)]
pub enum DrawCmd {
    /// Fills a path (non-zero winding).
    Fill(Path, Paint),
    /// Strokes a path.
    Stroke(Path, Stroke),
    /// Writes a text; `at` is on its baseline.
    Text {
        /// Anchor on the baseline.
        at: Point,
        /// What it says.
        text: String,
        /// Height of the letters in pixels.
        size: f64,
        /// Which letters.
        face: Face,
        /// Which side of the anchor.
        align: Align,
        /// True for a text that reads from bottom to top.
        upright: bool,
        /// Colour.
        paint: Paint,
    },
    /// From here to the matching [`DrawCmd::Unclip`], only the inside of the path is drawn.
    Clip(Path),
    /// Ends the innermost clip.
    Unclip,
}

/// How a path is stroked.
#[derive(Clone, Debug, PartialEq)]
pub struct Stroke {
    /// Width in pixels.
    pub width: f64,
    /// Colour.
    pub paint: Paint,
    /// Lengths of dash and gap; solid where `None`.
    pub dash: Option<(f64, f64)>,
}

impl Stroke {
    /// A solid line.
    #[must_use]
    pub fn solid(width: f64, paint: impl Into<Paint>) -> Self {
        Self { width, paint: paint.into(), dash: None }
    }

    /// A dashed line.
    #[must_use]
    pub fn dashed(width: f64, paint: impl Into<Paint>, dash: f64, gap: f64) -> Self {
        Self { width, paint: paint.into(), dash: Some((dash, gap)) }
    }
}

/// Fills a path.
#[must_use]
pub fn fill(path: Path, paint: impl Into<Paint>) -> DrawCmd {
    DrawCmd::Fill(path, paint.into())
}

/// Strokes a path with a solid line.
#[must_use]
pub fn line(path: Path, width: f64, paint: impl Into<Paint>) -> DrawCmd {
    DrawCmd::Stroke(path, Stroke::solid(width, paint))
}
