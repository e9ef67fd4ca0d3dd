"""Searches of one fill site that stay where the ways that are looked for can lie, for several vehicles at once.

Every address says how far it is to be looked for. Carried back along the roads, that tells at each state how far from
a site a way may already be there and still reach some address in time: the *slack*. What lies farther from a site than
its slack is left out before the search begins; a lower bound stands in for how far it lies (`leg_bounds`). A way that
ends in time runs through no state that is left out, so its minutes are those of a search of everything, to the last
bit: the same sums along the same roads. What ends later may read longer than it is, or as no way.

A heavier vehicle that drives some of the same roads, as quickly, follows the lighter one: only what lies behind a road
that it may not drive is searched again, from wherever else a way leads in.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array, vstack

from preplan.records import FloatArray, IntArray
from preplan.roads.leg_bounds import LegBounds
from preplan.roads.network import TINY_MIN
from preplan.roads.search import Launch, Legs, Search, Spots, search_rows

MarkArray = npt.NDArray[np.uint32]
"""One bit for each follower."""
MOST_FOLLOWERS = 32
EVERYONE = np.uint32(0xFFFFFFFF)
ROUNDING, ROUNDING_MIN = 1e-6, 1e-6
"""Relative, and in minutes: sums in another order, and in single precision, differ by far less."""


@dataclass(slots=True)
class _Sheet:
    """What one site's search writes on; the next writes over it, so a large county is not laid out anew each time."""

    minutes: FloatArray
    link: IntArray
    marks: MarkArray
    """(2, search states) the followers that drive all states of the way, the last one included; not yet the site's."""
    place: IntArray
    """(search states,) where each stands among those kept, -1 left out."""

    @classmethod
    def blank(cls, states: int, *, links: bool, marks: bool) -> _Sheet:
        """Lay out a sheet on which nothing is reached."""
        return cls(
            minutes=np.full((2, states), np.inf),
            link=np.full((2 if links else 0, states), -1, dtype=np.int32),
            marks=np.full((2 if marks else 0, states), EVERYONE),
            place=np.full(states, -1, dtype=np.int32),
        )

    def wipe(self, kept: IntArray) -> None:
        """Forget what some states hold; links and marks say nothing where there are no minutes."""
        self.minutes[:, kept] = np.inf
        self.place[kept] = -1


@dataclass(frozen=True, slots=True, kw_only=True)
class OneSite:
    """What was found from one site; it holds until the next site is searched."""

    narrow: Narrow
    site: int
    kept: IntArray
    """(kept,) search states among which it was searched."""
    back: csr_array
    """(kept + 2, kept + 2) the ways between them, turned round; the last two are the site's directions."""
    first_min: FloatArray
    """(2, kept) minutes of the first vehicle."""
    first_marks: MarkArray
    """(2, kept) the followers that drive all of its way."""
    search: Search
    """As the first vehicle drives; gone when a follower's is asked for."""
    sheet: _Sheet

    def broken(self, to: Spots) -> MarkArray:
        """Mark the followers that may not drive every way found between the site and each place, (places,)."""
        marks, own = self.narrow.marks, self.search.spots.state.ravel()
        drive = self.sheet.marks[:, to.state] & marks[own][:, None, None] & marks[to.state]
        at = np.nonzero(own[:, None, None] == to.state)
        round_ = self.search.own_next[at[0]]
        drive[at] &= np.where(round_ >= 0, self.sheet.marks[at[0], round_], EVERYONE)
        missing: MarkArray = np.bitwise_or.reduce(~drive, axis=(0, 2))
        return missing

    def followed(self, follower: int) -> Search:
        """Search again what the first vehicle reached by roads that a follower may not drive."""
        bit, marks = np.uint32(1 << follower), self.narrow.marks
        origin = np.array([0.0, np.inf])
        minutes = self.first_min.copy()
        for row, own in enumerate(self.search.spots.state.ravel().tolist()):
            if not marks[own] & bit:
                minutes[row] = np.inf
                continue
            lost = np.flatnonzero((self.first_marks[row] & bit) == 0)
            again = lost[(marks[self.kept[lost]] & bit > 0) & np.isfinite(minutes[row, lost])].astype(np.int32)
            minutes[row, lost] = np.inf
            minutes[row, again] = _from_around(self.back, np.append(minutes[row], np.roll(origin, row)), again)
        self.sheet.minutes[:, self.kept] = minutes
        launch = self.narrow.launches[follower + 1]
        return launch.told(np.array([self.site], dtype=np.int32), self.sheet.minutes, self.sheet.link[:0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Narrow:
    """All sites of a launch, to be searched as far as somebody asks."""

    launches: tuple[Launch, ...]
    """The first vehicle's, then its followers'."""
    bounds: LegBounds
    slack_min: FloatArray
    """(search states,) how far from a site a way may be at the start of each state; -inf: nobody asks for it."""
    marks: MarkArray
    """(search states,) the followers that may drive each."""

    @classmethod
    def of(cls, launches: Sequence[Launch], dumps: Spots, limit_min: FloatArray, bounds: LegBounds) -> Narrow:
        """Ask for every leg to or from the addresses up to `limit_min` (addresses,); -inf: none, inf: all."""
        first, network = launches[0], launches[0].fleet.network
        marks = np.zeros(network.states, dtype=np.uint32)
        for number, launch in enumerate(launches[1:]):
            marks |= np.where(launch.fleet.usable, np.uint32(1 << number), np.uint32(0))
        slack = _slack(first, dumps.state.ravel(), dumps.driven.ravel(), np.repeat(limit_min, 2))
        return cls(launches=tuple(launches), bounds=bounds, slack_min=slack, marks=marks[network.base])

    def searches(self, sites: IntArray, *, links: bool) -> Iterator[OneSite]:
        """Search some sites in turn."""
        network = self.launches[0].fleet.network
        sheet = _Sheet.blank(network.search_states, links=links, marks=len(self.launches) > 1)
        tail, doubled = network.tail[network.base], network.doubled
        room = np.full(self.bounds.junction_min.shape[1], -np.inf)
        np.maximum.at(room, tail, self.slack_min * (1.0 + ROUNDING) + ROUNDING_MIN)
        for site in sites.tolist():
            near = self.bounds.junction_min[site] <= room
            kept = np.flatnonzero(near[tail]).astype(np.int32)
            yield self._search(site, kept, float(room[near].max(initial=0.0)), sheet)
            sheet.wipe(kept)
            sheet.wipe(doubled)

    def _search(self, site: int, kept: IntArray, limit_min: float, sheet: _Sheet) -> OneSite:
        """Search one site among the states that are kept, and write the sheet."""
        launch, states, count = self.launches[0], len(sheet.place), len(kept)
        sheet.place[kept] = np.arange(count, dtype=np.int32)
        arcs = _among(launch.square, np.append(kept, states + 2 * site + np.arange(2)), sheet.place)
        followed = len(self.launches) > 1
        minutes, link = search_rows(
            arcs, count, np.array([count, count + 1]), limit_min=limit_min, links=followed or len(sheet.link) > 0
        )
        sheet.minutes[:, kept] = minutes
        if len(sheet.link):
            sheet.link[:, kept] = np.append(kept, -1)[link]
        along = _along(link, self.marks[kept]) if followed else np.empty((0, count), dtype=np.uint32)
        if followed:
            sheet.marks[:, kept] = along
        some = np.array([site], dtype=np.int32)
        return OneSite(
            narrow=self,
            site=site,
            kept=kept,
            back=csr_array(arcs.T) if followed else arcs,
            first_min=minutes,
            first_marks=along,
            search=launch.told(some, sheet.minutes, sheet.link, sheet.marks),
            sheet=sheet,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Again:
    """Searches that are made again, a site at a time, where their links are asked for; see `trips.Reach`."""

    launch: Launch
    bounds: LegBounds

    @property
    def spots(self) -> Spots:
        """The sites."""
        return self.launch.spots

    def parts(self, legs: Legs) -> Iterator[tuple[Search, IntArray, IntArray]]:
        """Search the sites of some legs in turn; each search holds until the next is given."""
        if not len(legs.row):
            return
        slack = _slack(self.launch, legs.state, legs.driven, legs.at_most_min)
        nobody = np.zeros(len(slack), dtype=np.uint32)
        narrow = Narrow(launches=(self.launch,), bounds=self.bounds, slack_min=slack, marks=nobody)
        order = np.argsort(legs.row >> 1, kind="stable").astype(np.int32)
        site, first = np.unique(legs.row[order] >> 1, return_index=True)
        searches = narrow.searches(site.astype(np.int32), links=True)
        for found, index in zip(searches, np.split(order, first[1:]), strict=True):
            yield found.search, index, (legs.row[index] & 1).astype(np.int32)


def _slack(launch: Launch, state: IntArray, driven: FloatArray, limit_min: FloatArray) -> FloatArray:
    """Carry how far ways may be at places on some states back along the roads, from all of them in one search."""
    fleet, network = launch.fleet, launch.fleet.network
    states = network.search_states
    if np.isposinf(limit_min).any():
        return np.full(states, np.inf)
    # From the state's start an outward way drives what lies behind the place; an inward one begins beyond it.
    behind = driven * fleet.state_min[state]
    asked = limit_min + (behind if launch.inward else -behind)
    most = np.full(network.states, -np.inf)
    np.maximum.at(most, state, np.where(np.isnan(driven), -np.inf, asked))
    most = most[network.base]
    top = float(most.max(initial=-np.inf))
    if top < 0.0:
        return np.full(states, -np.inf)
    asks = np.flatnonzero(most >= 0.0)
    start = csr_array((np.maximum(top - most[asks], TINY_MIN), (np.zeros_like(asks), asks)), shape=(1, states))
    both = csr_array(vstack([launch.square[:states, :states].T, start]))
    square = csr_array((both.data, both.indices, both.indptr), shape=(states + 1, states + 1))
    limit = top * (1.0 + ROUNDING) + ROUNDING_MIN
    spent, _ = search_rows(square, states, np.array([states]), limit_min=limit, links=False)
    slack: FloatArray = top - spent[0]
    return slack


def _rows_of(matrix: csr_array, rows: IntArray) -> tuple[IntArray, IntArray]:
    """Give the arcs of some rows of a matrix, one row after the other, and how many each row has."""
    begin = matrix.indptr[rows]
    length = matrix.indptr[rows + 1] - begin
    ends = np.cumsum(length)
    arc = np.repeat(begin - ends + length, length) + np.arange(ends[-1] if len(ends) else 0, dtype=np.int32)
    return arc, length


def _among(square: csr_array, rows: IntArray, place: IntArray) -> csr_array:
    """Take some rows of a square matrix, and of their arcs those into the states that have a place."""
    arc, length = _rows_of(square, rows)
    to = place[square.indices[arc]]
    stays = to >= 0
    until = np.concatenate([[0], np.cumsum(stays, dtype=np.int32)])
    indptr = until[np.concatenate([[0], np.cumsum(length)])].astype(np.int32)
    return csr_array((square.data[arc[stays]], to[stays], indptr), shape=(len(rows), len(rows)))


def _along(link: IntArray, marks: MarkArray) -> MarkArray:
    """Give the marks that all states have on the way that `link` (rows, states) follows from each, -1 at its end."""
    rows, count = link.shape
    # One more state stands for the end; every step doubles how far each has looked.
    at = np.column_stack([np.where(link < 0, count, link), np.full(rows, count)])
    at = (at + (count + 1) * np.arange(rows)[:, None]).ravel()
    shared = np.tile(np.append(marks, EVERYONE), rows)
    while True:
        further = shared & shared[at]
        if (further == shared).all():
            return shared.reshape(rows, -1)[:, :count]
        shared, at = further, at[at]


def _from_around(back: csr_array, minutes: FloatArray, again: IntArray) -> FloatArray:
    """Search states `again` anew from all others, whose minutes are known; `back` are the ways, turned round."""
    count = len(again)
    arc, length = _rows_of(back, again)
    start, to = back.indices[arc], np.repeat(np.arange(count), length)
    place = np.full(len(minutes), -1, dtype=np.int32)
    place[again] = np.arange(count, dtype=np.int32)
    inside = place[start] >= 0
    entered = np.full(count, np.inf)
    np.minimum.at(entered, to[~inside], (minutes[start] + back.data[arc])[~inside])
    first = np.flatnonzero(np.isfinite(entered))
    row = np.concatenate([place[start[inside]], np.full(len(first), count)])
    weight = np.concatenate([back.data[arc[inside]], entered[first]])
    graph = csr_array((weight, (row, np.concatenate([to[inside], first]))), shape=(count + 1, count + 1))
    found, _ = search_rows(graph, count, np.array([count]), limit_min=np.inf, links=False)
    anew: FloatArray = found[0]
    return anew
