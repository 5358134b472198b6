#include "inputs.h"

#include <Arduino.h>

#include "config.h"
#include "motion.h"

// All inputs have their pull-up switched on. Trigger and selection are active when they are pulled to
// ground. The stop input is a normally closed contact to ground: it stops when the contact opens, the
// plug comes off or a wire breaks. Without a stop switch, put a jumper from STOP_PIN to ground.

static bool trigger_before = false;
static uint32_t trigger_deaf_until = 0;
static uint8_t stop_seen = 0;

static bool pulled(uint8_t pin) { return digitalRead(pin) == LOW; }

static uint8_t selected_line() {
  uint8_t line = 0;
  for (int8_t bit = 0; bit < SELECT_BITS; bit++) {
    if (pulled(SELECT_FIRST_PIN + bit)) line |= 1 << bit;
  }
  return line;
}

void inputs_begin() {
  pinMode(TRIGGER_PIN, INPUT_PULLUP);
  pinMode(STOP_PIN, INPUT_PULLUP);
  for (int8_t bit = 0; bit < SELECT_BITS; bit++) pinMode(SELECT_FIRST_PIN + bit, INPUT_PULLUP);
  trigger_before = pulled(TRIGGER_PIN);   // one that is held while switching on does not count
}

void inputs_poll() {
  // A contact that bounces reads open for a moment: stop only when three looks agree.
  bool open = !pulled(STOP_PIN);
  stop_seen = open ? (stop_seen < 3 ? stop_seen + 1 : 3) : 0;
  motion_stop_input(stop_seen >= 3);

  // The first contact of the trigger counts; its bouncing after that does not.
  bool trigger = pulled(TRIGGER_PIN);
  uint32_t now = millis();
  if (trigger && !trigger_before && (int32_t)(now - trigger_deaf_until) >= 0) {
    motion_play(selected_line());
    trigger_deaf_until = now + 50;
  }
  trigger_before = trigger;
}
