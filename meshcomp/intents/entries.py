"""What stands in a plan file, checked entry by entry; the words of `docs/plans.md`."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from meshcomp.intents.statements import PROBABILITY

__all__ = ["HeightTable", "IntentTable", "LoadTable", "PickTable", "PlanFile"]

_STRICT = ConfigDict(extra="forbid", allow_inf_nan=False, str_strip_whitespace=True)
_Name = Annotated[str, Field(min_length=1, max_length=200)]
_Probability = Annotated[float, Field(gt=0, lt=1)]
_Size = Annotated[float, Field(gt=0)]
_Height = Annotated[float, Field(ge=0)]


def _as_range(value: Any) -> Any:
    """Take one number for a range without width: aimed at, with no limits."""
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return [value, value] if is_number else value


def _as_table(value: Any) -> Any:
    """Take a name or a list of names for a table that has them."""
    if isinstance(value, str):
        return {"names": [value]}
    return {"names": value} if isinstance(value, list) else value


_Pair = Annotated[list[float], Field(min_length=2, max_length=2)]
_Range = Annotated[_Pair, BeforeValidator(_as_range, json_schema_input_type=float | _Pair)]
_WANTS = ("keep", "tolerance", "size", "clearance", "interference", "feel", "gap")
_PLAY = ("clearance", "interference", "feel")
_SELF_SUFFICIENT = ("screw", "insert", "self-tapping")  # parts that ask for one hole


class PickTable(BaseModel):
    """Features by name, or by kind, size, place or group."""

    model_config = _STRICT
    names: Annotated[list[_Name], Field(min_length=1)] | None = None
    kind: Literal["bore", "boss", "wall", "slot", "profile"] | None = None
    size: _Size | None = None
    near: Annotated[list[float], Field(min_length=2, max_length=3)] | None = None
    within: _Size = 0.5
    group: _Name | None = None

    @model_validator(mode="after")
    def _says_something(self) -> PickTable:
        rules = (self.kind, self.size, self.near, self.group)
        if self.names is None and all(rule is None for rule in rules):
            raise ValueError("say which features: kind, size, near or group")
        if self.names is not None and any(rule is not None for rule in rules):
            raise ValueError("names stand alone: leave the other ways to pick out")
        return self


_AnyPick = Annotated[
    PickTable,
    BeforeValidator(_as_table, json_schema_input_type=str | list[str] | PickTable),
]


class MaterialTable(BaseModel):
    """What the part is printed of."""

    model_config = _STRICT
    name: _Name
    modulus: _Size
    poisson: Annotated[float, Field(ge=0, lt=0.5)]
    allowable_stress: _Size | None = None


class IntentTable(BaseModel):
    """One intent."""

    model_config = _STRICT
    pick: _AnyPick
    keep: Literal[True] | None = None
    tolerance: _Name | None = None
    size: _Size | None = None
    part: _Name | None = None
    counterpart: _Name | None = None
    name: _Name | None = None  # of the counterpart
    clearance: _Range | None = None
    interference: _Range | None = None
    feel: Literal["press", "slide", "free"] | None = None
    gap: _Range | None = None
    aim: _Size | None = None
    probability: _Probability | None = None
    hub_diameter: _Size | None = None

    @model_validator(mode="after")
    def _is_one_wish(self) -> IntentTable:
        wants = [key for key in _WANTS if getattr(self, key) is not None]
        if len(wants) > 1:
            raise ValueError(f"{wants[0]} and {wants[1]} together: say one of the two")
        if not wants and not _is_enough(self.part):
            raise ValueError(_missing_wish(self))
        _check_against(self, wants)
        _check_ranges(self)
        _check_aim(self)
        return self


def _is_enough(part: str | None) -> bool:
    """Whether a part alone says what is wanted."""
    return part is not None and part.split(" ")[0] in _SELF_SUFFICIENT


def _missing_wish(intent: IntentTable) -> str:
    other = intent.part or intent.counterpart
    if other is None:
        return (
            "what is wanted? give keep = true, tolerance, size, part, gap, or a "
            "counterpart with clearance, interference or feel"
        )
    return (
        f"how is it to go with {other}? give feel (press, slide, free), clearance, "
        "interference or tolerance"
    )


def _check_against(intent: IntentTable, wants: list[str]) -> None:
    """Check that play is against something, and only play is."""
    others = [k for k in ("part", "counterpart") if getattr(intent, k) is not None]
    if len(others) > 1:
        raise ValueError("part and counterpart together: say one of the two")
    if any(want in _PLAY for want in wants) and not others:
        raise ValueError(
            f"{wants[0]} against what? give part, such as 'bearing 608', or counterpart, "
            "such as '5 h6' or '5 0/-0.02'"
        )
    if others and wants and wants[0] in {"keep", "size", "gap"}:
        raise ValueError(f"{wants[0]} and {others[0]} together: say one of the two")
    if _is_enough(intent.part) and wants:
        raise ValueError(f"{intent.part} says its hole itself: leave {wants[0]} out")


def _check_ranges(intent: IntentTable) -> None:
    for key in ("clearance", "interference", "gap"):
        value = getattr(intent, key)
        if value is not None and value[0] > value[1]:
            raise ValueError(
                f"{key} = [{value[0]:g}, {value[1]:g}]: give the least first, then the most"
            )


def _check_aim(intent: IntentTable) -> None:
    """Check that what only makes sense between limits has some."""
    ranges = (intent.clearance, intent.interference, intent.gap)
    has_limits = (
        intent.tolerance is not None
        or intent.feel is not None
        or _is_enough(intent.part)
        or any(each is not None and each[0] < each[1] for each in ranges)
    )
    for key in ("aim", "probability"):
        if getattr(intent, key) is not None and not has_limits:
            raise ValueError(
                f"{key} without limits says nothing: give tolerance, or a least and a most"
            )
    if intent.aim is not None and intent.gap is not None:
        raise ValueError("aim is a size, and gap has none: gap is aimed at its middle")
    if intent.name is not None and intent.counterpart is None:
        raise ValueError("name is that of a counterpart: give counterpart too")


class HeightTable(BaseModel):
    """Limits of a depth or a shoulder in print."""

    model_config = _STRICT
    pick: _AnyPick | None = None
    between: Annotated[list[_Height], Field(min_length=2, max_length=2)] | None = None
    tolerance: _Name

    @model_validator(mode="after")
    def _is_of_something(self) -> HeightTable:
        if (self.pick is None) == (self.between is None):
            raise ValueError(
                "which height? give pick, of a feature whose depth or height is meant, "
                "or between = [LOW, HIGH], two heights above the bed"
            )
        if self.between is not None and not self.between[0] < self.between[1]:
            raise ValueError(
                f"between = [{self.between[0]:g}, {self.between[1]:g}]: give the lower "
                "height first"
            )
        return self


class LoadTable(BaseModel):
    """Which way a counterpart pushes."""

    model_config = _STRICT
    pick: _AnyPick | None = None
    towards: Annotated[float, Field(ge=-360, le=360)]


class PlanFile(BaseModel):
    """The whole plan file."""

    model_config = _STRICT
    schema_version: Literal[1] = Field(alias="schema")
    probability: _Probability = PROBABILITY
    material: MaterialTable | None = None
    intent: list[IntentTable] = []
    height: list[HeightTable] = []
    load: list[LoadTable] = []
