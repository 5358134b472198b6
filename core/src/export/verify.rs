//! The judge: does a track hold every limit of a rig?
//!
//! Written apart from the planner on purpose: it knows only the track and the rig, and checks what
//! the controller will really send. The controller plays straight lines between frames (and between
//! knots), so the checks are:
//!
//! | what | where |
//! |---|---|
//! | the rig, its servos, boards and channels are those of the track | once |
//! | pulse range | every frame |
//! | first and last two frames at the rest pose | those frames |
//! | speed each way | every step between frames |
//! | acceleration: change of speed from one step to the next, over one frame | every frame, the ends included |
//! | skin travel, couplings, linkages closing clear of singular configurations | every frame, thrice between, and where a limited value turns in between |
//! | current: Σ idle + moving · speed / full speed, against the budget | every step |
//!
//! Pulses are judged as written. A face value counts as beyond its limit when it is beyond by more
//! than half a step of the pulse resolution on its servos can move it (some µm): a rest pose that
//! stands on a skin limit must survive being rounded. Speeds, accelerations, currents and pulse
//! ranges get no allowance but floating-point noise.

use super::between::{moments, watched};
use super::{PULSE_RESOLUTION, ServoTrack, TrackServo, rig_fingerprint};
use crate::rig::{Dof, DofValues, KinematicError, Mechanism, Rig, Servo};
use crate::units::{Degrees, Microseconds, Seconds};
use std::collections::HashMap;
use std::fmt;

/// A limit that a track breaks.
#[derive(Clone, Debug, PartialEq)]
pub struct Breach {
    /// Servo, or servos joined by " + " where several make the value.
    pub servo: String,
    /// When it is worst, on the recording's axis.
    pub time: Seconds,
    /// The value there, in the unit of its kind.
    pub value: f64,
    /// The limit it breaks.
    pub limit: f64,
    /// Which limit.
    pub kind: BreachKind,
    /// Over how many frames on end it is broken.
    pub frames: usize,
}

/// Which limit a breach breaks; the unit of value and limit stands beside each.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum BreachKind {
    /// The track was made for a rig with other limits (no value).
    RigDiffers,
    /// The rig has this servo, the track does not (no value).
    ServoMissing,
    /// The track has this servo, the rig does not (no value).
    ServoUnknown,
    /// Another board than the rig's (no value).
    ControllerDiffers,
    /// Another channel than the rig's (channel numbers).
    ChannelDiffers,
    /// Outside the pulse range (µs).
    Travel,
    /// Too fast towards larger angles (deg/s).
    SpeedUp,
    /// Too fast towards smaller angles (deg/s, a magnitude).
    SpeedDown,
    /// Speed changes too fast (deg/s², a magnitude).
    Acceleration,
    /// Not at the rest pose in the first two frames (µs).
    StartNotAtRest,
    /// Not at the rest pose in the last two frames (µs).
    EndNotAtRest,
    /// Beyond what the skin allows (mm or degrees of the face).
    Skin(Dof),
    /// A coupling limit between DOFs (mm).
    Coupling(String),
    /// A linkage that does not close or comes too near a singular configuration (degrees of clearance).
    Linkage(String),
    /// Links in one layer too near each other (mm).
    Collision(String),
    /// All servos together draw more than the budget (A).
    Current,
}

impl fmt::Display for Breach {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { servo, time, value, limit, kind, frames } = self;
        let over = |f: &mut fmt::Formatter<'_>, what: &str, unit: &str| {
            write!(f, "{servo} at {time:.3}: {what} {value:.3}{unit}, limit {limit:.3}{unit}")
        };
        match kind {
            BreachKind::RigDiffers => {
                return write!(f, "{servo}: the track was made for a rig with other limits; plan it again");
            }
            BreachKind::ServoMissing => {
                return write!(f, "{servo}: the rig has this servo, the track does not");
            }
            BreachKind::ServoUnknown => {
                return write!(f, "{servo}: the track has this servo, the rig does not");
            }
            BreachKind::ControllerDiffers => return write!(f, "{servo}: hangs on another board in the rig"),
            BreachKind::ChannelDiffers => {
                return write!(f, "{servo}: channel {value} in the track, {limit} in the rig");
            }
            BreachKind::Travel => over(f, "pulse", " us")?,
            BreachKind::SpeedUp => over(f, "speed up", " deg/s")?,
            BreachKind::SpeedDown => over(f, "speed down", " deg/s")?,
            BreachKind::Acceleration => over(f, "acceleration", " deg/s^2")?,
            BreachKind::StartNotAtRest => over(f, "start pulse", " us")?,
            BreachKind::EndNotAtRest => over(f, "end pulse", " us")?,
            BreachKind::Skin(dof) => over(f, &format!("skin at {dof}"), &format!(" {}", dof.unit()))?,
            BreachKind::Coupling(name) => over(f, &format!("coupling \"{name}\""), " mm")?,
            BreachKind::Linkage(name) => over(f, &format!("clearance of \"{name}\""), " deg")?,
            BreachKind::Collision(name) => over(f, &format!("link distance of \"{name}\""), " mm")?,
            BreachKind::Current => over(f, "current", " A")?,
        }
        if *frames > 1 { write!(f, " (worst of {frames} frames)") } else { Ok(()) }
    }
}

/// What [`verify`] found.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// Every limit broken; stretches on end count as one breach.
    pub breaches: Vec<Breach>,
    /// Frames checked.
    pub frames: usize,
    /// Servos checked.
    pub servos: usize,
    /// Single comparisons with a limit.
    pub comparisons: u64,
    /// Largest current of any step, A.
    pub peak_current: f64,
    /// What could not be checked because the file does not say it.
    pub unchecked: Vec<&'static str>,
}

impl Verdict {
    /// True where no limit is broken.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.breaches.is_empty()
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for breach in &self.breaches {
            writeln!(f, "{breach}")?;
        }
        for what in &self.unchecked {
            writeln!(f, "not checked: {what}")?;
        }
        write!(
            f,
            "{} servos, {} frames, {} comparisons: {} breaches",
            self.servos,
            self.frames,
            self.comparisons,
            self.breaches.len()
        )
    }
}

/// Checks a track against every limit of a rig.
///
/// ```
/// use lipwright_core::export::{ServoTrack, TrackMeta, verify};
/// use lipwright_core::rig::Rig;
/// use lipwright_core::units::{Microseconds, Seconds};
///
/// let rig = Rig::jaw_only();
/// let far = vec![vec![Microseconds::new(2300.0); 10]];
/// let track = ServoTrack::dense(&rig, TrackMeta::default(), Seconds::new(0.02), Seconds::ZERO, &far)?;
/// assert!(!verify(&track, &rig).holds());
/// # Ok::<(), lipwright_core::export::TrackError>(())
/// ```
#[must_use]
pub fn verify(track: &ServoTrack, rig: &Rig) -> Verdict {
    let mut judge = Judge { track, rig, breaches: Vec::new(), open: HashMap::new(), comparisons: 0 };
    let mut unchecked = Vec::new();
    judge.identity(&mut unchecked);
    let columns: Vec<Option<&TrackServo>> =
        rig.servos().iter().map(|s| track.servos().iter().find(|t| t.name == s.name)).collect();
    let peak_current = judge.motion(&columns);
    let Judge { breaches, comparisons, .. } = judge;
    Verdict {
        breaches: breaches.into_iter().map(|b| b.0).collect(),
        frames: track.frames(),
        servos: columns.iter().flatten().count(),
        comparisons,
        peak_current,
        unchecked,
    }
}

struct Judge<'a> {
    track: &'a ServoTrack,
    rig: &'a Rig,
    /// Each with the last frame at which it was seen.
    breaches: Vec<(Breach, usize)>,
    open: HashMap<(String, BreachKind), usize>,
    comparisons: u64,
}

impl Judge<'_> {
    /// Notes a breach, joining it to one of the same kind in the frame before.
    fn note(&mut self, servo: &str, frame: usize, fraction: f64, value: f64, limit: f64, kind: BreachKind) {
        let time = self.track.time_of(frame) + self.track.frame() * fraction;
        let key = (servo.to_owned(), kind.clone());
        if let Some(index) = self.open.get(&key) {
            let (breach, last) = &mut self.breaches[*index];
            if frame <= *last + 1 {
                if frame > *last {
                    breach.frames += 1;
                }
                *last = frame;
                if (value - limit).abs() > (breach.value - breach.limit).abs() {
                    (breach.time, breach.value, breach.limit) = (time, value, limit);
                }
                return;
            }
        }
        self.open.insert(key, self.breaches.len());
        let breach = Breach { servo: servo.to_owned(), time, value, limit, kind, frames: 1 };
        self.breaches.push((breach, frame));
    }

    fn identity(&mut self, unchecked: &mut Vec<&'static str>) {
        let (track, rig) = (self.track, self.rig);
        if track.rig_sha256().is_empty() {
            unchecked.push("that the track was made for this rig (the file names none)");
        } else if track.rig_sha256() != rig_fingerprint(rig) {
            self.note(rig.name(), 0, 0.0, 0.0, 0.0, BreachKind::RigDiffers);
        }
        let mut outputs_known = true;
        for servo in rig.servos() {
            self.comparisons += 1;
            let Some(column) = track.servos().iter().find(|t| t.name == servo.name) else {
                self.note(&servo.name, 0, 0.0, 0.0, 0.0, BreachKind::ServoMissing);
                continue;
            };
            match &column.output {
                None => outputs_known = false,
                Some(output) => {
                    if output.controller != servo.controller {
                        self.note(&servo.name, 0, 0.0, 0.0, 0.0, BreachKind::ControllerDiffers);
                    }
                    if output.channel != servo.channel {
                        let (has, wants) = (f64::from(output.channel), f64::from(servo.channel));
                        self.note(&servo.name, 0, 0.0, has, wants, BreachKind::ChannelDiffers);
                    }
                }
            }
        }
        for column in track.servos() {
            if !rig.servos().iter().any(|s| s.name == column.name) {
                self.note(&column.name, 0, 0.0, 0.0, 0.0, BreachKind::ServoUnknown);
            }
        }
        if !outputs_known {
            unchecked.push("boards and channels (the file names none)");
        }
    }

    /// Walks the frames once; gives back the largest current.
    fn motion(&mut self, columns: &[Option<&TrackServo>]) -> f64 {
        let rig = self.rig;
        let frames = self.track.frames();
        let step = self.track.frame().value();
        let complete = columns.iter().all(Option::is_some);
        let limited = watched(rig);
        let rest: Vec<Microseconds> =
            rig.servos().iter().zip(rig.rest_angles()).map(|(s, angle)| s.pulse(angle)).collect();
        let mut players: Vec<_> = columns.iter().map(|c| c.map(TrackServo::pulses)).collect();
        let mut before: Vec<f64> = Vec::new();
        let mut speeds = vec![0.0; columns.len()];
        let mut peak: f64 = 0.0;
        for frame in 0..frames {
            let mut angles = vec![0.0; columns.len()];
            let mut current = 0.0;
            for (i, servo) in rig.servos().iter().enumerate() {
                let Some(pulse) = players[i].as_mut().and_then(Iterator::next) else { continue };
                self.range(servo, frame, pulse);
                if frame < 2 {
                    self.at_rest(servo, frame, pulse, rest[i], BreachKind::StartNotAtRest);
                }
                if frame + 2 >= frames {
                    self.at_rest(servo, frame, pulse, rest[i], BreachKind::EndNotAtRest);
                }
                let angle = (pulse - servo.pulse_neutral).value() / servo.us_per_degree;
                angles[i] = angle;
                let speed = if frame == 0 { 0.0 } else { (angle - before[i]) / step };
                if frame > 0 {
                    current += self.speed(servo, frame, speed);
                    // The change of speed happens at the frame between the two steps.
                    self.acceleration(servo, frame - 1, (speed - speeds[i]) / step);
                }
                if frame + 1 == frames {
                    self.acceleration(servo, frame, -speed / step);
                }
                speeds[i] = speed;
            }
            if complete {
                if frame > 0 {
                    peak = peak.max(current);
                    let budget = rig.supply().budget.value();
                    self.comparisons += 1;
                    if beyond(current, budget) {
                        self.note("all servos", frame, -1.0, current, budget, BreachKind::Current);
                    }
                    if angles != before {
                        for u in moments(rig, &limited, &before, &angles) {
                            let between: Vec<f64> =
                                before.iter().zip(&angles).map(|(a, b)| a + u * (b - a)).collect();
                            self.face(&between, frame, u - 1.0);
                        }
                    }
                }
                self.face(&angles, frame, 0.0);
            }
            before = angles;
        }
        peak
    }

    fn range(&mut self, servo: &Servo, frame: usize, pulse: Microseconds) {
        self.comparisons += 1;
        let value = pulse.value();
        if value < servo.pulse_min.value() - 1e-9 {
            self.note(&servo.name, frame, 0.0, value, servo.pulse_min.value(), BreachKind::Travel);
        } else if value > servo.pulse_max.value() + 1e-9 {
            self.note(&servo.name, frame, 0.0, value, servo.pulse_max.value(), BreachKind::Travel);
        }
    }

    fn at_rest(
        &mut self,
        servo: &Servo,
        frame: usize,
        pulse: Microseconds,
        rest: Microseconds,
        kind: BreachKind,
    ) {
        self.comparisons += 1;
        if (pulse - rest).abs().value() > 0.5 * PULSE_RESOLUTION.value() + 1e-9 {
            self.note(&servo.name, frame, 0.0, pulse.value(), rest.value(), kind);
        }
    }

    /// Checks a speed and gives back the servo's current during the step.
    fn speed(&mut self, servo: &Servo, frame: usize, speed: f64) -> f64 {
        self.comparisons += 1;
        let (limit, kind) = if speed >= 0.0 {
            (servo.speed_up.value(), BreachKind::SpeedUp)
        } else {
            (servo.speed_down.value(), BreachKind::SpeedDown)
        };
        if beyond(speed.abs(), limit) {
            self.note(&servo.name, frame, -1.0, speed.abs(), limit, kind);
        }
        servo.idle_current.value() + servo.moving_current.value() * speed.abs() / limit
    }

    fn acceleration(&mut self, servo: &Servo, frame: usize, acceleration: f64) {
        self.comparisons += 1;
        let limit = servo.acceleration.value();
        if beyond(acceleration.abs(), limit) {
            self.note(&servo.name, frame, 0.0, acceleration.abs(), limit, BreachKind::Acceleration);
        }
    }

    /// Skin, couplings and linkages at one instant.
    fn face(&mut self, angles: &[f64], frame: usize, fraction: f64) {
        let rig = self.rig;
        let angles: Vec<Degrees> = angles.iter().map(|a| Degrees::new(*a)).collect();
        for (index, error) in rig.check_linkages(&angles) {
            let mechanism = &rig.mechanisms()[index];
            let own: Vec<f64> =
                mechanism.servos().iter().filter_map(|id| angles.get(id.0)).map(|a| a.value()).collect();
            let name = mechanism.name().to_owned();
            let (value, limit, kind) = match error {
                KinematicError::Collision { gap, needed, .. } => (gap, needed, BreachKind::Collision(name)),
                KinematicError::Singular { needed, clearance, .. } => {
                    (clearance, needed, BreachKind::Linkage(name))
                }
                _ => (mechanism.clearance(&own), 0.0, BreachKind::Linkage(name)),
            };
            self.note(&self.names(&[mechanism]), frame, fraction, value, limit, kind);
        }
        self.comparisons += rig.mechanisms().len() as u64;
        let values = rig.forward(&angles);
        for d in rig.dofs() {
            self.comparisons += 2;
            let value = values[d.dof];
            let limit = value.clamp(d.skin_min, d.skin_max);
            if (value - limit).abs() > 1e-9 && (value - limit).abs() > self.rounding(&angles, &[(d.dof, 1.0)])
            {
                let movers = self.movers(&[d.dof]);
                self.note(&self.names(&movers), frame, fraction, value, limit, BreachKind::Skin(d.dof));
            }
        }
        for c in rig.couplings() {
            let sum: f64 = c.terms.iter().map(|(dof, factor)| factor * dof_value(&values, *dof)).sum();
            for (limit, sign) in [(c.min, -1.0), (c.max, 1.0)] {
                let Some(limit) = limit else { continue };
                self.comparisons += 1;
                let over = sign * (sum - limit);
                if over > 1e-9 && over > self.rounding(&angles, &c.terms) {
                    let dofs: Vec<Dof> = c.terms.iter().map(|t| t.0).collect();
                    let servos = self.names(&self.movers(&dofs));
                    self.note(&servos, frame, fraction, sum, limit, BreachKind::Coupling(c.name.clone()));
                }
            }
        }
    }

    /// How far half a step of pulse resolution on every servo can move Σ factor · dof.
    fn rounding(&self, angles: &[Degrees], terms: &[(Dof, f64)]) -> f64 {
        let half = 0.5 * PULSE_RESOLUTION.value();
        let partials = self.rig.partials(angles);
        let moved = partials.iter().filter_map(|(servo, dof, slope)| {
            let factor = terms.iter().find(|t| t.0 == *dof)?.1;
            Some((factor * slope * half / self.rig.servos()[servo.0].us_per_degree).abs())
        });
        moved.sum::<f64>() + 1e-9
    }

    fn movers(&self, dofs: &[Dof]) -> Vec<&Mechanism> {
        let moves = |m: &&Mechanism| m.drives().iter().any(|d| dofs.contains(&d.dof));
        self.rig.mechanisms().iter().filter(moves).collect()
    }

    fn names(&self, mechanisms: &[&Mechanism]) -> String {
        let ids = mechanisms.iter().flat_map(|m| m.servos());
        ids.map(|id| self.rig.servos()[id.0].name.as_str()).collect::<Vec<_>>().join(" + ")
    }
}

fn dof_value(values: &DofValues, dof: Dof) -> f64 {
    values[dof]
}

/// Above the limit by more than floating-point noise.
fn beyond(value: f64, limit: f64) -> bool {
    value > limit * (1.0 + 1e-9) + 1e-9
}
