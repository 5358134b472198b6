// Reads packed tracks: checks them, then gives the pulses of every channel frame by frame.
//
// The format is described in full in Lipwright's core/src/export/packed. In short: every servo goes
// straight on from frame to frame unless its speed is corrected by a whole number of steps; the
// corrections are written by an adaptive range coder. Only integers are used, bytes are read one
// after the other, and nothing is kept but where each servo is and the odds of the coder.
#pragma once
#include <stdint.h>

// Gives the next byte of a track. From flash it is tracks_next(); to play from an SD card, give a
// function that returns the next byte of an open file.
typedef uint8_t (*NextByte)();

enum TrackFault : uint8_t {
  TRACK_GOOD = 0,
  TRACK_NO_TRACK = 1,     // does not begin like a packed track, or a later version
  TRACK_OTHER_RIG = 2,    // made for a head with other limits, or another number of servos
  TRACK_DAMAGED = 3       // the check sum is wrong
};

// Reads a whole track of `size` bytes once and says whether it is sound and made for this sketch.
TrackFault player_check(NextByte next, uint32_t size);

// Starts a track that has been checked. False where its table of channels makes no sense.
bool player_begin(NextByte next);

// Works out the next frame. False after the last one, and where the data leave the pulse range.
bool player_frame();

// Pulse of a channel in the frame last worked out, in tenths of a microsecond.
uint16_t player_pulse(uint8_t channel);

uint32_t player_frames();     // number of frames
int32_t player_start_us();    // time of frame 0 on the recording's axis, microseconds
