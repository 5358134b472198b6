//! Where playing stands.

use lipwright_core::units::Seconds;

/// Where playing stands: time under the playhead, speed, loop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Transport {
    /// True while sound runs.
    pub playing: bool,
    /// Line time under the playhead.
    pub time: Seconds,
    /// 1 is as recorded.
    pub speed: f64,
    /// True if the loop's points, the selection, or the whole line, repeat.
    pub looping: bool,
    /// Where a loop starts and ends, as far as a person has set it.
    pub points: (Option<Seconds>, Option<Seconds>),
    /// How much sound runs before a loop's start, each time round.
    pub pre_roll: Seconds,
}

impl Default for Transport {
    fn default() -> Self {
        Self {
            playing: false,
            time: Seconds::ZERO,
            speed: 1.0,
            looping: false,
            points: (None, None),
            pre_roll: Seconds::ZERO,
        }
    }
}

/// What to do after the sound has moved on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Next {
    /// Show this time.
    Show(Seconds),
    /// Start again from here.
    Again(Seconds),
    /// The end: stop and stand here.
    Stop(Seconds),
}

impl Transport {
    /// The speeds on offer.
    pub const SPEEDS: [(f64, &'static str); 6] =
        [(0.25, "¼"), (0.5, "½"), (0.75, "¾"), (1.0, "1×"), (1.5, "1½"), (2.0, "2×")];

    /// The time, changing at most so often a second while it plays: for what need not follow every frame.
    #[must_use]
    pub fn readable(&self, a_second: f64) -> Seconds {
        if self.playing { Seconds::new((self.time.value() * a_second).floor() / a_second) } else { self.time }
    }

    /// What follows when `heard` is the time that sounds now; `span` is what loops.
    #[must_use]
    pub fn next(&self, heard: Seconds, duration: Seconds, span: Option<(Seconds, Seconds)>) -> Next {
        if self.looping {
            let (start, end) = span.unwrap_or((Seconds::ZERO, duration));
            if heard >= end {
                return Next::Again(self.run_up(start));
            }
        } else if heard >= duration {
            return Next::Stop(duration);
        }
        Next::Show(heard.min(duration))
    }

    /// Where playing begins: at the playhead, or at the start where it stands at the end or, in a
    /// loop, outside the loop.
    #[must_use]
    pub fn begin(&self, duration: Seconds, span: Option<(Seconds, Seconds)>) -> Seconds {
        if self.looping {
            let (start, end) = span.unwrap_or((Seconds::ZERO, duration));
            let from = self.run_up(start);
            return if self.time < from || self.time >= end { from } else { self.time };
        }
        if self.time >= duration - Seconds::new(0.005) { Seconds::ZERO } else { self.time }
    }

    fn run_up(&self, start: Seconds) -> Seconds {
        (start - self.pre_roll).max(Seconds::ZERO)
    }

    /// The pre-rolls on offer, seconds.
    pub const PRE_ROLLS: [f64; 4] = [0.0, 0.5, 1.0, 2.0];

    /// The span between the loop's points; a point that is not set is an end of the line. `None` where
    /// neither is set.
    #[must_use]
    pub fn between_points(&self, duration: Seconds) -> Option<(Seconds, Seconds)> {
        match self.points {
            (None, None) => None,
            (from, to) => Some((from.unwrap_or(Seconds::ZERO), to.unwrap_or(duration))),
        }
    }

    /// Sets the point where the loop starts, or ends; one that would lie on the wrong side of the other
    /// takes the other away. The loop is on from then.
    pub fn set_point(&mut self, end: bool, time: Seconds) {
        let (from, to) = self.points;
        self.points = if end {
            (from.filter(|f| *f < time), Some(time))
        } else {
            (Some(time), to.filter(|t| *t > time))
        };
        self.looping = true;
    }

    /// The next slower or faster speed.
    #[must_use]
    pub fn stepped(&self, by: isize) -> f64 {
        let at = Self::SPEEDS.iter().position(|(s, _)| (*s - self.speed).abs() < 1e-9).unwrap_or(3);
        Self::SPEEDS[at.saturating_add_signed(by).min(Self::SPEEDS.len() - 1)].0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const S: fn(f64) -> Seconds = Seconds::new;

    #[test]
    fn it_stops_at_the_end_and_loops_when_asked() {
        let mut t = Transport::default();
        assert_eq!(t.next(S(1.0), S(2.0), None), Next::Show(S(1.0)));
        assert_eq!(t.next(S(2.1), S(2.0), None), Next::Stop(S(2.0)));
        t.looping = true;
        assert_eq!(t.next(S(0.9), S(2.0), Some((S(0.4), S(0.8)))), Next::Again(S(0.4)));
        assert_eq!(t.next(S(2.1), S(2.0), None), Next::Again(S(0.0)));
    }

    #[test]
    fn it_begins_where_it_makes_sense() {
        let mut t = Transport { time: S(2.0), ..Transport::default() };
        assert_eq!(t.begin(S(2.0), None), S(0.0));
        t.time = S(1.0);
        assert_eq!(t.begin(S(2.0), None), S(1.0));
        t.looping = true;
        assert_eq!(t.begin(S(2.0), Some((S(0.2), S(0.5)))), S(0.2));
    }

    #[test]
    fn a_loop_runs_between_its_points_after_a_run_up() {
        let mut t = Transport { pre_roll: S(0.5), ..Transport::default() };
        assert_eq!(t.between_points(S(4.0)), None);
        t.set_point(false, S(1.0));
        assert_eq!((t.between_points(S(4.0)), t.looping), (Some((S(1.0), S(4.0))), true));
        t.set_point(true, S(2.0));
        let span = t.between_points(S(4.0));
        assert_eq!(span, Some((S(1.0), S(2.0))));
        assert_eq!(t.next(S(2.0), S(4.0), span), Next::Again(S(0.5)));
        assert_eq!(t.begin(S(4.0), span), S(0.5));
        t.time = S(0.7);
        assert_eq!(t.begin(S(4.0), span), S(0.7), "inside the run-up");
        t.set_point(false, S(3.0));
        assert_eq!(t.between_points(S(4.0)), Some((S(3.0), S(4.0))), "the end before it went");
        t.points = (Some(S(0.2)), None);
        assert_eq!(t.begin(S(4.0), t.between_points(S(4.0))), S(0.7));
        assert_eq!(t.next(S(4.0), S(4.0), t.between_points(S(4.0))), Next::Again(S(0.0)), "no time before 0");
    }

    #[test]
    fn speeds_step_within_the_offer() {
        let t = Transport::default();
        assert_eq!(t.stepped(1), 1.5);
        assert_eq!(t.stepped(-1), 0.75);
        assert_eq!(t.stepped(-9), 0.25);
        assert_eq!(t.stepped(9), 2.0);
    }
}
