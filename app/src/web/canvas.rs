//! Keeping a canvas's size in step with its place on the page.

use js_sys::{Array, Function, Reflect};
use std::cell::RefCell;
use wasm_bindgen::JsCast;
use wasm_bindgen::JsValue;
use wasm_bindgen::closure::Closure;
use web_sys::{Element, ResizeObserver};

/// Tells the size of an element, in logical pixels, now and whenever it changes; stops when dropped.
pub struct SizeWatch {
    observer: ResizeObserver,
    _told: Closure<dyn FnMut()>,
}

impl SizeWatch {
    /// Starts watching; `None` in a browser that cannot.
    pub fn new(element: &Element, tell: impl Fn(f64, f64) + 'static) -> Option<Self> {
        let watched = element.clone();
        let last = RefCell::new((-1.0, -1.0));
        let told = Closure::<dyn FnMut()>::new(move || {
            let size = (f64::from(watched.client_width()), f64::from(watched.client_height()));
            if last.replace(size) != size {
                tell(size.0, size.1);
            }
        });
        let observer = ResizeObserver::new(told.as_ref().unchecked_ref()).ok()?;
        observer.observe(element);
        Some(Self { observer, _told: told })
    }
}

impl Drop for SizeWatch {
    fn drop(&mut self) {
        self.observer.disconnect();
    }
}

/// Tells whether any of an element is in sight, now and whenever that changes; stops when dropped.
///
/// The browser's `IntersectionObserver`, called by name.
pub struct SeenWatch {
    observer: JsValue,
    _told: Closure<dyn FnMut(Array)>,
}

impl SeenWatch {
    /// Starts watching; `None` in a browser that cannot.
    pub fn new(element: &Element, tell: impl Fn(bool) + 'static) -> Option<Self> {
        let told = Closure::<dyn FnMut(Array)>::new(move |entries: Array| {
            // The last entry is how things stand.
            let seen = Reflect::get(&entries.pop(), &"isIntersecting".into());
            if let Some(seen) = seen.ok().and_then(|s| s.as_bool()) {
                tell(seen);
            }
        });
        let class: Function =
            Reflect::get(&js_sys::global(), &"IntersectionObserver".into()).ok()?.dyn_into().ok()?;
        let observer = Reflect::construct(&class, &Array::of1(told.as_ref())).ok()?;
        let watch = Self { observer, _told: told };
        watch.call("observe", element)?;
        Some(watch)
    }

    fn call(&self, method: &str, argument: &JsValue) -> Option<()> {
        let method: Function = Reflect::get(&self.observer, &method.into()).ok()?.dyn_into().ok()?;
        method.call1(&self.observer, argument).ok().map(drop)
    }
}

impl Drop for SeenWatch {
    fn drop(&mut self) {
        // It was there to be made; it is there to be ended.
        let _ = self.call("disconnect", &JsValue::UNDEFINED);
    }
}
