//! Bringing files in and out.

use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{Blob, BlobPropertyBag, File, HtmlAnchorElement, Url};

/// What went wrong, in the browser's words.
#[must_use]
pub fn reason(value: &JsValue) -> String {
    value
        .dyn_ref::<js_sys::Error>()
        .map(|e| String::from(e.message()))
        .or_else(|| value.as_string())
        .unwrap_or_else(|| "the browser gave no reason".to_owned())
}

/// The files of a list.
#[must_use]
pub fn all(list: Option<&web_sys::FileList>) -> Vec<File> {
    let count = list.map_or(0, web_sys::FileList::length);
    (0..count).filter_map(|i| list.and_then(|l| l.get(i))).collect()
}

/// Reads a whole file: its bytes, and the browser's own array of them.
///
/// # Errors
/// The browser's reason, or that memory does not suffice.
pub async fn read(file: &File) -> Result<(Vec<u8>, js_sys::Uint8Array), String> {
    let buffer = JsFuture::from(file.array_buffer()).await.map_err(|e| reason(&e))?;
    let array = js_sys::Uint8Array::new(&buffer);
    Ok((super::room::bytes(&array)?, array))
}

/// Begins the SHA-256 of bytes by the browser itself, which is quicker than a program in it and does not hold
/// up the page; `None` where it offers none (pages that came over a plain network connection).
///
/// The browser takes a copy of the bytes before this returns; [`digest`] waits for the hash.
#[must_use]
pub fn sha256(array: &js_sys::Uint8Array) -> Option<js_sys::Promise> {
    let subtle = super::js::get(&super::js::get(&js_sys::global(), "crypto"), "subtle");
    super::js::call(&subtle, "digest", &["SHA-256".into(), array.into()]).ok()?.dyn_into().ok()
}

/// Waits for what [`sha256`] began; `None` where the browser gave up.
pub async fn digest(begun: js_sys::Promise) -> Option<[u8; 32]> {
    let digest = JsFuture::from(begun).await.ok()?;
    js_sys::Uint8Array::new(&digest).to_vec().try_into().ok()
}

/// Fetches a file that lies beside the page.
///
/// # Errors
/// A sentence naming the file.
pub async fn fetch(path: &str) -> Result<Vec<u8>, String> {
    let window = web_sys::window().ok_or("there is no window")?;
    let response =
        JsFuture::from(window.fetch_with_str(path)).await.map_err(|e| format!("{path}: {}", reason(&e)))?;
    let response: web_sys::Response = response.dyn_into().map_err(|_| format!("{path}: no response"))?;
    if !response.ok() {
        return Err(format!("{path}: the server answered {}", response.status()));
    }
    let buffer = response.array_buffer().map_err(|e| format!("{path}: {}", reason(&e)))?;
    let buffer = JsFuture::from(buffer).await.map_err(|e| format!("{path}: {}", reason(&e)))?;
    Ok(js_sys::Uint8Array::new(&buffer).to_vec())
}

/// An address in this page for a file; to be forgotten again.
///
/// # Errors
/// The browser's reason.
pub fn address(kind: &str, bytes: &[u8]) -> Result<String, String> {
    let parts = js_sys::Array::of1(&super::room::byte_array(bytes)?.into());
    let options = BlobPropertyBag::new();
    options.set_type(kind);
    let blob = Blob::new_with_u8_array_sequence_and_options(&parts, &options).map_err(|e| reason(&e))?;
    Url::create_object_url_with_blob(&blob).map_err(|e| reason(&e))
}

/// Forgets an address.
pub fn forget_address(address: &str) {
    // One that was never given out is forgotten already.
    let _ = Url::revoke_object_url(address);
}

/// Hands the person a file to keep.
///
/// # Errors
/// The browser's reason.
pub fn download(name: &str, kind: &str, bytes: &[u8]) -> Result<(), String> {
    let url = address(kind, bytes)?;
    let document = web_sys::window().and_then(|w| w.document()).ok_or("there is no page")?;
    let link = document.create_element("a").map_err(|e| reason(&e))?;
    let link: HtmlAnchorElement = link.dyn_into().map_err(|_| "no link could be made")?;
    link.set_href(&url);
    link.set_download(name);
    link.click();
    // The browser has taken the content by the time the click returns; give slow ones a minute.
    let later = wasm_bindgen::closure::Closure::once_into_js(move || {
        let _ = Url::revoke_object_url(&url);
    });
    if let Some(window) = web_sys::window() {
        let _ = window.set_timeout_with_callback_and_timeout_and_arguments_0(later.unchecked_ref(), 60_000);
    }
    Ok(())
}

/// A file name that every system takes: letters, digits, dash.
#[must_use]
pub fn safe_name(name: &str) -> String {
    let mut out: String = name
        .trim()
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { '-' })
        .collect::<String>()
        .split('-')
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join("-");
    out.truncate(out.char_indices().nth(60).map_or(out.len(), |(i, _)| i));
    if out.is_empty() { "line".to_owned() } else { out.to_lowercase() }
}

#[cfg(test)]
mod tests {
    use super::safe_name;

    #[test]
    fn names_become_file_names() {
        assert_eq!(safe_name("Welcome, to Port Wimbry!"), "welcome-to-port-wimbry");
        assert_eq!(safe_name("../../etc"), "etc");
        assert_eq!(safe_name("  "), "line");
        assert_eq!(safe_name(&"ü".repeat(100)).chars().count(), 60);
    }
}
