//! The worker's side of the conversation.

use super::message::{Answer, Job, Stage};
use super::{compare, jobs, suggest};
use crate::editor::Spectrum;
use crate::web::{clock, room};
use js_sys::{Array, Float32Array, Object, Reflect, Uint8Array};
use lipwright_core::audio::skim_wav;
use lipwright_core::phonetics::Lexicon;
use lipwright_core::progress::Progress;
use lipwright_core::recognise::{AcousticModel, Hearing};
use lipwright_core::units::Seconds;
use std::cell::RefCell;
use std::rc::Rc;
use wasm_bindgen::closure::Closure;
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{DedicatedWorkerGlobalScope, MessageEvent};

/// Least progress worth a message.
const STEP: f64 = 0.01;

/// True where this program runs as the page's worker.
#[must_use]
pub fn scope() -> Option<DedicatedWorkerGlobalScope> {
    js_sys::global().dyn_into().ok()
}

/// An envelope: JSON text, and rows of numbers that travel beside it.
pub(crate) fn envelope(
    text: &str,
    numbers: Option<&Float32Array>,
    bytes: Option<&Uint8Array>,
) -> (Object, Array) {
    let object = Object::new();
    let transfer = Array::new();
    // Setting a property of a fresh plain object cannot fail.
    let _ = Reflect::set(&object, &"text".into(), &text.into());
    if let Some(numbers) = numbers {
        let _ = Reflect::set(&object, &"numbers".into(), numbers);
        transfer.push(&numbers.buffer());
    }
    if let Some(bytes) = bytes {
        let _ = Reflect::set(&object, &"bytes".into(), bytes);
        transfer.push(&bytes.buffer());
    }
    (object, transfer)
}

/// Where in an envelope an array lies that is there to be written over.
pub(crate) const SPARE: &str = "spare";

/// The numbers of this name in an envelope, which still are the browser's.
pub(crate) fn array(data: &JsValue, name: &str) -> Option<Float32Array> {
    Reflect::get(data, &name.into()).ok()?.dyn_into().ok()
}

/// What travels beside a text: numbers and bytes.
pub(crate) type Beside = (Vec<f32>, Vec<u8>);

/// Opens an envelope: the text, and what travelled beside it or why there is no room for it.
pub(crate) fn open(data: &JsValue) -> (String, Result<Beside, String>) {
    let field = |name: &str| Reflect::get(data, &name.into()).unwrap_or(JsValue::UNDEFINED);
    let text = field("text").as_string().unwrap_or_default();
    let beside = || {
        let numbers = field("numbers").dyn_into().map_or(Ok(Vec::new()), |a| room::numbers(&a))?;
        Ok((numbers, field("bytes").dyn_into().map_or(Ok(Vec::new()), |a| room::bytes(&a))?))
    };
    (text, beside())
}

fn say(scope: &DedicatedWorkerGlobalScope, answer: &Answer, numbers: Option<&[f32]>, bytes: Option<&[u8]>) {
    say_with(scope, answer, numbers.map(Float32Array::from), bytes);
}

fn say_with(
    scope: &DedicatedWorkerGlobalScope,
    answer: &Answer,
    numbers: Option<Float32Array>,
    bytes: Option<&[u8]>,
) {
    let Ok(text) = serde_json::to_string(answer) else { return };
    let bytes = bytes.map(Uint8Array::from);
    let (object, transfer) = envelope(&text, numbers.as_ref(), bytes.as_ref());
    let _ = scope.post_message_with_transfer(&object, &transfer);
}

/// What the worker keeps: the trained ear, the dictionary once a script was used, the last plan, an array to
/// write the next into.
#[derive(Default)]
struct Shelf {
    spare: RefCell<Option<Float32Array>>,
    model: RefCell<Option<AcousticModel>>,
    words: RefCell<Option<Lexicon>>,
    plan: RefCell<jobs::Memory>,
}

impl Shelf {
    /// The numbers in an array of the browser's: the one that lies ready, if it is as long.
    fn filled(&self, numbers: &[f32]) -> Float32Array {
        match self.spare.take().filter(|a| a.length() as usize == numbers.len()) {
            Some(spare) => {
                spare.copy_from(numbers);
                spare
            }
            None => Float32Array::from(numbers),
        }
    }
}

/// Takes work until the page ends the worker.
pub fn run(scope: DedicatedWorkerGlobalScope) {
    let shelf: Rc<Shelf> = Rc::default();
    let inner = scope.clone();
    let take = Closure::<dyn FnMut(MessageEvent)>::new(move |event: MessageEvent| {
        let (text, beside) = open(&event.data());
        let (scope, shelf) = (inner.clone(), Rc::clone(&shelf));
        if let Some(spare) = array(&event.data(), SPARE) {
            *shelf.spare.borrow_mut() = Some(spare);
        }
        match (serde_json::from_str::<Job>(&text), beside) {
            (Ok(job), Ok((numbers, bytes))) => {
                wasm_bindgen_futures::spawn_local(
                    async move { work(&scope, job, numbers, bytes, &shelf).await },
                )
            }
            (Ok(job), Err(message)) => say(&scope, &Answer::Failed { id: job.id(), message }, None, None),
            (Err(error), _) => say(&scope, &Answer::Failed { id: 0, message: error.to_string() }, None, None),
        }
    });
    scope.set_onmessage(Some(take.as_ref().unchecked_ref()));
    take.forget();
    say(&scope, &Answer::Ready, None, None);
}

/// Times the stages of a job.
struct Stages {
    clock: Option<web_sys::Performance>,
    done: Vec<Stage>,
}

impl Stages {
    fn new(scope: &DedicatedWorkerGlobalScope) -> Self {
        Self { clock: scope.performance(), done: Vec::new() }
    }

    fn now(&self) -> f64 {
        self.clock.as_ref().map_or(0.0, |p| p.time_origin() + p.now())
    }

    /// Ends the stage before and begins one.
    fn begin(&mut self, name: &str) {
        let now = self.now();
        if let Some(last) = self.done.last_mut() {
            last.took = Seconds::new((now - last.began_ms) / 1000.0);
        }
        self.done.push(Stage { name: name.to_owned(), began_ms: now, took: Seconds::ZERO });
    }

    /// Ends the last stage; all of them.
    fn end(&mut self) -> Vec<Stage> {
        self.begin("end");
        let mut stages = std::mem::take(&mut self.done);
        stages.pop();
        stages
    }
}

async fn work(
    scope: &DedicatedWorkerGlobalScope,
    job: Job,
    numbers: Vec<f32>,
    bytes: Vec<u8>,
    shelf: &Shelf,
) {
    let id = job.id();
    let mut stages = Stages::new(scope);
    let mut last = -1.0;
    let mut progress = |stage: &'static str, done: f64| {
        if done - last >= STEP || done < last {
            last = done;
            say(scope, &Answer::Progress { id, stage: stage.to_owned(), done }, None, None);
        }
        true
    };
    let outcome = match job {
        Job::Read { .. } => {
            stages.begin("skimming the waveform");
            // What cannot be skimmed cannot be read, which then says why.
            if let Ok(waveform) = skim_wav(&bytes) {
                let (columns, length) = waveform.to_columns();
                let numbers: Vec<f32> = columns.iter().flat_map(|c| [c.min, c.max, c.rms]).collect();
                say(scope, &Answer::Skimmed { id, length }, Some(&numbers), None);
            }
            stages.begin("reading and resampling");
            // 16-bit samples become twice their bytes.
            room::for_more(2 * bytes.len()).and_then(|()| jobs::read(&bytes)).map(|(sound, recording)| {
                say(scope, &Answer::Timed { id, stages: stages.end() }, None, None);
                say(scope, &Answer::Read { id, sound }, Some(recording.samples()), None);
            })
        }
        Job::Listen { script, .. } => {
            hear(scope, &numbers, &script, shelf, &mut stages, &mut progress).await.map(|hearing| {
                say(scope, &Answer::Timed { id, stages: stages.end() }, None, None);
                say(scope, &Answer::Heard { id, hearing }, None, None);
            })
        }
        Job::Survey { .. } => jobs::look_over(&numbers, &mut progress).map(|survey| {
            let changes: Vec<f32> = survey.changes.iter().map(|t| t.value() as f32).collect();
            let frames = survey.frames();
            let spectrum = Spectrum::new(survey.levels).into_bytes();
            say(scope, &Answer::Surveyed { id, frames }, Some(&changes), Some(&spectrum));
        }),
        Job::Suggest { line, .. } => suggest::suggest(&numbers, &line, &mut progress)
            .map(|list| say(scope, &Answer::Suggested { id, list }, None, None)),
        Job::Plan { line, rig, settings, .. } => {
            let clock = || scope.performance().map_or(0.0, |p| p.now() / 1000.0);
            let memory = &mut shelf.plan.borrow_mut();
            jobs::perform(memory, &line, &rig, &settings, &clock, &mut progress).map(|(performance, took)| {
                let (head, numbers, limited) = performance.into_parts();
                let took_s = Seconds::new(took);
                let taken = clock::taken();
                let numbers = shelf.filled(&numbers);
                say_with(scope, &Answer::Planned { id, head, took_s, taken }, Some(numbers), Some(&limited));
            })
        }
        Job::File { line, rig, settings, kind, .. } => {
            jobs::file(&line, &bytes, &rig, &settings, kind, &mut progress)
                .map(|(file, checked)| say(scope, &Answer::File { id, kind, checked }, None, Some(&file)))
        }
        Job::Show { name, lines, rig, settings, kind, driver, .. } => {
            jobs::show(&name, &lines, &rig, &settings, kind, driver, &mut progress)
                .map(|(file, checked)| say(scope, &Answer::File { id, kind, checked }, None, Some(&file)))
        }
        Job::Compare { lines, before, after, settings, .. } => {
            compare::compare(&lines, &before, &after, &settings, &mut progress)
                .map(|changes| say(scope, &Answer::Compared { id, changes }, None, None))
        }
    };
    if let Err(message) = outcome {
        say(scope, &Answer::Failed { id, message }, None, None);
    }
}

async fn hear(
    scope: &DedicatedWorkerGlobalScope,
    samples: &[f32],
    script: &str,
    shelf: &Shelf,
    stages: &mut Stages,
    progress: &mut dyn Progress,
) -> Result<Hearing, String> {
    stages.begin("fetching the ear");
    if shelf.model.borrow().is_none() {
        let bytes = fetch(scope, "acoustic.bin", "the trained ear").await?;
        let model = AcousticModel::from_bytes(&bytes).map_err(|e| e.to_string())?;
        *shelf.model.borrow_mut() = Some(model);
    }
    if !script.trim().is_empty() && shelf.words.borrow().is_none() {
        let bytes = fetch(scope, "lexicon.bin", "the pronouncing dictionary").await?;
        let words = Lexicon::from_bytes(&bytes).map_err(|e| e.to_string())?;
        *shelf.words.borrow_mut() = Some(words);
    }
    let (model, words) = (shelf.model.borrow(), shelf.words.borrow());
    let model = model.as_ref().ok_or("the trained ear is missing; reload the page")?;
    jobs::listen(samples, script, words.as_ref(), model, &mut |name| stages.begin(name), progress)
}

/// Fetches a file that lies beside the page.
async fn fetch(scope: &DedicatedWorkerGlobalScope, path: &str, what: &str) -> Result<Vec<u8>, String> {
    let failed =
        |e: String| format!("{what} could not be loaded ({path}: {e}); reload the page and try again");
    let thrown = |e: JsValue| failed(crate::web::files::reason(&e));
    let response = JsFuture::from(scope.fetch_with_str(path)).await.map_err(thrown)?;
    let response: web_sys::Response = response.dyn_into().map_err(|_| failed("no response".to_owned()))?;
    if !response.ok() {
        return Err(failed(format!("the server answered {}", response.status())));
    }
    let buffer = JsFuture::from(response.array_buffer().map_err(thrown)?).await.map_err(thrown)?;
    Ok(Uint8Array::new(&buffer).to_vec())
}
