"""Size and speed of the map page: opening it, a what-if, a keystroke of its search, in a browser without a network.

    python -m tests.bench.bench_map [DISTRICT.toml]

Without a district, an invented county of 60,000 addresses and 8 fill sites. Prints; asserts nothing.
"""

from __future__ import annotations

import csv
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from time import perf_counter

import numpy as np

from preplan.render.map_html import map_page
from tests.browser import launched, opened, page_source
from tests.plan_checks import plan_of

ACROSS, SITES, ADDRESSES, BENDS = 49, 8, 60_000, 8
SOUTH, WEST, STEP = 44.0, -74.0, 0.0075
DISTRICT = """
[district]
name = "Invented County"
date = 2026-05-01
[files]
addresses = "addresses.csv"
fill_sites = "fill_sites.csv"
stations = "stations.csv"
apparatus = "apparatus.csv"
[roads]
file = "roads.osm"
[[response_levels]]
name = "Level 1"
engines = 3
tankers = 2
[[response_levels]]
name = "Level 2"
engines = 4
tankers = 4
[[response_levels]]
name = "Level 3"
engines = 5
tankers = 6
"""


def county(folder: Path) -> Path:
    """Write an invented county: a net of winding roads, houses along them, six stations."""
    draw = np.random.default_rng(1)
    corner = STEP * np.stack(np.meshgrid(np.arange(ACROSS), np.arange(ACROSS), indexing="ij"), axis=-1)
    corner = corner + np.array([WEST, SOUTH]) + draw.normal(0, STEP * 0.12, corner.shape)
    lines, lonlat = [], []
    for i, j in np.ndindex(ACROSS, ACROSS):
        for di, dj, name in ((1, 0, f"County Road {j}"), (0, 1, f"Lane {i}")):
            if i + di < ACROSS and j + dj < ACROSS and draw.random() < 0.85:
                share = np.linspace(0, 1, BENDS + 2)[:, None]
                line = corner[i, j] * (1 - share) + corner[i + di, j + dj] * share
                line[1:-1] += draw.normal(0, STEP * 0.02, (BENDS, 2))
                lines.append((i * ACROSS + j + 1, (i + di) * ACROSS + j + dj + 1, name))
                lonlat.append(line)
    _roads(folder / "roads.osm", corner, lines, lonlat)
    _houses(folder / "addresses.csv", draw, lines, lonlat)
    places = corner[draw.integers(3, ACROSS - 3, SITES + 6), draw.integers(3, ACROSS - 3, SITES + 6)]
    _table(
        folder / "fill_sites.csv",
        ["site_id", "name", "kind", "lon", "lat", "fill_gpm", "months"],
        [(f"F{k}", f"Pond {k}", "draft", *places[k], 600 + 50 * k, "4-11" if k == 3 else "") for k in range(SITES)],
    )
    stations = [(f"S{k}", f"Station {k}", *place) for k, place in enumerate(places[SITES:])]
    _table(folder / "stations.csv", ["station_id", "name", "lon", "lat"], stations)
    units = [
        (f"{kind[0].upper()}{k}", f"S{k % 6}", kind, tank)
        for kind, tank in (("engine", 1000), ("tanker", 2500))
        for k in range(8)
    ]
    _table(folder / "apparatus.csv", ["unit_id", "station_id", "kind", "tank_gal"], units)
    district = folder / "district.toml"
    district.write_text(DISTRICT, encoding="utf-8")
    return district


def _roads(path: Path, corner: np.ndarray, lines: list[tuple[int, int, str]], lonlat: list[np.ndarray]) -> None:
    nodes = [(k + 1, *place) for k, place in enumerate(corner.reshape(-1, 2))]
    ways = []
    for k, ((first, last, name), line) in enumerate(zip(lines, lonlat, strict=True)):
        between = [len(nodes) + 1 + n for n in range(BENDS)]
        nodes += [(node, *place) for node, place in zip(between, line[1:-1], strict=True)]
        refs = "".join(f'<nd ref="{node}"/>' for node in (first, *between, last))
        tags = f'<tag k="highway" v="{"tertiary" if name[0] == "C" else "unclassified"}"/><tag k="name" v="{name}"/>'
        ways.append(f'<way id="{k + 1}" version="1">{refs}{tags}</way>')
    points = [f'<node id="{node}" version="1" lon="{lon:.7f}" lat="{lat:.7f}"/>' for node, lon, lat in nodes]
    path.write_text("<osm version='0.6'>" + "\n".join(points + ways) + "</osm>", encoding="utf-8")


def _houses(path: Path, draw: np.random.Generator, lines: list[tuple[int, int, str]], lonlat: list[np.ndarray]) -> None:
    rows = []
    for k in range(ADDRESSES):
        road = k * len(lines) // ADDRESSES
        piece = int(draw.integers(0, BENDS + 1))
        place = lonlat[road][piece] + (lonlat[road][piece + 1] - lonlat[road][piece]) * draw.random()
        place = place + draw.normal(0, 0.0004, 2)
        rows.append((f"A{k:05d}", f"{10 + k % 900} {lines[road][2]}", *np.round(place, 6)))
    _table(path, ["address_id", "label", "lon", "lat"], rows)


def _table(path: Path, header: list[str], rows: Sequence[Sequence[object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows([header, *rows])


def measure(district: Path, folder: Path) -> None:
    """Plan, draw, open, and work every flow out anew."""
    plan = plan_of(district)
    begun = perf_counter()
    text = map_page(plan).encode("utf-8")
    print(f"{len(plan.addresses):,} addresses, {len(plan.sites)} sites, {len(plan.district.levels)} levels")
    print(f"page: {len(text) / 1e6:.2f} MB, drawn in {perf_counter() - begun:.1f} s")
    path = folder / "map.html"
    path.write_bytes(text)
    with launched() as browser:
        for _ in range(3):
            page = browser.new_page(viewport={"width": 1280, "height": 900}, offline=True)
            page.add_init_script(PAINTED)
            page.goto(path.as_uri())
            painted = page.wait_for_function("() => window.painted").json_value()
            print(f"interactive after {painted:.0f} ms (the first frame after the page said it was ready)")
            body = f"""() => {{
              {page_source("map_what_if.js")}
              const times = [];
              for (let k = 0; k < 5; k += 1) {{
                const change = {{ ...unchanged(), factor: 1 + 0.1 * k }};
                change.off.add(k % 2);
                const begun = performance.now();
                new Steady(change).all();
                times.push(Math.round(performance.now() - begun));
              }}
              return times;
            }}"""
            print(f"what-if, five times anew: {page.evaluate(body)} ms")
            body = f"""(typed) => {{
              {page_source("map_search.js")}
              searchable();
              return typed.map((words) => {{
                const begun = performance.now();
                find(words);
                return Math.round(performance.now() - begun);
              }});
            }}"""
            print(f"a keystroke of the search, {KEYSTROKES}: {page.evaluate(body, KEYSTROKES)} ms")
            page.close()
            for rest_ms in (0, 3000):
                page = opened(browser, path.as_uri()).page
                page.wait_for_timeout(rest_ms)
                opens = page.evaluate(CLICK, "#what-if")
                presses = [round(page.evaluate(CLICK, "button[aria-label='Longer round trips']")) for _ in range(5)]
                print(
                    f"after {rest_ms} ms at rest: what-if opens in {opens:.0f} ms, each press of five takes {presses}"
                )
                page.close()


KEYSTROKES = ["c", "county", "county road 7", "33 lane 12", "lane", "5 county road 9 x", "no such place"]
PAINTED = """new MutationObserver((_, watch) => {
  if (!document.body?.classList.contains("ready")) return;
  watch.disconnect();
  requestAnimationFrame(() => setTimeout(() => { window.painted = performance.now(); }));
}).observe(document, { subtree: true, childList: true, attributes: true });"""
CLICK = """(control) => new Promise((done) => {
  const begun = performance.now();
  document.querySelector(control).click();
  requestAnimationFrame(() => setTimeout(() => done(performance.now() - begun)));
})"""
"""From a press to after the next frame, in ms."""


def main() -> None:
    """Bench the district named, else the invented county."""
    with tempfile.TemporaryDirectory() as folder:
        measure(Path(sys.argv[1]) if len(sys.argv) > 1 else county(Path(folder)), Path(folder))


if __name__ == "__main__":
    main()
