"""The timeline strip: everything inside its box, nothing over another, and every mark at its minute."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from pypdf import PdfReader
from reportlab.pdfgen.canvas import Canvas

from preplan.plan_cards import Strip
from preplan.render import lettering_pdf, paper, strip, strip_pdf
from preplan.render.scene import Box
from preplan.render.strip_names import Flag, rows_of
from preplan.water import timeline
from tests.timeline_cases import GOLDEN, golden, golden_called, random_case

PAGE = Box(36.0, 100.0, 36.0 + 540.0, 100.0 + 94.0)
"""7.5 x 1.3 in."""


def lines_of(case: timeline.Case) -> Strip:
    return timeline.strip(timeline.account(case))


def parts_of(case: timeline.Case, page: Box = PAGE, *, legend: bool = False) -> list[strip.Part]:
    return strip.picture(lines_of(case), page, strip_pdf.measure, legend=legend)


def texts(parts: list[strip.Part]) -> list[strip.Words]:
    return [part for part in parts if isinstance(part, strip.Words)]


def box_of_text(text: strip.Words) -> Box:
    return Box(text.x, text.y - 1.0, text.x + strip_pdf.measure(text.said), text.y + strip.TEXT_PT * 0.75)


def points_of(part: strip.Part) -> np.ndarray:
    if isinstance(part, strip.Stroke):
        return np.concatenate(part.paths)
    if isinstance(part, strip.Area):
        return part.points
    box = box_of_text(part)
    return np.array([[box.left, box.bottom], [box.right, box.top]])


@pytest.mark.parametrize("page", [PAGE, Box(0, 0, 200, 60), Box(0, 0, 700, 400)], ids=["card", "least", "large"])
@pytest.mark.parametrize("seed", range(40))
def test_a_strip_stays_in_its_box_and_its_texts_apart(seed: int, page: Box) -> None:
    """Random fleets with everything in them, on a card, in the least box and on a sheet."""
    parts = parts_of(random_case(seed), page, legend=page.width > 500)
    for part in parts:
        points = points_of(part)
        assert np.all(points >= (page.left - 1.0, page.bottom - 0.5)), part
        assert np.all(points <= (page.right + 1.0, page.top + 1.0)), part
    for one, other in combinations(texts(parts), 2):
        assert not box_of_text(one).meets(box_of_text(other)), (one, other)


def test_marks_of_the_worked_example_stand_at_their_minutes() -> None:
    """First dump at 17, dry from 32.1 to 34, the demand's steps at 12 and 25; the account ends at 145."""
    parts = parts_of(golden_called(6, 12))
    said = {text.said for text in texts(parts)}
    assert {"T1", "T2", "T3", "T4", "T5", "T6", "dry 2 min", "150 gpm", "500 gpm", "demand", "min", "140"} <= said
    left, right = _ends(parts)
    scale = (right - left) / 145.0
    bars = next(p for p in parts if isinstance(p, strip.Stroke) and p.width_pt == 1.6)
    assert min(path[0, 0] for path in bars.paths) == pytest.approx(left + 17 * scale)
    assert _gap_ends(parts) == pytest.approx((left + 32.1 * scale, left + 34.0 * scale))
    water = next(p for p in parts if isinstance(p, strip.Area) and p.shade == strip.LIGHT)
    high = water.points[:, 1].max()
    most = lines_of(golden_called(6, 12)).on_scene_gal.max()
    top = next(p.paths[-1][0, 1] for p in parts if isinstance(p, strip.Stroke) and p.dash_pt)  # 6,000 gal
    floor = water.points[:, 1].min()
    assert (high - floor) / (top - floor) == pytest.approx(most / 6000.0)


def _ends(parts: list[strip.Part]) -> tuple[float, float]:
    """Find the axis."""
    axis = next(p for p in parts if isinstance(p, strip.Stroke) and p.width_pt == 0.8)
    return float(axis.paths[0][1, 0]), float(axis.paths[0][2, 0])


def _gap_ends(parts: list[strip.Part]) -> tuple[float, float]:
    """Find the sides of the first hatched stretch: the pen after that of its hatching."""
    hatching = next(n for n, p in enumerate(parts) if isinstance(p, strip.Stroke) and p.width_pt == 0.5)
    sides = points_of(parts[hatching + 1])
    return float(sides[:, 0].min()), float(sides[:, 0].max())


def test_every_unit_is_named_even_where_many_come_together() -> None:
    crowd = tuple(
        timeline.Tanker(
            unit_id=f"TENDER {n}", arrival_min=15 + n, usable_gal=1800, fill_gpm=900, dump_gpm=900, out_min=6,
            back_min=4, portable_gal=3000,
        )
        for n in range(8)
    )  # fmt: skip
    said = " ".join(text.said for text in texts(parts_of(golden(crowd))))
    assert all(f"TENDER {n}" in said for n in range(8))


def test_a_dry_stretch_of_seconds_is_seen() -> None:
    """However short, it is drawn at least 1.6 points wide; what no sentence tells of is not drawn either."""
    lines = lines_of(golden(GOLDEN[:4]))
    short = Strip(
        minute=lines.minute, on_scene_gal=lines.on_scene_gal, demand_min=lines.demand_min,
        demand_gpm=lines.demand_gpm, gaps_min=np.array([[60.0, 60.02], [61.0, 61.04]]), nothing_min=np.empty((0, 2)),
    )  # fmt: skip
    assert "longest short under a minute" in {
        part.said for part in texts(strip.picture(short, PAGE, strip_pdf.measure))
    }
    none = replace(short, gaps_min=short.gaps_min[1:])
    assert not [said for said in texts(strip.picture(none, PAGE, strip_pdf.measure)) if "short" in said.said]
    assert len(strip.picture(none, PAGE, strip_pdf.measure)) < len(strip.picture(short, PAGE, strip_pdf.measure)) - 3
    parts = strip.picture(short, PAGE, strip_pdf.measure)
    assert np.ptp(_gap_ends(parts)) == pytest.approx(1.6)


def test_where_nothing_flows_the_hatching_is_crossed_and_the_words_say_so() -> None:
    """A photocopy tells dry from short: a stretch of 20 minutes of which 5 are dry, and one that is not."""
    lines = replace(
        lines_of(golden_called(6, 12)), gaps_min=np.array([[40.0, 60.0], [70.0, 72.0]]),
        nothing_min=np.array([[45.0, 50.0]]),
    )  # fmt: skip
    words_of_card = "Grey: gallons on scene. {}. Bars: loads."
    for nothing_min, label, legend in (
        (lines.nothing_min, "longest short 20 min, dry 5 min", "Hatched: too little flows, crosswise: nothing"),
        (lines.nothing_min[:0], "longest short 20 min", "Hatched: too little flows"),
        (lines.gaps_min, "longest dry 20 min", "Crosshatched: nothing flows"),
    ):
        one = replace(lines, nothing_min=nothing_min)
        parts = strip.picture(one, PAGE, strip_pdf.measure)
        assert label in {text.said for text in texts(parts)}
        assert strip.hatched_words(one) == words_of_card.format(legend)
        left, right = _ends(parts)
        hatching = [p for p in parts if isinstance(p, strip.Stroke) and p.width_pt in {0.5, 1.2}]
        falling = [path for p in hatching for path in p.paths if np.prod(path[1] - path[0]) < 0.0]
        minutes = sorted((path[:, 0].min() - left) * 145.0 / (right - left) for path in falling)
        assert all(any(a - 1e-6 <= at <= b for a, b in nothing_min) for at in minutes)
        assert bool(minutes) == (len(nothing_min) > 0)


def test_the_line_of_the_water_shows_in_a_gap() -> None:
    """Where the hose holds the flow back the tanks stand full: the hatching must not hide that."""
    parts = parts_of(golden_called(6, 12))
    kinds = [(type(p), getattr(p, "width_pt", None)) for p in parts]
    area = next(n for n, p in enumerate(parts) if isinstance(p, strip.Area) and p.shade == strip.LIGHT)
    assert area < kinds.index((strip.Stroke, 0.5)) < kinds.index((strip.Stroke, 1.2))


def test_hatching_fills_its_box_and_stays_in_it() -> None:
    box = Box(10.3, 5.0, 41.0, 27.5)
    lines = strip.hatch(box, 3.2)
    points = np.concatenate(lines)
    assert np.all(points >= (box.left - 1e-9, box.bottom - 1e-9))
    assert np.all(points <= (box.right + 1e-9, box.top + 1e-9))
    assert all(np.diff(line, axis=0)[0] == pytest.approx([np.ptp(line[:, 1])] * 2) for line in lines)
    shifts = np.sort([line[0, 0] - line[0, 1] for line in lines])
    assert np.diff(shifts) == pytest.approx(3.2)
    assert shifts[0] - 3.2 <= box.left - box.top
    assert shifts[-1] + 3.2 >= box.right - box.bottom


def test_no_stem_crosses_a_name() -> None:
    """The first of three that stand close has the highest row; one far off stands low."""
    flags = [Flag((x,), "name", x + 1.5, 30.0) for x in (10.0, 20.0, 30.0, 90.0)]
    assert rows_of(flags) == [2, 1, 0, 0]


def test_an_account_in_which_nothing_happens_has_axes() -> None:
    nobody = parts_of(golden((), attack_arrival_min=timeline.NEVER))
    assert {text.said for text in texts(nobody)} >= {"0", "1,000 gal", "min"}


def test_a_box_too_small_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 200 x 60"):
        parts_of(golden(GOLDEN), Box(0, 0, 100, 50))
    with pytest.raises(ValueError, match="at least 200 x 60"):
        parts_of(golden(GOLDEN), Box(0, 0, 540, 59.9))


def test_a_box_that_is_smaller_by_rounding_alone_is_large_enough() -> None:
    """A card adds its strip's box up from many heights: 60 points came out as 59.99999999999999."""
    low = 125.80000000000025
    box = Box(36.0, low, 576.0, 185.80000000000024)
    assert box.height < strip.LEAST_HEIGHT_PT
    assert texts(parts_of(golden(GOLDEN), box))


def test_scales_are_round() -> None:
    assert strip.nice_ticks(0.0, 3) == (1000.0, [0.0, 1000.0])
    for most in (3.0, 999.0, 1000.0, 1001.0, 5340.0, 123456.0):
        top, ticks = strip.nice_ticks(most, 3)
        assert ticks[-1] == top >= most
        assert 2 <= len(ticks) <= 5


def test_on_paper_every_text_is_there_in_black_and_grey_only() -> None:
    """Drawn by the PDF library into a page; every colour that is set is a grey."""
    lettering_pdf.load_fonts()
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(612, 200), invariant=1, pageCompression=0, initialFontName=paper.REGULAR)
    strip_pdf.draw(paper.Pen(canvas), PAGE, lines_of(golden_called(6, 12)), legend=True)
    canvas.showPage()
    canvas.save()
    text = PdfReader(io.BytesIO(buffer.getvalue())).pages[0].extract_text()
    for said in ("T6", "dry 2 min", "500 gpm", "Hatched: too little flows, crosswise: nothing"):
        assert said in text
    inks = re.findall(rb"([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG)\b", buffer.getvalue())
    assert inks
    assert all(red == green == blue for red, green, blue in inks)
