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
    /// True if the selection, or the whole line, repeats.
    pub looping: bool,
}

impl Default for Transport {
    fn default() -> Self {
        Self { playing: false, time: Seconds::ZERO, speed: 1.0, looping: false }
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

    /// What follows when `heard` is the time that sounds now; `span` is what loops.
    #[must_use]
    pub fn next(&self, heard: Seconds, duration: Seconds, span: Option<(Seconds, Seconds)>) -> Next {
        if self.looping {
            let (start, end) = span.unwrap_or((Seconds::ZERO, duration));
            if heard >= end {
                return Next::Again(start);
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
            return if self.time < start || self.time >= end { start } else { self.time };
        }
        if self.time >= duration - Seconds::new(0.005) { Seconds::ZERO } else { self.time }
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
    fn speeds_step_within_the_offer() {
        let t = Transport::default();
        assert_eq!(t.stepped(1), 1.5);
        assert_eq!(t.stepped(-1), 0.75);
        assert_eq!(t.stepped(-9), 0.25);
        assert_eq!(t.stepped(9), 2.0);
    }
}
