"""What dispatch.csv says of tankers that pump straight into the attack engine before the dump site is ready.

A row stands for a run of houses, in all months: its minutes are those of every one of them, first to last.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_tables import NurseTable
from preplan.records import FloatArray
from preplan.render import words
from preplan.render.first_minutes import hose_awaited

MOST_NAMED = 8
"""Houses of a row that are named by their numbers; of more it is said how many they are."""


def nurse_notes(plan: Plan, addresses: Sequence[int]) -> Iterator[str]:
    """Say who pumps into which engine at houses of a row, from when to when, at which and when where not always."""
    table = plan.nurses.of(addresses)
    pairs = dict.fromkeys(zip(table.unit.tolist(), table.engine.tolist(), strict=True))
    for unit, engine in pairs:
        mine = table.rows((table.unit == unit) & (table.engine == engine))
        whose: dict[frozenset[int], list[int]] = {}
        for a in dict.fromkeys(mine.address.tolist()):
            seasons = mine.season[mine.address == a].tolist()
            whose.setdefault(frozenset(m for at in seasons for m in plan.seasons[at].months), []).append(a)
        for months, houses in whose.items():
            yield _said(plan, mine.of(houses), months, addresses)


def _said(plan: Plan, mine: NurseTable, months: frozenset[int], addresses: Sequence[int]) -> str:
    """Tell one tanker what to do, at houses that it nurses in the same months."""
    tanker, engine = (words.printable(plan.units[int(unit[0])].unit_id) for unit in (mine.unit, mine.engine))
    always = months >= {month for season in plan.seasons for month in season.months}
    when = "" if always else f" in {month_words(months)}"
    told = [f"{tanker}{_at(plan, mine, addresses)}{when}: pump straight into {engine} first, {_minutes(mine)}"]
    told += _hose(plan, mine)
    return ". ".join([*told, *_empty(mine, engine)])


def _at(plan: Plan, mine: NurseTable, addresses: Sequence[int]) -> str:
    """Say at which of the row's houses, behind a blank; '' at all of them."""
    houses = dict.fromkeys(mine.address.tolist())
    if len(houses) == len(addresses):
        return ""
    numbers = plan.addresses.number[list(houses)]
    if len(houses) <= MOST_NAMED and (numbers >= 0).all():
        return f" at {' '.join(map(str, dict.fromkeys(numbers.tolist())))}"
    return f" at {len(houses)} of these {len(addresses)} addresses (see their cards)"


def _minutes(mine: NurseTable) -> str:
    """Say from when to when: two minutes, or first and last of each where houses or months differ."""
    stops = zip(mine.stop_min.tolist(), mine.dumps.tolist(), strict=True)
    stop = [words.round_up(one, 1.0) if dumps else math.floor(one) for one, dumps in stops]
    minutes = np.column_stack([[words.round_up(one, 1.0) for one in mine.start_min.tolist()], stop])
    first, last = (_span(column) for column in minutes.T)
    by = _by(mine, minutes)
    until = f"until {last}" if by else f"to {last}"
    if not mine.dumps.any():
        until = f"until empty, about {last}"
    then = f", then dump{' what is left' * bool(~mine.dumps.all())}" if mine.dumps.any() else ""
    return f"from minute {first}, {until} (by {by}){then}" if by else f"minute {first} {until}{then}"


def _by(mine: NurseTable, minutes: FloatArray) -> str:
    """Say by what the minutes (rows, 2) differ as they print: '' where they do not."""
    if len({*map(tuple, minutes.tolist())}) == 1:
        return ""
    columns = {"house": mine.season, "month": mine.address}
    alike = {word: [np.unique(minutes[one == at], axis=0) for at in np.unique(one)] for word, one in columns.items()}
    by = [word for word, groups in alike.items() if any(len(group) > 1 for group in groups)]
    return " and ".join(by or ["house and month"])


def _span(minutes: FloatArray) -> str:
    """Write the least and the most of some whole minutes."""
    return " to ".join(dict.fromkeys(words.number(one) for one in (minutes.min(), minutes.max())))


def _empty(mine: NurseTable, engine: str) -> Iterator[str]:
    """Say for how long the engine is empty before the tanker feeds it, where that is longest."""
    lasts = np.nan_to_num(mine.start_min - mine.empty_from_min, nan=-1.0)
    worst = int(lasts.argmax())
    if lasts[worst] > 0.0:
        start, begin = words.need(mine.start_min[worst]), words.number(math.floor(mine.empty_from_min[worst]))
        yield f"{engine} EMPTY minute {begin} to {start}{' at worst' * bool(np.ptp(np.round(lasts, 1)) > 0.0)}"


def _hose(plan: Plan, mine: NurseTable) -> Iterator[str]:
    """Name the units for whose hose the tanker waits, in the months that decide, at all of its houses or some."""
    awaited: list[dict[int, None]] = []
    for a in dict.fromkeys(mine.address.tolist()):
        level = int(plan.answers.level[a])
        laid = plan.supply.of(a, level) if level >= 0 else {}
        awaited.append(dict.fromkeys(hose_awaited(plan, a, int(mine.engine[0]), laid)))
    units = dict.fromkeys(unit for one in awaited for unit in one)
    if units:
        some = " at some of these" * any(one.keys() != units.keys() for one in awaited)
        yield f"Its line needs hose of {' '.join(words.printable(plan.units[unit].unit_id) for unit in units)}{some}"
