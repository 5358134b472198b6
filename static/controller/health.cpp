#include "health.h"

#include <Arduino.h>
#include <avr/wdt.h>

#include "config.h"

// Set before anything else runs, in memory that the start-up code does not clear.
static uint8_t cause __attribute__((section(".noinit")));

// The watchdog stays on after a watchdog reset, at its shortest time: switch it off at once.
// (Some old boot loaders do not, and hang: then replace the boot loader, or do without the watchdog.)
void save_reset_cause() __attribute__((naked, used, section(".init3")));
void save_reset_cause() {
  cause = MCUSR;
  MCUSR = 0;
  wdt_disable();
}

static uint8_t blinks = BLINK_NOTHING;
static uint8_t tick = 0;

bool health_begin() {
  digitalWrite(LED_PIN, LOW);
  pinMode(LED_PIN, OUTPUT);
  return (cause & _BV(PORF)) == 0;
}

uint8_t health_reset_cause() { return cause; }

void health_watch() { wdt_enable(WDTO_250MS); }

void health_alive() { wdt_reset(); }

void health_blink(uint8_t code) { blinks = code; }

void health_led() {
  const uint8_t flash = 20;            // periods from flash to flash: 400 ms
  uint8_t round = flash * (blinks + 3);
  tick = tick + 1 < round ? tick + 1 : 0;
  bool on = tick / flash < blinks && tick % flash < flash / 2;
  digitalWrite(LED_PIN, on);
}
