"""The symbols of paper: one status, one shape, one shade; fill sites, stations, the star of the dump site."""

from __future__ import annotations

import math
from itertools import pairwise

from preplan.records import FillSite
from preplan.render.kind_marks import KIND_LINES
from preplan.render.paper import BLACK, BLUE, GREY, SMALL_PT, WHITE, YELLOW, Pen, width_of


def status_mark(pen: Pen, status: str, x: float, y: float, size: float) -> None:
    """Draw a status symbol of a width, centred: one status, one shape, one shade."""
    pen.stamp((status, size), x, y, lambda: _status_mark(pen, status, size))


def _status_mark(pen: Pen, status: str, size: float) -> None:
    half = size / 2
    pen.width(max(0.8, size * 0.1))
    if status == "served":
        pen.ink(BLUE, BLUE)
        pen.circle(0.0, 0.0, half, stroke=False, fill=True)
    elif status == "higher level":
        pen.ink(BLACK, YELLOW)
        pen.rect(-half * 0.88, -half * 0.88, size * 0.88, size * 0.88, fill=True)
    elif status == "not met":
        pen.ink(BLACK, BLACK)
        pen.shape([(-half, -half * 0.85), (half, -half * 0.85), (0.0, half * 0.95)])
    elif status == "no route":
        pen.width(size * 0.26)
        arm = half * 0.8
        pen.strokes((-arm, -arm, arm, arm), (-arm, arm, arm, -arm))
    else:
        pen.ink(GREY, WHITE)
        pen.circle(0.0, 0.0, half * 0.62)


_MARK_SHARE, _MOST_MARK_PT = 0.42, 3.6
"""Half the width of the mark of a fill site's kind: share of the drop's, and the most."""
TAG_PT = 10.5
"""Height of a step's tag."""


def tag_width(label: str) -> float:
    """Give the width of a step's tag, points."""
    return width_of(label, SMALL_PT, bold=True) + TAG_PT


def step_mark(pen: Pen, label: str, x: float, y: float) -> None:
    """Draw the tag of a step: its number in a long box with two points, as no status and no fill site has it."""
    pen.stamp(("step", label), x, y, lambda: _step_mark(pen, label))


def _step_mark(pen: Pen, label: str) -> None:
    far, high = tag_width(label) / 2, TAG_PT / 2
    near = far - high * 0.7
    pen.ink(BLACK, WHITE)
    pen.width(0.8)
    pen.shape([(-far, 0.0), (-near, high), (near, high), (far, 0.0), (near, -high), (-near, -high)])
    pen.ink(BLACK, BLACK)
    pen.text(0.0, -SMALL_PT * 0.36, label, SMALL_PT, bold=True, align="middle")


_STAR_PT = 17.0
"""Size of a star, from tip to tip."""


def star_mark(pen: Pen, x: float, y: float) -> None:
    """Draw the star of the chosen address's dump site."""
    pen.stamp("star", x, y, lambda: _star_mark(pen))


def _star_mark(pen: Pen) -> None:
    pen.ink(WHITE, BLACK)
    pen.width(1.0)
    turns = [math.pi / 2 + k * math.pi / 5 for k in range(10)]
    reach = [_STAR_PT / 2, _STAR_PT / 4.6] * 5
    pen.shape([(r * math.cos(t), r * math.sin(t)) for r, t in zip(reach, turns, strict=True)])


def half_width(label: str, size: float) -> float:
    """Give half the width of a drop: it grows with its number."""
    return max(size, width_of(label, SMALL_PT, bold=True) + 5.0) / 2


def fill_mark(pen: Pen, site: FillSite, label: str, x: float, y: float, size: float = 18.0) -> None:
    """Draw a fill site: an upright drop with its number, a mark for its kind, dashed when seasonal, crossed if out."""
    key = ("fill site", site.kind, site.seasonal, site.in_service, label, size)
    pen.stamp(key, x, y, lambda: _fill_mark(pen, site, label, size))


def _fill_mark(pen: Pen, site: FillSite, label: str, size: float) -> None:
    r = half_width(label, size)
    pen.ink(BLACK, WHITE)
    pen.width(1.2)
    if site.seasonal:
        pen.dash(2.2, 1.6)
    drop = [(0.0, 1.9), (0.35, 1.25), (1.0, 0.8), (1.0, 0.0), (1.0, -1.33), (-1.0, -1.33), (-1.0, 0.0), (-1.0, 0.8),
            (-0.35, 1.25), (0.0, 1.9)]  # fmt: skip
    pen.curves([(east * r, north * r) for east, north in drop], fill=True)
    pen.dash()
    _kind_mark(pen, site.kind, -r * 0.63, min(_MOST_MARK_PT, r * _MARK_SHARE))
    if not site.in_service:
        pen.width(1.0)
        pen.strokes((-r, -r, r, r * 1.4), (-r, r * 1.4, r, -r))
        pen.ink(WHITE, WHITE)
        half = width_of(label, SMALL_PT, bold=True) / 2 + 0.8
        pen.rect(-half, -r * 0.12 - 0.8, 2 * half, SMALL_PT * 0.92, stroke=False, fill=True)
    pen.ink(BLACK, BLACK)
    pen.text(0.0, -r * 0.12, label, SMALL_PT, bold=True, align="middle")


def _kind_mark(pen: Pen, kind: str, y: float, half: float) -> None:
    """Draw the small inner mark of a fill site's kind."""
    pen.width(0.9)
    for points in KIND_LINES.get(kind, ()):
        ends = [(east * half, y - down * half) for east, down in points]
        pen.strokes(*((*one, *other) for one, other in pairwise(ends)))


def hydrant_mark(pen: Pen, x: float, y: float) -> None:
    """Draw a hydrant of the water mains: its barrel and arms, as the map does, on white."""
    pen.stamp(("hydrant of the mains",), x, y, lambda: _hydrant_mark(pen))


def _hydrant_mark(pen: Pen) -> None:
    bars = (0.0, -4.5, 0.0, 4.5), (-3.4, 1.2, 3.4, 1.2)
    for width, ink in ((4.0, WHITE), (1.8, BLACK)):
        pen.ink(ink, ink)
        pen.width(width)
        pen.strokes(*bars)


def station_mark(pen: Pen, label: str, x: float, y: float, size: float = 15.0) -> None:
    """Draw a station: the outline of a gabled house with its number."""
    pen.stamp(("station", label, size), x, y, lambda: _station_mark(pen, label, size))


def _station_mark(pen: Pen, label: str, size: float) -> None:
    half = max(size, width_of(label, SMALL_PT) + 4.0) / 2
    pen.ink(BLACK, WHITE)
    pen.width(1.0)
    low, eaves, ridge = -6.0, 4.0, 10.0
    pen.shape([(-half, low), (half, low), (half, eaves), (0.0, ridge), (-half, eaves)])
    pen.ink(BLACK, BLACK)
    pen.text(0.0, -4.0, label, SMALL_PT, align="middle")
