"""Where the limits are that flags name: how far from the dump site, and what their brackets on a map say."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from preplan.plan import CardGroup, Flag, Plan
from preplan.render import scene, words
from preplan.render.flag_words import flag_words, flags_on
from preplan.units import FT_PER_MI

_HERE_FT = 60.0
"""A limit so near is at the dump site."""


def place_words(plan: Plan, flag: Flag, address: int) -> str:
    """Say how far from an address's dump site the limit is that a flag names, as a sentence; '' for any other flag."""
    lon, lat = float(plan.frontages.lon[address]), float(plan.frontages.lat[address])
    if not flag.stretches or not math.isfinite(lon + lat):
        return ""
    lonlat = np.vstack([plan.line(stretch) for stretch in flag.stretches])
    off = scene.Plane(lon, lat).feet(lonlat[:, 0], lonlat[:, 1])
    east, north = off[np.hypot(*off.T).argmin()].tolist()
    far_ft = math.hypot(east, north)
    if far_ft < _HERE_FT:
        return " It is at the dump site."
    return f" It is {words.way_length(far_ft / FT_PER_MI)} {scene.compass(east, north)} of the dump site."


def limit_words(plan: Plan, flag: Flag, address: int) -> str:
    """Say a flag, and of a limit where it is."""
    return flag_words(flag) + place_words(plan, flag, address)


def flags_of_card(plan: Plan, group: CardGroup, circuit: int) -> list[Flag]:
    """List what drivers of one circuit of a card must hear, whichever address it concerns; the lead's first."""
    return [flag for a in (group.lead, *group.addresses) for flag in flags_on(plan, a, circuit)]


def weight_warnings(plan: Plan, flags: Iterable[Flag], codes: frozenset[str], lead: int) -> list[str]:
    """Say the flags of some codes, the gravest first: each limit of a circuit once."""
    found = [flag for flag in flags if flag.code in codes]
    # who is too heavy may differ between neighbours: the lead's words stand
    said = {str(flag.value).partition(" (")[0]: limit_words(plan, flag, lead) for flag in reversed(found)}
    return list(reversed(said.values()))


def named_limits(flags: Sequence[Flag]) -> dict[int, str]:
    """Give each stretch whose limit one of some flags names, with the limit."""
    return {stretch: flag.limit for flag in reversed(flags) for stretch in flag.stretches}


def trip_limits(plan: Plan, trip: int) -> str:
    """Say what limits a round trip: its vehicle, postings, bridges without one, where none can pass; no full stop."""
    trips, cut = plan.trips, plan.cuts[int(plan.trips.cut[trip])]
    weighs = f"{words.need(cut.loaded_lb)} lb loaded, {words.need(cut.empty_lb)} lb empty"
    said = [f"found for tankers up to {weighs}, {cut.height_ft:g} ft high"]
    posted = [_lowest(plan, rows) for rows in plan.trip_rows(trip)]
    for leg, lowest in zip(("loaded", "empty"), posted, strict=True):
        if lowest:
            kind, pounds = lowest.split(" ", 1)
            said.append(f"lowest {'rating' if kind == 'rated' else 'posting'} on the {leg} leg {pounds}")
    avoided = float(trips.posted_avoided_min[trip])
    if round(avoided, 1) > 0.0:
        said.append(f"goes {words.minutes(avoided)} round what is posted or rated: no short cuts")
    bridges = int(trips.unposted_bridges[trip])
    if bridges:
        said.append(f"{bridges} crossing{'s' * (bridges > 1)} of bridges without a posted weight: unknown, not safe")
    narrow_mi = float(trips.narrow_mi[trip])
    if round(narrow_mi, 1) > 0.0:
        said.append(f"one truck wide for {words.miles(narrow_mi)}: loaded goes first, agree by radio where empty waits")
    return "; ".join(said)


def _lowest(plan: Plan, rows: list[int]) -> str:
    """Name the lowest weight limit on a leg, posted or rated; '' where there is none."""
    segments = plan.forest.segment[rows]
    if not len(rows):
        return ""
    return words.weight_words(plan.limits, int(segments[plan.limits.max_lb[segments].argmin()]))
