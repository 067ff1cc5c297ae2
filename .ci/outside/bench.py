"""Runs `cargo bench` beside other people's libraries on the same inputs, and prints both.

usage: target/outside/venv/bin/python .ci/outside/bench.py     (.ci/outside.sh builds the environment)

Both run on one thread, one after the other, in one run. Ours is divan's median; theirs the median of
a few runs. Nothing is judged: a ratio is a figure, not a test.
"""

import os
import re
import statistics
import subprocess
import sys
import time
from pathlib import Path

# Libraries of linear algebra start threads when they are loaded.
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import numpy
import opencamlib
import scipy
from scipy.linalg import solveh_banded
from scipy.ndimage import grey_dilation
from scipy.sparse import csr_array, kron
from scipy.sparse.linalg import spsolve

ROOT = Path(__file__).resolve().parents[2]
GIVEN = ROOT / "target" / "outside" / "bench"
DROPS = 200  # tip heights asked of the drop-cutter: it is slow on meshes of this size
UNITS = {"ns": 1e-9, "µs": 1e-6, "ms": 1e-3, "s": 1.0}


class Seconds(dict):
    """Seconds by name of stage, and items in a second where a stage counts any."""

    def __init__(self):
        super().__init__()
        self.counted = {}


def ours():
    """Seconds by name of stage, from the table that `cargo bench` prints."""
    environment = dict(os.environ, SUSTENT_BENCH=str(GIVEN))
    run = subprocess.run(
        ["cargo", "bench", "--bench", "job"], cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True, check=True
    )
    print(run.stdout)
    seconds, parent, key = Seconds(), "", ""
    for line in run.stdout.splitlines():
        found = re.match(r"([│ ]*)[├╰]─ (\S+(?: \S+)*)(.*)", line)
        if not found:
            # The line below a stage has its items in a second, in the same columns.
            columns = line.split("│")
            rate = re.match(r"\s*([\d.]+) ([KM]?)item/s\s*$", columns[-4]) if len(columns) > 5 else None
            if rate and key:
                seconds.counted[key] = float(rate[1]) * {"": 1.0, "K": 1e3, "M": 1e6}[rate[2]]
            continue
        depth, name, columns = len(found[1]), found[2], found[3].split("│")
        if depth == 0:
            parent = name
        median = re.match(r"\s*([\d.]+) (ns|µs|ms|s)\s*$", columns[2]) if len(columns) > 2 else None
        key = (name if depth == 0 else f"{parent} {name}") if median else ""
        if median:
            seconds[key] = float(median[1]) * UNITS[median[2]]
    return seconds


def timed(work, repeats=3):
    """Median of seconds over a few runs."""
    taken = []
    for _ in range(repeats):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return statistics.median(taken)


def table(name):
    with open(GIVEN / name) as file:
        head = file.readline()
        if not head.startswith("#"):
            file.seek(0)
        return numpy.loadtxt(file, delimiter=",", ndmin=2), [float(n) for n in head.lstrip("# ").split(",")]


def dilation():
    """The same lattice of 1201 x 441 nodes under the same ball of 5 mm as in benches/job.rs."""
    step, radius, reach = 0.25, 5.0, 20
    y, x = numpy.mgrid[0:1201, 0:441] * step
    heights = 8.0 + 4.0 * numpy.sin(x / 17.0) + 3.0 * numpy.cos(y / 31.0)
    q = numpy.hypot(*numpy.mgrid[-reach : reach + 1, -reach : reach + 1]) * step
    inside = q <= radius
    drops = numpy.where(inside, radius - numpy.sqrt(numpy.maximum(radius**2 - q**2, 0.0)), 0.0)
    return timed(lambda: grey_dilation(heights, footprint=inside, structure=-drops, mode="constant", cval=-1e9))


def cubic(t):
    """The four weights of a uniform cubic B-spline at fractions t of an interval, and their first and second
    derivatives by t."""
    powers = numpy.array([[1, -3, 3, -1], [4, 0, -6, 3], [1, 3, 3, -3], [0, 0, 0, 1]]) / 6.0
    value = numpy.stack([t**0, t, t**2, t**3])
    first = numpy.stack([0 * t, t**0, 2 * t, 3 * t**2])
    second = numpy.stack([0 * t, 0 * t, 2 * t**0, 6 * t])
    return [powers @ d for d in (value, first, second)]


def gram(n, knot, order):
    """Integrals of products of derivatives of the n functions, by Gauss on every interval."""
    places, weights = numpy.polynomial.legendre.leggauss(4)
    rows = cubic(0.5 * (places + 1.0))[order] / knot**order
    local = (rows * (0.5 * knot * weights)) @ rows.T
    whole = numpy.zeros((n, n))
    for k in range(n - 3):
        whole[k : k + 4, k : k + 4] += local
    return csr_array(whole)


def spots(n, knot, every):
    """Values of the n functions at places `every` mm apart."""
    along = numpy.arange(0.0, (n - 3) * knot + 1e-9, every)
    interval = numpy.minimum((along / knot).astype(int), n - 4)
    values = cubic(along / knot - interval)[0]
    rows = numpy.zeros((len(along), n))
    for k in range(4):
        rows[numpy.arange(len(along)), interval + k] = values[k]
    return along, csr_array(rows)


def sheet(sizes):
    """The same thin plate; only the solving is timed, not the assembly."""
    nx, ny, knot, every, tension = int(sizes[0]), int(sizes[1]), *sizes[2:5]
    x, y = [[gram(n, knot, order) for order in range(3)] for n in (nx, ny)]
    bending = kron(y[0], x[2]) + 2.0 * kron(y[1], x[1]) + kron(y[2], x[0])
    stretching = kron(y[0], x[1]) + kron(y[1], x[0])
    (xs, on_x), (ys, on_y) = spots(nx, knot, every), spots(ny, knot, every)
    pulls = kron(on_y, on_x)
    targets = (numpy.sin(xs / 17.0)[None, :] + numpy.cos(ys / 31.0)[:, None]).ravel()
    matrix = (bending + tension * stretching + pulls.T @ pulls).tocsc()
    right = pulls.T @ targets
    width = 3 * nx + 3
    band = numpy.zeros((width + 1, nx * ny))
    for k in range(width + 1):
        band[k, : nx * ny - k] = matrix.diagonal(-k)
    return timed(lambda: spsolve(matrix, right)), timed(lambda: solveh_banded(band, right, lower=True)), nx * ny


def drop(heights, lattice, radius, drops=DROPS):
    """Seconds for one tip height of the same ball over the same facets."""
    x0, y0, step = lattice
    at = lambda i, j: opencamlib.Point(x0 + i * step, y0 + j * step, float(heights[j, i]))
    surface = opencamlib.STLSurf()
    for j in range(heights.shape[0] - 1):
        for i in range(heights.shape[1] - 1):
            surface.addTriangle(opencamlib.Triangle(at(i, j), at(i + 1, j), at(i + 1, j + 1)))
            surface.addTriangle(opencamlib.Triangle(at(i, j), at(i + 1, j + 1), at(i, j + 1)))
    batch = opencamlib.BatchDropCutter()
    batch.setThreads(1)
    batch.setSTL(surface)
    ball = opencamlib.BallCutter(2.0 * radius, 50.0)  # the batch only points to it
    batch.setCutter(ball)
    random = numpy.random.default_rng(1)
    ny, nx = heights.shape
    for u, v in random.random((drops, 2)):
        x, y = x0 + radius + u * ((nx - 1) * step - 2 * radius), y0 + radius + v * ((ny - 1) * step - 2 * radius)
        batch.appendPoint(opencamlib.CLPoint(float(x), float(y), -100.0))
    return timed(batch.run, 1) / drops


def carve(moves, radius, blank, step=0.25):
    """The finishing moves, each with whole-array arithmetic on the nodes of its box; closed form of the ball."""
    width, length, top = blank
    xs, ys = numpy.arange(0.0, width + 1e-9, step), numpy.arange(0.0, length + 1e-9, step)
    stock = numpy.full((len(ys), len(xs)), top)
    low = moves[numpy.minimum(moves[:, 2], moves[:, 5]) < top]
    for ax, ay, az, bx, by, bz in low:
        i0, i1 = numpy.searchsorted(xs, [min(ax, bx) - radius, max(ax, bx) + radius])
        j0, j1 = numpy.searchsorted(ys, [min(ay, by) - radius, max(ay, by) + radius])
        px, py = xs[i0:i1][None, :] - ax, ys[j0:j1][:, None] - ay
        run = numpy.hypot(bx - ax, by - ay)
        ux, uy, slope = ((bx - ax) / run, (by - ay) / run, (bz - az) / run) if run > 1e-9 else (1.0, 0.0, 0.0)
        along, aside2 = px * ux + py * uy, (py * ux - px * uy) ** 2
        half = numpy.sqrt(numpy.maximum(radius**2 - aside2, 0.0))
        lean = slope / numpy.sqrt(1.0 + slope**2)
        x = numpy.clip(-lean * half, -along, run - along)
        under = radius**2 - aside2 - x * x
        left = min(az, bz) if run <= 1e-9 else az + slope * (along + x)
        left = numpy.where(under >= 0.0, left + radius - numpy.sqrt(numpy.maximum(under, 0.0)), numpy.inf)
        view = stock[j0:j1, i0:i1]
        numpy.minimum(view, left, out=view)
    return stock


def thinned(heights, lattice, every):
    """Every eighth node, or whatever is asked: the same surface in few facets."""
    x0, y0, step = lattice
    return heights[::every, ::every], (x0, y0, step * every)


def costs(our):
    """What a cell or a place costs on finer and finer lattices, from the benches' counts."""
    print(f"\n{'step mm':>8}{'surface, ns a cell':>22}{'reach, us a place':>20}{'carve, ns a node under a move':>32}")
    for step in ("0.5", "0.25", "0.2", "0.125", "0.1"):
        surface, carved = our.counted[f"surface_by_step {step}"], our.counted[f"carve {step}"]
        print(f"{step:>8}{1e9 / surface:22.1f}{our[f'reach_by_step {step}'] / 0.1:20.2f}{1e9 / carved:32.1f}")


def main():
    our = ours()
    heights, lattice = table("heights.csv")
    moves, _ = table("moves.csv")
    sizes = table("sizes.csv")[0][0]
    radius, blank = sizes[5], sizes[6:9]
    sparse, banded, unknowns = sheet(sizes)
    facets = 2 * (heights.shape[0] - 1) * (heights.shape[1] - 1)
    rows = [
        ("node envelope, 1201 x 441 nodes, 1257 cells", our["node_envelope_1201_x_441"], "scipy grey_dilation", dilation()),
        (f"thin plate, {unknowns} unknowns", our["sheet_solve"], "scipy spsolve, solving only", sparse),
        ("", our["sheet_solve"], "scipy solveh_banded, solving only", banded),
        (f"one tip height over {facets} facets", our["reach_of_a_million_points"] / 1e6, "opencamlib BatchDropCutter", drop(heights, lattice, radius)),
        *(
            (f"the same over {2 * (few.shape[0] - 1) * (few.shape[1] - 1)} facets", our[f"reach_by_step {step}"] / 1e5, "opencamlib BatchDropCutter", drop(few, wide, radius, 2000))
            for step, (few, wide) in ((2, thinned(heights, lattice, 8)), (4, thinned(heights, lattice, 16)))
        ),
        (f"carving {len(moves)} finishing moves, 0.25 mm", our["carve 0.25"], "numpy, same closed form", timed(lambda: carve(moves, radius, blank), 1)),
    ]
    print(f"numpy {numpy.__version__}, scipy {scipy.__version__}, opencamlib {opencamlib.version()}, Python {sys.version.split()[0]}")
    print(f"{'':46}{'ours':>12}{'theirs':>12}{'ratio':>9}")
    for what, mine, whose, theirs in rows:
        print(f"{what:46}{mine * 1e3:9.4f} ms{theirs * 1e3:9.3f} ms{theirs / mine:9.1f}  {whose}")
    costs(our)


if __name__ == "__main__":
    main()
