#include "pulses.h"

#include <Arduino.h>

#define WITH_SERVO_TABLE
#include "config.h"
#include "driver.h"
#include "flash.h"

// Nearest two edges may come, and how long before its time an edge's interrupt begins. Other
// interrupts (serial line, millis) take less than EDGE_LEAD; the rest of it is spent waiting for the
// exact tick.
const uint16_t EDGE_GAP = 64;    // 32 us
const uint16_t EDGE_LEAD = 32;   // 16 us
const uint16_t FIRST_EDGE = 400; // 200 us after the beginning of a period

// A follower leaves the time in which the leader's pulse comes free of its own edges.
const uint16_t FIRST_SERVO = SYNC_ROLE == SYNC_FOLLOWER ? 2000 : FIRST_EDGE;

const uint16_t SYNC_SHORT = 400, SYNC_LONG = 800;   // widths of synchronising pulses, in ticks
const uint16_t SYNC_BETWEEN = 600;

struct Edge {
  uint16_t at;              // ticks after the beginning of the period
  volatile uint8_t *port;
  uint8_t mask;
  bool high;
};

// A pulse per channel, the synchronising pulse, and one edge of the audio output.
const uint8_t MOST_EDGES = 2 * (CHANNELS + 1) + 1;

static Edge lists[2][MOST_EDGES + 1];    // the last one is never reached
static uint8_t counts[2];
static volatile uint8_t running = 0;     // list that is being played
static volatile bool ready = false;      // the other list is complete
static volatile uint8_t next_edge = 0;
static volatile uint16_t period_start = 0;
static volatile uint8_t periods = 0;
static volatile uint16_t late = 0;
static volatile int16_t period_change = 0;

// Where an output is: its port and its bit there.
struct Output {
  volatile uint8_t *port;
  uint8_t mask;
};

static Output output_of(uint8_t pin) {
  return {portOutputRegister(digitalPinToPort(pin)), digitalPinToBitMask(pin)};
}

#if !OUTPUT_DRIVER
static Output servo_outputs[CHANNELS];
#endif
static Output audio_output;
#if SYNC_ROLE == SYNC_LEADER
static Output sync_output;
#endif

static uint16_t widths[CHANNELS];
static bool audio_due = false, audio_on = false;
static uint16_t audio_at = 0;
static bool mark_start = false;

// --- the two interrupts ---

static inline void arm() {
  if (next_edge < counts[running]) {
    OCR1A = period_start + lists[running][next_edge].at - EDGE_LEAD;
    TIMSK1 |= _BV(OCIE1A);
  } else {
    TIMSK1 &= ~_BV(OCIE1A);
  }
}

// A period begins.
ISR(TIMER1_COMPB_vect) {
  period_start = OCR1B;
  OCR1B = period_start + PERIOD_TICKS + period_change;
  period_change = 0;
  periods++;
  if (ready) {
    running ^= 1;
    ready = false;
  }
  next_edge = 0;
  arm();
  TIFR1 = _BV(OCF1A);  // a match of the last period's end must not fire now
}

// An edge is near: everything is prepared, then the exact tick is awaited.
ISR(TIMER1_COMPA_vect) {
  const Edge &edge = lists[running][next_edge];
  volatile uint8_t *port = edge.port;
  uint8_t value = edge.high ? (*port | edge.mask) : (*port & ~edge.mask);
  uint16_t due = period_start + edge.at;
  if ((int16_t)(due - TCNT1) > 1) {
    // The low byte stays the same for 8 clock cycles, this loop takes 5: it cannot miss.
    while (TCNT1L != (uint8_t)due) {
    }
  } else {
    late++;
  }
  *port = value;
  next_edge++;
  arm();
}

// --- synchronising ---

#if SYNC_ROLE == SYNC_FOLLOWER
static volatile uint16_t sync_rise = 0;
static volatile bool heard_start = false;
static volatile uint8_t heard_in = 0;

// Timer interrupts are held off while this runs, which is far shorter than EDGE_LEAD.
static void sync_edge() {
  uint16_t now = TCNT1;
  if (digitalRead(SYNC_PIN)) {
    sync_rise = now;
    // How much later than ours the leader's period began.
    int16_t apart = (int16_t)(now - period_start - FIRST_EDGE);
    if ((uint16_t)(now - period_start) > PERIOD_TICKS / 2 + FIRST_EDGE) apart -= PERIOD_TICKS;
    if (apart > 500) apart = 500;
    if (apart < -500) apart = -500;
    uint16_t due = period_start + PERIOD_TICKS + apart;
    uint16_t ahead = due - now;
    if (ahead > 200 && ahead < PERIOD_TICKS + 1000) {
      OCR1B = due;             // this period gets longer or shorter
    } else {
      period_change = apart;   // too near its end: the next one
    }
  } else if ((uint16_t)(now - sync_rise) > SYNC_BETWEEN) {
    heard_start = true;
    heard_in = periods;
  }
}
#endif

bool pulses_heard_start() {
#if SYNC_ROLE == SYNC_FOLLOWER
  noInterrupts();
  bool heard = heard_start && heard_in != periods;
  if (heard) heard_start = false;
  interrupts();
  return heard;
#else
  return false;
#endif
}

void pulses_mark_start() { mark_start = true; }

// --- laying out a period ---

static Edge *list;
static uint8_t count;

// Moves `at` on until neither edge of a pulse comes near an edge that is there already. Each edge
// already there can push it on twice at most, so it ends well within the period.
static uint16_t free_place(uint16_t at, uint16_t width) {
  bool moved = true;
  while (moved) {
    moved = false;
    for (uint8_t i = 0; i < count; i++) {
      uint16_t other = list[i].at;
      if (at + EDGE_GAP > other && at < other + EDGE_GAP) {
        at = other + EDGE_GAP;
        moved = true;
      }
      uint16_t end = at + width;
      if (end + EDGE_GAP > other && end < other + EDGE_GAP) {
        at = other + EDGE_GAP - width;
        moved = true;
      }
    }
  }
  return at;
}

// Adds an edge in order of time.
static void add(uint16_t at, const Output &output, bool high) {
  uint8_t i = count++;
  while (i > 0 && list[i - 1].at > at) {
    list[i] = list[i - 1];
    i--;
  }
  list[i].at = at;
  list[i].port = output.port;
  list[i].mask = output.mask;
  list[i].high = high;
}

#if !OUTPUT_DRIVER || SYNC_ROLE == SYNC_LEADER
static uint16_t add_pulse(uint16_t from, uint16_t width, const Output &output) {
  uint16_t at = free_place(from, width);
  add(at, output, true);
  add(at + width, output, false);
  return at;
}
#endif

void pulses_commit() {
  uint8_t other = running ^ 1;
  if (ready) return;  // the last one has not begun yet: it is kept
  list = lists[other];
  count = 0;
#if !OUTPUT_DRIVER
  uint16_t at = FIRST_SERVO;
#endif
#if SYNC_ROLE == SYNC_LEADER
  add_pulse(FIRST_EDGE, mark_start ? SYNC_LONG : SYNC_SHORT, sync_output);
  mark_start = false;
#endif
#if OUTPUT_DRIVER
  driver_write(widths);
#else
  for (uint8_t i = 0; i < CHANNELS; i++) {
    if (widths[i] == 0) continue;
    at = add_pulse(at, widths[i], servo_outputs[i]) + EDGE_GAP;
  }
#endif
  if (audio_due) {
    uint16_t place = constrain(audio_at, FIRST_SERVO, PERIOD_TICKS - 1000);
    add(free_place(place, 0), audio_output, audio_on == AUDIO_ACTIVE_HIGH);
    audio_due = false;
  }
  counts[other] = count;
  ready = true;
}

void pulses_set(uint8_t channel, uint16_t ticks) { widths[channel] = ticks; }

void pulses_audio(uint16_t at, bool on) {
  audio_due = true;
  audio_on = on;
  audio_at = at;
}

uint8_t pulses_periods() { return periods; }

uint16_t pulses_late() {
  noInterrupts();
  uint16_t value = late;
  interrupts();
  return value;
}

void pulses_begin() {
  digitalWrite(AUDIO_PIN, !AUDIO_ACTIVE_HIGH);
  pinMode(AUDIO_PIN, OUTPUT);
  audio_output = output_of(AUDIO_PIN);
#if OUTPUT_DRIVER
  driver_begin();
#else
  for (uint8_t i = 0; i < CHANNELS; i++) {
    uint8_t pin = pgm_read_byte(&SERVOS[i].pin);
    digitalWrite(pin, LOW);
    pinMode(pin, OUTPUT);
    servo_outputs[i] = output_of(pin);
  }
#endif
#if SYNC_ROLE == SYNC_LEADER
  pinMode(SYNC_PIN, OUTPUT);
  sync_output = output_of(SYNC_PIN);
#elif SYNC_ROLE == SYNC_FOLLOWER
  pinMode(SYNC_PIN, INPUT_PULLUP);
  attachInterrupt(digitalPinToInterrupt(SYNC_PIN), sync_edge, CHANGE);
#endif
  noInterrupts();
  TCCR1A = 0;            // count from 0 to 65535, over and over
  TCCR1B = _BV(CS11);    // 16 MHz / 8: 0.5 us a tick
  TCNT1 = 0;
  OCR1B = 1000;
  TIFR1 = _BV(OCF1A) | _BV(OCF1B);
  TIMSK1 = _BV(OCIE1B);
  interrupts();
}
