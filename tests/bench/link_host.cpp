// Runs link.cpp on a PC against a plain motion runtime, for comparison with the simulated controller.
//
//   link_host CHANNELS HASH LINES LOW HIGH NEUTRAL STEP   (the same limits for every channel)
//
// Reads lines from standard input and writes lines to standard output:
//   b HEX      bytes arrive      -> nothing
//   f          a servo period of 20 ms passes, timeouts first -> "w HEX" what was written, "p N N ..." pulses
#include "link.h"
#include "motion.h"
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

static uint32_t now_ms;
static std::vector<uint8_t> written;

uint32_t link_now() { return now_ms; }
int link_room() { return 64; }
void link_write(uint8_t byte) { written.push_back(byte); }

static unsigned channels, lines, low, high, neutral, full_step;
static uint32_t hash;
static MotionState state = MOTION_IDLE;
static uint16_t ceiling_permille = 1000;
static std::vector<uint16_t> at, target;

MotionState motion_state() { return state; }
uint8_t motion_channels() { return channels; }
uint8_t motion_lines() { return lines; }
uint16_t motion_position(uint8_t channel) { return at[channel]; }
uint32_t config_hash() { return hash; }
uint16_t motion_speed_ceiling() { return ceiling_permille; }
void motion_set_speed_ceiling(uint16_t permille) { ceiling_permille = permille; }
void motion_go_neutral_slowly() { state = MOTION_RETURNING; }
void motion_stop() { state = MOTION_RETURNING; }

bool motion_set_target(uint8_t channel, uint16_t ticks) {
  if (channel >= channels) return false;
  target[channel] = ticks < low ? low : ticks > high ? high : ticks;
  state = MOTION_LIVE;
  return true;
}

bool motion_play(uint8_t line) {
  if (line >= lines) return false;
  state = MOTION_PLAYING;
  return true;
}

static void period() {
  unsigned ceiling = ceiling_permille;
  if (state == MOTION_IDLE || state == MOTION_PLAYING) return;
  if (state == MOTION_RETURNING) {
    if (ceiling > 100) ceiling = 100;
    target.assign(channels, neutral);
  }
  unsigned step = full_step * ceiling / 1000;
  if (step == 0) step = 1;
  for (unsigned i = 0; i < channels; i++) {
    int way = (int)target[i] - (int)at[i];
    if (way > (int)step) way = step;
    if (way < -(int)step) way = -(int)step;
    at[i] += way;
  }
  if (state == MOTION_RETURNING && at == target) state = MOTION_IDLE;
}

int main(int argc, char **argv) {
  if (argc != 8) return 2;
  channels = atoi(argv[1]);
  hash = strtoul(argv[2], nullptr, 16);
  lines = atoi(argv[3]);
  low = atoi(argv[4]);
  high = atoi(argv[5]);
  neutral = atoi(argv[6]);
  full_step = atoi(argv[7]);
  at.assign(channels, neutral);
  target = at;
  link_begin();
  char text[8192];
  while (fgets(text, sizeof text, stdin)) {
    if (text[0] == 'b') {
      for (const char *c = text + 2; c[0] > ' ' && c[1] > ' '; c += 2) {
        link_take((uint8_t)strtoul(std::string(c, 2).c_str(), nullptr, 16));
      }
    } else if (text[0] == 'f') {
      now_ms += 20;
      for (int pass = 0; pass < 8; pass++) link_poll();  // the main loop passes many times a period
      period();
      printf("w ");
      for (uint8_t byte : written) printf("%02x", byte);
      written.clear();
      printf("\np");
      for (uint16_t pulse : at) printf(" %u", pulse);
      printf("\n");
      fflush(stdout);
    }
  }
  return 0;
}
