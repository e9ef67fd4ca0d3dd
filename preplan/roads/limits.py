"""Posted limits, access and direction of every stretch, from raw tags, nodes and the district's closures.

Law and ground are kept apart: a sign costs a minute, a wall closes. A value that cannot be read closes nothing and
is told, a bridge without a sign is unknown, and what the district says replaces what the map says.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from preplan.records import ALL_MONTHS, Closure, FloatArray, Problem, RoadLimits, RoadTable
from preplan.roads.closures import apply_closures
from preplan.roads.draft import Draft
from preplan.roads.node_limits import apply_nodes, gates
from preplan.roads.posted import Posted, posted
from preplan.roads.way_access import WayAccess
from preplan.rules import RoadRules


def limits_of(
    roads: RoadTable,
    rules: RoadRules,
    closures: tuple[Closure, ...] = (),
    months: frozenset[int] = ALL_MONTHS,
    rated_lb: FloatArray | None = None,
) -> tuple[RoadLimits, tuple[Problem, ...]]:
    """Say what each stretch does to a vehicle.

    Parameters
    ----------
    roads
        Stretches, raw.
    rules
        How a bare weight is read (`bare_weight`) and what is narrow (`narrow_ft`).
    closures
        What the district knows and the map does not.
    months
        Months planned for: a closure, or a sign that holds at times only, counts when it may hold in one of them; a
        road that is open in none of them is closed.
    rated_lb
        (segments,) operating ratings of the bridge table that hold trucks off, inf where there is none. A lower posting
        counts instead, and a weight that the district's closures give replaces both.

    Returns
    -------
    limits
        One row a stretch: lb, ft, min.
    problems
        What a person should look at: ways in their order, then nodes.

    Raises
    ------
    InputError
        If a closure names a way that is not there, lies over 300 ft from any road for tankers or follows none, or two
        closures send traffic both ways over one stretch in one month.
    """
    # one reading a way, not a stretch
    signs = [posted(tags, rules.bare_weight, months) for tags in roads.way_tags]
    ways = [WayAccess.read(tags, rules.narrow_ft) for tags in roads.way_tags]
    draft = _draft(roads, signs, ways, np.full(len(roads), np.inf) if rated_lb is None else rated_lb.copy())
    problems = list(_way_problems(roads, signs, ways))
    # what a closure lies on is the same in every month, whatever gate or season shuts the road itself
    tanker_road = draft.tanker_road.copy()
    problems += apply_nodes(roads, draft, rules.bare_weight, months)
    gate = gates(roads)
    seasonal = tuple(both_open(ways[way].open_months, gate.get(row)) for row, way in enumerate(roads.tag_row.tolist()))
    shut = [row for row, open_in in enumerate(seasonal) if open_in is not None and not open_in & months]
    draft.close(np.array(shut, dtype=np.int32))
    problems += apply_closures(roads, draft, tanker_road, closures, months)
    return draft.limits(), tuple(problems)


def both_open(one: frozenset[int] | None, other: frozenset[int] | None) -> frozenset[int] | None:
    """Give the months that are in both; None stands for all."""
    if one is None or other is None:
        return one if other is None else other
    return one & other


def _draft(roads: RoadTable, signs: list[Posted], ways: list[WayAccess], rated_lb: FloatArray) -> Draft:
    """Spread what each way says over its stretches."""
    row = roads.tag_row
    return Draft(
        max_lb=np.array([one.max_lb for one in signs])[row],
        max_axle_lb=np.array([one.max_axle_lb for one in signs])[row],
        max_height_ft=np.array([one.max_height_ft for one in signs])[row],
        max_width_ft=np.array([one.max_width_ft for one in signs])[row],
        forward_open=np.array([one.forward and one.passable for one in ways])[row],
        backward_open=np.array([one.backward and one.passable for one in ways])[row],
        tanker_road=np.array([one.tanker_road for one in ways])[row],
        signed=np.array([one.signed for one in ways], dtype=np.bool_)[row],
        penalty_min=np.zeros(len(row)),
        bridge=np.array([one.bridge for one in ways])[row],
        weight_known=np.array([one.weight_known for one in signs])[row],
        narrow=np.array([one.narrow for one in ways])[row],
        barred=np.array([one.barred for one in ways])[row],
        rated_lb=rated_lb,
        unread={at: signs[way].unread for at, way in enumerate(row.tolist()) if signs[way].unread},
    )


def _way_problems(roads: RoadTable, signs: list[Posted], ways: list[WayAccess]) -> Iterator[Problem]:
    """Report the troubles of each way, at its first point."""
    _, first = np.unique(roads.tag_row, return_index=True)
    for at, sign, way in zip(first, signs, ways, strict=True):
        point = roads.coord_start[at]
        for trouble in (*sign.troubles, *way.troubles):
            yield Problem(
                code=trouble.code,
                osm_id=f"way {roads.way_id[at]}",
                key=trouble.key,
                value=trouble.value,
                rule=trouble.rule,
                lon=float(roads.coord_lon[point]),
                lat=float(roads.coord_lat[point]),
            )
