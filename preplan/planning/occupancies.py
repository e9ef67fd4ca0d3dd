"""What stands at an address of each occupancy, where nothing better is known: a table, not a judgement.

Occupancy words are those of emergency address points, building tags and plain speech. A default building is
a careful size of its kind (this program's choice), with the hazard number and construction that NFPA 1142
gives such a use (examples in part from memory, unverified); where two numbers fit, the more hazardous.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache


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
    words: tuple[str, ...]
    """Occupancies in lower case; whole words, so 'barn' also finds 'accessory barn'."""
    dwelling: bool = False
    """One- or two-family dwelling: its construction number may be capped."""
    no_building: str = ""
    """Why no building is expected; '' where one is."""
    construction: str = "V"


DWELLING = Occupancy(
    "dwelling", 50, 30, 20, 7,
    ("single family dwelling", "single-family dwelling", "dwelling", "house", "home", "residence", "residential",
     "seasonal home", "other residential", "duplex", "two family dwelling", "camp", "cabin", "cottage", "bungalow",
     "detached", "semidetached house", "terrace", "farm house", "farmhouse", "gated w/building", "other",
     "unknown", "yes"),
    dwelling=True,
)  # fmt: skip
"""Also stands in for an empty or unknown occupancy."""

OCCUPANCIES = (
    Occupancy("farm", 60, 100, 25, 4,
              ("farm", "commercial farm", "residential farm", "agricultural", "barn", "accessory barn",
               "farm auxiliary", "cowshed", "stable", "stables", "sty", "silo", "dairy", "feed store", "hay")),
    DWELLING,
    Occupancy("mobile home", 60, 28, 15, 7,
              ("mobile home", "manufactured home", "static caravan", "trailer", "trailer home"), dwelling=True),
    Occupancy("recreational vehicle", 40, 10, 12, 7,
              ("rv hookup", "rv hook-up", "rv", "recreational vehicle", "houseboat")),
    Occupancy("multi-family dwelling", 100, 40, 30, 7,
              ("multi-family dwelling", "multi family dwelling", "multifamily", "apartment", "apartments",
               "condominium", "dormitory", "town house", "townhouse")),
    Occupancy("lodging", 100, 40, 25, 7,
              ("lodging b&b / hotel / motel / inn", "lodging", "hotel", "motel", "inn", "hostel", "bed and breakfast")),
    Occupancy("accessory building", 30, 24, 16, 6,
              ("accessory building", "accessory", "outbuilding", "shed", "garage", "garages", "carport", "hut",
               "temporary structure", "boathouse", "workshop")),
    Occupancy("unoccupied building", 50, 30, 20, 5, ("abandoned", "vacant", "unoccupied", "ruins")),
    Occupancy("sugarhouse", 40, 24, 20, 5, ("sugarhouse", "sugar house")),
    Occupancy("campground building", 40, 30, 15, 6, ("campground", "camp site", "campsite", "toilets")),
    Occupancy("park building", 60, 40, 20, 6, ("state park", "park", "rest stop / roadside park", "recreation")),
    Occupancy("commercial", 100, 60, 16, 5,
              ("commercial", "other commercial", "commercial w/residence", "commercial construction service", "office",
               "office building", "restaurant", "private and express shipping facility", "greenhouse / nursery",
               "greenhouse", "bank", "laundry", "bakery", "business")),
    Occupancy("store", 100, 60, 16, 4,
              ("store", "retail", "retail facility", "grocery store", "supermarket", "shop", "mercantile", "kiosk")),
    Occupancy("gas station", 60, 40, 14, 6, ("gas station", "fuel station", "service station")),
    Occupancy("repair garage", 80, 60, 20, 4,
              ("commercial garage", "town garage", "state garage", "repair garage", "auto repair", "hangar",
               "air support / maintenance facility", "airport", "transfer station")),
    Occupancy("storage", 100, 30, 10, 4, ("storage units", "storage", "self storage")),
    Occupancy("warehouse or industry", 150, 80, 20, 4,
              ("industrial", "industry", "manufacturing", "manufacturing facility", "factory", "warehouse",
               "freight terminal")),
    Occupancy("mill", 150, 80, 25, 3,
              ("lumber mill / saw mill", "saw mill", "sawmill", "lumber mill", "feed mill", "grist mill", "flour mill",
               "chemical plant")),
    Occupancy("government", 60, 50, 20, 6,
              ("government", "us government facility", "town office", "city / town hall", "town hall", "post office",
               "border crossing", "border patrol", "public", "civic", "municipal", "police station", "library",
               "historic site / point of interest", "museum")),
    Occupancy("fire station", 80, 60, 20, 7, ("fire station", "ems station", "rescue squad")),
    Occupancy("school", 200, 100, 16, 7,
              ("school k / 12", "school", "educational", "college", "university", "kindergarten", "day care")),
    Occupancy("institution", 150, 60, 16, 7,
              ("nursing home / long term care", "nursing home", "health clinic", "clinic", "hospital", "prison",
               "veterinary hospital / clinic", "residential care", "long term care")),
    Occupancy("house of worship", 80, 40, 30, 6,
              ("house of worship", "church", "chapel", "mosque", "synagogue", "temple", "cathedral")),
    Occupancy("place of assembly", 80, 50, 20, 4,
              ("public gathering", "community / recreation facility", "community center", "auditorium", "theater",
               "cultural", "club", "grange", "grandstand")),
    Occupancy("utility building", 30, 24, 14, 5,
              ("utility", "pump station", "wastewater treatment plant", "hydroelectric facility", "transformer tower",
               "service", "water works")),
    Occupancy("not a building", 0, 0, 0, 7,
              ("utility pole w/phone", "utility pole", "public telephone", "communication box", "communication tower",
               "tower"), no_building="a pole, box or tower"),
    Occupancy("not a building", 0, 0, 0, 7,
              ("helipad / heliport / helispot", "helipad", "heliport", "helispot", "landing zone"),
              no_building="a landing place"),
    Occupancy("not a building", 0, 0, 0, 7,
              ("boat ramp / dock", "boat ramp", "dock", "public beach", "beach", "trailhead", "access point",
               "park and ride", "park and ride / commuter lot", "parking lot", "parking"),
              no_building="an access or a place to park"),
    Occupancy("not a building", 0, 0, 0, 7,
              ("development site", "gated w/o building", "lot", "vacant lot", "vacant land", "land", "cemetery",
               "gravel pit / quarry / mine", "gravel pit", "quarry", "mine"), no_building="land without a building"),
    Occupancy("not a building", 0, 0, 0, 7,
              ("substation", "solar facility", "solar farm", "wind turbine", "water tank", "tank", "dam", "hydrant"),
              no_building="an installation, not a building"),
)  # fmt: skip
"""Every kind of place the program knows, and the words that name it."""


@cache
def _by_word() -> dict[str, Occupancy]:
    return {word: kind for kind in OCCUPANCIES for word in kind.words}


def occupancy_of(text: str) -> Occupancy:
    """Find the kind of place that an occupancy names.

    The whole text decides where the table knows it; else the longest of the table's words within it (never one
    of a place without a building: that takes the whole text); else, as for an empty text, a dwelling stands in.

    >>> occupancy_of("HOUSE OF WORSHIP").name, occupancy_of("Dairy barn, unused").name, occupancy_of("").name
    ('house of worship', 'farm', 'dwelling')
    """
    asked = " ".join(text.lower().replace("_", " ").split())
    known = _by_word()
    if asked in known:
        return known[asked]
    found = [
        w for w, kind in known.items() if not kind.no_building and re.search(rf"(?<!\w){re.escape(w)}(?!\w)", asked)
    ]
    return known[max(found, key=lambda w: (len(w), w))] if found else DWELLING
