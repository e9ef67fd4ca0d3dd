"""A trip on a small map: both legs with their direction, turns by number, bridges, and labels with a halo."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from preplan.plan_cards import Step
from preplan.records import FloatArray
from preplan.render import paper, scene, symbols_pdf
from preplan.render.paper import BLACK, SMALL_PT, WHITE, Pen
from preplan.render.route_names import Driven
from preplan.render.scene import Box, Frame, Room, Spot

_CORE = (0.93, 0.93, 0.93)
_ARROWS_PT = 70.0
_DOTS_PT = 5.0
_RING_PT = [
    (1.3 * far * math.cos(turn), far * math.sin(turn))
    for far in (13.0, 21.0, 30.0)
    for turn in np.arange(8) * math.pi / 4
]
"""Where a turn's number may stand, seen from the turn: near it first."""
_BRIDGE_PT = 5.0
_SAME_PT = 14.0
"""Brackets so near that say the same need one label."""


class Bridge(NamedTuple):
    """A bridge or a posted stretch of a round trip: feet on the picture's plane, slope of the road, its limit."""

    east: float
    north: float
    slope: float
    said: str
    named: bool = False
    """A warning names it: whatever is in its way, it is drawn and says its limit."""


@dataclass(frozen=True, slots=True)
class Subject:
    """What one small map is about; places in feet on the picture's plane."""

    addresses: tuple[int, ...]
    lead: int = -1
    """Address whose dump site has the star, -1: none."""
    out_ft: FloatArray | None = None
    back_ft: FloatArray | None = None
    site: int = -1
    others: tuple[int, ...] = ()
    """Backup and second fill site; -1: none."""
    site_ft: FloatArray | None = None
    """Where the site stands, beside the end of the road that leads to it."""
    turns: tuple[tuple[int, float, float], ...] = ()
    """Turns of the loaded leg: number in the directions, east, north."""
    roads: tuple[Driven, ...] = ()
    """Roads of the loaded leg that have a name; of an address off the roads the nearest one."""
    bridges: tuple[Bridge, ...] = ()
    hydrant: int = -1
    """Hydrant of the water mains that counts for the lead's address beside the tankers, -1: none."""
    near_ft: FloatArray | None = None
    """Of an address off the roads: the piece of the nearest road for tankers that the map must show."""

    def without_inner_turns(self) -> Subject:
        """Keep the last turn alone: the steps between stand with another map."""
        return replace(self, turns=self.turns[-1:])


def turns_of(out_ft: FloatArray, steps: Sequence[Step]) -> tuple[tuple[int, float, float], ...]:
    """Place the turns of a leg, all but its start, by the miles between them, each with its number in the list."""
    total = sum(step.miles for step in steps)
    if total <= 0.0:
        return ()
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(out_ft, axis=0).T))])
    places = np.cumsum([step.miles for step in steps[:-1]]) / total * along[-1]
    east, north = (np.interp(places, along, out_ft[:, axis]).tolist() for axis in (0, 1))
    return tuple(zip(range(2, len(steps) + 1), east, north, strict=True))


def near_dump(subject: Subject, reach_ft: float) -> Subject:
    """Keep what a long trip drives last on its loaded leg, and first on its empty one."""

    def kept(line: FloatArray | None, *, end: bool) -> FloatArray | None:
        if line is None:
            return None
        whole = float(np.hypot(*np.diff(line, axis=0).T).sum())
        first, last = (max(0.0, whole - reach_ft), whole) if end else (0.0, min(whole, reach_ft))
        return scene.cut(line, first, last) if last > first else line

    return replace(subject, out_ft=kept(subject.out_ft, end=True), back_ft=kept(subject.back_ft, end=False))


def path_code(points: FloatArray, digits: int) -> str:
    """Write a line through (n, 2) points in the page language."""
    place = f"%.{digits}f %.{digits}f"
    form = f"{place} m{f' {place} l' * (len(points) - 1)}"
    return form % tuple(points.ravel().tolist())


def lines_code(ends: FloatArray, digits: int) -> str:
    """Write many straight lines, (n, 2, 2), in the page language."""
    form = " ".join([f"%.{digits}f %.{digits}f m %.{digits}f %.{digits}f l"] * len(ends))
    return form % tuple(ends.ravel().tolist())


class Legs(NamedTuple):
    """Both legs of a trip as a map draws them, (n, 2) points on the page; None: it has none."""

    out: FloatArray | None
    back: FloatArray | None

    @classmethod
    def on(cls, frame: Frame, subject: Subject) -> Legs:
        """Put the legs of a trip on the page: the empty way back beside the loaded one."""
        out, back = subject.out_ft, subject.back_ft
        return cls(
            None if out is None else scene.thinned(frame.to_page(out), 1.2),
            None if back is None else scene.beside(scene.thinned(frame.to_page(back), 1.5), 4.2),
        )

    def dots(self) -> FloatArray:
        """Give (2, n) points along both, so near each other that no label goes between."""
        return np.concatenate([np.empty((0, 2)), *(scene.dotted(leg, _DOTS_PT) for leg in self if leg is not None)]).T


def draw_route(pen: Pen, legs: Legs) -> None:
    """Draw the loaded leg with casing, core and arrows; the empty way back dashed."""
    pen.save()
    pen.put("1 J 1 j")
    if legs.back is not None:
        code = path_code(legs.back, 1)
        _line(pen, code, WHITE, 2.6)
        pen.dash(3.5, 2.8)
        _line(pen, code, BLACK, 1.1)
        pen.dash()
    if legs.out is not None:
        code = path_code(legs.out, 1)
        _line(pen, code, BLACK, 4.6)
        _line(pen, code, _CORE, 2.4)
        pen.ink(WHITE, BLACK)
        pen.width(0.5)
        for x, y, turn in scene.arrows(legs.out, _ARROWS_PT):
            pen.shape(_arrow_head(x, y, turn))
    pen.restore()


def _line(pen: Pen, code: str, colour: tuple[float, float, float], width: float) -> None:
    pen.ink(colour, colour)
    pen.width(width)
    pen.path(code)


def _arrow_head(x: float, y: float, turn: float) -> list[tuple[float, float]]:
    """Give the corners of an arrow head at a place, pointing along a direction in radians."""
    cos, sin = math.cos(turn), math.sin(turn)
    corners = ((5.5, 0.0), (-4.0, 4.4), (-2.0, 0.0), (-4.0, -4.4))
    return [(x + along * cos - across * sin, y + along * sin + across * cos) for along, across in corners]


def draw_bridges(pen: Pen, frame: Frame, subject: Subject, room: Room) -> None:
    """Mark bridges and posted stretches by a pair of brackets across the road, what is posted beside it."""
    placed = []
    for bridge, x, y, mark in _in_frame(frame, subject.bridges):
        if bridge.named:
            continue
        _brackets(pen, bridge.slope, x, y)
        if bridge.said:
            width = paper.width_of(bridge.said, SMALL_PT)
            spot = room.place(scene.around(x, y, 9.0, width, SMALL_PT), width, SMALL_PT * 1.05)
            placed += [(bridge.said, spot)] if spot is not None else []
        room.take(mark)
    halo_texts(pen, placed)


def place_limits(
    frame: Frame, subject: Subject, room: Room, *, covers: bool = True
) -> list[tuple[Bridge, Spot, Spot | None]]:
    """Keep room for the limits that warnings name, before anything else is named: each with its place and its label's.

    A label that finds no empty room covers what is there where it `covers`, else there is none; one limit in several
    pieces has one.
    """
    found: list[tuple[Bridge, Spot, Spot | None]] = []
    labels: list[Box] = []
    for bridge, x, y, mark in _in_frame(frame, subject.bridges):
        if not bridge.named:
            continue
        again = any(
            one.said == bridge.said and label is not None and math.hypot(at.x - x, at.y - y) < _SAME_PT
            for one, at, label in found
        )
        label = None
        if bridge.said and not again:
            label = _limit_spot(frame, room, bridge.said, (x, y), labels if covers else None)
        if label is not None:
            labels.append(label.box(*_limit_size(bridge.said)))
        room.take(mark)
        found.append((bridge, Spot(x, y), label))
    return found


def draw_limits(pen: Pen, limits: Sequence[tuple[Bridge, Spot, Spot | None]]) -> None:
    """Draw the limits that warnings name over all else, each joined to its label."""
    pen.save()
    pen.ink(BLACK, BLACK)
    pen.width(0.7)
    for one, at, label in limits:
        if label is not None:
            box = label.box(paper.width_of(one.said, SMALL_PT, bold=True) + 2.0, SMALL_PT)
            x, y = min(max(at.x, box.left), box.right), min(max(at.y, box.bottom), box.top)
            pen.strokes((at.x, at.y, x, y))
    pen.restore()
    for bridge, at, _ in limits:
        _brackets(pen, bridge.slope, at.x, at.y)
    halo_texts(pen, [(bridge.said, label) for bridge, _, label in limits if label is not None], bold=True)


def _in_frame(frame: Frame, bridges: Sequence[Bridge]) -> Iterator[tuple[Bridge, float, float, Box]]:
    """List the bridges in view, each with its place on the page and the box of its mark."""
    places = frame.to_page(np.array([bridge[:2] for bridge in bridges]).reshape(-1, 2)).tolist()
    for bridge, (x, y) in zip(bridges, places, strict=True):
        mark = Box(x - _BRIDGE_PT, y - _BRIDGE_PT, x + _BRIDGE_PT, y + _BRIDGE_PT)
        if frame.page.holds(mark):
            yield bridge, x, y, mark


def _brackets(pen: Pen, slope: float, x: float, y: float) -> None:
    pen.save()
    cos, sin = math.cos(slope), math.sin(slope)
    pen.put(f"{cos:.6f} {sin:.6f} {-sin:.6f} {cos:.6f} {x:.2f} {y:.2f} cm")
    for colour, width in ((WHITE, 3.4), (BLACK, 1.4)):
        pen.ink(colour, colour)
        pen.width(width)
        for side in (1.0, -1.0):
            pen.curves([(-6.0, side * 8.0), (-3.0, side * 4.8), (3.0, side * 4.8), (6.0, side * 8.0)])
    pen.restore()


def _limit_spot(
    frame: Frame, room: Room, label: str, at: tuple[float, float], others: Sequence[Box] | None
) -> Spot | None:
    """Find room for a limit near its bracket; where there is none, cover what is there, other limits' labels last.

    None where nothing may be covered, `others` being None, or where it is wider than the map.
    """
    width, high = _limit_size(label)
    spots = [spot for reach in (9.0, 20.0, 34.0) for spot in scene.about(*at, reach, width, SMALL_PT)]
    spot = room.place(spots, width, high)
    page = frame.page
    if spot is None and others is not None and width < page.width:
        # a cut label says less than one that lies on something; over the way it can be read, under the scale not
        least, most = page.left + width / 2, page.right - width / 2
        low, top = page.bottom + high / 2, page.top - high / 2
        within = [Spot(min(max(one.x, least), most), min(max(one.y, low), top)) for one in spots]

        def covered(one: Spot) -> tuple[bool, float]:
            box = one.box(width, high)
            return any(map(box.meets, others)), sum(map(box.shares, room.taken))

        spot = min(within, key=covered)
        room.take(spot.box(width, high))
    return spot


def _limit_size(label: str) -> tuple[float, float]:
    return paper.width_of(label, SMALL_PT, bold=True), SMALL_PT * 1.05


def limit_marks(frame: Frame, subject: Subject) -> list[Box]:
    """Bound the brackets in view of the limits that warnings name."""
    return [mark for bridge, _, _, mark in _in_frame(frame, subject.bridges) if bridge.named]


def turn_labels(frame: Frame, subject: Subject, room: Room) -> list[tuple[str, Spot, Spot]]:
    """Place the tags of the turns beside the route, none over anything else: number, its place, and the turn's."""
    placed = []
    places = frame.to_page(np.array([turn[1:] for turn in subject.turns]).reshape(-1, 2)).tolist()
    for (number, *_), (x, y) in zip(subject.turns, places, strict=True):
        said = str(number)
        spots = (Spot(x + east, y + north) for east, north in _RING_PT)
        spot = room.place(spots, symbols_pdf.tag_width(said), symbols_pdf.TAG_PT)
        placed += [(said, spot, Spot(x, y))] if spot is not None else []
    return placed


def draw_turns(pen: Pen, placed: Sequence[tuple[str, Spot, Spot]]) -> None:
    """Draw the tags, each joined to its turn."""
    pen.ink(BLACK, BLACK)
    pen.width(0.8)
    if placed:
        pen.strokes(*((at.x, at.y, spot.x, spot.y) for _, spot, at in placed))
    for said, spot, _ in placed:
        symbols_pdf.step_mark(pen, said, spot.x, spot.y)


def halo_texts(pen: Pen, placed: Sequence[tuple[str, Spot]], *, bold: bool = False) -> None:
    """Write labels centred on their spots, black on a white halo."""
    if not placed:
        return
    runs = []
    for said, spot in placed:
        cos, sin = math.cos(spot.slope), math.sin(spot.slope)
        half, low = paper.width_of(said, SMALL_PT, bold=bold) / 2, SMALL_PT * 0.36
        runs.append((said, spot.x - half * cos + low * sin, spot.y - half * sin - low * cos, spot.slope))
    pen.save()
    pen.ink(WHITE, BLACK)
    pen.width(2.4)
    pen.put("1 j")
    pen.slanted(runs, SMALL_PT, bold=bold, halo=True)
    pen.slanted(runs, SMALL_PT, bold=bold)
    pen.restore()
