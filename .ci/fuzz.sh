#!/usr/bin/env bash
# Every door under libFuzzer for some seconds each (default 60): .ci/fuzz.sh [SECONDS [DOOR...]]
# New finds that break a door lie in tests/fuzz/found/; fix them and keep the file in tests/fuzz/corpus/<door>/.
# What reaches code that the kept files do not lies in tests/fuzz/reached/: thousands of files, of which a few may join the corpus.
# Stable Rust: the coverage that libFuzzer steers by comes from compiler passes, not from a nightly option.
set -euo pipefail
cd "$(dirname "$0")/../tests/fuzz"
seconds=${1:-60}
shift || true
flags="-Cpasses=sancov-module"
for option in level=4 inline-8bit-counters pc-table trace-compares; do
  flags="$flags -Cllvm-args=-sanitizer-coverage-$option"
done
host=$(rustc -vV | sed -n 's/^host: //p')
RUSTFLAGS="$flags" cargo build --release --target "$host"
doors=("$@")
if [ ${#doors[@]} -eq 0 ]; then
  doors=(ticket measures profile outline scan readings program desk log)
fi
mkdir -p found
failed=0
for door in "${doors[@]}"; do
  mkdir -p "corpus/$door" "reached/$door"
  echo "== $door, $seconds s"
  SUSTENT_DOOR=$door "target/$host/release/sustent-fuzz" "reached/$door" "corpus/$door" \
    -max_total_time="$seconds" -max_len=20000 -timeout=20 -rss_limit_mb=4096 -print_final_stats=1 \
    -artifact_prefix="found/$door-" 2>&1 | grep -E "ERROR|panicked|stat::number_of_executed|stat::peak_rss|DONE|SUMMARY|cov:" | tail -12 || true
  ls found | grep -q "^$door-" && failed=1
done
exit $failed
