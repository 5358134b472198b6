//! The browser's database, in three stores: recordings by content hash, states of the project by
//! number, and a short entry for each state.
//!
//! One state is written in one transaction, so that a page that is killed leaves the state before
//! or the state after, never half of one.

use super::js::{call, has, words};
use super::room;
use js_sys::{Array, Function, Promise, Uint8Array};
use wasm_bindgen::closure::Closure;
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{EventTarget, IdbDatabase, IdbFactory, IdbRequest, IdbTransaction, IdbTransactionMode};

const NAME: &str = "lipwright";
const VERSION: u32 = 1;
const RECORDINGS: &str = "recordings";
const STATES: &str = "states";
const ENTRIES: &str = "entries";

/// The open database.
#[derive(Clone)]
pub struct Database(IdbDatabase);

/// What one transaction writes and takes away.
#[derive(Default)]
pub struct Change {
    /// Number of the new state.
    pub id: u32,
    /// Its content.
    pub state: String,
    /// Its entry.
    pub entry: String,
    /// Recordings that are not stored yet: hash and bytes.
    pub recordings: Vec<(String, Uint8Array)>,
    /// States that go.
    pub old_states: Vec<u32>,
    /// Recordings that go.
    pub old_recordings: Vec<String>,
}

/// Waits for one event of success or of failure; `why` says what failed.
async fn event(
    target: &EventTarget,
    good: &str,
    bad: &[&str],
    why: impl FnOnce() -> JsValue + 'static,
) -> Result<(), JsValue> {
    let mut why = Some(why);
    // Kept here until one of them has been called: handed over to the browser, the one that never is would
    // stay for good, and with it the transaction that it asks.
    let mut heard = None;
    let promise = Promise::new(&mut |resolve: Function, reject: Function| {
        let Some(mut why) = why.take().map(Some) else { return };
        let done = Closure::<dyn FnMut()>::new(move || {
            let _ = resolve.call0(&JsValue::NULL);
        });
        let failed = Closure::<dyn FnMut()>::new(move || {
            if let Some(why) = why.take() {
                let _ = reject.call1(&JsValue::NULL, &why());
            }
        });
        // Listening to an object that is there does not fail.
        let _ = target.add_event_listener_with_callback(good, done.as_ref().unchecked_ref());
        for name in bad {
            let _ = target.add_event_listener_with_callback(name, failed.as_ref().unchecked_ref());
        }
        heard = Some((done, failed));
    });
    let outcome = JsFuture::from(promise).await.map(|_| ());
    if let Some((done, failed)) = heard {
        // What is not listened to need not be there.
        let _ = target.remove_event_listener_with_callback(good, done.as_ref().unchecked_ref());
        for name in bad {
            let _ = target.remove_event_listener_with_callback(name, failed.as_ref().unchecked_ref());
        }
    }
    outcome
}

fn error_of(request: &IdbRequest) -> JsValue {
    request.error().ok().flatten().map_or(JsValue::UNDEFINED, Into::into)
}

async fn answer(request: IdbRequest) -> Result<JsValue, JsValue> {
    let asked = request.clone();
    event(&request, "success", &["error"], move || error_of(&asked)).await?;
    request.result()
}

async fn finished(transaction: IdbTransaction) -> Result<(), JsValue> {
    let asked = transaction.clone();
    // Every error ends in an abort, which alone says why the whole was given up.
    event(&transaction, "complete", &["abort"], move || {
        asked.error().map_or_else(|| JsValue::from("the browser gave it up"), Into::into)
    })
    .await
}

fn factory() -> Result<IdbFactory, JsValue> {
    let window = web_sys::window().ok_or("there is no window")?;
    window.indexed_db()?.ok_or_else(|| "the browser refuses it".into())
}

impl Database {
    /// Opens it, and makes it where there is none.
    ///
    /// # Errors
    /// The browser's reason.
    pub async fn open() -> Result<Self, String> {
        Self::open_it().await.map_err(|e| words(&e))
    }

    async fn open_it() -> Result<Self, JsValue> {
        let request = factory()?.open_with_u32(NAME, VERSION)?;
        let asked = request.clone();
        let make = Closure::once_into_js(move || {
            let Ok(database) = asked.result().and_then(|r| r.dyn_into::<IdbDatabase>()) else { return };
            for store in [RECORDINGS, STATES, ENTRIES] {
                // A store that cannot be made shows itself when it is first used.
                let _ = database.create_object_store(store);
            }
        });
        request.set_onupgradeneeded(Some(make.unchecked_ref()));
        let database: IdbDatabase = answer(request.into()).await?.dyn_into()?;
        // A later program that wants another form of the database must not wait for this page.
        let old = database.clone();
        let leave = Closure::once_into_js(move || old.close());
        database.set_onversionchange(Some(leave.unchecked_ref()));
        Ok(Self(database))
    }

    fn store(&self, name: &str) -> Result<web_sys::IdbObjectStore, JsValue> {
        self.0.transaction_with_str(name)?.object_store(name)
    }

    /// Every entry, oldest first.
    ///
    /// # Errors
    /// The browser's reason.
    pub async fn entries(&self) -> Result<Vec<String>, String> {
        let read = async {
            let all = answer(self.store(ENTRIES)?.get_all()?).await?;
            Ok(Array::from(&all).iter().filter_map(|v| v.as_string()).collect())
        };
        read.await.map_err(|e: JsValue| words(&e))
    }

    /// A state's content; `None` where there is none of this number.
    ///
    /// # Errors
    /// The browser's reason.
    pub async fn state(&self, id: u32) -> Result<Option<String>, String> {
        let read = async {
            let found = answer(self.store(STATES)?.get(&id.into())?).await?;
            Ok(found.as_string())
        };
        read.await.map_err(|e: JsValue| words(&e))
    }

    /// A recording's bytes; `None` where it is not stored.
    ///
    /// # Errors
    /// The browser's reason.
    pub async fn recording(&self, hash: &str) -> Result<Option<Vec<u8>>, String> {
        let read = async {
            let found = answer(self.store(RECORDINGS)?.get(&hash.into())?).await?;
            found.dyn_into::<Uint8Array>().ok().map(|a| room::bytes(&a).map_err(Into::into)).transpose()
        };
        read.await.map_err(|e: JsValue| words(&e))
    }

    /// Writes a state: all of it, or nothing.
    ///
    /// # Errors
    /// The browser's reason, storage being full among them.
    pub async fn write(&self, change: Change) -> Result<(), String> {
        self.write_it(change).await.map_err(|e| words(&e))
    }

    async fn write_it(&self, change: Change) -> Result<(), JsValue> {
        let stores = Array::of3(&RECORDINGS.into(), &STATES.into(), &ENTRIES.into());
        let transaction =
            self.0.transaction_with_str_sequence_and_mode(&stores, IdbTransactionMode::Readwrite)?;
        let asked = || -> Result<(), JsValue> {
            let recordings = transaction.object_store(RECORDINGS)?;
            let (states, entries) = (transaction.object_store(STATES)?, transaction.object_store(ENTRIES)?);
            for (hash, bytes) in &change.recordings {
                recordings.put_with_key(bytes, &hash.into())?;
            }
            states.put_with_key(&change.state.as_str().into(), &change.id.into())?;
            entries.put_with_key(&change.entry.as_str().into(), &change.id.into())?;
            for id in &change.old_states {
                states.delete(&(*id).into())?;
                entries.delete(&(*id).into())?;
            }
            for hash in &change.old_recordings {
                recordings.delete(&hash.into())?;
            }
            Ok(())
        };
        if let Err(error) = asked() {
            // Half of a state is none.
            let _ = transaction.abort();
            return Err(error);
        }
        // Not waiting for the answers lets a page that is closing finish what it began.
        if has(&transaction, "commit") {
            call(&transaction, "commit", &[])?;
        }
        finished(transaction).await
    }
}
