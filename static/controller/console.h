// The serial console: 115200 baud, one command a line. Type "help".
#pragma once
#include <stdint.h>

void console_begin();
void console_take(uint8_t byte);
