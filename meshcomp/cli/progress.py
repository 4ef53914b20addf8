"""A bar of progress for work on many parts."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING

import typer

from meshcomp.cli.terminal import is_quiet

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshcomp.kits.making import Progress

__all__ = ["bar"]


@contextmanager
def bar(parts: int) -> Iterator[Progress | None]:
    """Show a bar of progress on a terminal, and nothing anywhere else."""
    if not sys.stderr.isatty() or is_quiet():
        yield None
        return
    with typer.progressbar(length=parts, label="parts", file=sys.stderr) as shown:
        yield lambda _: shown.update(1)
