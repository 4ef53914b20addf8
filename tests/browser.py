"""A headless browser, if there is one on this machine; nothing is ever fetched for it."""

from __future__ import annotations

import os
import shutil
from contextlib import contextmanager

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
# Software drawing, so that WebGL is there on machines without a graphics card.
DRAWING = ("--use-angle=swiftshader", "--enable-unsafe-swiftshader")


def browser_path():
    return next((path for name in NAMES if (path := shutil.which(name))), None)


def playwright_or_skip():
    """Return what opens playwright; skip where that or a browser is missing."""
    if browser_path() is None:
        pytest.skip(f"no browser on this machine: looked for {', '.join(NAMES)}")
    return pytest.importorskip("playwright.sync_api").sync_playwright()


@contextmanager
def headless(playwright, *arguments):
    """Open the browser."""
    # A browser run by root, as in containers, refuses to lock itself in.
    alone = ("--no-sandbox",) if os.name == "posix" and os.geteuid() == 0 else ()
    browser = playwright.chromium.launch(
        executable_path=browser_path(), args=[*alone, *(arguments or DRAWING)]
    )
    try:
        yield browser
    finally:
        browser.close()


class Watched:
    """A page that notes every message, error and request."""

    def __init__(self, browser, path, *, width=1400, height=1000, **context):
        self.context = browser.new_context(
            viewport={"width": width, "height": height}, reduced_motion="reduce", **context
        )
        self.page = self.context.new_page()
        self.errors, self.requests = [], []
        self.page.on("console", lambda m: self.errors.append(f"{m.type}: {m.text}"))
        self.page.on("pageerror", lambda e: self.errors.append(str(e)))
        self.page.on("request", lambda r: self.requests.append(r.url))
        self.page.goto(path.as_uri())
