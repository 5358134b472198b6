#!/usr/bin/env bash
# Installs what building the page needs, once, and skips what is already there:
# a compiler that has the wasm32-unknown-unknown standard library, the wasm-bindgen
# command that matches Cargo.lock, and Trunk.
#
# Usage: app/setup/wasm-toolchain.sh CACHE_DIR
# Leaves CACHE_DIR/wasm-env.sh, which the Makefile sources before it calls Trunk.
set -euo pipefail

cache=${1:?usage: wasm-toolchain.sh CACHE_DIR}
here=$(cd "$(dirname "$0")/../.." && pwd)
mkdir -p "$cache/bin"
cache=$(cd "$cache" && pwd)
export PATH="$cache/bin:$PATH"
trunk_version=0.21.14
say() { printf 'setup: %s\n' "$*" >&2; }

as_root() {
  if [ "$(id -u)" = 0 ]; then "$@"
  elif command -v sudo >/dev/null; then sudo "$@"
  else say "needs root to run: $*  (install sudo, or run it as root once)"; exit 1
  fi
}

has_target() { # has_target RUSTC: does this compiler have the wasm standard library?
  local dir
  dir=$("$1" --print target-libdir --target wasm32-unknown-unknown 2>/dev/null) || return 1
  compgen -G "$dir/libstd-*.rlib" >/dev/null
}

# --- a compiler with the wasm target ---------------------------------------------------
# First choice: the rustup toolchain in use. A machine whose rustup cannot download falls
# back to Debian's own compiler and its sources, whose standard library is built once.
env_file="$cache/wasm-env.sh"
if has_target rustc; then
  : > "$env_file.new"
elif command -v rustup >/dev/null && timeout 300 rustup target add wasm32-unknown-unknown >"$cache/rustup.log" 2>&1 && has_target rustc; then
  say "added the wasm target to rustup's toolchain"
  : > "$env_file.new"
else
  say "rustup cannot add the wasm target here; using Debian's compiler (rustc-web)"
  if ! [ -x /usr/bin/rustc ] || ! dpkg -s rustc-web cargo-web rust-web-src lld-22 >/dev/null 2>&1; then
    as_root apt-get update -qq
    as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
      rustc-web cargo-web rust-web-src lld-22 >/dev/null
  fi
  if ! has_target /usr/bin/rustc; then
    say "building the wasm standard library once (about a minute)"
    work=$(mktemp -d)
    trap 'rm -rf "$work"' EXIT
    mkdir -p "$work/src"
    printf '[package]\nname = "empty"\nversion = "0.0.0"\nedition = "2021"\n' > "$work/Cargo.toml"
    : > "$work/src/lib.rs"
    # embed-bitcode: without it a later `lto = true` has no bitcode to work on.
    (cd "$work" && env -u RUSTUP_TOOLCHAIN RUSTC=/usr/bin/rustc RUSTC_BOOTSTRAP=1 RUSTFLAGS=-Cembed-bitcode=yes \
      CARGO_TARGET_DIR="$work/target" \
      /usr/bin/cargo build --release -Z build-std=std,panic_abort --target wasm32-unknown-unknown)
    dest=$(/usr/bin/rustc --print target-libdir --target wasm32-unknown-unknown)
    as_root mkdir -p "$dest"
    for lib in "$work"/target/wasm32-unknown-unknown/release/deps/*.rlib; do
      case $(basename "$lib") in libempty-*) ;; *) as_root cp "$lib" "$dest/" ;; esac
    done
    has_target /usr/bin/rustc || { say "the wasm standard library did not install into $dest"; exit 1; }
  fi
  if command -v rustup >/dev/null; then
    rustup toolchain list | grep -q '^debian-web' || rustup toolchain link debian-web /usr
    echo 'export RUSTUP_TOOLCHAIN=debian-web' > "$env_file.new"
  else
    echo 'export PATH="/usr/bin:$PATH"' > "$env_file.new"
  fi
  echo 'export CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_LINKER=wasm-ld-22' >> "$env_file.new"
fi
mv "$env_file.new" "$env_file"

# --- wasm-bindgen, the version that Cargo.lock names -----------------------------------
want=$(sed -n '/^name = "wasm-bindgen"$/{n;s/version = "\(.*\)"/\1/p}' "$here/Cargo.lock")
have=$(wasm-bindgen --version 2>/dev/null | awk '{print $2}' || true)
if [ "$want" != "$have" ]; then
  say "installing wasm-bindgen $want (about two minutes)"
  # No --locked: its lock file may name a version that a mirror does not serve yet.
  CARGO_TARGET_DIR="$cache/build" cargo install -q --root "$cache" --force wasm-bindgen-cli --version "$want"
fi

# --- Trunk -----------------------------------------------------------------------------
have=$(trunk --version 2>/dev/null | awk '{print $2}' || true)
if [ "$have" != "$trunk_version" ]; then
  say "installing Trunk $trunk_version (about ten minutes on two cores, once)"
  CARGO_TARGET_DIR="$cache/build" cargo install -q --root "$cache" --force trunk --version "$trunk_version" --locked
fi
rm -rf "$cache/build"
