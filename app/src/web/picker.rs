//! The browser's own file dialogs, where it has them: what is saved again goes into the same file.

use super::js::{ask, call, get, has, is_abort, set, words};
use js_sys::{Array, Object};
use wasm_bindgen::{JsCast, JsValue};
use web_sys::{File, Window};

/// A file on the person's disk that may be written.
#[derive(Clone)]
pub struct Place(JsValue);

impl Place {
    /// Its name.
    #[must_use]
    pub fn name(&self) -> String {
        get(&self.0, "name").as_string().unwrap_or_default()
    }

    /// Writes the whole file; until that is done, the old content stays.
    ///
    /// # Errors
    /// The browser's reason: the permission was taken back, the disk is full.
    pub async fn write(&self, bytes: &[u8]) -> Result<(), String> {
        let write = async {
            let stream = ask(&self.0, "createWritable", &[]).await?;
            let written = match super::room::byte_array(bytes) {
                Ok(array) => ask(&stream, "write", &[array.into()]).await,
                Err(message) => Err(message.into()),
            };
            if let Err(error) = written {
                // The reason is told; whether the half-written copy goes at once does not matter.
                let _ = ask(&stream, "abort", &[]).await;
                return Err(error);
            }
            ask(&stream, "close", &[]).await
        };
        write.await.map(|_| ()).map_err(|e: JsValue| words(&e))
    }
}

fn window() -> Option<Window> {
    web_sys::window()
}

/// True where the browser can write a file that the person points at.
#[must_use]
pub fn can_save() -> bool {
    window().is_some_and(|w| has(&w, "showSaveFilePicker"))
}

/// True where the browser hands out files together with the right to write them.
#[must_use]
pub fn can_open() -> bool {
    window().is_some_and(|w| has(&w, "showOpenFilePicker"))
}

/// Asks where to save; `None` where the person thought better of it.
///
/// # Errors
/// The browser's reason.
pub async fn save_as(name: &str) -> Result<Option<Place>, String> {
    let Some(window) = window() else { return Err("there is no window".to_owned()) };
    let (options, kind, accept) = (Object::new(), Object::new(), Object::new());
    set(&accept, "application/json", &Array::of1(&".json".into()));
    set(&kind, "description", &"Lipwright project".into());
    set(&kind, "accept", &accept);
    set(&options, "suggestedName", &name.into());
    set(&options, "types", &Array::of1(&kind));
    match ask(&window, "showSaveFilePicker", &[options.into()]).await {
        Ok(handle) => Ok(Some(Place(handle))),
        Err(error) if is_abort(&error) => Ok(None),
        Err(error) => Err(words(&error)),
    }
}

/// Asks for files to open; none where the person thought better of it.
///
/// # Errors
/// The browser's reason.
pub async fn open() -> Result<Vec<(File, Place)>, String> {
    let Some(window) = window() else { return Err("there is no window".to_owned()) };
    let options = Object::new();
    set(&options, "multiple", &JsValue::TRUE);
    let handles = match ask(&window, "showOpenFilePicker", &[options.into()]).await {
        Ok(handles) => handles,
        Err(error) if is_abort(&error) => return Ok(Vec::new()),
        Err(error) => return Err(words(&error)),
    };
    let mut files = Vec::new();
    for handle in Array::from(&handles).iter() {
        let file = ask(&handle, "getFile", &[]).await.map_err(|e| words(&e))?;
        if let Ok(file) = file.dyn_into::<File>() {
            files.push((file, Place(handle)));
        }
    }
    Ok(files)
}

/// Asks the browser not to clear what it keeps when space runs short; it may refuse.
pub fn ask_to_stay() {
    if let Some(storage) = window().map(|w| get(&w.navigator(), "storage")) {
        let _ = call(&storage, "persist", &[]);
    }
}
