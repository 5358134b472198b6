// The lines in flash: tracks.h holds their bytes, this reads them one after the other.
#pragma once
#include <stdint.h>

// Checks every line once; slow ones take a few milliseconds. Gives the number of bad lines.
uint8_t lines_begin();

// True where there is such a line and it passed its check.
bool lines_good(uint8_t line);

// What is wrong with a line: a TrackFault of player.h.
uint8_t lines_fault(uint8_t line);

// Goes to the beginning of a line; lines_next() then gives its bytes.
bool lines_open(uint8_t line);
uint8_t lines_next();

uint32_t lines_size(uint8_t line);
uint16_t lines_tenths(uint8_t line);      // its length in tenths of a second
const char *lines_name(uint8_t line);     // in flash
