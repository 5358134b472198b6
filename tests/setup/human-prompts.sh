#!/usr/bin/env bash
# Real human speech for the tests: a few telephone prompts of Debian's package
# asterisk-core-sounds-en-wav (CC BY-SA 3.0), unpacked into DIR without installing anything.
# Usage: tests/setup/human-prompts.sh DIR
set -euo pipefail
dir=${1:?usage: human-prompts.sh DIR}
[ -s "$dir/complete" ] && exit 0
echo "setup: fetching human speech prompts (asterisk-core-sounds-en-wav)" >&2
mkdir -p "$dir"
work=$(mktemp -d); trap 'rm -rf "$work"' EXIT
chmod 755 "$work" # apt's own download user must be able to write here
(
  cd "$work"
  apt-get download -q asterisk-core-sounds-en-wav >/dev/null 2>&1 || {
    root=(); [ "$(id -u)" = 0 ] || root=(sudo)
    "${root[@]}" apt-get update -qq
    apt-get download -q asterisk-core-sounds-en-wav >/dev/null
  }
  dpkg -x asterisk-core-sounds-en-wav_*.deb x
)
# Its subfolders hold digits, letters and plain silence; whole sentences lie on top.
find "$work"/x/usr/share/asterisk/sounds/en_US* -maxdepth 1 -name '*.wav' -size +24k -exec cp -t "$dir" {} +
cp "$work"/x/usr/share/doc/asterisk-core-sounds-en-wav/copyright "$dir/COPYRIGHT"
ls "$dir" | grep -c 'wav$' > "$dir/complete"
