#!/usr/bin/env bash
# A C++ compiler for this machine: the controller's end of the bench link is tested here, too.
set -euo pipefail
command -v g++ >/dev/null && exit 0
echo "setup: installing g++" >&2
root=(); [ "$(id -u)" = 0 ] || root=(sudo)
"${root[@]}" apt-get update -qq
"${root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends g++ libc6-dev >/dev/null
