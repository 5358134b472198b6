#!/bin/sh
# Compiles with counters for coverage: cargo's RUSTC_WORKSPACE_WRAPPER, called as `instrumented.sh rustc …`.
exec "$@" -C instrument-coverage
