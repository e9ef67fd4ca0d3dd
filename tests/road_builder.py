"""Hand-drawn roads for tests: a few named nodes in metres become a RoadTable around one reference point."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from pyproj import Geod, Transformer

from preplan.records import AddressTable, IntArray, RoadLimits, RoadTable, TurnRestriction, text_array

REFERENCE_LON, REFERENCE_LAT = -72.0, 44.5
"""Where (0, 0) of the drawings lies."""
_GEOD = Geod(ellps="WGS84")
_LOCAL = f"+proj=aeqd +lon_0={REFERENCE_LON} +lat_0={REFERENCE_LAT} +ellps=WGS84 +units=m"
_TO_DEGREES = Transformer.from_crs(_LOCAL, "EPSG:4326", always_xy=True)
NOT_FOR_TANKERS = frozenset({"path", "footway", "cycleway", "steps"})
"""Values of `highway` that the drawn limits close to tankers; `service=driveway` is closed as well."""

Road = tuple[str, str, Mapping[str, Any]]


@dataclass(frozen=True)
class Drawing:
    """A drawn network: the two tables, and the index of each node by its name."""

    roads: RoadTable
    limits: RoadLimits
    node: Mapping[str, int]

    def row(self, start: str, end: str) -> int:
        """Find the stretch drawn from one node to another, in that order."""
        pair = (self.roads.from_node == self.node[start]) & (self.roads.to_node == self.node[end])
        return int(np.flatnonzero(pair)[0])


def lonlat(east_m: float, north_m: float) -> tuple[float, float]:
    """Place a point of the drawing on the earth: metres east and north of the reference to lon, lat."""
    lon, lat = _TO_DEGREES.transform(east_m, north_m)
    return float(lon), float(lat)


def draw(
    nodes: Mapping[str, tuple[float, float]],
    roads: Sequence[Road],
    *,
    cut: Sequence[str] = (),
    node_tags: Mapping[str, Mapping[str, str]] | None = None,
    restrictions: tuple[TurnRestriction, ...] = (),
    limits: Mapping[str, Mapping[int, Any]] | None = None,
) -> Drawing:
    """Draw a network: one way and one stretch for each road, in the order given.

    Parameters
    ----------
    nodes
        Name of each node to (east_m, north_m) from the reference; the first has OSM id 1, and so on.
    roads
        (from, to, tags): `highway` is residential where the tags give none. Two keys are the drawing's own and
        are no tags: `via`, a list of (east_m, north_m) bends on the way; `way`, the OSM id (row + 101 else).
    cut
        Nodes where the extract ends in the middle of a way.
    node_tags
        Tags of nodes that matter.
    restrictions
        Turn restrictions; from_way, to_way are OSM ids of ways, via_node of nodes.
    limits
        Changes to the permissive limits: field name to {row: value}.

    Returns
    -------
    Drawing
        Limits are permissive: nothing posted, both directions open except `oneway=yes`; all stretches are for
        tankers but driveways and `NOT_FOR_TANKERS`.
    """
    index = {name: position for position, name in enumerate(nodes)}
    placed = np.array([lonlat(*where) for where in nodes.values()]).reshape(-1, 2)
    lines = [[nodes[a], *tags.get("via", ()), nodes[b]] for a, b, tags in roads]
    points = np.array([lonlat(*point) for line in lines for point in line]).reshape(-1, 2)
    starts = np.concatenate([[0], np.cumsum([len(line) for line in lines])]).astype(np.int32)
    tags = tuple(_tags(of) for *_, of in roads)
    table = RoadTable(
        way_id=np.array([of.get("way", row + 101) for row, (*_, of) in enumerate(roads)], dtype=np.int64),
        from_node=_ints([index[a] for a, _, _ in roads]),
        to_node=_ints([index[b] for _, b, _ in roads]),
        name=text_array([of.get("name", "") for of in tags]),
        ref=text_array([of.get("ref", "") for of in tags]),
        highway=text_array([of["highway"] for of in tags]),
        length_m=np.array(
            [_GEOD.line_length(*points[starts[r] : starts[r + 1]].T) for r in range(len(roads))], dtype=np.float64
        ),
        tag_row=_ints(range(len(roads))),
        coord_start=starts,
        coord_lon=points[:, 0],
        coord_lat=points[:, 1],
        way_tags=tags,
        node_id=np.arange(1, len(nodes) + 1, dtype=np.int64),
        node_lon=placed[:, 0],
        node_lat=placed[:, 1],
        node_tags={index[name]: dict(of) for name, of in (node_tags or {}).items()},
        node_cut=np.array([name in cut for name in nodes], dtype=np.bool_),
        restrictions=restrictions,
    )
    return Drawing(roads=table, limits=_changed(permissive_limits(table), limits or {}), node=index)


def permissive_limits(roads: RoadTable) -> RoadLimits:
    """Let every vehicle drive everywhere, but against `oneway=yes` and on driveways and paths."""
    count = len(roads)
    unlimited = np.full(count, np.inf)
    tags = [roads.way_tags[row] for row in roads.tag_row]
    no = np.zeros(count, dtype=np.bool_)
    return RoadLimits(
        max_lb=unlimited.copy(),
        rated_lb=unlimited.copy(),
        max_axle_lb=unlimited.copy(),
        max_height_ft=unlimited.copy(),
        max_width_ft=unlimited.copy(),
        forward_open=~no,
        backward_open=np.array([of.get("oneway") != "yes" for of in tags], dtype=np.bool_),
        tanker_road=np.array(
            [of["highway"] not in NOT_FOR_TANKERS and of.get("service") != "driveway" for of in tags], dtype=np.bool_
        ),
        signed=np.zeros(count, dtype=np.bool_),
        penalty_min=np.zeros(count),
        posted=no.copy(),
        unposted_bridge=no.copy(),
        narrow=no.copy(),
    )


def _tags(given: Mapping[str, Any]) -> dict[str, str]:
    tags = {key: value for key, value in given.items() if key not in {"via", "way"}}
    return {"highway": "residential", **tags}


def _ints(values: Sequence[int] | range) -> IntArray:
    return np.array(list(values), dtype=np.int32)


def _changed(limits: RoadLimits, changes: Mapping[str, Mapping[int, Any]]) -> RoadLimits:
    columns = {}
    for field, values in changes.items():
        column = getattr(limits, field).copy()
        for row, value in values.items():
            column[row] = value
        columns[field] = column
    return replace(limits, **columns)


def address_table(
    places: Sequence[tuple[float, float]], streets: Sequence[str] = (), driveway_ft: Sequence[float] = ()
) -> AddressTable:
    """Make addresses A0, A1, ... at (east_m, north_m); a street such as '12 MAIN ST' gives its number as well."""
    count = len(places)
    where = np.array([lonlat(*place) for place in places]).reshape(-1, 2)
    streets = list(streets) or [""] * count
    leading = [street.split(" ")[0] for street in streets]
    unknown, nothing = np.full(count, np.nan), text_array([""] * count)
    return AddressTable(
        address_id=text_array([f"A{i}" for i in range(count)]),
        label=text_array(streets),
        street=text_array(streets),
        number=_ints([int(word) if word.isdigit() else -1 for word in leading]),
        occupancy=nothing,
        lon=where[:, 0],
        lat=where[:, 1],
        length_ft=unknown,
        width_ft=unknown,
        height_ft=unknown,
        floor_area_sqft=unknown,
        stories=unknown,
        occupancy_hazard=unknown,
        construction=nothing,
        exposure=unknown,
        sprinklered=unknown,
        required_gpm=unknown,
        required_gal=unknown,
        driveway_ft=np.array(driveway_ft, dtype=np.float64) if len(driveway_ft) else unknown,
        row=_ints(range(2, count + 2)),
    )
