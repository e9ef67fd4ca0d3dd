"""Joins addresses of one road that changed in the same way, for the same causes, into entries of the report."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np
import pandas as pd

from preplan.compare.answers import NUMBERS, TO_DO, UNITS
from preplan.compare.comparison import Comparison
from preplan.compare.sentences import causes_words, differences_words
from preplan.render.words import natural_key, number, printable

NO_ROAD = "Road not told"
_NUMBERS_TOLD = {"worse": ("other level",), "better": ("other level",), "numbers": NUMBERS}
"""Numbers that stand with an entry of a group, of others held and required."""
_OF_SITES = ("fill site", "second fill site", "backup")
"""Differences whose cells are ids of fill sites."""
_ENDS = ("old", "new")
_Key: TypeAlias = tuple[tuple[str, ...], ...]
_Order: TypeAlias = tuple[bool, tuple[tuple[int, int, str], ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """Addresses of one road of which the same is to be said."""

    road: str
    names: list[str]
    what: str
    why: str


def changed(found: Comparison, group: str) -> list[Entry]:
    """List the entries of a group of addresses that both runs have, by road.

    Parameters
    ----------
    found
        The comparison.
    group
        One of `answers.GROUPS`.
    """
    mine = np.flatnonzero(found.answers.group == group)
    told = (*TO_DO, *_NUMBERS_TOLD.get(group, ("held", "required")))
    differences = found.answers.differences
    what = by_address(differences[differences["what"].isin(told)])
    why = by_address(found.causes)
    roads, names = roads_of(found), _names(found)
    order = sorted(mine.tolist(), key=lambda at: (by_road(roads[at]), natural_key(names[at]), at))
    alike: dict[tuple[str, _Key, _Key], list[int]] = {}
    for at in order:
        alike.setdefault((roads[at], _what_key(what.get(at)), _why_key(why[at])), []).append(at)
    named = _site_names(found)
    entries = [
        Entry(
            road=road,
            names=[names[at] for at in rows],
            what="; ".join([
                *differences_words(named(pd.concat([differences[:0], *(what[at] for at in rows if at in what)])), told),
                *([_holds(found, rows)] if group in {"worse", "better"} else []),
            ]),
            why=causes_words(pd.concat([why[at] for at in rows]), found.runs),
        )
        for (road, _, _), rows in alike.items()
    ]  # fmt: skip
    return sorted(entries, key=lambda entry: by_road(entry.road))


def alone(table: pd.DataFrame, verb: str) -> list[Entry]:
    """List the entries of addresses that one run alone has; `verb` is what each does with its status."""
    alike: dict[tuple[str, str, str], list[str]] = {}
    for road, label, address_id, status, why in zip(
        *(table[name] for name in ("road", "label", "address_id", "status", "why")), strict=True
    ):
        alike.setdefault((printable(road) or NO_ROAD, f"{verb} {status}", why), []).append(_name(label, address_id))
    entries = [
        Entry(road=road, names=sorted(names, key=natural_key), what=what, why=why)
        for (road, what, why), names in alike.items()
    ]
    return sorted(entries, key=lambda entry: by_road(entry.road))


def by_address(table: pd.DataFrame) -> dict[int, pd.DataFrame]:
    """Cut a table that is sorted by `at` into the rows of each address."""
    at, first = np.unique(table["at"].to_numpy(dtype=np.int64), return_index=True)
    bounds = [*first.tolist(), len(table)]
    return {one: table.iloc[start:end] for one, (start, end) in zip(at.tolist(), pairwise(bounds), strict=True)}


def by_road(road: str) -> _Order:
    """Sort roads as a reader looks for them, what has none last."""
    return road == NO_ROAD, natural_key(road)


def roads_of(found: Comparison) -> list[str]:
    """Name the road of each address, as the new results do, else the old."""
    both = zip(found.answers.new["road"], found.answers.old["road"], strict=True)
    return [printable(new) or printable(old) or NO_ROAD for new, old in both]


def _what_key(rows: pd.DataFrame | None) -> _Key:
    """Sum up what differs at an address; numbers may differ between addresses of one entry."""
    if rows is None:
        return ()
    cells = zip(*(rows[name] for name in ("what", "subject", "old", "new")), strict=True)
    return tuple((one[0],) if one[0] in UNITS or one[0] == "call by" else one for one in cells)


def _why_key(rows: pd.DataFrame) -> _Key:
    """Sum up why an address changed; numbers may differ, what is flagged may not."""
    cells = zip(*(rows[name] for name in ("code", "subject", "old", "new")), strict=True)
    return tuple(one if one[0] == "road" else one[:2] for one in cells)


def _site_names(found: Comparison) -> Callable[[pd.DataFrame], pd.DataFrame]:
    """Make what puts the names of fill sites beside their ids in rows of differences."""
    names = {
        site: f"{site} {printable(name)}".strip()
        for one in (found.old, found.new)
        for site, name in zip(one["fill_sites"]["site_id"], one["fill_sites"]["name"], strict=True)
    }

    def named(rows: pd.DataFrame) -> pd.DataFrame:
        sites = rows["what"].isin(_OF_SITES)
        cells = {end: rows[end].where(~sites, rows[end].map(lambda cell: names.get(cell, cell))) for end in _ENDS}
        return rows.assign(**cells)

    return named


def _holds(found: Comparison, rows: Sequence[int]) -> str:
    """Say what addresses hold now and what they need."""
    new = found.answers.new.iloc[list(rows)]
    held, needed = (
        " to ".join(dict.fromkeys((number(float(one.min())), number(float(one.max())))))
        for one in (new["uninterrupted_gpm"].fillna(0.0), new["required_gpm"])
    )
    return f"now holds {held} gpm, needs {needed}"


def _names(found: Comparison) -> list[str]:
    labels = found.answers.new["label"]
    twice = set(labels[labels.duplicated()])
    return [_name(*one, twice) for one in zip(labels, found.answers.new["address_id"], strict=True)]


def _name(label: str, address_id: str, twice: Iterable[str] = ()) -> str:
    """Name an address: by its label, and by its id where it has none or others have the same."""
    said, name = printable(label), printable(address_id)
    return (f"{said} ({name})" if label in twice else said) or name
