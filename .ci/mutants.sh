#!/usr/bin/env bash
# Mutation testing of the rooms on which the proof and the verdict rest: .ci/mutants.sh [GROUP [ARGUMENT...]]
#
# GROUP is kernel, gauge, reader or verdict; without one all run. What follows goes to cargo-mutants, such as --shard 0/4.
# A mutant of the whole program takes minutes to build. The floors make a quicker way: a room and those it stands on are a program
# of their own under target/mutants, where their own tests run. What survives there may still be killed by the
# tests above; docs/measured.md says what was seen.
set -euo pipefail
cd "$(dirname "$0")/.."
export CARGO_TARGET_DIR=$PWD/target/mutants/target
command -v cargo-mutants > /dev/null || cargo install cargo-mutants --locked

# The rooms it takes, the files that are changed, the tests that must notice, and how well it is compiled: where the tests
# are quick, the compiler is what takes the time.
group() {
    opt=0
    local low="frame grid kernel" ground="frame value grid sheet regress curve kernel written foot profile ticket footbed"
    case $1 in
        kernel) rooms=$low files=(-f 'src/kernel/**') tests="kernel::" opt=1 ;;
        gauge) rooms="$ground gauge" files=(-f 'src/gauge/**') tests="gauge::" opt=1 ;;
        reader) rooms="$ground gauge path nc" files=(-f src/nc/read.rs -f 'src/nc/read/**') tests="nc::" ;;
        verdict) rooms="$ground register mesh gauge path nc inspect" files=(-f src/inspect/verdict.rs -f src/inspect/estimate.rs) tests="inspect::" ;;
        *) echo "no group '$1'; there are: kernel gauge reader verdict" >&2; exit 2 ;;
    esac
}

# A program of these rooms alone.
house() { # FOLDER
    rm -rf "$1"
    mkdir -p "$1/src" "$1/output-samples" "$1/tests"
    cp -r profiles "$1/"
    cp -r output-samples/PATROL-07 "$1/output-samples/"
    cp -r tests/data "$1/tests/data"
    local room
    for room in $rooms; do
        if [ -d "src/$room" ]; then cp -r "src/$room" "$1/src/"; else cp "src/$room.rs" "$1/src/"; fi
        echo "#[allow(missing_docs, dead_code, unused_imports)] pub mod $room;" >>"$1/src/lib.rs"
    done
    {
        sed -n '/^\[package\]/,/^exclude/p; /^\[dependencies\]/,/^\[\[bench/p' Cargo.toml | sed '/^\[\[bench/d; /^readme/d; /^exclude/d'
        printf '\n[profile.dev]\nopt-level = %d\ndebug = false\n[profile.dev.package."*"]\nopt-level = 1\ndebug = false\n[workspace]\n' "$opt"
    } >"$1/Cargo.toml"
    cp Cargo.lock "$1/"
}

run() { # GROUP [ARGUMENT...]
    group "$1"
    local home=target/mutants/$1
    shift
    house "$home"
    (cd "$home" && cargo mutants --in-place --cargo-arg=--lib --timeout 60 --output found --colors never "${files[@]}" "$@" -- "$tests") || true
}

if [ $# -gt 0 ]; then run "$@"; else for name in kernel gauge reader verdict; do run "$name"; done; fi
