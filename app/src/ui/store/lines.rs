//! Opening lines: fetching, reading, what was read.

use super::*;
use crate::web::room;

impl Store {
    /// Opens a line of the project: fetches and reads its recording where that is still to do.
    pub fn open(self, index: usize) {
        self.stop();
        // Work for the line that is left would only hold up this one.
        let pending = self.hands().pending.get();
        if pending.busy() {
            self.cancel_quietly();
            self.pending(|p| p.back = pending.back);
        }
        self.arriving.set(None);
        self.current.set(index);
        self.transport.update(|t| t.time = Seconds::ZERO);
        self.pointer.set(ShapesState::default());
        let Some((origin, ready)) = self.peek(|t| (t.origin.clone(), t.audio.is_some())) else { return };
        if ready {
            self.show_whole();
            self.load_sound();
            self.next_work();
            return;
        }
        let hands = self.hands();
        let Some(link) = hands.link.get() else { return };
        let opening = (link.number(), index);
        self.pending(|p| p.opening = Some(opening));
        self.phase.set(Phase::Loading);
        leptos::task::spawn_local(async move {
            let bytes = match &origin {
                Origin::Bytes(bytes) => Ok(bytes.clone()),
                Origin::Beside(path) => {
                    let script = path.replace(".wav", ".txt");
                    let bytes = files::fetch(path).await;
                    if let Ok(text) = files::fetch(&script).await
                        && bytes.is_ok()
                    {
                        let text = String::from_utf8_lossy(&text).trim().to_owned();
                        self.takes.update(|takes| takes[index].script = text);
                    }
                    bytes.map(Shared::new)
                }
            };
            // Called off meanwhile, or another line was opened.
            if self.hands().pending.get().opening != Some(opening) {
                return;
            }
            match bytes {
                Ok(bytes) => self.read(opening, bytes).await,
                Err(message) => {
                    self.pending(|p| p.opening = None);
                    self.phase.set(Phase::Ready);
                    self.fail(format!("The recording could not be opened. {message}"));
                }
            }
        });
    }

    /// Reads a recording: WAV in the worker, anything else by the browser.
    async fn read(self, opening: (u32, usize), bytes: Shared<Vec<u8>>) {
        let index = opening.1;
        self.takes.update(|takes| {
            if let Some(take) = takes.get_mut(index) {
                take.origin = Origin::Bytes(bytes.clone());
            }
        });
        if [&b"RIFF"[..], b"RIFX", b"RF64"].iter().any(|m| bytes.starts_with(m)) || bytes.is_empty() {
            let hands = self.hands();
            let original = hands.original.take().filter(|(of, _)| *of == bytes).map(|(_, array)| array);
            let array = match original.map_or_else(|| room::byte_array(&bytes), Ok) {
                Ok(array) => array,
                Err(message) => {
                    self.pending(|p| p.opening = None);
                    return self.unreadable(index, &message, false);
                }
            };
            // Worked out while the worker reads. What is hashed is taken now, before the array moves there.
            self.keeping.hashes().begin(&bytes, &array);
            let Some(link) = hands.link.get() else { return };
            let id = link.number();
            link.send_whole(Job::Read { id }, &array);
            self.pending(|p| (p.opening, p.read) = (None, Some((id, index))));
            return;
        }
        let player = self.hands().player;
        let decoded = player.decode(&bytes).await;
        let hash = self.keeping.hashes().of(&bytes).await;
        if self.hands().pending.get().opening != Some(opening) {
            return;
        }
        self.pending(|p| p.opening = None);
        match decoded {
            Ok(recording) => {
                let source = recording.source();
                let text = format!("{:.1} kHz, decoded by the browser", source.rate.value() / 1000.0);
                self.got_sound(index, hash, text, Vec::new(), recording.samples().to_vec());
            }
            Err(message) => self.unreadable(index, &message, true),
        }
    }

    /// A recording that could not be read: a line that was never heard goes again, and the line that
    /// was open before comes back.
    pub(super) fn unreadable(self, index: usize, message: &str, file_is_bad: bool) {
        self.phase.set(Phase::Ready);
        let file = self.takes.with_untracked(|t| t.get(index).map(|t| t.file.clone())).unwrap_or_default();
        self.fail(format!("{file} could not be read: {message}"));
        let back = self.hands().pending.get().back.filter(|(new, _)| *new == index).map(|(_, before)| before);
        let useless = self.takes.with_untracked(|t| t.get(index).is_some_and(|t| t.document.is_none()));
        if back.is_none() && !(useless && file_is_bad) {
            return;
        }
        self.pending(|p| p.back = None);
        self.without(index, back.unwrap_or(0));
    }

    /// Takes a line that was never heard out again, and opens the one to go back to.
    pub(super) fn without(self, index: usize, back: usize) {
        self.takes.update(|takes| {
            if index < takes.len() {
                takes.remove(index);
            }
        });
        let left = self.takes.with_untracked(Vec::len);
        // Further new lines follow the one that failed: the next of them takes its place.
        let next = if index < left { index } else { back.min(left.saturating_sub(1)) };
        self.current.set(next);
        self.open(next);
    }

    /// What the waveform of a recording that is being read looks like.
    pub(super) fn skimmed(self, index: usize, numbers: &[f32], length: usize) {
        let columns: Vec<Column> =
            numbers.chunks_exact(3).map(|c| Column { min: c[0], max: c[1], rms: c[2] }).collect();
        self.arriving.set(Some((index, WaveformPyramid::from_columns(&columns, length))));
        if index == self.current.get_untracked() {
            let duration = Seconds::new(length as f64 / Recording::RATE.value());
            self.axis.update(|a| *a = a.of(duration));
        }
    }

    /// Takes up what the worker read, once the recording's hash is known as well.
    pub(super) async fn was_read(self, read: (u32, usize), sound: Sound, samples: Vec<f32>) {
        let index = read.1;
        let origin = self.takes.with_untracked(|takes| takes.get(index).map(|t| t.origin.clone()));
        let Some(Origin::Bytes(bytes)) = origin else {
            // The line was taken out meanwhile.
            self.pending(|p| p.read = None);
            return;
        };
        let hash = self.keeping.hashes().of(&bytes).await;
        // Called off meanwhile, or another line was opened.
        if self.hands().pending.get().read != Some(read) {
            return;
        }
        self.pending(|p| p.read = None);
        self.got_sound(index, hash, sound.source, sound.notes, samples);
    }

    fn got_sound(
        self,
        index: usize,
        hash: ContentHash,
        source: String,
        notes: Vec<String>,
        samples: Vec<f32>,
    ) {
        if self.hands().pending.get().back.is_some_and(|(new, _)| new == index) {
            self.pending(|p| p.back = None);
            self.unsaved.set(true);
            let name = self.takes.with_untracked(|t| t.get(index).map(|t| t.name.clone()));
            self.keep_soon(format!("{}: brought in", name.unwrap_or_default()));
        }
        let began = clock::now_ms();
        let pyramid = Shared::new(WaveformPyramid::new(&samples));
        let took = Seconds::new((clock::now_ms() - began) / 1000.0);
        clock::measured("pyramid of peaks", began, took);
        let samples = Shared::new(samples);
        self.takes.update(|takes| {
            let Some(take) = takes.get_mut(index) else { return };
            let Origin::Bytes(bytes) = &take.origin else { return };
            take.audio =
                Some(Audio { name: take.file.clone(), bytes: bytes.clone(), hash, source, samples, pyramid });
            take.notes = notes;
        });
        self.arriving.set(None);
        self.recall(index);
        if index == self.current.get_untracked() {
            self.load_sound();
            self.next_work();
        }
    }

    /// Takes up edits of this recording that were kept earlier, where the line has none yet.
    pub(super) fn recall(self, index: usize) {
        let hash = self.takes.with_untracked(|takes| {
            let take = takes.get(index)?;
            if take.document.is_some() { None } else { take.audio.as_ref().map(|a| a.hash.clone()) }
        });
        let Some((hash, kept)) = hash.and_then(|h| Some((h.clone(), keep::kept(&h)?))) else { return };
        self.takes.update(|takes| {
            if let Some(take) = takes.get_mut(index) {
                take.script = kept.script;
                take.edit(kept.line);
            }
        });
        self.taken_over(hash);
        self.keep_soon("edits of an earlier visit".to_owned());
        self.say("Your edits of this recording are back");
    }

    pub(super) fn load_sound(self) {
        let player = self.hands().player;
        let Some(Some((samples, bytes))) =
            self.peek(|t| t.audio.as_ref().map(|a| (a.samples.clone(), a.bytes.clone())))
        else {
            player.unload();
            return;
        };
        if let Err(message) = player.load(&samples) {
            self.fail(format!("The line can be edited but not heard: {message}"));
        }
        // The recording at its own rate sounds better than what the ear needs; take it if the
        // browser can read it and it is as long.
        let index = self.current.get_untracked();
        let length = samples.len() as f64 / Recording::RATE.value();
        leptos::task::spawn_local(async move {
            player.upgrade(&bytes, length, move || self.current.get_untracked() == index).await;
        });
    }

    /// Whatever the open line still needs: hearing, then planning.
    pub(super) fn next_work(self) {
        let Some((heard, planned)) = self.peek(|t| (t.document.is_some(), t.performance.is_some())) else {
            return;
        };
        if heard {
            self.show_whole();
            if planned { self.phase.set(Phase::Ready) } else { self.plan() }
        } else {
            self.listen();
        }
    }

    pub(super) fn show_whole(&self) {
        let duration = self.duration();
        if duration > Seconds::ZERO {
            self.axis.update(|a| *a = a.of(duration));
        }
    }

    /// Listens to the open line, with its script where it has one.
    pub fn listen(self) {
        let index = self.current.get_untracked();
        let Some(Some((samples, script))) =
            self.peek(|t| t.audio.as_ref().map(|a| (a.samples.clone(), t.script.clone())))
        else {
            return;
        };
        self.phase.set(Phase::Listening);
        self.progress.set(0.0);
        let id = self.send(|id| Job::Listen { id, script }, &samples, &[]);
        self.pending(|p| p.listen = Some((id, index)));
    }
}
