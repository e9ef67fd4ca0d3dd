"""Between which numbers a real truck, site, building or limit lies: outside, a unit or a digit is wrong.

A bound lets everything real through and a few of the slips; it is no rule of good practice. What is real but seldom is
taken, and the user is asked. Nothing here is a default.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from preplan.inputs.units_written import INCHES_PER_FT
from preplan.rules import MEMORY
from preplan.units import FT_PER_M, LB_PER_SHORT_TON, LB_PER_TONNE, MM_PER_IN, SECONDS_PER_MIN

CAREFUL = "this program's careful bounds"
FLOWS = "no building needs less than one small hose line, and the insurance rule ends at 12,000 gpm, " + MEMORY


@dataclass(frozen=True, slots=True)
class Bound:
    """Least and most of one column, both possible; 0, where the column allows it, says that there is none."""

    low: float
    high: float
    thing: str
    """What the column tells of, such as 'height of a fire truck'."""
    source: str = CAREFUL
    seldom: float = math.inf
    """Above it a number is taken, and the user is asked whether it is meant."""
    few: float = 0.0
    """The same below it; 0 is judged elsewhere."""
    asked: str = "is a digit too many"
    """What is asked above `seldom`."""


APPARATUS: Mapping[str, Bound] = {
    "pump_gpm": Bound(20.0, 20_000.0, "pump of a fire truck", seldom=3000.0, few=100.0),
    "dump_gpm": Bound(10.0, 20_000.0, "dump of a tanker", seldom=5000.0, few=100.0),
    "intake_gpm": Bound(10.0, 20_000.0, "intake of a tank", seldom=3000.0, few=100.0),
    "self_fill_gpm": Bound(10.0, 20_000.0, "rate of a vacuum tanker", seldom=3000.0, few=100.0),
    "loaded_lb": Bound(1000.0, 250_000.0, "weight of a fire truck"),
    "empty_lb": Bound(1000.0, 250_000.0, "weight of a fire truck"),
    "axle_lb": Bound(800.0, 80_000.0, "weight on a truck's heaviest axle"),
    "height_ft": Bound(5.0, 15.0, "height of a fire truck", "legal heights end at 13.5 to 15 ft, " + MEMORY),
    "width_ft": Bound(4.0, 12.0, "width of a fire truck", "8.5 ft is legal without mirrors, " + MEMORY),
    "max_mph": Bound(10.0, 100.0, "top speed of a loaded fire truck"),
    "portable_tank_gal": Bound(50.0, 50_000.0, "portable tank", seldom=6000.0, few=500.0),
    "supply_hose_ft": Bound(10.0, 50_000.0, "length of supply hose on a truck", seldom=10_000.0, few=50.0),
    "supply_hose_in": Bound(1.0, 13.0, "diameter of supply hose", "the largest fire hose is 12 in, " + MEMORY, few=2.5),
}
STATIONS: Mapping[str, Bound] = {
    "turnout_min": Bound(0.0, 60.0, "turnout of a station", seldom=19.0, few=1.0, asked="is it seconds"),
}
FILL_SITES: Mapping[str, Bound] = {
    "fill_gpm": Bound(10.0, 20_000.0, "rate into one tanker", seldom=2500.0, few=100.0),
    "site_gpm": Bound(10.0, 100_000.0, "rate of a fill site", seldom=10_000.0, few=100.0),
    "low_gpm": Bound(1.0, 100_000.0, "rate of a fill site", seldom=10_000.0, few=20.0),
    "storage_gal": Bound(10.0, 1e9, "water that a fill site holds", seldom=1e7, few=500.0),
    "positions": Bound(1.0, 20.0, "number of tankers that fill at one site at once", seldom=6.0),
    "lift_ft": Bound(
        0.0,
        33.0,
        "lift of a draft",
        seldom=20.0,
        asked="is it in inches? From 22.4 ft on nothing is counted on: is it so",
    ),
}
BRIDGES: Mapping[str, Bound] = {
    "operating_lb": Bound(2000.0, 600_000.0, "operating rating of a bridge"),
    "operating_us_tons": Bound(1.0, 300.0, "operating rating of a bridge"),
    "operating_tonnes": Bound(1.0, 270.0, "operating rating of a bridge"),
}
HYDRANTS: Mapping[str, Bound] = {"flow_gpm": Bound(10.0, 20_000.0, "flow of a hydrant", seldom=5000.0, few=100.0)}
ADDRESSES: Mapping[str, Bound] = {
    "length_ft": Bound(5.0, 10_000.0, "length of a building", seldom=1500.0),
    "width_ft": Bound(5.0, 10_000.0, "width of a building", seldom=1500.0),
    "height_ft": Bound(6.0, 3_000.0, "height of a building", seldom=250.0),
    "floor_area_sqft": Bound(25.0, 1e8, "floor area of a building", seldom=1e6, few=100.0),
    "stories": Bound(0.5, 200.0, "number of floors of a building", seldom=30.0),
    "required_gpm": Bound(50.0, 1e5, "required flow of a building", FLOWS, seldom=12_000.0, few=100.0),
    "required_gal": Bound(100.0, 1e8, "water that a building needs in all", seldom=2e6, few=1000.0),
    "driveway_ft": Bound(0.0, 1e5, "length of a driveway", seldom=10_560.0, few=5.0),
}
CLOSURES: Mapping[str, Bound] = {
    "max_lb": Bound(500.0, 250_000.0, "weight limit of a road"),
    "max_height_ft": Bound(5.0, 40.0, "height limit of a road"),
    "max_width_ft": Bound(5.0, 60.0, "width limit of a road"),
}
ENGINE_TANK = Bound(1.0, 20_000.0, "tank of an engine", few=100.0)
"""Few have none at all, which is said by 0; of large ones `SELDOM_TANK_GAL` asks."""
SELDOM_TANK_GAL: Mapping[str, float] = {"engine": 1500.0, "tanker": 5000.0, "pumper-tanker": 5000.0}
"""Larger tanks are possible, and seldom (this program's careful bounds): liters are four times as many."""
TRUCK_LB = 45_000.0
"""A tanker without its water seldom weighs more (this program's careful bounds): worth a look."""

_SLIPS: Mapping[str, tuple[tuple[float, str], ...]] = {
    "ft": (
        (FT_PER_M, "metres"), (1.0 / INCHES_PER_FT, "inches"), (FT_PER_M / 100.0, "centimetres"),
        (FT_PER_M / 1000.0, "millimetres"),
    ),
    "in": ((1.0 / MM_PER_IN, "millimetres"),),
    "lb": ((LB_PER_SHORT_TON, "tons"),),
    "min": ((1.0 / SECONDS_PER_MIN, "seconds"),),
    "tons": ((1.0 / LB_PER_SHORT_TON, "pounds"),),
    "tonnes": ((1.0 / LB_PER_TONNE, "pounds"),),
}  # fmt: skip
"""What a number outside its bound may be in, by the unit of its column, with the factor; the likelier first."""
_NAMES: Mapping[str, str] = {
    "ft": "feet", "in": "inches", "lb": "pounds", "min": "minutes", "gal": "gallons", "gpm": "gpm", "mph": "mph",
    "tons": "tons", "tonnes": "tonnes",
}  # fmt: skip
_COMMA = re.compile(r"\d{1,2},\d{3}")


def broken(value: float, bound: Bound) -> bool:
    """Tell whether a number lies outside its bound; below zero, zero and NaN are judged elsewhere."""
    return value > 0.0 and not bound.low <= value <= bound.high


def seldom(unit: str, value: float, bound: Bound) -> str:
    """Ask whether a number is meant that is possible and seldom; '' where it is neither or outside its bound.

    >>> seldom("gpm", 11.0, FILL_SITES["fill_gpm"])
    'is little for the rate into one tanker, seldom below 100 gpm: is a digit or the unit wrong? It is taken as it is'

    >>> seldom("gpm", 10_000.0, FILL_SITES["fill_gpm"])
    'is much for the rate into one tanker, seldom above 2,500 gpm: is a digit too many? It is taken as it is'
    """
    if bound.low <= value < bound.few:
        least = f"{_plain(bound.few)} {unit}".rstrip()
        return (
            f"is little for the {bound.thing}, seldom below {least}: is a digit or the unit wrong? It is taken as it is"
        )
    if not bound.seldom < value <= bound.high:
        return ""
    most = f"{_plain(bound.seldom)} {unit}".rstrip()
    return f"is much for the {bound.thing}, seldom above {most}: {bound.asked}? It is taken as it is"


def _plain(value: float) -> str:
    """Write a number with thousands marks and no power of ten.

    >>> _plain(1e8), _plain(0.5)
    ('100,000,000', '0.5')
    """
    return f"{value:,.10g}"


def slip(unit: str, value: float, bound: Bound) -> str:
    """Guess the unit of a number outside its bound by which it would lie within, '' where there is none.

    >>> slip("ft", 3.2, APPARATUS["height_ft"]), slip("mph", 600.0, APPARATUS["max_mph"])
    ('metres', '')
    """
    return next((word for factor, word in _SLIPS.get(unit, ()) if bound.low <= value * factor <= bound.high), "")


def rule(unit: str, cell: str, value: float, bound: Bound) -> str:
    """Say what is wrong with a number outside its bound, and what was probably meant.

    >>> rule("ft", "3.2", 3.2, APPARATUS["height_ft"])
    'is probably metres: give feet (10.5); the height of a fire truck is 5 to 15 ft'
    >>> rule("mph", "600", 600.0, APPARATUS["max_mph"])
    'is no top speed of a loaded fire truck, which is 10 to 100 mph: is a digit too many, or another column meant?'
    """
    name = _NAMES.get(unit, "")
    span = f"{_plain(bound.low)} to {_plain(bound.high)} {unit}".rstrip()
    if written := slip(unit, value, bound):
        meant = value * next(factor for factor, word in _SLIPS[unit] if word == written)
        shown = f"{meant:,.1f}" if meant < 100.0 else f"{meant:,.0f}"
        return f"is probably {written}: give {name} ({shown}); the {bound.thing} is {span}"
    if _COMMA.fullmatch(cell) and bound.low <= value / 1000.0 <= bound.high:
        return f"has a comma for decimals: write {value / 1000.0:g}; the {bound.thing} is {span}"
    many = "few" if value < bound.low else "many"
    return f"is no {bound.thing}, which is {span}: is a digit too {many}, or another column meant?"
