#!/usr/bin/env bash
# Mutation: mutants.sh CACHE WHAT SHARD. Changes one place of the program at a time (cargo-mutants) and runs the
# tests; a change that no test notices is a survivor. SHARD k/n takes every n-th change.
#
#   WHAT = linkages   the linkages of core/src/rig, by their own tests, in a crate of their own
#   WHAT = solver     core/src/motion/solver, likewise
#   WHAT = rooms      all of core/src/motion and core/src/rig, by all tests of these rooms
#
# The first two rooms need nothing else of core, so a crate with nothing but them is built for each change in
# seconds instead of minutes. A survivor there may still be noticed by the tests of the whole.
set -euo pipefail
cache=$1 what=$2 shard=$3
cd "$(dirname "$0")/../.."
root=$PWD
tool=$cache/bin/cargo-mutants
if [ ! -x "$tool" ]; then
  echo "setup: installing cargo-mutants" >&2
  cargo install -q --locked --root "$cache" cargo-mutants --version 27.1.0
fi
place=${CARGO_TARGET_DIR:-$root/target}/mutants
mkdir -p "$place"
common=(mutants --shard "$shard" --sharding round-robin --minimum-test-timeout 60 --output "$place/$what")
if [ "$what" = rooms ]; then
  exec "$tool" "${common[@]}" -j1 -p lipwright-core -f 'core/src/motion/**' -f 'core/src/rig/**' -e '**/tests/**' \
    -e '**/*tests.rs' -- --lib -- motion:: rig::
fi

# A crate of nothing but these files, beside a lock file with the versions that the workspace has.
crate=$place/crate-$what
rm -rf "$crate/src"; mkdir -p "$crate/src"
dependency() { grep -m1 "^$1 = " "$2"; }
{
  printf '[package]\nname = "kernels"\nversion = "0.1.0"\nedition = "2024"\n\n[workspace]\n\n[profile.dev]\nopt-level = 1\ndebug = false\nincremental = true\n'
  printf '\n[dependencies]\n'; for crate_name in serde serde_json thiserror; do dependency $crate_name Cargo.toml; done
  printf '\n[dev-dependencies]\n'; for crate_name in proptest clarabel; do dependency $crate_name core/Cargo.toml; done
} >"$crate/Cargo.toml"
cp Cargo.lock "$crate/"
case $what in
  linkages)
    mkdir "$crate/src/rig"
    cp core/src/fields.rs "$crate/src/"
    for file in error push_rod five_bar table rotary differential; do cp "core/src/rig/$file.rs" "$crate/src/rig/"; done
    printf '#![allow(dead_code, unused_imports)]\nmod fields;\npub mod rig;\n' >"$crate/src/lib.rs"
    for file in error push_rod five_bar table rotary differential; do echo "pub mod $file; pub use $file::*;"; done >"$crate/src/rig/mod.rs"
    files=(-f 'src/rig/*.rs' -e 'src/rig/error.rs')
    ;;
  solver)
    mkdir -p "$crate/src/motion" "$crate/benches"
    cp -r core/src/motion/solver "$crate/src/motion/"
    cp -r core/benches/motion "$crate/benches/"
    rm "$crate/benches/motion/main.rs"
    sed -i 's/lipwright_core/kernels/g' "$crate"/benches/motion/*.rs
    printf '#![allow(dead_code)]\npub mod motion { pub mod solver; }\n' >"$crate/src/lib.rs"
    files=(-f 'src/motion/solver/*.rs' -e '**/tests.rs')
    ;;
  *) echo "mutants.sh: there is no '$what'; give linkages, solver or rooms" >&2; exit 2 ;;
esac
PROPTEST_RNG_SEED=${PROPTEST_RNG_SEED:-20261125} exec "$tool" "${common[@]}" --in-place -d "$crate" "${files[@]}" -- --lib
