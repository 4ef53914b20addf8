"""`meshcomp compensate`: reshape a part and prove it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from meshcomp.cli.extras import (
    GrooveDepth,
    GrooveWidth,
    Load,
    SeamGroove,
    SnapHeights,
    SnapOnly,
    calibration_of,
    seam_keys,
)
from meshcomp.cli.options import (
    FirstLayer,
    LayerHeight,
    NoRepair,
    PartPath,
    Unit,
    Up,
    WantsJson,
    parse_sizes,
)
from meshcomp.cli.terminal import Quiet, painted, working
from meshcomp.cli.whole import parse_axes, parse_foot
from meshcomp.errors import NotASolidError, OptionError

if TYPE_CHECKING:
    from meshcomp.calibration.results import Calibration
    from meshcomp.corrections import ByHand, Calibrated
    from meshcomp.parts import Part
    from meshcomp.results import Record
    from meshcomp.treatments import Treatment

__all__ = ["NOT_AS_PLANNED", "compensate"]

NOT_AS_PLANNED = 3

_Length = Annotated[float | None, typer.Option(metavar="MM")]


def compensate(  # noqa: PLR0913, PLR0917 - one parameter an option
    part: PartPath,
    out: Annotated[
        Path | None,
        typer.Option(
            "-o",
            "--out",
            metavar="OUT",
            help="File to write; its ending chooses the format. "
            "[default: NAME.compensated.EXT beside PART]",
        ),
    ] = None,
    calibration: Annotated[
        Path | None,
        typer.Option(
            "-c", "--calibration", metavar="JSON", help="Calibration of your printer."
        ),
    ] = None,
    plan: Annotated[
        Path | None,
        typer.Option(
            metavar="TOML",
            help="What each feature is for (inspect --plan-template); needs -c.",
        ),
    ] = None,
    wall_growth: Annotated[
        float | None,
        typer.Option(metavar="MM", help="Material added on every outside wall, per side."),
    ] = None,
    pocket_opening: Annotated[
        float | None,
        typer.Option(metavar="MM", help="Material taken from pocket walls, per side."),
    ] = None,
    bore_opening: Annotated[
        float | None, typer.Option(metavar="MM", help="Added to every bore's diameter.")
    ] = None,
    boss_growth: Annotated[
        float | None,
        typer.Option(
            metavar="MM",
            help="Added to every boss's diameter. [default: twice the wall growth]",
        ),
    ] = None,
    bore_law: Annotated[
        str | None,
        typer.Option(
            metavar="LAW",
            help='Opening by nominal diameter d, such as "0.12 + 0.45/d".',
        ),
    ] = None,
    flare: Annotated[
        float | None,
        typer.Option(metavar="MM", help="What the first layers spread by, per side."),
    ] = None,
    flare_height: Annotated[
        float, typer.Option(metavar="MM", help="Height up to which they spread.")
    ] = 0.4,
    flare_bores: Annotated[  # noqa: FBT002
        bool, typer.Option("--flare-bores", help="Open bores and pockets there too.")
    ] = False,
    foot: Annotated[  # noqa: FBT002
        bool, typer.Option(help="Draw in the foot by the flare, where it is calibrated.")
    ] = True,
    lying_opening: Annotated[
        float | None,
        typer.Option(metavar="MM", help="Added to the height of lying bores."),
    ] = None,
    roof: Annotated[
        str | None,
        typer.Option(metavar="SHAPE", help="Roof lying bores: pointed or flat."),
    ] = None,
    overhang: Annotated[
        float,
        typer.Option(metavar="DEGREES", help="Of the roof: steepest from upright."),
    ] = 45.0,
    axis_scale: Annotated[
        str | None,
        typer.Option(metavar="X,Y[,Z]", help="Scales of the axes, drawn over asked for."),
    ] = None,
    axis_skew: Annotated[
        float | None,
        typer.Option(metavar="MM/M", help="How far Y leans towards X, mm over 1 m."),
    ] = None,
    axes: Annotated[  # noqa: FBT002
        bool, typer.Option(help="Undo scale and skew of the axes, where calibrated.")
    ] = True,
    keep: Annotated[
        list[str] | None, typer.Option(metavar="ID", help="Leave a feature alone.")
    ] = None,
    set_: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="ID=SIZE", help="Give a feature this mesh size."),
    ] = None,
    layer_height: LayerHeight = None,
    first_layer: FirstLayer = None,
    snap_heights: SnapHeights = False,  # noqa: FBT002
    snap_only: SnapOnly = None,
    seam_groove: SeamGroove = None,
    groove_width: GrooveWidth = None,
    groove_depth: GrooveDepth = None,
    load: Load = None,
    unit: Unit = None,
    up: Up = None,
    no_repair: NoRepair = False,  # noqa: FBT002
    in_place: Annotated[  # noqa: FBT002
        bool, typer.Option("--in-place", help="Write over PART itself.")
    ] = False,
    dry_run: Annotated[  # noqa: FBT002
        bool, typer.Option("--dry-run", help="Show the plan and write nothing.")
    ] = False,
    as_json: WantsJson = False,  # noqa: FBT002
    _quiet: Quiet = False,  # noqa: FBT002
) -> None:
    """Reshape a part so that it prints true to size, and prove what was done."""
    by_hand = {
        "wall_growth": wall_growth,
        "pocket_opening": pocket_opening,
        "bore_opening": bore_opening,
        "boss_growth": boss_growth,
        "bore_law": bore_law,
        "lying_opening": lying_opening,
        "axes": parse_axes(axis_scale, axis_skew),
        "foot": parse_foot(flare, flare_height, opens_bores=flare_bores),
    }
    given = {name: value for name, value in by_hand.items() if value is not None}
    sizes = parse_sizes(set_ or [])
    _refuse_contradictions(given, sizes, keep or [])
    if in_place and out is not None:
        raise typer.BadParameter("--in-place and -o together: say one of the two")
    target = part if in_place else out or _beside(part)
    known = calibration_of(calibration)
    asked = _treatment(
        layer_height=layer_height,
        first_layer=first_layer,
        snap_heights=snap_heights,
        snap_only=tuple(snap_only or ()),
        undoes_axes=axes,
        draws_in_foot=foot,
        opens_bores_at_foot=flare_bores,
        roof=roof,
        overhang=overhang,
        **seam_keys(seam_groove or [], (groove_width, groove_depth), load or []),
    )
    wishes = _wishes(asked, known)
    needs_none = bool(sizes or seam_groove) or asked.moves_heights
    rule = _rule((known, plan), given, asked, needs_none=needs_none)
    overrides: dict[str, Any] = {"keep": tuple(keep or ()), "sizes": sizes, **wishes}
    with working(part.name):
        found = _read(part, target, (unit, up), repairs=not no_repair, draws=not dry_run)
        made = None if dry_run else target
        record = _run(found, made, rule, overrides, in_place=in_place)
        if not dry_run:
            _report(record, known)
    _show(record, as_json=as_json, dry_run=dry_run)
    if not (record.conforms and record.serves):
        raise typer.Exit(NOT_AS_PLANNED)


def _refuse_contradictions(
    given: dict[str, Any], sizes: dict[str, float], keep: list[str]
) -> None:
    if {"bore_opening", "bore_law"} <= set(given):
        raise typer.BadParameter(
            "--bore-opening and --bore-law together: a bore can follow one of the two"
        )
    for name in keep:
        if name in sizes:
            raise typer.BadParameter(f"{name} is to be kept and set: say one of the two")


def _treatment(**asked: Any) -> Treatment:
    from meshcomp.treatments import Treatment

    return Treatment(**asked)


def _wishes(asked: Treatment, known: Calibration | None) -> dict[str, Any]:
    from meshcomp.wishes import layer_wish, seam_wish

    return {"layers": layer_wish(asked, known), "seams": seam_wish(asked, known)}


def _rule(
    sources: tuple[Calibration | None, Path | None],
    given: dict[str, Any],
    asked: Treatment,
    *,
    needs_none: bool,
) -> ByHand | Calibrated:
    """Make the rule from a calibration or from what was given by hand."""
    from meshcomp.corrections import ByHand
    from meshcomp.wishes import roof_of

    calibration, plan = sources
    if calibration is not None and given:
        names = ", ".join(f"--{name.replace('_', '-')}" for name in given)
        raise typer.BadParameter(
            f"-c and {names} together: give a calibration, or corrections by hand"
        )
    if calibration is not None:
        return _calibrated(calibration, plan, asked)
    if plan is not None:
        raise typer.BadParameter(
            "--plan needs -c CALIBRATION.json: what is aimed at in print has to be known "
            "from your printer"
        )
    if not given and not needs_none and asked.roof is None:
        raise OptionError(
            "no corrections given: -c CALIBRATION.json, or by hand such as "
            "--wall-growth -0.05 --bore-opening 0.2 (meshcomp compensate --help)"
        )
    return ByHand(**given, roof=roof_of(asked))


def _calibrated(record: Calibration, plan: Path | None, asked: Treatment) -> Calibrated:
    from meshcomp.corrections import Calibrated
    from meshcomp.wishes import roof_of

    intents = None
    if plan is not None:
        from meshcomp.intents.planfile import read_plan

        intents = read_plan(plan)
    return Calibrated(
        model=record.model,
        source=record.conditions.in_words(),
        sha256=record.sha256,
        intents=intents,
        feels=record.feels,
        undoes_axes=asked.undoes_axes,
        draws_in_foot=asked.draws_in_foot,
        opens_bores_at_foot=asked.opens_bores_at_foot,
        roof=roof_of(asked),
    )


def _beside(path: Path) -> Path:
    from meshcomp.workflow import output_path

    return output_path(path)


def _read(
    path: Path,
    target: Path,
    reading: tuple[str | None, str | None],
    *,
    repairs: bool,
    draws: bool,
) -> Part:
    """Read and repair a part; draw where it is open if it is refused."""
    from meshcomp.repairing import read_sound_part

    try:
        return read_sound_part(path, unit=reading[0], up=reading[1], repairs=repairs)
    except NotASolidError as error:
        if not draws or len(error.open_edges) == 0:
            raise
        from meshcomp.files.atomic import save_atomically
        from meshcomp.reports.refusals import refusal_svg

        picture = f"{target}.refused.svg"
        save_atomically(picture, refusal_svg(path.stem, error).encode())
        raise NotASolidError(f"{error} (picture: {picture})") from error


def _run(
    part: Part,
    target: Path | None,
    rule: ByHand | Calibrated,
    overrides: dict[str, Any],
    *,
    in_place: bool,
) -> Record:
    from meshcomp.workflow import compensate_part, plan_part

    if target is None:
        return plan_part(part, rule, **overrides)
    return compensate_part(part, target, rule, in_place=in_place, **overrides)


def _report(record: Record, calibration: Calibration | None) -> None:
    from meshcomp.workflow import save_reports

    save_reports(record, calibration)


def _show(record: Record, *, as_json: bool, dry_run: bool) -> None:
    from meshcomp.reports import record_json, record_text

    if as_json:
        typer.echo(json.dumps(record_json(record), indent=1, allow_nan=False))
        return
    typer.echo(painted(record_text(record)))
    if not dry_run:
        typer.echo(f"report: {record.written}.report.html (and .json)")
