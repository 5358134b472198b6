//! Content hashes: which recording, which rig.

use crate::rig::{Extra, LinkageDescription, Rig, RigDescription};
use sha2::{Digest, Sha256};
use std::fmt::Write;

/// SHA-256 of bytes, as 64 lower-case hex digits.
///
/// ```
/// let empty = lipwright_core::export::sha256_hex(b"");
/// assert!(empty.starts_with("e3b0c44298fc1c14"));
/// ```
#[must_use]
pub fn sha256_hex(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(64);
    for byte in Sha256::digest(bytes) {
        // Writing to a String cannot fail.
        let _ = write!(text, "{byte:02x}");
    }
    text
}

/// Hash of everything about a rig that decides whether a track is safe on it: servos, mechanisms,
/// skin, couplings, face and supply. Name, notes, poses and unknown fields do not count.
#[must_use]
pub fn rig_fingerprint(rig: &Rig) -> String {
    let mut bare = rig.description().clone();
    bare.name.clear();
    bare.notes.clear();
    bare.poses.clear();
    bare.expressions.clear();
    for extra in extras(&mut bare) {
        extra.clear();
    }
    sha256_hex(bare.to_json().as_bytes())
}

fn extras(d: &mut RigDescription) -> Vec<&mut Extra> {
    let mut all = vec![&mut d.extra, &mut d.supply.extra, &mut d.face.extra];
    all.extend(d.servos.iter_mut().map(|s| &mut s.extra));
    for m in &mut d.mechanisms {
        all.push(&mut m.extra);
        all.extend(m.drives.iter_mut().map(|x| &mut x.extra));
        if let LinkageDescription::Table { points } = &mut m.linkage {
            all.extend(points.iter_mut().map(|x| &mut x.extra));
        }
    }
    for x in &mut d.dofs {
        all.push(&mut x.extra);
        all.extend(x.response.iter_mut().map(|r| &mut r.extra));
    }
    for c in &mut d.couplings {
        all.push(&mut c.extra);
        all.extend(c.terms.iter_mut().map(|x| &mut x.extra));
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-2 example (from memory): "abc".
    #[test]
    fn sha256_of_abc() {
        assert_eq!(sha256_hex(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }

    #[test]
    fn only_what_limits_motion_counts() {
        let rig = Rig::harbourmaster();
        let mut d = rig.description().clone();
        d.notes = "painted".into();
        d.servos[3].extra.insert("colour".into(), "blue".into());
        assert_eq!(rig_fingerprint(&Rig::new(d.clone()).expect("still valid")), rig_fingerprint(&rig));
        d.servos[3].pulse_max_us -= 1.0;
        assert_ne!(rig_fingerprint(&Rig::new(d).expect("still valid")), rig_fingerprint(&rig));
    }
}
