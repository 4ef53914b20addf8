"""Templates of HTML pages: how they are loaded, and how values get into them."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from meshcomp.reports import _numbers as numbers
from meshcomp.reports._sentences import printable

if TYPE_CHECKING:
    import jinja2

__all__ = ["page", "with_minus"]


@cache
def page(name: str) -> jinja2.Template:
    """Return a template by its file name in `templates`."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).with_name("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_finalize,
    )
    environment.filters |= {
        "num": with_minus,
        "signed": numbers.signed,
        "size": numbers.size,
        "place": numbers.place,
    }
    return environment.get_template(name)


def _finalize(value: Any) -> Any:
    """Write floats, which are places in pictures, with four decimals; make text safe.

    Controls and broken text from file names stay out of the page; markup passes.
    """
    if isinstance(value, float):
        return f"{value:.4f}"
    is_text = isinstance(value, str) and not hasattr(value, "__html__")
    return printable(value) if is_text else value


def with_minus(number: str) -> str:
    """Set numbers in type: a minus sign, and a dash where there is none."""
    if number == numbers.DASH:
        return "\N{EN DASH}"
    return re.sub(r"(?<!\w)-(?=\d)", "\N{MINUS SIGN}", number)
