"""Dowel pins: ISO 2338 (soft, m6 or h8) and ISO 8734 (hardened, m6)."""

from __future__ import annotations

from meshcomp.errors import OptionError
from meshcomp.tolerances import Zone, zone

__all__ = ["DOWELS", "dowel"]

# Nominal diameters, mm, from memory.
DOWELS = {
    "ISO 2338": (
        *(0.6, 0.8, 1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0),
        *(16.0, 20.0, 25.0, 30.0, 40.0, 50.0),
    ),
    "ISO 8734": (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 16.0, 20.0),
}
_CLASSES = {"ISO 2338": ("m6", "h8"), "ISO 8734": ("m6",)}


def dowel(diameter: float, standard: str = "ISO 2338", class_: str = "m6") -> Zone:
    """Return the limits of a dowel's diameter.

    Parameters
    ----------
    diameter : float
        In mm.
    standard : str
        "ISO 2338" or "ISO 8734".
    class_ : str
        "m6", or "h8" for ISO 2338.

    Raises
    ------
    OptionError
        If there is no such dowel.

    Examples
    --------
    >>> dowel(5).lower_limit, dowel(5).upper_limit  # mm
    (5.004, 5.012)
    """
    if class_ not in _CLASSES[standard]:
        raise OptionError(
            f"{standard} has no dowels {class_}: take {' or '.join(_CLASSES[standard])}"
        )
    if diameter not in DOWELS[standard]:
        sizes = ", ".join(f"{each:g}" for each in DOWELS[standard])
        raise OptionError(f"{standard} has no dowel of {diameter:g} mm: it has {sizes}")
    return zone(diameter, class_)
