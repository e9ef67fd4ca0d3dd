"""What stands at an address of each occupancy, where nothing better is known: a table, not a judgement.

Occupancy words are those of emergency address points, the place types of the open address standards (RFC 4589,
from memory), the address types of the National Address Database, building tags and plain speech. A default building is
a careful size of its kind (this program's choice), with the hazard number and construction that NFPA 1142
gives such a use (examples in part from memory, unverified); where two numbers fit, the more hazardous. Of a text
that names two kinds the one counts that needs more: a store with a home above it is a store.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import numpy as np

from preplan.plan_tables import OccupancyCount
from preplan.records import AddressTable, BoolArray, text_array


@dataclass(frozen=True, slots=True)
class Occupancy:
    """One kind of place: its default building, or why there is none."""

    name: str
    """As the required_basis column prints it."""
    length_ft: float
    width_ft: float
    height_ft: float
    hazard: int
    """Occupancy hazard classification number, 3 to 7."""
    why: str
    """Why this size and hazard; '' where no building is expected, which has its own reason."""
    words: tuple[str, ...]
    """Occupancies in lower case; whole words, so 'barn' also finds 'accessory barn'."""
    dwelling: bool = False
    """One- or two-family dwelling: its construction number may be capped."""
    no_building: str = ""
    """Why no building is expected; '' where one is."""
    construction: str = "V"
    one_space: bool = False
    """One space from the ground to the roof, however high: no floors are counted in it."""

    @property
    def weight(self) -> float:
        """Compare what kinds need: volume by hazard and construction, as in the NFPA 1142 minimum supply."""
        return self.length_ft * self.width_ft * self.height_ft / self.hazard * (1.0 if self.dwelling else 1.5)


DWELLING = Occupancy(
    "dwelling", 50, 30, 20, 7,
    "dwellings are light hazard; two storeys of 1,500 sq ft, above the usual farmhouse or camp",
    ("single family dwelling", "single-family dwelling", "single family", "single family residence",
     "single family home", "dwelling", "house", "home", "residence", "residential", "seasonal home",
     "seasonal", "seasonal residence", "vacation home", "other residential", "duplex", "two family dwelling",
     "two family", "camp", "cabin", "cottage", "bungalow", "chalet", "detached", "semidetached house",
     "semi-detached", "terrace", "farm house", "farmhouse", "single", "sfr", "sfd", "primary", "primary residence",
     "primary structure", "guest house", "in-law apartment", "home office", "gated w/building", "structure", "building",
     "rooftop", "other", "unknown", "undetermined", "unclassified", "yes"),
    dwelling=True,
)  # fmt: skip
"""Also stands in for an empty or unknown occupancy."""

OCCUPANCIES = (
    Occupancy("farm", 60, 100, 25, 4,
              "commercial barns and stables are high hazard; the more hazardous of barn and farm storage",
              ("farm", "commercial farm", "residential farm", "farm or ranch", "ranch", "agricultural", "agriculture",
               "barn", "accessory barn", "farm auxiliary", "farm building", "cowshed", "stable", "stables", "sty",
               "silo", "dairy", "dairy farm", "poultry house", "chicken house", "poultry farm", "feed store", "hay",
               "hay barn", "riding hall", "equestrian", "livestock"), one_space=True),
    DWELLING,
    Occupancy("mobile home", 60, 28, 15, 7, "dwellings are light hazard; a double-wide home",
              ("mobile home", "manufactured home", "manufactured housing", "modular home", "static caravan", "trailer",
               "trailer home", "mobile home park", "trailer park", "single wide", "double wide", "singlewide",
               "doublewide"), dwelling=True),
    Occupancy("recreational vehicle", 40, 10, 12, 7, "a dwelling on wheels, one at a place",
              ("rv hookup", "rv hook-up", "rv", "rv site", "rv pad", "rv park", "recreational vehicle", "camper",
               "houseboat")),
    Occupancy("multi-family dwelling", 100, 40, 30, 7,
              "apartments are light hazard; not capped like a dwelling of one or two families",
              ("multi-family dwelling", "multi family dwelling", "multi-family", "multi family", "multifamily",
               "apartment", "apartments", "apartment building", "condominium", "condo", "condominiums", "dormitory",
               "town house", "townhouse", "townhome", "triplex", "fourplex", "quadplex", "barracks")),
    Occupancy("lodging", 100, 40, 25, 7, "hotels and motels are light hazard",
              ("lodging b&b / hotel / motel / inn", "lodging", "hotel", "motel", "inn", "hostel", "bed and breakfast",
               "bed & breakfast", "resort", "lodge")),
    Occupancy("accessory building", 30, 24, 16, 6, "parking garages are low hazard; a two-car garage with a loft",
              ("accessory building", "accessory", "accessory structure", "outbuilding", "out building", "shed",
               "garage", "garages", "carport", "hut", "temporary structure", "boathouse", "boat house", "workshop",
               "shop building", "secondary structure", "auxiliary building", "pole barn", "pole building")),
    Occupancy("unoccupied building", 50, 30, 20, 5, "unoccupied buildings are moderate hazard; a house's size",
              ("abandoned", "vacant", "vacant structure", "vacant building", "vacant house", "unoccupied", "ruins",
               "condemned", "uninhabitable")),
    Occupancy("sugarhouse", 40, 24, 20, 5, "a boiler house: moderate hazard, this program's choice",
              ("sugarhouse", "sugar house"), one_space=True),
    Occupancy("campground building", 40, 30, 15, 6, "a washroom or an office: low hazard, this program's choice",
              ("campground", "camp ground", "camp site", "campsite", "toilets", "restroom", "rest room", "bathhouse")),
    Occupancy("park building", 60, 40, 20, 6, "shelters and offices: low hazard like municipal buildings",
              ("state park", "park", "rest stop / roadside park", "rest area", "recreation", "recreational",
               "pavilion", "golf course", "visitor center", "ranger station", "outdoors"), one_space=True),
    Occupancy("commercial", 100, 60, 16, 5,
              "offices are light, restaurants moderate: the more hazardous; a store front on a rural road",
              ("commercial", "other commercial", "commercial w/residence", "mixed use", "multi use",
               "commercial construction service",
               "commercial building", "office", "office building", "restaurant", "cafe", "bar", "tavern", "brewery",
               "winery", "private and express shipping facility", "greenhouse / nursery", "greenhouse", "nursery",
               "bank", "laundry", "laundromat", "bakery", "business", "kennel", "salon", "funeral home", "mortuary",
               "classroom", "broadcast studio", "studio")),
    Occupancy("store", 100, 60, 16, 4, "mercantiles and department stores are high hazard",
              ("store", "retail", "retail facility", "retail store", "grocery store", "grocery", "supermarket",
               "convenience store", "hardware store", "shop", "mercantile", "kiosk", "shopping-area", "shopping area",
               "shopping center", "mall", "market")),
    Occupancy("gas station", 60, 40, 14, 6, "gas stations are low hazard",
              ("gas station", "fuel station", "service station", "filling station")),
    Occupancy("repair garage", 80, 60, 20, 4, "repair garages are high hazard",
              ("commercial garage", "town garage", "state garage", "repair garage", "auto repair", "highway garage",
               "maintenance facility", "hangar", "air support / maintenance facility", "airport", "transfer station",
               "bus-station", "bus station", "train-station", "train station", "public-transport"), one_space=True),
    Occupancy("storage", 100, 30, 10, 4, "what is stored is not known: high hazard like warehouses",
              ("storage units", "storage", "self storage", "self-storage", "mini storage", "storage facility")),
    Occupancy("warehouse or industry", 150, 80, 20, 4, "warehouses and freight terminals are high hazard",
              ("industrial", "industry", "manufacturing", "manufacturing facility", "factory", "warehouse",
               "distribution center", "freight terminal", "cold storage", "machine shop", "slaughterhouse",
               "junkyard", "salvage yard", "recycling center"), one_space=True),
    Occupancy("mill", 150, 80, 25, 3, "saw, feed and flour mills and chemical plants are severe hazard",
              ("lumber mill / saw mill", "saw mill", "sawmill", "lumber mill", "lumber yard", "feed mill",
               "grist mill", "flour mill", "grain elevator", "grain storage", "chemical plant", "refinery",
               "propane facility", "bulk plant", "fuel storage", "explosives"), one_space=True),
    Occupancy("government", 60, 50, 20, 6, "municipal buildings and post offices are low hazard",
              ("government", "governmental", "us government facility", "government building", "town office",
               "city / town hall", "town hall", "city hall", "courthouse", "post office", "border crossing",
               "border patrol", "public", "civic", "municipal", "police station", "police", "sheriff",
               "law enforcement", "library", "historic site / point of interest", "museum", "military", "armory")),
    Occupancy("fire station", 80, 60, 20, 7, "fire and police stations are light hazard",
              ("fire station", "fire department", "fire hall", "firehouse", "ems station", "rescue squad",
               "ambulance station", "emergency services"), one_space=True),
    Occupancy("school", 200, 100, 16, 7, "schools and colleges are light hazard",
              ("school k / 12", "school", "elementary school", "middle school", "high school", "educational",
               "education", "college", "university", "kindergarten", "day care", "daycare", "child care")),
    Occupancy("institution", 150, 60, 16, 7, "hospitals, nursing homes and prisons are light hazard",
              ("nursing home / long term care", "nursing home", "assisted living", "health clinic", "clinic",
               "medical", "medical facility", "health care", "hospital", "prison", "jail", "correctional facility",
               "institution", "institutional", "group home", "veterinary hospital / clinic", "residential care",
               "long term care")),
    Occupancy("house of worship", 80, 40, 30, 6, "churches are low hazard",
              ("house of worship", "place-of-worship", "place of worship", "church", "chapel", "mosque", "synagogue",
               "temple", "cathedral", "religious", "worship", "monastery"), one_space=True),
    Occupancy("place of assembly", 80, 50, 20, 4, "auditoriums and theaters are high hazard",
              ("public gathering", "community / recreation facility", "community center", "assembly", "auditorium",
               "theater", "theatre", "cultural", "club", "grange", "grange hall", "grandstand", "arena", "stadium",
               "convention-center", "convention center", "meeting hall", "event center", "fraternal", "fairgrounds"),
              one_space=True),
    Occupancy("utility building", 30, 24, 14, 5, "a pump or switch house: moderate hazard, this program's choice",
              ("utility", "utilities", "pump station", "pump house", "well house", "lift station",
               "wastewater treatment plant", "water treatment plant", "hydroelectric facility", "power plant",
               "transformer tower", "service", "water works"), one_space=True),
    Occupancy("not a building", 0, 0, 0, 7, "",
              ("utility pole w/phone", "utility pole", "public telephone", "pay phone", "call box", "communication box",
               "communication tower", "communications tower", "tower", "cell tower", "radio tower", "antenna",
               "meter", "electric meter", "billboard", "sign", "traffic signal", "mile marker"),
              no_building="a pole, box or tower"),
    Occupancy("not a building", 0, 0, 0, 7, "",
              ("helipad / heliport / helispot", "helipad", "heliport", "helispot", "landing zone", "airstrip"),
              no_building="a landing place"),
    Occupancy("not a building", 0, 0, 0, 7, "",
              ("boat ramp / dock", "boat ramp", "boat launch", "dock", "public beach", "beach", "trailhead",
               "trail head", "access point", "property access", "gate", "driveway", "park and ride",
               "park and ride / commuter lot", "parking lot", "parking", "bridge", "intersection", "street",
               "railroad crossing", "water"),
              no_building="an access or a place to park"),
    Occupancy("not a building", 0, 0, 0, 7, "",
              ("development site", "under construction", "construction", "gated w/o building", "lot", "empty lot",
               "vacant lot", "vacant land", "vacant parcel", "vacant property", "unimproved", "undeveloped", "land",
               "parcel", "field", "forest", "cemetery", "playground", "gravel pit / quarry / mine", "gravel pit",
               "quarry", "mine"), no_building="land without a building"),
    Occupancy("not a building", 0, 0, 0, 7, "",
              ("substation", "solar facility", "solar farm", "wind turbine", "wind farm", "water tank", "water tower",
               "tank", "dam", "hydrant", "fire hydrant", "dry hydrant", "well", "gas well", "oil well", "pipeline",
               "swimming pool"),
              no_building="an installation, not a building"),
)  # fmt: skip
"""Every kind of place the program knows, and the words that name it."""


VAGUE = frozenset({
    "other", "unknown", "undetermined", "unclassified", "yes", "structure", "building", "single", "primary",
    "seasonal", "rooftop", "residential", "service", "public", "bar", "market",
})  # fmt: skip
"""Words that decide only as the whole text: beside another word they say less than it ('storage structure')."""


_BY_HAZARD = frozenset({"nfpa1142", "iso"})
"""Methods of the required flow that ask what stands there."""
_MOST_UNKNOWN = 8
"""Unknown words that a note names."""


@cache
def _by_word() -> dict[str, Occupancy]:
    return {word: kind for kind in OCCUPANCIES for word in kind.words}


def occupancy_of(text: str) -> Occupancy:
    """Find the kind of place that an occupancy names.

    The whole text decides where the table knows it; else, of the table's words within it (never one of a place
    without a building: that takes the whole text), the kind that needs most; else, as for an empty text, a dwelling
    stands in.

    >>> occupancy_of("HOUSE OF WORSHIP").name, occupancy_of("Dairy barn, unused").name, occupancy_of("").name
    ('house of worship', 'farm', 'dwelling')
    >>> occupancy_of("store/residence").name, occupancy_of("farmhouse, white").name
    ('store', 'dwelling')
    """
    found = _words_in(_asked(text))
    return max((_by_word()[word] for word in found), key=lambda kind: (kind.weight, kind.name), default=DWELLING)


def _asked(text: str) -> str:
    return " ".join(text.lower().replace("_", " ").split())


def _words_in(asked: str) -> list[str]:
    """List the table's words that decide: the whole text alone where it is one, else those of buildings within it.

    Of words that overlap the longest counts: a `feed store` is no store, a `mobile home` no home.
    """
    known = _by_word()
    if asked in known:
        return [asked]
    return re.findall(_telling(), asked)


@cache
def _telling() -> re.Pattern[str]:
    """Match the words that decide within a text, the longest first."""
    telling = [word for word, kind in _by_word().items() if not kind.no_building and word not in VAGUE]
    return re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, sorted(telling, key=len, reverse=True)))})(?!\w)")


def is_unknown(text: str) -> bool:
    """Tell whether an occupancy is written, in words that the table does not know.

    >>> is_unknown("A117"), is_unknown("old barn"), is_unknown("")
    (True, False, False)
    """
    return bool(text.strip()) and not _words_in(_asked(text))


def guessed_use(addresses: AddressTable, method: str) -> BoolArray:
    """Mask the addresses, (addresses,), whose occupancy is not known and decides: nothing else says hazard or flow.

    An empty one is as little known as a word that the table lacks: the building may be a sawmill.
    """
    if method not in _BY_HAZARD:
        return np.zeros(len(addresses), dtype=np.bool_)
    unknown = [text for text in set(addresses.occupancy.tolist()) if not text.strip() or is_unknown(text)]
    given = np.isfinite(addresses.required_gpm) | np.isfinite(addresses.required_gal)
    decides = np.isnan(addresses.occupancy_hazard) & ~given
    return decides & np.isin(addresses.occupancy, text_array(unknown))


_KIND_REMEDY = "Write farm, store, school, church, warehouse or the like, or give occupancy_hazard, 3 to 7."


def unknown_notes(words: Iterable[str]) -> tuple[str, ...]:
    """Tell at how many rows a dwelling, the lightest hazard, stands in for no words or unknown ones."""
    counted = Counter(text.strip() for text in words)
    empty = counted.pop("", 0)
    said = (
        f"addresses, column occupancy: {empty:,} row{'s say' if empty > 1 else ' says'} nothing of what stands there, "
        "so that a dwelling, the lightest hazard, was taken: a store or a sawmill needs more. Is there a column that "
        f"tells, under another name? {_KIND_REMEDY}"
    )
    return (*([said] if empty else ()), *_unknown_words(counted))


def _unknown_words(counted: Counter[str]) -> tuple[str, ...]:
    """Tell which unknown words are taken as dwellings."""
    unknown = counted.most_common()
    if not unknown:
        return ()
    named = ", ".join(f"{text!r} ({count:,})" for text, count in unknown[:_MOST_UNKNOWN])
    more = f" and {len(unknown) - _MOST_UNKNOWN} more" if len(unknown) > _MOST_UNKNOWN else ""
    rows = sum(count for _, count in unknown)
    said = f"{rows:,} row{'s' * (rows > 1)} in words not known here, so that a dwelling, the lightest hazard, was taken"
    return (f"addresses, column occupancy: {said}: {named}{more}. {_KIND_REMEDY}",)


def tally(occupancies: Iterable[str]) -> tuple[OccupancyCount, ...]:
    """Count the kinds of place among the addresses' occupancies, the commonest first.

    >>> [(one.name, one.addresses, one.unsaid, one.unknown) for one in tally(["barn", "", "House", "barn", "xyz"])]
    [('dwelling', 3, 1, ('xyz',)), ('farm', 2, 0, ())]
    """
    counts: dict[str, int] = {}
    unsaid: dict[str, int] = {}
    unknown: dict[str, set[str]] = {}
    for text, count in sorted(Counter(occupancies).items()):
        name = occupancy_of(text).name
        counts[name] = counts.get(name, 0) + count
        if not text.strip():
            unsaid[name] = unsaid.get(name, 0) + count
        elif is_unknown(text):
            unknown.setdefault(name, set()).add(text)
    return tuple(
        OccupancyCount(
            name=name, addresses=count, unsaid=unsaid.get(name, 0), unknown=tuple(sorted(unknown.get(name, ())))
        )
        for name, count in sorted(counts.items(), key=lambda one: (-one[1], one[0]))
    )
