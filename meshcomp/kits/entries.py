"""What stands in a kit file, checked entry by entry; the words of `docs/kits.md`."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    ValidationInfo,
    field_validator,
    model_validator,
)

from meshcomp.kits.wholes import WholeKeys, owned_by_a_part

__all__ = ["KitFile", "MateEntry", "PartEntry", "limits_of"]

_ASKED = 0.95  # asked of a mate unless the kit says otherwise
_STRICT = ConfigDict(extra="forbid", allow_inf_nan=False, str_strip_whitespace=True)
_Name = Annotated[str, Field(min_length=1, max_length=80)]
_Probability = Annotated[float, Field(gt=0, lt=1)]
_Size = Annotated[float, Field(gt=0)]


class PartEntry(WholeKeys, BaseModel):
    """A part in the kit file."""

    model_config = _STRICT
    file: _Name
    name: _Name | None = None
    quantity: Annotated[int, Field(ge=1)] = 1
    up: str | None = None
    unit: str | None = None
    repair: bool = True
    calibration: _Name | None = None
    plan: _Name | None = None
    keep: list[str] = []
    set: dict[str, _Size] = {}
    target: dict[str, _Size] = {}


class MateEntry(BaseModel):
    """A mate in the kit file."""

    model_config = _STRICT
    name: _Name | None = None
    bore: _Name | None = None
    boss: _Name | None = None
    flank: _Name | None = None
    against: _Name | None = None
    bought: _Name | None = None
    fit: _Name | None = None
    feel: Literal["press", "slide", "free"] | None = None
    clearance: Annotated[list[float], Field(min_length=2, max_length=2)] | None = None
    least: float | None = None
    most: float | None = None
    gap: Annotated[list[float], Field(min_length=2, max_length=2)] | None = None
    aim: Literal["bore", "boss", "none"] | None = None
    probability: _Probability | None = None

    @model_validator(mode="after")
    def _is_a_pair(self) -> MateEntry:
        if self.flank is not None:
            _check_flanks(self)
        else:
            _check_sides(self)
        low, high = limits_of(self)
        if low is not None and high is not None and not low < high:
            raise ValueError(f"the least, {low:g}, is not below {high:g} mm")
        return self


def _check_flanks(entry: MateEntry) -> None:
    """Check a mate of two outlines."""
    others = ("bore", "boss", "fit", "feel", "clearance", "least", "most")
    for key in others:
        if getattr(entry, key) is not None:
            raise ValueError(f"flank and {key} together: flanks have a gap")
    if entry.against is not None and entry.bought is not None:
        raise ValueError("against and bought together: a flank has one counterpart")
    if entry.gap is None:
        raise ValueError("what gap per flank is asked? give gap, such as [0.05, 0.15]")


def _check_sides(entry: MateEntry) -> None:
    """Check a mate of two sizes."""
    for key in ("against", "gap"):
        if getattr(entry, key) is not None:
            raise ValueError(f"{key} is for outlines: give flank with it")
    sides = [entry.bore, entry.boss, entry.bought]
    if sum(side is not None for side in sides) != 2:  # noqa: PLR2004 - a pair
        raise ValueError(
            "a mate has two sides: a bore and a boss, or one of them and a bought part"
        )
    if entry.clearance is not None and (entry.least, entry.most) != (None, None):
        raise ValueError("give clearance, or least and most, not both")
    asked = {
        "fit": entry.fit is not None,
        "feel": entry.feel is not None,
        "a clearance": limits_of(entry) != (None, None),
    }
    ways = [name for name, is_given in asked.items() if is_given]
    if not ways:
        raise ValueError(
            "what is asked? give clearance, such as [0.05, 0.15], fit, such as '8 H7/g6', "
            "or feel (press, slide, free)"
        )
    if len(ways) > 1:
        raise ValueError(f"give {ways[0]} or {ways[1]}, not both")


class KitFile(WholeKeys, BaseModel):
    """The whole kit file."""

    model_config = _STRICT
    name: _Name | None = None
    calibration: _Name | None = None
    out: _Name = "compensated"
    probability: _Probability = _ASKED
    part: Annotated[list[PartEntry], Field(min_length=1)]
    mate: list[MateEntry] = []

    @field_validator("seam_groove", "load", "snap_heights")
    @classmethod
    def _is_for_every_part(cls, value: Any, info: ValidationInfo) -> Any:
        """Refuse what only a part can have: features and heights of its own."""
        own = owned_by_a_part(str(info.field_name), value)
        if own is not None:
            raise ValueError(f"{own} is a part's own: say it in its [[part]]")
        return value


def limits_of(entry: MateEntry) -> tuple[float | None, float | None]:
    """Return the least and the most clearance, or gap, that an entry states, mm."""
    pair = entry.clearance or entry.gap
    if pair is not None:
        return pair[0], pair[1]
    return entry.least, entry.most
