// The bench link: a host on the other end of the serial line moves the head by hand.
//
// Frames: 0x96, then the content in groups of six bits (0b01xxxxxx each, most significant first), then
// 0xA9. Content: length, kind, sequence, payload, CRC-16/IBM-3740 (high, low). Numbers are big endian.
// Start and end begin with the bits 10, which no text has: the console shares the line.
//
// What keeps the head safe on this end (nothing here is a safety controller: an emergency stop must
// cut servo power in hardware):
//   - nothing moves before a greeting of the same version;
//   - a greeting sets the speed ceiling to 10 %; each raise is refused above 10 points;
//   - no valid frame for 300 ms: slow return to rest, and a new greeting is wanted;
//   - hold-to-move ends 120 ms after the last order to move.
#pragma once
#include <stdint.h>

void link_begin();

// Takes a byte from the serial line. False where it is no part of a frame: it belongs to the console.
bool link_take(uint8_t byte);

// Once per pass of the main loop: heartbeat, link loss, replies. Never waits.
void link_poll();
