#include "lines.h"

#include <Arduino.h>

#include "config.h"
#include "flash.h"
#include "player.h"
#include "tracks.h"

static uint8_t faults[LINES];
static uint16_t part;        // part being read
static uint32_t address;     // of the next byte
static uint16_t left;        // bytes left in this part

static void open_part(uint16_t which) {
  part = which;
  left = pgm_read_word(&PART_SIZES[which]);
  address = part_address(which);
}

bool lines_open(uint8_t line) {
  if (line >= LINES) return false;
  open_part(pgm_read_word(&FIRST_PARTS[line]));
  return true;
}

uint8_t lines_next() {
  if (left == 0) open_part(part + 1);
  left--;
  return pgm_read_byte_far(address++);
}

uint8_t lines_begin() {
  uint8_t bad = 0;
  for (uint8_t i = 0; i < LINES; i++) {
    lines_open(i);
    faults[i] = player_check(lines_next, lines_size(i));
    if (faults[i] != TRACK_GOOD) bad++;
  }
  return bad;
}

bool lines_good(uint8_t line) { return line < LINES && faults[line] == TRACK_GOOD; }

uint8_t lines_fault(uint8_t line) { return line < LINES ? faults[line] : (uint8_t)TRACK_NO_TRACK; }

uint32_t lines_size(uint8_t line) { return pgm_read_dword(&LINE_SIZES[line]); }

uint16_t lines_tenths(uint8_t line) { return pgm_read_word(&LINE_TENTHS[line]); }

const char *lines_name(uint8_t line) { return (const char *)pgm_read_ptr(&LINE_NAMES[line]); }
