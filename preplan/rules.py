"""Every default of the program, with its unit, its source, and a mark where it is from memory.

A rule is a field of a frozen dataclass; its metadata says unit, meaning and source, so the district file, the
report and the help texts all read the one home of each number. A district sets any of them by its name.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from typing import Any
from urllib.parse import urlsplit

import numpy as np

from preplan.records import ALL_MONTHS, FloatArray, ResponseLevel

COMMON = "common practice, no source"
MEMORY = "from memory, unverified"
OURS = "this program's careful choice"


RATER_GPM, RATER_MIN = 250.0, 120.0
"""Least flow of hauled water and how long it must hold, without a break (published rating criteria)."""
RATER_START_MIN, RATER_RAISE_MIN = 5.0, 15.0
"""After the first engine's arrival: the least flow starts, and a higher one that counts has been reached (the same)."""
RATER_MI = 5.0
"""Road miles (the same)."""
SMALL_TANK_GAL = (1000.0, 3500.0)
"""Tanks within these bounds dump at the faster of the two default rates (common practice, no source)."""
MOST: Mapping[str, float] = {
    "min": 120.0, "ft": 50_000.0, "ft2": 100_000.0, "in": 13.0, "mph": 100.0, "gpm": 20_000.0, "gal": 20_000.0,
    "lb": 250_000.0, "lb/gal": 50.0, "psi": 400.0,
}  # fmt: skip
"""The most a district may give for a rule of each unit (this program's careful bounds): above, a digit is wrong."""


def _rule(
    default: Any, unit: str, meaning: str, source: str, *, low: float | None = None, high: float | None = None
) -> Any:
    """Declare one rule: value, unit, meaning, source, and the least and the most (else `MOST`) a district may give."""
    bounds = {"low": low, "high": MOST.get(unit) if high is None else high}
    return field(default=default, metadata={"unit": unit, "meaning": meaning, "source": source, **bounds})


@dataclass(frozen=True, slots=True, kw_only=True)
class RoadRules:
    """How tankers drive; table `[roads]` of the district file."""

    travel: str = _rule("network", "", "travel times: 'network', or 'rule' for 0.65 + 1.7 D per leg", OURS)
    snap_max_ft: float = _rule(1320.0, "ft", "farthest an address may lie from a usable road", OURS, low=1)
    dead_end_turn_min: float = _rule(3.0, "min", "turning at a dead end without a mapped turning place", OURS, low=0)
    turning_place_min: float = _rule(1.0, "min", "turning at a mapped turning place", OURS, low=0)
    dump_turn_min: float = _rule(3.0, "min", "turning round at the dump site", OURS, low=0)
    loop_preference_min: float = _rule(
        1.0, "min", "a loop is preferred to turning at the dump site if it costs less than this", OURS, low=0
    )
    bare_weight: str = _rule(
        "stricter",
        "",
        "a weight without a unit, or in 'T': 'stricter' of tonnes and short tons, 'tonnes' or 'short tons'",
        "OpenStreetMap wiki, Map features/Units: metric tonnes; signs in the United States: short tons",
    )
    obey_ratings: bool = _rule(
        True,
        "",
        "a truck above a bridge's operating rating in the bridge table does not cross it, posted or not",
        "AASHTO Manual for Bridge Evaluation: the operating rating is the most load that a bridge may ever be put to; "
        + MEMORY,
    )
    narrow_ft: float = _rule(18.0, "ft", "a road below this width is one truck wide", COMMON, low=1)
    top_mph: float = _rule(
        60.0,
        "mph",
        "top speed of a loaded tanker",
        "NFPA 1901: 60 mph above 1,250 gal of water or 50,000 lb, as a published pumper specification cites it",
        low=5,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class RequiredFlowRules:
    """What a building needs; table `[required_flow]`."""

    method: str = _rule("nfpa1142", "", "nfpa1142, iso, nfa, iowa or given", OURS)
    required_min: float | str = _rule(
        120.0,
        "min",
        "how long the rate must hold; 'method': the method's own total over its rate, at least 20",
        "the rater's duration: 250 gpm for 2 h (published rating criteria)",
        low=10,  # 2 is two hours, and nobody's two minutes
        high=480,
    )
    dwelling_cap: bool = _rule(True, "", "dwellings: construction number at most 1.0", "NFPA 1142, " + MEMORY)
    exposure_ft: float = _rule(50.0, "ft", "a building this near is an exposure", "NFPA 1142 4.1.5", low=0)
    exposure_sqft: float = _rule(100.0, "ft2", "least size of an exposure", "NFPA 1142 4.1.5", low=0)
    footprint_ft: float = _rule(300.0, "ft", "farthest footprint taken for an address", OURS, low=0)
    default_gpm: float = _rule(500.0, "gpm", "method 'given': rate where a row gives none", OURS, low=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShuttleRules:
    """Tankers, engines, hose and water; table `[shuttle]`."""

    usable_fraction: float = _rule(
        0.9,
        "",
        "share of a tank that reaches the fire; the rest weighs on the way back",
        "the 90 % rule: ISO hauled water text; NFPA 1142",
        low=0.1,
    )
    vacuum_usable_fraction: float = _rule(
        1.0, "", "the same for a vacuum tanker", "reported credit at 100 %, low authority", low=0.1
    )
    fill_hookup_min: float = _rule(1.0, "min", "connecting and breaking at the fill site", COMMON, low=0)
    vacuum_hookup_min: float = _rule(0.5, "min", "the same for a vacuum tanker", COMMON, low=0)
    fill_maneuver_min: float = _rule(1.0, "min", "positioning at the fill site, holds no place", COMMON, low=0)
    dump_hookup_min: float = _rule(0.5, "min", "opening and closing at the dump site", COMMON, low=0)
    dump_maneuver_min: float = _rule(1.5, "min", "positioning at the dump site, holds no place", COMMON, low=0)
    dump_places: int = _rule(1, "", "tankers that can dump at once", OURS, low=1, high=20)
    small_dump_gpm: float = _rule(
        1000.0,
        "gpm",
        f"gravity dump of a tank of {SMALL_TANK_GAL[0]:,.0f} to {SMALL_TANK_GAL[1]:,.0f} gal",
        "gravity dump about 1,000 gpm; " + COMMON,
        low=1,
    )
    other_dump_gpm: float = _rule(500.0, "gpm", "dump of any other tank", OURS, low=1)
    intake_gpm: float = _rule(1000.0, "gpm", "most that a tank takes in", "NFPA 1903-1991: accept 1,000 gpm", low=1)
    fill_gpm: float = _rule(500.0, "gpm", "fill site without a given rate", OURS, low=1)
    gravity_fill_gpm: float = _rule(300.0, "gpm", "gravity tank without a given rate", OURS, low=1)
    stagger_min: float = _rule(
        2.0, "min", "each further unit of one volunteer station leaves this much later", OURS, low=0
    )
    size_up_min: float = _rule(
        2.0, "min", "from the attack engine's arrival to the call for a higher level", OURS, low=0
    )
    attack_setup_min: float = _rule(
        2.0,
        "min",
        "attack engine's arrival to first water",
        "published fire service standard: attack within 2 min",
        low=0,
    )
    dump_setup_min: float = _rule(5.0, "min", "portable tank and drafting engine to dump site ready", COMMON, low=0)
    tank_setup_min: float = _rule(3.0, "min", "a further portable tank ready after its carrier arrives", COMMON, low=0)
    dry_hydrant_setup_min: float = _rule(5.0, "min", "fill engine's set-up at a dry hydrant", COMMON, low=0)
    cistern_setup_min: float = _rule(5.0, "min", "fill engine's set-up at a cistern", COMMON, low=0)
    draft_setup_min: float = _rule(8.0, "min", "fill engine's set-up at open water", COMMON, low=0)
    hydrant_setup_min: float = _rule(2.0, "min", "opening a hydrant, once", COMMON, low=0)
    full_flow_after_min: float = _rule(
        15.0,
        "min",
        "attack engine's arrival to the required flow",
        "published rating criteria: flow raised within 15 min",
        low=0,
    )
    attack_gpm: float = _rule(150.0, "gpm", "attack flow before the required flow", COMMON, low=1)
    surge_gpm: float = _rule(
        0.0, "gpm", "a master stream's flow, in all, that cards tell how long is held from full flow on; 0: none", OURS,
        low=0,
    )  # fmt: skip
    surge_min: float = _rule(10.0, "min", "how long the master stream is asked for", OURS, low=1)
    one_engine_reach_ft: float = _rule(
        200.0, "ft", "attack engine may draft too if the building is this near the dump site", OURS, low=0
    )
    strainer_gpm: float = _rule(1000.0, "gpm", "draft through one low-level strainer", COMMON, low=1)
    stand_off_ft: float = _rule(100.0, "ft", "dump-site engine to the hose junction", "50 to 100 ft, " + COMMON, low=0)
    supply_hose_ft: float = _rule(1000.0, "ft", "supply hose an engine carries", OURS, low=0)
    supply_hose_in: float = _rule(3.0, "in", "its diameter", OURS, low=1)
    supply_psi: float = _rule(150.0, "psi", "pump pressure into the supply line", MEMORY, low=20)
    supply_residual_psi: float = _rule(20.0, "psi", "pressure left at the attack engine", "20 psi residual, ISO", low=0)
    transfer_gpm: float = _rule(
        500.0,
        "gpm",
        "moved by one transfer device between portable tanks: by hand only, plans reckon none",
        "500 to 1,000 gpm, " + MEMORY,
        low=1,
    )
    tank_room_fraction: float = _rule(0.8, "", "usable room of a portable tank on a slope", OURS, low=0.1)
    dead_water_fraction: float = _rule(0.07, "", "water under the strainer", OURS, low=0)

    @property
    def full_flow_min(self) -> float:
        """Give the minutes from the attack engine's arrival until full flow is asked for: not before first water."""
        return max(self.full_flow_after_min, self.attack_setup_min)

    def dump_gpm(self, tank_gal: FloatArray) -> FloatArray:
        """Give the rate at which tanks of so many gallons, (...,), dump where nobody has measured it: (...,) gpm."""
        small = (tank_gal >= SMALL_TANK_GAL[0]) & (tank_gal <= SMALL_TANK_GAL[1])
        return np.where(small, self.small_dump_gpm, self.other_dump_gpm)


@dataclass(frozen=True, slots=True, kw_only=True)
class HydrantRules:
    """When a hydrant counts."""

    reach_ft: float = _rule(
        1000.0, "ft", "road and driveway to a hydrant", "published rating criteria: within 1,000 ft", low=0
    )
    default_gpm: float = _rule(500.0, "gpm", "hydrant without a given flow", OURS, low=0)
    credit: tuple[tuple[float, float], ...] = _rule(
        ((300.0, 1000.0), (600.0, 670.0), (1000.0, 250.0)),
        "ft, gpm",
        "most that is credited up to each distance",
        "hydrant credit by distance, published rating summary",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRules:
    """Choices of the plan; table `[plan]`."""

    months: frozenset[int] = _rule(ALL_MONTHS, "", "months to plan for", OURS)
    keep_sites: int = _rule(64, "", "trips are kept to all sites up to this number", OURS, low=1)
    keep_site_gain: float = _rule(
        0.10, "", "a higher level changes the fill site only for a gain above this share", OURS, low=0
    )
    split_sites: bool = _rule(
        True,
        "",
        "a level that one fill site does not serve may send its tankers to two, each with its engine",
        OURS,
    )
    new_site_gpm: float = _rule(
        1000.0,
        "gpm",
        "rate that a fill site is built for, where `preplan sites` takes its place from the map",
        "NFPA 1142: design flow of a dry hydrant, " + MEMORY,
        low=1,
    )
    new_site_reach_ft: float = _rule(
        150.0, "ft", "the same: mapped water no farther from the road is a place for one", OURS, low=0, high=1000
    )
    close_share: float = _rule(0.10, "", "a flow within this share of the requirement is 'close'", OURS, low=0)
    long_driveway_ft: float = _rule(500.0, "ft", "a driveway above this is flagged", OURS, low=0)
    night_factor: float = _rule(
        1.1, "", "the map's what-if: travel times at night are multiplied by this", OURS, low=1, high=5
    )
    mud_factor: float = _rule(1.25, "", "the map's what-if: the same in mud season", OURS, low=1, high=5)
    snow_factor: float = _rule(1.4, "", "the map's what-if: the same on snow", OURS, low=1, high=5)
    driveway_factor: float = _rule(1.3, "", "driveway over straight distance where none is mapped", OURS, low=1, high=5)


@dataclass(frozen=True, slots=True, kw_only=True)
class ApparatusRules:
    """What stands in for an empty cell of the apparatus and station tables."""

    chassis_lb: float = _rule(9500.0, "lb", "loaded weight without a value: this plus lb_per_tank_gal x tank", OURS)
    lb_per_tank_gal: float = _rule(16.7, "lb/gal", "see chassis_lb", OURS)
    engine_loaded_lb: float = _rule(44000.0, "lb", "loaded weight of an engine without a value: a heavy one", OURS)
    tanker_tank_gal: float = _rule(1000.0, "gal", "tank of a tanker without a value", "NFPA 1903: at least 1,000 gal")
    heavy_tank_gal: float = _rule(
        3500.0, "gal", "a tanker without tank and weight weighs, at limits, as one with this tank", OURS, low=0
    )
    engine_tank_gal: float = _rule(750.0, "gal", "tank of an engine without a value", "750 to 1,000 gal, " + COMMON)
    engine_pump_gpm: float = _rule(1000.0, "gpm", "pump of an engine without a value", OURS)
    portable_share: float = _rule(
        1.0,
        "",
        "portable tank of a tanker without a value: this share of its tank; 0 in the table: none",
        COMMON,
        low=0,
    )
    height_ft: float = _rule(10.5, "ft", "height without a value", OURS, low=5, high=15)
    width_ft: float = _rule(
        8.5, "ft", "width without a value", "8.5 ft is the legal width in the United States, " + MEMORY, low=4, high=12
    )
    axle_share: float = _rule(0.6, "", "heaviest axle as a share of loaded weight without a value", OURS)
    turnout_volunteer_min: float = _rule(6.0, "min", "turnout of a volunteer station", OURS)
    turnout_staffed_min: float = _rule(
        2.0, "min", "turnout of a staffed station", "80 s turnout, published standard, rounded up"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """All rules of one district."""

    roads: RoadRules = field(default_factory=RoadRules)
    required_flow: RequiredFlowRules = field(default_factory=RequiredFlowRules)
    shuttle: ShuttleRules = field(default_factory=ShuttleRules)
    hydrants: HydrantRules = field(default_factory=HydrantRules)
    plan: PlanRules = field(default_factory=PlanRules)
    apparatus: ApparatusRules = field(default_factory=ApparatusRules)


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleLine:
    """One rule as the report prints it."""

    group: str
    name: str
    value: object
    unit: str
    meaning: str
    source: str
    changed: bool
    """True where the district's value differs from the default."""


def rule_lines(rules: Rules) -> Iterator[RuleLine]:
    """List every rule in use with unit, meaning and source, in the order of this module.

    >>> next(iter(rule_lines(Rules()))).name
    'travel'
    """
    for group in fields(rules):
        values = getattr(rules, group.name)
        for one in fields(values):
            value = getattr(values, one.name)
            about = one.metadata
            yield RuleLine(
                group=group.name,
                name=one.name,
                value=value,
                unit=about["unit"],
                meaning=about["meaning"],
                source=about["source"],
                changed=value != one.default,
            )


def tile_host(template: str) -> str:
    """Give the one source that online tiles come from, as a page's policy names it; '' where an address is none.

    >>> tile_host("https://{s}.tile.example.org/{z}/{x}/{y}.png"), tile_host("https://tile-{s}.example.org/{z}/{x}/{y}")
    ('https://*.tile.example.org', '')
    """
    try:
        parts = urlsplit(template)
    except ValueError:
        return ""
    host = parts.netloc.replace("{s}", "*")
    plain = re.fullmatch(r"(\*\.)?[A-Za-z0-9.-]+(:\d+)?", host) and "{" not in re.sub(r"\{[sxyzr]\}", "", template)
    whole = parts.scheme in {"http", "https"} and all(one in template for one in ("{z}", "{x}", "{y}"))
    return f"{parts.scheme}://{host}" if plain and whole else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class District:
    """What the district file says, apart from where its tables are."""

    name: str
    date: str
    """ISO date printed on every page; '' until the road file has given one."""
    levels: tuple[ResponseLevel, ...]
    """Lowest first."""
    rules: Rules = field(default_factory=Rules)
    cards_per: str = "road"
    """road or address."""
    cards_backup: str = "line"
    """line or sheet: whether the way over the backup has a sheet behind each card."""
    tiles: str = ""
    """Address template of online map tiles, '' for none; see `tile_host`."""
