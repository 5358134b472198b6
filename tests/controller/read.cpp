// Reads a packed track with the controller's own reader and writes its pulses, a row a frame.
// Exit status 1 where the reader refuses it.
#include <cstdio>
#include <vector>

#include "config.h"
#include "player.h"

static std::vector<uint8_t> bytes;
static size_t at;

static uint8_t next_byte() { return at < bytes.size() ? bytes[at++] : 0; }

int main(int, char **argv) {
  FILE *file = fopen(argv[1], "rb");
  if (!file) return 2;
  for (int c; (c = fgetc(file)) != EOF;) bytes.push_back((uint8_t)c);
  fclose(file);
  if (player_check(next_byte, (uint32_t)bytes.size()) != TRACK_GOOD) return 1;
  at = 0;
  if (!player_begin(next_byte)) return 1;
  uint32_t frames = 0;
  for (; player_frame(); frames++) {
    for (uint8_t c = 0; c < CHANNELS; c++) printf("%s%u", c ? "," : "", player_pulse(c));
    printf("\n");
  }
  return frames == player_frames() ? 0 : 1;
}
