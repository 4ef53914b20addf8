"""A plan file to begin with: every feature of a part, and what it may be for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from meshcomp.features import Feature
from meshcomp.inspections import Inspection
from meshcomp.intents.suggesting import Guess, Suggestion
from meshcomp.reports._numbers import place, size
from meshcomp.reports._rows import axis_in_file, ids_in_words
from meshcomp.reports._sentences import printable
from meshcomp.reports._tables import paragraph

__all__ = ["plan_template"]

_HEAD = """\
# What the features of {name} are for. Take the # away before the lines you want, and
# change them; lines that begin with "# " are words. A feature without an intent is
# aimed at its nominal size. All keys: docs/plans.md.

schema = 1
# An intent falls short when fewer prints than this meet it (exit status 3):
probability = 0.95

# For press fits: what the part is printed of, as the maker of the filament states it
# for prints (across layers it is weaker), MPa.
#[material]
#name = "PETG"
#modulus = 2000
#poisson = 0.4
#allowable_stress = 15
"""


def plan_template(inspection: Inspection, suggested: Sequence[Suggestion]) -> str:
    r"""Return a commented plan file of a part, with a block for each kind and size.

    As it is, it states no intent: every suggestion is commented out.

    Parameters
    ----------
    inspection : Inspection
    suggested : sequence of Suggestion
        As `meshcomp.intents.suggesting.suggestions` returns them.

    Examples
    --------
    >>> import meshcomp
    >>> from meshcomp.intents.suggesting import suggestions
    >>> found = meshcomp.inspect(meshcomp.demo_part("bearing_plate"))
    >>> text = plan_template(found, suggestions(found))
    >>> print(text[text.index("# bore-04"):].partition("\n\n")[0])
    # bore-04: bore of 22.000 mm, through, at -22.00, 0.00, 3.00
    # seat of a bearing 608 or 6900 or 627 (ISO 15)?
    #[[intent]]
    #pick = "bore 22"
    #part = "bearing 608"
    #feel = "press"
    # clearance for an M20 screw, medium (ISO 273)?
    #[[intent]]
    #pick = "bore 22"
    #part = "screw M20 medium"
    # runs on a shaft of 22 mm, not printed?
    #[[intent]]
    #pick = "bore 22"
    #counterpart = "22 h6"
    #name = "shaft"
    #feel = "slide"
    # a hole for something else?
    #[[intent]]
    #pick = "bore 22"
    #tolerance = "H11"
    """
    blocks = [_HEAD.format(name=printable(inspection.part.name))]
    blocks += ["\n".join(_block(inspection, each)) + "\n" for each in suggested]
    return "\n".join(blocks)


def _block(inspection: Inspection, suggestion: Suggestion) -> Iterator[str]:
    first, *others = suggestion.features
    words = f"{ids_in_words(f.id for f in suggestion.features)}: {_feature(first)}"
    if not others:
        words += f", at {place(axis_in_file(first, inspection.part.stand).point)}"
    ids = {feature.id for feature in suggestion.features}
    groups = [g.id for g in inspection.patterns if set(g.members) <= ids]
    if groups and len(ids) > 1:
        words += f"; picked as {ids_in_words(groups)} too"
    yield from _prose(words)
    if not suggestion.guesses:
        yield from _guess(suggestion, Guess(question="to be left as it is?", keys=_KEEP))
    for guess in suggestion.guesses:
        yield from _guess(suggestion, guess)


_KEEP = (("keep", "true"),)


def _feature(feature: Feature) -> str:
    if feature.nominal_size is None:
        return "inner profile" if feature.is_internal else "outer profile"
    words = f"{feature.kind} of {size(feature.nominal_size)} mm"
    if getattr(feature, "is_through", False) and feature.is_internal:
        words += ", through"
    return words


def _guess(suggestion: Suggestion, guess: Guess) -> Iterator[str]:
    yield from _prose(guess.question)
    yield "#[[intent]]"
    yield f'#pick = "{suggestion.pick}"'
    for key, value in guess.keys:
        yield f"#{key} = {value}"


def _prose(text: str) -> list[str]:
    return paragraph(text, "# ", "#   ")
