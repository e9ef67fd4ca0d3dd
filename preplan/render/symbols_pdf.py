"""The symbols of paper: one status, one shape, one shade; fill sites, stations, the star of the dump site."""

from __future__ import annotations

import math

from preplan.records import FillSite
from preplan.render.paper import BLACK, BLUE, GREY, SMALL_PT, WHITE, YELLOW, Pen, width_of


def status_mark(pen: Pen, status: str, x: float, y: float, size: float) -> None:
    """Draw a status symbol of a width, centred: one status, one shape, one shade."""
    half = size / 2
    canvas = pen.canvas
    canvas.saveState()
    canvas.setLineWidth(max(0.8, size * 0.1))
    if status == "served":
        pen.ink(BLUE, BLUE)
        canvas.circle(x, y, half, stroke=0, fill=1)
    elif status == "higher level":
        pen.ink(BLACK, YELLOW)
        canvas.rect(x - half * 0.88, y - half * 0.88, size * 0.88, size * 0.88, fill=1)
    elif status == "not met":
        pen.ink(BLACK, BLACK)
        pen.shape([(x - half, y - half * 0.85), (x + half, y - half * 0.85), (x, y + half * 0.95)])
    elif status == "no route":
        canvas.setLineWidth(size * 0.26)
        canvas.line(x - half * 0.8, y - half * 0.8, x + half * 0.8, y + half * 0.8)
        canvas.line(x - half * 0.8, y + half * 0.8, x + half * 0.8, y - half * 0.8)
    else:
        pen.ink(GREY, WHITE)
        canvas.circle(x, y, half * 0.62, stroke=1, fill=0)
    canvas.restoreState()


def star_mark(pen: Pen, x: float, y: float, size: float) -> None:
    """Draw the star of the chosen address's dump site."""
    pen.canvas.saveState()
    pen.ink(WHITE, BLACK)
    pen.canvas.setLineWidth(1.0)
    turns = [math.pi / 2 + k * math.pi / 5 for k in range(10)]
    reach = [size / 2, size / 4.6] * 5
    pen.shape([(x + r * math.cos(t), y + r * math.sin(t)) for r, t in zip(reach, turns, strict=True)])
    pen.canvas.restoreState()


def fill_mark(pen: Pen, site: FillSite, label: str, x: float, y: float, size: float = 18.0) -> None:
    """Draw a fill site: an upright drop with its number, a mark for its kind, dashed when seasonal, crossed if out."""
    canvas, r = pen.canvas, max(size, width_of(label, SMALL_PT, bold=True) + 5.0) / 2
    canvas.saveState()
    pen.ink(BLACK, WHITE)
    canvas.setLineWidth(1.2)
    if site.seasonal:
        canvas.setDash([2.2, 1.6])
    path = canvas.beginPath()
    path.moveTo(x, y + r * 1.9)
    path.curveTo(x + r * 0.35, y + r * 1.25, x + r, y + r * 0.8, x + r, y)
    path.curveTo(x + r, y - r * 1.33, x - r, y - r * 1.33, x - r, y)
    path.curveTo(x - r, y + r * 0.8, x - r * 0.35, y + r * 1.25, x, y + r * 1.9)
    path.close()
    canvas.drawPath(path, stroke=1, fill=1)
    canvas.setDash([])
    _kind_mark(pen, site.kind, x, y - r * 0.63)
    if not site.in_service:
        canvas.setLineWidth(1.0)
        canvas.line(x - r, y - r, x + r, y + r * 1.4)
        canvas.line(x - r, y + r * 1.4, x + r, y - r)
        pen.ink(WHITE, WHITE)
        half = width_of(label, SMALL_PT, bold=True) / 2 + 0.8
        canvas.rect(x - half, y - r * 0.12 - 0.8, 2 * half, SMALL_PT * 0.92, stroke=0, fill=1)
    pen.ink(BLACK, BLACK)
    pen.text(x, y - r * 0.12, label, SMALL_PT, bold=True, align="middle")
    canvas.restoreState()


def _kind_mark(pen: Pen, kind: str, x: float, y: float) -> None:
    """Draw the small inner mark of a fill site's kind, about 7 by 4 points."""
    canvas = pen.canvas
    canvas.setLineWidth(0.9)
    if kind == "draft":
        path = canvas.beginPath()
        path.moveTo(x - 3.6, y)
        path.curveTo(x - 1.8, y + 3.2, x - 1.8, y + 1.0, x, y)
        path.curveTo(x + 1.8, y - 1.0, x + 1.8, y - 3.2, x + 3.6, y)
        canvas.drawPath(path, stroke=1, fill=0)
        return
    pieces = {
        "hydrant": ((-2.5, 0, 2.5, 0), (0, -2, 0, 2)),
        "dry hydrant": ((0, -2, 0, 1.8), (0, 1.8, 2.6, 1.8)),
        "cistern": ((-3, 1.2, 3, 1.2), (-3, -1.2, 3, -1.2)),
        "tank": ((-2.5, 1.8, -2.5, -1.8), (-2.5, -1.8, 2.5, -1.8), (2.5, -1.8, 2.5, 1.8)),
    }
    for x0, y0, x1, y1 in pieces.get(kind, ()):
        canvas.line(x + x0, y + y0, x + x1, y + y1)


def station_mark(pen: Pen, label: str, x: float, y: float, size: float = 15.0) -> None:
    """Draw a station: the outline of a gabled house with its number."""
    half = max(size, width_of(label, SMALL_PT) + 4.0) / 2
    pen.canvas.saveState()
    pen.ink(BLACK, WHITE)
    pen.canvas.setLineWidth(1.0)
    low, eaves, ridge = y - 6.0, y + 4.0, y + 10.0
    pen.shape([(x - half, low), (x + half, low), (x + half, eaves), (x, ridge), (x - half, eaves)])
    pen.ink(BLACK, BLACK)
    pen.text(x, y - 4.0, label, SMALL_PT, align="middle")
    pen.canvas.restoreState()
