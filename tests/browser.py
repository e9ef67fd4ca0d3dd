"""A real browser without a network, for the tests of the map page."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib.resources import files
from typing import TYPE_CHECKING, NamedTuple

import pytest

from preplan.render.map_html import SCRIPTS

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

BROWSERS = ("chromium", "chromium-browser", "google-chrome")


class Opened(NamedTuple):
    """A page, what it complained of, and what it asked for."""

    page: Page
    complaints: list[str]
    requests: list[str]


@contextmanager
def launched() -> Iterator[Browser]:
    """Start a browser; skip where there is none."""
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    program = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    if program is None:
        pytest.skip(f"no browser on the path: {', '.join(BROWSERS)}")
    with api.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program, args=["--no-sandbox"])
        yield browser
        for scripts in (True, False):
            _windows.pop((browser, scripts), None)
        browser.close()


@dataclass
class _Window:
    """A window without a network, and what is heard in it."""

    page: Page
    complaints: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Listen."""
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda request: self.requests.append(request.url))


_windows: dict[tuple[Browser, bool], _Window] = {}
"""The one that all tests of a browser share, with scripts and without: a new one takes longer than the page itself."""


def _window(browser: Browser, *, scripts: bool, own: bool) -> _Window:
    """Give the window that is shared, empty again, or a new one."""
    found = None if own else _windows.get((browser, scripts))
    if found and not found.page.is_closed():
        found.page.goto("about:blank")
        found.complaints, found.requests = [], []
        return found
    found = _Window(browser.new_page(offline=True, java_script_enabled=scripts))
    if not own:
        _windows[browser, scripts] = found
    return found


def opened(
    browser: Browser, url: str, *, width: int = 1280, scripts: bool = True, dark: bool = False, own: bool = False
) -> Opened:
    """Open the page offline and wait until it is ready.

    The window is taken from whoever had it before; `own`: nobody takes this one.
    """
    window = _window(browser, scripts=scripts, own=own)
    page = window.page
    page.set_viewport_size({"width": width, "height": 900 if width > 800 else 800})
    page.emulate_media(media="null", color_scheme="dark" if dark else "light")
    page.goto(url)
    if scripts:
        page.wait_for_selector("body.ready")
    return Opened(page, window.complaints, window.requests)


def written(page: Page, place: str = "#panel-body") -> str:
    """Read what stands in a part of the page, without what keeps a number and its unit on one line."""
    return page.inner_text(place).replace("\N{NO-BREAK SPACE}", " ").replace("\N{WORD JOINER}", "")


def page_source(last: str) -> str:
    """Give the page's own script up to one of its parts, to be run anew: the page keeps its names to itself."""
    assets = files("preplan.render").joinpath("assets")
    names = SCRIPTS[: SCRIPTS.index(last) + 1]
    return "\n".join(assets.joinpath(name).read_text(encoding="utf-8") for name in names)
