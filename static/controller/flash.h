// Constants that stay in flash. On the controller they are read with pgm_read_...; where the same
// source is compiled for a test on a computer, flash is memory like any other.
#pragma once
#include <stdint.h>

#ifdef __AVR__
#include <avr/pgmspace.h>
#else
#define PROGMEM
#define pgm_read_byte(address) (*(const uint8_t *)(address))
#define pgm_read_word(address) (*(const uint16_t *)(address))
#define pgm_read_ptr(address) (*(void *const *)(address))
#endif
