//! Animation frames and timers.

use leptos::prelude::*;
use lipwright_core::units::Seconds;
use std::cell::{Cell, RefCell};
use std::rc::Rc;
use wasm_bindgen::JsCast;
use wasm_bindgen::closure::Closure;

/// Runs a piece of work at most once per animation frame, however often it is asked for.
pub struct OncePerFrame {
    asked: Rc<Cell<bool>>,
    run: Rc<Closure<dyn FnMut()>>,
}

impl OncePerFrame {
    /// Wraps the work.
    #[must_use]
    pub fn new(mut work: impl FnMut() + 'static) -> Self {
        let asked = Rc::new(Cell::new(false));
        let inner = Rc::clone(&asked);
        let run = Closure::new(move || {
            inner.set(false);
            work();
        });
        Self { asked, run: Rc::new(run) }
    }

    /// Asks for one run in the next frame.
    pub fn ask(&self) {
        if !self.asked.replace(true)
            && let Some(window) = web_sys::window()
        {
            let _ = window.request_animation_frame((*self.run).as_ref().unchecked_ref());
        }
    }
}

thread_local! {
    static FRAMES: Frames = Frames::new();
}

/// Counts animation frames while someone asks, for pictures that paint once a frame. It belongs to the
/// page: no component takes it along when it goes.
#[derive(Clone)]
pub struct Frames {
    tick: ArcRwSignal<u32>,
    next: Rc<OncePerFrame>,
}

impl Frames {
    fn new() -> Self {
        let tick = ArcRwSignal::new(0u32);
        let counted = tick.clone();
        let next = OncePerFrame::new(move || counted.update(|t| *t = t.wrapping_add(1)));
        Self { tick, next: Rc::new(next) }
    }

    /// The page's own count.
    #[must_use]
    pub fn shared() -> Self {
        FRAMES.with(Self::clone)
    }

    /// The frame that is being made.
    #[must_use]
    pub fn count(&self) -> u32 {
        self.tick.get_untracked()
    }

    /// Asks for the next frame to be counted.
    pub fn ask(&self) {
        self.next.ask();
    }

    /// Has the effect that calls this run again in the next frame.
    pub fn wait(&self) {
        self.tick.track();
        self.ask();
    }
}

#[cfg(feature = "weigh")]
#[global_allocator]
static IN_USE: peak_alloc::PeakAlloc = peak_alloc::PeakAlloc;

/// Leaves a stage of work in the browser's own record of times, for whoever measures: the last one of its
/// name, so that hours of editing leave no thousands.
pub fn measured(name: &str, began_ms: f64, took: Seconds) {
    let Some(clock) = web_sys::window().and_then(|w| w.performance()) else { return };
    let options = js_sys::Object::new();
    let start = (began_ms - clock.time_origin()).max(0.0);
    super::js::set(&options, "start", &start.into());
    super::js::set(&options, "duration", &(took.value() * 1000.0).into());
    let name = format!("lipwright: {name}");
    // A browser that keeps no such record loses nothing.
    let _ = super::js::call(&clock, "clearMeasures", &[name.as_str().into()]);
    let _ = super::js::call(&clock, "measure", &[name.into(), options.into()]);
}

/// How much memory the program has taken where this runs, bytes.
#[must_use]
pub fn taken() -> Option<f64> {
    let memory = super::js::get(&wasm_bindgen::memory(), "buffer");
    super::js::get(&memory, "byteLength").as_f64()
}

/// Says how much memory the page's program and its worker's have taken, on the document's body, for whoever
/// measures.
pub fn weighed(worker: Option<f64>) {
    let Some(body) = web_sys::window().and_then(|w| w.document()).and_then(|d| d.body()) else { return };
    for (name, bytes) in [("data-worker-bytes", worker), ("data-wasm-bytes", taken())] {
        if let Some(bytes) = bytes {
            let _ = body.set_attribute(name, &format!("{bytes:.0}"));
        }
    }
    #[cfg(feature = "weigh")]
    let _ = body.set_attribute("data-wasm-used", &IN_USE.current_usage().to_string());
}

/// The clock of the computer, milliseconds since 1970.
#[must_use]
pub fn now_ms() -> f64 {
    web_sys::window().and_then(|w| w.performance()).map_or(0.0, |p| p.time_origin() + p.now())
}

/// Runs a piece of work once things have been quiet for a while.
pub struct WhenQuiet {
    handle: Rc<Cell<Option<i32>>>,
    wait: i32,
    run: RefCell<Rc<Closure<dyn FnMut()>>>,
}

impl WhenQuiet {
    /// Wraps the work; `wait` in milliseconds.
    #[must_use]
    pub fn new(wait: i32, mut work: impl FnMut() + 'static) -> Self {
        let handle = Rc::new(Cell::new(None));
        let inner = Rc::clone(&handle);
        let run = Closure::new(move || {
            inner.set(None);
            work();
        });
        Self { handle, wait, run: RefCell::new(Rc::new(run)) }
    }

    /// Starts waiting anew.
    pub fn poke(&self) {
        let Some(window) = web_sys::window() else { return };
        if let Some(old) = self.handle.take() {
            window.clear_timeout_with_handle(old);
        }
        let run = Rc::clone(&self.run.borrow());
        let handle = window.set_timeout_with_callback_and_timeout_and_arguments_0(
            (*run).as_ref().unchecked_ref(),
            self.wait,
        );
        self.handle.set(handle.ok());
    }
}

/// Runs a piece of work within a time after it was asked for, however often it is asked for meanwhile.
pub struct Within {
    asked: Rc<Cell<bool>>,
    wait: i32,
    run: Closure<dyn FnMut()>,
}

impl Within {
    /// Wraps the work; `wait` in milliseconds.
    #[must_use]
    pub fn new(wait: i32, mut work: impl FnMut() + 'static) -> Self {
        let asked = Rc::new(Cell::new(false));
        let inner = Rc::clone(&asked);
        let run = Closure::new(move || {
            inner.set(false);
            work();
        });
        Self { asked, wait, run }
    }

    /// Asks for one run before the time is over.
    pub fn ask(&self) {
        let Some(window) = web_sys::window() else { return };
        if !self.asked.replace(true) {
            let asked = window.set_timeout_with_callback_and_timeout_and_arguments_0(
                self.run.as_ref().unchecked_ref(),
                self.wait,
            );
            // A timer that cannot be had is asked for again next time.
            self.asked.set(asked.is_ok());
        }
    }
}

/// Waits.
pub async fn sleep(ms: i32) {
    let promise = js_sys::Promise::new(&mut |resolve, _| {
        if let Some(window) = web_sys::window() {
            let _ = window.set_timeout_with_callback_and_timeout_and_arguments_0(&resolve, ms);
        }
    });
    // A timer does not fail.
    let _ = wasm_bindgen_futures::JsFuture::from(promise).await;
}
