"""The sample's map page under a hand: what depends on what, what-if, filters, keyboard, paper, by the plan."""

from __future__ import annotations

import io
import re
import unicodedata
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from pypdf import PdfReader

from preplan.plan import Plan
from preplan.records import IntArray
from preplan.render.circuits import in_other_months, stands_in_besides
from tests.browser import Opened, opened, written
from tests.plan_checks import SAMPLE, plan_of

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

TIMES = "\N{MULTIPLICATION SIGN}"
STATUS_WORDS = re.compile(r"\b(served|higher level|not met|no route)\b", re.IGNORECASE)


@pytest.fixture(scope="module")
def plan() -> Plan:
    return plan_of(SAMPLE / "district.toml")


@pytest.fixture(scope="module")
def file_url(sample_url: str) -> str:
    return sample_url


def panel(page: Page) -> str:
    return written(page)


def choose(page: Page, text: str) -> None:
    """Open the lists and press the first line that holds a text."""
    page.click("#lists")
    page.locator("#panel-body button", has_text=text).first.click()


def counted(page: Page) -> int:
    """Read how many addresses the panel says are highlighted, and hold it against the list below."""
    found = re.search(
        r"(?:circuits|answers|site) of ([\d,]+) address(?:es)?", page.inner_text("#panel-body h3:last-of-type")
    )
    assert found is not None
    count = int(found[1].replace(",", ""))
    assert page.locator("#panel-body > ul.served button").count() == min(count, 100)
    return count


def shown(plan: Plan, table: IntArray) -> IntArray:
    """Take each address's value at the level its answer shows; -1 where it shows none."""
    level = plan.answers.level
    picked = table[np.arange(len(level)), np.maximum(level, 0)]
    return np.where(level >= 0, picked, -1).astype(np.int32)


def driving_over(plan: Plan, segment: int) -> tuple[int, int]:
    """Count the addresses whose chosen circuit holds a stretch, walking each by itself, and those of other months."""
    own = set()
    shown_trips = (shown(plan, table).tolist() for table in (plan.levels.trip, plan.levels.split_trip))
    for a, trips in enumerate(zip(*shown_trips, strict=True)):
        rows = [row for trip in trips if trip >= 0 for leg in plan.trip_rows(trip) for row in leg]
        own |= {a} if segment in plan.forest.segment[rows] else set()
    sheets, then = plan.on_sheets(), set[int]()
    for group in plan.groups:
        rows = [row for one in group.others if one.months for leg in sheets.trip_rows(one.trip) for row in leg]
        then |= {*group.addresses, group.lead} if segment in sheets.forest.segment[rows] else set()
    return len(own), len(then - own)


# --------------------------------------------------------------------------- what depends on what


@pytest.mark.parametrize("number", [1, 4, 9])
def test_addresses_of_a_fill_site_are_counted(wide: Opened, plan: Plan, number: int) -> None:
    site = plan.sites[number - 1]
    choose(wide.page, f"{number}, {site.name}")
    served = (shown(plan, plan.levels.site) == number - 1) | (shown(plan, plan.levels.split) == number - 1)
    assert counted(wide.page) == served.sum()


def test_a_fill_site_says_where_it_stands_in_and_in_which_months_it_is_taken_besides(wide: Opened, plan: Plan) -> None:
    """One that serves nobody first is not idle: nobody gives it up for what the map says."""
    backup = shown(plan, plan.levels.backup)
    idle = [k for k in range(len(plan.sites)) if (backup == k).any() and in_other_months(plan, k)[0].any()]
    assert idle
    for k in idle[:3]:
        choose(wide.page, f"{k + 1}, {plan.sites[k].name}")
        said = wide.page.inner_text("#panel-body dl").replace("\xa0", " ")
        more, when = in_other_months(plan, k)
        assert re.search(rf"Backup of\s+{(backup == k).sum()} address", said)
        assert re.search(rf"Taken in {when}\s+at {more.sum()} more address", said)
    besides, when = stands_in_besides(plan, 0)
    assert besides.sum() > 50
    choose(wide.page, f"1, {plan.sites[0].name}")
    said = wide.page.inner_text("#panel-body dl").replace("\xa0", " ")
    assert re.search(rf"Backup in {when}\s+of {besides.sum()} more address", said)


@pytest.mark.parametrize("unit_id", ["T11", "PT22", "E12", "E31", "T51"])
def test_addresses_that_count_on_a_unit_are_counted(wide: Opened, plan: Plan, unit_id: str) -> None:
    unit = [one.unit_id for one in plan.units].index(unit_id)
    choose(wide.page, f"{unit_id},")
    table = plan.levels
    engines = table.attack_engine, table.fill_engine, table.dump_engine, table.split_engine
    jobs = [shown(plan, column) == unit for column in engines]
    hauls = shown(plan, table.used[:, :, unit].astype(np.int32)) == 1
    busy = np.logical_or.reduce([*jobs, hauls])
    assert counted(wide.page) == busy.sum() > 0
    assert wide.page.inner_text("#panel-body h2") == f"Unit {unit_id}"


def test_circuits_over_every_listed_bridge_are_counted(wide: Opened, plan: Plan) -> None:
    ways = {int(way): k for k, way in enumerate(plan.roads.way_id.tolist())}
    wide.page.click("#lists")
    lines = wide.page.locator("#panel-body button", has_text=re.compile("^(Posted|Bridge)"))
    texts = lines.all_inner_texts()
    assert len(texts) >= 4
    counts, besides = set(), set()
    for k in range(len(texts)):
        wide.page.click("#lists")
        lines.nth(k).click()
        way = re.search(r"OpenStreetMap way\s+(\d+)", panel(wide.page))
        assert way is not None
        on_way = [row for row, one in enumerate(plan.roads.way_id.tolist()) if one == int(way[1])]
        marked = [row for row in on_way if plan.limits.posted[row] or plan.limits.unposted_bridge[row]]
        assert ways[int(way[1])] in on_way
        count = counted(wide.page)
        # one way may be several bridges
        more = next(more for own, more in (driving_over(plan, row) for row in marked) if own == count)
        then = f", {more} more in other months" if more else ""
        assert texts[k].endswith((f": {count} address" if count == 1 else f": {count} addresses") + then)
        assert (f"In other months those of {more} more" in panel(wide.page)) is bool(more)
        counts.add(count)
        besides.add(more)
    assert len(counts) >= 3
    assert max(besides) > 0


def test_a_bridge_rated_below_a_unit_is_listed_though_no_circuit_drives_over_it(wide: Opened, plan: Plan) -> None:
    """Its mark may lie under a pin: Thornapple Road's does, beside fill site 4."""
    rated = {k: float(plan.bridges.operating_lb[row]) for k, row in enumerate(plan.bridge_row.tolist()) if row >= 0}
    heaviest = max(unit.loaded_lb for unit in plan.units)
    weak = [k for k, most_lb in rated.items() if most_lb < heaviest and not plan.limits.posted[k]]
    assert [plan.roads.name[k] for k in weak] == ["Thornapple Road"]
    wide.page.click("#lists")
    assert "without a sign" in panel(wide.page).lower()
    line = wide.page.locator("#panel-body button", has_text="Thornapple Road")
    assert line.inner_text().replace("\N{NO-BREAK SPACE}", " ") == (
        "Bridge not posted; rated 37,919 lb, Thornapple Road: 0 addresses"
    )
    line.click()
    assert "ask its owner what it carries" in panel(wide.page)


def test_a_click_on_a_bridge_and_on_a_closure_tells_their_facts(wide: Opened, plan: Plan) -> None:
    page = wide.page
    choose(page, "Closure C2")
    said = panel(page)
    assert "Closure C2: closed" in said
    assert "November to May" in said
    assert "Not plowed, then mud" in said
    assert counted(page) == 0
    closed = next(one for one in plan.limits.closed if one.closure.closure_id == "C2")
    page.click("#legend")
    click_middle(page, plan, int(closed.segments[0]))
    assert page.inner_text("#panel-body h2") == "Closure C2: closed"
    posted = next(one for one in plan.limits.closed if one.closure.closure_id == "C1")
    choose(page, "Posted: 24,000 lb, Mar to May")
    assert "Closure C1: at most 24,000 lb" in panel(page)
    assert "Culvert, spring posting" in panel(page)
    page.click("#legend")
    click_middle(page, plan, int(posted.segments[0]))
    assert written(page, "#panel-body h2") == "Posted: 24,000 lb = 12 tons, March to May"


def test_a_road_that_its_signs_shut_in_some_months_is_drawn_with_them(wide: Opened, plan: Plan) -> None:
    """As the district's own closures are; open in all seasons together, it is no road closed to tankers."""
    page = wide.page
    shut = np.flatnonzero(plan.roads.way_id == 9000000039)
    assert plan.limits.tanker_road[shut].all()
    months = [
        month
        for season, limits in zip(plan.seasons, plan.season_limits, strict=True)
        for month in season.months
        if not limits.tanker_road[shut].any()
    ]
    assert sorted(months) == [1, 2, 3, 4, 12]
    page.click("#lists")
    page.locator("#panel-body button", has_text="Corduroy Road").last.click()
    said = panel(page)
    assert written(page, "#panel-body h2") == "Shut in December to April, as the road data has it"
    assert re.search(r"Road\s+Corduroy Road\s+In force\s+December to April\s+OpenStreetMap way\s+9000000039", said)
    page.click("#legend")
    click_middle(page, plan, int(shut[-1]))
    assert written(page, "#panel-body h2") == "Shut in December to April, as the road data has it"
    page.click("#lists")
    own = page.locator("#panel-body button", has_text="Closure C").all_inner_texts()
    assert [one.split(":")[0] for one in own] == ["Closure C1", "Closure C2"]


def click_middle(page: Page, plan: Plan, segment: int) -> None:
    """Click the middle of a stretch, as the web's usual projection has it."""
    points = plan.line(segment).tolist()
    at = page.evaluate(
        """(points) => {
          const pixels = points.map(([lon, lat]) => planMap.latLngToContainerPoint([lat, lon]));
          const long = pixels.slice(1).map((one, k) => one.distanceTo(pixels[k]));
          let left = long.reduce((sum, one) => sum + one, 0) / 2;
          let k = 0;
          while (k < long.length - 1 && left > long[k]) left -= long[k++];
          const [a, b] = [pixels[k], pixels[k + 1]];
          return [a.x + (b.x - a.x) * left / long[k], a.y + (b.y - a.y) * left / long[k]];
        }""",
        points,
    )
    box = page.locator("#map_plan").bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + at[0], box["y"] + at[1])


def test_what_depends_stands_out_and_the_rest_stands_back(wide: Opened) -> None:
    """The blue of 'served' at full strength shrinks when only a few addresses count on what is chosen."""
    page = wide.page
    before = blue(page)
    choose(page, "12, Kiln Road cistern")
    assert 0 <= blue(page) < before / 4
    page.click("#legend")
    page.click("#whole")
    assert blue(page) == before


def blue(page: Page) -> int:
    """Count the pixels of the drawing in the blue of 'served'."""
    count: int = page.evaluate(
        """() => {
          const drawing = document.querySelector("canvas.chart");
          const copy = new OffscreenCanvas(drawing.width, drawing.height);
          const pen = copy.getContext("2d", { willReadFrequently: true });
          pen.drawImage(drawing, 0, 0);
          const bytes = pen.getImageData(0, 0, copy.width, copy.height).data;
          let count = 0;
          for (let k = 0; k < bytes.length; k += 4) {
            count += Number(bytes[k] === 0 && bytes[k + 1] === 0x72 && bytes[k + 2] === 0xb2);
          }
          return count;
        }"""
    )
    return count


# --------------------------------------------------------------------------- filters and search


def test_filters_by_flag_and_fill_site_count(wide: Opened, plan: Plan) -> None:
    page = wide.page
    total = len(plan.addresses)
    with_flag = [any(flag.code == "dead end" for flag in row) for row in plan.answers.flags]
    from_first = (shown(plan, plan.levels.site) == 0) | (shown(plan, plan.levels.split) == 0)
    page.select_option("#flag-filter", label=f"Dead end ({sum(with_flag)})")
    assert page.inner_text("#shown") == f"{sum(with_flag)} of {total} addresses shown. Only flag dead end."
    page.select_option("#site-filter", value="0")
    both = int(np.sum(np.array(with_flag) & from_first))
    assert 0 < both < sum(with_flag)
    assert page.inner_text("#shown") == f"{both} of {total} addresses shown. Only flag dead end; only fill site 1."
    page.select_option("#flag-filter", value="")
    assert page.inner_text("#shown") == f"{from_first.sum()} of {total} addresses shown. Only fill site 1."


def test_a_road_is_found_as_one_types(wide: Opened) -> None:
    page = wide.page
    page.type("#search", "kiln r")
    first = page.locator("#found li").first
    assert first.inner_text().split() == ["road", "Kiln", "Road"]
    before = page.evaluate("() => planMap.getBounds().toBBoxString()")
    first.click()
    assert page.evaluate("() => planMap.getBounds().toBBoxString()") != before


# --------------------------------------------------------------------------- what-if


def test_the_what_if_panel_counts_and_never_says_a_status(wide: Opened, plan: Plan) -> None:
    page = wide.page
    page.click("#what-if")
    plain = table_of(page)
    assert all(now == planned for now, planned in plain.values())
    held = [row.locator("td").nth(2).inner_text() for row in page.locator("table.outcome tr").all()[1:]]
    counts = plan.answers.status.astype(str)
    served, higher = (int((counts == status).sum()) for status in ("served", "higher level"))
    assert [int(held[0]), int(held[-1])] == [served, served + higher]
    shuttled = ~np.isin(plan.answers.status.astype(str), ["hydrant", "no route"])
    assert f"Of {shuttled.sum()} addresses" in panel(page)
    page.get_by_label("1, Gristmill Road hydrant").uncheck()
    page.get_by_role("button", name="Snow").click()
    assert page.locator("#banner p").inner_text() == (
        f"What if, not the plan: fill site 1 off; snow, round trips {TIMES} 1.40 (assumption). "
        "Steady flow at any response level."
    )
    changed = table_of(page)
    assert {level: planned for level, (_, planned) in changed.items()} == {
        level: planned for level, (_, planned) in plain.items()
    }
    assert all(now < planned for now, planned in changed.values())
    lost = page.locator("summary", has_text="no longer meets")
    now, planned = changed["any response level"]
    assert lost.inner_text().endswith(f": {planned - now}")
    assert not STATUS_WORDS.search(panel(page) + page.inner_text("#banner"))
    lost.click()
    page.locator("details ul.served button").first.click()
    assert "does not meet the required" in page.inner_text("section.what-if")
    assert not STATUS_WORDS.search(page.inner_text("section.what-if"))
    page.click("#what-if")
    assert table_of(page) == changed
    page.locator("#banner button").click()
    assert not page.is_visible("#banner")
    page.click("#what-if")
    assert table_of(page) == plain


def table_of(page: Page) -> dict[str, tuple[int, int]]:
    """Read the outcome: level -> addresses that meet by steady flow, what if and with nothing changed."""
    rows = page.locator("table.outcome tr").all()[1:]
    cells = [row.locator("th, td").all_inner_texts() for row in rows]
    return {level: (int(now.replace(",", "")), int(planned.replace(",", ""))) for level, now, planned, _ in cells}


def test_steps_change_the_factor_and_it_never_falls_below_one(wide: Opened) -> None:
    page = wide.page
    page.click("#what-if")
    page.get_by_label("Longer round trips").click()
    assert page.inner_text("#road-factor") == f"Round trips {TIMES} 1.05 (assumption)"
    for _ in range(3):
        page.get_by_label("Shorter round trips").click()
    assert page.inner_text("#road-factor") == f"Round trips {TIMES} 1.00 (assumption)"
    page.get_by_role("button", name="Snow").click()
    page.get_by_role("button", name=f"Night {TIMES}").click()
    assert page.inner_text("#road-factor") == f"Round trips {TIMES} 1.54 (assumption)"


# --------------------------------------------------------------------------- hands, keys, paper


@pytest.mark.parametrize("opener", ["#legend", "#what-if", "#lists"])
@pytest.mark.parametrize("width", [1280, 390])
def test_every_control_is_large_enough_for_a_glove(browser: Browser, file_url: str, opener: str, width: int) -> None:
    found = opened(browser, file_url, width=width)
    page = found.page
    page.click(opener)
    if opener == "#what-if":
        page.get_by_label("1, Gristmill Road hydrant").uncheck()
        page.locator("summary").first.click()
    sizes = page.evaluate(
        """() => [...document.querySelectorAll(
            "button, select, summary, input[type=search], #panel-body label, .leaflet-bar a")]
          .map((one) => [one.textContent, one.getBoundingClientRect()])
          .filter(([, box]) => box.width > 0 && (box.width < 44 || box.height < 43.9))
          .map(([text, box]) => `${text} ${box.width} x ${box.height}`)"""
    )
    assert sizes == []
    assert page.evaluate("() => document.documentElement.scrollWidth") <= width
    assert found.complaints == []


def test_the_keyboard_alone_reaches_and_works_everything(wide: Opened) -> None:
    page = wide.page
    met = []
    for _ in range(14):
        page.keyboard.press("Tab")
        met.append(page.evaluate("() => document.activeElement.id || document.activeElement.className"))
    controls = ["search", "legend", "what-if", "lists", "whole", "night", "print", "map_plan"]
    assert [one for one in met if one in controls] == controls
    page.focus("#map_plan")
    before = page.evaluate("() => planMap.getCenter().lng")
    page.keyboard.press("ArrowRight")
    page.wait_for_function("(lng) => planMap.getCenter().lng > lng", arg=before)
    zoom = page.evaluate("() => planMap.getZoom()")
    page.keyboard.press("+")
    page.wait_for_function("(zoom) => planMap.getZoom() > zoom", arg=zoom)
    page.focus("#lists")
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.inner_text("#panel-body h2") == "What depends on what"
    page.focus("#what-if")
    page.keyboard.press("Enter")
    page.get_by_label("1, Gristmill Road hydrant").focus()
    page.keyboard.press("Space")
    assert "fill site 1 off" in page.inner_text("#banner")


def test_the_view_prints_with_its_panel_and_cautions(wide: Opened) -> None:
    page = wide.page
    page.fill("#search", "123 Bobolink")
    page.keyboard.press("Enter")
    printed = PdfReader(io.BytesIO(page.pdf(format="Letter", print_background=True, prefer_css_page_size=True)))
    texts = [" ".join(unicodedata.normalize("NFKC", one.extract_text()).split()) for one in printed.pages]
    text = " ".join(texts)
    assert "123 Bobolink Rd" in text
    assert "Required flow 250 gpm" in text
    assert all("Confirm roads, bridges, water and access on the ground." in one for one in texts)
    assert len(printed.pages) <= 3
    # The drawing goes to paper as lines, not as dots: roads, streams and the circuit with its arrows.
    strokes = [len(re.findall(rb" l\n", sheet.get_contents().get_data())) for sheet in printed.pages]  # type: ignore[union-attr]
    assert strokes[0] > 500 > strokes[-1]


def test_the_policy_stops_a_script_that_slipped_in(browser: Browser, file_url: str) -> None:
    found = opened(browser, file_url)
    ran = found.page.evaluate(
        """async () => {
          const script = document.createElement("script");
          script.textContent = "window.slipped = true";
          document.body.append(script);
          let asked = "asked";
          try { await fetch("https://example.org/"); } catch { asked = "stopped"; }
          return [Boolean(window.slipped), asked];
        }"""
    )
    assert ran == [False, "stopped"]
    assert any("Content Security Policy" in one for one in found.complaints)


@pytest.mark.parametrize(
    ("name", "act"),
    [
        ("legend", lambda page: page.click("#legend")),
        ("lists", lambda page: page.click("#lists")),
        ("what_if", lambda page: page.click("#what-if")),
    ],
)
@pytest.mark.parametrize("width", [1280, 390])
@pytest.mark.parametrize("dark", [False, True])
def test_pictures_are_kept(
    browser: Browser, file_url: str, tmp_path: Path, name: str, act: Callable[[Page], None], width: int, *, dark: bool
) -> None:
    found = opened(browser, file_url, width=width, dark=dark)
    act(found.page)
    picture = tmp_path / f"{name}_{width}_{'dark' if dark else 'light'}.png"
    found.page.screenshot(path=picture)
    assert picture.stat().st_size > 10_000
    assert found.complaints == []
