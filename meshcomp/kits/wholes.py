"""What a kit file says of a part as a whole: layers, seam, foot, axes, lying bores.

Each key may stand at the head of the kit, for all parts, and in a part, for that one.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, Field

from meshcomp.errors import OptionError
from meshcomp.treatments import ALL, Treatment, parse_groove, parse_load

__all__ = ["WholeKeys", "owned_by_a_part", "treatment"]

_Layer = Annotated[float, Field(gt=0, le=10)]
_Height = Annotated[float, Field(ge=0)]
_Heights = Annotated[list[_Height], Field(min_length=1)]


def _groove(text: str) -> str:
    _told(parse_groove, text)
    return text


def _load(value: float | str) -> str:
    text = str(value)
    _told(parse_load, text)
    return text


def _told(parse: Any, text: str) -> None:
    try:
        parse(text)
    except OptionError as error:
        raise ValueError(str(error)) from error


_Groove = Annotated[str, AfterValidator(_groove)]
_Load = Annotated[float | str, AfterValidator(_load)]


class WholeKeys(BaseModel):
    """The keys of what is wanted of a part as a whole; None: not said here."""

    layer_height: _Layer | None = None
    first_layer: _Layer | None = None
    snap_heights: _Heights | bool | None = None
    seam_groove: list[_Groove] | None = None
    groove_width: Annotated[float, Field(ge=0.1, le=5)] | None = None
    groove_depth: Annotated[float, Field(ge=0.02, le=5)] | None = None
    load: list[_Load] | None = None
    axes: bool | None = None
    foot: bool | None = None
    flare_bores: bool | None = None
    roof: Literal["pointed", "flat"] | None = None
    overhang: Annotated[float, Field(ge=15, le=75)] | None = None


def treatment(kit: WholeKeys, part: WholeKeys) -> Treatment:
    """Return what is wanted of a part: what it says itself, else what the kit says.

    Examples
    --------
    >>> kit = WholeKeys(seam_groove=["all"], snap_heights=[9.0])
    >>> asked = treatment(kit, WholeKeys(snap_heights=False, load=[270]))
    >>> asked.seam_grooves, asked.moves_heights, asked.loads
    ((('all', None),), False, (('all', 270.0),))
    """

    def said(key: str, otherwise: Any = None) -> Any:
        own, common = getattr(part, key), getattr(kit, key)
        found = common if own is None else own
        return otherwise if found is None else found

    heights = said("snap_heights", otherwise=False)
    grooves = tuple(parse_groove(text) for text in said("seam_groove", ()))
    return Treatment(
        layer_height=said("layer_height"),
        first_layer=said("first_layer"),
        snap_heights=heights is True,
        snap_only=tuple(heights) if isinstance(heights, list) else (),
        seam_grooves=grooves,
        groove_width=said("groove_width"),
        groove_depth=said("groove_depth"),
        loads=tuple(parse_load(text) for text in said("load", ())),
        undoes_axes=said("axes", otherwise=True),
        draws_in_foot=said("foot", otherwise=True),
        opens_bores_at_foot=said("flare_bores", otherwise=False),
        roof=said("roof"),
        overhang=said("overhang", otherwise=45.0),
    )


def owned_by_a_part(key: str, value: Any) -> str | None:
    """Return what of a key's value can only be said of one part, if anything.

    Examples
    --------
    >>> owned_by_a_part("seam_groove", ["all", "boss-01@90"])
    'boss-01@90'
    >>> owned_by_a_part("load", ["270"]), owned_by_a_part("snap_heights", True)
    (None, None)
    """
    if not isinstance(value, list):
        return None
    if key == "snap_heights":
        return f"the height {value[0]:g}"
    parse = parse_groove if key == "seam_groove" else parse_load
    return next((str(each) for each in value if parse(str(each))[0] != ALL), None)
