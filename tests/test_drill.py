"""`preplan drill`: a drill that the timeline ran, read back as a log, measures what was predicted, to the digit."""

from __future__ import annotations

import csv
import json
import random
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner, Result

from preplan.cli import EXIT_INPUT, app
from preplan.drill_events import DUMP_EVENTS, FILL_EVENTS, DrillEvent
from preplan.planning.drill_flow import flow_of
from preplan.planning.drill_offers import Offer, careful_of, fitted, possible
from preplan.planning.drill_visits import Load, measure
from preplan.rules import ShuttleRules
from preplan.water.shuttle import Tankers, handling, sustained
from preplan.water.timeline import Case, Event, PortableTank, Tanker, account
from preplan.water.uninterrupted import NO_BOUND_GPM
from tests.conftest import Golden
from tests.drills import read
from tests.faults.small import SmallDistrict
from tests.plan_checks import REPO, SAMPLE, plan_of
from tests.shared_data import shared

RULES = ShuttleRules()
TANKS = {"T1": 2000.0, "T2": 3000.0, "T3": 1800.0}
DUMP_GPM = RULES.small_dump_gpm
ARRIVE = {"T1": 3.0, "T2": 4.7, "T3": 9.1}
DUMP_READY, FILL_READY, END = 6.2, 8.4, 131.0
FOUR = {"on scene", "at dump site", "empty", "at fill site", "full"}
"""What a clipboard writes down; the first load's coming stands for its reaching the dump site."""
HEADER = ("unit_id", "event", "time", "gallons", "place")


class Small:
    """The small district on disk, and its trip between S1 and an address."""

    def __init__(self, folder: Path, positions: int = 1, self_fill_gpm: str = "", **site: str) -> None:
        folder.mkdir(exist_ok=True)
        one, more = SmallDistrict(), {"positions": str(positions), **site}
        rows = [line.split(",") for line in str(one.files["fill_sites.csv"]).splitlines()]
        tower = {"positions": "1", "site_gpm": "", "refill_gpm": ""}
        sites = [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]
        sites = [sites[0] | more, sites[1] | {name: tower[name] for name in more if name in tower}]
        names = list(sites[0])
        table = [names, *([one.get(name, "") for name in names] for one in sites)]
        one.files["fill_sites.csv"] = "\n".join(",".join(row) for row in table) + "\n"
        if self_fill_gpm:
            units = str(one.files["apparatus.csv"]).splitlines()
            one.files["apparatus.csv"] = "\n".join(
                f"{unit},{'self_fill_gpm' if not at else self_fill_gpm if unit.startswith('T3') else ''}"
                for at, unit in enumerate(units)
            )
        self.file, self.folder = one.write(folder / "mine"), folder
        plan = plan_of(self.file)
        here = (plan.addresses.address_id[plan.trips.address] == "G5") & (plan.trips.site == 0)
        (row,) = np.flatnonzero(here).tolist()
        assert plan.sites[0].site_id == "S1"
        self.out_min, self.back_min = float(plan.trips.out_min[row]), float(plan.trips.back_min[row])

    def simulate(
        self,
        positions: int = 1,
        arrive: dict[str, float] = ARRIVE,
        pace: float = 1.0,
        vacuum_gpm: float = 0.0,
        **site: float,
    ) -> tuple[Event, ...]:
        """Run a drill by hand: rules, tables and the kept trip, typed in here and nowhere taken over.

        `pace` shortens the legs; `vacuum_gpm` lets T3 fill itself; `site` changes the fill site.
        """
        tankers = tuple(
            Tanker(
                unit_id=name, arrival_min=minute, usable_gal=0.9 * TANKS[name], fill_gpm=900.0, dump_gpm=DUMP_GPM,
                out_min=pace * self.out_min, back_min=pace * self.back_min, fill_hookup_min=1.0, dump_hookup_min=0.5,
                fill_maneuver_min=1.0, dump_maneuver_min=1.5,
            )
            for name, minute in arrive.items()
        )  # fmt: skip
        if vacuum_gpm:
            third = replace(tankers[2], usable_gal=1800.0, fill_gpm=vacuum_gpm, fill_hookup_min=0.5, self_fill=True)
            tankers = (*tankers[:2], third)
        if site:
            tankers = tuple(replace(one, fill_gpm=min(one.fill_gpm, site["site_gpm"])) for one in tankers)
        case = Case(
            tankers=tankers, attack_arrival_min=0.0, attack_setup_min=0.0, full_flow_after_min=0.0, booster_gal=0.0,
            dump_engine_arrival_min=DUMP_READY, dump_setup_min=0.0, fill_engine_arrival_min=FILL_READY,
            fill_setup_min=0.0, required_gpm=NO_BOUND_GPM, required_min=END, attack_gpm=NO_BOUND_GPM,
            positions=positions, site_gpm=900.0, other_tanks=(PortableTank(0.0, 1e9),),
        )  # fmt: skip
        case = replace(case, **site)  # type: ignore[arg-type]
        return tuple(account(case).events)

    def write(self, rows: Sequence[Sequence[object]], header: Sequence[str] = HEADER) -> Path:
        """Write a log beside the district."""
        path = self.folder / "log.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows([header, *rows])
        return path

    def drill(self, rows: Sequence[Sequence[object]], *options: str) -> Result:
        """Run the command on a log."""
        return CliRunner().invoke(app, ["drill", str(self.file), str(self.write(rows)), *options])

    def answer(self, rows: Sequence[Sequence[object]], *options: str) -> dict[str, Any]:
        """Run it for other programs."""
        result = self.drill(rows, *options, "--json")
        assert result.exit_code == 0, result.output
        answer: dict[str, Any] = json.loads(result.stdout)
        return answer


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Small:
    return Small(tmp_path_factory.mktemp("drill"))


def rows_of(events: Sequence[Event]) -> list[tuple[object, ...]]:
    """Write the timeline's events as a log, as they are printed, each with its place."""
    place = {**dict.fromkeys(DUMP_EVENTS, "G5"), **dict.fromkeys(FILL_EVENTS, "S1")}
    return [(e.unit_id, e.what, repr(e.minute), "", place.get(e.what, "")) for e in events]


def thinned(events: Sequence[Event]) -> list[tuple[object, ...]]:
    """Keep what a clipboard writes down, and when both ends were ready."""
    ready = {"dump site ready", "fill site ready"}
    return [row for row in rows_of(events) if row[1] in FOUR | ready]


def spans_of(answer: dict[str, Any]) -> list[dict[str, Any]]:
    spans: list[dict[str, Any]] = answer["spans"]
    return spans


# --------------------------------------------------------------------------- the round trip


@pytest.mark.parametrize("positions", [1, 2])
@pytest.mark.parametrize("words", ["all", "four"])
def test_a_simulated_drill_measures_what_is_predicted(
    tmp_path_factory: pytest.TempPathFactory, small: Small, words: str, positions: int
) -> None:
    """Every span of time of every tanker, every gallon at every minute, and both flows, with and without queues."""
    here = small if positions == 1 else Small(tmp_path_factory.mktemp("two"), positions)
    events = here.simulate(positions)
    rows = rows_of(events) if words == "all" else thinned(events)
    random.Random(5).shuffle(rows)  # noqa: S311 - a clipboard's disorder
    answer = here.answer(rows)
    spans = spans_of(answer)
    assert {span["what"] for span in spans} >= {"fill", "fill wait", "loaded leg", "dump", "empty leg", "cycle"}
    assert {span["unit_id"] for span in spans} == {"", *TANKS}
    for span in spans:
        assert span["typical_min"] == pytest.approx(span["predicted_min"], abs=1e-9), span
    for key in ("gal", "first_gal", "loads", "average_gpm", "hauled_gpm", "sustained_gpm"):
        assert answer["measured"][key] == pytest.approx(answer["replayed"][key], rel=1e-12), key
    measured, replayed = (np.array(answer[key]["by_minute"]) for key in ("measured", "replayed"))
    assert measured == pytest.approx(replayed, rel=1e-12)
    # rates into two tankers that share a site cannot be in the closed form of measured times twice
    assert answer["ways"]["S1"] == {"out_min": here.out_min, "back_min": here.back_min}
    waits = [span for span in spans if span["what"] == "fill wait" and not span["unit_id"]]
    assert (waits[0]["typical_min"] > 0.05) == (positions == 1)


@settings(max_examples=8, deadline=None)
@given(
    first=st.lists(st.floats(0.0, 40.0), min_size=3, max_size=3), pace=st.sampled_from([0.2, 1.0]), kept=st.booleans()
)
def test_any_beginning_is_measured_as_it_is_predicted(
    small: Small, first: list[float], pace: float, kept: bool
) -> None:
    """Tankers may come in any order, at once, or before a site is ready; legs shorter than planned show as such."""
    arrive = {name: round(minute, 2) for name, minute in zip(TANKS, first, strict=True)}
    events = small.simulate(arrive=arrive, pace=pace)
    answer = small.answer(rows_of(events) if kept else thinned(events))
    for span in spans_of(answer):
        if span["what"] in ("loaded leg", "empty leg"):
            leg_min = small.out_min if span["what"] == "loaded leg" else small.back_min
            share = (span["typical_min"] - span["predicted_min"]) / leg_min
            assert share == pytest.approx(pace - 1.0, abs=1e-6)
        elif pace == 1.0:
            assert span["typical_min"] == pytest.approx(span["predicted_min"], abs=1e-6), span
    if pace == 1.0:
        assert answer["measured"]["gal"] == pytest.approx(answer["replayed"]["gal"])


def test_events_as_the_shuttle_prints_them_are_a_log(small: Small) -> None:
    """`preplan shuttle --events --json`, its fields as columns, nothing renamed."""
    asked = (
        f"shuttle --tank 2000 --tank 3000 --unit T1 --unit T2 --min-out {small.out_min} --min-back {small.back_min} "
        "--fill-gpm 900 --arrive 13 --arrive 20 --demand 400 --events --json"
    )
    shuttle = json.loads(CliRunner().invoke(app, asked.split()).stdout)
    events = shuttle["timeline"]["events"]
    path = small.write([list(event.values()) for event in events], list(events[0]))
    result = CliRunner().invoke(app, ["drill", str(small.file), str(path), "--site", "S1", "--address", "G5", "--json"])
    assert result.exit_code == 0, result.output
    answer = json.loads(result.stdout)
    loads = [event for event in events if event["what"] == "empty"]
    assert answer["measured"]["loads"] == len(loads)
    # its portable tanks are full at times, which slows the dumping that was timed
    assert 0.85 * shuttle["sustained_gpm"] < answer["by_measured_times"]["gpm"] < 1.001 * shuttle["sustained_gpm"]


def test_a_long_drill_sustains_the_closed_form(small: Small) -> None:
    """Whole rounds of a steady shuttle come to the formula, and so do the measured times; both name what limits."""
    answer = small.answer(thinned(small.simulate()))
    fleet = Tankers(
        tank_gal=np.array(list(TANKS.values())), usable_fraction=np.full(3, 0.9), dump_gpm=np.full(3, DUMP_GPM),
        intake_gpm=np.full(3, 1000.0), self_fill_gpm=np.full(3, np.nan),
    )  # fmt: skip
    flow = sustained(
        small.out_min + small.back_min, handling(fleet, 900.0, RULES), np.ones(3, dtype=np.bool_), positions=1,
        site_gpm=900.0, dump_places=1,
    )  # fmt: skip
    gpm = float(flow.sustained_gpm)
    assert answer["predicted"]["gpm"] == pytest.approx(gpm, rel=1e-12)
    assert answer["by_measured_times"]["gpm"] == pytest.approx(gpm, rel=1e-9)
    assert answer["measured"]["sustained_gpm"] == pytest.approx(gpm, rel=0.01)
    assert answer["measured"]["hauled_gpm"] < answer["measured"]["sustained_gpm"]
    assert answer["predicted"]["limited_by"] == answer["by_measured_times"]["limited_by"]


def test_a_site_gives_one_tanker_no_more_than_it_has(tmp_path: Path) -> None:
    """900 gpm into one tanker where the site has 500 in all: 500, in the formula and in what is in use."""
    here = Small(tmp_path, site_gpm="500")
    answer = here.answer(thinned(here.simulate(site_gpm=500.0)))
    assert answer["predicted"]["gpm"] == pytest.approx(answer["by_measured_times"]["gpm"], rel=1e-9)
    assert {one["now"] for one in answer["offers"] if one["key"] == "fill_gpm"} == {500.0}


def test_where_the_plan_has_no_way_the_drill_is_measured_alone(tmp_path: Path) -> None:
    """Mill Road posted for 5 tons: no leg is predicted, no flow; what rules say of handling stands."""
    one = SmallDistrict()
    one.mill_road["maxweight"] = "5"
    here = Small(tmp_path / "open")
    here.file = one.write(tmp_path / "posted")
    rows = thinned(here.simulate())
    answer = here.answer(rows)
    assert answer["replayed"] is None
    assert answer["predicted"]["gpm"] is None
    spans = {span["what"]: span for span in spans_of(answer)}
    assert spans["loaded leg"]["predicted_min"] is None
    assert spans["dump"]["predicted_min"] is not None
    assert answer["measured"]["sustained_gpm"] > 0
    text = " ".join(here.drill(rows).stdout.split())
    assert "no way for all of these tankers on the roads known, so nothing is predicted" in text
    assert "nothing to compare with" in text


def test_times_of_day_over_midnight_say_the_same(small: Small) -> None:
    """The same drill begun at 22:57, to the second, in two clipboards one behind the other."""
    events = thinned(small.simulate())

    def at(minute: object) -> str:
        seconds = round((22 * 60 + 57 + float(str(minute))) * 60) % 86400
        return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"

    dumps = [(*row[:2], at(row[2]), *row[3:]) for row in events if row[4] != "S1"]
    fills = [(*row[:2], at(row[2]), *row[3:]) for row in events if row[4] == "S1"]
    answer = small.answer(dumps + fills)
    assert answer["begun"] == at(events[0][2]).removesuffix(":00")
    assert any("put in order of time" in said for said in answer["told"])
    plain = {(s["what"], s["unit_id"]): s for s in spans_of(small.answer(events))}
    for span in spans_of(answer):
        assert span["n"] == plain[span["what"], span["unit_id"]]["n"]
        assert span["typical_min"] == pytest.approx(plain[span["what"], span["unit_id"]]["typical_min"], abs=0.04)


def test_the_clipboard_may_stand_at_the_dump_site_alone(small: Small) -> None:
    """Rounds and flow are measured; what cannot be told apart is told once, and the plan is still beside it."""
    rows = [row for row in thinned(small.simulate()) if row[4] != "S1"]
    answer = small.answer(rows, "--site", "s1")
    assert {span["what"] for span in spans_of(answer)} >= {"cycle", "dump", "dump wait"}
    assert not {span["what"] for span in spans_of(answer)} & {"fill", "loaded leg"}
    assert sum("fill site" in said for said in answer["told"]) == 1
    assert answer["measured"]["gal"] == pytest.approx(answer["replayed"]["gal"])
    assert answer["by_measured_times"]["gpm"] is None
    text = " ".join(small.drill(rows).stdout.split())
    assert "nothing to compare with" in text
    assert "not known" in text


def test_places_may_be_left_out_where_they_are_evident(small: Small) -> None:
    """One row that names each is enough; so are the options; without either every such row is at fault."""
    rows = [(*row[:4], "") for row in thinned(small.simulate())]
    named = [*rows, ("T1", "at dump site", "131.0", "", "g5"), ("T2", "full", "131.0", "", "S-1")]
    assert small.answer(named)["address_id"] == "G5"
    assert small.answer(rows, "--site", "S1", "--address", "G5")["fill_sites"] == ["S1"]
    result = small.drill(rows)
    assert result.exit_code == EXIT_INPUT
    assert (
        "names no dump site, and none is evident (no row names one): write its id, or give --address" in result.stderr
    )
    assert result.stderr.count("none is evident") == len(
        [row for row in rows if row[1] not in ("dump site ready", "fill site ready")]
    )
    wrong = small.drill(rows, "--site", "S9")
    assert wrong.exit_code == EXIT_INPUT
    assert "--site: 'S9' is not in the district" in wrong.stderr


def test_a_site_that_runs_dry_and_a_tanker_that_fills_itself_are_predicted_too(tmp_path: Path) -> None:
    """S1 gives 800 gpm in all and holds 6,000 gal; T3 is a vacuum tanker, which waits for no engine."""
    here = Small(tmp_path, site_gpm="800", storage_gal="6000", refill_gpm="150", self_fill_gpm="700")
    events = here.simulate(
        vacuum_gpm=700.0, site_gpm=800.0, storage_gal=6000.0, refill_gpm=150.0, fill_engine_arrival_min=35.0
    )
    assert min(e.minute for e in events if (e.unit_id, e.what) == ("T3", "full")) < 35
    answer = here.answer(rows_of(events))
    for span in spans_of(answer):
        assert span["typical_min"] == pytest.approx(span["predicted_min"], abs=1e-9), span
    assert answer["measured"]["gal"] == pytest.approx(answer["replayed"]["gal"])
    assert answer["measured"]["first_gal"] == pytest.approx(0.9 * 5000 + 1800)
    assert answer["predicted"]["limited_by"] == "source"
    assert answer["predicted"]["gpm"] == pytest.approx(6000 / answer["measured"]["end_min"] + 150, rel=0.05)
    full = [(*row[:3], TANKS[str(row[0])] if row[1] == "empty" else "", row[4]) for row in rows_of(events)]
    loads = [load for load in here.answer(full)["loads"] if load["unit_id"] != "T3"]
    assert f"{len(loads)} loads stand with the size of the tank" in " ".join(here.drill(full).stdout.split())


def test_a_tanker_that_begins_at_the_fill_site_comes_with_no_load_of_its_own(small: Small) -> None:
    """Its first load was filled in the drill: it is hauled, measured and predicted alike."""
    rows = [*thinned(small.simulate()), ("T1", "at fill site", "0.1", "", "S1"), ("T1", "full", "0.6", "", "S1")]
    answer = small.answer(rows)
    for which in ("measured", "replayed"):
        assert answer[which]["first_gal"] == pytest.approx(0.9 * (3000 + 1800)), which
    assert answer["measured"]["hauled_gpm"] == pytest.approx(answer["replayed"]["hauled_gpm"])


def test_a_first_load_that_stands_in_line_came_a_maneuver_before(small: Small) -> None:
    """Who writes 'at dump site' and not 'on scene' says the same."""
    rows = [
        (unit, "at dump site", repr(float(str(minute)) + 1.5), gallons, place) if event == "on scene" else
        (unit, event, minute, gallons, place)
        for unit, event, minute, gallons, place in thinned(small.simulate(arrive={**ARRIVE, "T3": 25.0}))
    ]  # fmt: skip
    answer = small.answer(rows)
    assert answer["measured"]["by_minute"] == pytest.approx(np.array(answer["replayed"]["by_minute"]))
    assert answer["measured"]["sustained_gpm"] == pytest.approx(answer["replayed"]["sustained_gpm"])


def test_more_water_than_promised_sends_to_the_log(small: Small) -> None:
    """Legs driven in half the time are a good crew, or a bad log."""
    said = "look first at what the log leaves open"
    assert said in " ".join(small.drill(thinned(small.simulate(pace=0.3))).stdout.split())
    assert said not in " ".join(small.drill(thinned(small.simulate())).stdout.split())


# --------------------------------------------------------------------------- logs as people keep them


def test_two_fill_sites_have_a_row_each(small: Small) -> None:
    """T3 fills at the tower; each circuit has its own legs, and the prediction knows both."""
    events = [
        (unit, event, minute, gallons, "S2" if unit == "T3" and place == "S1" else place)
        for unit, event, minute, gallons, place in thinned(small.simulate())
    ]
    answer = small.answer(events)
    assert answer["fill_sites"] == ["S1", "S2"]
    legs = {span["site_id"]: span for span in spans_of(answer) if span["what"] == "loaded leg" and not span["unit_id"]}
    assert legs["S1"]["predicted_min"] == pytest.approx(small.out_min + 1.5)
    assert legs["S2"]["predicted_min"] != pytest.approx(small.out_min + 1.5)
    assert answer["replayed"]["gal"] > 0
    assert "S2 Tower" in small.drill(events).stdout


def test_a_fill_site_is_ready_when_the_row_of_its_place_says_so(small: Small) -> None:
    """Whether the second one is called the second or by its id; it is ready first, and long before the other."""
    rows = [
        (unit, event, minute, gallons, "S2" if unit == "T3" and place == "S1" else place)
        for unit, event, minute, gallons, place in thinned(small.simulate())
        if event != "fill site ready"
    ]
    first = ("", "fill site ready", "30.0", "", "S1")
    by_word, by_place = (
        small.answer([*rows, first, row])
        for row in (("", "second fill site ready", "7.0", "", ""), ("", "fill site ready", "7.0", "", "S2"))
    )
    assert by_place == by_word


def test_one_who_fills_at_both_sites_is_sent_to_that_of_most(small: Small) -> None:
    rows = untidy(small)
    at = [row for row in rows if row[:2] in (("T2", "at fill site"), ("T2", "full"))][2:4]
    told, answer = told_of(small, [(*row[:4], "S2") if row in at else row for row in rows])
    assert any(one == "T2 filled at both sites; the prediction sends it to S1." for one in told)
    assert answer["replayed"]["gal"] == pytest.approx(small.answer(rows)["replayed"]["gal"])


def test_rows_some_seconds_out_of_order_are_one_visit(small: Small) -> None:
    """A queue's end and the taking of a place, written by two: no load more, no wait below zero."""
    rows, jitter = rows_of(small.simulate()), random.Random(2)  # noqa: S311 - two watches
    shaken = [(*row[:2], repr(abs(float(str(row[2])) + jitter.uniform(-0.1, 0.1))), *row[3:]) for row in rows]
    told, answer = told_of(small, shaken)
    whole = small.answer(rows)
    assert any("rows written down a moment late within a visit" in one for one in told)
    assert abs(answer["measured"]["loads"] - whole["measured"]["loads"]) <= 1
    assert min(span["least_min"] for span in spans_of(answer)) >= 0.0
    assert not any("nothing is logged" in one for one in told)


def test_a_dump_too_soon_after_the_one_before_is_no_load(small: Small) -> None:
    """Nobody drives a round in four minutes: the row is told, and adds no water."""
    rows = untidy(small)
    left = float(str([row for row in rows if row[:2] == ("T3", "empty")][2][2]))
    told, answer = told_of(
        small, [*rows, ("T3", "at dump site", left + 3, "", "G5"), ("T3", "empty", left + 4, "", "G5")]
    )
    assert any("not counted, since they came too soon after the one before" in one for one in told)
    assert answer["measured"]["gal"] == small.answer(rows)["measured"]["gal"]


def untidy(small: Small) -> list[tuple[object, ...]]:
    return thinned(small.simulate())


def told_of(small: Small, rows: Sequence[Sequence[object]]) -> tuple[list[str], dict[str, Any]]:
    answer = small.answer(rows)
    return answer["told"], answer


def dropped(rows: list[tuple[object, ...]], unit: str, event: str, which: int) -> list[tuple[object, ...]]:
    """Leave out one row: the n-th such event of a tanker."""
    same = [row for row in rows if row[:2] == (unit, event)]
    return [row for row in rows if row is not same[which]]


@pytest.mark.parametrize(
    ("event", "said", "fewer"),
    [
        ("full", "T2: leaving the fill site is missing", {"fill", "loaded leg"}),
        ("at fill site", "T2: reaching the fill site is missing", {"fill wait", "empty leg"}),
        ("at dump site", "T2: reaching the dump site is missing", {"dump wait", "loaded leg"}),
        ("empty", "T2: leaving the dump site is missing", {"dump", "empty leg", "cycle"}),
    ],
)
def test_a_missing_row_is_told_and_costs_what_it_touches(small: Small, event: str, said: str, fewer: set[str]) -> None:
    """And no gallon."""
    whole, cut = untidy(small), dropped(untidy(small), "T2", event, 1)
    told, answer = told_of(small, cut)
    assert sum(said in one for one in told) == 1
    before, after = ({s["what"]: s for s in spans_of(a) if s["unit_id"] == "T2"} for a in (small.answer(whole), answer))
    for what in fewer:
        assert after[what]["n"] < before[what]["n"], what
    for what, span in after.items():
        assert span["typical_min"] == pytest.approx(before[what]["typical_min"], abs=0.35), what
    assert answer["measured"]["gal"] == small.answer(whole)["measured"]["gal"]


def test_a_tanker_that_is_not_seen_leaving_blocks_nobody_s_times(small: Small) -> None:
    """Who waited behind it is left out of the handling times, not measured with its wait in them."""
    rows = dropped(untidy(small), "T1", "full", 0)
    told, answer = told_of(small, rows)
    assert any("came behind a tanker that was not seen leaving: 1." in one for one in told), told
    for span in spans_of(answer):
        if span["what"] == "fill":
            assert span["most_min"] == pytest.approx(span["predicted_min"], abs=1.2)


def test_whoever_is_not_seen_leaving_at_the_end_has_dumped_nothing(small: Small) -> None:
    rows = [*untidy(small), ("T1", "at dump site", "160", "", "G5")]
    rows = [row for row in rows if not (row[0] == "T1" and 131 > float(str(row[2])) > 110)]
    told, answer = told_of(small, rows)
    assert any("T1 was not seen leaving the dump site at the end" in one and "not counted" in one for one in told)
    assert max(load["minute"] for load in answer["loads"]) < 132


def test_a_missing_visit_costs_its_load_and_is_told(small: Small) -> None:
    """Two fills without a dump between: the load is lost; two dumps without a fill: it was refilled all the same."""
    rows, whole = untidy(small), small.answer(untidy(small))["measured"]
    no_dump = dropped(dropped(rows, "T2", "at dump site", 0), "T2", "empty", 1)
    told, answer = told_of(small, no_dump)
    assert any("T2: nothing is logged at the dump site between rows" in one and "no load" in one for one in told)
    assert answer["measured"]["gal"] == pytest.approx(whole["gal"] - 2700)
    no_fill = dropped(dropped(rows, "T2", "at fill site", 1), "T2", "full", 1)
    told, answer = told_of(small, no_fill)
    assert any("T2: nothing is logged at the fill site" in one for one in told)
    assert any("Loads without a fill in the log, which count as refilled: 1." in one for one in told)
    assert answer["measured"]["gal"] == pytest.approx(whole["gal"])
    assert answer["measured"]["first_gal"] == pytest.approx(whole["first_gal"])


def test_what_is_written_twice_counts_once(small: Small) -> None:
    """The same row, and the same event by a second person a minute later."""
    rows = untidy(small)
    again = next(row for row in rows if row[:2] == ("T1", "full"))
    later = (*again[:2], str(float(str(again[2])) + 1.0), *again[3:])
    told, answer = told_of(small, [*rows, again, later])
    assert any("and counts once" in one for one in told)
    assert any("T1: 'full' stands twice" in one for one in told)
    whole = small.answer(rows)
    assert answer["measured"]["gal"] == whole["measured"]["gal"]
    assert [s["n"] for s in spans_of(answer)] == [s["n"] for s in spans_of(whole)]


def test_a_pause_is_in_the_flow_and_in_no_median(small: Small) -> None:
    """Of all, and one that nobody ended; the steady part lies on one side of it."""
    rows = untidy(small)
    paused = [*rows, ("", "pause", "60", "", ""), ("", "resume", "61", "", "")]
    told, answer = told_of(small, paused)
    whole = small.answer(rows)
    assert any("Left out of the medians for a pause" in one for one in told)
    assert sum(s["n"] for s in spans_of(answer)) < sum(s["n"] for s in spans_of(whole))
    assert answer["measured"]["average_gpm"] == whole["measured"]["average_gpm"]
    steady = answer["measured"]["steady"]
    assert steady["to_min"] <= 60 or steady["from_min"] >= 61
    told, answer = told_of(small, [*rows, ("T3", "pause", "120", "", ""), ("T1", "resume", "50", "", "")])
    assert any("the pause of T3 from minute 120 on is not ended" in one for one in told)
    assert any("'resume' in row" in one and "ends no pause" in one for one in told)


def test_who_joins_late_or_leaves_early_is_told(small: Small) -> None:
    """And the steady part is that in which all haul, its first load left out of it."""
    late = thinned(small.simulate(arrive={**ARRIVE, "T3": 50.0}))
    told, answer = told_of(small, late)
    assert any(one.startswith("T3 joined 47 min after the first tanker") for one in told)
    assert answer["measured"]["gal"] == pytest.approx(answer["replayed"]["gal"])
    steady = answer["measured"]["steady"]
    assert steady["same_fleet"]
    assert steady["from_min"] > 50
    gone = [row for row in late if not (row[0] == "T1" and float(str(row[2])) > 60)]
    told, answer = told_of(small, [*gone, ("T1", "leaves drill", "66", "", "")])
    assert any(one == "T1 left the drill at minute 66." for one in told)
    assert any("T1 dumped its last load" in one for one in told)
    assert answer["measured"]["gal"] < answer["replayed"]["gal"]


def test_engines_and_the_fire_are_passed_over_and_counted(small: Small) -> None:
    rows = [*rows_of(small.simulate()), ("E1", "at fill site", "7", "", "S1"), ("E1", "full", "9", "", "S1")]
    told, answer = told_of(small, rows)
    assert any("rows of E1, an engine that hauls no water in the plan, passed over: 2." in one for one in told)
    assert any("rows that tell of nursing, engines or the fire, passed over: " in one for one in told)
    assert answer["tankers"] == ["T1", "T2", "T3"]


def test_written_gallons_count_and_the_size_of_a_tank_is_doubted(small: Small) -> None:
    """What is written beside full is what is dumped next; the tank's own size is told as such."""
    rows = [(*row[:3], TANKS[str(row[0])] if row[1] == "full" else "", row[4]) for row in untidy(small)]
    answer = small.answer(rows)
    first = answer["measured"]["first_gal"]
    assert first == pytest.approx(0.9 * sum(TANKS.values()))
    assert answer["assumed_loads"] == 3
    assert sum(load["gallons"] for load in answer["loads"]) == answer["measured"]["gal"]
    assert "A dump leaves some aboard" in " ".join(small.drill(rows).stdout.split())


# --------------------------------------------------------------------------- what is offered


def told_apart(small: Small, hookup_min: float, extra_gpm: float = 0.0) -> list[tuple[object, ...]]:
    """Add when water began to run, and when tankers came into sight, to a simulated log."""
    rows: list[tuple[object, ...]] = []
    for unit, what, minute, gallons, place in rows_of(small.simulate()):
        at = float(str(minute))
        rows.append((unit, what, repr(at), gallons, place))
        if what == "takes fill place":
            rows.append((unit, "fills", repr(at + hookup_min), gallons, place))
        if what == "at fill site":
            rows.append((unit, "reaches fill site", repr(at - 1.0 - extra_gpm), gallons, place))
        if what == "at dump site":
            rows.append((unit, "reaches dump site", repr(at - 1.5), gallons, place))
    return rows


def test_what_is_told_apart_is_offered_as_it_is(small: Small) -> None:
    """Rules by their names, rates to the row of their table; a log of the defaults gives the defaults back."""
    answer = small.answer(told_apart(small, 1.0))
    offers = {(one["where"], one["row_id"], one["key"]): one for one in answer["offers"]}
    rules = {name for where, _, name in offers if where == "[shuttle]"}
    assert rules == {"fill_hookup_min", "fill_maneuver_min", "dump_hookup_min", "dump_maneuver_min"}
    for name in rules:
        assert offers["[shuttle]", "", name]["value"] == pytest.approx(getattr(RULES, name)), name
        assert offers["[shuttle]", "", name]["how"] == ""
    assert offers["fill_sites", "S1", "fill_gpm"]["value"] == 900
    assert {row for where, row, key in offers if (where, key) == ("apparatus", "dump_gpm")} == set(TANKS)
    assert offers["apparatus", "T1", "dump_gpm"]["value"] == 1000
    assert all("leg from S1: 1.00 times what is predicted" in one for one in answer["not_offered"])


def test_what_no_rule_may_be_is_told_and_not_offered() -> None:
    """Somebody wrote the hour before, or two rows at once: such values were left out without a word."""
    one = Offer(where="[shuttle]", row_id="", key="fill_gpm", value=900.0, median=900.0, least=900.0, most=900.0, n=4,
                tankers=2, now=500.0, how="")  # fmt: skip
    wild = [replace(one, value=21600.0), replace(one, value=0.0), replace(one, key="fill_maneuver_min", value=131.0)]
    none = replace(one, key="fill_hookup_min", value=0.0)
    kept, told = possible([one, *wild, none], RULES)
    assert kept == (one, none), "a hook-up of no time can be"
    assert [said.partition(" was measured")[0] for said in told] == [
        "fill_gpm: 21,600", "fill_gpm: 0", "fill_maneuver_min: 131",
    ]  # fmt: skip


def test_loads_that_differ_tell_hook_up_and_rate_apart(small: Small) -> None:
    """Tanks of 1,800 to 3,000 gal lie on one line: its rate and hook-up are those of the district."""
    answer = small.answer(thinned(small.simulate()))
    offers = {(one["where"], one["key"]): one for one in answer["offers"]}
    assert offers["fill_sites", "fill_gpm"]["value"] == pytest.approx(900, abs=10)
    assert "by a line through minutes and gallons" in offers["fill_sites", "fill_gpm"]["how"]
    assert offers["[shuttle]", "fill_hookup_min"]["value"] == pytest.approx(1.0)
    dump = offers["[shuttle]", "dump_hookup_min"]
    assert dump["value"] == pytest.approx(0.5)
    assert dump["how"] == "if tankers dump at the rates of their table"


def test_a_line_that_is_less_sure_offers_less(small: Small) -> None:
    """Watches that differ by some seconds: two standard errors below the line, never above it."""
    jitter = random.Random(4)  # noqa: S311 - two watches
    rows = [
        (*row[:2], repr(float(str(row[2])) + (jitter.uniform(-0.1, 0.1) if row[1] == "full" else 0.0)), *row[3:])
        for row in thinned(small.simulate())
    ]
    (rate,) = (one for one in small.answer(rows)["offers"] if one["key"] == "fill_gpm")
    assert rate["least"] < rate["median"] - 10
    assert rate["value"] == 10 * (rate["least"] // 10)


def test_fills_quicker_than_the_table_s_rate_leave_nothing_for_the_hook_up(small: Small) -> None:
    """The rate of the table cannot be meant; it is said, and no negative minute is offered."""
    rows = [row for row in rows_of(small.simulate()) if row[1] in {*FOUR, "takes fill place", "takes dump place"}]
    quick, taken = [], {}
    for row in rows:
        if row[1] == "takes fill place":
            taken[row[0]] = float(str(row[2]))
        quick.append((*row[:2], repr(taken[row[0]] + 1.1), *row[3:]) if row[1] == "full" else row)
    answer = small.answer(quick)
    assert any(
        one.startswith("fill_hookup_min: nothing is left for it if S1 gives the 900 gpm of its table")
        for one in answer["not_offered"]
    ), answer["not_offered"]
    assert not [one for one in answer["offers"] if one["key"] == "fill_hookup_min"]


def test_the_snippet_is_read_as_the_district_s_own(small: Small, tmp_path: Path) -> None:
    """Pasted as it is printed, it is valid, and every key is a rule."""
    text = small.drill(told_apart(small, 1.0)).stdout
    snippet = text[text.index("[shuttle]\n") :].partition("\n\n")[0]
    assert "# from " in snippet
    assert "tankers in one drill" in snippet
    one = SmallDistrict()
    one.toml += f"\n{snippet}\n"
    result = CliRunner().invoke(app, ["check", str(one.write(tmp_path / "pasted"))])
    assert result.exit_code == 0, result.output


def test_few_observations_offer_nothing(small: Small) -> None:
    """Four fills of one tanker are not a district's habit."""
    rows = [row for row in thinned(small.simulate()) if row[0] in ("", "T1")]
    answer = small.answer(rows)
    assert answer["offers"] == []
    assert any("of 1 tanker: at least 5 of two tankers are wanted" in one for one in answer["not_offered"])
    assert "Nothing is offered" in small.drill(rows).stdout


def test_careful_is_what_three_of_four_were_as_good_as() -> None:
    assert careful_of([1.0, 1.0, 2.0, 3.0], most=True) == 2.0
    assert careful_of([1.0] * 4 + [9.0], most=True) == 1.0
    assert careful_of([400.0, 800.0, 900.0, 950.0], most=False) == 800.0


def test_a_line_is_drawn_only_where_it_is_sure() -> None:
    """Not through loads of one size, not downward, not through scatter."""
    loads = [1350.0, 1800.0, 2700.0] * 3
    exact = [1.5 + gal / 750 for gal in loads]
    line = fitted(loads, exact)
    assert line is not None
    assert (line.hookup_min, line.gpm) == pytest.approx((1.5, 750.0))
    assert fitted([2000.0] * 9, exact) is None
    assert fitted(loads, exact[::-1][:9]) is None or fitted(loads, [10 - m for m in exact]) is None
    noise = [m + (-1) ** i * 1.5 for i, m in enumerate(exact)]
    assert fitted(loads, noise) is None
    assert fitted(loads[:5], exact[:5]) is None


# --------------------------------------------------------------------------- flow


def test_rounds_of_a_published_drill_s_tanks_come_to_its_flow() -> None:
    """Six tanks in rounds of 14.6 min: consistent with the 900 gpm that its source tells of the second hour.

    The rounds are our arithmetic, (sum of tanks x 0.9) / 900, not the source's; so this holds how flow is counted, and
    nothing about how quick crews are.
    """
    (drill,) = (one for one in read(shared("drills.csv")) if one.name == "ME2024")
    gpm = next(value for _, value in drill.measures)
    round_min = sum(drill.sizes_gal) * drill.usable / gpm
    loads = [
        Load(f"T{at}", 5.0 + at * 1.7 + turn * round_min, drill.usable * gal, refilled=turn > 0)
        for at, gal in enumerate(drill.sizes_gal)
        for turn in range(8)
    ]
    loads.sort(key=lambda load: load.minute)
    empty = replace(measure((), {}, 1), start_min=0.0, end_min=drill.duration_min)
    flow = flow_of(empty, loads, drill.duration_min)
    assert flow.steady is not None
    assert flow.steady.gpm == pytest.approx(gpm)
    assert flow.hauled_gpm < flow.average_gpm < flow.steady.gpm * 1.06


def test_a_convoy_does_not_flatter_the_steady_flow() -> None:
    """Three tankers close together: from the first load to the last there are more loads than rounds of them."""
    loads = [
        Load(name, turn * 20.0 + at * 2.0, 1000.0, refilled=turn > 0)
        for turn in range(5)
        for at, name in enumerate("ABC")
    ]
    loads.sort(key=lambda load: load.minute)
    flow = flow_of(replace(measure((), {}, 1), start_min=0.0, end_min=84.0), loads, 84.0)
    assert flow.steady is not None
    assert flow.steady.gpm == pytest.approx(150.0)
    assert flow.steady.gpm < 1000.0 * 11 / 64 / 1.14, "what a count from first to last would say"


def test_too_few_rounds_tell_no_steady_flow() -> None:
    loads = [Load("A", 10.0 * turn, 1000.0, refilled=turn > 0) for turn in range(3)]
    assert flow_of(replace(measure((), {}, 1), start_min=0.0), loads, 20.0).steady is None


def test_a_span_three_times_its_median_is_asked_about() -> None:
    events = []
    for turn in range(4):
        late = 30.0 if turn == 3 else 0.0
        for at, (word, place) in enumerate(
            [("at fill site", "S1"), ("full", "S1"), ("at dump site", "G5"), ("empty", "G5")]
        ):
            minute = 20.0 * turn + 5.0 * at + (late if at > 1 else 0.0)
            events.append(DrillEvent(unit_id="T1", event=word, minute=minute, place=place))
    told = measure(events, {"S1": 1}, 1).told
    assert any("a loaded leg of 35 min" in one and "was that a pause?" in one for one in told)


# --------------------------------------------------------------------------- the sample


def test_the_sample_s_drill_reads_as_it_did(golden: Golden) -> None:
    """The text that an officer gets, whole."""
    result = CliRunner().invoke(app, ["drill", str(SAMPLE / "district.toml"), str(SAMPLE / "drill.csv")])
    assert result.exit_code == 0, result.stderr
    assert result.stdout == golden(REPO / "tests" / "data" / "drill_sample.txt", result.stdout)
    assert max(map(len, result.stdout.splitlines())) <= 100
    said = " ".join(result.stdout.split())
    for phrase in (
        "None of these is a peak",
        "assumed",
        "in one drill",
        "timed to the minute",
        "An estimate for planning",
    ):
        assert phrase in said
    assert "validated" not in said
