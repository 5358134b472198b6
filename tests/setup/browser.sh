#!/usr/bin/env bash
# Installs Chromium and its driver for the end-to-end tests, unless they are there.
set -euo pipefail
if command -v chromium >/dev/null && command -v chromedriver >/dev/null; then exit 0; fi
echo "setup: installing chromium and chromium-driver" >&2
root=(); [ "$(id -u)" = 0 ] || root=(sudo)
"${root[@]}" apt-get update -qq
"${root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
  chromium chromium-driver fonts-dejavu-core >/dev/null
