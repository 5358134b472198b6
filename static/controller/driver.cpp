#include "driver.h"

#include <Arduino.h>
#define WITH_SERVO_TABLE
#include "config.h"
#include "flash.h"

#if OUTPUT_DRIVER

const uint8_t MODE1 = 0x00, LED0_ON_L = 0x06, PRE_SCALE = 0xFE;
const uint8_t MODE1_SLEEP = 0x10, MODE1_AI = 0x20, MODE1_RESTART = 0x80;
const uint8_t FULL_OFF = 0x10;   // bit 4 of LEDn_OFF_H: the output stays low

// PRE_SCALE = round(clock / (4096 * rate)) - 1 for 50 Hz.
const uint8_t PRESCALE = (uint8_t)((DRIVER_CLOCK_HZ + 4096UL * 25) / (4096UL * 50) - 1);

static uint16_t errors = 0;

// --- the two-wire bus, polled, and never waiting for ever ---

static bool bus_wait() {
  // Nine bits at 400 kHz take 23 us; a bus that hangs is given up after about 100.
  for (uint8_t tries = 0; tries < 200; tries++) {
    if (TWCR & _BV(TWINT)) return true;
  }
  return false;
}

static bool bus_start() {
  TWCR = _BV(TWINT) | _BV(TWSTA) | _BV(TWEN);
  return bus_wait();
}

static bool bus_send(uint8_t byte) {
  TWDR = byte;
  TWCR = _BV(TWINT) | _BV(TWEN);
  if (!bus_wait()) return false;
  uint8_t status = TWSR & 0xF8;
  return status == 0x18 || status == 0x28;   // address or data acknowledged
}

static void bus_stop() { TWCR = _BV(TWINT) | _BV(TWSTO) | _BV(TWEN); }

static bool open_register(uint8_t first) {
  return bus_start() && bus_send(DRIVER_ADDRESS << 1) && bus_send(first);
}

static void set_register(uint8_t which, uint8_t value) {
  bool good = open_register(which) && bus_send(value);
  bus_stop();
  if (!good) errors++;
}

void driver_begin() {
  TWSR = 0;
  TWBR = ((F_CPU / 400000UL) - 16) / 2;   // 400 kHz
  TWCR = _BV(TWEN);
  // PRE_SCALE can be written only while the oscillator sleeps.
  set_register(MODE1, MODE1_SLEEP | MODE1_AI);
  set_register(PRE_SCALE, PRESCALE);
  set_register(MODE1, MODE1_AI);
  delayMicroseconds(500);                 // the oscillator needs as much to start
  set_register(MODE1, MODE1_RESTART | MODE1_AI);
}

// Steps of a pulse: ticks are 0.5 us, a step is (PRESCALE + 1) / clock.
static uint16_t steps(uint16_t ticks) {
  const uint32_t per_step = 2000UL * (PRESCALE + 1);
  return ((uint32_t)ticks * (DRIVER_CLOCK_HZ / 1000) + per_step / 2) / per_step;
}

void driver_write(const uint16_t *ticks) {
  static uint16_t sent[CHANNELS];
  for (uint8_t i = 0; i < CHANNELS; i++) {
    if (ticks[i] == sent[i] && errors == 0) continue;
    uint8_t channel = pgm_read_byte(&SERVOS[i].pin);
    // Pulses begin spread over the period, so that not all servos draw current at once.
    uint16_t on = 256 * channel, off = (on + steps(ticks[i])) & 4095;
    bool good = open_register(LED0_ON_L + 4 * channel) && bus_send(on & 255) && bus_send(on >> 8) &&
                bus_send(off & 255) && bus_send((off >> 8) | (ticks[i] == 0 ? FULL_OFF : 0));
    bus_stop();
    if (good) sent[i] = ticks[i];
    else errors++;
  }
}

uint16_t driver_errors() { return errors; }

#else

uint16_t driver_errors() { return 0; }

#endif
