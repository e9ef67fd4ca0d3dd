"""Houses of the invented district: where they stand, how they are numbered, how big they are."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from random import Random
from typing import Any

from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from data_samples.millrace_curves import FT_PER_MI, Course, Stop, draw
from data_samples.millrace_land import Land, Line

FT_PER_NUMBER = 10.56
"""A thousand numbers a mile, odd on the left."""
MIXES = {
    "": (("single family dwelling", 68), ("mobile home", 15), ("camp", 8), ("farm", 6), ("barn", 3)),
    "hamlet": (("single family dwelling", 88), ("multi-family dwelling", 7), ("store", 5)),
    "woods": (("single family dwelling", 44), ("camp", 36), ("mobile home", 18), ("barn", 2)),
    "lake": (("camp", 66), ("single family dwelling", 34)),
}
SIZES_FT = {
    "single family dwelling": ((44, 26, 15), (36, 24, 20), (40, 28, 26), (32, 26, 16), (62, 34, 26), (36, 24, 18)),
    "multi-family dwelling": ((58, 36, 28), (48, 34, 30)),
    "mobile home": ((66, 14, 12), (56, 14, 12), (52, 26, 13)),
    "camp": ((28, 22, 14), (32, 20, 15), (24, 20, 14)),
    "farm": ((48, 30, 26), (42, 28, 24)),
    "barn": ((70, 38, 30), (52, 34, 28)),
    "store": ((46, 30, 18),),
}
"""Length, width, height of what people build here."""
HAZARD = {"farm": 4, "barn": 4, "store": 6}
SHORT = {"Road": "Rd", "Lane": "Ln", "Street": "St", "State Route": "SR"}


@dataclass(frozen=True)
class Home:
    """One address, and the building on it where there is one."""

    road: str
    number: int
    occupancy: str
    x: float
    y: float
    heading: float
    setback_ft: float
    label: str = ""
    street: str = ""
    size_ft: tuple[float, float, float] | None = None
    footprint: bool = False
    """The building is on the map."""
    size_known: bool = False
    """The address table has the size."""
    hazard: int | None = None
    construction: str = ""
    exposure: bool | None = None
    sprinklered: bool | None = None
    driveway: tuple[Stop, ...] = ()
    """From the road to the door, where it is on the map."""
    driveway_ft: int | None = None


@dataclass
class Ground:
    """What a new house must keep clear of; grows as houses are built."""

    land: Land
    roads: BaseGeometry
    wet: BaseGeometry
    rail: BaseGeometry
    inside: BaseGeometry
    taken: list[tuple[float, float, float]] = field(default_factory=list)
    """x, y and the room that each house wants, ft."""
    ways: list[LineString] = field(default_factory=list)
    """Driveways."""
    numbers: set[tuple[str, int]] = field(default_factory=set)

    def free(self, x: float, y: float, room_ft: float, half_ft: float, setback_ft: float) -> bool:
        """Tell whether a house may stand here: `half_ft` from its middle to its corner."""
        spot = Point(x, y)
        return (
            self.inside.contains(spot)
            and self.roads.distance(spot) >= max(0.72 * min(setback_ft, 260.0), half_ft + 8.0)
            and self.wet.distance(spot) >= 55.0
            and self.rail.distance(spot) >= 90.0
            and all(way.distance(spot) >= half_ft + 8.0 for way in self.ways)
            and all(math.hypot(x - u, y - v) >= max(room_ft, room) for u, v, room in self.taken)
        )

    def clear_way(self, way: LineString, own: BaseGeometry) -> bool:
        """Tell whether a driveway crosses neither water, rails nor another road."""
        others = self.roads.difference(own.buffer(1.0))
        barriers = (self.wet, self.rail, others, *self.ways)
        return not any(way.intersects(barrier) for barrier in barriers)

    def number(self, road: str, feet: float, side: int) -> int:
        """Give the next free number for a place along a road: odd on the left (side 1), even on the right."""
        number = max(1, round(feet / FT_PER_NUMBER))
        number += (number % 2 == 1) != (side == 1)
        while (road, number) in self.numbers:
            number += 2
        self.numbers.add((road, number))
        return number


def ground_of(land: Land) -> Ground:
    """Measure the land before the first house."""
    wet = [
        Polygon([(s.x, s.y) for s in shore.ring])
        for shore in land.shores
        if "natural" in shore.tags and shore.tags["natural"] != "wood"
    ]
    wet += [line.shape.buffer(line.spec["width_ft"] / 2 + 6) for line in land.lines if line.kind in {"creek", "stream"}]
    return Ground(
        land=land,
        roads=unary_union([line.shape for line in land.roads()]),
        wet=unary_union(wet),
        rail=unary_union([line.shape for line in land.lines if line.kind == "rail"]),
        inside=land.township().buffer(-80),
    )


def settle(land: Land) -> tuple[list[Home], Land]:
    """Build every house; the land comes back with a vertex in the road where each driveway begins."""
    ground = ground_of(land)
    for spec in land.drawing["station"]:
        spot = land.beside(spec["road"], spec["near"], 85)
        ground.taken.append((spot.x, spot.y, 130.0))
    for spec in land.drawing["fill_site"]:
        spot = land.beside(spec["road"], spec["near"], 24)
        ground.taken.append((spot.x, spot.y, 110.0))
    homes = [_special(land, ground, spec) for spec in land.drawing["special"]]
    lines = list(land.lines)
    for i, line in enumerate(lines):
        if line.kind == "road" and line.spec["every_ft"]:
            built, course = _along(line, ground, Random(f"homes {i} {line.name}"))
            homes += built
            lines[i] = replace(line, course=course)
    homes += [_remote(spec) for spec in land.drawing["remote"]]
    return homes, replace(land, lines=tuple(lines))


def _special(land: Land, ground: Ground, spec: Mapping[str, Any]) -> Home:
    x, y = spec["near"][0] * FT_PER_MI, spec["near"][1] * FT_PER_MI
    line = min(land.roads(spec["road"]), key=lambda one: one.shape.distance(Point(x, y)))
    feet = line.course.nearest_feet(x, y)
    side = 1 if spec["side"] == "left" else -1
    px, py, heading = line.course.at(feet)
    spot = Stop(px - side * spec["setback_ft"] * math.sin(heading), py + side * spec["setback_ft"] * math.cos(heading))
    size = tuple(spec["size_ft"]) if "size_ft" in spec else None
    ground.taken.append((spot.x, spot.y, 60.0 + (size[0] if size else 20.0)))
    number = ground.number(line.name, _numbered(line, ground, feet), side)
    return Home(
        road=line.name, number=number, occupancy=spec["occupancy"], x=spot.x, y=spot.y, heading=heading,
        setback_ft=spec["setback_ft"], label=spec["label"].format(number=number), street=line.name, size_ft=size,
        footprint=size is not None, size_known=size is not None, hazard=spec.get("hazard"),
        construction=spec.get("construction", ""), exposure=spec.get("exposure"), sprinklered=spec.get("sprinklered"),
    )  # fmt: skip


def _remote(spec: Mapping[str, Any]) -> Home:
    size = tuple(spec["size_ft"]) if "size_ft" in spec else None
    return Home(
        road=spec["street"], number=0, occupancy=spec["occupancy"], x=spec["at"][0] * FT_PER_MI,
        y=spec["at"][1] * FT_PER_MI, heading=0.4, setback_ft=0.0, label=spec["label"], street=spec["street"],
        size_ft=size, footprint=size is not None,
    )  # fmt: skip


def _numbered(line: Line, ground: Ground, feet: float) -> float:
    """Measure from the township line, as numbers do; a road drawn in two parts goes on counting."""
    inside = ground.land.township()
    first = next(d for s, d in zip(line.course.stops, line.course.along, strict=True) if inside.covers(Point(s.x, s.y)))
    return float(feet - first + FT_PER_NUMBER * line.spec.get("first_number", 0))


def _along(line: Line, ground: Ground, chance: Random) -> tuple[list[Home], Course]:
    homes, course = [], line.course
    every, length = line.spec["every_ft"], course.along[-1]
    feet = 90.0 + every * 0.5 * chance.random()
    while feet < length - 60.0:
        home = _try(line, course, feet, ground, chance)
        if home is not None:
            home, way = _with_driveway(home, line, course, feet, ground, chance)
            course = way or course
            homes.append(home)
        crowd = 1.0 + 0.5 * math.sin(feet / 1900.0 + len(line.name))
        feet += every * crowd * (0.35 + 1.3 * chance.random())
    return homes, course


def _try(line: Line, course: Course, feet: float, ground: Ground, chance: Random) -> Home | None:
    """Build one house by the road, or none where there is no room."""
    mix = MIXES[line.spec.get("homes", "")]
    occupancy = _pick(mix, chance)
    hamlet = line.spec.get("homes") == "hamlet"
    size = SIZES_FT[occupancy][int(chance.random() * len(SIZES_FT[occupancy]))]
    px, py, heading = course.at(feet)
    setback = _setback(occupancy, chance, hamlet=hamlet)
    first = 1 if chance.random() < 0.5 else -1
    for side, pull in ((first, 1.0), (-first, 1.0), (first, 0.55), (-first, 0.55)):
        back = max(42.0, setback * pull) if not hamlet else setback
        x, y = px - side * back * math.sin(heading), py + side * back * math.cos(heading)
        straight = LineString([(px, py), (x, y)])
        room = size[0] + (38.0 if hamlet else 75.0)
        if ground.free(x, y, room, math.hypot(*size[:2]) / 2, back) and ground.clear_way(straight, line.shape):
            ground.taken.append((x, y, room))
            number = ground.number(line.name, _numbered(line, ground, feet), side)
            facing = heading + math.radians(20 if hamlet else 60) * (chance.random() - 0.5)
            home = Home(line.name, number, occupancy, x, y, facing, back, size_ft=size)
            return _described(home, chance)
    return None


def _setback(occupancy: str, chance: Random, *, hamlet: bool) -> float:
    if hamlet:
        return 42.0 + 34.0 * chance.random()
    if chance.random() < (0.16 if occupancy in {"camp", "farm"} else 0.09):
        return 420.0 + 860.0 * chance.random()
    return min(520.0, 62.0 - 78.0 * math.log(1.0 - chance.random()))


def _pick(mix: tuple[tuple[str, int], ...], chance: Random) -> str:
    ticket = chance.random() * sum(weight for _, weight in mix)
    for word, weight in mix:
        ticket -= weight
        if ticket < 0:
            return word
    return mix[-1][0]


def _described(home: Home, chance: Random) -> Home:
    """Say what the tables and the map know of a house: size, footprint, both or neither."""
    assert home.size_ft is not None  # noqa: S101  every built house has a size
    sized = chance.random() < 0.30
    detailed = sized and chance.random() < 0.55
    return replace(
        home,
        footprint=chance.random() < 0.70,
        size_known=sized,
        hazard=HAZARD.get(home.occupancy, 7) if detailed else None,
        construction=("V" if chance.random() < 0.85 else "III") if detailed else "",
        exposure=chance.random() < 0.15 if detailed else None,
        sprinklered=True if chance.random() < 0.012 else None,
        label=_label(home, chance),
        street=home.road if chance.random() < 0.82 else "",
    )


def _label(home: Home, chance: Random) -> str:
    """Write the address as one of several clerks would."""
    short = home.road
    for word, abbreviation in SHORT.items():
        short = short.replace(word, abbreviation)
    lot = f" Lot {1 + int(4 * chance.random())}" if home.occupancy == "mobile home" and chance.random() < 0.15 else ""
    style = chance.random()
    if style < 0.68:
        return f"{home.number} {short}{lot}"
    if style < 0.82:
        return f"{home.number} {home.road}{lot}"
    if style < 0.93:
        return f"{home.number} {short.upper()}{lot}"
    if style < 0.96:
        return f"{home.number}A {short}"
    return f"{short} {home.number}, {home.occupancy}"


def _with_driveway(
    home: Home, line: Line, course: Course, feet: float, ground: Ground, chance: Random
) -> tuple[Home, Course | None]:
    """Lay a driveway to a house that stands well back, if a mapper has drawn it and nothing lies in its way."""
    drawn, told, bow = chance.random() < 0.62, chance.random() < 0.30, chance.random() - 0.5
    if home.setback_ft < 230.0:
        return home, None
    known = round(home.setback_ft * (1.06 + 0.14 * chance.random()), -1) if told else None
    home = replace(home, driveway_ft=None if known is None else int(known))
    name = f"drive {line.name} {home.number}"
    px, py, _ = course.at(feet)
    dx, dy = home.x - px, home.y - py
    bends = [(0.08, 0.0), (0.40, 0.6 * bow), (0.72, 0.35 * bow), (1.0, 0.0)]
    way = [Stop(px + u * dx - v * dy, py + u * dy + v * dx) for u, v in bends]
    near = home.size_ft[1] / 2 + 12 if home.size_ft else 20.0
    share = 1.0 - near / math.dist(way[-2][:2], way[-1][:2])
    way[-1] = Stop(way[-2].x + share * (way[-1].x - way[-2].x), way[-2].y + share * (way[-1].y - way[-2].y))
    way = list(draw([Stop(px, py, name), *way], name, 0.09, 240.0).stops)
    shape = LineString([(stop.x, stop.y) for stop in way])
    if not (drawn and ground.clear_way(shape, line.shape)):
        return home, None
    ground.ways.append(shape)
    return replace(home, driveway=tuple(way)), course.with_vertex(feet, name)
