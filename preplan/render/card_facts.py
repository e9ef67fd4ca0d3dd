"""What the texts of one card are written from, each fact worked out once."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise
from types import MappingProxyType
from typing import Any, TypeVar

import numpy as np

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_cards import CardGroup, OtherCircuit
from preplan.plan_tables import FIRST_CIRCUIT, NO_SITE_IN, SECOND_CIRCUIT, Flag
from preplan.render import backups, crew, first_minutes, words
from preplan.render.driving_words import HERE_MI, directions
from preplan.render.flag_words import ON_THE_WAY, flags_on
from preplan.render.limit_places import flags_of_card, in_force
from preplan.render.paper import LEFT_PT, RIGHT_PT
from preplan.units import M_PER_MI

T = TypeVar("T")

WIDTH_PT = RIGHT_PT - LEFT_PT
GAP_PT = 14.0
HALF_PT = (WIDTH_PT - GAP_PT) / 2
"""Width of each of the two columns of a card's top third."""
STEP_GPM = words.CARD_STEP_GPM
FEW_STEPS = 4
"""So few steps of a leg all stand on the card."""
MOST_ASTRAY_MI, MOST_ASTRAY_SHARE = 0.3, 0.1
"""An empty leg that leaves the loaded one's roads for no more is told as the way back."""
HYDRANT = "hydrant near"
"""Flag that names the hydrant that counts; it stands with the flow."""
FILLS_ELSEWHERE = "lower level fills elsewhere"
"""Flag that names the lower levels planned at other fill sites; it stands with the fill site."""
SECOND = MappingProxyType({"site": "split", "trip": "split_trip", "fill_engine": "split_engine"})
"""Columns of the level table, and those of the second fill site."""
_OF_CIRCUIT = frozenset({"site", "trip", "fill_engine", "backup", "backup_trip", "split", "split_trip", "split_engine"})
"""Columns that belong to the circuit, not to the fire."""
CLOSE = "close"
"""Flag that names the levels whose flow is hardly above or below the required flow."""
ONE_WAY = "one way traffic"
"""Flag that names another way back, on which empties meet nobody on a road one truck wide."""


@dataclass(frozen=True)
class Facts:
    """The lead address of a card and the rows of the plan that belong to it."""

    plan: Plan
    group: CardGroup
    second: bool = False
    """Speak of the circuit over the second fill site."""
    other: OtherCircuit | None = None
    """Speak of this one."""
    _told: dict[str, list[Any]] = field(default_factory=dict, compare=False, repr=False)
    _cells: dict[str, int] = field(default_factory=dict, compare=False, repr=False)

    def over_second(self) -> Facts:
        """Speak of the circuit over the second fill site, whose steps stand in the place of those over the first."""
        group = self.group
        there = replace(group, out_steps=group.split_out_steps, back_steps=group.split_back_steps)
        return Facts(self.plan, there, second=True)

    def over_other(self, other: OtherCircuit) -> Facts:
        """Speak of the circuit over the backup, or over the fill site of other months."""
        then = other.weakest
        there = replace(
            self.group,
            out_steps=other.out_steps,
            back_steps=other.back_steps,
            strip=None if then is None else then.strip,
        )
        return Facts(self.plan.on_sheets(), there, other=other)

    @property
    def sheets(self) -> list[OtherCircuit]:
        """The other circuits with a sheet behind: of other months, and the backup's where the district asks for it.

        The backup has one besides where its fill site has a sheet of other months, which would be taken for its way.
        """
        backup = self.plan.district.cards_backup == "sheet"
        twins = {other.site for other in self.group.others if other.months}
        return [other for other in self.group.others if other.months or backup or other.site in twins]

    @property
    def hydrant(self) -> int:
        """Row of the hydrant that counts beside the tankers, -1: none."""
        counts = any(flag.code == HYDRANT for flag in self.plan.answers.flags[self.lead])
        return int(self.plan.near_hydrant.hydrant[self.lead]) if counts else -1

    @property
    def on_card(self) -> bool:
        """Tell whether it is the circuit of the card itself, none of a sheet of its own."""
        return not self.second and self.other is None

    @cached_property
    def by_hose(self) -> str:
        """Say that a hose lay meets where tankers do not, on the card and on sheets of other months; '' elsewhere."""
        if self.other is None:
            return crew.lay_meets_words(self.plan, self.lead, self.group.addresses)
        months = self.other.months
        return crew.lay_meets_then(self.plan, self.lead, months, self.group.addresses) if months else ""

    @property
    def fill_site_words(self) -> str:
        """Name what the fill site of the circuit is to the card, as a heading."""
        if self.other is None:
            when = f" in {month_words(self.own_months)}" if self.own_months else ""
            return f"second fill site{when}" if self.second else "where tankers fill"
        named = "way" if self.other.site in self._own_sites else "fill site"
        shown = int(self.plan.answers.level[self.lead])
        stands = backups.stands_in_words(self.plan, self.lead, shown) if shown >= 0 else ""
        stands_in = f"backup fill site{f' in {stands}' if stands else ''}"
        when = f"{named} in {month_words(self.other.months)}" if self.other.months else ""
        return ", ".join(filter(None, [stands_in * self.other.backup, when]))

    @property
    def backup_months(self) -> str:
        """Name the months in which the backup is what the front tells of it; '' where that is so all year."""
        shown = int(self.plan.answers.level[self.lead])
        return backups.told_in(self.plan, self.lead, shown) if shown >= 0 else ""

    @cached_property
    def _backup_in(self) -> list[int]:
        """List the months in which the backup of the front stands in, whatever it holds."""
        shown = int(self.plan.answers.level[self.lead])
        if shown >= 0:
            return backups.stands_in(self.plan, self.lead, shown)
        return [month for one in self.plan.seasons for month in one.months]

    @property
    def backup_shut(self) -> list[int]:
        """List the months in which tankers come to the backup of the front by another way than is told."""
        shut = {month for other in self.group.others if other.backup for month in other.shut_months}
        return sorted(shut.intersection(self._backup_in))

    @property
    def _own_sites(self) -> tuple[int, ...]:
        """Fill sites of the card itself: none, one, or two where tankers are split."""
        return _own_sites(self.plan, self.lead, int(self.plan.answers.level[self.lead]))

    @cached_property
    def own_months(self) -> list[int]:
        """List the months of which front and sheet of the second fill site tell, where others have sheets of their own.

        None where these hold all year.
        """
        return own_months(self.plan, self.lead, int(self.plan.answers.level[self.lead]), self.group.others)

    @property
    def circuit(self) -> int:
        """Which of the two it is, as flags have it."""
        return SECOND_CIRCUIT if self.second else FIRST_CIRCUIT

    @cached_property
    def flags(self) -> list[Flag]:
        """Flags of the lead address that concern who drives this circuit; of another one what it drives over."""
        if self.other is not None:
            return [*self.other.flags]
        return flags_on(self.plan, self.lead, self.circuit)

    @cached_property
    def card_flags(self) -> list[Flag]:
        """The same of all addresses of the card."""
        if self.other is not None:
            return [*self.other.flags]
        return flags_of_card(self.plan, self.group, self.circuit)

    @cached_property
    def kept_off(self) -> list[Flag]:
        """Flags of the card in front whose limits hold in the months of a sheet too, and which it does not drive over.

        A road that is shut or posted then is among them.
        """
        if self.other is None:
            return []
        months = tuple(sorted({*self.other.months, *(self._backup_in if self.other.backup else ())}))
        driven = {
            *self.plan.forest.segment[[row for leg in self.plan.trip_rows(self.other.trip) for row in leg]].tolist()
        }
        front = (
            flag
            for circuit in (FIRST_CIRCUIT, SECOND_CIRCUIT)
            for flag in flags_of_card(self.plan, self.group, circuit)
        )
        off = [flag for flag in dict.fromkeys(front) if flag.code not in ON_THE_WAY and not {*flag.stretches} & driven]
        return in_force(self.plan, off, months)

    @property
    def lead(self) -> int:
        """Address whose numbers the card prints."""
        return self.group.lead

    @cached_property
    def level(self) -> int:
        """Response level shown, -1: none; of another circuit the one that it is planned for."""
        if self.other is not None:
            return self.other.level
        return int(self.plan.answers.level[self.lead])

    @property
    def status(self) -> str:
        """Status word of the lead address."""
        return str(self.plan.answers.status[self.lead])

    def cell(self, column: str) -> int:
        """Give an index of the level table at the level shown, -1: none; another circuit has its own site and trip."""
        if self.other is not None and column in _OF_CIRCUIT:
            return {"site": self.other.site, "trip": self.other.trip}.get(column, -1)
        if column not in self._cells:
            named = SECOND.get(column, column) if self.second else column
            at = self.lead, self.level
            self._cells[column] = int(getattr(self.plan.levels, named)[at]) if self.level >= 0 else -1
        return self._cells[column]

    @cached_property
    def astray(self) -> str | None:
        """How the empty leg leaves the loaded one's roads; see `astray`; None without a trip. A layout asks again.

        Who turns round elsewhere than at the first place past the dump site is told every step; so is who leaves the
        way he came at all, where these are few.
        """
        trip = self.cell("trip")
        if trip < 0 or any(step.turns_round and not step.past for step in self.group.back_steps):
            return None
        said = astray(self.plan, trip)
        return None if said and len(self.group.back_steps) <= FEW_STEPS else said

    @cached_property
    def turns_by_dump(self) -> bool:
        """Tell whether tankers turn round at the dump site, on the spot or within a tanker's length."""
        steps = self.group.back_steps
        return self.turns_here or any(one.past == "dump site" and one.past_mi < HERE_MI for one in steps)

    def once(self, what: str, write: Callable[[], list[T]]) -> list[T]:
        """Write some sentences, or set some lines, unless that is done: a layout asks again."""
        if what not in self._told:
            self._told[what] = write()
        told: list[T] = self._told[what]
        return told

    def told(self, *, loaded: bool) -> list[str]:
        """Say the steps of a leg with their numbers."""
        steps = self.group.out_steps if loaded else self.group.back_steps

        def said() -> list[str]:
            numbered = directions(steps) or [("1", "Directions are not known")]
            return [f"{number}. {step}" for number, step in numbered]

        return self.once("loaded leg" if loaded else "empty leg", said)

    @cached_property
    def officer_words(self) -> str:
        """What `first_minutes` sums up of the lead address; a layout asks again."""
        said = first_minutes.officer_words(self.plan, self.lead, self.group.addresses, self.group.strip)
        return f"{said}{first_minutes.at_once_in(self.plan, self.group)}" if said else ""

    @property
    def close_call(self) -> bool:
        """Tell whether the flow of the level shown is hardly above or below the required flow."""
        named = self.plan.district.levels[self.level].name if self.level >= 0 else ""
        return named in self._close

    @property
    def no_site_then(self) -> bool:
        """Tell whether no fill site is open in all months in which no tanker comes: no road lacks then."""
        codes = {flag.code for flag in self.plan.answers.flags[self.lead]}
        return NO_SITE_IN in codes and "road closed" not in codes

    @property
    def only_close(self) -> bool:
        """Tell whether that is so of no other level."""
        return len(self._close) == 1

    @property
    def _close(self) -> tuple[str, ...]:
        """Names of the levels of which it is so."""
        flags = self.plan.answers.flags[self.lead]
        return next((flag.names for flag in flags if flag.code == CLOSE), ())

    @cached_property
    def tankers(self) -> frozenset[int]:
        """Tankers that drive the circuit, rows of the table of units."""
        if self.other is not None:
            return frozenset(self.other.tankers)
        levels, cell = self.plan.levels, (self.lead, self.level)
        here = levels.used[cell] & (levels.at_split[cell] == self.second)
        return frozenset(np.flatnonzero(here).tolist())

    @property
    def turns_here(self) -> bool:
        """Tell whether tankers turn round on the spot, where they dump."""
        return bool(self.plan.trips.turn_at_dump[self.cell("trip")])

    @property
    def level_words(self) -> str:
        """The level shown, in full."""
        return words.level_words(self.plan.district.levels[self.level].name)


def _own_sites(plan: Plan, address: int, level: int) -> tuple[int, ...]:
    """Fill sites of an answer: none, one, or two where tankers are split."""
    both = [int(table[address, level]) for table in (plan.levels.site, plan.levels.split)] if level >= 0 else []
    return tuple(site for site in both if site >= 0)


def own_months(plan: Plan, address: int, level: int, others: Iterable[OtherCircuit]) -> list[int]:
    """List the months in which tankers fill where an answer has them fill, by its own way; none where that is all year.

    They are of all seasons of that answer, not of the one that decides alone. `others` are the circuits that stand on
    sheets of their own.
    """
    mine = _own_sites(plan, address, level)
    behind = {month for other in others if other.site in mine for month in other.months}
    by_season = [(one.sites_of(address, level), one.months) for one in plan.seasons]
    if not mine or ({sites for sites, _ in by_season} <= {mine} and not behind):
        return []
    return [month for sites, months in by_season if sites == mine for month in months if month not in behind]


def astray(plan: Plan, trip: int) -> str | None:
    """Say on which roads the empty leg leaves the loaded one's: '' nowhere, None where it does so for long.

    Who drives on to turn round and comes back past the dump site leaves them nowhere: its step says how far that is.
    """
    (out, back), forest = plan.trip_rows(trip) if trip >= 0 else ([], []), plan.forest
    if not out or not back:
        return None
    there = set(zip(forest.segment[out].tolist(), (~forest.forward[out]).tolist(), strict=True))
    home = list(zip(forest.segment[back].tolist(), forest.forward[back].tolist(), strict=True))
    turn = next((at for at, (one, then) in enumerate(pairwise(home), 1) if one == (then[0], not then[1])), 0)
    there.update((segment, not forward) for segment, forward in home[:turn])
    off = [segment for segment, forward in home[turn:] if (segment, forward) not in there]
    miles = float(plan.roads.length_m[off].sum()) / M_PER_MI
    if miles > min(MOST_ASTRAY_MI, MOST_ASTRAY_SHARE * float(plan.trips.back_mi[trip])):
        return None
    roads = [name for name in dict.fromkeys(words.road_words(plan, segment) for segment in off) if name]
    on = f" on {' and '.join(roads[:2])}" if 0 < len(roads) <= 2 else ""
    return f", but for {words.way_length(miles)}{on}" if off else ""
