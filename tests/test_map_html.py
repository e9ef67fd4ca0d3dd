"""The map page as text: what it carries, what it forbids, and that it survives other people's text."""

from __future__ import annotations

import base64
import hashlib
import json
import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from importlib.resources import files
from itertools import accumulate, islice
from typing import Any

import folium
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from preplan.plan import Plan
from preplan.plan_tables import STATUSES
from preplan.render.map_data import map_data
from preplan.render.map_frame import road_rank
from preplan.render.map_html import embedded_json, map_page
from preplan.render.map_pack import lines, pack, steps, whole
from preplan.render.map_svg import fill_site_table, still_legend, still_map
from preplan.render.tables import deciding_months
from tests.example_plan import LABELS, example_plan, split_plan, turning_past
from tests.plan_checks import SAMPLE, plan_of

OSM = "https://www.openstreetmap.org/copyright"
OUTSIDE = re.compile(r"""(?:src|href)\s*=\s*["']?([^"'\s>]*//[^"'\s>]*)|url\(([^)]*)\)|@import\s+(\S+)""")


@pytest.fixture(scope="module")
def plan() -> Plan:
    return example_plan()


@pytest.fixture(scope="module")
def page(plan: Plan) -> str:
    return map_page(plan)


def page_data(html: str) -> dict[str, Any]:
    """Read the data out of a page, as its script does."""
    text = re.search(r'<script type="application/json" id="plan-data">(.*?)</script>', html, re.DOTALL)
    assert text is not None
    data: dict[str, Any] = json.loads(text[1])
    return data


def unpack(text: str) -> list[int]:
    """Read what `pack` wrote: written anew from the format's description, not from the program."""
    if text.startswith("="):
        times, same = (int(part) for part in text[1:].split(","))
        return [same] * times
    if text.startswith("~"):
        count, places, given = text[1:].split(",")
        column = [0] * int(count)
        for place, one in zip(running(places), unpack(given), strict=True):
            column[place] = one
        return column
    if text.startswith("^"):
        numbers, copies = (unpack(part) for part in text[1:].split(","))
        column, fresh = [], iter(numbers)
        for new, length, back in zip(copies[::3], copies[1::3], copies[2::3], strict=True):
            column += islice(fresh, new)
            for _ in range(length):
                column.append(column[-back])
        return column + list(fresh)
    letters = "".join(chr(code) for code in range(32, 127) if chr(code) not in '"&,<=>\\^~')
    numbers, digits = [], list[int]()
    for letter in text:
        digits.append(letters.index(letter))
        if digits[-1] < 58:
            value = sum(digit * (len(letters) - 58) ** place for place, digit in enumerate(digits))
            numbers.append((value >> 1) ^ -(value & 1))
            digits = []
    assert not digits, "the last number ends"
    return numbers


def running(text: str) -> list[int]:
    return list(accumulate(unpack(text)))


def along_roads(data: dict[str, Any], column: str) -> list[int]:
    """Read a column of numbers by address, or by address and level, packed as steps along the roads."""
    stepped, along = unpack(column), running(data["along"])
    width = len(stepped) // len(along)
    found = np.empty((len(along), width), dtype=int)
    found[along] = np.cumsum(np.reshape(stepped, (-1, width)), axis=0)
    numbers: list[int] = found.ravel().tolist()
    return numbers


def trip_of(data: dict[str, Any], address: int, site: int) -> int:
    """Find the row of a trip by its address and fill site."""
    addresses = [running(data["along"])[place] for place in running(data["trips"]["place"])]
    return list(zip(addresses, running(data["trips"]["site"]), strict=True)).index((address, site))


@pytest.mark.parametrize(("ahead_ft", "turns"), [(20.0, 1), (400.0, 0)])
def test_a_turn_at_a_dead_end_beside_the_dump_site_is_told_as_one_there(ahead_ft: float, turns: int) -> None:
    """As the card does: a truck of 30 ft that drives on by 20 turns where it stands."""
    plan = example_plan()
    trip = int(plan.levels.trip[0, 0])
    a, last = int(plan.trips.address[trip]), plan.trip_rows(trip)[0][-1]
    length_ft = float(plan.roads.length_m[plan.forest.segment[last]]) / 0.3048
    assert length_ft > ahead_ft
    fraction = plan.frontages.fraction.copy()
    fraction[a] = 1.0 - ahead_ft / length_ft if plan.forest.forward[last] else ahead_ft / length_ft
    trips = replace(plan.trips, turn_at_dump=np.zeros_like(plan.trips.turn_at_dump))
    on = replace(plan, trips=trips, frontages=replace(plan.frontages, fraction=fraction))
    data = map_data(turning_past(on, trip))
    assert running(data["trips"]["turn"])[trip_of(data, a, int(plan.trips.site[trip]))] % 2 == turns
    before = map_data(on)
    assert running(before["trips"]["turn"])[trip_of(before, a, int(plan.trips.site[trip]))] % 2 == 0


# --------------------------------------------------------------------------- packing


def test_packed_numbers_come_back() -> None:
    edges = [0, 1, -1, 63, 64, -64, -65, 8191, 8192, 2**20, -(2**20), 2**27, 2**28, 2**30 - 1, -(2**30)]
    drawn = np.random.default_rng(7).integers(-(2**30), 2**30, 5000).tolist()
    assert unpack(pack(edges + drawn)) == edges + drawn
    for same in ([5] * 8, [5] * 9, [-1] * 5000, []):
        assert unpack(pack(same)) == same
    assert len(pack([-1] * 5000)) < 10
    mostly = [0] * 4000 + [5, -(2**30)] + [0] * 500 + [1]
    assert unpack(pack(mostly)) == mostly
    assert len(pack(mostly)) < 40


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.lists(st.integers(-(2**30), 2**30 - 1), min_size=1, max_size=30), min_size=1, max_size=4),
    st.lists(st.tuples(st.integers(0, 3), st.integers(1, 40)), max_size=30),
)
def test_runs_that_come_again_come_back(runs: list[list[int]], order: list[tuple[int, int]]) -> None:
    """Runs again and again, whole or in part, and runs that go on into themselves."""
    column = [one for which, length in order for one in (runs[which % len(runs)] * 40)[:length]]
    assert unpack(pack(column)) == column


def test_runs_that_come_again_are_packed_once() -> None:
    rng = np.random.default_rng(3)
    run = rng.integers(-60, 60, 400).tolist()
    column = [*run, 7, *run, 8, 9, *run[100:]]
    assert pack(column).startswith("^")
    assert len(pack(column)) < 1.05 * len(pack(run))
    assert not pack(run).startswith("^")


def test_too_large_a_number_is_refused() -> None:
    with pytest.raises(OverflowError):
        pack([2**30])


def test_steps_add_up_again() -> None:
    assert np.cumsum(steps([7, -3, 12])).tolist() == [7, -3, 12]


def test_rounding_is_careful_and_missing_is_not_zero() -> None:
    assert whole([249.9999999, 249.9, np.nan, np.inf], way="down").tolist() == [250, 249, -1, -1]
    assert whole([250.0000001, 250.1, np.nan], way="up").tolist() == [250, 251, -1]
    assert whole([3.44, 3.46], 10).tolist() == [34, 35]


def test_lines_keep_their_ends_and_drop_points_that_fall_together() -> None:
    still = np.array([[-72.0, 44.0], [-72.0, 44.0]])
    bent = np.array([[-72.0, 44.0], [-72.000001, 44.0], [-71.9, 44.1]])
    packed = lines([bent, still])
    assert unpack(packed["n"]) == [2, 2]
    assert running(packed["lon"]) == [-7200000, -7190000, -7200000, -7200000]
    assert running(packed["lat"]) == [4400000, 4410000, 4400000, 4400000]


# --------------------------------------------------------------------------- the data


def test_page_holds_every_address_with_its_status_and_numbers(plan: Plan, page: str) -> None:
    data = page_data(page)
    packed = data["addresses"]
    numbers, rests = along_roads(data, packed["number"]), along_roads(data, packed["rest"])
    labels = [
        f"{n} {packed['rests'][k]}" if n >= 0 else packed["rests"][k] for n, k in zip(numbers, rests, strict=True)
    ]
    assert labels == [" ".join(label.split()) for label in LABELS]
    assert [STATUSES[k] for k in along_roads(data, data["answers"]["status"])] == plan.answers.status.tolist()
    assert along_roads(data, packed["gpm"]) == [250, 500, 500, 500, 500, 250]
    assert along_roads(data, data["answers"]["flow"]) == [322, 540, 228, 514, 186, 270, 0, 251, -1, -1, -1, -1]
    assert along_roads(data, data["answers"]["steady"])[:4] == [310, 520, 220, 505]
    assert along_roads(data, data["answers"]["attackMin"]) == [math.ceil(at) for at in plan.answers.first_arrival_min]
    assert plan.answers.call_by_min[1] == 7.0 < plan.answers.first_arrival_min[1]
    # minute 7 is before anyone arrives: first alarm; where none meets 0 says so, as a late call brings less
    assert along_roads(data, data["answers"]["callBy"]) == [-1, -1, 0, 0, -1, -1]
    assert along_roads(data, data["answers"]["gapOnArrival"])[:4] == [19, 19, 140, 19]
    assert along_roads(data, data["answers"]["level"]) == [0, 1, 1, 1, -1, -1]


def test_each_answer_names_its_site_backup_and_crew(plan: Plan, page: str) -> None:
    data = page_data(page)
    answers = data["answers"]
    cases = [answers["cases"][k] for k in along_roads(data, answers["case"])]
    assert [case[0] for case in cases] == plan.levels.site.ravel().tolist()
    assert [case[1] for case in cases] == plan.levels.backup.ravel().tolist()
    assert [bool(case[3]) for case in cases] == plan.levels.meets.ravel().tolist()
    attack, fill, dump, used, left_out, rest, second, there, hose = answers["crews"][cases[0][6]]
    names = [unit["id"] for unit in page_data(page)["units"]]
    assert [names[attack], names[fill], names[dump]] == ["E1", "E2", "E3"]
    assert [names[unit] for unit in used] == list(plan.unit_ids(plan.levels.used[0, 0], 0)) == ["T1", "T2"]
    assert left_out == []
    assert rest == []
    assert (second, there, hose) == (-1, [], [])


def test_who_fills_and_pumps_at_a_second_site_is_in_the_page() -> None:
    data = map_data(split_plan())
    answers = data["answers"]
    case = answers["cases"][along_roads(data, answers["case"])[0]]
    assert case[:3] == (0, 1, 1)
    assert answers["crews"][case[6]] == (0, 1, 0, (3, 4), (), (), 2, (4,), ())


def test_a_tanker_of_the_fleet_that_does_not_shuttle_is_named(plan: Plan) -> None:
    used = plan.levels.used.copy()
    used[0, 0, 4] = False
    data = map_data(replace(plan, levels=replace(plan.levels, used=used)))
    answers = data["answers"]
    crew = answers["crews"][answers["cases"][along_roads(data, answers["case"])[0]][6]]
    assert crew[3:6] == ((3,), (4,), ())


def test_an_engine_without_a_job_is_no_tanker_left_out(plan: Plan) -> None:
    dump = np.where(plan.levels.dump_engine == 2, 0, plan.levels.dump_engine)
    data = map_data(replace(plan, levels=replace(plan.levels, dump_engine=dump)))
    answers = data["answers"]
    crew = answers["crews"][answers["cases"][along_roads(data, answers["case"])[1]][6]]
    assert crew == (0, 1, 0, (3, 4), (), (2,), -1, (), ())


def test_a_season_is_named_only_where_it_matters(plan: Plan) -> None:
    def seasons_of(changed: Plan) -> list[str]:
        data = map_data(changed)
        answers = data["answers"]
        return [answers["seasons"][answers["cases"][k][8]] for k in along_roads(data, answers["case"])]

    # The second season delivers 2 % less: a whole gpm or more wherever anything flows.
    flowing = [k for k, flow in enumerate(plan.levels.uninterrupted_gpm.ravel()) if flow > 0]
    assert [k for k, said in enumerate(seasons_of(plan)) if said == "December to March"] == flowing
    same = tuple(replace(season, uninterrupted_gpm=plan.levels.uninterrupted_gpm) for season in plan.seasons)
    assert set(seasons_of(replace(plan, seasons=same))) == {""}


def test_the_months_that_decide_are_those_of_the_table() -> None:
    """Of a real plan, several of whose seasons print the same: the map named the first of these alone."""
    plan = plan_of(SAMPLE / "district.toml")
    answers = (data := map_data(plan))["answers"]
    named = [answers["seasons"][answers["cases"][k][8]] for k in along_roads(data, answers["case"])]
    table = deciding_months(plan).ravel().tolist()
    told = [(said, decides) for said, decides in zip(named, table, strict=True) if said]
    assert len(told) > 100
    assert all(said == decides for said, decides in told)
    tannery = plan.addresses.label.tolist().index("Tannery Rd 735, farm")
    shown = tannery * len(plan.district.levels) + int(plan.answers.level[tannery])
    assert named[shown] == table[shown] == "June to February"


def test_packed_routes_walk_the_same_roads(plan: Plan, page: str) -> None:
    data = page_data(page)
    driven, up = running(data["forest"]["driven"]), unpack(data["forest"]["up"])
    names = [data["roads"]["names"][k] for k in unpack(data["roads"]["name"])]
    trip = trip_of(data, 1, 0)
    for leaves, rows in (("outLeaf", plan.trip_rows(2)[0][::-1]), ("backLeaf", plan.trip_rows(2)[1])):
        at, walked = running(data["trips"][leaves])[trip], []
        while True:
            walked.append((names[driven[at] // 2], bool(driven[at] % 2)))
            if not up[at]:
                break
            at -= up[at]
        segments = plan.forest.segment[rows].tolist()
        known = [plan.roads.name[k] or plan.roads.ref[k] for k in segments]
        assert walked == list(zip(known, plan.forest.forward[rows].tolist(), strict=True))


def test_round_trip_is_rounded_as_a_whole(plan: Plan) -> None:
    out, back = plan.trips.out_min.copy(), plan.trips.back_min.copy()
    out[0], back[0] = 1.25001, 2.25001  # 1.3 and 2.3 alone, 3.5 together
    data = map_data(replace(plan, trips=replace(plan.trips, out_min=out, back_min=back)))
    trips, first = data["trips"], trip_of(data, 0, 0)
    parts = [running(trips[name])[first] for name in ("outMin", "backMin", "moreMin")]
    assert parts == [13, 23, -1]


def test_posted_and_unposted_bridges_are_marked(page: str) -> None:
    roads = page_data(page)["roads"]
    assert unpack(roads["mark"]) == [0, 1, 0, 0, 2]
    assert [roads["posts"][k] for k in unpack(roads["post"])] == ["", "20,000 lb", "", "", ""]


def test_roads_far_from_the_district_are_left_out_unless_driven(plan: Plan) -> None:
    lon = plan.roads.coord_lon.copy()
    lon[-6:] += 5.0  # the last two stretches; the first of them is on the way of two trips
    data = map_data(replace(plan, roads=replace(plan.roads, coord_lon=lon)))
    assert len(unpack(data["roads"]["n"])) == len(plan.roads) - 1


@pytest.mark.parametrize(("highway", "rank"), [("motorway", 0), ("tertiary_link", 2), ("road", 3), ("track", 4)])
def test_road_ranks(highway: str, rank: int) -> None:
    assert road_rank(highway) == rank


# --------------------------------------------------------------------------- the page


def test_two_renders_are_equal_byte_for_byte(page: str) -> None:
    assert map_page(example_plan()).encode() == page.encode()


def test_folium_itself_is_left_as_it_was() -> None:
    before = [list(folium.Map.default_js), list(folium.Map.default_css)]
    map_page(example_plan())
    assert [list(folium.Map.default_js), list(folium.Map.default_css)] == before
    assert before[0]


def test_vendored_leaflet_is_the_published_one() -> None:
    published = {
        "leaflet.js": "db49d009c841f5ca34a888c96511ae936fd9f5533e90d8b2c4d57596f4e5641a",
        "leaflet.css": "a7837102824184820dfa198d1ebcd109ff6d0ff9a2672a074b9a1b4d147d04c6",
    }
    assets = files("preplan.render").joinpath("assets")
    for name, digest in published.items():
        assert hashlib.sha256(assets.joinpath(name).read_bytes()).hexdigest() == digest
    assert "Redistribution and use" in assets.joinpath("LEAFLET-LICENSE.txt").read_text(encoding="utf-8")


def test_nothing_is_asked_of_the_network(page: str) -> None:
    bare = re.sub(r"<script>.*?</script>", "", page, flags=re.DOTALL)
    assert [hit[0] or hit[1] or hit[2] for hit in OUTSIDE.findall(bare)] == [OSM]
    assert f'<a href="{OSM}"' in bare
    assert not re.search(r"<(script|img|link|iframe|object|embed)[^>]*\s(src|href|data)=", bare)
    assert "sourceMappingURL" not in page


def test_policy_allows_the_pages_own_scripts_and_styles_alone(page: str) -> None:
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', page)
    assert policy is not None
    rules = dict(rule.split(" ", 1) for rule in policy[1].split("; "))
    assert rules["default-src"] == rules["connect-src"] == "'none'"
    assert rules["img-src"] == "data: blob:"
    for tag in ("script", "style"):
        texts = re.findall(rf"<{tag}>(.*?)</{tag}>", page, re.DOTALL)
        hashes = {base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in texts}
        assert set(rules[f"{tag}-src"].split()) == {f"'sha256-{one}'" for one in hashes}
        assert texts
    assert page.index("Content-Security-Policy") < page.index("<style>") < page.index("<script>")
    body = re.sub(r"<(script|style)[^>]*>.*?</\1>", "", page, flags=re.DOTALL)
    assert not re.search(r"<[^>]+\s(on\w+|style)=", body)


def test_hostile_texts_stay_text(plan: Plan) -> None:
    nasty = '</script><img src=x onerror=alert(1)>&\u2028"\ud800'
    sites = (replace(plan.sites[0], name=nasty, notes=nasty), *plan.sites[1:])
    named = replace(plan, sites=sites, district=replace(plan.district, name=nasty))
    html = map_page(named)
    html.encode("utf-8")
    assert "<img" not in html
    assert "<script>alert" not in html
    assert page_data(html)["sites"][0]["name"].startswith("</script><img src=x")
    assert html.count("</script>") == map_page(plan).count("</script>")


def test_embedded_json_refuses_what_is_not_a_number() -> None:
    with pytest.raises(ValueError, match="JSON"):
        embedded_json({"flow": float("nan")})


def test_missing_numbers_never_reach_the_page(page: str) -> None:
    text = json.dumps(page_data(page))
    assert not re.search(r"\b(NaN|Infinity|nan|inf|None)\b", text)
    outside = re.sub(r"<script>.*?</script>", "", page, flags=re.DOTALL)
    assert not re.search(r"\b(NaN|nan)\b", outside)


def test_cautions_and_date_stand_in_the_page(page: str) -> None:
    footer = page[page.index("<footer>") : page.index("</footer>")]
    said = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", footer))
    assert said.startswith(
        "An estimate for planning. Confirm roads, bridges, water and access on the ground. "
        "The incident commander and local procedures decide. Data of 2026-05-01."
    )
    undated = replace(example_plan(), district=replace(example_plan().district, date=""))
    assert "Date of the data not known." in map_page(undated)


# --------------------------------------------------------------------------- online tiles


def test_without_tiles_no_tile_layer_is_made(page: str) -> None:
    assert "L.tileLayer(" not in page.rsplit("<script>", 1)[1]
    assert 'id="tiles"' not in page


def test_tiles_are_off_at_start_and_only_their_host_is_named(plan: Plan) -> None:
    tiled = replace(plan, district=replace(plan.district, tiles="https://{s}.tile.example.org/{z}/{x}/{y}.png"))
    html = map_page(tiled)
    assert "img-src data: blob: https://*.tile.example.org;" in html
    script = html.rsplit("<script>", 1)[1]
    assert "var tile_layer_online = L.tileLayer(" in script
    assert "tile_layer_online.addTo(map_plan)" not in script
    assert html == map_page(tiled)


def test_an_address_that_is_none_of_tiles_is_not_named(plan: Plan) -> None:
    """Who makes a plan without the district file may give anything; the page then has no tiles."""
    for template in ("file:///etc/{z}/{x}/{y}", "https://x; script-src */{z}/{x}/{y}"):
        html = map_page(replace(plan, district=replace(plan.district, tiles=template)))
        assert template not in html
        assert "img-src data: blob:;" in html


# --------------------------------------------------------------------------- scripts off


def test_still_map_is_well_formed_and_draws_each_site(plan: Plan) -> None:
    drawing = ET.fromstring(still_map(plan))  # noqa: S314 - our own text
    numbers = sorted(text.text or "" for text in drawing.iter("text") if not (text.text or "").endswith("mi"))
    assert numbers == ["1", "2", "3"]
    drops = [path.get("stroke-dasharray") for path in drawing.iter("path") if path.get("fill") == "#ffffff"]
    assert [bool(dashes) for dashes in drops] == [False, False, True]  # out of service first, then 1 and 2
    shades = {path.get("stroke") for path in drawing.iter("path")} | {path.get("fill") for path in drawing.iter("path")}
    assert {"#0072B2", "#F0E442", "#000000"} <= shades


@pytest.mark.parametrize(("north", "east"), [(1.0, 1.0), (40.0, 1.0), (1.0, 40.0)])
def test_the_still_map_of_a_long_district_is_whole(plan: Plan, north: float, east: float) -> None:
    """A valley of forty miles by one, whichever way it runs: every fill site and the scale's foot on the sheet."""
    lat = [44.0 + (site.lat - 44.0) * north for site in plan.sites]
    lon = [-72.0 + (site.lon + 72.0) * east for site in plan.sites]
    sites = tuple(replace(site, lon=x, lat=y) for site, x, y in zip(plan.sites, lon, lat, strict=True))
    table = plan.addresses
    drawn = still_map(
        replace(
            plan, sites=sites, addresses=replace(table, lon=np.resize(lon, len(table)), lat=np.resize(lat, len(table)))
        )
    )
    box = re.search(r'viewBox="0 0 ([0-9]+) ([0-9]+)"', drawn)
    assert box is not None
    wide, high = int(box[1]), int(box[2])
    drops = [(int(x), int(y)) for x, y in re.findall(r"translate\(([-0-9]+) ([-0-9]+)\)", drawn)]
    assert len(drops) == 3
    assert all(0 < x < wide and 0 < y < high for x, y in drops)
    xs, ys = zip(*drops, strict=True)
    per_lon, per_lat = ((max(at) - min(at)) / (max(of) - min(of)) for at, of in ((xs, lon), (ys, lat)))
    assert per_lon / per_lat == pytest.approx(math.cos(math.radians((max(lat) + min(lat)) / 2)), rel=0.05)
    assert max(high / wide, wide / high) <= 4


def test_still_legend_counts_and_tells_what_lies_outside(plan: Plan) -> None:
    text = re.sub(r"<[^>]+>", " ", still_legend(plan))
    for words in ("served (1)", "higher level (1)", "not met (2)", "no route (1)", "hydrant within 1,000 ft (1)"):
        assert words in text
    assert "Addresses outside this drawing: 1." in text


def test_table_of_fill_sites(plan: Plan) -> None:
    rows = re.findall(r"<tr>(.*?)</tr>", fill_site_table(plan))
    cells = [re.findall(r"<td>(.*?)</td>", row) for row in rows[1:]]
    assert cells == [
        ["1", "Mill Pond dry hydrant", "dry hydrant", "900 gpm, tested 2025-09-12", "all year", "yes"],
        ["2", "Quarry pond (summer)", "draft", "500 gpm, not tested: assumed rate", "April to November", "yes"],
        ["3", "Old cistern", "cistern", "500 gpm as given, no test date", "all year", "no"],
    ]
    # no more than the site gives in all, as the panel and the cards have it
    weak = replace(plan.sites[0], site_gpm=400.0)
    assert "400 gpm" in fill_site_table(replace(plan, sites=(weak, *plan.sites[1:])))
