"""Runs the LinuxCNC interpreter over programs and compares what it orders with what we read.

For every NAME.ngc in the folder there is a NAME.csv with our reading: one row for each movement and
dwell. The interpreter's canonical calls are turned into the same rows and compared one by one.
"""

import csv
import os
import re
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

PLACE_MM = 0.00006  # the interpreter prints four decimals
CALL = re.compile(r"^\s*\d+ N\.*\s*([A-Z0-9_]+)\((.*)\)\s*$")

# Calls that neither move nor change how a straight move in mm is made.
IDLE = {
    "COMMENT", "MESSAGE", "ON_RESET", "PROGRAM_END", "SELECT_PLANE", "SET_FEED_MODE", "SET_FEED_REFERENCE",
    "SET_SPINDLE_MODE", "SET_XY_ROTATION", "USE_TOOL_LENGTH_OFFSET", "SET_G5X_OFFSET", "SET_G92_OFFSET",
    "USE_LENGTH_UNITS", "SET_MOTION_CONTROL_MODE", "PALLET_SHUTTLE",
}


class Refused(Exception):
    """The interpreter does not take the program."""


def canonical(path):
    """The interpreter's calls as (name, arguments)."""
    # It keeps its parameters in a file of its home, so each run gets a home of its own.
    with tempfile.TemporaryDirectory() as home:
        (Path(home) / "tool.tbl").write_text("")
        # Without -g it waits for input; an error budget (-n 0) would hide errors.
        run = subprocess.run(
            ["rs274", "-t", "tool.tbl", "-g", str(path), "out"], env={**os.environ, "HOME": home}, cwd=home,
            stdin=subprocess.DEVNULL, capture_output=True, text=True, errors="replace", timeout=600,
        )
        if run.returncode != 0:
            raise Refused(run.stderr.strip().replace("\n", " | ")[:300])
        text = (Path(home) / "out").read_text(errors="replace")
    calls = []
    for line in text.splitlines():
        found = CALL.match(line)
        if not found:
            raise ValueError(f"cannot read the interpreter's line: {line}")
        calls.append((found[1], found[2]))
    return calls


def rows(calls):
    """Movements and dwells as (kind, x, y, z, feed, spindle)."""
    feed, speed, turning, found = 0.0, 0.0, False, []
    for name, text in calls:
        if name in IDLE:
            if name == "USE_LENGTH_UNITS" and "MM" not in text:
                raise ValueError("the interpreter is not in mm")
            if name.startswith("SET_G5X") and any(float(n) for n in text.split(",")[1:]):
                raise ValueError("a work offset is in force")
            continue
        numbers = [float(n) for n in text.split(",")] if text else []
        if name == "SET_FEED_RATE":
            feed = numbers[0]
        elif name == "SET_SPINDLE_SPEED":
            speed = numbers[-1]
        elif name == "START_SPINDLE_CLOCKWISE":
            turning = True
        elif name == "STOP_SPINDLE_TURNING":
            turning = False
        elif name == "STRAIGHT_TRAVERSE":
            found.append(("rapid", *numbers[:3], None, speed if turning else 0.0))
        elif name == "STRAIGHT_FEED":
            found.append(("feed", *numbers[:3], feed, speed if turning else 0.0))
        elif name == "DWELL":
            found.append(("dwell", numbers[0], None, None, None, None))
        else:
            raise ValueError(f"the interpreter makes a call that our reader knows nothing of: {name}({text})")
    return found


def ours(path):
    with open(path, newline="") as file:
        for row in list(csv.reader(file))[1:]:
            yield int(row[0]), row[1], [float(n) if n else None for n in row[2:]]


def compare(path):
    """Problems of one program, and how many rows were compared."""
    try:
        theirs = rows(canonical(path))
    except Refused as why:
        return [f"the interpreter refuses what we accept: {why}"], 0
    except ValueError as why:
        return [str(why)], 0
    mine = list(ours(path.with_suffix(".csv")))
    if len(mine) != len(theirs):
        return [f"we read {len(mine)} movements and dwells, the interpreter {len(theirs)}"], 0
    problems = []
    for (line, kind, numbers), their in zip(mine, theirs):
        near = all(a is None or b is None or abs(a - b) < PLACE_MM for a, b in zip(numbers, their[1:]))
        if kind != their[0] or not near:
            problems.append(f"line {line}: we read {kind} {numbers}, the interpreter {their}")
    if path.stem.startswith(("sample-", "written-")):
        problems += spindle(path, theirs)
    return problems, len(mine)


def spindle(path, theirs):
    """A dry run never turns the spindle; every other program turns it before it feeds."""
    if path.stem.endswith(("-frame", "-top-0-pins")):
        return [f"a dry run turns the spindle: {row}" for row in theirs if row[5]][:1]
    return [f"feeds with the spindle off: {row}" for row in theirs if row[0] == "feed" and not row[5]][:1]


def record(path, target):
    """Writes the interpreter's answer for one program as a committed table."""
    found = rows(canonical(path))
    version = subprocess.run(
        ["dpkg-query", "-W", "-f", "${Version}", "linuxcnc-uspace"], capture_output=True, text=True
    ).stdout
    with open(target, "w") as file:
        file.write(f"# What the LinuxCNC interpreter (Debian package linuxcnc-uspace {version}) orders for\n")
        file.write(f"# tests/data/{path.name}: kind, x, y, z, feed, spindle; a dwell: kind, seconds.\n")
        for row in found:
            file.write(",".join("" if n is None else f"{n:.4f}" if isinstance(n, float) else n for n in row) + "\n")


def main(folder):
    programs = sorted(Path(folder).resolve().glob("*.ngc"))
    if not programs:
        sys.exit("interpreter: no programs to compare")
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        results = list(pool.map(compare, programs))
    bad = [(path, problems) for path, (problems, _) in zip(programs, results) if problems]
    for path, problems in bad[:20]:
        print(f"{path.name}: {len(problems)} differ; first: {problems[0]}")
    samples = sum(path.stem.startswith("sample-") for path in programs)
    total = sum(count for _, count in results)
    print(f"interpreter: {len(programs)} programs ({samples} samples), {total} movements and dwells, {len(bad)} programs differ")
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    if sys.argv[1] == "--record":
        record(Path(sys.argv[2]).resolve(), sys.argv[3])
    else:
        main(sys.argv[1])
