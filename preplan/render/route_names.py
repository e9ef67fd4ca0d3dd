"""Names of the roads that a trip drives, beside its line: they are what a driver looks for on a map."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import groupby
from typing import NamedTuple

import numpy as np

from preplan.plan_cards import Step
from preplan.records import FloatArray
from preplan.render import paper, scene, words
from preplan.render.paper import SMALL_PT
from preplan.render.scene import Room, Spot

MOST_NAMED = 6
"""Roads that are named, the last one first: to a long way stand its directions."""
_LEAST_PT = 15.0
"""A road that is seen for less has no name, which would seem to be that of the next one; but for the last one, at whose
end the star stands."""
_WHOLE = 1.0 - 1e-9
_AT = np.array([0.5, 0.35, 0.65, 0.2, 0.8, 0.08, 0.92])
"""Where along its road a name may stand, the best place first."""
_HIGH_PT = SMALL_PT * 1.05
_OFF_PT = (9.5, 14.0, 19.0)
"""How far its middle may be from the line, which is drawn double, the empty way beside it."""
_ROUND_PT = 9.0
"""From the line to a level name beside, above or below it."""
_ROUND = np.array([(1.0, 0.0), (-1.0, 0.0)] + [
    (east, north * _ROUND_PT) for north in (1.0, -1.0, 1.5, -1.5) for east in (0.0, 0.5, -0.5)
])  # fmt: skip
"""Where that is: east in shares of half its width, north in points."""


class Driven(NamedTuple):
    """A road of a leg, and where it begins and ends, in shares of the leg."""

    name: str
    begins: float
    ends: float


def driven_roads(steps: Sequence[Step], named: Collection[str]) -> tuple[Driven, ...]:
    """List the roads of a leg that have one of some names: without the number that stands behind a name.

    >>> mill, main, last = (Step(road=road, miles=2.0, turn="") for road in ("Mill Road", "Main Street (SR 9)", "lane"))
    >>> [tuple(road) for road in driven_roads([mill, mill, main, last], {"Mill Road", "Main Street"})]
    [('Mill Road', 0.0, 0.5), ('Main Street', 0.5, 0.75)]
    """
    total = sum(step.miles for step in steps) or 1.0
    listed, driven = [], 0.0
    for name, run in groupby(steps, key=lambda step: words.printable(step.road).partition(" (")[0]):
        miles = sum(step.miles for step in run)
        if name in named:
            listed.append(Driven(name, driven / total, (driven + miles) / total))
        driven += miles
    return tuple(listed)


def place_names(line: FloatArray, roads: Sequence[Driven], room: Room) -> list[tuple[str, Spot]]:
    """Place the names of the roads along a leg, (n, 2) on the page: that of the last one first, then the longest."""
    along = scene.distances(line)
    long_pt = float(along[-1])
    last = roads[-1] if roads and roads[-1].ends > _WHOLE else None
    order = sorted(roads, key=lambda road: (road is not last, road.begins - road.ends))[:MOST_NAMED]
    order = [road for road in order if road is last or not (road.ends * long_pt - road.begins * long_pt < _LEAST_PT)]
    if not order:
        return []
    names = [paper.ellipsis(road.name, SMALL_PT, 130.0) for road in order]
    widths = [paper.width_of(name, SMALL_PT) for name in names]
    shares = np.array([(road.begins, road.ends) for road in order])
    places = _Places.along(line, along, shares * long_pt, np.array(widths))
    placed: dict[str, tuple[str, Spot]] = {}
    for at, (road, name, width) in enumerate(zip(order, names, widths, strict=True)):
        if road.name in placed:
            continue
        # few spots are looked at faster one by one: every other name stands at one of the first two
        near = map(Spot._make, places.near(at).tolist())
        spot = room.place(near, width, _HIGH_PT) or room.first_free(places.far(at, width), width, _HIGH_PT)
        if spot is not None:
            placed[road.name] = name, spot
    return list(placed.values())


class _Places(NamedTuple):
    """Where along its piece of a line each of some names may stand: (names, places), on the page."""

    x: FloatArray
    y: FloatArray
    """On the line."""
    mid_x: FloatArray
    mid_y: FloatArray
    """Between where a name begins and ends."""
    slope: FloatArray
    """In radians."""

    @classmethod
    def along(cls, line: FloatArray, along: FloatArray, pieces: FloatArray, widths: FloatArray) -> _Places:
        """Find them for names of some widths on pieces from one distance along the line to another, (names, 2)."""
        begins, ends = pieces[:, :1], pieces[:, 1:]
        middle = begins + _AT * (ends - begins)
        half = np.minimum(widths[:, None], ends - begins) / 2
        cut = np.minimum(np.maximum(np.stack([middle - half, middle, middle + half]), begins), ends)
        x, y = (np.interp(cut, along, line[:, axis]) for axis in (0, 1))
        slope = scene.upright(np.arctan2(y[2] - y[0], x[2] - x[0]))
        return cls(x[1], y[1], (x[0] + x[2]) / 2, (y[0] + y[2]) / 2, slope)

    def near(self, at: int) -> FloatArray:
        """Give places for a name, (n, 3) x, y and slope: along its piece of the line."""
        return self._beside(at, _OFF_PT[0])

    def far(self, at: int, width: float) -> FloatArray:
        """Give places farther off, and level about the line."""
        level = np.zeros((len(_ROUND), len(_AT), 3))
        level[:, :, 0] = self.x[at] + _ROUND[:, :1] * (_ROUND_PT + width / 2)
        level[:, :, 1] = self.y[at] + _ROUND[:, 1:]
        return np.concatenate([*(self._beside(at, off) for off in _OFF_PT[1:]), level.reshape(-1, 3)])

    def _beside(self, at: int, off: float) -> FloatArray:
        slope = self.slope[at]
        return _sides(self.mid_x[at], self.mid_y[at], slope, off * -np.sin(slope), off * np.cos(slope))


def _sides(x: FloatArray, y: FloatArray, slope: FloatArray, east: FloatArray, north: FloatArray) -> FloatArray:
    """Give each place of a name on the one side of its line, then on the other: (2 n, 3)."""
    spots = np.empty((2 * len(x), 3))
    spots[::2, 0], spots[1::2, 0] = x + east, x - east
    spots[::2, 1], spots[1::2, 1] = y + north, y - north
    spots[::2, 2] = spots[1::2, 2] = slope
    return spots
