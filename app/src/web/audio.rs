//! Sound: decoding what the browser can, and playing in step with the picture.

use super::files::reason;
use lipwright_core::audio::{ChannelChoice, Recording};
use lipwright_core::units::{Hertz, Seconds};
use std::cell::RefCell;
use wasm_bindgen_futures::JsFuture;
use web_sys::{AudioBuffer, AudioBufferSourceNode, AudioContext};

/// One playing voice: when it began on the context's clock, where in the line, how fast.
struct Voice {
    node: AudioBufferSourceNode,
    began: f64,
    from: f64,
    speed: f64,
}

/// The sound of the open line.
#[derive(Default)]
pub struct Player {
    context: RefCell<Option<AudioContext>>,
    buffer: RefCell<Option<AudioBuffer>>,
    voice: RefCell<Option<Voice>>,
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

    /// Decodes a recording in any format the browser reads; also keeps it for playing.
    ///
    /// # Errors
    /// The browser's reason, with what to do.
    pub async fn decode(&self, bytes: &[u8]) -> Result<Recording, String> {
        let context = self.context()?;
        let array = js_sys::Uint8Array::from(bytes).buffer();
        let promise = context.decode_audio_data(&array).map_err(|e| reason(&e))?;
        let buffer = JsFuture::from(promise).await.map_err(|e| {
            format!(
                "this file is no sound that the browser can read ({}); WAV, MP3, OGG and M4A usually are",
                reason(&e)
            )
        })?;
        let buffer = AudioBuffer::from(buffer);
        let channels = u16::try_from(buffer.number_of_channels()).unwrap_or(u16::MAX).max(1);
        let frames = buffer.length() as usize;
        let mut mixed = vec![0.0f32; frames];
        for channel in 0..u32::from(channels) {
            let data = buffer.get_channel_data(channel).map_err(|e| reason(&e))?;
            for (sum, x) in mixed.iter_mut().zip(data) {
                *sum += x / f32::from(channels);
            }
        }
        let rate = Hertz::new(f64::from(buffer.sample_rate()));
        let recording =
            Recording::from_interleaved(&mixed, 1, rate, ChannelChoice::Mix).map_err(|e| e.to_string())?;
        *self.buffer.borrow_mut() = Some(buffer);
        Ok(recording)
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
        *self.buffer.borrow_mut() = Some(buffer);
        Ok(())
    }

    /// Takes the recording as the browser decodes it, if it can, if it is as long as what is
    /// loaded, and if `still` says that it is still wanted.
    pub async fn upgrade(&self, bytes: &[u8], length: f64, still: impl Fn() -> bool) {
        let Ok(context) = self.context() else { return };
        let array = js_sys::Uint8Array::from(bytes).buffer();
        let Ok(promise) = context.decode_audio_data(&array) else { return };
        let Ok(buffer) = JsFuture::from(promise).await else { return };
        let buffer = AudioBuffer::from(buffer);
        if (buffer.duration() - length).abs() < 0.005 && still() {
            *self.buffer.borrow_mut() = Some(buffer);
        }
    }

    /// Forgets the sound.
    pub fn unload(&self) {
        self.stop();
        *self.buffer.borrow_mut() = None;
    }

    /// Plays from a time at a speed.
    ///
    /// # Errors
    /// The browser's reason.
    pub fn play(&self, from: Seconds, speed: f64) -> Result<(), String> {
        self.stop();
        let context = self.context()?;
        // A context made before the first click stays silent until it is told to resume.
        let _ = context.resume();
        let Some(buffer) = self.buffer.borrow().clone() else { return Err("no sound is loaded".to_owned()) };
        let node = context.create_buffer_source().map_err(|e| reason(&e))?;
        node.set_buffer(Some(&buffer));
        node.playback_rate().set_value(speed as f32);
        node.connect_with_audio_node(&context.destination()).map_err(|e| reason(&e))?;
        let began = context.current_time() + 0.02;
        node.start_with_when_and_grain_offset(began, from.value().max(0.0)).map_err(|e| reason(&e))?;
        *self.voice.borrow_mut() = Some(Voice { node, began, from: from.value(), speed });
        Ok(())
    }

    /// Stops.
    pub fn stop(&self) {
        if let Some(voice) = self.voice.borrow_mut().take() {
            // Stopping a voice that has already ended is not an error worth a word.
            #[allow(deprecated)]
            let _ = voice.node.stop();
            let _ = voice.node.disconnect();
        }
    }

    /// Line time of what is *heard* now: the context's clock less the time the sound still needs
    /// to the loudspeaker.
    #[must_use]
    pub fn heard(&self) -> Option<Seconds> {
        let voice = self.voice.borrow();
        let voice = voice.as_ref()?;
        let context = self.context.borrow();
        let context = context.as_ref()?;
        // Not in every browser's interface; absent means unknown, taken as none.
        let latency = js_sys::Reflect::get(context, &"outputLatency".into())
            .ok()
            .and_then(|v| v.as_f64())
            .filter(|v| v.is_finite() && *v < 1.0)
            .unwrap_or(0.0);
        let elapsed = (context.current_time() - latency - voice.began).max(0.0);
        Some(Seconds::new(voice.from + elapsed * voice.speed))
    }

    /// Plays a few hundredths of a second from a time: what scrubbing sounds like.
    pub fn blip(&self, at: Seconds) {
        let run = || -> Result<(), String> {
            let context = self.context()?;
            let _ = context.resume();
            let Some(buffer) = self.buffer.borrow().clone() else { return Ok(()) };
            let node = context.create_buffer_source().map_err(|e| reason(&e))?;
            node.set_buffer(Some(&buffer));
            node.connect_with_audio_node(&context.destination()).map_err(|e| reason(&e))?;
            node.start_with_when_and_grain_offset_and_grain_duration(0.0, at.value().max(0.0), 0.06)
                .map_err(|e| reason(&e))
        };
        // Scrubbing without sound is still scrubbing.
        let _ = run();
    }
}
