//! Web Serial (WICG, "Web Serial API"): a head's controller on a USB cable.
//!
//! The interface is not in every browser, and web-sys keeps it behind an unstable switch, so it is
//! called by name.

use super::files::reason;
use js_sys::{Function, Object, Promise, Reflect, Uint8Array};
use std::cell::{Cell, RefCell};
use std::rc::Rc;
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::{JsFuture, spawn_local};

/// Speed of the line; the sketch uses the same.
const BAUD: u32 = 115_200;

fn get(object: &JsValue, name: &str) -> Result<JsValue, String> {
    Reflect::get(object, &name.into()).map_err(|e| reason(&e))
}

fn call(object: &JsValue, name: &str, argument: Option<&JsValue>) -> Result<JsValue, String> {
    let function: Function =
        get(object, name)?.dyn_into().map_err(|_| format!("the browser's serial port has no {name}"))?;
    match argument {
        Some(argument) => function.call1(object, argument),
        None => function.call0(object),
    }
    .map_err(|e| reason(&e))
}

async fn wait(promise: JsValue) -> Result<JsValue, String> {
    JsFuture::from(Promise::resolve(&promise)).await.map_err(|e| reason(&e))
}

fn serial() -> Option<JsValue> {
    let navigator: JsValue = web_sys::window()?.navigator().into();
    get(&navigator, "serial").ok().filter(JsValue::is_object)
}

/// True where the browser can talk to serial ports.
#[must_use]
pub fn offered() -> bool {
    serial().is_some()
}

/// An open port.
pub struct SerialWire {
    port: JsValue,
    writer: JsValue,
    reader: JsValue,
    inbox: Rc<RefCell<Vec<u8>>>,
    ended: Rc<RefCell<Option<String>>>,
    /// Writes that the browser has not finished.
    unwritten: Rc<Cell<usize>>,
}

impl SerialWire {
    /// Lets the person choose a port and opens it. Must be called from a click.
    ///
    /// # Errors
    /// The browser's reason; none was chosen, or another programme has the port.
    pub async fn choose() -> Result<Self, String> {
        let serial = serial().ok_or("this browser has no Web Serial")?;
        let port = wait(call(&serial, "requestPort", None)?).await?;
        let options = Object::new();
        Reflect::set(&options, &"baudRate".into(), &BAUD.into()).map_err(|e| reason(&e))?;
        wait(call(&port, "open", Some(&options))?).await?;
        let writer = call(&get(&port, "writable")?, "getWriter", None)?;
        let reader = call(&get(&port, "readable")?, "getReader", None)?;
        let wire = Self {
            port,
            writer,
            reader,
            inbox: Rc::default(),
            ended: Rc::default(),
            unwritten: Rc::default(),
        };
        wire.listen();
        Ok(wire)
    }

    fn listen(&self) {
        let (reader, inbox, ended) = (self.reader.clone(), Rc::clone(&self.inbox), Rc::clone(&self.ended));
        spawn_local(async move {
            let why = loop {
                let part = match call(&reader, "read", None) {
                    Ok(promise) => wait(promise).await,
                    Err(e) => break e,
                };
                let part = match part {
                    Ok(part) => part,
                    Err(e) => break e,
                };
                if get(&part, "done").is_ok_and(|d| d.is_truthy()) {
                    break "the port was closed".to_owned();
                }
                if let Ok(value) = get(&part, "value")
                    && let Some(bytes) = value.dyn_ref::<Uint8Array>()
                {
                    inbox.borrow_mut().extend(bytes.to_vec());
                }
            };
            *ended.borrow_mut() = Some(why);
        });
    }

    /// Sends bytes. Where the port cannot keep up, they are dropped: an old pose is worth nothing, and
    /// the link counts what is lost.
    pub fn send(&self, bytes: &[u8]) {
        const BEHIND: usize = 8;
        if bytes.is_empty() || self.unwritten.get() > BEHIND {
            return;
        }
        let array = Uint8Array::from(bytes);
        let (unwritten, ended) = (Rc::clone(&self.unwritten), Rc::clone(&self.ended));
        match call(&self.writer, "write", Some(&array)) {
            Ok(promise) => {
                unwritten.set(unwritten.get() + 1);
                spawn_local(async move {
                    if let Err(e) = wait(promise).await {
                        ended.borrow_mut().get_or_insert(e);
                    }
                    unwritten.set(unwritten.get().saturating_sub(1));
                });
            }
            Err(e) => {
                ended.borrow_mut().get_or_insert(e);
            }
        }
    }

    /// What has come since the last call.
    #[must_use]
    pub fn take(&self) -> Vec<u8> {
        std::mem::take(&mut *self.inbox.borrow_mut())
    }

    /// Why the port is gone, if it is.
    #[must_use]
    pub fn ended(&self) -> Option<String> {
        self.ended.borrow().clone()
    }

    /// Sends what is left and closes the port.
    pub fn close(self) {
        spawn_local(async move {
            // Each step may fail because the port is already gone; it is closed then.
            if let Ok(promise) = call(&self.writer, "close", None) {
                let _ = wait(promise).await;
            }
            if let Ok(promise) = call(&self.reader, "cancel", None) {
                let _ = wait(promise).await;
            }
            let _ = call(&self.reader, "releaseLock", None);
            if let Ok(promise) = call(&self.port, "close", None) {
                let _ = wait(promise).await;
            }
        });
    }
}
