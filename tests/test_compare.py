"""`preplan compare`: what changed between two results and why, against districts of which one thing was changed."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pandas as pd
import pytest
import shapely
from typer.testing import CliRunner, Result

from preplan.cli import app
from preplan.compare import answers, export, report
from preplan.compare.comparison import Comparison, compare
from preplan.compare.pages import cards_moved, cards_wrong
from preplan.compare.results import Results, read_pair, read_results
from preplan.compare.steps import Steps
from preplan.render.words import CAUTIONS
from tests.compare_results import Change, build, edit_run, file_added, replaced, rewrite, small
from tests.faults.small import MILL_ROAD, SmallDistrict

Built = Callable[..., Path]
T3 = "T3,H1,tanker,1800,2500\n"
S1 = "S1,Mill Pond,dry hydrant,-72.0,44.0,900,loop,\n"
S2 = "S2,Tower,tank,-72.05,44.01,600,through,50000\n"
GRADE = {"hydrant": 0, "served": 1, "higher level": 2, "not met": 3, "no route": 4}
"""Statuses by what they are worth; the small district has but one higher level."""


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    """Build the small district, changed as asked; once for each set of changes."""
    known: dict[tuple[Change, ...], Path] = {}

    def one(*changes: Change) -> Path:
        if changes not in known:
            district = small()
            for change in changes:
                change(district)
            known[changes] = build(district, tmp_path_factory.mktemp("small"))
        return known[changes]

    return one


def held(old: Path, new: Path, steps: Steps | None = None) -> Comparison:
    return compare(read(old), read(new), steps)


@cache
def read(folder: Path) -> Results:
    return read_results(folder)


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, ["compare", *map(str, arguments)])


def unfolded(text: str) -> str:
    return " ".join(text.split())


def rows_of(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def told(found: Comparison) -> dict[str, set[tuple[str, str]]]:
    """Give the causes of each changed address: code and subject."""
    ids = found.answers.old["address_id"].to_numpy()
    causes: dict[str, set[tuple[str, str]]] = {}
    for at, code, subject in zip(*(found.causes[name] for name in ("at", "code", "subject")), strict=True):
        causes.setdefault(str(ids[at]), set()).add((code, subject))
    return causes


sold = replaced("apparatus.csv", T3, "")


def site_out(district: SmallDistrict) -> None:
    """Take the tower out of service."""
    head, *rows = str(district.files["fill_sites.csv"]).splitlines()
    district.files["fill_sites.csv"] = "\n".join([f"{head},in_service", f"{rows[0]},", f"{rows[1]},no", ""])


def with_blanks(district: SmallDistrict) -> None:
    """Name the units as crews do: Engine 1 to 3, and Tanker 1 to 3."""
    rows = str(district.files["apparatus.csv"])
    district.files["apparatus.csv"] = re.sub(
        r"^([ET])(\d)", lambda one: f"{'Engine' if one[1] == 'E' else 'Tanker'} {one[2]}", rows, flags=re.MULTILINE
    )


# --------------------------------------------------------------------------- the whole


def test_a_result_held_against_a_copy_of_itself_says_that_nothing_changed(built: Built, tmp_path: Path) -> None:
    """No difference at large, no address changed, and the report says so."""
    shutil.copytree(built(), tmp_path / "copy")
    found = held(built(), tmp_path / "copy")
    assert found.runs == ()
    assert set(found.answers.group) == {"same"}
    assert not found.answers.smaller.any()
    assert len(found.causes) == len(found.answers.differences) == len(found.added) == len(found.removed) == 0
    result = run(built(), tmp_path / "copy")
    assert result.exit_code == 0
    assert "Nothing. The same: program version" in unfolded(result.stdout)
    assert "Why" not in result.stdout
    assert unfolded(result.stdout).endswith(unfolded(CAUTIONS))


@pytest.mark.parametrize("change", [sold, site_out], ids=["sold", "site out"])
def test_swapped_results_mirror_worse_and_better(built: Built, change: Change) -> None:
    """What became worse one way became better the other, to the address; what is said of one is said of both."""
    there, back = held(built(), built(change)), held(built(change), built())
    mirror = {"worse": "better", "better": "worse"}
    assert [mirror.get(group, group) for group in there.answers.group] == back.answers.group.tolist()
    assert "worse" in there.answers.group
    pairs = [
        sorted(zip(*(found.answers.differences[name] for name in ("at", "what", *ends)), strict=True))
        for found, ends in ((there, ("old", "new")), (back, ("new", "old")))
    ]
    assert pairs[0] == pairs[1]


@pytest.mark.parametrize("named", [True, False], ids=["named", "earlier version"])
def test_units_whose_ids_hold_blanks_are_told_whole(built: Built, tmp_path: Path, *, named: bool) -> None:
    """A tanker is sold while an engine of the same number stays; results of an earlier version name no units."""
    old, new = built(with_blanks), built(sold, with_blanks)
    if not named:
        shutil.copytree(new, tmp_path / "new")
        edit_run(tmp_path / "new", lambda run: run.pop("units"))
        new = tmp_path / "new"
    found = compare(*read_pair(old, new))
    assert ("unit", "Tanker 3", "gone") in {(one.kind, one.subject, one.state) for one in found.runs}
    assert {one.subject for one in found.runs if one.kind == "unit"} == {"Tanker 3"}
    assert set().union(*told(found).values()) == {("unit", "Tanker 3")}
    shuttle = found.answers.differences
    assert set(shuttle.loc[shuttle["what"] == "in the shuttle", "old"]) <= {"Tanker 3"}


@pytest.mark.parametrize("change", [sold, site_out], ids=["sold", "site out"])
def test_counts_are_those_of_an_independent_comparison(built: Built, change: Change) -> None:
    """Rows of both tables side by side, in plain Python: grades, instructions, and what is left equal."""
    old, new = (
        {row["address_id"]: row for row in rows_of(folder / "addresses.csv")} for folder in (built(), built(change))
    )
    counts: Counter[str] = Counter()
    for one, before in old.items():
        after = new[one]
        grades = GRADE[before["status"]], GRADE[after["status"]]
        changed = {name for name in before if before[name] != after[name]}
        for flag in ("send with first alarm", "turn at dump site", "level short", "single fill site", "hose lay"):
            if (flag in before["flags"]) != (flag in after["flags"]):
                changed.add("fill_site_id")  # as good as another instruction
        lost = 0.0
        if before["status"] == after["status"] == "not met":
            lost = sum(
                sign * min(1.0, float(row["uninterrupted_gpm"]) / float(row["required_gpm"]))
                for sign, row in ((1, before), (-1, after))
            )
        if grades[0] != grades[1] or abs(lost) >= 0.1:
            counts["worse" if (grades[1] - grades[0], lost) > (0, 0.0) else "better"] += 1
        elif changed & {"fill_site_id", "backup_site_id", "split_site_id", "call_by_min", "tankers"}:
            counts["instructions"] += 1
        elif not changed:
            counts["equal"] += 1
    found = held(built(), built(change), Steps(gpm=0.0, min=0.0))
    mine = report.counted(found)
    assert (mine["worse"], mine["better"]) == (counts["worse"], counts["better"])
    assert mine["instructions"] == counts["instructions"]
    assert mine["same"] <= counts["equal"]  # other levels may differ where no cell of the address does
    assert sum(mine.values()) == len(old) == len(new)


def test_where_none_meets_a_large_loss_is_worse_and_comes_first(built: Built, tmp_path: Path) -> None:
    """From 240 to 20 gpm is no other number; a loss below a tenth of the need is. Of many the greatest are printed."""
    flows = {"G9": (240, 20), "G2": (240, 230), "G3": (20, 240), "G4": (200, 150), "G5": (250, 120)}
    not_met = {"status": "not met", "response_level": "", "required_gpm": "250"}
    cells = {
        one: tuple({**not_met, "uninterrupted_gpm": str(gpm)} for gpm in ends) for one, ends in flows.items()
    }  # fmt: skip
    for row, site in zip(cells["G9"], ("S1", "S2"), strict=True):  # an entry of its own, behind the others
        row["fill_site_id"] = site
    found = _held_with(built(), tmp_path, cells)
    groups = dict(zip(found.answers.old["address_id"], found.answers.group, strict=True))
    assert {one: groups[one] for one in flows} == {
        "G9": "worse", "G2": "numbers", "G3": "better", "G4": "worse", "G5": "worse",
    }  # fmt: skip
    listed = export.changes_csv(found).decode().splitlines()[1:]
    assert [row.partition(",")[0] for row in listed] == ["G9", "G5", "G4", "G3", "G2"]
    cut, whole = (
        unfolded(report.text(found, most).partition("\nWorse: ")[2].partition("\nBetter: ")[0]) for most in (1, None)
    )
    assert "held 240 -> 20 gpm; now holds 20 gpm, needs 250" in cut
    assert "and 2 addresses more" in cut
    assert max(map(len, report.text(found).splitlines()[4:])) <= report.LINE_LETTERS
    assert "held 200 to 250 -> 120 to 150 gpm; now holds 120 to 150 gpm, needs 250; most at 5 Mill Road" in whole


def test_a_route_in_fewer_months_is_worse(built: Built, tmp_path: Path) -> None:
    """Shut from December to April before, and now for good: seven months of a fire's water are gone."""
    flags = {"G1": ("road closed=12-4", "road cut off"), "G2": ("road closed=12-4", "road closed=12-3"),
             "G3": ("road closed=12-4", "no fill site in=12-4")}  # fmt: skip
    gone = dict.fromkeys(("response_level", "uninterrupted_gpm", "sustained_gpm", "call_by_min"), "")
    cells = {one: tuple({**gone, "status": "no route", "flags": flag} for flag in ends) for one, ends in flags.items()}
    found = _held_with(built(), tmp_path, cells)
    groups = dict(zip(found.answers.old["address_id"], found.answers.group, strict=True))
    assert [groups[one] for one in flags] == ["worse", "better", "instructions"]


def _held_with(results: Path, folder: Path, cells: Mapping[str, Sequence[dict[str, str]]]) -> Comparison:
    """Compare two copies of results in which some addresses have other cells, before and after."""
    for end in (0, 1):
        shutil.copytree(results, folder / str(end))
        rows = rows_of(folder / str(end) / "addresses.csv")
        other = [{**row, **(cells[row["address_id"]][end] if row["address_id"] in cells else {})} for row in rows]
        rewrite(folder / str(end), "addresses.csv", _as_csv(other))
    return held(folder / "0", folder / "1")


def _as_csv(table: list[dict[str, str]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, table[0], lineterminator="\n")
    writer.writeheader()
    writer.writerows(table)
    return text.getvalue().encode()


def test_the_same_results_give_the_same_bytes(built: Built) -> None:
    """Report, table and JSON, read anew each time."""
    said = []
    for _ in range(2):
        found = compare(read_results(built()), read_results(built(sold)))
        said.append((report.text(found), export.changes_csv(found), json.dumps(export.as_answer(found))))
    assert said[0] == said[1]


# --------------------------------------------------------------------------- causes


def no_tanker_lane(district: SmallDistrict) -> None:
    district.tower_lane["maxweight"] = "8 st"


def slow_road(district: SmallDistrict) -> None:
    district.mill_road["maxspeed"] = "20 mph"


def hydrant_near(district: SmallDistrict) -> None:
    file_added("hydrants", "hydrants.csv", "hydrant_id,lon,lat,flow_gpm\nH1,-72.04,44.0002,1500\n")(district)


def driveway(district: SmallDistrict) -> None:
    head, *rows = str(district.files["addresses.csv"]).splitlines()
    rows = [f"{row},{600 if row.startswith('G2,') else ''}" for row in rows]
    district.files["addresses.csv"] = "\n".join([f"{head},driveway_ft", *rows, ""])


def tower_connection(district: SmallDistrict) -> None:
    head, *rows = str(district.files["fill_sites.csv"]).splitlines()
    district.files["fill_sites.csv"] = "\n".join([f"{head},connection", f"{rows[0]},", f"{rows[1]},5 in storz", ""])


CAUSES: dict[str, tuple[Change, set[tuple[str, str]], set[str], str]] = {
    "a tanker sold": (sold, {("unit", "T3")}, {"G4", "G9"}, "T3 is no longer in service"),
    "a tanker bought": (
        replaced("apparatus.csv", "T1,H1", "T0,H1,tanker,4000,2500\nT1,H1"),
        {("unit", "T0")},
        {"G4"},
        "T0 is new in service",
    ),
    "a fill site out of service": (
        site_out,
        {("fill site", "S2")},
        {"G5", "G9"},
        "fill site S2 (Tower) is out of service",
    ),
    "a fill site gone": (
        replaced("fill_sites.csv", S1, ""),
        {("fill site", "S1"), ("fill site", "S2")},
        {"G5", "G9"},
        "fill site S1 (Mill Pond) is no longer in the table, fill site S2 has number 1 on map and cards, was 2",
    ),
    "a fill site new": (
        replaced("fill_sites.csv", S2, f"{S2}S3,West,tank,-72.09,44.0,900,through,90000\n"),
        {("fill site", "S3")},
        {"G8", "G9"},
        "fill site S3 (West) is new",
    ),
    "a slower fill site": (
        replaced("fill_sites.csv", "900,loop", "300,loop"),
        {("fill site", "S1")},
        {"G1", "G2"},
        "fill site S1 (Mill Pond) changed: fill rate 900 gpm -> 300 gpm",
    ),
    "another connection": (
        tower_connection,
        {("fill site", "S2")},
        {"G5", "G9"},
        "S2 (Tower) changed: connection not known -> 5 in storz",
    ),
    "a larger building": (
        replaced("addresses.csv", "-72.01,44.0004,30,25,20", "-72.01,44.0004,90,60,30"),
        {("requirement", "required"), ("requirement", "required total")},
        {"G1"},
        "needs 1,000 gpm, was 250, needs in all 23,143 gal, was 2,143 (changed: addresses.csv)",
    ),
    "a shorter duration": (
        replaced("toml", "required_min = 20", "required_min = 15"),
        {("requirement", "required for")},
        {"G1", "G4"},
        "needs it for 15 min, was 20 (changed: rule required_flow.required_min)",
    ),
    "another rule": (
        replaced("toml", "[roads]\n", "[shuttle]\nfill_hookup_min = 3.0\n\n[roads]\n"),
        {("rule", "shuttle.fill_hookup_min")},
        {"G1", "G4"},
        "rule shuttle.fill_hookup_min 1 -> 3 min",
    ),
    "another level": (
        replaced("toml", "engines = 2\ntankers = 2", "engines = 2\ntankers = 3"),
        {("response level", "0")},
        {"G4"},
        "response level 1: Level 1, 2 engines and 2 tankers -> Level 1, 2 engines and 3 tankers",
    ),
    "a posted lane": (
        no_tanker_lane,
        {("trip", "S2"), ("road", "posted below empty")},
        {"G5", "G9"},
        "no round trip from S2 is known now (changed: roads.osm, limits of Tower Lane)",
    ),
    "a slow road": (
        slow_road,
        {("trip", "S1")},
        {"G3", "G9"},
        "min, was ",
    ),
    "a closure": (
        file_added("closures", "closures.csv", "closure_id,kind,way_id\nC1,closed,11\n"),
        {("trip", "S2")},
        {"G5", "G9"},
        "no round trip from S2 is known now (changed: closures.csv",
    ),
    "a slower station": (
        replaced("stations.csv", "lat\nH1,Headquarters,-72.02,44.0002", "lat,turnout_min\nH1,Base,-72.02,44.0002,9"),
        {("arrival", "T1"), ("arrival", "T2"), ("arrival", "T3"), ("first water", "")},
        {"G1", "G4"},
        "first water at minute 11.0 to 16.3, was 8.0 to 13.3 (changed: stations.csv, station H1)",
    ),
    "a hydrant": (hydrant_near, {("hydrant", "")}, {"G4"}, "hydrant that counts: H1, counts for"),
    "a longer driveway": (driveway, {("driveway", "")}, {"G2"}, "driveway 600 ft, was 190 (changed: addresses.csv)"),
    "a moved address": (
        replaced("addresses.csv", "G2,2 Mill Road,-72.02,44.0004", "G2,2 Mill Road,-72.02,44.0024"),
        {("place", ""), ("driveway", "")},
        {"G2"},
        "the address point moved 729 ft (changed: addresses.csv)",
    ),
    "another label": (
        replaced("addresses.csv", "3 Mill Road", "3 Mill Road mill"),
        {("label", "")},
        {"G3"},
        "the label was 3 Mill Road",
    ),
    "what no table tells": (
        replaced("apparatus.csv", "tanker,3000", "tanker,2500"),
        {("not told", "")},
        {"G1"},
        "not told by the files",
    ),
}
"""A change of the district, causes that addresses then have, some of those, and words of the report."""
ALSO = {
    "a tanker bought": {"arrival"}, "a slow road": {"arrival", "first water"}, "a closure": {"arrival", "first water"},
}  # fmt: skip
"""Causes that are true as well: units of one house roll one behind the other, and roads carry engines too."""


@pytest.mark.parametrize("name", CAUSES)
def test_a_cause_is_found_where_it_acts_and_nowhere_else(built: Built, name: str) -> None:
    """Each change of the district is the cause that is told, of every address that changed, and no other is."""
    change, causes, some, words = CAUSES[name]
    found = held(built(), built(change))
    at = told(found)
    for one in some:
        assert causes <= at[one], (one, at)
    codes = {code for code, _ in causes}
    assert {code for of in at.values() for code, _ in of} <= codes | ALSO.get(name, set())
    assert words in unfolded(report.text(found, None))


def test_two_causes_are_both_told(built: Built) -> None:
    """Where a tanker and a fill site went, an address that had both has both."""
    found = held(built(), built(sold, site_out))
    assert told(found)["G9"] == {("unit", "T3"), ("fill site", "S2")}


def test_results_without_an_address_in_both_are_compared(built: Built) -> None:
    """Ids given anew: all are new and all are gone, and their labels tell."""
    found = held(built(), built(replaced("addresses.csv", "\nG", "\nN")))
    assert report.counted(found) == {
        "worse": 0, "better": 0, "instructions": 0, "numbers": 0, "added": 9, "removed": 9, "same": 0,
    }  # fmt: skip
    assert "its label is now, or was, that of id G1" in unfolded(report.text(found))
    assert len(export.changes_csv(found).splitlines()) == 19


def test_a_unit_that_moved_house_is_told(built: Built) -> None:
    """The station it stands at is another; what follows is told as arrivals."""
    two = replaced("stations.csv", "44.0002\n", "44.0002\nH2,West,-72.085,44.0002\n")
    moved = replaced("apparatus.csv", "T3,H1", "T3,H2")
    found = held(built(), built(two, moved))
    assert "station H2 (West) is new" in {change.said for change in found.runs}
    assert "T3 stands at station H2, was at H1" in {change.said for change in found.runs}
    assert ("unit", "T3") in told(found)["G9"]
    assert ("arrival", "T3") in told(found)["G9"]


def test_trips_and_arrivals_that_follow_are_no_causes(built: Built) -> None:
    """Where nothing differs that acts on roads, another round trip is a consequence of another fill site."""
    found = held(built(), built(site_out))
    assert (found.answers.differences["what"] == "round trip").any()
    assert set(found.causes["code"]) == {"fill site"}


def test_the_way_of_other_months_over_the_same_fill_site_is_no_change_of_the_chosen_one() -> None:
    """Both stand under one address, fill site and leg: each was held against the other, though nothing had changed."""
    lines = [shapely.to_wkb(shapely.LineString([(-72.0, 44.0), (-72.0, north)])) for north in (44.02, 44.08)]
    row = {"address_id": "G1", "site_id": "S1", "leg": "out"}
    routes = pd.DataFrame([row | {"geom": line} for line in lines])
    pair: Any = SimpleNamespace(old=pd.DataFrame({"address_id": ["G1"], "lat": [44.0]}))
    results: Any = {"routes": routes}
    other: Any = {"routes": routes.iloc[::-1]}
    assert answers._ways(pair, results, results) == []
    (moved,) = answers._ways(pair, results, other)
    assert moved["what"].tolist() == ["way"]


def test_another_way_of_the_same_length_is_told(built: Built) -> None:
    """The card's directions are wrong then, though no minute differs."""

    def loop(north: float) -> Change:
        def change(district: SmallDistrict) -> None:
            district.roads.node(30, -72.005, 44.0 + north)
            district.roads.way(12, [1, 30, 2], dict(MILL_ROAD))
            district.mill_road["highway"] = "tertiary"

        return change

    def straight_closed(district: SmallDistrict) -> None:
        file_added("closures", "closures.csv", "closure_id,kind,lon,lat\nC1,closed,-72.005,44.0\n")(district)

    found = held(built(loop(0.0006)), built(loop(0.0006), straight_closed))
    ways = found.answers.differences[found.answers.differences["what"] == "way"]
    assert {"empty"} == set(ways["new"])
    assert "another way, empty, from and to S1" in unfolded(report.text(found, None))


def test_flags_of_the_road_are_causes_only_where_something_acts_on_roads(built: Built, tmp_path: Path) -> None:
    """A unit without a way, and a limit that trips go round, stand with the road file; else they are consequences."""
    shutil.copytree(built(), tmp_path / "new")
    cells = (tmp_path / "new" / "addresses.csv").read_bytes()
    rewrite(tmp_path / "new", "addresses.csv", cells.replace(b",190,gap", b",190,no way for=T3; gap"))
    trips = (tmp_path / "new" / "trips.csv").read_bytes()
    rewrite(tmp_path / "new", "trips.csv", trips.replace(b",0.0,0,yes\n", b",2.5,0,yes\n"))
    assert {code for code, _ in told(compare(read(built()), read_results(tmp_path / "new")))["G3"]} == {"not told"}
    edit_run(tmp_path / "new", lambda run: run["inputs"]["roads"].update(sha256="another"))
    found = compare(read(built()), read_results(tmp_path / "new"))
    assert told(found)["G3"] == {("road", "no way for"), ("posting", "S1"), ("posting", "S2")}
    said = unfolded(report.text(found))
    assert "now flagged: no way for T3" in said
    assert "a posted or rated limit makes the way from S1 longer by 2.5 min, was 0" in said
    assert "(changed: roads.osm)" in said


def test_a_level_that_went_or_was_named_anew_is_told_where_cards_print_it(built: Built, tmp_path: Path) -> None:
    """Of served addresses as well: their cards have a line for each level."""
    toml = small().toml
    found = held(built(), built(replaced("toml", toml[toml.rindex("[[response_levels]]") :], "")))
    assert set(found.answers.group) == {"worse", "numbers"}
    assert {code for of in told(found).values() for code, _ in of} == {"response level"}
    shutil.copytree(built(), tmp_path / "new")
    for name in ("addresses.csv", "levels.csv"):
        content = (tmp_path / "new" / name).read_bytes()
        rewrite(tmp_path / "new", name, content.replace(b",Level 2,", b",Second alarm,"))
    edit_run(tmp_path / "new", lambda run: run["response_levels"][1].update(name="Second alarm"))
    named = held(built(), tmp_path / "new")
    assert "name of response level 2 -> response level Second alarm" in unfolded(report.text(named))
    assert set(named.answers.group) == {"instructions", "numbers"}


def test_what_cards_print_beyond_the_tables_is_not_vouched_for(built: Built) -> None:
    """Where an input changed of which the tables do not tell all."""
    assert "may differ too, since this changed: apparatus.csv. In doubt" in unfolded(
        report.text(held(built(), built(sold)))
    )
    assert "may differ too" not in unfolded(report.text(held(built(), built(site_out))))


def test_a_trip_that_is_not_kept_is_no_cause(built: Built, tmp_path: Path) -> None:
    """With more fill sites than trips are kept of, a trip may lack because others are better."""
    for name, of in (("old", built()), ("new", built(no_tanker_lane))):
        shutil.copytree(of, tmp_path / name)
        edit_run(tmp_path / name, lambda run: run["rules"]["plan"].update(keep_sites=1))
    found = held(tmp_path / "old", tmp_path / "new")
    assert "trip" not in set(found.causes["code"])
    assert "not told" in set(found.causes["code"])


def test_pages_of_the_cards_are_named_where_both_results_name_them(built: Built, tmp_path: Path) -> None:
    """One address changed: its page goes and comes; where grouping changed, its neighbours' pages too."""
    next_door = replaced("addresses.csv", "2 Mill Road,-72.02,", "2 Mill Road,-72.0105,")
    found = held(built(next_door), built(next_door, driveway))
    old, new = (
        {row["address_id"]: row for row in rows_of(one / "cards.csv")}
        for one in (built(next_door), built(next_door, driveway))
    )
    said = unfolded(report.text(found))
    assert f"Pages to take out of the old cards: cards.pdf {old['G2']['page']}" in said
    assert old["G1"]["page"] == old["G2"]["page"] != old["G9"]["page"]
    assert new["G1"]["page"] != new["G2"]["page"]  # its hose is longer by more than neighbours on a card may differ
    out, put = cards_wrong(found)
    assert out == [("cards.pdf", int(old["G1"]["page"]))]
    assert put is not None
    assert {int(new["G1"]["page"]), int(new["G2"]["page"])} <= {page for _, page in put}
    assert ("cards.pdf", int(new["G9"]["page"])) not in put
    assert ("cards.pdf", int(new["G9"]["page"])) in cards_moved(found)
    assert "Cards that have another page number and are else as they were: " in said
    for name, of in (("old", built(next_door)), ("new", built(next_door, driveway))):
        shutil.copytree(of, tmp_path / name)
        edit_run(tmp_path / name, lambda run: run["files"].pop("cards.csv"))
    older = held(tmp_path / "old", tmp_path / "new")
    assert cards_wrong(older) == (None, None)
    assert report.counted(older) == report.counted(found)
    assert "Mill Road 1 of 9" in unfolded(report.text(older))


def test_what_another_season_brings_is_told_too(built: Built) -> None:
    """Winter decides, and summer's fill site gives less: no cell of addresses.csv differs, and the card is wrong."""

    def seasonal(rate: int) -> Change:
        def change(district: SmallDistrict) -> None:
            head = "site_id,name,kind,lon,lat,fill_gpm,turnaround,storage_gal,months\n"
            pond = f"S1,Mill Pond,dry hydrant,-72.0,44.0,{rate},loop,,4-11\n"
            district.files["fill_sites.csv"] = f"{head}{pond}{S2[:-1]},\n"

        return change

    found = held(built(seasonal(900)), built(seasonal(500)))
    differences = found.answers.differences
    assert set(differences.loc[differences["at"] == 0, "what"]) <= {
        "season", "season's flow", "fill site's card", "sheets",
    }  # fmt: skip
    assert {"season", "season's flow"} & set(differences.loc[differences["at"] == 0, "what"])
    assert told(found)["G1"] == {("fill site", "S1")}
    assert "by season: " in unfolded(report.text(found, None))
    said = export.changes_csv(found).decode()
    assert "by season: April to November: S1 " in said


@pytest.mark.parametrize("months", ["5-9", "1,7"], ids=["others before it", "months apart"])
def test_a_fill_site_that_serves_in_other_months_alone_is_a_cause(built: Built, months: str) -> None:
    """No address has a route in the worst season; where there is one, the only fill site gives less now."""

    def one_site(rate: int) -> Change:
        def change(district: SmallDistrict) -> None:
            head = "site_id,name,kind,lon,lat,fill_gpm,turnaround,months\n"
            pond = f'S1,Mill Pond,dry hydrant,-72.0,44.0,{rate},loop,"{months}"\n'
            district.files["fill_sites.csv"] = head + pond

        return change

    toml = small().toml
    one_level = replaced("toml", toml[toml.rindex("[[response_levels]]") :], "")
    found = held(built(one_level, one_site(900)), built(one_level, one_site(400)))
    assert "S1 " in str(found.answers.new["seasons"][0])
    # the two that are farthest hold 183 and 185 gpm, whatever the rate: less than 10 gpm apart is no change
    assert list(found.answers.group) == ["instructions"] * 7 + ["same"] * 2
    assert {code for of in told(found).values() for code in of} == {("fill site", "S1")}


def test_other_months_of_the_first_alarm_are_another_instruction(built: Built, tmp_path: Path) -> None:
    """In November, March and April too the level goes with the first alarm now: nothing else differs."""
    for name, months in (("old", b"12-2"), ("new", b"11-4")):
        shutil.copytree(built(), tmp_path / name)
        cells = (tmp_path / name / "addresses.csv").read_bytes()
        flagged = cells.replace(b",190,gap", b",190,first alarm in=" + months + b"; gap")
        assert flagged != cells
        rewrite(tmp_path / name, "addresses.csv", flagged)
    found = held(tmp_path / "old", tmp_path / "new")
    assert set(found.answers.differences["what"]) == {"to mind"}
    assert set(found.answers.group) == {"instructions"}
    assert "now flagged: first alarm in 11-4" in unfolded(report.text(found))


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("more later=230 gpm", "more later=330 gpm", True), ("more later=230 gpm", "more later=231 gpm", False),
        ("shares its source=F1", "shares its source=F2", True),
        ("frontage uncertain=34 ft", "frontage uncertain=35 ft", False),
    ],
)  # fmt: skip
def test_a_remark_that_says_something_else_is_told(
    built: Built, tmp_path: Path, old: str, new: str, told: bool
) -> None:
    """A flow that differs by less than the step is the same remark."""
    for name, flag in (("old", old), ("new", new)):
        shutil.copytree(built(), tmp_path / name)
        cells = (tmp_path / name / "addresses.csv").read_bytes()
        rewrite(tmp_path / name, "addresses.csv", cells.replace(b",190,gap", f",190,{flag}; gap".encode()))
    found = held(tmp_path / "old", tmp_path / "new")
    assert set(found.answers.differences["what"]) == ({"remarks"} if told else set())
    assert set(found.answers.group) == ({"numbers"} if told else {"same"})
    assert bool(found.answers.smaller.sum()) is not told


def test_an_engine_with_another_job_is_told(built: Built, tmp_path: Path) -> None:
    """The units are the same, and who pumps where is not."""
    shutil.copytree(built(), tmp_path / "new")
    cards = (tmp_path / "new" / "cards.csv").read_bytes()
    rewrite(tmp_path / "new", "cards.csv", cards.replace(b"E1 E2 T1 T2,E1,E2,E1,", b"E1 E2 T1 T2,E2,E1,E2,"))
    found = held(built(), tmp_path / "new")
    jobs = found.answers.differences[found.answers.differences["what"] == "jobs"]
    assert set(jobs["new"]) == {"attack E2, fill E1, dump E2"}
    assert set(jobs["old"]) == {"attack E1, fill E2, dump E1"}


# --------------------------------------------------------------------------- addresses of one run alone


def test_new_and_gone_addresses_are_told_with_why(built: Built) -> None:
    """A row that is at fault now is told as that; one that left the table, and one that came, as well."""
    g3 = "G3,3 Mill Road,-72.03,44.0004,30,25,20\n"
    at_fault = replaced("addresses.csv", g3, g3.replace("-72.03", "west"))
    new = replaced("addresses.csv", "G9,9 Mill Road", "N9,9 Mill Road")
    found = held(built(), built(at_fault, new))
    assert found.removed["address_id"].tolist() == ["G3", "G9"]
    assert found.added["address_id"].tolist() == ["N9"]
    assert found.removed["why"].tolist() == [
        "its row is at fault: column lon is not a number",
        "it is no longer in the address table; its label is now, or was, that of id N9",
    ]
    said = unfolded(report.text(found))
    assert "Gone: 2 addresses, in the old results alone" in said
    assert "New: 1 address, in the new results alone" in said
    assert "Mill Road 3 of 10" in said


# --------------------------------------------------------------------------- numbers and steps


def test_smaller_differences_leave_an_address_unchanged_and_are_counted(built: Built) -> None:
    """Steps that swallow everything but requirements and instructions."""
    change = replaced("toml", "[roads]\n", "[shuttle]\nfill_hookup_min = 1.1\n\n[roads]\n")
    fine, coarse = held(built(), built(change), Steps(gpm=1, min=0.1)), held(built(), built(change))
    assert report.counted(fine)["numbers"] > report.counted(coarse)["numbers"]
    assert coarse.answers.smaller.sum() > 0
    assert "of them but for smaller differences" in report.text(coarse)
    result = run(built(), built(change), "--gpm", "1", "--minutes", "0.1")
    assert "Flows are told from 1 gpm on, minutes from 0.1" in result.stdout


def test_a_long_list_is_cut_and_says_where_the_rest_is(built: Built) -> None:
    """Of entries and of causes the first ones; --all prints all."""
    found = held(built(), built(slow_road))
    short, whole = report.text(found, 1), report.text(found, None)
    assert "more: --all prints them, --csv FILE writes them" in short
    assert "more causes: --all prints them" in short
    assert len(whole) > len(short)
    assert "--all" not in whole
    assert "and 1 more (input): --all prints them" in report.text(held(built(), built(sold, site_out)), 1)
    assert run(built(), built(slow_road), "--all").stdout.rstrip("\n") == whole


# --------------------------------------------------------------------------- the table, and scripts


def test_the_table_has_a_row_for_each_changed_address_and_runs_no_formula(built: Built, tmp_path: Path) -> None:
    """Worst first; old and new beside each other; other people's text stays text."""
    path = tmp_path / "changes.csv"
    result = run(built(), built(sold), "--csv", path)
    assert result.exit_code == 0
    rows = rows_of(path)
    assert tuple(rows[0]) == export.CHANGE_COLUMNS
    found = held(built(), built(sold))
    assert Counter(row["change"] for row in rows) == Counter(one for one in found.answers.group if one != "same")
    worse = [row for row in rows if row["change"] == "worse"]
    assert worse == rows[: len(worse)]
    left = [float(row["uninterrupted_gpm_new"]) for row in worse]
    assert len(left) > 2
    assert left == sorted(left)
    first = next(row for row in rows if row["address_id"] == "G6")
    assert (first["address_id"], first["label"]) == ("G6", "'=6 Mill Road")
    assert (first["change"], first["status_old"], first["status_new"]) == ("worse", "higher level", "not met")
    assert first["response_level_old"] == "Level 2"
    assert "T3 is no longer in service" in first["causes"]
    assert first["units_old"].split() != first["units_new"].split()
    assert {row["required_gpm_old"] for row in rows} == {"250"}


def test_the_table_goes_over_no_result_and_makes_no_folder(built: Built, tmp_path: Path) -> None:
    """Exit status 2, and the results are as they were."""
    before = (built() / "addresses.csv").read_bytes()
    result = run(built(), built(sold), "--csv", built() / "addresses.csv")
    assert result.exit_code == 2
    assert "is a file of the results; choose another name" in result.stderr
    assert (built() / "addresses.csv").read_bytes() == before
    assert "make it first" in run(built(), built(sold), "--csv", tmp_path / "none" / "c.csv").stderr


def test_the_table_goes_over_its_own_kind_alone(built: Built, tmp_path: Path) -> None:
    """A district's own addresses would be gone without a word; last week's changes may be written anew."""
    own, changes = tmp_path / "addresses.csv", tmp_path / "changes.csv"
    own.write_text("address_id,label\n1,1 Elm St\n", encoding="utf-8")
    result = run(built(), built(sold), "--csv", own)
    assert result.exit_code == 2
    assert "is there, and no table of changes; choose another name" in result.stderr
    assert own.read_text(encoding="utf-8") == "address_id,label\n1,1 Elm St\n"
    assert run(built(), built(sold), "--csv", tmp_path).exit_code == 2
    for _ in range(2):
        assert run(built(), built(sold), "--csv", changes).exit_code == 0


def test_json_tells_the_same(built: Built) -> None:
    """Counts, causes and every changed address."""
    answer = json.loads(run(built(), built(sold), "--json").stdout)
    found = held(built(), built(sold))
    assert answer["counts"] == report.counted(found)
    assert answer["causes"][0]["code"] == "unit"
    assert answer["causes"][0]["subject"] == "T3"
    assert [one["kind"] for one in answer["runs"]] == ["input", "unit"]
    assert answer["addresses"][0]["address_id"] == "G9"
    worst = next(one for one in answer["addresses"] if one["address_id"] == "G6")
    assert (worst["address_id"], worst["road"], worst["change"]) == ("G6", "Mill Road", "worse")
    assert {"what": "grade", "subject": "", "old": "Level 2", "new": "not met"} in worst["differences"]
    assert len(answer["addresses"]) == len(export.changes_csv(found).splitlines()) - 1


def test_an_older_new_result_asks_whether_they_were_swapped(built: Built, tmp_path: Path) -> None:
    """By the dates of the data."""
    shutil.copytree(built(), tmp_path / "later")
    edit_run(tmp_path / "later", lambda run: run.update(date="2027-01-01", version="9"))
    said = unfolded(run(tmp_path / "later", built(sold)).stdout)
    assert "Every page prints the date of the data, which is another now." in said
    assert "the wrong way round?" in said
    assert "date of the data 2027-01-01 -> 2026-05-01" in said
    assert "program version 9 -> " in said


@pytest.mark.parametrize(
    ("column", "what", "said"),
    [
        ("from_station", "from the station", "another way from the station: all by boat"),
        ("sheets", "sheets", "what the sheets behind the card say"),
        ("near_fill_site", "near the fill site", "near the fill site: all by boat"),
    ],
)
def test_what_a_card_says_and_no_other_table_has_is_told(
    built: Built, tmp_path: Path, column: str, what: str, said: str
) -> None:
    """The card of G1 says something else in one column of cards.csv: it is wrong, and the others are right."""
    shutil.copytree(built(), tmp_path / "new")
    cards = rows_of(tmp_path / "new" / "cards.csv")
    for row in cards:
        row[column] = "all by boat" if row["address_id"] == "G1" else row[column]
    text = io.StringIO()
    writer = csv.DictWriter(text, list(cards[0]), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(cards)
    rewrite(tmp_path / "new", "cards.csv", text.getvalue().encode())
    found = held(built(), tmp_path / "new")
    assert set(found.answers.differences["what"]) == {what}
    assert found.answers.old["address_id"][found.answers.differences["at"]].tolist() == ["G1"]
    assert said in unfolded(report.text(found))
    (page,) = {(row["file"], int(row["page"])) for row in cards if row["address_id"] == "G1"}
    assert cards_wrong(found) == ([page], [page])
