"""What the sheet of another fill site says: the second one, the backup, or that of other months."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence

import numpy as np

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_cards import OtherCircuit, ThenCalled, WayIn
from preplan.plan_tables import LEAST_GAP_MIN, ROUNDING_GPM, SeasonLine
from preplan.records import BoolArray
from preplan.render import backups, crew, words
from preplan.render.card_facts import WIDTH_PT, Facts
from preplan.render.card_seasons import elsewhere_words, from_words, jobs_then, splits
from preplan.render.card_words import flow_words, place
from preplan.render.first_drive import MORE, bridge_words, first_drives, unposted_words
from preplan.render.first_minutes import (
    dry_from,
    first_words,
    flowing_words,
    full_flow_min,
    hose_awaited,
    little_time_then,
    may_wait,
    nurse_words,
    when_words,
)
from preplan.render.limit_places import shut_road
from preplan.render.paper import BODY_PT, Line, paragraph


def at_other(facts: Facts) -> list[Line]:
    """Say for the sheet of another fill site where the fire is, and who goes there, by arrival, or what it brings."""
    lines = paragraph(place(facts), WIDTH_PT)
    if facts.other is not None:
        lines += [line for said in _brings(facts, facts.other) for line in paragraph(said, WIDTH_PT, bold=True)]
        return lines + [
            line
            for said in _crew(facts, facts.other, bridges=unposted_words)
            for line in paragraph(said, WIDTH_PT, BODY_PT)
        ]
    mine = f"fill site {facts.cell('site') + 1}"
    for job, units in crew.crew_words(facts.plan, facts.lead, facts.level):
        if job.endswith(mine):
            lines += paragraph(f"{words.first_up(job)}: {units}", WIDTH_PT, BODY_PT)
    return lines


def sheet_words(facts: Facts) -> list[str]:
    """Say all that the sheets behind a card say of their fill sites and crews, a text a sheet."""
    said = []
    for other in facts.sheets:
        over = facts.over_other(other)
        told = " ".join([*_brings(over, other), *_crew(over, other, bridges=bridge_words)])
        said.append(f"fill site {other.site + 1}, {over.fill_site_words}: {told}")
    return said


def _brings(facts: Facts, other: OtherCircuit) -> Iterator[str]:
    """Say when the fill site of a sheet is taken, and what it brings then."""
    plan, lead, level = facts.plan, facts.lead, facts.level
    if other.backup:
        yield from _stands_in(facts)
    if other.shut_months:
        road = shut_road(plan, other.shut_stretches)
        yield f"{words.first_up(month_words(other.shut_months))}: NOT THIS WAY, {road} then."
    if facts.by_hose:
        yield facts.by_hose
    rows = [lead, *facts.group.addresses]
    by_itself = bool(plan.answers.level[lead] < 0)  # no level is planned for the year: each season has its own
    told: dict[str, list[int]] = {}
    for season in plan.seasons:
        if not other.months or not set(season.months) <= set(other.months):
            continue
        at = season.level_of(rows, plan.needs.required_gpm[rows]) if by_itself else level
        named = words.level_words(plan.district.levels[at].name)
        then = next((one for one in other.then if one.months == season.months), None)
        held = float(season.uninterrupted_gpm[lead, at])
        flow = flow_words(facts, held, then.later_gpm if then else math.nan)
        called = _called_then(facts, other, then, season, at)
        said = f"{named} {from_words(season.sites_of(lead, at))}: {flow}{called}{_backup_then(facts, season, at)}"
        told.setdefault(said, []).extend(season.months)
    yield from (f"{words.first_up(month_words(those))}, {said}" for said, those in told.items())
    if other.months and other.tankers and splits(plan, lead, other):
        named = words.printable(" ".join(plan.units[unit].unit_id for unit in other.tankers))
        yield f"THIS SHEET IS FOR {named} ONLY: then {'; '.join(elsewhere_words(plan, other, other.elsewhere))}."


def _stands_in(facts: Facts) -> Iterator[str]:
    """Say what the backup brings, with the months where it is not always that."""
    plan, cell = facts.plan, (facts.lead, facts.level)
    here, months = int(plan.levels.backup[cell]), backups.as_told(plan, *cell)
    flows = float(plan.levels.backup_gpm[cell]), float(plan.levels.backup_steady_gpm[cell])
    told = backups.Backup(tuple(months), int(plan.levels.site[cell]), here, *flows)
    said: dict[str, list[int]] = {}
    for then in (told, *(one for one in backups.in_other_months(plan, *cell) if one.site == here)):
        fails = f"if fill site {then.first + 1} fails, all fill here: {flow_words(facts, then.gpm, then.steady_gpm)}"
        said.setdefault(fails, []).extend(then.months)
    always = len(said) == 1 and not facts.backup_months
    yield from (words.first_up(one if always else f"{month_words(those)}: {one}") for one, those in said.items())


def _called_then(facts: Facts, other: OtherCircuit, then: ThenCalled | None, season: SeasonLine, level: int) -> str:
    """Say by when a level is called in a season, when water flows, what lacks, and what a tanker out leaves.

    Behind a blank; where the first level meets then with the same fill sites, no more than that.
    """
    plan, lead, rows = facts.plan, facts.lead, [facts.lead, *facts.group.addresses]
    lowest = season.level_of(rows, plan.needs.required_gpm[rows])
    same = season.sites_of(lead, lowest) == season.sites_of(lead, level)
    said = [_lower_meets(facts, season, lowest, same=same)] if lowest < level else []
    first_does = lowest == 0 < level and same
    if then is not None:
        said += [] if first_does else _calls(facts, season, then, level)
        first = then.strip.demand_min[:1].tolist()
        said += [f"{first_words(plan, lead, first[0], then.first_arrival_min)}."] if first else []
        hose = hose_awaited(plan, lead, other.attack_engine, [unit for unit, _ in other.laid])
        said += filter(None, [nurse_words(plan, then.strip, other.attack_engine, hose).rstrip()])
        if not first_does:
            said += _dry_then(facts, season, then)
            spare = bool(_without_a_job(facts, other, then).any())
            out = "1 tanker out, none in its place" if spare else "1 tanker out"
            said.append(f"{out}: {flow_words(facts, then.one_out_gpm)}")
    return "".join(f" {one}" for one in said)


def _without_a_job(facts: Facts, other: OtherCircuit, then: ThenCalled) -> BoolArray:
    """Tell which tankers come with the level of a season and have no job in it: one of them could replace another."""
    spare: BoolArray = facts.plan.levels.tankers[facts.lead, then.fleet].copy()
    busy = {*other.crew, *(unit for one in other.elsewhere for unit in (*one.tankers, one.fill_engine))} - {-1}
    spare[sorted(busy)] = False
    return spare


def _lower_meets(facts: Facts, season: SeasonLine, lowest: int, *, same: bool) -> str:
    """Say which lower level meets in a season, for all of a card."""
    named = words.first_up(words.level_words(facts.plan.district.levels[lowest].name))
    there = "" if same else f" {from_words(season.sites_of(facts.lead, lowest))}"
    unknown = ", by when to call it is not worked out" if lowest else ""
    return f"{named} meets then{there}{unknown}."


def _calls(facts: Facts, season: SeasonLine, then: ThenCalled, level: int) -> list[str]:
    """Say by when units beyond the first level are called, or that a lower level brings as much.

    Where the level does not meet it goes with the first alarm for the same reason as in front: later it holds less.
    """
    levels, said = facts.plan.district.levels, []
    named = "this response level"
    if then.fleet < level:
        named = words.level_words(levels[then.fleet].name)
        said.append(f"{words.first_up(named)} brings as much: more units add nothing then.")
    if not then.fleet:
        return said
    by_min = then.advised_min
    if may_wait(facts.plan, facts.lead, season, then):
        return said
    if not np.isfinite(by_min):
        return [*said, f"SEND {named.upper()} WITH THE FIRST ALARM."]
    when = when_words(by_min, hurried=little_time_then(facts.plan, facts.lead, then))
    return [*said, f"Call {named} {when}."]


def _dry_then(facts: Facts, season: SeasonLine, then: ThenCalled) -> list[str]:
    """Say for how long too little flows in a season, or nothing, called as the sheet advises, else on arrival."""
    if then.strip.dry_min > LEAST_GAP_MIN:
        need = float(facts.plan.needs.required_gpm[facts.lead])
        meets = float(season.uninterrupted_gpm[facts.lead, then.fleet]) >= need - ROUNDING_GPM
        called = "All alerted at once, " if then.strip.called == "at dispatch" else "Called like this, "
        begins = called if then.fleet else "Before full flow is asked for, " * meets
        full = full_flow_min(facts.plan, then.first_arrival_min)
        first = dry_from(full, float(then.strip.gaps_min[0, 0]))
        lacks = flowing_words(then.strip.dry_min, then.strip.nothing_within_min(), f", first at minute {first}")
        return [words.first_up(f"{begins}{lacks}.")]
    late = f"Called on arrival, {flowing_words(then.gap_min, then.nothing_min)}."
    return [late] if then.gap_min > LEAST_GAP_MIN else []


def _backup_then(facts: Facts, season: SeasonLine, level: int) -> str:
    """Say which fill site stands in for the first one in a season, and what it brings, behind a blank.

    Of the second one, where tankers are split, no more is known than that less flows without it.
    """
    cell = facts.lead, level
    first, backup = int(season.best_site[cell]), int(season.backup_site[cell])
    if first < 0:
        return ""
    flow = "NO backup."
    if backup >= 0:
        there, planned = facts.plan.sites[backup], backups.planned(facts.group, backup, season.months)
        pumps = "; an engine must pump there" * (there.needs_engine and (planned is None or planned.fill_engine < 0))
        far = f", {backups.way_words(facts.plan, planned)}" if planned else ""
        jobs = jobs_then(facts, planned) if planned else ""
        named = f"fill site {backup + 1} ({words.printable(there.name)}{pumps}){far}"
        flows = float(season.backup_gpm[cell]), float(season.backup_steady_gpm[cell])
        flow = f"{named}, {flow_words(facts, *flows)}{jobs}"
    others = season.sites_of(*cell)[1:]
    second = f" If fill site {others[0] + 1} fails: less, how much is not worked out." if others else ""
    return f" If fill site {first + 1} fails: {flow}{second}"


def _crew(facts: Facts, other: OtherCircuit, *, bridges: Callable[[Plan, Sequence[WayIn]], list[str]]) -> Iterator[str]:
    """Say who has which job with this fill site, and how they come: who has another one in front may change it.

    Of bridges on the way what is not said elsewhere.
    """
    plan = facts.plan
    if not other.tankers:
        return
    yield jobs_words(facts, other)
    drives = first_drives(plan, facts.lead, other.ways_in, MORE, other.months)
    if drives:
        said = f"Arriving from the station: {'; '.join(drives)}."
        yield " ".join((said, *bridges(plan, other.ways_in)))
    if other.backup:
        yield "Crew as if all filled here from the start: moving an engine later costs minutes that are not counted."


def jobs_words(facts: Facts, other: OtherCircuit) -> str:
    """Say who has which job with the fill site of another circuit, by arrival."""
    plan = facts.plan
    on_scene = np.array(other.arrival_min)
    jobs = []
    if other.attack_engine >= 0:
        also = ", drafts too" * (other.dump_engine == other.attack_engine)
        jobs.append(f"Attack: {crew.arrivals(plan, [other.attack_engine], on_scene)}{also}")
    if other.dump_engine not in (-1, other.attack_engine):
        jobs.append(f"Dump site: {crew.arrivals(plan, [other.dump_engine], on_scene)}")
    if other.fill_engine >= 0:
        at_site = np.full(len(plan.units), other.fill_engine_min)
        jobs.append(f"Fill site: {crew.arrivals(plan, [other.fill_engine], at_site)}")
    here = " that fill here" * splits(plan, facts.lead, other)
    carried = words.gallons(sum(plan.units[unit].tank_gal for unit in other.tankers))
    jobs.append(f"Tankers{here}: {crew.arrivals(plan, other.tankers, on_scene)}, {carried}")
    idle = plan.levels.fleet[facts.lead, other.level].copy()
    idle[list(other.crew)] = False
    no_job = f" No job here: {words.printable(' '.join(plan.unit_ids(idle, facts.lead)))}." if idle.any() else ""
    no_job *= not here  # else they fill at the other fill site
    said = f"{'. '.join(jobs)}; each after its own call.{no_job} {crew.asked_words(plan, sorted(other.crew))}"
    return said.rstrip()
