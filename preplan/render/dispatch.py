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
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from typing import TYPE_CHECKING

import numpy as np

from preplan.months import month_words
from preplan.plan_cards import OtherCircuit, Strip
from preplan.plan_tables import ROUNDING_GPM, at_level, text_at_level
from preplan.records import ALL_MONTHS, FloatArray, IntArray
from preplan.render import backups, crew, first_minutes, words
from preplan.render.card_facts import Facts
from preplan.render.card_seasons import called_then, jobs_then
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
from preplan.units import M_PER_MI

if TYPE_CHECKING:
    from preplan.plan import Plan

_ANSWER = (
    "response_level", "units", "fill_site_id", "split_site_id", "backup_site_id", "winter_site_id", "status",
    "required_gpm",
)  # fmt: skip
"""Columns in which the addresses of a row agree."""
DISPATCH_COLUMNS = (
    "road", "from_number", "to_number", "parity", *_ANSWER, "uninterrupted_gpm", "sustained_gpm",
    "limited_by", "call_by_min", "addresses", "label", "cross_street", "lon", "lat", "note",
)  # fmt: skip
"""Columns of dispatch.csv, in order; flow, cross street and place are those of the row's weakest address."""
WINTER = (12, 1, 2)
"""December, January, February."""
APART_MI = 0.5
"""Addresses of one road and number farther apart than this are two places (this program's choice, no source)."""
NONE_MEETS = "no level meets in the worst season"
AT_ONCE_TOO = ", less where called on arrival"
"""Ends the note of a row that no level meets, and whose level goes with the first alarm."""
AT_ONCE = "send this level with the first alarm: called on arrival, too little flows or it only just holds"
"""Note of a row whose call-by minute leaves a dry minute, or none to spare."""
NO_SHUTTLE = "no tanker shuttle, call by local procedure"
"""Note of a row without a route: no level can be named."""
_RANK = ("hydrant", "no route", "served", "higher level", "not met")
"""Statuses by what they ask of a dispatcher, least first: to show 'no route' would send nobody to the other."""
_SITE = re.compile(r"fill site (\d+)")
"""A fill site by its number, in the words of a card."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """What rows are made from, one entry an address."""

    road: list[str]
    number: list[int]
    label: list[str]
    answer: list[tuple[str, ...]]
    """Cells of `_ANSWER`."""
    other_months: list[tuple[str, ...]]
    """What serves an address without a route in the months in which there is one."""
    status: list[str]
    demand: list[tuple[float, ...]]
    """Sorts addresses by what they ask for, the least first."""
    lon: FloatArray
    lat: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """Addresses that one look-up finds."""

    road: str
    addresses: tuple[int, ...]
    lead: int
    """The address whose answer is shown: of equal answers the weakest, of different ones the most demanding."""
    label: str
    """What is looked up where there is no number."""
    note: str = ""


def dispatch_csv(plan: Plan) -> bytes:
    """Write dispatch.csv, by road, then number, then label; addresses with a hydrant included."""
    return csv_bytes(dispatch_columns(plan))


def dispatch_columns(plan: Plan) -> dict[str, Cells]:
    """Return the columns of dispatch.csv by name, before they become text."""
    asked = _asked(plan)
    rows = _rows(asked)
    lead = np.array([row.lead for row in rows], dtype=np.int32)
    spans = [[asked.number[a] for a in row.addresses] for row in rows]
    ends = np.array([(min(span), max(span)) for span in spans], dtype=np.float64).reshape(-1, 2)
    ends[ends < 0] = np.nan
    limited_by = text_at_level(plan.levels.limited_by, plan.answers.level)
    cross = {a: group.cross_street for group in plan.groups for a in group.addresses}
    strips = {a: group.strip for group in plan.groups for a in group.addresses}
    columns: dict[str, Cells] = {
        "road": [row.road for row in rows],
        "from_number": Numbers(ends[:, 0], 0),
        "to_number": Numbers(ends[:, 1], 0),
        "parity": [_parity(span) for span in spans],
        **{name: [asked.answer[row.lead][k] for row in rows] for k, name in enumerate(_ANSWER)},
        "uninterrupted_gpm": supply(plan.answers.shown_flow(plan.levels.uninterrupted_gpm)[lead]),
        "sustained_gpm": supply(plan.answers.shown_flow(plan.levels.sustained_gpm)[lead]),
        "limited_by": [limited_by[row.lead] for row in rows],
        "call_by_min": minutes(np.array([_call_by(plan, row) for row in rows])),
        "addresses": Numbers(np.array([len(row.addresses) for row in rows], dtype=np.float64), 0),
        "label": [row.label for row in rows],
        "cross_street": [cross.get(row.lead, "") for row in rows],
        "lon": numbers(np.round(plan.addresses.lon[lead], 6), 6),
        "lat": numbers(np.round(plan.addresses.lat[lead], 6), 6),
        "note": ["; ".join(_notes(plan, asked, row, strips.get(row.lead))) for row in rows],
    }
    return {name: columns[name] for name in DISPATCH_COLUMNS}


# --------------------------------------------------------------------------- what is asked, and what is answered


def _asked(plan: Plan) -> _Asked:
    """Gather what rows are made from."""
    status, level = plan.answers.status.tolist(), plan.answers.level
    required = need(plan.needs.required_gpm).values
    flow = np.nan_to_num(plan.answers.shown_flow(plan.levels.uninterrupted_gpm))
    rank = [_RANK.index(one) for one in status]
    return _Asked(
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
    cells = (
        named([one.name for one in plan.district.levels], called),
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


def _at_once(plan: Plan, row: _Row) -> bool:
    """Tell whether the level shown goes with the first alarm, at any address of a row that has that level."""
    rows = np.array(row.addresses, dtype=np.int32)
    higher = plan.answers.status[rows] == "higher level"
    return bool(plan.answers.status[row.lead] == "higher level" and np.any(higher & ~plan.answers.in_time(rows)))


def _best_at_once(plan: Plan, row: _Row) -> bool:
    """Tell whether the best level of a row that none meets goes with the first alarm, at any address of it."""
    level, status = plan.answers.level, plan.answers.status
    return status[row.lead] == "not met" and any(
        status[a] == "not met" and level[a] == level[row.lead] >= 0 and first_minutes.less_called_later(plan, a)
        for a in row.addresses
    )


def _call_by(plan: Plan, row: _Row) -> float:
    """Give the minute by which the level shown is called at every address of a row that has one; NaN: none has."""
    if _at_once(plan, row) or _best_at_once(plan, row):
        return 0.0  # whatever minute it is, it comes before the first arrival
    rows = list(row.addresses)
    known = plan.answers.call_by_min[rows][plan.answers.level[rows] == plan.answers.level[row.lead]]
    return float(np.nanmin(known)) if np.isfinite(known).any() else np.nan


def _notes(plan: Plan, asked: _Asked, row: _Row, strip: Strip | None) -> Iterator[str]:
    """Say what the cells cannot: what goes with the first alarm, whom to ask, who is meant, what other months hold."""
    months = plan.district.rules.plan.months
    if not {*ALL_MONTHS} <= {*months}:
        yield f"planned for {month_words(months)} only"
    if _at_once(plan, row):
        yield AT_ONCE
    elif plan.answers.status[row.lead] == "not met" and plan.answers.level[row.lead] >= 0:
        most = plan.district.levels[int(plan.answers.level[row.lead])].name
        best, at_once = first_minutes.best_words(plan, row.lead), _best_at_once(plan, row)
        yield f"send {most}{' with the first alarm' * at_once}: {NONE_MEETS}, it {best}{AT_ONCE_TOO * at_once}"
    else:
        yield from (said.rstrip(".") for said in first_minutes.then_at_once(plan, row.addresses))
    level = int(plan.answers.level[row.lead])
    if level >= 0 and (to_ask := crew.request_words(plan, row.lead, level)):
        yield to_ask.rstrip(".")
    yield from _who_fills_where(plan, row)
    yield from _hydrants(plan, row)
    attack = int(plan.levels.attack_engine[row.lead, level]) if level >= 0 else -1
    if nurse := first_minutes.nurse_words(plan, strip, attack):
        yield nurse.rstrip(". ")
    yield from _barriers(plan, row)
    if row.note:
        yield row.note
    yield from _by_address(plan, asked, row)


def _barriers(plan: Plan, row: _Row) -> Iterator[str]:
    """Name the barriers behind which addresses of a row lie, and whose they are where not all lie behind one."""
    behind: dict[str, list[int]] = {}
    for a in row.addresses:
        for flag in plan.answers.flags[a]:
            if flag.code == "barrier":
                behind.setdefault(str(flag).partition("=")[2], []).append(a)
    for barrier, mine in behind.items():
        named = [str(number) if number >= 0 else "" for number in plan.addresses.number[mine].tolist()]
        whose = f"{' '.join(filter(None, named)) or 'some of these'}: " if len(mine) < len(row.addresses) else ""
        yield f"{whose}the road there lies behind a barrier, {barrier}"


def _hydrants(plan: Plan, row: _Row) -> Iterator[str]:
    """Name the hydrants that count for the addresses of a row of them, and how far each is at most."""
    near, far = plan.near_hydrant, dict[int, list[int]]()
    for a in row.addresses:
        if plan.answers.status[row.lead] == "hydrant":
            far.setdefault(int(near.hydrant[a]), []).append(a)
    for hydrant, mine in far.items():
        feet = f"{'up to ' * (len(mine) > 1)}{words.feet(float(near.distance_ft[mine].max()))}"
        whose = " ".join(str(number) for number in plan.addresses.number[mine].tolist()) if len(far) > 1 else ""
        counts = words.supply(float(near.credited_gpm[mine].min()))
        named = words.printable(plan.hydrants.hydrant_id[hydrant])
        doubt = plan.hydrants.doubt(hydrant)
        said = f"hydrant {named}, {feet} by road and driveway, counts for {counts} gpm{f' ({doubt})' if doubt else ''}"
        yield f"{whose}: {said}" if whose else said


def _who_fills_where(plan: Plan, row: _Row) -> Iterator[str]:
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


def _by_address(plan: Plan, asked: _Asked, row: _Row) -> Iterator[str]:
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
    return [str(flag) for flag in plan.answers.flags[address] if flag.code == "off road data"]


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
    table = plan.levels
    own = [site for site in (int(table.site[address, level]), int(table.split[address, level])) if site >= 0]
    told: dict[tuple[int, ...], list[int]] = {}
    for season in plan.seasons:
        sites = season.sites_of(address, level)
        if list(sites) != own:
            told.setdefault(sites, []).extend(season.months)
    for sites, months in told.items():
        named = "+".join(plan.sites[site].site_id for site in sites)
        yield f"{month_words(months)}: {f'from {named}' if named else 'no site'}"
    yield from _backups(plan, address, level)


def _backups(plan: Plan, address: int, level: int) -> Iterator[str]:
    """Name the backup of each month, where it is not that of the row all year."""
    here, cell = backups.stands_in(plan, address, level), (address, level)
    told = {int(plan.levels.backup[cell]): here} if here else {}
    for then in backups.in_other_months(plan, address, level):
        if then.site != plan.levels.backup[cell]:
            told.setdefault(then.site, []).extend(then.months)
    if len(told) > 1:
        ids = [*(site.site_id for site in plan.sites), "none"]
        yield "backup: " + ", ".join(f"{ids[site]} in {month_words(months)}" for site, months in told.items())


def _in_other_months(plan: Plan, address: int, sheets: Sequence[OtherCircuit]) -> list[str]:
    """Name the lowest level that meets, else the highest, and its fill sites, in months in which there is a way."""
    told: dict[str, list[int]] = {NO_SHUTTLE: plan.months_without(address)}
    for season in plan.seasons:
        level = season.level_of([address], plan.needs.required_gpm[[address]])
        sites = "+".join(plan.sites[site].site_id for site in season.sites_of(address, level))
        need_gpm = float(plan.needs.required_gpm[address])
        short = float(season.uninterrupted_gpm[address, level]) < need_gpm - ROUNDING_GPM
        if sites:
            called = f", {called_then(sheets, season.months, level)}" if level else ""
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


# --------------------------------------------------------------------------- rows


def _rows(asked: _Asked) -> list[_Row]:
    """Make the rows of every road."""
    by_road: dict[str, list[int]] = defaultdict(list)
    for a, road in enumerate(asked.road):
        by_road[road.casefold()].append(a)
    rows: list[_Row] = []
    for _, here in sorted(by_road.items()):
        numbered = [a for a in here if asked.number[a] >= 0]
        rows += _numbered_rows(asked, numbered, [a for a in here if asked.number[a] < 0])
        rest = sorted((asked.label[a].casefold(), a) for a in here if asked.number[a] < 0)
        for _, same in groupby(rest, key=lambda one: one[0]):
            rows += _one_look_up(asked, [a for _, a in same])
    return rows


def _numbered_rows(asked: _Asked, addresses: list[int], unnumbered: list[int]) -> list[_Row]:
    """Make the rows of one road's numbers: by number, or by side where that makes fewer."""
    order = sorted((asked.number[a], a) for a in addresses)
    found = [_one_look_up(asked, [a for _, a in same]) for _, same in groupby(order, key=lambda one: one[0])]
    together = _joined(asked, found, unnumbered)
    sides = [
        row
        for side in (1, 0)
        for row in _joined(asked, [rows for rows in found if asked.number[rows[0].lead] % 2 == side], unnumbered)
    ]
    rows = together if len(together) <= len(sides) else sides
    return sorted((_beside(asked, row, unnumbered) for row in rows), key=lambda row: asked.number[row.addresses[0]])


def _joined(asked: _Asked, found: list[list[_Row]], unnumbered: list[int]) -> list[_Row]:
    """Join the rows of numbers that follow each other and answer alike; those with a note stand alone.

    A row ends before an address without a number that answers otherwise: the range must not claim its house.
    """

    def alike(at: int) -> tuple[object, ...]:
        rows = found[at]
        return (at,) if rows[0].note else (asked.answer[rows[0].lead], asked.other_months[rows[0].lead])

    joined: list[_Row] = []
    for _, places in groupby(range(len(found)), key=alike):
        for rows in _parted(asked, [found[at] for at in places], unnumbered):
            joined += rows if rows[0].note else [_row(asked, [a for row in rows for a in row.addresses])]
    return joined


def _parted(asked: _Asked, found: list[list[_Row]], unnumbered: list[int]) -> Iterator[list[_Row]]:
    """Part the rows of numbers that answer alike where an address without a number that answers otherwise may stand.

    It may where its label holds a number between two of them, or where it lies nearer to both than they to each other.
    """
    lead = found[0][0].lead
    others = [a for a in unnumbered if not _alike(asked, a, lead)] if len(found) > 1 else []
    rows = list(found[0])
    for one, other in pairwise(found):
        if others and _between(asked, one[0].lead, other[0].lead, others):
            yield rows
            rows = []
        rows += other
    yield rows


def _between(asked: _Asked, one: int, other: int, unnumbered: list[int]) -> bool:
    """Tell whether an address without a number may stand between two numbers of its road."""
    ends = asked.number[one], asked.number[other]
    if any(ends[0] <= number <= ends[1] for a in unnumbered for number in _numbers_in(asked, a)):
        return True
    from pyproj import Geod  # noqa: PLC0415  slow to import

    ellipsoid, lon, lat = Geod(ellps="WGS84"), asked.lon, asked.lat
    gap_m = float(ellipsoid.inv(lon[one], lat[one], lon[other], lat[other])[2])
    n = len(unnumbered)
    away_m = [
        ellipsoid.inv(np.full(n, lon[end]), np.full(n, lat[end]), lon[unnumbered], lat[unnumbered])[2]
        for end in (one, other)
    ]
    return bool((np.maximum(*away_m) < gap_m).any())


def _beside(asked: _Asked, row: _Row, unnumbered: list[int]) -> _Row:
    """Say of a row that a label on its road holds a number of it and has another answer."""
    span = [asked.number[a] for a in row.addresses]
    labels = dict.fromkeys(
        asked.label[a]
        for a in unnumbered
        if not _alike(asked, a, row.lead) and any(min(span) <= number <= max(span) for number in _numbers_in(asked, a))
    )
    said = [row.note] * bool(row.note) + [f"another answer for {label!r}: look it up by its label" for label in labels]
    return replace(row, note="; ".join(said))


def _alike(asked: _Asked, one: int, other: int) -> bool:
    """Tell whether two addresses answer alike in all months."""
    return (asked.answer[one], asked.other_months[one]) == (asked.answer[other], asked.other_months[other])


def _numbers_in(asked: _Asked, address: int) -> list[int]:
    """List the numbers in a label that are not of the road's own name."""
    own = re.findall(r"\d+", asked.road[address])
    return [int(number) for number in re.findall(r"\d+", asked.label[address]) if number not in own]


def _one_look_up(asked: _Asked, addresses: list[int]) -> list[_Row]:
    """Answer for all addresses of one number, or of one label: one row, or one for each place they lie at."""
    if len({(asked.answer[a], asked.other_months[a]) for a in addresses}) == 1:
        return [_row(asked, addresses)]
    places = _places(asked, addresses)
    if len(places) == 1:
        return [_most_demanding(asked, addresses, "")]
    note = f"one of {len(places)} places of this road and number; tell them apart by cross street or lon, lat"
    return [_most_demanding(asked, place, note) for place in places]


def _most_demanding(asked: _Asked, addresses: list[int], note: str) -> _Row:
    """Answer for addresses at one place; where they differ, for the one that asks for most."""
    said = [note] if note else []
    row = _row(asked, addresses)
    if len({asked.answer[a] for a in addresses}) > 1:
        lead = max(addresses, key=lambda a: (asked.demand[a], -a))
        row = replace(row, lead=lead)
        others = sorted({asked.status[a] for a in addresses} - {asked.status[lead]})
        also = f" (another is {', '.join(others)})" if others else ""
        said.append(f"answers of {len(addresses)} addresses differ: the most demanding is shown{also}")
    elif len({asked.other_months[a] for a in addresses}) > 1:
        said.append(f"answers of {len(addresses)} addresses differ in other months")
    return replace(row, note="; ".join(said))


def _row(asked: _Asked, addresses: list[int]) -> _Row:
    """Make a row of addresses that answer alike; its lead has the least flow."""
    lead = max(addresses, key=lambda a: (asked.demand[a], -a))
    label = asked.label[lead] if asked.number[lead] < 0 else ""
    return _Row(road=asked.road[addresses[0]], addresses=tuple(addresses), lead=lead, label=label)


def _places(asked: _Asked, addresses: list[int]) -> list[list[int]]:
    """Sort addresses into places: each is within `APART_MI` of the first of its place."""
    from pyproj import Geod  # noqa: PLC0415  slow to import

    ellipsoid = Geod(ellps="WGS84")
    places: list[list[int]] = []
    for a in addresses:
        for place in places:
            ends = asked.lon[place[0]], asked.lat[place[0]], asked.lon[a], asked.lat[a]
            if ellipsoid.inv(*ends)[2] <= APART_MI * M_PER_MI:
                place.append(a)
                break
        else:
            places.append([a])
    return places


def _parity(span: Sequence[int]) -> str:
    """Tell whether numbers stand on one side of the road: odd, even or all.

    >>> _parity([12, 40]), _parity([7, 40]), _parity([-1])
    ('even', 'all', 'all')
    """
    if min(span) < 0 or len({number % 2 for number in span}) > 1:
        return "all"
    return "odd" if span[0] % 2 else "even"
