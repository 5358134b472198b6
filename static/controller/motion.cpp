#include "motion.h"

#include <Arduino.h>

#define WITH_SERVO_TABLE
#include "config.h"
#include "flash.h"
#include "health.h"
#include "lines.h"
#include "player.h"
#include "pulses.h"

// All positions here are in tenths of a microsecond, speeds in tenths per period: the resolution of
// the tracks. Only the outputs round to ticks.

struct Joint {
  int32_t at;        // pulse of this period
  int32_t speed;     // change in this period
  int32_t target;    // where it shall go when it is not playing
  bool follows;      // plays the track exactly (else it is still on its way to it)
};

static Joint joints[CHANNELS];
static MotionState state = MOTION_APPROACH;
static uint16_t ceiling = 1000;
static uint16_t periods_in_state = 0;
static uint8_t playing_line = 255;
static uint32_t playing_frame = 0;
static bool warm_start = false;
static bool stop_open = false;

// The table of config.h, copied from flash once.
static ServoConfig servos[CHANNELS];

// --- how a servo gets somewhere within its speed and acceleration ---

static uint32_t root(uint32_t x) {
  uint32_t result = 0;
  for (uint32_t bit = 1UL << 30; bit != 0; bit >>= 2) {
    if (x >= result + bit) {
      x -= result + bit;
      result = (result >> 1) + bit;
    } else {
      result >>= 1;
    }
  }
  return result;
}

// One period on the way to `target`: never faster than `fastest`, never changing speed by more than
// `bend`, and slow enough to stop there. A speed v needs v (v + bend) / (2 bend) to come to rest.
static void step_towards(Joint &joint, int32_t target, int32_t fastest_up, int32_t fastest_down, int32_t bend) {
  int32_t gap = target - joint.at;
  if (gap == 0 && joint.speed == 0) return;
  uint32_t distance = gap < 0 ? -gap : gap;
  if (distance > 16000) distance = 16000;   // far enough for any speed; keeps the root within 32 bits
  int32_t stoppable = ((int32_t)root((uint32_t)bend * bend + 8UL * bend * distance) - bend) / 2;
  if (stoppable < 1) stoppable = 1;
  if ((uint32_t)stoppable > distance) stoppable = distance;
  int32_t wanted = gap < 0 ? -min(stoppable, fastest_down) : min(stoppable, fastest_up);
  joint.speed += constrain(wanted - joint.speed, -bend, bend);
  joint.at += joint.speed;
}

// The pulse range is the last word, whatever was asked.
static void hold_in_range(Joint &joint, const ServoConfig &config) {
  if (joint.at < (int32_t)config.low) joint.at = config.low, joint.speed = 0;
  if (joint.at > (int32_t)config.high) joint.at = config.high, joint.speed = 0;
}

static int32_t part(uint16_t speed, uint16_t permille) {
  int32_t result = (int32_t)speed * permille / 1000;
  return result < 1 ? 1 : result;
}

static void move_slowly(uint8_t i, const ServoConfig &config) {
  if (joints[i].at == joints[i].target && joints[i].speed == 0) return;
  // Slowly, and never above a ceiling that a hand has set lower still.
  int32_t slow = part(min(config.rise, config.fall), min(SLOW_PERMILLE, ceiling));
  step_towards(joints[i], joints[i].target, slow, slow, config.bend);
}

static void move_live(uint8_t i, const ServoConfig &config, int32_t target) {
  step_towards(joints[i], target, part(config.rise, ceiling), part(config.fall, ceiling), config.bend);
}

static void brake(uint8_t i, const ServoConfig &config) {
  int32_t bend = config.bend;
  joints[i].speed -= constrain(joints[i].speed, -bend, bend);
  joints[i].at += joints[i].speed;
}

// --- states ---

static void enter(MotionState next) {
  if (state == MOTION_FAULT) return;
  if (state == MOTION_PLAYING && next != MOTION_PLAYING) {
    playing_line = 255;
    pulses_audio(0, false);
  }
  state = next;
  periods_in_state = 0;
}

static void aim_at_rest() {
  for (uint8_t i = 0; i < CHANNELS; i++) joints[i].target = servos[i].rest;
}

static bool all_at_rest() {
  for (uint8_t i = 0; i < CHANNELS; i++) {
    if (joints[i].at != (int32_t)servos[i].rest || joints[i].speed != 0) return false;
  }
  return true;
}

static bool obeys() { return state != MOTION_APPROACH && state != MOTION_STOPPED && state != MOTION_FAULT; }

// --- what survives a reset: the last pulses, in memory that the start-up code leaves alone ---

struct Kept {
  uint16_t mark;
  uint16_t at[CHANNELS];
  uint16_t sum;
};

static Kept kept __attribute__((section(".noinit")));
const uint16_t KEPT_MARK = 0x4C57;

static uint16_t kept_sum() {
  uint16_t sum = KEPT_MARK;
  for (uint8_t i = 0; i < CHANNELS; i++) sum = (uint16_t)(sum << 1 | sum >> 15) ^ kept.at[i];
  return sum;
}

static void keep_pulses() {
  for (uint8_t i = 0; i < CHANNELS; i++) kept.at[i] = (uint16_t)joints[i].at;
  kept.sum = kept_sum();
  kept.mark = KEPT_MARK;
}

void motion_begin(bool warm) {
  memcpy_P(servos, SERVOS, sizeof servos);
  warm_start = warm && kept.mark == KEPT_MARK && kept.sum == kept_sum();
  for (uint8_t i = 0; i < CHANNELS; i++) {
    const ServoConfig &config = servos[i];
    joints[i].at = warm_start ? kept.at[i] : config.rest;
    joints[i].speed = 0;
    hold_in_range(joints[i], config);
  }
  aim_at_rest();
  state = MOTION_APPROACH;
  periods_in_state = 0;
}

// --- approach ---
//
// After a reset that memory survived, the last pulses are known and every servo goes on from there,
// slowly. After power-up nobody knows where the head stands, and a hobby servo runs to its first
// pulse as fast as it can. What can be done: servos come on one after another, and each gets only
// every fifth pulse at first, which makes most analogue servos creep. Digital servos may not care:
// hold the head near rest when you switch on, or switch servo power by SERVO_POWER_PIN.

const uint8_t STAGGER = 10;      // periods from one servo to the next
const uint8_t SPARSE_FOR = 50;   // periods of sparse pulses
const uint8_t SPARSE = 5;        // one pulse in so many periods

static bool approach_gives_pulse(uint8_t i) {
  if (warm_start) return true;
  uint16_t begins = (uint16_t)STAGGER * i;
  if (periods_in_state < begins) return false;
  uint16_t since = periods_in_state - begins;
  return since >= SPARSE_FOR || since % SPARSE == 0;
}

static void approach() {
  if (stop_open) {            // nothing moves, nothing new comes on
    periods_in_state--;
    return;
  }
  for (uint8_t i = 0; i < CHANNELS; i++) {
    const ServoConfig &config = servos[i];
    move_slowly(i, config);
  }
  bool time_enough = warm_start || periods_in_state > (uint16_t)STAGGER * CHANNELS + SPARSE_FOR;
  if (time_enough && all_at_rest()) enter(MOTION_IDLE);
}

// --- idle: a little life between lines, only where config.h allows a servo some ---

static uint16_t random_state = 0x1D2B;

static uint16_t draw() {
  random_state ^= random_state << 7;
  random_state ^= random_state >> 9;
  random_state ^= random_state << 8;
  return random_state;
}

static void idle() {
  bool choose = IDLE_PERIODS > 0 && periods_in_state % IDLE_PERIODS == IDLE_PERIODS - 1;
  for (uint8_t i = 0; i < CHANNELS; i++) {
    const ServoConfig &config = servos[i];
    if (choose && config.idle > 0) {
      joints[i].target = (int32_t)config.rest - config.idle + (int32_t)(draw() % (2 * config.idle + 1));
    }
    move_slowly(i, config);
  }
}

// --- playing ---

// When the audio output switches on, in ticks from the first period of the line, waits included.
static uint32_t audio_at;
static bool starting = false;
// Periods still to wait before the first frame, where the audio must start first.
static uint16_t wait_periods;

static void plan_audio(int32_t start_us) {
  // The recording's time 0 comes -start_us after frame 0, and the first frame to go out is frame 1;
  // the audio player needs AUDIO_LEAD_US.
  int32_t at_us = -start_us - (int32_t)FRAME_US - AUDIO_LEAD_US;
  wait_periods = 0;
  while (at_us < 0) {
    at_us += FRAME_US;
    wait_periods++;
  }
  audio_at = at_us / 1000 * 2000 + at_us % 1000 * 2;
}

bool motion_play(uint8_t line) {
  if (!obeys() || !lines_good(line)) return false;
  if (!lines_open(line) || !player_begin(lines_next)) return false;
  // The period that comes next is laid out already, so the first frame would go out 20 to 40 ms from
  // now. Every line begins with two frames at rest: leaving the first one out makes it 0 to 20 ms.
  player_frame();
  enter(MOTION_PLAYING);
  playing_line = line;
  playing_frame = 1;
  starting = true;
  plan_audio(player_start_us());
  return true;
}

static bool falls_into(uint32_t at, uint32_t period) {
  return at >= period * PERIOD_TICKS && at - period * PERIOD_TICKS < PERIOD_TICKS;
}

static void play_audio(uint16_t period) {
  const uint32_t pulse = 4UL * PERIOD_TICKS;   // 80 ms
  if (falls_into(audio_at, period)) {
    pulses_audio(audio_at - (uint32_t)period * PERIOD_TICKS, true);
  } else if (!AUDIO_HOLD && falls_into(audio_at + pulse, period)) {
    pulses_audio(0, false);
  }
}

// A servo that is on the track stays on it; one that idled elsewhere joins it within its limits.
static void follow(uint8_t i, int32_t target) {
  Joint &joint = joints[i];
  const ServoConfig &config = servos[i];
  if (joint.follows && ceiling >= 1000) {
    joint.speed = target - joint.at;
    joint.at = target;
  } else {
    move_live(i, config, target);
    joint.follows = joint.at == target && joint.speed == 0;
  }
  hold_in_range(joint, config);
}

static void play() {
  play_audio(periods_in_state);
  if (wait_periods > 0) {
    wait_periods--;
    return;
  }
  if (starting) {
    starting = false;
    pulses_mark_start();
    // A servo at rest is on the track from the first frame.
    for (uint8_t i = 0; i < CHANNELS; i++) {
      joints[i].follows = joints[i].at == (int32_t)servos[i].rest && joints[i].speed == 0;
    }
  }
  if (!player_frame()) {
    aim_at_rest();
    enter(MOTION_RETURNING);   // at rest already where the line was played to its end
    return;
  }
  playing_frame++;
  for (uint8_t i = 0; i < CHANNELS; i++) follow(i, player_pulse(i));
}

#if SYNC_ROLE == SYNC_FOLLOWER
// The leader says that its first frame goes out in this period. Ours may be off by one, where the
// trigger came just between our looks: wait a frame, or leave one out.
static void keep_step() {
  if (!pulses_heard_start() || state != MOTION_PLAYING) return;
  // In the period after the leader's first frame went out, frames 0 to 2 have been worked out.
  int32_t ahead = (int32_t)playing_frame - 3;
  if (ahead > 0 && ahead <= 3) wait_periods += ahead;
  for (; ahead < 0; ahead++) {
    player_frame();
    playing_frame++;
  }
}
#endif

// --- once a period ---

void motion_period() {
#if SYNC_ROLE == SYNC_FOLLOWER
  keep_step();
#endif
  switch (state) {
    case MOTION_APPROACH: approach(); break;
    case MOTION_IDLE: idle(); break;
    case MOTION_PLAYING: play(); break;
    case MOTION_LIVE:
      for (uint8_t i = 0; i < CHANNELS; i++) {
        const ServoConfig &config = servos[i];
        move_live(i, config, joints[i].target);
      }
      break;
    case MOTION_STOPPED:
      for (uint8_t i = 0; i < CHANNELS; i++) brake(i, servos[i]);
      break;
    case MOTION_RETURNING:
    case MOTION_FAULT:
      for (uint8_t i = 0; i < CHANNELS; i++) move_slowly(i, servos[i]);
      if (state == MOTION_RETURNING && all_at_rest()) enter(MOTION_IDLE);
      break;
  }
  for (uint8_t i = 0; i < CHANNELS; i++) {
    const ServoConfig &config = servos[i];
    hold_in_range(joints[i], config);
    bool gives = state != MOTION_APPROACH || approach_gives_pulse(i);
    pulses_set(i, gives ? motion_position(i) : 0);
  }
  pulses_commit();
  keep_pulses();
  periods_in_state++;
  if (periods_in_state == 0 && state != MOTION_APPROACH) periods_in_state = 0x8000;   // long enough
}

// --- what others may ask ---

MotionState motion_state() { return state; }
uint8_t motion_channels() { return CHANNELS; }
uint8_t motion_lines() { return LINES; }
uint8_t motion_line() { return playing_line; }
uint32_t motion_frame() { return state == MOTION_PLAYING ? playing_frame : 0; }
uint32_t config_hash() { return CONFIG_HASH; }
uint16_t motion_speed_ceiling() { return ceiling; }

uint16_t motion_position(uint8_t channel) {
  return channel < CHANNELS ? (uint16_t)((joints[channel].at + 2) / 5) : 0;
}

bool motion_set_target(uint8_t channel, uint16_t ticks) {
  if (channel >= CHANNELS || !obeys()) return false;
  if (state != MOTION_LIVE) {
    for (uint8_t i = 0; i < CHANNELS; i++) joints[i].target = joints[i].at;
    enter(MOTION_LIVE);
  }
  const ServoConfig &config = servos[channel];
  joints[channel].target = constrain((int32_t)ticks * 5, (int32_t)config.low, (int32_t)config.high);
  return true;
}

void motion_set_speed_ceiling(uint16_t permille) { ceiling = constrain(permille, 1, 1000); }

void motion_go_neutral_slowly() {
  if (!obeys()) return;
  aim_at_rest();
  enter(MOTION_RETURNING);
}

void motion_stop() { motion_go_neutral_slowly(); }

void motion_stop_input(bool active) {
  stop_open = active;
  if (active && obeys()) enter(MOTION_STOPPED);
  if (!active && state == MOTION_STOPPED) {
    aim_at_rest();
    enter(MOTION_RETURNING);
  }
}

void motion_fault(uint8_t code) {
  aim_at_rest();
  enter(MOTION_FAULT);
  health_blink(code);
}
