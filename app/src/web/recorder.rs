//! The microphone: samples as they come, without what browsers do to make a voice fit for a call.

use super::js::{ask, call, get, set, words};
use js_sys::{Array, Float32Array, Object};
use wasm_bindgen::closure::Closure;
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{AudioContext, AudioWorkletNode, MessageEvent};

/// An open microphone; closed when dropped.
pub struct Microphone {
    context: AudioContext,
    stream: JsValue,
    node: AudioWorkletNode,
    _heard: Closure<dyn FnMut(MessageEvent)>,
}

impl Microphone {
    /// Asks for the microphone and hands every block of its samples to `hear`.
    ///
    /// # Errors
    /// The browser's reason: the person said no, there is none, the page is not on a secure address.
    pub async fn open(hear: impl FnMut(Vec<f32>) + 'static) -> Result<Self, String> {
        Self::open_it(hear).await.map_err(|error| match words(&error) {
            text if text.is_empty() => {
                "the browser offers no microphone on this address (https or localhost is needed)".to_owned()
            }
            text => text,
        })
    }

    async fn open_it(mut hear: impl FnMut(Vec<f32>) + 'static) -> Result<Self, JsValue> {
        let window = web_sys::window().ok_or("there is no window")?;
        let devices = get(&window.navigator(), "mediaDevices");
        if !devices.is_object() {
            return Err(
                "the browser offers no microphone on this address; https or localhost is needed".into()
            );
        }
        let (audio, wanted) = (Object::new(), Object::new());
        for name in ["echoCancellation", "noiseSuppression", "autoGainControl"] {
            set(&audio, name, &JsValue::FALSE);
        }
        set(&audio, "channelCount", &1.into());
        set(&wanted, "audio", &audio);
        let stream = ask(&devices, "getUserMedia", &[wanted.into()]).await?;
        let context = AudioContext::new()?;
        // A context made after a click runs; one that does not is told to.
        let _ = context.resume();
        JsFuture::from(context.audio_worklet()?.add_module("recorder.js")?).await?;
        let node = AudioWorkletNode::new(&context, "lipwright-recorder")?;
        let heard = Closure::<dyn FnMut(MessageEvent)>::new(move |event: MessageEvent| {
            if let Ok(block) = event.data().dyn_into::<Float32Array>() {
                hear(block.to_vec());
            }
        });
        node.port()?.set_onmessage(Some(heard.as_ref().unchecked_ref()));
        let source = call(&context, "createMediaStreamSource", std::slice::from_ref(&stream))?;
        call(&source, "connect", &[node.clone().into()])?;
        Ok(Self { context, stream, node, _heard: heard })
    }

    /// Samples a second.
    #[must_use]
    pub fn rate(&self) -> f64 {
        f64::from(self.context.sample_rate())
    }
}

impl Drop for Microphone {
    fn drop(&mut self) {
        // What is closed already need not be closed.
        if let Ok(port) = self.node.port() {
            port.set_onmessage(None);
        }
        if let Ok(tracks) = call(&self.stream, "getTracks", &[]) {
            for track in Array::from(&tracks).iter() {
                let _ = call(&track, "stop", &[]);
            }
        }
        let _ = self.context.close();
    }
}
