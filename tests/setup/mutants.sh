#!/usr/bin/env bash
# Mutation: mutants.sh CACHE WHAT. Changes one place of the planner or the rig at a time and runs the tests; a change
# that no test notices is a survivor. The changes are those that cargo-mutants lists. All are built at once, each
# behind a switch (tests/mutants), so that one costs no more than the tests that reach it. A run that is stopped goes
# on where it was; results stay in target/mutants/all until a file of the planner or the rig changes. What nothing
# noticed the last time is asked first.
#
#   WHAT = all, linkages, solver, rooms (all but those two), or a part of a file's path
#   WHAT = report     the counts so far
#   WHAT = alone      the changes that take no switch (in constants, borrowed closures), by cargo-mutants itself: a
#                     build for each
#   WHAT = sample     ten changes drawn by SEED from those with a verdict, by cargo-mutants itself: do both agree?
#
# HANDS=2 works on two at a time. LONGEST=3 runs no test that takes more than three seconds: a run with it, then one
# without, has few changes left for the long tests.
set -euo pipefail
cache=$1 what=$2
cd "$(dirname "$0")/../.."
root=$PWD
tool=$cache/bin/cargo-mutants
if [ ! -x "$tool" ]; then
  echo "setup: installing cargo-mutants" >&2
  cargo install -q --locked --root "$cache" cargo-mutants --version 27.1.0
fi
export CARGO_TARGET_DIR=${CARGO_TARGET_DIR:-$root/target}
place=$CARGO_TARGET_DIR/mutants/all
mkdir -p "$place"
of_rooms=(-p lipwright-core -f 'core/src/motion/**' -f 'core/src/rig/**' -e '**/tests/**' -e '**/*tests.rs')
own() { cargo run -q -p lipwright-mutants -- "$@"; }

# Changes one after another, each by a build of its own; their names, one a line, come in. Fields left out of struct
# expressions cargo-mutants adds whatever it is asked for.
one_by_one() {
  local names=()
  while IFS= read -r name; do names+=(-F "^$(printf '%s' "$name" | sed 's/[][().*+?^${}|\\]/\\&/g')\$"); done
  PROPTEST_RNG_SEED=20261125 "$tool" mutants "${of_rooms[@]}" "${names[@]}" -j1 --minimum-test-timeout 60 \
    --output "$place/$what" -- --lib -- motion:: rig:: || true
  wc -l "$place/$what"/mutants.out/{caught,missed,timeout,unviable}.txt
}

case $what in
  report) exec cargo run -q -p lipwright-mutants -- report "$place/list.json" "$place" ;;
  alone) own alone "$place/list.json" "$place" | one_by_one; exit ;;
  sample) own sample "$place/list.json" "$place" "${SEED:-1}" | one_by_one; exit ;;
esac

"$tool" mutants --list --json "${of_rooms[@]}" >"$place/list.new"
# What was found out about other source text says nothing about this one; tests may come and go.
sed -n 's/^ *"file": "\(.*\)",$/\1/p' "$place/list.new" | uniq | while IFS= read -r file; do
  sed '/^mod tests {/,$d;/^#\[cfg(test)\]/d;/^#\[path/d;/^mod .*tests;/d;/^$/d' "$file"
done >"$place/source.new"
if ! cmp -s "$place/source.new" "$place/source"; then
  [ ! -e "$place/unnoticed.txt" ] || cp "$place/unnoticed.txt" "$place/before.txt"
  rm -rf "$place/results.jsonl" "$place/reach"
fi
mv "$place/source.new" "$place/source"
mv "$place/list.new" "$place/list.json"
# A workspace of core alone; what it is built on is shared with this one.
copy=$place/copy
mkdir -p "$copy"
ln -sfn "$root/static" "$copy/static"
ln -sfn "$root/sample-audio" "$copy/sample-audio"
sed -e 's/^members = .*/members = ["core"]/' -e '/^\[profile.wasm.package.lipwright-app\]/,/^$/d' Cargo.toml >"$copy/Cargo.toml"
printf '\n[profile.dev.package.lipwright-core]\nopt-level = 2\ndebug = false\n' >>"$copy/Cargo.toml"
[ -e "$copy/Cargo.lock" ] || cp Cargo.lock "$copy/"
own build "$place/list.json" "$place"
own run "$place/list.json" "$place" "$what"
own report "$place/list.json" "$place"
