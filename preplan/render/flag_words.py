"""What is out of the common at an address, in plain sentences: each flag of a plan has one."""

from __future__ import annotations

import re
from dataclasses import replace

from preplan.months import month_words, months_of
from preplan.plan import Plan
from preplan.plan_tables import (
    BRIDGE_AT_SITE,
    DRY,
    FIRST_ALARM_IN,
    FIRST_CIRCUIT,
    LONG_DRIVEWAY,
    MORE_LATER,
    NO_SITE_IN,
    NO_WAY,
    NOT_THIS_WAY,
    ONLY_RATED,
    SECOND_CIRCUIT,
    SHUT_BEYOND,
    UNPOSTED,
    WATER_BETWEEN,
    Flag,
)
from preplan.render.words import FLOW, NOT_KNOWN, first_up, level_words, printable

_FLAGS = {
    "crosses above rating": "The way crosses {n}. Ask the owner before a loaded tanker crosses.",
    "empty only": "LOADED: not over {n}; empty only.",
    "not for later tanker": "NOT on this way: {n}.",
    "limit not known": "{n}.",
    "no margin": "NO MARGIN loaded on this way: {n}.",
    "no margin of size": "NO MARGIN on this way: {n}.",
    "rated below load": "LOADED: not over {n}.",
    "rated below empty": "LOADED or empty: not over {n}.",
    "rated below engine": "NOT for {n}.",
    "posted below load": "Loaded: not over {n}.",
    "posted below empty": "Loaded or empty: not over {n}.",
    "posted below engine": "Do not cross with {n}.",
    "posted below size": "Do not pass with {n}.",
    "gap": "Less water than is asked for: {n} in all.",
    DRY: "DRY, nothing flows at all: {n} in all.",
    "single fill site": "Only one fill site serves here: no backup.",
    "no backup": "No fill site stands in in {n}.",
    NOT_THIS_WAY: "{n}: NOT THIS WAY, {road} then.",
    SHUT_BEYOND: "In {n} engines may not get to the building, hose by hand: {road} past the dump site.",
    "seasonal": "The fill site works {n} only.",
    "hydrant near": "Hydrant {n} by road and driveway; not in the tankers' flow.",
    "dead end": "On a dead-end road: one way in and out.",
    "dump site at junction": "Tankers stop at a junction: {n} of the hose goes along the road.",
    "turn at dump site": "Tankers turn round at the dump site: {n} is assumed.",
    "turn at fill site": "Tankers turn round at the fill site.",
    "posted bridge avoided": "Goes round a weight, height or width, posted or rated: {n} longer.",
    ONLY_RATED: "Crossings of bridges without a posted weight on the round trip: {n}. Rated, not posted: "
    "no sign tells a driver.",
    UNPOSTED: "Crossings of bridges without a posted weight on the round trip: {n}. Unknown, not safe: "
    "ask their owners beforehand; on the night the officer decides.",
    "narrow road": "One truck wide for {n} of the round trip: two trucks cannot pass there. "
    "Waiting is not counted: EXPECT LESS.",
    "meeting on narrow road": "Loaded and empty tankers meet on {n} one truck wide, and no other way back is near: "
    "hold one until the other is through. Waiting is not counted: EXPECT LESS.",
    "one way traffic": "Loaded and empty tankers meet on a road one truck wide: loaded goes first, empties wait; "
    "or send {n}. Waiting is not counted: EXPECT LESS.",
    "circuits meet": "Loaded tankers of one circuit meet empties of the other on {n}, one truck wide: "
    "loaded goes first, empties wait off it. Waiting is not counted: EXPECT LESS.",
    "hose lay": "Near a fill site, {n}: the engines' hose may bring more than the tankers of a response level.",
    WATER_BETWEEN: "WATER is mapped between the road and the building: hose may not get across straight.",
    LONG_DRIVEWAY: "Long driveway: {n} of hose from the road; time to go up it is not counted.",
    "frontage uncertain": "Not on the road of its name: the nearest road, {n} away, was taken.",
    "two fill sites": "Tankers split over two fill sites: {n}.",
    "lower level fills elsewhere": "FROM THE FIRST ALARM ON FILL HERE, or this level does not hold. "
    "A lower level called alone fills elsewhere: {n}.",
    "source runs out": "The source holds {n}: at full draw it runs out before the end. The flow held allows for it.",
    "not tested": "The fill site's flow is not tested: the rate is assumed.",
    MORE_LATER: "Once the shuttle has built up it holds more: {n}.",
    "use not known": "What stands here is not known ({n}): a dwelling, the lightest hazard, was taken.",
    "assumed building": "No building size is known: a default building was used.",
    "not a building": "Not a building in the address table.",
    "left out": "Left out, since the flow is no less without: {n}.",
    "level short": "The response level asks for more units than can come: {n}.",
    "close": f"Close call: the {FLOW} is hardly above or below the required flow at {{n}}.",
    "off road data": "{n} from the nearest road that a tanker can use.",
    "barrier": "The road here lies behind a barrier: {n}.",
    "road cut off": "The mapped road here joins no road on which a loaded tanker comes from a fill site.",
    NO_SITE_IN: "No fill site is open in {n}.",
    "road closed": "No tanker gets here in {n}: {road} then.",
    "send with first alarm": "Send this response level with the first alarm.",
    FIRST_ALARM_IN: "In {n}: send this response level with the first alarm.",
    "sprinklered": "Sprinklered: the required flow is not lowered for it.",
    "out of service": "Out of service.",
    "turnaround assumed": "How tankers turn is assumed: {n}.",
    NO_WAY: "No way here for: {n}.",
    "shares its source": "Shares its water with: {n}.",
    BRIDGE_AT_SITE: "BRIDGE at the fill site, weight not posted: do not wait or fill on it.",
    "storage unknown": "How much water it holds is not known; taken as enough.",
}
SHORT = frozenset({"gap", DRY})
"""Flags of water that runs short, which hang on how units are called."""
EMPTY_ONLY = "empty only"
"""Flag of what empty tankers alone may cross."""
A_ROAD = "a road on the way is shut or posted"
"""Stands for what is shut, where it is not told."""
_TIGHT = frozenset({"limit not known", "no margin", "no margin of size"})
"""Flags of what a driver passes at his peril, which holds nobody off."""
ON_THE_WAY = frozenset({"crosses above rating", "empty only", "not for later tanker"}) | _TIGHT
"""Flags that a driver reads with the loaded leg."""
OFF_THE_WAY = frozenset({"rated below load", "rated below empty", "rated below engine"})
"""Flags that tell him what to keep off, though no sign does: the first to take care of."""
POSTED = frozenset({"posted below load", "posted below empty", "posted below engine", "posted below size"})
"""The same, of what a sign tells when he is there."""
LANES = frozenset({"meeting on narrow road", "one way traffic", "narrow road"})
_FIRST = (POSTED, LANES, frozenset({UNPOSTED, ONLY_RATED}))
"""Flags that stand before others in a list of what to take care of: what bars units, where trucks meet, what may be
too weak (this program's choice)."""
HOLDS_OFF = (ON_THE_WAY | OFF_THE_WAY) - _TIGHT
"""Of both, those that hold somebody off."""
GRAVE = ON_THE_WAY | OFF_THE_WAY | {NOT_THIS_WAY}
"""Flags that stand before all others wherever flags are listed: a tanker may be too heavy for its way."""
_NAMES_LEVELS = frozenset({"close", "lower level fills elsewhere"})
_NAMES_MONTHS = frozenset(
    {"seasonal", "no backup", "road closed", NO_SITE_IN, NOT_THIS_WAY, SHUT_BEYOND, FIRST_ALARM_IN}
)
_MONTH = r"\s*(?:[1-9]|1[0-2])\s*"
_SPANS = re.compile(rf"{_MONTH}(?:-{_MONTH})?(?:,{_MONTH}(?:-{_MONTH})?)*")
_FULL = {"min": "minutes", "mi": "miles", "lb": "lb", "ft": "ft", "gpm": "gpm", "gal": "gal"}


def flag_words(flag: Flag, road: str = A_ROAD) -> str:
    """Say a flag as a plain sentence; one without a sentence of its own prints as its code and number.

    `road` says which road is shut or posted, in a sentence that has room for it.

    >>> flag_words(Flag("long driveway", 640.0, "ft"))
    'Long driveway: 640 ft of hose from the road; time to go up it is not counted.'
    >>> flag_words(Flag("seasonal", "4-11"))
    'The fill site works April to November only.'
    >>> flag_words(Flag("new fact", 3.0, "min"))
    'New fact: 3 minutes.'
    >>> flag_words(Flag("dead end", circuit=SECOND_CIRCUIT))
    'Second circuit: On a dead-end road: one way in and out.'
    """
    if flag.circuit == SECOND_CIRCUIT:
        return f"Second circuit: {flag_words(replace(flag, circuit=FIRST_CIRCUIT), road)}"
    template = _FLAGS.get(flag.code)
    if template is not None and ("{n}" not in template or flag.value is not None):
        return template.replace("{n}", _flag_number(flag)).replace("{road}", road)
    said = first_up(printable(flag.code))
    return f"{said}: {_flag_number(flag)}." if flag.value is not None else f"{said}."


def _flag_number(flag: Flag) -> str:
    """Write a flag's number with its unit, or the months it names."""
    value = flag.value
    if value is None:
        return NOT_KNOWN
    if isinstance(value, str):
        if flag.code in _NAMES_MONTHS and _SPANS.fullmatch(value):
            return month_words(months_of(value))
        return ", ".join(map(level_words, flag.names or (value,))) if flag.code in _NAMES_LEVELS else printable(value)
    if flag.code == "close":
        return f"{100 * value:.0f} % of it"
    said = f"{value:,.0f}" if float(value).is_integer() else f"{value:,.1f}"
    unit = _FULL.get(flag.unit, printable(flag.unit))
    return f"{said} {unit}".strip()


def care_order(flag: Flag) -> int:
    """Sort flags in a list of what to take care of, the gravest first.

    >>> sorted(map(Flag, ("dead end", "unposted bridges", "posted below size")), key=care_order)[0].code
    'posted below size'
    """
    return next((rank for rank, codes in enumerate(_FIRST) if flag.code in codes), len(_FIRST))


def flags_on(plan: Plan, address: int, circuit: int) -> list[Flag]:
    """List the flags of an address that who drives one of its circuits must hear: its own, and those of the address."""
    return [flag for flag in plan.answers.flags[address] if flag.circuit in (0, circuit)]
