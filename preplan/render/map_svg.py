"""The map with scripts off: a still drawing and the table of fill sites, as HTML text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape

import numpy as np
import shapely

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_tables import STATUSES
from preplan.records import FloatArray, IntArray
from preplan.render import words
from preplan.render.kind_marks import svg_path
from preplan.render.map_frame import Frame, kept_roads, road_rank, view_frame
from preplan.render.map_pack import Ints
from preplan.units import M_PER_MI

WIDTH = 2000
"""Width of the drawing, in its own units; places are whole units."""
MOST_HEIGHT = 4 * WIDTH
"""A longer district is drawn smaller, so that it is whole."""
BEND_UNITS = 2.0
"""Bends smaller than this are not drawn."""
HIDDEN_UNITS = 10
"""Of addresses of one status within a square of this side one is drawn: half the width of its symbol."""
ROAD_PENS = (("#6e6e6e", 8), ("#808080", 7), ("#929292", 6), ("#a6a6a6", 4))
"""Shade and width of each rank of road that is drawn; the last rank is left out."""
SCALE_MI = (10.0, 5.0, 2.0, 1.0, 0.5, 0.25)
M_PER_DEGREE = 111_200.0
"""Metres in a degree of latitude, near enough for a scale bar."""
_DARK = "#1d2429"


class Sheet:
    """The drawing's plane: lon, lat to whole units, true to shape at the middle of the frame."""

    def __init__(self, frame: Frame) -> None:
        """Fit the frame to the drawing: to its width, or to its greatest height, then in the middle."""
        self.frame = frame
        wide_deg, high_deg = max(frame.east - frame.west, 1e-4), max(frame.north - frame.south, 1e-4)
        shrink = math.cos(math.radians((frame.south + frame.north) / 2))
        self.per_lat = min(WIDTH / wide_deg / shrink, MOST_HEIGHT / high_deg)
        self.per_lon = self.per_lat * shrink
        self.height = max(WIDTH // 4, round(high_deg * self.per_lat))
        self.left = (WIDTH - wide_deg * self.per_lon) / 2

    def units(self, lonlat: FloatArray) -> IntArray:
        """Turn (n, 2) degrees into (n, 2) whole units from the upper left; the sheet holds its edges."""
        x = self.left + (lonlat[:, 0] - self.frame.west) * self.per_lon
        y = (self.frame.north - lonlat[:, 1]) * self.per_lat
        held = np.clip(np.column_stack([x, y]), -2 * WIDTH, MOST_HEIGHT + 2 * WIDTH)
        return np.round(held).astype(np.int32)

    def paths(self, shapes: Sequence[FloatArray]) -> list[str]:
        """Write lines as paths, without the bends that a pen's width hides."""
        if not shapes:
            return []
        lonlat = np.concatenate(shapes)
        owner = np.repeat(np.arange(len(shapes)), [len(shape) for shape in shapes])
        lines = shapely.simplify(shapely.linestrings(self.units(lonlat), indices=owner), BEND_UNITS)
        points, line = shapely.get_coordinates(lines, return_index=True)
        parts = np.split(points.astype(np.int64), np.flatnonzero(np.diff(line)) + 1)
        return [_path(part) for part in parts]


def _path(units: Ints) -> str:
    """Write one line by its first point and the jumps from there; a line without length as a dot."""
    jumps = "".join(f"{dx}{dy:+d}" if dx < 0 else f"+{dx}{dy:+d}" for dx, dy in np.diff(units, axis=0).tolist())
    return f"M{units[0, 0]} {units[0, 1]}l{jumps}".replace("l+", "l")


def still_map(plan: Plan) -> str:
    """Draw roads, water, addresses by status and numbered fill sites as one SVG."""
    sheet = Sheet(view_frame(plan))
    parts = [_ground(plan, sheet), _roads(plan, sheet), _addresses(plan, sheet), *_sites(plan, sheet), _scale(sheet)]
    name = escape(words.printable(plan.district.name))
    return (
        f'<svg viewBox="0 0 {WIDTH} {sheet.height}" role="img" aria-label="Map of {name}" '
        f'fill="none" stroke-linejoin="round">{"".join(parts)}</svg>'
    )


def still_legend(plan: Plan) -> str:
    """List the statuses with their symbols, words and counts."""
    reach_ft = plan.district.rules.hydrants.reach_ft
    items = [
        f'<li><svg viewBox="-16 -16 32 32" fill="none">{status_marks(status, [(0, 0)])}</svg>'
        f"{escape(words.status_words(status, reach_ft))} ({count:,})</li>"
        for status, count in plan.counts().items()
    ]
    outside = _outside(plan)
    note = f"<p>Addresses outside this drawing: {outside:,}.</p>" if outside else ""
    return f"<ul>{''.join(items)}</ul>{note}"


def fill_site_table(plan: Plan) -> str:
    """Write the table of fill sites: number, name, kind, rate and how it is known, months, in service."""
    heads = ("Number", "Fill site", "Kind", "Rate into one tanker", "Months", "In service")
    rows = ["".join(f"<th>{head}</th>" for head in heads)]
    for number, site in enumerate(plan.sites, start=1):
        cells = (
            str(number),
            words.printable(site.name),
            words.printable(site.kind),
            words.rate_words(site),
            month_words(site.months),
            "yes" if site.in_service else "no",
        )
        rows.append("".join(f"<td>{escape(cell)}</td>" for cell in cells))
    return "<table>" + "".join(f"<tr>{row}</tr>" for row in rows) + "</table>"


def status_marks(status: str, places: list[tuple[int, int]]) -> str:
    """Draw one status at many places, its shape and shade as everywhere.

    A round end of a line without length is a disc, a square end a square: two short paths draw any number.
    """
    dots = "".join(f"{start}h0" for start in _starts(places))
    round_pen, square_pen = 'stroke-linecap="round"', 'stroke-linecap="square"'
    if status == "served":
        return f'<path d="{dots}" stroke="#0072B2" stroke-width="20" {round_pen}/>'
    if status == "higher level":
        return (
            f'<path d="{dots}" stroke="{_DARK}" stroke-width="20" {square_pen}/>'
            f'<path d="{dots}" stroke="#F0E442" stroke-width="13" {square_pen}/>'
        )
    if status == "not met":
        triangles = "".join(f"{start}l12 22h-24z" for start in _starts(places, up=13))
        return f'<path d="{triangles}" fill="#000000"/>'
    if status == "no route":
        crosses = "".join(f"M{x - 9} {y - 9}l18 18m0 -18l-18 18" for x, y in places)
        return f'<path d="{crosses}" stroke="{_DARK}" stroke-width="6"/>'
    return (
        f'<path d="{dots}" stroke="#6f767b" stroke-width="15" {round_pen}/>'
        f'<path d="{dots}" stroke="#ffffff" stroke-width="8" {round_pen}/>'
    )


def _starts(places: list[tuple[int, int]], *, up: int = 0) -> list[str]:
    """Go to each place, or so far above it, as short as can be told: by the jump from the one before.

    What is drawn there must end where it began.
    """
    (x, y), *_ = places
    jumps = np.diff(np.array(places), axis=0).tolist()
    return [f"M{x} {y - up}", *(f"m{dx} {dy}" if dy >= 0 else f"m{dx}{dy}" for dx, dy in jumps)]


def _outside(plan: Plan) -> int:
    frame, table = view_frame(plan), plan.addresses
    return int(np.sum(~frame.touches(table.lon, table.lat, table.lon, table.lat)))


def _scale(sheet: Sheet) -> str:
    """Draw a scale bar: the longest round number of miles within a quarter of the drawing."""
    units_per_mi = sheet.per_lat * M_PER_MI / M_PER_DEGREE
    miles = next((one for one in SCALE_MI if one * units_per_mi <= WIDTH / 4), SCALE_MI[-1])
    foot = sheet.height - 24
    return (
        f'<path d="M24 {foot - 16}v16h{round(miles * units_per_mi)}v-16" stroke="{_DARK}" stroke-width="4"/>'
        f'<text x="34" y="{foot - 12}" font-size="30" fill="{_DARK}">{miles:g} mi</text>'
    )


def _ground(plan: Plan, sheet: Sheet) -> str:
    frame, features = sheet.frame, plan.features
    water, islands = (
        "".join(f"{path}z" for path in sheet.paths(frame.keep(rings)))
        for rings in (features.water_rings, features.island_rings)
    )
    streams = "".join(sheet.paths(frame.keep(features.waterlines)))
    return (
        f'<path d="{water}" fill="#d3dfe6" stroke="#a9bfcc"/><path d="{islands}" fill="#f8f7f4" stroke="#a9bfcc"/>'
        f'<path d="{streams}" stroke="#a9bfcc" stroke-width="2"/>'
    )


def _roads(plan: Plan, sheet: Sheet) -> str:
    by_rank: list[list[FloatArray]] = [[] for _ in ROAD_PENS]
    for segment in kept_roads(plan, sheet.frame, np.empty(0, dtype=np.int32)).tolist():
        rank = road_rank(plan.roads.highway[segment])
        if rank < len(by_rank):
            by_rank[rank].append(plan.line(segment))
    paths = [
        f'<path d="{"".join(sheet.paths(lines))}" stroke="{shade}" stroke-width="{width}"/>'
        for lines, (shade, width) in zip(by_rank, ROAD_PENS, strict=True)
    ]
    return "".join(reversed(paths))


def _addresses(plan: Plan, sheet: Sheet) -> str:
    units = sheet.units(np.column_stack([plan.addresses.lon, plan.addresses.lat]))
    status = plan.answers.status
    order = ("hydrant", *(one for one in STATUSES if one != "hydrant"))
    places = {one: [(int(x), int(y)) for x, y in _apart(units[status == one]).tolist()] for one in order}
    return "".join(status_marks(one, places[one]) for one in order if places[one])


def _apart(units: IntArray) -> IntArray:
    """Leave out places that one of the same status hides but for its edge; the first of each square stays.

    They are in the order of the squares, so that each is near the one before.
    """
    _, first = np.unique(units // HIDDEN_UNITS, axis=0, return_index=True)
    return units[first]


def _sites(plan: Plan, sheet: Sheet) -> list[str]:
    """Draw the drops, those in service on top."""
    order = sorted(range(len(plan.sites)), key=lambda k: plan.sites[k].in_service)
    return [_site(plan, k, sheet) for k in order]


def _site(plan: Plan, index: int, sheet: Sheet) -> str:
    site = plan.sites[index]
    x, y = sheet.units(np.array([[site.lon, site.lat]]))[0].tolist()
    dashes = ' stroke-dasharray="8 5"' if site.seasonal else ""
    cross = f'<path d="M-34 34L34 -34M-34 -34L34 34" stroke="{_DARK}" stroke-width="4"/>'
    mark = f'<path d="{svg_path(site.kind, 10.0, y=19.0)}" stroke="{_DARK}" stroke-width="3"/>'
    return (
        f'<g transform="translate({x} {y})">'
        '<path d="M0 -46C11 -27 29 -11 29 8A29 29 0 0 1 -29 8C-29 -11 -11 -27 0 -46z" fill="#ffffff" '
        f'stroke="{_DARK}" stroke-width="4"{dashes}/>{mark}'
        f"{'' if site.in_service else cross}"
        f'<text y="8" text-anchor="middle" font-size="28" font-weight="bold" fill="{_DARK}" stroke="#ffffff" '
        f'stroke-width="8" paint-order="stroke">{index + 1}</text></g>'
    )
