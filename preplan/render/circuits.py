"""When the chosen circuits hold and who drives them, for pages and files that show one by itself."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from preplan.months import month_words, months_of
from preplan.plan import Plan
from preplan.plan_cards import OtherCircuit
from preplan.plan_tables import FIRST_CIRCUIT, NOT_THIS_WAY, SECOND_CIRCUIT, Flag
from preplan.records import BoolArray
from preplan.render import words
from preplan.render.card_seasons import elsewhere_words, splits
from preplan.render.flag_words import flags_on


def months_driven(plan: Plan, address: int, *, second: bool) -> list[int]:
    """List the months in which tankers drive the circuit of the level shown, over its fill site or the `second` one.

    Not those in which they fill elsewhere, nor those in which its way does not hold.
    """
    cell = address, int(plan.answers.level[address])
    own = [int(sites[cell]) for sites in (plan.levels.site, plan.levels.split)]
    mine = tuple(site for site in own if site >= 0)
    shut = {month for flag in not_this_way(plan, address, second=second) for month in months_of(str(flag.value))}
    taken = (one.months for one in plan.seasons if one.sites_of(*cell) == mine)
    return [month for months in taken for month in months if month not in shut]


def not_this_way(plan: Plan, address: int, *, second: bool) -> list[Flag]:
    """List the flags that name months in which the way of one of an address's circuits does not hold."""
    circuit = SECOND_CIRCUIT if second else FIRST_CIRCUIT
    return [flag for flag in flags_on(plan, address, circuit) if flag.code == NOT_THIS_WAY]


def drivers_words(plan: Plan, address: int, *, second: bool) -> str:
    """Say who drives one of two circuits of the level shown, and where the others fill; '' where all fill at one."""
    cell = address, plan.answers.level[address]
    split = int(plan.levels.split[cell])
    if split < 0:
        return ""
    there = plan.levels.at_split[cell]
    here, others = (
        words.printable(" ".join(plan.unit_ids(mask, address))) for mask in (plan.levels.used[cell] & ~there, there)
    )
    return f"{others} only" if second else f"{here} only, {others} fill at fill site {split + 1}"


def then_words(plan: Plan, address: int, other: OtherCircuit) -> str:
    """Say the same of a circuit of other months."""
    if not splits(plan, address, other):
        return ""
    here = words.printable(" ".join(plan.units[unit].unit_id for unit in other.tankers))
    return f"{here} only, then {'; '.join(elsewhere_words(plan, other, other.elsewhere))}"


def in_other_months(plan: Plan, site: int) -> tuple[BoolArray, str]:
    """Mark the addresses, (addresses,), at which a site is taken in months that do not decide, and name those months.

    'some months' where those of all these addresses together are the whole year.
    """
    shown = plan.answers.shown
    decides = (shown(plan.levels.site) == site) | (shown(plan.levels.split) == site)
    taken = [
        (
            ((shown(line.best_site) == site) | (shown(line.split_site) == site)) & ~decides
            # where no level can be named for the year, a level of these months fills there
            | np.any((line.best_site == site) | (line.split_site == site), axis=1) & (plan.answers.status == "no route")
        )
        for line in plan.seasons
    ]
    return _when(plan, taken)


def stands_in_besides(plan: Plan, site: int) -> tuple[BoolArray, str]:
    """Mark the addresses at which a site stands in in months alone that do not decide, and name those months too."""
    cell = np.arange(len(plan.answers)), np.maximum(plan.answers.level, 0)
    counts = (plan.answers.level >= 0) & (plan.levels.backup[cell] != site)
    return _when(plan, [(line.backup_site[cell] == site) & counts for line in plan.seasons])


def _when(plan: Plan, taken: Sequence[BoolArray]) -> tuple[BoolArray, str]:
    """Sum up the addresses that are marked in each season, and name the months of those in which some are."""
    months = {month for line, some in zip(plan.seasons, taken, strict=True) if some.any() for month in line.months}
    named = month_words(months) if len(months) < sum(len(line.months) for line in plan.seasons) else "some months"
    return np.any(taken, axis=0), named
