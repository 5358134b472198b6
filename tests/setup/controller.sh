#!/usr/bin/env bash
# Installs what compiles and simulates controller sketches, unless it is there: avr-gcc, arduino-core-avr
# and simavr (all Debian packages).
set -euo pipefail
core=/usr/share/arduino/hardware/arduino/avr/cores/arduino/Arduino.h
if command -v avr-gcc >/dev/null && [ -e "$core" ] && [ -e /usr/include/simavr/sim_avr.h ] \
  && [ -e /usr/include/libelf.h ] && command -v g++ >/dev/null; then exit 0; fi
echo "setup: installing avr-gcc, arduino-core-avr and simavr" >&2
root=(); [ "$(id -u)" = 0 ] || root=(sudo)
"${root[@]}" apt-get update -qq
"${root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
  gcc-avr binutils-avr avr-libc arduino-core-avr libsimavr-dev libelf-dev gcc g++ libc6-dev >/dev/null
