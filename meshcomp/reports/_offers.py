"""What may be chosen for each feature, as data for the page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from meshcomp.reports._numbers import percent
from meshcomp.reports._rows import Row
from meshcomp.results import Offer, Record

__all__ = ["offers_data"]

_DIGITS = 4  # of mm


def offers_data(record: Record, rows: Sequence[Row]) -> dict[str, Any] | None:
    """Return what the page needs to make a plan file, ready for JSON; None without offers.

    Features that may be given the same things share one list.
    """
    if record.offers is None or not rows:
        return None
    lists: dict[tuple[Offer, ...], int] = {}
    features = []
    for row, offers in zip(rows, record.offers.of_features, strict=True):
        if not offers:
            continue
        stated, *others = offers
        number = lists.setdefault(tuple(others), len(lists))
        features.append(
            {
                "id": row.correction.feature_id,
                "kind": row.correction.kind,
                "size": _rounded(row.correction.nominal_size),
                "stated": _offer(stated),
                "list": number,
            }
        )
    return {
        "head": record.offers.head,
        "part": record.inspection.part.name,
        "lists": [[_offer(offer) for offer in offers] for offers in lists],
        "features": features,
    }


def _offer(offer: Offer) -> dict[str, Any]:
    """Return an offer without what it has not."""
    chance = offer.probability
    data = {
        "group": offer.group,
        "label": offer.label,
        "keys": offer.keys,
        "target": _rounded(offer.target),
        "wanted": _range(offer.lower, offer.upper),
        "interval": _range(offer.low, offer.high),
        "chance": None if chance is None else percent(chance),
        "notes": offer.notes,
        "typed": offer.typed,
        "base": offer.base,
        "sign": offer.sign if offer.base is not None else None,
    }
    return {key: value for key, value in data.items() if value not in (None, (), "")}


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, _DIGITS)


def _range(low: float | None, high: float | None) -> list[float] | None:
    if low is None or high is None:
        return None
    return [round(low, _DIGITS), round(high, _DIGITS)]
