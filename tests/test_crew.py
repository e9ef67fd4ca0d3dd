"""Who comes, when and for which job: every unit of a fleet once, nothing made to look sooner than it is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from preplan.render import crew

from .example_plan import example_plan, split_plan


def test_every_unit_of_the_fleet_is_named_with_its_job_and_arrival() -> None:
    plan = example_plan()
    assert crew.crew_words(plan, 0, 1) == [
        ("attack", "E1 at 10 min"), ("dump site", "E3 at 14 min"), ("fill site", "E2 at 12 min"),
        ("tankers", "5,000 gal; T1 at 13, T2 at 20 min"),
    ]  # fmt: skip
    plan.levels.dump_engine[0, 1] = plan.levels.attack_engine[0, 1]
    assert ("attack and dump site", "E1 at 10 min") in crew.crew_words(plan, 0, 1)
    assert ("no job yet", "E3 at 14 min") in crew.crew_words(plan, 0, 1)
    used = plan.levels.used.copy()
    used[0, 1, 4] = False
    fewer = replace(plan, levels=replace(plan.levels, used=used))
    assert ("tankers", "2,000 gal; T1 at 13 min") in crew.crew_words(fewer, 0, 1)
    assert ("left out of the shuttle", "T2 at 20 min") in crew.crew_words(fewer, 0, 1)
    none = replace(plan, levels=replace(plan.levels, used=np.zeros_like(plan.levels.used)))
    jobs = dict(crew.crew_words(none, 0, 1))
    assert jobs["cannot shuttle, bring their water"] == "T1 at 13, T2 at 20 min"
    assert crew.LEFT_OUT not in jobs


def test_arrivals_are_rounded_up_and_a_unit_without_a_way_comes_last() -> None:
    plan = example_plan()
    when = np.array([np.inf, 12.01, 14.0, 3.0, np.inf])
    assert crew.arrivals(plan, range(5), when) == "T1 at 3, E2 at 13, E3 at 14, E1 (no way), T2 (no way) min"
    assert crew.arrivals(plan, [0], when) == "E1 (no way)"


def test_units_that_come_on_request_only_are_to_be_asked_for() -> None:
    plan = example_plan()
    asked = replace(plan, stations=(plan.stations[0], replace(plan.stations[1], aid="on request")))
    assert crew.request_words(asked, 0, 1) == "Ask for E2 E3 T2: on request only."
    assert crew.request_words(plan, 0, 1) == ""
    asked.levels.dump_engine[0, 1] = asked.levels.attack_engine[0, 1]
    assert crew.request_words(asked, 0, 1) == "Ask for E2 E3 T2: on request only, no job yet for E3."
    asked.levels.fleet[0, 1, [1, 4]] = False
    assert crew.request_words(asked, 0, 1) == "Ask for E3: on request only, no job yet."


def test_who_pumps_at_the_fill_site() -> None:
    plan = example_plan()
    assert crew.fill_engine_words(plan, 0, 1) == "E2 pumps here."
    plan.levels.fill_engine[0, 1] = -1
    assert crew.fill_engine_words(plan, 0, 1) == ""
    vacuum = tuple(replace(u, self_fill_gpm=800.0) if u.kind == "tanker" else u for u in plan.units)
    assert crew.fill_engine_words(replace(plan, units=vacuum), 0, 1) == "No engine here: T1 T2 fill by vacuum."
    under_pressure = replace(plan, sites=(replace(plan.sites[0], needs_engine=False), *plan.sites[1:]))
    assert crew.fill_engine_words(under_pressure, 0, 1) == "No engine is needed here."
    assert crew.fill_engine_words(plan, 4, 1) == ""


def test_a_level_that_cannot_be_filled_says_by_how_much() -> None:
    plan = example_plan()
    assert crew.lacking_words(plan, 0, 1) == ""
    plan.levels.short_tankers[0, 1] = 1
    assert crew.lacking_words(plan, 0, 1) == "Short: only 1 of 2 tankers can come."
    plan.levels.short_engines[0, 1] = 2
    assert crew.lacking_words(plan, 0, 1) == "Short: only 1 of 3 engines and 1 of 2 tankers can come."


def test_the_attack_engine_alone_lasts_its_tank_over_the_attack_flow() -> None:
    plan = example_plan()
    said = "On wheels: 5,000 gal in tankers, 2,750 gal in engines. E1 alone: 6 min at 150 gpm."
    assert crew.wheels_words(plan, 0, 1) == said  # 1,000 gal / 150 gpm = 6.67 min
    plan.needs.required_gpm[0] = 100.0
    assert crew.wheels_words(plan, 0, 1).endswith("E1 alone: 10 min at 100 gpm.")


def test_how_long_a_master_stream_is_held_is_said_where_one_is_asked_for() -> None:
    plan = example_plan()
    assert crew.surge_words(plan, 0) == ""
    rules = replace(plan.district.rules, shuttle=replace(plan.district.rules.shuttle, surge_gpm=1000.0))
    asked = replace(plan, district=replace(plan.district, rules=rules))
    for minutes, said in ((3.9, "held 3 of 10 min"), (10.0, "held 10 of 10 min"), (0.4, "not held")):
        held = replace(asked, answers=replace(asked.answers, surge_min=np.full(6, minutes)))
        assert crew.surge_words(held, 0) == f"Master stream, 1,000 gpm in all from minute 25: {said}."
    later = replace(asked.answers, surge_min=np.full(6, 4.0), first_arrival_min=np.full(6, 9.2))
    assert "from minute 25:" in crew.surge_words(replace(asked, answers=later), 0), "24.2, rounded as the officer's is"


def test_of_two_fill_sites_it_is_said_who_fills_and_pumps_where() -> None:
    plan = split_plan()
    assert crew.crew_words(plan, 0, 1) == [
        ("attack and dump site", "E1 at 10 min"), ("fill site 1", "E2 at 12 min"), ("fill site 2", "E3 at 15 min"),
        ("tankers, fill site 1", "2,000 gal; T1 at 13 min"), ("tankers, fill site 2", "3,000 gal; T2 at 20 min"),
    ]  # fmt: skip
    assert crew.split_words(plan, 0, 1) == "T1 fills here; T2 fills at fill site 2"
    assert crew.split_words(plan, 1, 1) == ""
    assert crew.fill_engine_words(plan, 0, 1) == "E2 pumps here."
    assert crew.fill_engine_words(plan, 0, 1, second=True) == "E3 pumps here."
    plan.levels.split_engine[0, 1] = -1
    vacuum = tuple(replace(u, self_fill_gpm=800.0) if u.unit_id == "T2" else u for u in plan.units)
    one = replace(plan, units=vacuum)
    assert crew.fill_engine_words(one, 0, 1, second=True) == "No engine here: T2 fills by vacuum."
