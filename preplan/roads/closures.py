"""The district's own closures on the stretches: they replace what the map says, and the strictest of them holds.

No answer depends on the order of the rows. Where they lie is `closure_places`' to find.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from preplan.errors import Finding, InputError
from preplan.months import month_words
from preplan.records import BoolArray, ClosedRoad, Closure, Problem, RoadTable
from preplan.roads.closure_places import Laid, lay_closures
from preplan.roads.draft import Draft
from preplan.roads.road_names import road_label
from preplan.roads.stretches import MERGED_WAYS
from preplan.units import M_PER_MI

POINT_MI = 0.25
"""A closure that takes at least this much more road than is drawn is reported (this program's careful choice)."""
LOST_M = 30.0
"""So is a line of which this much leads along nothing that it takes."""
_LIMITS = ("max_lb", "max_height_ft", "max_width_ft")
"""Kinds that are columns of the draft too."""
_DOES = {"closed": "closes", "one_way": "makes one way"}


def apply_closures(
    roads: RoadTable,
    draft: Draft,
    tanker_road: BoolArray,
    closures: tuple[Closure, ...],
    months: frozenset[int],
) -> list[Problem]:
    """Put every closure that holds in one of `months` on its stretches; report those that take more than is drawn.

    Parameters
    ----------
    roads
        Stretches, raw.
    draft
        What the map says of them; it is changed.
    tanker_road
        (segments,) roads that a place or a line may mean, the same in every month.
    closures, months
        As `limits_of` has them.

    Raises
    ------
    InputError
        With one finding for each closure whose road is not found or whose line gives no direction, and for each two
        that run one stretch in opposite directions in some month, whether or not that is one of `months`: so all
        faults are told at once.
    """
    laid, findings = lay_closures(roads, tanker_road, closures)
    findings += _opposed(roads, laid)
    if findings:
        raise InputError(findings)
    holding = [one for one in laid if one.closure.months & months]
    draft.closed.extend(ClosedRoad(closure=one.closure, segments=one.rows) for one in holding)
    _apply(draft, holding)
    return [problem for one in holding for told in _TOLD for problem in told(roads, one)]


def _apply(draft: Draft, laid: list[Laid]) -> None:
    """Let closures take effect: the one rule of what beats what.

    A district's limit replaces the map's, the least of several does; a one-way row replaces the map's direction and
    opens nothing that the map shuts; a closed road is closed whatever else is said of it.
    """
    for kind in _LIMITS:
        least = np.full(len(draft.max_lb), np.inf)
        for one in laid:
            if one.closure.kind == kind and one.closure.value is not None:
                least[one.rows] = np.minimum(least[one.rows], one.closure.value)
        said = np.isfinite(least)
        getattr(draft, kind)[said] = least[said]
        for row in draft.unread.keys() & set(np.flatnonzero(said).tolist()):
            draft.unread[row] -= {kind}
        if kind == "max_lb":
            draft.weight_known[said] = True
            draft.rated_lb[said] = np.inf
    ways = [one for one in laid if one.closure.kind == "one_way"]
    if ways:
        rows, along = np.concatenate([one.rows for one in ways]), np.concatenate([_along(one) for one in ways])
        passable = draft.forward_open | draft.backward_open
        draft.forward_open[rows], draft.backward_open[rows] = passable[rows], passable[rows]
        # rows of different months planned as one may run either way: each shuts what it shuts
        draft.forward_open[rows[~along]] = False
        draft.backward_open[rows[along]] = False
    for one in laid:
        if one.closure.kind == "closed":
            draft.close(one.rows)


def _along(one: Laid) -> BoolArray:
    """Tell for each stretch of a one-way row whether traffic runs along it."""
    return ~one.forward if (one.closure.value or 0.0) < 0.0 else one.forward


def _opposed(roads: RoadTable, laid: list[Laid]) -> Iterator[Finding]:
    """Find the rows that send traffic both ways over one stretch in one month: nobody can say which is meant."""
    before: dict[int, list[tuple[Laid, bool]]] = {}
    told: set[tuple[int, int]] = set()
    for one in sorted((each for each in laid if each.closure.kind == "one_way"), key=_row_order):
        for row, along in zip(one.rows.tolist(), _along(one).tolist(), strict=True):
            for other, theirs in before.setdefault(row, []):
                both = one.closure.months & other.closure.months
                if theirs is not along and both and (id(one), id(other)) not in told:
                    told.add((id(one), id(other)))
                    yield _opposed_fault(one.closure, other.closure, road_label(roads, row), both)
            before[row].append((one, along))


def _row_order(one: Laid) -> tuple[int, str]:
    return one.closure.row or 0, one.closure.closure_id


def _opposed_fault(closure: Closure, other: Closure, road: str, months: frozenset[int]) -> Finding:
    which = f"row {other.row} ({other.closure_id})" if other.row is not None else other.closure_id
    return Finding(
        file=closure.file or "closures", row=closure.row, id=closure.closure_id, column="kind", value=closure.kind,
        rule=f"runs against {which} on {road} in {month_words(months)}",
        remedy="take one of the two out, turn it with the value -1, or give each months of its own; "
        "closed shuts a road both ways",
    )  # fmt: skip


def _far_reaching(roads: RoadTable, one: Laid) -> Iterator[Problem]:
    """Report what takes much more than is drawn, or than its way: a stretch is not split, all of it is held to it."""
    merged = any(MERGED_WAYS in roads.way_tags[roads.tag_row[row]] for row in one.rows.tolist())
    if one.closure.way_id is not None and not merged:
        return
    miles: dict[str, float] = {}
    for row in one.rows.tolist():
        label = road_label(roads, row)
        miles[label] = miles.get(label, 0.0) + float(roads.length_m[row]) / M_PER_MI
    drawn = one.drawn_m / M_PER_MI
    if sum(miles.values()) - drawn < POINT_MI:
        return
    said = ", ".join(f"{length:.1f} mi of {label}" for label, length in sorted(miles.items(), key=lambda it: -it[1]))
    said = f"{_DOES.get(one.closure.kind, 'limits')} {said}"
    if one.closure.way_id is not None:
        said += ": the saved graph has merged its way with others, use the OpenStreetMap file"
    elif drawn > 0.0:
        said += f" for {drawn:.1f} mi drawn: a road is taken from junction to junction"
    else:
        said += ": give a way_id or a line"
    yield _problem(roads, one, "long closure", said)


def _both_ways(roads: RoadTable, one: Laid) -> Iterator[Problem]:
    """Report a point that was drawn on one carriageway and is taken for both."""
    if one.both:
        said = f"{_DOES.get(one.closure.kind, 'limits')} both carriageways of {road_label(roads, int(one.rows[0]))}"
        yield _problem(roads, one, "both carriageways", f"{said}: give a way_id if one of them is open")


def _lost(roads: RoadTable, one: Laid) -> Iterator[Problem]:
    """Report a line of which a part leads along no road that it takes."""
    if one.lost_m >= LOST_M:
        does = _DOES.get(one.closure.kind, "limits")
        yield _problem(
            roads, one, "part of a closure", f"{does} nothing along {one.lost_m / M_PER_MI:.2f} mi of its line"
        )


def _problem(roads: RoadTable, one: Laid, code: str, rule: str) -> Problem:
    at = roads.coord_start[one.rows[0]]
    lon, lat = one.closure.line[0] if one.closure.line else (float(roads.coord_lon[at]), float(roads.coord_lat[at]))
    osm_id = f"way {roads.way_id[one.rows[0]]}"
    which = f"{one.closure.closure_id} ({one.closure.kind})"  # kind = id would read as a limit: max_lb = 2
    return Problem(code=code, osm_id=osm_id, key="closure", value=which, rule=rule, lon=lon, lat=lat)


_TOLD = (_far_reaching, _both_ways, _lost)
"""What is told of a closure, in this order."""
