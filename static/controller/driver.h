// A 16-channel I2C PWM driver (PCA9685): 12 bits, about 4.9 us a step.
//
// Register names and numbers are those of the data sheet (NXP PCA9685, Rev. 4). Its clock is only
// typically 25 MHz: measure a pulse and set DRIVER_CLOCK_HZ in config.h to what makes it right.
#pragma once
#include <stdint.h>

void driver_begin();

// Sends the pulses of all channels, in ticks of 0.5 us; 0 switches a channel off.
void driver_write(const uint16_t *ticks);

// Transfers that failed: wiring, address, or the driver without power.
uint16_t driver_errors();
