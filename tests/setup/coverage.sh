#!/usr/bin/env bash
# Line coverage of core: coverage.sh. Runs core's own tests and the tests of the command line with counters in
# the compiled code, and prints a table by room. Needs llvm-cov and llvm-profdata of the compiler's own LLVM.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
cd "$here/../.."
target=${CARGO_TARGET_DIR:-$PWD/target}
place=$target/coverage

# The compiler's own tools where rustup has them (component llvm-tools), else Debian's of the same version.
version=$(rustc -vV | sed -n 's/^LLVM version: \([0-9]*\).*/\1/p')
tools=$(dirname "$(find "$(rustc --print sysroot)" -name llvm-profdata 2>/dev/null | head -1)" 2>/dev/null || true)
if [ -x "$tools/llvm-profdata" ]; then
  profdata=$tools/llvm-profdata cov=$tools/llvm-cov
else
  profdata=llvm-profdata-$version cov=llvm-cov-$version
  if ! command -v "$cov" >/dev/null; then
    echo "setup: installing llvm-$version" >&2
    root=(); [ "$(id -u)" = 0 ] || root=(sudo)
    "${root[@]}" apt-get update -qq
    "${root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "llvm-$version" >/dev/null
  fi
fi

rm -rf "$place"; mkdir -p "$place"
# Only our own crates get counters: what they are built on stays as it is and need not be built again.
export RUSTC_WORKSPACE_WRAPPER=$here/instrumented.sh
export LLVM_PROFILE_FILE=$place/%p-%m.profraw
export PROPTEST_RNG_SEED=${PROPTEST_RNG_SEED:-20261125}
cargo test -q -p lipwright-core --lib --bins --tests
cargo build -q -p lipwright-core --bin lipwright
cp "$target/debug/lipwright" "$place/lipwright"
if [ "${COMMAND_LINE:-yes}" = yes ]; then
  # The tests themselves without counters, the command they run with.
  (unset RUSTC_WORKSPACE_WRAPPER; LIPWRIGHT_COMMAND=$place/lipwright LLVM_PROFILE_FILE=$place/%p-%m.profraw \
    cargo test -q -p lipwright-tests --test command_line --test interchange --test command_faults --test bad_input -- --skip the_page)
fi
objects=("$place/lipwright")
while read -r object; do objects+=("-object=$object"); done < <(
  cargo test -q -p lipwright-core --lib --bins --tests --no-run --message-format=json 2>/dev/null |
    python3 -c 'import json, sys
for line in sys.stdin:
    message = json.loads(line)
    if message.get("executable") and message.get("profile", {}).get("test"): print(message["executable"])')
# Commands that a test ends in the middle of a write leave half a profile: those are passed over.
"$profdata" merge -sparse --failure-mode=all "$place"/*.profraw -o "$place/all.profdata"
rm -f "$place"/*.profraw
"$cov" export -format=lcov -instr-profile="$place/all.profdata" "${objects[@]}" >"$place/lines.info"
python3 "$here/coverage.py" "$place/lines.info" "$place/uncovered.txt"
