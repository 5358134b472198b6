//! The browser's small storage: choices of the person, and what earlier versions kept there.

use crate::editor::keeping::KeptRig;
use lipwright_core::line::Line;
use lipwright_core::project::ContentHash;
use serde::Deserialize;

/// What earlier versions kept of one line.
#[derive(Deserialize)]
pub struct Kept {
    /// The script.
    pub script: String,
    /// Segments and words as they stood.
    pub line: Line,
}

fn storage() -> Option<web_sys::Storage> {
    web_sys::window()?.local_storage().ok()?
}

fn read(key: &str) -> Option<String> {
    storage()?.get_item(key).ok()?
}

fn key(hash: &ContentHash) -> String {
    format!("lipwright.line.{hash}")
}

/// What an earlier version kept for a recording; `None` where there is nothing, or nothing readable.
#[must_use]
pub fn kept(hash: &ContentHash) -> Option<Kept> {
    serde_json::from_str(&read(&key(hash))?).ok()
}

/// Forgets what an earlier version kept for a recording.
pub fn forget(hash: &ContentHash) {
    if let Some(storage) = storage() {
        let _ = storage.remove_item(&key(hash));
    }
}

const RIG: &str = "lipwright.rig";

/// The rig that an earlier version kept.
#[must_use]
pub fn kept_rig() -> Option<KeptRig> {
    serde_json::from_str(&read(RIG)?).ok()
}

/// Forgets the rig that an earlier version kept.
pub fn forget_rig() {
    if let Some(storage) = storage() {
        let _ = storage.remove_item(RIG);
    }
}

/// A choice the person made before.
#[must_use]
pub fn choice(name: &str) -> Option<String> {
    read(&format!("lipwright.{name}"))
}

/// Remembers a choice; without storage it lasts as long as the page.
pub fn choose(name: &str, value: &str) {
    if let Some(storage) = storage() {
        let _ = storage.set_item(&format!("lipwright.{name}"), value);
    }
}
