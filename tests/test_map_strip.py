"""The map's timeline strip: what is packed comes back, and the page draws and says it as the card does."""

from __future__ import annotations

import io
import unicodedata
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from pypdf import PdfReader

from preplan.plan import Plan
from preplan.plan_cards import Strip
from preplan.records import FloatArray
from preplan.render import strip
from preplan.render.map_data import map_data
from preplan.render.map_html import map_page
from preplan.render.map_strip import (
    ACROSS_PX,
    MARK_DUMP,
    MARK_ENOUGH,
    MARK_GAP,
    MARK_NOTHING,
    MARK_SOME,
    UP_PX,
    UP_STEPS,
    water_points,
)
from preplan.render.scene import Box
from preplan.water import timeline
from tests.browser import opened, page_source, written
from tests.example_plan import LABELS, example_plan
from tests.test_map_html import along_roads, running, unpack
from tests.test_map_looks import GRAPHIC, TEXT, contrast
from tests.timeline_cases import golden_called, random_case

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

HOSTILE = "</text><script>alert(1)</script> & \"T2' \u202e"
PRINTED = "</text><script>alert(1)</script> & \"T2'"


def lines_of(case: timeline.Case) -> Strip:
    return timeline.strip(timeline.account(case))


def many_strips() -> list[Strip]:
    """Draw the worked example and random fleets; those in which nothing happens are none for the map."""
    drawn = [lines_of(golden_called(6, 12)), *(lines_of(random_case(seed)) for seed in range(60))]
    return [one for one in drawn if len(one.minute)]


def with_strips() -> Plan:
    """Give two cards of the hand-drawn plan strips: one of a hostile unit, one sent with the first alarm."""
    plan = example_plan()
    lines = lines_of(golden_called(6, 12))
    named = tuple((minute, HOSTILE if unit == "T2" else unit) for minute, unit in lines.arrivals)
    groups = list(plan.groups)
    groups[1] = replace(groups[1], strip=replace(lines, arrivals=named, called="on arrival"))
    groups[2] = replace(groups[2], strip=replace(lines_of(golden_called(6, 20)), called="first alarm"))
    return replace(plan, groups=tuple(groups))


# --------------------------------------------------------------------------- packing


def distance_px(points: FloatArray, line: FloatArray) -> FloatArray:
    """Give how far each point is from a line of points."""
    start, step = line[:-1, None], np.diff(line, axis=0)[:, None]
    long = np.maximum(np.sum(step**2, axis=2), 1e-12)
    share = np.clip(np.sum((points[None] - start) * step, axis=2) / long, 0.0, 1.0)
    found: FloatArray = np.hypot(*np.moveaxis(points[None] - start - share[..., None] * step, 2, 0)).min(axis=0)
    return found


def test_the_line_comes_back_within_half_a_pixel() -> None:
    lost = 0
    for lines in many_strips():
        most_gal = strip.gallons_scale(lines)[0]
        scale = np.array([ACROSS_PX / lines.minute.max(), UP_PX])
        given = np.column_stack([lines.minute, lines.on_scene_gal / most_gal]) * scale
        packed = water_points(lines)
        drawn = packed[:, :2] / np.array([10.0, UP_STEPS]) * scale
        assert distance_px(given, drawn).max() <= 0.5
        assert distance_px(drawn, given).max() <= 0.5
        assert np.all(np.diff(packed[:, 0]) >= 0)
        lost += len(given) - len(drawn)
    assert lost > 0


def test_dumps_and_gaps_come_back_to_a_tenth_of_a_minute() -> None:
    for lines in many_strips():
        dumps, gaps = marks_of(water_points(lines))
        assert dumps == sorted({round(minute * 10) for minute, _ in lines.dumps if minute <= lines.minute.max()})
        assert gaps == [[round(start * 10), round(stop * 10)] for start, stop in lines.gaps_min.tolist()]
        _, nothing = marks_of(water_points(lines), MARK_NOTHING, MARK_SOME)
        assert nothing == [[round(start * 10), round(stop * 10)] for start, stop in lines.told_nothing_min.tolist()]


def test_a_gap_within_a_tenth_and_one_between_points_come_back() -> None:
    lines = replace(
        lines_of(golden_called(6, 12)),
        gaps_min=np.array([[40.01, 40.02], [41.33, 43.7], [43.72, 50.0]]),
        dumps=((62.22, "T1"),),
    )
    dumps, gaps = marks_of(water_points(lines))
    assert dumps == [622]
    assert gaps == [[400, 400], [413, 437], [437, 500]]
    # what no sentence tells of is not hatched either, on the map as on paper
    assert marks_of(water_points(replace(lines, gaps_min=lines.gaps_min[:1])))[1] == []


def test_a_peak_within_one_minute_is_kept() -> None:
    """Three points above each other lie on a line; the topmost is no point of the way to the last."""
    lines = replace(
        lines_of(golden_called(6, 12)),
        minute=np.array([0.0, 10.0, 10.0, 10.0, 60.0]),
        on_scene_gal=np.array([0.0, 0.0, 5000.0, 1000.0, 900.0]),
        gaps_min=np.empty((0, 2)),
        dumps=(),
    )
    assert water_points(lines)[:, 1].max() == round(5000 / strip.gallons_scale(lines)[0] * UP_STEPS)


def marks_of(points: np.ndarray, begins: int = MARK_GAP, ends: int = MARK_ENOUGH) -> tuple[list[int], list[list[int]]]:
    """Read dumps and gaps off packed points, by their description: written anew, not from the program."""
    dumps, gaps, since = [], [], -1
    for tenth, _, mark in points.tolist():
        if mark & MARK_DUMP:
            dumps.append(tenth)
        closing = mark & ends
        if closing and since >= 0:
            gaps.append([since, tenth])
            since, closing = -1, 0
        if mark & begins:
            since = tenth
        if closing:
            gaps.append([since, tenth])
            since = -1
    return dumps, gaps


def test_each_address_names_its_cards_strip_and_the_words_of_the_card() -> None:
    plan = with_strips()
    data = map_data(plan)
    packed = data["strips"]
    leads = [running(data["along"])[place] for place in running(packed["lead"])]
    of = along_roads(data, packed["of"])
    assert [None if one < 0 else leads[one] for one in of] == [None, 1, 3, 3, None, None]
    for at, lead in enumerate(leads):
        lines = next(group.strip for group in plan.groups if group.lead == lead)
        assert lines is not None
        found = strip.longest_gap(lines)
        assert found is not None
        assert packed["gaps"][running(packed["gap"])[at]] == found[1]
        assert running(packed["longest"])[at] == found[0]
    assert set(packed["gaps"]) >= {"dry 2 min"}
    assert any(words.startswith("longest dry ") for words in packed["gaps"])
    shapes = [packed["demands"][k] for k in running(packed["demand"])]
    assert [said for _, said in shapes[0]] == ["150", "500", ""]
    assert running(packed["first"]) == [120, 120]
    assert len(unpack(packed["kind"])) == sum(running(packed["points"]))


def test_where_some_water_flows_in_part_of_the_gaps_the_page_says_for_how_long_nothing_does() -> None:
    plan = with_strips()
    groups = list(plan.groups)
    for at, nothing_min in ((1, [[32.1, 33.0]]), (2, [])):
        lines = groups[at].strip
        assert lines is not None
        groups[at] = replace(groups[at], strip=replace(lines, nothing_min=np.array(nothing_min).reshape(-1, 2)))
    packed = map_data(replace(plan, groups=tuple(groups)))["strips"]
    said = [packed["flows"][k] for k in running(packed["flow"])]
    assert said == [("Too little flows", "; nothing at all for under a minute in all"), ("Too little flows", "")]
    assert packed["gaps"][running(packed["gap"])[0]] == "short 2 min, dry under a minute"


def test_a_plan_without_strips_has_an_empty_part() -> None:
    packed = map_data(example_plan())["strips"]
    assert set(unpack(packed["of"])) <= {-1, 0}
    assert packed["lead"] == packed["kind"] == ""


# --------------------------------------------------------------------------- drawn


@pytest.fixture(scope="module")
def file_url(tmp_path_factory: pytest.TempPathFactory) -> str:
    path: Path = tmp_path_factory.mktemp("strip") / "map.html"
    path.write_text(map_page(with_strips()), encoding="utf-8")
    return path.as_uri()


def show(page: Page, label: str) -> None:
    """Choose an address by the keyboard alone."""
    page.focus("#search")
    page.keyboard.press("Control+A")
    page.keyboard.type(label)
    page.keyboard.press("Enter")


def measure(said: str) -> float:
    """Stand for both drawers' font."""
    return 4.6 * len(said)


def page_strip(lines: Strip) -> dict[str, Any]:
    """Write a strip as the page has it once unpacked."""
    found = strip.longest_gap(lines)
    most_gal, _, ticks = strip.gallons_scale(lines)
    return {
        "ticks": ticks,
        "points": [
            {"minute": minute, "share": gal / most_gal}
            for minute, gal in zip(lines.minute.tolist(), lines.on_scene_gal.tolist(), strict=True)
        ],
        "gaps": lines.gaps_min.tolist(),
        "nothing": lines.nothing_min.tolist(),
        "longest": -1 if found is None else found[0],
        "gapWords": "" if found is None else found[1],
        "arrivals": sorted(one for one in lines.arrivals if one[0] <= lines.minute.max()),
        "dumps": [minute for minute, _ in lines.dumps if minute <= lines.minute.max()],
        "demand": [
            [minute, f"{np.ceil(gpm - 1e-6):,.0f}" if gpm > 0 else ""]
            for minute, gpm in zip(lines.demand_min.tolist(), lines.demand_gpm.tolist(), strict=True)
        ],
    }


def flat(part: dict[str, Any]) -> tuple[Any, ...]:
    """Give one part's kind and numbers, whoever made it."""
    if "said" in part:
        return ("words", part["said"], np.array([part["x"], part["y"]]))
    if "points" in part:
        return ("area", part["shade"], np.array(part["points"]))
    paths = [np.array(path) for path in part["paths"]]
    form = (part["wide"], part["shade"], tuple(part["dash"] or ()), tuple(map(len, paths)))
    return ("stroke", form, np.vstack(paths) if paths else np.empty((0, 2)))


def flat_of_paper(part: strip.Part) -> tuple[Any, ...]:
    shades = {strip.BLACK: "black", strip.DARK: "dark", strip.MID: "mid", strip.LIGHT: "light", strip.WHITE: "white"}
    if isinstance(part, strip.Words):
        return flat({"said": part.said, "x": part.x, "y": part.y})
    if isinstance(part, strip.Area):
        return flat({"points": part.points, "shade": shades[part.shade]})
    return flat({"paths": part.paths, "wide": part.width_pt, "shade": shades[part.shade], "dash": part.dash_pt})


@pytest.mark.parametrize("box", [Box(0, 0, 200, 116), Box(5, 7, 400, 80)], ids=["telephone", "flat"])
def test_the_page_lays_a_strip_out_as_the_card_does_mark_by_mark(browser: Browser, file_url: str, box: Box) -> None:
    page = opened(browser, file_url).page
    strips = many_strips()
    laid = page.evaluate(
        f"""([strips, box]) => {{
          {page_source("map_strip.js")}
          return strips.map((one) => stripParts(one, box, (said) => 4.6 * said.length));
        }}""",
        [[page_strip(lines) for lines in strips], box._asdict()],
    )
    for lines, parts in zip(strips, laid, strict=True):
        on_paper = [flat_of_paper(part) for part in strip.picture(lines, box, measure)]
        on_page = [flat(part) for part in parts]
        assert [part[:2] for part in on_page] == [part[:2] for part in on_paper]
        for (*what, one), (*_, other) in zip(on_page, on_paper, strict=True):
            assert one == pytest.approx(other, abs=1e-6), what


def test_the_page_reads_back_what_was_packed(browser: Browser, file_url: str) -> None:
    """The golden case: six tankers, the higher level called on arrival, dry from 32.1 to 34."""
    page = opened(browser, file_url).page
    found = page.evaluate(f"() => {{ {page_source('map_strip_panel.js')} return readStrip(unpackStrips().of[1]); }}")
    lines = lines_of(golden_called(6, 12))
    assert found["gaps"] == found["nothing"] == [[32.1, 34.0]]
    assert found["gapWords"] == "dry 2 min"
    assert found["dumps"] == pytest.approx([round(minute, 1) for minute, _ in lines.dumps])
    names = [PRINTED if unit == "T2" else unit for _, unit in lines.arrivals]
    assert [name for _, name in found["arrivals"]] == names
    assert [minute for minute, _ in found["arrivals"]] == pytest.approx([minute for minute, _ in lines.arrivals])
    assert found["demand"] == [[12, "150"], [25, "500"], [145, ""]]
    most_gal = strip.gallons_scale(lines)[0]
    high = max(point["share"] for point in found["points"]) * most_gal
    assert high == pytest.approx(lines.on_scene_gal.max(), abs=most_gal / UP_STEPS)


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("width", [1280, 390])
def test_choosing_an_address_shows_the_strip_of_its_card(
    browser: Browser, file_url: str, tmp_path: Path, width: int, *, dark: bool
) -> None:
    found = opened(browser, file_url, width=width, dark=dark)
    page = found.page
    show(page, "40 Mill")
    texts = page.locator("figure.strip svg text").all_text_contents()
    assert "dry 2 min" in texts
    assert {"500 gpm", "demand", "min", "0"} <= set(texts)
    assert any(PRINTED in text or text.startswith("T1") for text in texts)
    label = page.get_attribute("figure.strip svg", "aria-label") or ""
    assert page.get_attribute("figure.strip svg", "role") == "img"
    assert "First water at minute 12.0." in label
    assert "Nothing flows once: dry 2 min, from minute 32.1 to 34.0." in label
    assert PRINTED in label
    said = written(page, "figure.strip")
    assert "Response level 2. Minutes after the alarm; higher level called on arrival" in said
    assert "called on arrival, minute 12." in said
    assert "Demand 150 gpm from minute 12.0, 500 gpm from minute 25.0. Nothing flows once" in said
    assert "Nothing flows once: dry 2 min, from" in said
    assert "on the same card" not in said
    sound(page, width)
    page.locator("figure.strip").screenshot(path=tmp_path / f"strip_{width}_{dark}.png")
    assert found.complaints == []


def sound(page: Page, width: int, least_px: float = 0.0) -> None:
    """Hold that no text runs into another or out of the drawing, nor is smaller than the panel's figures on screen."""
    svg, boxes, size_px, usual_px = page.evaluate(
        """() => {
          const box = (one) => { const b = one.getBoundingClientRect(); return [b.left, b.top, b.right, b.bottom]; };
          const svg = document.querySelector("figure.strip svg");
          const texts = [...svg.querySelectorAll("text")];
          const scale = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
          return [box(svg), texts.map((one) => [one.textContent, ...box(one)]),
            scale * parseFloat(getComputedStyle(texts[0]).fontSize),
            parseFloat(getComputedStyle(document.querySelector("#panel-body dl")).fontSize)];
        }"""
    )
    assert size_px >= (least_px or usual_px) - 0.01
    assert svg[0] >= 0
    assert svg[2] <= width
    for said, left, top, right, bottom in boxes:
        assert left >= svg[0] - 1, said
        assert top >= svg[1] - 3, said
        assert right <= svg[2] + 1, said
        assert bottom <= svg[3] + 3, said
    for one, other in combinations(boxes, 2):
        # A text's box is higher than its letters, above and below, by a third in all.
        inset = (one[4] - one[2]) / 6
        apart = one[3] <= other[1] or other[3] <= one[1] or one[4] - inset <= other[2] + inset
        assert apart or other[4] - inset <= one[2] + inset, (one[0], other[0])
    assert page.evaluate("() => document.documentElement.scrollWidth") <= width


def test_an_address_that_is_not_its_cards_lead_says_whose_strip_it_is(browser: Browser, file_url: str) -> None:
    found = opened(browser, file_url)
    page = found.page
    show(page, "7 Quarry")
    said = written(page, "figure.strip")
    assert f"As at {' '.join(LABELS[3].split())}, on the same card." in said
    assert "Nothing flows" in said
    assert "longest dry" in said
    assert "short" not in said
    show(page, "12 Mill")
    assert page.locator("figure.strip").count() == 0
    assert "Timeline" not in page.inner_text("#panel-body")
    assert found.complaints == []


def test_the_strip_is_drawn_anew_at_another_width(browser: Browser, file_url: str) -> None:
    found = opened(browser, file_url, width=700)
    page = found.page
    show(page, "40 Mill")
    page.wait_for_selector("figure.strip svg")
    wide = page.locator("figure.strip svg").bounding_box()
    page.set_viewport_size({"width": 390, "height": 800})
    # Its style shrinks it at once; then it is laid out anew, at the panel's usual size of text.
    page.wait_for_function("() => Number(document.querySelector('figure.strip svg').getAttribute('width')) < 390")
    sound(page, 390)
    narrow = page.locator("figure.strip svg").bounding_box()
    assert wide is not None
    assert narrow is not None
    assert wide["width"] > 600
    assert narrow["width"] > 300
    assert found.complaints == []


def test_the_strip_is_printed_with_its_words(browser: Browser, file_url: str) -> None:
    found = opened(browser, file_url, dark=True)
    page = found.page
    show(page, "40 Mill")
    leaves = PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True))).pages
    text = " ".join(unicodedata.normalize("NFKC", " ".join(leaf.extract_text() for leaf in leaves)).split())
    assert text.count("dry 2 min") == 2  # in the drawing and below it
    assert "Nothing flows once: dry 2 min, from minute 32.1 to 34.0." in text
    page.emulate_media(media="print")
    page.evaluate("() => window.dispatchEvent(new Event('beforeprint'))")
    wide = page.locator("figure.strip svg").bounding_box()
    assert wide is not None
    assert wide["width"] == pytest.approx(710)  # of 720 between the margins of the sheet
    sound(page, 1280, least_px=12.0)
    assert ink_of(page)["text"] == "#000000"
    assert found.complaints == []


INKS = """() => {
  const part = (one) => Number(one).toString(16).padStart(2, "0");
  const hex = (text) => `#${text.match(/\\d+/g).slice(0, 3).map(part).join("")}`;
  const of = (what, name) => hex(getComputedStyle(document.querySelector(`figure.strip ${what}`))[name]);
  return {
    text: of("text", "fill"), black: of(".line-black", "stroke"), dark: of(".line-dark", "stroke"),
    water: of(".fill-light", "fill"), paper: hex(getComputedStyle(document.body).backgroundColor),
  };
}"""


def ink_of(page: Page) -> dict[str, str]:
    inks: dict[str, str] = page.evaluate(INKS)
    return inks


@pytest.mark.parametrize("dark", [False, True])
def test_marks_and_words_of_the_strip_stand_out(browser: Browser, file_url: str, *, dark: bool) -> None:
    """Greys alone carry the meaning: hatching and lines stand out from paper and from water alike."""
    page = opened(browser, file_url, dark=dark).page
    show(page, "40 Mill")
    ink = ink_of(page)
    for shade, least in (("text", TEXT), ("black", GRAPHIC), ("dark", GRAPHIC)):
        for ground in ("paper", "water"):
            assert contrast(ink[shade], ink[ground]) >= least, (shade, ground)
    # Water is seen beside paper by its line; still it is no paper.
    assert contrast(ink["water"], ink["paper"]) >= 1.3
