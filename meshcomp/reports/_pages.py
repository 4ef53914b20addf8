"""Templates of HTML pages: how they are loaded, and how values get into them."""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from meshcomp.reports import _numbers as numbers
from meshcomp.reports._sentences import printable

if TYPE_CHECKING:
    import jinja2

__all__ = ["Script", "page", "script", "with_minus"]


@dataclass(frozen=True, slots=True)
class Script:
    """A script to stand in a page, and the digest by which the page's policy knows it."""

    text: Any  # markup
    digest: str


@cache
def script(name: str) -> Script:
    """Return a script by its file name in `assets`.

    Examples
    --------
    >>> script("report.min.js").digest[:7]
    'sha256-'
    """
    from markupsafe import Markup

    raw = Path(__file__).with_name("assets").joinpath(name).read_bytes()
    digest = base64.b64encode(hashlib.sha256(raw).digest()).decode("ascii")
    return Script(Markup(raw.decode()), f"sha256-{digest}")  # noqa: S704 - ours


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
        "bare": _bare,
        "exact": _exact,
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


def _bare(number: str) -> str:
    """Write a number for sorting: nothing where there is none."""
    return "" if number == numbers.DASH else number


def _exact(number: float | None) -> str:
    """Write a number in full, for sorting: nothing where there is none."""
    return "" if number is None else repr(float(number))


def with_minus(number: str) -> str:
    """Set numbers in type: a minus sign, and a dash where there is none."""
    if number == numbers.DASH:
        return "\N{EN DASH}"
    return re.sub(r"(?<!\w)-(?=\d)", "\N{MINUS SIGN}", number)
