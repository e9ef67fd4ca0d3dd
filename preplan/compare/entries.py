"""Joins addresses of one road that changed in the same way, for the same causes, into entries of the report."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import pandas as pd

from preplan.compare.answers import NUMBERS, TO_DO, UNITS, WEIGHS
from preplan.compare.comparison import Comparison
from preplan.compare.sentences import Fact, Facts, causes_words, differences_words, facts_by_address
from preplan.render.words import natural_key, number, printable

NO_ROAD = "Road not told"
_NUMBERS_TOLD = dict.fromkeys(("worse", "better"), ("required", "held", "other level")) | {"numbers": NUMBERS}
"""Numbers that stand with an entry of a group, of others held and required."""
_SPANS = ("call by", "season", "season's flow")
"""Differences besides numbers of which addresses of one entry may have others."""
_OF_SITES = ("fill site", "second fill site", "backup")
"""Differences whose cells are ids of fill sites."""
_Key: TypeAlias = tuple[tuple[str, ...], ...]
_Order: TypeAlias = tuple[bool, tuple[tuple[int, int, str], ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """Addresses of one road of which the same is to be said."""

    road: str
    names: list[str]
    what: str
    why: str
    weight: float = 0.0
    """Share of the need by which one of them holds more or less of it, the most."""


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
    what, why = facts_by_address(found.answers.differences, "what"), facts_by_address(found.causes, "code")
    roads, names = roads_of(found), _names(found)
    order = sorted(mine.tolist(), key=lambda at: (by_road(roads[at]), natural_key(names[at]), at))
    alike: dict[tuple[str, _Key, _Key], list[int]] = {}
    for at in order:
        alike.setdefault((roads[at], _what_key(what.get(at, []), told), _why_key(why[at])), []).append(at)
    sites = _site_names(found)
    entries = [
        Entry(
            road=road,
            names=[names[at] for at in rows],
            what="; ".join([
                *differences_words([_named(fact, sites) for at in rows for fact in what.get(at, [])], told),
                *([_holds(found, rows), *_most(found, rows, names)] if group in {"worse", "better"} else []),
            ]),
            why=causes_words([fact for at in rows for fact in why[at]], found.runs),
            weight=float(np.abs(found.answers.lost[rows]).max()),
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


def by_road(road: str) -> _Order:
    """Sort roads as a reader looks for them, what has none last."""
    return road == NO_ROAD, natural_key(road)


def roads_of(found: Comparison) -> list[str]:
    """Name the road of each address, as the new results do, else the old."""
    both = zip(found.answers.new["road"], found.answers.old["road"], strict=True)
    return [printable(new) or printable(old) or NO_ROAD for new, old in both]


def _what_key(facts: Facts, told: Sequence[str]) -> _Key:
    """Sum up what differs at an address; numbers may differ between addresses of one entry."""
    mine = [fact for fact in facts if fact.kind in told]
    return tuple((fact.kind,) if fact.kind in UNITS or fact.kind in _SPANS else fact for fact in mine)


def _why_key(facts: Facts) -> _Key:
    """Sum up why an address changed; numbers may differ, what is flagged may not."""
    return tuple(fact if fact.kind == "road" else fact[:2] for fact in facts)


def _site_names(found: Comparison) -> dict[str, str]:
    """Give each fill site's id and name by its id."""
    return {
        site: f"{site} {printable(name)}".strip()
        for one in (found.old, found.new)
        for site, name in zip(one["fill_sites"]["site_id"], one["fill_sites"]["name"], strict=True)
    }


def _named(fact: Fact, sites: Mapping[str, str]) -> Fact:
    """Put the names of fill sites beside their ids."""
    if fact.kind not in _OF_SITES:
        return fact
    return fact._replace(old=sites.get(fact.old, fact.old), new=sites.get(fact.new, fact.new))


def _holds(found: Comparison, rows: Sequence[int]) -> str:
    """Say what addresses hold now and what they need."""
    new = found.answers.new.iloc[list(rows)]
    held, needed = (
        " to ".join(dict.fromkeys((number(float(one.min())), number(float(one.max())))))
        for one in (new["uninterrupted_gpm"].fillna(0.0), new["required_gpm"])
    )
    return f"now holds {held} gpm, needs {needed}"


def _most(found: Comparison, rows: Sequence[int], names: Sequence[str]) -> Iterator[str]:
    """Name of several addresses the one whose share of the need fell or rose most, where that weighs."""
    most = max(rows, key=lambda at: abs(float(found.answers.lost[at])))
    if len(rows) > 1 and abs(float(found.answers.lost[most])) >= WEIGHS:
        old, new = (
            number(float(one["uninterrupted_gpm"].fillna(0.0).iloc[most]))
            for one in (found.answers.old, found.answers.new)
        )
        yield f"most at {names[most]}: {old} -> {new} gpm"


def _names(found: Comparison) -> list[str]:
    labels = found.answers.new["label"]
    twice = set(labels[labels.duplicated()])
    return [_name(*one, twice) for one in zip(labels, found.answers.new["address_id"], strict=True)]


def _name(label: str, address_id: str, twice: Iterable[str] = ()) -> str:
    """Name an address: by its label, and by its id where it has none or others have the same."""
    said, name = printable(label), printable(address_id)
    return (f"{said} ({name})" if label in twice else said) or name
