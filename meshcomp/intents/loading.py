"""From the loads of a plan file to features: which way each counterpart pushes."""

from __future__ import annotations

from meshcomp.errors import OptionError
from meshcomp.inspections import Inspection
from meshcomp.intents.picking import all_picked
from meshcomp.intents.statements import Intents, Load
from meshcomp.treatments import ALL

__all__ = ["loads_of"]


def loads_of(intents: Intents, inspection: Inspection) -> tuple[tuple[str, float], ...]:
    """Return the bearing of each load by feature id; "all" for the others.

    Parameters
    ----------
    intents : Intents
    inspection : Inspection
        The part and its features.

    Raises
    ------
    OptionError
        If a load picks nothing, or two are for one feature; with file and line.
    """
    found: dict[str, Load] = {}
    for load in intents.loads:
        for name in _names(load, inspection):
            if name in found:
                raise OptionError(
                    f"{load.place}: {name} has a load already ({found[name].place})"
                )
            found[name] = load
    return tuple((name, load.towards) for name, load in found.items())


def _names(load: Load, inspection: Inspection) -> tuple[str, ...]:
    if load.pick is None:
        return (ALL,)
    return tuple(f.id for f in all_picked(inspection, load.pick, load.place))
