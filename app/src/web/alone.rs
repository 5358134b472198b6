//! One page at a time keeps the project: a lock that the browser gives to one tab only, and a way to
//! ask the tab that has it to hand it over.

use super::js::{ask, get, has, set};
use js_sys::{Function, Object, Promise};
use std::cell::{Cell, RefCell};
use std::rc::Rc;
use wasm_bindgen::closure::Closure;
use wasm_bindgen::{JsCast, JsValue};
use web_sys::BroadcastChannel;

const NAME: &str = "lipwright.project";
/// What a tab says that wants to keep the project itself.
const HAND_OVER: &str = "hand over";

/// This tab's right to keep the project.
#[derive(Default)]
pub struct Alone {
    held: Rc<Cell<bool>>,
    release: Rc<RefCell<Option<Function>>>,
    channel: RefCell<Option<BroadcastChannel>>,
}

fn locks() -> JsValue {
    web_sys::window().map_or(JsValue::UNDEFINED, |w| get(&w.navigator(), "locks"))
}

impl Alone {
    /// True if this tab keeps the project.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.held.get()
    }

    /// Hears when another tab wants the project.
    pub fn on_request(&self, hear: impl Fn() + 'static) {
        let Ok(channel) = BroadcastChannel::new(NAME) else { return };
        let told = Closure::<dyn FnMut(web_sys::MessageEvent)>::new(move |event: web_sys::MessageEvent| {
            if event.data().as_string().as_deref() == Some(HAND_OVER) {
                hear();
            }
        });
        channel.set_onmessage(Some(told.as_ref().unchecked_ref()));
        // The page listens as long as it lives.
        told.forget();
        *self.channel.borrow_mut() = Some(channel);
    }

    /// Asks the tab that has the project for it.
    pub fn ask_for_it(&self) {
        if let Some(channel) = self.channel.borrow().as_ref() {
            // A channel that is closed has nobody at its other end.
            let _ = channel.post_message(&HAND_OVER.into());
        }
    }

    /// Takes the project if no other tab has it, or in any case where `steal`; `lost` is called when
    /// another tab takes it by force. True if this tab has it now. A browser without locks lets every
    /// tab have it.
    pub async fn take(&self, steal: bool, lost: impl Fn() + 'static) -> bool {
        let locks = locks();
        if self.held.get() || !has(&locks, "request") {
            self.held.set(true);
            return true;
        }
        let options = Object::new();
        set(&options, if steal { "steal" } else { "ifAvailable" }, &JsValue::TRUE);
        let (held, release) = (Rc::clone(&self.held), Rc::clone(&self.release));
        let mut told = None;
        let known = Promise::new(&mut |resolve: Function, _| told = Some(resolve));
        let Some(told) = told else { return false };
        let on_lock = Closure::once_into_js(move |lock: JsValue| -> JsValue {
            held.set(!lock.is_null());
            let _ = told.call0(&JsValue::NULL);
            if lock.is_null() {
                return JsValue::UNDEFINED;
            }
            // The lock lasts as long as this promise is open.
            Promise::new(&mut |resolve: Function, _| *release.borrow_mut() = Some(resolve)).into()
        });
        let held = Rc::clone(&self.held);
        wasm_bindgen_futures::spawn_local(async move {
            let ended = ask(&locks, "request", &[NAME.into(), options.into(), on_lock]).await;
            // Handed over in peace, `held` is false already.
            if ended.is_err() && held.replace(false) {
                lost();
            }
        });
        // The promise is only ever kept.
        let _ = wasm_bindgen_futures::JsFuture::from(known).await;
        self.held.get()
    }

    /// Gives the project up.
    pub fn give_up(&self) {
        self.held.set(false);
        if let Some(release) = self.release.borrow_mut().take() {
            let _ = release.call0(&JsValue::NULL);
        }
    }
}
