"""The map for every eye: contrast by WCAG 2.1 AA, colour-blind eyes, a photocopier; day and night.

Contrast and luminance: WCAG 2.1, success criteria 1.4.3 and 1.4.11 and its definitions. Colour-blind eyes: the
matrices of Machado, Oliveira and Fernandes (2009) at full severity, on linear light; from memory, each row adds up
to one. CIE L*a*b* under D65.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from preplan.plan import Plan
from preplan.plan_tables import STATUSES
from preplan.records import FloatArray
from preplan.render.map_html import map_page
from tests.browser import opened, page_source
from tests.plan_checks import SAMPLE, plan_of

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

TEXT, LARGE_TEXT, GRAPHIC = 4.5, 3.0, 3.0
EYES = {
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}
SHADES = {"served": "#0072B2", "higher level": "#F0E442", "not met": "#000000"}
PARTS = {
    "served": ("#0072B2", "#ffffff"),
    "higher level": ("#1d2429", "#F0E442", "#ffffff"),
    "not met": ("#000000", "#ffffff"),
    "no route": ("#1d2429", "#ffffff"),
    "hydrant": ("#6f767b", "#ffffff"),
}
"""Shades of each symbol from its core to its edge, as they are drawn; a test holds them against the pixels."""


def light(shade: str) -> FloatArray:
    """Turn #rrggbb into linear light, red, green, blue."""
    part = np.array([int(shade[k : k + 2], 16) for k in (1, 3, 5)]) / 255.0
    return np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)


def luminance(linear: FloatArray) -> float:
    return float(np.clip(linear, 0.0, 1.0) @ np.array([0.2126, 0.7152, 0.0722]))


def contrast(one: str, other: str) -> float:
    """Give WCAG's ratio, 1 to 21."""
    low, high = sorted((luminance(light(one)), luminance(light(other))))
    return (high + 0.05) / (low + 0.05)


def lab(linear: FloatArray) -> FloatArray:
    """Turn linear light into CIE L*a*b*."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    ratio = to_xyz @ np.clip(linear, 0.0, 1.0) / np.array([0.95047, 1.0, 1.08883])
    x, y, z = np.where(ratio > 0.008856, np.cbrt(ratio), 7.787 * ratio + 16 / 116)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def test_the_arithmetic_is_that_of_the_standards() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # the well-known grey that just fails
    assert lab(light("#ffffff")) == pytest.approx([100.0, 0.0, 0.0], abs=0.05)
    assert lab(light("#0000ff")) == pytest.approx([32.3, 79.2, -107.9], abs=0.2)
    assert [np.sum(rows, axis=1) for rows in EYES.values()] == pytest.approx(np.ones((3, 3)), abs=1e-5)


@pytest.fixture(scope="module")
def plan() -> Plan:
    return plan_of(SAMPLE / "district.toml")


@pytest.fixture(scope="module")
def file_url(tmp_path_factory: pytest.TempPathFactory, plan: Plan) -> str:
    path: Path = tmp_path_factory.mktemp("looks") / "map.html"
    tiled = replace(plan, district=replace(plan.district, tiles="https://tile.example.org/{z}/{x}/{y}.png"))
    path.write_text(map_page(tiled), encoding="utf-8")
    return path.as_uri()


def shades_of(page: Page) -> tuple[dict[str, Any], dict[str, Any]]:
    """Take the page's own shades by day and by night."""
    day, night = page.evaluate(f"() => {{ {page_source('map_symbols.js')} return [DAY, NIGHT]; }}")
    return day, night


# --------------------------------------------------------------------------- words


TEXTS = """() => {
  const shade = (text) => {
    const part = text.match(/[\\d.]+/g).map(Number);
    return part.length > 3 && part[3] === 0 ? null : part;
  };
  const ground = (one) => {
    for (let at = one; at; at = at.parentElement) {
      const found = shade(getComputedStyle(at).backgroundColor);
      if (found) return found;
    }
    return [255, 255, 255];
  };
  const found = [];
  for (const one of document.querySelectorAll("header *, aside *, footer, footer *, #banner *, .leaflet-control *")) {
    const own = [...one.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim());
    const box = one.getBoundingClientRect();
    if (!(own || one.placeholder) || !box.width || box.height < 2) continue;
    const style = getComputedStyle(one, one.placeholder ? "::placeholder" : null);
    found.push([one.textContent || one.placeholder, shade(style.color), ground(one), parseFloat(style.fontSize),
      Number(style.fontWeight), Number(style.opacity)]);
  }
  return found;
}"""


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("opener", ["#legend", "#lists", "#what-if", "address"])
def test_every_word_of_the_page_stands_out_enough(browser: Browser, file_url: str, opener: str, *, dark: bool) -> None:
    page = opened(browser, file_url, dark=dark).page
    if opener == "address":
        page.fill("#search", "123 Bobolink")
        page.keyboard.press("Enter")
        page.fill("#search", "no such place")
    else:
        page.click(opener)
    texts = page.evaluate(TEXTS)
    assert len(texts) > 20
    weak = []
    for text, ink, ground, size_px, weight, opacity in texts:
        mixed = [opacity * a + (1 - opacity) * b for a, b in zip(ink[:3], ground[:3], strict=True)]
        ratio = contrast(*("#" + "".join(f"{round(one):02x}" for one in shade[:3]) for shade in (mixed, ground)))
        large = size_px >= 24 or (size_px >= 18.66 and weight >= 700)
        if ratio < (LARGE_TEXT if large else TEXT):
            weak.append(f"{text[:40]}: {ratio:.2f}")
    assert weak == []


@pytest.mark.parametrize("dark", [False, True])
def test_edges_of_controls_stand_out_enough(browser: Browser, file_url: str, *, dark: bool) -> None:
    page = opened(browser, file_url, dark=dark).page
    edges = page.evaluate(
        """() => [...document.querySelectorAll("header button, header input, #close, select")].map((one) => {
          const style = getComputedStyle(one);
          return [one.id, style.borderTopColor, getComputedStyle(document.body).backgroundColor];
        })"""
    )
    assert len(edges) >= 10
    for name, *pair in edges:
        edge, ground = (
            "#" + "".join(f"{int(one):02x}" for one in text[text.index("(") + 1 : -1].split(",")[:3]) for text in pair
        )
        assert contrast(edge, ground) >= GRAPHIC, name


def test_words_on_the_map_stand_out_from_their_halo(browser: Browser, file_url: str) -> None:
    page = opened(browser, file_url).page
    for shades in shades_of(page):
        assert contrast(shades["label"], shades["halo"]) >= TEXT
        assert contrast(shades["ink"], shades["halo"]) >= TEXT


# --------------------------------------------------------------------------- symbols


def symbol(page: Page, name: str, r: float) -> FloatArray:
    """Draw one symbol of the page's own on a clear ground: (rows, columns, 4), 0 to 255."""
    pixels = page.evaluate(
        f"""([name, r]) => {{
          {page_source("map_symbols.js")}
          const side = 2 * Math.ceil(r + 4);
          const canvas = new OffscreenCanvas(side * 4, side * 4);
          const pen = canvas.getContext("2d");
          pen.scale(4, 4);
          const status = data.statuses.findIndex((one) => one.code === name);
          if (status >= 0) drawStatus(pen, status, side / 2, side / 2, r);
          else drawVerdict(pen, ["does not", "meets"].indexOf(name), side / 2, side / 2, r);
          return [side * 4, ...pen.getImageData(0, 0, side * 4, side * 4).data];
        }}""",
        [name, r],
    )
    side = pixels[0]
    return np.array(pixels[1:], dtype=np.float64).reshape(side, side, 4)


def test_symbols_are_drawn_in_the_shades_that_are_judged_here(browser: Browser, file_url: str) -> None:
    page = opened(browser, file_url).page
    for status, parts in PARTS.items():
        pixels = symbol(page, status, 9.0)
        solid = {"#" + "".join(f"{int(one):02x}" for one in pixel[:3]) for pixel in pixels[pixels[:, :, 3] == 255]}
        assert {part.lower() for part in parts} <= solid, status


def test_symbols_stand_out_from_every_ground(browser: Browser, file_url: str) -> None:
    """Some shade of each symbol keeps 3:1 to the areas it lies on.

    A road is narrower than a symbol and passes under it: there the core keeps 3:1 to the edge that surrounds it.
    """
    page = opened(browser, file_url).page
    for shades in shades_of(page):
        grounds = [shades["paper"], shades["water"], shades["building"]]
        for status, parts in PARTS.items():
            for ground in grounds:
                assert max(contrast(part, ground) for part in parts) >= GRAPHIC, (status, ground)
            assert max(contrast(*pair) for pair in itertools.pairwise(parts)) >= GRAPHIC, status


def test_shades_of_the_statuses_stay_apart_for_every_eye_and_a_photocopier() -> None:
    for one, other in itertools.combinations(SHADES, 2):
        first, second = light(SHADES[one]), light(SHADES[other])
        assert abs(lab(first)[0] - lab(second)[0]) >= 25.0, (one, other)
        for eye, rows in EYES.items():
            apart = lab(np.array(rows) @ first) - lab(np.array(rows) @ second)
            assert float(np.linalg.norm(apart)) >= 40.0, (one, other, eye)


@pytest.mark.parametrize("r", [4.0, 9.0])
def test_no_two_symbols_share_a_shape(browser: Browser, file_url: str, r: float) -> None:
    """Shapes alone, in black and white, differ by a sixth of their ink at the least, as small as they are drawn."""
    page = opened(browser, file_url).page
    masks = {}
    for name in (*STATUSES, "meets", "does not"):
        pixels = symbol(page, name, r)
        white = pixels[:, :, :3].min(axis=2) > 200
        masks[name] = (pixels[:, :, 3] > 127) & ~white
    for one, other in itertools.combinations(masks, 2):
        common, either = (masks[one] & masks[other]).sum(), (masks[one] | masks[other]).sum()
        assert common / either < 5 / 6, (one, other)
