#!/usr/bin/env bash
# Independent readers of what is exported, for the tests: a Python environment in DIR.
# Usage: tests/setup/python.sh DIR
set -euo pipefail
dir=${1:?usage: python.sh DIR}
wanted="mido==1.3.3 webvtt-py==0.5.1"
[ "$(cat "$dir/complete" 2>/dev/null)" = "$wanted" ] && exit 0
echo "setup: installing readers for interchange files ($wanted)" >&2
python3 -c 'import ensurepip' 2>/dev/null || {
  root=(); [ "$(id -u)" = 0 ] || root=(sudo)
  "${root[@]}" apt-get update -qq
  "${root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends python3-venv >/dev/null
}
python3 -m venv "$dir"
# shellcheck disable=SC2086 # one word a package
"$dir/bin/python" -m pip install -q --disable-pip-version-check $wanted
echo "$wanted" > "$dir/complete"
