// Servo pulses: one 16-bit timer times every edge, to half a microsecond, on any pins.
//
// Timer 1 counts in steps of 0.5 us and never stops. Every 20 ms a new period begins; in it each
// servo gets one pulse. All edges of a period are laid out beforehand so that no two are nearer than
// EDGE_GAP: each edge then has the processor to itself for the moment it needs. With the I2C driver
// (OUTPUT_DRIVER in config.h) the same timer keeps the period, and the driver makes the pulses.
#pragma once
#include <stdint.h>

const uint16_t PERIOD_TICKS = 40000;   // 20 ms

void pulses_begin();

// Number of periods begun since the start; wraps.
uint8_t pulses_periods();

// Sets the pulse of a channel for the next period, in ticks; 0 gives no pulse at all.
void pulses_set(uint8_t channel, uint16_t ticks);

// Switches the audio output in the next period, `at` ticks after its beginning.
void pulses_audio(uint16_t at, bool on);

// In a leader, makes the next synchronising pulse a long one: "frame 0 goes out in this period".
void pulses_mark_start();

// In a follower, true once for every long synchronising pulse, in the period after it was heard.
bool pulses_heard_start();

// Lays out the next period from what was set. Call once per period, after all pulses_set().
void pulses_commit();

// Edges that came late because something else held the processor too long. Should stay 0.
uint16_t pulses_late();
