//! Sound: decoding what the browser can, and playing in step with the picture.

use super::files::reason;
use super::js::get;
use super::room;
use crate::editor::Stretcher;
use lipwright_core::audio::{ChannelChoice, Recording};
use lipwright_core::units::{Hertz, Seconds};
use std::cell::{Cell, RefCell};
use std::rc::Rc;
use wasm_bindgen::JsValue;
use wasm_bindgen_futures::JsFuture;
use web_sys::{AudioBuffer, AudioBufferSourceNode, AudioContext};

/// One playing voice: when it began on the context's clock, where in the line, how fast.
struct Voice {
    nodes: Vec<AudioBufferSourceNode>,
    began: f64,
    from: f64,
    speed: f64,
    /// True once the context's clock has reached its beginning.
    sounds: bool,
    /// What is still to be made and scheduled, where the speed is not as recorded.
    rest: Option<Rest>,
}

/// A voice at another speed is made piece by piece, a little ahead of the ear.
struct Rest {
    stretcher: Stretcher,
    sound: Rc<Vec<f32>>,
    rate: f64,
    /// When the next piece begins, on the context's clock.
    next: f64,
}

/// Length of a piece, s, and how far ahead of the ear pieces are made.
const PIECE: f64 = 0.25;
const AHEAD: f64 = 0.6;
/// What is heard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Heard {
    /// Nothing plays.
    Nothing,
    /// The line at this time.
    At(Seconds),
    /// Nothing any longer, though it should: the browser or the system took the sound away. In words.
    Lost(&'static str),
}

/// A clock that stands still for so long, s, is one of a device that plays nothing.
const DEAF: f64 = 10.0;
const TAKEN: &str = "The sound stopped: its output was taken away, as when a device is unplugged or a call comes in. Check the sound output, then play again.";
const DEAF_WORDS: &str =
    "The sound does not move on: its output plays nothing. Check the sound output, then play again.";

/// The context's clock moves in steps; between them it is carried on, by no more than this, s.
const STEP: f64 = 0.02;

/// The sound of the open line.
#[derive(Default)]
pub struct Player {
    context: RefCell<Option<AudioContext>>,
    buffer: RefCell<Option<AudioBuffer>>,
    voice: RefCell<Option<Voice>>,
    /// The buffer's channels in one, for playing at another speed; made when first needed.
    mixed: RefCell<Option<Rc<Vec<f32>>>>,
    /// The context's clock when it last moved, and the page's clock then, s.
    tick: Cell<(f64, f64)>,
}

impl Player {
    fn context(&self) -> Result<AudioContext, String> {
        let mut slot = self.context.borrow_mut();
        if let Some(context) = slot.as_ref() {
            return Ok(context.clone());
        }
        let context = AudioContext::new().map_err(|e| format!("sound is not available: {}", reason(&e)))?;
        *slot = Some(context.clone());
        Ok(context)
    }

    /// Decodes a recording in any format the browser reads.
    ///
    /// # Errors
    /// The browser's reason, with what to do.
    pub async fn decode(&self, bytes: &[u8]) -> Result<Recording, String> {
        let context = self.context()?;
        let array = room::byte_array(bytes)?.buffer();
        let promise = context.decode_audio_data(&array).map_err(|e| reason(&e))?;
        let buffer = JsFuture::from(promise).await.map_err(|e| {
            format!(
                "this file is no sound that the browser can read ({}); WAV, MP3, OGG and M4A usually are",
                reason(&e)
            )
        })?;
        let buffer = AudioBuffer::from(buffer);
        let mixed = mix(&buffer).map_err(|e| reason(&e))?;
        let rate = Hertz::new(f64::from(buffer.sample_rate()));
        Recording::from_interleaved(&mixed, 1, rate, ChannelChoice::Mix).map_err(|e| e.to_string())
    }

    /// Plays a recording's own samples: mono, 16 kHz.
    ///
    /// # Errors
    /// The browser's reason.
    pub fn load(&self, samples: &[f32]) -> Result<(), String> {
        self.stop();
        let context = self.context()?;
        let rate = Recording::RATE.value() as f32;
        let length = u32::try_from(samples.len()).map_err(|_| "the recording is too long to play")?;
        let buffer = context.create_buffer(1, length, rate).map_err(|e| reason(&e))?;
        buffer.copy_to_channel(samples, 0).map_err(|e| reason(&e))?;
        self.set_buffer(Some(buffer));
        Ok(())
    }

    /// Takes the recording as the browser decodes it, if it can, if it is as long as what is
    /// loaded, and if `still` says that it is still wanted.
    pub async fn upgrade(&self, bytes: &[u8], length: f64, still: impl Fn() -> bool) {
        let Ok(context) = self.context() else { return };
        let Ok(array) = room::byte_array(bytes).map(|a| a.buffer()) else { return };
        let Ok(promise) = context.decode_audio_data(&array) else { return };
        let Ok(buffer) = JsFuture::from(promise).await else { return };
        let buffer = AudioBuffer::from(buffer);
        if (buffer.duration() - length).abs() < 0.005 && still() {
            self.set_buffer(Some(buffer));
        }
    }

    /// Forgets the sound.
    pub fn unload(&self) {
        self.stop();
        self.set_buffer(None);
    }

    /// Plays from a time at a speed.
    ///
    /// # Errors
    /// The browser's reason.
    pub fn play(&self, from: Seconds, speed: f64) -> Result<(), String> {
        self.stop();
        // One that was closed stays so; another can be had.
        if self.context.borrow().as_ref().is_some_and(|c| state(c) == "closed") {
            *self.context.borrow_mut() = None;
        }
        // The clock may have stood since the line was last heard.
        self.tick.set((f64::NAN, 0.0));
        let context = self.context()?;
        // A context made before the first click stays silent until it is told to resume.
        let _ = context.resume();
        let Some(buffer) = self.buffer.borrow().clone() else { return Err("no sound is loaded".to_owned()) };
        let began = context.current_time() + 0.02;
        let mut voice =
            Voice { nodes: Vec::new(), began, from: from.value().max(0.0), speed, sounds: false, rest: None };
        if (speed - 1.0).abs() < 1e-9 {
            let node = sounding(&context, &buffer).map_err(|e| reason(&e))?;
            node.start_with_when_and_grain_offset(began, voice.from).map_err(|e| reason(&e))?;
            voice.nodes.push(node);
        } else {
            let rate = f64::from(buffer.sample_rate());
            let sound = self.mixed(&buffer).map_err(|e| reason(&e))?;
            let stretcher = Stretcher::new(rate, speed, voice.from);
            voice.rest = Some(Rest { stretcher, sound, rate, next: began });
            feed(&context, &mut voice).map_err(|e| reason(&e))?;
        }
        *self.voice.borrow_mut() = Some(voice);
        Ok(())
    }

    fn set_buffer(&self, buffer: Option<AudioBuffer>) {
        *self.buffer.borrow_mut() = buffer;
        *self.mixed.borrow_mut() = None;
    }

    fn mixed(&self, buffer: &AudioBuffer) -> Result<Rc<Vec<f32>>, JsValue> {
        if let Some(mixed) = self.mixed.borrow().as_ref() {
            return Ok(Rc::clone(mixed));
        }
        let mixed = Rc::new(mix(buffer)?);
        *self.mixed.borrow_mut() = Some(Rc::clone(&mixed));
        Ok(mixed)
    }

    /// Stops.
    pub fn stop(&self) {
        if let Some(voice) = self.voice.borrow_mut().take() {
            for node in voice.nodes {
                // Stopping a voice that has already ended is not an error worth a word.
                #[allow(deprecated)]
                let _ = node.stop();
                let _ = node.disconnect();
            }
        }
    }

    /// Line time of what is *heard* now: the context's clock less the time the sound still needs
    /// to the loudspeaker. Also makes what is to be heard next. Where the sound is lost, the next
    /// [`Player::play`] asks for an output anew.
    #[must_use]
    pub fn heard(&self) -> Heard {
        let lost = match self.listen() {
            Heard::Lost(words) => words,
            other => return other,
        };
        self.stop();
        if let Some(context) = self.context.borrow_mut().take() {
            // Closed already, perhaps, or gone with its device.
            let _ = context.close();
        }
        Heard::Lost(lost)
    }

    fn listen(&self) -> Heard {
        let mut voice = self.voice.borrow_mut();
        let Some(voice) = voice.as_mut() else { return Heard::Nothing };
        let context = self.context.borrow();
        let Some(context) = context.as_ref() else { return Heard::Nothing };
        let state = state(context);
        // One that has not begun may still be waiting for the browser's leave.
        if state == "closed" || (state != "running" && voice.sounds) {
            return Heard::Lost(TAKEN);
        }
        // A piece that cannot be made is silence; the clock goes on.
        let _ = feed(context, voice);
        // Not in every browser's interface; absent means unknown, taken as none.
        let latency = get(context, "outputLatency")
            .as_f64()
            .filter(|v| v.is_finite() && (0.0..1.0).contains(v))
            .unwrap_or(0.0);
        let (now, stood) = self.smooth(context.current_time());
        if stood > DEAF {
            return Heard::Lost(DEAF_WORDS);
        }
        voice.sounds |= now > voice.began;
        let elapsed = (now - latency - voice.began).max(0.0);
        Heard::At(Seconds::new(voice.from + elapsed * voice.speed))
    }

    /// The context's clock, carried on by the page's clock between its steps; and how long ago it last
    /// moved, s.
    fn smooth(&self, now: f64) -> (f64, f64) {
        let page = web_sys::window().and_then(|w| w.performance()).map_or(0.0, |p| p.now() / 1000.0);
        let (last, at) = self.tick.get();
        if now != last {
            self.tick.set((now, page));
            return (now, 0.0);
        }
        (now + (page - at).clamp(0.0, STEP), page - at)
    }

    /// Plays a few hundredths of a second from a time: what scrubbing sounds like.
    pub fn blip(&self, at: Seconds) {
        let run = || -> Result<(), String> {
            let context = self.context()?;
            let _ = context.resume();
            let Some(buffer) = self.buffer.borrow().clone() else { return Ok(()) };
            let node = sounding(&context, &buffer).map_err(|e| reason(&e))?;
            node.start_with_when_and_grain_offset_and_grain_duration(0.0, at.value().max(0.0), 0.06)
                .map_err(|e| reason(&e))
        };
        // Scrubbing without sound is still scrubbing.
        let _ = run();
    }
}

/// The context's state in the browser's word; some have words that others have not.
fn state(context: &AudioContext) -> String {
    get(context, "state").as_string().unwrap_or_default()
}

/// A source of this sound that is connected to the loudspeaker.
fn sounding(context: &AudioContext, buffer: &AudioBuffer) -> Result<AudioBufferSourceNode, JsValue> {
    let node = context.create_buffer_source()?;
    node.set_buffer(Some(buffer));
    node.connect_with_audio_node(&context.destination())?;
    Ok(node)
}

/// Every channel in one.
fn mix(buffer: &AudioBuffer) -> Result<Vec<f32>, JsValue> {
    let channels = buffer.number_of_channels().max(1);
    let mut mixed = vec![0.0f32; buffer.length() as usize];
    for channel in 0..channels {
        for (sum, x) in mixed.iter_mut().zip(buffer.get_channel_data(channel)?) {
            *sum += x / channels as f32;
        }
    }
    Ok(mixed)
}

/// Makes and schedules pieces until they reach far enough ahead of the ear.
fn feed(context: &AudioContext, voice: &mut Voice) -> Result<(), JsValue> {
    let Some(rest) = voice.rest.as_mut() else { return Ok(()) };
    while rest.next < context.current_time() + AHEAD {
        let piece = rest.stretcher.next(&rest.sound, (PIECE * rest.rate) as usize);
        if piece.is_empty() {
            voice.rest = None;
            return Ok(());
        }
        let buffer = context.create_buffer(1, piece.len() as u32, rest.rate as f32)?;
        buffer.copy_to_channel(&piece, 0)?;
        let node = sounding(context, &buffer)?;
        node.start_with_when(rest.next)?;
        rest.next += piece.len() as f64 / rest.rate;
        // Ended pieces need no stopping any more.
        if voice.nodes.len() > 8 {
            voice.nodes.remove(0);
        }
        voice.nodes.push(node);
    }
    Ok(())
}
