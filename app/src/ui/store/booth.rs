//! The recording desk: the microphone, what was recorded, which recording a line uses.

use super::*;
use crate::editor::dub::{self, Dub, Other};
use crate::web::clock::sleep;
use crate::web::recorder::Microphone;
use lipwright_core::audio::write_wav;
use std::cell::RefCell;

/// What the recording desk is doing.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Booth {
    /// The microphone is closed, or being asked for.
    #[default]
    Closed,
    /// It cannot be had; the browser's reason.
    Refused(String),
    /// It is open.
    Open,
    /// So many beats until recording begins.
    Counting(u32),
    /// Recording.
    Recording,
}

/// One recording of this sitting.
#[derive(Clone)]
pub struct Dubbed {
    /// Number, from 1.
    pub number: usize,
    /// As a WAV file.
    pub bytes: Shared<Vec<u8>>,
    /// What it came to, in words.
    pub what: String,
    /// True if it is spoiled by clipping.
    pub clipped: bool,
}

/// The recording desk's part of the store. A cheap handle.
#[derive(Clone, Copy)]
pub struct Dubbing {
    /// What it is doing.
    pub booth: RwSignal<Booth>,
    /// Peak of the last block, 0 to 1.
    pub level: RwSignal<f64>,
    /// True if the microphone was too loud since recording began.
    pub clipped: RwSignal<bool>,
    /// Length of what is being recorded, s.
    pub length: RwSignal<f64>,
    /// True if three beats are counted first.
    pub count_in: RwSignal<bool>,
    /// What was recorded since the page was opened.
    pub dubs: RwSignal<Vec<Dubbed>>,
    desk: StoredValue<Rc<RefCell<Reel>>, LocalStorage>,
}

/// The open microphone and what comes from it.
#[derive(Default)]
struct Reel {
    microphone: Option<Microphone>,
    samples: Vec<f32>,
}

/// A recording ends by itself after so many seconds.
const LONGEST: f64 = 600.0;
/// One beat of the count-in, ms.
const BEAT: i32 = 800;

impl Dubbing {
    pub(super) fn new() -> Self {
        Self {
            booth: RwSignal::default(),
            level: RwSignal::new(0.0),
            clipped: RwSignal::new(false),
            length: RwSignal::new(0.0),
            count_in: RwSignal::new(true),
            dubs: RwSignal::default(),
            desk: StoredValue::new_local(Rc::default()),
        }
    }
}

fn described(dub: &Dub, rate: f64) -> String {
    let clipped = if dub.clipped { "; too loud: it clips, record it again from further away" } else { "" };
    format!(
        "{:.1} s; {:.1} s of silence cut off before and {:.1} s after, level {:+.0} dB{clipped}",
        dub.samples.len() as f64 / rate,
        dub.cut.0.value(),
        dub.cut.1.value(),
        dub.gain_db
    )
}

impl Store {
    /// Opens the microphone.
    pub fn open_booth(self) {
        self.stop();
        let desk = self.dubbing.desk.get_value();
        leptos::task::spawn_local(async move {
            match Microphone::open(move |block| self.block(&block)).await {
                // The person may have closed the desk while the browser asked.
                Ok(_) if self.dialog.get_untracked() != Dialog::Record => {}
                Ok(microphone) => {
                    desk.borrow_mut().microphone = Some(microphone);
                    self.dubbing.booth.set(Booth::Open);
                }
                Err(message) => self.dubbing.booth.set(Booth::Refused(message)),
            }
        });
    }

    /// Closes it; what is being recorded is kept.
    pub fn close_booth(self) {
        if self.dubbing.booth.get_untracked() == Booth::Recording {
            self.end_recording();
        }
        self.dubbing.desk.get_value().borrow_mut().microphone = None;
        self.dubbing.booth.set(Booth::Closed);
        self.dubbing.level.set(0.0);
    }

    fn block(self, block: &[f32]) {
        let peak = block.iter().fold(0.0f32, |m, x| m.max(x.abs()));
        self.dubbing.level.set(f64::from(peak));
        if self.dubbing.booth.get_untracked() != Booth::Recording {
            return;
        }
        if dub::clips(block) {
            self.dubbing.clipped.set(true);
        }
        let desk = self.dubbing.desk.get_value();
        let length = {
            let mut desk = desk.borrow_mut();
            desk.samples.extend_from_slice(block);
            desk.samples.len() as f64 / desk.microphone.as_ref().map_or(48_000.0, Microphone::rate)
        };
        self.dubbing.length.set(length);
        if length > LONGEST {
            self.end_recording();
        }
    }

    /// Records, after the count-in where that is wanted; ends a recording under way.
    pub fn record(self) {
        match self.dubbing.booth.get_untracked() {
            Booth::Recording => self.end_recording(),
            // Called off while counting.
            Booth::Counting(_) => self.dubbing.booth.set(Booth::Open),
            Booth::Open => leptos::task::spawn_local(async move {
                let beats = if self.dubbing.count_in.get_untracked() { 3 } else { 0 };
                for left in (1..=beats).rev() {
                    self.dubbing.booth.set(Booth::Counting(left));
                    sleep(BEAT).await;
                    if self.dubbing.booth.get_untracked() != Booth::Counting(left) {
                        return;
                    }
                }
                self.dubbing.desk.get_value().borrow_mut().samples.clear();
                self.dubbing.clipped.set(false);
                self.dubbing.length.set(0.0);
                self.dubbing.booth.set(Booth::Recording);
            }),
            Booth::Closed | Booth::Refused(_) => {}
        }
    }

    fn end_recording(self) {
        self.dubbing.booth.set(Booth::Open);
        let desk = self.dubbing.desk.get_value();
        let (samples, rate) = {
            let mut desk = desk.borrow_mut();
            let rate = desk.microphone.as_ref().map_or(48_000.0, Microphone::rate);
            (std::mem::take(&mut desk.samples), rate)
        };
        let Some(dub) = dub::tidy(&samples, rate) else {
            return self
                .say("Nothing was heard above the noise of the room; check the microphone and record again");
        };
        let what = described(&dub, rate);
        let bytes = Shared::new(write_wav(&dub.samples, rate.round() as u32));
        self.dubbing.dubs.update(|dubs| {
            let number = dubs.len() + 1;
            dubs.push(Dubbed { number, bytes, what, clipped: dub.clipped });
        });
    }

    /// Makes a recording a line of its own.
    pub fn dub_as_line(self, dubbed: &Dubbed) {
        self.dialog.set(Dialog::None);
        let name = format!("Recording {}", dubbed.number);
        let file = format!("recording-{}.wav", dubbed.number);
        self.bring_in(vec![Take::new(name, file, Origin::Bytes(dubbed.bytes.clone()), "")]);
    }

    /// Has the open line use a recording; the one before stays with the line.
    pub fn dub_for_line(self, dubbed: &Dubbed) {
        let other = Other {
            file: format!("recording-{}.wav", dubbed.number),
            bytes: dubbed.bytes.clone(),
            line: None,
        };
        self.use_other(|_| Some(other));
    }

    /// Has the open line use one of its other recordings.
    pub fn use_recording(self, index: usize) {
        self.use_other(|take| (index < take.others.len()).then(|| take.others.remove(index)));
    }

    fn use_other(self, other: impl FnOnce(&mut Take) -> Option<Other>) {
        self.dialog.set(Dialog::None);
        self.stop();
        let chosen = self.change(|take| {
            let other = other(take)?;
            if let Origin::Bytes(bytes) = &take.origin {
                let (file, line) = (take.file.clone(), take.line().cloned());
                take.others.push(Other { file, bytes: bytes.clone(), line });
            }
            take.file = other.file;
            take.origin = Origin::Bytes(other.bytes);
            take.audio = None;
            take.document = None;
            take.performance = None;
            take.selected = None;
            if let Some(line) = other.line {
                take.edit(line);
            }
            Some((take.name.clone(), take.file.clone()))
        });
        if let Some(Some((name, file))) = chosen {
            self.unsaved.set(true);
            self.keep_soon(format!("{name}: uses {file}"));
            self.open(self.current.get_untracked());
        }
    }
}
