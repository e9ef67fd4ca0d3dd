"""What the sheet of another fill site says: the second one, the backup, or that of other months."""

from __future__ import annotations

from collections.abc import Iterator

from preplan.plan import OtherCircuit
from preplan.render import crew, words
from preplan.render.card_facts import WIDTH_PT, Facts
from preplan.render.card_words import flow_words, from_words, place
from preplan.render.paper import BODY_PT, Line, paragraph


def at_other(facts: Facts) -> list[Line]:
    """Say for the sheet of another fill site where the fire is, and who goes there, by arrival, or what it brings."""
    lines = paragraph(place(facts), WIDTH_PT)
    if facts.other is not None:
        return lines + [line for said in _brings(facts, facts.other) for line in paragraph(said, WIDTH_PT, bold=True)]
    mine = f"fill site {facts.cell('site') + 1}"
    for job, units in crew.crew_words(facts.plan, facts.lead, facts.level):
        if job.endswith(mine):
            lines += paragraph(f"{words.first_up(job)}: {units}", WIDTH_PT, BODY_PT)
    return lines


def _brings(facts: Facts, other: OtherCircuit) -> Iterator[str]:
    """Say when the fill site of a sheet is taken, and what it brings then."""
    plan, lead, level = facts.plan, facts.lead, facts.level
    if other.backup:
        flow = flow_words(facts, float(plan.levels.backup_gpm[lead, level]))
        yield f"If fill site {int(plan.levels.site[lead, level]) + 1} fails, all fill here: {flow}"
    rows = [lead, *facts.group.addresses]
    by_itself = bool(plan.answers.level[lead] < 0)  # no level is planned for the year: each season has its own
    told: dict[str, list[int]] = {}
    for season in plan.seasons:
        if not other.months or not set(season.months) <= set(other.months):
            continue
        at = season.level_of(rows, plan.needs.required_gpm[rows]) if by_itself else level
        named = f"{words.level_words(plan.district.levels[at].name)} " * by_itself
        flow = flow_words(facts, float(season.uninterrupted_gpm[lead, at]))
        told.setdefault(f"{named}{from_words(season.sites_of(lead, at))}: {flow}", []).extend(season.months)
    yield from (f"{words.first_up(words.months(those))}{',' * by_itself} {said}" for said, those in told.items())
