"""Compares tip heights with opencamlib's drop-cutter and envelopes with scipy's grey dilation.

Both work on the grids and answers that `tests/outside.rs` writes into the folder.
"""

import sys
from pathlib import Path

import numpy
import opencamlib
import scipy
from scipy.ndimage import grey_dilation

TIP_MM = 0.001
ENVELOPE_MM = 1e-9
RECORDED = 400  # rows kept as committed tables


def grid(path):
    """Heights row by row, and the lattice's first node and step."""
    with open(path) as file:
        x0, y0, step = (float(n) for n in file.readline().lstrip("# ").split(","))
        return numpy.loadtxt(file, delimiter=",", ndmin=2), x0, y0, step


def mesh(path):
    """Two triangles a cell, cut from node (i, j) to node (i + 1, j + 1)."""
    z, x0, y0, step = grid(path)
    at = lambda i, j: opencamlib.Point(x0 + i * step, y0 + j * step, float(z[j, i]))
    surface = opencamlib.STLSurf()
    for j in range(z.shape[0] - 1):
        for i in range(z.shape[1] - 1):
            surface.addTriangle(opencamlib.Triangle(at(i, j), at(i + 1, j), at(i + 1, j + 1)))
            surface.addTriangle(opencamlib.Triangle(at(i, j), at(i + 1, j + 1), at(i, j + 1)))
    return surface


def cutter(kind, diameter, corner):
    length = 50.0  # longer than any height here
    if kind == "ball":
        return opencamlib.BallCutter(diameter, length)
    if kind == "flat":
        return opencamlib.CylCutter(diameter, length)
    return opencamlib.BullCutter(diameter, corner, length)


def drop(surface, tool, places):
    batch = opencamlib.BatchDropCutter()
    batch.setSTL(surface)
    batch.setCutter(tool)
    for x, y in places:
        batch.appendPoint(opencamlib.CLPoint(float(x), float(y), -100.0))
    batch.run()
    return numpy.array([point.z for point in batch.getCLPoints()])


def tips(folder, record):
    surface = mesh(folder / "hollow.csv")
    good = True
    for path in sorted(folder.glob("tips-*.csv")):
        with open(path) as file:
            kind, diameter, corner = file.readline().lstrip("# ").strip().split(",")
            rows = numpy.loadtxt(file, delimiter=",", skiprows=1)
        theirs = drop(surface, cutter(kind, float(diameter), float(corner)), rows[:, :2])
        worst = numpy.abs(rows[:, 2] - theirs).max()
        good &= bool(worst < TIP_MM)
        print(f"tip heights, {kind} {diameter} mm: {len(rows)} points, largest difference {worst:.2e} mm")
        if record:
            source = f"opencamlib {opencamlib.version()}"
            head = f"x, y and tip height in mm by {source}, BatchDropCutter, {kind} cutter of diameter {diameter}, corner {corner},\n"
            head += "over the surface `hollow` of tests/outside.rs, two triangles a cell"
            table = numpy.column_stack([rows[:, :2], theirs])[:RECORDED]
            numpy.savetxt(record / f"opencamlib-{kind}.csv", table, fmt=["%.2f", "%.2f", "%.6f"], delimiter=",", header=head)
    return good


def envelopes(folder, record):
    ball = 3.1  # as in tests/outside.rs
    good = True
    for name in ("small", "fine"):
        before, _, _, step = grid(folder / f"envelope-{name}-before.csv")
        after = grid(folder / f"envelope-{name}-after.csv")[0]
        reach = int(ball / step)
        q = numpy.hypot(*numpy.mgrid[-reach : reach + 1, -reach : reach + 1]) * step
        drops = ball - numpy.sqrt(numpy.maximum(ball * ball - q * q, 0.0))
        theirs = grey_dilation(before, footprint=q <= ball, structure=-drops, mode="constant", cval=-1e9)
        worst = numpy.abs(after - theirs).max()
        good &= bool(worst < ENVELOPE_MM)
        print(f"envelope, {name} grid {before.shape[1]} x {before.shape[0]}: largest difference {worst:.2e} mm")
        if record and name == "small":
            head = f"scipy {scipy.__version__} ndimage.grey_dilation by a ball of 3.1 mm: heights in mm, row by row,\n"
            head += "of the surface `hollow` of tests/outside.rs on a lattice of 1 mm"
            numpy.savetxt(record / "scipy-envelope.csv", theirs, fmt="%.12g", delimiter=",", header=head)
    return good


def main(folder, record=None):
    found = [tips(folder, record), envelopes(folder, record)]
    sys.exit(0 if all(found) else 1)


if __name__ == "__main__":
    main(*(Path(argument) for argument in sys.argv[1:]))
