"""What the map's drawing costs, and that what is done for speed does not show."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image

from preplan.render.map_html import map_page
from tests.browser import opened, page_source, written
from tests.example_plan import example_plan
from tests.plan_checks import SAMPLE, plan_of

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

FALSE_PIXELS = """
const true_data = CanvasRenderingContext2D.prototype.getImageData;
CanvasRenderingContext2D.prototype.getImageData = function (...box) {
  const image = true_data.apply(this, box);
  image.data.fill(255);
  return image;
};
"""
"""A browser that lets no page read what it drew."""
COUNT_CALLS = """() => {
  window.calls = {};
  for (const name of ["drawImage", "putImageData", "lineTo"]) {
    const real = CanvasRenderingContext2D.prototype[name];
    CanvasRenderingContext2D.prototype[name] = function (...given) {
      window.calls[name] = (window.calls[name] || 0) + 1;
      return real.apply(this, given);
    };
  }
}"""

ON_SCREEN = """(place) => {
  const { x, y } = planMap.latLngToContainerPoint(place);
  const { left, top } = planMap.getContainer().getBoundingClientRect();
  return [left + x, top + y];
}"""


@pytest.fixture(scope="module")
def file_url(tmp_path_factory: pytest.TempPathFactory) -> str:
    path: Path = tmp_path_factory.mktemp("drawing") / "map.html"
    path.write_text(map_page(plan_of(SAMPLE / "district.toml")), encoding="utf-8")
    return path.as_uri()


def picture(page: Page) -> npt.NDArray[np.int64]:
    """Take a picture of the page: (rows, columns, 3), 0 to 255."""
    return np.array(Image.open(io.BytesIO(page.screenshot())).convert("RGB"), dtype=np.int64)


@pytest.mark.parametrize("dark", [False, True])
def test_stamped_symbols_look_as_a_canvas_copies_them(browser: Browser, file_url: str, *, dark: bool) -> None:
    """Where the browser hands out false pixels, the canvas copies the symbols: the pictures are the same."""
    drawn: list[list[npt.NDArray[np.int64]]] = []
    for script in ("", FALSE_PIXELS):
        context = browser.new_context(viewport={"width": 700, "height": 500}, device_scale_factor=1.25)
        context.add_init_script(script)
        page = context.new_page()
        page.emulate_media(color_scheme="dark" if dark else "light")
        page.goto(file_url)
        page.wait_for_selector("body.ready")
        drawn.append([picture(page)])
        page.click("#what-if")
        page.get_by_role("button", name="Snow").click()
        drawn[-1].append(picture(page))
        context.close()
    for stamped, copied in zip(*drawn, strict=True):
        assert np.abs(stamped - copied).max() <= 4
    assert np.abs(drawn[0][0] - drawn[0][1]).max() > 50


def test_a_press_draws_symbols_alone_and_but_once(browser: Browser, file_url: str) -> None:
    """However many addresses there are: no call for each, no road again, and one drawing whatever asks for it."""
    page = opened(browser, file_url).page
    page.evaluate(COUNT_CALLS)
    page.click("#what-if")
    opening = page.evaluate("() => window.calls")
    assert opening["putImageData"] == 1
    page.evaluate("() => { window.calls = {}; }")
    page.get_by_role("button", name="Snow").click()
    press = page.evaluate("() => window.calls")
    assert press["putImageData"] == 2  # those that changed, and those that stand back
    assert press["drawImage"] == 3
    assert press["lineTo"] < opening["lineTo"] / 2


def test_many_that_stand_back_on_one_place_still_stand_back(browser: Browser, file_url: str) -> None:
    page = opened(browser, file_url).page
    middle = page.evaluate(
        f"""() => {{
          {page_source("map_canvas.js")}
          for (const some of [roads, ground.water, ground.streams, ground.buildings]) some.count = 0;
          data.sites.length = data.stations.length = roadChains.length = 0;
          [view.dim, view.depends] = [true, new Uint8Array(addresses.count)];
          const centre = planMap.project(planMap.getCenter(), 0).divideBy(256);
          const scale = 256 * 2 ** planMap.getZoom();
          for (let a = 0; a < addresses.count; a += 1) {{
            addresses.x[a] = centre.x + (3 * (a % 20) - 30) / scale;
            addresses.y[a] = centre.y + (3 * Math.floor(a / 20) - 30) / scale;
          }}
          answers.status.fill(data.statuses.findIndex((one) => one.code === "not met"));
          const chart = new Chart().addTo(planMap);
          chart.redrawNow();
          const {{ width, height }} = chart.canvas;
          return [...chart.pen.getImageData(width / 2 - 5, height / 2 - 5, 10, 10).data];
        }}"""
    )
    grey = np.array(middle).reshape(-1, 4)[:, 0]
    assert 195 < grey.min() < 215  # black, a fifth of it seen on the paper


# --------------------------------------------------------------------------- names and numbers


NAMES = f"""(words) => {{
  {page_source("map_panel.js")}
  const address = addresses.label.findIndex((one) => one.startsWith(words));
  const level = words ? answers.level[address] : 0;
  const at = row(address, level);
  if (words) [view.address, view.circuit] = [address, circuit(address, answers.trip[at], answers.site[at])];
  const chart = new Chart().addTo(planMap);
  const names = [];
  const real = CanvasRenderingContext2D.prototype.fillText;
  CanvasRenderingContext2D.prototype.fillText = function (text, x, y) {{
    const {{ a, b, e, f }} = this.getTransform();
    const half = this.measureText(text).width / 2;
    if (x === 0 && y === 0) names.push({{ text, ends: [-half, 0, half].map((k) => [e + k * a, f + k * b]) }});
    real.call(this, text, x, y);
  }};
  chart.redrawNow();
  CanvasRenderingContext2D.prototype.fillText = real;
  const far = ([x, y]) => Math.min(...chart.legs.map((leg) => nearestOnLine(leg, x, y).far));
  return names.map((one) => ({{
    ...one, far: chart.legs.length ? Math.min(...one.ends.map(far)) : 0,
    inside: one.ends.map(([x, y]) => chart.inWindow([x, y, x, y])),
  }}));
}}"""
"""The names of roads as drawn: their ends and middle, how far from the circuit, whether in the window."""


def test_no_name_is_cut_by_the_edge_of_the_window(browser: Browser, file_url: str) -> None:
    page = opened(browser, file_url).page
    seen = 0
    for zoom in (11, 11.5, 12, 13, 14):
        page.evaluate("(zoom) => void planMap.setZoom(zoom, { animate: false })", zoom)
        for name in page.evaluate(NAMES, ""):
            assert len(set(name["inside"])) == 1, name
            seen += name["inside"][0]
    assert seen > 10


def test_neither_a_name_nor_the_house_stands_under_the_buttons(browser: Browser, file_url: str) -> None:
    """A figure less makes another number of a posting; on a telephone the map is small."""
    page = opened(browser, file_url, width=390).page
    page.evaluate("() => void planMap.setZoom(14, { animate: false })")
    placed = NAMES.replace("...one, far:", "...one, pad: chart.window.slice(0, 2), far:")
    seen = page.evaluate(placed, "")
    buttons = page.locator(".leaflet-control-zoom").bounding_box()
    field = page.locator("#map_plan").bounding_box()
    assert buttons is not None
    assert field is not None
    left, top = buttons["x"] - field["x"], buttons["y"] - field["y"]
    assert len(seen) > 3
    for name in seen[:6]:
        x, y = (at - pad for at, pad in zip(name["ends"][1], name["pad"], strict=True))
        page.evaluate("(by) => void planMap.panBy(by, { animate: false })", [x - left - 20, y - top - 40])
        for other in page.evaluate(placed, ""):
            for at in other["ends"]:
                right, down = (part - pad for part, pad in zip(at, other["pad"], strict=True))
                assert not (left < right < left + buttons["width"] and top < down < top + buttons["height"]), other
        page.evaluate("(by) => void planMap.panBy(by, { animate: false })", [left + 20 - x, top + 40 - y])
    page.fill("#search", "424 Fiddlehead")
    page.keyboard.press("Enter")
    chosen = page.evaluate(
        f"""() => {{
          {page_source("map_decode.js")}
          const a = addresses.label.findIndex((one) => one.startsWith("424 Fiddlehead"));
          return planMap.latLngToContainerPoint([addresses.lat[a], addresses.lon[a]]).x;
        }}"""
    )
    right = page.evaluate("() => document.querySelector('.leaflet-control-zoom').getBoundingClientRect().right")
    assert chosen > right + 10


def test_names_of_the_roads_driven_stand_beside_the_circuit(browser: Browser, file_url: str) -> None:
    page = opened(browser, file_url).page
    page.fill("#search", "123 Bobolink")
    page.keyboard.press("Enter")
    names = page.evaluate(NAMES, "123 Bobolink")
    assert all(name["far"] > 12 for name in names)
    assert {"Hopyard Road", "Kiln Road"} <= {name["text"] for name in names if name["far"] < 40 and all(name["inside"])}
    # a road that only crosses has no name on the crossing, nor beside it
    crossing = NAMES.replace("const names = [];", "view.circuit.names.clear(); const names = [];")
    near = [name["text"] for name in page.evaluate(crossing, "123 Bobolink") if name["far"] < 25]
    assert "Hopyard Road" not in near
    # where roads so small are not named otherwise
    page.evaluate("() => void planMap.setZoom(planMap.getZoom() - 1.5, { animate: false })")
    assert {"Hopyard Road", "Kiln Road"} <= {name["text"] for name in page.evaluate(NAMES, "123 Bobolink")}


POSTS = f"""([road, away]) => {{
  {page_source("map_panel.js")}
  const k = roads.names.indexOf(road);
  const bridge = [...roads.mark.keys()].find((one) => roads.name[one] === k && roads.posts[roads.post[one]]);
  const [west, north, east, south] = roads.box.subarray(4 * bridge, 4 * bridge + 4);
  planMap.setView(latLng((west + east) / 2, (north + south) / 2), 15, {{ animate: false }});
  roads.posts[roads.post[bridge]] = "24,000 lb, Mar to May; 30,000 lb, Jun to Feb";
  const chart = new Chart().addTo(planMap);
  const written = [];
  const real = CanvasRenderingContext2D.prototype.fillText;
  CanvasRenderingContext2D.prototype.fillText = function (text, x, y) {{
    const wide = this.measureText(text).width;
    const left = x - {{ left: 0, right: 1, center: 0.5 }}[this.textAlign] * wide;
    if (text.includes(" lb")) written.push([text, left, y - 6, left + wide, y + 6]);
    real.call(this, text, x, y);
  }};
  chart.redrawNow();
  const {{ x, y }} = chart.middle(bridge);
  const unit = ([right, down]) => [(x + right + chart.left) / chart.scale, (y + down + chart.top) / chart.scale];
  away.forEach((one, a) => ([addresses.x[a], addresses.y[a]] = unit(one)));
  view.address = away.length ? 0 : -1;
  if (away.length) {{
    const out = [unit([-200, 2]), unit([200, 2])];
    view.circuit = {{ address: 0, out, back: [], names: new Set([road]), site: 0, dump: out[1] }};
  }}
  written.length = 0;
  chart.redrawNow();
  CanvasRenderingContext2D.prototype.fillText = real;
  return [x, y, chart.symbolSize(), written];
}}"""
"""A bridge with two postings as drawn, addresses and a circuit moved to some pixels from it: texts, boxes."""


def test_no_figure_of_a_posting_is_hidden_by_an_address_or_by_the_circuit(browser: Browser, file_url: str) -> None:
    """A line a limit; where there is no room beside the bridge it stands above or below it, else not at all."""
    page = opened(browser, file_url).page
    both = ["24,000 lb, Mar to May", "30,000 lb, Jun to Feb"]
    x, y, _, written = page.evaluate(POSTS, ["Fiddlehead Road", []])
    assert [text for text, *_ in written if text in both] == both
    crowd = [[20 + 14 * k, 22] for k in range(6)] + [[-20 - 14 * k, -22] for k in range(6)]
    x, y, r, written = page.evaluate(POSTS, ["Fiddlehead Road", crowd])
    mine = [box for text, *box in written if text in both]
    assert len(mine) == 2
    for left, top, right, bottom in mine:
        assert not any(left - r < x + px < right + r and top - r < y + py < bottom + r for px, py in crowd)
        assert not (left < x + 200 and right > x - 200 and top - 3 < y + 2 < bottom + 3)
    everywhere = [[px, py] for px in range(-180, 181, 15) for py in range(-60, 61, 12)]
    *_, written = page.evaluate(POSTS, ["Fiddlehead Road", everywhere])
    assert not [text for text, *_ in written if text in both]


def test_the_number_of_a_site_out_of_service_is_written_over_its_cross(browser: Browser, file_url: str) -> None:
    page = opened(browser, file_url).page
    calls = page.evaluate(
        f"""() => {{
          {page_source("map_symbols.js")}
          const calls = [];
          const pen = new Proxy({{}}, {{ get: (_, name) => () => calls.push(name), set: () => true }});
          drawSite(pen, {{ kind: 0, seasonal: false, inService: false }}, 9, 0, 0, 17);
          return calls;
        }}"""
    )
    assert "stroke" in calls[: calls.index("strokeText")]
    assert "stroke" not in calls[calls.index("strokeText") :]


def test_an_island_is_land(browser: Browser, tmp_path: Path) -> None:
    """A house on it stood in the lake. Two areas of one river that overlap are water all over."""
    plan = example_plan()
    lon, lat = (float(axis.mean()) for axis in (plan.addresses.lon, plan.addresses.lat))
    lake, island, again = (square(lon, lat, half) for half in (0.02, 0.01, 0.015))
    seen = []
    for islands in ((), (island,)):
        features = replace(
            plan.features,
            water_rings=(lake, again),
            island_rings=islands,
            island_water=np.zeros(len(islands), np.int32),
        )
        path = tmp_path / f"{len(islands)}.html"
        path.write_text(map_page(replace(plan, features=features)), encoding="utf-8")
        page = opened(browser, path.as_uri()).page
        page.evaluate(f"() => void planMap.setView([{lat + 0.0125}, {lon}], 15, {{ animate: false }})")
        shot = picture(page)
        places = [page.evaluate(ON_SCREEN, [lat + up, lon + 0.003]) for up in (0.0125, 0.008)]
        seen.append([shot[round(y), round(x)].tolist() for x, y in places])
    (water, also_water), (still_water, land) = seen
    assert water == also_water == still_water != land
    assert land == [0xF8, 0xF7, 0xF4]


def square(lon: float, lat: float, half: float) -> npt.NDArray[np.float64]:
    """Give a ring, (5, 2)."""
    return np.array([(lon + half * east, lat + half * north) for east, north in
                     ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1))])  # fmt: skip


def test_what_is_chosen_from_the_lists_comes_into_view(browser: Browser, file_url: str) -> None:
    page = opened(browser, file_url).page
    inside = "([lat, lon]) => planMap.getBounds().contains([lat, lon])"
    page.fill("#search", "123 Bobolink")
    page.keyboard.press("Enter")
    page.click("#lists")
    page.locator("#panel-body button", has_text="12, Kiln Road cistern").first.click()
    found = re.search(r"longitude\s+([\d.]+), (-[\d.]+)", written(page))
    assert found is not None
    assert page.evaluate(inside, [float(found[1]), float(found[2])])
    page.evaluate("() => void planMap.setView([0, 0], 14, { animate: false })")
    page.click("#lists")
    page.locator("#panel-body button", has_text="T11, ").first.click()
    assert page.evaluate(inside, [float(found[1]), float(found[2])])


def test_numbers_keep_their_units_and_dates_stay_whole(browser: Browser, file_url: str) -> None:
    """Also where they come with the district's own words: a line may end at a plain space or hyphen alone."""
    page = opened(browser, file_url, width=390).page
    page.fill("#search", "123 Bobolink")
    page.keyboard.press("Enter")
    page.evaluate("() => document.querySelector('figure svg').remove()")  # there no line ends
    said = [page.inner_text("#panel-body")]
    page.click("#lists")
    said.append(page.inner_text("#panel-body"))
    page.locator("#panel-body button", has_text="12, Kiln Road cistern").first.click()
    said.append(page.inner_text("#panel-body"))
    page.click("#what-if")
    said.append(page.inner_text("#panel-body"))
    text = " ".join(said)
    assert not re.findall(r"\d (?:gpm|gal|lb|ft|mi|min|minutes)\b", text)
    assert not re.findall(r"\d{4}-\d\d", text)
    assert "2025-05-24" in text.replace("\N{WORD JOINER}", "")
