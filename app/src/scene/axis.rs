//! The one mapping between time and pixels.

use crate::editor::TimeUnit;
use lipwright_core::units::Seconds;

/// Time across a lane: which instant is at the left edge, and how many logical pixels a second is.
///
/// What always holds: the scale is positive and finite; the view shows no time before 0 unless the
/// line is shorter than the view; at the closest zoom one millisecond is [`TimeAxis::CLOSEST`] wide.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TimeAxis {
    left: f64,
    scale: f64,
    width: f64,
    duration: f64,
    unit: TimeUnit,
}

impl TimeAxis {
    /// Closest zoom, pixels per second: a 10 ms analysis frame is 20 pixels.
    pub const CLOSEST: f64 = 2000.0;

    /// Share of the width left free after the end of a line that is shown whole.
    const MARGIN: f64 = 0.02;

    /// Shows a whole line in `width` pixels.
    #[must_use]
    pub fn fitted(duration: Seconds, width: f64) -> Self {
        let duration = if duration.is_finite() { duration.value().max(0.01) } else { 0.01 };
        let width = if width.is_finite() { width.max(1.0) } else { 1.0 };
        let scale = width * (1.0 - Self::MARGIN) / duration;
        Self { left: 0.0, scale: scale.min(Self::CLOSEST), width, duration, unit: TimeUnit::Seconds }
    }

    /// Shows a whole line of that length in the same width and unit.
    #[must_use]
    pub fn of(self, duration: Seconds) -> Self {
        Self { unit: self.unit, ..Self::fitted(duration, self.width) }
    }

    /// The same view with its ruler in another unit.
    #[must_use]
    pub fn in_unit(self, unit: TimeUnit) -> Self {
        Self { unit, ..self }
    }

    /// Unit of the ruler.
    #[must_use]
    pub fn unit(&self) -> TimeUnit {
        self.unit
    }

    /// Time between labelled ticks at least `room` pixels apart, and how many small ticks divide it.
    #[must_use]
    pub fn ruler_step(&self, room: f64) -> (f64, usize) {
        self.unit.ruler_step(self.scale, room)
    }

    /// Smallest scale: the whole line is seen.
    fn farthest(&self) -> f64 {
        (self.width * (1.0 - Self::MARGIN) / self.duration).min(Self::CLOSEST)
    }

    /// Logical pixels of the instant.
    #[must_use]
    pub fn x(&self, time: Seconds) -> f64 {
        (time.value() - self.left) * self.scale
    }

    /// The instant at a pixel; may lie outside the line.
    #[must_use]
    pub fn time(&self, x: f64) -> Seconds {
        Seconds::new(self.left + x / self.scale)
    }

    /// The instant at a pixel, kept within the line.
    #[must_use]
    pub fn time_within(&self, x: f64) -> Seconds {
        self.time(x).max(Seconds::ZERO).min(Seconds::new(self.duration))
    }

    /// Pixels per second.
    #[must_use]
    pub fn scale(&self) -> f64 {
        self.scale
    }

    /// Width of the view in pixels.
    #[must_use]
    pub fn width(&self) -> f64 {
        self.width
    }

    /// First and last instant in view.
    #[must_use]
    pub fn span(&self) -> (Seconds, Seconds) {
        (self.time(0.0), self.time(self.width))
    }

    /// Length of the line shown.
    #[must_use]
    pub fn duration(&self) -> Seconds {
        Seconds::new(self.duration)
    }

    /// How a picture of an earlier view is to be shown in this one: the factor by which it is stretched from
    /// its left edge, and how far it is then moved to the right, pixels.
    #[must_use]
    pub fn stretch(&self, earlier: &Self) -> (f64, f64) {
        (self.scale / earlier.scale, (earlier.left - self.left) * self.scale)
    }

    fn settled(mut self) -> Self {
        self.scale = self.scale.clamp(self.farthest(), Self::CLOSEST);
        let last = (self.duration - self.width * (1.0 - Self::MARGIN) / self.scale).max(0.0);
        self.left = self.left.clamp(0.0, last);
        self
    }

    /// Zooms by a factor about a pixel: the instant under it stays where it is, unless the line's
    /// ends come in the way.
    #[must_use]
    pub fn zoomed(self, factor: f64, about: f64) -> Self {
        if !(factor.is_finite() && factor > 0.0) {
            return self;
        }
        let time = self.left + about / self.scale;
        let scale = (self.scale * factor).clamp(self.farthest(), Self::CLOSEST);
        Self { scale, left: time - about / scale, ..self }.settled()
    }

    /// Moves the view by pixels.
    #[must_use]
    pub fn scrolled(self, pixels: f64) -> Self {
        Self { left: self.left + pixels / self.scale, ..self }.settled()
    }

    /// The view that begins at an instant, as far as the line's ends allow.
    #[must_use]
    pub fn starting_at(self, time: Seconds) -> Self {
        Self { left: time.value(), ..self }.settled()
    }

    /// The same view in another width.
    #[must_use]
    pub fn resized(self, width: f64) -> Self {
        let whole = self.scale <= self.farthest() * 1.000_001;
        let axis = Self { width: width.max(1.0), ..self };
        if whole { Self { scale: 0.0, ..axis }.settled() } else { axis.settled() }
    }

    /// Brings an instant into view: unmoved where it is already inside, else near the left edge.
    #[must_use]
    pub fn showing(self, time: Seconds) -> Self {
        let x = self.x(time);
        if x >= 0.0 && x <= self.width {
            return self;
        }
        Self { left: time.value() - self.width * 0.1 / self.scale, ..self }.settled()
    }

    /// Shows a span with a little air around it.
    #[must_use]
    pub fn framing(self, start: Seconds, end: Seconds) -> Self {
        let length = (end - start).value().max(0.02);
        let scale = (self.width * 0.8 / length).clamp(self.farthest(), Self::CLOSEST);
        let middle = (start.value() + end.value()) / 2.0;
        Self { scale, left: middle - self.width / (2.0 * scale), ..self }.settled()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_fitted_line_is_seen_whole() {
        let axis = TimeAxis::fitted(Seconds::new(5.0), 1000.0);
        assert_eq!(axis.x(Seconds::ZERO), 0.0);
        assert!(axis.x(Seconds::new(5.0)) <= 1000.0);
    }

    #[test]
    fn resizing_keeps_a_whole_view_whole() {
        let axis = TimeAxis::fitted(Seconds::new(5.0), 1000.0).resized(500.0);
        assert!((axis.x(Seconds::new(5.0)) - 490.0).abs() < 1e-9);
    }

    #[test]
    fn a_stretched_picture_shows_every_instant_in_its_place() {
        let before = TimeAxis::fitted(Seconds::new(60.0), 900.0).zoomed(7.0, 300.0);
        let after = before.zoomed(1.8, 640.0).scrolled(-35.0);
        let (factor, moved) = after.stretch(&before);
        for time in [0.0, 3.3, 17.0, 59.0].map(Seconds::new) {
            assert!((before.x(time) * factor + moved - after.x(time)).abs() < 1e-6);
        }
        assert_eq!(before.stretch(&before), (1.0, 0.0));
    }

    #[test]
    fn showing_and_framing_bring_times_into_view() {
        let axis = TimeAxis::fitted(Seconds::new(60.0), 800.0).zoomed(20.0, 0.0);
        let moved = axis.showing(Seconds::new(40.0));
        assert!((0.0..=800.0).contains(&moved.x(Seconds::new(40.0))));
        let framed = axis.framing(Seconds::new(10.0), Seconds::new(10.2));
        assert!(framed.x(Seconds::new(10.0)) > 0.0 && framed.x(Seconds::new(10.2)) < 800.0);
    }

    proptest! {
        #[test]
        fn time_and_pixels_are_inverse_and_zoom_keeps_its_place(
            duration in 0.05f64..4000.0,
            width in 50.0f64..3000.0,
            about in 0.0f64..1.0,
            factors in prop::collection::vec(0.3f64..4.0, 1..12),
        ) {
            let mut axis = TimeAxis::fitted(Seconds::new(duration), width);
            let about = about * width;
            for factor in factors {
                let before = axis.time(about);
                let next = axis.zoomed(factor, about);
                prop_assert!(next.scale() > 0.0 && next.scale() <= TimeAxis::CLOSEST + 1e-9);
                let (start, end) = next.span();
                prop_assert!(start.value() >= -1e-9);
                // Away from the ends, the instant under the pointer has not moved.
                if start.value() > 1e-6 && end.value() < duration {
                    prop_assert!((next.time(about) - before).abs().value() < 1e-6 * duration.max(1.0));
                }
                let x = next.x(next.time(123.0));
                prop_assert!((x - 123.0).abs() < 1e-6);
                axis = next;
            }
        }
    }
}
