"""Plain words and rounded numbers for every page: what is drawn where is decided elsewhere.

Rounding is careful: water supplied goes down, water needed goes up. A missing number prints as 'not known',
never as zero.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from functools import lru_cache

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_cards import CardGroup
from preplan.records import ALL_MONTHS, FillSite
from preplan.rules import District
from preplan.street_words import called
from preplan.units import FT_PER_MI

CAUTIONS = (
    "An estimate for planning. Confirm roads, bridges, water and access on the ground. "
    "The incident commander and local procedures decide."
)
"""Printed on every page."""
ROAD_CREDIT = "Road data: OpenStreetMap contributors, Open Database License (ODbL)."
"""The licence asks to be named wherever the roads are drawn."""
NOT_KNOWN = "not known"
FLOW = "uninterrupted flow"
"""What the pages hold against the required flow."""
FLOW_SHORT = "held"
"""The same behind a number of gpm."""
_CALLED = {
    "at dispatch": "all units alerted at once",
    "first alarm": "this level with the first alarm",
    "on arrival": "higher level called on arrival, minute {n}",
}
"""What a timeline strip shows, by how its units were called."""
CARD_STEP_GPM = 10.0
"""Flows on a card are rounded to this."""
LEAVE_A_LANE = "Leave a lane open: the width of the road here is not known."
ONE_LANE_HERE = "ONE LANE HERE: whoever dumps or turns blocks it. Find room off the road first."
"""What stands with the dump site: on a road that may be wide enough, and on one that is one truck wide."""
NEXT_PAGE = "the next page"
"""Where the cards' file says what had no room on a card."""

FAR_CROSS_MI = 0.25
"""A cross street so far away is told with its distance (this program's choice)."""
_TINY = 1e-6
_SHORT_MI = 0.1
_LEAST_MIN = 0.05  # less prints as none
_SURROGATES = (0xD800, 0xDFFF)
_LIMITS = {
    "tankers": "tankers: their number, size and trip",
    "fill site": "fill site: places and rate of filling",
    "source": "source: what the water itself gives",
    "dump site": "dump site: places and rate of dumping",
    "draft": "draft from the portable tank",
    "transfer": "transfer between portable tanks",
    "supply line": "supply line from dump site to building",
    "hose": "hose: not enough to reach the building",
    "engines": "engines: none left to pump where one must",
    "arrival": "arrival of the tankers",
    "room": "room in the portable tanks",
}
_METHODS = {
    "nfpa1142": "NFPA 1142 minimum supply", "iso": "ISO needed fire flow", "nfa": "the NFA quick formula",
    "iowa": "the Iowa rate", "given": "the value given",
}  # fmt: skip
_TOTALS = {"nfpa1142": "NFPA 1142 total", "iso": "ISO total", "nfa": "NFA total", "iowa": "Iowa total"}
"""What the gallons of a method are called on a card; of others they are the rate for its time."""


# --------------------------------------------------------------------------- numbers


def round_down(value: float, step: float = 1.0) -> float:
    """Round a supply down to a step; a millionth of a step is noise, not water.

    >>> round_down(249.9999999), round_down(247.0, 10.0)
    (250.0, 240.0)
    """
    return math.floor(value / step + _TINY) * step


def round_up(value: float, step: float = 1.0) -> float:
    """Round a need up to a step.

    >>> round_up(250.0000001), round_up(247.0, 10.0)
    (250.0, 250.0)
    """
    return math.ceil(value / step - _TINY) * step


def number(value: float | None, digits: int = 0) -> str:
    """Write a number with commas; 'not known' where it is missing or endless.

    >>> number(12345.6), number(float("nan")), number(7.25, 1)
    ('12,346', 'not known', '7.2')
    """
    if value is None or not math.isfinite(value):
        return NOT_KNOWN
    return f"{value:,.{digits}f}"


def _finite(value: float | None) -> bool:
    return value is not None and math.isfinite(value)


def supply(value: float | None, step: float = 1.0) -> str:
    """Write a supplied flow or volume, rounded down."""
    return number(round_down(value, step)) if value is not None and _finite(value) else NOT_KNOWN


def counted(count: int, thing: str) -> str:
    """Count things in words.

    >>> counted(1, "fill site"), counted(1200, "fill site"), counted(2, "address")
    ('1 fill site', '1,200 fill sites', '2 addresses')
    """
    return f"{count:,} {thing}{('es' if thing.endswith('s') else 's') * (count != 1)}"


def clearance(feet: float) -> str:
    """Write the height or width that may pass to a tenth of a foot, rounded down.

    >>> clearance(10.58), clearance(10.6)
    ('10.5', '10.6')
    """
    return number(math.floor(feet * 10.0 + 1e-6) / 10.0, 1)


def need(value: float | None, step: float = 1.0) -> str:
    """Write a required flow or volume, rounded up."""
    return number(round_up(value, step)) if value is not None and _finite(value) else NOT_KNOWN


def flow_pair(supplied_gpm: float, required_gpm: float) -> tuple[str, str]:
    """Write supplied and required flow for a card, to 10 gpm.

    Careful rounding may seem to deny a flow that meets; then both are written more finely.

    >>> flow_pair(247.0, 300.0), flow_pair(247.0, 243.0), flow_pair(float("nan"), 500.0)
    (('240', '300'), ('247', '243'), ('not known', '500'))
    """
    if not (_finite(supplied_gpm) and _finite(required_gpm)):
        return supply(supplied_gpm, CARD_STEP_GPM), need(required_gpm, CARD_STEP_GPM)
    meets = supplied_gpm >= required_gpm
    for step, digits in ((CARD_STEP_GPM, 0), (1.0, 0), (0.1, 1)):
        down, up = round_down(supplied_gpm, step), round_up(required_gpm, step)
        if (down >= up - _TINY) == meets:
            return number(down, digits), number(up, digits)
    return number(supplied_gpm, 2), number(required_gpm, 2)


def minutes(value: float | None) -> str:
    """Write minutes to 0.1.

    >>> minutes(4.0), minutes(0.02), minutes(None)
    ('4.0 min', 'under 0.1 min', 'not known')
    """
    if not _finite(value):
        return NOT_KNOWN
    return "under 0.1 min" if value is not None and 0.0 < value < _LEAST_MIN else f"{number(value, 1)} min"


def cross_street(group: CardGroup) -> str:
    """Name the cross street of a card, with its distance where that is long; '' where none is known."""
    far = f", {miles(group.cross_mi)}" if group.cross_mi >= FAR_CROSS_MI else ""
    return f"{printable(group.cross_street)}{far}" if group.cross_street else ""


def miles(value: float | None) -> str:
    """Write miles to 0.01."""
    return f"{number(value, 2)} mi" if _finite(value) else NOT_KNOWN


def way_length(length_mi: float) -> str:
    """Write how far to drive: miles to 0.01, and below a tenth of a mile feet to 10.

    >>> way_length(1.234), way_length(0.06), way_length(0.0004)
    ('1.23 mi', '320 ft', '10 ft')
    """
    if not math.isfinite(length_mi) or length_mi >= _SHORT_MI:
        return miles(length_mi)
    return f"{max(10.0, round(length_mi * FT_PER_MI / 10.0) * 10.0):.0f} ft"


def feet(value: float | None) -> str:
    """Write whole feet, rounded up: hose that reaches, never hose that almost does."""
    return f"{number(round_up(value))} ft" if value is not None and _finite(value) else NOT_KNOWN


def gallons(value: float | None) -> str:
    """Write whole gallons, rounded down."""
    return f"{supply(value)} gal" if _finite(value) else NOT_KNOWN


# --------------------------------------------------------------------------- text


def printable(text: object) -> str:
    r"""Make other people's text fit for print: one line, no control or direction characters, no half ones.

    >>> printable("a\tb\x00c \u202e d")
    'a b c d'
    """
    return _printable(str(text))


@lru_cache(maxsize=65_536)
def _printable(said: str) -> str:
    """Make one text fit; names come again on card after card."""
    if not said.isprintable():
        said = "".join(_fit_for_print(character) for character in said)
    return " ".join(said.split())


def _fit_for_print(character: str) -> str:
    if _SURROGATES[0] <= ord(character) <= _SURROGATES[1]:
        return "\ufffd"
    return character if character.isprintable() else " "


@lru_cache(maxsize=65_536)
def natural_key(text: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key by which '2nd Street' comes before '10th Street'.

    >>> sorted(["10th Street", "2nd Street", "Mill Road"], key=natural_key)
    ['2nd Street', '10th Street', 'Mill Road']
    """
    parts = re.findall(r"[0-9]{1,15}|[^0-9]+", text.casefold())
    return tuple((0, int(p), "") if p[0] in "0123456789" else (1, 0, p) for p in parts)


def coordinates(lon: float, lat: float) -> tuple[str, str]:
    """Write a place in degrees and decimal minutes, and in decimal degrees.

    >>> coordinates(-72.5125, 44.25)
    ("44° 15.000' N, 72° 30.750' W", '44.25000, -72.51250')
    """

    def one(value: float, ends: str) -> str:
        thousandths = round(abs(value) * 60_000)
        degrees, rest = divmod(thousandths, 60_000)
        return f"{degrees}° {rest / 1000:06.3f}' {ends[value < 0]}"

    return f"{one(lat, 'NS')}, {one(lon, 'EW')}", f"{lat:.5f}, {lon:.5f}"


def level_words(name: str) -> str:
    """Name a response level in full.

    >>> level_words("Level 2"), level_words("Box alarm")
    ('response level 2', 'response level Box alarm')
    """
    short = re.sub(r"^(response\s+)?level\s+", "", printable(name), flags=re.IGNORECASE)
    return f"response level {short}"


def data_words(district: District) -> str:
    """Say of which date the data is, and for which months alone the plan holds, as sentences."""
    months = district.rules.plan.months
    only = "" if {*ALL_MONTHS} <= {*months} else f" Planned for {month_words(months)} only."
    return f"{first_up(date_words(district.date))}.{only}"


def date_words(date: str) -> str:
    """Say of which date the data is.

    >>> date_words("2026-05-01"), date_words("")
    ('data of 2026-05-01', 'date of the data not known')
    """
    return f"data of {printable(date)}" if date else f"date of the data {NOT_KNOWN}"


def in_runs(numbers: Iterable[int]) -> list[list[int]]:
    """Part rising numbers into those that follow each other.

    >>> in_runs([3, 4, 7])
    [[3, 4], [7]]
    """
    runs: list[list[int]] = []
    for one in numbers:
        if runs and one == runs[-1][-1] + 1:
            runs[-1].append(one)
        else:
            runs.append([one])
    return runs


def first_up(text: str) -> str:
    """Begin a sentence with a capital letter."""
    return text[:1].upper() + text[1:]


def status_words(status: str, reach_ft: float) -> str:
    """Print a status; a hydrant always says how near, by the district's rule.

    >>> status_words("hydrant", 1000.0), status_words("not met", 1000.0)
    ('hydrant within 1,000 ft', 'not met')
    """
    return f"hydrant within {number(reach_ft)} ft" if status == "hydrant" else status


def limit_words(limited_by: str) -> str:
    """Say what holds the flow back; the term itself comes first."""
    return _LIMITS.get(limited_by, printable(limited_by)) or NOT_KNOWN


# --------------------------------------------------------------------------- fill sites


def site_words(plan: Plan, site: int) -> str:
    """Name a fill site with its number on the map."""
    return f"Fill site {site + 1}: {printable(plan.sites[site].name)}"


def twins_words(plan: Plan, site: int, used_too: int = -1) -> str:
    """Name the other fill sites of the same name, which crews may take for this one; '' where there is none.

    `used_too` is one at which some of the tankers fill as well.
    """
    name = plan.sites[site].name.casefold()
    same = [
        str(at + 1)
        for at, other in enumerate(plan.sites)
        if at not in {site, used_too} and other.name.casefold() == name
    ]
    return f"fill site{'s' * (len(same) > 1)} {' and '.join(same)} of the same name" if same else ""


def road_words(plan: Plan, segment: int) -> str:
    """Name a stretch's road: its name, else its number, else ''."""
    return road_name(plan.roads.name[segment], plan.roads.ref[segment])


def road_name(name: str, ref: str = "") -> str:
    """Call a road in print by its name, else by its number, else ''."""
    return called(printable(name), printable(ref))


def inventory_words(plan: Plan, segment: int) -> str:
    """Say what the bridge inventory knows of a stretch of bridge, '' where nothing; a rating is never a posting."""
    row = int(plan.bridge_row[segment])
    if row < 0:
        return ""
    table = plan.bridges
    rated = float(table.operating_lb[row])
    crosses = printable(table.crosses[row])
    said = [
        f"over {crosses}" if crosses else "",
        printable(table.owner[row]),
        f"operating rating {supply(rated)} lb" if rated > 0.0 else "" if rated == 0.0 else "not rated",
        printable(table.posting[row]),
        f"structure {printable(table.bridge_id[row])}",
        "" if plan.bridge_named[segment] else "found by its place alone",
    ]
    return "; ".join(filter(None, said))


def rate_words(site: FillSite) -> str:
    """Say a site's rate into one tanker, and whether it was measured; where the site gives less, that alone flows."""
    rate = f"{supply(site.fill_gpm)} gpm"
    if not site.fill_gpm_given:
        said = f"{rate}, not tested: assumed rate"
    else:
        said = f"{rate}, tested {printable(site.tested)}" if site.tested else f"{rate} as given, no test date"
    if site.total_gpm >= site.fill_gpm:
        return said
    return f"{supply(site.total_gpm)} gpm, all that the site gives (its connection: {said})"


def lift_words(site: FillSite) -> str:
    """Say how high a pump lifts the water at a site, and whether the table says so."""
    return f"lift {site.lift_ft:g} ft{'' if site.lift_given else ' assumed'}"


def places_words(site: FillSite) -> str:
    """Say how many tankers fill at once, and what the site gives in all where that is less than all of them take."""
    said = f"{site.positions} place{'s' * (site.positions != 1)} to fill"
    if site.total_gpm >= site.positions * site.fill_gpm:
        return said
    return f"{said}, {supply(site.total_gpm)} gpm in all"


def hydrant_words(plan: Plan, address: int) -> tuple[str, str]:
    """Name the hydrant that counts for an address, and say what for: and what it gives, if that is more or a guess."""
    row = int(plan.near_hydrant.hydrant[address])
    counts = supply(float(plan.near_hydrant.credited_gpm[address]))
    gives = supply(float(plan.hydrants.flow_gpm[row]))
    more = " ".join(filter(None, [f"own {gives}" * (gives != counts), plan.hydrants.doubt(row)]))
    return printable(plan.hydrants.hydrant_id[row]), f"counts for {counts} gpm" + (f" ({more})" if more else "")


_MOST_LASTING_MIN = 720.0
"""Who pumps for half a day looks at the water himself."""


def lasting(minutes: float) -> str:
    """Write how long too little flows: whole minutes up, since nothing here is known to a tenth of a minute.

    >>> lasting(0.1), lasting(1.0), lasting(32.1)
    ('under a minute', '1 min', '33 min')
    """
    return "under a minute" if minutes < 1.0 else f"{need(minutes)} min"


def lasting_words(site: FillSite, flow_gpm: float = math.nan, empty: str = "") -> str:
    """Say how long a steady flow lasts where the source holds little, and what comes then; '' where nobody knows.

    The store is drawn on from the first load, so most of it may be gone before the required time is over. The minutes
    are those at a flow, rounded down; where the timeline knows when it is `empty`, that is told.
    """
    if site.storage_gal is None:
        return ""
    refill = site.refill_gpm or 0.0
    lasts_min = site.storage_gal / (flow_gpm - refill) if flow_gpm > refill else math.nan
    about = f" (about {number(lasts_min // 5 * 5)} min at that flow)" if 5.0 <= lasts_min < _MOST_LASTING_MIN else ""
    return f" while the source's {gallons(site.storage_gal)} last{empty or about}, then {supply(refill)} gpm"


def empty_words(dry_min: float, end_min: float) -> str:
    """Say about when a source is empty, or that it is not before the timeline's end, rounded down, behind a blank.

    >>> empty_words(61.0, 145.0), empty_words(math.inf, 145.0), empty_words(math.inf, math.inf)
    (' (about minute 60)', ' (past minute 145)', '')
    """
    known = min(dry_min, end_min)
    when = "about" if dry_min <= end_min else "past"
    return f" ({when} minute {number(known // 5 * 5)})" if math.isfinite(known) else ""


def both_lasting_words(sites: Mapping[int, FillSite], empty: Mapping[int, str]) -> str:
    """Say of two fill sites, by number, what their stores hold and what each gives after that; '' for none.

    How they share the flow is not told, so only the timeline knows about when one is `empty`.
    """
    stores = [
        f"fill site {at}'s {gallons(site.storage_gal)} last{empty.get(at, '')}, "
        f"then {supply(site.refill_gpm or 0.0)} gpm from it"
        for at, site in sites.items()
        if site.storage_gal is not None
    ]
    return f" while {' and '.join(stores)}" if stores else ""


def turn_words(site: FillSite) -> str:
    """Say how a tanker turns at a fill site, and whether that is assumed."""
    said = {"through": "drive through", "loop": "loop", "back": "back in"}.get(site.turnaround, site.turnaround)
    return printable(said) if site.turnaround_given else f"{printable(said)} (assumed)"


# --------------------------------------------------------------------------- one address of a plan


def where_words(plan: Plan, address: int) -> str:
    """Name an address: its label, else its id."""
    return printable(plan.addresses.label[address]) or printable(plan.addresses.address_id[address])


def called_words(plan: Plan, first_arrival_min: float, called: str) -> str:
    """Say what a timeline strip shows, and how its units were called; see `Strip.called`."""
    sized_up = first_arrival_min + plan.district.rules.shuttle.size_up_min
    return f"Minutes after the alarm; {_CALLED[called].replace('{n}', need(sized_up))}."


def basis_words(basis: str) -> str:
    """Say a requirement's basis, `method:size source`, in words.

    >>> basis_words("nfpa1142:default dwelling")
    'by NFPA 1142 minimum supply; no size is known: a default dwelling stands in'
    >>> basis_words("given:table, gal = gpm x 120 min")
    'as the address table gives the rate; gallons: that rate for 120 min'
    """
    method, _, size = printable(basis).partition(":")
    if method == "given":
        return _given_words(size)
    by = f"by {_METHODS.get(method, method) or NOT_KNOWN}"
    if size.startswith("default "):
        return f"{by}; no size is known: a {size} stands in"
    known = {
        "table": f"{by}; size from the address table",
        "footprint": f"{by}; size from the footprint in the map data",
        "not a building": f"{by}: not a building in the address table, so the least it asks",
    }
    return known.get(size, f"{by}; size from {size}" if size else by)


def total_words(basis: str) -> str:
    """Name the total of gallons behind a requirement's basis.

    >>> total_words("nfpa1142:default dwelling"), total_words("given:table")
    ('NFPA 1142 total', 'In all')
    """
    return _TOTALS.get(printable(basis).partition(":")[0], "In all")


def _given_words(size: str) -> str:
    """Say what stands behind a given requirement."""
    known = {
        "table": "as the address table gives it",
        "district default": "as the district's default gives it",
        "table, gpm by nfpa1142 steps of gal": (
            "gallons as the address table gives them; the rate by the steps of NFPA 1142"
        ),
        "not a building": "as the district's default gives it; not a building in the address table",
    }
    held = re.fullmatch(r"table, gal = gpm x (.+) min", size)
    if held:
        return f"as the address table gives the rate; gallons: that rate for {held[1]} min"
    return known.get(size, f"as given: {size}" if size else "as given")
