// CAUTIONS
//
// Moving jaws and linkages pinch. Keep fingers and hair clear, and cut servo power before reaching in.
// Nothing here is a safety controller: an emergency stop must cut servo power in hardware.
// 12 V into the board's supply, 6 V regulated to the servos (common practice): check which is which
// before you connect, and never feed servos from the board's own 5 V. Join the grounds.
// Size supply, wiring and fuses for the stall current. Follow local electrical codes, and have a
// public installation checked by a licensed person.
// Set end stops before running at speed. A stalled servo overheats.
//
// What is what:
//   config.h   pins, servos, limits: look here first
//   tracks.h   the lines, packed
//   motion     what the head does: approach, idle, play, stop
//   player     reads packed tracks          lines    finds them in flash
//   pulses     times servo pulses           driver   the I2C PWM driver, where there is one
//   inputs     trigger, selection, stop     console  commands over the serial line
//   link       the bench link               health   watchdog, reset cause, LED
//
// Board: ATmega2560 at 16 MHz.

#include <avr/sleep.h>

#include "config.h"
#include "console.h"
#include "driver.h"
#include "health.h"
#include "inputs.h"
#include "lines.h"
#include "link.h"
#include "motion.h"
#include "pulses.h"

static uint8_t periods_done = 0;

void setup() {
  bool warm = health_begin();
  console_begin();
  inputs_begin();
  uint8_t bad = lines_begin();
  motion_begin(warm);
  pulses_begin();
  link_begin();
  if (SERVO_POWER_PIN >= 0) {
    pinMode(SERVO_POWER_PIN, OUTPUT);
    digitalWrite(SERVO_POWER_PIN, HIGH);
  }
  if (bad > 0) health_blink(BLINK_BAD_LINE);
  periods_done = pulses_periods();
  health_watch();
}

void loop() {
  while (Serial.available() > 0) {
    uint8_t byte = (uint8_t)Serial.read();
    if (!link_take(byte)) console_take(byte);
  }
  link_poll();
  inputs_poll();
  if (pulses_periods() != periods_done) {
    periods_done++;
    motion_period();
    if (driver_errors() > 0) health_blink(BLINK_DRIVER);
    health_led();
    health_alive();
  }
  // Nothing to do until the next interrupt, a millisecond away at most.
  set_sleep_mode(SLEEP_MODE_IDLE);
  sleep_mode();
}
