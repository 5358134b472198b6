//! What stands between every slider and a servo: motion that holds every limit of the rig.

use crate::rig::Rig;
use crate::units::{Degrees, Seconds};

/// The head's position, moving towards targets inside travel, speed, acceleration, skin, couplings
/// and linkages, at a share of each servo's speed.
///
/// All servos run along the straight line from where they are to the target, so that what two
/// allowed poses have between them is allowed, too, wherever limits are straight lines in angles;
/// where they are not, every step is checked on the rig, and the head stops in front of the limit.
#[derive(Clone, Debug)]
pub struct Mover {
    rig: Rig,
    at: Vec<f64>,
    speed: Vec<f64>,
    stopped_by: Option<String>,
}

impl Mover {
    /// At rest.
    #[must_use]
    pub fn new(rig: &Rig) -> Self {
        let at: Vec<f64> = rig.rest_angles().iter().map(|a| a.value()).collect();
        Self { rig: rig.clone(), speed: vec![0.0; at.len()], at, stopped_by: None }
    }

    /// Where the servos are.
    #[must_use]
    pub fn angles(&self) -> Vec<Degrees> {
        self.at.iter().map(|a| Degrees::new(*a)).collect()
    }

    /// The rig it moves.
    #[must_use]
    pub fn rig(&self) -> &Rig {
        &self.rig
    }

    /// What the last step stopped in front of: a coupling's, DOF's or mechanism's name.
    #[must_use]
    pub fn stopped_by(&self) -> Option<&str> {
        self.stopped_by.as_deref()
    }

    /// Puts it where the servos really are, standing. Angles beyond a servo's travel are taken as its
    /// end.
    pub fn place(&mut self, angles: &[Degrees]) {
        for (i, angle) in angles.iter().enumerate().take(self.at.len()) {
            self.at[i] = self.held(i, angle.value());
        }
        self.speed.fill(0.0);
    }

    /// One step of `dt` towards `target`, at `share` (0 to 1) of each servo's speed. Brakes in time
    /// to stand at the target.
    pub fn approach(&mut self, target: &[Degrees], share: f64, dt: Seconds) {
        self.step(target, share, dt.value(), true);
    }

    /// One step towards a target that moves on, such as a plan's next frame: goes straight there
    /// where speed and acceleration allow, and approaches it otherwise.
    pub fn follow(&mut self, target: &[Degrees], share: f64, dt: Seconds) {
        self.step(target, share, dt.value(), false);
    }

    /// Brakes all servos at once.
    pub fn brake(&mut self, dt: Seconds) {
        let here = self.angles();
        self.step(&here, 1.0, dt.value(), true);
    }

    fn held(&self, servo: usize, angle: f64) -> f64 {
        let s = &self.rig.servos()[servo];
        let (low, high) = self.rig.travel(s.id);
        if angle.is_finite() { angle.clamp(low.value(), high.value()) } else { self.at[servo] }
    }

    fn step(&mut self, target: &[Degrees], share: f64, dt: f64, stand: bool) {
        self.stopped_by = None;
        let count = self.at.len();
        let goal = |i: usize| self.held(i, target.get(i).map_or(f64::NAN, |a| a.value()));
        let way: Vec<f64> = (0..count).map(|i| goal(i) - self.at[i]).collect();
        let share = if share.is_finite() { share.clamp(0.0, 1.0) } else { 0.0 };
        let wanted = self.wanted(&way, share, dt, stand);
        let speed = self.reachable(&wanted, share, dt);
        let next: Vec<f64> = (0..count).map(|i| self.held(i, self.at[i] + speed[i] * dt)).collect();
        match self.breach(&next) {
            None => {
                self.speed = (0..count).map(|i| (next[i] - self.at[i]) / dt).collect();
                self.at = next;
            }
            Some(what) => {
                // Inside now, outside after the step: stay.
                self.stopped_by = Some(what);
                self.speed.fill(0.0);
            }
        }
    }

    /// Speeds along the straight way that every servo can run, with room to brake.
    fn wanted(&self, way: &[f64], share: f64, dt: f64, stand: bool) -> Vec<f64> {
        let servos = self.rig.servos();
        let fits = |i: usize, v: f64| v.abs() <= share * self.most(i, v) + 1e-9;
        let straight: Vec<f64> = way.iter().map(|w| w / dt).collect();
        if !stand {
            let exact = straight.iter().enumerate().all(|(i, v)| {
                fits(i, *v) && (v - self.speed[i]).abs() <= servos[i].acceleration.value() * dt + 1e-9
            });
            if exact {
                return straight;
            }
        }
        let mut part = 1.0f64;
        for (i, v) in straight.iter().enumerate() {
            if v.abs() < 1e-12 {
                continue;
            }
            let a = servos[i].acceleration.value();
            // Discrete braking: after this step, v/a·dt more steps are left to lose the speed.
            let brake = -0.5 * a * dt + (0.25 * a * a * dt * dt + 2.0 * a * way[i].abs()).sqrt();
            part = part.min((share * self.most(i, *v)).min(brake) / v.abs());
        }
        straight.iter().map(|v| v * part.max(0.0)).collect()
    }

    /// The wanted speeds as far as accelerations allow; all servos give way together, so that the
    /// direction is kept.
    fn reachable(&self, wanted: &[f64], share: f64, dt: f64) -> Vec<f64> {
        let mut part = 1.0f64;
        for (i, v) in wanted.iter().enumerate() {
            let change = (v - self.speed[i]).abs();
            let most = self.rig.servos()[i].acceleration.value() * dt;
            if change > most {
                part = part.min(most / change);
            }
        }
        let mixed = wanted.iter().zip(&self.speed).map(|(v, old)| old + part * (v - old));
        // A ceiling that was lowered holds at once, at the price of a harder stop.
        mixed
            .enumerate()
            .map(|(i, v)| {
                let most = share * self.most(i, v);
                v.clamp(-most, most)
            })
            .collect()
    }

    fn most(&self, servo: usize, speed: f64) -> f64 {
        let s = &self.rig.servos()[servo];
        if speed >= 0.0 { s.speed_up.value() } else { s.speed_down.value() }
    }

    /// What the rig forbids about a pose, unless it already stood at least as badly before the step:
    /// a head found outside its limits must be able to come back.
    fn breach(&self, next: &[f64]) -> Option<String> {
        let angles: Vec<Degrees> = next.iter().map(|a| Degrees::new(*a)).collect();
        let before = self.angles();
        if let Some((index, _)) = self.rig.check_linkages(&angles).into_iter().next()
            && !self.rig.check_linkages(&before).iter().any(|(i, _)| *i == index)
        {
            return Some(self.rig.mechanisms()[index].name().to_owned());
        }
        let (now, was) = (self.rig.forward(&angles), self.rig.forward(&before));
        for d in self.rig.dofs() {
            let over = |v: f64| (d.skin_min - v).max(v - d.skin_max);
            if over(now[d.dof]) > SLACK && over(now[d.dof]) > over(was[d.dof]) {
                return Some(d.dof.name().replace('-', " "));
            }
        }
        for c in self.rig.couplings() {
            let over = |v: f64| {
                let below = c.min.map_or(f64::NEG_INFINITY, |min| min - v);
                below.max(c.max.map_or(f64::NEG_INFINITY, |max| v - max))
            };
            if over(c.sum(&now)) > SLACK && over(c.sum(&now)) > over(c.sum(&was)) {
                return Some(c.name.clone());
            }
        }
        None
    }
}

/// Beyond a limit by less than this is rounding (mm or degrees of the face): pulses of 0.5 µs move the
/// face by some hundredths of a millimetre.
const SLACK: f64 = 0.05;
