// What the head does: the one place that decides every servo's next pulse.
//
// Everything here returns at once. Pulses are in timer ticks of 0.5 us (3000 ticks = 1500 us).
// Channels count from 0 in the order of the table in config.h; lines count from 0 in the order of
// tracks.h. motion_period() runs once per servo period (20 ms) and moves every servo by at most what
// its speed and acceleration allow, whatever was asked.
//
// The console, the bench link and the inputs all ask through these functions; the last one to ask
// wins, except that nothing but a released stop input ends a stop, and nothing ends a fault but a
// reset.
#pragma once
#include <stdint.h>

enum MotionState : uint8_t {
  MOTION_APPROACH,   // after a reset: coming to the rest pose slowly, servo after servo
  MOTION_IDLE,       // at rest, waiting; small idle movement where config.h allows it
  MOTION_PLAYING,    // a line is played
  MOTION_LIVE,       // following targets set by the bench link
  MOTION_RETURNING,  // on the way back to the rest pose, slowly
  MOTION_STOPPED,    // stop input open: braked, holding, audio off
  MOTION_FAULT       // a track is damaged or the set-up is wrong: at rest, LED blinks a code
};

// --- for the sketch itself ---

// Starts: `warm` where the last pulses survived a reset in memory (watchdog, brown-out).
void motion_begin(bool warm);

// Works out the next pulses of all channels and hands them to the outputs. Once a servo period.
void motion_period();

// Brakes and holds while `active`; on release the head returns to rest slowly.
void motion_stop_input(bool active);

// Goes to rest and refuses everything until reset; `code` is the number of blinks.
void motion_fault(uint8_t code);

// --- for console, inputs and bench link ---

MotionState motion_state();
uint8_t motion_channels();                     // number of servos on this board
uint8_t motion_lines();                        // number of lines in flash

// Where a channel is now, in ticks: the pulse that goes out in this period.
uint16_t motion_position(uint8_t channel);

// Asks a channel to go to `ticks`, held to its travel in config.h; it gets there at the speed ceiling
// or slower, and keeps within its acceleration. False while the head approaches, is stopped or
// faulty, or where there is no such channel. Ends a line that is played, and idle movement.
bool motion_set_target(uint8_t channel, uint16_t ticks);

// Speed ceiling for live motion and for played lines, in thousandths of each servo's own full speed
// (config.h): 1000 is full. Below 1000 a played line lags behind itself where it is faster than the
// ceiling. Starts at 1000; a bench host lowers it first and raises it by hand.
void motion_set_speed_ceiling(uint16_t permille);
uint16_t motion_speed_ceiling();

// Leaves whatever it was doing and goes to the rest pose at the slow speed of config.h.
void motion_go_neutral_slowly();

// Plays a line from its start, 0 to 20 ms from now: servo periods do not wait. False where there is no
// such line, or the head approaches, is stopped or faulty.
bool motion_play(uint8_t line);

// Ends a line or live motion: brakes within the servos' acceleration, then returns to rest slowly.
void motion_stop();

// Frame of the line being played (0 while none is), and which line (255 while none is).
uint32_t motion_frame();
uint8_t motion_line();

// First 32 bits of the rig's fingerprint, the same as in the header of every track: tells a bench
// host whether this sketch was made for the rig on its screen.
uint32_t config_hash();
