#!/usr/bin/env python3
"""Cuts a job folder in the air and says whether its programs may be run.

usage: simulate.py FOLDER...      FOLDER holds job.json, the .ngc texts and the design meshes

Shares nothing with the program that wrote the folder but the contract of job.json: a reader of
RS274/NGC of its own, a stock of its own (heights on a lattice; every move swept by a numerical
search, no closed forms), heights of the design taken from the mesh. Needs numpy only.

Where an underside is cut first, both clampings are carved, and the thickness between them is held
to the design's. A pair in one blank is carved from one stock, every program in the order it is run.

Prints a table for each foot; exit 0 when everything holds, 1 when anything does not, 2 when a
folder cannot be read. What it does not know: the machine's accelerations, the holder, the ticket.
"""
import hashlib
import json
import re
import sys
from collections import Counter, deque
from pathlib import Path

import numpy as np

STEP = 0.25        # mm between the stock's nodes
PIECE = 12.0       # mm: longer moves are cut up, so that the box around a slanting one stays small
SEARCH = 9         # golden-section steps: 6 mm shrink to 0.08 mm, 0.0003 mm of height for R = 3
TOUCH = 0.001      # mm: less than the search may be off is no contact
ROUGH = 0.25       # mm: two levels may each run a little above their heights, and a corner stands in between
MESH = 0.02        # mm that the written mesh may stray from the design
SLIVER = 2.0       # mm2 that may stand higher than a step against a roughing cutter
GOUGE = 0.03       # mm, normal: the mesh may stray 0.02 mm from the design, and the lattice adds its own
EDGE = 0.05        # mm inside the outline that belong to the chord error of the mesh's own edge
UNCUT = 0.02       # mm under the blank's own face that nobody has to cut
UNREACHED = 0.03   # mm: an ideal path on the lattice leaves up to 0.023 mm on a wall of 60 degrees
VALUE = 0.1        # mm between a value asked and the same read on the carved map
GOLDEN = (5 ** 0.5 - 1) / 2

FACES = ("under", "top")                                    # in the order in which they are clamped
STEPS = ("frame", "pins", "pin_holes", "rough", "finish", "rest", "perimeter")
FINISHING = ("finish", "rest")                              # what they leave is the piece's surface


# ---------------------------------------------------------------- the program text

class Refused(Exception):
    pass


KNOWN_G = {0, 1, 4, 17, 21, 40, 49, 54, 55, 80, 90, 94}
KNOWN_M = {2, 3, 5, 30}


def read_program(text, offset="G54"):
    """Moves as (line, rapid, from, to, feed, spindle_rpm); the tip comes down on the first place."""
    at, motion, feed, speed, spinning, ended = [None] * 3, None, 0.0, 0.0, False, False
    said, moves = set(), []
    for number, raw in enumerate(text.decode("ascii").splitlines(), 1):
        line = re.sub(r"\([^()]*\)", "", raw).replace(" ", "").upper()
        if not line:
            continue
        words = re.findall(r"([A-Z])([-+]?(?:\d+\.?\d*|\.\d+))", line)
        if "".join(a + b for a, b in words) != line:
            raise Refused(f"line {number}: cannot be read: {raw}")
        if ended:
            raise Refused(f"line {number}: text after the end")
        goal, dwell, moved = list(at), False, False
        for letter, value in ((a, float(b)) for a, b in words):
            if letter == "G":
                if value not in KNOWN_G:
                    raise Refused(f"line {number}: G{value:g} is outside the core")
                if value in (0, 1):
                    motion = int(value)
                elif value == 4:
                    dwell = True
                else:
                    said.add(value)
            elif letter == "M":
                if value not in KNOWN_M:
                    raise Refused(f"line {number}: M{value:g} is outside the core")
                spinning = True if value == 3 else False
                ended = value in (2, 30)
            elif letter == "F":
                feed = value
            elif letter == "S":
                speed = value
            elif letter == "P" and "G4" in line:
                pass
            elif letter in "XYZ":
                goal["XYZ".index(letter)], moved = value, True
            else:
                raise Refused(f"line {number}: {letter}{value:g} is outside the core")
        if moved and not dwell:
            if not {17, 21, 90, 94, 40, 49} <= said or {54, 55} & said != {int(offset[1:])} or motion is None:
                raise Refused(f"line {number}: moves before units, plane and offsets are said")
            if None in at and not (motion == 0 and None not in goal or goal[2] is not None and goal[0] is None):
                raise Refused(f"line {number}: starts from an unknown place")
            if None not in at:
                moves.append((number, motion == 0, tuple(at), tuple(goal), feed if motion else 0.0, speed if spinning else 0.0))
            at = goal
    if not ended:
        raise Refused("no end")
    return moves


# ---------------------------------------------------------------- cutters and stock

class Cutter:
    """Height of a cutter's surface above its tip at a distance from its axis."""

    def __init__(self, c):
        self.r, self.corner, self.kind, self.flute = c["diameter_mm"] / 2, c["corner_radius_mm"], c["kind"], c["flute_mm"]
        self.angle, self.name = np.radians(c["half_angle_deg"]), c["name"]

    def h(self, d):
        r, q = self.corner, d
        if self.kind == "flat":
            return np.zeros_like(q)
        if self.kind == "taper":
            # Ball of the tip up to where it meets the cone, then the cone.
            q_t, slope = r * np.cos(self.angle), 1 / np.tan(self.angle)
            ball = r - np.sqrt(np.maximum(r * r - np.minimum(q, q_t) ** 2, 0))
            return ball + np.maximum(q - q_t, 0) * slope
        bulge = np.maximum(q - (self.r - r), 0)
        return r - np.sqrt(np.maximum(r * r - np.minimum(bulge, r) ** 2, 0))


class Stock:
    """Heights left of one blank in one clamping."""

    def __init__(self, box, top):
        self.x = np.arange(np.floor(box[0] / STEP), np.ceil(box[3] / STEP) + 1) * STEP
        self.y = np.arange(np.floor(box[1] / STEP), np.ceil(box[4] / STEP) + 1) * STEP
        self.z = np.full((len(self.y), len(self.x)), float(top))
        self.box, self.top = box, top

    def window(self, a, b, r):
        span = lambda axis, k: slice(*np.searchsorted(axis, (min(a[k], b[k]) - r, max(a[k], b[k]) + r)))
        return span(self.y, 1), span(self.x, 0)

    def sweep(self, a, b, cutter):
        """Lowest cutter surface over each node of the window while the tip goes from a to b, the
        tip's height there, and the window. Nodes the cutter never covers get infinity."""
        rows, columns = self.window(a, b, cutter.r)
        px, py = self.x[columns][None, :] - a[0], self.y[rows][:, None] - a[1]
        ux, uy, dz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
        length = np.hypot(ux, uy)
        if length < 1e-9:
            d = np.hypot(px, py)
            tip = np.full(d.shape, min(a[2], b[2]))
            return np.where(d <= cutter.r, tip + cutter.h(d), np.inf), tip, rows, columns
        ux, uy = ux / length, uy / length
        foot, off2 = px * ux + py * uy, (px * uy - py * ux) ** 2
        if dz == 0:
            d = np.sqrt(off2 + (foot - np.clip(foot, 0, length)) ** 2)
            tip = np.full(d.shape, a[2])
            return np.where(d <= cutter.r, tip + cutter.h(d), np.inf), tip, rows, columns
        half = np.sqrt(np.maximum(cutter.r ** 2 - off2, 0))
        lo, hi = np.clip(foot - half, 0, length), np.clip(foot + half, 0, length)
        slope = dz / length
        best, tip = np.full(off2.shape, np.inf), np.full(off2.shape, a[2])
        # No node can be cut lower than the lowest tip over it and the cutter's form straight beside it.
        least = a[2] + slope * np.where(dz < 0, hi, lo) + cutter.h(np.minimum(np.sqrt(off2), cutter.r))
        covered = (off2 <= cutter.r ** 2) & (foot + half >= 0) & (foot - half <= length)
        which = covered & (least < self.z[rows, columns])
        foot, off2, lo, hi = foot[which], off2[which], lo[which], hi[which]

        def surface(s):
            return a[2] + slope * s + cutter.h(np.minimum(np.sqrt(off2 + (s - foot) ** 2), cutter.r))

        # A cutter's form is convex, so the surface over one node is convex along a straight move.
        best_s = np.where(dz < 0, hi, lo)
        lowest = surface(best_s)
        if cutter.kind != "flat":
            other = lo + hi - best_s
            f = surface(other)
            best_s, lowest = np.where(f < lowest, other, best_s), np.minimum(f, lowest)
            s1, s2 = hi - GOLDEN * (hi - lo), lo + GOLDEN * (hi - lo)
            f1, f2 = surface(s1), surface(s2)
            for _ in range(SEARCH):
                left = f1 <= f2
                hi, lo = np.where(left, s2, hi), np.where(left, lo, s1)
                s = np.where(left, hi - GOLDEN * (hi - lo), lo + GOLDEN * (hi - lo))
                f = surface(s)
                s1, s2, f1, f2 = np.where(left, s, s2), np.where(left, s1, s), np.where(left, f, f2), np.where(left, f1, f)
            for s, f in ((s1, f1), (s2, f2)):
                best_s, lowest = np.where(f < lowest, s, best_s), np.minimum(f, lowest)
        best[which], tip[which] = lowest, a[2] + slope * best_s
        return best, tip, rows, columns

    def covers(self, a, b, rows, columns, r):
        """The nodes of the window that come under the cutter."""
        px, py = self.x[columns][None, :] - a[0], self.y[rows][:, None] - a[1]
        ux, uy = b[0] - a[0], b[1] - a[1]
        s = np.clip((px * ux + py * uy) / max(ux * ux + uy * uy, 1e-18), 0, 1)
        return np.hypot(px - s * ux, py - s * uy) <= r

    def pieces(self, a, b):
        n = max(1, int(np.ceil(np.hypot(b[0] - a[0], b[1] - a[1]) / PIECE)))
        points = np.linspace(a, b, n + 1)
        return zip(points[:-1], points[1:])


# ---------------------------------------------------------------- the mesh

def read_stl(data):
    if len(data) < 84 or len(data) != 84 + 50 * int.from_bytes(data[80:84], "little"):
        raise Refused("not a binary STL file")
    record = np.dtype([("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    return np.frombuffer(data, record, offset=84)["v"].astype(float)


def open_edges(triangles):
    """Directed edges without exactly one partner the other way."""
    edges = Counter()
    _, index = np.unique(triangles.reshape(-1, 3), axis=0, return_inverse=True)
    index = index.reshape(-1, 3)
    for i, j in ((0, 1), (1, 2), (2, 0)):
        edges.update(zip(index[:, i].tolist(), index[:, j].tolist()))
    return sum(1 for (i, j), n in edges.items() if n != 1 or edges.get((j, i), 0) != 1), index


def volume(t):
    return float(np.einsum("ij,ij->i", t[:, 0], np.cross(t[:, 1], t[:, 2])).sum() / 6)


class Design:
    """The design's top on the stock's lattice, and its outline, in program coordinates."""

    def __init__(self, triangles, index, stock):
        normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
        size = np.linalg.norm(normal, axis=1)
        nz = np.divide(normal[:, 2], size, out=np.zeros(len(size)), where=size > 0)
        self.z, self.nz = np.full(stock.z.shape, -np.inf), np.ones(stock.z.shape)
        up = nz > 1e-3
        for t, n in zip(triangles[up], nz[up]):
            self.lay(t, n, stock)
        self.outline = self.edge_of(triangles, index, up)
        self.inside = np.isfinite(self.z)
        self.inset = self.distance_inside(stock)

    def lay(self, t, n, stock):
        rows = slice(*np.searchsorted(stock.y, (t[:, 1].min() - 1e-9, t[:, 1].max() + 1e-9)))
        columns = slice(*np.searchsorted(stock.x, (t[:, 0].min() - 1e-9, t[:, 0].max() + 1e-9)))
        if rows.start == rows.stop or columns.start == columns.stop:
            return
        (ax, ay, az), (bx, by, bz), (cx, cy, cz) = t
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        x, y = stock.x[columns][None, :], stock.y[rows][:, None]
        u = ((x - ax) * (cy - ay) - (y - ay) * (cx - ax)) / area
        v = ((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / area
        z = az + u * (bz - az) + v * (cz - az)
        here = self.z[rows, columns]
        hit = (u >= -1e-7) & (v >= -1e-7) & (u + v <= 1 + 1e-7) & (z > here)
        here[hit] = z[hit]
        self.nz[rows, columns][hit] = n

    def edge_of(self, triangles, index, up):
        points = {int(k): p for ks, t in zip(index, triangles) for k, p in zip(ks, t)}
        following = {}
        inner = {(int(k[i]), int(k[(i + 1) % 3])) for k in index[up] for i in range(3)}
        for i, j in inner:
            if (j, i) not in inner:
                following[i] = j
        start = i = next(iter(following))
        loop = []
        while True:
            loop.append(points[i][:2])
            i = following.pop(i, start)
            if i == start:
                break
        if following:
            raise Refused(f"the design's edge is more than one loop: {len(following)} edges are left over")
        return np.array(loop)

    def distance_inside(self, stock):
        """Distance to the outline for nodes within 2 mm of it, mm; without bound further in, 0 outside."""
        out = np.where(self.inside, np.inf, 0.0)
        a, b = self.outline, np.roll(self.outline, -1, axis=0)
        for (x0, y0), (x1, y1) in zip(a, b):
            rows = slice(*np.searchsorted(stock.y, (min(y0, y1) - 2, max(y0, y1) + 2)))
            columns = slice(*np.searchsorted(stock.x, (min(x0, x1) - 2, max(x0, x1) + 2)))
            px, py = stock.x[columns][None, :] - x0, stock.y[rows][:, None] - y0
            ux, uy = x1 - x0, y1 - y0
            s = np.clip((px * ux + py * uy) / max(ux * ux + uy * uy, 1e-18), 0, 1)
            d = np.hypot(px - s * ux, py - s * uy)
            out[rows, columns] = np.minimum(out[rows, columns], np.where(d <= 2, d, np.inf))
        return out

    def section(self, y):
        a, b = self.outline, np.roll(self.outline, -1, axis=0)
        across = (a[:, 1] <= y) != (b[:, 1] <= y)
        a, b = a[across], b[across]
        x = a[:, 0] + (y - a[:, 1]) / (b[:, 1] - a[:, 1]) * (b[:, 0] - a[:, 0])
        return (x.min(), x.max()) if len(x) else None


def reachable_floor(design, cutter):
    """What an ideal path of the cutter would leave: the design closed by the cutter's form. The
    tip may go anywhere; only the piece itself holds it off."""
    rows, columns = np.where(design.inside)
    n = int(cutter.r / STEP)
    box = (slice(rows.min(), rows.max() + 1), slice(columns.min(), columns.max() + 1))
    z = np.pad(design.z[box], 2 * n, constant_values=-np.inf)
    offsets = [(j, i, float(cutter.h(np.array(np.hypot(i, j) * STEP)))) for j in range(-n, n + 1) for i in range(-n, n + 1)
               if np.hypot(i, j) * STEP <= cutter.r]
    height, width = z.shape
    tip = np.full((height - 2 * n, width - 2 * n), -np.inf)
    for j, i, h in offsets:
        np.maximum(tip, z[n + j:height - n + j, n + i:width - n + i] - h, out=tip)
    tip[~np.isfinite(tip)] = np.inf
    left = np.full((height - 4 * n, width - 4 * n), np.inf)
    for j, i, h in offsets:
        np.minimum(left, tip[n + j:n + j + left.shape[0], n + i:n + i + left.shape[1]] + h, out=left)
    floor = np.full(design.z.shape, np.inf)
    floor[box] = left
    return floor


# ---------------------------------------------------------------- the checks

class Table:
    def __init__(self):
        self.failed = 0

    def row(self, what, good, found, wanted=""):
        self.failed += not good
        print(f"  {'good' if good else 'FAIL'}  {what:<34} {found:<46} {wanted}")

    def note(self, what, found):
        print(f"        {what:<34} {found}")


def place(p):
    return f"at X{p[0]:.2f} Y{p[1]:.2f}" + (f" Z{p[2]:.3f}" if len(p) > 2 else "")


def title(program):
    return f"{program['face']} {program['step']}"


def run_program(program, moves, stock, cutter, milling, table):
    """Carves one program into the stock and holds its moves to the rules; returns its swept mask."""
    box, step, safe_z, name = program["blank_box_mm"], program["step"], program["safe_z_mm"], title(program)
    bed_cut, step_down = milling.get("bed_cut_mm", 0.3), milling.get("step_down_mm")
    swept = np.zeros(stock.z.shape, bool)
    low_rapid = rapid_in_stock = no_spindle = no_feed = too_high = 0
    first = {}
    deepest, engaged, faced, outside = 0.0, 0.0, 0.0, 0.0
    where_engaged = where_faced = where_deepest = where_outside = None
    for line, rapid, a, b, feed, rpm in moves:
        across = a[0] != b[0] or a[1] != b[1]
        for p in (a, b):
            over = max(box[0] - p[0], p[0] - box[3], box[1] - p[1], p[1] - box[4]) - cutter.r
            if over > outside:
                outside, where_outside = over, (line, p)
            if -p[2] > deepest:
                deepest, where_deepest = -p[2], (line, p)
        if rapid and across and min(a[2], b[2]) < safe_z - 1e-6:
            low_rapid += 1
            first.setdefault("low", line)
        if not rapid and feed <= 0:
            no_feed += 1
            first.setdefault("feed", line)
        if min(a[2], b[2]) >= stock.top:
            continue
        cuts = False
        for p, q in stock.pieces(np.array(a), np.array(b)):
            surface, tip, rows, columns = stock.sweep(p, q, cutter)
            here = stock.z[rows, columns]
            touched = surface < here - TOUCH
            if not rapid and step == "perimeter":
                swept[rows, columns] |= stock.covers(p, q, rows, columns, cutter.r)
            if not touched.any():
                continue
            cuts = True
            # A sliver that stands higher breaks away; a face does not.
            reaches = np.sort((here - tip)[touched])
            reach, face = float(reaches[-1]), float(reaches[max(0, len(reaches) - 1 - int(SLIVER / STEP ** 2))])
            if reach > engaged:
                engaged, where_engaged = reach, (line, q)
            if face > faced:
                faced, where_faced = face, (line, q)
            np.minimum(here, surface, out=here)
        if cuts and rapid:
            rapid_in_stock += 1
            first.setdefault("rapid", line)
        if cuts and not rapid and rpm <= 0:
            no_spindle += 1
            first.setdefault("spindle", line)
    at = lambda key: f", first in line {first[key]}" if key in first else ""
    spot = lambda w: "" if w is None else f" line {w[0]} {place(w[1])}"
    table.row(f"{name}: rapids in stock", rapid_in_stock == 0, f"{rapid_in_stock}{at('rapid')}", "0")
    table.row(f"{name}: rapids in XY below safe Z", low_rapid == 0, f"{low_rapid}{at('low')}", f"0 below {safe_z:g}")
    table.row(f"{name}: ends at safe Z", bool(moves) and moves[-1][3][2] >= safe_z - 1e-6, f"Z {moves[-1][3][2]:g}" if moves else "no moves", f">= {safe_z:g}")
    table.row(f"{name}: cuts without spindle", no_spindle == 0, f"{no_spindle}{at('spindle')}", "0")
    table.row(f"{name}: feed moves without F", no_feed == 0, f"{no_feed}{at('feed')}", "0")
    table.row(f"{name}: tip outside the blank, XY", outside <= 1e-6, f"{outside:.3f} beyond its radius{spot(where_outside)}", "0")
    table.row(f"{name}: tip below Z 0", deepest <= bed_cut + 1e-6, f"{deepest:.3f}{spot(where_deepest)}", f"<= {bed_cut:g}, the bed's own")
    if step_down is not None and step == "rough":
        table.row(f"{name}: no deeper than one step", faced <= step_down + cutter.corner + ROUGH, f"{faced:.2f} mm{spot(where_faced)}",
                  f"<= {step_down:g} + {cutter.corner:g} of its corner + {ROUGH:g}")
    table.row(f"{name}: engaged along the flutes", engaged <= cutter.flute, f"{engaged:.2f} mm{spot(where_engaged)}", f"<= {cutter.flute:g}")
    return swept


def run_frame(program, moves, table):
    """The dry run round the work: spindle off, above the blank; returns what it goes round."""
    box, safe, name = program["blank_box_mm"], program["safe_z_mm"], title(program)
    low = min(min(m[2][2], m[3][2]) for m in moves)
    table.row(f"{name}: spindle off", all(m[5] == 0 for m in moves), f"most {max(m[5] for m in moves):g} rpm", "0")
    table.row(f"{name}: at safe height", low >= safe - 1e-6 and low > box[5], f"lowest Z {low:g}", f">= {safe:g}")
    table.row(f"{name}: feed set", all(m[1] or m[4] > 0 for m in moves), "", "")
    points = np.array([m[3] for m in moves])
    return points[:, 0].min(), points[:, 1].min(), points[:, 0].max(), points[:, 1].max()


def run_pins(program, moves, pins, table):
    """The dry run over the pins: spindle off, and down once over each of them, not to its top."""
    safe, name = program["safe_z_mm"] - 1e-6, title(program)
    table.row(f"{name}: spindle off", all(m[5] == 0 for m in moves), f"most {max(m[5] for m in moves):g} rpm", "0")
    low = sum(1 for m in moves if m[2][:2] != m[3][:2] and min(m[2][2], m[3][2]) < safe)
    table.row(f"{name}: moves in XY below safe Z", low == 0, f"{low}", f"0 below {program['safe_z_mm']:g}")
    down = [m[3] for m in moves if m[3][2] < safe]
    over = [[k for k, pin in enumerate(pins) if np.hypot(p[0] - pin["at_mm"][0], p[1] - pin["at_mm"][1]) < 1e-3] for p in down]
    table.row(f"{name}: comes down over pins only", sorted(over) == [[k] for k in range(len(pins))], f"{len(down)} places", f"{len(pins)} pins")
    lowest, highest = min((p[2] for p in down), default=0), max((pin["height_mm"] for pin in pins), default=0)
    table.row(f"{name}: stays above their tops", lowest > highest, f"Z {lowest:g}", f"> {highest:g}")


def check_clamps(program, moves, cutter, clamps, table):
    """No move may bring the cutter into a clamp: distances to places of the clamp, taken along the move."""
    for k, clamp in enumerate(clamps, 1):
        (x0, x1), (y0, y1), high = clamp["x_mm"], clamp["y_mm"], clamp["height_mm"]
        deepest, where = 0.0, ""
        for line, _, a, b, _, _ in moves:
            a, b = np.array(a), np.array(b)
            low, far = np.minimum(a, b), np.maximum(a, b)
            if low[2] >= high or (low[:2] > (x1 + cutter.r, y1 + cutter.r)).any() or (far[:2] < (x0 - cutter.r, y0 - cutter.r)).any():
                continue
            p = np.linspace(a, b, 2 + int(np.hypot(*(b - a)[:2]) / STEP))
            d = np.hypot(np.maximum(0, np.maximum(x0 - p[:, 0], p[:, 0] - x1)), np.maximum(0, np.maximum(y0 - p[:, 1], p[:, 1] - y1)))
            depth = float(np.where(d < cutter.r, high - p[:, 2] - cutter.h(np.minimum(d, cutter.r)), 0).max())
            if depth > deepest:
                deepest, where = depth, f" line {line}"
        table.row(f"{title(program)}: cutter in clamp {k}", deepest <= TOUCH, f"{deepest:.3f} mm{where}", "0")


def label(mask):
    """Connected regions of a mask, four neighbours: numbers from 1."""
    out = np.zeros(mask.shape, int)
    n = 0
    for seed in zip(*np.where(mask)):
        if out[seed]:
            continue
        n += 1
        out[seed] = n
        queue = deque([seed])
        while queue:
            j, i = queue.popleft()
            for v in ((j + 1, i), (j - 1, i), (j, i + 1), (j, i - 1)):
                if 0 <= v[0] < mask.shape[0] and 0 <= v[1] < mask.shape[1] and mask[v] and not out[v]:
                    out[v] = n
                    queue.append(v)
    return out, n


def near(mask, n=1):
    out = mask.copy()
    for _ in range(n):
        grown = out.copy()
        grown[1:] |= out[:-1]
        grown[:-1] |= out[1:]
        grown[:, 1:] |= out[:, :-1]
        grown[:, :-1] |= out[:, 1:]
        out = grown
    return out


def check_hold(stock, swept, design, tabs, table):
    """After the perimeter the piece must hang on its tabs and on nothing else."""
    groove = swept & ~design.inside
    standing = groove & (stock.z > 1e-6)
    bridges, n = label(standing)
    piece = near(design.inside)
    # The waste: what the perimeter's cutter never swept and is not the piece.
    waste = near(~swept & ~near(design.inside, 3))
    found, heights, lengths = 0, [], []
    for k in range(1, n + 1):
        bridge = bridges == k
        reached = near(bridge, 3)
        if (reached & piece).any() and (reached & waste).any():
            found += 1
            # A node on the groove's own edge may stand beside the tab, not on it.
            heights.append(float(np.percentile(stock.z[bridge], 98)))
    table.row("tabs left between piece and waste", tabs is None or found == tabs["count"], f"{found}, top at most {max(heights, default=0):.2f} mm",
              "" if tabs is None else f"{tabs['count']}")
    if tabs and heights:
        table.row("tabs no thicker than asked", max(heights) <= tabs["thickness_mm"] + 0.02, f"{max(heights):.3f} mm", f"{tabs['thickness_mm']:g}")
        table.row("tabs no thinner than asked", min(heights) >= tabs["thickness_mm"] - 0.02, f"{min(heights):.3f} mm", f"{tabs['thickness_mm']:g}")
    # With the tabs taken away, no way may lead from the piece to the waste over standing stock.
    solid = (stock.z > 1e-6) & ~standing
    seen, front = np.zeros(solid.shape, bool), design.inside & solid
    while front.any():
        seen |= front
        front = near(front) & solid & ~seen
        if (front & waste & ~piece).any():
            break
    table.row("piece cut free but for its tabs", not (seen & waste & ~piece).any(), "", "")


def check_skin(stock, swept, design, skin, table):
    """After the perimeter the whole groove must be a skin as thick as asked."""
    groove = stock.z[swept & ~near(design.inside)]
    table.row("skin no thinner than asked", groove.min() >= skin - 0.02, f"{groove.min():.3f} mm", f"{skin:g}")
    table.row("groove free above the skin", groove.max() <= skin + 0.02, f"{groove.max():.3f} mm", f"{skin:g}")
    _, n = label(near(swept & ~design.inside))
    table.row("the groove goes all round", n == 1, f"{n} parts", "1")


def check_surface(face, cutters, asked, table):
    """The carved surface against the design, where one of the finishing cutters reaches it."""
    stock, design, name = face.stock, face.design, face.name
    body = design.inside & (design.inset > EDGE)
    # Where the piece keeps the blank's own face nothing has to be finished.
    cut = body & (design.z < stock.top - UNCUT)
    normal = np.where(body, (stock.z - np.where(body, design.z, 0)) * design.nz, 0)
    # A cut that bites into the edge is as deep as it reaches in, not as it is long.
    depth = np.minimum(-normal, design.inset)
    j, i = np.unravel_index(np.argmax(np.where(body, depth, -np.inf)), depth.shape)
    gouge = max(float(depth[j, i]), 0.0)
    table.row(f"{name}: deepest cut into the design", gouge <= GOUGE, f"{gouge:.4f} mm {place((stock.x[i], stock.y[j]))}", f"<= {GOUGE}")
    floor = np.minimum.reduce([reachable_floor(design, cutter) for cutter in cutters])
    unreached = np.where(body, (floor - np.where(body, design.z, 0)) * design.nz, 0)
    # At the edge of what the cutter cannot reach the tip jumps from one wall to the other; what stands there
    # hangs on where a pass falls and belongs to the unreached.
    over = np.where(cut & ~near(unreached > UNREACHED, 4), normal, -np.inf)
    values = over[np.isfinite(over)]
    if not values.size:
        raise Refused(f"{name}: no finishing cutter reaches anything of the design")
    p50, p99 = np.percentile(values, (50, 99))
    j, i = np.unravel_index(np.argmax(over), over.shape)
    limit = "" if asked is None else f"<= {asked:g} asked + {MESH:g} of the mesh"
    table.row(f"{name}: scallop, 99 % of the reachable", asked is None or p99 <= asked + MESH, f"{p99:.4f} mm, half below {p50:.4f}", limit)
    table.row(f"{name}: scallop, most", asked is None or values.max() <= 2 * asked + 0.02, f"{values.max():.4f} mm {place((stock.x[i], stock.y[j]))}",
              "" if asked is None else f"<= {2 * asked + 0.02:g}")
    j, i = np.unravel_index(np.argmax(unreached), unreached.shape)
    table.note(f"{name}: most no finishing cutter can reach", f"{unreached[j, i]:.3f} mm {place((stock.x[i], stock.y[j]))}; {100 * (unreached[cut] > UNREACHED).mean():.2f} % of the surface")
    return gouge, p50, p99, float(values.max())


# ---------------------------------------------------------------- the values

def values_of(stock, design, foot, back):
    """The values read on the carved map as the rule of each says; needs stations and foot length."""
    stations, length = foot["stations"], foot["foot_length_mm"]
    sign = -1.0 if foot["side"] == "right" else 1.0
    to_mill = np.linalg.inv(back)
    mill = lambda x, y: (to_mill @ np.array([sign * x, y, 0, 1]))[:2]

    def top(x, y):
        x, y = mill(x, y)
        fx, fy = (x - stock.x[0]) / STEP, (y - stock.y[0]) / STEP
        i, j = int(fx), int(fy)
        fx, fy = fx - i, fy - j
        z = stock.z[j:j + 2, i:i + 2]
        return float((z[0, 0] * (1 - fx) + z[0, 1] * fx) * (1 - fy) + (z[1, 0] * (1 - fx) + z[1, 1] * fx) * fy)

    def section(y):
        x0, x1 = design.section(mill(0, y)[1])
        return tuple(sorted(sign * (back @ np.array([x, 0, 0, 1]))[0] for x in (x0, x1)))

    at = {name: share * length for name, share in stations.items()}
    heel = (0.0, at["heel_centre"])
    cup, medial, lateral, dome, first, fifth = (section(at[k]) for k in (
        "widest_cup", "medial_arch", "lateral_arch", "transverse_arch", "first_met", "fifth_met"))
    inset = 0.15 * (first[1] - first[0])
    met1, met5 = (first[1] - inset, at["first_met"]), (fifth[0] + inset, at["fifth_met"])
    dome_x = min(max((met1[0] + met5[0]) / 2, dome[0] + inset), dome[1] - inset)
    seat = top(*heel)
    plane = np.linalg.solve(np.array([[*p, 1] for p in (heel, met1, met5)]), [top(*p) for p in (heel, met1, met5)])
    above = lambda x, y: top(x, y) - float(plane @ (x, y, 1))
    rim = [top(cup[1] - 1.5, at["widest_cup"]), top(cup[0] + 1.5, at["widest_cup"])]
    met_y = lambda x: met5[1] + (x - met5[0]) * (met1[1] - met5[1]) / (met1[0] - met5[0])
    flat = [top(s * m, met_y(s * m) + 6 + k / 2 * 0.06 * length) for m in (met1[0], met5[0]) for s in (0.25, 0.5, 0.75) for k in range(3)]
    # A piece that lies the other way round has its toes at the lesser y of the blank.
    outline = design.outline @ back[:2, :2].T
    ys = (outline[:, 1].min(), outline[:, 1].max())
    ahead = outline[outline[:, 1] >= (ys[0] + ys[1]) / 2]
    return {
        "heel_thickness": seat,
        "heel_cup_depth": sum(rim) / 2 - seat,
        "rearfoot_post": float(np.degrees(np.arctan((top(10, heel[1]) - top(-10, heel[1])) / 20))),
        "medial_arch": above(medial[1] - 6, at["medial_arch"]),
        "lateral_arch": above(lateral[0] + 6, at["lateral_arch"]),
        "transverse_arch": above(dome_x, at["transverse_arch"]),
        "forefoot_thickness": float(np.mean(flat)),
        "length": ys[1] - ys[0],
        "ball_width": float(np.ptp(ahead[:, 0])),
        "heel_width": cup[1] - cup[0],
    }


def check_values(face, foot, allowed, table):
    if "stations" not in foot:
        table.note("values", "job.json gives no stations, so none can be read")
        return
    for name, made in values_of(face.stock, face.design, foot, face.back).items():
        value = foot["values"][name]
        asked = value["asked"]
        if asked is None:
            continue
        # An angle is held to the same millimetre over the 20 mm between the places that read it.
        lag = 20 * (np.tan(np.radians(made)) - np.tan(np.radians(asked))) if value["unit"] == "deg" else made - asked
        unit = value["unit"]
        table.row(f"value {name}", abs(lag) <= allowed, f"{made:.3f} {unit}; told {value.get('carved') or float('nan'):.3f}, designed {value['read_back']:.3f}", f"{asked:g} {unit}")
        table.row(f"design {name}", abs(value["read_back"] - asked) <= 0.01, f"{value['read_back']:.4f}", f"{asked:g} within 0.01")


# ---------------------------------------------------------------- a folder

def check_files(folder, job, table):
    for entry in job["files"] + job["programs"]:
        path = folder / entry["file"]
        good = path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() == entry["sha256"]
        if not good:
            table.row(f"checksum of {entry['file']}", False, "differs" if path.is_file() else "missing")
    strays = {p.name for p in folder.iterdir()} - {e["file"] for e in job["files"]} - {"job.json"}
    table.row("files are those of job.json", not strays, ", ".join(sorted(strays)) or f"{len(job['files'])} files, checksums compared")


def check_mesh(folder, solid, table):
    triangles = read_stl((folder / solid["file"]).read_bytes())
    edges, index = open_edges(triangles)
    size = volume(triangles)
    table.row(f"{solid['file']}: closed", edges == 0, f"{edges} edges without a partner", "0")
    table.row(f"{solid['file']}: volume", size > 0 and abs(size - solid["volume_mm3"]) <= 1e-4 * size, f"{size:.1f} mm3", f"{solid['volume_mm3']:.1f}")
    return triangles, index


class Face:
    """One clamping of one foot: its stock, the design as it lies there, and what its programs have done."""

    def __init__(self, name, programs, mesh, stock, table):
        self.name, self.stock = name, stock
        self.back = np.array(programs[0]["bench_from_mill"]).reshape(4, 4)
        turn = abs(np.linalg.det(self.back) - 1)
        table.row(f"{name}: program to bench is a turn, no mirror", turn < 1e-9, f"determinant {np.linalg.det(self.back):g}", "1")
        same = [p["blank_box_mm"] == stock.box and p["bench_from_mill"] == programs[0]["bench_from_mill"] for p in programs]
        table.row(f"{name}: one blank, one place in it", all(same), f"{sum(same)} programs", f"{len(same)}")
        triangles, index = mesh
        to_mill = np.linalg.inv(self.back)
        triangles = triangles @ to_mill[:3, :3].T + to_mill[:3, 3]
        self.design = Design(triangles, index, stock)
        low, high, box = triangles.min(axis=(0, 1)), triangles.max(axis=(0, 1)), np.array(stock.box)
        table.row(f"{name}: design lies in the blank", (low >= box[:3] - 1e-3).all() and (high <= box[3:] + 1e-3).all(),
                  f"to {place(high)}", f"{box[3]:g} x {box[4]:g} x {box[5]:g}")
        self.finishers, self.swept, self.frame_box, self.reach = {}, None, None, []

    def run(self, program, moves, milling, clamps, table):
        """Carves one program of this clamping, or follows its dry run."""
        cutter, step = Cutter(program["cutter"]), program["step"]
        check_clamps(program, moves, cutter, clamps, table)
        if step == "frame":
            self.frame_box = run_frame(program, moves, table)
            return
        if step == "pins":
            run_pins(program, moves, milling.get("pins") or [], table)
            return
        swept = run_program(program, moves, self.stock, cutter, milling, table)
        self.reach += [m[3][:2] for m in moves]
        if step in FINISHING:
            self.finishers[cutter.name] = cutter
        if step == "perimeter":
            self.swept = swept

    def judge(self, milling, proof, table):
        """What the programs that were run have left; False when nothing has finished it."""
        if self.swept is not None and "skin_mm" in milling:
            check_skin(self.stock, self.swept, self.design, milling["skin_mm"], table)
        elif self.swept is not None:
            check_hold(self.stock, self.swept, self.design, milling.get("tabs"), table)
        if self.frame_box is not None and self.reach:
            f, (low, high) = self.frame_box, (np.min(self.reach, axis=0), np.max(self.reach, axis=0))
            around = (low >= np.array(f[:2]) - 1e-6).all() and (high <= np.array(f[2:]) + 1e-6).all()
            table.row(f"{self.name} frame: goes round every program", around, f"X {f[0]:g} to {f[2]:g}, Y {f[1]:g} to {f[3]:g}")
        if not self.finishers:
            table.row(f"{self.name}: a finishing program", False, "none")
            return False
        _, _, p99, _ = check_surface(self, list(self.finishers.values()), milling.get("scallop_mm"), table)
        told = proof.get("faces", {}).get(self.name, proof)
        table.note(f"{self.name}: the same, told by job.json", f"gouge {told['max_gouge_mm']:.4f}, scallop {told['scallop_p50_mm']:.4f} / {told['scallop_p99_mm']:.4f} / {told['scallop_max_mm']:.4f}, unreached {told['unreached_max_mm']:.4f}")
        table.row(f"{self.name}: proof of job.json agrees", abs(told["scallop_p99_mm"] - p99) <= 0.02, f"99 %: {p99:.4f} here, {told['scallop_p99_mm']:.4f} there", "within 0.02")
        return True


class Foot:
    """One foot of a job: its faces, on stocks of their own or shared with the other foot."""

    def __init__(self, folder, job, side, programs, shared, table):
        self.folder, self.job, self.side, self.faces = folder, job, side, {}
        self.milling, self.clamps = job.get("milling") or {}, (job.get("lay") or {}).get("clamps") or []
        meshes = {s["file"]: check_mesh(folder, s, table) for s in job["solids"] if f"-{side[0].upper()}-" in s["file"]}
        mesh = next(m for name, m in meshes.items() if name.endswith("-design.stl"))
        for face in FACES:
            mine = [p for p in programs if p["side"] == side and p["face"] == face]
            if mine:
                stock = stock_of(mine[0], self.milling)
                # What lies in one blank is cut from one stock; a blank is turned over with one foot in it only.
                stock = shared.setdefault(face, stock) if face == "top" else stock
                self.faces[face] = Face(face, mine, mesh, stock, table)

    def run(self, program, table):
        try:
            moves = read_program((self.folder / program["file"]).read_bytes(), program.get("work_offset", "G54"))
        except (Refused, UnicodeDecodeError) as problem:
            table.row(f"{program['file']} reads", False, str(problem))
            return
        self.faces[program["face"]].run(program, moves, self.milling, self.clamps, table)

    def judge(self, table):
        """What all programs together have left of this foot."""
        proof = self.job["proof"]["feet"][self.side]
        finished = {name for name, face in self.faces.items() if face.judge(self.milling, proof, table)}
        if "top" not in self.faces:
            table.row("programs for the top", False, "none")
        if finished == set(FACES):
            check_both(self.faces["top"], self.faces["under"], self.milling, proof, table)
        if "top" in finished:
            foot = next(f for f in self.job["feet"] if f["side"] == self.side)
            check_values(self.faces["top"], foot, max(VALUE, self.milling.get("scallop_mm") or 0), table)


def stock_of(program, milling):
    box = program["blank_box_mm"]
    # The face that is touched lies where it was set; the other may lie as high as the blank's scatter.
    return Stock(box, milling.get("blank_top_mm", box[5]) if program["face"] == "top" else box[5])


def check_both(top, under, milling, told, table):
    """The piece that both clampings leave: thickness, and the pins in the waste."""
    stock, design = top.stock, top.design
    turn = np.linalg.inv(under.back) @ top.back
    table.row("turning is a rotation", abs(np.linalg.det(turn) - 1) < 1e-9 and np.allclose(turn @ turn, np.eye(4)), f"determinant {np.linalg.det(turn):g}, twice is none", "1")
    made, asked = (underside(z, under, stock, turn) for z in (under.stock.z, under.design.z))
    body = design.inside & (design.inset > EDGE) & np.isfinite(made) & np.isfinite(asked)
    thickness, wanted = stock.z - made, design.z - asked
    # Cut too deep on both sides at once, straight up: a wall's share of it is large, so it is held across the
    # steeper of the two faces.
    facing = np.minimum(design.nz, turned(under.design.nz, under, stock, turn))
    short = np.where(body, np.minimum((wanted - thickness) * facing, design.inset), -np.inf)
    j, i = np.unravel_index(np.argmax(short), short.shape)
    table.row("thickness less than designed", short[j, i] <= 2 * GOUGE, f"{short[j, i]:.4f} mm {place((stock.x[i], stock.y[j]))}", f"<= {2 * GOUGE:g}")
    least = np.where(body, thickness, np.inf)
    j, i = np.unravel_index(np.argmin(least), least.shape)
    table.note("thinnest of both faces", f"{least[j, i]:.3f} mm {place((stock.x[i], stock.y[j]))}; told {told['thinnest']['thickness_mm']:.3f} where its least is {told['thinnest']['least_mm']:.3f}")
    x, y = np.meshgrid(stock.x, stock.y)
    for pin in milling.get("pins") or []:
        away = np.hypot(x - pin["at_mm"][0], y - pin["at_mm"][1]) - pin["diameter_mm"] / 2
        hole = away <= 0
        # A node's cell at the hole's own wall is half outside it.
        deep = np.nanmin(made[away <= -STEP])
        table.row("pin: its hole takes it", deep >= pin["height_mm"] - 1e-6, f"{deep:.2f} mm deep", f">= {pin['height_mm']:g}")
        table.row("pin: no cutter comes down to it", stock.z[hole].min() >= pin["height_mm"], f"{stock.z[hole].min():.2f} mm left", f">= {pin['height_mm']:g}")
        table.row("pin: in the waste", not (hole & near(design.inside, 2)).any(), "", "")


def turned(values, under, stock, turn):
    """Values at the nodes of the lower clamping, read at the nodes of the upper one; NaN where they end."""
    x, y = np.meshgrid(stock.x, stock.y)
    u, v = turn[0, 0] * x + turn[0, 1] * y + turn[0, 3], turn[1, 0] * x + turn[1, 1] * y + turn[1, 3]
    fx, fy = (u - under.stock.x[0]) / STEP, (v - under.stock.y[0]) / STEP
    inside = (fx >= 0) & (fy >= 0) & (fx <= len(under.stock.x) - 1) & (fy <= len(under.stock.y) - 1)
    i, j = np.clip(fx.astype(int), 0, len(under.stock.x) - 2), np.clip(fy.astype(int), 0, len(under.stock.y) - 2)
    a, b = fx - i, fy - j
    with np.errstate(invalid="ignore"):
        z = (values[j, i] * (1 - a) + values[j, i + 1] * a) * (1 - b) + (values[j + 1, i] * (1 - a) + values[j + 1, i + 1] * a) * b
    return np.where(inside & np.isfinite(z), z, np.nan)


def underside(heights, under, stock, turn):
    """Heights of the lower clamping as heights above the bed of the upper one."""
    return (turned(heights, under, stock, turn) - turn[2, 3]) / turn[2, 2]


def check_blank(folder, job, sides, order, table):
    """The feet that are cut from one blank: every program in the order it is run, and the pieces at the end."""
    feet, shared = {}, {}
    for side in sides:
        print(f"  -- {side} foot")
        feet[side] = Foot(folder, job, side, order, shared, table)
    for program in (p for p in order if p["side"] in feet):
        if len(feet) > 1:
            print(f"  -- {program['file']}")
        others = {side: foot.faces["top"] for side, foot in feet.items() if side != program["side"] and "top" in foot.faces}
        before = [other.stock.z[near(other.design.inside)] for other in others.values()]
        feet[program["side"]].run(program, table)
        for (side, other), z in zip(others.items(), before):
            lost = float((z - other.stock.z[near(other.design.inside)]).max())
            table.row(f"{title(program)}: the {side} piece is left alone", lost <= 0, f"{lost:.3f} mm taken", "0")
    for side, foot in feet.items():
        if len(feet) > 1:
            print(f"  -- {side} foot, as all programs leave it")
        foot.judge(table)


def order_of(job, table):
    """The programs in the order they are run, without those that this check does not know."""
    files = {p["file"]: p for p in job["programs"]}
    told = (job.get("lay") or {}).get("order") or list(files)
    table.row("every program has its turn", sorted(told) == sorted(files), f"{len(told)} programs", f"{len(files)}")
    order = []
    for program in (files[f] for f in told if f in files):
        if program["face"] in FACES and program["step"] in STEPS:
            order.append(program)
        else:
            table.row(f"{program['file']}", False, f"this check knows no step {title(program)}")
    return order


def check_folder(folder):
    job = json.loads((folder / "job.json").read_text())
    table = Table()
    print(f"{folder.name}")
    check_files(folder, job, table)
    order = order_of(job, table)
    sides = list(dict.fromkeys(p["side"] for p in job["programs"]))
    pair = (job.get("lay") or {}).get("blanks") == "pair"
    for together in [sides] if pair else [[side] for side in sides]:
        check_blank(folder, job, together, order, table)
    table.row("job.json says pass", job["pass"] is True, str(job["pass"]))
    print(f"  {'all good' if not table.failed else str(table.failed) + ' FAILED'}")
    return table.failed


def main(arguments):
    if not arguments:
        print(__doc__, file=sys.stderr)
        return 2
    failed = 0
    for argument in arguments:
        try:
            failed += check_folder(Path(argument))
        except (OSError, ValueError, KeyError, Refused, StopIteration) as problem:
            print(f"simulate: {argument}: {type(problem).__name__}: {problem}", file=sys.stderr)
            return 2
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
