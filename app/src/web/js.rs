//! What the browser offers outside the typed bindings, asked for by name.

use super::files::reason;
use js_sys::{Array, Function, Promise, Reflect};
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;

/// A property; undefined where there is none.
#[must_use]
pub fn get(object: &JsValue, name: &str) -> JsValue {
    Reflect::get(object, &name.into()).unwrap_or(JsValue::UNDEFINED)
}

/// Sets a property of a plain object.
pub fn set(object: &JsValue, name: &str, value: &JsValue) {
    // A fresh plain object takes every property.
    let _ = Reflect::set(object, &name.into(), value);
}

/// True where an object has such a function.
#[must_use]
pub fn has(object: &JsValue, name: &str) -> bool {
    get(object, name).is_function()
}

/// Calls a function of an object.
///
/// # Errors
/// What it throws; undefined where there is no such function.
pub fn call(object: &JsValue, name: &str, arguments: &[JsValue]) -> Result<JsValue, JsValue> {
    let function: Function = get(object, name).dyn_into().map_err(|_| JsValue::UNDEFINED)?;
    let list = Array::new();
    for argument in arguments {
        list.push(argument);
    }
    function.apply(object, &list)
}

/// Calls a function that promises something, and waits for it.
///
/// # Errors
/// What it throws, or why the promise was broken.
pub async fn ask(object: &JsValue, name: &str, arguments: &[JsValue]) -> Result<JsValue, JsValue> {
    let answer = call(object, name, arguments)?;
    match answer.dyn_into::<Promise>() {
        Ok(promise) => JsFuture::from(promise).await,
        Err(value) => Ok(value),
    }
}

/// True if a person closed the browser's own dialog without choosing.
#[must_use]
pub fn is_abort(error: &JsValue) -> bool {
    get(error, "name").as_string().as_deref() == Some("AbortError")
}

/// An error in words, with its name where the browser gives one.
#[must_use]
pub fn words(error: &JsValue) -> String {
    let text = reason(error);
    match get(error, "message").as_string().filter(|m| !m.is_empty()) {
        Some(message) => message,
        None => get(error, "name").as_string().unwrap_or(text),
    }
}
