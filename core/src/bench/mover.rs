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
            part = part.min((share * self.most(i, *v)).min(braking(way[i].abs(), a, dt)) / v.abs());
        }
        straight.iter().map(|v| v * part.max(0.0)).collect()
    }

    /// The wanted speeds as far as each servo's acceleration allows.
    fn reachable(&self, wanted: &[f64], share: f64, dt: f64) -> Vec<f64> {
        let servos = self.rig.servos();
        let near = |i: usize, v: f64| {
            let change = servos[i].acceleration.value() * dt;
            let v = v.clamp(self.speed[i] - change, self.speed[i] + change);
            // A ceiling that was lowered holds at once, at the price of a harder stop.
            let most = share * self.most(i, v);
            v.clamp(-most, most)
        };
        wanted.iter().enumerate().map(|(i, v)| near(i, *v)).collect()
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

/// Largest speed with which a servo may run one step towards a target `way` off and still stand there,
/// losing at most a·dt each step: with v = (n + f) a·dt, the steps v, v − a·dt … sum up to
/// a·dt² (n + 1)(n + 2f) / 2.
fn braking(way: f64, a: f64, dt: f64) -> f64 {
    let w = 2.0 * way / (a * dt * dt);
    let n = (0.5 * ((1.0 + 4.0 * w).sqrt() - 1.0)).floor();
    let f = 0.5 * (w / (n + 1.0) - n);
    (n + f) * a * dt
}

/// Beyond a limit by less than this is rounding (mm or degrees of the face): pulses of 0.5 µs move the
/// face by some hundredths of a millimetre.
const SLACK: f64 = 0.05;
