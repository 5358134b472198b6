#!/usr/bin/env bash
# Writes the service worker of a built page: the list of its files with their hashes, a hash of that
# list, then static/sw.js. Trunk runs this at the end of a build (Trunk.toml).
# Usage: offline.sh FOLDER SOURCE
set -euo pipefail
folder=${1:?usage: offline.sh FOLDER SOURCE} source=${2:?usage: offline.sh FOLDER SOURCE}
cd "$folder"
list=$(find . -type f ! -name sw.js -printf '%P\n' | LC_ALL=C sort | while read -r path; do
  printf '  ["%s", "%s"],\n' "$path" "$(sha256sum "$path" | cut -d' ' -f1)"
done)
version=$( { printf '%s\n' "$list"; cat "$source"; } | sha256sum | cut -c1-16)
{ printf 'const VERSION = "%s";\nconst FILES = [\n%s\n];\n' "$version" "$list"; cat "$source"; } > sw.js
