"""Writes the scans of tests/data/scans/ with libraries that other people wrote, and what trimesh finds in them.

Needs trimesh 5.2.0, meshio 5.3.5, plyfile 1.1.5, numpy 2.4.6. The files are committed; this is for whoever doubts them.

usage: python scans.py FOLDER
"""

import csv
import io
import sys
from pathlib import Path

import meshio
import numpy
import plyfile
import trimesh

COLUMNS, ROWS = 5, 7  # corners of the shell: 24 cells, 48 triangles


def shell():
    """A shallow wavy shell with an open rim, about 60 by 120 by 10 mm, in single precision."""
    x, y = numpy.meshgrid(numpy.linspace(-30, 30, COLUMNS), numpy.linspace(0, 120, ROWS))
    z = 8 + 4 * numpy.sin(x / 17) * numpy.cos(y / 31) + x * x / 150
    corners = numpy.stack([x, y, z], -1).reshape(-1, 3).astype(numpy.float32)
    first = (numpy.arange(ROWS - 1)[:, None] * COLUMNS + numpy.arange(COLUMNS - 1)).ravel()
    quads = numpy.stack([first, first + 1, first + COLUMNS + 1, first + COLUMNS], 1)
    triangles = numpy.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    return corners, quads, triangles


def with_extras(corners, triangles, **options):
    """PLY with what real ones have besides: normals, colours, quality, elements nobody asked for."""
    vertex = numpy.zeros(len(corners), dtype=[
        ("red", "u1"), ("x", "f8"), ("nx", "f4"), ("y", "f4"), ("label", "i2"), ("z", "f4"), ("quality", "f8")])
    for k, name in enumerate("xyz"):
        vertex[name] = corners[:, k]
    vertex["red"], vertex["label"] = 200, -7
    face = numpy.empty(len(triangles), dtype=[("flags", "u2"), ("vertex_indices", "O"), ("texcoord", "O"), ("v", "i4")])
    face["vertex_indices"] = list(triangles.astype("u4"))
    face["texcoord"] = [numpy.arange(k % 7, dtype="f4") for k in range(len(triangles))]
    view = numpy.zeros(3, dtype=[("angle", "f8"), ("on", "i1")])
    types = {"vertex_indices": "u1", "texcoord": "u2"}
    elements = [
        plyfile.PlyElement.describe(view, "view"),
        plyfile.PlyElement.describe(vertex, "vertex"),
        plyfile.PlyElement.describe(face, "face", len_types=types, val_types={"vertex_indices": "u4", "texcoord": "f4"}),
        plyfile.PlyElement.describe(view, "camera"),
    ]
    return plyfile.PlyData(elements, comments=["units mm"], **options)


def main(folder):
    corners, quads, triangles = shell()
    mesh = trimesh.Trimesh(corners, triangles, process=False)
    for name, options in [
        ("trimesh.stl", {}),
        ("trimesh-ascii.stl", {"file_type": "stl_ascii"}),
        ("trimesh.ply", {"vertex_normal": True}),
        ("trimesh-ascii.ply", {"encoding": "ascii"}),
        ("trimesh.obj", {"include_normals": True}),
    ]:
        exported = mesh.export(file_type=options.pop("file_type", Path(name).suffix[1:]), **options)
        (folder / name).write_bytes(exported if isinstance(exported, bytes) else exported.encode())
    for name, options in [
        ("plyfile-big.ply", {"byte_order": ">"}),
        ("plyfile-little.ply", {"byte_order": "<"}),
        ("plyfile-text.ply", {"text": True}),
    ]:
        with_extras(corners, triangles, **options).write(str(folder / name))
    with_quads = meshio.Mesh(corners.astype(float), [("quad", quads)])
    meshio.write(folder / "meshio-quads.obj", with_quads)
    meshio.write(folder / "meshio-quads.ply", with_quads)
    numpy.savetxt(folder / "numpy.xyz", corners, fmt="%.7g")
    numpy.savetxt(folder / "numpy.csv", numpy.c_[numpy.arange(len(corners)), corners], delimiter=",", fmt="%.9g",
                  header="no,x [mm],y [mm],z [mm]", comments="")
    comma = io.StringIO()
    numpy.savetxt(comma, corners, delimiter=";", fmt="%.9g", header="remark;units mm", comments="// ")
    (folder / "numpy-decimal-comma.txt").write_text(comma.getvalue().replace(".", ","))
    figures(folder, corners)


def opened(path):
    """As trimesh reads it, or plyfile: trimesh does not read binary lists of differing lengths."""
    if path.name.startswith("plyfile"):
        read = plyfile.PlyData.read(path)
        corners = numpy.stack([read["vertex"][name] for name in "xyz"], 1)
        return trimesh.Trimesh(corners, numpy.stack(read["face"]["vertex_indices"]))
    read = trimesh.load(path)
    return read.to_mesh() if hasattr(read, "to_mesh") else read


def figures(folder, corners):
    """What is found in each file; neither reads decimal commas or named columns."""
    with open(folder / "figures.csv", "w", newline="") as out:
        table = csv.writer(out, lineterminator="\n")
        table.writerow(["file", "points", "triangles", "area", "x0", "y0", "z0", "x1", "y1", "z1"])
        for path in sorted(p for p in folder.iterdir() if p.suffix in (".stl", ".ply", ".obj", ".xyz")):
            read = opened(path)
            area = read.area if isinstance(read, trimesh.Trimesh) else 0.0
            faces = len(read.faces) if isinstance(read, trimesh.Trimesh) else 0
            table.writerow([path.name, len(read.vertices), faces, repr(float(area)),
                            *(repr(float(v)) for v in read.bounds.ravel())])
        for name in ("numpy.csv", "numpy-decimal-comma.txt"):
            bounds = [*corners.min(0), *corners.max(0)]
            table.writerow([name, len(corners), 0, 0.0, *(repr(float(v)) for v in bounds)])


main(Path(sys.argv[1]))
