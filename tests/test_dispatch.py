"""Dispatch: any number along a road has one answer, its own; neighbours differ only where the row shows why."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import fields, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from preplan.months import months_of
from preplan.plan import Plan
from preplan.plan_cards import CardGroup
from preplan.plan_tables import SHUT_BEYOND, Flag, NurseTable, SeasonLine
from preplan.records import text_array
from preplan.render.dispatch import (
    AT_ONCE,
    AT_ONCE_BEST,
    AT_ONCE_TOO,
    DISPATCH_COLUMNS,
    NO_SHUTTLE,
    NONE_MEETS,
    NONE_PLANNED,
    dispatch_csv,
)
from preplan.render.first_minutes import AT_ONCE as FIRST_ALARM
from preplan.render.first_minutes import little_time, officer_words
from tests.example_plan import example_plan, split_plan
from tests.faults.small import TABLES, TOML, SmallDistrict
from tests.plan_checks import SAMPLE, plan_of
from tests.test_tables import changed, picked, rows_of

ANSWERS = ("response_level", "units", "fill_site_id", "backup_site_id", "winter_site_id", "status", "required_gpm")
SERVED, HIGHER, NOT_MET, NO_ROUTE, HYDRANT = 0, 1, 2, 4, 5
"""Addresses of the drawn plan, by their status."""
OFF = "90,000 ft from the nearest road that a tanker can use"


def street(answers: Sequence[int], numbers: Sequence[int], road: str = "Mill Road", **columns: Any) -> Plan:
    """Return a plan of one road: at each number the answer of an address of the drawn plan."""
    plan = picked(example_plan(), list(answers))
    n = len(answers)
    at = {"lon": [-72.0] * n, "lat": [44.0] * n} | columns
    addresses = replace(
        changed(plan.addresses, number=list(numbers), lon=at["lon"], lat=at["lat"]),
        label=text_array(at.get("label", [f"{number} {road}" for number in numbers])),
        street=text_array([road] * n),
    )
    group = CardGroup(
        road=road, addresses=tuple(range(n)), lead=0, first_number=1, last_number=1, out_steps=(), back_steps=(),
        cross_street="Quarry Lane",
    )  # fmt: skip
    return replace(plan, addresses=addresses, road=addresses.street, groups=(group,) if n else ())


def rows(plan: Plan) -> list[dict[str, str]]:
    return rows_of(dispatch_csv(plan))


def spans(plan: Plan) -> list[tuple[str, str, str, str]]:
    return [(row["from_number"], row["to_number"], row["parity"], row["status"]) for row in rows(plan)]


def look_up(found: list[dict[str, str]], number: int) -> list[dict[str, str]]:
    """Look a number up as a dispatch system does."""
    side = "odd" if number % 2 else "even"
    return [
        row
        for row in found
        if row["from_number"]
        and int(row["from_number"]) <= number <= int(row["to_number"])
        and row["parity"] in {"all", side}
    ]


def test_the_drawn_plan() -> None:
    plan = example_plan()
    none = f"send Level 2 with the first alarm: {NONE_MEETS}, it holds the most{AT_ONCE_TOO}"
    assert dispatch_csv(plan).decode().splitlines() == [
        ",".join(DISPATCH_COLUMNS),
        f',1,1,odd,,,,,,,,no route,500,,,,,1,,,,-71.900000,44.200000,,"{OFF}; {NO_SHUTTLE}"',
        (
            "Mill Road,3,3,odd,,,,,,,,hydrant,250,,,,,1,,,,-72.039000,44.000500,,"
            f'"{NONE_PLANNED}; hydrant H1, 400 ft by road and driveway, counts for 670 gpm"'
        ),
        (
            "Mill Road,12,12,even,Level 1,Level 1,E1 E2 T1 T2,F1,,F2,,served,250,322,310,tankers,,1,,,Quarry Lane,"
            "-72.036000,44.001500,,"
        ),
        (
            "Mill Road,40,40,even,Level 2,Level 2,E1 E2 T1 E3 T2,F1,,,,higher level,500,514,505,tankers,0.0,1,,,,"
            f'-72.030500,44.003500,,"{AT_ONCE}"'
        ),
        (
            "Quarry Lane,7,7,odd,,Level 2,E1 E2 T1 E3 T2,F1,,,,not met,500,270,260,tankers,0.0,1,,,Mill Road,"
            f'-72.020500,44.006000,,"{none}"'
        ),
        (
            "Quarry Lane,9,9,odd,,Level 2,E1 E2 T1 E3 T2,F1,,F2,,not met,500,251,240,tankers,0.0,1,,,Mill Road,"
            f'-72.019500,44.009000,,"{none}"'
        ),
    ]


def test_neighbours_that_agree_share_a_row() -> None:
    """A run ends where the answer changes; one side of the road is named where the houses stand on one."""
    plan = street([SERVED, SERVED, SERVED, HIGHER, SERVED], [2, 3, 4, 9, 12])
    assert spans(plan) == [
        ("2", "4", "all", "served"), ("9", "9", "odd", "higher level"), ("12", "12", "even", "served"),
    ]  # fmt: skip
    assert [row["addresses"] for row in rows(plan)] == ["3", "1", "1"]


def test_sides_that_differ_have_rows_of_their_own() -> None:
    plan = street([SERVED, HIGHER] * 4, [1, 2, 3, 4, 5, 6, 7, 8])
    assert spans(plan) == [("1", "7", "odd", "served"), ("2", "8", "even", "higher level")]


@pytest.mark.parametrize(
    ("label", "lat", "ranges"),
    [
        ("Grange Hall, house 6 behind the church", 45.0, [("2", "4"), ("8", "10")]),
        ("Barn behind 8 Mill Rd", 45.0, [("2", "4"), ("8", "8"), ("10", "10")]),
        ("Grange Hall", 44.005, [("2", "4"), ("8", "10")]),
        ("Grange Hall", 45.0, [("2", "10")]),
        ("Grange Hall, house 12", 45.0, [("2", "10")]),
    ],
    ids=["number within", "number of another", "stands between", "stands elsewhere", "number beyond"],
)
def test_no_range_claims_a_house_without_a_number_that_answers_otherwise(
    label: str, lat: float, ranges: list[tuple[str, str]]
) -> None:
    """Who looks up the hall's number must not be sent with what the houses beside it need."""
    where: dict[str, Any] = {"label": ["", "", "", "", label], "lat": [44.0, 44.001, 44.009, 44.01, lat]}
    found = rows(street([SERVED] * 4 + [NOT_MET], [2, 4, 8, 10, -1], **where))
    assert [(row["from_number"], row["to_number"]) for row in found if not row["label"]] == ranges
    assert [row["status"] for row in found if row["label"] == label] == ["not met"]
    told = [row["from_number"] for row in found if repr(label) in row["note"]]
    assert told == (["8"] if "behind 8" in label else [])
    alike = rows(street([SERVED] * 5, [2, 4, 8, 10, -1], **where))
    assert [(row["from_number"], row["to_number"]) for row in alike if not row["label"]] == [("2", "10")]


def test_a_row_of_hydrants_names_them_and_how_far_they_are() -> None:
    plan = street([HYDRANT] * 3, [3, 5, 7])
    (row,) = rows(plan)
    assert row["note"] == f"{NONE_PLANNED}; hydrant H1, up to 400 ft by road and driveway, counts for 670 gpm"
    near = replace(
        plan.near_hydrant, hydrant=np.array([0, 1, 1]), distance_ft=np.array([400.0, 610.0, 500.0]),
        credited_gpm=np.array([670.0, 500.0, 550.0]),
    )  # fmt: skip
    mains = replace(
        plan.hydrants, **{f.name: np.repeat(getattr(plan.hydrants, f.name), 2) for f in fields(plan.hydrants)}
    )
    mains.hydrant_id[1], mains.assumed[1] = "H2", True
    (row,) = rows(replace(plan, near_hydrant=near, hydrants=mains))
    assert row["note"] == (
        f"{NONE_PLANNED}; 3: hydrant H1, 400 ft by road and driveway, counts for 670 gpm; "
        "5 7: hydrant H2, up to 610 ft by road and driveway, counts for 500 gpm (assumed)"
    )


def test_a_hydrant_in_between_is_not_swallowed() -> None:
    plan = street([SERVED, HYDRANT, SERVED], [2, 4, 6])
    assert [span[3] for span in spans(plan)] == ["served", "hydrant", "served"]


def test_roads_are_named_as_on_every_page() -> None:
    """Tables spell a street in their own way; all pages call it one name."""
    plan = street([SERVED, HYDRANT], [2, 4])
    plan = replace(plan, addresses=replace(plan.addresses, street=text_array(["MILL RD", "mill rd"])))
    assert [row["road"] for row in rows(plan)] == ["Mill Road", "Mill Road"]


def test_equal_answers_show_the_weakest_flow() -> None:
    plan = street([SERVED, SERVED], [2, 4])
    flow = plan.levels.uninterrupted_gpm.copy()
    flow[1, 0] = 255.5
    (row,) = rows(replace(plan, levels=replace(plan.levels, uninterrupted_gpm=flow)))
    assert (row["uninterrupted_gpm"], row["required_gpm"], row["response_level"]) == ("255", "250", "Level 1")


def test_a_need_that_differs_is_seen() -> None:
    """Next door, same level and units, more water needed: two rows, and the need says why."""
    plan = street([SERVED, SERVED], [2, 4])
    plan = replace(plan, needs=changed(plan.needs, required_gpm=[250.0, 300.0]))
    assert [row["required_gpm"] for row in rows(plan)] == ["250", "300"]


def test_order_of_units_is_an_answer() -> None:
    plan = street([SERVED, SERVED], [2, 4])
    arrival = plan.arrival_min.copy()
    arrival[1, :2] = arrival[1, 1::-1]
    assert [row["units"] for row in rows(replace(plan, arrival_min=arrival))] == ["E1 E2 T1 T2", "E2 E1 T1 T2"]


# --------------------------------------------------------------------------- one look-up, several addresses


def test_one_number_two_answers() -> None:
    """A house and its barn: one row, the most demanding, and it says so. 'no route' never hides who comes."""
    plan = street([SERVED, SERVED, NOT_MET, SERVED, NO_ROUTE], [2, 4, 4, 6, 6])
    found = rows(plan)
    assert [(row["from_number"], row["status"]) for row in found] == [
        ("2", "served"),
        ("4", "not met"),
        ("6", "served"),
    ]
    assert found[1]["note"].startswith(f"send Level 2 with the first alarm: {NONE_MEETS}, it holds the most")
    assert found[1]["note"].endswith("; answers of 2 addresses differ: the most demanding is shown (another is served)")
    assert found[2]["note"] == "answers of 2 addresses differ: the most demanding is shown (another is no route)"


def test_one_number_two_places() -> None:
    """Two towns with one street name: a row each, told apart by where they are."""
    plan = street([SERVED, HIGHER, SERVED], [4, 4, 6], lon=[-72.0, -72.1, -72.0])
    found = rows(plan)
    assert [(row["from_number"], row["status"], row["lon"]) for row in found] == [
        ("4", "served", "-72.000000"), ("4", "higher level", "-72.100000"), ("6", "served", "-72.000000"),
    ]  # fmt: skip
    assert [bool(row["note"]) for row in found] == [True, True, False]
    assert found[0]["note"].startswith("one of 2 places of this road and number")


def test_two_places_that_answer_alike_are_one_row() -> None:
    plan = street([SERVED, SERVED], [4, 4], lon=[-72.0, -72.1])
    assert [(row["addresses"], row["note"]) for row in rows(plan)] == [("2", "")]


def test_without_a_number_the_label_is_looked_up() -> None:
    labels = ["Camp Seven", "Pump house", "CAMP SEVEN"]
    plan = street([SERVED, HIGHER, NOT_MET], [-1, -1, -1], label=labels)
    found = rows(plan)
    assert [(row["from_number"], row["to_number"], row["parity"]) for row in found] == [("", "", "all")] * 2
    assert [(row["label"], row["status"]) for row in found] == [
        ("CAMP SEVEN", "not met"),
        ("Pump house", "higher level"),
    ]


@pytest.mark.parametrize("road", ["", "=1+1", "Ünïcødé \u2028 Road"])
def test_other_peoples_roads(road: str) -> None:
    found = rows(street([SERVED, HIGHER], [2, 4], road=road))
    assert len(found) == 2
    assert found[0]["road"] == {"=1+1": "'=1+1"}.get(road, road.replace("\u2028", " "))


# --------------------------------------------------------------------------- whatever the street

houses = st.lists(
    st.tuples(st.integers(-1, 12), st.sampled_from([SERVED, HIGHER, NOT_MET, NO_ROUTE, HYDRANT])), max_size=14
)


@given(houses)
def test_each_address_is_in_one_row_and_each_number_has_one_answer(street_of: list[tuple[int, int]]) -> None:
    """Whatever stands where: rows hold all addresses; a look-up finds one row, which answers as asked."""
    numbers, answers = [n for n, _ in street_of], [a for _, a in street_of]
    plan = street(answers, numbers)
    found = rows(plan)
    assert sum(int(row["addresses"]) for row in found) == len(numbers)
    for number in range(14):
        assert len(look_up(found, number)) <= 1
    drawn = {row["label"]: row for row in rows(street(range(6), [-1] * 6, label=[str(i) for i in range(6)]))}
    for number in {n for n in numbers if n >= 0}:
        (row,) = look_up(found, number)
        here = [drawn[str(a)] for n, a in street_of if n == number]
        assert tuple(row[name] for name in ANSWERS) in {tuple(one[name] for name in ANSWERS) for one in here}
        if len({one["status"] for one in here}) > 1:
            assert "differ" in row["note"]


@given(houses)
def test_rows_next_to_each_other_differ(street_of: list[tuple[int, int]]) -> None:
    """Of two rows of one side that follow each other some cell differs, unless one of them needs a note."""
    found = [row for row in rows(street([a for _, a in street_of], [n for n, _ in street_of])) if row["from_number"]]
    for side in ({"all"}, {"all", "odd"}, {"all", "even"}):
        here = [row for row in found if row["parity"] in side]
        if here != found:
            continue
        for one, other in pairwise(here):
            assert one["note"] or other["note"] or any(one[name] != other[name] for name in ANSWERS)


# --------------------------------------------------------------------------- winter


def test_winter_variant() -> None:
    """Another site in winter is named; no usable one at all is said, not left empty."""
    plan = example_plan()
    best = plan.levels.site.copy()
    best[0], best[1] = 1, -1
    winter = SeasonLine(
        months=(1, 2, 12),
        sites=(1,),
        best_site=best,
        split_site=plan.levels.split,
        backup_site=plan.levels.backup,
        backup_gpm=plan.levels.backup_gpm,
        backup_steady_gpm=plan.levels.backup_steady_gpm,
        uninterrupted_gpm=plan.levels.uninterrupted_gpm,
        brings_gpm=plan.levels.brings_gpm,
    )
    summer = SeasonLine(
        months=tuple(range(3, 12)),
        sites=(0, 1),
        best_site=plan.levels.site,
        split_site=plan.levels.split,
        backup_site=plan.levels.backup,
        backup_gpm=plan.levels.backup_gpm,
        backup_steady_gpm=plan.levels.backup_steady_gpm,
        uninterrupted_gpm=plan.levels.uninterrupted_gpm,
        brings_gpm=plan.levels.brings_gpm,
    )
    found = rows(replace(plan, seasons=(summer, winter)))
    assert [row["winter_site_id"] for row in found] == ["", "", "F2", "no site", "", ""]
    spans = ["", "", "3-11 F1; 12-2 F2", "3-11 F1; 12-2 no site", "", ""]
    assert [row["sites_by_month"] for row in found] == spans


def test_winter_s_two_fill_sites_are_told_where_they_differ() -> None:
    """Tankers are split in winter alone, and then in summer alone."""
    plan = example_plan()
    split = plan.levels.split.copy()
    split[0] = 1
    winter = SeasonLine(
        months=(1, 2, 12),
        sites=(0, 1),
        best_site=plan.levels.site,
        split_site=split,
        backup_site=plan.levels.backup,
        backup_gpm=plan.levels.backup_gpm,
        backup_steady_gpm=plan.levels.backup_steady_gpm,
        uninterrupted_gpm=plan.levels.uninterrupted_gpm,
        brings_gpm=plan.levels.brings_gpm,
    )
    assert "F1+F2" in [row["winter_site_id"] for row in rows(replace(plan, seasons=(winter,)))]
    single = replace(winter, split_site=plan.levels.split)
    found = rows(replace(split_plan(), seasons=(single,)))
    assert ("F1", "F2", "F1") in [(row["fill_site_id"], row["split_site_id"], row["winter_site_id"]) for row in found]
    assert [row["sites_by_month"] for row in found].count("12-2 F1") == 1


def test_winter_alone_parts_neighbours() -> None:
    plan = street([SERVED, SERVED], [2, 4])
    best = plan.levels.site.copy()
    best[1] = 1
    winter = SeasonLine(
        months=(1,),
        sites=(0, 1),
        best_site=best,
        split_site=plan.levels.split,
        backup_site=plan.levels.backup,
        backup_gpm=plan.levels.backup_gpm,
        backup_steady_gpm=plan.levels.backup_steady_gpm,
        uninterrupted_gpm=plan.levels.uninterrupted_gpm,
        brings_gpm=plan.levels.brings_gpm,
    )
    assert [row["winter_site_id"] for row in rows(replace(plan, seasons=(winter,)))] == ["", "F2"]


def with_a_way_in_summer(plan: Plan, *addresses: int) -> Plan:
    """Give some addresses without a route one from the second fill site, May to October."""
    best = plan.levels.site.copy()
    best[list(addresses)] = 1
    lines = [
        SeasonLine(
            months=months,
            sites=(0, 1),
            best_site=site,
            split_site=plan.levels.split,
            backup_site=plan.levels.backup,
            backup_gpm=plan.levels.backup_gpm,
            backup_steady_gpm=plan.levels.backup_steady_gpm,
            uninterrupted_gpm=np.where(site >= 0, 999.0, np.nan),
            brings_gpm=np.where(site >= 0, 999.0, np.nan),
        )
        for months, site in (((1, 2, 3, 4, 11, 12), plan.levels.site), ((5, 6, 7, 8, 9, 10), best))
    ]
    return replace(plan, seasons=tuple(lines))


WAY_IN_SUMMER = "May to October: send Level 1 from F2"
NO_WAY_IN_WINTER = f"November to April: {NO_SHUTTLE}"


def test_a_place_that_shares_its_number_says_what_serves_it_in_summer_too() -> None:
    """Two towns with one street name: who reads 'no route' and no more sends nobody, in July too."""
    plan = with_a_way_in_summer(street([NO_ROUTE, SERVED], [4, 4], lon=[-72.0, -72.1]), 0)
    note = {row["status"]: row["note"] for row in rows(plan)}
    place = "one of 2 places of this road and number; tell them apart by cross street or lon, lat"
    assert note["no route"] == f"{place}; {OFF}; {NO_WAY_IN_WINTER}; {WAY_IN_SUMMER}"
    assert OFF not in note["served"]


@pytest.mark.parametrize("with_way", [0, 1])
def test_one_number_whose_addresses_differ_in_other_months_alone(with_way: int) -> None:
    """The cells are equal, and one of the two has a way in summer: whichever is shown, the row tells whose."""
    (row,) = rows(with_a_way_in_summer(street([NO_ROUTE, NO_ROUTE], [4, 4]), with_way))
    whose = "of another address here" if with_way else "of the address shown"
    without = f"{NO_SHUTTLE if with_way else NO_WAY_IN_WINTER} (of the address shown)"
    assert (row["addresses"], row["status"]) == ("2", "no route")
    assert row["note"] == (
        f"answers of 2 addresses differ in other months; {OFF} (of the address shown); "
        f"{without}; {WAY_IN_SUMMER} ({whose})"
    )


def test_two_places_that_differ_in_other_months_alone_have_a_row_each() -> None:
    plan = with_a_way_in_summer(street([NO_ROUTE, NO_ROUTE], [4, 4], lon=[-72.0, -72.1]), 1)
    assert [WAY_IN_SUMMER in row["note"] for row in rows(plan)] == [False, True]


def test_a_row_of_several_answers_says_whose_other_months_it_tells() -> None:
    """What holds at all of them is told plainly, what holds at the one shown alone as that."""
    (row,) = rows(with_a_way_in_summer(street([NO_ROUTE, HYDRANT], [4, 4]), 0))
    shown = " (of the address shown)"
    assert row["note"].endswith(f"; {OFF}{shown}; {NO_WAY_IN_WINTER}{shown}; {WAY_IN_SUMMER}{shown}")
    (row,) = rows(with_a_way_in_summer(street([SERVED, NO_ROUTE], [4, 4]), 1))
    assert row["note"].endswith(f"(another is no route); {WAY_IN_SUMMER} (of another address here)")
    plan = street([NO_ROUTE, NO_ROUTE], [4, 4])
    plan = replace(plan, needs=changed(plan.needs, required_gpm=[500.0, 600.0]))
    (row,) = rows(with_a_way_in_summer(plan, 0, 1))
    assert row["note"].endswith(f"is shown; {OFF}{shown}; {NO_WAY_IN_WINTER}; {WAY_IN_SUMMER}")


def test_a_route_that_lacks_says_how_far_off_the_roads() -> None:
    plan = street([NO_ROUTE], [2])
    flags = ((Flag("assumed building"), Flag("off road data", 2957.0, "ft")),)
    note = rows(replace(plan, answers=replace(plan.answers, flags=flags)))[0]["note"]
    assert note == f"2,957 ft from the nearest road that a tanker can use; {NO_SHUTTLE}"
    assert np.isnan(plan.frontages.fraction).all()


def test_a_row_says_in_which_months_engines_get_no_farther_than_the_dump_site() -> None:
    """On the sample's road that is shut in winter beyond its last farm: who is sent brings hose for the rest."""
    plan = plan_of(SAMPLE / "district.toml")
    said = "in December to April the road past the dump site is shut, hose goes on by hand"
    here = [row for row in rows(plan) if row["road"] == "Corduroy Road" and row["to_number"]]
    shut = {int(row["to_number"]): said in row["note"] for row in here}
    flagged = [a for a, flags in enumerate(plan.answers.flags) if any(flag.code == SHUT_BEYOND for flag in flags)]
    assert {number for number, told in shut.items() if told} == set(plan.addresses.number[flagged].tolist())
    assert 0 < len(flagged) < len(shut)


def test_a_row_names_the_barrier_its_houses_lie_behind_and_which_houses() -> None:
    """As cards do: who is sent to a locked gate brings key or cutters."""
    gate = "locked gate on Camp Road at 44.10000, -72.10000: key or cutters"
    said = f"the road there lies behind a barrier, {gate}"
    plan = street([SERVED, SERVED, NO_ROUTE], [2, 4, 9])
    behind = (*plan.answers.flags[1], Flag("barrier", gate))
    for flags, note in (((plan.answers.flags[0], behind), f"4: {said}"), ((behind, behind), said)):
        told = replace(plan, answers=replace(plan.answers, flags=(*flags, plan.answers.flags[2])))
        first, last = rows(told)
        assert note in first["note"].split("; ")
        assert "barrier" not in last["note"]
    alone = replace(plan.answers, flags=(*plan.answers.flags[:2], (Flag("barrier", gate),)))
    assert rows(replace(plan, answers=alone))[-1]["note"] == f"{said}; {NO_SHUTTLE}"


def test_a_road_that_is_closed_in_winter_alone_says_what_serves_it_in_summer() -> None:
    """Of the sample: a dispatcher who reads 'no route' sends nobody, in July too."""
    plan = plan_of(SAMPLE / "district.toml")
    closed = [row for row in rows(plan) if row["status"] == "no route" and row["to_number"] and row["road"][0] == "C"]
    assert len(closed) > 1
    for row in closed:
        assert row["note"].startswith(f"December to April: {NO_SHUTTLE}; May to November: send Level ")
        assert " from F10" in row["note"]
        first = "May to November: send Level 1 " in row["note"]
        assert first != ("on arrival, by minute " in row["note"] or "with the first alarm" in row["note"])
        assert row["response_level"] == ""
    said = {row["to_number"]: row["note"] for row in closed}
    # held against a plan of summer in test_sheets
    said_922 = "Level 3 from F10, best with the first alarm, by minute 16 at the latest, jobs for E11 E12 T11"
    assert said_922 in said["922"]
    assert "send Level 3 from F10, with the first alarm, jobs for E11 E12 T11" in said["1041"]
    assert said["1041"].endswith(" T51, ask for T51: on request only")
    at = next(a for a in range(len(plan.answers)) if plan.addresses.address_id[a] == "MR0050")
    june = next(line for line in plan.seasons if 6 in line.months)
    assert plan.sites[int(june.best_site[at, 0])].site_id == "F10"


def test_a_row_says_who_has_no_way_in_some_months_and_whom_else_to_call_in_the_others(tmp_path: Path) -> None:
    """A lane posted in spring holds off E3 and T2, and spring decides: T2 stood in no row, and E3 in all of them."""
    one = SmallDistrict()
    one.files["stations.csv"] = f"{TABLES['stations.csv']}H2,Tower House,-72.05,44.01\n"
    one.files["apparatus.csv"] = str(TABLES["apparatus.csv"]).replace("E3,H1", "E3,H2").replace("T2,H1", "T2,H2")
    one.files["closures.csv"] = "closure_id,kind,way_id,value,months\nC1,max_lb,11,20000,3-4\n"
    one.toml = TOML.replace("[roads]\n", 'closures = "closures.csv"\n\n[roads]\n')
    for name in ("fill_sites.csv", "addresses.csv"):
        one.files[name] = "".join(str(TABLES[name]).splitlines(keepends=True)[:2])
    (row,) = rows(plan_of(one.write(tmp_path)))
    assert row["units"] == "E1 E2 T1 T3"
    assert "no way for E3 T2 in March to April" in row["note"]
    assert "May to February: Call T2 too: T1 T2 fill at S1 then" in row["note"]


def test_a_row_says_where_tankers_fill_in_other_months_and_who_is_called_then() -> None:
    """By the card of the same address: dispatch and paper must not send tankers to two ponds."""
    plan = plan_of(SAMPLE / "district.toml")
    rows = list(csv.DictReader(io.StringIO(dispatch_csv(plan).decode("utf-8"))))
    (row,) = (one for one in rows if one["road"] == "Fiddlehead Road" and one["to_number"] == "280")
    assert "June to February: from F02" in row["note"]
    assert "call E21 in place of E31: it drafts at the dump site then" in row["note"]
    shore = [one["note"] for one in rows if one["road"] == "Heron Shore Lane" and one["status"] != "no route"]
    assert any("April to November: from F05" in note for note in shore)
    assert not any("fill site" in one["note"] for one in rows)


def test_a_row_says_which_backup_stands_in_in_which_months() -> None:
    plan = plan_of(SAMPLE / "district.toml")
    notes = {row["label"] or f"{row['from_number']} {row['road']}": row["note"] for row in rows_of(dispatch_csv(plan))}
    assert "backup: F05 in April to November, F11 in December to March" in notes["141 Beechnut Lane"]
    level = plan.answers.level
    moved = [
        a for a in np.flatnonzero(level >= 0).tolist()
        if len({int(season.backup_site[a, level[a]]) for season in plan.seasons}) > 1
    ]  # fmt: skip
    told = sum(int(row["addresses"]) for row in rows_of(dispatch_csv(plan)) if "backup: " in row["note"])
    assert told == len(moved) > 100


def test_a_level_that_goes_with_the_first_alarm_is_told_so_beside_its_call_by_minute() -> None:
    """By the flag of the plan: a minute alone would let a dispatcher wait until it."""
    plan = plan_of(SAMPLE / "district.toml")
    at_once = [any(flag.code == "send with first alarm" for flag in flags) for flags in plan.answers.flags]
    told: dict[str, bool] = {}
    for row in csv.DictReader(io.StringIO(dispatch_csv(plan).decode("utf-8"))):
        if row["status"] == "higher level":
            for a in np.flatnonzero(plan.road == row["road"]).tolist():
                number = int(plan.addresses.number[a])
                side = row["parity"] in {"all", "odd" if number % 2 else "even"}
                if row["from_number"] and int(row["from_number"]) <= number <= int(row["to_number"]) and side:
                    told[str(plan.addresses.address_id[a])] = row["note"].startswith(AT_ONCE)
                    assert (row["call_by_min"] == "0.0") is row["note"].startswith(AT_ONCE)
    asked = {str(plan.addresses.address_id[a]) for a in np.flatnonzero(at_once)} & set(told)
    assert len(asked) > 20
    assert all(told[one] for one in asked)
    assert sum(told.values()) < len(told) / 2


def test_a_level_that_does_not_meet_is_sent_with_the_first_alarm_as_its_card_says() -> None:
    plan = plan_of(SAMPLE / "district.toml")
    found = csv.DictReader(io.StringIO(dispatch_csv(plan).decode("utf-8")))
    rows = [row for row in found if row["status"] == "not met"]
    for row in rows:
        at = [
            a for a in np.flatnonzero((plan.road == row["road"]) & (plan.answers.status == "not met")).tolist()
            if row["from_number"] and str(plan.addresses.number[a]) == row["from_number"]
        ]  # fmt: skip
        assert row["note"].startswith("send Level ")
        assert NONE_MEETS in row["note"]
        assert (row["call_by_min"] == "0.0") is (AT_ONCE_TOO in row["note"])
        at_once = [f"Call it {FIRST_ALARM}" in officer_words(plan, a) for a in at]
        assert not at or (AT_ONCE_TOO in row["note"]) in at_once
    assert sum(AT_ONCE_TOO in row["note"] for row in rows) > 20


def test_a_row_names_the_units_that_come_only_when_somebody_asks() -> None:
    """Who alerts the units of a row in order must not count on a neighbour whom nobody has called."""
    plan = street([SERVED, HIGHER], [2, 40])
    theirs = next(unit.station_id for unit in plan.units if unit.unit_id == "T2")
    asked = {unit.unit_id for unit in plan.units if unit.station_id == theirs}
    aid = {True: "on request", False: "own"}
    stations = tuple(replace(one, aid=aid[one.station_id == theirs]) for one in plan.stations)
    for row in rows(replace(plan, stations=stations)):
        mine = {*row["units"].split()} & asked
        named = next(one for one in row["note"].split("; ") if one.startswith("Ask for "))
        assert {*named.removeprefix("Ask for ").removesuffix(": on request only").split()} == mine != set()
    assert not any("Ask for" in row["note"] for row in rows(plan))


def test_a_row_says_which_tankers_fill_at_the_second_fill_site() -> None:
    """Addresses that share a row may send others there: then no name is printed for all of them."""
    plan = split_plan()
    first = next(row for row in rows(plan) if row["split_site_id"])
    assert "at F2 fill T2, all others at F1" in first["note"].split("; ")
    two = picked(plan, [0, 0])
    number = changed(two.addresses, number=[12, 14])
    road = text_array(["Mill Road"] * 2)
    there = two.levels.at_split.copy()
    there[1] = False
    there[1, :, 3] = True
    unlike = replace(two, addresses=number, road=road, levels=replace(two.levels, at_split=there))
    (row,) = rows(unlike)
    assert "who fills at F2 differs between these addresses: see their cards" in row["note"]
    assert "fill T" not in row["note"]


# --------------------------------------------------------------------------- who pumps straight into the attack engine


def nursed(plan: Plan, *told: tuple[int, int, float, float, float], dumps: bool = True) -> Plan:
    """Let T2 nurse E1: address, season, from, to, and from when E1 is empty."""
    address, season, start, stop, empty = (np.array(column) for column in zip(*told, strict=True))
    table = NurseTable(
        address=address, season=season, unit=np.full(len(told), 4), engine=np.zeros(len(told), dtype=int),
        start_min=start, stop_min=stop, dumps=np.full(len(told), dumps), empty_from_min=empty,
    )  # fmt: skip
    return replace(plan, nurses=table)


ALWAYS = [(season, np.nan) for season in (0, 1)]
FIRST = "T2: pump straight into E1 first, "


def test_a_run_of_houses_tells_the_minutes_of_all_of_them_and_the_worst_for_which_the_engine_is_empty() -> None:
    """Whoever waits for the tanker at the farthest house waits longest."""
    plan = street([SERVED, SERVED], [2, 4])
    same = [(a, season, 11.2, 18.4, dry) for a in (0, 1) for season, dry in ALWAYS]
    assert rows(nursed(plan, *same))[0]["note"] == f"{FIRST}minute 12 to 19, then dump"
    assert rows(nursed(plan, *same, dumps=False))[0]["note"] == f"{FIRST}minute 12 until empty, about 18"
    far = [*same[:2], (1, 0, 13.4, 18.4, 9.6), (1, 1, 13.4, 18.4, 11.0)]
    assert rows(nursed(plan, *far))[0]["note"] == (
        f"{FIRST}from minute 12 to 14, until 19 (by house), then dump. E1 EMPTY minute 9 to 14 at worst"
    )
    later = [(a, season, 11.2 + season, 18.4, np.nan) for a in (0, 1) for season in (0, 1)]
    assert "from minute 12 to 13, until 19 (by month), then dump" in rows(nursed(plan, *later))[0]["note"]


def test_a_tanker_that_nurses_at_some_houses_or_in_some_months_is_told_where_and_when() -> None:
    plan = street([SERVED] * 3, [2, 4, 6])
    some = [(a, season, 11.2, 18.4, dry) for a in (0, 2) for season, dry in ALWAYS]
    assert rows(nursed(plan, *some))[0]["note"] == f"{FIRST.replace(':', ' at 2 6:')}minute 12 to 19, then dump"
    winter = [(a, 1, 11.2, 18.4, np.nan) for a in (0, 1, 2)]
    assert rows(nursed(plan, *winter))[0]["note"].startswith("T2 in December to March: pump straight into E1")
    both = rows(nursed(plan, *winter, (1, 0, 11.2, 18.4, np.nan)))[0]["note"].split("; ")
    assert [one.split(":")[0] for one in both] == ["T2 at 2 6 in December to March", "T2 at 4"]


def test_a_row_of_several_answers_tells_who_nurses_at_the_address_that_it_shows() -> None:
    plan = street([SERVED, HIGHER], [2, 2])
    assert "pump straight" not in rows(nursed(plan, (0, 0, 11.2, 18.4, np.nan), (0, 1, 11.2, 18.4, np.nan)))[0]["note"]


def test_a_tanker_that_waits_for_hose_says_whose() -> None:
    """E1's own does not reach; at the second house it does."""
    plan = street([SERVED, SERVED], [2, 4])
    units = (replace(plan.units[0], supply_hose_ft=90.0), *plan.units[1:])
    supply = replace(plan.supply, address=np.array([0]), level=np.array([0]), unit=np.array([1]), hose_ft=np.ones(1))
    told = ((a, season, 11.2, 18.4, dry) for a in (0, 1) for season, dry in ALWAYS)
    (row,) = rows(nursed(replace(plan, units=units, supply=supply), *told))
    assert ". Its line needs hose of E2 at some of these" in row["note"]


def test_every_nurse_of_the_sample_is_told_within_its_minutes() -> None:
    """Also where a tanker nurses in other months than those that decide: the row said nothing of it."""
    plan = plan_of(SAMPLE / "district.toml")
    found, table, told = rows(plan), plan.nurses, set()
    for at, a in enumerate(table.address.tolist()):
        here = [row for row in found if row["road"] == plan.road[a]]
        here = [row for row in look_up(here, int(plan.addresses.number[a])) if "differ" not in row["note"]]
        unit, engine = (plan.units[int(one[at])].unit_id for one in (table.unit, table.engine))
        for row in here[:1]:
            said = [one for one in row["note"].split("; ") if f": pump straight into {engine} first" in one]
            (minutes,) = (one.partition(": ")[2] for one in said if one.startswith(unit))
            first, last = re.findall(r"minute (\d+)(?: to (\d+),)?", minutes)[0]
            assert int(first) - 1 < table.start_min[at] <= int(last or first)
            told.add(a)
    level = plan.answers.level
    decides = table.season == plan.levels.season[table.address, np.maximum(level[table.address], 0)]
    assert len(told - {*table.address[decides].tolist()}) > 50


def test_nurses_of_the_season_that_decides_are_those_of_the_cards() -> None:
    plan = plan_of(SAMPLE / "district.toml")
    table, drawn = plan.nurses, 0
    for group in plan.groups:
        level = int(plan.answers.level[group.lead])
        if level >= 0 and group.strip is not None:
            at = (table.address == group.lead) & (table.season == plan.levels.season[group.lead, level])
            line = group.strip.nursed
            assert table.start_min[at].tolist() == ([] if line is None else [line.start_min])
            assert table.stop_min[at].tolist() == ([] if line is None else [line.stop_min])
            drawn += line is not None
    assert drawn > 20


def test_columns_alone_tell_whom_to_send_and_where_to_fill_in_every_month() -> None:
    """On the sample: a dispatch system that shows no note still sends the level whose units stand there."""
    plan = plan_of(SAMPLE / "district.toml")
    found = rows(plan)
    assert {row["status"] for row in found if row["send_level"]} == {"served", "higher level", "not met"}
    assert all(bool(row["send_level"]) is bool(row["units"]) for row in found)
    assert {row["response_level"] for row in found if row["response_level"] != row["send_level"]} == {""}
    at = {(row["lon"], row["lat"]): row for row in found if row["sites_by_month"]}
    assert len(at) > 20
    for a in range(len(plan.answers.level)):
        row = at.get((f"{plan.addresses.lon[a]:.6f}", f"{plan.addresses.lat[a]:.6f}"))
        if row is None or row["note"].count("differ"):
            continue
        told = {month: sites for span in row["sites_by_month"].split("; ")
                for months, _, sites in [span.partition(" ")] for month in months_of(months)}  # fmt: skip
        for season in plan.seasons:
            level = int(plan.answers.level[a])
            if level < 0:  # no route in the months that decide
                level = season.level_of([a], plan.needs.required_gpm[[a]])
            ids = "+".join(plan.sites[site].site_id for site in season.sites_of(a, level)) or "no site"
            assert {told[month] for month in season.months} == {ids}


def test_a_street_that_the_table_writes_otherwise_stands_beside_its_road() -> None:
    plan = street([SERVED, SERVED, SERVED], [2, 4, 6])
    table = replace(plan.addresses, street=text_array(["MILL RD", "Mill Road", "MILL RD"]))
    assert [row["street_in_table"] for row in rows(replace(plan, addresses=table))] == ["MILL RD"]
    both = replace(plan.addresses, street=text_array(["MILL RD", "Mill Rd, North", "MILL ROAD"]))
    assert [row["street_in_table"] for row in rows(replace(plan, addresses=both))] == ["MILL RD; Mill Rd, North"]
    assert [row["street_in_table"] for row in rows(plan)] == [""]


def test_nurses_of_other_months_are_those_of_the_sheets() -> None:
    """Called as each sheet advises, whatever the status: also where no level meets in the months that decide."""
    plan = plan_of(SAMPLE / "district.toml")
    table, drawn = plan.nurses, set()
    season = {line.months: at for at, line in enumerate(plan.seasons)}
    told = [(group.lead, then) for group in plan.groups for other in group.others for then in other.then]
    for lead, then in told:
        at, line = (table.address == lead) & (table.season == season[then.months]), then.strip.nursed
        assert table.start_min[at].tolist() == ([] if line is None else [line.start_min])
        assert table.stop_min[at].tolist() == ([] if line is None else [line.stop_min])
        drawn |= set() if line is None else {str(plan.answers.status[lead])}
    assert drawn == {"served", "higher level", "not met"}


def test_a_row_never_leaves_more_time_for_a_call_than_the_cards_of_its_houses() -> None:
    """On the sample: a card names one call for all of its houses, and a row has those of several cards."""
    plan, told = plan_of(SAMPLE / "district.toml"), 0
    at = {(row["lon"], row["lat"]): row for row in rows(plan) if row["status"] == "higher level"}
    for group in plan.groups:
        by_min = plan.answers.called_by_min([group.lead, *group.addresses])
        for a in group.addresses:
            row = at.get((f"{plan.addresses.lon[a]:.6f}", f"{plan.addresses.lat[a]:.6f}"))
            if row is None or plan.answers.status[a] != "higher level":
                continue
            assert float(row["call_by_min"]) <= np.nan_to_num(by_min), row
            assert np.isfinite(by_min) or AT_ONCE in row["note"]
            if np.isfinite(by_min) and little_time(plan, group.addresses).any():
                assert AT_ONCE in row["note"] or AT_ONCE_BEST in row["note"]
                told += 1
    assert told > 10
