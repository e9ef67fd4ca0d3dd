"""The map page in a real browser, with no network: it opens, it is quiet, and it does what a hand asks."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import numpy as np
import pytest

from preplan.plan import Plan
from preplan.plan_tables import Flag
from preplan.records import ClosedRoad, Closure, FillSite, FloatArray, Station
from preplan.render import flag_words
from preplan.render.crew import NO_SHUTTLE, crew_words
from preplan.render.first_minutes import officer_words
from preplan.render.map_html import map_page
from preplan.render.map_pack import pack
from preplan.render.words import first_up
from tests.browser import Opened, opened, page_source, written
from tests.example_plan import LABELS, example_plan, split_plan

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

HOSTILE = LABELS[1]
T = TypeVar("T", FillSite, Station)


@pytest.fixture(scope="module")
def plan() -> Plan:
    return example_plan()


@pytest.fixture(scope="module")
def file_url(tmp_path_factory: pytest.TempPathFactory, plan: Plan) -> str:
    path: Path = tmp_path_factory.mktemp("map") / "map.html"
    path.write_text(map_page(plan), encoding="utf-8")
    return path.as_uri()


def click_map(page: Page, lon: float, lat: float, *, right_px: float = 0.0) -> None:
    """Click the map at a place, or some pixels beside it."""
    at = page.evaluate("([lat, lon]) => planMap.latLngToContainerPoint([lat, lon])", [lat, lon])
    box = page.locator("#map_plan").bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + at["x"] + right_px, box["y"] + at["y"])


def panel(page: Page) -> str:
    return written(page)


def shades(page: Page) -> list[list[int]]:
    """List the distinct colours of the drawing, each with its count of pixels: red, green, blue, count."""
    found: list[list[int]] = page.evaluate(
        """() => {
          const drawing = document.querySelector("canvas.chart");
          const copy = new OffscreenCanvas(drawing.width, drawing.height);
          const pen = copy.getContext("2d", { willReadFrequently: true });
          pen.drawImage(drawing, 0, 0);
          const bytes = pen.getImageData(0, 0, copy.width, copy.height).data;
          const counts = new Map();
          for (let k = 0; k < bytes.length; k += 4) {
            const shade = bytes[k] * 65536 + bytes[k + 1] * 256 + bytes[k + 2];
            counts.set(shade, (counts.get(shade) || 0) + 1);
          }
          return [...counts].map(([shade, count]) => [shade >> 16, (shade >> 8) & 255, shade & 255, count]);
        }"""
    )
    return found


def ink(page: Page) -> int:
    """Count pixels of the drawing that carry the blue of 'served'."""
    return sum(count for *shade, count in shades(page) if shade == [0x00, 0x72, 0xB2])


def paper(page: Page) -> list[int]:
    """Give the commonest colour of the drawing."""
    return max(shades(page), key=lambda shade: shade[3])[:3]


def test_click_on_an_address_shows_what_it_gets(wide: Opened, tmp_path: Path) -> None:
    page = wide.page
    click_map(page, -72.0305, 44.0035, right_px=15)
    said = panel(page)
    assert page.inner_text("#panel-body h2") == HOSTILE
    assert "Higher level: needs response level 2." in said
    assert "Holds 220 gpm: does not meet the required 500 gpm." in said
    assert "Holds 510 gpm: meets the required 500 gpm." in said
    assert "holds 270 gpm; nothing flows for 1.9 min in all" in said
    assert re.search(r"Steady flow\s+500 gpm", said)
    assert "with the first alarm" in said
    assert "7.8 min, 3.47 mi" in said
    assert re.search(r"First water\s+12.0 min after alerting\s", said)
    assert "T1 (2,000 gal), T2 (3,000 gal)" in said
    assert page.locator("ul.flags li").count() == 2
    assert page.locator("button[aria-pressed=true]", has_text="Circuit to fill site 1").count() == 1
    picture = tmp_path / "wide.png"
    page.screenshot(path=picture)
    assert picture.stat().st_size > 10_000


def test_the_panel_says_that_first_water_is_at_the_road_and_of_no_leg_that_it_takes_no_time(
    browser: Browser, tmp_path: Path, plan: Plan
) -> None:
    """As the card does: the plan's clock ends where the engine leaves the road; 40 ft are driven too."""
    trips = replace(plan.trips, out_min=np.full_like(plan.trips.out_min, 0.02))
    path = tmp_path / "map.html"
    path.write_text(map_page(replace(plan, trips=trips)), encoding="utf-8")
    found = opened(browser, path.as_uri())
    for address, where in ((3, ", at the road"), (1, "")):
        click_map(found.page, float(plan.addresses.lon[address]), float(plan.addresses.lat[address]))
        said = panel(found.page)
        assert re.search(rf"First water\s+12\.0 min after alerting{where}\n", said)
        assert "loaded under 0.1 min, " in said


def test_a_click_shows_the_circuit_over_the_second_fill_site(browser: Browser, tmp_path: Path) -> None:
    plan, path = split_plan(), tmp_path / "map.html"
    path.write_text(map_page(plan), encoding="utf-8")
    found = opened(browser, path.as_uri())
    page = found.page
    click_map(page, float(plan.addresses.lon[0]), float(plan.addresses.lat[0]))
    said = panel(page)
    assert re.search(r"Second fill site\s+2[^\n]*: tankers are split", said)
    assert re.search(r"Tankers, fill site\s+T1 \(2,000 gal\)", said)
    assert re.search(r"Tankers, second fill site\s+T2 \(3,000 gal\)", said)
    assert re.search(r"Engine at second fill site\s+E3", said)
    before = shades(page)
    page.locator("button", has_text="Circuit to second fill site 2").first.click()
    assert page.locator("button[aria-pressed=true]", has_text="Circuit to second fill site 2").count() == 1
    assert shades(page) != before
    assert found.complaints == []


@pytest.mark.parametrize(
    ("gap_min", "by_min", "said"),
    [
        (0.0, 18.0, "on arrival, by minute 18 at the latest"),
        (0.0, 13.0, "best with the first alarm, by minute 13 at the latest"),
        # a gap that prints as none, and a deadline before anyone is there
        (0.04, 5.0, "with the first alarm"),
        (1.9, 18.0, "with the first alarm"),
    ],
)
def test_the_panel_says_by_when_to_call_as_the_card_does(
    browser: Browser, tmp_path: Path, plan: Plan, gap_min: float, by_min: float, said: str
) -> None:
    answers = replace(plan.answers, gap_min=np.full(6, gap_min), call_by_min=np.full(6, by_min))
    gaps = np.full_like(plan.levels.gap_on_arrival_min, gap_min)
    levels = replace(plan.levels, gap_on_arrival_min=gaps, on_arrival_gpm=np.full_like(gaps, 500.0))
    changed = replace(plan, answers=answers, levels=levels)
    assert said in officer_words(changed, 1)
    path = tmp_path / "map.html"
    path.write_text(map_page(changed), encoding="utf-8")
    found = opened(browser, path.as_uri())
    click_map(found.page, float(plan.addresses.lon[1]), float(plan.addresses.lat[1]))
    assert re.search(rf"Call\s+[^,]+, {re.escape(said)}", panel(found.page))


def test_what_a_loaded_tanker_must_keep_off_stands_first_whatever_its_sentence(
    browser: Browser, tmp_path: Path, plan: Plan, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(flag_words._FLAGS, "rated below load", "Keep off {n}.")
    monkeypatch.setitem(flag_words._FLAGS, "narrow road", "LOADED: one truck wide for {n}.")
    limits = tuple(Flag("rated below load", f"the {name} bridge (rated 32,000 lb)") for name in ("Elm", "Oak"))
    flags = (
        plan.answers.flags[0],
        (Flag("narrow road", 900.0, "ft"), *limits, Flag("dead end")),
        *plan.answers.flags[2:],
    )
    path = tmp_path / "map.html"
    path.write_text(map_page(replace(plan, answers=replace(plan.answers, flags=flags))), encoding="utf-8")
    found = opened(browser, path.as_uri())
    page = found.page
    # two of one code at one address are one address
    assert "Rated below load (1)" in page.locator("#flag-filter option").all_inner_texts()
    page.select_option("#flag-filter", label="Rated below load (1)")
    assert page.inner_text("#shown").startswith("1 of 6 addresses shown. Only ")
    click_map(page, float(plan.addresses.lon[1]), float(plan.addresses.lat[1]))
    bold = [written(page, f"#panel-body > p:nth-of-type({k}) > strong") for k in (2, 3, 4)]
    kept_off = [f"Keep off the {name} bridge (rated 32,000 lb)." for name in ("Elm", "Oak")]
    assert bold == [*kept_off, "LOADED: one truck wide for 900 ft."]
    assert "one truck wide" not in written(page, "ul.flags")


def test_all_closures_of_a_bridge_are_told_and_what_a_list_leaves_out_is_counted(
    browser: Browser, tmp_path: Path, plan: Plan
) -> None:
    """Clearances are rounded down."""
    (road, *_) = np.flatnonzero(plan.limits.posted).tolist()
    closed = tuple(
        ClosedRoad(
            closure=Closure(closure_id=f"C{k}", kind="max_height_ft", value=10.58 + k, months=frozenset({k % 12 + 1})),
            segments=np.array([road] if k < 2 else [], dtype=np.int32),
        )
        for k in range(120)
    )
    path = tmp_path / "map.html"
    path.write_text(map_page(replace(plan, limits=replace(plan.limits, closed=closed))), encoding="utf-8")
    page = opened(browser, path.as_uri()).page
    page.click("#lists")
    assert page.locator("#panel-body li", has_text="Closure C").count() == 100
    assert page.locator("#panel-body li", has_text="and 20 more.").count() == 1
    page.locator("#panel-body button", has_text="Posted: ").first.click()
    said = written(page)
    for title, month in (("C0: at most 10.5 ft high", "January"), ("C1: at most 11.5 ft high", "February")):
        assert re.search(rf"Closure {title}\s+In force\s+{month}", said)
    assert "Closure C2" not in said


def test_where_no_tanker_can_shuttle_the_panel_says_that_their_water_is_wanted(
    browser: Browser, tmp_path: Path, plan: Plan
) -> None:
    """As the card does: none of them is left out."""
    level = int(plan.answers.level[1])
    for used in (plan.levels.used, np.zeros_like(plan.levels.used)):
        changed = replace(plan, levels=replace(plan.levels, used=used))
        path = tmp_path / "map.html"
        path.write_text(map_page(changed), encoding="utf-8")
        page = opened(browser, path.as_uri()).page
        click_map(page, float(plan.addresses.lon[1]), float(plan.addresses.lat[1]))
        title = first_up(NO_SHUTTLE)
        assert (title in panel(page)) is (NO_SHUTTLE in dict(crew_words(changed, 1, level))) is not bool(used.any())
        assert "left out" not in panel(page)


def test_the_largest_packed_numbers_come_back_in_the_page(wide: Opened) -> None:
    edges = [0, 1, -1, 63, 64, -64, -65, 2**27, 2**28, -(2**28) - 1, 2**30 - 1, -(2**30)]
    body = f"(text) => {{ {page_source('map_decode.js')} return unpack(text); }}"
    assert wide.page.evaluate(body, pack(edges)) == edges


def test_click_out_of_reach_shows_nothing(wide: Opened) -> None:
    before = panel(wide.page)
    click_map(wide.page, -72.0305, 44.0035, right_px=30)
    assert panel(wide.page) == before


def test_what_is_not_known_is_said_so(wide: Opened) -> None:
    page = wide.page
    page.fill("#search", "far island")
    page.keyboard.press("Enter")
    said = panel(page)
    assert "No route" in said
    assert said.count("No fill site delivers here at any response level.") == 1
    assert "Driveway\nnot known" in said
    assert "NaN" not in said
    assert "-1" not in said.replace("-71.9", "")


def test_search_finds_as_one_types_and_obeys_the_keys(wide: Opened) -> None:
    page = wide.page
    page.fill("#search", "quarry")
    found = page.locator("#found li").all_inner_texts()
    farm = " ".join(LABELS[3].split())
    assert [text.split("\n")[-1] for text in found] == [
        "Quarry Lane", farm, "Fill site 2: Quarry pond (summer)", LABELS[2],
    ]  # fmt: skip
    for _ in range(2):
        page.keyboard.press("ArrowDown")
    assert page.get_attribute("#search", "aria-activedescendant") == "found-1"
    for _ in range(2):
        page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    assert page.inner_text("#panel-body h2") == LABELS[2]
    page.fill("#search", "no such place")
    assert page.inner_text("#found") == "Nothing found."


def test_a_long_title_is_cut_between_two_lines(wide: Opened) -> None:
    """What lies below the third line is not seen: the padding of the heading does not show a fourth one."""
    page = wide.page
    page.fill("#search", "farm very")
    page.keyboard.press("Enter")
    high, line = page.evaluate(
        """() => {
          const said = document.querySelector("h2 .long");
          return [said.getBoundingClientRect().height, parseFloat(getComputedStyle(said).lineHeight)];
        }"""
    )
    assert high <= 3 * line + 1
    assert page.evaluate("() => getComputedStyle(document.querySelector('h2 .long')).paddingBottom") == "0px"


def test_filter_hides_a_status_and_counts(wide: Opened) -> None:
    page = wide.page
    assert ink(page) > 50
    page.get_by_label("served (1)").uncheck()
    assert ink(page) == 0
    assert page.inner_text("#shown") == "5 of 6 addresses shown. Hidden: served."
    page.get_by_label("served (1)").check()
    page.select_option("#level-filter", label="Answered by response level 1")
    assert page.inner_text("#shown").startswith("1 of 6 addresses shown. Only ")
    assert ink(page) > 50
    # Two more show the numbers of response level 2, but it does not meet their need.
    page.select_option("#level-filter", label="Answered by response level 2")
    assert page.inner_text("#shown").startswith("1 of 6 addresses shown. Only ")


def test_click_on_a_fill_site_lists_the_addresses_it_serves(wide: Opened) -> None:
    page = wide.page
    click_map(page, -72.04, 44.0)
    said = panel(page)
    assert "Fill site 1: Mill Pond dry hydrant" in said
    assert "900 gpm, tested 2025-09-12" in said
    assert page.locator("ul.served button").count() == 4
    page.locator("ul.served button").first.click()
    assert page.inner_text("#panel-body h2") == LABELS[0]


def test_circuit_ends_at_the_site_and_at_the_dump_site(wide: Opened, plan: Plan) -> None:
    """The loaded leg leads along Mill Road into Quarry Lane, to the frontage; the way back is its reverse."""
    legs = wide.page.evaluate(
        f"""() => {{
          {page_source("map_routes.js")}
          const at = row(2, 1);
          const {{ out, back, dump }} = circuit(2, answers.trip[at], answers.site[at]);
          const degrees = ([x, y]) => {{ const place = latLng(x, y); return [place.lng, place.lat]; }};
          return [out.map(degrees), back.map(degrees), degrees(dump)];
        }}"""
    )
    out, back, dump = (np.array(leg) for leg in legs)
    mill, mill_on, quarry = plan.line(0), plan.line(1), plan.line(3)
    assert out[:-1] == pytest.approx(np.concatenate([mill, mill_on[1:]]), abs=1e-5)
    assert dump == pytest.approx(out[-1])
    # The place on the lane's first piece nearest to the building, by hand, where a degree of longitude is shorter.
    true = np.array([np.cos(np.radians(44.0)), 1.0])
    piece, building = (quarry[1] - quarry[0]) * true, (np.array([-72.0205, 44.006]) - quarry[0]) * true
    share = float(building @ piece / (piece @ piece))
    assert 0.5 < share < 1.0
    assert dump == pytest.approx(quarry[0] + share * (quarry[1] - quarry[0]), abs=2e-5)
    assert back == pytest.approx(out[::-1], abs=1e-9)


def test_every_control_is_large_enough_for_a_glove(wide: Opened) -> None:
    wide.page.fill("#search", "12 mill")
    wide.page.keyboard.press("Enter")
    sizes = wide.page.evaluate(
        """() => [...document.querySelectorAll("button, select, input[type=search], .legend label, .leaflet-bar a")]
          .map((one) => [one.textContent, one.getBoundingClientRect()])
          .filter(([, box]) => box.width > 0 && (box.width < 44 || box.height < 44))
          .map(([text, box]) => `${text} ${box.width} x ${box.height}`)"""
    )
    assert sizes == []


def test_night_turns_the_paper_dark(browser: Browser, file_url: str) -> None:
    found = opened(browser, file_url, dark=True)
    assert found.page.get_attribute("#night", "aria-pressed") == "true"
    assert max(paper(found.page)) < 64
    found.page.click("#night")
    assert min(paper(found.page)) > 200
    assert found.complaints == []


def test_all_that_is_in_view_is_in_view_on_paper_too(wide: Opened) -> None:
    """The map on paper is smaller than on the screen; afterwards the screen is as it was."""
    page = wide.page
    click_map(page, -72.036, 44.0015)
    look = "() => { const b = planMap.getBounds(); return [b.getWest(), b.getSouth(), b.getEast(), b.getNorth()]; }"
    before = page.evaluate(look)
    page.emulate_media(media="print")
    page.evaluate("() => window.dispatchEvent(new Event('beforeprint'))")
    west, south, east, north = page.evaluate(look)
    assert west <= before[0]
    assert south <= before[1]
    assert east >= before[2]
    assert north >= before[3]
    page.emulate_media(media="screen")
    page.evaluate("() => window.dispatchEvent(new Event('afterprint'))")
    assert page.evaluate(look) == pytest.approx(before, abs=1e-4)


def test_on_a_telephone_the_panel_is_a_sheet_below_the_map(browser: Browser, file_url: str, tmp_path: Path) -> None:
    found = opened(browser, file_url, width=390)
    page = found.page
    assert not page.is_visible("aside")
    click_map(page, -72.036, 44.0015)
    map_box, sheet = page.locator("#map_plan").bounding_box(), page.locator("aside").bounding_box()
    assert map_box is not None
    assert sheet is not None
    assert sheet["y"] >= map_box["y"] + map_box["height"] - 1
    assert map_box["height"] > 200
    assert page.evaluate("() => document.documentElement.scrollWidth") <= 390
    footer = page.locator("footer").bounding_box()
    assert footer is not None
    assert footer["y"] + footer["height"] <= 800.5
    page.screenshot(path=tmp_path / "narrow.png")
    assert found.complaints == []


def test_with_scripts_off_the_still_map_and_the_table_show(browser: Browser, file_url: str) -> None:
    found = opened(browser, file_url, scripts=False)
    page = found.page
    assert page.is_visible(".still svg >> nth=0")
    assert page.is_visible(".still td >> text=Quarry pond (summer)")
    assert "The incident commander and local procedures decide." in page.inner_text("footer")
    assert not page.is_visible("#search")
    assert found.requests == [file_url]


# --------------------------------------------------------------------------- what is hard to show


def stretched(plan: Plan, times: float) -> Plan:
    """Make every distance of the hand-drawn district so many times as long."""
    west, south = -72.02, 44.0

    def lon(values: FloatArray) -> FloatArray:
        return west + (values - west) * times

    def lat(values: FloatArray) -> FloatArray:
        return south + (values - south) * times

    def places(rows: tuple[T, ...]) -> tuple[T, ...]:
        moved = [(west + (row.lon - west) * times, south + (row.lat - south) * times) for row in rows]
        return tuple(replace(row, lon=x, lat=y) for row, (x, y) in zip(rows, moved, strict=True))

    table, roads, fronts, trips = plan.addresses, plan.roads, plan.frontages, plan.trips
    lonlat = np.array([west, south])
    rings = [
        tuple(lonlat + (ring - lonlat) * times for ring in some)
        for some in (plan.features.building_rings, plan.features.water_rings, plan.features.stream_lines)
    ]
    return replace(
        plan,
        addresses=replace(table, lon=lon(table.lon), lat=lat(table.lat)),
        frontages=replace(fronts, lon=lon(fronts.lon), lat=lat(fronts.lat)),
        roads=replace(roads, coord_lon=lon(roads.coord_lon), coord_lat=lat(roads.coord_lat)),
        trips=replace(trips, out_mi=trips.out_mi * times, back_mi=trips.back_mi * times),
        sites=places(plan.sites),
        stations=places(plan.stations),
        features=replace(plan.features, building_rings=rings[0], water_rings=rings[1], stream_lines=rings[2]),
    )


@pytest.mark.parametrize("width", [1280, 390])
@pytest.mark.parametrize(
    ("name", "times", "address", "words"),
    [
        ("html", 1.0, 1, HOSTILE),
        ("long_name", 1.0, 3, " ".join(LABELS[3].split())),
        ("no_route", 1.0, 4, "No route: no way for a loaded tanker is known."),
        ("six_flags", 1.0, 3, "To know"),
        ("forty_miles", 6.4, 2, "40.47 mi"),
        ("three_hundred_feet", 0.009, 2, "0.06 mi"),
    ],
)
def test_what_is_hard_to_show_is_shown(  # the pictures are looked at by hand
    browser: Browser, plan: Plan, tmp_path: Path, name: str, times: float, address: int, words: str, width: int
) -> None:
    labels = plan.addresses.label.copy()
    labels[3] = labels[3] + "and on " * 20
    assert len(labels[3]) > 300
    hard = stretched(replace(plan, addresses=replace(plan.addresses, label=labels)), times)
    path = tmp_path / f"{name}.html"
    path.write_text(map_page(hard), encoding="utf-8")
    found = opened(browser, path.as_uri(), width=width)
    page = found.page
    page.fill("#search", " ".join(labels[address].split())[:40])
    page.keyboard.press("Enter")
    assert words in panel(page)
    answer = page.locator("p.status").bounding_box()
    aside = page.locator("aside").bounding_box()
    assert answer is not None
    assert aside is not None
    assert answer["y"] + answer["height"] < aside["y"] + aside["height"]
    if name == "long_name":
        assert f"Name in full\n{' '.join(labels[3].split())}" in panel(page)
    if name == "six_flags":
        assert page.locator("ul.flags li").count() == 6
    assert page.evaluate("() => document.documentElement.scrollWidth") <= width
    assert page.evaluate(
        "() => document.querySelector('#panel-body').scrollWidth <= document.querySelector('aside').clientWidth"
    )
    page.screenshot(path=tmp_path / f"{name}_{width}.png")
    assert found.complaints == []
