"""The whole job on one part: read, inspect, plan, compensate, write, prove, report."""

from __future__ import annotations

import contextlib
import json
import logging
import os
import secrets
from dataclasses import replace
from pathlib import Path

from meshcomp._version import __version__
from meshcomp.calibration.results import Calibration
from meshcomp.compensation import compensate
from meshcomp.corrections import ByHand, Calibrated, as_made, plan
from meshcomp.errors import OptionError, PartFileError, UnsoundResultError
from meshcomp.files import read_part, write_part
from meshcomp.files.atomic import resolved, save_atomically, take_name
from meshcomp.files.writing import refuse_source
from meshcomp.grooving import grooved, grooves_planned
from meshcomp.inspecting import inspect
from meshcomp.inspections import Inspection
from meshcomp.intents import HeightWish, loads_of
from meshcomp.layering import looked_at, with_layers
from meshcomp.layers import LayerWish
from meshcomp.offers import offers_for
from meshcomp.parts import Part
from meshcomp.plans import Plan
from meshcomp.reports import record_html, record_json
from meshcomp.results import Compensated, Record, Verification
from meshcomp.scenes import surface_of
from meshcomp.seams import SeamWish
from meshcomp.verification import verify
from meshcomp.views import plan_views

__all__ = ["compensate_part", "output_path", "plan_part", "save_reports"]

_LARGE = 100_000  # faces: with fewer, memory is of no concern
_log = logging.getLogger(__name__)  # says what is being done; shown on terminals

Rule = ByHand | Calibrated
_MUST_HOLD = ("closed solid", "no new crossing faces")


def output_path(path: str | os.PathLike[str]) -> Path:
    """Return where the compensated part goes unless said otherwise.

    Examples
    --------
    >>> output_path("kit/wheel.stl").name
    'wheel.compensated.stl'
    """
    source = Path(path)
    return source.with_name(f"{source.stem}.compensated{source.suffix}")


def plan_part(
    part: Part,
    rule: Rule,
    *,
    layers: LayerWish | None = None,
    seams: SeamWish | None = None,
    **overrides: object,
) -> Record:
    """Inspect a part and decide its corrections, without making anything.

    Parameters
    ----------
    part : Part
        As read by `meshcomp.read`.
    rule : ByHand or Calibrated
        Where the numbers come from.
    layers : LayerWish, optional
        The layers it is printed in, and which faces to move onto them.
    seams : SeamWish, optional
        Which features are to have a groove for the seam; places are those of the part as
        it is, before its sizes change.
    **overrides
        `keep` and `sizes`, as for `meshcomp.plan`.

    Examples
    --------
    >>> import meshcomp
    >>> spacer = meshcomp.demo_part("shaft_spacer")
    >>> record = plan_part(spacer, meshcomp.ByHand(bore_opening=0.15), keep=("boss-01",))
    >>> [f"{c.feature_id} {c.correction:+.2f} mm" for c in record.plan.corrections]
    ['bore-01 +0.15 mm', 'boss-01 +0.00 mm']
    """
    source = inspect(part)
    inspection, report = looked_at(source, layers, rule.axes, _heights(rule))
    decided = plan(inspection, rule, **overrides)  # type: ignore[arg-type]
    planned = grooves_planned(inspection, decided, _loaded(seams, rule, source))
    record = _record(inspection, decided, rule)
    return replace(record, inspection=source, layers=report, seams=planned)


def compensate_part(  # noqa: PLR0913 - what is to be done beside sizes
    part: Part,
    out: str | os.PathLike[str],
    rule: Rule,
    *,
    in_place: bool = False,
    layers: LayerWish | None = None,
    inspection: Inspection | None = None,
    seams: SeamWish | None = None,
    **overrides: object,
) -> Record:
    """Compensate a part, write it, read it back and prove it.

    Parameters
    ----------
    part : Part
        As read by `meshcomp.read`.
    out : str or path
        The file to write; its ending chooses the format.
    rule : ByHand or Calibrated
        Where the numbers come from.
    in_place : bool, optional
        Whether `out` may be the file that the part was read from.
    layers : LayerWish, optional
        The layers it is printed in, and which faces to move onto them.
    inspection : Inspection, optional
        Of the part, where it was inspected already.
    seams : SeamWish, optional
        Which features are to have a groove for the seam.
    **overrides
        `keep` and `sizes`, as for `meshcomp.plan`.

    Returns
    -------
    record : Record
        Everything a report shows. `record.conforms` tells whether all is as planned.

    Raises
    ------
    MeshCompError
        If the part is no closed solid, a value asked for cannot be right, or no sound
        mesh was found; nothing is written then.

    Examples
    --------
    >>> import tempfile
    >>> import meshcomp
    >>> spacer = meshcomp.demo_part("shaft_spacer")
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     out = Path(folder, "spacer.stl")
    ...     record = compensate_part(spacer, out, meshcomp.ByHand(bore_opening=0.15))
    ...     out.exists(), record.conforms
    (True, True)
    >>> [f"{size.achieved:.3f}" for size in record.verification.sizes]  # mm
    ['8.150', '12.000']
    """
    target = Path(out)
    if not in_place:
        refuse_source(part, target)
    _log.info("looking for features")
    source = inspect(part) if inspection is None else inspection
    seen, report = looked_at(source, layers, rule.axes, _heights(rule))
    decided = plan(seen, rule, **overrides)  # type: ignore[arg-type]
    _log.info("moving the walls of %s features", len(decided.corrections))
    wish = _loaded(seams, rule, source)
    result = grooved(seen, with_layers(compensate(seen, decided), report), wish)
    _log.info("measuring the written file")
    _make_room(part, result.part)
    verification, digest = _written(seen, result, target)
    foretold = as_made(decided, rule, seen, _made_otherwise(result, verification))
    made = (result, verification, target, digest)
    record = _record(seen, foretold, rule, made)
    return replace(record, inspection=source, layers=report, seams=result.seams)


def _make_room(*parts: Part) -> None:
    """Drop what was found in large meshes, as far as later steps seldom ask for it."""
    for part in parts:
        if len(part.mesh.faces) > _LARGE:
            part.mesh.forget()


def _heights(rule: Rule) -> tuple[HeightWish, ...]:
    """Return the depths and shoulders whose limits the plan file states."""
    if isinstance(rule, ByHand) or rule.intents is None:
        return ()
    return rule.intents.heights


def _loaded(wish: SeamWish | None, rule: Rule, inspection: Inspection) -> SeamWish | None:
    """Add the loads of the plan file to a wish; what was said beside it comes after."""
    if wish is None or isinstance(rule, ByHand) or rule.intents is None:
        return wish
    return replace(wish, loads=(*loads_of(rule.intents, inspection), *wish.loads))


def _made_otherwise(result: Compensated, proof: Verification) -> dict[str, float]:
    """Return sizes, and offsets of profiles, that are not as planned, mm, by id."""
    sized = {size.feature_id for size in proof.sizes}
    held = {
        limit.feature_id: limit.used
        for limit in result.limits
        if limit.feature_id not in sized
    }
    missed = {
        size.feature_id: size.achieved
        for size in proof.sizes
        if size.achieved is not None and not size.conforms
    }
    return held | missed


def _written(
    inspection: Inspection, result: Compensated, target: Path
) -> tuple[Verification, str]:
    """Write beside the target, read back, prove, and only then take the target's name."""
    # Beside the file itself, where the target is a link to one in another folder.
    unproved = resolved(target).with_name(
        f".{target.stem[:80]}.{secrets.token_hex(4)}{target.suffix}"
    )
    try:
        _write_beside(result.part, unproved, target)
        written = _read_back(result.part, unproved)
        verification = verify(inspection, result, written)
        _refuse_broken(verification, inspection.part.name)
        take_name(unproved, target)
    finally:
        with contextlib.suppress(OSError):
            unproved.unlink(missing_ok=True)
    return verification, written.source.sha256


def _write_beside(part: Part, unproved: Path, target: Path) -> None:
    try:
        write_part(part, unproved)
    except PartFileError as error:
        # Nobody knows the name of the file that was to be the target.
        message = str(error).replace(str(unproved), str(target))
        raise PartFileError(message) from error


def _read_back(part: Part, path: Path) -> Part:
    """Read a written file by the unit and the stand it was written with."""
    unit = None if path.suffix.lower() == ".3mf" else part.source.unit
    return read_part(path, unit=unit, up=part.stand.up)


def _refuse_broken(verification: Verification, name: str) -> None:
    for check in verification.checks:
        if check.name in _MUST_HOLD and not check.passed:
            raise UnsoundResultError(
                f"{name}: the result fails the check {check.name!r} ({check.figure}): give "
                "a smaller offset, or keep features with --keep ID"
            )


def _record(
    inspection: Inspection,
    decided: Plan,
    rule: Rule,
    made: tuple[Compensated, Verification, Path, str] | None = None,
) -> Record:
    result, verification, target, digest = made or (None, None, None, None)
    mesh = None if result is None else result.part.mesh
    views = plan_views(inspection, decided, mesh)
    return Record(
        inspection=inspection,
        plan=decided,
        limits=() if result is None else result.limits,
        verification=verification,
        views=views,
        written=None if target is None else str(target),
        written_sha256=digest,
        version=__version__,
        surface=surface_of(inspection, decided, result),
        offers=offers_for(inspection, rule) if isinstance(rule, Calibrated) else None,
    )


def save_reports(
    record: Record, calibration: Calibration | None = None
) -> tuple[Path, Path]:
    """Write the JSON and HTML reports beside a compensated part.

    Parameters
    ----------
    record : Record
        Of a finished job.
    calibration : Calibration, optional
        That decided the corrections, to be shown in the HTML report with its charts.

    Returns
    -------
    json_path, html_path : Path
        `OUT.report.json` and `OUT.report.html`.

    Raises
    ------
    OptionError
        If the record is of a dry run, which has no file to stand beside.

    Examples
    --------
    >>> import tempfile
    >>> import meshcomp
    >>> spacer = meshcomp.demo_part("shaft_spacer")
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     out = Path(folder, "spacer.stl")
    ...     record = compensate_part(spacer, out, meshcomp.ByHand(bore_opening=0.15))
    ...     [path.name for path in save_reports(record)]
    ['spacer.stl.report.json', 'spacer.stl.report.html']
    """
    if record.written is None:
        raise OptionError("a plan without a written part has no report files")
    _log.info("drawing the report")
    data = json.dumps(record_json(record), indent=1, allow_nan=False)
    json_path = Path(f"{record.written}.report.json")
    html_path = Path(f"{record.written}.report.html")
    save_atomically(json_path, data.encode())
    save_atomically(html_path, record_html(record, calibration).encode())
    return json_path, html_path
