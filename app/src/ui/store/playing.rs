//! Playing, seeking, scrubbing.

use super::*;

impl Store {
    /// Plays or pauses.
    pub fn toggle_play(self) {
        if self.transport.with_untracked(|t| t.playing) { self.stop() } else { self.play() }
    }

    pub(super) fn play(self) {
        let duration = self.duration();
        if duration <= Seconds::ZERO {
            return;
        }
        let span = self.loop_span();
        let transport = self.transport.get_untracked();
        let from = transport.begin(duration, span);
        if self.sound_from(from) {
            self.transport.update(|t| {
                t.playing = true;
                t.time = from;
            });
            self.tick();
        }
    }

    /// Has the sound play from a time. Where it cannot be played, it stops and says why.
    fn sound_from(self, time: Seconds) -> bool {
        let speed = self.transport.with_untracked(|t| t.speed);
        let played = self.hands().player.play(time, speed);
        if let Err(message) = &played {
            self.stop();
            self.fail(format!("The line cannot be played: {message}"));
        }
        played.is_ok()
    }

    /// Stops where the playhead stands.
    pub fn stop(self) {
        self.hands().player.stop();
        if self.transport.with_untracked(|t| t.playing) {
            self.transport.update(|t| t.playing = false);
        }
    }

    pub(super) fn tick(self) {
        if let Some(frame) = self.hands().frame.get() {
            frame.ask();
        }
    }

    /// One animation frame of playing.
    pub(super) fn frame(self) {
        let transport = self.transport.get_untracked();
        if !transport.playing {
            return;
        }
        let heard = match self.hands().player.heard() {
            Heard::At(heard) => heard,
            Heard::Nothing => return self.stop(),
            Heard::Lost(message) => {
                self.stop();
                return self.fail(message.to_owned());
            }
        };
        match transport.next(heard, self.duration(), self.loop_span()) {
            Next::Show(time) => {
                self.transport.update(|t| t.time = time);
                // The view turns the page only when the playhead leaves it: lanes stay still otherwise.
                if time > self.axis.with_untracked(|a| a.span().1) {
                    self.axis.update(|a| *a = a.showing(time));
                }
                self.tick();
            }
            Next::Again(time) => {
                self.transport.update(|t| t.time = time);
                if self.sound_from(time) {
                    self.tick();
                }
            }
            Next::Stop(time) => {
                self.stop();
                self.transport.update(|t| t.time = time);
            }
        }
    }

    /// Moves the playhead; while playing, the sound follows.
    pub fn seek(self, time: Seconds) {
        let time = time.max(Seconds::ZERO).min(self.duration());
        self.transport.update(|t| t.time = time);
        if self.transport.with_untracked(|t| t.playing) {
            self.sound_from(time);
        }
    }

    /// Moves the playhead and lets a moment of the sound be heard.
    pub fn scrub(self, time: Seconds) {
        self.seek(time);
        if !self.transport.with_untracked(|t| t.playing) {
            self.hands().player.blip(time);
        }
    }

    /// Sets the speed; a playing line goes on at it.
    pub fn set_speed(self, speed: f64) {
        self.transport.update(|t| t.speed = speed);
        let transport = self.transport.get_untracked();
        if transport.playing {
            self.seek(transport.time);
        }
    }
}
