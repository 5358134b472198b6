//! The hashes of recordings, worked out once each, by the browser where it can: a program in the page takes
//! most of a second for ten minutes of sound, and the page stands still meanwhile.

use crate::editor::Shared;
use crate::web::{files, room};
use lipwright_core::project::ContentHash;
use std::cell::RefCell;

/// What is known of one recording's hash.
enum Hash {
    Known(ContentHash),
    /// The browser is at it.
    Coming(js_sys::Promise),
}

/// The hashes of recordings in the page's memory. A recording is known by being the very same bytes.
#[derive(Default)]
pub struct Hashes(RefCell<Vec<(Shared<Vec<u8>>, Hash)>>);

impl Hashes {
    /// Has the browser begin with a recording, if nobody did. `array` holds its bytes; they are taken before
    /// this returns, so that it may move to the worker then.
    pub fn begin(&self, bytes: &Shared<Vec<u8>>, array: &js_sys::Uint8Array) {
        let mut list = self.0.borrow_mut();
        if !list.iter().any(|(of, _)| of == bytes)
            && let Some(promise) = files::sha256(array)
        {
            list.push((bytes.clone(), Hash::Coming(promise)));
        }
    }

    /// Notes a hash that is known from elsewhere.
    pub fn note(&self, bytes: &Shared<Vec<u8>>, hash: ContentHash) {
        let mut list = self.0.borrow_mut();
        list.retain(|(of, _)| of != bytes);
        list.push((bytes.clone(), Hash::Known(hash)));
    }

    /// The hash of a recording, where it is known.
    pub fn known(&self, bytes: &Shared<Vec<u8>>) -> Option<ContentHash> {
        self.0.borrow().iter().find_map(|(of, hash)| match hash {
            Hash::Known(hash) if of == bytes => Some(hash.clone()),
            _ => None,
        })
    }

    /// The hash of a recording, waited for. Where the browser offers none (pages that came over a plain
    /// network connection), the program works it out here and now.
    pub async fn of(&self, bytes: &Shared<Vec<u8>>) -> ContentHash {
        if let Some(hash) = self.known(bytes) {
            return hash;
        }
        if !self.0.borrow().iter().any(|(of, _)| of == bytes)
            && let Ok(array) = room::byte_array(bytes)
        {
            self.begin(bytes, &array);
        }
        let coming = self.0.borrow().iter().find_map(|(of, hash)| match hash {
            Hash::Coming(promise) if of == bytes => Some(promise.clone()),
            _ => None,
        });
        let digest = match coming {
            Some(promise) => files::digest(promise).await,
            None => None,
        };
        let hash = digest.map_or_else(|| ContentHash::of(bytes), ContentHash::from_digest);
        self.note(bytes, hash.clone());
        hash
    }

    /// Forgets all recordings but those with such a hash; what the browser is still at is forgotten, too.
    pub fn keep_only(&self, wanted: impl Fn(&ContentHash) -> bool) {
        self.0.borrow_mut().retain(|(_, hash)| matches!(hash, Hash::Known(hash) if wanted(hash)));
    }
}
