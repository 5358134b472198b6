// The bench link; link.h says what it does. Plain C++ without heap; also compiled on a PC by the tests.
#include "link.h"
#include "motion.h"

#ifdef ARDUINO
#include <Arduino.h>
// The serial line of the board. Writing more than there is room for would wait; link_poll never does.
static uint32_t link_now() { return millis(); }
static int link_room() { return Serial.availableForWrite(); }
static void link_write(uint8_t byte) { Serial.write(byte); }
#else
// On a PC the test gives these.
uint32_t link_now();
int link_room();
void link_write(uint8_t byte);
#endif

static const uint8_t PROTOCOL_VERSION = 1;
static const uint16_t LINK_TIMEOUT_MS = 300;
static const uint16_t HOLD_TIMEOUT_MS = 120;
static const uint16_t FIRST_CEILING = 100;  // thousandths of each servo's own speed
static const uint16_t CEILING_STEP = 100;

static const uint8_t START = 0x96;
static const uint8_t END = 0xA9;
static const uint8_t SEXTET = 0x40;  // the two top bits 01 mark six bits of content

static const uint8_t MAX_PAYLOAD = 96;
static const uint8_t MAX_CONTENT = MAX_PAYLOAD + 5;  // length, kind, sequence; CRC
static const uint8_t STATUS_HEAD = 10;

// Kinds of frames: orders from the host, reports (top bit set) from here.
enum : uint8_t {
  HELLO = 0x01, BEAT, POSE, PLAY, STOP, CEILING, HOLD,
  WELCOME = 0x81, STATUS, ACK, REFUSED
};
enum Refusal : uint8_t {
  TAKEN, NOT_GREETED, MALFORMED, CHANNELS, CEILING_STEP_TOO_LARGE, NO_SUCH_LINE, HALTED
};
enum : uint8_t { FAULT_STOP_INPUT = 1, FAULT_MEMORY = 2, FAULT_LINK_LOST = 4 };

// What the host does with the head while motion_state() is MOTION_LIVE.
enum Live : uint8_t { NOTHING, FOLLOWING, HOLDING };

// --- state ---

static uint8_t content[MAX_CONTENT];  // of the frame under way
static uint8_t content_length;
static uint16_t bits;                 // bits that do not fill a byte yet
static uint8_t bit_count;
static bool in_frame;

static uint8_t queue[256];  // encoded replies; head and tail wrap by themselves
static uint8_t queue_head, queue_tail;

static bool greeted, link_lost;
static uint8_t expected;  // next sequence number
static uint16_t accepted, missed, dropped;
static uint32_t heard_at, held_at;
static Live live;
static uint8_t held_channel;

// --- frames ---

// CRC-16/IBM-3740: polynomial 0x1021, initial value 0xFFFF, not reflected.
static uint16_t crc_update(uint16_t crc, uint8_t byte) {
  crc ^= (uint16_t)byte << 8;
  for (uint8_t bit = 0; bit < 8; bit++) {
    crc = (crc & 0x8000) ? (uint16_t)(crc << 1) ^ 0x1021 : (uint16_t)(crc << 1);
  }
  return crc;
}

static uint8_t queue_room() { return (uint8_t)(queue_tail - queue_head - 1); }

static uint16_t out_bits;
static uint8_t out_count;

static void put_content(uint8_t byte) {
  out_bits = (uint16_t)(out_bits << 8) | byte;
  out_count += 8;
  while (out_count >= 6) {
    out_count -= 6;
    queue[queue_head++] = SEXTET | ((out_bits >> out_count) & 0x3F);
  }
}

// Queues a report; where the line is so far behind that there is no room, the host counts it as lost.
static void report(uint8_t kind, uint8_t sequence, const uint8_t *payload, uint8_t length) {
  uint16_t encoded = ((uint16_t)(length + 5) * 8 + 5) / 6 + 2;
  if (encoded > queue_room()) return;
  queue[queue_head++] = START;
  out_bits = 0;
  out_count = 0;
  uint16_t crc = 0xFFFF;
  const uint8_t head[3] = {length, kind, sequence};
  for (uint8_t i = 0; i < 3; i++) {
    crc = crc_update(crc, head[i]);
    put_content(head[i]);
  }
  for (uint8_t i = 0; i < length; i++) {
    crc = crc_update(crc, payload[i]);
    put_content(payload[i]);
  }
  put_content(crc >> 8);
  put_content(crc & 0xFF);
  if (out_count > 0) {  // unused low bits are 0
    queue[queue_head++] = SEXTET | ((out_bits << (6 - out_count)) & 0x3F);
  }
  queue[queue_head++] = END;
}

// --- orders ---

static uint16_t word_at(const uint8_t *bytes) { return (uint16_t)(bytes[0] << 8) | bytes[1]; }

static void put_word(uint8_t *bytes, uint16_t word) {
  bytes[0] = word >> 8;
  bytes[1] = word & 0xFF;
}

static bool halted() {
  MotionState state = motion_state();
  return state == MOTION_APPROACH || state == MOTION_STOPPED || state == MOTION_FAULT;
}

// One channel goes on; all others stand where they are.
static Refusal hold(uint8_t channel, uint16_t target) {
  if (channel >= motion_channels()) return CHANNELS;
  if (live != HOLDING || held_channel != channel) {
    for (uint8_t i = 0; i < motion_channels(); i++) motion_set_target(i, motion_position(i));
  }
  if (!motion_set_target(channel, target)) return HALTED;
  live = HOLDING;
  held_channel = channel;
  held_at = link_now();
  return TAKEN;
}

static Refusal pose(const uint8_t *payload, uint8_t length) {
  if (length != 2 * motion_channels()) return CHANNELS;
  for (uint8_t i = 0; i < motion_channels(); i++) {
    if (!motion_set_target(i, word_at(payload + 2 * i))) return HALTED;
  }
  live = FOLLOWING;
  return TAKEN;
}

static Refusal play(uint16_t line) {
  if (line == 0 || line > motion_lines()) return NO_SUCH_LINE;
  if (!motion_play(line - 1)) return HALTED;
  live = NOTHING;
  return TAKEN;
}

static Refusal ceiling(uint16_t permille) {
  if (permille > 1000 || permille > motion_speed_ceiling() + CEILING_STEP) return CEILING_STEP_TOO_LARGE;
  motion_set_speed_ceiling(permille);
  return TAKEN;
}

static void greet(uint8_t version, uint8_t sequence) {
  // A page that was loaded anew knows nothing of what moves.
  if (motion_state() == MOTION_LIVE) motion_stop();
  live = NOTHING;
  link_lost = false;
  motion_set_speed_ceiling(FIRST_CEILING);
  greeted = version == PROTOCOL_VERSION;
  uint32_t hash = config_hash();
  uint8_t payload[6] = {PROTOCOL_VERSION, motion_channels()};
  put_word(payload + 2, hash >> 16);
  put_word(payload + 4, hash & 0xFFFF);
  report(WELCOME, sequence, payload, sizeof payload);
}

static uint8_t state_code() {
  switch (motion_state()) {
    case MOTION_IDLE: return 0;
    case MOTION_LIVE: return live == FOLLOWING ? 1 : live == HOLDING ? 2 : 0;
    case MOTION_PLAYING: return 3;
    case MOTION_RETURNING: return 4;
    case MOTION_STOPPED: return 5;
    case MOTION_FAULT: return 6;
    case MOTION_APPROACH: return 7;
  }
  return 6;
}

static void status(uint8_t sequence) {
  uint8_t payload[MAX_PAYLOAD];
  payload[0] = state_code();
  payload[1] = (motion_state() == MOTION_STOPPED ? FAULT_STOP_INPUT : 0) |
               (motion_state() == MOTION_FAULT ? FAULT_MEMORY : 0) | (link_lost ? FAULT_LINK_LOST : 0);
  put_word(payload + 2, accepted);
  put_word(payload + 4, missed);
  put_word(payload + 6, dropped);
  put_word(payload + 8, motion_speed_ceiling());
  uint8_t length = STATUS_HEAD;
  for (uint8_t i = 0; i < motion_channels() && length + 2 <= MAX_PAYLOAD; i++, length += 2) {
    put_word(payload + length, motion_position(i));
  }
  report(STATUS, sequence, payload, length);
}

// Does what a frame says; gives back why not.
static Refusal obey(uint8_t kind, const uint8_t *payload, uint8_t length) {
  bool fits = (kind == POSE && length % 2 == 0) || (kind == PLAY && length == 2) ||
              (kind == STOP && length == 0) || (kind == CEILING && length == 2) ||
              (kind == HOLD && length == 3);
  if (!fits) return MALFORMED;
  if (!greeted) return NOT_GREETED;
  // Slower, and to rest, is always allowed.
  if (kind == STOP) {
    live = NOTHING;
    motion_stop();
    return TAKEN;
  }
  if (kind == CEILING) return ceiling(word_at(payload));
  if (halted()) return HALTED;
  if (kind == POSE) return pose(payload, length);
  if (kind == PLAY) return play(word_at(payload));
  return hold(payload[0], word_at(payload + 1));
}

// A frame has ended: is it whole?
static void end_of_frame() {
  in_frame = false;
  bool whole = bit_count < 6 && bits == 0 && content_length >= 5 && content[0] == content_length - 5;
  if (whole) {
    uint16_t crc = 0xFFFF;
    for (uint8_t i = 0; i < content_length - 2; i++) crc = crc_update(crc, content[i]);
    whole = crc == word_at(content + content_length - 2);
  }
  if (!whole) {
    dropped++;
    return;
  }
  uint8_t length = content[0], kind = content[1], sequence = content[2];
  const uint8_t *payload = content + 3;
  // Another board's report, or an own one in a looped cable: answering it would never end.
  if (kind & 0x80) return;
  heard_at = link_now();
  bool hello = kind == HELLO && length == 1;
  if (hello) {
    accepted = missed = dropped = 0;
    expected = sequence;
  }
  uint8_t gap = sequence - expected;
  if (gap < 128) {  // a number from before is an echo, not a gap of 200
    missed += gap;
    expected = sequence + 1;
  }
  accepted++;
  if (hello) {
    greet(payload[0], sequence);
  } else if (kind == BEAT && length == 0) {
    status(sequence);
  } else {
    uint8_t refusal = obey(kind, payload, length);
    if (refusal == TAKEN) {
      report(ACK, sequence, 0, 0);
    } else {
      report(REFUSED, sequence, &refusal, 1);
    }
  }
}

// --- for the main loop ---

void link_begin() {
  in_frame = greeted = link_lost = false;
  queue_head = queue_tail = 0;
  live = NOTHING;
}

bool link_take(uint8_t byte) {
  if (byte == START) {
    if (in_frame) dropped++;
    in_frame = true;
    content_length = bit_count = 0;
    bits = 0;
    return true;
  }
  if (!in_frame) return false;
  if (byte == END) {
    end_of_frame();
    return true;
  }
  if ((byte & 0xC0) != SEXTET) {
    in_frame = false;
    dropped++;
    return true;
  }
  bits = (uint16_t)(bits << 6) | (byte & 0x3F);
  bit_count += 6;
  if (bit_count >= 8) {
    bit_count -= 8;
    if (content_length == MAX_CONTENT) {
      in_frame = false;
      dropped++;
      return true;
    }
    content[content_length++] = bits >> bit_count;
    bits &= (1 << bit_count) - 1;
  }
  return true;
}

void link_poll() {
  uint32_t now = link_now();
  if (live == HOLDING && now - held_at >= HOLD_TIMEOUT_MS) {
    live = NOTHING;
    motion_set_target(held_channel, motion_position(held_channel));
  }
  if (greeted && now - heard_at >= LINK_TIMEOUT_MS) {
    greeted = false;
    link_lost = true;
    live = NOTHING;
    if (motion_state() == MOTION_LIVE || motion_state() == MOTION_PLAYING) motion_go_neutral_slowly();
  }
  for (int room = link_room(); room > 0 && queue_tail != queue_head; room--) link_write(queue[queue_tail++]);
}
