"""Plain words: rounding that never flatters, sentences that say what is meant."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from preplan.months import month_words
from preplan.plan_cards import Step
from preplan.plan_tables import Flag
from preplan.render import card_facts, card_seasons, card_words, index_pdf, words
from preplan.render.dispatch import dispatch_csv
from preplan.render.driving_words import directions, step_words, turning_words
from preplan.render.flag_words import flag_words

from .example_plan import example_plan
from .planning_case import site


def _miles(line: str) -> float:
    """Read the length of a step, in miles or feet."""
    found = re.search(r"([\d.]+) (mi|ft)", line)
    assert found is not None
    return float(found[1]) / (1.0 if found[2] == "mi" else 5280.0)


def _read(said: str) -> float:
    return float(said.replace(",", ""))


@pytest.mark.parametrize(
    ("value", "step", "down", "up"),
    [(249.99, 1.0, "249", "250"), (250.0, 1.0, "250", "250"), (247.0, 10.0, "240", "250"),
     (1234.5, 1.0, "1,234", "1,235"), (0.0, 10.0, "0", "0"), (0.3 * 3 * 1000 / 3, 10.0, "300", "300")],
)  # fmt: skip
def test_supply_goes_down_and_need_goes_up(value: float, step: float, down: str, up: str) -> None:
    assert words.supply(value, step) == down
    assert words.need(value, step) == up


@given(st.floats(1.0, 5000.0), st.floats(1.0, 5000.0))
def test_the_printed_pair_never_turns_the_answer_round(have: float, want: float) -> None:
    down, up = words.flow_pair(have, want)
    assert (_read(down) >= _read(up)) == (have >= want) or abs(have - want) < 0.02
    assert _read(down) <= have + 0.01
    assert _read(up) >= want - 0.01


@given(st.floats(10.0, 5000.0))
def test_a_met_requirement_prints_as_met(want: float) -> None:
    down, up = words.flow_pair(want, want)
    assert _read(down) >= _read(up)


@pytest.mark.parametrize("missing", [math.nan, math.inf, None])
def test_missing_is_said_never_zero(missing: float | None) -> None:
    for said in (
        words.supply(missing), words.need(missing), words.minutes(missing), words.miles(missing),
        words.feet(missing), words.gallons(missing), words.number(missing),
    ):  # fmt: skip
        assert said == "not known"


def test_units_follow_their_numbers() -> None:
    assert words.minutes(7.04) == "7.0 min"
    assert words.miles(3.456) == "3.46 mi"
    assert words.feet(639.2) == "640 ft"
    assert words.gallons(4999.9) == "4,999 gal"


@given(st.integers(1, 12), st.integers(1, 12))
def test_month_flag_and_month_set_agree(first: int, count: int) -> None:
    open_in = [(first - 1 + k) % 12 + 1 for k in range(count)]
    said = month_words(open_in)
    if count == 12:
        assert said == "all year"
    elif count == 1:
        assert said == month_words([first])
    else:
        flag = flag_words(Flag("seasonal", f"{first}-{open_in[-1]}"))
        assert flag == f"The fill site works {said} only."


def test_no_month_is_said() -> None:
    assert month_words([]) == "no month"


@pytest.mark.parametrize(
    ("flag", "said"),
    [
        (
            Flag("posted bridge avoided", 2.5, "min"),
            "Goes round a weight, height or width, posted or rated: 2.5 minutes longer.",
        ),
        (
            Flag("unposted bridges", 2.0),
            (
                "Crossings of bridges without a posted weight on the round trip: 2. Unknown, not safe: "
                "ask their owners beforehand; on the night the officer decides."
            ),
        ),
        (
            Flag("close", 0.94),
            f"Close call: the {words.FLOW} is hardly above or below the required flow at 94 % of it.",
        ),
        (
            Flag("close", "Level 2, Level 3", names=("Level 2", "Level 3")),
            (
                f"Close call: the {words.FLOW} is hardly above or below the required flow at response level 2, "
                "response level 3."
            ),
        ),
        (
            Flag("long driveway", 1640.0, "ft"),
            "Long driveway: 1,640 ft of hose from the road; time to go up it is not counted.",
        ),
        (Flag("left out", "T3 T4"), "Left out, since the flow is no less without: T3 T4."),
        (
            Flag("rated below empty", "Elm (rated 9 lb). T1"),
            "LOADED or empty: not over Elm (rated 9 lb). T1.",
        ),
        (Flag("posted below load", "Elm (posted 9 lb): T1"), "Loaded: not over Elm (posted 9 lb): T1."),
        (Flag("single fill site"), "Only one fill site serves here: no backup."),
        (Flag("turn at dump site"), "Turn at dump site."),
        (Flag("seasonal", "soon"), "The fill site works soon only."),
        (Flag("seasonal", "0-13"), "The fill site works 0-13 only."),
        (Flag("never heard of", "x\ny"), "Never heard of: x y."),
    ],
)
def test_flags_are_sentences(flag: Flag, said: str) -> None:
    assert flag_words(flag) == said


@given(st.text())
def test_printable_is_one_clean_line(text: str) -> None:
    said = words.printable(text)
    assert said.isprintable() or "\ufffd" in said
    assert said == " ".join(said.split())
    said.encode("utf-8")


def test_half_a_character_is_replaced() -> None:
    assert words.printable("a\ud800b") == "a\ufffdb"


@given(st.integers(0, 40))
def test_directions_number_every_step(count: int) -> None:
    steps = [Step(road=f"Road {k}", miles=0.5, turn="Left on") for k in range(count)]
    assert directions(steps) == [(str(k), step_words(one)) for k, one in enumerate(steps, 1)]


def test_who_drives_on_to_turn_is_not_told_that_nobody_turns() -> None:
    start = Step(road="Elm Road", miles=210 / 5280, turn="Leave the dump site north on")
    round_ = Step(road="Elm Road", miles=1.9, turn="Turn round on", room="mapped turning place", past="dump site")
    assert turning_words([start, round_], at_dump=False) == (
        "drive on 210 ft and turn round there (mapped turning place)"
    )
    later = replace(round_, past="", room="room ASSUMED: check it")
    assert turning_words([start, start, later], at_dump=False) == (
        "drive on and turn round on Elm Road, 420 ft from here (room ASSUMED: check it)"
    )


@pytest.mark.parametrize(
    ("lon", "lat", "said"),
    [(-72.0, 44.9999999, "45° 00.000' N, 72° 00.000' W"), (151.5, -33.25, "33° 15.000' S, 151° 30.000' E")],
)
def test_coordinates_carry_over_full_minutes(lon: float, lat: float, said: str) -> None:
    assert words.coordinates(lon, lat)[0] == said


def test_seasons_are_printed_only_where_they_differ_on_paper() -> None:
    plan = example_plan()
    assert card_seasons.season_words(plan, 0, 0) == [
        f"April to November: 320 gpm {words.FLOW_SHORT} from fill site 1",
        f"December to March: 310 gpm {words.FLOW_SHORT} from fill site 1",
    ]
    plan.seasons[1].uninterrupted_gpm[0, 0] = 321.0
    assert card_seasons.season_words(plan, 0, 0) == []
    assert card_seasons.by_season(card_facts.Facts(plan, plan.groups[0])) == []
    # a second site in winter alone: it is the other answer, and map and way hold for the months without
    split = plan.levels.split.copy()
    split[0] = 1
    winter = replace(plan, seasons=(plan.seasons[0], replace(plan.seasons[1], split_site=split)))
    assert card_seasons.season_words(winter, 0, 0)[1].endswith("from fill sites 1 and 2 (rate assumed)")
    told = [line.said for line in card_seasons.by_season(card_facts.Facts(winter, winter.groups[0]))]
    assert " ".join(told[-2:]) == (
        "Units, map, way and table here: April to November. Fill site 2: its way is not known."
    )


def test_rates_say_whether_they_were_measured() -> None:
    tested, assumed, given_only = example_plan().sites
    assert words.rate_words(tested) == "900 gpm, tested 2025-09-12"
    assert words.rate_words(assumed) == "500 gpm, not tested: assumed rate"
    assert words.rate_words(given_only) == "500 gpm as given, no test date"
    weak = replace(tested, site_gpm=400.0)
    said = "400 gpm, all that the site gives (its connection: 900 gpm, tested 2025-09-12)"
    assert words.rate_words(weak) == said
    assert words.turn_words(assumed) == "back in (assumed)"


def test_natural_order_of_roads_and_numbers() -> None:
    roads = ["10th Street", "2nd Street", "", "Äcker", "²nd"]
    assert sorted(roads, key=words.natural_key)[:3] == ["", "2nd Street", "10th Street"]


def test_what_a_site_gives_in_all_and_how_long_it_lasts() -> None:
    """Two places of 1,000 gpm on a main of 1,000; a cistern of 30,000 gal that 50 gpm refill."""
    main = site("F1", fill_gpm=1000.0, site_gpm=1000.0, positions=2)
    assert words.places_words(main) == "2 places to fill, 1,000 gpm in all"
    assert words.places_words(site("F2", fill_gpm=1000.0)) == "1 place to fill"
    assert words.lasting_words(main) == ""
    cistern = site("F3", kind="cistern", storage_gal=30_000.0, refill_gpm=50.0)
    assert words.lasting_words(cistern) == " while the source's 30,000 gal last, then 50 gpm"
    assert words.lasting_words(replace(cistern, refill_gpm=None)).endswith("last, then 0 gpm")
    # by hand: 30,000 gal at 300 gpm less 50 of refill; 30,000 at 310, 96.7 min, told as no more; nothing is drawn down
    assert words.lasting_words(cistern, 300.0).endswith("gal last (about 120 min at that flow), then 50 gpm")
    assert "(about 95 min at that flow)" in words.lasting_words(replace(cistern, refill_gpm=None), 310.0)
    assert "about" not in words.lasting_words(cistern, 50.0)
    assert words.lasting_words(cistern, 300.0, words.empty_words(144.9, 150.0)).endswith(
        "gal last (about minute 140), then 50 gpm"
    )


def test_of_two_sources_it_is_told_what_each_holds_and_gives_after_that() -> None:
    """Until when is known to the timeline alone: how they share the flow is not told."""
    main, cistern = site("F1"), site("F3", kind="cistern", storage_gal=30_000.0, refill_gpm=50.0)
    said = "fill site 4's 30,000 gal last, then 50 gpm from it"
    assert words.both_lasting_words({1: main, 4: cistern}, {}) == f" while {said}"
    assert words.both_lasting_words({4: cistern, 6: cistern}, {6: ""}) == f" while {said} and {said.replace('4', '6')}"
    assert words.both_lasting_words({1: main, 2: main}, {}) == ""
    dry = words.both_lasting_words({1: main, 4: cistern}, {1: " (past minute 145)", 4: " (about minute 60)"})
    assert dry == " while fill site 4's 30,000 gal last (about minute 60), then 50 gpm from it"


def test_a_small_source_is_never_told_as_lasting_after_the_required_time() -> None:
    """The store is drawn on from the first load: nothing may follow 'after that' but what comes then."""
    plan = example_plan()
    lead = next(group for group in plan.groups if plan.answers.level[group.lead] >= 0)
    facts = card_facts.Facts(plan, lead)
    small = replace(plan.sites[facts.cell("site")], storage_gal=9000.0, refill_gpm=40.0)
    sites = tuple(small if at == facts.cell("site") else one for at, one in enumerate(plan.sites))
    said = " ".join(line.said for line in card_words.can(card_facts.Facts(replace(plan, sites=sites), lead)))
    gpm = float(plan.levels.sustained_gpm[lead.lead, facts.level])
    lasts = int(9000.0 / (gpm - 40.0) / 5.0) * 5
    assert f"gpm steady while the source's 9,000 gal last (about {lasts} min at that flow), then 40 gpm" in said
    assert "after that" not in said
    assert "after that" in " ".join(line.said for line in card_words.can(facts))


def test_a_road_without_a_name_is_headed_as_a_route_and_keeps_its_key() -> None:
    """'237 12 to 30' would read as three houses; what a dispatcher looks up stays as the table of roads has it."""
    plan = example_plan()
    group = replace(plan.groups[0], road="237", addresses=(0, 1), first_number=12, last_number=30)
    assert card_words.where(card_facts.Facts(plan, group))[0] == "Route 237 12 to 30"
    assert index_pdf.heading_of(group) == "Route 237"
    bare = replace(plan, road=np.where(plan.road == plan.groups[0].road, "237", plan.road))
    assert "\n237," in dispatch_csv(bare).decode()
