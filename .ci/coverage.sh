#!/usr/bin/env bash
# What share of the lines the tests run through: .ci/coverage.sh [ARGUMENT...]
#
# What follows goes to `cargo llvm-cov`, such as --lib for the library's own tests. It prints a table, a row a file, and
# their sum; it is a figure to look at and no gate.
set -euo pipefail
cd "$(dirname "$0")/.."
export CARGO_TARGET_DIR=$PWD/target/coverage
rustup component add llvm-tools
command -v cargo-llvm-cov > /dev/null || cargo install cargo-llvm-cov --locked
cargo llvm-cov --locked --summary-only --ignore-filename-regex '/(tests|benches)/' "$@"
