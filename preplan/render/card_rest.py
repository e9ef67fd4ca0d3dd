"""What a card says below its map: what else there is, what to take care of, what was assumed, every level."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain

import numpy as np

from preplan.months import month_words
from preplan.plan_tables import FIRST_ALARM_IN, MORE_LATER, NOT_THIS_WAY, SHUT_BEYOND, WATER_BETWEEN, Flag
from preplan.records import ALL_MONTHS
from preplan.render import backups, crew, first_minutes, paper, words
from preplan.render.card_facts import (
    CLOSE,
    FILLS_ELSEWHERE,
    HALF_PT,
    HYDRANT,
    ONE_WAY,
    STEP_GPM,
    WIDTH_PT,
    Facts,
)
from preplan.render.card_seasons import by_season, head, jobs_then, season_words, told_months
from preplan.render.card_words import LEAST_HEAD_PT, flow_words, where
from preplan.render.first_drive import BORDER, LAST, bridge_words, first_drives, tight_told, unposted_words
from preplan.render.flag_words import OFF_THE_WAY, ON_THE_WAY, SHORT, care_order, flag_words, flags_on
from preplan.render.limit_places import (
    bars_near,
    each_limit,
    in_brief,
    limit_words,
    limited_road,
    place_words,
    shut_road,
    trip_limits,
)
from preplan.render.paper import SMALL_PT, Block, Line, paragraph

MOST_LEVELS = 6
"""Most rows of the table of response levels."""
TANKERS_PT = 114.0
"""Width of that table's column of tankers, with the gap to the next."""
LEVEL_SHORT = "level short"
"""Flag that counts the units that the level shown lacks."""
CIRCUITS_MEET = "circuits meet"
"""Flag of a lane on which the tankers of two circuits meet: none of them is told of the other on its own way."""
SAID_ABOVE = SHORT | {"send with first alarm", FIRST_ALARM_IN}
"""Flags that the officer's sentences say already."""
SAID_ELSEWHERE = frozenset(
    {
        HYDRANT,
        FILLS_ELSEWHERE,
        NOT_THIS_WAY,
        "assumed building",
        "not tested",
        "single fill site",
        "hose lay",
        "two fill sites",
        MORE_LATER,
    }
)
"""Flags that stand with the flow, the basis, the fill site and the backup."""
DEAD_END = "dead end"
"""Flag of an address whatever the way: it stands on every sheet."""
_KEEP_TO_IT = "Keep to these roads: others were not weighed for this fill site."
_MOST_BY_HOSE = 3
"""Neighbours that are named for a hose lay of their own."""
_MOST_LESS = 3
"""Lines below the table of response levels."""
TABLE_ROW_PT = 11.5
"""Height of a row of that table."""
LESS = "*"
"""Mark of a flow in the table that is less in other months."""
LEVEL_PT, ONE_OUT_PT = 78.0, 68.0
"""Width of the columns that name response levels, and the tanker out."""
_MOST_BACKUP = 14
"""Lines about the backup: all that the program says, and some of a note."""
_NOTHING = Block.of([])
OUT = Line("IF SOMETHING IS OUT", SMALL_PT, bold=True)
"""Heading of who stands in."""


def otherwise(facts: Facts, *, brief: bool = False) -> list[list[Line]]:
    """Give the backup, a hose lay that does more, the seasons, and, where not `brief`, who waits or adds nothing.

    Each stands for itself, the backup under the heading. What one tanker out costs stands in the table.
    """
    plan, lead, level = facts.plan, facts.lead, facts.level
    if level < 0 or facts.cell("site") < 0:
        return []
    parts = [[OUT, *_backup(facts, brief=brief)]]
    split, site = facts.cell("split"), facts.cell("site")
    if split >= 0:
        alone = flow_words(facts, float(plan.levels.alone_gpm[lead, level]))
        pumped = " or its engine" * bool(facts.cell("split_engine") >= 0)
        said = f"Fill site {split + 1}{pumped} out, all at fill site {site + 1}: {alone}"
        parts.append(paragraph(said, HALF_PT, most=3))
    parts += [_by_hose(facts, brief=brief), *facts.once("what else is out", lambda: _else_out(facts))]
    more = [] if brief else [crew.spare_words(plan, lead, level), crew.queue_words(plan, lead, level)]
    parts += [paragraph(said, HALF_PT, SMALL_PT, indent=8.0) for said in more if said]
    return [part for part in parts if part]


def _else_out(facts: Facts) -> list[list[Line]]:
    """Give what is said at the same length whatever the room: lays to neighbours, one tanker out, the seasons."""
    seasons = [] if by_season(facts) else season_words(facts.plan, facts.lead, facts.level)
    held = f"With nothing out: {'; '.join(seasons)}." if seasons else ""
    said = (_most_missed(facts), _none_instead(facts), held)
    return [_by_hose_near(facts), *(paragraph(one, HALF_PT, SMALL_PT, indent=8.0) for one in said if one)]


def _backup(facts: Facts, *, brief: bool) -> list[Line]:
    """Say which fill site stands in, what it brings, and how far it is."""
    backup, others = facts.cell("backup"), facts.once("other backups", lambda: _other_backups(facts))
    (said,) = facts.once("backup", lambda: [_backup_words(facts)])
    notes = "" if brief or backup < 0 else facts.plan.sites[backup].notes
    if notes:  # before what holds in other months, whose fill site is another one
        said += f" Note on fill site {backup + 1}: {words.printable(notes)}{'.' * (notes[-1:] not in '.!?')}"
    # no line of it may be lost: a card that has no room for all has it on the page behind; a long note alone is cut
    lines = paragraph(said, HALF_PT, bold=backup < 0, most=_MOST_BACKUP)
    return lines + [line for one in others for line in paragraph(one, HALF_PT)]


def _backup_words(facts: Facts) -> str:
    """Say all of that but the fill site's note and what holds in other months."""
    said, backup = _stands_in(facts), facts.cell("backup")
    if backup < 0:
        return said
    said += _backup_way(facts)
    said += "".join(_backup_jobs(facts))
    if backup == facts.cell("split"):
        return f"{said} Map and way on the sheet of the second fill site."
    return f"{said} Map and way on a sheet behind." if any(other.backup for other in facts.sheets) else said


def _stands_in(facts: Facts, *, pumps: bool = False) -> str:
    """Say which fill site stands in, in which months of those told, and what it brings.

    `pumps`: that somebody must pump there, where nothing else says who.
    """
    plan, backup = facts.plan, facts.cell("backup")
    when = f" in {mine}" if (mine := facts.backup_months) else ""
    named = (
        f"Backup{when}" if facts.cell("split") < 0 else f"Fill site {facts.cell('site') + 1} out{when}, all at backup"
    )
    if backup < 0:
        return f"{named}: none at this response level."
    there = plan.sites[backup]
    season = f" ({month_words(there.months)} only)" if there.seasonal else ""
    cell = facts.lead, facts.level
    flow = flow_words(facts, float(plan.levels.backup_gpm[cell]), float(plan.levels.backup_steady_gpm[cell]))
    fleet = np.flatnonzero(plan.levels.fleet[facts.lead, facts.level])
    bars = bars_near(plan, backup, [plan.units[unit].unit_id for unit in fleet.tolist()])
    must = ", AN ENGINE MUST PUMP" * (pumps and there.needs_engine)
    unsure = "" if there.fill_gpm_given else " Its rate is assumed."
    return f"{named}: {words.site_words(plan, backup)}{season}{_where_it_is(facts, backup)}{must}, {flow}{unsure}{bars}"


def _where_it_is(facts: Facts, backup: int) -> str:
    """Name the road of a backup unless its own name does, and the minutes of the loaded way if that holds all year."""
    plan, trip = facts.plan, facts.cell("backup_trip")
    segment = int(plan.site_segment[backup])
    road = words.road_words(plan, segment) if segment >= 0 else ""
    on = f" on {road}" if road and road.casefold() not in plan.sites[backup].name.casefold() else ""
    known = trip >= 0 and not facts.backup_shut
    return f"{on}, {words.minutes(float(plan.trips.out_min[trip]))} loaded" if known else on


def backup_in_brief(facts: Facts, width: float = HALF_PT) -> list[Line]:
    """Say the same in a line or two, for a card that has no room for more; nothing where there is no shuttle.

    Of other months it says that theirs stands on the page behind.
    """
    if facts.level < 0 or facts.cell("site") < 0:
        return []
    then = {month for one in _other_months(facts) for month in one.months}
    behind = f" {words.first_up(month_words(then))}: {words.NEXT_PAGE}." if then else ""
    said = f"{_stands_in(facts, pumps=True)}{behind}"
    return [OUT, *paragraph(said, width, bold=facts.cell("backup") < 0, indent=8.0)]


def hose_at(facts: Facts) -> int:
    """Give the place of the hose lay among what else there is; -1: none brings more than the tankers."""
    return 1 + (facts.cell("split") >= 0) if facts.lead in facts.plan.lays.address else -1


def _by_hose(facts: Facts, *, brief: bool) -> list[Line]:
    """Say what a hose lay brings."""
    several = len(facts.group.addresses) > 1
    own = crew.lay_words(facts.plan, facts.lead, brief=brief, named=several)
    return paragraph(own, HALF_PT, most=4) if own else []


def _by_hose_near(facts: Facts) -> list[Line]:
    """Say at which neighbours a hose lay may bring more."""
    plan, lead = facts.plan, facts.lead
    others = [a for a in facts.group.addresses if a != lead and a in plan.lays.address]
    if not others:
        return []
    named = "; ".join(f"{words.where_words(plan, a)} ({crew.lay_numbers(plan, a)})" for a in others[:_MOST_BY_HOSE])
    more = f" and {len(others) - _MOST_BY_HOSE} more" if len(others) > _MOST_BY_HOSE else ""
    return paragraph(f"A hose lay may bring more at {named}{more}.", HALF_PT, most=5)


def _backup_way(facts: Facts) -> str:
    """Say how far tankers drive to and from the backup: a short way back may lead where none may go loaded."""
    trip = facts.cell("backup_trip")
    if trip < 0:
        return ""
    plan, there = facts.plan, facts.plan.sites[facts.cell("backup")]
    out, back = (words.miles(float(column[trip])) for column in (plan.trips.out_mi, plan.trips.back_mi))
    far = f" {out} each way" if out == back else f" Loaded {out}, empty {back}"
    far += f" ({month_words(facts.backup_shut)} another way)" if facts.backup_shut else ""
    return f"{far}, at {there.lat:.5f}, {there.lon:.5f}."


def _other_months(facts: Facts) -> list[backups.Backup]:
    """List what stands in when that of the worst season does not, or brings less, or is the planned one."""
    return [*backups.in_other_months(facts.plan, facts.lead, facts.level)]


def _other_backups(facts: Facts) -> list[str]:
    """Say the same, a text for months alike; of a fill site that is not told of above, which and where it is."""
    others: dict[str, list[int]] = {}
    for then in _other_months(facts):
        said = "NO backup."
        if then.site >= 0:
            flow = flow_words(facts, then.gpm, then.steady_gpm)
            said = f"backup fill site {then.site + 1}{_which_then(facts, then)}, {flow}{_jobs_then(facts, then)}"
        others.setdefault(said, []).extend(then.months)
    return [f"{words.first_up(month_words(months))}: {said}" for said, months in others.items()]


def _which_then(facts: Facts, then: backups.Backup) -> str:
    """Name a fill site that stands in in other months, and say where and how far it is; '' where that is told above.

    That an engine must pump there stands here where none is named for it.
    """
    there, planned = facts.plan.sites[then.site], backups.planned(facts.group, then.site, then.months)
    far = f", {backups.way_words(facts.plan, planned)}" if planned else ""
    if then.site == facts.cell("backup"):
        return far if {*then.months} & {*facts.backup_shut} else ""
    pumps = ", AN ENGINE MUST PUMP" * (there.needs_engine and (planned is None or planned.fill_engine < 0))
    assumed = "" if there.fill_gpm_given else ", rate assumed"
    return f" {words.printable(there.name)}{pumps}{assumed}{far}, at {there.lat:.5f}, {there.lon:.5f}"


def _jobs_then(facts: Facts, then: backups.Backup) -> str:
    """Say who has other jobs with what stands in in other months, unless that is told of the backup in front."""
    planned = backups.planned(facts.group, then.site, then.months)
    said = jobs_then(facts, planned) if planned else ""
    return "" if said in _backup_jobs(facts) else said


def _backup_jobs(facts: Facts) -> list[str]:
    """Say who has other jobs with the backup in front, a text for each of its circuits."""
    return facts.once("backup jobs", lambda: [jobs_then(facts, one) for one in facts.group.others if one.backup])


def covered(facts: Facts) -> list[Line]:
    """List the addresses of the card, the weakest whole and first; none where the headline says it all."""
    plan, group = facts.plan, facts.group
    if len(group.addresses) == 1 and paper.width_of(where(facts)[0], LEAST_HEAD_PT, bold=True) <= WIDTH_PT:
        return []
    order = [group.lead, *(a for a in group.addresses if a != group.lead)]
    shown = order[:60]
    said = "; ".join(words.where_words(plan, a) for a in shown)
    more = f"; and {len(order) - len(shown)} more: see the index" if len(order) > len(shown) else ""
    lines = paragraph(f"Covers {len(order)}: {said}{more}", WIDTH_PT, SMALL_PT, indent=8.0)
    most = max(4, len(paragraph(words.where_words(plan, group.lead), WIDTH_PT, SMALL_PT)) + 2)
    if len(lines) > most:
        lines = [*lines[: most - 1], Line("… and more: every address is in the index", SMALL_PT, indent=8.0)]
    return lines


def cautions(facts: Facts, width: float) -> list[Block]:
    """List the flags in plain words, each a block of its own; where there is no trip they are the reasons instead."""
    return [
        Block.of(paragraph(f"• {said}", width, SMALL_PT, bold=grave, indent=7.0))
        for said, grave in facts.once("cautions", lambda: _cautions(facts))
    ]


def _cautions(facts: Facts) -> list[tuple[str, bool]]:
    """Write these, each with whether it is grave."""
    if facts.cell("trip") < 0:
        return []
    tight = [said for said, _ in _tight(facts)]
    if facts.other is not None:
        months = ALL_MONTHS if facts.other.backup else facts.other.months
        limits = f"{words.first_up(trip_limits(facts.plan, facts.cell('trip'), months))}."
        here = [flag_words(flag) for flag in flags_on(facts.plan, facts.lead, 0) if flag.code == DEAD_END]
        told = [(said, True) for said in (*tight, *(keep_off(facts, flag) for flag in facts.kept_off))]
        return list(dict.fromkeys([*told, *((said, False) for said in (limits, *here, _KEEP_TO_IT))]))
    grave = grave_cautions(facts)
    flags = [*_grave(facts), *_others(facts)]
    said = [*tight, *(limit_words(facts.plan, flag, facts.lead) for flag in flags)]
    return [(one, at < grave) for at, one in enumerate(said)]


def limits_in_brief(facts: Facts) -> dict[int, tuple[str, Block]]:
    """Name the road of each limit among the cautions, and say it in a line or two, by its place there."""
    if facts.cell("trip") < 0 or facts.other is not None:
        return {}
    grave, first = grave_cautions(facts), len(_tight(facts))
    return {
        at: (limited_road(flag), Block.of(paragraph(f"• {said}", HALF_PT, SMALL_PT, bold=at < grave, indent=7.0)))
        for at, flag in enumerate([*_grave(facts), *_others(facts)], first)
        if (said := in_brief(facts.plan, flag, facts.lead))
    }


def keep_off(facts: Facts, flag: Flag) -> str:
    """Say what a sheet's drivers keep off."""
    if flag.code != NOT_THIS_WAY:
        return limit_words(facts.plan, flag, facts.lead)
    months = facts.other.months if facts.other else ()
    shut = f"{words.first_up(month_words(months))}: {shut_road(facts.plan, flag.stretches)}."
    return f"{shut}{place_words(facts.plan, flag, facts.lead)} Do not drive over it."


def grave_cautions(facts: Facts) -> int:
    """Count the first of the cautions, which break a bridge or block a lane: they stand on the card before others."""
    if facts.cell("trip") < 0:
        return 0
    return len(_tight(facts)) + len(facts.kept_off if facts.other is not None else _grave(facts))


def _tight(facts: Facts) -> list[tuple[str, str]]:
    """Say which of the units called cross on their first drive what hardly bears them, or is rated lower, and where."""
    if facts.second:
        return []  # in front
    ways = facts.group.ways_in if facts.other is None else facts.other.ways_in
    return facts.once("tight", lambda: tight_told(facts.plan, ways))


def tight_places(facts: Facts) -> list[str]:
    """Name the bridge or road of each of the first cautions, by its place there, for a page that has no room for it."""
    return [road for _, road in _tight(facts)]


def _grave(facts: Facts) -> list[Flag]:
    """List the flags that break a bridge, block a lane or part engines from the building."""

    def found() -> list[Flag]:
        water = [flag for flag in facts.flags if flag.code == WATER_BETWEEN]
        meet = [flag for flag in facts.flags if flag.code == CIRCUITS_MEET]
        return [*each_limit(facts.card_flags, OFF_THE_WAY | {SHUT_BEYOND}), *meet, *water]

    return facts.once("grave cautions", found)


def _others(facts: Facts) -> list[Flag]:
    """List the other flags to take care of, but for what stands elsewhere on the card."""
    return facts.once("other cautions", lambda: sorted(_not_said(facts), key=care_order))


def _not_said(facts: Facts) -> list[Flag]:
    skipped = SAID_ELSEWHERE | ON_THE_WAY | OFF_THE_WAY | {CIRCUITS_MEET, SHUT_BEYOND, WATER_BETWEEN}
    skipped |= SAID_ABOVE if facts.officer_words else frozenset()
    skipped |= {CLOSE} if facts.close_call and facts.only_close else frozenset()
    if facts.flags and facts.astray is not None:
        skipped |= {ONE_WAY}  # stands with the way back
    if crew.lacking_words(facts.plan, facts.lead, facts.level):
        skipped |= {LEVEL_SHORT}  # with what to call
    return [flag for flag in facts.flags if flag.code not in skipped]


def first_drive(facts: Facts, most: int) -> list[Line]:
    """Say how the units of the level shown come from their stations; nothing where none is sent.

    See `first_drives`; of the last road alone in one paragraph.
    """
    if not facts.group.ways_in or not facts.on_card:
        return []
    return facts.once(f"first drive, {most} steps", lambda: _first_drive(facts, most))


def _first_drive(facts: Facts, most: int) -> list[Line]:
    plan, lead, ways = facts.plan, facts.lead, facts.group.ways_in
    drives = [f"{one}." for one in first_drives(plan, lead, ways, most, told_months(facts) or ALL_MONTHS)]
    # what hardly bears them is the first to take care of, where there is that list
    over = bridge_words(plan, ways) if facts.cell("trip") < 0 else unposted_words(plan, ways)
    if most == LAST:
        told = "; ".join(one[:-1] for one in drives)
        said = f"{head('Arriving from the station', facts)}: {told}."
        return paragraph(" ".join((said, *over)), HALF_PT, SMALL_PT)
    to = f" to {words.where_words(plan, lead)}" if len(facts.group.addresses) > 1 else ""
    title = paragraph(head("ARRIVING FROM THE STATION", facts) + to, HALF_PT, SMALL_PT, bold=True)
    return [*title, *(line for one in (*drives, *over) for line in paragraph(one, HALF_PT, SMALL_PT, indent=7.0))]


def under_heading(items: Sequence[Block], head: str = "TAKE CARE") -> Block:
    """Put a heading over some cautions; nothing where there are none."""
    if not items:
        return _NOTHING
    title = Line(head, SMALL_PT, bold=True)
    parts = ((title,), *chain.from_iterable(item.parts for item in items))
    return Block(parts, title.height + sum(item.height for item in items))


def assumed(facts: Facts, width: float = WIDTH_PT) -> list[Line]:
    """List what was assumed for want of a value; of the width of a column it is whole."""
    plan, lead, site = facts.plan, facts.lead, facts.cell("site")
    assumed = [f"Required flow {words.basis_words(str(plan.needs.basis[lead]))}."]
    driven = [*facts.group.out_steps, *facts.group.back_steps, *(s for way in facts.group.ways_in for s in way.steps)]
    assumed += ["No wait at a border control."] * any(BORDER in step.note for step in driven)
    if site >= 0:
        there = plan.sites[site]
        assumed += [] if there.fill_gpm_given else ["Rate of the fill site."]
        assumed += [] if there.turnaround_given else ["Tankers back in to turn at the fill site."]
        if facts.cell("split") >= 0:
            other = plan.sites[facts.cell("split")]
            guesses = ("rate", other.fill_gpm_given), ("way to turn", other.turnaround_given)
            unsure = [word for word, given in guesses if not given]
            assumed += [f"{words.first_up(' and '.join(unsure))} at the second fill site."] if unsure else []
        fleet = np.flatnonzero(plan.levels.fleet[lead, facts.level])
        guessed = [words.printable(plan.units[u].unit_id) for u in fleet.tolist() if plan.units[u].guessed]
        assumed += [f"Some values of {', '.join(guessed)}."] if guessed else []
    known = len(assumed) == 1 and not plan.needs.assumed[lead]
    head = "Basis" if known else "Assumed"
    most = 3 if width == WIDTH_PT else None
    return paragraph(f"{head}: {' '.join(assumed)}", width, SMALL_PT, indent=8.0, most=most)


def _site_numbers(site: int, split: int) -> str:
    """Write the number of the fill site, or of both."""
    numbers = [str(one + 1) for one in (site, split) if one >= 0]
    return " + ".join(numbers) or "none"


def _one_out(facts: Facts, level: int) -> tuple[str, str]:
    """Write what holds with the tanker out that costs most, and which that is where others cost less on paper."""
    plan, lead = facts.plan, facts.lead
    said = words.supply(float(plan.levels.one_out_gpm[lead, level]), STEP_GPM)
    rows = plan.haul_rows(lead, level)
    without = [words.supply(gpm, STEP_GPM) for gpm in plan.hauls.without_gpm[rows].tolist()]
    worst = [unit for unit, gpm in zip(plan.hauls.unit[rows].tolist(), without, strict=True) if gpm == said]
    if len(worst) != 1 or len(without) == 1:
        return said, ""
    return said, words.printable(plan.units[worst[0]].unit_id)


def _one_out_cell(facts: Facts, level: int) -> str:
    """Write the same into the table: the tanker whole, or not at all."""
    said, unit = _one_out(facts, level)
    named = f"{said} ({unit})" if unit else said
    return named if paper.width_of(named, SMALL_PT, bold=level == facts.level) <= ONE_OUT_PT - 4.0 else said


def _most_missed(facts: Facts) -> str:
    """Name the tankers out that cost most, for whose names the table has no room; '' where it has."""
    missed: dict[str, list[str]] = {}
    for k in levels_shown(facts):
        said, unit = _one_out(facts, k) if facts.plan.levels.site[facts.lead, k] >= 0 else ("", "")
        if unit and _one_out_cell(facts, k) == said:
            level = words.level_words(facts.plan.district.levels[k].name)
            missed.setdefault(unit, []).append(level.removeprefix("response level "))
    named = "; ".join(f"{unit} (response level {', '.join(levels)})" for unit, levels in missed.items())
    return f"Of one tanker out, who costs most: {named}." if named else ""


def _none_instead(facts: Facts) -> str:
    """Say at which levels of the table a tanker that is left out takes no place of the one out; '' where none is."""
    table, lead = facts.plan.levels, facts.lead
    shown = [k for k in levels_shown(facts) if table.site[lead, k] >= 0]
    # where no tanker can shuttle none is left out of one
    spare = [k for k in shown if np.any(table.used[lead, k]) and np.any(table.tankers[lead, k] & ~table.used[lead, k])]
    named = " and ".join(words.level_words(facts.plan.district.levels[k].name) for k in spare)
    return f"1 tanker out at {named}: none that is left out there takes its place." if spare else ""


def levels_shown(facts: Facts) -> range:
    """Give the response levels of which the table has a row: the first ones, or those up to the one shown."""
    count = len(facts.plan.district.levels)
    first = min(max(0, facts.level - MOST_LEVELS + 1), max(0, count - MOST_LEVELS))
    return range(first, min(first + MOST_LEVELS, count))


def level_rows(facts: Facts) -> Iterator[tuple[str, ...]]:
    """Write each response level that is shown as a row of the table."""
    plan, lead, table = facts.plan, facts.lead, facts.plan.levels
    need = float(plan.needs.required_gpm[lead])
    months = plan.months_without(lead)
    without = f"in {month_words(months, short=True)}" if months else ""
    for k in levels_shown(facts):
        level = plan.district.levels[k]
        site, flow = int(table.site[lead, k]), float(table.uninterrupted_gpm[lead, k])
        have = f"{words.flow_pair(flow, need)[0]}{LESS * bool(first_minutes.least_words(plan, lead, k))}"
        # a later call may spread the loads and hold a little more by the sum: nobody should wait for that
        late = words.supply(float(table.on_arrival_gpm[lead, k]), STEP_GPM)
        late = "same" if k == 0 or table.on_arrival_gpm[lead, k] >= flow else late
        named = words.level_words(level.name)
        if paper.width_of(named, SMALL_PT, bold=k == facts.level) > LEVEL_PT - 4.0:
            named = named.removeprefix("response level ")  # the head of the column says it: the name tells them apart
        yield (
            named, have if site >= 0 else "no shuttle",
            words.supply(float(table.sustained_gpm[lead, k]), STEP_GPM) if site >= 0 else "",
            late if site >= 0 else "",
            "meets" if table.meets[lead, k] else "does not", _site_numbers(site, int(table.split[lead, k])),
            words.printable(table.limited_by[lead, k]) if site >= 0 else without,
            _one_out_cell(facts, k) if site >= 0 else "",
            _named(plan.unit_ids(table.used[lead, k], lead), bold=k == facts.level),
        )  # fmt: skip


def less_rows(facts: Facts, room: float) -> tuple[list[tuple[str]], list[Line]]:
    """Say below the table which of its levels hold less in other months than in the season that decides for all.

    Where there is no room for all of it, where it stands; then the whole, for the page behind, comes second.
    """
    plan = facts.plan
    said = [
        f"{paper.ellipsis(words.level_words(level.name), SMALL_PT, LEVEL_PT)} in {less}"
        for k, level in enumerate(plan.district.levels)
        if (less := first_minutes.least_words(plan, facts.lead, k))
    ]
    if not said:
        return [], []
    told = f"{LESS} Less: {'; '.join(said)}."
    lines = [line.said for line in paragraph(told, WIDTH_PT, SMALL_PT)]
    # one line says it as well as where it stands
    if len(lines) > max(1, min(_MOST_LESS, int(room / TABLE_ROW_PT))):
        return [(f"{LESS} Less in other months: {words.NEXT_PAGE}.",)], paragraph(told, HALF_PT, SMALL_PT)
    return [(line,) for line in lines], []


def _named(units: Sequence[str], *, bold: bool) -> str:
    """Name as many units as the column has room for, and say how many more there are."""
    for shown in range(len(units), 0, -1):
        more = f" +{len(units) - shown}" if shown < len(units) else ""
        said = f"{words.printable(' '.join(units[:shown]))}{more}"
        if paper.width_of(said, SMALL_PT, bold=bold) <= TANKERS_PT - 4.0:
            return said
    return words.printable(" ".join(units))
