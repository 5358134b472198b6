//! Time in seconds or in frames: what the ruler shows, and what a nudge is.

use lipwright_core::units::Seconds;

/// How time is shown and stepped.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum TimeUnit {
    /// Seconds.
    #[default]
    Seconds,
    /// So many frames a second.
    Frames(u8),
}

impl TimeUnit {
    /// Those on offer.
    pub const ALL: [Self; 5] =
        [Self::Seconds, Self::Frames(24), Self::Frames(25), Self::Frames(30), Self::Frames(50)];

    /// Name for storage and for the page's elements.
    #[must_use]
    pub fn id(self) -> String {
        match self {
            Self::Seconds => "s".to_owned(),
            Self::Frames(fps) => fps.to_string(),
        }
    }

    /// The unit of that name.
    #[must_use]
    pub fn named(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|u| u.id() == id)
    }

    /// What a person chooses.
    #[must_use]
    pub fn title(self) -> String {
        match self {
            Self::Seconds => "Time, s".to_owned(),
            Self::Frames(fps) => format!("{fps} frames/s"),
        }
    }

    fn frame(self) -> Option<Seconds> {
        match self {
            Self::Seconds => None,
            Self::Frames(fps) => Some(Seconds::new(1.0 / f64::from(fps.max(1)))),
        }
    }

    /// A nudge of a boundary: a frame, or one analysis hop.
    #[must_use]
    pub fn nudge(self) -> Seconds {
        self.frame().unwrap_or(Seconds::new(0.01))
    }

    /// Where the playhead stands after a step on or back: at the next whole frame; in seconds, one
    /// frame of the controller (20 ms) on.
    #[must_use]
    pub fn stepped(self, time: Seconds, by: i32) -> Seconds {
        match self.frame() {
            None => time + Seconds::new(0.02) * f64::from(by),
            Some(frame) => {
                let at = time / frame;
                // A playhead on a frame, give or take rounding, counts as there.
                let near = at.round();
                let on = if (at - near).abs() < 1e-6 {
                    near
                } else if by > 0 {
                    at.floor()
                } else {
                    at.ceil()
                };
                frame * (on + f64::from(by))
            }
        }
    }

    /// A time as the ruler says it: seconds, minutes and seconds, or minutes, seconds and frames.
    #[must_use]
    pub fn say(self, time: Seconds, step: f64) -> String {
        let Self::Frames(fps) = self else { return clock(time.value(), step) };
        let frames = (time.value() * f64::from(fps) + 1e-6).floor().max(0.0) as u64;
        let fps = u64::from(fps.max(1));
        let (seconds, frame) = (frames / fps, frames % fps);
        format!("{}:{:02}:{frame:02}", seconds / 60, seconds % 60)
    }

    /// Time between labelled ticks of a ruler, so that labels stand at least `room` pixels apart, and
    /// how many small ticks divide it.
    #[must_use]
    pub fn ruler_step(self, scale: f64, room: f64) -> (f64, usize) {
        let fits = |step: f64| step * scale >= room;
        if let Self::Frames(fps) = self {
            let frame = 1.0 / f64::from(fps);
            // Steps that divide a second of so many frames.
            let steps: &[(u8, usize)] = match fps {
                24 => &[(1, 1), (2, 2), (4, 4), (12, 6)],
                30 => &[(1, 1), (2, 2), (5, 5), (15, 5)],
                _ => &[(1, 1), (5, 5), (10, 5)],
            };
            let found = steps.iter().find(|(n, _)| fps % n == 0 && fits(f64::from(*n) * frame));
            if let Some((n, parts)) = found {
                return (f64::from(*n) * frame, *parts);
            }
            return second_steps(6).find(|(step, _)| fits(*step)).unwrap_or((1800.0, 6));
        }
        second_steps(0).find(|(step, _)| fits(*step)).unwrap_or((1800.0, 6))
    }
}

/// Steps of a ruler in seconds, from the `from`-th on.
fn second_steps(from: usize) -> impl Iterator<Item = (f64, usize)> {
    const STEPS: [(f64, usize); 14] = [
        (0.01, 5),
        (0.02, 4),
        (0.05, 5),
        (0.1, 5),
        (0.2, 4),
        (0.5, 5),
        (1.0, 5),
        (2.0, 4),
        (5.0, 5),
        (10.0, 5),
        (30.0, 6),
        (60.0, 6),
        (300.0, 5),
        (600.0, 10),
    ];
    STEPS.into_iter().skip(from)
}

/// A time as minutes and seconds with as many decimals as the step needs.
#[must_use]
pub fn clock(time: f64, step: f64) -> String {
    let decimals = if step < 0.1 { 2 } else { usize::from(step < 1.0) };
    if time >= 60.0 {
        let minutes = (time / 60.0).floor();
        let width = if decimals == 0 { 2 } else { 3 + decimals };
        format!("{minutes:.0}:{:0width$.decimals$}", time - 60.0 * minutes)
    } else {
        format!("{time:.decimals$}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn times_read_as_a_clock() {
        assert_eq!(clock(0.25, 0.05), "0.25");
        assert_eq!(clock(12.0, 1.0), "12");
        assert_eq!(clock(75.5, 0.5), "1:15.5");
        assert_eq!(clock(60.0, 1.0), "1:00");
        let at = |t: f64, fps: u8| TimeUnit::Frames(fps).say(Seconds::new(t), 0.1);
        assert_eq!(
            (at(0.0, 24), at(61.5, 24), at(2.48, 50)),
            ("0:00:00".into(), "1:01:12".into(), "0:02:24".into())
        );
    }

    #[test]
    fn the_playhead_steps_from_frame_to_frame() {
        let step = |t: f64, by: i32| TimeUnit::Frames(25).stepped(Seconds::new(t), by).value();
        assert!((step(0.05, 1) - 0.08).abs() < 1e-12, "to the next whole frame");
        assert!((step(0.05, -1) - 0.04).abs() < 1e-12, "and back to the one before");
        assert!((step(0.08, 1) - 0.12).abs() < 1e-12 && (step(0.12, -1) - 0.08).abs() < 1e-12);
        assert_eq!(TimeUnit::Seconds.stepped(Seconds::new(1.0), -1), Seconds::new(0.98));
    }

    #[test]
    fn every_unit_is_found_by_its_name() {
        for unit in TimeUnit::ALL {
            assert_eq!(TimeUnit::named(&unit.id()), Some(unit));
        }
        assert_eq!(TimeUnit::named("17"), None);
    }

    proptest! {
        #[test]
        fn ruler_labels_never_crowd_and_fall_on_frames(scale in 0.05f64..2000.0, unit in 0usize..5) {
            let unit = TimeUnit::ALL[unit];
            let (step, parts) = unit.ruler_step(scale, 64.0);
            prop_assert!(step * scale >= 64.0 || step == 1800.0);
            if let TimeUnit::Frames(fps) = unit {
                let frames = step / parts as f64 * f64::from(fps);
                prop_assert!(step >= 1.0 || (frames - frames.round()).abs() < 1e-9, "{frames}");
            } else {
                prop_assert!(parts >= 4);
            }
        }
    }
}
