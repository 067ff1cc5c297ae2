"""Compares tip heights with opencamlib's drop-cutter and envelopes with scipy's grey dilation.

Both work on the grids and answers that `tests/outside.rs` writes into the folder.
"""

import math
import sys
import time
from pathlib import Path

import numpy
import opencamlib
import scipy
from scipy.ndimage import grey_dilation

TIP_MM = 0.001
ENVELOPE_MM = 1e-9
ROUNDING_MM = 1e-9
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


def cutter(kind, diameter, corner, half_angle):
    """The library's ball-cone cutter takes the tip's diameter, the greatest diameter and half of the cone's
    angle, and lets the ball run into the cone without a kink: the definition of our tapered ball."""
    length = 50.0  # longer than any height here
    if kind == "ball":
        return opencamlib.BallCutter(diameter, length)
    if kind == "flat":
        return opencamlib.CylCutter(diameter, length)
    if kind == "bull":
        return opencamlib.BullCutter(diameter, corner, length)
    return opencamlib.BallConeCutter(2.0 * corner, diameter, math.radians(half_angle))


def drop(surface, tool, places):
    batch = opencamlib.BatchDropCutter()
    batch.setSTL(surface)
    batch.setCutter(tool)
    for x, y in places:
        batch.appendPoint(opencamlib.CLPoint(float(x), float(y), -100.0))
    batch.run()
    return numpy.array([point.z for point in batch.getCLPoints()])


def sampled(height_map, place, radius, tip, half_angle, n=64):
    """Tip height of a tapered ball from its definition alone: the highest of a dense sample of all facets under it,
    no closed form of a contact. Never above the true one."""
    z, x0, y0, step = height_map
    meets, tan = tip * math.cos(half_angle), math.tan(half_angle)
    u, v = numpy.meshgrid(numpy.arange(n + 1) / n, numpy.arange(n + 1) / n)
    (i0, i1), (j0, j1) = (
        (max(int((c - radius - start) / step), 0), min(int((c + radius - start) / step) + 1, cells - 1))
        for c, start, cells in zip(place, (x0, y0), (z.shape[1], z.shape[0]))
    )
    best = -math.inf
    for j in range(j0, j1):
        for i in range(i0, i1):
            corner, right, up, far = z[j, i], z[j, i + 1], z[j + 1, i], z[j + 1, i + 1]
            below = corner + (right - corner) * u + (far - right) * v
            above = corner + (up - corner) * v + (far - up) * u
            q = numpy.hypot(x0 + (i + u) * step - place[0], y0 + (j + v) * step - place[1])
            ball = tip - numpy.sqrt(numpy.maximum(tip**2 - q**2, 0.0))
            cone = tip * (1.0 - math.sin(half_angle)) + (q - meets) / tan
            profile = numpy.where(q <= meets, ball, numpy.where(q <= radius, cone, numpy.inf))
            best = max(best, float((numpy.where(u >= v, below, above) - profile).max()))
    return best


def tips(folder, record):
    surface = mesh(folder / "hollow.csv")
    heights = grid(folder / "hollow.csv")
    good = True
    for path in sorted(folder.glob("tips-*.csv")):
        with open(path) as file:
            kind, *sizes = file.readline().lstrip("# ").strip().split(",")
            diameter, corner, half_angle = (float(size) for size in sizes)
            rows = numpy.loadtxt(file, delimiter=",", skiprows=1)
        began = time.perf_counter()
        theirs = drop(surface, cutter(kind, diameter, corner, half_angle), rows[:, :2])
        took = time.perf_counter() - began
        agree = numpy.abs(rows[:, 2] - theirs) < TIP_MM
        worst = numpy.abs(rows[:, 2] - theirs)[agree].max()
        print(f"tip heights, {kind} {diameter:g} mm: {len(rows)} points, largest difference of {agree.sum()} is {worst:.2e} mm; theirs took {took:.1f} s")
        refuted = 0
        if kind == "taper":
            # The library loses some contacts of the cone with edges of steep facets and comes out too low. A sample
            # of the facets is the judge then: it must refute the library's height and bear ours out.
            for (x, y, ours), their in zip(rows[~agree], theirs[~agree]):
                judge = sampled(heights, (x, y), diameter / 2.0, corner, math.radians(half_angle))
                refuted += their < judge <= ours + ROUNDING_MM and ours - judge < TIP_MM
            most = numpy.abs(rows[:, 2] - theirs).max()
            print(f"    {(~agree).sum()} of them differ by up to {most:.2e} mm; samples of the facets bear ours out at {refuted}")
        good &= bool(agree.sum() + refuted == len(rows))
        if record:
            source = f"opencamlib {opencamlib.version()}"
            head = f"x, y and tip height in mm by {source}, BatchDropCutter, {kind} cutter of diameter {diameter:g}, {corner:g} radius of corner or tip, {half_angle:g} degrees half angle,\n"
            head += "over the surface `hollow` of tests/outside.rs, two triangles a cell"
            table = numpy.column_stack([rows[:, :2], theirs])[agree][:RECORDED]
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
