"""What the officer's sentences and the report say of the first minutes, on the hand-drawn plan."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from preplan.plan import Plan
from preplan.plan_cards import Nursed, OtherCircuit, ThenCalled
from preplan.plan_tables import LONG_DRIVEWAY, AnswerTable, Flag, SupplyTable
from preplan.records import text_array
from preplan.render import card_pdf, card_rest, dispatch, map_answers, map_strip, report_pdf
from preplan.render.card_facts import Facts
from preplan.render.card_other import sheet_words
from preplan.render.first_minutes import best_words, first_words, gap_words, hose_awaited, nurse_words, officer_words
from preplan.render.minutes_pdf import NEVER, kinds, levels_by
from tests.example_plan import example_plan, held_later
from tests.pdf_words import words_of
from tests.test_map_strip import lines_of
from tests.timeline_cases import golden_called


@pytest.fixture
def plan() -> Plan:
    return example_plan()


@pytest.mark.parametrize(
    ("address", "said"),
    [
        (0, "First water minute 12, full flow asked for from 25. Response level 1 holds 320 gpm for 2 hours."),
        (
            1,
            (
                "First water minute 12, full flow asked for from 25. "
                "Response level 1 holds 220 gpm for 2 hours. For 500 gpm: response level 2 with "
                "the first alarm; called on arrival it holds 270 gpm; asked for 500: dry 2 min "
                "from minute 32; with the first alarm none."
            ),
        ),
        (
            3,
            (
                "First water minute 12 at the road, full flow asked for from 25. "
                "Response level 2 holds 250 gpm for 2 hours; none holds 500. "
                "Call it with the first alarm: called on arrival it holds no flow. "
                "Asked for 500, all alerted at once: dry 13 min in all, first at minute 30, the longest 6 min."
            ),
        ),
        (4, ""),
    ],
)
def test_the_officer_s_sentences(plan: Plan, address: int, said: str) -> None:
    assert officer_words(plan, address) == said


@pytest.mark.parametrize(
    ("dumps", "until"), [(True, "minute 12 to 19, then dump."), (False, "minute 12 until empty, about 18.")]
)
def test_who_pumps_straight_into_the_attack_engine_is_told(plan: Plan, dumps: bool, until: str) -> None:
    """On the card and on the map: else the attack engine is dry before the dump site is ready."""
    nursed = Nursed(unit_id="T2", start_min=11.2, stop_min=18.4, dumps=dumps)
    at = next(k for k, one in enumerate(plan.groups) if 0 in one.addresses)
    before = plan.groups[at]
    line = lines_of(golden_called(6, 12))
    assert line.nursed is None
    groups = [replace(before, strip=line), replace(before, strip=replace(line, nursed=nursed))]
    without, told = (replace(plan, groups=(*plan.groups[:at], one, *plan.groups[at + 1 :])) for one in groups)
    engine = plan.units[int(plan.levels.attack_engine[before.lead, int(plan.answers.level[before.lead])])].unit_id
    said = f"T2: pump straight into {engine} first, {until}"
    assert f"full flow asked for from 25. {said} Response level 1 holds" in Facts(told, groups[1]).officer_words
    attack = next(at for at, unit in enumerate(plan.units) if unit.unit_id == engine)
    other = 0 if attack else 1
    hose = f"{said} That line needs hose of {plan.units[other].unit_id}. "
    assert nurse_words(plan, groups[1].strip, attack, hose_awaited(plan, 0, attack, [attack, other])) == hose
    # its own hose reaches, and the line wants none of it
    assert hose_awaited(plan, 0, attack, [other]) == []
    short = [replace(unit, supply_hose_ft=90.0) if at == attack else unit for at, unit in enumerate(plan.units)]
    assert hose_awaited(replace(plan, units=tuple(short)), 0, attack, [other]) == [other]
    dry = replace(line, nursed=nursed, nothing_min=np.array([[9.4, 11.2], [30.0, 31.0]]))
    assert nurse_words(plan, dry, attack) == f"{said} {engine} EMPTY minute 9 to 12. "
    dry = replace(dry, nothing_min=dry.nothing_min[1:])
    assert nurse_words(plan, dry, attack) == f"{said} "
    assert "pump straight" not in Facts(without, groups[0]).officer_words
    order = np.arange(len(plan.addresses))
    assert map_strip.strip_data(told, order)["nurses"] == ["", f"{said} "]
    assert map_strip.strip_data(without, order)["nurses"] == [""]
    # the map says as the card does whose hose it takes
    rows = np.array([0, 0], dtype=np.int32)
    laid = SupplyTable(address=rows, level=rows, unit=np.array([0, 1], dtype=np.int32), hose_ft=np.full(2, 100.0))
    lent = replace(told, supply=laid)
    assert hose in Facts(lent, groups[1]).officer_words
    assert map_strip.strip_data(lent, order)["nurses"] == ["", hose]


def test_months_in_which_a_level_that_none_meets_loses_by_a_later_call_are_told_on_front_sheet_and_to_dispatch(
    plan: Plan,
) -> None:
    """The sheet said `with the first alarm` of what holds as much called later, and front and dispatcher of nothing."""
    at_once = plan.levels.uninterrupted_gpm, plan.levels.gap_min
    levels = replace(
        plan.levels, on_arrival_gpm=at_once[0], gap_on_arrival_min=at_once[1],
        nothing_on_arrival_min=plan.levels.nothing_min,
    )  # fmt: skip
    winter = next(one for one in plan.seasons if 12 in one.months)
    at = next(k for k, one in enumerate(plan.groups) if one.lead == 3)
    strip = lines_of(golden_called(6, 12))
    held_gpm, dry_min = float(winter.uninterrupted_gpm[3, 1]), strip.dry_min
    for later_gpm, later_min, told in (
        (held_gpm, dry_min, False),
        (100.0, dry_min, True),
        (held_gpm, dry_min + 2, True),
    ):
        then = ThenCalled(
            months=winter.months, fleet=1, first_arrival_min=10.0, advised_min=np.nan, strip=strip, gap_min=later_min,
            nothing_min=0.0, on_arrival_gpm=later_gpm, one_out_gpm=0.0,
        )  # fmt: skip
        other = OtherCircuit(
            site=1, trip=0, level=1, out_steps=(), back_steps=(), backup=False, months=winter.months, then=(then,),
        )  # fmt: skip
        mine = replace(plan.groups[at], others=(other,))
        groups = (*plan.groups[:at], mine, *plan.groups[at + 1 :])
        one = replace(plan, levels=levels, groups=groups, sheet_trips=plan.trips)
        front = "In December to March: send this response level with the first alarm"
        assert Facts(one, mine).officer_words.endswith(f" {front}.") == told
        assert (front in dispatch.dispatch_csv(one).decode()) == told
        (sheet,) = sheet_words(Facts(one, mine))
        assert ("SEND THIS RESPONSE LEVEL WITH THE FIRST ALARM." in sheet) == told


def test_a_call_in_time_names_its_minute(plan: Plan) -> None:
    answers = replace(plan.answers, call_by_min=np.full(6, 18.0), gap_min=np.zeros(6))
    # the last is too little by less than a gap that prints: it does not hold it
    for gpm, late in ((520.0, ""), (500.0, ""), (499.2, "; called on arrival it holds 490 gpm")):
        levels = replace(plan.levels, on_arrival_gpm=np.full((6, 2), gpm))
        said = officer_words(replace(plan, answers=answers, levels=levels), 1)
        when = "best with the first alarm" if late else "on arrival"
        assert f"response level 2 {when}, by minute 18 at the latest{late}." in said


def test_a_minute_right_after_arrival_is_no_leave_to_wait(plan: Plan) -> None:
    """The second address: who arrives first looks around for two minutes before any call."""
    arrival, found = float(plan.answers.first_arrival_min[1]), set[str]()
    enough = replace(plan.levels, on_arrival_gpm=np.full((6, 2), 500.0))
    for spare in (0.0, 2.0, 4.9, 5.1, 30.0):
        answers = replace(plan.answers, call_by_min=np.full(6, arrival + spare), gap_min=np.zeros(6))
        said = officer_words(replace(plan, answers=answers, levels=enough), 1)
        assert (" best with the first alarm, by minute " in said) == (spare < 5.0)
        assert (" on arrival, by minute " in said) == (spare > 5.0)
        found.add(said)
    assert len(found) == 5


def test_who_holds_less_than_is_asked_for_is_not_said_to_hold_it(plan: Plan) -> None:
    """499 gpm of 500, by the card's steps 490: too little for a moment that prints as no minute."""
    none = replace(plan.answers, gap_min=np.full(6, 0.03), call_by_min=np.full(6, 7.0))
    for gpm, holds in ((609.0, "holds it too"), (540.0, "only just holds it"), (499.2, "holds 490 gpm")):
        levels = replace(plan.levels, on_arrival_gpm=np.full((6, 2), gpm), gap_min=np.zeros((6, 2)))
        said = officer_words(replace(plan, answers=none, levels=levels), 1)
        assert said.endswith(f"response level 2 with the first alarm; called on arrival it {holds}.")


def test_a_level_that_holds_less_in_months_that_do_not_decide_says_so_in_sentence_and_table(plan: Plan) -> None:
    """One season decides for all levels: for the second address that of winter, in which the first level holds more."""
    flow = plan.levels.uninterrupted_gpm.copy()
    flow[1, 0] = 0.0
    summer = tuple(replace(one, uninterrupted_gpm=flow) if 6 in one.months else one for one in plan.seasons)
    other = replace(plan, seasons=summer)
    assert "Response level 1 holds 220 gpm for 2 hours. For 500 gpm: " in officer_words(plan, 1)
    assert "Response level 1 holds 220 gpm for 2 hours, in April to November no flow. For 500 " in officer_words(
        other, 1
    )
    (group,) = (one for one in plan.groups if 1 in one.addresses)
    before, after = (Facts(one, replace(group, lead=1)) for one in (plan, other))
    assert [row[1] for row in card_rest.level_rows(before)] == ["220", "510"]
    assert [row[1] for row in card_rest.level_rows(after)] == ["220*", "510"]
    assert card_rest.less_rows(before, 100.0) == ([], [])
    below = "* Less: response level 1 in April to November no flow."
    for room in (0.0, 100.0):  # a line at least has its place
        assert card_rest.less_rows(after, room) == ([(below,)], [])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(card_rest, "WIDTH_PT", 150.0)
        whole, _ = card_rest.less_rows(after, 100.0)
        assert len(whole) == 2
        hint, behind = card_rest.less_rows(after, 0.0)
    assert hint == [("* Less in other months: the next page.",)]
    assert " ".join(line.said for line in behind) == below
    drawn, plain = (
        words_of(dict(card_pdf.cards(replace(one, groups=(replace(group, lead=1),))))["cards.pdf"])
        for one in (other, plan)
    )
    assert below in drawn
    assert "* Less" not in plain
    # a higher level that holds more in winter loses nothing by it
    flow[1] = 225.0, 600.0
    assert "*" not in "".join(row[1] for row in card_rest.level_rows(after))


def test_a_served_address_that_is_dry_early_says_so(plan: Plan) -> None:
    answers = replace(
        plan.answers,
        gap_min=np.full(6, 3.24),
        first_gap_min=np.full(6, 18.7),
        longest_gap_min=np.full(6, 3.24),
        short_gal=np.full(6, 3.24 * plan.district.rules.shuttle.attack_gpm),
    )
    answers = all_dry(answers)
    said = officer_words(replace(plan, answers=answers), 0)
    assert said.endswith("Before that flow is asked for: dry 4 min from minute 18.")


def test_first_water_at_a_long_driveway_is_said_to_be_at_the_road(plan: Plan) -> None:
    """No minute of the plan is for going up there, and none is made up for it."""
    flags = (*(list(flags) for flags in plan.answers.flags),)
    flags[0][:] = [flag for flag in flags[0] if flag.code != LONG_DRIVEWAY]
    for long in (False, True):
        given = [*flags[0], *[Flag(LONG_DRIVEWAY, 640.0, "ft")] * long]
        answers = replace(plan.answers, flags=(tuple(given), *plan.answers.flags[1:]))
        facts = Facts(replace(plan, answers=answers), next(one for one in plan.groups if one.lead == 0))
        assert facts.officer_words.startswith(f"First water minute 12{' at the road' * long}, full flow asked for")
        care = " ".join(line.said for block in card_rest.cautions(facts, 1000.0) for line in block.lines)
        assert ("640 ft of hose from the road; time to go up it is not counted." in care) == long


def test_minutes_are_whole_and_agree_with_the_arrivals_beside_them(plan: Plan) -> None:
    """An arrival of 8.3 is 'at 9 min' on a card: first water two minutes later is 11, not 10."""
    answers = replace(
        plan.answers, first_arrival_min=np.full(6, 8.3), first_water_min=np.full(6, 10.3), gap_min=np.full(6, 0.1),
        first_gap_min=np.full(6, 23.3), longest_gap_min=np.full(6, 0.1),
    )  # fmt: skip
    said = officer_words(replace(plan, answers=answers), 1)
    assert said.startswith("First water minute 11, full flow asked for from 24.")
    assert "asked for 500: dry under a minute at minute 24;" in said
    assert "before that is asked for: dry under a minute at minute 22;" in officer_words(
        replace(plan, answers=replace(answers, first_gap_min=np.full(6, 22.9))), 1
    )


def test_too_little_before_full_flow_is_told_as_dry_and_beside_it_what_the_first_alarm_leaves(plan: Plan) -> None:
    """Before full flow the attack's 150 gpm are asked for: where none of it flows, 500 gpm are not what lacks.

    The strip shows the call that the card advises, so the sentence says what is dry then, too.
    """
    answers = replace(
        plan.answers, gap_min=np.full(6, 2.0), first_gap_min=np.full(6, 18.2), longest_gap_min=np.full(6, 2.0),
        short_gal=np.full(6, 2.0 * plan.district.rules.shuttle.attack_gpm),
    )  # fmt: skip
    answers = all_dry(answers)
    for at_once, told in ((0.04, "none"), (0.3, "for under a minute"), (1.2, "for 2 min"), (2.0, "no less")):
        levels = replace(plan.levels, gap_min=np.full((6, 2), at_once), nothing_min=np.full((6, 2), at_once))
        said = officer_words(replace(plan, answers=answers, levels=levels), 1)
        dry = "before that is asked for: dry 2 min from minute 18; with the first alarm"
        assert said.endswith(f"called on arrival it holds 270 gpm; {dry} {told}."), at_once
        # two stretches may be apart by the start of full flow
        twice = all_dry(replace(answers, longest_gap_min=np.full(6, 1.0)))
        said = officer_words(replace(plan, answers=twice, levels=levels), 1)
        assert "asked for 500: dry 2 min in all, first at minute 18, before full flow, the longest 1 min;" in said
    none = replace(answers, gap_min=np.full(6, 0.04), call_by_min=np.full(6, np.nan))
    more = replace(plan.levels, on_arrival_gpm=np.full((6, 2), 500.0), gap_min=np.full((6, 2), 1.2))
    for nothing, lacks in (
        (0.0, "too little for 2 min"),
        (1.2, "dry for 2 min"),
        (0.3, "too little for 2 min, dry for under a minute of it"),
    ):
        levels = replace(more, nothing_min=np.full((6, 2), nothing))
        said = officer_words(replace(plan, answers=none, levels=levels), 1)
        assert said.endswith(f"called on arrival it only just holds it; with the first alarm {lacks}.")


def all_dry(answers: AnswerTable) -> AnswerTable:
    """Let nothing flow in all minutes with too little water."""
    return replace(
        answers, nothing_min=answers.gap_min, first_nothing_min=answers.first_gap_min,
        longest_nothing_min=answers.longest_gap_min, nothing_gal=answers.short_gal,
    )  # fmt: skip


def test_minutes_without_any_water_are_told_apart_from_those_with_too_little(plan: Plan) -> None:
    """Nothing for 4 minutes and 100 of 500 gpm too little for 60 is not 126 gpm too little for 64."""
    answers = replace(
        plan.answers, gap_min=np.full(6, 64.0), first_gap_min=np.full(6, 30.2), longest_gap_min=np.full(6, 64.0),
        short_gal=np.full(6, 4 * 500.0 + 60 * 100.0), nothing_min=np.full(6, 4.0),
        first_nothing_min=np.full(6, 41.7), longest_nothing_min=np.full(6, 2.5), nothing_gal=np.full(6, 4 * 500.0),
    )  # fmt: skip
    dry = "Asked for 500, all alerted at once: dry 4 min in all, first at minute 41, the longest 3 min; "
    short = "about 100 gpm too little for 60 min more"
    assert officer_words(replace(plan, answers=answers), 3).endswith(f"{dry}{short}, first at minute 30.")
    together = replace(answers, first_gap_min=answers.first_nothing_min)
    assert officer_words(replace(plan, answers=together), 3).endswith(f"{dry}{short}.")
    by = text_array(["", "", "", "draft", "", ""])
    assert officer_words(replace(plan, answers=replace(together, short_by=by)), 3).endswith(f"{short}, by the draft.")
    # a moment that prints as no minute is none
    little = replace(answers, nothing_min=np.full(6, 0.04), nothing_gal=np.full(6, 20.0))
    assert "dry" not in officer_words(replace(plan, answers=little), 3)
    # another level says of which kind its minutes are where the sentence is of both
    lower = replace(answers, level=np.array([0, 1, 1, 0, -1, -1], dtype=np.int32))
    gap = np.where(np.arange(2) == 1, 11.3, np.full((6, 2), 64.0))
    for nothing, told in ((0.0, "too little for 12 min"), (11.3, "dry for 12 min")):
        levels = replace(plan.levels, gap_min=gap, nothing_min=np.full((6, 2), nothing))
        said = officer_words(replace(plan, answers=lower, levels=levels), 3)
        assert said.endswith(f"; response level 2: {told}.")


def test_a_level_that_holds_nothing_is_not_said_to_hold_the_most(plan: Plan) -> None:
    for gpm, best in (
        ([231.0, 240.0], "holds the most"),
        (240.0, "holds as much as any"),
        (0.0, "brings the most water"),
    ):
        none = replace(plan, levels=replace(plan.levels, uninterrupted_gpm=np.full((6, 2), gpm)))
        assert best_words(none, 3) == best
        assert f"no level meets in the worst season, it {best}" in dispatch.dispatch_csv(none).decode()


def test_a_higher_level_that_leaves_less_dry_is_named_where_none_meets(plan: Plan) -> None:
    """The level shown holds the most without a break; another one, later and longer, brings more."""
    lower = replace(plan, answers=replace(plan.answers, level=np.array([0, 1, 1, 0, -1, -1], dtype=np.int32)))
    for gap, told in ((11.9, None), (11.3, "12 min"), (0.5, "under a minute"), (0.0, "none")):
        each = np.where(np.arange(2) == 1, gap, np.full((6, 2), 12.4))
        levels = replace(plan.levels, gap_min=each, nothing_min=each)
        said = officer_words(replace(lower, levels=levels), 3)
        assert said.endswith("the longest 6 min." if told is None else f"; response level 2: {told}.")


def test_water_that_the_line_cannot_carry_is_not_called_dry(plan: Plan) -> None:
    """Full portable tanks and a thin line: the fire gets too little, the fireground is not dry."""
    by = text_array(["", "supply line", "", "", "", ""])
    answers = replace(
        plan.answers, short_by=by, short_gal=np.full(6, 1.9 * 123.0), nothing_min=np.zeros(6), nothing_gal=np.zeros(6)
    )
    said = officer_words(replace(plan, answers=answers), 1)
    lacking = "about 130 gpm too little for 2 min from minute 32, by the supply line; with the first alarm none."
    assert said.endswith(f"called on arrival it holds 270 gpm; asked for 500: {lacking}")


def test_the_report_says_how_much_of_a_gap_is_dry(plan: Plan) -> None:
    answers = replace(plan.answers, nothing_min=np.full(6, 0.7))
    said = words_of(report_pdf.report(replace(plan, answers=answers)))
    assert re.search(r"too little in all of it dry from gal short .* 1\.9 min 0\.7 min minute 32 950 ", said)


def test_every_address_with_a_shuttle_is_of_one_kind(plan: Plan) -> None:
    masks = [mask for _, mask in kinds(plan)]
    assert np.sum(masks, axis=0).tolist() == [1, 1, 1, 1, 0, 0]
    assert [int(mask.sum()) for mask in masks] == [1, 0, 0, 1, 2]


def test_the_report_counts_calls_that_leave_hardly_any_time(plan: Plan) -> None:
    """The second address, called in time: by a minute right after the arrival, and by a late one."""
    best, in_time = "higher level, best with the first alarm", "higher level, a call on arrival is in time"
    for spare, gpm, said in ((2.0, 500.0, best), (30.0, 500.0, in_time), (30.0, 499.2, best)):
        by_min = plan.answers.first_arrival_min + spare
        answers = replace(plan.answers, gap_min=np.zeros(6), call_by_min=by_min)
        levels = replace(plan.levels, on_arrival_gpm=np.full((6, 2), gpm))
        found = dict(kinds(replace(plan, answers=answers, levels=levels)))
        counts = {told: int(found[told].sum()) for told in (best, in_time) if told in found}
        assert counts == {in_time: 0, said: 1}


@pytest.mark.parametrize(
    ("spare_min", "dry_min", "in_time"), [(30.0, 0.0, True), (30.0, 9.0, False), (2.0, 0.0, False)]
)
def test_the_report_lets_the_officer_call_where_that_is_in_time_alone(
    spare_min: float, dry_min: float, in_time: bool, plan: Plan
) -> None:
    """The second address has a higher level: below 'to be sent with the first alarm 1' nobody is told to wait."""
    by_min = plan.answers.first_arrival_min + spare_min
    answers = replace(plan.answers, gap_min=np.full(6, dry_min), call_by_min=by_min)
    plan = replace(plan, levels=replace(plan.levels, on_arrival_gpm=np.full((6, 2), 500.0)))
    said = words_of(report_pdf.report(replace(plan, answers=answers)))
    assert ("the officer who arrives first calls the further units" in said) == in_time
    assert ("are those of a call on arrival all the same" in said) != in_time
    met = np.where(answers.status == "higher level", "served", answers.status)
    said = words_of(report_pdf.report(replace(plan, answers=replace(answers, status=met))))
    assert "water in a waiting tanker not counted. " in said
    assert "the officer who arrives" not in said
    assert "all the same" not in said


def test_levels_by_steady_and_by_uninterrupted_flow(plan: Plan) -> None:
    """One flow is lifted above its need: first loads bring it a level that circulation lacks."""
    held = plan.levels.uninterrupted_gpm.copy()
    held[2, 1] = 510.0
    steady, now, asked = levels_by(replace(plan, levels=replace(plan.levels, uninterrupted_gpm=held)))
    assert steady[:4].tolist() == [0, 1, NEVER, NEVER]
    assert now[:4].tolist() == [0, 1, 1, NEVER]
    assert asked.tolist() == [True, True, True, True, False, False]


def test_a_level_that_none_meets_goes_with_the_first_alarm_where_too_little_flows_longer_otherwise(plan: Plan) -> None:
    """It may hold as little either way, and leave 23 more minutes without enough: nobody should wait for that."""
    cell = 3, 1
    called, gap, late = (
        column.copy() for column in (plan.levels.on_arrival_gpm, plan.levels.gap_min, plan.levels.gap_on_arrival_min)
    )
    called[cell], gap[cell], late[cell] = plan.levels.uninterrupted_gpm[cell], 13.6, 36.5
    none = np.zeros_like(gap)
    levels = replace(plan.levels, on_arrival_gpm=called, gap_min=gap, gap_on_arrival_min=late)
    told = replace(plan, levels=replace(levels, nothing_min=none, nothing_on_arrival_min=none))
    said = officer_words(told, 3)
    assert "Call it with the first alarm: called on arrival too little flows for 37 min in all." in said
    assert ", all alerted at once: " in said
    late = late.copy()
    late[cell] = 14.5
    told = replace(told, levels=replace(told.levels, gap_on_arrival_min=late))
    assert "Call it with the first alarm" not in officer_words(told, 3)
    # as short either way, but dry where it is called later
    told = replace(told, levels=replace(told.levels, nothing_on_arrival_min=late))
    assert "Call it with the first alarm: called on arrival nothing flows for 15 min in all." in officer_words(told, 3)


def test_one_card_s_call_holds_for_all_of_its_houses_that_none_meets(plan: Plan) -> None:
    """Card, map and dispatcher were at odds where a late call brings less at another house than that of the figures."""
    table = plan.levels
    same = replace(
        table, on_arrival_gpm=table.uninterrupted_gpm.copy(), gap_on_arrival_min=table.gap_min,
        nothing_on_arrival_min=table.nothing_min,
    )  # fmt: skip
    less = same.on_arrival_gpm.copy()
    less[2] = 50.0
    (group,) = (one for one in plan.groups if one.lead == 3 and 2 in one.addresses)
    at = [int(plan.answers.level[a]) for a in (2, 3)]
    assert at[0] == at[1] > 0
    assert plan.answers.status[2] == plan.answers.status[3] == "not met"
    for levels, told in ((same, False), (replace(same, on_arrival_gpm=less), True)):
        one = replace(plan, levels=levels)
        said = Facts(one, group).officer_words
        assert ("Call it with the first alarm: called on arrival it brings less at some of" in said) is told
        assert ("with the first alarm: no level meets" in dispatch.dispatch_csv(one).decode()) is told
        minutes = map_answers._call_by_min(one)[[2, 3]]
        assert (minutes == 0.0).all() if told else np.isnan(minutes).all()


def test_minutes_dry_and_short_add_up_to_what_is_told_of_both(plan: Plan) -> None:
    """13.2 min dry of 127.5 in all: 14 and 114, which are the 128 of the strip, not 14 and 115."""
    answers = replace(plan.answers, gap_min=np.full(6, 127.5), nothing_min=np.full(6, 13.2))
    said = gap_words(replace(plan, answers=answers), 3)
    assert "dry 14 min in all" in said
    assert "gpm too little for 114 min more" in said


def test_first_water_is_of_the_tenth_that_other_pages_print(plan: Plan) -> None:
    """9.04 stands as 9.0 in the table and on the map."""
    assert [first_words(plan, 1, minute, 7.0).partition(",")[0] for minute in (9.04, 9.06, 9.0)] == [
        "First water minute 9",
        "First water minute 10",
        "First water minute 9",
    ]


def test_a_level_that_holds_enough_from_a_later_minute_says_so_where_none_holds_it(plan: Plan) -> None:
    since = "none holds 500, but this one from minute 41 on, if little is drawn until then"
    for gpm, said in ((510.0, since), (490.0, "none holds 500")):
        later = held_later(3, from_min=40.2, gpm=gpm)
        assert f"; {said}." in officer_words(replace(plan, built_up=later), 3)
