#!/usr/bin/env bash
# Asks programs that other people wrote whether ours is right:
#   an interpreter of RS274/NGC (Debian's linuxcnc-uspace) reads every program as our reader does;
#   opencamlib's drop-cutter finds the same tip heights; scipy's grey dilation the same envelopes;
#   a strip of the demo sinks under load as a beam on springs does in scipy;
#   scipy's linprog finds the same least changes of random tickets;
#   trimesh finds the meshes closed and as large as job.json says;
#   a simulator that shares no code with ours (.ci/simulate.py) carves every job folder.
#
# usage: .ci/outside.sh [FOLDER]     FOLDER holds programs and meshes; default output-samples and a
#                                    pair with a relieved underside that is milled for the occasion
#        .ci/outside.sh --record     writes their answers to tests/data/ instead of comparing
#
# Builds what it needs under target/outside on the first run. Needs root for the interpreter's
# package, Python 3.11 for the drop-cutter's wheel, and a network for the first run only.
set -euo pipefail
cd "$(dirname "$0")/.."

here=.ci/outside
built=$PWD/target/outside
record=no
if [ "${1:-}" = --record ]; then record=yes; shift; fi
samples=$(realpath -m "${1:-output-samples}")
mkdir -p "$built"
mine=no
[ -n "${1:-}" ] || mine=yes

say() { echo "outside: $*"; }
cannot() { echo "outside: $*" >&2; exit 1; }

install_package() { # NAME
    [ "$(id -u)" = 0 ] || cannot "the Debian package $1 is missing and only root can install it"
    export DEBIAN_FRONTEND=noninteractive
    say "installing the Debian package $1"
    { apt-get update && apt-get install -y --no-install-recommends "$1"; } >"$built/apt.log" 2>&1 ||
        cannot "the Debian package $1 cannot be installed; the last lines of $built/apt.log:
$(tail -n 5 "$built/apt.log")"
}

is_3_11() { "$1" -c 'import sys; sys.exit(sys.version_info[:2] != (3, 11))' >/dev/null 2>&1; }

pythons() {
    local candidate
    for candidate in python3 python3.11 /usr/bin/python3 "$HOME"/.pyenv/versions/3.11.*/bin/python3; do
        if is_3_11 "$candidate"; then echo "$candidate"; fi
    done
}

# An environment with its packages, from one Python. Where the environment cannot be given a pip of
# its own, the Python's pip fills it from outside.
fill_venv() { # PYTHON
    rm -rf "$built/venv"
    if "$1" -m venv "$built/venv"; then
        "$built/venv/bin/python" -m pip install --quiet -r "$here/requirements.txt"
    else
        rm -rf "$built/venv"
        "$1" -m venv --without-pip "$built/venv" &&
            "$1" -m pip --python "$built/venv/bin/python" install --quiet -r "$here/requirements.txt"
    fi
}

try_pythons() {
    local candidate
    for candidate in $(pythons); do
        echo "with $candidate:"
        if fill_venv "$candidate"; then return; fi
    done
    return 1
} >>"$built/venv.log" 2>&1

# A run that was broken off leaves no marker, and the next one starts again.
build_venv() {
    if cmp -s "$here/requirements.txt" "$built/venv/installed.txt"; then return; fi
    say "building the Python environment"
    : >"$built/venv.log"
    try_pythons || {
        [ -n "$(pythons)" ] || install_package python3.11
        install_package python3-venv
        install_package python3-pip
        try_pythons || cannot "no Python environment; free space: $(df -h "$built" | tail -n 1); the last lines of $built/venv.log:
$(tail -n 20 "$built/venv.log")"
    }
    cp "$here/requirements.txt" "$built/venv/installed.txt"
}

command -v rs274 >/dev/null || install_package linuxcnc-uspace
build_venv
python=$built/venv/bin/python

if [ "$record" = yes ]; then
    # The committed tables may not exist yet, so the tests may fail; what they hand on is complete.
    rm -rf "$built/asked"
    SUSTENT_OUTSIDE=$built/asked SUSTENT_SAMPLES=$samples cargo test --quiet --test outside >"$built/test.log" 2>&1 || true
    "$python" "$here/interpreter.py" --record tests/data/free-form.ngc tests/data/interpreter-free-form.csv
    "$python" "$here/heights.py" "$built/asked" tests/data
    "$python" "$here/strip.py" "$built/asked/strip.csv" tests/data/scipy-strip.csv
    exit
fi

if [ "$mine" = yes ]; then
    say "a relieved pair"
    rm -rf "$built/jobs"
    mkdir -p "$built/jobs"
    cp -r "$samples/." "$built/jobs/"
    cargo run --quiet -- mill tests/data/relieved.toml --out "$built/jobs" >"$built/mill.log" || cannot "the relieved pair is not made:
$(tail -n 20 "$built/mill.log")"
    samples=$built/jobs
fi
say "our answers"
rm -rf "$built/asked"
SUSTENT_OUTSIDE=$built/asked SUSTENT_SAMPLES=$samples cargo test --quiet --test outside
SUSTENT_OUTSIDE=$built/asked cargo test --quiet --lib programs_are_handed_on

# Every stage runs, so that one report names everything that differs.
differ=0
say "programs against the interpreter"
"$python" "$here/interpreter.py" "$built/asked/programs" || differ=1
say "heights against opencamlib and scipy"
"$python" "$here/heights.py" "$built/asked" || differ=1
say "a strip under load against a beam in scipy"
"$python" "$here/strip.py" "$built/asked/strip.csv" || differ=1
say "least changes against scipy's linear programs"
"$python" "$here/program.py" "$built/asked/programs.txt" || differ=1
say "meshes against trimesh"
"$python" "$here/meshes.py" "$samples" || differ=1
say "job folders in a simulator of their own"
while IFS= read -r job; do
    "$python" .ci/simulate.py "$(dirname "$job")" || differ=1
done < <(find "$samples" -name job.json | sort)
[ "$differ" = 0 ] || cannot "something differs, see above"
say "all agree"
