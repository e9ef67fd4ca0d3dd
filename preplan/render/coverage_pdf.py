"""The district at a glance: a map of every address by status, and one for each response level."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import product

import numpy as np

from preplan.plan import Plan
from preplan.plan_tables import STATUSES
from preplan.records import ALL_MONTHS, FILL_SITE_KINDS, BoolArray, FloatArray
from preplan.render import index_pdf, scene, symbols_pdf, words
from preplan.render.charts import Picture, draw_edge, draw_key, key_places
from preplan.render.paper import BLACK, GREY, LEFT_PT, RIGHT_PT, SMALL_PT, Document, Pen, paragraph, width_of
from preplan.render.scene import Box, Frame, Room

_HIGH_PT = 430.0
_MARK_PT, _SMALL_MARK_PT, _MANY = 4.0, 3.0, 1500
"""Size of a symbol, and of one among many addresses."""
_SITE_PT = 12.0
_SMALL_PT = (60.0, 205.0)
"""Least and most height of a small map."""
_SMALL_ROWS_PT = 300.0
"""Height that the small maps may take where that makes them larger."""
_IN_A_ROW = 3
_CAPTION_PT = 32.0
_GAP_PT = 12.0
_DOT_PT = 1.1
_EDGE_SHARE = 0.5
"""Percent of the addresses beyond each edge of the map: one stray point would make it a map of nothing."""
_NEAR_SHARE = 0.15
"""Share of a map's width or height by which it grows to hold all that lies beyond an edge."""
_LEAST_FT = 3000.0


def coverage(document: Document, picture: Picture) -> None:
    """Draw what each response level meets, then every address by its status over roads and water."""
    plan = picture.plan
    known = picture.address_ft[np.isfinite(picture.address_ft).all(axis=1)]
    if not len(known):
        return
    _level_maps(document, picture, known)
    document.heading("Coverage on the map", bookmark=True, keep=_HIGH_PT + 40.0)
    page = Box(LEFT_PT, document.y - _HIGH_PT, RIGHT_PT, document.y)
    frame = Frame(page, _country(_spanned(picture, known), page.width / page.height))
    _draw_status_map(document.pen, picture, frame)
    document.y = page.bottom - 4.0
    index_pdf.draw_counts(document.pen, plan, document.y - 10.0)
    document.y -= 14.0
    said = _beyond(picture, frame, stations=True)
    document.flow(f"{said}Drops: fill sites by their number. Houses: stations. A line leads to its place.", SMALL_PT)
    _draw_kinds(document, plan)


def _country(spanned_ft: FloatArray, shape: float) -> Box:
    """Span some points in the shape of a picture."""
    return scene.extent(spanned_ft, shape, margin=0.05, least_ft=_LEAST_FT)


def _spanned(picture: Picture, points_ft: FloatArray) -> FloatArray:
    """Give what a map must show: all but a few stray addresses, and the fill sites at which tankers fill by plan.

    What lies little beyond an edge, and no more beyond it, is shown too.
    """
    low, high = np.percentile(points_ft, [_EDGE_SHARE, 100.0 - _EDGE_SHARE], axis=0)
    levels = picture.plan.levels
    used = np.unique(np.concatenate([levels.site.ravel(), levels.split.ravel()]))
    some, every = np.vstack([low, high, picture.site_ft[used[used >= 0]]]), np.vstack([points_ft, picture.site_ft])
    (low, high), (lowest, highest) = ((np.nanmin(one, axis=0), np.nanmax(one, axis=0)) for one in (some, every))
    near = _NEAR_SHARE * (high - low)
    return np.vstack([np.where(lowest >= low - near, lowest, low), np.where(highest <= high + near, highest, high)])


def _beyond(picture: Picture, frame: Frame, *, stations: bool = False) -> str:
    """Name what the map has no place for, addresses by their number, a blank behind it; '' where it has all."""
    room = Room(frame.page)
    outside = int(np.sum(~_inside(frame, picture.address_ft)))
    said = [f"{words.counted(outside, 'address')} beyond the edge of the map. "] if outside else []
    for thing, places_ft in (("fill site", picture.site_ft), *([("station", picture.station_ft)] if stations else [])):
        drawn = {row for row, *_ in _spots(frame, places_ft, room)}
        inside = _inside(frame, places_ft)
        for why, rows in (("Beyond the edge", ~inside), ("No room for", inside)):
            lacks = [str(row + 1) for row in np.flatnonzero(rows).tolist() if row not in drawn]
            if lacks:
                said.append(f"{why}: {thing}{'s' * (len(lacks) > 1)} {', '.join(lacks)}. ")
    return "".join(said)


def _draw_kinds(document: Document, plan: Plan) -> None:
    """Draw what the marks in the drops mean, of the kinds that the district has."""
    x, y = LEFT_PT, document.y - 18.0
    for kind in FILL_SITE_KINDS:
        site = next((one for one in plan.sites if one.kind == kind), None)
        if site is None:
            continue
        plain = replace(site, months=ALL_MONTHS, in_service=True)
        symbols_pdf.fill_mark(document.pen, plain, "", x + 7.0, y, _SITE_PT)
        document.pen.text(x + 17.0, y - 3.0, kind, SMALL_PT)
        x += 32.0 + width_of(kind, SMALL_PT)
    document.pen.text(x, y - 3.0, "Dashed: some months only. Crossed: out of service.", SMALL_PT)
    document.y = y - 14.0


def _inside(frame: Frame, points_ft: FloatArray) -> BoolArray:
    country = frame.country
    inside: BoolArray = (points_ft[:, 0] >= country.left) & (points_ft[:, 0] <= country.right)
    inside &= (points_ft[:, 1] >= country.bottom) & (points_ft[:, 1] <= country.top)
    return inside


def _draw_status_map(pen: Pen, picture: Picture, frame: Frame) -> None:
    """Draw the ground, the addresses, those of which there are fewest on top, and sites and stations."""
    plan, page = picture.plan, frame.page
    pen.save()
    pen.clip(page.left, page.bottom, page.width, page.height)
    picture.ground.draw(pen, frame)
    status, size = plan.answers.status, _SMALL_MARK_PT if len(plan.answers) > _MANY else _MARK_PT
    for which in sorted(STATUSES, key=lambda one: -int(np.sum(status == one))):
        places = picture.address_ft[status == which]
        for x, y in frame.known_on_page(places):
            symbols_pdf.status_mark(pen, which, x, y, size)
    room = Room(page)
    for row, x, y in _apart(pen, frame, picture.site_ft, room):
        symbols_pdf.fill_mark(pen, plan.sites[row], str(row + 1), x, y, _SITE_PT)
    for row, x, y in _apart(pen, frame, picture.station_ft, room):
        symbols_pdf.station_mark(pen, str(row + 1), x, y, _SITE_PT)
    pen.restore()
    room.block(frame.to_page(picture.address_ft[_inside(frame, picture.address_ft)]))
    draw_key(pen, frame, room.emptiest(key_places(frame))[1])
    draw_edge(pen, page)


def _apart(pen: Pen, frame: Frame, places_ft: FloatArray, room: Room) -> Iterator[tuple[int, float, float]]:
    """Give row and place of the symbols on the map; one that would cover another stands off, joined to its place."""
    for row, x, y, east, north in _spots(frame, places_ft, room):
        if (x, y) != (east, north):
            pen.ink(BLACK, BLACK)
            pen.width(0.6)
            pen.strokes((x, y, east, north))
        yield row, east, north


def _spots(frame: Frame, places_ft: FloatArray, room: Room) -> Iterator[tuple[int, float, float, float, float]]:
    """Give row, place and spot of each symbol that the map has room for."""
    for row, (x, y) in enumerate(frame.to_page(places_ft).tolist()):
        half = symbols_pdf.half_width(str(row + 1), _SITE_PT) + 1.0
        if not frame.page.holds(Box(x, y, x, y)):
            continue
        for far, turn in ((0.0, 0.0), *product((16.0, 26.0, 36.0, 48.0, 60.0), np.arange(8) * np.pi / 4)):
            east, north = x + far * float(np.cos(turn)), y + far * float(np.sin(turn))
            box = Box(east - half, north - half, east + half, north + 2 * half)
            if frame.page.holds(box) and room.free(box):
                room.take(box)
                yield row, x, y, east, north
                break


def _laid_out(count: int, spanned_ft: FloatArray) -> tuple[int, float, float]:
    """Choose how many small maps stand in a row, and their width and height: as large as a district's shape allows.

    Three in a row unless fewer make them larger in no more than `_SMALL_ROWS_PT`; a wide district has low ones.
    """
    found, tight = [], scene.box_of(spanned_ft)
    for in_a_row in range(_IN_A_ROW, 0, -1):
        wide = (RIGHT_PT - LEFT_PT - (in_a_row - 1) * _GAP_PT) / in_a_row
        high = wide * max(tight.height, _LEAST_FT) / max(tight.width, _LEAST_FT)
        high = min(max(high, _SMALL_PT[0]), _SMALL_PT[1])
        scale = Frame(Box(0.0, 0.0, wide, high), _country(spanned_ft, wide / high)).pt_per_ft
        rows_pt = -(-count // in_a_row) * (high + _CAPTION_PT)
        if in_a_row == _IN_A_ROW or rows_pt <= _SMALL_ROWS_PT:
            found.append((scale, in_a_row, wide, high))
    _, in_a_row, wide, high = max(found, key=lambda one: (round(one[0], 9), one[1]))
    return in_a_row, wide, high


def _level_maps(document: Document, picture: Picture, known: FloatArray) -> None:
    """Draw a small map a response level: dark dots are met, light ones are not."""
    plan = picture.plan
    planned = plan.answers.status != "hydrant"
    spanned_ft = _spanned(picture, known)
    in_a_row, wide, high = _laid_out(len(plan.district.levels), spanned_ft)
    country = _country(spanned_ft, wide / high)
    document.heading("What each response level meets", 11.0, keep=high + _CAPTION_PT + 8.0)
    beyond = _beyond(picture, Frame(Box(0.0, 0.0, wide, high), country))
    document.flow(
        "Dark dots: addresses that are met. Light: not met, or without a route. Addresses with a hydrant are left out. "
        f"Drops: fill sites. {beyond}", SMALL_PT,
    )  # fmt: skip
    for k, level in enumerate(plan.district.levels):
        column = k % in_a_row
        if column == 0:
            document.room(high + _CAPTION_PT + 2.0)
            document.y -= high + _CAPTION_PT
        left, top = LEFT_PT + column * (wide + _GAP_PT), document.y + high + _CAPTION_PT - 4.0
        page = Box(left, top - high, left + wide, top)
        _level_map(document.pen, picture, Frame(page, country), plan.levels.meets[:, k], planned)
        met = int(np.sum(plan.levels.meets[:, k] & planned))
        said = f"{words.level_words(level.name)}: {met:,} of {int(planned.sum()):,} met"
        document.pen.lines(left, page.bottom - 2.0, paragraph(words.first_up(said), wide, SMALL_PT, most=2))


def _level_map(pen: Pen, picture: Picture, frame: Frame, meets: BoolArray, planned: BoolArray) -> None:
    page = frame.page
    pen.save()
    pen.clip(page.left, page.bottom, page.width, page.height)
    for mask, shade in ((planned & ~meets, (0.72, 0.72, 0.72)), (planned & meets, BLACK)):
        places = picture.address_ft[mask]
        pen.ink(GREY, shade)
        for x, y in frame.known_on_page(places):
            pen.circle(x, y, _DOT_PT, stroke=False, fill=True)
    for row, x, y in _apart(pen, frame, picture.site_ft, Room(page)):
        symbols_pdf.fill_mark(pen, picture.plan.sites[row], str(row + 1), x, y, _SITE_PT)
    pen.restore()
    draw_edge(pen, page)


def shares(plan: Plan) -> tuple[FloatArray, BoolArray]:
    """Give each address's flow over its required flow at the level its card shows, and which addresses count."""
    flow = np.nan_to_num(plan.answers.shown_flow(plan.levels.uninterrupted_gpm))
    with np.errstate(invalid="ignore", divide="ignore"):
        share: FloatArray = flow / plan.needs.required_gpm
    share = np.where(flow >= plan.needs.met_from_gpm, np.maximum(share, 1.0), share)
    return share, np.asarray(plan.answers.status != "hydrant") & np.isfinite(share)
