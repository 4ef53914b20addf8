"""What a terminal alone gets: colour, and signs of life; and how to be quiet."""

from __future__ import annotations

import io
import logging
import os
import re
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stdout
from contextvars import ContextVar
from typing import Annotated

import typer

__all__ = ["Quiet", "is_quiet", "painted", "working"]

_QUIET: ContextVar[bool] = ContextVar("quiet", default=False)
_PATIENCE = 1.0  # s, before there is a sign of life
_PITCH = 0.2  # s
_ERASE = "\r\x1b[K"
_GOOD = re.compile(r"^(PROVED|GEOMETRY PROVED|PLAN ONLY)\b", re.MULTILINE)
_BAD = re.compile(
    r"\b(NOT PROVED|HELD BACK IN PLACES|FAILED|DIFFERS|FALLS? SHORT|SHORT|NOT as planned)\b"
)


def _be_quiet(context: typer.Context, wanted: bool) -> bool:  # noqa: FBT001 - a flag
    if wanted:
        _QUIET.set(True)
        context.with_resource(redirect_stdout(io.StringIO()))
        context.call_on_close(lambda: _QUIET.set(False))
    return wanted


Quiet = Annotated[
    bool,
    typer.Option(
        "--quiet",
        "-q",
        help="Print nothing but errors: the exit status tells.",
        callback=_be_quiet,
    ),
]


def is_quiet() -> bool:
    """Whether nothing but errors is wanted."""
    return _QUIET.get()


def painted(text: str) -> str:
    """Return a text with its verdicts in colour, on a terminal; the words say it all."""
    if not sys.stdout.isatty() or os.environ.get("NO_COLOR"):
        return text
    good = _GOOD.sub(lambda m: typer.style(m[0], fg="blue", bold=True), text)
    return _BAD.sub(lambda m: typer.style(m[0], fg="yellow", bold=True), good)


class _Stage(logging.Handler):
    """Keeps the last thing that the library said it does."""

    def __init__(self) -> None:
        super().__init__(logging.INFO)
        self.words = "working"

    def emit(self, record: logging.LogRecord) -> None:
        """Take a message."""
        self.words = record.getMessage()


@contextmanager
def working(name: str) -> Iterator[None]:
    """Show on a terminal what is being done, where it takes over a second."""
    if not sys.stderr.isatty() or is_quiet():
        yield
        return
    log, stage, done = logging.getLogger("meshcomp"), _Stage(), threading.Event()
    level = log.level
    log.addHandler(stage)
    log.setLevel(logging.INFO)
    ticker = threading.Thread(target=_tick, args=(name, stage, done), daemon=True)
    ticker.start()
    try:
        yield
    finally:
        done.set()
        ticker.join()
        log.removeHandler(stage)
        log.setLevel(level)


def _tick(name: str, stage: _Stage, done: threading.Event) -> None:
    began = time.monotonic()
    if done.wait(_PATIENCE):
        return
    while not done.wait(_PITCH):
        seconds = time.monotonic() - began
        sys.stderr.write(f"{_ERASE}{name}: {stage.words} ({seconds:.0f} s)")
        sys.stderr.flush()
    sys.stderr.write(_ERASE)
    sys.stderr.flush()
