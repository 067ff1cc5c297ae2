"""Runs `cargo bench --bench inspect` beside scipy's cKDTree on the same clouds, and prints both.

usage: target/outside/venv/bin/python .ci/outside/registration.py     (.ci/outside.sh builds the environment)

One thread each, one after the other, in one run. Ours is divan's median; theirs the median of five.
Nothing is judged: a ratio is a figure, not a test.
"""

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import re
import statistics
import subprocess
import time
from pathlib import Path

import numpy
from scipy.spatial import cKDTree

ROOT = Path(__file__).resolve().parents[2]
UNITS = {"ns": 1e-9, "µs": 1e-6, "ms": 1e-3, "s": 1.0}


def ours():
    run = subprocess.run(
        ["cargo", "bench", "--bench", "inspect"], cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True
    )
    print(run.stdout)
    seconds = {}
    for line in run.stdout.splitlines():
        found = re.match(r"[├╰]─ (\S+)(.*)", line)
        columns = found[2].split("│") if found else []
        median = re.match(r"\s*([\d.]+) (ns|µs|ms|s)\s*$", columns[2]) if len(columns) > 2 else None
        if median:
            seconds[found[1]] = float(median[1]) * UNITS[median[2]]
    return seconds


def wavy():
    """The surface of benches/inspect.rs: points and normals."""
    y, x = numpy.meshgrid(0.5 * numpy.arange(600), 0.5 * numpy.arange(240), indexing="ij")
    x, y = x.ravel(), y.ravel()
    u, v = x / 17.0, y / 31.0
    points = numpy.stack([x, y, 5.0 * numpy.sin(u) * numpy.cos(v)], axis=1)
    normals = numpy.stack(
        [-5.0 / 17.0 * numpy.cos(u) * numpy.cos(v), 5.0 / 31.0 * numpy.sin(u) * numpy.sin(v), numpy.ones_like(u)], axis=1
    )
    return points, normals / numpy.linalg.norm(normals, axis=1)[:, None]


def asked(points):
    c, s = numpy.cos(0.01), numpy.sin(0.01)
    return points @ numpy.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]).T + numpy.array([0.31, -0.17, 0.4])


def one_round(tree, points, normals, moved, gate=10.0):
    """Tangent planes of the nearest points, Tukey's weights, normal equations: as `best_fit` does."""
    distance, nearest = tree.query(moved)
    met = distance <= gate
    p, n = moved[met], normals[nearest[met]]
    off = numpy.einsum("ij,ij->i", n, points[nearest[met]] - p)
    weight = (1.0 - (off / gate) ** 2) ** 2
    rows = numpy.hstack([numpy.cross(p - moved.mean(axis=0), n), n])
    return numpy.linalg.solve(rows.T @ (rows * weight[:, None]), rows.T @ (weight * off))


def timed(work, repeats=5):
    taken = []
    for _ in range(repeats):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return statistics.median(taken)


def main():
    our = ours()
    points, normals = wavy()
    moved = asked(points)
    tree = cKDTree(points)
    theirs = {
        "tree_of_144000": timed(lambda: cKDTree(points)),
        "nearest_of_144000": timed(lambda: tree.query(moved)),
        "one_round_of_best_fit": timed(lambda: one_round(tree, points, normals, moved)),
    }
    print(f"{'':28}{'ours, s':>10}{'scipy, s':>10}{'ratio':>8}")
    for name, seconds in theirs.items():
        print(f"{name:28}{our[name]:10.4f}{seconds:10.4f}{seconds / our[name]:8.2f}")
    print(f"{'a_million_points_to_a_record':28}{our['a_million_points_to_a_record']:10.4f}")


if __name__ == "__main__":
    main()
