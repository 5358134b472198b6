// Trigger, line selection and stop input.
#pragma once

void inputs_begin();

// Once per pass of the main loop.
void inputs_poll();
