"""dispatch.csv: what a dispatch system looks up by road and house number. One look-up, one answer.

A row is a run of house numbers along a road whose answers are the same in every cell: status, level, units in
order, fill sites in summer and winter, and the flow the building needs. Where the sides of a road differ, its rows
are for odd and for even numbers; rows of one side never overlap. An address without a number is looked up by its
label.

Where several addresses share a number and answer differently, the row shows the most demanding and says so; the note
tells what holds at each in other months. Where they lie apart, as when two towns of a district both have a Main Street,
each place has its own row, and says so.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from preplan.months import month_words, months_of, months_text
from preplan.plan_cards import CardGroup, OtherCircuit
from preplan.plan_tables import NO_WAY, ROUNDING_GPM, SHUT_BEYOND, Flag, at_level, text_at_level
from preplan.records import ALL_MONTHS, IntArray
from preplan.render import backups, crew, first_minutes, words
from preplan.render.card_facts import Facts
from preplan.render.card_seasons import called_then, jobs_then
from preplan.render.dispatch_nurses import nurse_notes
from preplan.render.dispatch_rows import Asked, Row, parity, rows_of
from preplan.render.flag_words import flag_words
from preplan.render.tables import (
    Cells,
    Numbers,
    csv_bytes,
    minutes,
    named,
    need,
    numbers,
    supply,
    units_by_arrival,
)

if TYPE_CHECKING:
    from preplan.plan import Plan

_ANSWER = (
    "response_level", "send_level", "units", "fill_site_id", "split_site_id", "backup_site_id", "winter_site_id",
    "status", "required_gpm",
)  # fmt: skip
"""Columns in which the addresses of a row agree."""
DISPATCH_COLUMNS = (
    "road", "from_number", "to_number", "parity", *_ANSWER, "uninterrupted_gpm", "sustained_gpm",
    "limited_by", "call_by_min", "addresses", "label", "street_in_table", "cross_street", "lon", "lat",
    "sites_by_month", "note",
)  # fmt: skip
"""Columns of dispatch.csv, in order; flow, cross street and place are those of the row's weakest address."""
ADDED = frozenset({"send_level", "sites_by_month", "street_in_table"})
"""Columns that results of an earlier version do without."""
WINTER = (12, 1, 2)
"""December, January, February."""
NONE_MEETS = "no level meets in the worst season"
AT_ONCE_TOO = ", called on arrival it holds less or too little flows for longer"
"""Ends the note of a row that no level meets, and whose level goes with the first alarm."""
AT_ONCE = "send this level with the first alarm: called on arrival it comes too late, or only just in time"
"""Note of a row whose call-by minute leaves a dry minute, or none to spare."""
AT_ONCE_BEST = "send this level best with the first alarm: called on arrival it just comes in time, or falls just short"
"""Note of a row whose call-by minute leaves hardly any time."""
NO_SHUTTLE = "no tanker shuttle, call by local procedure"
"""Note of a row without a route: no level can be named."""
NONE_PLANNED = "call by local procedure, no tanker shuttle is planned"
"""Begins the note of a row of hydrants."""
_RANK = ("hydrant", "no route", "served", "higher level", "not met")
"""Statuses by what they ask of a dispatcher, least first: to show 'no route' would send nobody to the other."""
_KEPT_OFF = {
    "barrier": "the road there lies behind a barrier, {}",
    SHUT_BEYOND: "in {} the road past the dump site is shut, hose goes on by hand",
}
"""What keeps engines from a building, by the code of its flag."""
_SITE = re.compile(r"fill site (\d+)")
"""A fill site by its number, in the words of a card."""


def dispatch_csv(plan: Plan) -> bytes:
    """Write dispatch.csv, by road, then number, then label; addresses with a hydrant included."""
    return csv_bytes(dispatch_columns(plan))


def dispatch_columns(plan: Plan) -> dict[str, Cells]:
    """Return the columns of dispatch.csv by name, before they become text."""
    asked = _asked(plan)
    rows = rows_of(asked)
    called = _with_its_cards(plan, rows)
    lead = np.array([row.lead for row in rows], dtype=np.int32)
    spans = [[asked.number[a] for a in row.addresses] for row in rows]
    ends = np.array([(min(span), max(span)) for span in spans], dtype=np.float64).reshape(-1, 2)
    ends[ends < 0] = np.nan
    limited_by = text_at_level(plan.levels.limited_by, plan.answers.level)
    cross = {a: group.cross_street for group in plan.groups for a in group.addresses}
    groups = {a: group for group in plan.groups for a in group.addresses}
    columns: dict[str, Cells] = {
        "road": [row.road for row in rows],
        "from_number": Numbers(ends[:, 0], 0),
        "to_number": Numbers(ends[:, 1], 0),
        "parity": [parity(span) for span in spans],
        **{name: [asked.answer[row.lead][k] for row in rows] for k, name in enumerate(_ANSWER)},
        "uninterrupted_gpm": supply(plan.answers.shown_flow(plan.levels.uninterrupted_gpm)[lead]),
        "sustained_gpm": supply(plan.answers.shown_flow(plan.levels.sustained_gpm)[lead]),
        "limited_by": [limited_by[row.lead] for row in rows],
        "call_by_min": minutes(np.array([_call_by(plan, row) for row in called])),
        "addresses": Numbers(np.array([len(row.addresses) for row in rows], dtype=np.float64), 0),
        "label": [row.label for row in rows],
        "street_in_table": ["; ".join(_streets(plan, row)) for row in rows],
        "cross_street": [cross.get(row.lead, "") for row in rows],
        "lon": numbers(np.round(plan.addresses.lon[lead], 6), 6),
        "lat": numbers(np.round(plan.addresses.lat[lead], 6), 6),
        "sites_by_month": [_sites_by_month(plan, row.lead) for row in rows],
        "note": [
            "; ".join(_notes(plan, asked, row, cards, groups.get(row.lead)))
            for row, cards in zip(rows, called, strict=True)
        ],
    }
    return {name: columns[name] for name in DISPATCH_COLUMNS}


# --------------------------------------------------------------------------- what is asked, and what is answered


def _asked(plan: Plan) -> Asked:
    """Gather what rows are made from."""
    status, level = plan.answers.status.tolist(), plan.answers.level
    required = need(plan.needs.required_gpm).values
    flow = np.nan_to_num(plan.answers.shown_flow(plan.levels.uninterrupted_gpm))
    rank = [_RANK.index(one) for one in status]
    return Asked(
        road=plan.road.tolist(),
        number=plan.addresses.number.tolist(),
        label=plan.addresses.label.tolist(),
        answer=_answers(plan),
        other_months=_other_months(plan),
        status=status,
        demand=list(zip(rank, level.tolist(), required.tolist(), (-flow).tolist(), strict=True)),
        lon=plan.addresses.lon,
        lat=plan.addresses.lat,
    )


def _answers(plan: Plan) -> list[tuple[str, ...]]:
    """Give each address's cells of `_ANSWER`."""
    level, levels = plan.answers.level, plan.levels
    site_ids = [site.site_id for site in plan.sites]
    site, second = plan.answers.shown(levels.site), plan.answers.shown(levels.split)
    called = np.where(np.isin(plan.answers.status, ("served", "higher level")), level, -1)
    required = ["" if np.isnan(gpm) else f"{gpm:.0f}" for gpm in need(plan.needs.required_gpm).values.tolist()]
    names = [one.name for one in plan.district.levels]
    cells = (
        named(names, called),
        named(names, level),
        units_by_arrival(plan, plan.answers.shown_units(levels.fleet), np.arange(len(level))),
        named(site_ids, site),
        named(site_ids, second),
        named(site_ids, plan.answers.shown(levels.backup)),
        _winter_sites(plan, site, second),
        plan.answers.status.tolist(),
        required,
    )
    return list(zip(*cells, strict=True))


def _winter_sites(plan: Plan, site: IntArray, second: IntArray) -> list[str]:
    """List the fill sites of December to February that differ from those shown, 'no site' where none is usable.

    Two over which tankers are split then are joined by a plus sign.
    """
    level = plan.answers.level
    found: list[list[str]] = [[] for _ in level]
    names = [*(one.site_id for one in plan.sites), "no site"]
    for month in WINTER:
        for season in plan.seasons:
            if month in season.months:
                best, split = at_level(season.best_site, level), at_level(season.split_site, level)
                for a in np.flatnonzero((level >= 0) & ((best != site) | (split != second))).tolist():
                    found[a].append("+".join([names[best[a]], *([names[split[a]]] if split[a] >= 0 else [])]))
    return [" ".join(dict.fromkeys(one)) for one in found]


def _streets(plan: Plan, row: Row) -> Iterator[str]:
    """List how the address table writes the street of a row, where that is not the road's name."""
    given = dict.fromkeys(plan.addresses.street[list(row.addresses)].tolist())
    yield from (street for street in given if street and street.casefold() != row.road.casefold())


def _sites_by_month(plan: Plan, address: int) -> str:
    """List the fill sites of the level shown, month spans before each; '' where they are those of the row all year.

    Where there is no route in the months that decide they are those of the level that the note names for others.
    """
    level = int(plan.answers.level[address])
    told = _sites_then(plan, address, level)
    if set(told) <= {_own_sites(plan, address, level) if level >= 0 else ()}:
        return ""
    return "; ".join(f"{months_text(frozenset(months))} {_joined(plan, sites)}" for sites, months in told.items())


def _own_sites(plan: Plan, address: int, level: int) -> tuple[int, ...]:
    """Give the fill site and the second one of the months that decide."""
    return tuple(
        int(site[address, level]) for site in (plan.levels.site, plan.levels.split) if site[address, level] >= 0
    )


def _sites_then(plan: Plan, address: int, level: int) -> dict[tuple[int, ...], list[int]]:
    """Give the months in which a level, -1: that of each season, fills at the same sites, by those sites."""
    told: dict[tuple[int, ...], list[int]] = {}
    for season in plan.seasons:
        then = level if level >= 0 else season.level_of([address], plan.needs.required_gpm[[address]])
        told.setdefault(season.sites_of(address, then), []).extend(season.months)
    return told


def _joined(plan: Plan, sites: tuple[int, ...]) -> str:
    """Join the ids of fill sites by a plus sign; 'no site' where there is none."""
    return "+".join(plan.sites[site].site_id for site in sites) or "no site"


def _with_its_cards(plan: Plan, rows: Sequence[Row]) -> list[Row]:
    """Give each row with all addresses that share a card with one of its own: a card names one call for all of them."""
    mates = {a: group.addresses for group in plan.groups for a in group.addresses}
    every = (dict.fromkeys(mate for a in row.addresses for mate in mates.get(a, (a,))) for row in rows)
    return [replace(row, addresses=tuple(each)) for row, each in zip(rows, every, strict=True)]


def _at_once(plan: Plan, row: Row) -> bool:
    """Tell whether the level shown goes with the first alarm, at any address of a row that has that level."""
    rows = np.array(row.addresses, dtype=np.int32)
    higher = plan.answers.status[rows] == "higher level"
    return bool(plan.answers.status[row.lead] == "higher level" and np.any(higher & ~plan.answers.in_time(rows)))


def _best_at_once(plan: Plan, row: Row) -> bool:
    """Tell whether the best level of a row that none meets goes with the first alarm, at any address of it."""
    level, status = plan.answers.level, plan.answers.status
    alike = [a for a in row.addresses if status[a] == "not met" and level[a] == level[row.lead] >= 0]
    return bool(status[row.lead] == "not met") and first_minutes.less_called_later(plan, alike)


def _call_by(plan: Plan, row: Row) -> float:
    """Give the minute by which the level shown is called at every address of a row that has one; NaN: none has."""
    if _at_once(plan, row) or _best_at_once(plan, row):
        return 0.0  # whatever minute it is, it comes before the first arrival
    rows = list(row.addresses)
    known = plan.answers.call_by_min[rows][plan.answers.level[rows] == plan.answers.level[row.lead]]
    return float(np.nanmin(known)) if np.isfinite(known).any() else np.nan


def _notes(plan: Plan, asked: Asked, row: Row, called: Row, group: CardGroup | None) -> Iterator[str]:
    """Say what the cells cannot: what goes with the first alarm, whom to ask, who is meant, what other months hold.

    `called` is the row with all that its cards say one call for.
    """
    months = plan.district.rules.plan.months
    if not {*ALL_MONTHS} <= {*months}:
        yield f"planned for {month_words(months)} only"
    if _at_once(plan, called):
        yield AT_ONCE
    elif plan.answers.status[row.lead] == "not met" and plan.answers.level[row.lead] >= 0:
        most = plan.district.levels[int(plan.answers.level[row.lead])].name
        best, at_once = first_minutes.best_words(plan, row.lead), _best_at_once(plan, called)
        yield f"send {most}{' with the first alarm' * at_once}: {NONE_MEETS}, it {best}{AT_ONCE_TOO * at_once}"
        if group is not None and not at_once and (then := first_minutes.at_once_in(plan, group)):
            yield then.strip(" .")
    else:
        shown = plan.answers.level
        alike = [a for a in called.addresses if shown[a] == shown[row.lead] >= 0]
        if first_minutes.little_time(plan, alike).any():
            yield AT_ONCE_BEST
        yield from (said.rstrip(".") for said in first_minutes.then_at_once(plan, called.addresses))
    level = int(plan.answers.level[row.lead])
    if level >= 0 and (to_ask := crew.asked_words(plan, np.flatnonzero(plan.levels.fleet[row.lead, level]).tolist())):
        yield to_ask.rstrip(".")
    yield from _who_fills_where(plan, row)
    yield from _hydrants(plan, row)
    yield from nurse_notes(plan, [a for a in row.addresses if asked.answer[a] == asked.answer[row.lead]])
    yield from _barriers(plan, row)
    if row.note:
        yield row.note
    yield from _by_address(plan, asked, row)


def _barriers(plan: Plan, row: Row) -> Iterator[str]:
    """Say what keeps engines from addresses of a row, a barrier or a road shut in some months, and from whose."""
    behind: dict[str, list[int]] = {}
    for a in row.addresses:
        for flag in plan.answers.flags[a]:
            if flag.code in _KEPT_OFF:
                behind.setdefault(_KEPT_OFF[flag.code].format(_kept_off_words(flag)), []).append(a)
    for said, mine in behind.items():
        named = [str(number) if number >= 0 else "" for number in plan.addresses.number[mine].tolist()]
        whose = f"{' '.join(filter(None, named)) or 'some of these'}: " if len(mine) < len(row.addresses) else ""
        yield f"{whose}{said}"


def _kept_off_words(flag: Flag) -> str:
    """Write what a flag of `_KEPT_OFF` names: the barrier, or the months."""
    value = str(flag).partition("=")[2]
    return month_words(months_of(value)) if flag.code == SHUT_BEYOND else value


def _hydrants(plan: Plan, row: Row) -> Iterator[str]:
    """Say whom to call to addresses with a hydrant, which hydrants count for them, and how far each is at most."""
    near, far = plan.near_hydrant, dict[int, list[int]]()
    if plan.answers.status[row.lead] != "hydrant":
        return
    yield NONE_PLANNED
    for a in row.addresses:
        far.setdefault(int(near.hydrant[a]), []).append(a)
    for hydrant, mine in far.items():
        feet = f"{'up to ' * (len(mine) > 1)}{words.feet(float(near.distance_ft[mine].max()))}"
        whose = " ".join(str(number) for number in plan.addresses.number[mine].tolist()) if len(far) > 1 else ""
        counts = words.supply(float(near.credited_gpm[mine].min()))
        named = words.printable(plan.hydrants.hydrant_id[hydrant])
        doubt = plan.hydrants.doubt(hydrant)
        said = f"hydrant {named}, {feet} by road and driveway, counts for {counts} gpm{f' ({doubt})' if doubt else ''}"
        yield f"{whose}: {said}" if whose else said


def _who_fills_where(plan: Plan, row: Row) -> Iterator[str]:
    """Name the tankers that fill at the second fill site of a row, if its addresses agree on them."""
    second = plan.answers.shown(plan.levels.split)
    if second[row.lead] < 0:
        return
    there = plan.answers.shown_units(plan.levels.at_split)
    ids = [plan.sites[int(site[row.lead])].site_id for site in (second, plan.answers.shown(plan.levels.site))]
    if all(second[a] < 0 or np.array_equal(there[a], there[row.lead]) for a in row.addresses):
        yield f"at {ids[0]} fill {' '.join(plan.unit_ids(there[row.lead], row.lead))}, all others at {ids[1]}"
    else:
        yield f"who fills at {ids[0]} differs between these addresses: see their cards"


def _by_address(plan: Plan, asked: Asked, row: Row) -> Iterator[str]:
    """Say how far off the roads the address shown lies and what holds in other months, there and at the others.

    Where addresses of the row differ it is said of whom that is: who reads 'no route' for one of them sends nobody to
    another that has a way then.
    """
    own = (*_off_road(plan, row.lead), *asked.other_months[row.lead])
    months = {asked.other_months[a] for a in row.addresses}
    if len(months) == len({asked.answer[a] for a in row.addresses}) == 1:
        yield from own
        return
    of_all = set(own).intersection(*months)
    yield from (one if one in of_all else f"{one} (of the address shown)" for one in own)
    others = dict.fromkeys(one for a in row.addresses for one in asked.other_months[a] if one not in own)
    yield from (f"{one} (of another address here)" for one in others if not one.endswith(NO_SHUTTLE))


def _off_road(plan: Plan, address: int) -> list[str]:
    """Say of an address without a route how far off the roads it lies."""
    flags = (flag for flag in plan.answers.flags[address] if flag.code == "off road data")
    return [flag_words(flag).rstrip(".") for flag in flags]


def _other_months(plan: Plan) -> list[tuple[str, ...]]:
    """Say of each address what holds in other months: from where tankers fill, what stands in, who has other jobs."""
    sheets = {a: group.others for group in plan.groups for a in group.addresses}
    found = [
        tuple(_in_other_months(plan, a, sheets.get(a, ()))) if status == "no route" else tuple(_elsewhere(plan, a))
        for a, status in enumerate(plan.answers.status.tolist())
    ]
    for group in plan.groups:
        facts = Facts(plan, group)
        planned = [other for other in group.others if other.months and facts.level >= 0]
        jobs = tuple(
            _SITE.sub(lambda one: plan.sites[int(one[1]) - 1].site_id, f"{month_words(other.months)}:{told}").rstrip(
                "."
            )
            for other in planned
            if (told := jobs_then(facts, other))
        )
        for a in group.addresses if jobs else ():
            found[a] = (*found[a], *jobs)
    return found


def _elsewhere(plan: Plan, address: int) -> Iterator[str]:
    """Name the fill sites of the level shown in months in which they are not those of the row."""
    level = int(plan.answers.level[address])
    if level < 0:
        return
    own = _own_sites(plan, address, level)
    for sites, months in _sites_then(plan, address, level).items():
        if sites != own:
            yield f"{month_words(months)}: {'from ' * bool(sites)}{_joined(plan, sites)}"
    yield from _backups(plan, address, level)
    # no minutes and no seat keeps a unit in the row that a posting of some months holds off
    kept_off = (str(flag.value) for flag in plan.answers.flags[address] if flag.code == NO_WAY)
    yield from (f"no way for {words.printable(units)}" for units in kept_off if " in " in units)


def _backups(plan: Plan, address: int, level: int) -> Iterator[str]:
    """Name the backup of each month, where it is not that of the row all year."""
    here, cell = backups.stands_in(plan, address, level), (address, level)
    told = {int(plan.levels.backup[cell]): here} if here else {}
    for then in backups.in_other_months(plan, address, level):
        if then.site != plan.levels.backup[cell]:
            told.setdefault(then.site, []).extend(then.months)
    ids = [*(site.site_id for site in plan.sites), "none"]
    if len(told) > 1:
        yield "backup: " + ", ".join(f"{ids[site]} in {month_words(months)}" for site, months in told.items())
    dry: dict[int, list[int]] = {}
    for line in plan.seasons:
        if int(line.backup_site[cell]) >= 0 and line.backup_gpm[cell] <= ROUNDING_GPM:
            dry.setdefault(int(line.backup_site[cell]), []).extend(line.months)
    for site, months in dry.items():
        always = len(months) == sum(len(line.months) for line in plan.seasons)
        yield f"backup {ids[site]} holds no flow without a break{'' if always else f' in {month_words(months)}'}"


def _in_other_months(plan: Plan, address: int, sheets: Sequence[OtherCircuit]) -> list[str]:
    """Name the lowest level that meets, else the highest, and its fill sites, in months in which there is a way."""
    told: dict[str, list[int]] = {NO_SHUTTLE: plan.months_without(address)}
    for season in plan.seasons:
        level = season.level_of([address], plan.needs.required_gpm[[address]])
        sites = "+".join(plan.sites[site].site_id for site in season.sites_of(address, level))
        need_gpm = float(plan.needs.required_gpm[address])
        short = float(season.uninterrupted_gpm[address, level]) < need_gpm - ROUNDING_GPM
        if sites:
            called = called_then(plan, address, sheets, season, level)
            crewed = _crewed(plan, sheets, season.months)
            said = f"send {plan.district.levels[level].name}{', not met,' * short} from {sites}{called}{crewed}"
            told.setdefault(said, []).extend(season.months)
    return [f"{month_words(months)}: {said}" if months else said for said, months in told.items()]


def _crewed(plan: Plan, sheets: Sequence[OtherCircuit], months: tuple[int, ...]) -> str:
    """Name the units that the card's sheets of a season give a job, by arrival, behind a colon; '' where none does."""
    here = [sheet for sheet in sheets if set(months) <= set(sheet.months)]
    arrival = {
        unit: sheet.arrival_min[unit]
        for sheet in here
        for unit in (sheet.attack_engine, sheet.dump_engine, sheet.fill_engine, *sheet.tankers)
        if unit >= 0
    }
    units = sorted(arrival, key=lambda unit: (arrival[unit], unit))
    named, to_ask = " ".join(plan.units[unit].unit_id for unit in units), crew.asked_words(plan, units)
    asked = f", {to_ask.rstrip('.').replace('Ask', 'ask', 1)}" if to_ask else ""
    return f", jobs for {named}{asked}" if named else ""
