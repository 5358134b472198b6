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
        match self.hands().player.play(from, transport.speed) {
            Ok(()) => {
                self.transport.update(|t| {
                    t.playing = true;
                    t.time = from;
                });
                self.tick();
            }
            Err(message) => self.fail(format!("The line cannot be played: {message}")),
        }
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
        let Some(heard) = self.hands().player.heard() else { return self.stop() };
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
                if self.hands().player.play(time, transport.speed).is_ok() {
                    self.tick();
                } else {
                    self.stop();
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
        let transport = self.transport.get_untracked();
        self.transport.update(|t| t.time = time);
        if transport.playing && self.hands().player.play(time, transport.speed).is_err() {
            self.stop();
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
