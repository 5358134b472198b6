// Watchdog, reset cause and the LED that blinks what is wrong.
#pragma once
#include <stdint.h>

// Blink codes: so many flashes, a pause, and again.
const uint8_t BLINK_NOTHING = 0;
const uint8_t BLINK_BAD_LINE = 2;      // a line in flash is damaged or made for another head
const uint8_t BLINK_DRIVER = 3;        // the I2C driver does not answer

// Reads why the processor started. True where memory may have survived: watchdog, brown-out, reset
// button; false after power-up.
bool health_begin();

// What started the processor last, as flags of MCUSR (ATmega2560 data sheet, "MCU Status Register").
uint8_t health_reset_cause();

// Starts the watchdog: without health_alive() for a quarter of a second, the processor is reset.
void health_watch();
void health_alive();

void health_blink(uint8_t code);
void health_led();                     // once a period
