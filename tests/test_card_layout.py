"""How a card shares its page: what stands in front, what behind, and that nothing is lost or told twice."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import pytest
from pypdf import PdfReader

from preplan.plan import Plan
from preplan.plan_cards import CardGroup, Step
from preplan.plan_tables import Flag
from preplan.render import (
    card_columns,
    card_facts,
    card_layout,
    card_parts,
    card_pdf,
    card_rest,
    card_way,
    card_words,
    first_drive,
    paper,
    words,
)
from preplan.render.charts import Picture
from preplan.render.driving_words import step_words, turning_words
from preplan.render.flag_words import POSTED
from preplan.render.route_pdf import Subject
from preplan.render.scene import Box
from preplan.water import timeline
from tests.pdf_words import pages_of, texts_of

from .example_plan import example_plan, split_plan
from .plan_checks import SAMPLE, plan_of
from .test_pdf import PLANS, _runs
from .timeline_cases import golden_called

INDEX_PAGES = 2
NOTE = "bridge, limit not posted; railway crossing"


def steps_of(count: int, note: str = NOTE) -> tuple[Step, ...]:
    return tuple(Step(road=f"Turnpike {k}", miles=1.5, turn="Left on", note=note) for k in range(count))


def with_strips(plan: Plan) -> Plan:
    drawn = timeline.strip(timeline.account(golden_called(6, 12)))
    return replace(plan, groups=tuple(replace(group, strip=drawn) for group in plan.groups))


def lead_not_met(plan: Plan) -> CardGroup:
    return next(group for group in plan.groups if str(plan.answers.status[group.lead]) == "not met")


def cards_of(plan: Plan) -> bytes:
    return dict(card_pdf.cards(plan))["cards.pdf"]


def said_of(plan: Plan) -> list[str]:
    return pages_of(cards_of(plan))[INDEX_PAGES:]


def test_a_long_way_stands_behind_a_line_a_step_and_its_ends_in_front() -> None:
    plan = example_plan()
    lead = lead_not_met(plan)
    long = replace(lead, out_steps=steps_of(20))
    file = cards_of(replace(plan, groups=(long, replace(lead, road="Yonder Lane"))))
    card, behind, next_ = pages_of(file)[INDEX_PAGES:]
    assert "EVERY STEP, WITH A LARGE MAP: the next page" in card
    assert "1. Left on Turnpike 0, 1.50 mi" in card
    assert "… 18 steps: the next page … 20. Left on Turnpike 19" in card
    assert "Turnpike 12" not in card
    assert f"{card_words.where(card_facts.Facts(plan, lead))[0]}, continued" in behind
    for number, step in enumerate(long.out_steps, 1):
        assert f"{number}. Left on {step.road}, 1.50 mi ({NOTE})" in behind
    numbers = [re.findall(r"page \d+(?: continued, sheet \d)?", page) for page in (card, behind, next_)]
    assert numbers == [["page 3"], ["page 3 continued, sheet 2"], ["page 4"]]
    assert PdfReader(io.BytesIO(file), strict=True).page_labels == ["1", "2", "3", "3 continued, sheet 2", "4"]


def test_no_way_is_run_on_and_front_and_back_number_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every step in front begins a line and has the number that it has behind and on both maps.

    The map in front, small as it is, has the turns alone that are told beside it.
    """
    plan = example_plan()
    drawn: list[set[str]] = []
    draw = card_parts.draw_map

    def kept(pen: Any, picture: Picture, page: Box, subject: Any) -> float:
        drawn.append({str(number) for number, *_ in subject.turns})
        return draw(pen, picture, page, subject)

    monkeypatch.setattr("preplan.render.card_pdf.draw_map", kept)
    monkeypatch.setattr("preplan.render.card_behind.draw_map", kept)
    lead = replace(lead_not_met(plan), out_steps=steps_of(20))
    front, behind = texts_of(cards_of(replace(plan, groups=(lead,))))[INDEX_PAGES:]
    listed = []
    for page in (front, behind):
        lines = page.splitlines()
        numbered = [re.findall(r"(\d+)\. Left on (Turnpike \d+),", line) for line in lines]
        assert max(map(len, numbered)) == 1
        listed.append({pair for pairs in numbered for pair in pairs})
    assert listed[0] == {("1", "Turnpike 0"), ("20", "Turnpike 19")}
    assert listed[0] < listed[1]
    assert drawn == [{"20"}, {str(number) for number in range(2, 21)}]


def test_a_short_way_adds_no_page() -> None:
    plan = example_plan()
    short = said_of(replace(plan, groups=(lead_not_met(plan),)))
    assert len(short) == 1
    assert "the next page" not in short[0]


def test_empty_stands_right_after_loaded_and_take_care_once() -> None:
    """However crowded a card is."""
    plan = example_plan()
    flags = tuple(Flag("new fact", f"{'long words ' * 9}{k}") for k in range(5))
    crowded = replace(plan, answers=replace(plan.answers, flags=(flags,) * len(plan.addresses)))
    for count in range(3, 26, 2):
        lead = replace(lead_not_met(plan), out_steps=steps_of(count), back_steps=steps_of(count))
        card, *behind = said_of(replace(with_strips(crowded), groups=(lead,)))
        between = card[card.index("LOADED, fill site") : card.index("EMPTY, back")]
        assert not re.search(r"TAKE CARE|IF SOMETHING|response level \d|Minutes after", between)
        assert len(re.findall("TAKE CARE(?!, continued)", card)) == 1
        assert "TAKE CARE" not in "".join(behind).replace("TAKE CARE, continued", "")


def test_what_stands_in_front_is_not_told_again_behind() -> None:
    """But for the ends of the way. Every caution is told once, on the card or behind it."""
    plan = example_plan()
    flags = tuple(Flag("new fact", f"{'long words ' * 12}number {k} of many") for k in range(16))
    crowded = replace(plan, answers=replace(plan.answers, flags=(flags,) * len(plan.addresses)))
    lead = replace(lead_not_met(plan), out_steps=steps_of(9), back_steps=steps_of(9))
    card, *behind = said_of(replace(crowded, groups=(lead,)))
    every = card + "".join(behind)
    for k in range(16):
        assert every.count(f"number {k} of many") == 1
    assert "IF SOMETHING IS OUT" in card
    assert "Backup: " in card
    assert "Backup: " not in "".join(behind)
    assert "".join(behind).count("IF SOMETHING IS OUT") == "".join(behind).count("IF SOMETHING IS OUT, continued")


def test_the_hose_is_in_front_whatever_else_is_not() -> None:
    plan = PLANS["hostile"]()
    cards = [said for said in said_of(plan) if "WHAT TO CALL" in said and "Hose" in said]
    assert cards
    for said in cards:
        assert "Hose to the building: " in said


@pytest.mark.parametrize("name", ["example", "hostile", "empty", "40 miles", "two fill sites"])
def test_a_card_has_room_for_the_timeline(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Over the full width, in a column or behind: no line of text runs through it."""
    boxes: list[Box] = []

    def drawn(_pen: Any, page: Box, _strip: Any) -> None:
        boxes.append(page)

    monkeypatch.setattr("preplan.render.card_parts.strip_pdf.draw", drawn)
    plan = with_strips(PLANS[name]())
    file = cards_of(plan)
    pages = zip(PdfReader(io.BytesIO(file), strict=True).pages, pages_of(file), strict=True)
    having = [page for page, said in pages if re.search(r"card \d+ of \d+.* Minutes after the alarm", said)]
    assert len(boxes) == len(plan.groups)
    for box in boxes:
        assert box.width >= 200.0
        assert box.height >= 60.0
        assert box.bottom >= paper.FOOT_PT
    for page, box in zip(having, boxes, strict=True):  # in the order of the pages, one a card
        runs = [run for run in _runs(page) if run.level]
        assert [r for r in runs if box.bottom + 1 < r.base < box.top - 1 and box.left < r.left < box.right] == []


def test_a_timeline_stands_beside_other_text_before_it_goes_behind() -> None:
    """A card a little too full for a strip over the full width has it in a column, and no page behind."""
    plan = with_strips(example_plan())
    facts = card_facts.Facts(plan, replace(lead_not_met(plan), out_steps=steps_of(7), back_steps=steps_of(3)))
    places = set()
    for free in range(200, 420, 5):
        layout = card_layout.layout_of(facts, float(free))
        places.add((layout.band_pt > 0.0, layout.strip_column >= 0, layout.way_behind))
        if not layout.way_behind:
            assert not layout.strip_behind
            assert layout.rest == ()
    assert {(True, False, False), (False, True, False)} <= places


def test_the_timeline_of_a_split_card_stands_on_its_second_sheet(monkeypatch: pytest.MonkeyPatch) -> None:
    """No sheet for a strip alone where there is one with room."""
    plan = with_strips(split_plan())
    flags = tuple(Flag("new fact", f"{'long words ' * 9}{k}") for k in range(12))
    crowded = replace(plan, answers=replace(plan.answers, flags=(flags,) * len(plan.addresses)))
    monkeypatch.setattr("preplan.render.card_way.is_long", lambda _facts: False)
    card, sheet, *_ = said_of(replace(crowded, groups=plan.groups[:1]))
    assert "the timeline" in card
    assert "second fill site" in sheet
    assert "Minutes after the alarm" in sheet


@pytest.mark.parametrize(
    ("heights", "strip", "first", "high"),
    [
        ((30.0, 10.0, 10.0), 0.0, 1, 30.0),
        ((10.0,) * 4, 0.0, 2, 20.0),
        ((40.0, 10.0), 30.0, 1, 40.0),
        ((), 20.0, 0, 20.0),
    ],
)
def test_columns_are_as_low_as_the_order_of_texts_allows(
    heights: tuple[float, ...], strip: float, first: int, high: float
) -> None:
    parted = card_columns.parted_at(heights, strip)
    assert (parted.first, parted.high_pt) == (first, high)


def test_cautions_that_go_on_in_the_second_column_stand_under_a_heading() -> None:
    """On every card of the sample: no column begins with a caution out of nowhere."""
    plan = plan_of(SAMPLE / "district.toml")
    goes_on = 0
    for group in plan.groups:
        layout = card_layout.layout_of(card_facts.Facts(plan, group), 330.0)
        second = layout.columns[1]
        assert not (second and second[0].said.startswith("•")), group.lead
        goes_on += bool(second) and second[0] == card_columns.CARE_GOES_ON
        assert max(map(paper.height_of, layout.columns)) <= layout.below_pt + 0.02
    assert goes_on, "no column goes on with cautions: this test shows nothing"


@pytest.mark.parametrize(
    ("turnaround", "back", "told"),
    [("through", [0.0, 1.0], True), ("loop", [0.0, 1.0], False), ("through", [0.0, -1.0], False)],
)
def test_who_drives_through_and_leaves_as_he_came_is_told_where_that_turns_him(
    turnaround: str, back: list[float], told: bool
) -> None:
    """The loaded leg leaves north; empties come from the south, or from the north against it."""
    plan = example_plan()
    changed = replace(plan, sites=tuple(replace(site, turnaround=turnaround) for site in plan.sites))
    facts = card_facts.Facts(changed, plan.groups[0])
    out_ft = np.array([[0.0, 0.0], [0.0, 900.0]])
    # `back` points to where they come from
    back_ft = 900.0 * np.array([back, [0.0, 0.0]])
    subject = Subject((), 0, out_ft, back_ft, site=0, site_ft=np.array([40.0, 0.0]))
    said = card_words.approach(facts, subject)
    assert ("leave north: the site's own drive is taken to turn them (ASSUMED: check it)" in said) == told
    assert said.startswith("Empty tankers arrive heading ")


def test_a_card_without_a_shuttle_lists_what_is_on_wheels() -> None:
    """Units by minute where those are known, by name where they are not; nobody who comes on request only."""
    plan = example_plan()
    group = next(one for one in plan.groups if str(plan.answers.status[one.lead]) == "no route")
    arrival = plan.arrival_min.copy()
    arrival[group.lead] = np.inf
    lost = replace(plan, arrival_min=arrival)
    said = " ".join(line.said for line in card_words.call(card_facts.Facts(lost, group)))
    for unit in plan.units:
        assert f"{unit.unit_id} {unit.tank_gal:,.0f} gal" in said
    assert "the mapped roads bring no unit here. Tankers: " in said
    assert "Minutes are not known." in said
    assert "count on the water on wheels" not in said
    arrival = arrival.copy()
    arrival[group.lead] = np.arange(len(plan.units))[::-1] + 7.5
    said = " ".join(line.said for line in card_words.call(card_facts.Facts(replace(plan, arrival_min=arrival), group)))
    assert "Minutes are not known" not in said
    assert "count on the water on wheels alone." in said
    tankers = [unit for unit in plan.units if unit.kind == "tanker"]
    assert re.search(rf"Tankers: {tankers[-1].unit_id} [0-9,]+ gal at \d+ min, {tankers[0].unit_id} ", said)


def test_turning_is_told_where_it_happens() -> None:
    plan = example_plan()
    said = {}
    for dump, fill in ((True, False), (False, True), (True, True), (False, False)):
        trips = replace(plan.trips, turn_at_dump=np.full(6, dump), turn_at_site=np.full(6, fill))
        changed = replace(plan, trips=trips, sites=tuple(replace(site, turnaround="loop") for site in plan.sites))
        lines = card_way.back_leg(card_facts.Facts(changed, plan.groups[0]), 400.0)
        said[dump, fill] = " ".join(line.said for line in lines)
    assert "with turning at the dump site," in said[True, False]
    assert "with turning at the fill site," in said[False, True]
    assert "with turning at the dump and fill site," in said[True, True]
    assert "with turning" not in said[False, False]


def test_nobody_drives_on_by_less_than_his_own_length() -> None:
    start = Step(road="Elm Road", miles=40 / 5280, turn="Leave the dump site north on")
    turn = Step(road="Elm Road", miles=1.9, turn="Turn round on", room="mapped", past="dump site", past_mi=start.miles)
    assert turning_words([start, turn], at_dump=False) == "turn round here (mapped)"
    assert step_words(turn) == "Turn round on Elm Road, at the dump site (mapped), then 1.90 mi"
    far = replace(turn, past_mi=60 / 5280)
    assert turning_words([replace(start, miles=far.past_mi), far], at_dump=False) == (
        "drive on 60 ft and turn round there (mapped)"
    )


def test_no_line_beside_the_map_is_wider_than_its_place() -> None:
    """Nor parts a number from its unit."""
    plan = example_plan()
    trips = replace(plan.trips, turn_at_dump=np.full(6, True), turn_at_site=np.full(6, True))
    changed = replace(plan, trips=trips, sites=tuple(replace(site, turnaround="loop") for site in plan.sites))
    facts = card_facts.Facts(changed, replace(plan.groups[0], out_steps=steps_of(9), back_steps=steps_of(9)))
    for width in card_layout.WAYS_PT:
        for line in [*card_way.way(facts, width), *card_way.ends_of_way(facts, width)]:
            assert line.indent + paper.width_of(line.said, line.size, bold=line.bold) <= width + 0.01
            assert not re.search(r"\d$", line.said)


def test_how_units_come_from_their_stations_gives_way_to_all_else() -> None:
    """On every card of the sample: what stands behind without it stands there with it, and no more but itself."""
    plan = plan_of(SAMPLE / "district.toml")
    forms: set[str] = set()
    for group, free in product(plan.groups, (260.0, 320.0, 380.0)):
        without = card_facts.Facts(plan, replace(group, ways_in=()))
        # what hardly bears who comes is told of with what to take care of: it stands there in both
        without.once("tight", lambda ways=group.ways_in: first_drive.tight_told(plan, ways))  # type: ignore[misc]
        bare = card_layout.layout_of(without, free)
        layout = card_layout.layout_of(card_facts.Facts(plan, group), free)
        assert (layout.way_behind, layout.strip_behind) == (bare.way_behind, bare.strip_behind), group.lead
        heads, before = (
            [block.lines[0].said for block in one.rest if block.lines and block.lines[0].bold] for one in (layout, bare)
        )
        own = [said for said in heads if said.startswith("ARRIVING FROM")]
        assert [said for said in heads if said not in own] == before, group.lead
        said = [line.said for column in layout.columns for line in column]
        front = [one[:13] for one in said if one.casefold().startswith("arriving from")]
        assert len(front) + len(own) == bool(group.ways_in), group.lead
        forms.update(front, ["behind"] * len(own))
    assert forms == {"ARRIVING FROM", "Arriving from", "behind"}


def test_more_warnings_are_told_where_there_are_some_alone() -> None:
    """On cards of the sample that are cut, once as they are and once without a flag: then no warning stands behind."""
    plan = plan_of(SAMPLE / "district.toml")
    bare = replace(plan, answers=replace(plan.answers, flags=((),) * len(plan.addresses)))
    seen = {
        (one is plan, "MORE WARNINGS" in layout.told)
        for one, group in product((plan, bare), plan.groups)
        if (layout := card_layout.layout_of(card_facts.Facts(one, group), 210.0)).told
    }
    assert seen == {(True, True), (True, False), (False, False)}


def test_a_full_card_says_who_stands_in_and_what_breaks() -> None:
    """On every card of the sample, with less room than it has; what is not told in front stands behind, once."""
    plan = plan_of(SAMPLE / "district.toml")
    grave = full = brief = hose = 0
    for group, free in product(plan.groups, (230.0, 250.0, 270.0)):
        facts = card_facts.Facts(plan, group)
        layout = card_layout.layout_of(facts, free)
        if facts.cell("trip") < 0 or layout.band_pt != card_layout.BEHIND_PT:
            continue
        full += 1
        front = [line.said for column in layout.columns for line in column]
        behind = [line.said for block in layout.rest for line in block.lines]
        assert any(said.startswith(("Backup", "Fill site")) for said in front), (group.lead, free)
        cautions = card_rest.cautions(facts, card_facts.HALF_PT)
        firsts = [block.lines[0].said for block in cautions]
        grave += bool(card_rest.grave_cautions(facts))
        named = card_rest.tight_places(facts)
        for at, said in enumerate(firsts[: card_rest.grave_cautions(facts)]):
            # who is hardly borne is told in front too, where there is room: else the bridge is named there
            assert said in front or (at < len(named) and named[at] and named[at] in layout.told), (group.lead, free)
        assert sorted(said for said in [*front, *behind] if said in firsts) == sorted(firsts), (group.lead, free)
        # of what is too weak, low or narrow at least the road is told in front
        for flag in facts.flags:
            if flag.code in POSTED and (road := re.search(r"the [^(:]* bridge", str(flag.value))):
                assert road[0] in " ".join([*front, layout.told]), (group.lead, free)
                brief += any(said.startswith(("• LOADED", "• SOME UNITS")) for said in front)
        if group.lead in plan.lays.address:
            by_hose = any(said.startswith("By hose") for said in front)
            # what breaks weighs more where there is hardly any room
            assert by_hose or (free < 250.0 and card_rest.grave_cautions(facts)), (group.lead, free)
            hose += by_hose
        told = [said for said in behind if said in firsts]
        assert ("MORE WARNINGS" in layout.told) == any(not said.startswith("• Close call") for said in told)
        assert ("which levels are a close call" in layout.told) == (bool(told) and "MORE WARNINGS" not in layout.told)
        assert bool(layout.told) == bool(layout.rest or layout.strip_behind)
    assert full > 100
    assert brief > 3
    assert hose > 2
    assert grave > 20


FULLEST = ("63 Tannery Rd", "297 Schoolhouse Rd", "133 Tannery Rd", "1077 Tannery Rd")
"""Cards of the sample whose top third leaves hardly any room below the table."""


def test_the_fullest_cards_say_in_front_who_stands_in(monkeypatch: pytest.MonkeyPatch) -> None:
    """And what breaks a bridge, before any light caution: each goes through the whole of its own page."""
    plan, found = plan_of(SAMPLE / "district.toml"), dict[int, card_layout.Layout]()
    lay_out = card_layout.layout_of

    def kept(facts: card_facts.Facts, free: float, **how: bool) -> card_layout.Layout:
        found[facts.lead] = lay_out(facts, free, **how)
        return found[facts.lead]

    monkeypatch.setattr(card_pdf, "layout_of", kept)
    monkeypatch.setattr(card_pdf, "draw_map", lambda _pen, _picture, page, _subject: page.bottom - card_parts.NOTE_PT)
    picture, document = Picture(plan), paper.Document(plan.district, "cards")
    groups = {words.where_words(plan, group.lead): group for group in plan.groups}
    for label in FULLEST:
        card_pdf._draw_card(document, picture, groups[label], "")
        facts, layout = card_facts.Facts(plan, groups[label]), found[groups[label].lead]
        assert layout.band_pt == card_layout.BEHIND_PT, label
        front = [line.said for column in (layout.over, *layout.columns) for line in column]
        assert any(said.startswith(("Backup", "Fill site")) for said in front), label
        assert re.search(r"Fill site \d+: .*, \d+\.\d min loaded, ", " ".join(front)), label
        assert all(road in " ".join(front) for road, _ in card_rest.limits_in_brief(facts).values()), label
        assert any(said.startswith("By hose") for said in front) == (facts.lead in plan.lays.address), label
        assert not layout.lacks, label


def test_nothing_light_stands_in_front_where_something_grave_has_no_room() -> None:
    """On cards of the sample with hardly any room: the backup has its place on each."""
    plan = plan_of(SAMPLE / "district.toml")
    lacking = 0
    for group, free in product(plan.groups[::16], (140.0, 165.0)):
        facts = card_facts.Facts(plan, group)
        layout = card_layout.layout_of(facts, free)
        if facts.cell("trip") < 0:
            continue
        front = [line.said for column in (layout.over, *layout.columns) for line in column]
        assert free < 165.0 or any(said.startswith(("Backup", "Fill site")) for said in front), (group.lead, free)
        grave = card_rest.grave_cautions(facts)
        light = [block.lines[0].said for block in card_rest.cautions(facts, card_facts.HALF_PT)[grave:]]
        limits = {at - grave for at in card_rest.limits_in_brief(facts)}
        if layout.band_pt == card_layout.BEHIND_PT:
            lacking += layout.lacks
            there = [said for at, said in enumerate(light) if at not in limits and said in front]
            assert not (layout.lacks and there), (group.lead, free)
    assert lacking > 3


def test_what_weighs_less_than_a_caution_that_has_no_room_stands_behind_with_it() -> None:
    """A long one where two trucks meet must not leave its room to a short one that only says where a road ends."""
    plan = example_plan()
    flags = tuple(
        Flag(code, value, unit)
        for code, value, unit in (
            ("meeting on narrow road", 0.1, "mi"), ("unposted bridges", 4.0, ""), ("dead end", None, ""),
            ("turn at dump site", 3.0, "min"), ("seasonal", "4-11", ""),
        )
    )  # fmt: skip
    crowded = replace(plan, answers=replace(plan.answers, flags=(flags,) * len(plan.addresses)))
    lead = replace(lead_not_met(plan), out_steps=steps_of(7), back_steps=steps_of(6))
    counts = set()
    for free in range(150, 330, 6):
        facts = card_facts.Facts(with_strips(crowded), lead)
        layout = card_layout.layout_of(facts, float(free))
        front = [line.said for column in (layout.beside, *layout.columns) for line in column]
        there = [block.lines[0].said in front for block in card_rest.cautions(facts, card_facts.HALF_PT)]
        if layout.band_pt == card_layout.BEHIND_PT:
            assert there == sorted(there, reverse=True), free
            counts.add(sum(there))
    assert len(counts) > 1
