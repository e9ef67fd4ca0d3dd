"""A real browser without a network, for the tests of the map page."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
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
        browser.close()


def opened(browser: Browser, url: str, *, width: int = 1280, scripts: bool = True, dark: bool = False) -> Opened:
    """Open the page offline in a window of its own and wait until it is ready."""
    page = browser.new_page(
        viewport={"width": width, "height": 900 if width > 800 else 800},
        offline=True,
        java_script_enabled=scripts,
        color_scheme="dark" if dark else "light",
    )
    complaints: list[str] = []
    requests: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("request", lambda request: requests.append(request.url))
    page.goto(url)
    if scripts:
        page.wait_for_selector("body.ready")
    return Opened(page, complaints, requests)


def written(page: Page, place: str = "#panel-body") -> str:
    """Read what stands in a part of the page, without what keeps a number and its unit on one line."""
    return page.inner_text(place).replace("\N{NO-BREAK SPACE}", " ").replace("\N{WORD JOINER}", "")


def page_source(last: str) -> str:
    """Give the page's own script up to one of its parts, to be run anew: the page keeps its names to itself."""
    assets = files("preplan.render").joinpath("assets")
    names = SCRIPTS[: SCRIPTS.index(last) + 1]
    return "\n".join(assets.joinpath(name).read_text(encoding="utf-8") for name in names)
