"""The fill site table."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice
from typing import Any

import numpy as np

from preplan.inputs import bounds, cells
from preplan.inputs.sheet import Sheet
from preplan.inputs.whereabouts import FT_PER_DEG
from preplan.records import FILL_SITE_KINDS, FillSite, FloatArray, TextArray
from preplan.rules import ShuttleRules

KINDS: Mapping[str, str] = {
    **{kind: kind for kind in FILL_SITE_KINDS},
    "dry_hydrant": "dry hydrant",
    "dry-hydrant": "dry hydrant",
    "drafting": "draft",
    "gravity tank": "tank",
}
"""Accepted spellings of a kind."""
KIND_HINTS: Mapping[str, str] = {
    "draft": "write draft where an engine drafts from open water",
    **dict.fromkeys(("dry", "dh"), "write dry hydrant where a pipe leads into open water"),
    "hydrant": "write hydrant where a main has pressure, dry hydrant where a pipe leads into open water",
    **dict.fromkeys(("underground", "buried", "below"), "write cistern"),
    **dict.fromkeys(("tower", "elevated", "gravity", "standpipe"), "write tank where it fills by gravity"),
    **dict.fromkeys(
        ("pond", "river", "lake", "stream", "creek", "brook", "reservoir", "pool", "bay", "canal", "static", "quarry"),
        "write draft where an engine drafts from open water, dry hydrant where a pipe leads into it"
    ),
    "tank": "write tank where it fills by gravity, cistern where it is drafted from",
}  # fmt: skip
"""What to do about other words for a kind, by a part of them, the first that fits (this program's choice)."""
TURNAROUNDS: Mapping[str, str] = {
    **{word: word for word in ("through", "loop", "back")},
    "drive through": "through",
    "drive-through": "through",
    **dict.fromkeys(("drive thru", "drive-thru", "pull through", "pull-through"), "through"),
    "back in": "back",
}
NO_SOURCE = cells.NOT_KNOWN | {"none", "no", "yes", "na", "nil", "0"}
"""What is no name of a source: sites that all say so do not share one."""
HOLDS_STORAGE = ("cistern", "tank")
"""Kinds whose water is what they store, so the gallons must be known."""
PRESSED_BY_ITSELF = ("hydrant", "tank")
"""Kinds that fill a tanker without an engine."""
GREATEST_LIFT_FT = 33.0
"""The atmosphere lifts water 33.9 ft at sea level; no draft reaches it."""
EARLIEST_TEST = "1950"
"""No flow test that a plan may lean on is older (this program's careful bounds)."""

ONE_WATER_FT = 100.0
"""Sites so near each other are asked about whether they are one water (this program's choice)."""
MOST_PAIRS = 5
"""Pairs of such sites that a note names; the rest is counted."""

_OF_SOURCE = ("storage_gal", "refill_gpm")
_OF_CONNECTION = ("site_gpm", "low_gpm")
"""What sites with one `source_id` share."""

_DEFAULTS: Mapping[str, Any] = {field.name: field.default for field in dataclasses.fields(FillSite)}
_LIMITS: Mapping[str, Mapping[str, Any]] = {
    "fill_gpm": {"above": 0.0},
    "site_gpm": {"above": 0.0},
    "positions": {"low": 1.0, "whole": True},
    "storage_gal": {"above": 0.0},
    "refill_gpm": {"low": 0.0},
    "low_gpm": {"low": 0.0},
    "lift_ft": {"low": 0.0, "high": GREATEST_LIFT_FT},
}


def read_fill_sites(sheet: Sheet, rules: ShuttleRules, date: str = "") -> tuple[FillSite, ...]:
    """Check every cell and build the sites without a fault, in code point order of site_id.

    Parameters
    ----------
    date
        ISO date for which the plan stands, '' where none is given: no test is later than it and today.
    """
    name = sheet.text("name", required=True)
    kind = sheet.word("kind", KINDS, required=True, hints=KIND_HINTS)
    lon, lat = sheet.place()
    numbers = {
        column: sheet.number(column, bound=bounds.FILL_SITES.get(column), **limits)
        for column, limits in _LIMITS.items()
    }
    _check_dry_season(sheet, numbers)
    unstored = np.isin(kind, HOLDS_STORAGE) & (sheet.cells("storage_gal") == "")
    sheet.fault(unstored, "storage_gal", "is empty: a cistern or tank needs the gallons it holds")
    turnaround = sheet.word("turnaround", TURNAROUNDS)
    needs_engine, in_service = sheet.yes_no("needs_engine"), sheet.in_service()
    dry = ~np.isin(kind, PRESSED_BY_ITSELF) & (kind != "") & (needs_engine == 0.0)
    sheet.ask(
        dry, "needs_engine", needs_engine, lambda _: "where water is drafted: what pumps it? It is taken as it is"
    )
    tested = _tested(sheet, date)
    months = sheet.months()
    sheet.doubt_zeros("source_id", possible=False)
    texts = {column: sheet.text(column) for column in ("source_id", "connection", "notes")}
    nameless = np.array([one.casefold() in NO_SOURCE for one in texts["source_id"].tolist()], dtype=np.bool_)
    sheet.fault(nameless, "source_id", "is no name of a pond or main: leave the cell empty where the site shares none")

    def site(i: int) -> FillSite:
        given = {column: float(values[i]) for column, values in numbers.items() if not np.isnan(values[i])}
        gpm = rules.gravity_fill_gpm if kind[i] == "tank" else rules.fill_gpm
        return FillSite(
            site_id=sheet.id[i],
            name=name[i],
            kind=kind[i],
            lon=float(lon[i]),
            lat=float(lat[i]),
            fill_gpm=given.get("fill_gpm", gpm),
            fill_gpm_given="fill_gpm" in given,
            site_gpm=given.get("site_gpm"),
            tested=tested[i],
            positions=int(given.get("positions", _DEFAULTS["positions"])),
            storage_gal=given.get("storage_gal"),
            refill_gpm=given.get("refill_gpm"),
            low_gpm=given.get("low_gpm"),
            turnaround=turnaround[i] or _DEFAULTS["turnaround"],
            turnaround_given=turnaround[i] != "",
            lift_ft=given.get("lift_ft", _DEFAULTS["lift_ft"]),
            lift_given="lift_ft" in given,
            needs_engine=_said(needs_engine[i], default=kind[i] not in PRESSED_BY_ITSELF),
            months=months[i],
            in_service=_said(in_service[i], default=True),
            **{column: values[i] for column, values in texts.items()},
            file=sheet.file,
            row=int(sheet.row[i]),
        )

    sites = [site(i) for i in np.flatnonzero(sheet.good).tolist()]
    _note_names(sheet, sites)
    _note_one_water(sheet, sites)
    return tuple(sorted(_shared(sheet, sites), key=lambda one: one.site_id))


def _shared(sheet: Sheet, sites: Iterable[FillSite]) -> Iterator[FillSite]:
    """Let sites of one source share its water: the least that any row says of it holds for all, with a note.

    Of storage and refill the least of all rows; a rate is taken over only where a row gives none, as each connection
    may have its own.
    """
    by_source: defaultdict[str, list[FillSite]] = defaultdict(list)
    for one in sites:
        by_source[one.source].append(one)
    for source, same in by_source.items():
        least = {
            word: min(given)
            for word in (*_OF_SOURCE, *_OF_CONNECTION)
            if (given := [getattr(one, word) for one in same if getattr(one, word) is not None])
        }
        for one in same:
            taken = {
                word: value
                for word, value in least.items()
                if getattr(one, word) is None or (word in _OF_SOURCE and getattr(one, word) != value)
            }
            if taken:
                said = ", ".join(f"{word} {value:g}" for word, value in taken.items())
                sheet.note(f"{one.site_id} draws on {source} as other rows do: {said} of those is taken for it too")
            yield dataclasses.replace(one, **taken) if taken else one


def _check_dry_season(sheet: Sheet, numbers: Mapping[str, FloatArray]) -> None:
    """Ask about a rate of dry seasons that is more than the site gives at all."""
    rate = np.where(np.isfinite(numbers["site_gpm"]), numbers["site_gpm"], np.inf)
    most = np.fmin(rate, numbers["fill_gpm"] * np.fmax(np.nan_to_num(numbers["positions"], nan=1.0), 1.0))
    asked = "is more in a dry season than fill_gpm, positions and site_gpm give at all: is it so?"
    sheet.ask(numbers["low_gpm"] > most, "low_gpm", numbers["low_gpm"], lambda _: asked)


def _tested(sheet: Sheet, date: str) -> TextArray:
    """Read the dates of flow tests; none is later than today and the day for which the plan stands."""
    tested = sheet.parsed("tested", cells.iso_date, cells.date_rule)
    latest = max(date, dt.date.today().isoformat())  # noqa: DTZ011 - a calendar's day, nobody's clock
    wrong = "is a digit of the year wrong?"
    sheet.fault((tested != "") & (tested > latest), "tested", f"lies in the future: {wrong}")
    sheet.fault((tested != "") & (tested < EARLIEST_TEST), "tested", f"lies before {EARLIEST_TEST}: {wrong}")
    return tested


def _note_names(sheet: Sheet, sites: Iterable[FillSite]) -> None:
    """Note sites that have one name: over the radio only their numbers tell them apart."""
    called: defaultdict[str, list[FillSite]] = defaultdict(list)
    for one in sites:
        called[one.name.casefold()].append(one)
    for alike in called.values():
        if len(alike) > 1:
            ids = ", ".join(one.site_id for one in alike)
            sheet.note(f"{ids} have one name, '{alike[0].name}': crews tell them apart by number alone")


def _note_one_water(sheet: Sheet, sites: Iterable[FillSite]) -> None:
    """Note sites on one spot that share no source: a row that stands twice is else its own backup."""
    pairs = _too_near([one for one in sites if one.in_service])
    if not pairs:
        return
    said = [f"{one.site_id} and {other.site_id} lie {far_ft:.0f} ft apart" for one, other, far_ft in pairs[:MOST_PAIRS]]
    more = f", and {len(pairs) - MOST_PAIRS:,} more pairs as near" * (len(pairs) > MOST_PAIRS)
    sheet.note(
        f"{', '.join(said)}{more}: if they are one water, give both one source_id, or take one out: else each counts "
        "as the other's backup."
    )


def _too_near(sites: Sequence[FillSite]) -> list[tuple[FillSite, FillSite, float]]:
    """Pair each site with the first before it that is as near in some month and on another source, and the feet."""
    pairs = []
    lon, lat = (np.array([getattr(one, axis) for one in sites], dtype=np.float64) for axis in ("lon", "lat"))
    for i, one in enumerate(sites):
        far_ft = FT_PER_DEG * np.hypot((lon[:i] - one.lon) * math.cos(math.radians(one.lat)), lat[:i] - one.lat)
        near = (j for j in np.flatnonzero(far_ft <= ONE_WATER_FT).tolist())
        others = (j for j in near if sites[j].source != one.source and sites[j].months & one.months)
        pairs += [(sites[j], one, float(far_ft[j])) for j in islice(others, 1)]
    return pairs


def _said(value: float, *, default: bool) -> bool:
    """Take what a cell says, or the default where it is empty."""
    return default if np.isnan(value) else bool(value)
