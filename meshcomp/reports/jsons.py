"""Results as plain objects for JSON: full precision, no arrays, None where there is none.

Coordinates are in the frame of the part's file, mm; angles in degrees.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import numpy as np

from meshcomp.features import Cylinder, Feature, Flare, Group, Pattern, Shape, Wall
from meshcomp.inspections import Inspection, SolidState
from meshcomp.layers import LayerReport
from meshcomp.parts import Part, Piece
from meshcomp.plans import Lying, Outlook, Plan
from meshcomp.reports._layers import layers_json
from meshcomp.reports._rows import Row, axis_in_file, rows_of
from meshcomp.reports._seams import seams_json
from meshcomp.reports._sentences import cautions, doubts, verdict
from meshcomp.reports._whole import axes_json, foot_json
from meshcomp.results import Limit, Record
from meshcomp.stands import Stand

__all__ = ["inspection_json", "record_json"]

_SCHEMA = 1


def inspection_json(
    inspection: Inspection, layers: LayerReport | None = None
) -> dict[str, Any]:
    """Return what is known of a part as one object for JSON.

    Parameters
    ----------
    inspection : Inspection
        The part, its solid and its features.
    layers : LayerReport, optional
        Its heights against the layers, where those are known.

    Returns
    -------
    dict
        `schema`, `part`, `solid`, `features`, `groups`, `patterns`, `stand`, `layers` and
        `notes`; `from` and `to` of a feature are positions along its axis direction
        (dot product with it), mm. The module `meshcomp.reports` has an example.
    """
    part = inspection.part
    return {
        "schema": _SCHEMA,
        "part": _part(part),
        "solid": _solid(inspection.solid),
        "features": [_feature(inspection, feature) for feature in inspection.features],
        "groups": [_group(group) for group in inspection.groups],
        "patterns": [_pattern(p, inspection.part.stand) for p in inspection.patterns],
        "stand": {
            **_stand(part),
            "counts": [
                {
                    "up": counts.up,
                    "standing": int(counts.standing),
                    "lying": int(counts.lying),
                    "leaning": int(counts.leaning),
                }
                for counts in inspection.stands
            ],
        },
        "layers": layers_json(layers),
        "notes": list(doubts(inspection)),
    }


def record_json(record: Record) -> dict[str, Any]:
    """Return the whole record of one compensated part as one object for JSON.

    Parameters
    ----------
    record : Record
        Of a finished job or of a dry run.

    Returns
    -------
    dict
        `achieved`, `checks`, `solid.after` and `written` are None after a dry run;
        `conforms` is the record's own, `verdict` says in words what it stands for.
    """
    part, proof = record.inspection.part, record.verification
    return {
        "schema": _SCHEMA,
        "version": record.version,
        "part": {**_part(part), "stand": _stand(part)},
        "plan": _plan(record),
        "features": [_row(row) for row in rows_of(record)],
        "intents": _intents(record.plan),
        "limits": [_limit(limit) for limit in record.limits],
        "layers": layers_json(record.layers),
        "seams": seams_json(record.seams, part.stand),
        "checks": None
        if proof is None
        else [
            {"name": check.name, "passed": bool(check.passed), "figure": check.figure}
            for check in proof.checks
        ],
        "volume": {
            "change": _number(proof.volume_change) if proof else None,
            "predicted_change": _number(proof.predicted_volume_change) if proof else None,
        },
        "solid": {
            "before": _solid(record.inspection.solid),
            "after": _solid(proof.solid) if proof else None,
        },
        "written": _written(record),
        "conforms": bool(record.conforms),
        "verdict": _verdict(record),
        "notes": list(doubts(record.inspection)),
        "cautions": list(cautions(record)),
    }


def _part(part: Part) -> dict[str, Any]:
    source = part.source
    return {
        "name": part.name,
        "path": source.path,
        "format": source.format,
        "sha256": source.sha256,
        "unit": source.unit,
        "unit_origin": source.unit_origin,
        "pieces": [_piece(piece) for piece in part.pieces],
        "repairs": [{"kind": r.kind, "count": int(r.count)} for r in part.repairs],
    }


def _piece(piece: Piece) -> dict[str, Any]:
    return {"name": piece.name, "copies": int(piece.copies)}


def _stand(part: Part) -> dict[str, Any]:
    return {"up": part.stand.up, "is_assumed": bool(part.stand_is_assumed)}


def _solid(solid: SolidState) -> dict[str, Any]:
    return {
        "is_watertight": bool(solid.is_watertight),
        "bodies": int(solid.bodies),
        "genus": int(solid.genus),
        "volume": _number(solid.volume),
        "bounds": [_numbers(corner) for corner in solid.bounds],
        "triangles": int(solid.triangles),
    }


def _feature(inspection: Inspection, feature: Feature) -> dict[str, Any]:
    axis = axis_in_file(feature, inspection.part.stand)
    common = {
        "id": feature.id,
        "kind": feature.kind,
        "internal": bool(feature.is_internal),
        "nominal_size": _number(feature.nominal_size),
        "axis": {"point": _numbers(axis.point), "direction": _numbers(axis.direction)},
        "from": _number(feature.start),
        "to": _number(feature.end),
    }
    own = _of_cylinder(feature) if isinstance(feature, Cylinder) else _of_wall(feature)
    return common | own | _belongs_to(inspection, feature.id) | {"notes": [*feature.notes]}


def _belongs_to(inspection: Inspection, name: str) -> dict[str, Any]:
    """Ids of the group, the chain and the pattern that a feature is in, or None."""
    mine = [group for group in inspection.groups if name in group.members]
    return {
        "group": next((g.id for g in mine if g.kind != "coaxial"), None),
        "chain": next((g.id for g in mine if g.kind == "coaxial"), None),
        "pattern": next((p.id for p in inspection.patterns if name in p.members), None),
    }


def _shape(shape: Shape) -> dict[str, Any]:
    return {
        "name": shape.name,
        "measures": {name: _number(value) for name, value in shape.measures},
    }


def _group(group: Group) -> dict[str, Any]:
    return {
        "id": group.id,
        "kind": group.kind,
        "members": list(group.members),
        "is_through": bool(group.is_through),
    }


def _pattern(pattern: Pattern, stand: Stand) -> dict[str, Any]:
    return {
        "id": pattern.id,
        "kind": pattern.kind,
        "members": list(pattern.members),
        "nominal_size": _number(pattern.nominal_size),
        "pitch": _numbers(pattern.pitch),
        "counts": [int(count) for count in pattern.counts],
        "circle_size": _number(pattern.circle_size),
        "empty": [_numbers(stand.to_file(np.array(place))) for place in pattern.empty],
    }


def _flare(flare: Flare) -> dict[str, Any]:
    return {
        "kind": flare.kind,
        "angle": _number(flare.angle),
        "size": _number(flare.size),
        "from": _number(flare.start),
        "to": _number(flare.end),
    }


def _of_cylinder(cylinder: Cylinder) -> dict[str, Any]:
    return {
        "is_through": bool(cylinder.is_through),
        "build_angle": _number(cylinder.build_angle),
        "facets": int(cylinder.facets),
        "size_across_flats": _number(cylinder.size_across_flats),
        "span": _number(cylinder.span),
        "form_deviation": _number(cylinder.form_deviation),
        "curve_length": None,
        "ending": cylinder.ending or None,
        "flares": [_flare(flare) for flare in cylinder.flares],
        "shape": None,
        "between": None,
    }


def _of_wall(wall: Wall) -> dict[str, Any]:
    """Return the same keys as for a cylinder, None where they say nothing of a wall."""
    has_void = wall.is_internal and not wall.between
    return {
        "is_through": bool(wall.is_through) if has_void else None,
        "build_angle": None,
        "facets": None,
        "size_across_flats": None,
        "span": None,
        "form_deviation": None,
        "curve_length": _number(wall.curve_length),
        "ending": None,
        "flares": [],
        "shape": None if wall.shape is None else _shape(wall.shape),
        "between": list(wall.between) or None,
    }


def _plan(record: Record) -> dict[str, Any]:
    plan = record.plan
    return {
        "source": plan.source,
        "calibration_sha256": plan.source_sha256,
        "axes": axes_json(record),
        "foot": foot_json(record),
    }


def _row(row: Row) -> dict[str, Any]:
    correction, size = row.correction, row.size
    return {
        "id": correction.feature_id,
        "kind": correction.kind,
        "internal": None if row.feature is None else bool(row.feature.is_internal),
        "nominal_size": _number(correction.nominal_size),
        "predicted_deviation": _number(correction.predicted_deviation),
        "standard_uncertainty": _number(correction.standard_uncertainty),
        "target_size": _number(correction.target_size),
        "mesh_size": _number(correction.mesh_size),
        "correction": _number(correction.correction),
        "offset": _number(correction.offset),
        "achieved_size": _number(row.achieved),
        "conforms": None if row.conforms is None else bool(row.conforms),
        "how_measured": None if size is None else size.how,
        "state": row.state,
        "is_left_alone": bool(correction.is_left_alone),
        "reason": correction.reason,
        "lying": _lying(correction.lying),
        "flags": list(correction.flags),
        "outlook": _outlook(correction.outlook),
    }


def _lying(lying: Lying | None) -> dict[str, Any] | None:
    if lying is None:
        return None
    return {
        "height": _number(lying.height),
        "roof": lying.roof or None,
        "overhang": _number(lying.overhang) if lying.roof else None,
    }


def _outlook(outlook: Outlook | None) -> dict[str, Any] | None:
    """Return what a feature will be in print; of a profile the gap per flank."""
    if outlook is None:
        return None
    return {
        "intent": outlook.intent,
        "of": "gap" if outlook.is_gap else "size",
        "wanted": [_number(outlook.lower), _number(outlook.upper)],
        "predicted": _number(outlook.predicted),
        "low": _number(outlook.low),
        "high": _number(outlook.high),
        "probability": _number(outlook.probability),
        "asked": _number(outlook.asked),
        "is_met": outlook.is_met,
        "shortfall": outlook.shortfall,
        "warnings": list(outlook.warnings),
    }


def _intents(plan: Plan) -> dict[str, Any] | None:
    """Return where the intents come from and which fall short; None without a plan."""
    if plan.intents_source is None:
        return None
    outlooks = [(c.feature_id, c.outlook) for c in plan.corrections]
    return {
        "path": plan.intents_source,
        "sha256": plan.intents_sha256,
        "stated": [name for name, o in outlooks if o is not None and o.intent is not None],
        "fall_short": [c.feature_id for c in plan.shortfalls],
    }


def _limit(limit: Limit) -> dict[str, Any]:
    return {
        "id": limit.feature_id,
        "wanted_offset": _number(limit.wanted),
        "used_offset": _number(limit.used),
        "place": _numbers(limit.place),
        "reason": limit.reason,
    }


def _written(record: Record) -> dict[str, Any] | None:
    if record.written is None:
        return None
    return {"path": record.written, "sha256": record.written_sha256}


def _verdict(record: Record) -> dict[str, Any]:
    outcome = verdict(record)
    return {
        "state": outcome.state,
        "heading": outcome.headline,
        "sentence": outcome.sentence,
    }


def _number(value: float | None) -> float | None:
    """Return a plain finite number: JSON knows no others, and numpy's are not plain."""
    if value is None or not math.isfinite(value):
        return None
    return float(value)


def _numbers(values: Iterable[float]) -> list[float | None]:
    return [_number(value) for value in values]
