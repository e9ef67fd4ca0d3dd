"""Which fill site stands in for the first one, in which months, and what it holds then."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_cards import CardGroup, OtherCircuit
from preplan.plan_tables import ROUNDING_GPM, SeasonLine
from preplan.render import words


@dataclass(frozen=True, slots=True)
class Backup:
    """What stands in at one address and level in some months."""

    months: tuple[int, ...]
    first: int
    """Fill site that it stands in for."""
    site: int
    """-1: none stands in."""
    gpm: float
    """Held with all tankers there; NaN: none stands in."""
    steady_gpm: float
    """What it brings in the long run, where that is told; NaN in the others."""


_NONE = (np.nan, np.nan)


def stands_in(plan: Plan, address: int, level: int) -> list[int]:
    """List the months in which the backup of the season that decides stands in."""
    mine = int(plan.levels.backup[address, level])
    those = (season for season in plan.seasons if season.backup_site[address, level] == mine)
    return [month for season in those for month in season.months]


def stands_in_words(plan: Plan, address: int, level: int) -> str:
    """Name these months; '' where they are the whole year."""
    return _unless_all_year(plan, stands_in(plan, address, level))


def as_told(plan: Plan, address: int, level: int) -> list[int]:
    """List the months for which what is told of the season that decides is true: that backup, and no less from it."""
    those = (season for season in plan.seasons if _is_as_told(plan, season, address, level))
    return [month for season in those for month in season.months]


def told_in(plan: Plan, address: int, level: int) -> str:
    """Name these months; '' where it is true all year."""
    return _unless_all_year(plan, as_told(plan, address, level))


def _unless_all_year(plan: Plan, months: list[int]) -> str:
    return month_words(months) if len(months) < sum(len(season.months) for season in plan.seasons) else ""


def in_other_months(plan: Plan, address: int, level: int) -> Iterator[Backup]:
    """Give what stands in, season by season, where that is not as told."""
    cell = address, level
    for season in plan.seasons:
        if season.best_site[cell] >= 0 and not _is_as_told(plan, season, address, level):
            there = int(season.backup_site[cell])
            flows = (float(season.backup_gpm[cell]), float(season.backup_steady_gpm[cell])) if there >= 0 else _NONE
            yield Backup(season.months, int(season.best_site[cell]), there, *flows)


def _is_as_told(plan: Plan, season: SeasonLine, address: int, level: int) -> bool:
    """Tell whether a season's backup is the one told, holds no less on paper, and meets if that does, and only then."""
    cell = address, level
    if season.backup_site[cell] != plan.levels.backup[cell]:
        return False
    then, told = float(season.backup_gpm[cell]), float(plan.levels.backup_gpm[cell])
    if not (np.isfinite(then) and np.isfinite(told)):
        return True
    least = float(plan.needs.met_from_gpm[address])
    lower = words.round_down(then, words.CARD_STEP_GPM) < words.round_down(told, words.CARD_STEP_GPM)
    return not lower and (then >= least) == (told >= least)


def planned(group: CardGroup, site: int, months: tuple[int, ...]) -> OtherCircuit | None:
    """Find who comes and how far it is where a fill site stands in in a season; None where no tanker gets there."""
    return next((one for one in group.stand_ins if one.site == site and one.months == months), None)


def way_words(plan: Plan, one: OtherCircuit) -> str:
    """Say how far tankers drive to and from what stands in in other months, and how long that takes."""
    trips, trip = plan.sheet_trips, one.trip
    out, back = (words.miles(float(column[trip])) for column in (trips.out_mi, trips.back_mi))
    far = f"{out} each way" if out == back else f"loaded {out}, empty {back}"
    return f"{far}, round trip {words.minutes(float(trips.out_min[trip] + trips.back_min[trip]))}"


def lines_of(plan: Plan, address: int, level: int) -> list[str]:
    """Write a line for the other months, where what is told does not hold all year; else none."""
    need = float(plan.needs.required_gpm[address])
    lines: dict[str, list[int]] = {}
    for then in in_other_months(plan, address, level):
        held = f"backup fill site {then.site + 1}, {held_words(then.gpm, need, then.steady_gpm)}"
        lines.setdefault(held if then.site >= 0 else "NO backup", []).extend(then.months)
    return [f"{words.first_up(month_words(months))}: {said}" for said, months in lines.items()]


def held_words(gpm: float, need_gpm: float, steady_gpm: float = math.nan) -> str:
    """Write what is held, and whether it is enough; where `steady_gpm` is told, what comes later.

    >>> held_words(247.0, 500.0), held_words(0.0, 500.0, 0.0)
    ('240 gpm, does not meet', '0 gpm, nor later; does not meet')
    >>> held_words(0.0, 500.0, 128.0)
    '0 gpm without a break, later 120 gpm steady; does not meet'
    >>> held_words(58.0, 500.0, 128.0), held_words(11.0, 500.0, 14.0)
    ('50 gpm without a break, later 120 gpm steady; does not meet', '10 gpm, does not meet')
    """
    have, _ = words.flow_pair(gpm, need_gpm)
    meets = "meets" if gpm >= need_gpm - ROUNDING_GPM else "does not meet"
    later = words.supply(steady_gpm, words.CARD_STEP_GPM)
    if not math.isfinite(steady_gpm) or later == have != "0":
        return f"{have} gpm, {meets}"
    return f"{have} gpm{', nor later' if later == '0' else f' without a break, later {later} gpm steady'}; {meets}"
