"""The ground under small maps: water, buildings, roads, cut into pieces that a document holds once and shows often.

Neighbours' maps show the same country at nearly the same scale. A *piece* is what lies in one square of it, of one
layer, at one of a few grains; the document keeps it as a form, and a map places the pieces that it needs and clips
them. A line belongs, whole, to the square of its middle: pieces overlap at their edges and leave no seams. A form
takes colour and line width from the page that places it, so every map has its own, whatever the grain.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np
import numpy.typing as npt
import shapely

from preplan.plan import Plan
from preplan.records import FloatArray, IntArray
from preplan.render import scene
from preplan.render.objects_pdf import Form
from preplan.render.paper import Pen
from preplan.render.scene import Box, Finder, Frame, Plane

MAJOR, MINOR, STREET, LANE = range(4)
"""Ranks of roads: the first is drawn widest, the last is left out first."""
_MAJOR = frozenset({"motorway", "trunk", "primary", "secondary"})
_MINOR = frozenset({"tertiary", "unclassified"})
_LANES = frozenset({"service", "track", "path", "footway", "bridleway", "cycleway"})
_ROAD_PT = (2.0, 1.1, 0.6, 0.4)
"""Line widths by rank."""
_ROAD_PT_PER_FT = (0.0, 0.0, 0.0075, 0.025)
"""Scale below which a rank is left out."""
_MOST_ROADS = 1400
"""Above this many stretches in view the smallest roads are left out."""
_BUILDING_PT_PER_FT = 0.06
"""Scale below which buildings are left out."""
_STREAM_PT = 1.2
_WATER, _LAND, _BUILDING, _ROAD = "0.86 0.9 0.93", "1 1 1", "0.8 0.8 0.8", "0.55 0.55 0.62"
_PIECE_PT = 200.0
"""Side of a square at the coarsest scale of its grain."""
_DETAIL_PT = 0.25
"""Detail finer than this on the page is not drawn."""
_UNITS_A_POINT = 10
"""Coordinates are whole numbers of this part of a point, at the finest scale of their grain."""


def ranks_of(plan: Plan) -> IntArray:
    """Rank each stretch of road."""
    ranks = [
        MAJOR if k in _MAJOR else MINOR if k in _MINOR else LANE if k in _LANES else STREET
        for k in plan.roads.highway.tolist()
    ]
    return np.array(ranks, dtype=np.int32)


@dataclass(frozen=True, slots=True)
class Grain:
    """Scales that share pieces: those from one power of two up to the next, in points a foot."""

    power: int

    @classmethod
    def of(cls, pt_per_ft: float) -> Grain:
        """Give the grain of a scale."""
        return cls(math.floor(math.log2(pt_per_ft)))

    @property
    def square_ft(self) -> float:
        """Side of a square."""
        return _PIECE_PT / 2.0**self.power

    @property
    def unit_ft(self) -> float:
        """What a coordinate counts."""
        return 0.5 / 2.0**self.power / _UNITS_A_POINT

    @property
    def detail_ft(self) -> float:
        """Size of what is too small to see."""
        return 0.5 * _DETAIL_PT / 2.0**self.power


@dataclass(frozen=True, slots=True)
class _Pieces:
    """The pieces of one layer at one grain: a name, the rows and the box of each, found by where they are."""

    names: tuple[str, ...]
    rows: tuple[IntArray, ...]
    boxes: FloatArray


@dataclass(frozen=True, slots=True)
class Layer:
    """Lines or areas of one kind, in feet."""

    lines: npt.NDArray[np.object_]
    boxes: FloatArray
    """(n, 4)."""
    area: bool
    pieces: dict[Grain, _Pieces] = field(default_factory=dict)

    @classmethod
    def of(cls, plane: Plane, lonlat: Sequence[FloatArray], *, area: bool) -> Layer:
        """Take lines or rings in lon, lat; those of a single point are nothing to draw."""
        drawn = [line for line in lonlat if len(line) > 1]
        whole = np.vstack([np.empty((0, 2)), *drawn])
        start = np.concatenate([[0], np.cumsum([len(line) for line in drawn])]).astype(np.int64)
        return cls.joined(plane.feet(whole[:, 0], whole[:, 1]), start, area=area)

    @classmethod
    def joined(cls, points: FloatArray, start: npt.NDArray[np.integer], *, area: bool = False) -> Layer:
        """Take lines that lie in one array: line r is `points[start[r]:start[r + 1]]`."""
        if len(start) <= 1:
            return cls(np.empty(0, dtype=np.object_), np.empty((0, 4)), area)
        owner = np.repeat(np.arange(len(start) - 1), np.diff(start))
        lines = np.asarray(shapely.linestrings(points, indices=owner))
        return cls(lines, scene.line_boxes(points, np.asarray(start, dtype=np.int32)), area)

    def cut(self, grain: Grain, name: str) -> _Pieces:
        """Sort what a grain shows into squares, by the middle of its box."""
        if grain not in self.pieces:
            wide = np.maximum(self.boxes[:, 2] - self.boxes[:, 0], self.boxes[:, 3] - self.boxes[:, 1])
            shown = np.flatnonzero(wide >= (grain.detail_ft if self.area else 0.0))
            square = np.floor((self.boxes[shown, :2] + self.boxes[shown, 2:]) / 2 / grain.square_ft).astype(np.int64)
            order = np.lexsort((square[:, 1], square[:, 0]))
            rows, square = shown[order].astype(np.int32), square[order]
            begins = np.ones(len(rows), dtype=np.bool_)
            begins[1:] = (square[1:] != square[:-1]).any(axis=1)
            first = np.flatnonzero(begins)
            low, high = self.boxes[rows, :2], self.boxes[rows, 2:]
            ends = np.hstack([np.minimum.reduceat(low, first), np.maximum.reduceat(high, first)])
            parts = tuple(np.split(rows, first[1:])) if len(first) else ()
            names = tuple(f"{name}{grain.power}.{east}.{north}" for east, north in square[first].tolist())
            self.pieces[grain] = _Pieces(names, parts, ends)
        return self.pieces[grain]

    def code(self, rows: IntArray, grain: Grain) -> str:
        """Write lines in the page language, in whole units, without what cannot be seen."""
        lines = shapely.simplify(self.lines[rows], grain.detail_ft, preserve_topology=False)
        points, owner = shapely.get_coordinates(lines, return_index=True)
        whole = np.rint(points / grain.unit_ft).astype(np.int64)
        between, end = ("\nh f\n", "\nh f") if self.area else ("\n", "\nS")
        drawn = ["%d %d m" + "\n%d %d l" * (count - 1) for count in np.bincount(owner).tolist() if count]
        return between.join(drawn) % tuple(whole.ravel().tolist()) + end


class Ground:
    """A district's ground, ready to be laid under any map."""

    def __init__(self, plan: Plan, points: FloatArray, plane: Plane) -> None:
        """Take the roads' points in feet; water and buildings are put on the same plane."""
        self.rank = ranks_of(plan)
        start = plan.roads.coord_start
        self.roads = Layer.joined(points, start)
        self._finder = Finder(self.roads.boxes)
        by_rank = [np.flatnonzero(self.rank == rank) for rank in (MAJOR, MINOR, STREET, LANE)]
        self._roads = [Layer(self.roads.lines[rows], self.roads.boxes[rows], area=False) for rows in by_rank]
        self._water = Layer.of(plane, plan.features.water_rings, area=True)
        self._islands = Layer.of(plane, plan.features.island_rings, area=True)
        self._streams = Layer.of(plane, plan.features.waterlines, area=False)
        self._buildings = Layer.of(plane, plan.features.building_rings, area=True)
        self._written: dict[str, bytes] = {}

    def in_view(self, frame: Frame) -> IntArray:
        """List the stretches of road that a map draws."""
        drawn = self._finder.touching(frame.country)
        drawn = drawn[frame.pt_per_ft >= np.array(_ROAD_PT_PER_FT)[self.rank[drawn]]]
        for smallest in (STREET, MINOR, MAJOR):
            if len(drawn) > _MOST_ROADS:
                drawn = drawn[self.rank[drawn] <= smallest]
        return drawn

    def draw(self, pen: Pen, frame: Frame) -> IntArray:
        """Lay the ground into a frame, to which the page clips; gives the stretches of road drawn."""
        drawn = self.in_view(frame)
        ranks = set(np.unique(self.rank[drawn]).tolist())
        grain = Grain.of(frame.pt_per_ft)
        scale, (x, y) = frame.pt_per_ft * grain.unit_ft, frame.shift()
        code = [f"q {scale:.9f} 0 0 {scale:.9f} {x:.3f} {y:.3f} cm 1 J 1 j", f"{_WATER} rg {_WATER} RG"]
        code += self._placed(pen, self._water, "w", grain, frame.country)
        if islands := self._placed(pen, self._islands, "i", grain, frame.country):
            code += [f"{_LAND} rg", *islands]
        code.append(f"{_STREAM_PT / scale:.2f} w")
        code += self._placed(pen, self._streams, "s", grain, frame.country)
        if frame.pt_per_ft >= _BUILDING_PT_PER_FT:
            code.append(f"{_BUILDING} rg")
            code += self._placed(pen, self._buildings, "b", grain, frame.country)
        code.append(f"{_ROAD} RG")
        for rank in sorted(ranks, reverse=True):
            code.append(f"{_ROAD_PT[rank] / scale:.2f} w")
            code += self._placed(pen, self._roads[rank], f"r{rank}.", grain, frame.country)
        pen.canvas.addLiteral("\n".join([*code, "Q"]))
        return drawn

    def _placed(self, pen: Pen, layer: Layer, name: str, grain: Grain, country: Box) -> list[str]:
        """Place the pieces of a layer that a country touches; the document is given those it lacks."""
        pieces = layer.cut(grain, name)
        boxes = pieces.boxes
        seen = (boxes[:, 0] < country.right) & (boxes[:, 2] > country.left)
        seen &= (boxes[:, 1] < country.top) & (boxes[:, 3] > country.bottom)
        code = []
        for at in seen.nonzero()[0].tolist():
            known = pieces.names[at]
            if known not in self._written:
                self._written[known] = zlib.compress(layer.code(pieces.rows[at], grain).encode())
            code.append(pen.shown(known, partial(_form, self._written[known], boxes[at], grain)))
        return code


def _form(packed: bytes, box: FloatArray, grain: Grain) -> Form:
    """Give a piece as a form: its box has room for the width of its lines."""
    edge = grain.detail_ft + 2.0 * max(_ROAD_PT) / 2.0**grain.power
    return Form([round(side / grain.unit_ft) for side in Box(*box.tolist()).grown(edge)], packed)
