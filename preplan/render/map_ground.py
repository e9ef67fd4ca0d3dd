"""What lies under the answers on the map: roads with what is posted, closures, barriers, water, buildings, hydrants."""

from __future__ import annotations

import numpy as np

from preplan.months import month_words
from preplan.plan import Plan
from preplan.records import Closure, IntArray
from preplan.render import words
from preplan.render.barrier_marks import barrier_lines
from preplan.render.limit_places import posted_words
from preplan.render.map_frame import drawn_frame, road_rank
from preplan.render.map_pack import Ints, Page, Texts, grid, lines, pack, steps

RATED = "rated"
"""Before a weight of the bridge table: it stands on no sign."""
MARK_POSTED, MARK_UNPOSTED, MARK_CLOSED, MARK_NARROW = 1, 2, 4, 8
"""Bits of a stretch: something posted; a bridge without a posted weight; no road for tankers; one truck wide."""


def road_data(plan: Plan, kept: IntArray) -> Page:
    """Pack the stretches to draw, `kept` (rows of the RoadTable), with their names and what is posted."""
    roads, limits = plan.roads, plan.limits
    names, posts = Texts([""], {"": 0}), Texts([("", "")], {("", ""): 0})
    titles = [words.road_words(plan, k) for k in kept.tolist()]
    marks = limits.posted[kept] * MARK_POSTED + limits.unposted_bridge[kept] * MARK_UNPOSTED
    marks += ~limits.tanker_road[kept] * MARK_CLOSED + limits.narrow[kept] * MARK_NARROW
    posted = [_post_words(plan, k) for k in kept.tolist()]
    return {
        **lines([plan.line(k) for k in kept.tolist()]),
        "rank": pack([road_rank(roads.highway[k]) for k in kept.tolist()]),
        "name": pack([names.place(title) for title in titles]),
        "mark": pack(marks),
        "post": pack([posts.place(texts) for texts in posted]),
        "names": names.values,
        "posts": [short for short, _ in posts.values],
        "signs": [whole for _, whole in posts.values],
        "weak": [row for row, k in enumerate(kept.tolist()) if _is_weak(plan, k)],
        "ways": roads.way_id[kept][(marks & (MARK_POSTED | MARK_UNPOSTED)) > 0].tolist(),
    }


def closure_data(plan: Plan, road_row: Ints) -> list[Page]:
    """List the district's own closures with facts and stretches drawn, then roads that signs shut in some months."""
    return [
        {
            "own": True,
            "title": f"Closure {words.printable(one.closure.closure_id)}: {_closure_words(one.closure)}",
            "shut": one.closure.kind in {"closed", "one_way"},
            "facts": [
                ("In force", month_words(one.closure.months)),
                ("Note", words.printable(one.closure.note) or "none"),
            ],
            "roads": [row for row in road_row[one.segments].tolist() if row >= 0],
        }
        for one in plan.limits.closed
    ] + [
        {
            "own": False,
            "title": f"Shut in {month_words(months)}, as the road data has it",
            "shut": True,
            "facts": [("In force", month_words(months)), ("OpenStreetMap way", str(way))],
            "roads": [row for row in road_row[segments].tolist() if row >= 0],
        }
        for (way, months), segments in _shut_by_sign(plan).items()
    ]


def _shut_by_sign(plan: Plan) -> dict[tuple[int, tuple[int, ...]], list[int]]:
    """List stretches that no truck may drive in some planned months, in others it may, by way and those months.

    What the district itself closes then is not among them.
    """
    months: dict[int, set[int]] = {}
    for season, limits in zip(plan.seasons, plan.season_limits, strict=True):
        shut = plan.limits.usable & ~limits.usable
        for one in plan.limits.closed:
            if one.closure.kind == "closed" and one.closure.months >= {*season.months}:
                shut[one.segments] = False
        for segment in np.flatnonzero(shut).tolist():
            months.setdefault(segment, set()).update(season.months)
    found: dict[tuple[int, tuple[int, ...]], list[int]] = {}
    for segment, those in sorted(months.items()):
        found.setdefault((int(plan.roads.way_id[segment]), tuple(sorted(those))), []).append(segment)
    return found


def _closure_words(closure: Closure) -> str:
    """Say what a closure does, such as 'at most 24,000 lb'."""
    units = {"max_lb": "lb", "max_height_ft": "ft high", "max_width_ft": "ft wide"}
    if closure.kind in units and closure.value is not None:
        most = words.supply(closure.value) if closure.kind == "max_lb" else words.clearance(closure.value)
        return f"at most {most} {units[closure.kind]}"
    return words.printable(closure.kind.replace("_", " "))


def _post_words(plan: Plan, segment: int) -> tuple[str, str]:
    """Say what is posted on a stretch, or how an unposted bridge is rated: as short as the map writes it, and in full.

    '; ' parts what holds in other months, or besides.
    """
    if not plan.limits.posted[segment]:
        rated = _rated_words(plan, segment)
        return rated, rated
    return posted_words(plan, segment, short=True) or "posted", posted_words(plan, segment) or "posted"


def _is_weak(plan: Plan, segment: int) -> bool:
    """Tell whether a bridge that nobody posted is rated below the weight of some unit."""
    row = int(plan.bridge_row[segment])
    heaviest = max((unit.loaded_lb for unit in plan.units), default=0.0)
    return bool(row >= 0 and plan.limits.unposted_bridge[segment] and plan.bridges.operating_lb[row] < heaviest)


def _rated_words(plan: Plan, segment: int) -> str:
    """Say how the inventory rates a bridge that nobody posted: 'not posted; rated 42,000 lb'; else ''."""
    row = int(plan.bridge_row[segment])
    if row < 0 or not plan.limits.unposted_bridge[segment] or not np.isfinite(plan.bridges.operating_lb[row]):
        return ""
    return f"not posted; {RATED} {words.supply(float(plan.bridges.operating_lb[row]))} lb"


def ground_data(plan: Plan) -> Page:
    """Water, islands, streams, buildings, barriers and hydrants inside the frame."""
    features, frame = plan.features, drawn_frame(plan)
    hydrants = np.concatenate(
        [np.column_stack([plan.hydrants.lon, plan.hydrants.lat]), features.hydrant_lonlat.reshape(-1, 2)]
    )
    hydrants = hydrants[np.all(np.isfinite(hydrants), axis=1)]
    hydrants = hydrants[frame.touches(hydrants[:, 0], hydrants[:, 1], hydrants[:, 0], hydrants[:, 1])]
    return {
        "water": lines(frame.keep(features.water_rings)),
        "islands": lines(frame.keep(features.island_rings)),
        "streams": lines(frame.keep(features.waterlines)),
        "buildings": lines(frame.keep(features.building_rings)),
        "barriers": lines(frame.keep(barrier_lines(plan.roads))),
        "hydrantLon": pack(steps(grid(hydrants[:, 0]))),
        "hydrantLat": pack(steps(grid(hydrants[:, 1]))),
    }
