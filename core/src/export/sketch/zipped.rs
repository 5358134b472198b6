//! The sketch folders as one zip archive, for a browser to download.

use super::{Sketch, SketchError};
use std::io::{Cursor, Read, Write};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

/// Packs sketch folders into a zip archive, and reads it back before giving it out.
///
/// # Errors
/// Where the archive cannot be made or does not read back.
pub fn zip(sketches: &[Sketch]) -> Result<Vec<u8>, SketchError> {
    let bytes = write(sketches).map_err(|e| SketchError::Zip(e.to_string()))?;
    match same(&bytes, sketches) {
        Ok(true) => Ok(bytes),
        Ok(false) => Err(SketchError::Differs("the zip archive")),
        Err(e) => Err(SketchError::Zip(e.to_string())),
    }
}

fn path(sketch: &Sketch, name: &str) -> String {
    format!("{}/{name}", sketch.folder)
}

fn write(sketches: &[Sketch]) -> Result<Vec<u8>, zip::result::ZipError> {
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    // The oldest date a zip can hold: the same sketch gives the same bytes.
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .last_modified_time(zip::DateTime::default());
    for sketch in sketches {
        for file in &sketch.files {
            archive.start_file(path(sketch, &file.name), options)?;
            archive.write_all(file.text.as_bytes())?;
        }
    }
    Ok(archive.finish()?.into_inner())
}

fn same(bytes: &[u8], sketches: &[Sketch]) -> Result<bool, zip::result::ZipError> {
    let mut archive = ZipArchive::new(Cursor::new(bytes))?;
    let mut files = 0;
    for sketch in sketches {
        for file in &sketch.files {
            let mut text = String::new();
            archive.by_name(&path(sketch, &file.name))?.read_to_string(&mut text)?;
            if text != file.text {
                return Ok(false);
            }
            files += 1;
        }
    }
    Ok(archive.len() == files)
}
