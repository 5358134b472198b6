#!/usr/bin/env bash
# Makes the virtual environment with the tests' judges: python.sh FOLDER. Done again when the list changes.
set -euo pipefail
folder=$1
list="$(dirname "$0")/requirements.txt"
if [ -x "$folder/bin/python" ] && cmp -s "$list" "$folder/installed.txt"; then exit 0; fi
if ! python3 -c 'import ensurepip' 2>/dev/null; then
  root=(); [ "$(id -u)" = 0 ] || root=(sudo)
  "${root[@]}" apt-get update -qq
  "${root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends python3-venv >/dev/null
fi
echo "setup: installing the tests' Python judges" >&2
[ -x "$folder/bin/python" ] || python3 -m venv "$folder"
"$folder/bin/python" -m pip install -q --disable-pip-version-check -r "$list"
cp "$list" "$folder/installed.txt"
