"""Tables: columns and order as promised, careful rounding, empty for not known, other people's text kept harmless."""

from __future__ import annotations

import csv
import io
from dataclasses import fields, replace
from typing import Any, TypeVar

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from preplan.plan import Plan
from preplan.plan_inputs import Rejected
from preplan.plan_tables import Flag, FrontageTable, LevelTable, NeedTable, TripTable
from preplan.records import AddressTable, text_array
from preplan.render import tables
from preplan.render.dispatch import dispatch_csv
from preplan.render.fields import about
from preplan.render.tables import addresses_csv, levels_csv, rejected_csv, seasons_csv, trips_csv
from tests.example_plan import example_plan
from tests.plan_checks import SAMPLE, plan_of

Table = TypeVar("Table", AddressTable, FrontageTable, LevelTable, NeedTable, TripTable)

HEADERS = {
    "addresses": (
        "address_id,label,lon,lat,status,response_level,required_gpm,required_gal,required_min,required_basis,"
        "fill_site_id,backup_site_id,split_site_id,out_min,back_min,round_trip_min,round_trip_mi,cycle_min,sustained_gpm,"
        "uninterrupted_gpm,limited_by,first_water_min,mws_by_min,gap_min,short_gal,call_by_min,tankers,driveway_ft,flags,"
        "deciding_months"
    ),
    "levels": (
        "address_id,response_level,fill_site_id,tankers,left_out,sustained_gpm,uninterrupted_gpm,"
        "uninterrupted_on_arrival_gpm,gap_min,gap_on_arrival_min,one_out_gpm,limited_by,meets,split_site_id,"
        "average_gpm,deciding_months"
    ),
    "seasons": (
        "address_id,response_level,months,decides,fill_site_id,split_site_id,uninterrupted_gpm,average_gpm,meets,"
        "backup_site_id,backup_gpm"
    ),
    "trips": "address_id,site_id,out_min,out_mi,back_min,back_mi,posted_avoided_min,unposted_bridges,in_service",
}
"""Other people's scripts read these columns."""
SITES = ("fill_site_id", "split_site_id")
WRITERS = {
    "addresses": addresses_csv, "levels": levels_csv, "seasons": seasons_csv, "trips": trips_csv,
    "dispatch": dispatch_csv,
}  # fmt: skip


def rows_of(content: bytes) -> list[dict[str, str]]:
    """Read a table back as a spreadsheet does."""
    return list(csv.DictReader(io.StringIO(content.decode("utf-8"), newline="")))


def changed(table: Table, **columns: Any) -> Table:
    """Return a table with some columns changed; numbers as a list for all rows, or one for every row."""
    full = {
        name: np.broadcast_to(np.asarray(values, dtype=getattr(table, name).dtype), getattr(table, name).shape).copy()
        for name, values in columns.items()
    }
    return replace(table, **full)


def picked(plan: Plan, rows: list[int]) -> Plan:
    """Return a plan of some addresses, repeated at will; ids are numbered anew, groups and flags kept apart."""
    n, take = len(rows), np.array(rows, dtype=np.int32)
    trips = [(new, row) for new, old in enumerate(rows) for row in np.flatnonzero(plan.trips.address == old).tolist()]
    trip_rows = np.array([row for _, row in trips], dtype=np.int32)
    first = {(new, row): k for k, (new, row) in enumerate(trips)}

    def moved(index: Any) -> Any:
        old = index[take]
        return np.array([[first.get((i, t), -1) for t in old[i].tolist()] for i in range(n)], dtype=np.int32).reshape(
            old.shape
        )

    def cut(table: Any, by: Any) -> Any:
        return replace(table, **{f.name: getattr(table, f.name)[by] for f in fields(table)})

    return replace(
        plan,
        addresses=replace(cut(plan.addresses, take), address_id=text_array([f"A{i:06}" for i in range(n)])),
        road=plan.road[take],
        needs=cut(plan.needs, take), frontages=cut(plan.frontages, take), arrival_min=plan.arrival_min[take],
        near_hydrant=cut(plan.near_hydrant, take),
        trips=replace(cut(plan.trips, trip_rows), address=np.array([new for new, _ in trips], dtype=np.int32)),
        levels=replace(
            cut(plan.levels, take), trip=moved(plan.levels.trip), backup_trip=moved(plan.levels.backup_trip)
        ),
        answers=replace(
            plan.answers, flags=tuple(plan.answers.flags[i] for i in rows),
            **{f.name: getattr(plan.answers, f.name)[take] for f in fields(plan.answers) if f.name != "flags"},
        ),
        seasons=tuple(
            replace(
                one, best_site=one.best_site[take], split_site=one.split_site[take], backup_site=one.backup_site[take],
                backup_gpm=one.backup_gpm[take], uninterrupted_gpm=one.uninterrupted_gpm[take],
                brings_gpm=one.brings_gpm[take], backup_steady_gpm=one.backup_steady_gpm[take],
            )
            for one in plan.seasons
        ),
        groups=(),
    )  # fmt: skip


@pytest.fixture
def plan() -> Plan:
    return example_plan()


# --------------------------------------------------------------------------- shape


@pytest.mark.parametrize("name", HEADERS)
def test_columns_are_those_promised(plan: Plan, name: str) -> None:
    assert WRITERS[name](plan).decode().splitlines()[0] == HEADERS[name]


@pytest.mark.parametrize("name", WRITERS)
def test_bytes(plan: Plan, name: str) -> None:
    """UTF-8 without BOM, LF, no word for a missing number, and the same bytes every time."""
    content = WRITERS[name](plan)
    assert content == WRITERS[name](example_plan())
    assert not content.startswith(b"\xef\xbb\xbf")
    assert b"\r" not in content
    assert content.endswith(b"\n")
    cells = {cell.lower() for row in csv.reader(io.StringIO(content.decode())) for cell in row}
    assert not cells & {"nan", "inf", "-inf", "none", "null", "-1"}


@pytest.mark.parametrize("name", WRITERS)
def test_a_plan_without_addresses_has_headers(plan: Plan, name: str) -> None:
    assert WRITERS[name](picked(plan, [])).decode().count("\n") == 1


def test_one_row_an_address_in_order(plan: Plan) -> None:
    rows = rows_of(addresses_csv(plan))
    assert [row["address_id"] for row in rows] == ["A0", "A1", "A2", "A3", "A4", "A5"]
    assert [row["status"] for row in rows] == plan.answers.status.tolist()
    levels = [(row["address_id"], row["response_level"]) for row in rows_of(levels_csv(plan))]
    assert levels == [(f"A{i}", level) for i in range(6) for level in ("Level 1", "Level 2")]
    trips = [(row["address_id"], row["site_id"]) for row in rows_of(trips_csv(plan))]
    assert trips == [("A0", "F1"), ("A0", "F2"), ("A1", "F1"), ("A2", "F1"), ("A3", "F1"), ("A3", "F2")]


def test_a_trip_to_a_fill_site_out_of_service_says_so(plan: Plan) -> None:
    sites = tuple(replace(site, in_service=site.site_id != "F2") for site in plan.sites)
    rows = rows_of(trips_csv(replace(plan, sites=sites)))
    assert {(row["site_id"], row["in_service"]) for row in rows} == {("F1", "yes"), ("F2", "no")}


# --------------------------------------------------------------------------- content


def test_an_address_that_is_served(plan: Plan) -> None:
    """Every cell of one row, from the numbers of the drawn plan."""
    row = rows_of(addresses_csv(plan))[0]
    assert {name: cell for name, cell in row.items() if cell} == {
        "address_id": "A0", "label": "12 Mill Road", "lon": "-72.036000", "lat": "44.001500", "status": "served",
        "response_level": "Level 1", "required_gpm": "250", "required_gal": "2400", "required_min": "120.0",
        "required_basis": "nfpa1142:table", "fill_site_id": "F1", "backup_site_id": "F2", "out_min": "1.2",
        "back_min": "2.2", "round_trip_min": "3.4", "round_trip_mi": "1.22", "cycle_min": "14.5",
        "sustained_gpm": "310", "uninterrupted_gpm": "322", "limited_by": "tankers", "first_water_min": "12.0",
        "mws_by_min": "30.5", "gap_min": "0.0", "short_gal": "0", "tankers": "T1 T2", "driveway_ft": "120",
        "flags": "single fill site", "deciding_months": "December to March",
    }  # fmt: skip


def test_level_is_named_only_where_one_meets(plan: Plan) -> None:
    """Where none does, the columns show the level with the largest flow, and no level is named."""
    rows = rows_of(addresses_csv(plan))
    assert [row["response_level"] for row in rows] == ["Level 1", "Level 2", "", "", "", ""]
    assert [row["sustained_gpm"] for row in rows] == ["310", "505", "260", "240", "", ""]
    shown = ("fill_site_id", "out_min", "back_min", "round_trip_min", "cycle_min", "limited_by", "tankers")
    assert all(not row[name] for row in rows[4:] for name in shown)


def test_the_minutes_of_each_way_of_calling(plan: Plan) -> None:
    """A higher level shows what a call on arrival brings; a minute that does not come is empty."""
    rows = rows_of(addresses_csv(plan))
    assert [row["gap_min"] for row in rows] == ["0.0", "1.9", "12.4", "12.4", "", ""]
    assert [row["short_gal"] for row in rows] == ["0", "950", "6200", "6200", "", ""]
    assert [row["call_by_min"] for row in rows] == ["", "7.0", "", "", "", ""]
    assert [row["mws_by_min"] for row in rows] == ["30.5", "41.0", "", "88.0", "", ""]
    second = rows_of(levels_csv(plan))[3]
    shown = ("uninterrupted_gpm", "uninterrupted_on_arrival_gpm", "gap_min", "gap_on_arrival_min", "one_out_gpm")
    assert [second[name] for name in shown] == ["514", "273", "0.0", "1.9", "257"]


def test_meets(plan: Plan) -> None:
    """A level that meets says yes; where a hydrant made the question idle, nothing is said."""
    assert [row["meets"] for row in rows_of(levels_csv(plan))] == [
        "yes", "yes", "no", "yes", "no", "no", "no", "no", "no", "no", "", "",
    ]  # fmt: skip


def test_each_level_names_its_second_site(plan: Plan) -> None:
    """Level by level, where tankers are split; of the level shown addresses.csv names the same two."""
    split = np.full_like(plan.levels.split, -1)
    split[1, 1] = 1
    two = replace(plan, levels=replace(plan.levels, split=split))
    rows = rows_of(levels_csv(two))
    assert [row["split_site_id"] for row in rows[:4]] == ["", "", "", "F2"]
    shown = {(row["address_id"], row["response_level"]): row for row in rows}
    for row in rows_of(addresses_csv(two)):
        if row["response_level"]:
            level = shown[row["address_id"], row["response_level"]]
            assert [level[name] for name in SITES] == [row[name] for name in SITES]


def test_an_answer_tells_the_months_it_holds_for(plan: Plan) -> None:
    """In the example winter decides; in summer a level that is not shown holds less, or another backup stands in."""
    summer, winter = plan.seasons
    backup, flow = winter.backup_site.copy(), winter.uninterrupted_gpm.copy()
    backup[0, 0] = -1  # in summer none stands in
    flow[2, 1] = winter.uninterrupted_gpm[2, 1] - 50.0  # in summer less is held at a level that is not shown
    alike = replace(summer, uninterrupted_gpm=winter.uninterrupted_gpm, brings_gpm=winter.brings_gpm)
    two = replace(plan, seasons=(replace(alike, backup_site=backup, uninterrupted_gpm=flow), winter))
    levels = {(row["address_id"], row["response_level"]): row["deciding_months"] for row in rows_of(levels_csv(two))}
    assert {key for key, months in levels.items() if months != "all year"} == {("A0", "Level 1"), ("A2", "Level 2")}
    assert {levels["A0", "Level 1"], levels["A2", "Level 2"]} == {"December to March"}
    told = [row for row in rows_of(seasons_csv(two)) if (row["address_id"], row["response_level"]) == ("A2", "Level 2")]
    assert [(row["months"], row["decides"]) for row in told] == [
        ("April to November", "no"),
        ("December to March", "yes"),
    ]
    assert int(told[1]["uninterrupted_gpm"]) == int(told[0]["uninterrupted_gpm"]) + 50
    for row in rows_of(addresses_csv(two)):
        shown = int(plan.answers.level[int(row["address_id"][1:])])
        assert row["deciding_months"] == (levels[row["address_id"], f"Level {shown + 1}"] if shown >= 0 else "")


def test_seasons_cover_the_months_planned_once(plan: Plan) -> None:
    months: dict[tuple[str, str], list[str]] = {}
    for row in rows_of(seasons_csv(plan)):
        months.setdefault((row["address_id"], row["response_level"]), []).append(row["months"])
    assert len(months) == len(plan.addresses) * len(plan.district.levels)
    assert {tuple(some) for some in months.values()} <= {("all year",), ("April to November", "December to March")}


def test_the_season_that_decides_tells_what_levels_tell() -> None:
    """Of a real plan: cell for cell, once for each address and level; every month planned is told once."""
    plan = plan_of(SAMPLE / "district.toml")
    seasons, levels = rows_of(seasons_csv(plan)), rows_of(levels_csv(plan))
    deciding = [row for row in seasons if row["decides"] == "yes"]
    cells = ("address_id", "response_level", *SITES, "uninterrupted_gpm", "average_gpm", "meets")
    assert [[row[name] for name in cells] for row in deciding] == [[row[name] for name in cells] for row in levels]
    assert [row["months"] for row in deciding] == [row["deciding_months"] for row in levels]
    shown = {(row["address_id"], row["response_level"]): row["backup_site_id"] for row in deciding}
    told = [row for row in rows_of(addresses_csv(plan)) if row["response_level"]]
    assert all(shown[row["address_id"], row["response_level"]] == row["backup_site_id"] for row in told)
    others = [row for row in seasons if row["decides"] == "no"]
    assert others, "one season: this test shows nothing"
    met = {(row["address_id"], row["response_level"]) for row in levels if row["meets"] == "yes"}
    assert {(row["address_id"], row["response_level"]) for row in others if row["meets"] == "no"}.isdisjoint(met)


def test_no_flow_is_zero_and_an_unknown_one_is_empty(plan: Plan) -> None:
    rows = rows_of(levels_csv(plan))
    assert rows[6]["sustained_gpm"] == "0"
    assert rows[8]["sustained_gpm"] == ""


def test_left_out(plan: Plan) -> None:
    """A tanker that is sent and does not shuttle is named; a pumper-tanker that pumps at the fill site is not."""
    levels = plan.levels
    used, fleet = levels.used.copy(), levels.fleet.copy()
    used[0, 1, 3] = False
    pumper = replace(plan.units[1], kind="pumper-tanker")
    units = (plan.units[0], pumper, *plan.units[2:])
    rows = rows_of(levels_csv(replace(plan, units=units, levels=replace(levels, used=used, fleet=fleet))))
    assert (rows[0]["tankers"], rows[0]["left_out"]) == ("T1 T2", "")
    assert (rows[1]["tankers"], rows[1]["left_out"]) == ("T2", "T1")


def grids(cell: st.SearchStrategy[Any]) -> st.SearchStrategy[list[list[Any]]]:
    """Draw six rows of five cells: addresses by units."""
    return st.lists(st.lists(cell, min_size=5, max_size=5), min_size=6, max_size=6)


@given(arrival=grids(st.sampled_from([3.0, 4.0, 4.5, float("inf")])), mask=grids(st.booleans()))
def test_units_stand_in_order_of_arrival(arrival: list[list[float]], mask: list[list[bool]]) -> None:
    """For all rows at once the same names, in the same order, as `Plan.unit_ids` gives for one; ties included."""
    plan = replace(example_plan(), arrival_min=np.array(arrival))
    chosen = np.array(mask)
    rows = np.array([0, 3, 3, 5])
    expected = [" ".join(plan.unit_ids(chosen[k], int(address))) for k, address in enumerate(rows)]
    assert tables.units_by_arrival(plan, chosen[:4], rows) == expected


# --------------------------------------------------------------------------- rounding


def test_supply_goes_down_and_need_goes_up(plan: Plan) -> None:
    levels = changed(plan.levels, sustained_gpm=236.8, one_out_gpm=99.9999999)
    needs = changed(plan.needs, required_gpm=236.2, required_gal=2400.0000001, required_min=19.96)
    frontages = changed(plan.frontages, driveway_ft=120.2)
    plan = replace(plan, levels=levels, needs=needs, frontages=frontages)
    row = rows_of(addresses_csv(plan))[0]
    assert (row["sustained_gpm"], row["required_gpm"], row["required_gal"]) == ("236", "237", "2400")
    assert (row["required_min"], row["driveway_ft"]) == ("20.0", "121")
    assert rows_of(levels_csv(plan))[0]["one_out_gpm"] == "100"


minutes = st.floats(0.0, 90.0)


@given(out_min=minutes, back_min=minutes)
def test_legs_add_up_as_printed(out_min: float, back_min: float) -> None:
    """Printed legs add up to the printed round trip within 0.1 min, whatever the rounding."""
    plan = example_plan()
    plan = replace(plan, trips=changed(plan.trips, out_min=out_min, back_min=back_min))
    row = rows_of(addresses_csv(plan))[0]
    assert abs(float(row["out_min"]) + float(row["back_min"]) - float(row["round_trip_min"])) < 0.1001
    assert abs(float(row["round_trip_min"]) - out_min - back_min) < 0.0501


def test_missing_and_endless_are_empty_and_nothing_is_minus_zero(plan: Plan) -> None:
    trips = changed(plan.trips, out_min=[np.inf, np.nan, 1, 1, 1, 1], posted_avoided_min=-0.01)
    rows = rows_of(trips_csv(replace(plan, trips=trips)))
    assert [row["out_min"] for row in rows[:3]] == ["", "", "1.0"]
    assert rows[0]["posted_avoided_min"] == "0.0"


@pytest.mark.parametrize(
    ("flag", "text"),
    [
        (Flag("gap", 1.94, "min"), "gap=1.9 min"),
        (Flag("close", 0.9444), "close=0.94"),
        (Flag("unposted bridges", 2.0), "unposted bridges=2"),
        (Flag("one out", 249.9, "gpm"), "one out=249 gpm"),
        (Flag("seasonal", "4-11"), "seasonal=4-11"),
        (Flag("source runs out", 1234567.0, "gal"), "source runs out=1234567 gal"),
        (Flag("dead end"), "dead end"),
    ],
)
def test_flags(plan: Plan, flag: Flag, text: str) -> None:
    answers = replace(plan.answers, flags=((flag, Flag("dead end")),) * 6)
    assert rows_of(addresses_csv(replace(plan, answers=answers)))[0]["flags"] == f"{text}; dead end"


# --------------------------------------------------------------------------- other people's text


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n"])
def test_text_does_not_run_as_a_formula(plan: Plan, start: str) -> None:
    labels = text_array([f"{start}1+1", *plan.addresses.label[1:].tolist()])
    rows = rows_of(addresses_csv(replace(plan, addresses=replace(plan.addresses, label=labels))))
    assert rows[0]["label"].startswith("'")
    assert rows[0]["label"].endswith("1+1")
    assert rows[0]["lon"] == "-72.036000", "a number is left alone"
    fault = Rejected(file=f"{start}a.csv", row=3, id=f"{start}x", column="lon", value=f"{start}abc", rule="is odd")
    row = rows_of(rejected_csv((fault,)))[0]
    assert all(row[name].startswith("'") for name in ("file", "id", "value"))


@pytest.mark.parametrize("odd", ["two\nlines", "a\r\nb", "a\u2028b", "a\x0bb", "a\x85b", "a\x00b", "half \ud800 pair"])
def test_one_row_is_one_line(plan: Plan, odd: str) -> None:
    """However a label is broken, a reader of lines and a reader of CSV count the same rows."""
    labels = text_array([odd, *plan.addresses.label[1:].tolist()])
    content = addresses_csv(replace(plan, addresses=replace(plan.addresses, label=labels)))
    assert len(content.decode("utf-8").splitlines()) == len(rows_of(content)) + 1 == 7


@given(st.text(st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp"]), max_size=20))
def test_harmless_text_comes_back_as_it_was(label: str) -> None:
    plan = example_plan()
    labels = text_array([label, *plan.addresses.label[1:].tolist()])
    row = rows_of(addresses_csv(replace(plan, addresses=replace(plan.addresses, label=labels))))[0]
    assert row["label"] == ("'" + label if label[:1] in ("=", "+", "-", "@") else label)


def test_rejected() -> None:
    fault = Rejected(
        file="addresses.csv", row=17, id="A17", column="lat", value='97.2, "north"', rule="is not a latitude"
    )
    assert rejected_csv((fault,)).decode() == (
        'file,row,id,column,value,rule\naddresses.csv,17,A17,lat,"97.2, ""north""",is not a latitude\n'
    )
    assert rejected_csv(()).decode() == "file,row,id,column,value,rule\n"


def test_minutes_without_enough_water_are_told_with_the_call_that_they_are_for() -> None:
    """A level's own are those of all alerted at once, an address's may be those of a late call: a join shows both."""
    plan = example_plan()
    address = next(row for row in rows_of(addresses_csv(plan)) if row["status"] == "higher level")
    level = next(
        row for row in rows_of(levels_csv(plan))
        if (row["address_id"], row["response_level"]) == (address["address_id"], address["response_level"])
    )  # fmt: skip
    assert address["gap_min"] == level["gap_on_arrival_min"] != level["gap_min"]
    assert about("levels.csv")["gap_min"][1] == "Minutes without enough water, all alerted at once."
    assert "of a higher level called on arrival, else all alerted at once" in about("addresses.csv")["gap_min"][1]
