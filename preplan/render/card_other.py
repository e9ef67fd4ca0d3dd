"""What the sheet of another fill site says: the second one, the backup, or that of other months."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from preplan.months import month_words
from preplan.plan import OtherCircuit, Plan, SeasonLine
from preplan.records import FloatArray
from preplan.render import crew, words
from preplan.render.card_facts import WIDTH_PT, Facts
from preplan.render.card_words import flow_words, from_words, place, splits
from preplan.render.limit_places import shut_road
from preplan.render.paper import BODY_PT, Line, paragraph


def at_other(facts: Facts) -> list[Line]:
    """Say for the sheet of another fill site where the fire is, and who goes there, by arrival, or what it brings."""
    lines = paragraph(place(facts), WIDTH_PT)
    if facts.other is not None:
        lines += [line for said in _brings(facts, facts.other) for line in paragraph(said, WIDTH_PT, bold=True)]
        return lines + [line for said in _crew(facts, facts.other) for line in paragraph(said, WIDTH_PT, BODY_PT)]
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
    if other.shut_months:
        road = shut_road(plan, other.shut_stretches)
        yield f"{words.first_up(month_words(other.shut_months))}: NOT THIS WAY, {road} is shut or posted then."
    rows = [lead, *facts.group.addresses]
    by_itself = bool(plan.answers.level[lead] < 0)  # no level is planned for the year: each season has its own
    told: dict[str, list[int]] = {}
    for season in plan.seasons:
        if not other.months or not set(season.months) <= set(other.months):
            continue
        at = season.level_of(rows, plan.needs.required_gpm[rows]) if by_itself else level
        named = f"{words.level_words(plan.district.levels[at].name)} " * by_itself
        flow = flow_words(facts, float(season.uninterrupted_gpm[lead, at]))
        said = f"{named}{from_words(season.sites_of(lead, at))}: {flow}{_backup_then(season, lead, at)}"
        told.setdefault(said, []).extend(season.months)
    yield from (f"{words.first_up(month_words(those))}{',' * by_itself} {said}" for said, those in told.items())


def _backup_then(season: SeasonLine, address: int, level: int) -> str:
    """Say which fill site stands in for the first one in a season, behind a blank."""
    first, backup = int(season.best_site[address, level]), int(season.backup_site[address, level])
    if first < 0:
        return ""
    return f" If fill site {first + 1} fails: {f'fill site {backup + 1}' if backup >= 0 else 'NO backup'}."


def _crew(facts: Facts, other: OtherCircuit) -> Iterator[str]:
    """Say who has which job with this fill site: engines that have another one in front may change it.

    Minutes are those of the season that decides, so they stand with the backup alone.
    """
    plan, lead = facts.plan, facts.lead
    if not other.tankers:
        return

    def named(units: Iterable[int], when: FloatArray) -> str:
        timed = when if other.backup and not other.months else None
        return crew.arrivals(plan, units, timed) if timed is not None else _ids(plan, units)

    attack, on_scene = int(plan.levels.attack_engine[lead, other.level]), plan.arrival_min[lead]
    jobs = []
    if other.fill_engine >= 0:
        jobs.append(f"Fill site: {named([other.fill_engine], plan.site_arrival_min[other.site])}")
    if other.dump_engine >= 0:
        also = ", which attacks too" if other.dump_engine == attack else ""
        jobs.append(f"Dump site: {named([other.dump_engine], on_scene)}{also}")
    here = " that fill here" * splits(plan, lead, other)
    yield f"{'. '.join([*jobs, f'Tankers{here}: {named(other.tankers, on_scene)}'])}."


def _ids(plan: Plan, units: Iterable[int]) -> str:
    return words.printable(" ".join(plan.units[unit].unit_id for unit in units))
