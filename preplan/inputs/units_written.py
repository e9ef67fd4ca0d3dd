"""Units as people write them after a number. Only those with one meaning are taken; another unit is a fault."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from preplan.units import (
    FT_PER_M,
    FT_PER_MI,
    L_PER_GAL,
    LB_PER_KG,
    LB_PER_SHORT_TON,
    LB_PER_TONNE,
    MIN_PER_HOUR,
    MM_PER_IN,
    SECONDS_PER_MIN,
)

INCHES_PER_FT = 12.0
FT_PER_YD = 3.0


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a written unit does to its number."""

    factor: float
    rule: str = ""
    """What a person should know of the reading, '' where it goes without saying."""


_SAME = Meaning(1.0)
_SHORT_TONS = Meaning(LB_PER_SHORT_TON, "short tons of 2,000 lb")
_TONNES = Meaning(LB_PER_TONNE, "metric tons of 2,205 lb")

UNIT_WORDS: Mapping[str, Mapping[str, Meaning]] = {
    "gal": dict.fromkeys(("gal", "gals", "gallon", "gallons", "us gal", "us gallons", "g"), _SAME),
    "gpm": dict.fromkeys(("gpm", "gal/min", "g.p.m", "gals/min", "gallons per minute", "us gpm"), _SAME),
    "lb": {
        **dict.fromkeys(("lb", "lbs", "pound", "pounds", "#"), _SAME),
        **dict.fromkeys(("st", "ton", "tons", "short ton", "short tons", "us tons"), _SHORT_TONS),
        **dict.fromkeys(("tonne", "tonnes", "metric ton", "metric tons"), _TONNES),
        **dict.fromkeys(("kg", "kgs"), Meaning(LB_PER_KG, "kilograms of 2.205 lb")),
    },
    "ft": {
        **dict.fromkeys(("ft", "feet", "foot", "'", "\u2032", "\u2019"), _SAME),
        **dict.fromkeys(("in", "inch", "inches", '"', "\u2033", "\u201d"), Meaning(1.0 / INCHES_PER_FT)),
        **dict.fromkeys(("yd", "yds", "yard", "yards"), Meaning(FT_PER_YD)),
        **dict.fromkeys(("mi", "mile", "miles"), Meaning(FT_PER_MI)),
    },
    "in": dict.fromkeys(("in", "inch", "inches", '"', "\u2033", "\u201d"), _SAME),
    "sqft": dict.fromkeys(("sqft", "sq ft", "sq. ft", "ft2", "ft\u00b2", "sf", "square feet", "square foot"), _SAME),
    "mi": dict.fromkeys(("mi", "mile", "miles"), _SAME),
    "psi": dict.fromkeys(("psi", "lb/in2", "pounds per square inch"), _SAME),
    "mph": dict.fromkeys(("mph", "mi/h", "miles per hour"), _SAME),
    "min": {
        **dict.fromkeys(("min", "mins", "minute", "minutes"), _SAME),
        **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), Meaning(1.0 / SECONDS_PER_MIN)),
        **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), Meaning(MIN_PER_HOUR)),
    },
    "fraction": {"%": Meaning(0.01)},
}
"""What may follow a number, by the unit that ends a column's name or that an option is in."""
FEET_INCHES = re.compile(
    r"(?P<ft>\d+)\s*(?:'|\u2032|\u2019|ft\.?|feet|foot)\s*-?\s*"
    r"(?P<in>\d+(?:\.\d+)?)(?:[ -](?P<part>\d/\d{1,2}))?\s*(?:\"|\u2033|\u201d|''|in\.?|inch(?:es)?)",
    re.IGNORECASE,
)
"""A length such as 8'6" or 8 ft 6 in; both marks are needed."""


def unit_of(column: str) -> str:
    """Take the unit from the end of a column's name, '' where it has none.

    >>> unit_of("loaded_lb"), unit_of("gallons"), unit_of("stories")
    ('lb', 'gal', '')
    """
    ending = "gal" if column == "gallons" else column.rpartition("_")[2]
    return ending if ending in UNIT_WORDS else ""


def meaning(written: str, unit: str) -> Meaning | None:
    """Find what a written unit means in a column of `unit`; None where it may mean something else.

    A capital T is the ton of a sign or a door in the United States; a small t is also the metric ton's symbol,
    which is a tenth heavier.

    >>> meaning("T", "lb").factor, meaning("t", "lb"), meaning("", "lb").factor
    (2000.0, None, 1.0)
    """
    said = written.strip()
    if not said:
        return _SAME
    if said == "T" and unit == "lb":
        return _SHORT_TONS
    return UNIT_WORDS.get(unit, {}).get(" ".join(said.casefold().rstrip(".").split()))


_COMMA_DECIMALS = re.compile(r"-?\d+,\d{1,2}(?!\d)")
"""A number whose comma cannot part thousands."""


_SPAN = re.compile(r"[\d,.]*\d\s*(?:-|\u2013|\bto\b)\s*\d", re.IGNORECASE)
"""Two numbers with what leads from one to the other, such as 200-250."""
_LITERS = re.compile(
    r"(?P<number>\d[\d,]*(?:\.\d+)?)\s*(?:(?P<rate>lpm|l/min|lit(?:er|re)s? (?:per|a) minute)|l|lit(?:er|re)s?)\.?",
    re.IGNORECASE,
)


_METRIC = re.compile(r"(?P<number>\d[\d,]*(?:\.\d+)?)\s*(?P<unit>[a-z/ ]+[2\u00b2]?)\.?", re.IGNORECASE)
OTHER_LENGTHS: Mapping[str, Mapping[str, float]] = {
    "ft": {
        **dict.fromkeys(("m", "meter", "meters", "metre", "metres"), FT_PER_M),
        "cm": FT_PER_M / 100.0, "mm": FT_PER_M / 1000.0, "km": FT_PER_M * 1000.0,
    },
    "in": {"mm": 1.0 / MM_PER_IN, "cm": 10.0 / MM_PER_IN},
    "sqft": dict.fromkeys(("m2", "m\u00b2", "sq m", "sqm", "square meters", "square metres"), FT_PER_M**2),
    "mph": dict.fromkeys(("km/h", "kmh", "kph"), 1000.0 * FT_PER_M / FT_PER_MI),
}  # fmt: skip
"""Metric lengths, areas and speeds in the unit of a column: told in the fault, never taken."""


def expected(cell: str, unit: str) -> str:
    r"""Say what is wrong with a cell that is no number of its unit.

    >>> expected("much", "gal"), expected("21 t", "lb")[:40]
    ('is not a number of gal', 'is not a number of lb: a small t may be ')
    >>> expected("9,9", "ft")
    'is not a number of ft: write 9.9, with a point for decimals'
    >>> expected("200-250 gpm", "gpm")
    'is not a number of gpm: it is a span; write the one number of it that is on the careful side'
    >>> expected("11-6", "ft")[-33:], expected("2-3", "")[:29]
    ('and inches have two marks: 11\'6")', 'is not a number: it is a span')
    >>> expected("1000 lpm", "gpm"), expected("1,000 liters", "gal")[-21:], expected("9 lpm", "gal")
    ('is not a number of gpm: it is in liters; write 264 gpm', 'liters; write 264 gal', 'is not a number of gal')
    >>> expected("3.2 m", "ft"), expected("140 m2", "sqft")[-27:]
    ('is not a number of ft: it is metric; write 10.5 ft', 'is metric; write 1,507 sqft')
    """
    comma = _COMMA_DECIMALS.match(cell)
    pointed = f": write {cell[: comma.end()].replace(',', '.')}, with a point for decimals" if comma else ""
    if _SPAN.match(cell):
        pointed = ": it is a span; write the one number of it that is on the careful side"
        pointed += " (feet and inches have two marks: 11'6\")" * (unit == "ft")
    if unit not in UNIT_WORDS or unit == "fraction":
        return f"is not a number{pointed}"
    rule = f"is not a number of {unit}{pointed}"
    liters = _LITERS.fullmatch(cell)
    if liters and unit == ("gpm" if liters["rate"] else "gal"):
        rule += f": it is in liters; write {float(liters['number'].replace(',', '')) / L_PER_GAL:,.0f} {unit}"
    metric = _METRIC.fullmatch(cell)
    factor = OTHER_LENGTHS.get(unit, {}).get(metric["unit"].casefold()) if metric else None
    if metric and factor:
        rule += f": it is metric; write {float(metric['number'].replace(',', '')) * factor:,.4g} {unit}"
    if unit == "lb" and cell.rstrip(" .").endswith("t"):
        rule += ": a small t may be the metric ton; write pounds, or 'tons' for 2,000 lb"
    return rule


def fraction(text: str | None) -> float:
    """Read a fraction such as 1/2, 0 where there is none.

    >>> fraction("1/2"), fraction(None), fraction("1/0")
    (0.5, 0.0, nan)
    """
    if text is None:
        return 0.0
    over, under = text.split("/")
    return int(over) / int(under) if int(under) else float("nan")


def feet_and_inches(match: re.Match[str]) -> float:
    """Add feet and inches of a match of `FEET_INCHES`; NaN where there are 12 inches or more."""
    inches = float(match["in"]) + fraction(match["part"])
    return float(match["ft"]) + inches / INCHES_PER_FT if inches < INCHES_PER_FT else float("nan")
