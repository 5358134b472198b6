//! The two forms in which keyframes are played, at the controller's frames.
//!
//! Between keyframes `(a, p)` and `(b, q)`, at frame `t`, with `u = (t − a)/(b − a)`:
//!
//! ```text
//! linear   p + u (q − p)
//! smooth   (1 + 2u)(1 − u)² p + u (1 − u)² (b − a) m  +  u² (3 − 2u) q + u² (u − 1) (b − a) k
//! ```
//!
//! m and k are the slopes at the two keyframes, µs per frame: the cubic Hermite form (C. de Boor, *A
//! Practical Guide to Splines*, ch. IV). The controller evaluates either form at its frames and draws
//! straight lines from frame to frame, which is what speed, acceleration and the face are judged by.

/// In which form keyframes are played.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum KeyframeForm {
    /// Straight lines from keyframe to keyframe.
    #[default]
    Linear,
    /// Cubic curves with a slope at every keyframe.
    Smooth,
}

/// Slope of the plan at a frame: half the way from the frame before to the frame after, µs per frame; 0
/// at the ends. Pulses are multiples of 0.1 µs, so slopes are multiples of 0.05.
pub(super) fn slope(pulses: &[f64], t: usize) -> f64 {
    if t == 0 || t + 1 >= pulses.len() {
        return 0.0;
    }
    // As files hold it.
    (10.0 * (pulses[t + 1] - pulses[t - 1])).round() / 20.0
}

/// One stretch from keyframe `a` to keyframe `b`, in either form.
#[derive(Clone, Copy)]
pub(super) struct Stretch {
    start: f64,
    length: f64,
    ends: [f64; 2],
    /// Slopes times length; none for a straight line.
    slopes: Option<[f64; 2]>,
}

impl Stretch {
    pub(super) fn new(pulses: &[f64], a: usize, b: usize, form: KeyframeForm) -> Self {
        let length = (b - a) as f64;
        let slopes = [slope(pulses, a) * length, slope(pulses, b) * length];
        Self {
            start: a as f64,
            length,
            ends: [pulses[a], pulses[b]],
            slopes: (form == KeyframeForm::Smooth).then_some(slopes),
        }
    }

    pub(super) fn at(&self, t: usize) -> f64 {
        let u = (t as f64 - self.start) / self.length;
        let [p, q] = self.ends;
        let Some([m, k]) = self.slopes else { return p + u * (q - p) };
        let v = 1.0 - u;
        // The weights of both pulses sum to 1: written so that a hold is exactly one.
        p + u * u * (3.0 - 2.0 * u) * (q - p) + u * v * v * m - u * u * v * k
    }
}

/// Pulses at every frame that keyframes at the frames `chosen` play.
pub(super) fn played(pulses: &[f64], chosen: &[usize], form: KeyframeForm) -> Vec<f64> {
    let mut out = Vec::with_capacity(pulses.len());
    for pair in chosen.windows(2) {
        let stretch = Stretch::new(pulses, pair[0], pair[1], form);
        out.push(pulses[pair[0]]);
        out.extend((pair[0] + 1..pair[1]).map(|t| stretch.at(t)));
    }
    out.extend(chosen.last().map(|&t| pulses[t]));
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Half the way from neighbour to neighbour, to a twentieth; the ends stand still.
    #[test]
    fn slopes_are_half_the_way_between_neighbours() {
        let pulses = [1500.0, 1500.1, 1500.3, 1503.0, 1490.0];
        let slopes: Vec<f64> = (0..5).map(|t| slope(&pulses, t)).collect();
        assert_eq!(slopes, [0.0, 0.15, 1.45, -5.15, 0.0]);
    }
}
