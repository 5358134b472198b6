// The bench link: a host on the other end of the serial line moves the head by hand.
//
// The main loop reads every byte that arrives and offers it to the link first; what the link does
// not take goes to the console.
#pragma once
#include <stdint.h>

void link_begin();

// Takes a byte from the serial line. False where it is no part of a frame.
bool link_take(uint8_t byte);

// Once per pass of the main loop: heartbeat, link loss, replies. Never waits.
void link_poll();
