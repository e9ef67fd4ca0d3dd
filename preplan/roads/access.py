"""What the map says about who may and who can pass: tables of data, each row with its reason and source.

The law's signs and the ground's facts are kept apart. A vehicle on the way to a fire may pass a sign; it cannot
pass a wall, a locked gate or mud. `PASS` costs nothing, `GATE` a little time, `CLOSED` is closed; a sign against
traffic costs `SIGN_MIN` where its road is entered.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

PASS: Final = "pass"  # noqa: S105  no password
GATE: Final = "gate"
CLOSED: Final = "closed"

SIGN_MIN = 1.0
"""Minutes that a sign against traffic costs: finding out that one may pass (this program's careful choice)."""
GATE_MIN = 0.5
"""Minutes to open and pass an unlocked gate (this program's careful choice)."""

WIKI = "OpenStreetMap wiki, Key:"
OURS = "this program's careful choice"


@dataclass(frozen=True, slots=True)
class Rule:
    """One row: the values of one key, what they do to a loaded tanker, why, and who says so."""

    key: str
    values: frozenset[str]
    effect: str
    reason: str
    source: str


def _rule(key: str, values: str, effect: str, reason: str, source: str) -> Rule:
    return Rule(key, frozenset(values.split()), effect, reason, source)


ACCESS_KEYS = ("hgv", "motor_vehicle", "vehicle", "access")
"""From the most particular key to the most general: the first present decides (wiki, Key:access)."""
SIGNED_AGAINST = frozenset({
    "no", "private", "destination", "customers", "customer", "delivery", "agricultural", "forestry", "permit",
    "authorized", "restricted", "military", "psv", "bus", "residents", "local", "discouraged", "unsuitable",
})  # fmt: skip
"""Values by which a sign bars through traffic: emergency vehicles pass, at a small cost."""

GROUND_RULES: tuple[Rule, ...] = (
    _rule("service", "driveway parking_aisle drive-through busbay slipway", CLOSED,
          "tankers stay on the road; the attack engine and hose go in", WIKI + "service; " + OURS),
    _rule("smoothness", "very_bad horrible very_horrible impassable", CLOSED,
          "asks for high clearance or worse", WIKI + "smoothness; " + OURS),
    _rule("tracktype", "grade4 grade5", CLOSED, "mostly soft or soft ground", WIKI + "tracktype; " + OURS),
    _rule("surface", "mud sand grass snow ice artificial_turf grass_paver woodchips clay stepping_stones boulders",
          CLOSED, "does not bear a loaded tanker in every season", WIKI + "surface; " + OURS),
    _rule("barrier", "yes gate bollard block boulder jersey_barrier debris log wall fence ditch tank_trap", CLOSED,
          "the way itself is mapped as a barrier", WIKI + "barrier; " + OURS),
    _rule("impassable", "yes", CLOSED, "mapped as impassable", WIKI + "impassable"),
    *(_rule(key, "yes", CLOSED, "no longer kept up, or no longer there", WIKI + "disused; Lifecycle prefix; " + OURS)
      for key in ("disused", "abandoned", "demolished", "destroyed", "razed", "removed", "collapsed", "closed")),
    *(_rule(key, "closed abandoned disused", CLOSED, "mapped as out of use", OURS)
      for key in ("status", "operational_status")),
    _rule("passable", "no", CLOSED, "mapped as impassable", OURS),
    _rule("construction", "yes", CLOSED, "is being built", WIKI + "construction; " + OURS),
    _rule("4wd_only", "yes extreme", CLOSED, "asks for four driven wheels", WIKI + "4wd_only"),
    _rule("tidal", "yes", CLOSED, "lies under water at high tide", WIKI + "tidal"),
    _rule("winter_road", "yes", CLOSED, "exists on frozen ground only", WIKI + "winter_road"),
    _rule("ice_road", "yes", CLOSED, "exists on ice only", WIKI + "ice_road"),
    _rule("emergency", "no", CLOSED, "emergency vehicles themselves are barred", WIKI + "emergency; " + OURS),
)  # fmt: skip
"""Rows that make a stretch no road for tankers, whatever the signs say."""

UNDER_A_ROOF = frozenset({"building_passage", "passage"})
"""Values of `tunnel` for a way through a house: where no height is mapped, no tanker is sent but on a good road, over
which a customs house may stand (this program's careful choice)."""
NARROWEST_FT = 8.0
"""No truck passes a road that is mapped as narrower, unless it has two lanes (this program's careful choice)."""
STEEP_PERCENT = 10.0
"""A road for fire trucks should climb no more (model fire code, access roads, from memory, unverified)."""
GOOD_ROADS = frozenset({
    "motorway", "trunk", "primary", "secondary", "tertiary", "motorway_link", "trunk_link", "primary_link",
    "secondary_link", "tertiary_link",
})  # fmt: skip
"""Values of `highway` that are seldom truly closed by their ground: a row that closes one is reported."""
PAVED = frozenset({"paved", "asphalt", "concrete", "concrete:plates", "concrete:lanes", "paving_stones", "sett",
                   "cobblestone", "chipseal", "metal", "bricks"})  # fmt: skip
"""Values of `surface` under which a ford has a hard bed and an ungraded track bears a tanker."""
FORD = frozenset({"yes", "stream", "boat", "stepping_stones", "tidal"})
BRIDGE_NOT = frozenset({"", "no", "culvert"})
"""Values of `bridge` that leave nothing to fall through."""
BRIDGE_OUT = frozenset({"abandoned", "closed", "collapsed", "construction", "demolished", "destroyed", "disused",
                        "out", "proposed", "razed", "removed", "ruins", "broken", "damaged", "missing", "washed_out",
                        })  # fmt: skip
"""Values of `bridge` that say that nobody crosses there (this program's careful choice)."""

BARRIER_RULES: tuple[Rule, ...] = (
    _rule("barrier", "entrance no kerb cattle_grid toll_booth border_control rumble_strip", PASS,
          "a vehicle drives over or past it", WIKI + "barrier"),
    _rule("barrier", "gate lift_gate swing_gate sliding_gate sliding_beam hampshire_gate bump_gate wicket_gate chain "
          "rope sally_port spikes coupure checkpoint security_control", GATE,
          "can be opened unless it is locked", WIKI + "barrier; " + OURS),
    _rule("barrier", "bollard block jersey_barrier debris log wall fence hedge ditch planter guard_rail tank_trap "
          "cycle_barrier motorcycle_barrier bus_trap stile kissing_gate turnstile full-height_turnstile horse_stile "
          "barrier_board wedge concrete cable_barrier retaining_wall sump_buster rising_bollard boulder boulders "
          "rock stone tree hole berm mound", CLOSED,
          "stops a truck", WIKI + "barrier; " + OURS),
)  # fmt: skip
"""What a barrier node does; a value in no row counts as a gate and is reported."""
BARRIER_EFFECT: Mapping[str, str] = {value: row.effect for row in BARRIER_RULES for value in row.values}
FRAMES: Mapping[str, str] = {"height_restrictor": "max_height_ft", "width_restrictor": "max_width_ft"}
"""What stands against trucks: its limit is its column of RoadLimits, and where none is given it stops a tanker."""


@dataclass(frozen=True, slots=True)
class LimitRule:
    """One row: a posted limit, the measure of a loaded or empty tanker that it holds down, and who says so.

    Each form of the key (for trucks, one direction, lane by lane, as measured) limits the whole stretch both ways: the
    strictest counts, since a sign on one side of a bridge seldom means the other side is stronger.
    """

    key: str
    measure: str
    """Column of RoadLimits."""
    forms: tuple[str, ...]
    reason: str
    source: str

    @property
    def keys(self) -> tuple[str, ...]:
        """List the key in all its forms, the plain one first."""
        return tuple(self.key + form for form in self.forms)


_WAYS = ("", ":forward", ":backward", ":both_ways", ":hgv", ":hgv:forward", ":hgv:backward", ":physical", ":signed",
          ":legal", ":lanes", ":lanes:forward", ":lanes:backward", ":emergency", ":single_unit")  # fmt: skip

LIMIT_RULES: tuple[LimitRule, ...] = (
    LimitRule("maxweight", "max_lb", _WAYS, "the weight as driven", WIKI + "maxweight"),
    LimitRule("maxweightrating", "max_lb", _WAYS, "the weight a vehicle is licensed for: taken as the weight as driven",
              WIKI + "maxweightrating; " + OURS),
    LimitRule("maxgcweight", "max_lb", _WAYS, "the weight of a combination: a tanker with its trailer counts whole",
              WIKI + "maxweight; " + OURS),
    LimitRule("maxaxleload", "max_axle_lb", _WAYS, "the heaviest axle", WIKI + "maxaxleload"),
    LimitRule("maxbogieweight", "max_axle_lb", _WAYS, "a pair of axles: a single axle above it is certainly too heavy",
              WIKI + "maxbogieweight; " + OURS),
    LimitRule("maxtandemweight", "max_axle_lb", _WAYS, "the same, so named in places", OURS),
    LimitRule("maxheight", "max_height_ft", _WAYS, "the height of the truck", WIKI + "maxheight"),
    LimitRule("maxwidth", "max_width_ft", _WAYS, "the width of the truck", WIKI + "maxwidth"),
)  # fmt: skip
"""What is posted and what it holds down."""
UNCHECKED_RULES: tuple[Rule, ...] = (
    _rule("maxlength", "", PASS, "no length of a truck is known here", WIKI + "maxlength; " + OURS),
    _rule("maxlength:hgv", "", PASS, "no length of a truck is known here", WIKI + "maxlength; " + OURS),
    _rule("maxaxles", "", PASS, "no number of axles is known here", OURS),
)
"""Posted limits that nothing is held against: reported wherever they stand."""
PAIR_KEYS = frozenset(key for rule in LIMIT_RULES if rule.key in {"maxbogieweight", "maxtandemweight"}
                      for key in rule.keys)  # fmt: skip
"""Limits of a pair of axles: reported, since a pair itself is not weighed here."""


def _limit_keys(measure: str) -> tuple[str, ...]:
    return tuple(key for rule in LIMIT_RULES if rule.measure == measure for key in rule.keys)


WEIGHT_KEYS = _limit_keys("max_lb")
AXLE_KEYS = _limit_keys("max_axle_lb")
HEIGHT_KEYS = _limit_keys("max_height_ft")
WIDTH_KEYS = _limit_keys("max_width_ft")
CONDITIONAL = ":conditional"
"""Ending of a key whose value holds at times only."""
LIMIT_CONDITIONAL_KEYS = tuple(key + CONDITIONAL for key in (*WEIGHT_KEYS, *AXLE_KEYS, *HEIGHT_KEYS, *WIDTH_KEYS))
"""Applied by the strictest value that may hold in the months that are planned, and reported."""
_LIMITS = frozenset(rule.key for rule in LIMIT_RULES)
_LIMIT_FORMS = frozenset({*WEIGHT_KEYS, *AXLE_KEYS, *HEIGHT_KEYS, *WIDTH_KEYS, *LIMIT_CONDITIONAL_KEYS})
_ABOUT = frozenset({"source", "note", "date", "ref"})
"""Forms of a key that are no limit but tell of one."""


def is_other_limit(key: str) -> bool:
    """Tell whether a key is a limit in a form that nothing reads, as one for buses.

    >>> is_other_limit("maxweight:bus"), is_other_limit("maxweight:hgv"), is_other_limit("maxweight:source")
    (True, False, False)
    """
    base, _, form = key.partition(":")
    return bool(form) and base in _LIMITS and key not in _LIMIT_FORMS and _ABOUT.isdisjoint(form.split(":"))


_OTHER_VEHICLES = frozenset({
    "bus", "tourist_bus", "coach", "psv", "hgv_articulated", "articulated", "trailer", "caravan", "motorcar",
    "motorcycle", "goods", "agricultural", "boat", "marine", "bicycle", "foot",
})  # fmt: skip


def unread_measure(key: str) -> str:
    """Give the column that a limit in a form that nothing reads may hold down, '' where it is for other vehicles.

    >>> unread_measure("maxweight:3_axles"), unread_measure("maxweight:bus")
    ('max_lb', '')
    """
    base, *form = key.split(":")
    if not _OTHER_VEHICLES.isdisjoint(form):
        return ""
    return next((rule.measure for rule in LIMIT_RULES if rule.key == base), "")


ACCESS_CONDITIONAL_KEYS = tuple(key + CONDITIONAL for key in ACCESS_KEYS)
CONDITIONAL_KEYS = (*ACCESS_CONDITIONAL_KEYS, "oneway" + CONDITIONAL)
"""Reported, and applied only where a road is shut through whole months: a sign may be passed at any hour."""
BARRED_ABOVE: Mapping[str, str] = {
    "weight": "max_lb", "weightrating": "max_lb", "axleload": "max_axle_lb", "height": "max_height_ft",
    "width": "max_width_ft",
}  # fmt: skip
"""Conditions of `no` that are limits (OpenStreetMap wiki, Conditional restrictions), and what each holds down: 'no to
all above 7.5 t' says no more of the road than a posted 7.5 t does, and may say as much (this program's careful
choice). Of a length nothing is known here."""
ONEWAY_KEYS = ("oneway", "oneway:vehicle", "oneway:motor_vehicle", "oneway:hgv")
"""Each may make a street one-way to trucks; none lets them drive against another (this program's careful choice)."""
ALONG, AGAINST = ":forward", ":backward"
"""Endings of a key that holds in one direction of the way."""
UNPLOUGHED_MONTHS = frozenset({11, 12, 1, 2, 3, 4})
"""Months in which a road that nobody ploughs may be shut (this program's careful choice, for a northern winter)."""
SEASON_MONTHS: Mapping[str, frozenset[int]] = {
    "spring": frozenset({3, 4, 5}),
    "summer": frozenset({6, 7, 8}),
    "autumn": frozenset({9, 10, 11}),
    "fall": frozenset({9, 10, 11}),
    "winter": frozenset({12, 1, 2}),
}
"""Values of `seasonal` that name when a road is there (OpenStreetMap wiki, Key:seasonal; northern half of the earth,
by this program's careful choice)."""
OPENING_HOURS = "opening_hours"
PLOUGH_KEYS = ("winter_service", "snowplowing", "winter_maintenance")
SPEED_KEYS = tuple(f"{base}{way}" for base in ("maxspeed", "maxspeed:hgv", "maxspeed:advisory")
                   for way in ("", ":forward", ":backward"))  # fmt: skip

WAY_KEYS: tuple[str, ...] = tuple(sorted({
    "highway", "name", "name_1", "ref", "alt_name", "junction", *ONEWAY_KEYS, "lanes", "width", "est_width", "bridge",
    "tunnel", "layer", "ford", "area", "covered", "incline", *ACCESS_KEYS, *(rule.key for rule in GROUND_RULES),
    *WEIGHT_KEYS, *AXLE_KEYS, *HEIGHT_KEYS, *WIDTH_KEYS, *LIMIT_CONDITIONAL_KEYS, *CONDITIONAL_KEYS, "seasonal", "bus",
    OPENING_HOURS,
    *(key + way for key in ACCESS_KEYS for way in (ALONG, AGAINST)),
    "psv", "narrow", "width:carriageway", "driving_side", "flood_prone", *PLOUGH_KEYS, *SPEED_KEYS,
    *(rule.key for rule in UNCHECKED_RULES),
}))  # fmt: skip
"""Every tag of a way that is read anywhere: a download holds only what is asked for."""
NODE_KEYS: tuple[str, ...] = tuple(sorted({
    "highway", "barrier", "railway", "access", "motor_vehicle", "vehicle", "hgv", "locked", "emergency", "ford",
    "bollard", "crossing", "direction", "stop", *WEIGHT_KEYS, *AXLE_KEYS, *HEIGHT_KEYS, *WIDTH_KEYS,
    *LIMIT_CONDITIONAL_KEYS, *(rule.key for rule in UNCHECKED_RULES),
    *ACCESS_CONDITIONAL_KEYS, OPENING_HOURS, "seasonal",
}))  # fmt: skip
"""Every tag of a node that is read anywhere."""
