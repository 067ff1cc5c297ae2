#!/usr/bin/env bash
# Mutation testing of the rooms on which the proof and the verdict rest: .ci/mutants.sh [FILE...]
#
# A mutant of the whole program takes minutes to build. The floors make a quicker way: the rooms up to `inspect/`, and nothing
# above them, are a program of their own in target/mutants, where their own tests run. What survives there may still be killed by the
# tests above; docs/how-it-is-tested.md says what became of each.
set -euo pipefail
cd "$(dirname "$0")/.."
command -v cargo-mutants > /dev/null || cargo install cargo-mutants --locked
rooms=(frame value grid sheet regress register curve kernel mesh written foot profile ticket footbed gauge path nc inspect)
files=("$@")
if [ ${#files[@]} -eq 0 ]; then
  files=(src/kernel src/gauge src/nc/read.rs src/nc/read src/inspect/verdict.rs src/inspect/estimate.rs)
fi
home=target/mutants/rooms
rm -rf "$home"
mkdir -p "$home/src"
cp -r profiles "$home/profiles"
mkdir -p "$home/output-samples" "$home/tests"
cp -r output-samples/PATROL-07 "$home/output-samples/"
cp -r tests/data "$home/tests/data"
for room in "${rooms[@]}"; do
  cp -r "src/$room" "$home/src/$room"
  echo "#[allow(missing_docs, dead_code, unused_imports)] pub mod $room;" >> "$home/src/lib.rs"
done
sed -n '/^\[package\]/,/^exclude/p; /^\[dependencies\]/,/^\[\[bench/p' Cargo.toml | sed '/^\[\[bench/d; /^readme/d; /^exclude/d' > "$home/Cargo.toml"
printf '\n[profile.dev]\nopt-level = 1\ndebug = false\n[profile.dev.package."*"]\nopt-level = 1\ndebug = false\n[workspace]\n' >> "$home/Cargo.toml"
cp Cargo.lock "$home/"
arguments=()
for file in "${files[@]}"; do
  if [ -d "$file" ]; then arguments+=(-f "$file/**"); else arguments+=(-f "$file"); fi
done
cd "$home"
cargo mutants --no-shuffle --jobs 2 --timeout 60 --output .. --colors never "${arguments[@]}" -- --lib
