//! Builds of the page whose program may take little memory: what a browser gives is not for a test to
//! use up, but the program's own file says how much it may ask for, and page and worker run the same file.

use crate::workspace;
use std::path::Path;

/// Section of a WebAssembly module that declares its memory (WebAssembly core specification, 5.5.8).
const MEMORY: u8 = 5;
/// Bytes of a page of memory.
const PAGE: u64 = 65_536;

/// A copy of the built page whose program gets at most this many bytes, besides what it has at the start.
///
/// # Panics
/// Where the page is not built, or its program is no module with one memory of its own.
#[must_use]
pub fn built_for(more: u64) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    copy(&workspace().join("dist"), folder.path());
    let program = folder.path().join("lipwright-app_bg.wasm");
    let module = std::fs::read(&program).expect("the page's program; run `make page`");
    std::fs::write(&program, limited(&module, more / PAGE)).expect("written");
    folder
}

fn copy(from: &Path, to: &Path) {
    for entry in std::fs::read_dir(from).expect("a folder of the page") {
        let path = entry.expect("an entry").path();
        let target = to.join(path.file_name().expect("a name"));
        if path.is_dir() {
            std::fs::create_dir_all(&target).expect("a folder");
            copy(&path, &target);
        } else {
            std::fs::copy(&path, &target).expect("a file");
        }
    }
}

/// The module with its memory limited to so many pages more than it starts with.
fn limited(module: &[u8], more: u64) -> Vec<u8> {
    const HEADER: usize = 8;
    let mut out = module[..HEADER].to_vec();
    let (mut at, mut found) = (HEADER, false);
    while at < module.len() {
        let id = module[at];
        let (size, content) = number(module, at + 1);
        let end = content + usize::try_from(size).expect("a section that fits");
        if id == MEMORY {
            assert_eq!(module[content], 1, "one memory");
            let (least, _) = number(module, content + 2);
            let mut section = vec![1, 1];
            write_number(least, &mut section);
            write_number(least + more, &mut section);
            out.push(id);
            write_number(section.len() as u64, &mut out);
            out.extend(section);
            found = true;
        } else {
            out.extend(&module[at..end]);
        }
        at = end;
    }
    assert!(found, "the program declares its memory");
    out
}

/// A number in LEB128, and where it ends.
fn number(bytes: &[u8], mut at: usize) -> (u64, usize) {
    let (mut value, mut shift) = (0, 0);
    loop {
        value |= u64::from(bytes[at] & 0x7F) << shift;
        shift += 7;
        at += 1;
        if bytes[at - 1] < 0x80 {
            return (value, at);
        }
    }
}

fn write_number(mut value: u64, out: &mut Vec<u8>) {
    while value >= 0x80 {
        out.push((value & 0x7F) as u8 | 0x80);
        value >>= 7;
    }
    out.push(value as u8);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Written by hand after the specification: header, a custom section, a memory of 17 pages, a start.
    #[test]
    fn only_the_memory_section_changes() {
        let module = [&b"\0asm\x01\0\0\0"[..], &[0, 3, 1, b'x', 7], &[5, 3, 1, 0, 17], &[8, 1, 0]].concat();
        let expected =
            [&b"\0asm\x01\0\0\0"[..], &[0, 3, 1, b'x', 7], &[5, 5, 1, 1, 17, 0x91, 0x08], &[8, 1, 0]]
                .concat();
        assert_eq!(limited(&module, 1024), expected, "17 and 1041 pages");
    }

    #[test]
    fn numbers_are_leb128() {
        // The specification's own example of a number that is not one byte long: 624485.
        let mut out = Vec::new();
        write_number(624_485, &mut out);
        assert_eq!(out, [0xE5, 0x8E, 0x26]);
        assert_eq!(number(&out, 0), (624_485, 3));
    }
}
