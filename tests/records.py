"""Builds inspections and records by hand for the tests of reports.

The part is a plate of 60 by 40 by 6 mm with four bores, a cover plate of the filter
changer. All corrections, predictions and measured sizes are invented, for an invented
printer.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meshcomp.features import Cylinder, Wall
from meshcomp.inspections import Inspection, SolidState, StandCount
from meshcomp.meshes import Mesh
from meshcomp.parts import Part, Piece, Source
from meshcomp.plans import Correction, Plan
from meshcomp.results import AchievedSize, Check, Limit, PlanView, Record, Verification
from meshcomp.scenes import surface_of
from meshcomp.stands import stand

WIDTH, DEPTH, HEIGHT = 60.0, 40.0, 6.0
BORES = (  # id, x, y, diameter
    ("b01", -22.0, -12.0, 3.2),
    ("b02", 22.0, -12.0, 3.2),
    ("b03", 22.0, 12.0, 3.2),
    ("b04", 0.0, 2.0, 22.0),
)
CLOSING = 0.23  # invented: bores print this much too small, mm
WALL_GROWTH = 0.06  # invented: material added on every outside wall, per side, mm


def ring(x, y, diameter, facets=48):
    turn = np.linspace(0, 2 * np.pi, facets, endpoint=False)
    return np.column_stack(
        [x + diameter / 2 * np.cos(turn), y + diameter / 2 * np.sin(turn)]
    )


def rectangle(width, depth):
    corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    return corners * (width / 2, depth / 2)


def plate_mesh(bores=BORES, facets=48):
    from manifold3d import CrossSection, FillRule

    rings = [
        rectangle(WIDTH, DEPTH),
        *(ring(x, y, d, facets)[::-1] for _, x, y, d in bores),
    ]
    section = CrossSection(rings, FillRule.EvenOdd)
    mesh = section.extrude(HEIGHT).to_mesh64()
    # Copies, since views would keep the mesh of manifold3d alive.
    return Mesh(np.array(mesh.vert_properties), np.array(mesh.tri_verts))


def source(**changes):
    values = {
        "path": "cover-plate.stl",
        "format": "stl",
        "unit": "mm",
        "unit_origin": "assumed",
        "sha256": "0123456789abcdef" * 4,
    }
    return Source(**(values | changes))


def part(bores=BORES, up="+Z", **changes):
    mesh = plate_mesh(bores)
    values = {
        "name": "cover plate",
        "mesh": mesh,
        "stand": stand(up),
        "stand_is_assumed": up == "+Z",
        "source": source(),
        "pieces": (Piece(name="cover plate"),),
        "piece_of_face": np.zeros(len(mesh.faces), np.int64),
    }
    return Part(**(values | changes))


def bore(mesh, name, x, y, diameter):
    middles = mesh.corners.mean(axis=1)[:, :2]
    normals = mesh.area_vectors
    upright = np.abs(normals[:, 2]) < 1e-9
    near = np.hypot(*(middles - (x, y)).T) < diameter / 2 + 1e-6
    return Cylinder(
        id=name,
        kind="bore",
        nominal_size=diameter,
        point=np.array([x, y, HEIGHT / 2]),
        direction=np.array([0.0, 0.0, 1.0]),
        start=0.0,
        end=HEIGHT,
        is_through=True,
        ending="through",
        span=360.0,
        build_angle=0.0,
        facets=48,
        size_across_flats=diameter * np.cos(np.pi / 48),
        form_deviation=0.0,
        faces=np.flatnonzero(upright & near),
    )


def wall(mesh, name, axis, size):
    direction = np.eye(3)[axis]
    normals = mesh.area_vectors / np.linalg.norm(mesh.area_vectors, axis=1)[:, None]
    return Wall(
        id=name,
        kind="wall",
        is_internal=False,
        nominal_size=size,
        point=np.array([0.0, 0.0, HEIGHT / 2]),
        direction=direction,
        start=-size / 2,
        end=size / 2,
        level=(0.0, 6.0),
        curve_length=None,
        faces=np.flatnonzero(np.abs(normals @ direction) > 1 - 1e-9),
    )


def profile(mesh, name="p01"):
    return Wall(
        id=name,
        kind="profile",
        is_internal=False,
        nominal_size=None,
        point=np.array([0.0, 0.0, HEIGHT / 2]),
        direction=np.array([0.0, 0.0, 1.0]),
        start=0.0,
        end=HEIGHT,
        level=(0.0, 6.0),
        curve_length=2 * (WIDTH + DEPTH),
        faces=wall(mesh, "", 0, WIDTH).faces,
    )


def solid(**changes):
    values = {
        "is_watertight": True,
        "bodies": 1,
        "genus": 4,
        "volume": 11_974.5123456,
        "bounds": ((-WIDTH / 2, -DEPTH / 2, 0.0), (WIDTH / 2, DEPTH / 2, HEIGHT)),
        "triangles": 412,
    }
    return SolidState(**(values | changes))


def inspection(bores=BORES, up="+Z", *, with_profile=True, **changes):
    whole = part(bores, up)
    features = [bore(whole.mesh, *row) for row in bores]
    features += [profile(whole.mesh)] if with_profile else []
    features += [wall(whole.mesh, "w01", 0, WIDTH), wall(whole.mesh, "w02", 1, DEPTH)]
    values = {
        "part": whole,
        "solid": solid(),
        "features": tuple(features),
        "internal_faces": np.zeros(len(whole.mesh.faces), bool),
        "stands": (StandCount(up=up, standing=len(bores), lying=0, leaning=0),),
        "notes": (),
    }
    return Inspection(**(values | changes))


def correction(feature, *, by_hand=False):
    if feature.nominal_size is None:
        return Correction(
            feature_id=feature.id,
            kind=feature.kind,
            nominal_size=None,
            predicted_deviation=None,
            standard_uncertainty=None,
            target_size=None,
            mesh_size=None,
            offset=-WALL_GROWTH,
            reason="outside walls grow by 0.06 mm per side",
        )
    deviation = -CLOSING if feature.kind == "bore" else 2 * WALL_GROWTH
    return Correction(
        feature_id=feature.id,
        kind=feature.kind,
        nominal_size=feature.nominal_size,
        predicted_deviation=None if by_hand else deviation,
        standard_uncertainty=None if by_hand else 0.012,
        target_size=feature.nominal_size,
        mesh_size=feature.nominal_size - deviation,
        offset=-abs(deviation) / 2,
        reason="calibrated: bores that stand"
        if feature.kind == "bore"
        else "calibrated: outside walls",
    )


def left_alone(feature, reason="kept: asked for", *, by_hand=False):
    return replace(
        correction(feature, by_hand=by_hand),
        mesh_size=feature.nominal_size,
        offset=0.0,
        reason=reason,
        is_left_alone=True,
    )


def plan(features, *, by_hand=False, kept=()):
    return Plan(
        corrections=tuple(
            left_alone(f, by_hand=by_hand)
            if f.id in kept
            else correction(f, by_hand=by_hand)
            for f in features
        ),
        source="by hand: bores +0.23 mm"
        if by_hand
        else "invented printer, PLA, 0.2 mm layers",
        source_sha256=None if by_hand else "fedcba9876543210" * 4,
    )


def achieved(planned_by, error=0.0003):
    size = planned_by.mesh_size
    return AchievedSize(
        feature_id=planned_by.feature_id,
        planned=size,
        achieved=None if size is None else size + error,
        conforms=True,
        how="outline cut again" if size is None else "circle or planes, cut again",
    )


def verification(corrections, **changes):
    values = {
        "sizes": tuple(achieved(c) for c in corrections),
        "checks": (
            Check(name="closed", passed=True, figure="0 open edges"),
            Check(name="no crossing faces", passed=True, figure="0 pairs"),
            Check(name="height unchanged", passed=True, figure="z from 0 to 6 mm"),
        ),
        "solid": solid(volume=11_800.0, triangles=812),
        "volume_change": -174.5123456,
        "predicted_volume_change": -174.49,
    }
    return Verification(**(values | changes))


def view(features, corrections, height=3.0, facets=48):
    sizes = {c.feature_id: c.mesh_size for c in corrections}
    bores = [f for f in features if isinstance(f, Cylinder)]
    outside = rectangle(WIDTH - 2 * WALL_GROWTH, DEPTH - 2 * WALL_GROWTH)
    return PlanView(
        height=height,
        before=(
            rectangle(WIDTH, DEPTH),
            *(ring(*f.point[:2], f.nominal_size, facets) for f in bores),
        ),
        after=(outside, *(ring(*f.point[:2], sizes[f.id], 2 * facets) for f in bores)),
        marks=tuple((f.id, float(f.point[0]), float(f.point[1])) for f in features),
    )


def record(*, by_hand=False, kept=("b03",), bores=BORES, **changes):
    seen = changes.pop("inspection", None) or inspection(bores)
    decided = plan(seen.features, by_hand=by_hand, kept=kept)
    values = {
        "inspection": seen,
        "plan": decided,
        "limits": (),
        "verification": verification(decided.corrections),
        "views": (view(seen.features, decided.corrections),),
        "written": "cover-plate.compensated.stl",
        "written_sha256": "00ff" * 16,
        "version": "0.1.0",
        "surface": surface_of(seen, decided, None),
    }
    return Record(**(values | changes))


def dry_record(**changes):
    nothing = {"verification": None, "written": None, "written_sha256": None}
    return record(**(nothing | changes))


def with_limit(whole, name="b01"):
    limit = Limit(
        feature_id=name,
        wanted=-0.115,
        used=-0.0575,
        place=(-20.4, -12.0, 0.0),
        reason="the wall to the edge would turn over",
    )
    sizes = tuple(
        replace(size, conforms=False, achieved=size.achieved - 0.115)
        if size.feature_id == name
        else size
        for size in whole.verification.sizes
    )
    return replace(
        whole, limits=(limit,), verification=replace(whole.verification, sizes=sizes)
    )


def many_bores(number):
    """Return a grid of equal small bores, as many as asked for."""
    columns = 10
    return tuple(
        (f"b{k + 1:02d}", -27 + 6 * (k % columns), -16 + 6.4 * (k // columns), 3.2)
        for k in range(number)
    )
