#include "console.h"

#include <Arduino.h>

#include "config.h"
#include "driver.h"
#include "health.h"
#include "lines.h"
#include "motion.h"
#include "pulses.h"

static char text[24];
static uint8_t length = 0;

static const __FlashStringHelper *state_name() {
  switch (motion_state()) {
    case MOTION_APPROACH: return F("coming to rest after a reset");
    case MOTION_IDLE: return F("waiting");
    case MOTION_PLAYING: return F("playing");
    case MOTION_LIVE: return F("moved by hand");
    case MOTION_RETURNING: return F("going to rest");
    case MOTION_STOPPED: return F("stopped by its input");
    default: return F("at rest with a fault");
  }
}

static void list() {
  for (uint8_t i = 0; i < LINES; i++) {
    Serial.print(i);
    Serial.print(' ');
    Serial.print((const __FlashStringHelper *)lines_name(i));
    Serial.print(F(", "));
    Serial.print(lines_tenths(i) / 10);
    Serial.print('.');
    Serial.print(lines_tenths(i) % 10);
    Serial.print(F(" s, "));
    Serial.print(lines_size(i));
    Serial.println(lines_good(i) ? F(" bytes") : F(" bytes, BAD: load the sketch again"));
  }
}

static void status() {
  Serial.print(F("state: "));
  Serial.println(state_name());
  if (motion_state() == MOTION_PLAYING) {
    Serial.print(F("line "));
    Serial.print(motion_line());
    Serial.print(F(", frame "));
    Serial.println(motion_frame());
  }
  Serial.print(F("rig: "));
  Serial.println(config_hash(), HEX);
  Serial.print(F("reset cause: "));
  Serial.println(health_reset_cause(), HEX);
  Serial.print(F("late edges: "));
  Serial.println(pulses_late());
  Serial.print(F("driver errors: "));
  Serial.println(driver_errors());
}

static void help() {
  Serial.println(F("list, play N, stop, status, help"));
  Serial.println(F("Moving parts pinch: keep clear, and cut servo power before reaching in."));
}

static void obey() {
  if (strcmp(text, "list") == 0) {
    list();
  } else if (strncmp(text, "play ", 5) == 0) {
    bool digits = text[5] >= '0' && text[5] <= '9';
    int line = atoi(text + 5);
    bool plays = digits && line >= 0 && line < LINES && motion_play((uint8_t)line);
    Serial.println(plays ? F("playing") : F("cannot play: no such line, a bad one, or the head is not ready"));
  } else if (strcmp(text, "stop") == 0) {
    motion_stop();
    Serial.println(F("going to rest slowly"));
  } else if (strcmp(text, "status") == 0) {
    status();
  } else if (length > 0) {
    help();
  }
}

void console_begin() { Serial.begin(115200); }

void console_take(uint8_t byte) {
  if (byte == '\r' || byte == '\n') {
    text[length] = 0;
    obey();
    length = 0;
  } else if (byte >= ' ' && byte < 127 && length < sizeof text - 1) {
    text[length++] = (char)byte;
  }
}
