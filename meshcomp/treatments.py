"""What a person wants done to a part beside the sizes of its features: data only.

Lengths in mm. A bearing is an angle in degrees, counter-clockwise from X as seen from
above, as the part stands on the bed.
"""

from __future__ import annotations

from dataclasses import dataclass

from meshcomp.errors import OptionError

__all__ = ["ALL", "Treatment", "parse_groove", "parse_load"]

ALL = "all"  # every feature that can have it
_TURN = 360.0  # degrees
Placed = tuple[str, float | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Treatment:
    """Wishes about layers, the seam, the foot, the printer's axes and lying bores.

    None stands for what the calibration says, or what is usual. A load is where the
    counterpart pushes a feature towards; that of the id "all" holds for all others.

    Examples
    --------
    >>> Treatment(snap_heights=True).moves_heights, Treatment().moves_heights
    (True, False)
    """

    layer_height: float | None = None
    first_layer: float | None = None
    snap_heights: bool = False
    snap_only: tuple[float, ...] = ()  # only these heights above the bed
    seam_grooves: tuple[Placed, ...] = ()  # feature id or "all", bearing or by rule
    groove_width: float | None = None
    groove_depth: float | None = None
    loads: tuple[tuple[str, float], ...] = ()  # feature id or "all", bearing
    undoes_axes: bool = True
    draws_in_foot: bool = True
    opens_bores_at_foot: bool = False
    roof: str | None = None  # over lying bores
    overhang: float = 45.0  # degrees from upright

    @property
    def moves_heights(self) -> bool:
        """Whether level faces are to move to layers."""
        return self.snap_heights or bool(self.snap_only)


def parse_groove(text: str) -> Placed:
    """Read where a seat for the seam is wanted: ID, ID@DEGREES or all.

    Raises
    ------
    OptionError
        If it is not of that form.

    Examples
    --------
    >>> parse_groove("boss-01@-90"), parse_groove("all")
    (('boss-01', 270.0), ('all', None))
    """
    name, at, degrees = text.rpartition("@")
    if not at:
        return text, None
    bearing = _bearing(degrees)
    if not name or name == ALL or bearing is None:
        raise OptionError(
            f"seam groove {text!r}: give ID, ID@DEGREES such as bore-01@90, or all"
        )
    return name, bearing


def parse_load(text: str) -> tuple[str, float]:
    """Read which way the counterpart pushes: DEGREES for all features, or ID@DEGREES.

    Raises
    ------
    OptionError
        If it is not of that form.

    Examples
    --------
    >>> parse_load("270"), parse_load("bore-01@90")
    (('all', 270.0), ('bore-01', 90.0))
    """
    name, at, degrees = text.rpartition("@")
    bearing = _bearing(degrees)
    if bearing is None or (at and not name):
        raise OptionError(
            f"load {text!r}: give DEGREES, or ID@DEGREES such as bore-01@270: which way "
            "the counterpart pushes, from X as seen from above"
        )
    return name or ALL, bearing


def _bearing(text: str) -> float | None:
    """Return an angle from 0 to 360 degrees; None if it is none."""
    try:
        bearing = float(text)
    except ValueError:
        return None
    # NaN fails too.
    return bearing % _TURN if abs(bearing) <= _TURN else None
