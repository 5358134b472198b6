//! Keeping a canvas's size in step with its place on the page.

use std::cell::RefCell;
use wasm_bindgen::JsCast;
use wasm_bindgen::JsValue;
use wasm_bindgen::closure::Closure;
use web_sys::{Element, IntersectionObserver, IntersectionObserverEntry, ResizeObserver};

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
pub struct SeenWatch {
    observer: IntersectionObserver,
    _told: Closure<dyn FnMut(js_sys::Array)>,
}

impl SeenWatch {
    /// Starts watching; `None` in a browser that cannot.
    pub fn new(element: &Element, tell: impl Fn(bool) + 'static) -> Option<Self> {
        let told = Closure::<dyn FnMut(js_sys::Array)>::new(move |entries: js_sys::Array| {
            // The last entry is how things stand.
            let last: JsValue = entries.pop();
            if let Ok(entry) = last.dyn_into::<IntersectionObserverEntry>() {
                tell(entry.is_intersecting());
            }
        });
        let observer = IntersectionObserver::new(told.as_ref().unchecked_ref()).ok()?;
        observer.observe(element);
        Some(Self { observer, _told: told })
    }
}

impl Drop for SeenWatch {
    fn drop(&mut self) {
        self.observer.disconnect();
    }
}
