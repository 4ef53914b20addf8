"""Parts with closed-form volumes, and 3MF files made with lib3mf, for test_files_*."""

from __future__ import annotations

import math
import struct
from pathlib import Path

import lib3mf
import numpy as np
import pytest

SHARED = Path(__file__).parents[1].parent / "shared" / "data"

# The filter changer's index pin block: a box of three different sides, so that no axis
# can be mistaken for another. Sides are 32-bit numbers.
SIDES = (10.0, 20.5, 30.25)
BOX_POINTS = np.array(
    [(x, y, z) for x in (0, SIDES[0]) for y in (0, SIDES[1]) for z in (0, SIDES[2])], float
)
BOX_FACES = np.array(
    [
        *[(0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5)],  # -X, +X
        *[(0, 4, 5), (0, 5, 1), (2, 3, 7), (2, 7, 6)],  # -Y, +Y
        *[(0, 2, 6), (0, 6, 4), (1, 5, 7), (1, 7, 3)],  # -Z, +Z
    ]
)
BOX_VOLUME = SIDES[0] * SIDES[1] * SIDES[2]
BOX = BOX_POINTS[BOX_FACES]


def packed_stl(corners, *, header=b"", count=None, spare=0):
    """Binary STL written with struct, apart from the code under test."""
    rows = [
        struct.pack("<12fH", *(0.0,) * 3, *map(float, row.reshape(-1)), spare)
        for row in corners
    ]
    count = len(corners) if count is None else count
    return header.ljust(80)[:80] + struct.pack("<I", count) + b"".join(rows)


def spelled_stl(corners, name="pin block"):
    """Text STL written line by line, apart from the code under test."""
    lines = [f"solid {name}"]
    for row in corners:
        lines += [" facet normal 0 0 0", "  outer loop"]
        lines += [f"   vertex {x!r} {y!r} {z!r}" for x, y, z in row.tolist()]
        lines += ["  endloop", " endfacet"]
    return "\n".join([*lines, f"endsolid {name}", ""]).encode()


def triangles_of(part):
    """Corners of all triangles, whatever their order and their first corner."""
    rows = []
    for triangle in part.mesh.corners.tolist():
        turns = [triangle[k:] + triangle[:k] for k in range(3)]
        rows.append(min(turns))
    return sorted(rows)


WRAPPER = lib3mf.get_wrapper()


def new_model(unit="MilliMeter"):
    """Empty model of lib3mf, in one of its units."""
    model = WRAPPER.CreateModel()
    model.SetUnit(getattr(lib3mf.ModelUnit, unit))
    return model


def add_mesh(model, points=BOX_POINTS, faces=BOX_FACES, name=""):
    """Mesh object in a model of lib3mf."""
    mesh = model.AddMeshObject()
    mesh.SetName(name)
    mesh.SetGeometry(
        [lib3mf.Position((float(x), float(y), float(z))) for x, y, z in points],
        [lib3mf.Triangle((int(a), int(b), int(c))) for a, b, c in faces],
    )
    return mesh


def transform(linear=None, shift=(0, 0, 0)):
    """Transform of lib3mf that maps column vectors by a (3, 3) matrix, then shifts."""
    fields = lib3mf.Transform()
    rows = [*np.transpose(np.eye(3) if linear is None else linear).tolist(), shift]
    for i, row in enumerate(rows):
        for j, number in enumerate(row):
            fields.Fields[i][j] = float(number)
    return fields


def about_z(degrees):
    """Matrix of a turn about Z."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([(c, -s, 0), (s, c, 0), (0, 0, 1)])


def saved(model, path):
    """Write a model with lib3mf."""
    writer = model.QueryWriter("3mf")
    writer.WriteToFile(str(path))
    return path


def opened(path):
    """Model of a 3MF file, read with lib3mf."""
    model = WRAPPER.CreateModel()
    model.QueryReader("3mf").ReadFromFile(str(path))
    return model


def mesh_objects(model):
    """Mesh objects of a model of lib3mf."""
    found = []
    iterator = model.GetMeshObjects()
    while iterator.MoveNext():
        found.append(iterator.GetCurrentMeshObject())
    return found


def test_sample_box_has_the_volume_of_its_sides():
    # Source: divergence theorem, summed here term by term.
    signed = [np.dot(a, np.cross(b, c)) / 6 for a, b, c in BOX]
    assert math.fsum(signed) == pytest.approx(BOX_VOLUME, rel=1e-14)


def test_sample_stl_has_the_length_of_its_count():
    assert len(packed_stl(BOX)) == 84 + 50 * 12
