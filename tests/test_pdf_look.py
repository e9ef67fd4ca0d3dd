"""How paper looks: contrast of what is written, symbols told apart in grey, and one card against a picture kept."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader
from reportlab.pdfgen.canvas import Canvas

from preplan.plan_tables import STATUSES
from preplan.render import card_pdf, report_pdf, site_pdf, symbols_pdf
from preplan.render.lettering_pdf import load_fonts
from preplan.render.map_html import map_page
from preplan.render.paper import BLACK, BLUE, RIGHT_PT, WHITE, YELLOW, Pen
from preplan.water import timeline

from .example_plan import example_plan
from .test_pdf import scaled
from .timeline_cases import golden_called

BASELINE = Path(__file__).parent / "data" / "card.png"
BASELINE_DPI = 60
_STRING = re.compile(r"\((?:\\.|[^\\()])*\)", re.DOTALL)
READABLE = 4.5
"""Least contrast of text (WCAG 2.2, success criterion 1.4.3)."""
SEEN = 3.0
"""Least contrast of a graphical object (WCAG 2.2, success criterion 1.4.11)."""

drawn_by_poppler = pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="pdftoppm (poppler) is not installed")


def luminance(colour: tuple[float, ...]) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in colour]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def contrast(one: tuple[float, ...], other: tuple[float, ...]) -> float:
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def text_colours(code: str) -> set[tuple[float, ...]]:
    """List the colours in which a page writes letters; outlines alone (halos) do not count."""
    colour: tuple[float, ...] = (0.0, 0.0, 0.0)
    kept, found, operands, mode = [], set(), list[str](), "0"
    for word in _STRING.sub("()", code).split():
        if word == "q":
            kept.append(colour)
        elif word == "Q":
            colour = kept.pop()
        elif word == "rg":
            colour = tuple(map(float, operands[-3:]))
        elif word == "Tr":
            mode = operands[-1]
        elif word == "Tj" and mode == "0":
            found.add(colour)
        operands = [*operands[-5:], word]
    return found


@pytest.mark.parametrize("kind", ["cards", "sites", "report"])
def test_every_letter_is_readable_on_white(kind: str) -> None:
    plan = example_plan()
    draw: Any = {"cards": lambda: dict(card_pdf.cards(plan))["cards.pdf"], "sites": lambda: site_pdf.sites(plan),
                 "report": lambda: report_pdf.report(plan)}[kind]  # fmt: skip
    for page in PdfReader(io.BytesIO(draw())).pages:
        contents = page.get_contents()
        assert contents is not None
        colours = text_colours(contents.get_data().decode("latin-1"))
        assert colours
        assert min(contrast(colour, WHITE) for colour in colours) >= READABLE


def test_shades_of_status_stand_out_from_paper_or_have_an_outline_that_does() -> None:
    assert contrast((0.0, 0.0, 0.0), (1.0, 1.0, 1.0)) == pytest.approx(21.0)
    assert contrast((0x76 / 255,) * 3, WHITE) == pytest.approx(4.54, abs=0.01)  # a published pair
    assert contrast(BLUE, WHITE) >= SEEN
    assert contrast(YELLOW, WHITE) < SEEN  # so its square is outlined
    assert contrast(YELLOW, BLACK) >= SEEN
    assert contrast(BLUE, YELLOW) >= SEEN


def _grey(content: bytes, dpi: int, tmp_path: Path) -> Any:
    """Rasterise the first page in grey, 0 black to 1 white."""
    (tmp_path / "page.pdf").write_bytes(content)
    command = ["pdftoppm", "-gray", "-png", "-singlefile", "-r", str(dpi), "page.pdf", "page"]
    subprocess.run(command, cwd=tmp_path, check=True, timeout=60)
    return np.asarray(Image.open(tmp_path / "page.png").convert("L"), dtype=np.float64) / 255.0


@drawn_by_poppler
@pytest.mark.parametrize("share", [1.0, 40.0, 0.06])
def test_nothing_is_drawn_into_the_margins(share: float, tmp_path: Path) -> None:
    """Maps are clipped: whatever the length of the way, the outer third of an inch stays white."""
    dpi = 60
    picture = _grey(card_pdf.one_card(scaled(share), 2), dpi, tmp_path)
    edge = dpi // 3
    assert picture.min() < 0.2
    inside = picture[edge:-edge, edge:-edge]
    assert inside.size
    assert picture.sum() == pytest.approx(inside.sum() + (picture.size - inside.size))


@drawn_by_poppler
def test_an_island_is_white_in_its_lake(tmp_path: Path) -> None:
    """A lake that is island all over leaves no grey; without the island it does."""
    plan = example_plan()
    wide = np.array([[-73.0, 43.0], [-71.0, 43.0], [-71.0, 45.0], [-73.0, 45.0], [-73.0, 43.0]])
    drawn = []
    for water, islands in (((), ()), ((wide,), ()), ((wide,), (wide,))):
        rows = np.zeros(len(islands), dtype=np.int32)
        features = replace(plan.features, water_rings=water, island_rings=islands, island_water=rows)
        drawn.append(_grey(card_pdf.one_card(replace(plan, features=features), 2), 60, tmp_path))
    dry, lake, island = drawn
    assert (lake < dry).mean() > 0.05
    assert np.abs(island - dry).max() < 0.01


@drawn_by_poppler
def test_a_coast_is_drawn_on_card_and_map_as_a_stream_is(tmp_path: Path) -> None:
    """A shore of the sea, or of a lake of which the road file holds a part, is a landmark like any water."""
    plan = example_plan()
    lon, lat = float(plan.addresses.lon[2]), float(plan.addresses.lat[2])
    shore = np.array([[lon - 0.05, lat - 0.002], [lon + 0.05, lat + 0.002]])
    bare, coast, stream = (
        replace(plan, features=replace(plan.features, stream_lines=streams, coast_lines=coasts))
        for streams, coasts in (((), ()), ((), (shore,)), ((shore,), ()))
    )
    drawn = [_grey(card_pdf.one_card(one, 2), 60, tmp_path) for one in (bare, coast, stream)]
    assert (drawn[1] < drawn[0]).mean() > 0.0005
    assert (drawn[1] == drawn[2]).all()
    pages = [map_page(one) for one in (bare, coast, stream)]
    assert pages[1] == pages[2] != pages[0]


@drawn_by_poppler
@pytest.mark.parametrize("address", [1, 2], ids=["called on arrival", "at dispatch"])
def test_the_strip_and_its_note_stay_between_the_margins(address: int, tmp_path: Path) -> None:
    """Half an inch at the right stays white, whatever the note says of how units are called."""
    plan = example_plan()
    drawn = timeline.strip(timeline.account(golden_called(6, 12)))
    plan = replace(plan, groups=tuple(replace(group, strip=drawn) for group in plan.groups))
    dpi = 72
    picture = _grey(card_pdf.one_card(plan, address), dpi, tmp_path)
    assert picture[:, : int(RIGHT_PT)].min() < 0.2
    assert picture[:, int(RIGHT_PT) + 2 :].min() == 1.0


@drawn_by_poppler
@pytest.mark.parametrize("size", [4.0, 6.0, 14.0])
def test_symbols_of_status_differ_in_grey(size: float, tmp_path: Path) -> None:
    load_fonts()
    buffer, pitch = io.BytesIO(), 20.0
    canvas = Canvas(buffer, pagesize=(pitch * len(STATUSES), pitch), invariant=1)
    pen = Pen(canvas)
    for at, status in enumerate(STATUSES):
        symbols_pdf.status_mark(pen, status, pitch * (at + 0.5), pitch / 2, size)
    canvas.showPage()
    canvas.save()
    dpi = 300
    picture = _grey(buffer.getvalue(), dpi, tmp_path)
    side = picture.shape[1] // len(STATUSES)
    marks = {status: picture[:side, at * side : (at + 1) * side] for at, status in enumerate(STATUSES)}
    area = (size / 72.0 * dpi) ** 2
    for status, mark in marks.items():
        assert (1.0 - mark).sum() > 0.1 * area, f"{status} is hardly seen"
    for one, other in combinations(STATUSES, 2):
        differs = np.abs(marks[one] - marks[other]).sum() / area
        assert differs > 0.15, f"{one} and {other} look alike: {differs:.2f}"


@drawn_by_poppler
def test_a_card_looks_like_the_picture_kept(tmp_path: Path) -> None:
    """A change that is meant: look at the new picture, then put it in the place of the one kept."""
    now = _grey(card_pdf.one_card(example_plan(), 2), BASELINE_DPI, tmp_path)
    before = np.asarray(Image.open(BASELINE).convert("L"), dtype=np.float64) / 255.0
    assert now.shape == before.shape
    # Versions of the rasteriser smooth edges differently: compare means of 4 by 4 pixels, about a letter.
    high, wide = (length // 4 * 4 for length in now.shape)
    means = (now - before)[:high, :wide].reshape(high // 4, 4, wide // 4, 4).mean(axis=(1, 3))
    assert (np.abs(means) > 0.15).mean() < 0.004, f"see {tmp_path / 'page.png'}"
