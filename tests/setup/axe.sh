#!/usr/bin/env bash
# The accessibility judge of the tests, axe-core (MPL 2.0), of one version, into DIR: axe.sh DIR
set -euo pipefail
dir=${1:?usage: axe.sh DIR}
version=4.10.3
[ -s "$dir/axe-$version.js" ] && exit 0
echo "setup: fetching axe-core $version" >&2
if ! command -v npm >/dev/null; then
  root=(); [ "$(id -u)" = 0 ] || root=(sudo)
  "${root[@]}" apt-get update -qq
  "${root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends npm >/dev/null
fi
mkdir -p "$dir"
work=$(mktemp -d); trap 'rm -rf "$work"' EXIT
(cd "$work" && npm pack --silent "axe-core@$version" >/dev/null && tar -xzf axe-core-*.tgz)
cp "$work/package/LICENSE" "$dir/LICENSE"
mv "$work/package/axe.min.js" "$dir/axe-$version.js"
