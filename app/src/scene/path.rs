//! Paths, points, and the change from one drawing's own units to pixels.

/// A point; in a [`Path`] on its way to the painter, in logical pixels.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Point {
    /// To the right.
    pub x: f64,
    /// Down.
    pub y: f64,
}

/// Shorthand for a point.
#[must_use]
pub const fn pt(x: f64, y: f64) -> Point {
    Point { x, y }
}

impl Point {
    /// The point part of the way to another.
    #[must_use]
    pub fn towards(self, other: Self, part: f64) -> Self {
        pt(self.x + (other.x - self.x) * part, self.y + (other.y - self.y) * part)
    }
}

/// One piece of a path.
#[derive(Clone, Copy, Debug, PartialEq)]
#[allow(missing_docs)]
pub enum Piece {
    Move(Point),
    Line(Point),
    Cubic(Point, Point, Point),
    Close,
}

/// A sequence of lines and cubic curves.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Path(Vec<Piece>);

impl Path {
    /// An empty path.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// The pieces in order.
    #[must_use]
    pub fn pieces(&self) -> &[Piece] {
        &self.0
    }

    /// Starts a new run of pieces.
    #[must_use]
    pub fn start(mut self, at: Point) -> Self {
        self.0.push(Piece::Move(at));
        self
    }

    /// A straight line.
    #[must_use]
    pub fn to(mut self, at: Point) -> Self {
        self.0.push(Piece::Line(at));
        self
    }

    /// A cubic curve.
    #[must_use]
    pub fn curve(mut self, a: Point, b: Point, end: Point) -> Self {
        self.0.push(Piece::Cubic(a, b, end));
        self
    }

    /// Closes the run.
    #[must_use]
    pub fn close(mut self) -> Self {
        self.0.push(Piece::Close);
        self
    }

    /// Adds another path.
    #[must_use]
    pub fn with(mut self, other: Self) -> Self {
        self.0.extend(other.0);
        self
    }

    /// A straight line from one point to another.
    #[must_use]
    pub fn segment(from: Point, to: Point) -> Self {
        Self::new().start(from).to(to)
    }

    /// A rectangle.
    #[must_use]
    pub fn rect(x: f64, y: f64, width: f64, height: f64) -> Self {
        Self::new()
            .start(pt(x, y))
            .to(pt(x + width, y))
            .to(pt(x + width, y + height))
            .to(pt(x, y + height))
            .close()
    }

    /// A rectangle with round corners.
    #[must_use]
    pub fn rounded(x: f64, y: f64, width: f64, height: f64, radius: f64) -> Self {
        let r = radius.min(width / 2.0).min(height / 2.0).max(0.0);
        let k = r * (1.0 - ARC);
        let (x1, y1) = (x + width, y + height);
        Self::new()
            .start(pt(x + r, y))
            .to(pt(x1 - r, y))
            .curve(pt(x1 - k, y), pt(x1, y + k), pt(x1, y + r))
            .to(pt(x1, y1 - r))
            .curve(pt(x1, y1 - k), pt(x1 - k, y1), pt(x1 - r, y1))
            .to(pt(x + r, y1))
            .curve(pt(x + k, y1), pt(x, y1 - k), pt(x, y1 - r))
            .to(pt(x, y + r))
            .curve(pt(x, y + k), pt(x + k, y), pt(x + r, y))
            .close()
    }

    /// An ellipse.
    #[must_use]
    pub fn ellipse(centre: Point, rx: f64, ry: f64) -> Self {
        let (kx, ky) = (rx * ARC, ry * ARC);
        let Point { x, y } = centre;
        Self::new()
            .start(pt(x + rx, y))
            .curve(pt(x + rx, y + ky), pt(x + kx, y + ry), pt(x, y + ry))
            .curve(pt(x - kx, y + ry), pt(x - rx, y + ky), pt(x - rx, y))
            .curve(pt(x - rx, y - ky), pt(x - kx, y - ry), pt(x, y - ry))
            .curve(pt(x + kx, y - ry), pt(x + rx, y - ky), pt(x + rx, y))
            .close()
    }

    /// Straight lines through points.
    #[must_use]
    pub fn polyline(points: &[Point]) -> Self {
        let mut path = Self::new();
        for (i, p) in points.iter().enumerate() {
            path.0.push(if i == 0 { Piece::Move(*p) } else { Piece::Line(*p) });
        }
        path
    }

    /// A smooth open curve through points (centripetal in spirit: Catmull-Rom with tangents
    /// limited by the shorter neighbour, so that it does not loop where points crowd).
    #[must_use]
    pub fn smooth(points: &[Point]) -> Self {
        let Some((first, _)) = points.split_first() else { return Self::new() };
        Self::new().start(*first).smooth_on(points)
    }

    /// Goes on smoothly through `points`, of which the first is where the path already stands.
    #[must_use]
    pub fn smooth_on(mut self, points: &[Point]) -> Self {
        let n = points.len();
        let tangent = |i: usize| -> Point {
            if i == 0 || i + 1 >= n {
                return pt(0.0, 0.0);
            }
            let (a, b, c) = (points[i - 1], points[i], points[i + 1]);
            let len = |p: Point, q: Point| (q.x - p.x).hypot(q.y - p.y);
            let (before, after, whole) = (len(a, b), len(b, c), len(a, c));
            if whole < 1e-9 {
                return pt(0.0, 0.0);
            }
            let reach = before.min(after) / whole;
            pt((c.x - a.x) * reach, (c.y - a.y) * reach)
        };
        for i in 1..n {
            let (p, q) = (points[i - 1], points[i]);
            let (mut t0, mut t1) = (tangent(i - 1), tangent(i));
            // Ends leave straight towards their neighbour's control point.
            if i == 1 {
                t0 = pt((q.x - t1.x / 3.0 - p.x) * 1.2, (q.y - t1.y / 3.0 - p.y) * 1.2);
            }
            if i + 1 == n {
                t1 = pt((q.x - p.x - t0.x / 3.0) * 1.2, (q.y - p.y - t0.y / 3.0) * 1.2);
            }
            let a = pt(p.x + t0.x / 3.0, p.y + t0.y / 3.0);
            let b = pt(q.x - t1.x / 3.0, q.y - t1.y / 3.0);
            self.0.push(Piece::Cubic(a, b, q));
        }
        self
    }

    /// A smooth closed curve through points.
    #[must_use]
    pub fn blob(points: &[Point]) -> Self {
        let n = points.len();
        if n < 3 {
            return Self::polyline(points);
        }
        let at = |i: usize| points[i % n];
        let mut path = Self::new().start(points[0]);
        for i in 0..n {
            let (o, p, q, r) = (at(i + n - 1), at(i), at(i + 1), at(i + 2));
            let a = pt(p.x + (q.x - o.x) / 6.0, p.y + (q.y - o.y) / 6.0);
            let b = pt(q.x - (r.x - p.x) / 6.0, q.y - (r.y - p.y) / 6.0);
            path = path.curve(a, b, q);
        }
        path.close()
    }

    /// The same path seen through a frame.
    #[must_use]
    pub fn through(&self, frame: &Frame) -> Self {
        Self(
            self.0
                .iter()
                .map(|piece| match *piece {
                    Piece::Move(p) => Piece::Move(frame.map(p)),
                    Piece::Line(p) => Piece::Line(frame.map(p)),
                    Piece::Cubic(a, b, p) => Piece::Cubic(frame.map(a), frame.map(b), frame.map(p)),
                    Piece::Close => Piece::Close,
                })
                .collect(),
        )
    }

    /// The path as the `d` attribute of an SVG path, to a hundredth of a pixel.
    #[must_use]
    pub fn to_svg(&self) -> String {
        use std::fmt::Write;
        let mut d = String::with_capacity(self.0.len() * 24);
        for piece in &self.0 {
            // Writing to a string cannot fail.
            let _ = match piece {
                Piece::Move(p) => write!(d, "M{:.2} {:.2}", p.x, p.y),
                Piece::Line(p) => write!(d, "L{:.2} {:.2}", p.x, p.y),
                Piece::Cubic(a, b, p) => {
                    write!(d, "C{:.2} {:.2} {:.2} {:.2} {:.2} {:.2}", a.x, a.y, b.x, b.y, p.x, p.y)
                }
                Piece::Close => write!(d, "Z"),
            };
        }
        d
    }

    /// True if every coordinate is a finite number.
    #[must_use]
    pub fn is_finite(&self) -> bool {
        let ok = |p: &Point| p.x.is_finite() && p.y.is_finite();
        self.0.iter().all(|piece| match piece {
            Piece::Move(p) | Piece::Line(p) => ok(p),
            Piece::Cubic(a, b, p) => ok(a) && ok(b) && ok(p),
            Piece::Close => true,
        })
    }
}

/// Control length of a quarter circle of radius 1 drawn as a cubic curve.
const ARC: f64 = 0.552_284_75;

/// The change from a drawing's own units (millimetres of the face) to logical pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    /// Where the drawing's origin lies.
    pub origin: Point,
    /// Pixels per unit.
    pub scale: f64,
}

impl Frame {
    /// The point in pixels.
    #[must_use]
    pub fn map(&self, p: Point) -> Point {
        pt(self.origin.x + p.x * self.scale, self.origin.y + p.y * self.scale)
    }

    /// Fits a box of the drawing (left, top, width, height) into pixels, centred, whole.
    #[must_use]
    pub fn fit(inside: (f64, f64, f64, f64), width: f64, height: f64) -> Self {
        let (x, y, w, h) = inside;
        let scale = (width / w).min(height / h).max(0.0);
        let origin = pt(width / 2.0 - (x + w / 2.0) * scale, height / 2.0 - (y + h / 2.0) * scale);
        Self { origin, scale }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_frame_centres_its_box() {
        let frame = Frame::fit((-10.0, 0.0, 20.0, 10.0), 200.0, 200.0);
        assert_eq!(frame.scale, 10.0);
        assert_eq!(frame.map(pt(0.0, 5.0)), pt(100.0, 100.0));
    }

    #[test]
    fn smooth_curves_pass_through_their_points_even_where_points_coincide() {
        let points = [pt(0.0, 0.0), pt(5.0, 5.0), pt(5.0, 5.0), pt(10.0, 0.0)];
        let path = Path::smooth(&points);
        assert!(path.is_finite());
        let ends: Vec<Point> = path
            .pieces()
            .iter()
            .filter_map(|p| match p {
                Piece::Move(p) | Piece::Line(p) | Piece::Cubic(_, _, p) => Some(*p),
                Piece::Close => None,
            })
            .collect();
        assert_eq!(ends, points);
    }

    #[test]
    fn svg_speaks_the_path() {
        assert_eq!(Path::segment(pt(0.0, 1.0), pt(2.5, 3.0)).to_svg(), "M0.00 1.00L2.50 3.00");
    }
}
