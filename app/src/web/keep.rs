//! Edits kept in the browser's own storage, by the recording they belong to.

use super::files::reason;
use crate::editor::rig::Sheet;
use lipwright_core::line::Line;
use lipwright_core::project::ContentHash;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What is kept of one line.
#[derive(Serialize, Deserialize)]
pub struct Kept {
    /// The script.
    pub script: String,
    /// Segments and words as they stood.
    pub line: Line,
}

fn key(hash: &ContentHash) -> String {
    format!("lipwright.line.{hash}")
}

fn storage() -> Result<web_sys::Storage, String> {
    let window = web_sys::window().ok_or("there is no window")?;
    window.local_storage().map_err(|e| reason(&e))?.ok_or_else(|| "the browser refuses it".to_owned())
}

/// Keeps a line.
///
/// # Errors
/// The browser's reason: storage refused or full.
pub fn keep(hash: &ContentHash, kept: &Kept) -> Result<(), String> {
    let text = serde_json::to_string(kept).map_err(|e| e.to_string())?;
    storage()?.set_item(&key(hash), &text).map_err(|e| reason(&e))
}

/// What was kept for a recording; `None` where nothing was, or what was there cannot be read.
#[must_use]
pub fn kept(hash: &ContentHash) -> Option<Kept> {
    let text = storage().ok()?.get_item(&key(hash)).ok()??;
    serde_json::from_str(&text).ok()
}

/// Forgets what was kept for a recording.
pub fn forget(hash: &ContentHash) {
    if let Ok(storage) = storage() {
        let _ = storage.remove_item(&key(hash));
    }
}

/// The head as it is being worked on.
#[derive(Serialize, Deserialize)]
pub struct KeptRig {
    /// The rig in use, as its file says it.
    pub rig: String,
    /// The draft, which may be wrong.
    pub draft: serde_json::Value,
    /// What was measured, by servo or part of the face.
    pub sheets: BTreeMap<String, Sheet>,
}

const RIG: &str = "lipwright.rig";

/// Keeps the rig.
///
/// # Errors
/// The browser's reason: storage refused or full.
pub fn keep_rig(kept: &KeptRig) -> Result<(), String> {
    let text = serde_json::to_string(kept).map_err(|e| e.to_string())?;
    storage()?.set_item(RIG, &text).map_err(|e| reason(&e))
}

/// The rig that was kept; `None` where none was, or what was there cannot be read.
#[must_use]
pub fn kept_rig() -> Option<KeptRig> {
    let text = storage().ok()?.get_item(RIG).ok()??;
    serde_json::from_str(&text).ok()
}
