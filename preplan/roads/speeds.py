"""How fast a loaded tanker runs on each road: by class and ground, never above what is posted nor its own cap.

The tables hold running speeds. Junctions and sharp turns cost time of their own in the network, signals and stops
here; together they agree with the rule of thumb T = 0.65 + 1.7 D, an average of 35 mph (published rating criteria,
which count terrain, traffic, weather and intersections in), to about a tenth on real rural roads.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

import numpy as np

from preplan.records import FloatArray, Problem, RoadLimits, RoadTable
from preplan.roads.access import SPEED_KEYS
from preplan.roads.measures import NO_LIMIT, Reading, speed_mph
from preplan.roads.mph_country import signs_in_mph
from preplan.rules import RoadRules
from preplan.units import M_PER_MI, MIN_PER_HOUR, SECONDS_PER_MIN

RULE_START_MIN = 0.65
"""Constant of the travel rule: getting up to speed and stopping (published rating criteria)."""
RULE_MIN_PER_MI = 1.7
"""Minutes a mile of the travel rule, at 35 mph (published rating criteria)."""

QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
"""Shares of the trips at which a comparison with the rule is told."""

CLASS_MPH: Mapping[str, float] = {
    "motorway": 55.0, "trunk": 50.0, "primary": 45.0, "secondary": 43.0, "tertiary": 40.0,
    "motorway_link": 35.0, "trunk_link": 30.0, "primary_link": 30.0, "secondary_link": 25.0, "tertiary_link": 25.0,
    "unclassified": 35.0, "residential": 30.0, "living_street": 10.0, "road": 25.0, "service": 15.0, "track": 15.0,
}  # fmt: skip
"""Running speed of a loaded tanker by `highway` (this program's careful choice)."""
GROUND_MPH: Mapping[str, Mapping[str, float]] = {
    "surface": {
        "unpaved": 30.0, "gravel": 30.0, "compacted": 30.0, "fine_gravel": 30.0, "pebblestone": 20.0, "rock": 10.0,
        "dirt": 25.0, "earth": 25.0, "ground": 25.0, "soil": 25.0, "wood": 15.0, "metal": 25.0,
        "cobblestone": 20.0, "unhewn_cobblestone": 15.0, "sett": 25.0, "paving_stones": 30.0,
    },
    "tracktype": {"grade1": 25.0, "grade2": 20.0, "grade3": 12.0},
    "smoothness": {"intermediate": 40.0, "bad": 20.0},
    "service": {"alley": 10.0},
    "bridge": {"covered": 10.0},
    "ford": {"yes": 5.0},
    "junction": {"roundabout": 18.0, "circular": 18.0},
}  # fmt: skip
"""No faster than this where a tag says so (this program's careful choice)."""
NARROW_MPH = 30.0
"""No faster than this on a road one truck wide (this program's careful choice)."""
DELAY_S: Mapping[tuple[str, str], float] = {
    ("highway", "traffic_signals"): 12.0,
    ("highway", "stop"): 8.0,
    ("highway", "give_way"): 4.0,
    ("highway", "mini_roundabout"): 4.0,
    ("railway", "level_crossing"): 6.0,
}
"""Seconds that a node costs a loaded tanker: slowing and getting up to speed again (this program's careful choice)."""

_DIRECTIONS = ("forward", "backward")


def minutes_of(roads: RoadTable, limits: RoadLimits, rules: RoadRules, top_mph: float) -> FloatArray:
    """Give the minutes to drive each stretch, shape (segments, 2): forward, backward.

    What a gate costs (`penalty_min`) is included; what a sign costs is paid on the turn into its road. inf where a
    tanker may not drive in that direction.

    Parameters
    ----------
    roads, limits
        Stretches and what they allow.
    rules
        Under `travel = "rule"` each mile takes 1.7 min whatever the road, and signs and gates cost nothing.
    top_mph
        The vehicle's own top speed.
    """
    miles = roads.length_m[:, None] / M_PER_MI
    if rules.travel == "rule":
        minutes = np.repeat(miles * RULE_MIN_PER_MI, 2, axis=1)
    else:
        minutes = miles / mph_of(roads, limits, top_mph) * MIN_PER_HOUR + limits.penalty_min[:, None]
    may = np.column_stack([limits.forward_open, limits.backward_open]) & limits.tanker_road[:, None]
    return np.where(may, minutes, np.inf)


def rule_min(miles: FloatArray) -> FloatArray:
    """Time a leg by the travel rule T = 0.65 + 1.7 D, minutes; made for 0.5 to 8 miles.

    >>> rule_min(np.array([2.0])).tolist()
    [4.05]
    """
    return RULE_START_MIN + RULE_MIN_PER_MI * miles


class RuleComparison(NamedTuple):
    """Times of legs over what the travel rule gives for their miles; above 1 is slower than the rule."""

    median: float
    quantiles: tuple[float, ...]
    """At `QUANTILES`; NaN where nothing is compared."""


def rule_comparison(minutes: FloatArray, miles: FloatArray) -> RuleComparison:
    """Hold times against the travel rule, side by side.

    Parameters
    ----------
    minutes, miles
        Of legs, shape (n,); inf or NaN where there is no way. Turning at the ends is not part of the rule: leave it
        out.

    Examples
    --------
    >>> rule_comparison(np.array([4.05, 8.1, np.inf]), np.array([2.0, 2.0, 1.0])).median
    1.5
    """
    there = np.isfinite(minutes) & np.isfinite(miles) & (miles > 0.0)
    ratio = minutes[there] / rule_min(miles[there])
    if not len(ratio):
        return RuleComparison(float("nan"), (float("nan"),) * len(QUANTILES))
    low_to_high = tuple(float(one) for one in np.quantile(ratio, QUANTILES))
    return RuleComparison(float(np.median(ratio)), low_to_high)


def mph_of(roads: RoadTable, limits: RoadLimits, top_mph: float) -> FloatArray:
    """Give the speed of a loaded tanker on each stretch, mph, shape (segments, 2): forward, backward."""
    in_mph = _bare_is_mph(roads)
    by_way: FloatArray = np.array([
        _way_mph(tags, bare_is_mph=bare) for tags, bare in zip(roads.way_tags, in_mph, strict=True)
    ]).reshape(-1, 2)  # fmt: skip
    mph = np.minimum(by_way[roads.tag_row], top_mph)
    return np.asarray(np.where(limits.narrow[:, None], np.minimum(mph, NARROW_MPH), mph), dtype=np.float64)


def node_delay_min(roads: RoadTable) -> FloatArray:
    """Give what passing each node costs, minutes, shape (nodes,): signals, stop signs, railway crossings."""
    delay_s = np.zeros(len(roads.node_id))
    for node, tags in roads.node_tags.items():
        delay_s[node] = max((DELAY_S.get((key, value), 0.0) for key, value in tags.items()), default=0.0)
    return delay_s / SECONDS_PER_MIN


def speed_problems(roads: RoadTable) -> tuple[Problem, ...]:
    """List the posted speeds whose unit had to be chosen or that cannot be read, in the order of the ways."""
    return tuple(_problems(roads))


def _way_mph(tags: Mapping[str, str], *, bare_is_mph: bool) -> tuple[float, float]:
    """Give the speed along and against one way."""
    mph = CLASS_MPH.get(tags.get("highway", ""), CLASS_MPH["road"])
    for key, table in GROUND_MPH.items():
        if key in tags:
            mph = min([mph, *(table[one] for one in tags[key].split(";") if one in table)])
    caps = _caps(tags, bare_is_mph=bare_is_mph)
    both = min((reading.value for key, reading in caps.items() if not key.endswith(_DIRECTIONS)), default=NO_LIMIT)
    along, against = (
        min((reading.value for key, reading in caps.items() if key.endswith(way)), default=NO_LIMIT)
        for way in _DIRECTIONS
    )
    return min(mph, both, along), min(mph, both, against)


def _caps(tags: Mapping[str, str], *, bare_is_mph: bool) -> dict[str, Reading]:
    """Read every posted speed of a way that binds a truck."""
    return {key: speed_mph(tags[key], bare_is_mph=bare_is_mph) for key in SPEED_KEYS if key in tags}


def _first_points(roads: RoadTable) -> tuple[FloatArray, FloatArray]:
    """Give lon and lat of the first point of each way."""
    _, first = np.unique(roads.tag_row, return_index=True)
    at = roads.coord_start[first]
    return roads.coord_lon[at], roads.coord_lat[at]


def _bare_is_mph(roads: RoadTable) -> list[bool]:
    """Tell for each way whether a bare number on its sign is miles an hour."""
    answer: list[bool] = signs_in_mph(*_first_points(roads)).tolist()
    return answer


def _problems(roads: RoadTable) -> Iterator[Problem]:
    _, first = np.unique(roads.tag_row, return_index=True)
    lon, lat = _first_points(roads)
    for way, (tags, bare) in enumerate(zip(roads.way_tags, _bare_is_mph(roads), strict=True)):
        for key, reading in _caps(tags, bare_is_mph=bare).items():
            if reading.problem:
                yield Problem(
                    code=reading.problem,
                    osm_id=f"way {roads.way_id[first[way]]}",
                    key=key,
                    value=tags[key],
                    rule=reading.rule,
                    lon=float(lon[way]),
                    lat=float(lat[way]),
                )
