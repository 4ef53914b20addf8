"""Press fits: the pressure between a hub and what is pressed into it, and the hub's stress.

Thick-walled cylinders by Lamé. A printed hub is neither even nor equally strong in all
directions, and plastic creeps: the figures are those of a solid, even hub on the first
day. They tell a seat that will split from one that may hold; they prove no joint.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

from meshcomp.errors import OptionError

__all__ = ["CAUTIONS", "STEEL", "Material", "Press", "press", "strain_warnings"]

CAUTIONS = (
    (
        "Computed for a solid, even hub: a print is weaker across its layers, often by "
        "half, and a seam, a thin wall or sparse infill splits earlier."
    ),
    (
        "Plastic creeps: a press fit loses much of its pressure within weeks, and nearly "
        "all of it where it gets warm. Secure what must stay with more than friction."
    ),
    (
        "Wear eye protection when you press; press squarely and slowly, and never strike "
        "a bearing. Where a joint carries load or guards people, local codes and licensed "
        "practice decide, not this figure."
    ),
)
_SUSTAINED_STRAIN = 0.005  # of amorphous plastics; common practice, from memory


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """What a part is made of, as its maker states it; stresses in MPa."""

    name: str
    modulus: float  # Young's, MPa
    poisson: float
    allowable_stress: float | None = None  # tension, lasting, as printed, MPa

    def __post_init__(self) -> None:
        stress = self.allowable_stress
        is_right = self.modulus > 0 and isfinite(self.modulus) and 0 <= self.poisson < 0.5  # noqa: PLR2004
        if not is_right or not (stress is None or 0 < stress < float("inf")):
            raise OptionError(
                f"material {self.name!r}: a modulus and an allowable stress are above 0 "
                f"MPa and a Poisson's ratio lies from 0 to below 0.5, got {self.modulus:g} "
                f"MPa, {self.poisson:g}" + (f" and {stress:g} MPa" if stress else "")
            )


STEEL = Material(name="steel", modulus=210_000.0, poisson=0.3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Press:
    """A hub on a solid shaft, with an interference; mm and MPa.

    `interference` is on diameter; at or below zero nothing presses.
    """

    diameter: float  # of the joint
    hub_diameter: float  # outside
    interference: float
    hub: Material
    shaft: Material = STEEL
    pressure: float
    hoop_stress: float  # at the hub's bore, tension
    hub_growth: float  # of its outside diameter, mm

    @property
    def would_split(self) -> bool:
        """Whether the hoop stress passes what the hub's maker allows."""
        allowable = self.hub.allowable_stress
        return allowable is not None and self.hoop_stress > allowable

    @property
    def warnings(self) -> tuple[str, ...]:
        """Say what is wrong with it, in words; empty where nothing presses too hard."""
        found = []
        if self.would_split:
            found.append(
                f"would split: {self.hoop_stress:.1f} MPa of hoop stress at "
                f"{self.interference:.3f} mm interference, {self.hub.name} allows "
                f"{self.hub.allowable_stress:g} MPa; take less interference or a thicker "
                "wall"
            )
        found += strain_warnings(self.interference, self.diameter)
        return tuple(found)


def strain_warnings(interference: float, diameter: float) -> list[str]:
    """Say whether a joint strains plastic by more than it bears for long; mm.

    Examples
    --------
    >>> strain_warnings(0.05, 22.0), len(strain_warnings(0.05, 5.0))
    ([], 1)
    """
    strain = interference / diameter
    if strain <= _SUSTAINED_STRAIN:
        return []
    words = (
        f"strained by {100 * strain:.1f} %: common practice, no source, keeps plastics "
        f"that stay pressed below {100 * _SUSTAINED_STRAIN:g} %"
    )
    return [words]


def press(
    diameter: float,
    hub_diameter: float,
    interference: float,
    *,
    hub: Material,
    shaft: Material = STEEL,
) -> Press:
    """Return the pressure and the hoop stress of a press fit.

    Parameters
    ----------
    diameter : float
        Of the joint, mm.
    hub_diameter : float
        Outside diameter of the hub, mm: twice the least distance from the axis to free
        surface, where the hub is not round.
    interference : float
        Shaft less bore before joining, on diameter, mm; below zero it is a clearance.
    hub : Material
    shaft : Material
        A solid one; the ring of a bearing is taken for solid, so that the true pressure
        is lower.

    Returns
    -------
    Press

    Raises
    ------
    OptionError
        If the hub is not larger than the joint.

    References
    ----------
    Lamé's thick-walled cylinders, plane stress: with the interference delta, the hub's
    E and nu and the shaft's, p = (delta/d) / (((D² + d²)/(D² - d²) + nu)/E +
    (1 - nu_shaft)/E_shaft); hoop stress p (D² + d²)/(D² - d²).

    Examples
    --------
    >>> steel = Material(name="steel", modulus=200e3, poisson=0.3)
    >>> found = press(50, 80, 0.04, hub=steel, shaft=steel)
    >>> found.pressure, round(found.hoop_stress, 2)  # MPa
    (48.75, 111.25)
    """
    if not 0 < diameter < hub_diameter < float("inf"):
        raise OptionError(
            f"a hub of {hub_diameter:g} mm cannot hold a joint of {diameter:g} mm: give "
            "the outside diameter of the hub"
        )
    squares = hub_diameter**2 - diameter**2
    ratio = (hub_diameter**2 + diameter**2) / squares
    compliance = (ratio + hub.poisson) / hub.modulus + (1 - shaft.poisson) / shaft.modulus
    pressure = max(interference, 0.0) / diameter / compliance
    return Press(
        diameter=float(diameter),
        hub_diameter=float(hub_diameter),
        interference=float(interference),
        hub=hub,
        shaft=shaft,
        pressure=round(pressure, 12),
        hoop_stress=pressure * ratio,
        hub_growth=2 * pressure * diameter**2 * hub_diameter / squares / hub.modulus,
    )
