//! A pen that draws in a picture's own units.

use super::{DrawCmd, Frame, Paint, Path, Point, Rgba, Stroke, pt};

/// Collects commands for a picture drawn in millimetres of the face.
pub(super) struct Pen {
    frame: Frame,
    /// Sideways shift of what follows, in the picture's units: features in front of the head's
    /// axis move when the neck turns.
    pub shift: f64,
    out: Vec<DrawCmd>,
}

impl Pen {
    pub fn new(frame: Frame) -> Self {
        Self { frame, shift: 0.0, out: Vec::new() }
    }

    fn now(&self) -> Frame {
        Frame { origin: self.frame.map(pt(self.shift, 0.0)), ..self.frame }
    }

    pub fn fill(&mut self, path: &Path, paint: impl Into<Paint>) {
        self.out.push(DrawCmd::Fill(path.through(&self.now()), paint.into()));
    }

    /// `width` in the picture's units, but never thinner than `least` pixels.
    pub fn line(&mut self, path: &Path, width: f64, least: f64, paint: impl Into<Paint>) {
        let width = (width * self.frame.scale).max(least);
        self.out.push(DrawCmd::Stroke(path.through(&self.now()), Stroke::solid(width, paint)));
    }

    /// A thin dashed line, in pixels whatever the scale.
    pub fn ghost(&mut self, path: &Path, paint: impl Into<Paint>) {
        self.out.push(DrawCmd::Stroke(path.through(&self.now()), Stroke::dashed(1.4, paint, 4.0, 3.0)));
    }

    pub fn clip(&mut self, path: &Path) {
        self.out.push(DrawCmd::Clip(path.through(&self.now())));
    }

    pub fn unclip(&mut self) {
        self.out.push(DrawCmd::Unclip);
    }

    pub fn linear(&self, from: Point, to: Point, stops: &[(f64, Rgba)]) -> Paint {
        let frame = self.now();
        Paint::Linear(frame.map(from), frame.map(to), stops.to_vec())
    }

    pub fn radial(&self, centre: Point, radius: f64, stops: &[(f64, Rgba)]) -> Paint {
        Paint::Radial(self.now().map(centre), radius * self.frame.scale, stops.to_vec())
    }

    pub fn push(&mut self, command: DrawCmd) {
        self.out.push(command);
    }

    /// Where a point of the picture lies in pixels.
    pub fn place(&self, p: Point) -> Point {
        self.now().map(p)
    }

    pub fn done(self) -> Vec<DrawCmd> {
        self.out
    }
}
