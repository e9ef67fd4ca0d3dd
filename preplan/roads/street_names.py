"""Street names as keys: two spellings of one street become one text, so that an address finds its road.

Sources: suffixes and directionals as `street_words` has them; secondary units, USPS Publication 28, Appendix C; ways
of writing numbered highways, its section on county, state and local highways, with the `ref` habits of the
OpenStreetMap wiki (United States roads tagging). Every word is brought to its abbreviation wherever it stands, on
both sides of a comparison: a key is for comparing and is never printed.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from functools import lru_cache

from preplan.plan import SearchWords
from preplan.street_words import DIRECTIONS, SUFFIX_OF

_ORDINALS = """
FIRST SECOND THIRD FOURTH FIFTH SIXTH SEVENTH EIGHTH NINTH TENTH ELEVENTH TWELFTH THIRTEENTH FOURTEENTH FIFTEENTH
SIXTEENTH SEVENTEENTH EIGHTEENTH NINETEENTH TWENTIETH
"""
_OTHER_WORDS = {"SAINT": "ST", "HARBOUR": "HBR"}
_UNITS = "APT APARTMENT BLDG BUILDING DEPT FL FLOOR HNGR HANGAR LOT OFC OFFICE PH RM ROOM SLIP SPC SPACE STE SUITE"
_UNITS += " TRLR TRAILER UNIT"
_STATES = """
AL=ALABAMA; AK=ALASKA; AZ=ARIZONA; AR=ARKANSAS; CA=CALIFORNIA; CO=COLORADO; CT=CONNECTICUT; DE=DELAWARE; FL=FLORIDA;
GA=GEORGIA; HI=HAWAII; ID=IDAHO; IL=ILLINOIS; IN=INDIANA; IA=IOWA; KS=KANSAS; KY=KENTUCKY; LA=LOUISIANA; ME=MAINE;
MD=MARYLAND; MA=MASSACHUSETTS; MI=MICHIGAN; MN=MINNESOTA; MS=MISSISSIPPI; MO=MISSOURI; MT=MONTANA; NE=NEBRASKA;
NV=NEVADA; NH=NEW HAMPSHIRE; NJ=NEW JERSEY; NM=NEW MEXICO; NY=NEW YORK; NC=NORTH CAROLINA; ND=NORTH DAKOTA; OH=OHIO;
OK=OKLAHOMA; OR=OREGON; PA=PENNSYLVANIA; PR=PUERTO RICO; RI=RHODE ISLAND; SC=SOUTH CAROLINA; SD=SOUTH DAKOTA;
TN=TENNESSEE; TX=TEXAS; UT=UTAH; VT=VERMONT; VA=VIRGINIA; VI=VIRGIN ISLANDS; WA=WASHINGTON; WV=WEST VIRGINIA;
WI=WISCONSIN; WY=WYOMING
"""
_OTHER_NAME_TAGS = ("alt_name", "old_name", "official_name", "loc_name", "name_1", "name_2", "old_ref")
"""Tags that name a road beside `name` and `ref` (OpenStreetMap wiki, Key:name)."""
_SHORTEST_MISSPELT = 6
"""Letters of the shortest name in which a misspelling is looked for (this program's careful choice)."""
_KIND = r"(?:ROUTE|RTE|RT|HIGHWAY|HWY|ROAD|RD)"
_ROUTE_CLASSES = {
    # class of the key: how it is written before the number
    "US": rf"(?:US|U S|UNITED STATES)(?: {_KIND})?",
    "I": r"(?:INTERSTATE|IH|I)(?: HIGHWAY| HWY)?",
    "CR": rf"(?:COUNTY|CNTY|CTY|CO) {_KIND}|COUNTY TRUNK HIGHWAY|CR|CTH",
    "SR": rf"(?:STATE|ST) {_KIND}|STATE TRUNK HIGHWAY|SR|SH|STH",
    "TR": rf"(?:TOWNSHIP|TOWN|TWP|TN) {_KIND}|TH|TR",
    "FR": rf"(?:NATIONAL FOREST|FOREST SERVICE|FOREST|USFS|NF|FS)(?: {_KIND})|FSR|NFR|FR|NF|FS",
    "FM": r"(?:FARM TO MARKET|FM)(?: ROAD| RD)?",
    "RM": r"(?:RANCH TO MARKET|RM)(?: ROAD| RD)?",
    "RTE": r"(?:ROUTE|RTE|RT|HIGHWAY|HWY)",
}
"""Class of a numbered road to the ways of writing it. RTE: a number whose class is not said."""


def _longest(short: str, short_of: Mapping[str, str]) -> str:
    """Give the word written out: the longest spelling, a plural only of a plural."""
    words = [word for word, of in short_of.items() if of == short]
    return max(words, key=lambda word: (short.endswith("S") or not word.endswith("S"), len(word)))


_STANDARD_SUFFIXES = frozenset(SUFFIX_OF.values())
_ENDS_A_NAME = frozenset(
    ("ST", "RD", "LN", "DR", "AVE", "CT", "CIR", "PL", "TER", "BLVD", "PIKE", "TPKE", "TRL", "WAY")
)
"""Kinds of street that stand at the end of a name and hardly ever within one (common sense, no source)."""
_STATE_OF = {name: code for code, name in (entry.strip().split("=") for entry in _STATES.split(";"))}
_STATE_CODES = frozenset(_STATE_OF.values())
_BLURRED_CLASSES = _STATE_CODES | {"SR", "US", "RTE"}
"""Classes that people leave out: 'Route 2' may be US 2, VT 2 or State Route 2."""
_ORDINAL_OF = {word: f"{n}{ {1: 'ST', 2: 'ND', 3: 'RD'}.get(n, 'TH') }" for n, word in enumerate(_ORDINALS.split(), 1)}
_WORD = {**SUFFIX_OF, **DIRECTIONS, **_ORDINAL_OF, **_OTHER_WORDS}
_LONG_DIRECTION = {short: long for long, short in DIRECTIONS.items()}
_LONG_WORD = {**{short: _longest(short, SUFFIX_OF) for short in _STANDARD_SUFFIXES}, **_LONG_DIRECTION}
_DIRECTION = "|".join([*DIRECTIONS, *_LONG_DIRECTION])
_STATE = "|".join([*_STATE_OF, *_STATE_CODES])
_PREFIX = "|".join(f"(?P<{name}>{pattern})" for name, pattern in _ROUTE_CLASSES.items())
_NUMBER = r"(?P<number>\d+)(?: (?P<spaced>[A-DF-MO-RT-VX-Z])|(?P<glued>[A-Z]))?"
_QUALIFIER = r"(?: (?P<qualifier>ALT|ALTERNATE|BUS|BUSINESS|BYP|BYPASS|SPUR|TRUCK|LOOP|EXT|EXTENSION))?"
_ROUTE = re.compile(
    rf"(?:(?:{_DIRECTION}) )?(?:{_PREFIX}|(?P<state>{_STATE})(?: STATE)?(?: {_KIND})?) "
    rf"{_NUMBER}{_QUALIFIER}(?: (?:{_DIRECTION}))?{_QUALIFIER.replace('qualifier', 'after')}"
)
_LETTER_ROUTE = re.compile(rf"(?:(?:COUNTY|CNTY|CTY|CO) {_KIND}|COUNTY TRUNK HIGHWAY|CTH) (?P<letter>[A-Z]{{1,2}})")
"""County roads are lettered in some states: 'County Road A'."""
_NO_ROUTE_ALONE = frozenset(
    ["ROAD", "RD", "ST", "TO", "TOWN", "TN", "CO", "AND", "NEW", "NORTH", "SOUTH", "WEST", "ISLAND", "ISLANDS"]
)
"""Words of numbered roads that stand before a house number too: 'MAIN ST 5' is no route 5."""
_LEADING_NUMBER = re.compile(r"(\d+)[A-Z]?(?: \d+/\d+| \d+[A-Z]?(?= \D))? (?=\S)")
_TRAILING_UNIT = re.compile(rf"(?<=\S) (?:(?:{'|'.join(_UNITS.split())}) (?:NO )?(?:[A-Z]?\d+[A-Z]?|[A-Z])|# ?\w+)$")


@lru_cache(maxsize=1 << 16)
def normalise(name: str) -> str:
    """Bring a street's name to its key; '' where nothing is left.

    Examples
    --------
    >>> normalise("North Main Street"), normalise("N. MAIN ST")
    ('N MAIN ST', 'N MAIN ST')
    >>> normalise("VT ROUTE 105"), normalise("Vermont Route 105"), normalise("VT 105")
    ('VT 105', 'VT 105', 'VT 105')
    >>> normalise("CO HWY 12"), normalise("Interstate 89 N")
    ('CR 12', 'I 89')
    """
    words = _clean(name).replace("#", " ").split()
    short = " ".join(_WORD.get(word, word) for word in words)
    return _route(" ".join(words)) or _route(short) or short


def address_street(street: str, number: int = -1) -> str:
    """Bring the street of an address to its key: its own house number, its unit and what follows a comma go.

    A leading number stays unless it is the address's own, for '10 MILE RD' is a name.

    Examples
    --------
    >>> address_street("343 Victory Rd Apt 2", 343), address_street("10 Mile Rd", 343)
    ('VICTORY RD', '10 MILE RD')
    """
    text = _clean(street.split(",", maxsplit=1)[0])
    leading = _LEADING_NUMBER.match(text)
    if leading and int(leading[1]) == number:
        text = text[leading.end() :]
    return normalise(_TRAILING_UNIT.sub("", text))


def road_keys(name: str, ref: str, tags: Mapping[str, str]) -> frozenset[str]:
    """Give every key of a road: its name, its other names and its numbers."""
    listed = ";".join([name, ref, *(tags.get(tag, "") for tag in _OTHER_NAME_TAGS)])
    return frozenset(filter(None, map(normalise, re.split("[;/]", listed))))


def loosen(key: str) -> str:
    """Blur a key for a second try where no road has it: class of a route, last suffix and spaces go.

    Examples
    --------
    >>> loosen("VT 105"), loosen("RTE 105")
    ('~105', '~105')
    >>> loosen("S SIDE RD"), loosen("SOUTHSIDE RD")
    ('~SOUTHSIDE', '~SOUTHSIDE')
    >>> loosen("HL TOP DR"), loosen("HILLTOP DR")
    ('~HILLTOP', '~HILLTOP')
    """
    words = key.split()
    if len(words) > 1 and words[1][0].isdigit() and words[0] in _BLURRED_CLASSES:
        return "~" + "".join(words[1:])
    if len(words) > 1 and words[-1] in _STANDARD_SUFFIXES:
        words = words[:-1]
    return "~" + "".join(_LONG_WORD.get(word, word) for word in words)


def before_town(key: str) -> str:
    """Take off what follows the kind of a street and is no direction: a town that no comma parts.

    Examples
    --------
    >>> before_town("HERON SHORE LN MILLRACE"), before_town("MAIN ST N"), before_town("HIGH ST EXT")
    ('HERON SHORE LN', 'MAIN ST N', 'HIGH ST EXT')
    """
    words = key.split()
    ends = [at for at, word in enumerate(words) if at and word in _ENDS_A_NAME]
    behind = words[ends[-1] + 1 :] if ends else []
    of_name = not behind or behind[0] in _STANDARD_SUFFIXES or behind[0] in DIRECTIONS.values()
    return key if of_name else " ".join(words[: ends[-1] + 1])


def misspellings(blurred: str) -> frozenset[str]:
    """Give the forms that two blurred keys share when one letter was missed, added, changed or swapped.

    Short keys and those with a number have none: there one letter makes another street.

    Examples
    --------
    >>> sorted(misspellings("~WENDEL") & misspellings("~WENDELL"))
    ['~WENDEL']
    >>> misspellings("~HALL")
    frozenset()
    """
    if len(blurred) <= _SHORTEST_MISSPELT or any(map(str.isdigit, blurred)):
        return frozenset()
    return frozenset({blurred, *(blurred[:at] + blurred[at + 1 :] for at in range(2, len(blurred)))})


def search_words() -> SearchWords:
    """Give what a search needs to read streets as the keys do: spellings, and the words of numbered roads.

    >>> search_words().short_of["ROAD"], search_words().short_of["NORTH"], "ROUTE" in search_words().before_number
    ('RD', 'N', True)
    """
    classes = set(re.findall("[A-Z]{2,}", " ".join(_ROUTE_CLASSES.values())))
    states = {word for name in _STATE_OF for word in name.split()}
    return SearchWords(short_of=_WORD, before_number=frozenset(classes | states | _STATE_CODES) - _NO_ROUTE_ALONE)


def _clean(text: str) -> str:
    """Upper case, accents off, apostrophes and full stops out, other marks to spaces; `#` and `/` stay."""
    plain = unicodedata.normalize("NFKD", text.upper())
    plain = "".join(mark for mark in plain.upper() if not unicodedata.combining(mark))
    plain = re.sub(r"['\u2019.]", "", plain).replace("&", " AND ")
    return " ".join(re.sub(r"[^\w#/]+|_", " ", plain).split())


def _route(plain: str) -> str:
    """Read a numbered highway as 'CLASS number'; '' where the words are no such thing."""
    match = _ROUTE.fullmatch(plain)
    if match:
        found = match.groupdict()
        state = found["state"]
        of = _STATE_OF.get(state, state) if state else next(c for c in _ROUTE_CLASSES if found[c])
        letter = found["glued"] or found["spaced"] or ""
        qualifier = found["qualifier"] or found["after"]
        return f"{of} {int(found['number'])}{letter}" + (f" {qualifier[:3]}" if qualifier else "")
    match = _LETTER_ROUTE.fullmatch(plain)
    return f"CR {match['letter']}" if match else ""
