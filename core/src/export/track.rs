//! The servo track: what the head's controller plays.

use super::fixed::{self, LONGEST_PULSE_US};
use super::{TrackError, rig_fingerprint};
use crate::rig::Rig;
use crate::units::{Microseconds, Seconds};

/// Longest track, in frames: eleven hours at 20 ms.
pub const MAX_FRAMES: usize = 2_000_000;
/// Most servos in a track.
pub const MAX_SERVOS: usize = 256;

/// Where a track comes from.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct TrackMeta {
    /// Name of the line.
    pub line: String,
    /// File name of the recording.
    pub audio_name: String,
    /// SHA-256 of the recording's bytes, lower-case hex; empty where unknown.
    pub audio_sha256: String,
}

/// A knot: the pulse at a frame; between knots the pulse runs straight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Knot {
    /// Frame number.
    pub frame: usize,
    /// Pulse there.
    pub pulse: Microseconds,
}

/// A knot of the smooth form: the pulse at a frame, and how it changes there. Between two knots
/// `(a, p, m)` and `(b, q, k)` the pulse at frame t, with `u = (t − a)/(b − a)`, is the cubic
/// `(1 + 2u)(1 − u)² p + u (1 − u)² (b − a) m + u² (3 − 2u) q − u² (1 − u) (b − a) k`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SmoothKnot {
    /// Frame number.
    pub frame: usize,
    /// Pulse there.
    pub pulse: Microseconds,
    /// Slope there, µs per frame; held to 0.01.
    pub slope: Microseconds,
}

/// Timed pulses for every servo of one rig, with a resolution of 0.1 µs.
///
/// Always: a whole number of microseconds per frame, 2 to [`MAX_FRAMES`] frames, 1 to [`MAX_SERVOS`]
/// servos with different names; in dense form one pulse per frame and servo, in keyed and smooth form
/// knots at strictly rising frames from the first frame to the last.
#[derive(Clone, Debug, PartialEq)]
pub struct ServoTrack {
    pub(super) meta: TrackMeta,
    pub(super) rig_name: String,
    pub(super) rig_sha256: String,
    pub(super) frame_us: i64,
    pub(super) start_us: i64,
    pub(super) frames: usize,
    pub(super) servos: Vec<TrackServo>,
}

/// One servo of a track.
#[derive(Clone, Debug, PartialEq)]
pub struct TrackServo {
    /// Name, as in the rig.
    pub name: String,
    /// Board and channel; none where the file does not say (CSV).
    pub output: Option<Output>,
    pub(super) motion: Motion,
}

/// Where a servo hangs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Output {
    /// Board.
    pub controller: String,
    /// Channel of that board.
    pub channel: u8,
}

/// Pulses in tenths of a microsecond; slopes in hundredths of a microsecond per frame.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Motion {
    Dense(Vec<u32>),
    Keyed(Vec<(usize, u32)>),
    Smooth(Vec<(usize, u32, i32)>),
}

impl ServoTrack {
    /// A track with a pulse for every frame: `pulses[servo][frame]`, servos in the rig's order.
    ///
    /// Pulses are rounded to 0.1 µs and `start` to 1 µs.
    ///
    /// # Errors
    /// Where counts, the frame length or a pulse do not fit; see [`TrackError`].
    pub fn dense(
        rig: &Rig,
        meta: TrackMeta,
        frame: Seconds,
        start: Seconds,
        pulses: &[Vec<Microseconds>],
    ) -> Result<Self, TrackError> {
        let frames = pulses.first().map_or(0, Vec::len);
        let motion = |name: &str, column: &Vec<Microseconds>| {
            let rounded = column.iter().enumerate().map(|(i, pulse)| rounded(name, i, *pulse));
            Ok(Motion::Dense(rounded.collect::<Result<_, _>>()?))
        };
        Self::build(rig, meta, frame, start, frames, pulses, motion)
    }

    /// A track of knots: `knots[servo]`, servos in the rig's order, played by linear interpolation.
    ///
    /// # Errors
    /// As [`ServoTrack::dense`], and where knots do not run from frame 0 to the last one.
    pub fn keyed(
        rig: &Rig,
        meta: TrackMeta,
        frame: Seconds,
        start: Seconds,
        frames: usize,
        knots: &[Vec<Knot>],
    ) -> Result<Self, TrackError> {
        let motion = |name: &str, column: &Vec<Knot>| {
            let rounded = column.iter().map(|k| Ok((k.frame, rounded(name, k.frame, k.pulse)?)));
            Ok(Motion::Keyed(rounded.collect::<Result<_, _>>()?))
        };
        Self::build(rig, meta, frame, start, frames, knots, motion)
    }

    /// A track of knots with slopes: `knots[servo]`, servos in the rig's order, played as cubic curves.
    ///
    /// # Errors
    /// As [`ServoTrack::keyed`], and where a slope is no number or steeper than any pulse.
    pub fn smooth(
        rig: &Rig,
        meta: TrackMeta,
        frame: Seconds,
        start: Seconds,
        frames: usize,
        knots: &[Vec<SmoothKnot>],
    ) -> Result<Self, TrackError> {
        let motion = |name: &str, column: &Vec<SmoothKnot>| {
            let rounded = column.iter().map(|k| {
                Ok((k.frame, rounded(name, k.frame, k.pulse)?, fixed::checked_slope(name, k.slope.value())?))
            });
            Ok(Motion::Smooth(rounded.collect::<Result<_, _>>()?))
        };
        Self::build(rig, meta, frame, start, frames, knots, motion)
    }

    fn build<T>(
        rig: &Rig,
        meta: TrackMeta,
        frame: Seconds,
        start: Seconds,
        frames: usize,
        columns: &[T],
        motion: impl Fn(&str, &T) -> Result<Motion, TrackError>,
    ) -> Result<Self, TrackError> {
        if columns.len() != rig.servos().len() {
            return Err(TrackError::field(
                "servos",
                format!("{} columns for a rig of {} servos", columns.len(), rig.servos().len()),
                "give one column per servo of the rig, in its order",
            ));
        }
        let frame_us = fixed::scaled(frame.value(), 6).ok_or_else(|| {
            TrackError::field(
                "frame",
                format!("is {frame}"),
                "give a whole number of microseconds, usually 0.02 s",
            )
        })?;
        let start_us = start.value() * 1e6;
        if !(start_us.abs() < 1e12) {
            return Err(TrackError::field(
                "start",
                format!("is {start}"),
                "give the time of the first frame",
            ));
        }
        let servos = rig.servos().iter().zip(columns).map(|(servo, column)| {
            Ok(TrackServo {
                name: servo.name.clone(),
                output: Some(Output { controller: servo.controller.clone(), channel: servo.channel }),
                motion: motion(&servo.name, column)?,
            })
        });
        Self {
            meta,
            rig_name: rig.name().to_owned(),
            rig_sha256: rig_fingerprint(rig),
            frame_us,
            start_us: start_us.round() as i64,
            frames,
            servos: servos.collect::<Result<_, _>>()?,
        }
        .checked()
    }

    /// Holds a track, however it was made, to what the type promises.
    pub(super) fn checked(self) -> Result<Self, TrackError> {
        if !(1..=10_000_000).contains(&self.frame_us) {
            let problem = format!("is {} us", self.frame_us);
            return Err(TrackError::field("frame", problem, "give 1 us to 10 s, usually 20 ms"));
        }
        if !(2..=MAX_FRAMES).contains(&self.frames) {
            let problem = format!("are {}", self.frames);
            return Err(TrackError::field("frames", problem, "give 2 to 2000000 frames"));
        }
        if self.servos.is_empty() || self.servos.len() > MAX_SERVOS {
            let problem = format!("are {}", self.servos.len());
            return Err(TrackError::field("servos", problem, "give 1 to 256 servos"));
        }
        let mut names = std::collections::HashSet::new();
        for servo in &self.servos {
            let at = || format!("servo \"{}\"", servo.name);
            if !names.insert(&servo.name) {
                return Err(TrackError::field(at(), "stands there twice", "give each servo one column"));
            }
            match &servo.motion {
                Motion::Dense(pulses) if pulses.len() != self.frames => {
                    let problem = format!("has {} pulses for {} frames", pulses.len(), self.frames);
                    return Err(TrackError::field(at(), problem, "give one pulse per frame"));
                }
                Motion::Keyed(_) | Motion::Smooth(_) => {
                    let frames: Vec<usize> = servo.motion.knot_frames().collect();
                    let rising = frames.windows(2).all(|w| w[0] < w[1]);
                    let whole = frames.first() == Some(&0) && frames.last() == Some(&(self.frames - 1));
                    if !(rising && whole) {
                        return Err(TrackError::field(
                            at(),
                            "has knots that do not run from frame 0 to the last frame",
                            "give knots at strictly rising frames, the first at 0 and the last at frames - 1",
                        ));
                    }
                }
                Motion::Dense(_) => {}
            }
        }
        Ok(self)
    }

    /// Where it comes from.
    #[must_use]
    pub fn meta(&self) -> &TrackMeta {
        &self.meta
    }

    /// Name of the rig it was planned for; empty where the file does not say.
    #[must_use]
    pub fn rig_name(&self) -> &str {
        &self.rig_name
    }

    /// [`rig_fingerprint`] of that rig; empty where the file does not say.
    #[must_use]
    pub fn rig_sha256(&self) -> &str {
        &self.rig_sha256
    }

    /// Length of a frame.
    #[must_use]
    pub fn frame(&self) -> Seconds {
        Seconds::new(self.frame_us as f64 / 1e6)
    }

    /// Time of the first frame on the recording's axis; negative before the sound starts.
    #[must_use]
    pub fn start(&self) -> Seconds {
        Seconds::new(self.start_us as f64 / 1e6)
    }

    /// Number of frames.
    #[must_use]
    pub fn frames(&self) -> usize {
        self.frames
    }

    /// Time of a frame on the recording's axis.
    #[must_use]
    pub fn time_of(&self, frame: usize) -> Seconds {
        Seconds::new((self.start_us as f64 + self.frame_us as f64 * frame as f64) / 1e6)
    }

    /// Its servos.
    #[must_use]
    pub fn servos(&self) -> &[TrackServo] {
        &self.servos
    }

    /// The boards its servos hang on, in order of first appearance; none where the file does not say.
    #[must_use]
    pub fn controllers(&self) -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        for output in self.servos.iter().filter_map(|s| s.output.as_ref()) {
            if !names.contains(&output.controller.as_str()) {
                names.push(&output.controller);
            }
        }
        names
    }

    /// The part of the track that one board plays: same clock, same frames, its servos only. None
    /// where no servo hangs on it. Verify the whole track before taking it apart: limits between
    /// servos of different boards cannot be seen in a part.
    #[must_use]
    pub fn for_controller(&self, controller: &str) -> Option<Self> {
        let on_it = |s: &&TrackServo| s.output.as_ref().is_some_and(|o| o.controller == controller);
        let servos: Vec<TrackServo> = self.servos.iter().filter(on_it).cloned().collect();
        (!servos.is_empty()).then(|| Self { servos, ..self.clone() })
    }

    /// Joins the parts of several boards again.
    ///
    /// # Errors
    /// Where the parts have another clock, rig or recording, or share a servo.
    pub fn joined(parts: &[Self]) -> Result<Self, TrackError> {
        let Some((first, others)) = parts.split_first() else {
            return Err(TrackError::field("parts", "are none", "give the tracks of all boards"));
        };
        let mut whole = first.clone();
        for part in others {
            let same = (part.frame_us, part.start_us, part.frames)
                == (first.frame_us, first.start_us, first.frames)
                && part.rig_sha256 == first.rig_sha256
                && part.meta == first.meta;
            if !same {
                return Err(TrackError::field(
                    "parts",
                    "differ in frame, start, length, rig or recording",
                    "give the tracks that one export made for all boards",
                ));
            }
            whole.servos.extend(part.servos.iter().cloned());
        }
        whole.checked()
    }

    /// True where it holds knots rather than a pulse per frame.
    #[must_use]
    pub fn is_keyed(&self) -> bool {
        self.servos.iter().any(|s| !matches!(s.motion, Motion::Dense(_)))
    }

    /// True where knots have slopes, so that a player draws curves between them.
    #[must_use]
    pub fn is_smooth(&self) -> bool {
        self.servos.iter().any(|s| matches!(s.motion, Motion::Smooth(_)))
    }
}

impl Motion {
    /// Frames of the knots; none in dense form.
    pub(super) fn knot_frames(&self) -> impl Iterator<Item = usize> + '_ {
        let (keyed, smooth) = match self {
            Self::Dense(_) => (&[][..], &[][..]),
            Self::Keyed(knots) => (knots.as_slice(), &[][..]),
            Self::Smooth(knots) => (&[][..], knots.as_slice()),
        };
        keyed.iter().map(|k| k.0).chain(smooth.iter().map(|k| k.0))
    }
}

impl TrackServo {
    /// Its pulses, frame by frame, interpolated where it holds knots.
    pub fn pulses(&self) -> impl Iterator<Item = Microseconds> + '_ {
        let (dense, keyed, smooth) = match &self.motion {
            Motion::Dense(pulses) => (pulses.as_slice(), &[][..], &[][..]),
            Motion::Keyed(knots) => (&[][..], knots.as_slice(), &[][..]),
            Motion::Smooth(knots) => (&[][..], &[][..], knots.as_slice()),
        };
        let straight = keyed.windows(2).flat_map(|w| {
            let ((f0, p0), (f1, p1)) = (w[0], w[1]);
            let (p0, p1) = (fixed::pulse(p0), fixed::pulse(p1));
            (f0..f1).map(move |f| p0 + (p1 - p0) * ((f - f0) as f64 / (f1 - f0) as f64))
        });
        let curved = smooth.windows(2).flat_map(|w| {
            let (f0, length, powers) = (w[0].0, (w[1].0 - w[0].0) as f64, powers(w[0], w[1]));
            (f0..w[1].0).map(move |f| {
                let u = (f - f0) as f64 / length;
                Microseconds::new(((powers[3] * u + powers[2]) * u + powers[1]) * u + powers[0])
            })
        });
        let last = keyed.last().map(|k| k.1).or(smooth.last().map(|k| k.1)).map(fixed::pulse);
        dense.iter().map(|p| fixed::pulse(*p)).chain(straight).chain(curved).chain(last)
    }

    /// Number of its knots; 0 in a dense track.
    #[must_use]
    pub fn knot_count(&self) -> usize {
        self.motion.knot_frames().count()
    }

    /// Its knots with slopes; none in another form.
    #[must_use]
    pub fn smooth_knots(&self) -> Option<Vec<SmoothKnot>> {
        let Motion::Smooth(knots) = &self.motion else { return None };
        let knot = |&(frame, pulse, slope): &(usize, u32, i32)| SmoothKnot {
            frame,
            pulse: fixed::pulse(pulse),
            slope: fixed::slope(slope),
        };
        Some(knots.iter().map(knot).collect())
    }

    /// Its knots between which it runs straight; none in another form.
    #[must_use]
    pub fn knots(&self) -> Option<Vec<Knot>> {
        match &self.motion {
            Motion::Dense(_) | Motion::Smooth(_) => None,
            Motion::Keyed(knots) => {
                Some(knots.iter().map(|(frame, p)| Knot { frame: *frame, pulse: fixed::pulse(*p) }).collect())
            }
        }
    }
}

fn rounded(name: &str, frame: usize, pulse: Microseconds) -> Result<u32, TrackError> {
    fixed::round_pulse(pulse).ok_or_else(|| {
        TrackError::field(
            format!("servo \"{name}\", frame {frame}"),
            format!("is {pulse}, not a pulse from 0 to {LONGEST_PULSE_US} us"),
            "plan the line again",
        )
    })
}

/// The cubic between two knots by powers of u: constant first.
fn powers(a: (usize, u32, i32), b: (usize, u32, i32)) -> [f64; 4] {
    let length = (b.0 - a.0) as f64;
    let (p, q) = (fixed::pulse(a.1).value(), fixed::pulse(b.1).value());
    let (m, k) = (fixed::slope(a.2).value() * length, fixed::slope(b.2).value() * length);
    [p, m, 3.0 * (q - p) - 2.0 * m - k, 2.0 * (p - q) + m + k]
}
