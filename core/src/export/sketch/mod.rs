//! A sketch folder for the head's controller: the program, its settings, and every line of a project.
//!
//! The target is an ATmega2560-class board at 16 MHz with the core of the package `arduino-core-avr`. The program is the same
//! for every head (`static/controller/`, plain C++ to be read); what differs is generated: `config.h`
//! (pins, servos, limits), `tracks.h` (the lines, [packed](super::packed)) and `odds.h` (what the
//! packed tracks' reader starts from). A rig on several boards gives a folder for each; the first
//! leads, the others follow its synchronising pulse.
//!
//! Every line is verified against the rig while it is packed, and every generated table is read back
//! from its own text before anything is given out.

mod config;
mod error;
mod size;
#[cfg(test)]
mod tests;
mod text;
mod tracks;
mod zipped;

pub use error::SketchError;
pub use size::{FLASH_BYTES, RAM_BYTES, Size};
pub use zipped::zip;

use super::ServoTrack;
use super::packed::{self, Packed};
use crate::rig::Rig;
use crate::units::{Microseconds, Seconds};
use config::Board;

/// How the servos hang on the board.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Outputs {
    /// Each on a pin of the board: channel 0 on pin 22, and so on.
    #[default]
    Pins,
    /// On a 16-channel I2C PWM driver (PCA9685).
    Driver,
}

/// What to generate.
#[derive(Clone, Debug, PartialEq)]
pub struct SketchSettings {
    /// Name of the sketch; folder and file are named after it.
    pub name: String,
    /// How the servos hang on the board.
    pub outputs: Outputs,
    /// Largest error of the packed tracks.
    pub tolerance: Microseconds,
    /// How long the audio player takes from its start signal to the first sound.
    pub audio_lead: Seconds,
    /// Whether brows and neck move a little between lines.
    pub idle: bool,
}

impl Default for SketchSettings {
    fn default() -> Self {
        Self {
            name: "talking-head".to_owned(),
            outputs: Outputs::Pins,
            tolerance: Microseconds::new(4.0),
            audio_lead: Seconds::ZERO,
            idle: true,
        }
    }
}

/// One board's sketch.
#[derive(Clone, Debug, PartialEq)]
pub struct Sketch {
    /// Name of the board, as in the rig.
    pub board: String,
    /// Name of the folder, and of the `.ino` in it.
    pub folder: String,
    /// Its files.
    pub files: Vec<SketchFile>,
    /// What it needs of the board.
    pub size: Size,
}

/// One file of a sketch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SketchFile {
    /// File name.
    pub name: String,
    /// Its text.
    pub text: String,
}

/// The program's files as they are, but for the main one, which takes the sketch's name.
const PROGRAM: [(&str, &str); 21] = {
    macro_rules! file {
        ($name:literal) => {
            ($name, include_str!(concat!("../../../../static/controller/", $name)))
        };
    }
    [
        file!("console.cpp"),
        file!("console.h"),
        file!("driver.cpp"),
        file!("driver.h"),
        file!("flash.h"),
        file!("health.cpp"),
        file!("health.h"),
        file!("inputs.cpp"),
        file!("inputs.h"),
        file!("lines.cpp"),
        file!("lines.h"),
        file!("link.cpp"),
        file!("link.h"),
        file!("motion.cpp"),
        file!("motion.h"),
        file!("player.cpp"),
        file!("player.h"),
        file!("pulses.cpp"),
        file!("pulses.h"),
        file!("sketch.ino"),
        file!("README.txt"),
    ]
};

/// Generates a sketch for every board of the rig, with all these lines.
///
/// # Errors
/// Where a line does not fit the rig, or the whole does not fit the board; the error says what would.
pub fn sketches(
    lines: &[ServoTrack],
    rig: &Rig,
    settings: &SketchSettings,
) -> Result<Vec<Sketch>, SketchError> {
    if lines.is_empty() || lines.len() > MOST_LINES {
        return Err(SketchError::Lines(lines.len()));
    }
    let mut packed: Vec<Packed> = Vec::with_capacity(lines.len());
    for track in lines {
        if track.frame_us != 20_000 {
            return Err(SketchError::Frame { line: track.meta().line.clone(), frame: track.frame() });
        }
        let one = packed::pack(track, rig, settings.tolerance)
            .map_err(|error| SketchError::Line { line: track.meta().line.clone(), error })?;
        packed.push(one);
    }
    let boards = packed::controllers(rig);
    let many = boards.len() > 1;
    let folders = folders(&boards, settings);
    let each = boards.iter().enumerate().map(|(index, controller)| {
        let board = Board::new(rig, controller, index, many, settings, &packed)?;
        sketch(&board, settings, &packed, folders[index].clone())
    });
    each.collect()
}

/// A folder for each board. Boards whose names differ only in what a folder cannot be called, or in
/// capitals, get one each all the same.
fn folders(boards: &[String], settings: &SketchSettings) -> Vec<String> {
    let mut taken: Vec<String> = Vec::new();
    let many = boards.len() > 1;
    for board in boards {
        let name = if many { format!("{}-{board}", settings.name) } else { settings.name.clone() };
        let plain = text::folder_name(&name);
        let free = |name: &String| !taken.iter().any(|t| t.eq_ignore_ascii_case(name));
        let numbered = (2..).map(|n| format!("{plain}-{n}"));
        let folder = std::iter::once(plain.clone()).chain(numbered).find(free);
        taken.push(folder.unwrap_or(plain));
    }
    taken
}

/// Most lines of a sketch: six selection inputs.
pub const MOST_LINES: usize = 64;

fn sketch(
    board: &Board<'_>,
    settings: &SketchSettings,
    packed: &[Packed],
    folder: String,
) -> Result<Sketch, SketchError> {
    let bytes: Vec<&[u8]> = packed.iter().map(|p| p.boards[board.index].bytes.as_slice()).collect();
    let size = Size::estimate(board, settings, packed, &bytes);
    size.check(settings, packed)?;
    let mut files: Vec<SketchFile> = Vec::with_capacity(PROGRAM.len() + 3);
    for (file, program) in PROGRAM {
        let name = if file == "sketch.ino" { format!("{folder}.ino") } else { file.to_owned() };
        files.push(SketchFile { name, text: program.to_owned() });
    }
    let mut add = |name: &str, text: String| files.push(SketchFile { name: name.to_owned(), text });
    add("config.h", board.config(settings, packed.len()));
    let tracks = tracks::text(packed, &bytes);
    if !tracks::read_back(&tracks).iter().map(Vec::as_slice).eq(bytes.iter().copied()) {
        return Err(SketchError::Differs("tracks.h"));
    }
    add("tracks.h", tracks);
    add("odds.h", tracks::odds());
    Ok(Sketch { board: board.controller.to_owned(), folder, files, size })
}
