"""Where the limits are that flags name: how far from the dump site, and what their brackets on a map say."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterable, Sequence
from functools import lru_cache

import numpy as np

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_cards import CardGroup
from preplan.plan_tables import Flag
from preplan.records import ALL_MONTHS, NOT_READ, NOT_READ_SHORT, FloatArray, IntArray, RoadLimits
from preplan.render import scene, words
from preplan.render.flag_words import A_ROAD, OFF_THE_WAY, POSTED, flag_words, flags_on
from preplan.units import FT_PER_MI, on_a_sign

_HERE_FT = 60.0
"""A limit so near is at the dump site."""
_ONE_PLACE_FT = 300.0
"""Stretches whose ends are nearer, as those of a bridge's two carriageways, are one place (this program's choice)."""
_MOST_SHUT = 2
"""Most roads that are named where a way is shut."""
_WHO = {"load": "LOADED,", "empty": "LOADED OR EMPTY,", "engine": "SOME UNITS", "size": "SOME UNITS"}
"""Whom a limit concerns, by the last word of its flag's code."""


def place_words(plan: Plan, flag: Flag, address: int) -> str:
    """Say how far from an address's dump site the limit is that a flag names, as a sentence; '' for any other flag."""
    return _place_words(plan, flag, float(plan.frontages.lon[address]), float(plan.frontages.lat[address]), "dump site")


def site_warnings(plan: Plan, site: int, told: Collection[int] = ()) -> list[str]:
    """Say what is too weak, low or narrow near a fill site, and where it is, the gravest first.

    Stretches that are `told` elsewhere are left out.
    """
    return [
        _near_words(plan, site, flag)
        for flag in plan.site_flags[site]
        if flag.stretches and not {*flag.stretches} <= {*told}
    ]


def site_limits(plan: Plan, site: int) -> list[tuple[tuple[int, ...], str]]:
    """Say the same with the stretches of each, by which a page knows what it tells already: (stretches, sentence)."""
    return [(flag.stretches, _near_words(plan, site, flag)) for flag in plan.site_flags[site] if flag.stretches]


def _near_words(plan: Plan, site: int, flag: Flag) -> str:
    there = plan.sites[site]
    return named_words(plan, flag) + _place_words(plan, flag, there.lon, there.lat, "fill site")


def bars_near(plan: Plan, site: int, units: Iterable[str], among: Collection[int] | None = None) -> str:
    """Name what bars some of a card's units near a fill site whose way is not told, behind a blank; '' for nothing.

    `among` are the stretches that are looked at; None: all.
    """
    there = plan.sites[site]
    mine = _naming(tuple(units))
    said: dict[str, list[str]] = {}
    for flag in plan.site_flags[site]:
        far = far_words(plan, flag.stretches, there.lon, there.lat, "fill site")
        if among is not None and not {*flag.stretches} & {*among}:
            continue
        if far and mine.search(str(flag.value)):
            said.setdefault(limited_road(flag), []).append(f"{flag.limit}, {far}")
    return "".join(f" KEEP OFF {road} ({'; '.join(limits)})." for road, limits in said.items())


@lru_cache(maxsize=256)
def _naming(units: tuple[str, ...]) -> re.Pattern[str]:
    """Find one of some units in a flag's words: an id may hold blanks, so these are not parted."""
    return re.compile("|".join(rf"(?<![\w-]){re.escape(unit)}(?![\w-])" for unit in units) or "(?!)")


def _place_words(plan: Plan, flag: Flag, lon: float, lat: float, what: str) -> str:
    """Say how far from a place the limit is that a flag names, as a sentence; '' for any other flag."""
    far = far_words(plan, flag.stretches, lon, lat, what)
    return f" It is {far}." if far else ""


def far_words(plan: Plan, stretches: Sequence[int], lon: float, lat: float, what: str) -> str:
    """Say how far from a place the nearest of some stretches is, and in which direction; '' for none.

    Who passes the nearest is told of how many places it is the nearest: he may meet another one.
    """
    if not stretches or not math.isfinite(lon + lat):
        return ""
    places = _places(plan, stretches)
    of = f"at {places} places, the {'nearer' if places == 2 else 'nearest'} " if places > 1 else ""
    lonlat = np.vstack([plan.line(stretch) for stretch in stretches])
    off = scene.Plane(lon, lat).feet(lonlat[:, 0], lonlat[:, 1])
    east, north = off[np.hypot(*off.T).argmin()].tolist()
    far_ft = math.hypot(east, north)
    if far_ft < _HERE_FT:
        return f"{of}at the {what}"
    return f"{of}{words.way_length(far_ft / FT_PER_MI)} {scene.compass(east, north)} of the {what}"


def _places(plan: Plan, stretches: Sequence[int]) -> int:
    """Count the places at which some stretches are: those whose ends are near each other's are at one."""
    if len(stretches) == 1:  # as nearly all are
        return 1
    from scipy.sparse.csgraph import connected_components  # noqa: PLC0415 - as slow to load as all else that draws

    ends = np.vstack([plan.line(stretch)[[0, -1]] for stretch in stretches])
    at = scene.Plane(*ends[0].tolist()).feet(ends[:, 0], ends[:, 1])
    off = np.hypot(*(at[:, None] - at[None]).T)
    # the two ends of a stretch are at one place however long it is
    near = (off < _ONE_PLACE_FT) | (np.arange(len(at))[:, None] // 2 == np.arange(len(at)) // 2)
    return int(connected_components(near, directed=False)[0])


def limit_words(plan: Plan, flag: Flag, address: int) -> str:
    """Say a flag, and of a limit which road has it and where it is."""
    return named_words(plan, flag) + place_words(plan, flag, address)


def named_words(plan: Plan, flag: Flag) -> str:
    """Say a flag, with the name of the road if one is shut."""
    return flag_words(flag, shut_road(plan, flag.stretches))


def shut_road(plan: Plan, stretches: Sequence[int]) -> str:
    """Say which roads are shut or posted for a way; at most two, else only how many."""
    said = dict.fromkeys(filter(None, (_shut_words(plan, stretch) for stretch in stretches)))
    if not said:
        return A_ROAD
    return " or ".join(said) if len(said) <= _MOST_SHUT else f"{next(iter(said))}, and {len(said) - 1} more roads"


def _shut_words(plan: Plan, stretch: int) -> str:
    """Say what is the matter with a stretch in some months: shut, or posted too low; '' where it has no name."""
    name = words.road_words(plan, stretch)
    ways = ("tanker_road", "forward_open", "backward_open")
    # all year it is as open as it ever is
    shut = any(
        getattr(limits, way)[stretch] != getattr(plan.limits, way)[stretch]
        for limits in plan.season_limits
        for way in ways
    )
    if not name:
        return ""
    if shut:
        return f"{name} is shut"
    weight = on_a_sign(float(plan.limits.max_lb[stretch])) if plan.weight_months(stretch) else "lower"
    return f"{name} is posted {weight}"


def closed_on(plan: Plan, group: CardGroup) -> list[int]:
    """List what holds tankers off a card in months in which none comes: stretches of the other months' ways."""
    sheets, lead = plan.on_sheets(), group.lead
    driven = [sheets.trip_rows(other.trip) for other in group.others if other.months]
    segments = np.unique(sheets.forest.segment[[row for legs in driven for leg in legs for row in leg]])
    comes = [bool((line.best_site[lead] >= 0).any()) for line in plan.seasons]
    shut, free = (
        [_state(limits, segments) for limits, way in zip(plan.season_limits, comes, strict=True) if way is so]
        for so in (False, True)
    )
    changed = [np.any(one != other, axis=1) for one in shut for other in free]
    found: list[int] = segments[np.any(changed, axis=0)].tolist() if changed else []
    return found


def _state(limits: RoadLimits, segments: IntArray) -> FloatArray:
    """Give what stretches do to a vehicle, (stretches, limits): equal rows do the same."""
    names = ("max_lb", "max_axle_lb", "max_height_ft", "max_width_ft", "tanker_road", "forward_open", "backward_open")
    return np.column_stack([getattr(limits, name)[segments].astype(np.float64) for name in names])


def flags_of_card(plan: Plan, group: CardGroup, circuit: int) -> list[Flag]:
    """List what drivers of one circuit of a card must hear, whichever address it concerns; the lead's first."""
    return [flag for a in (group.lead, *group.addresses) for flag in flags_on(plan, a, circuit)]


def in_force(plan: Plan, flags: Iterable[Flag], months: Collection[int]) -> list[Flag]:
    """Keep the flags whose limits or closures hold in some months."""
    then = [limits for those, limits in _seasons(plan) if {*those} & {*months}]
    return [flag for flag in flags if any(_bars(one, stretch) for one in then for stretch in flag.stretches)]


def _bars(limits: RoadLimits, stretch: int) -> bool:
    """Tell whether anything is posted, read or not, or rated on a stretch, or it is shut."""
    *most, road, forward, backward = _state(limits, np.array([stretch], dtype=np.int32))[0].tolist()
    return any(map(math.isfinite, most)) or stretch in limits.unread or not road or not (forward or backward)


def each_limit(flags: Iterable[Flag], codes: frozenset[str]) -> list[Flag]:
    """Keep the flags of some codes, the gravest first: each limit of a circuit once."""
    found = [flag for flag in flags if flag.code in codes]
    # who is too heavy may differ between neighbours: the lead's words stand
    kept = {_limit_of(flag): flag for flag in reversed(found)}
    return list(reversed(kept.values()))


def weight_warnings(plan: Plan, flags: Iterable[Flag], codes: frozenset[str], lead: int) -> list[str]:
    """Say the flags of some codes, each limit of a circuit once."""
    return [limit_words(plan, flag, lead) for flag in each_limit(flags, codes)]


def in_brief(plan: Plan, flag: Flag, address: int) -> str:
    """Say in a line or two what is too weak, low or narrow, where the whole has no room; '' for any other flag."""
    who = _WHO.get(flag.code.rpartition(" ")[2]) if flag.code in OFF_THE_WAY | POSTED else None
    if who is None:
        return ""
    lon, lat = float(plan.frontages.lon[address]), float(plan.frontages.lat[address])
    far = far_words(plan, flag.stretches, lon, lat, "dump site")
    return f"{who} KEEP OFF {limited_road(flag)} ({flag.limit}){far and f', {far}'}. Who: {words.NEXT_PAGE}."


def limited_road(flag: Flag) -> str:
    """Name the road or bridge whose limit a flag tells."""
    return words.printable(flag.road)


def _limit_of(flag: Flag) -> tuple[str, str, str]:
    """Give by what two flags are of one limit: its road, what it is and, where units come first, what the flag says.

    >>> _limit_of(Flag("posted below load", "Elm (posted 9 lb): T1 (big)", road="Elm", limit="9 lb"))
    ('Elm', '9 lb', '')
    >>> _limit_of(Flag("not for later tanker", "T1 (10 lb): Elm (posted 9 lb)", road="Elm", limit="9 lb"))
    ('Elm', '9 lb', 'not for later tanker')
    """
    return flag.road, flag.limit, "" if str(flag.value).startswith(flag.road) else flag.code


def named_limits(flags: Sequence[Flag]) -> dict[int, str]:
    """Give each stretch whose limit one of some flags names, with the limit."""
    return {stretch: flag.limit for flag in reversed(flags) for stretch in flag.stretches}


def weight_words(plan: Plan, segment: int, *, short: bool = False) -> str:
    """Say what weight a stretch is limited to, by a sign or by the bridge table, and when; '': none is known.

    Where another weight holds in other months, it is told too.
    """
    return "; ".join(f"{kind} {said}" for kind, said in _weights(plan, segment, short=short).items())


def _weights(plan: Plan, segment: int, *, short: bool) -> dict[str, str]:
    """Say the weights of a stretch by what sets them, 'posted' or 'rated', the lowest first, each with its months."""
    found: dict[tuple[float, str], list[int]] = {}
    for those, limits in _seasons(plan):
        kind = "rated" if limits.rated[segment] else "posted"
        found.setdefault((float(limits.max_lb[segment]), kind), []).extend(those)
    said: dict[str, list[str]] = {}
    for pounds, kind in sorted(found):
        if math.isfinite(pounds):
            weight = _pounds(pounds) if short or kind == "rated" else on_a_sign(pounds)
            when = found[pounds, kind] if len(found) > 1 else ()
            said.setdefault(kind, []).append(f"{weight}{_when(when, short=short)}")
    return {kind: "; ".join(each) for kind, each in said.items()}


def posted_words(plan: Plan, segment: int, *, short: bool = False) -> str:
    """Say what is posted on a stretch, such as '20,000 lb, 10.0 ft high'; a rating, which is on no sign, last."""
    weights = _weights(plan, segment, short=short)
    said = [weights.get("posted", "")]
    said += [NOT_READ_SHORT["max_lb"]] * any("max_lb" in limits.unread.get(segment, ()) for _, limits in _seasons(plan))
    for name, digits, unit in (
        ("max_axle_lb", 0, "lb an axle"),
        ("max_height_ft", 1, "ft high"),
        ("max_width_ft", 1, "ft wide"),
    ):
        found: dict[float, list[int]] = {}
        for those, limits in _seasons(plan):
            found.setdefault(float(getattr(limits, name)[segment]), []).extend(those)
        each = [
            f"{words.supply(most) if digits == 0 else words.clearance(most)} {unit}"
            f"{_when(found[most] if len(found) > 1 else (), short=short)}"
            for most in sorted(found)
            if math.isfinite(most)
        ]
        each += [NOT_READ_SHORT[name]] * any(name in limits.unread.get(segment, ()) for _, limits in _seasons(plan))
        said.append("; ".join(each))
    told = [*filter(None, said)]
    posted = ("; " if any("; " in one for one in told) else ", ").join(told)
    return "; ".join(filter(None, (posted, f"rated {weights['rated']}" if "rated" in weights else "")))


def _pounds(pounds: float) -> str:
    return f"{words.supply(pounds)} lb"


def _when(months: Collection[int], *, short: bool = False) -> str:
    """Say in which months a limit holds, behind it; '' for none, where it does all year."""
    return f", {month_words(months, short=short)}" if months else ""


def trip_limits(plan: Plan, trip: int, months: Collection[int] = ALL_MONTHS) -> str:
    """Say what limits a round trip: its vehicle, postings, bridges without one, where none can pass; no full stop.

    A posting of other months than those in which it is driven is left out.
    """
    trips, cut = plan.trips, plan.cuts[int(plan.trips.cut[trip])]
    weighs = f"{words.need(cut.loaded_lb)} lb loaded, {words.need(cut.empty_lb)} lb empty"
    when = f"in {month_words(months)} " if set(months) < set(ALL_MONTHS) else ""
    unread = _unread(plan, trip, months)
    known = "that could be read" if unread else "known"
    planned = f"{when}planned for tankers up to {weighs}, {cut.height_ft:g} ft high"
    said = [f"{planned}: no posting or rating {known} bars them", *unread]
    posted = [_lowest(plan, rows, months) for rows in plan.trip_rows(trip)]
    for leg, lowest in zip(("loaded", "empty"), posted, strict=True):
        if lowest:
            said.append(f"lowest {lowest.replace(' ', f' on the {leg} leg ', 1)}")
    avoided = float(trips.posted_avoided_min[trip])
    if round(avoided, 1) > 0.0:
        said.append(f"{words.minutes(avoided)} longer, round what is posted or rated: take no short cut")
    bridges = int(trips.unposted_bridges[trip])
    if bridges:
        of = "crossings of bridges" if bridges > 1 else "crossing of a bridge"
        said.append(f"{bridges} {of} without a posted weight: {_unposted_words(plan, trip)}")
    narrow_mi = float(trips.narrow_mi[trip])
    if narrow_mi > 0.0:
        said.append(
            f"one truck wide for {words.way_length(narrow_mi)} of both legs: where two meet, loaded goes first; "
            "agree by radio where empty waits"
        )
    return "; ".join(said)


def _unposted_words(plan: Plan, trip: int) -> str:
    """Say what is known of the bridges without a posted weight on a round trip."""
    driven = plan.forest.segment[[row for leg in plan.trip_rows(trip) for row in leg]]
    bridges = np.unique(driven[plan.limits.unposted_bridge[driven]])
    rating = np.append(plan.bridges.operating_lb, np.nan)[plan.bridge_row[bridges]]
    return "rated, not posted" if bridges.size and bool((rating > 0.0).all()) else "unknown, not safe"


def _unread(plan: Plan, trip: int, months: Collection[int]) -> list[str]:
    """Say what is posted on a round trip in some months and cannot be read, each once."""
    driven = {int(plan.forest.segment[row]) for leg in plan.trip_rows(trip) for row in leg}
    said: dict[str, None] = {}
    for those, limits in _seasons(plan):
        for segment in sorted(driven & limits.unread.keys()) if {*those} & {*months} else ():
            road = words.road_words(plan, segment) or "unnamed road"
            said |= {NOT_READ[kind].format(road=road): None for kind in sorted(limits.unread[segment])}
    return list(said)


def _lowest(plan: Plan, rows: list[int], months: Collection[int]) -> str:
    """Name the lowest weight limit on a leg in some months, 'posting' or 'rating', and when; '' for none."""
    if not len(rows):
        return ""
    segments, found = plan.forest.segment[rows], dict[tuple[float, str], list[int]]()
    for those, limits in _seasons(plan):
        then = [month for month in those if month in months]
        segment = int(segments[limits.max_lb[segments].argmin()])
        lowest = float(limits.max_lb[segment]), "rated" if limits.rated[segment] else "posted"
        if then:
            found.setdefault(lowest, []).extend(then)
    said = []
    for pounds, kind in sorted(found):
        if math.isfinite(pounds):
            named, weight = ("posting", on_a_sign(pounds)) if kind == "posted" else ("rating", _pounds(pounds))
            said.append(f"{named} {weight}{_when(found[pounds, kind] if len(found) > 1 else ())}")
    return "; ".join(said)


def _seasons(plan: Plan) -> list[tuple[tuple[int, ...], RoadLimits]]:
    """Give the months of each season of a plan with what holds on its roads; where nothing is planned, no months."""
    if not plan.seasons:
        return [((), plan.limits)]
    return [(tuple(line.months), limits) for line, limits in zip(plan.seasons, plan.season_limits, strict=True)]
