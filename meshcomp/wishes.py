"""Turn what is wanted of a part as a whole into wishes that can be carried out.

What was not said, the calibration tells: the layers, the line's width, the seam's bump.
"""

from __future__ import annotations

from meshcomp.calibration.results import Calibration
from meshcomp.errors import OptionError
from meshcomp.layers import LayerGrid, LayerWish, SnapWish
from meshcomp.lying_bores import Roof
from meshcomp.seams import DEFAULT_DEPTH_SHARE, SeamWish
from meshcomp.treatments import ALL, Treatment

__all__ = ["layer_grid", "layer_wish", "roof_of", "seam_wish"]

_LINE_WIDTH = 0.44  # mm, as `meshcomp calibrate` takes it


def layer_grid(layer_height: float | None, first_layer: float | None) -> LayerGrid | None:
    """Make the grid of layers, or None where the layer height is not known.

    Raises
    ------
    OptionError
        If a height cannot be right, or the first layer's is given alone.
    """
    if layer_height is None:
        if first_layer is not None:
            raise OptionError("--first-layer needs --layer-height MM beside it")
        return None
    first = layer_height if first_layer is None else first_layer
    return LayerGrid(layer_height=layer_height, first_layer=first)


def layer_wish(asked: Treatment, calibration: Calibration | None) -> LayerWish | None:
    """Make the wish on heights; the calibration tells what was not given.

    Raises
    ------
    OptionError
        If heights are to move and nobody says how high the layers are.

    Examples
    --------
    >>> layer_wish(Treatment(layer_height=0.2, snap_only=(9.0,)), None).snap.only
    (9.0,)
    """
    height, first = asked.layer_height, asked.first_layer
    if height is None and calibration is not None:
        height = calibration.conditions.layer_height
        first = calibration.conditions.first_layer if first is None else first
    grid = layer_grid(height, first)
    if grid is not None:
        snap = SnapWish(only=asked.snap_only) if asked.moves_heights else None
        return LayerWish(grid=grid, snap=snap)
    if asked.moves_heights:
        raise OptionError(
            "--snap-heights needs the layers: give --layer-height MM (and "
            "--first-layer MM), or -c CALIBRATION.json, whose conditions tell them"
        )
    return None


def seam_wish(asked: Treatment, calibration: Calibration | None) -> SeamWish | None:
    """Make the wish on seats for the seam; the calibration tells what was not given.

    Raises
    ------
    OptionError
        If a width or a depth cannot be right.

    Examples
    --------
    >>> asked = Treatment(seam_grooves=(("boss-01", 90.0),), groove_width=0.6)
    >>> round(seam_wish(asked, None).depth, 3)
    0.2
    """
    if not asked.seam_grooves:
        return None
    width, depth, origin = _shape(asked, calibration)
    return SeamWish(
        width=width,
        depth=depth,
        features=tuple(each for each in asked.seam_grooves if each[0] != ALL),
        everywhere=(ALL, None) in asked.seam_grooves,
        loads=asked.loads,
        origin=origin,
    )


def _shape(asked: Treatment, calibration: Calibration | None) -> tuple[float, float, str]:
    """Return width and depth of the grooves, and where they come from in words."""
    width, depth = asked.groove_width, asked.groove_depth
    words = ["width as given" if width is not None else "width of one line"]
    bump = None if calibration is None else calibration.model.seam
    if width is None:
        width = _LINE_WIDTH if calibration is None else calibration.conditions.line_width
    if depth is not None:
        words.append("depth as given")
    elif bump is not None:
        depth = min(bump.height + 2 * bump.standard_uncertainty, width)
        words.append("depth of the calibrated bump and twice its uncertainty")
    else:
        depth = width * DEFAULT_DEPTH_SHARE
        words.append("depth a third of the width")
    return width, depth, ", ".join(words)


def roof_of(asked: Treatment) -> Roof | None:
    """Return the roof for lying bores; None where none is wanted.

    Raises
    ------
    OptionError
        If there is no such roof, or no printer prints that overhang.
    """
    if asked.roof is None:
        return None
    return Roof(shape=asked.roof, overhang=asked.overhang)
