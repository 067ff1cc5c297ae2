#!/usr/bin/env python3
"""A strip of a footbed as a beam on springs that only push, by cubic beam elements and brute force.

usage: strip.py STRIP.csv [RECORD.csv]

STRIP.csv: `# modulus, length` in its first line, then y, thickness, gap, load (MPa) and our deflection at even
steps, mm. Elements a quarter of a step long (Hermite cubics, four Gauss points), springs E/t at every Gauss point, contact
found by adding and dropping springs one set at a time, sparse LU. Nothing is shared with the program: other
elements, other knots, other search.
"""
import sys

import numpy
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import spsolve

AGREE = 0.01  # of the greatest deflection


def beam(table, modulus):
    y, thick, gap, load = table[:, :4].T
    parts = 4 * (len(y) - 1)
    h = (y[-1] - y[0]) / parts
    s, w = numpy.polynomial.legendre.leggauss(4)
    s, w = 0.5 * (s + 1.0), 0.5 * w * h
    at = y[0] + h * (numpy.arange(parts)[:, None] + s)
    shape = numpy.array([1 - 3 * s**2 + 2 * s**3, h * (s - 2 * s**2 + s**3), 3 * s**2 - 2 * s**3, h * (s**3 - s**2)])
    bend = numpy.array([-6 + 12 * s, h * (-4 + 6 * s), 6 - 12 * s, h * (6 * s - 2)]) / h**2
    t, g, q = (numpy.interp(at, y, column) for column in (thick, gap, load))
    freedoms = 2 * numpy.arange(parts)[:, None] + numpy.arange(4)
    rows = numpy.repeat(freedoms, 4, axis=1).ravel()
    columns = numpy.tile(freedoms, (1, 4)).ravel()
    size = 2 * parts + 2

    def assembled(values, first, second):
        blocks = numpy.einsum("eg,g,ag,bg->eab", values, w, first, second)
        return coo_matrix((blocks.ravel(), (rows, columns)), shape=(size, size)).tocsc()

    def force(values):
        f = numpy.zeros(size)
        numpy.add.at(f, freedoms, numpy.einsum("eg,g,ag->ea", values, w, shape))
        return f

    plate = assembled(modulus * t**3 / 12.0, bend, bend)
    bed, push = modulus / t, force(q)
    touching = numpy.ones_like(t, dtype=bool)
    for _ in range(200):
        matrix = plate + assembled(numpy.where(touching, bed, 1e-12), shape, shape)
        x = spsolve(matrix, push + force(numpy.where(touching, bed * g, 0.0)))
        sunk = numpy.einsum("ea,ag->eg", x[freedoms], shape)
        now = sunk > g
        if (now == touching).all():
            return x[::8]
        touching = now
    raise SystemExit("the strip does not come to rest")


def main(asked, record=None):
    with open(asked) as file:
        head = file.readline()
        modulus = float(head.lstrip("# ").split(",")[0])
        table = numpy.loadtxt(file, delimiter=",", skiprows=1)
    theirs = beam(table, modulus)
    worst = numpy.abs(theirs - table[:, 4]).max() / numpy.abs(theirs).max()
    print(f"strip of the demo: {len(theirs)} places, sinks {theirs.max():.3f} mm, largest difference {100 * worst:.3f} % of it")
    if record:
        import scipy

        names = f"# {modulus:g} MPa; deflection in mm by scipy {scipy.__version__}, .ci/outside/strip.py: y, thickness, gap, load, deflection"
        numpy.savetxt(record, numpy.column_stack([table[:, :4], theirs]), fmt="%.6g", delimiter=",", header=names, comments="")
    sys.exit(0 if worst < AGREE else 1)


if __name__ == "__main__":
    main(*sys.argv[1:])
