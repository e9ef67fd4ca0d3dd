"""Geometry of pictures: places to feet, extents, frames on a page, scale bars, labels that do not overlap.

Nothing here draws. Feet are east and north of a point of the district, on a plane that is true near that point:
good for pictures, never for distances that count. Page coordinates are points (1/72 in), up from the lower left.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np
import shapely

from preplan.plan import Plan
from preplan.records import FloatArray, IntArray
from preplan.units import FT_PER_M, FT_PER_MI

_NICE = (1.0, 2.0, 5.0)
_LEAST_PT = 1e-9
_RIGHT = np.array([1.0, -1.0])
"""A step (north, east) times this is the step (east, north) turned by a right angle to the right."""


class Box(NamedTuple):
    """A rectangle: of a label or a symbol on the page (points), or of a piece of country (feet)."""

    left: float
    bottom: float
    right: float
    top: float

    @property
    def width(self) -> float:
        """Give the width, in the unit of the box."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Give the height, in the unit of the box."""
        return self.top - self.bottom

    def holds(self, other: Box) -> bool:
        """Tell whether another box lies wholly inside."""
        return (
            self.left <= other.left
            and self.bottom <= other.bottom
            and other.right <= self.right
            and other.top <= self.top
        )

    def meets(self, other: Box) -> bool:
        """Tell whether two boxes share area; touching edges do not."""
        return (
            self.left < other.right and other.left < self.right and self.bottom < other.top and other.bottom < self.top
        )

    def shares(self, other: Box) -> float:
        """Give the area that two boxes share."""
        wide = min(self.right, other.right) - max(self.left, other.left)
        high = min(self.top, other.top) - max(self.bottom, other.bottom)
        return max(wide, 0.0) * max(high, 0.0)

    def grown(self, by: float) -> Box:
        """Push every side out by one length."""
        return Box(self.left - by, self.bottom - by, self.right + by, self.top + by)

    def moved(self, east: float, north: float) -> Box:
        """Give the same box elsewhere."""
        return Box(self.left + east, self.bottom + north, self.right + east, self.top + north)


# --------------------------------------------------------------------------- country


@dataclass(frozen=True, slots=True)
class Plane:
    """A plane that touches the ellipsoid at one place of the district."""

    lon: float
    lat: float

    def feet_per_degree(self) -> tuple[float, float]:
        """Give feet in a degree of longitude and of latitude (usual series for the WGS84 ellipsoid)."""
        lat = math.radians(self.lat)
        lon_m = 111_412.84 * math.cos(lat) - 93.5 * math.cos(3 * lat) + 0.118 * math.cos(5 * lat)
        lat_m = 111_132.92 - 559.82 * math.cos(2 * lat) + 1.175 * math.cos(4 * lat)
        return lon_m * FT_PER_M, lat_m * FT_PER_M

    def feet(self, lon: FloatArray, lat: FloatArray) -> FloatArray:
        """Turn longitudes and latitudes into (n, 2) feet east and north of the plane's place."""
        ft_lon, ft_lat = self.feet_per_degree()
        return np.column_stack([(np.asarray(lon) - self.lon) * ft_lon, (np.asarray(lat) - self.lat) * ft_lat])

    def degrees(self, east: float, north: float) -> tuple[float, float]:
        """Turn feet east and north of the plane's place into longitude and latitude."""
        ft_lon, ft_lat = self.feet_per_degree()
        return self.lon + east / ft_lon, self.lat + north / ft_lat


def plane_of(plan: Plan) -> Plane:
    """Take the middle address as the plane's place, so one stray point moves it little; else the roads'."""
    for lon, lat in ((plan.addresses.lon, plan.addresses.lat), (plan.roads.node_lon, plan.roads.node_lat)):
        known = np.isfinite(lon) & np.isfinite(lat)
        if known.any():
            return Plane(float(np.median(lon[known])), float(np.median(lat[known])))
    return Plane(0.0, 0.0)


def box_of(points: FloatArray) -> Box:
    """Bound (n, 2) points; those that are not known do not count, and none at all bound nothing at 0, 0."""
    known = points[np.isfinite(points).all(axis=1)]
    if not len(known):
        return Box(0.0, 0.0, 0.0, 0.0)
    (left, bottom), (right, top) = known.min(axis=0), known.max(axis=0)
    return Box(float(left), float(bottom), float(right), float(top))


def extent(points_ft: FloatArray, width_to_height: float, *, margin: float = 0.1, least_ft: float = 600.0) -> Box:
    """Bound points in feet with a margin, at least `least_ft` high and wide, in the shape of the picture.

    >>> extent(np.array([[0.0, 0.0], [1000.0, 0.0]]), 2.0, margin=0.0)
    Box(left=-100.0, bottom=-300.0, right=1100.0, top=300.0)
    """
    tight = box_of(points_ft)
    east, north = (tight.left + tight.right) / 2, (tight.bottom + tight.top) / 2
    width = max(tight.width * (1 + 2 * margin), least_ft)
    height = max(tight.height * (1 + 2 * margin), least_ft)
    width, height = max(width, height * width_to_height), max(height, width / width_to_height)
    return Box(east - width / 2, north - height / 2, east + width / 2, north + height / 2)


class Finder:
    """Which of many pieces of country touch a box: their boxes are sorted once, then found fast."""

    def __init__(self, boxes: FloatArray) -> None:
        """Sort (n, 4) boxes: left, bottom, right, top."""
        self._tree = shapely.STRtree(np.asarray(shapely.box(*boxes.T)))

    def touching(self, box: Box) -> IntArray:
        """List the rows whose boxes touch, in order."""
        return np.sort(self._tree.query(shapely.box(*box))).astype(np.int32)


def line_boxes(points: FloatArray, start: IntArray) -> FloatArray:
    """Bound many lines at once: line r is `points[start[r]:start[r + 1]]`; gives (n, 4)."""
    if len(start) <= 1:
        return np.empty((0, 4))
    first = start[:-1]
    return np.hstack([np.minimum.reduceat(points, first), np.maximum.reduceat(points, first)])


# --------------------------------------------------------------------------- page


@dataclass(frozen=True)
class Frame:
    """A picture's place on the page (points) and the country that it shows (feet), in one scale."""

    page: Box
    country: Box

    @cached_property
    def pt_per_ft(self) -> float:
        """Give the scale, points a foot."""
        return self.page.width / max(self.country.width, _LEAST_PT)

    def shift(self) -> tuple[float, float]:
        """Give the page point of the plane's own place."""
        scale = self.pt_per_ft
        return self.page.left - self.country.left * scale, self.page.bottom - self.country.bottom * scale

    def to_page(self, points_ft: FloatArray) -> FloatArray:
        """Turn (n, 2) feet into points on the page."""
        placed: FloatArray = points_ft * self.pt_per_ft + np.array(self.shift())
        return placed

    def known_on_page(self, points_ft: FloatArray) -> list[list[float]]:
        """List those of some points that are known, as x and y on the page."""
        known: list[list[float]] = self.to_page(points_ft[np.isfinite(points_ft).all(axis=1)]).tolist()
        return known


@dataclass(frozen=True, slots=True)
class ScaleBar:
    """A bar of a round length."""

    length: float
    unit: str
    points: float

    @property
    def words(self) -> str:
        """Write the bar's length."""
        return f"{self.length:,g} {self.unit}"


def scale_bar(pt_per_ft: float, most_pt: float, unit: str) -> ScaleBar:
    """Choose the longest bar of 1, 2 or 5 times a power of ten `ft` or `mi` that fits into `most_pt`.

    >>> scale_bar(0.1, 120.0, "ft").words, scale_bar(0.01, 120.0, "mi").words
    ('1,000 ft', '2 mi')
    """
    unit_pt = pt_per_ft * (FT_PER_MI if unit == "mi" else 1.0)
    most = most_pt / unit_pt
    power = 10.0 ** math.floor(math.log10(most))
    length = max(nice * power for nice in _NICE if nice * power <= most * (1 + 1e-9))
    return ScaleBar(length, unit, length * unit_pt)


# --------------------------------------------------------------------------- lines


def legs(points: FloatArray) -> FloatArray:
    """Give the length of each of the n - 1 pieces of an (n, 2) line."""
    steps = points[1:] - points[:-1]
    length: FloatArray = np.hypot(steps[:, 0], steps[:, 1])
    return length


def distances(points: FloatArray) -> FloatArray:
    """Give the distance from a line's start to each of its points."""
    along = np.zeros(len(points))
    np.cumsum(legs(points), out=along[1:])
    return along


def nearest_along(points: FloatArray, place: FloatArray) -> float:
    """Give the distance along an (n, 2) line at which it passes nearest to a place."""
    steps = points[1:] - points[:-1]
    square = np.maximum((steps**2).sum(axis=1), _LEAST_PT)
    share = ((place - points[:-1]) * steps).sum(axis=1) / square
    share = np.minimum(np.maximum(share, 0.0), 1.0)
    near = int(np.argmin(((points[:-1] + steps * share[:, None] - place) ** 2).sum(axis=1)))
    return float(distances(points)[near] + share[near] * math.sqrt(square[near]))


def cut(points: FloatArray, start: float, end: float) -> FloatArray:
    """Keep the part of an (n, 2) line between two distances along it.

    >>> cut(np.array([[0.0, 0.0], [10.0, 0.0]]), 2.0, 5.0).tolist()
    [[2.0, 0.0], [5.0, 0.0]]
    """
    along = distances(points)
    inside = points[(along > start) & (along < end)]
    kept = np.empty((len(inside) + 2, 2))
    kept[1:-1] = inside
    for axis in (0, 1):
        kept[0, axis], kept[-1, axis] = np.interp((start, end), along, points[:, axis])
    return kept


def thinned(points: FloatArray, least: float) -> FloatArray:
    """Drop points nearer than `least` along the line to the one kept before; both ends stay."""
    if len(points) <= 2:
        return points
    bucket = np.floor(distances(points) / least)
    keep = np.ones(len(points), dtype=np.bool_)
    keep[1:-1] = bucket[1:-1] > bucket[:-2]
    kept: FloatArray = points[keep]
    return kept


def beside(points: FloatArray, by: float) -> FloatArray:
    """Move a line to its right, seen in its direction."""
    steps = points[1:] - points[:-1]
    length = np.maximum(legs(points), _LEAST_PT)
    right = steps[:, ::-1] * _RIGHT / length[:, None]
    at_points = np.empty(points.shape)
    at_points[0], at_points[-1] = right[0], right[-1]
    at_points[1:-1] = (right[:-1] + right[1:]) / 2
    norm = np.maximum(np.hypot(at_points[:, 0], at_points[:, 1]), 0.5)
    return np.asarray(points + by * at_points / norm[:, None])


def dotted(points: FloatArray, every: float) -> FloatArray:
    """Give points along a line, both ends among them, at most `every` apart."""
    along = distances(points)
    pieces = int(along[-1] // every) + 1
    at = np.arange(pieces + 1) * (along[-1] / pieces)
    dots = np.empty((pieces + 1, 2))
    dots[:, 0], dots[:, 1] = np.interp(at, along, points[:, 0]), np.interp(at, along, points[:, 1])
    return dots


_COMPASS = ("east", "northeast", "north", "northwest", "west", "southwest", "south", "southeast")


def compass(east: float, north: float) -> str:
    """Name a direction, of eight.

    >>> compass(0.0, 500.0), compass(-90.0, -90.0)
    ('north', 'southwest')
    """
    return _COMPASS[round(math.atan2(north, east) / (math.pi / 4)) % 8]


def opposed(one: str, other: str) -> bool:
    """Tell whether two directions lie more than a right angle apart.

    >>> opposed("north", "southeast"), opposed("north", "east")
    (True, False)
    """
    apart = abs(_COMPASS.index(one) - _COMPASS.index(other))
    return min(apart, 8 - apart) > 2


def heading(points: FloatArray, near_end_ft: float = 200.0) -> str:
    """Name the direction in which a line ends, of eight.

    >>> heading(np.array([[0.0, 0.0], [0.0, 500.0]])), heading(np.array([[0.0, 0.0], [-90.0, -90.0]]))
    ('north', 'southwest')
    """
    return compass(*_last(points, near_end_ft))


def heading_out(points: FloatArray, near_start_ft: float = 200.0) -> str:
    """Name the direction in which a line begins, of eight.

    >>> heading_out(np.array([[0.0, 0.0], [0.0, 500.0], [900.0, 500.0]]))
    'north'
    """
    east, north = _last(points[::-1], near_start_ft)
    return compass(-east, -north)


def _last(points: FloatArray, near_end_ft: float) -> tuple[float, float]:
    """Give how far a line goes east and north over its last feet."""
    along = distances(points)
    from_ft = max(0.0, along[-1] - near_end_ft)
    east, north = (float(points[-1, axis] - np.interp(from_ft, along, points[:, axis])) for axis in (0, 1))
    return east, north


def side_at_end(points: FloatArray, place: FloatArray, least_ft: float = 15.0) -> str:
    """Say on which side of a line's end a place lies, seen along the line; '' for one on the line or straight ahead.

    >>> side_at_end(np.array([[0.0, 0.0], [0.0, 500.0]]), np.array([40.0, 510.0]))
    'right'
    """
    # a line that is cut where it has a point ends with a step of no length
    before = np.flatnonzero(np.hypot(*(points - points[-1]).T) > 1.0)
    if not before.size:
        return ""
    step = points[-1] - points[before[-1]]
    length = float(np.hypot(*step))
    off = place - points[-1]
    left_ft = float(step[0] * off[1] - step[1] * off[0]) / length
    if abs(left_ft) < max(least_ft, float(np.hypot(*off)) / 2):
        return ""
    return "left" if left_ft > 0 else "right"


def arrows(points: FloatArray, every: float) -> list[tuple[float, float, float]]:
    """Place arrows along a line: x, y, and the direction in radians; one at least, none on a mere dot."""
    along = distances(points)
    length = float(along[-1])
    if length < _LEAST_PT:
        return []
    count = max(1, int(length // every))
    at = (np.arange(count) + 0.5) * length / count
    leg = np.minimum(np.maximum(np.searchsorted(along, at, side="right") - 1, 0), len(points) - 2)
    step = points[leg + 1] - points[leg]
    x, y = np.interp(at, along, points[:, 0]), np.interp(at, along, points[:, 1])
    return list(zip(x.tolist(), y.tolist(), np.arctan2(step[:, 1], step[:, 0]).tolist(), strict=True))


# --------------------------------------------------------------------------- labels


class Spot(NamedTuple):
    """A place for a label: its middle on the page, and its slope in radians."""

    x: float
    y: float
    slope: float = 0.0

    def box(self, width: float, height: float) -> Box:
        """Bound the label, sloping as it may."""
        x, y, slope = self
        cos, sin = abs(math.cos(slope)), abs(math.sin(slope))
        across, up = (width * cos + height * sin) / 2, (width * sin + height * cos) / 2
        return Box(x - across, y - up, x + across, y + up)


def straights(points: FloatArray, start: IntArray) -> tuple[FloatArray, FloatArray]:
    """Find the longest straight piece of many lines at once: line r is `points[start[r]:start[r + 1]]`.

    Returns
    -------
    middle
        Middle of the piece, shape (lines, 2).
    slope
        Its slope in radians, between -pi / 2 and pi / 2: words along it stand the right way up.
    """
    if len(start) <= 1 or len(points) <= 1:
        return np.empty((0, 2)), np.empty(0)
    legs = np.diff(points, axis=0)
    square = np.append((legs**2).sum(axis=1), -1.0)
    square[start[1:] - 1] = -1.0  # from a line's end to the next one's start
    most = np.repeat(np.maximum.reduceat(square, start[:-1]), np.diff(start))
    longest = np.minimum.reduceat(np.where(square == most, np.arange(len(points)), len(points)), start[:-1])
    longest = np.minimum(longest, len(legs) - 1)
    slope = np.arctan2(legs[longest, 1], legs[longest, 0])
    return (points[longest] + points[longest + 1]) / 2, upright(slope)


def upright(slope: FloatArray) -> FloatArray:
    """Turn slopes, in radians, by half a turn where words along them would stand on their heads."""
    return slope - np.where(np.abs(slope) > math.pi / 2, np.copysign(math.pi, slope), 0.0)


def spots_at(middle: FloatArray, slope: FloatArray, off: float) -> Iterator[Spot]:
    """Place a label on the middle of each straight piece, else off to a side of it."""
    for (x, y), lean in zip(middle.tolist(), slope.tolist(), strict=True):
        east, north = -math.sin(lean) * off, math.cos(lean) * off
        for side in (0.0, 1.0, -1.0):
            yield Spot(x + side * east, y + side * north, lean)


@dataclass(slots=True)
class Room:
    """What is taken of a picture: labels go where nothing is yet."""

    frame: Box
    taken: list[Box] = field(default_factory=list)
    blocked: FloatArray = field(default_factory=lambda: np.empty((2, 0)))
    """(2, n) points on the page, x and y, that no label may cover."""

    def take(self, box: Box) -> None:
        """Keep a box free of labels."""
        self.taken.append(box)

    def block(self, points: FloatArray) -> None:
        """Keep the (n, 2) points of a line free of labels."""
        self.blocked = np.concatenate([self.blocked, points.T], axis=1)

    def crowd(self, box: Box) -> int:
        """Count what a box would cover."""
        x, y = self.blocked
        inside = (x > box.left) & (x < box.right) & (y > box.bottom) & (y < box.top)
        return int(np.count_nonzero(inside)) + 10 * sum(box.meets(other) for other in self.taken)

    def emptiest(self, boxes: Iterable[Box]) -> tuple[int, Box]:
        """Give the first box that covers nothing, else that which covers least, and how much that is."""
        tried: list[tuple[int, Box]] = []
        for box in boxes:
            tried.append((self.crowd(box), box))
            if not tried[-1][0]:
                break
        return min(tried, key=lambda one: one[0])

    def _covers(self, spot: Spot, width: float, height: float) -> bool:
        """Tell whether a label covers a blocked point; one that slopes takes more time."""
        x, y, slope = spot
        east, north = self.blocked[0] - x, self.blocked[1] - y
        if slope:
            cos, sin = math.cos(slope), math.sin(slope)
            east, north = east * cos + north * sin, north * cos - east * sin
        return bool(((np.abs(east) < width / 2) & (np.abs(north) < height / 2)).any())

    def place(self, spots: Iterable[Spot], width: float, height: float) -> Spot | None:
        """Take the first spot at which a label fits into the frame and overlaps nothing; None: leave it out.

        Asked so often that it works its boxes out itself.
        """
        left, bottom, right, top = self.frame
        lean, across, up = None, 0.0, 0.0
        for spot in spots:
            x, y, slope = spot
            if slope != lean:
                lean, cos, sin = slope, abs(math.cos(slope)), abs(math.sin(slope))
                across, up = (width * cos + height * sin) / 2, (width * sin + height * cos) / 2
            if x - across < left or y - up < bottom or x + across > right or y + up > top:
                continue
            box = Box(x - across, y - up, x + across, y + up)
            if self.free(box) and not self._covers(spot, width, height):
                self.take(box)
                return spot
        return None

    def first_free(self, spots: FloatArray, width: float, height: float) -> Spot | None:
        """Take the first of many spots, (n, 3) x, y and slope, as `place` does: all are looked at at once."""
        x, y, slope = spots.T[:, :, None]
        cos, sin = np.cos(slope), np.sin(slope)
        across = (width * np.abs(cos) + height * np.abs(sin)) / 2
        up = (width * np.abs(sin) + height * np.abs(cos)) / 2
        left, bottom, right, top = np.array([self.frame, *self.taken]).T[:, None, :]
        boxes = x - across, y - up, x + across, y + up
        meets = (boxes[0] < right) & (left < boxes[2]) & (boxes[1] < top) & (bottom < boxes[3])
        inside = (boxes[0] >= left) & (boxes[1] >= bottom) & (boxes[2] <= right) & (boxes[3] <= top)
        for at in np.flatnonzero(inside[:, 0] & ~meets[:, 1:].any(axis=1)).tolist():
            spot = Spot(*spots[at].tolist())
            if not self._covers(spot, width, height):
                self.take(spot.box(width, height))
                return spot
        return None

    def free(self, box: Box) -> bool:
        """Tell whether a box overlaps nothing that is taken; asked so often that it calls nothing."""
        left, bottom, right, top = box
        for other_left, other_bottom, other_right, other_top in self.taken:
            if left < other_right and other_left < right and bottom < other_top and other_bottom < top:
                return False
        return True


def around(x: float, y: float, reach: float, width: float, height: float) -> Sequence[Spot]:
    """List spots for a label about a symbol: right, left, above, below."""
    across, up = reach + width / 2, reach + height / 2
    return (Spot(x + across, y), Spot(x - across, y), Spot(x, y + up), Spot(x, y - up))


def about(x: float, y: float, reach: float, width: float, height: float) -> Sequence[Spot]:
    """List spots for a label about a symbol: those of `around`, then between them."""
    across, up = reach * 0.7 + width / 2, reach * 0.7 + height / 2
    between = [Spot(x + east * across, y + north * up) for east in (1.0, -1.0) for north in (1.0, -1.0)]
    return [*around(x, y, reach, width, height), *between]
