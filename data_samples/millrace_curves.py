"""Curves of the invented land: hand-placed stops become roads and water that meander, and still truly meet.

A `Course` is a line in feet east and north whose vertices may bear a name; a name shared by two courses is one
place. Only `random.Random.random` is used: its sequence is the one that Python promises to keep.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from random import Random
from typing import NamedTuple

FT_PER_MI = 5280.0
SPLINE_STEP_FT = 70.0
THIN_FT = 3.0
"""Farthest that a dropped vertex lay from the line."""


class Stop(NamedTuple):
    """A vertex: feet east and north, and the name of its place ('' for none)."""

    x: float
    y: float
    name: str = ""


@dataclass(frozen=True)
class Plane:
    """Feet on a plane that touches the earth at a corner of the township; good to a few feet in ten miles."""

    lon: float
    lat: float

    def lonlat(self, x: float, y: float) -> tuple[float, float]:
        """Return longitude and latitude of a point in feet.

        >>> [round(v, 4) for v in Plane(-75.0, 44.0).lonlat(5280, 5280)]
        [-74.9799, 44.0145]
        """
        middle = math.radians(self.lat + 0.04)
        lat_m = 111132.954 - 559.822 * math.cos(2 * middle) + 1.175 * math.cos(4 * middle)
        lon_m = 111412.84 * math.cos(middle) - 93.5 * math.cos(3 * middle)
        return self.lon + x * 0.3048 / lon_m, self.lat + y * 0.3048 / lat_m


@dataclass(frozen=True)
class Course:
    """A line of vertices, measured in feet from its first."""

    stops: tuple[Stop, ...]

    @property
    def along(self) -> list[float]:
        """Feet from the start to each vertex."""
        feet = [0.0]
        for a, b in pairwise(self.stops):
            feet.append(feet[-1] + math.dist(a[:2], b[:2]))
        return feet

    def at(self, feet: float) -> tuple[float, float, float]:
        """Return x, y and heading (radians, counterclockwise from east) at a distance from the start."""
        along = self.along
        i = max(1, next((k for k, d in enumerate(along) if d >= feet), len(along) - 1))
        a, b = self.stops[i - 1], self.stops[i]
        share = (feet - along[i - 1]) / (along[i] - along[i - 1])
        heading = math.atan2(b.y - a.y, b.x - a.x)
        return a.x + share * (b.x - a.x), a.y + share * (b.y - a.y), heading

    def feet_to(self, name: str) -> float:
        """Return the distance from the start to a named vertex."""
        return next(d for stop, d in zip(self.stops, self.along, strict=True) if stop.name == name)

    def nearest_feet(self, x: float, y: float) -> float:
        """Return the distance from the start to the place nearest a point."""
        best, where = math.inf, 0.0
        for (a, b), start in zip(pairwise(self.stops), self.along[:-1], strict=True):
            dx, dy = b.x - a.x, b.y - a.y
            share = ((x - a.x) * dx + (y - a.y) * dy) / (dx * dx + dy * dy)
            share = min(1.0, max(0.0, share))
            gap = math.hypot(a.x + share * dx - x, a.y + share * dy - y)
            if gap < best:
                best, where = gap, start + share * math.hypot(dx, dy)
        return where

    def with_vertex(self, feet: float, name: str, clear_ft: float = 8.0) -> Course:
        """Add a named vertex; unnamed ones within `clear_ft` of it give way."""
        x, y, _ = self.at(feet)
        around = list(zip(self.stops, self.along, strict=True))
        inner = [(s, d) for s, d in around[1:-1] if s.name or abs(d - feet) > clear_ft]
        rows = [around[0], *inner, around[-1], (Stop(x, y, name), feet)]
        return Course(tuple(stop for stop, _ in sorted(rows, key=lambda row: row[1])))

    def with_span(self, name: str, half_ft: float) -> Course:
        """Replace a named vertex by the two ends of a span: '<name> in' and '<name> out'."""
        middle = self.feet_to(name)
        ends = [
            Stop(*self.at(middle + side)[:2], f"{name} {end}") for side, end in ((-half_ft, "in"), (half_ft, "out"))
        ]
        rows = [(s, d) for s, d in zip(self.stops, self.along, strict=True) if abs(d - middle) > half_ft + 6]
        rows += zip(ends, (middle - half_ft, middle + half_ft), strict=True)
        return Course(tuple(stop for stop, _ in sorted(rows, key=lambda row: row[1])))

    def unnamed(self, name: str) -> Course:
        """Forget the name of a vertex: the line passes, and does not meet."""
        return Course(tuple(Stop(s.x, s.y) if s.name == name else s for s in self.stops))


def draw(stops: Sequence[Stop], seed: str, bend: float, grain_ft: float) -> Course:
    """Draw a natural line through every stop.

    Each gap longer than `grain_ft` gets a middle, pushed aside by up to `bend` of its length, again and again;
    a smooth curve then runs through all, thinned to the vertices that a mapper would set.
    """
    chance = Random(seed)
    points = [stops[0]]
    for a, b in pairwise(stops):
        points += [*_between(a, b, chance, bend, grain_ft), b]
    return Course(tuple(_thin(_spline(points))))


def _between(a: Stop, b: Stop, chance: Random, bend: float, grain_ft: float) -> list[Stop]:
    length = math.dist(a[:2], b[:2])
    if length <= grain_ft:
        return []
    push = bend * (2 * chance.random() - 1)
    middle = Stop((a.x + b.x) / 2 - push * (b.y - a.y), (a.y + b.y) / 2 + push * (b.x - a.x))
    left = _between(a, middle, chance, bend, grain_ft)
    return [*left, middle, *_between(middle, b, chance, bend, grain_ft)]


def _spline(points: Sequence[Stop]) -> list[Stop]:
    """Run a Catmull-Rom curve, paced by the square root of each gap, through all points."""
    first, last = points[0], points[-1]
    before = Stop(2 * first.x - points[1].x, 2 * first.y - points[1].y)
    after = Stop(2 * last.x - points[-2].x, 2 * last.y - points[-2].y)
    ring = [before, *points, after]
    curve = [first]
    for p0, p1, p2, p3 in zip(ring, ring[1:], ring[2:], ring[3:], strict=False):
        steps = max(1, math.ceil(math.dist(p1[:2], p2[:2]) / SPLINE_STEP_FT))
        curve += [_pace(p0, p1, p2, p3, k / steps) for k in range(1, steps)]
        curve.append(p2)
    return curve


def _pace(p0: Stop, p1: Stop, p2: Stop, p3: Stop, share: float) -> Stop:
    t0 = 0.0
    t1 = t0 + math.dist(p0[:2], p1[:2]) ** 0.5
    t2 = t1 + math.dist(p1[:2], p2[:2]) ** 0.5
    t3 = t2 + math.dist(p2[:2], p3[:2]) ** 0.5
    t = t1 + share * (t2 - t1)

    def mix(a: Sequence[float], b: Sequence[float], ta: float, tb: float) -> tuple[float, float]:
        w = (t - ta) / (tb - ta)
        return a[0] + w * (b[0] - a[0]), a[1] + w * (b[1] - a[1])

    a1, a2, a3 = mix(p0[:2], p1[:2], t0, t1), mix(p1[:2], p2[:2], t1, t2), mix(p2[:2], p3[:2], t2, t3)
    return Stop(*mix(mix(a1, a2, t0, t2), mix(a2, a3, t1, t3), t1, t2))


def _thin(points: Sequence[Stop]) -> list[Stop]:
    """Drop the vertices that the line does not need (Douglas and Peucker); named ones stay."""
    named = [i for i, p in enumerate(points) if p.name or i in {0, len(points) - 1}]
    kept = [points[0]]
    for i, k in pairwise(named):
        kept += [*_needed(points[i : k + 1]), points[k]]
    return kept


def _needed(run: Sequence[Stop]) -> list[Stop]:
    a, b = run[0], run[-1]
    length = math.dist(a[:2], b[:2]) or 1.0
    gaps = [abs((b.x - a.x) * (p.y - a.y) - (b.y - a.y) * (p.x - a.x)) / length for p in run[1:-1]]
    if not gaps or max(gaps) <= THIN_FT:
        return []
    k = 1 + gaps.index(max(gaps))
    return [*_needed(run[: k + 1]), run[k], *_needed(run[k:])]


def blob(center: Sequence[float], axes: Sequence[float], turn_deg: float, rough: float, seed: str) -> list[Stop]:
    """Draw a closed shore: an ellipse (miles) with bays and points, `rough` of its radius deep."""
    chance = Random(seed)
    waves = [(k, chance.random() / k**0.7, math.tau * chance.random()) for k in (2, 3, 4, 5, 7, 11)]
    count = max(14, min(72, round(130 * math.sqrt(axes[0] * axes[1]) + 12)))
    turn = math.radians(turn_deg)
    ring = []
    for i in range(count):
        a = math.tau * i / count
        swell = 1 + rough * sum(height * math.sin(k * a + phase) for k, height, phase in waves)
        u, v = axes[0] * swell * math.cos(a), axes[1] * swell * math.sin(a)
        x = center[0] + u * math.cos(turn) - v * math.sin(turn)
        y = center[1] + u * math.sin(turn) + v * math.cos(turn)
        ring.append(Stop(x * FT_PER_MI, y * FT_PER_MI))
    return [*ring, ring[0]]


def ribbon(course: Course, width_ft: float, seed: str) -> list[Stop]:
    """Draw the two banks of a stretch of water as one closed ring."""
    chance = Random(seed)
    left, right = [], []
    stops = course.stops
    for before, stop, after in zip((stops[0], *stops), stops, (*stops[1:], stops[-1]), strict=False):
        normal = math.atan2(after.y - before.y, after.x - before.x) + math.pi / 2
        half = width_ft / 2 * (0.85 + 0.4 * chance.random())
        left.append(Stop(stop.x + half * math.cos(normal), stop.y + half * math.sin(normal)))
        right.append(Stop(stop.x - half * math.cos(normal), stop.y - half * math.sin(normal)))
    return [*left, *reversed(right), left[0]]


def rectangle(x: float, y: float, heading: float, length_ft: float, width_ft: float) -> list[Stop]:
    """Draw a building's outline: its long side lies along the heading."""
    c, s = math.cos(heading), math.sin(heading)
    corners: Iterable[tuple[float, float]] = ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1))
    halves = [(u * length_ft / 2, v * width_ft / 2) for u, v in corners]
    return [Stop(x + u * c - v * s, y + u * s + v * c) for u, v in halves]
