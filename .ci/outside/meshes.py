"""Looks at the meshes (STL and 3MF) of a sample folder with trimesh: closed, wound outward, one body,
and of the volume and area that job.json says.

A mesh that job.json does not list under "solids" is only looked at for itself.
"""

import json
import sys
import xml.etree.ElementTree
import zipfile
from pathlib import Path

import trimesh

# The file stores single precision: 1e-5 mm over a footbed's surface is 1e-5 of its volume.
SHARE = 1e-4


def listed(folder):
    """What job.json says of the meshes beside it, by file name."""
    path = folder / "job.json"
    if not path.exists():
        return {}
    return {solid["file"]: solid for solid in json.loads(path.read_text()).get("solids", [])}


def load(path):
    """The one mesh of a file."""
    if path.suffix == ".stl":
        return trimesh.load(path, file_type="stl", force="mesh")
    core = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
    with zipfile.ZipFile(path) as archive:
        model = xml.etree.ElementTree.fromstring(archive.read("3D/3dmodel.model"))
    if model.get("unit", "millimeter") != "millimeter":
        raise ValueError(f"its unit is {model.get('unit')}")
    meshes = list(model.iter(core + "mesh"))
    if len(meshes) != 1:
        raise ValueError(f"it has {len(meshes)} meshes")
    numbers = lambda tag, keys, kind: [[kind(item.get(key)) for key in keys] for item in meshes[0].iter(core + tag)]
    return trimesh.Trimesh(numbers("vertex", "xyz", float), numbers("triangle", ["v1", "v2", "v3"], int), process=False)


def problems(path, said):
    try:
        mesh = load(path)
    except (KeyError, ValueError, zipfile.BadZipFile, xml.etree.ElementTree.ParseError) as why:
        return [f"it cannot be read: {why}"], None
    found = []
    if len(mesh.faces) == 0:
        return ["it has no triangles"], mesh
    if not mesh.is_watertight:
        found.append("it is not closed")
    if not mesh.is_winding_consistent:
        found.append("its triangles are not wound alike")
    if not mesh.volume > 0:
        found.append(f"its volume is {mesh.volume:.3f} mm3, so it is wound inward")
    if mesh.body_count != 1:
        found.append(f"it has {mesh.body_count} bodies")
    for key, value in (("volume_mm3", mesh.volume), ("area_mm2", mesh.area)):
        if said and abs(said[key] - value) > SHARE * abs(value):
            found.append(f"job.json says {key} {said[key]}, the mesh has {value:.3f}")
    return found, mesh


def main(folder):
    paths = sorted([*folder.rglob("*.stl"), *folder.rglob("*.3mf")])
    bad = 0
    for path in paths:
        found, mesh = problems(path, listed(path.parent).get(path.name))
        bad += bool(found)
        words = "; ".join(found) or f"{len(mesh.faces)} triangles, {mesh.volume / 1000:.1f} cm3, {mesh.area / 100:.0f} cm2"
        print(f"{path.relative_to(folder)}: {words}")
    for job in sorted(folder.rglob("job.json")):
        for name in listed(job.parent):
            if not (job.parent / name).exists():
                bad += 1
                print(f"{job.relative_to(folder)}: names {name}, which is not there")
    print(f"meshes: {len(paths)} looked at, {bad} not good")
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
