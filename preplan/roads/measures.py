"""Values of OpenStreetMap tags -> pounds, feet, miles an hour: the one home of the units of the map.

Sources: OpenStreetMap wiki, Map features/Units (metric tonnes, metres and km/h where no unit is given; `st` short
ton since April 2018; feet and inches as 12'5"), Key:maxweight, Key:maxheight, Key:maxspeed. Values in the wild
break the rules of writing ('12t', '10 short tons', '8000 pounds', '26t mgw'); what can be read for sure is read.
An upper-case 'T' is no unit of the wiki: it may be the ton that a sign bears, and is read as a bare number is.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from typing import NamedTuple

from preplan.units import (
    FT_PER_M,
    KMH_PER_MPH,
    LB_PER_HUNDREDWEIGHT,
    LB_PER_KG,
    LB_PER_LONG_TON,
    LB_PER_SHORT_TON,
    LB_PER_TONNE,
)

NO_LIMIT = float("inf")
"""What a value stands for that limits nothing."""
BARE = "bare number"
"""Code of a Problem: a number whose unit had to be chosen."""
UNREADABLE = "unreadable"
"""Code of a Problem: a value that closes nothing because it cannot be read."""


class Reading(NamedTuple):
    """What one value says."""

    value: float
    """In lb, ft or mph; inf where nothing is limited."""
    problem: str = ""
    """'', `BARE` or `UNREADABLE`."""
    rule: str = ""
    """What was made of a value that has a problem."""
    known: bool = True
    """False where the value says nothing either way ('default', unreadable, absent)."""


_LIST = re.compile(r"[;|]")
"""Between values, and between lanes."""
_NO_LIMIT_WORDS = frozenset({"none", "unlimited", "no_limit"})
_NO_SIGN_WORDS = frozenset(
    {"default", "unsigned", "no_sign", "variable", "signals", "implicit", "no_indications", "no"}
)
_NUMBER = re.compile(r"(\d+(?:\.\d+)?|\.\d+)\s*(.*)")
_THOUSANDS = re.compile(r"\d{1,3}(,\d{3})+(?!\d)")
_DECIMAL_COMMA = re.compile(r"(?<=\d),(?=\d)")
_QUOTES = str.maketrans({
    "\N{RIGHT SINGLE QUOTATION MARK}": "'", "\N{LEFT SINGLE QUOTATION MARK}": "'", "\N{PRIME}": "'",
    "\N{RIGHT DOUBLE QUOTATION MARK}": '"', "\N{LEFT DOUBLE QUOTATION MARK}": '"', "\N{DOUBLE PRIME}": '"',
    "\N{NO-BREAK SPACE}": " ",
})  # fmt: skip

_WEIGHT_UNITS: Mapping[str, float] = {
    **dict.fromkeys(("t", "tonne", "tonnes", "metric ton", "metric tons", "mt"), LB_PER_TONNE),
    **dict.fromkeys(("st", "short ton", "short tons", "us ton", "us tons"), LB_PER_SHORT_TON),
    **dict.fromkeys(("lt", "long ton", "long tons"), LB_PER_LONG_TON),
    **dict.fromkeys(("kg", "kgs"), LB_PER_KG),
    **dict.fromkeys(("lb", "lbs", "pound", "pounds", "lb.", "lbs."), 1.0),
    "cwt": LB_PER_HUNDREDWEIGHT,
    **dict.fromkeys(("kip", "kips"), 1000.0),
}
_BARE_WEIGHT_UNITS = frozenset({"", "ton", "tons"})
"""A 'ton' is as open as no unit at all."""
_TONNE, _TON_OF_A_SIGN = "t", "T"
_MOST_NUMBER = 1e7
"""No sign bears a larger number, whatever its unit."""
_GROSS = re.compile(r"\s*(m\.?g\.?w\.?|g\.?v\.?w\.?r?\.?|gross)$", re.IGNORECASE)
_MOST_TONS = 200.0
"""No sign allows more tons than this; a larger bare number is pounds."""

_FOOT = re.compile(
    r"(?P<ft>\d+(?:\.\d+)?)\s*(?:'|ft\.?|foot|feet)(?:\s*-?\s*(?P<in>\d+(?:\.\d+)?)\s*(?:\"|''|in\.?|inch|inches)?)?"
)
_INCH = re.compile(r"(?P<in>\d+(?:\.\d+)?)\s*(?:\"|''|in\.?|inch|inches)")
_LENGTH_UNITS: Mapping[str, float] = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters", "m."), FT_PER_M),
    "cm": FT_PER_M / 100.0,
}  # fmt: skip
_MOST_M = 5.5
"""Few signs name a clearance or width above this, 18 ft, in metres: a larger bare number is taken as feet, the stricter
reading (this program's careful choice)."""
_MOST_FT = 40.0
"""No sign names more feet."""
_INCHES_PER_FT = 12.0

_GRADE = re.compile(r"[+-]?(\d+(?:\.\d+)?)\s*([%\N{DEGREE SIGN}])")
_MOST_DEGREES = 80.0

_SPEED_UNITS: Mapping[str, float] = {
    "mph": 1.0,
    **dict.fromkeys(("km/h", "kmh", "kph", "kmph"), 1.0 / KMH_PER_MPH),
    "knots": 1.852 / KMH_PER_MPH,
}
_SPEED_WORDS: Mapping[str, float] = {
    "walk": 7.0 / KMH_PER_MPH,  # wiki, Key:maxspeed: walking pace; 7 km/h as German practice has it
}
_URBAN_KMH = 50.0
"""Of 'DE:urban' and its like: 50 km/h in most countries (wiki, Key:maxspeed, implicit values)."""


def weight_lb(text: str, bare: str = "stricter") -> Reading:
    """Read a weight in pounds; of a list ('3;7.5'), and of lanes ('3|7.5'), the strictest.

    Parameters
    ----------
    text
        Value of the tag.
    bare
        A number without a unit, or with 'T' behind it: 'stricter' of tonnes and short tons, 'tonnes' or 'short tons'.

    Examples
    --------
    >>> weight_lb("24000 lbs").value, weight_lb("3 st").value
    (24000.0, 6000.0)
    >>> weight_lb("10").value, weight_lb("10").problem
    (20000.0, 'bare number')
    >>> weight_lb("10 T").value, round(weight_lb("10 t").value)
    (20000.0, 22046)
    """
    return _strictest(text, lambda one: _one_weight(one, bare))


def length_ft(text: str, *, sign: bool = True) -> Reading:
    """Read a height or width in feet; of a list the strictest.

    On a sign a bare number above 5.5 is taken as feet, since few name so many metres; a carriageway may be that wide.

    >>> length_ft("10 ft 6 in").value, round(length_ft("3.5 m").value, 2)
    (10.5, 11.48)
    """
    return _strictest(text.lower(), lambda one: _one_length(one, sign=sign))


def speed_mph(text: str, *, bare_is_mph: bool = False) -> Reading:
    """Read a speed in miles an hour; a bare number is km/h unless `bare_is_mph`, and then has a problem.

    >>> speed_mph("30 mph").value, round(speed_mph("50").value, 1)
    (30.0, 31.1)
    """
    return _strictest(text.lower(), lambda one: _one_speed(one, bare_is_mph=bare_is_mph))


def grade_percent(text: str) -> float:
    """Read how steep a way is, up or down, in percent; 0 where no number says so (OpenStreetMap wiki, Key:incline).

    >>> grade_percent("-12%"), round(grade_percent("10\N{DEGREE SIGN}"), 1), grade_percent("up")
    (12.0, 17.6, 0.0)
    """
    matched = _GRADE.fullmatch(text.strip())
    if matched is None:
        return 0.0
    value = float(matched[1])
    return value if matched[2] == "%" else 100.0 * math.tan(math.radians(min(value, _MOST_DEGREES)))


def _strictest(text: str, read: Callable[[str], Reading]) -> Reading:
    """Read each value of a list and keep the least; a problem of any is a problem of all."""
    parts = [part.strip() for part in _LIST.split(text.translate(_QUOTES)) if part.strip()]
    if not parts:
        return _unreadable()
    readings = [read(part) for part in parts]
    least = min(readings, key=lambda one: one.value)
    # what cannot be read may be stricter than all that can
    troubled = max(readings, key=lambda one: (one.problem == UNREADABLE, bool(one.problem)))
    return least._replace(problem=troubled.problem, rule=troubled.rule, known=any(one.known for one in readings))


def _unreadable() -> Reading:
    return Reading(NO_LIMIT, UNREADABLE, "limits nothing: look at the sign", known=False)


def _word(text: str) -> Reading | None:
    """Read a word that stands for no number."""
    if text in _NO_LIMIT_WORDS:
        return Reading(NO_LIMIT)
    if text in _NO_SIGN_WORDS:
        return Reading(NO_LIMIT, known=False)
    return None


def _split(text: str) -> tuple[float, str, bool] | None:
    """Split '24,000 lbs' into number, unit, and whether a comma was taken for a decimal point."""
    grouped = _THOUSANDS.match(text)
    if grouped:
        text = grouped.group().replace(",", "") + text[grouped.end() :]
    matched = _NUMBER.fullmatch(_DECIMAL_COMMA.sub(".", text))
    if matched is None:
        return None
    number = float(matched[1])
    return (number, matched[2].strip(), bool(grouped)) if 0 < number < _MOST_NUMBER else None


def _one_weight(text: str, bare: str) -> Reading:
    net = _GROSS.sub("", text)
    if (word := _word(text.lower())) is not None:
        return word
    split = _split(net.lower())
    if split is None:
        return _unreadable()
    number, unit, grouped = split
    on_a_sign = unit == _TONNE and net.endswith(_TON_OF_A_SIGN) and number <= _MOST_TONS
    if unit in _BARE_WEIGHT_UNITS or on_a_sign:
        return _bare_weight(number, bare)
    if unit not in _WEIGHT_UNITS or (grouped and _WEIGHT_UNITS[unit] > LB_PER_KG):
        # '3,500 t' is 3.5 t to one reader and 3,500 t to another
        return _unreadable()
    return Reading(number * _WEIGHT_UNITS[unit])


def _bare_weight(number: float, bare: str) -> Reading:
    if number > _MOST_TONS:
        return Reading(number, BARE, "taken as pounds: no sign allows so many tons")
    if bare == "tonnes":
        return Reading(number * LB_PER_TONNE, BARE, "taken as tonnes")
    rule = "taken as short tons" + (", stricter than tonnes" if bare == "stricter" else "")
    return Reading(number * LB_PER_SHORT_TON, BARE, rule)


def _one_length(text: str, *, sign: bool) -> Reading:
    if (word := _word(text)) is not None:
        return word
    imperial = _FOOT.fullmatch(text) or _INCH.fullmatch(text)
    if imperial is not None:
        parts = imperial.groupdict()
        feet = float(parts.get("ft") or 0.0) + float(parts["in"] or 0.0) / _INCHES_PER_FT
        return Reading(feet) if 0 < feet < _MOST_NUMBER else _unreadable()
    split = _split(text)
    if split is None or split[2] or (split[1] and split[1] not in _LENGTH_UNITS):
        return _unreadable()
    number, unit, _ = split
    if sign and not unit and number > _MOST_FT:
        return _unreadable()  # centimetres, perhaps
    if sign and not unit and number > _MOST_M:
        return Reading(number, BARE, "taken as feet: few signs name so many metres")
    return Reading(number * _LENGTH_UNITS[unit or "m"])


def _one_speed(text: str, *, bare_is_mph: bool) -> Reading:
    if (word := _word(text)) is not None:
        return word
    if text in _SPEED_WORDS:
        return Reading(_SPEED_WORDS[text])
    if ":" in text:  # 'DE:urban': a rule of the country, which only in town is below what a tanker drives
        return Reading(_URBAN_KMH / KMH_PER_MPH) if text.endswith(":urban") else Reading(NO_LIMIT, known=False)
    split = _split(text)
    if split is None or split[2]:
        return _unreadable()
    number, unit, _ = split
    if not unit and bare_is_mph:
        return Reading(number, BARE, "taken as mph, the unit of signs there")
    if unit and unit not in _SPEED_UNITS:
        return _unreadable()
    return Reading(number * _SPEED_UNITS[unit or "km/h"])
