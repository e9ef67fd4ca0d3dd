"""The bridge inventory: its headers and codes as they come, and its bridges found on hand-drawn roads."""

from __future__ import annotations

import csv
import gzip
import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from preplan.inputs.bridges import read_bridges
from preplan.inputs.columns import match_headers
from preplan.inputs.sheet import Sheet
from preplan.inputs.table_specs import SPECS
from preplan.inputs.tables import TextTable
from preplan.records import ALL_MONTHS, BridgeTable, Closure, text_array
from preplan.roads.inventory import barring_lb, is_bridge, match_bridges, rating_lb
from preplan.roads.limits import limits_of
from preplan.roads.seasons import all_year, road_seasons
from preplan.rules import Rules
from tests.inputs_folder import sheet_of
from tests.osm_text import one_way_street
from tests.road_builder import draw, lonlat
from tests.shared_data import shared

INF = float("inf")
NBI = (
    "STRUCTURE_NUMBER_008,FEATURES_DESC_006A,FACILITY_CARRIED_007,OWNER_022,LAT_016,LONG_017,"
    "OPR_RATING_METH_063,OPERATING_RATING_064,POSTING_EVAL_070,OPEN_CLOSED_POSTED_041"
)


def read(header: str, *rows: str) -> tuple[BridgeTable, Sheet]:
    sheet = sheet_of("bridges", header, [row.split("|") for row in rows])
    return read_bridges(sheet), sheet


def test_columns_and_codes_of_the_inventory_are_understood() -> None:
    found, sheet = read(
        NBI,
        "B2|MILL BROOK|TH 24|3|44251250|072300750|1|17.2|3|B",
        "B1|RIVER|SR 9|1|44000000|073000000|1|49.0|5|A",
    )
    assert sheet.faults == []
    assert found.bridge_id.tolist() == ["B1", "B2"]
    # 44 25 12.50 N, 72 30 07.50 W
    assert found.lat.tolist() == pytest.approx([44.0, 44 + 25 / 60 + 12.5 / 3600])
    assert found.lon.tolist() == pytest.approx([-73.0, -(72 + 30 / 60 + 7.5 / 3600)])
    assert found.owner.tolist() == ["State Highway Agency", "Town or Township Highway Agency"]
    assert (found.road.tolist(), found.crosses.tolist()) == (["SR 9", "TH 24"], ["RIVER", "MILL BROOK"])
    assert found.operating_lb == pytest.approx([49.0 * 2204.62262, 17.2 * 2204.62262])
    assert found.posting.tolist() == [
        "no posting required",
        "posting recommended, not in place; posting required, 10 to 19.9 % below legal loads",
    ]


def test_an_inventory_may_be_that_of_a_whole_country() -> None:
    """Places across a country are no slip, as they would be among the addresses of one district."""
    found, sheet = read("bridge_id,lon,lat", "B1|-72.0|44.0", "B2|-72.1|44.0", "B3|-122.0|38.0")
    assert sheet.faults == []
    assert found.lon.tolist() == [-72.0, -72.1, -122.0]
    homes = sheet_of("addresses", "address_id,label,lon,lat", [
        ["A1", "1 X", "-72.0", "44.0"], ["A2", "2 X", "-72.1", "44.0"], ["A3", "3 X", "-122.0", "38.0"],
    ])  # fmt: skip
    homes.place()
    assert [(fault.id, fault.rule) for fault in homes.faults] == [
        ("A3", "lies far from all others of its table: is a digit wrong?")
    ]


@pytest.mark.parametrize(
    ("header", "cells", "pounds"),
    [
        ("operating_lb", "42,000 lb", 42000.0),
        ("operating_lb", "21 tons", 42000.0),
        ("64 - Operating Rating (US tons)", "48.9", 97800.0),
        ("OPERATING_RATING_064", "10", 22046.2262),
        ("OPERATING_RATING_064", "0", np.nan),  # closed or not rated
        ("OPERATING_RATING_064", "99.9", np.nan),  # no rating needed
        ("OPERATING_RATING_064,OPR_RATING_METH_063", "1.25|8", np.nan),  # a factor, no weight
        ("OPERATING_RATING_064,OPR_RATING_METH_063", "32.4|8", 71429.773),
        ("OPERATING_RATING_064,OPR_RATING_METH_063", "3|2", 6613.868),
        ("operating_lb", "", np.nan),
    ],
)
def test_ratings_in_the_unit_of_their_column(header: str, cells: str, pounds: float) -> None:
    found, sheet = read(f"bridge_id,lon,lat,{header}", f"b|-72|44|{cells}")
    assert sheet.faults == []
    assert found.operating_lb[0] == pytest.approx(pounds, nan_ok=True)


def test_faults_name_their_cells_and_a_bridge_without_a_place_is_only_counted() -> None:
    found, sheet = read(
        f"{NBI}",
        "a|||1|44610000|072000000|1|20|5|A",  # 61 minutes
        "b|||1|44000000|072006100|1|20|5|A",  # 61 seconds
        "c|||1|95000000|072000000|1|20|5|A",  # beyond the pole
        "d|||1|44000000|072000000|1|much|5|A",
        "e|||1|0|0|1|20|5|A",
        "f|||1|44000000|072000000|1|20|5|A",
    )
    assert [(fault.id, fault.column) for fault in sheet.faults] == [
        ("b", "LONG_017"), ("a", "LAT_016"), ("c", "LAT_016"), ("d", "OPERATING_RATING_064"),
    ]  # fmt: skip
    assert found.bridge_id.tolist() == ["f"]
    assert any("1 bridges have no place" in note for note in sheet.notes)
    _, plain = read("bridge_id,lon,lat", "a|-72|444", "b|0|0", "c||", "d|-72|44")
    assert [(fault.id, fault.column) for fault in plain.faults] == [("a", "lat")]
    assert any("2 bridges have no place" in note for note in plain.notes)


def test_a_real_inventory_is_read_whole() -> None:
    text = gzip.decompress(shared("bridges", "ne_nbi.csv.gz").read_bytes()).decode()
    header, *rows = list(csv.reader(io.StringIO(text)))
    sheet = _sheet(header, rows)
    found = read_bridges(sheet)
    assert sheet.faults == []
    assert len(found) == len(rows) == 15336
    first = found.bridge_id.tolist().index("00000000000B315")
    assert (found.owner[first], found.road[first]) == ("Bureau of Indian Affairs", "IRR BIA RTE 820")
    assert found.operating_lb[first] == pytest.approx(97800.0)
    assert -104.1 < found.lon.min() < found.lon.max() < -95.2
    assert 39.9 < found.lat.min() < found.lat.max() < 43.1


def _sheet(header: list[str], rows: list[list[str]]) -> Sheet:
    table = TextTable(
        file="ne.csv", headers=tuple(header),
        columns=tuple(text_array([row[i].strip() for row in rows]) for i in range(len(header))),
        row=np.arange(len(rows), dtype=np.int32) + np.int32(2), overlong=np.zeros(len(rows), dtype=np.bool_),
    )  # fmt: skip
    return Sheet(table, match_headers(table, SPECS["bridges"], {})[0], "bridge_id")


WORDS_OF_STATUS = (
    "A", "K", "Closed", "K - Bridge closed to all traffic", "CLOSED: do not cross", "P", "Posted", "", "not closed",
    "Open, not posted", "R",
)  # fmt: skip


def test_a_bridge_that_the_inventory_has_closed_is_rated_for_nothing() -> None:
    """Item 41: K is closed to all traffic; nobody is sent over it, whatever the rating says, and that is told."""
    header = ["bridge_id", "lon", "lat", "operating_tonnes", "status"]
    rows = [[f"B{at}", "-74.9", "43.9", "30.0", word] for at, word in enumerate(WORDS_OF_STATUS)]
    sheet = _sheet(header, rows)
    found = read_bridges(sheet)
    assert found.bridge_id[found.operating_lb == 0.0].tolist() == ["B1", "B2", "B3", "B4"]
    closed = "CLOSED by the inventory, no truck is sent over: B1 (row 3), B2 (row 4), B3 (row 5), B4 (row 6)."
    assert any(closed in note for note in sheet.notes)
    (posted,) = (note for note in sheet.notes if "posted for load" in note)
    assert "B5 (row 7), B6 (row 8). " in posted
    assert "max_lb" in posted
    assert not any("CLOSED" in note or "posted" in note for note in _read_notes(header, rows[:1]))


def _read_notes(header: list[str], rows: list[list[str]]) -> list[str]:
    sheet = _sheet(header, rows)
    read_bridges(sheet)
    return list(sheet.notes)


@pytest.mark.parametrize("cell", ["12 tons", "24000 lb", "24000", "12"])
def test_a_weight_in_the_column_of_postings_is_asked_for_where_it_counts(cell: str) -> None:
    """The column holds codes and words for the pages: a weight in it limits nobody."""
    header = ["bridge_id", "lon", "lat", "posting"]
    (note,) = _read_notes(header, [["B1", "-74.9", "43.9", cell], ["B2", "-74.9", "43.9", "3.0"]])
    assert "not read from this table: B1 (row 2). " in note
    assert "closures.csv" in note


@pytest.mark.parametrize(
    ("column", "cell", "meant"),
    [
        ("operating_us_tons", "37919", "is probably pounds: give tons (19.0)"),
        ("operating_tonnes", "34200", "is probably pounds: give tonnes (15.5)"),
        ("operating_lb", "25", "is probably tons: give pounds (50,000)"),
        ("operating_us_tons", "7000000", "is no operating rating"),
    ],
)
def test_a_rating_in_another_unit_than_its_column_is_a_fault(column: str, cell: str, meant: str) -> None:
    """Pounds in a column of tons made a bridge of 75 million lb, tons in one of pounds a bridge of 25."""
    sheet = _sheet(["bridge_id", "lon", "lat", column], [["B1", "-74.9", "43.9", cell]])
    read_bridges(sheet)
    (fault,) = sheet.faults
    assert (fault.row, fault.column, fault.value) == (2, column, cell)
    assert "operating rating of a bridge" in fault.rule
    assert fault.rule.startswith(meant)


# --------------------------------------------------------------------------- on the map


def table(*bridges: tuple[str, tuple[float, float], str]) -> BridgeTable:
    """Make an inventory of (id, (east_m, north_m), road carried)."""
    count = len(bridges)
    where = np.array([lonlat(*place) for _, place, _ in bridges]).reshape(-1, 2)
    nothing = text_array([""] * count)
    return BridgeTable(
        bridge_id=text_array([one for one, _, _ in bridges]), lon=where[:, 0], lat=where[:, 1], owner=nothing,
        road=text_array([road for _, _, road in bridges]), crosses=nothing, operating_lb=np.full(count, 40000.0),
        posting=nothing,
    )  # fmt: skip


# two roads 150 m apart over one brook: the bridge of Main Street is two stretches, Back Road's is one; then a culvert
TOWN = draw(
    {"a": (0, 0), "b": (100, 0), "m": (110, 0), "c": (120, 0), "d": (900, 0), "e": (920, 0), "f": (1000, 0),
     "g": (0, 150), "h": (100, 150), "i": (120, 150), "j": (1000, 150)},
    [
        ("a", "b", {"name": "Main Street"}),
        ("b", "m", {"name": "Main Street", "bridge": "yes", "way": 7}),
        ("m", "c", {"name": "Main Street", "bridge": "yes", "way": 7}),
        ("c", "d", {"name": "Main Street"}),
        ("d", "e", {"name": "Main Street", "bridge": "culvert"}),
        ("e", "f", {"name": "Main Street"}),
        ("g", "h", {"name": "Back Road"}),
        ("h", "i", {"name": "Back Road", "bridge": "covered"}),
        ("i", "j", {"name": "Back Road"}),
    ],
)  # fmt: skip


def matched(*bridges: tuple[str, tuple[float, float], str]) -> tuple[list[str], list[str], list[str]]:
    """Give the inventory's id at the three stretches of bridge, how each was found, and the ids that were not."""
    inventory = table(*bridges)
    row, named, problems = match_bridges(TOWN.roads, inventory)
    bridge = np.flatnonzero(is_bridge(TOWN.roads))
    assert bridge.tolist() == [1, 2, 7]
    assert (row[~is_bridge(TOWN.roads)] == -1).all()
    ids = [str(inventory.bridge_id[one]) if one >= 0 else "" for one in row[bridge].tolist()]
    by = ["" if one < 0 else "name" if named[at] else "place" for at, one in zip(bridge, row[bridge], strict=True)]
    return ids, by, [problem.value for problem in problems]


def test_a_bridge_is_found_by_the_road_it_carries_though_another_is_nearer() -> None:
    found = matched(("B1", (110, 140), "MAIN ST"), ("B2", (110, 20), "BACK RD"))
    assert found == (["B1", "B1", "B2"], ["name"] * 3, [])


def test_without_a_name_that_agrees_nearness_counts_for_one_road_only() -> None:
    assert matched(("B1", (110, 30), "TH 24")) == (["B1", "B1", ""], ["place", "place", ""], [])
    # 61 m is 200 ft
    assert matched(("B1", (110, -60), "TH 24"))[0] == ["B1", "B1", ""]
    assert matched(("B1", (110, -62), "TH 24"))[0] == ["", "", ""]


def test_of_two_bridges_of_one_name_the_nearer_is_taken() -> None:
    found = matched(("B1", (112, 10), "Main Street"), ("B2", (150, 10), "Main Street"))
    assert found == (["B1", "B1", ""], ["name", "name", ""], ["B2"])


@pytest.mark.parametrize("first_lb", [30000.0, 0.0, np.nan, 50000.0])
def test_of_two_rows_on_one_bridge_the_weaker_holds_and_the_other_is_told(first_lb: float) -> None:
    """Spans of one bridge may have rows of their own; a nearer one does not hide a lower rating, or a closing."""
    both = table(("B1", (112, 10), "Main Street"), ("B2", (150, 10), "Main Street"))
    both = replace(both, operating_lb=np.array([first_lb, 40000.0]))
    row, _, (problem,) = match_bridges(TOWN.roads, both)
    first_holds = first_lb < 40000.0
    assert row[1:3].tolist() == ([0, 0] if first_holds else [1, 1])
    assert rating_lb(both, row)[1:3].tolist() == [first_lb if first_holds else 40000.0] * 2
    holds = "B1" if first_holds else "B2"
    assert problem.value == ("B2" if first_holds else "B1")
    assert problem.rule.endswith(f"the lower rating of the two holds, that of {holds}")
    assert f"near it and {holds}, carrying Main Street" in problem.rule


def test_a_far_row_of_the_same_road_takes_no_bridge_from_another() -> None:
    """201 ft from it, it may be a culvert that is not mapped: its rating is another's."""
    both = table(("B1", (112, 10), "Main Street"), ("B2", (120 + 62, 0), "Main Street"))
    row, _, (problem,) = match_bridges(TOWN.roads, replace(both, operating_lb=np.array([50000.0, 40000.0])))
    assert row[1:3].tolist() == [0, 0]
    assert "perhaps a culvert" in problem.rule


def test_a_code_before_the_guide_s_words_decides() -> None:
    """Item 41 describes codes that are open by what would be closed without them."""
    statuses = [
        "D - Open, would be posted or closed except for temporary shoring", "E: open while the original is closed",
        "P - Posted for load", "K", "K - Bridge closed", "Bridge closed", "b",
    ]  # fmt: skip
    rows = [[f"B{at}", "-72", "44", "30", said] for at, said in enumerate(statuses)]
    sheet = _sheet(["bridge_id", "lon", "lat", "operating_tonnes", "status"], rows)
    rated = dict(zip(statuses, read_bridges(sheet).operating_lb.tolist(), strict=True))
    assert [said for said, pounds in rated.items() if pounds == 0.0] == ["K", "K - Bridge closed", "Bridge closed"]


def test_each_row_takes_its_own_bridge_before_any_takes_two() -> None:
    """One lies 60 m beyond the first bridge, so 70 m from the second, whose own row lies 90 m off and has it closed."""
    nodes = {
        "a": (-500.0, 0.0),
        "b": (0.0, 0.0),
        "c": (20.0, 0.0),
        "d": (150.0, 0.0),
        "e": (170.0, 0.0),
        "f": (900.0, 0.0),
    }
    road, bridge = {"name": "Mill Road"}, {"name": "Mill Road", "bridge": "yes"}
    ends = [("a", "b", road), ("b", "c", bridge), ("c", "d", road), ("d", "e", bridge), ("e", "f", road)]
    town = draw(nodes, [(one, other, {**said, "way": 10 + at}) for at, (one, other, said) in enumerate(ends)])
    both = table(("A", (80.0, 0.0), "Mill Road"), ("B", (260.0, 0.0), "Mill Road"))
    row, _, problems = match_bridges(town.roads, both)
    assert (row.tolist(), problems) == ([-1, 0, -1, 1, -1], ())
    # alone it is no other bridge of the road either
    row, _, _ = match_bridges(town.roads, table(("B", (260.0, 0.0), "Mill Road")))
    assert row.tolist() == [-1, -1, -1, 0, -1]


def test_what_is_found_nowhere_is_reported_inside_the_map_only() -> None:
    found = matched(("IN", (910, 5), "MAIN STREET"), ("OUT", (9000, 9000), "FAR ROAD"))
    assert found == (["", "", ""], ["", "", ""], ["IN"])
    assert match_bridges(TOWN.roads, BridgeTable.none())[2] == ()


# --------------------------------------------------------------------------- ratings hold trucks off


def test_every_stretch_of_a_bridge_has_its_rating() -> None:
    inventory = table(("B1", (110, 0), "Main Street"))
    row, _, _ = match_bridges(TOWN.roads, inventory)
    assert rating_lb(inventory, row).tolist() == [INF, 40000.0, 40000.0, *[INF] * 6]
    unrated = replace(inventory, operating_lb=np.array([np.nan]))
    assert (rating_lb(unrated, row) == INF).all()
    assert (rating_lb(BridgeTable.none(), np.full(9, -1, dtype=np.int32)) == INF).all()


def test_a_closed_bridge_holds_trucks_off_whether_ratings_are_obeyed_or_not() -> None:
    """The rule passes over what a bridge is rated for, not over one that nobody may drive on."""
    row = np.array([0, 1, 2, -1], dtype=np.int32)
    inventory = replace(
        table(("A", (110, 0), ""), ("K", (110, 1), ""), ("N", (110, 2), "")),
        operating_lb=np.array([40000.0, 0.0, np.nan]),
    )
    assert barring_lb(inventory, row, obeyed=True).tolist() == [40000.0, 0.0, INF, INF]
    assert barring_lb(inventory, row, obeyed=False).tolist() == [INF, 0.0, INF, INF]


def test_a_closed_bridge_that_is_not_on_the_map_is_told_with_what_to_do() -> None:
    """It cannot be shut where it is not found: 'not used' would hide that trucks are sent over it."""
    inventory = replace(table(("K", (910, 5), "MAIN STREET")), operating_lb=np.zeros(1))
    (problem,) = match_bridges(TOWN.roads, inventory)[2]
    assert problem.value == "K"
    assert "is CLOSED by the inventory" in problem.rule
    assert "closures.csv" in problem.rule


@pytest.mark.parametrize(
    ("tags", "max_lb", "rated", "posted", "unposted"),
    [
        ({"bridge": "yes"}, 40000.0, True, False, True),
        ({"bridge": "yes", "maxweight": "15 st"}, 30000.0, False, True, False),
        ({"bridge": "yes", "maxweight": "30 st"}, 40000.0, True, True, False),
        ({"bridge": "yes", "maxweight": "none"}, 40000.0, True, False, False),
    ],
)
def test_the_lower_of_sign_and_rating_holds(
    tmp_path: Path, tags: dict[str, str], max_lb: float, rated: bool, posted: bool, unposted: bool
) -> None:
    roads = one_way_street(tmp_path, tags)
    limits, _ = limits_of(roads, Rules().roads, rated_lb=np.full(len(roads), 40000.0))
    found = (limits.max_lb[0], limits.rated[0], limits.posted[0], limits.unposted_bridge[0])
    assert found == (max_lb, rated, posted, unposted)


@pytest.mark.parametrize("value", [25000.0, 60000.0])
def test_a_weight_that_the_district_gives_replaces_the_rating(tmp_path: Path, value: float) -> None:
    """So an owner's word, or a bridge that was matched wrongly, comes into the plan."""
    roads = one_way_street(tmp_path, {"bridge": "yes"})
    own = Closure(closure_id="C1", kind="max_lb", way_id=10, value=value)
    limits, _ = limits_of(roads, Rules().roads, (own,), rated_lb=np.full(len(roads), 40000.0))
    assert (limits.max_lb[0], bool(limits.rated[0]), bool(limits.posted[0])) == (value, False, True)


def test_a_posting_of_spring_is_no_rating_and_all_year_the_lower_one_is_shown(tmp_path: Path) -> None:
    roads = one_way_street(tmp_path, {"bridge": "yes"})
    spring = Closure(closure_id="C1", kind="max_lb", way_id=10, value=24000.0, months=frozenset({3, 4}))
    rated_lb = np.full(len(roads), 40000.0)
    seasons, _ = road_seasons(roads, Rules().roads, (spring,), ALL_MONTHS, rated_lb)
    assert [(one.limits.max_lb[0], bool(one.limits.rated[0])) for one in seasons] == [(40000.0, True), (24000.0, False)]
    year = all_year(seasons)
    assert (year.max_lb[0], bool(year.rated[0])) == (24000.0, False)
