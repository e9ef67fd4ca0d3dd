"""Who may and what can drive one way: directions, signs, ground, width. Tables of values are in `access`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from preplan.records import ALL_MONTHS
from preplan.roads import access
from preplan.roads.conditional import clauses, named_months
from preplan.roads.measures import NO_LIMIT, grade_percent, length_ft
from preplan.roads.posted import Trouble

_ALONG = frozenset({"yes", "true", "1"})
_AGAINST = frozenset({"-1", "reverse"})
_BOTH_WAYS = frozenset({"no", "false", "0", "alternating", "reversible"})
_ROUND = frozenset({"roundabout", "circular"})
_TIMED = "holds at times that are not months: taken as open, say in the closures when it is shut"
_MEASURED = "names a weight or size in a way that is NOT read: give closures.csv a row with what the sign says"
_UNCHECKED = "no length nor number of axles of a truck is known here: look at the sign"
_UNSAID = "nobody says when: taken as open, say in the closures when it is shut"
WET = "taken as open: give closures.csv a row with the months in which it is under water"
_UNNAMED = "planned as shut in the months it does not name"
_STEEP = "no minutes are added for it: see whether a loaded tanker climbs it, and gets down in winter"
_SHUT = "planned as shut in these months; the worst season decides"
_UNPLOUGHED = "planned as shut from November to April; the worst season decides"
_LETS_THROUGH = frozenset({"yes", "designated", "official"})
_ONE_LANE = frozenset({"1", "1.5"})
_WIDTHS = ("width:carriageway", "width", "est_width")
"""The first that can be read decides."""
_STREETS = frozenset({"unclassified", "residential", "living_street", "road"})
"""Roads with houses on them, of which it is told when a width closes them."""
_FIRM_TRACK = frozenset({"grade1", "grade2", "grade3"})


class _Width(NamedTuple):
    """How wide a way is, and the key that says so."""

    key: str
    ft: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WayAccess:
    """What the tags of one way say besides what is posted."""

    forward: bool
    backward: bool
    passable: bool
    """False where no vehicle gets through, an engine neither."""
    tanker_road: bool
    barred: bool
    """A sign says no to all, and no tag lets emergency vehicles through."""
    signed: bool
    """A sign forbids it to some or all, and a tanker passes it."""
    bridge: bool
    narrow: bool
    open_months: frozenset[int] | None
    """Months in which the way is open as far as its tags tell; None: all."""
    troubles: tuple[Trouble, ...]

    @classmethod
    def read(cls, tags: Mapping[str, str], narrow_ft: float) -> WayAccess:
        """Interpret one way's tags."""
        forward, backward = directions(tags)
        bridge = tags.get("bridge", "") not in access.BRIDGE_NOT
        sign = _sign(tags)
        barred = sign == "no" and (bridge or tags.get("access") == tags.get("motor_vehicle") == "no")
        passable = not barred and not _is_out(tags)
        return cls(
            forward=forward,
            backward=backward,
            passable=passable,
            tanker_road=passable and bears_a_tanker(tags),
            barred=sign == "no",
            signed=bool(sign) or _signed_one_way(tags),
            bridge=bridge,
            narrow=_is_narrow(tags, narrow_ft, two_way=forward and backward),
            open_months=open_months(tags),
            troubles=tuple(_troubles(tags)),
        )


def directions(tags: Mapping[str, str]) -> tuple[bool, bool]:
    """Tell whether traffic may run along and against the way (wiki, Key:oneway; implied on roundabouts, motorways).

    A `no` in one direction, as `motor_vehicle:backward=no`, is a one-way street to tankers (wiki, Key:access).

    >>> directions({"oneway": "-1"}), directions({"junction": "roundabout"}), directions({"highway": "track"})
    ((False, True), (True, False), (True, True))
    """
    oneway = {tags[key].lower() for key in access.ONEWAY_KEYS if key in tags}
    implied = tags.get("junction") in _ROUND or tags.get("highway") == "motorway"
    forward = oneway.isdisjoint(_AGAINST)
    backward = oneway.isdisjoint(_ALONG) and (not oneway.isdisjoint(_AGAINST | _BOTH_WAYS) or not implied)
    return forward and not _shut(tags, access.ALONG), backward and not _shut(tags, access.AGAINST)


def _shut(tags: Mapping[str, str], way: str) -> bool:
    """Tell whether a sign says no in one direction, as it stands at the far end of a one-way street."""
    return next((tags[key + way] for key in access.ACCESS_KEYS if key + way in tags), "") == "no"


def bears_a_tanker(tags: Mapping[str, str]) -> bool:
    """Tell whether the ground and the kind of road suit a loaded tanker.

    >>> bears_a_tanker({"highway": "track", "tracktype": "grade2"}), bears_a_tanker({"highway": "track"})
    (True, False)
    """
    if _closing_key(tags):
        return False
    if tags.get("highway") == "track":
        firm = bool(tags.get("tracktype")) and _FIRM_TRACK.issuperset(_listed(tags["tracktype"]))
        return firm or is_paved(tags)
    return True


def _low_perhaps(tags: Mapping[str, str]) -> bool:
    """Tell whether a way leads through a house, and nobody says how high nor that trucks may."""
    roof = tags.get("tunnel") in access.UNDER_A_ROOF
    return roof and tags.keys().isdisjoint(access.HEIGHT_KEYS) and tags.get("hgv") not in _LETS_THROUGH


def _is_out(tags: Mapping[str, str]) -> bool:
    """Tell whether a bridge is mapped that nobody can cross."""
    return not access.BRIDGE_OUT.isdisjoint(_listed(tags.get("bridge", "")))


def _closing_key(tags: Mapping[str, str]) -> str:
    """Give the first key whose value says that the ground bears no tanker, '' where none does."""
    for rule in access.GROUND_RULES:
        if rule.key in tags and not rule.values.isdisjoint(_listed(tags[rule.key])):
            return rule.key
    wide = _width(tags)
    firm = wide is not None and wide.key != "est_width"  # what somebody guessed from a picture closes nothing
    if wide and firm and wide.ft < access.NARROWEST_FT and _ONE_LANE.issuperset(_listed(tags.get("lanes", "1"))):
        return wide.key
    if _low_perhaps(tags) and tags.get("highway") not in access.GOOD_ROADS:
        return "tunnel"
    return "ford" if tags.get("ford") in access.FORD and not is_paved(tags) else ""


def is_paved(tags: Mapping[str, str]) -> bool:
    """Tell whether every surface that is mapped is a hard one, and one is."""
    surface = _listed(tags.get("surface", ""))
    return bool(surface) and access.PAVED.issuperset(surface)


def lets_emergency_through(tags: Mapping[str, str]) -> bool:
    """Tell whether the tags say that emergency vehicles may pass."""
    return tags.get("emergency") in _LETS_THROUGH


def _sign(tags: Mapping[str, str]) -> str:
    """Give the value by which a sign bars traffic, '' where none does: the most particular key decides."""
    if lets_emergency_through(tags):
        return ""
    value = next((tags[key] for key in access.ACCESS_KEYS if key in tags), "")
    parts = _listed(value)
    if not parts or not access.SIGNED_AGAINST.issuperset(parts):
        return ""
    # a bus road is barred to others but built for heavy vehicles: never 'no' to all
    return "psv" if _LETS_THROUGH.intersection((tags.get("bus"), tags.get("psv"))) else value


def _signed_one_way(tags: Mapping[str, str]) -> bool:
    """Tell whether a sign that tankers pass bars through traffic in one direction: its cost is taken both ways."""
    keys = (key + way for key in access.ACCESS_KEYS for way in (access.ALONG, access.AGAINST))
    said = (_listed(tags[key]) for key in keys if tags.get(key, "no") != "no")
    return any(parts and access.SIGNED_AGAINST.issuperset(parts) for parts in said)


def _is_narrow(tags: Mapping[str, str], narrow_ft: float, *, two_way: bool) -> bool:
    """Tell whether two trucks cannot meet: one lane or a small width says so, else the kind of way.

    A mapped width may be that of the right of way, so it does not make two lanes of one. On a one-way street
    nobody comes the other way.
    """
    if not two_way:
        return False
    # of several values, as a saved graph has them of merged ways, one is enough
    if not _ONE_LANE.isdisjoint(_listed(tags.get("lanes", ""))) or tags.get("narrow") == "yes":
        return True
    if tags.get("oneway") == "alternating":
        return True
    wide = _width(tags)
    if wide is not None:
        return wide.ft < narrow_ft
    return tags.get("highway") == "track" and "lanes" not in tags


def _width(tags: Mapping[str, str]) -> _Width | None:
    """Give how wide a way is mapped, None where that is not known."""
    readings = (_Width(key, length_ft(tags[key], sign=False).value) for key in _WIDTHS if key in tags)
    return next((one for one in readings if one.ft < NO_LIMIT), None)


def open_months(tags: Mapping[str, str]) -> frozenset[int] | None:
    """Give the months in which a way is open; None where nothing shuts it through whole months.

    >>> sorted(open_months({"access:conditional": "no @ (Nov-Apr)"}) or ())
    [5, 6, 7, 8, 9, 10]
    >>> sorted(open_months({"motor_vehicle": "no", "motor_vehicle:conditional": "yes @ (May 15-Nov 1)"}) or ())
    [5, 6, 7, 8, 9, 10, 11]
    >>> open_months({"motor_vehicle:conditional": "no @ (22:00-06:00)"})
    """
    found = ALL_MONTHS
    if any(tags.get(key) == "no" for key in access.PLOUGH_KEYS):
        found -= access.UNPLOUGHED_MONTHS
    seasons = _listed(tags.get("seasonal", ""))
    if seasons and seasons <= access.SEASON_MONTHS.keys():
        found &= frozenset().union(*(access.SEASON_MONTHS[one] for one in seasons))
    found &= named_months(tags.get(access.OPENING_HOURS, ""))
    for key in access.CONDITIONAL_KEYS:
        if key.startswith("oneway"):
            continue
        said = clauses(tags.get(key, ""))
        if key.startswith("hgv"):  # trucks held off by law while it snows, on a road that is ploughed
            said = tuple(one for one in said if not one.on_snow)
        for clause in said:
            if clause.value == "no" and clause.whole:
                found -= clause.months
        lets = [clause for clause in said if clause.value != "no"]
        # the plain tag holds where no condition does (wiki, Conditional restrictions)
        shut = tags.get(key.removesuffix(access.CONDITIONAL), tags.get("access")) == "no" and not key.startswith("hgv")
        if shut and lets and all(clause.whole for clause in lets):
            found &= frozenset[int]().union(*(clause.months for clause in lets))
    return None if found == ALL_MONTHS else found


def _conditional(tags: Mapping[str, str], key: str) -> str:
    """Say what is made of a conditional sign."""
    if any(what in tags[key] for what in access.BARRED_ABOVE):
        return _MEASURED
    if "length" in tags[key] or "axles" in tags[key]:
        return _UNCHECKED
    base = {name: tags[name] for name in (key.removesuffix(access.CONDITIONAL), "access") if name in tags}
    return _SHUT if open_months({key: tags[key], **base}) else _TIMED


def _is_limit(text: str) -> bool:
    """Tell whether all that a conditional sign says is a limit, which `posted` reads and reports."""
    said = clauses(text)
    return bool(said) and all(
        one.value == "no" and any(what in access.BARRED_ABOVE for what, _ in one.above) for one in said
    )


def _troubles(tags: Mapping[str, str]) -> list[Trouble]:
    found = [
        Trouble("conditional", key, tags[key], _conditional(tags, key))
        for key in access.CONDITIONAL_KEYS if key in tags and not _is_limit(tags[key])
    ]  # fmt: skip
    season = tags.get("seasonal", "no")
    known = open_months({"seasonal": season}) is not None
    if season != "no" and (known or open_months(tags) is None):  # another tag may say when
        rule = "planned as open in these months only; the worst season decides" if known else _UNSAID
        found.append(Trouble("seasonal", "seasonal", season, rule))
    found += [Trouble("seasonal", key, "no", _UNPLOUGHED) for key in access.PLOUGH_KEYS if tags.get(key) == "no"]
    hours = tags.get(access.OPENING_HOURS, "24/7")
    if hours != "24/7":
        rule = _TIMED if open_months({access.OPENING_HOURS: hours}) is None else _UNNAMED
        found.append(Trouble("seasonal", access.OPENING_HOURS, hours, rule))
    key = _closing_key(tags)
    if key and tags.get("highway") in (access.GOOD_ROADS | _STREETS if key in _WIDTHS else access.GOOD_ROADS):
        rule = f"closes a {tags['highway']} road to tankers: look whether the tag is right"
        found.append(Trouble("good road closed", key, tags[key], rule))
    if _low_perhaps(tags) and bears_a_tanker(tags):
        found.append(
            Trouble("no height given", "tunnel", tags["tunnel"], "taken as open: see whether tankers clear it")
        )
    if _is_out(tags):
        rule = "nobody is sent over it: look whether the tag is right"
        found.append(Trouble("bridge out", "bridge", tags["bridge"], rule))
    found += [Trouble("ford at times", key, tags[key], WET) for key in _wet_at_times(tags)]
    against = [key for key in access.ONEWAY_KEYS if tags.get(key) in _AGAINST]
    if against and any(tags.get(key) in _ALONG for key in access.ONEWAY_KEYS):
        rule = "closes the road: other tags make it one-way the other way; look which way the sign points"
        found.append(Trouble("one-way both ways", against[0], tags[against[0]], rule))
    if grade_percent(tags.get("incline", "")) > access.STEEP_PERCENT and bears_a_tanker(tags):
        found.append(Trouble("steep", "incline", tags["incline"], _STEEP))
    if tags.get("oneway") == "reversible":
        found.append(Trouble("reversible", "oneway", "reversible", "taken as open both ways"))
    return found


def _wet_at_times(tags: Mapping[str, str]) -> Iterator[str]:
    """Name the tags by which a way lies under water at times that nobody says."""
    if tags.get("ford", "no") not in access.FORD | {"no"}:
        yield "ford"
    if tags.get("bridge") == "low_water_crossing":
        yield "bridge"
    if tags.get("flood_prone") == "yes":
        yield "flood_prone"


def _listed(value: str) -> frozenset[str]:
    parts = value.lower().replace(",", ";").replace("/", ";").split(";")
    return frozenset(part.strip() for part in parts if part.strip())
