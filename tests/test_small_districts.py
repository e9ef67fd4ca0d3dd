"""Districts of a road and a few units, planned whole, whose answers can be told by hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import pytest

from preplan.plan import Plan
from preplan.plan_tables import WATER_BETWEEN
from tests.faults.small import TOML
from tests.osm_text import OsmText
from tests.plan_checks import fresh_plan_of
from tests.road_builder import lonlat

Row = Sequence[object]
ROAD = {"highway": "secondary", "name": "Main Road", "maxspeed": "45 mph"}
HEAD = f'{TOML[: TOML.index("[[response_levels]]")]}[required_flow]\nmethod = "given"\n'


def levels(*counts: tuple[int, int]) -> str:
    """Write response levels of so many engines and tankers."""
    row = '[[response_levels]]\nname = "Level {}"\nengines = {}\ntankers = {}\n'
    return HEAD + "".join(row.format(k, *one) for k, one in enumerate(counts, 1))


def planned(
    folder: Path,
    nodes: Mapping[str, tuple[float, float]],
    ways: Sequence[tuple[Sequence[str], Mapping[str, str]]],
    tables: Mapping[str, tuple[str, Sequence[Row]]],
    toml: str,
) -> Plan:
    """Write a district whose places are metres east and north of one point, and plan it."""
    text, number = OsmText(), {name: k for k, name in enumerate(nodes, 1)}
    for name, place in nodes.items():
        text.node(number[name], *lonlat(*place))
    for k, (line, tags) in enumerate(ways, 101):
        text.way(k, [number[name] for name in line], dict(tags))
    text.save(folder)

    def cell(value: object) -> str:
        return ",".join(f"{part:.7f}" for part in lonlat(*value)) if isinstance(value, tuple) else str(value)

    for name, (head, rows) in tables.items():
        lines = [head, *(",".join(cell(value) for value in row) for row in rows)]
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (folder / "district.toml").write_text(toml, encoding="utf-8")
    return fresh_plan_of(folder / "district.toml")


def test_houses_on_both_sides_of_the_fill_site_have_cards_of_their_own(tmp_path: Path) -> None:
    """Equal trips, 1.55 mi each, but one lies to the right out of the lane and the other to the left."""
    long = {**ROAD, "name": "Long Road", "maxspeed": "35 mph"}
    nodes = {"a": (0, 0), "w": (3500, 0), "m": (6000, 0), "e": (8500, 0), "z": (12000, 0), "p": (6000, 300)}
    places = [("A1", "100 Long Road", (3500, 20), 200), ("A2", "110 Long Road", (3480, 20), 200),
              ("A3", "900 Long Road", (8500, 20), 200)]  # fmt: skip
    plan = planned(
        tmp_path, nodes, [("awmez", long), ("mp", {"highway": "residential", "name": "Pond Lane"})],
        {
            "addresses": ("address_id,label,lon,lat,required_gpm", places),
            "fill_sites": ("site_id,name,kind,lon,lat,fill_gpm,needs_engine,turnaround",
                           [("F1", "Pond", "hydrant", (6000, 150), 1000, "no", "through")]),
            "stations": ("station_id,name,lon,lat,staffed", [("S1", "One", (6000, 10), "yes")]),
            "apparatus": ("unit_id,station_id,kind,tank_gal",
                          [*((f"E{k}", "S1", "engine", 1000) for k in (1, 2, 3)),
                           *((f"T{k}", "S1", "tanker", 3000) for k in (1, 2, 3, 4))]),
        },
        levels((3, 2), (3, 4)),
    )  # fmt: skip
    shared = [[str(plan.addresses.label[a]) for a in group.addresses] for group in plan.groups]
    assert shared == [["100 Long Road", "110 Long Road"], ["900 Long Road"]]
    turns = [group.out_steps[-1].turn for group in plan.groups]
    assert [turn.split()[0] for turn in turns] == ["Right", "Left"]


def test_nobody_is_split_over_two_sites_of_which_one_has_nobody(tmp_path: Path) -> None:
    """Leaving out the slow could take the last tanker off a site; the plan then contradicted itself and stopped."""
    nodes = {"a": (0, 0), "h": (3000, 0), "f0": (3800, 0), "f1": (9000, 0), "z": (9600, 0)}
    plan = planned(
        tmp_path, nodes, [(("a", "h", "f0", "f1", "z"), ROAD)],
        {
            "addresses": ("address_id,label,lon,lat,required_gpm,driveway_ft",
                          [("A1", "100 Main Road", (3000, 20), 250, 500)]),
            "fill_sites": ("site_id,name,kind,lon,lat,fill_gpm,site_gpm,needs_engine,turnaround,storage_gal,positions",
                           [("F0", "A", "hydrant", (3800, 10), 1000, "", "no", "through", "", 2),
                            ("F1", "B", "hydrant", (9000, 10), 1000, 300, "yes", "through", 30000, 1)]),
            "stations": ("station_id,name,lon,lat,turnout_min",
                         [("S1", "One", (2900, 10), 9), ("S2", "Two", (2900, 10), 6), ("S3", "Three", (2900, 10), 18.5),
                          ("S4", "Four", (2900, 10), 27)]),
            "apparatus": ("unit_id,station_id,kind,tank_gal,pump_gpm,dump_gpm,self_fill_gpm,portable_tank_gal",
                          [("E0", "S1", "engine", 500, 1000, "", "", ""),
                           ("T4", "S2", "tanker", 4000, 500, 300, "", 2000),
                           ("T2", "S3", "tanker", 1800, 500, 900, "", 2000),
                           ("T3", "S4", "tanker", 4000, 500, 1500, 600, 2000)]),
        },
        levels((1, 1), (2, 2), (3, 4)),
    )  # fmt: skip
    assert plan.answers.status.tolist() == ["not met"]  # one engine cannot draft 500 ft away
    used, there = plan.levels.used, plan.levels.at_split
    both = np.any(used & there, axis=2) & np.any(used & ~there, axis=2)
    assert np.all(both | (plan.levels.split < 0))


@pytest.mark.parametrize(("asks", "engines"), [(2, 2), (3, 3), (3, 2)])
def test_a_dump_site_at_a_junction_takes_no_engine_that_does_not_come(tmp_path: Path, asks: int, engines: int) -> None:
    """With two engines the attack engine drafts, so tankers stay within 200 ft, whatever the level asks for."""
    nodes = {"A": (0, 0), "J": (1500, 0), "B": (3000, 0), "C": (3000, 1000), "D": (0, 1000), "X": (1500, -170)}
    loop, spur = {**ROAD, "name": "Loop Road"}, {"highway": "residential", "name": "Spur Lane", "maxspeed": "20 mph"}
    plan = planned(
        tmp_path, nodes, [("AJB", ROAD), ("BCDA", loop), ("JX", spur)],
        {
            "addresses": ("address_id,label,lon,lat,required_gpm,driveway_ft",
                          [("A1", "1 Spur Lane", (1515, -150), 300, 60)]),
            "fill_sites": ("site_id,name,kind,lon,lat,fill_gpm,turnaround",
                           [("F1", "Pond", "dry hydrant", (1500, 1000), 1000, "through")]),
            "stations": ("station_id,name,lon,lat,staffed", [("S1", "One", (100, 10), "yes")]),
            "apparatus": ("unit_id,station_id,kind,tank_gal",
                          [*((f"E{k}", "S1", "engine", 1000) for k in range(1, engines + 1)),
                           *((f"T{k}", "S1", "tanker", 3000) for k in (1, 2, 3))]),
        },
        levels((asks, 3)),
    )  # fmt: skip
    assert plan.answers.status.tolist() == ["served"]
    assert np.all(plan.levels.uninterrupted_gpm[0] > 300.0)
    assert (plan.frontages.along_ft[0] > 0.0) == (engines == 3)


@pytest.mark.parametrize("beyond", [(), ("",), ("5-11",)], ids=["none", "a pond", "a pond in summer"])
def test_a_pond_that_no_tanker_comes_to_keeps_no_dump_site_behind_a_weak_bridge(
    tmp_path: Path, beyond: tuple[str, ...]
) -> None:
    """Tankers stop before the bridge; a pond behind it has a round trip to the house, and nobody to drive it."""
    nodes = {"A": (0, 0), "J": (1500, 0), "B": (3000, 0), "C": (3000, 1000), "D": (0, 1000),
             "X": (1500, -100), "Y": (1500, -120), "Z": (1500, -600)}  # fmt: skip
    lane = {"highway": "residential", "name": "Spur Lane", "maxspeed": "20 mph"}
    weak = {**lane, "bridge": "yes", "maxweight": "5 st"}
    plan = planned(
        tmp_path, nodes,
        [("AJB", ROAD), ("BCDA", {**ROAD, "name": "Loop Road"}), ("JX", lane), ("XY", weak), ("YZ", lane)],
        {
            "addresses": ("address_id,label,lon,lat,required_gpm,driveway_ft",
                          [("A1", "1 Spur Lane", (1515, -180), 300, 60)]),
            "fill_sites": ("site_id,name,kind,lon,lat,fill_gpm,turnaround,months",
                           [("F1", "Mill Pond", "dry hydrant", (1500, 1000), 1000, "through", ""),
                            *(("F2", "Hill Pond", "dry hydrant", (1500, -500), 1000, "through", months)
                              for months in beyond)]),
            "stations": ("station_id,name,lon,lat,staffed", [("S1", "One", (100, 10), "yes")]),
            "apparatus": ("unit_id,station_id,kind,tank_gal",
                          [*((f"E{k}", "S1", "engine", 1000) for k in (1, 2, 3)),
                           *((f"T{k}", "S1", "tanker", 3000) for k in (1, 2, 3))]),
        },
        levels((3, 3)),
    )  # fmt: skip
    assert plan.answers.status.tolist() == ["served"]
    assert plan.frontages.along_ft[0] == pytest.approx(180 / 0.3048, rel=0.01)


def test_where_no_tanker_comes_to_any_fill_site_nothing_is_moved(tmp_path: Path) -> None:
    nodes = {"A": (0, 0), "J": (1500, 0), "B": (3000, 0), "C": (3000, 1000), "D": (0, 1000),
             "X": (1500, -20), "Y": (1500, -100)}  # fmt: skip
    lane = {"highway": "residential", "name": "Spur Lane"}
    weak = {**lane, "bridge": "yes", "maxweight": "5 st"}
    plan = planned(
        tmp_path, nodes, [("AJB", ROAD), ("BCDA", ROAD), ("JX", weak), ("XY", lane)],
        {
            "addresses": ("address_id,label,lon,lat,required_gpm", [("A1", "1 Spur Lane", (1510, -50), 300)]),
            "fill_sites": ("site_id,name,kind,lon,lat", [("F1", "Pond", "dry hydrant", (1500, -90))]),
            "stations": ("station_id,name,lon,lat", [("S1", "One", (100, 10))]),
            "apparatus": ("unit_id,station_id,kind,tank_gal",
                          [("E1", "S1", "engine", 1000), ("T1", "S1", "tanker", 3000)]),
        },
        levels((1, 1)),
    )  # fmt: skip
    assert plan.answers.status.tolist() == ["no route"]
    assert plan.frontages.along_ft.tolist() == [0.0]


def test_a_house_across_a_stream_has_a_card_of_its_own_that_tells_of_the_water(tmp_path: Path) -> None:
    """Two neighbours of equal trips: a stream runs between the road and the second."""
    nodes = {"a": (0, 0), "w": (3500, 0), "m": (6000, 0), "z": (12000, 0), "k": (3480, 30), "l": (3460, 10),
             "j": (3480, 60)}  # fmt: skip
    plan = planned(
        tmp_path, nodes, [("awmz", ROAD), ("lkj", {"waterway": "stream"})],
        {
            "addresses": ("address_id,label,lon,lat,required_gpm,driveway_ft",
                          [("A1", "100 Main Road", (3500, 40), 200, 150),
                           ("A2", "110 Main Road", (3470, 40), 200, 150)]),
            "fill_sites": ("site_id,name,kind,lon,lat,fill_gpm,needs_engine,turnaround",
                           [("F1", "Pond", "hydrant", (6000, 10), 1000, "no", "through")]),
            "stations": ("station_id,name,lon,lat,staffed", [("S1", "One", (6000, 10), "yes")]),
            "apparatus": ("unit_id,station_id,kind,tank_gal",
                          [*((f"E{k}", "S1", "engine", 1000) for k in (1, 2, 3)),
                           *((f"T{k}", "S1", "tanker", 3000) for k in (1, 2))]),
        },
        levels((3, 2)),
    )  # fmt: skip
    told = [WATER_BETWEEN in {flag.code for flag in flags} for flags in plan.answers.flags]
    assert told == [False, True]
    assert [len(group.addresses) for group in plan.groups] == [1, 1]


@pytest.mark.parametrize(("river", "status"), [(True, "served"), (False, "hydrant")])
def test_no_hydrant_s_hose_leads_through_a_river(tmp_path: Path, status: str, *, river: bool) -> None:
    """A house 90 m from its road, a hydrant opposite: 300 ft and the driveway, but a river runs between."""
    nodes = {"a": (0, 0), "w": (3500, 0), "m": (6000, 0), "z": (12000, 0), "k": (3000, 30), "l": (4000, 30),
             "j": (4000, 60), "i": (3000, 60)}  # fmt: skip
    plan = planned(
        tmp_path, nodes, [("awmz", ROAD), *([("kljik", {"natural": "water"})] if river else [])],
        {
            "addresses": ("address_id,label,lon,lat,required_gpm", [("A1", "100 Main Road", (3500, 90), 200)]),
            "hydrants": ("hydrant_id,lon,lat,flow_gpm", [("H1", (3500, 5), 1500)]),
            "fill_sites": ("site_id,name,kind,lon,lat,fill_gpm,needs_engine,turnaround",
                           [("F1", "Pond", "hydrant", (6000, 10), 1000, "no", "through")]),
            "stations": ("station_id,name,lon,lat,staffed", [("S1", "One", (6000, 10), "yes")]),
            "apparatus": ("unit_id,station_id,kind,tank_gal",
                          [*((f"E{k}", "S1", "engine", 1000) for k in (1, 2, 3)),
                           *((f"T{k}", "S1", "tanker", 3000) for k in (1, 2, 3))]),
        },
        levels((3, 3)).replace("[files]", '[files]\nhydrants = "hydrants.csv"'),
    )  # fmt: skip
    assert plan.answers.status.tolist() == [status]


def test_a_sheet_of_months_with_and_without_a_posting_is_told_for_the_lighter_tankers_and_says_what_is_posted(
    tmp_path: Path,
) -> None:
    """T1 alone hauls in all months, and T2 weighs more than the road bears in May and July.

    The plan contradicted itself and stopped: the sheet of April to November was told for both.
    """
    nodes = {"a": (0, 0), "f0": (400, 0), "h": (3500, 0), "m": (4000, 0), "f1": (4500, 0), "z": (6000, 0)}
    heads = "site_id,name,kind,lon,lat,fill_gpm,needs_engine,turnaround,months"
    plan = planned(
        tmp_path, nodes, [(("a", "f0", "h", "m", "f1", "z"), ROAD)],
        {
            "addresses": ("address_id,label,lon,lat,required_gpm", [("A1", "100 Main Road", (3500, 20), 100)]),
            "fill_sites": (heads, [("F0", "A", "hydrant", (400, 10), 1000, "no", "through", ""),
                                   ("F1", "B", "hydrant", (4500, 10), 1000, "no", "through", "4-11")]),
            "stations": ("station_id,name,lon,lat,staffed", [("S1", "One", (3400, 10), "yes")]),
            "apparatus": ("unit_id,station_id,kind,tank_gal,loaded_lb",
                          [("E1", "S1", "engine", 1000, 30000), ("E2", "S1", "engine", 1000, 30000),
                           ("T1", "S1", "tanker", 2000, 40000), ("T2", "S1", "tanker", 2500, 60000)]),
            "closures": ("closure_id,kind,value,lon,lat,months", [("C1", "max_lb", 50000, (4000, 0), '"5,7"')]),
        },
        levels((2, 1), (2, 2)).replace("[roads]", 'closures = "closures.csv"\n\n[roads]'),
    )  # fmt: skip
    (group,) = plan.groups
    (sheet,) = (other for other in group.others if other.months)
    assert (sheet.site, sheet.months, sheet.tankers) == (1, tuple(range(4, 12)), (2,))
    assert plan.cuts[int(plan.sheet_trips.cut[sheet.trip])].unit_ids == ("T1",)
    assert [flag.code for flag in sheet.flags] == ["not for later tanker"]
    assert "T2 (60,000 lb)" in str(sheet.flags[0])
    assert "May, July" in str(sheet.flags[0])
