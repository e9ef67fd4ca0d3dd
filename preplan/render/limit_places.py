"""Where the limits are that flags name: how far from the dump site, and what their brackets on a map say."""

from __future__ import annotations

import math

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


def weight_warnings(plan: Plan, group: CardGroup, codes: frozenset[str], circuit: int) -> list[str]:
    """Say the flags of some codes, the gravest first, for any address of a card: each limit of a circuit once."""
    found = [flag for a in (group.lead, *group.addresses) for flag in flags_on(plan, a, circuit) if flag.code in codes]
    # who is too heavy may differ between neighbours: the lead's words stand
    said = {str(flag.value).partition(" (")[0]: limit_words(plan, flag, group.lead) for flag in reversed(found)}
    return list(reversed(said.values()))


def named_limits(plan: Plan, group: CardGroup, circuit: int) -> dict[int, str]:
    """Give each stretch whose limit a flag of a card names, for who drives one circuit, with the limit."""
    flags = [flag for a in (group.lead, *group.addresses) for flag in flags_on(plan, a, circuit) if flag.stretches]
    return {stretch: flag.limit for flag in reversed(flags) for stretch in flag.stretches}
