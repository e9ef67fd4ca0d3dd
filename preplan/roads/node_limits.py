"""What stands on a road: gates, bollards, frames, fords and limits mapped as nodes -> stretches that touch them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from preplan.records import ALL_MONTHS, IntArray, Problem, RoadTable
from preplan.roads import access
from preplan.roads.draft import Draft
from preplan.roads.limit_pieces import Pieces, gate_months
from preplan.roads.posted import Posted, Trouble, posted
from preplan.roads.stretches import ROAD_CLASSES
from preplan.roads.way_access import WET, lets_emergency_through

_TWO = 2
_EFFECTS = (access.PASS, access.GATE, access.CLOSED)
"""The gravest last."""
_RANK: Mapping[str, int] = {name: rank for rank, name in enumerate(ROAD_CLASSES)}


def apply_nodes(roads: RoadTable, draft: Draft, bare_weight: str, months: frozenset[int] = ALL_MONTHS) -> list[Problem]:
    """Put the limits of nodes on the stretches that touch them, and report what is doubtful.

    A posted limit holds on the node's own piece of road (`limit_pieces`); where it has none, as on a junction, on every
    stretch that touches the node. A gate that opens slows one stretch, the least road or else the shortest. What stops
    a truck parts the road (`barriers`). Either closes a road that is signed `no` to all.
    """
    troubles: list[tuple[int, Trouble]] = []
    pieces = Pieces.of(roads)
    for node, rows in touching(roads):
        tags = roads.node_tags[node]
        limit = posted(tags, bare_weight, months)
        held = pieces.held(roads, node, rows)
        draft.max_lb[held] = np.minimum(draft.max_lb[held], limit.max_lb)
        draft.max_axle_lb[held] = np.minimum(draft.max_axle_lb[held], limit.max_axle_lb)
        draft.max_height_ft[held] = np.minimum(draft.max_height_ft[held], limit.max_height_ft)
        draft.max_width_ft[held] = np.minimum(draft.max_width_ft[held], limit.max_width_ft)
        for row in held.tolist() if limit.unread else ():
            draft.unread[row] = draft.unread.get(row, frozenset()) | limit.unread
        troubles += [(node, trouble) for trouble in limit.troubles]
        effect = node_effect(tags, limit)
        troubles += [(node, trouble) for trouble in _doubts(tags, effect)]
        troubles += [(node, trouble) for trouble in _gate_doubts(tags)]
        troubles += [(node, trouble) for trouble in _stand(roads, draft, node, rows, effect)]
    return [node_problem(roads, node, trouble) for node, trouble in troubles]


def gates(roads: RoadTable) -> dict[int, frozenset[int]]:
    """Give the months in which stretches are open as far as gates on them tell; those with none that says left out."""
    found: dict[int, frozenset[int]] = {}
    pieces = Pieces.of(roads)
    for node, rows in touching(roads):
        months = gate_months(roads.node_tags[node])
        if months is None or is_end(roads, rows):
            continue
        held = pieces.held(roads, node, rows)
        on = held if len(held) < len(rows) else stands_on(roads, rows)
        for row in () if on is None else on.tolist():
            found[row] = found.get(row, ALL_MONTHS) & months
    return found


def node_effect(tags: Mapping[str, str], limit: Posted | None = None) -> str:
    """Say what the things on a node, with what is posted there, do to a tanker: pass, gate or closed.

    >>> node_effect({"barrier": "gate"}), node_effect({"barrier": "gate", "locked": "yes"})
    ('gate', 'closed')
    """
    effect = max((_barrier_effect(one, limit) for one in barriers_on(tags)), key=_EFFECTS.index)
    if not access.FRAMES.keys().isdisjoint(barriers_on(tags)):
        return effect
    if lets_emergency_through(tags):
        return access.GATE if effect == access.CLOSED else access.PASS
    if effect == access.GATE and tags.get("locked") == "yes":
        return access.CLOSED
    if tags.get("ford") in access.FORD:
        return access.CLOSED
    return effect


def barriers_on(tags: Mapping[str, str]) -> tuple[str, ...]:
    """List what stands on a node: two things in a row may be one node on the map."""
    return tuple(part.strip() for part in tags.get("barrier", "no").split(";"))


def _barrier_effect(barrier: str, limit: Posted | None) -> str:
    """Say what one barrier does."""
    if barrier in access.FRAMES:
        given = limit is not None and np.isfinite(getattr(limit, access.FRAMES[barrier]))
        return access.PASS if given else access.CLOSED
    return access.BARRIER_EFFECT.get(barrier, access.GATE)


def touching(roads: RoadTable) -> Iterator[tuple[int, IntArray]]:
    """Go through the tagged nodes with the stretches that end there, each once."""
    ends = np.concatenate([roads.from_node, roads.to_node])
    order = np.argsort(ends, kind="stable")
    nodes = np.array(sorted(roads.node_tags), dtype=np.int32)
    low, high = (np.searchsorted(ends[order], nodes, side=side) for side in ("left", "right"))
    for node, first, last in zip(nodes.tolist(), low, high, strict=True):
        yield node, np.unique(order[first:last] % len(roads)).astype(np.int32)


def is_end(roads: RoadTable, rows: IntArray) -> bool:
    """Tell whether what stands on a node stands at the very end of a road, where it stops nobody."""
    return len(rows) < _TWO and bool(np.all(roads.from_node[rows] != roads.to_node[rows]))


def _stand(roads: RoadTable, draft: Draft, node: int, rows: IntArray, effect: str) -> Iterator[Trouble]:
    """Let a gate take effect on the stretch it stands on."""
    if effect == access.PASS or not len(rows):
        return
    # nobody said 'no' to all where there is nothing to hold them up
    draft.close(rows[draft.barred[rows]])
    if effect != access.GATE or is_end(roads, rows):
        return
    on = stands_on(roads, rows)
    if on is None:
        yield at_a_junction(roads.node_tags[node])
    else:
        draft.penalty_min[on] += access.GATE_MIN


def stands_on(roads: RoadTable, rows: IntArray) -> IntArray | None:
    """Pick the stretch a barrier stands on; at a junction, every stretch of the least class, if it is less."""
    rank = np.array([_RANK.get(name, len(_RANK)) for name in roads.highway[rows]])
    least: IntArray = rows[rank == rank.max()]
    if len(rows) <= _TWO:
        shortest = int(np.argmin(roads.length_m[least]))
        return least[shortest : shortest + 1]
    return least if rank.min() < rank.max() else None


def at_a_junction(tags: Mapping[str, str]) -> Trouble:
    """Doubt a barrier where nobody can tell which of equal roads it stands on."""
    key = "barrier" if "barrier" in tags else "ford"
    return Trouble("barrier at a junction", key, tags[key], "closes nothing: it is mapped on a junction of equal roads")


def _gate_doubts(tags: Mapping[str, str]) -> Iterator[Trouble]:
    """Tell when a gate shuts its road, and of a condition whose time cannot be told."""
    shut = gate_months(tags) is not None
    for key in (*access.ACCESS_CONDITIONAL_KEYS, access.OPENING_HOURS, "seasonal"):
        if "barrier" in tags and tags.get(key, "no") != "no":
            rule = (
                "its road is planned as shut in some months; the worst season decides"
                if shut
                else ("when it is shut cannot be told: taken as open, say in the closures when it is shut")
            )
            yield Trouble("seasonal", key, tags[key], rule)


def _doubts(tags: Mapping[str, str], effect: str) -> Iterator[Trouble]:
    if tags.get("ford", "no") not in access.FORD | {"no"}:
        yield Trouble("ford at times", "ford", tags["ford"], WET)
    for barrier in barriers_on(tags):
        if barrier in access.FRAMES and effect == access.CLOSED:
            what = barrier.partition("_")[0]
            yield Trouble(f"no {what} given", "barrier", barrier, "taken to stop a tanker")
        elif barrier not in access.BARRIER_EFFECT and barrier not in access.FRAMES:
            yield Trouble("unknown barrier", "barrier", barrier, "taken as a gate that opens")


def node_problem(roads: RoadTable, node: int, trouble: Trouble) -> Problem:
    """Report something about a node."""
    return Problem(
        code=trouble.code,
        osm_id=f"node {roads.node_id[node]}",
        key=trouble.key,
        value=trouble.value,
        rule=trouble.rule,
        lon=float(roads.node_lon[node]),
        lat=float(roads.node_lat[node]),
    )
