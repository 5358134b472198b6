//! What the planner made of a line, in the form that travels from the worker and is drawn.

use lipwright_core::motion::LimitedBy;
use lipwright_core::rig::{Dof, DofValues};
use lipwright_core::units::{Amps, Degrees, Seconds};
use serde::{Deserialize, Serialize};

/// How a limit travels in a list of bytes: 0 is "not limited".
#[must_use]
pub fn limit_code(limit: Option<LimitedBy>) -> u8 {
    limit.map_or(0, |l| l as u8 + 1)
}

fn limit_of(code: u8) -> Option<LimitedBy> {
    LimitedBy::ALL.get(usize::from(code).checked_sub(1)?).copied()
}

/// Kinds of problems, the weightiest first: by what a viewer notices first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum ProblemKind {
    /// Lips, or lip and teeth, that do not meet.
    Closure,
    /// A tongue that does not touch.
    Tongue,
    /// Skin stretched near its travel.
    Skin,
    /// Current near the budget.
    Current,
    /// Another shape that falls short.
    Shape,
    /// A look that falls short.
    Look,
    /// A blink or a turn of the head that is not done as asked for.
    Event,
    /// A segment that the ear doubted.
    Doubt,
}

impl ProblemKind {
    /// All, the weightiest first.
    pub const ALL: [Self; 8] = [
        Self::Closure,
        Self::Tongue,
        Self::Skin,
        Self::Current,
        Self::Shape,
        Self::Look,
        Self::Event,
        Self::Doubt,
    ];

    /// Name for elements' attributes.
    #[must_use]
    pub const fn id(self) -> &'static str {
        match self {
            Self::Closure => "closure",
            Self::Tongue => "tongue",
            Self::Skin => "skin",
            Self::Current => "current",
            Self::Shape => "shape",
            Self::Look => "look",
            Self::Event => "event",
            Self::Doubt => "doubt",
        }
    }

    /// Name with a count before it.
    #[must_use]
    pub fn counted(self, count: usize) -> String {
        let (one, many) = match self {
            Self::Closure => ("closure", "closures"),
            Self::Tongue => ("tongue contact", "tongue contacts"),
            Self::Skin => ("skin", "skin"),
            Self::Current => ("current", "current"),
            Self::Shape => ("shape", "shapes"),
            Self::Look => ("look", "looks"),
            Self::Event => ("event", "events"),
            Self::Doubt => ("in doubt", "in doubt"),
        };
        format!("{count} {}", if count == 1 { one } else { many })
    }

    /// True for what should touch and does not.
    #[must_use]
    pub const fn is_contact(self) -> bool {
        matches!(self, Self::Closure | Self::Tongue)
    }

    /// True for what is worth a mark on the map of the whole line.
    #[must_use]
    pub const fn stands_out(self) -> bool {
        !matches!(self, Self::Doubt)
    }
}

/// Something the head could not do, as a sentence with its place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Problem {
    /// What kind of thing.
    pub kind: ProblemKind,
    /// How great, beside others of its kind.
    pub size: f64,
    /// Index of the segment that asked for it.
    pub segment: usize,
    /// When.
    #[serde(rename = "time_s")]
    pub time: Seconds,
    /// What was wanted, what was reached, and what the limit was.
    pub sentence: String,
}

/// Sizes and words of a performance; the numbers travel beside it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PerformanceHead {
    /// Time between frames.
    #[serde(rename = "frame_s")]
    pub frame: Seconds,
    /// Line time of frame 0 (not after 0).
    #[serde(rename = "start_s")]
    pub start: Seconds,
    /// How long after it is sent a position shows on the face, against the sound.
    #[serde(rename = "lag_s")]
    pub lag: Seconds,
    /// Number of frames.
    pub frames: usize,
    /// Number of servos.
    pub servos: usize,
    /// What could not be reached, the weightiest first.
    pub problems: Vec<Problem>,
    /// How much of the line the head does, 0..=100.
    pub score: f64,
    /// The plan in one sentence.
    pub summary: String,
    /// Greatest estimated current of all servos together.
    #[serde(rename = "peak_a")]
    pub peak: Amps,
    /// Mean estimated current.
    #[serde(rename = "mean_a")]
    pub mean: Amps,
}

/// Planned motion of every servo over a line.
///
/// What always holds: `wanted`, `planned` and `limited` hold `servos` runs of `frames` values;
/// `face` holds `frames` runs of one value per DOF.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Performance {
    head: PerformanceHead,
    wanted: Vec<f32>,
    planned: Vec<f32>,
    face: Vec<f32>,
    limited: Vec<u8>,
}

impl Performance {
    /// Puts a performance together; `None` where the sizes do not fit.
    #[must_use]
    pub fn new(
        head: PerformanceHead,
        wanted: Vec<f32>,
        planned: Vec<f32>,
        face: Vec<f32>,
        limited: Vec<u8>,
    ) -> Option<Self> {
        let n = head.frames.checked_mul(head.servos)?;
        let fits = wanted.len() == n
            && planned.len() == n
            && limited.len() == n
            && face.len() == head.frames.checked_mul(Dof::COUNT)?
            && head.frame.value() > 0.0;
        fits.then_some(Self { head, wanted, planned, face, limited })
    }

    /// Splits one run of numbers (wanted, planned, face one after the other) as the worker sends it.
    #[must_use]
    pub fn from_parts(head: PerformanceHead, mut numbers: Vec<f32>, limited: Vec<u8>) -> Option<Self> {
        let n = head.frames.checked_mul(head.servos)?;
        if numbers.len() < 2 * n {
            return None;
        }
        let face = numbers.split_off(2 * n);
        let planned = numbers.split_off(n);
        Self::new(head, numbers, planned, face, limited)
    }

    /// The head, all numbers in one run, and the limit codes: what [`Performance::from_parts`] takes.
    #[must_use]
    pub fn into_parts(self) -> (PerformanceHead, Vec<f32>, Vec<u8>) {
        let mut numbers = self.wanted;
        numbers.extend(self.planned);
        numbers.extend(self.face);
        (self.head, numbers, self.limited)
    }

    /// Sizes and words.
    #[must_use]
    pub fn head(&self) -> &PerformanceHead {
        &self.head
    }

    fn run<'a, T>(&self, values: &'a [T], servo: usize) -> &'a [T] {
        let n = self.head.frames;
        values.get(servo * n..(servo + 1) * n).unwrap_or(&[])
    }

    /// Wanted angle of a servo in every frame, degrees.
    #[must_use]
    pub fn wanted(&self, servo: usize) -> &[f32] {
        self.run(&self.wanted, servo)
    }

    /// Planned angle of a servo in every frame, degrees.
    #[must_use]
    pub fn planned(&self, servo: usize) -> &[f32] {
        self.run(&self.planned, servo)
    }

    /// What limited a servo in a frame.
    #[must_use]
    pub fn limited(&self, servo: usize, frame: usize) -> Option<LimitedBy> {
        self.run(&self.limited, servo).get(frame).copied().and_then(limit_of)
    }

    /// Line time of a frame.
    #[must_use]
    pub fn time_of(&self, frame: usize) -> Seconds {
        self.head.start + self.head.frame * frame as f64
    }

    /// The frame at or before a time, and how far on to the next (0..1).
    fn place(&self, time: Seconds) -> Option<(usize, f64)> {
        let last = self.head.frames.checked_sub(1)?;
        let at = ((time - self.head.start) / self.head.frame).clamp(0.0, last as f64);
        let frame = (at.floor() as usize).min(last.saturating_sub(1));
        Some((frame, at - frame as f64))
    }

    /// Every servo's angle at a time: the controller plays straight lines between frames.
    #[must_use]
    pub fn angles_at(&self, time: Seconds) -> Vec<Degrees> {
        (0..self.head.servos).filter_map(|servo| self.angle_at(servo, time)).collect()
    }

    /// One servo's angle at a time.
    #[must_use]
    pub fn angle_at(&self, servo: usize, time: Seconds) -> Option<Degrees> {
        let (frame, part) = self.place(time)?;
        let run = self.planned(servo);
        let a = f64::from(*run.get(frame)?);
        let b = f64::from(run.get(frame + 1).copied().unwrap_or(run[frame]));
        Some(Degrees::new(a + (b - a) * part))
    }

    /// The wanted face at a time.
    #[must_use]
    pub fn wanted_face_at(&self, time: Seconds) -> DofValues {
        let mut values = DofValues::default();
        if let Some((frame, part)) = self.place(time) {
            let row = |f: usize| &self.face[f * Dof::COUNT..(f + 1) * Dof::COUNT];
            let a = row(frame);
            let b = if frame + 1 < self.head.frames { row(frame + 1) } else { a };
            for (i, dof) in Dof::ALL.into_iter().enumerate() {
                values[dof] = f64::from(a[i]) + f64::from(b[i] - a[i]) * part;
            }
        }
        values
    }

    /// Number of frames in which a servo was limited.
    #[must_use]
    pub fn limited_frames(&self, servo: usize) -> usize {
        self.run(&self.limited, servo).iter().filter(|c| **c != 0).count()
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    pub(crate) fn ramp() -> Performance {
        let head = PerformanceHead {
            frame: Seconds::new(0.1),
            start: Seconds::new(-0.1),
            frames: 3,
            servos: 1,
            ..PerformanceHead::default()
        };
        let face = (0..3 * Dof::COUNT).map(|i| (i / Dof::COUNT) as f32).collect();
        Performance::new(head, vec![0.0, 2.0, 4.0], vec![0.0, 1.0, 2.0], face, vec![0, 2, 0])
            .expect("sizes fit")
    }

    #[test]
    fn plays_straight_lines_and_holds_the_ends() {
        let p = ramp();
        let at = |t: f64| p.angles_at(Seconds::new(t))[0].value();
        assert_eq!((at(-5.0), at(0.0), at(9.0)), (0.0, 1.0, 2.0));
        assert!((at(0.05) - 1.5).abs() < 1e-6);
        assert!((p.wanted_face_at(Seconds::new(-0.05))[Dof::JawOpen] - 0.5).abs() < 1e-6);
        assert_eq!(p.limited(0, 1), Some(LimitedBy::Speed));
        assert_eq!(p.limited(7, 1), None);
    }

    #[test]
    fn sizes_that_do_not_fit_are_refused() {
        let p = ramp();
        assert_eq!(Performance::new(p.head.clone(), vec![], vec![], vec![], vec![]), None);
        let mut numbers = p.wanted.clone();
        numbers.extend(&p.planned);
        numbers.extend(&p.face);
        assert_eq!(Performance::from_parts(p.head.clone(), numbers, p.limited.clone()), Some(p));
    }
}
