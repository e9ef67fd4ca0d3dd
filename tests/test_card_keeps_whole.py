"""What a card has no room for stands whole somewhere else, and the card says where: no name and no number just ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import chain
from typing import Any

import numpy as np

from preplan.plan import Plan
from preplan.plan_tables import Flag
from preplan.records import ResponseLevel
from preplan.render import card_facts, card_pdf, card_rest, card_texts, card_words, crew, paper, site_pdf
from preplan.render.card_facts import Facts
from preplan.render.lettering_pdf import Line
from tests.example_plan import example_plan
from tests.pdf_words import pages_of, words_of
from tests.plan_checks import SAMPLE, plan_of

LONG = "of the Volunteer Fire Company of the Upper Valley and of Its Neighbours to the North Number"


def text(lines: Sequence[Line]) -> str:
    return " ".join(line.said for line in lines)


def facts(plan: Plan, group: int = 0) -> Facts:
    return Facts(plan, plan.groups[group])


def long_ids() -> Plan:
    """Give every unit an id of many words."""
    plan = example_plan()
    return replace(plan, units=tuple(replace(u, unit_id=f"{u.unit_id} {LONG} {k}") for k, u in enumerate(plan.units)))


def of_levels(plan: Plan, count: int) -> Plan:
    """Let many levels be as the first."""

    def wide(column: np.ndarray[Any, Any]) -> Any:
        return np.repeat(column[:, :1], count, axis=1)

    levels = tuple(ResponseLevel(name=f"Level {k + 1}", engines=2, tankers=k + 1) for k in range(count))
    table = replace(plan.levels, **{name: wide(getattr(plan.levels, name)) for name in plan.levels.__slots__})
    by_level = ("best_site", "split_site", "uninterrupted_gpm")
    seasons = tuple(replace(s, **{name: wide(getattr(s, name)) for name in by_level}) for s in plan.seasons)
    return replace(plan, district=replace(plan.district, levels=levels), levels=table, seasons=seasons)


def test_no_unit_to_call_is_cut_and_its_gallons_come_first() -> None:
    plan = long_ids()
    jobs = dict(crew.crew_words(plan, 0, 1))
    assert jobs["tankers"].startswith("5,000 gal; T1 of the ")
    called = text(card_words.call(replace_level(facts(plan))))
    for job, units in jobs.items():
        assert f"{job[0].upper()}{job[1:]}: {units}" in called
    said = " ".join(pages_of(card_pdf.one_card(plan, plan.groups[0].lead)))
    level = int(plan.answers.level[plan.groups[0].lead])
    for _, units in crew.crew_words(plan, plan.groups[0].lead, level):
        assert units in said


def replace_level(of: Facts) -> Facts:
    """Show the second level."""
    answers = replace(of.plan.answers, level=np.ones_like(of.plan.answers.level))
    return Facts(replace(of.plan, answers=answers), of.group)


def test_the_column_of_the_tanker_out_holds_a_name_whole_or_the_text_below_does() -> None:
    """On the sample, whose ids have room; long ones have none."""
    plan = plan_of(SAMPLE / "district.toml")
    units = tuple(replace(unit, unit_id=f"{unit.unit_id} {LONG}") for unit in plan.units)
    long, told = replace(plan, units=units), "Of one tanker out, who costs most: "
    seen = 0
    for group in plan.groups[::20]:
        cells = [row[7] for row in card_rest.level_rows(Facts(plan, group))]
        named = {cell.partition(" (")[2].removesuffix(")") for cell in cells if "(" in cell}
        assert told not in text([*chain.from_iterable(card_rest.otherwise(Facts(plan, group)))])
        if named and plan.answers.level[group.lead] >= 0:
            of = Facts(long, group)
            assert not any("(" in row[7] for row in card_rest.level_rows(of))
            missed = text([*chain.from_iterable(card_rest.otherwise(of))]).partition(told)[2]
            assert all(f"{unit} {LONG} (response level " in missed for unit in named)
            seen += 1
    assert seen > 5


def test_a_warning_near_a_fill_site_ends_with_the_bridge_that_it_warns_of() -> None:
    plan = long_ids()
    ids = " ".join(unit.unit_id for unit in plan.units)
    flag = Flag("posted below size", f"{ids} (up to 10.8 ft): the Tannery Road bridge (posted 10 ft high)",
                stretches=(0,), limit="10 ft high", road="the Tannery Road bridge")  # fmt: skip
    near = replace(plan, site_flags=((flag,), *plan.site_flags[1:]))
    said = text(card_words.fill(facts(near)))
    assert f"Do not pass with {flag.value}. It is " in said
    assert "the Tannery Road bridge (posted 10 ft high). It is " in " ".join(
        pages_of(card_pdf.one_card(near, near.groups[0].lead))
    )


def test_the_officer_s_sentences_go_behind_where_they_are_too_long() -> None:
    plan = example_plan()
    long = " ".join([LONG] * 12)
    levels = tuple(replace(level, name=f"Level {k} {long}") for k, level in enumerate(plan.district.levels))
    for named, cut in ((plan, False), (replace(plan, district=replace(plan.district, levels=levels)), True)):
        of = facts(named)
        whole = " ".join(of.officer_words.split())
        front, *behind = pages_of(card_pdf.one_card(named, of.lead))
        assert whole
        assert (whole in front) is not cut
        assert (whole in " ".join(behind)) is cut


def test_levels_without_a_row_are_counted_and_their_table_is_named() -> None:
    for count, told in ((6, ""), (7, "and 1 more level: levels.csv"), (15, "and 9 more levels: levels.csv")):
        plan = of_levels(example_plan(), count)
        assert len(list(card_rest.level_rows(facts(plan)))) == 6
        page = pages_of(card_pdf.one_card(plan, plan.groups[0].lead))[0]
        assert (told in page) if told else ("levels.csv" not in page)


def test_each_card_of_several_addresses_counts_them_however_full_it_is() -> None:
    """On the sample, whose fullest cards had not even that."""
    plan = plan_of(SAMPLE / "district.toml")
    several = tuple(group for group in plan.groups if len(group.addresses) > 1)
    assert len(several) > 50
    alone = replace(plan, groups=several)
    pages = pages_of(dict(card_pdf.cards(alone))["cards.pdf"])
    for at, group in enumerate(group for group, _ in card_pdf.places(alone)):
        card = next(page for page in pages if f"card {at + 1} of {len(several)} " in page)
        assert f"Covers {len(group.addresses)}: " in card, group.lead


def test_how_to_turn_and_when_stand_before_a_long_connection_and_a_cut_note_names_its_place() -> None:
    plan = example_plan()
    note = f"Key 14 hangs in the pump house; {LONG}; {LONG}; {LONG}; STRAINER BROKEN, use a floating one"
    there = replace(plan.sites[0], connection=LONG, notes=note, months=frozenset({9, 10, 11}), turnaround="back",
                    turnaround_given=True)  # fmt: skip
    full = replace(plan, sites=(there, *plan.sites[1:]))
    said = text(card_words.fill(facts(full)))
    assert f", September to November only; back in; connection: {LONG}." in said
    assert "STRAINER BROKEN" not in said
    assert "see the whole note in sites.pdf" in said
    assert note in words_of(site_pdf.sites(full))
    brief = replace(there, notes="Key 14 hangs in the pump house")
    said = text(card_words.fill(facts(replace(full, sites=(brief, *plan.sites[1:])))))
    assert "Note: Key 14 hangs in the pump house" in said
    assert "sites.pdf" not in said


def test_what_stands_behind_is_named_whole_or_as_more() -> None:
    """The line was cut in the middle of a word: `more if out, arri…`."""
    warnings = "MORE WARNINGS (the Bobolink Road bridge, the Tannery Road bridge)"
    behind = [warnings, "the timeline", "what else if something is out", "how units arrive from their stations"]
    for count in range(1, 5):
        said = card_texts.one_line(behind[:count])
        assert said.startswith(f"The next page: {warnings}")
        assert said.endswith(".")
        assert paper.width_of(said, paper.SMALL_PT, bold=True) <= card_facts.WIDTH_PT
        assert ("…" in said) is False
    assert card_texts.one_line(behind * 2).endswith(", more.")
    assert card_texts.one_line([warnings * 3]).endswith("…")
    assert card_texts.one_line([]) == ""
