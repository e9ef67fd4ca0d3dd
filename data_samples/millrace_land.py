"""The land as drawn in millrace_land.toml: every line with its shape, its meetings and its tags."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from shapely.geometry import LineString, Point, Polygon

from data_samples.millrace_curves import FT_PER_MI, Course, Plane, Stop, blob, draw

DRAWING = Path(__file__).with_name("millrace_land.toml")
GRAIN_FT = {"road": 900.0, "creek": 420.0, "stream": 450.0, "rail": 6000.0}
"""Least gap between stops that still gets a bend of its own."""
BEND = {"creek": 0.27, "stream": 0.18, "rail": 0.02}
STOP_SIGN_FT = 32.0


@dataclass(frozen=True)
class Line:
    """A road, a creek, a stream or a railway."""

    name: str
    kind: str
    course: Course
    tags: Mapping[str, str]
    changes: Mapping[str, Mapping[str, str]]
    """Tags that hold from a named vertex onward."""
    spans: Mapping[str, Mapping[str, str]]
    """Tags between the vertices '<name> in' and '<name> out', by name."""
    node_tags: Mapping[str, Mapping[str, str]]
    spec: Mapping[str, Any] = field(default_factory=dict)

    @property
    def shape(self) -> LineString:
        """The line for measuring, in feet."""
        return LineString([(stop.x, stop.y) for stop in self.course.stops])


@dataclass(frozen=True)
class Shore:
    """A pond, a lake, a wood: a closed ring with tags, perhaps an island."""

    name: str
    ring: Sequence[Stop]
    tags: Mapping[str, str]
    island: Sequence[Stop] = ()


@dataclass(frozen=True)
class Land:
    """Everything that lies on the ground before people build on it."""

    plane: Plane
    boundary: Sequence[Stop]
    lines: tuple[Line, ...]
    shores: tuple[Shore, ...]
    drawing: Mapping[str, Any]

    def roads(self, name: str = "") -> list[Line]:
        """List the roads, or those of one name."""
        return [line for line in self.lines if line.kind == "road" and name in {"", line.name}]

    def township(self) -> Polygon:
        """Return the district's area in feet."""
        return Polygon([(stop.x, stop.y) for stop in self.boundary])

    def beside(self, road: str, near: Sequence[float], off_ft: float) -> Stop:
        """Return the place off the named road's edge, on the side of a point given in miles."""
        x, y = near[0] * FT_PER_MI, near[1] * FT_PER_MI
        line = min(self.roads(road), key=lambda one: one.shape.distance(Point(x, y)))
        px, py, _ = line.course.at(line.course.nearest_feet(x, y))
        gap = max(1.0, Point(x, y).distance(Point(px, py)))
        return Stop(px + off_ft * (x - px) / gap, py + off_ft * (y - py) / gap)


def read_land() -> Land:
    """Read the drawing and draw every line of it."""
    drawing = tomllib.loads(DRAWING.read_text(encoding="utf-8"))
    lines = [_line(drawing, spec, "road", i) for i, spec in enumerate(drawing["road"])]
    lines += [_line(drawing, spec, spec["kind"], i) for i, spec in enumerate(drawing["water"])]
    lines += [_line(drawing, spec, "rail", i) for i, spec in enumerate(drawing["rail"])]
    shores = [_pond(spec) for spec in drawing["pond"]]
    for i, spec in enumerate(drawing["cover"]):
        ring = blob(spec["center"], spec["axes"], spec["turn"], spec["rough"], f"cover {i}")
        shores.append(Shore("", ring, spec["tags"]))
    boundary = [Stop(x * FT_PER_MI, y * FT_PER_MI) for x, y in drawing["boundary"]]
    return Land(Plane(**drawing["plane"]), boundary, tuple(lines), tuple(shores), drawing)


def _pond(spec: Mapping[str, Any]) -> Shore:
    ring = blob(spec["center"], spec["axes"], spec["turn"], spec["rough"], f"pond {spec['name'] or spec['center']}")
    tags = {"natural": "water", "water": "lake" if "island" in spec else "pond"}
    island = spec.get("island")
    rocks = blob(island["center"], island["axes"], 20, 0.2, "island") if island else ()
    return Shore(spec["name"], ring, tags | ({"name": spec["name"]} if spec["name"] else {}), rocks)


def _line(drawing: Mapping[str, Any], spec: Mapping[str, Any], kind: str, index: int) -> Line:
    stops: list[Stop] = []
    changes: dict[str, Mapping[str, str]] = {}
    for step in spec["path"]:
        if isinstance(step, dict):
            place = stops[-1].name or f"{kind} {index} change {len(stops)}"
            stops[-1] = Stop(stops[-1].x, stops[-1].y, place)
            changes[place] = step
        else:
            x, y = drawing["places"][step] if isinstance(step, str) else step
            stops.append(Stop(x * FT_PER_MI, y * FT_PER_MI, step if isinstance(step, str) else ""))
    course = draw(stops, f"{kind} {index} {spec['name']}", spec.get("bend", BEND.get(kind, 0.0)), GRAIN_FT[kind])
    course, spans = _crossings(course, kind, drawing["crossing"])
    course, signs = _stop_signs(course, spec.get("stops", ""), f"{kind} {index}")
    tags = {"name": spec["name"]} | spec["tags"]
    return Line(spec["name"], kind, course, tags, changes, spans, drawing["node_tags"] | signs, spec)


def _crossings(course: Course, kind: str, crossings: Mapping[str, Any]) -> tuple[Course, dict[str, Mapping[str, str]]]:
    """Turn the named crossings of a line into spans, or let the line pass where the other one is the span."""
    spans = {}
    for name in [stop.name for stop in course.stops if stop.name in crossings]:
        tags = crossings[name].get(kind)
        if tags is None:
            course = course.unnamed(name)
        else:
            course = course.with_span(name, crossings[name]["half_ft"])
            spans[name] = tags
    return course, spans


def _stop_signs(course: Course, ends: str, key: str) -> tuple[Course, dict[str, Mapping[str, str]]]:
    signs: dict[str, Mapping[str, str]] = {}
    if ends in {"start", "both"}:
        course = course.with_vertex(STOP_SIGN_FT, f"{key} first stop")
        signs[f"{key} first stop"] = {"highway": "stop", "direction": "backward"}
    if ends in {"end", "both"}:
        course = course.with_vertex(course.along[-1] - STOP_SIGN_FT, f"{key} last stop")
        signs[f"{key} last stop"] = {"highway": "stop", "direction": "forward"}
    return course, signs
