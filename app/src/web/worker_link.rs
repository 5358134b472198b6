//! The page's side of the conversation with its worker.

use super::room;
use crate::work::serve::{SPARE, array, envelope, open};
use crate::work::{Answer, Job};
use js_sys::{Float32Array, Uint8Array};
use std::cell::{Cell, RefCell};
use std::collections::VecDeque;
use std::rc::Rc;
use wasm_bindgen::JsCast;
use wasm_bindgen::closure::Closure;
use web_sys::{MessageEvent, Worker, WorkerOptions, WorkerType};

/// An answer with the numbers that travelled beside it.
pub struct Delivery {
    /// What was said.
    pub answer: Answer,
    /// Numbers beside it.
    pub numbers: Vec<f32>,
    /// Bytes beside it.
    pub bytes: Vec<u8>,
}

/// Work with what travels beside it, which is the browser's by then: it takes no room here while it waits.
type Post = (Job, Option<Float32Array>, Option<Uint8Array>);

/// One worker, started anew whenever its work is called off.
pub struct WorkerLink {
    worker: RefCell<Option<Worker>>,
    ready: Cell<bool>,
    waiting: RefCell<VecDeque<Post>>,
    /// The array in which the last plan came. It goes back with the next, to be written over: a new one of
    /// some megabytes for each edit would wait by the dozen for the browser to collect it.
    spare: RefCell<Option<Float32Array>>,
    hear: Box<dyn Fn(Delivery)>,
    broken: Box<dyn Fn(String)>,
    next: Cell<u32>,
}

impl WorkerLink {
    /// Starts a worker; `hear` gets every answer, `broken` what went wrong with the worker itself.
    #[must_use]
    pub fn start(hear: impl Fn(Delivery) + 'static, broken: impl Fn(String) + 'static) -> Rc<Self> {
        let link = Rc::new(Self {
            worker: RefCell::new(None),
            ready: Cell::new(false),
            waiting: RefCell::new(VecDeque::new()),
            spare: RefCell::new(None),
            hear: Box::new(hear),
            broken: Box::new(broken),
            next: Cell::new(1),
        });
        link.spawn();
        link
    }

    /// A number for the next job.
    pub fn number(&self) -> u32 {
        self.next.replace(self.next.get() + 1)
    }

    fn spawn(self: &Rc<Self>) {
        let options = WorkerOptions::new();
        options.set_type(WorkerType::Module);
        let worker = match Worker::new_with_options("worker.js", &options) {
            Ok(worker) => worker,
            Err(error) => {
                (self.broken)(format!("the worker could not start: {}", super::files::reason(&error)));
                return;
            }
        };
        let link = Rc::downgrade(self);
        let take = Closure::<dyn FnMut(MessageEvent)>::new(move |event: MessageEvent| {
            let Some(link) = link.upgrade() else { return };
            let (text, beside) = open(&event.data());
            match (serde_json::from_str::<Answer>(&text), beside) {
                (Ok(Answer::Ready), _) => link.flush(),
                (Ok(answer), Ok((numbers, bytes))) => {
                    if matches!(answer, Answer::Planned { .. }) {
                        *link.spare.borrow_mut() = array(&event.data(), "numbers");
                    }
                    (link.hear)(Delivery { answer, numbers, bytes });
                }
                (Ok(answer), Err(message)) => link.refuse(answer.id(), message),
                (Err(error), _) => {
                    (link.broken)(format!("the worker said something that could not be read: {error}"))
                }
            }
        });
        worker.set_onmessage(Some(take.as_ref().unchecked_ref()));
        take.forget();
        let link = Rc::downgrade(self);
        let fail = Closure::<dyn FnMut(web_sys::ErrorEvent)>::new(move |event: web_sys::ErrorEvent| {
            let Some(link) = link.upgrade() else { return };
            // A worker that failed once may be left half done: take a fresh one.
            link.restart();
            (link.broken)(fell(&event.message()));
        });
        worker.set_onerror(Some(fail.as_ref().unchecked_ref()));
        fail.forget();
        *self.worker.borrow_mut() = Some(worker);
    }

    fn flush(&self) {
        self.ready.set(true);
        let waiting: Vec<Post> = self.waiting.borrow_mut().drain(..).collect();
        for (job, numbers, bytes) in waiting {
            self.post(&job, numbers.as_ref(), bytes.as_ref());
        }
    }

    fn post(&self, job: &Job, numbers: Option<&Float32Array>, bytes: Option<&Uint8Array>) {
        // Not borrowed while posting: what is heard meanwhile may replace the worker.
        let Some(worker) = self.worker.borrow().clone() else { return };
        let Ok(text) = serde_json::to_string(job) else { return };
        let (object, transfer) = envelope(&text, numbers, bytes);
        if matches!(job, Job::Plan { .. })
            && let Some(spare) = self.spare.borrow_mut().take()
        {
            super::js::set(&object, SPARE, &spare);
            transfer.push(&spare.buffer());
        }
        if let Err(error) = worker.post_message_with_transfer(&object, &transfer) {
            (self.broken)(format!("the worker could not be given work: {}", super::files::reason(&error)));
        }
    }

    /// Gives work with an array of bytes, which moves to the worker without being copied.
    pub fn send_whole(&self, job: Job, array: &Uint8Array) {
        if self.ready.get() {
            self.post(&job, None, Some(array));
        } else {
            self.waiting.borrow_mut().push_back((job, None, Some(array.clone())));
        }
    }

    /// Gives work; it waits where the worker is not up yet.
    pub fn send(self: &Rc<Self>, job: Job, numbers: &[f32], bytes: &[u8]) {
        let numbers = (!numbers.is_empty()).then(|| room::number_array(numbers)).transpose();
        let bytes = (!bytes.is_empty()).then(|| room::byte_array(bytes)).transpose();
        match (numbers, bytes) {
            (Ok(numbers), Ok(bytes)) if self.ready.get() => {
                self.post(&job, numbers.as_ref(), bytes.as_ref());
            }
            (Ok(numbers), Ok(bytes)) => self.waiting.borrow_mut().push_back((job, numbers, bytes)),
            (Err(message), _) | (_, Err(message)) => self.refuse(job.id(), message),
        }
    }

    /// Answers for the worker that a job failed; soon, as an answer comes: who asked may not be done asking.
    fn refuse(self: &Rc<Self>, id: u32, message: String) {
        let link = Rc::clone(self);
        wasm_bindgen_futures::spawn_local(async move {
            let answer = Answer::Failed { id, message };
            (link.hear)(Delivery { answer, numbers: Vec::new(), bytes: Vec::new() });
        });
    }

    /// Calls all work off: ends the worker where it stands and starts another.
    pub fn restart(self: &Rc<Self>) {
        if let Some(worker) = self.worker.borrow_mut().take() {
            worker.terminate();
        }
        self.ready.set(false);
        self.waiting.borrow_mut().clear();
        self.spawn();
    }
}

/// What is said of a worker that fell over; `why` in the browser's words.
fn fell(why: &str) -> String {
    // A program without memory left traps, and the browser only says where.
    let memory = ["unreachable", "memory", "allocation"].iter().any(|w| why.contains(w));
    let perhaps = if memory {
        " This is what happens where memory runs out: close other tabs, or cut long recordings into shorter ones."
    } else {
        ""
    };
    format!(
        "the worker failed ({why}); it was started anew: the line is as you left it, and the next edit plans it again.{perhaps}"
    )
}

#[cfg(test)]
mod tests {
    use super::fell;

    #[test]
    fn a_worker_that_may_have_run_out_of_memory_is_spoken_of_so() {
        assert!(fell("Uncaught RuntimeError: unreachable").contains("memory runs out"));
        assert!(!fell("Uncaught SyntaxError").contains("memory"));
    }
}
