//! How much of the board a sketch needs.

use super::config::Board;
use super::{Outputs, SketchError, SketchSettings};
use crate::export::packed::Packed;

/// Flash of an ATmega2560 that a sketch can use: 256 KiB less the boot loader's 8 KiB.
pub const FLASH_BYTES: usize = 253_952;
/// RAM of an ATmega2560.
pub const RAM_BYTES: usize = 8_192;
/// RAM left to the stack.
const STACK: usize = 1_024;

/// Bytes a sketch needs. Estimated by a formula that the tests hold against what the compiler makes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Size {
    /// Flash, everything.
    pub flash: usize,
    /// Part of the flash that the packed lines take.
    pub tracks: usize,
    /// RAM for variables; the stack comes on top.
    pub ram: usize,
}

// Measured with avr-gcc 5.4 -Os and arduino-core-avr 1.8.7, rounded up.
const PROGRAM_FLASH: usize = 17_700;
const DRIVER_FLASH: usize = 300;
const SERVO_FLASH: usize = 15;
const LINE_FLASH: usize = 40;
const PROGRAM_RAM: usize = 3_300;
const SERVO_RAM: usize = 80;
const LINE_RAM: usize = 1;

impl Size {
    pub(super) fn estimate(
        board: &Board<'_>,
        settings: &SketchSettings,
        packed: &[Packed],
        bytes: &[&[u8]],
    ) -> Self {
        let tracks = bytes.iter().map(|b| b.len()).sum();
        let names: usize = packed.iter().map(|p| p.played.meta().line.len().min(40) + 1).sum();
        let driver = if settings.outputs == Outputs::Driver { DRIVER_FLASH } else { 0 };
        let servos = board.servos.len();
        Self {
            flash: PROGRAM_FLASH + driver + SERVO_FLASH * servos + LINE_FLASH * packed.len() + names + tracks,
            tracks,
            ram: PROGRAM_RAM + SERVO_RAM * servos + LINE_RAM * packed.len(),
        }
    }

    pub(super) fn check(&self, settings: &SketchSettings, packed: &[Packed]) -> Result<(), SketchError> {
        if self.ram + STACK > RAM_BYTES {
            return Err(SketchError::TooLarge {
                what: "RAM",
                needs: self.ram + STACK,
                has: RAM_BYTES,
                fix: "give some of the servos to a second board".to_owned(),
            });
        }
        if self.flash <= FLASH_BYTES {
            return Ok(());
        }
        let room = FLASH_BYTES.saturating_sub(self.flash - self.tracks);
        let seconds: f64 = packed.iter().map(|p| p.played.frames() as f64 * p.played.frame().value()).sum();
        let fit = seconds * room as f64 / self.tracks.max(1) as f64;
        Err(SketchError::TooLarge {
            what: "flash",
            needs: self.flash,
            has: FLASH_BYTES,
            fix: format!(
                "about {fit:.0} of the {seconds:.0} seconds of lines would fit: export fewer or shorter lines, \
                 allow a larger error than {:.1}, or keep the packed tracks on an SD card",
                settings.tolerance
            ),
        })
    }
}
