//! `tracks.h`: the packed lines as C++ arrays; `odds.h`: what their reader starts from.

use super::text::plain;
use crate::export::packed::{Packed, trained_odds};
use std::fmt::Write;

/// Largest array: avr-gcc takes none above 32767 bytes.
const PART: usize = 32_000;

const HEAD: &str = "\
// The lines, packed by Lipwright. Generated: change the lines there and export again.
//
// A line longer than 32000 bytes stands in several parts: the compiler takes no larger array. The
// parts lie behind the program (section .text.tracks), so that everything that is read with short
// addresses stays in the first 64 kB. Program code must begin at even addresses, so parts are filled
// up to an even length (0x00).
#pragma once
#include <Arduino.h>

#define TRACK_DATA __attribute__((section(\".text.tracks\"), aligned(2)))

";

/// The text of `tracks.h`.
pub(super) fn text(packed: &[Packed], bytes: &[&[u8]]) -> String {
    // Writing to a String cannot fail, so results are dropped below.
    let mut out = HEAD.to_owned();
    let mut sizes: Vec<usize> = Vec::new();
    let mut first_parts: Vec<usize> = Vec::new();
    for (i, (line, bytes)) in packed.iter().zip(bytes).enumerate() {
        first_parts.push(sizes.len());
        let _ = writeln!(out, "// Line {i}: {}, {} bytes", plain(&line.played.meta().line), bytes.len());
        for part in bytes.chunks(PART) {
            let even = part.len().next_multiple_of(2);
            let _ = write!(out, "static const uint8_t PART_{}[{even}] TRACK_DATA = {{", sizes.len());
            for (k, byte) in part.iter().enumerate() {
                let _ = write!(out, "{}{byte},", if k % 24 == 0 { "\n  " } else { "" });
            }
            if even > part.len() {
                out.push_str(" 0x00");
            }
            out.push_str("\n};\n");
            sizes.push(part.len());
        }
    }
    for (i, line) in packed.iter().enumerate() {
        let _ =
            writeln!(out, "static const char NAME_{i}[] PROGMEM = \"{}\";", plain(&line.played.meta().line));
    }
    let list = |items: Vec<String>| items.join(", ");
    let numbers = |items: &[usize]| list(items.iter().map(usize::to_string).collect());
    let tenths: Vec<usize> = packed
        .iter()
        .map(|p| (p.played.frames() as f64 * p.played.frame().value() * 10.0) as usize)
        .collect();
    let line_sizes: Vec<usize> = bytes.iter().map(|b| b.len()).collect();
    let names = list((0..packed.len()).map(|i| format!("NAME_{i}")).collect());
    let _ = write!(
        out,
        "
static const char *const LINE_NAMES[] PROGMEM = {{{names}}};
static const uint32_t LINE_SIZES[] PROGMEM = {{{}}};
static const uint16_t LINE_TENTHS[] PROGMEM = {{{}}};
static const uint16_t FIRST_PARTS[] PROGMEM = {{{}}};
static const uint16_t PART_SIZES[] PROGMEM = {{{}}};

// Where a part lies. Flash above 64 kB needs 32-bit addresses.
static inline uint32_t part_address(uint16_t part) {{
  switch (part) {{
",
        numbers(&line_sizes),
        numbers(&tenths),
        numbers(&first_parts),
        numbers(&sizes),
    );
    for i in 0..sizes.len() {
        let _ = writeln!(out, "    case {i}: return pgm_get_far_address(PART_{i});");
    }
    out.push_str("    default: return 0;\n  }\n}\n");
    out
}

/// The bytes of every line, read from the text of a `tracks.h`.
pub(super) fn read_back(text: &str) -> Vec<Vec<u8>> {
    let mut lines: Vec<Vec<u8>> = Vec::new();
    let mut inside = false;
    for row in text.lines() {
        if row.starts_with("// Line ") {
            lines.push(Vec::new());
        } else if row.starts_with("static const uint8_t PART_") {
            inside = true;
        } else if row == "};" {
            inside = false;
        } else if let (true, Some(line)) = (inside, lines.last_mut()) {
            line.extend(row.split(',').filter_map(|n| n.trim().parse::<u8>().ok()));
        }
    }
    lines
}

/// The text of `odds.h`.
pub(super) fn odds() -> String {
    let odds = trained_odds();
    let mut out = format!(
        "// With which odds every packed track starts, in 1/32768. Generated; see player.h.
#pragma once
#include \"flash.h\"

const uint16_t ODDS_COUNT = {};
static const uint16_t ODDS[ODDS_COUNT] PROGMEM = {{",
        odds.len()
    );
    for (k, value) in odds.iter().enumerate() {
        let _ = write!(out, "{}{value},", if k % 16 == 0 { "\n  " } else { "" });
    }
    out.push_str("\n};\n");
    out
}
