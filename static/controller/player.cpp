#include "player.h"

#include "config.h"
#include "flash.h"
#include "odds.h"

// --- the check sum: CRC-32/ISO-HDLC, four bits at a time to keep its table small ---

static const uint32_t CRC_OF_NIBBLE[16] = {
    0x00000000, 0x1DB71064, 0x3B6E20C8, 0x26D930AC, 0x76DC4190, 0x6B6B51F4, 0x4DB26158, 0x5005713C,
    0xEDB88320, 0xF00F9344, 0xD6D6A3E8, 0xCB61B38C, 0x9B64C2B0, 0x86D3D2D4, 0xA00AE278, 0xBDBDF21C};

static uint32_t crc_add(uint32_t crc, uint8_t byte) {
  crc ^= byte;
  crc = CRC_OF_NIBBLE[crc & 15] ^ (crc >> 4);
  return CRC_OF_NIBBLE[crc & 15] ^ (crc >> 4);
}

// --- the header ---

const uint8_t HEADER_SIZE = 24;
static uint8_t header[HEADER_SIZE];

static uint32_t number(uint8_t at) {
  return (uint32_t)header[at] | (uint32_t)header[at + 1] << 8 | (uint32_t)header[at + 2] << 16 |
         (uint32_t)header[at + 3] << 24;
}

static bool header_is_ours() {
  return header[0] == 'L' && header[1] == 'W' && header[2] == 'P' && header[3] == 1;
}

uint32_t player_frames() { return number(8); }
int32_t player_start_us() { return (int32_t)number(12); }

TrackFault player_check(NextByte next, uint32_t size) {
  if (size < HEADER_SIZE + 4) return TRACK_NO_TRACK;
  uint32_t crc = 0xFFFFFFFF;
  for (uint32_t i = 0; i < size - 4; i++) {
    uint8_t byte = next();
    if (i < HEADER_SIZE) header[i] = byte;
    crc = crc_add(crc, byte);
  }
  uint32_t written = 0;
  for (uint8_t i = 0; i < 4; i++) written |= (uint32_t)next() << (8 * i);
  if (!header_is_ours()) return TRACK_NO_TRACK;
  if (written != ~crc || number(20) != size - HEADER_SIZE - 4) return TRACK_DAMAGED;
  bool frame_fits = (header[16] | header[17] << 8) == FRAME_US;
  if (number(4) != CONFIG_HASH || header[18] != CHANNELS || !frame_fits) return TRACK_OTHER_RIG;
  return TRACK_GOOD;
}

// --- the range coder ---

static NextByte source;
static uint32_t left;  // bytes of the coded part not read yet
static uint32_t range, code;
static uint16_t odds[ODDS_COUNT];

static uint8_t next_byte() {
  if (left == 0) return 0;  // zeros at the end are not written
  left--;
  return source();
}

// One decision. Odds are those of "no", in 1/32768; they learn from what they see.
static bool decide(uint16_t &no) {
  uint32_t bound = (range >> 15) * no;
  bool yes = code >= bound;
  if (yes) {
    code -= bound;
    range -= bound;
    no -= no >> 5;
  } else {
    range = bound;
    no += (uint16_t)(32768u - no) >> 5;
  }
  while (range < 0x1000000) {
    code = code << 8 | next_byte();
    range <<= 8;
  }
  return yes;
}

// Bits of even odds, the highest first.
static uint16_t plain(uint8_t count) {
  uint16_t value = 0;
  while (count--) {
    uint16_t even = 16384;
    value = value << 1 | (decide(even) ? 1 : 0);
  }
  return value;
}

// --- where every channel is, and what it did last ---

const uint8_t NO_TWIN = 255, MIRRORED = 128;
const uint8_t LONG_QUIET = 12;

struct Channel {
  uint16_t start;    // first pulse, tenths of a microsecond
  uint8_t step;      // tenths of a microsecond per step; 0: stands still throughout
  uint8_t twin;      // channel whose corrections it repeats, + MIRRORED, or NO_TWIN
  bool alike;        // did as its twin in the frame before
  uint8_t quiet;     // frames since its last correction, at most LONG_QUIET
  int16_t last;      // last correction, in steps
  int16_t before;    // the one before
  int32_t speed;     // steps moved in the last frame
  int32_t at;        // steps from the start
};

static Channel channels[CHANNELS];
static uint32_t frames_left;

static int32_t pulse_of(const Channel &c) { return (int32_t)c.start + (int32_t)c.step * c.at; }

uint16_t player_pulse(uint8_t channel) { return (uint16_t)pulse_of(channels[channel]); }

// --- which odds a decision has: the same contexts as when the track was written ---

const uint16_t NONE_AT = 0, DOWN_AT = 3 * 96, MORE_AT = DOWN_AT + 9 * 9 * 3;
const uint8_t UNARY = 12;
const uint16_t TWIN_AT = MORE_AT + 9 * 3 * 2 * UNARY;
static_assert(TWIN_AT + 4 == ODDS_COUNT, "odds.h belongs to another version of the player");

static uint8_t size_class(int16_t k) {
  if (k < 0) k = -k;
  return k == 1 ? 0 : k <= 3 ? 1 : k <= 7 ? 2 : 3;
}

// Sign and rough size: 0 for zero, 1 to 4 below it, 5 to 8 above.
static uint8_t bucket(int16_t k) { return k == 0 ? 0 : (k < 0 ? 1 : 5) + size_class(k); }

static uint8_t sign(int32_t k) { return k < 0 ? 0 : k == 0 ? 1 : 2; }

// How busy a servo is in a frame: 0 not, 1 a little, 2 much.
static uint8_t busyness(int16_t k) { return k == 0 ? 0 : (k >= -3 && k <= 3) ? 1 : 2; }

static uint16_t none_at(const Channel &c, uint8_t busy) {
  uint8_t own;
  if (c.last == 0 && c.before == 0) {
    uint8_t run = c.quiet <= 2 ? 0 : c.quiet <= 5 ? 1 : c.quiet <= 11 ? 2 : 3;
    uint8_t pace = c.speed == 0 ? 0 : (c.speed >= -5 && c.speed <= 5) ? 1 : 2;
    own = 81 + 4 * pace + run;
  } else {
    own = 9 * bucket(c.last) + bucket(c.before);
  }
  return NONE_AT + 96 * busy + own;
}

// Reads a correction, spelled out: none? downwards? more than 1? more than 2? ...
static int16_t correction(const Channel &c, uint8_t busy) {
  if (decide(odds[none_at(c, busy)])) return 0;
  bool down = decide(odds[DOWN_AT + 27 * bucket(c.last) + 3 * bucket(c.before) + sign(c.speed)]);
  int16_t last = down ? -c.last : c.last;
  int16_t before = down ? -c.before : c.before;
  uint8_t rough = 6 * bucket(last) + 2 * sign(before) + (busy == 2 ? 1 : 0);
  uint16_t *more = &odds[MORE_AT + UNARY * rough];
  int16_t size = 1;
  while (size <= UNARY && decide(more[size - 1])) size++;
  if (size > UNARY) {
    size += (int16_t)plain(13);
    if (size > UNARY + 8192) size = UNARY + 8192;
  }
  return down ? -size : size;
}

bool player_frame() {
  if (frames_left == 0) return false;
  frames_left--;
  static int16_t now[CHANNELS];
  uint8_t busy = 0;
  for (uint8_t i = 0; i < CHANNELS; i++) {
    Channel &c = channels[i];
    if (c.step == 0) continue;
    int16_t k = 0;
    bool alike = false;
    if (c.twin != NO_TWIN) {
      int16_t other = now[c.twin & ~MIRRORED];
      if (c.twin & MIRRORED) other = -other;
      alike = decide(odds[TWIN_AT + (other != 0 ? 2 : 0) + (c.alike ? 1 : 0)]);
      c.alike = alike;
      k = other;
    }
    if (!alike) k = correction(c, busy);
    if (c.twin == NO_TWIN) busy = busyness(k);
    now[i] = k;
    c.quiet = k != 0 ? 0 : c.quiet < LONG_QUIET ? c.quiet + 1 : LONG_QUIET;
    c.before = c.last;
    c.last = k;
    c.speed += k;
    c.at += c.speed;
    int32_t pulse = pulse_of(c);
    if (pulse < 0 || pulse > 65535) return false;
  }
  return true;
}

// --- the table of channels ---

static bool read_start(uint8_t i) {
  Channel &c = channels[i];
  uint8_t kind = (uint8_t)plain(2);
  if (kind == 0) {
    c.start = plain(16);
    return true;
  }
  uint8_t of = (uint8_t)plain(5);
  if (of >= i || kind == 3) return false;
  // The same as an earlier channel's, or its mirror image about 1500 us.
  int32_t start = kind == 1 ? (int32_t)channels[of].start : 30000 - (int32_t)channels[of].start;
  if (start < 0) return false;
  c.start = (uint16_t)start;
  return true;
}

static bool read_channel(uint8_t i, uint8_t &step_before) {
  Channel &c = channels[i];
  c = Channel();
  c.twin = NO_TWIN;
  c.alike = true;
  if (!read_start(i)) return false;
  if (plain(1) == 0) return true;  // stands still
  c.step = plain(1) == 1 ? step_before : (uint8_t)plain(8);
  if (plain(1) == 1) {
    uint8_t of = (uint8_t)plain(5);
    bool mirrored = plain(1) == 1;
    if (of >= i || channels[of].step == 0) return false;
    c.twin = of | (mirrored ? MIRRORED : 0);
  }
  if (c.step == 0) return false;
  step_before = c.step;
  return true;
}

bool player_begin(NextByte next) {
  for (uint8_t i = 0; i < HEADER_SIZE; i++) header[i] = next();
  source = next;
  left = number(20);
  range = 0xFFFFFFFF;
  code = 0;
  for (uint8_t i = 0; i < 4; i++) code = code << 8 | next_byte();
  for (uint16_t i = 0; i < ODDS_COUNT; i++) odds[i] = pgm_read_word(&ODDS[i]);
  frames_left = header_is_ours() && header[18] == CHANNELS ? player_frames() : 0;
  uint8_t step_before = 0;
  for (uint8_t i = 0; i < CHANNELS; i++) {
    if (!read_channel(i, step_before)) frames_left = 0;
    if (frames_left == 0) return false;
  }
  return true;
}
