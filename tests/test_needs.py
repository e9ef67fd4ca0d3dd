"""Which building stands at an address, and what it needs: small places drawn in feet."""

from __future__ import annotations

import csv
from typing import Any

import numpy as np
import pytest

from preplan.planning.needs import needs_of
from preplan.planning.occupancies import DWELLING, OCCUPANCIES, occupancy_of
from preplan.records import AddressTable, FeatureTable, FloatArray, text_array
from preplan.roads.projection import projection_of
from preplan.rules import RequiredFlowRules
from preplan.units import M_PER_FT
from tests.shared_data import shared

RULES = RequiredFlowRules()
_PLACE = projection_of(np.array([-75.0]), np.array([44.0]))  # middle of a zone: feet drawn are feet on the ground
_ORIGIN = [float(v[0]) for v in _PLACE.forward(np.array([-75.0]), np.array([44.0]))]


def lonlat(points_ft: list[tuple[float, float]]) -> FloatArray:
    """Place points drawn in feet east and north of the middle of the map."""
    drawn = np.array(points_ft, dtype=np.float64) * M_PER_FT
    return np.column_stack(_PLACE.inverse(drawn[:, 0] + _ORIGIN[0], drawn[:, 1] + _ORIGIN[1]))


def box(east: float, north: float, length: float, width: float) -> FloatArray:
    """Draw a building with its south-west corner there."""
    corners = [(0.0, 0.0), (length, 0.0), (length, width), (0.0, width), (0.0, 0.0)]
    return lonlat([(east + e, north + n) for e, n in corners])


def addresses(points_ft: list[tuple[float, float]], **columns: Any) -> AddressTable:
    """Make a table that knows nothing but where its addresses are, and the columns given."""
    n = len(points_ft)
    where = lonlat(points_ft)
    blank: dict[str, Any] = {
        name: np.full(n, np.nan)
        for name in (
            "length_ft", "width_ft", "height_ft", "floor_area_sqft", "stories", "occupancy_hazard", "exposure",
            "sprinklered", "required_gpm", "required_gal", "driveway_ft",
        )
    }  # fmt: skip
    texts: dict[str, Any] = {name: text_array([""] * n) for name in ("label", "street", "occupancy", "construction")}
    given: dict[str, Any] = {
        name: text_array(values) if isinstance(values[0], str) else np.array(values, dtype=np.float64)
        for name, values in columns.items()
    }
    numbers: dict[str, Any] = {"number": np.full(n, -1, dtype=np.int32), "row": np.arange(2, n + 2, dtype=np.int32)}
    ids = text_array([f"A{i}" for i in range(n)])
    return AddressTable(**{**blank, **texts, **numbers, **given}, address_id=ids, lon=where[:, 0], lat=where[:, 1])


def plan(table: AddressTable, *rings: FloatArray, rules: RequiredFlowRules = RULES) -> Any:
    return needs_of(table, FeatureTable(building_rings=rings), rules)


# ------------------------------------------------------------------ the size


def test_default_dwelling() -> None:
    """Nothing known: 50 x 30 x 20 ft, hazard 7, capped: 4,286 gal at 500 gpm, and it says so."""
    need = plan(addresses([(0, 0)]))
    assert need.required_gal[0] == pytest.approx(30000 / 7)
    assert (need.required_gpm[0], need.required_min[0]) == (500.0, 120.0)
    assert need.basis[0] == "nfpa1142:default dwelling"
    assert need.assumed.tolist() == [True]


def test_table_wins_over_footprint() -> None:
    """Length and width of the row decide; a missing height comes from the storeys, 10 ft each."""
    table = addresses([(10, 10)], length_ft=[40.0], width_ft=[35.0], stories=[3.0])
    need = plan(table, box(0, 0, 100, 100))
    assert need.required_gal[0] == pytest.approx(40 * 35 * 30 / 7)
    assert need.basis[0] == "nfpa1142:table"
    assert not need.assumed[0]


def test_floor_area_is_of_all_storeys() -> None:
    """2,800 ft2 on two storeys is 1,400 ft2 of ground, 20 ft high; without storeys it is one floor."""
    need = plan(addresses([(0, 0), (9000, 0)], floor_area_sqft=[2800.0, 2800.0], stories=[2.0, np.nan]))
    assert need.required_gal.tolist() == pytest.approx([1400 * 20 / 7, 2800 * 20 / 7])
    assert need.basis.tolist() == ["nfpa1142:table"] * 2


def test_a_side_that_stands_alone_is_not_lost() -> None:
    """With the floor area it gives the other side; without, the building is at least so long."""
    table = addresses([(0, 0), (9000, 0), (18000, 0), (27010, 15)], length_ft=[400.0, np.nan, 400.0, np.nan],
                      width_ft=[np.nan, 90.0, np.nan, 45.0], floor_area_sqft=[20000.0, np.nan, np.nan, np.nan],
                      stories=[2.0, 2.0, 2.0, 2.0])  # fmt: skip
    need = plan(table, box(27000, 0, 60, 30))
    volume = [400 * 25 * 20, 50 * 90 * 20, 400 * 30 * 20, 60 * 45 * 20]
    assert need.required_gal.tolist() == pytest.approx([one / 7 for one in volume], rel=2e-3)
    assert need.basis.tolist() == [f"nfpa1142:{of}" for of in ("table", *["default dwelling"] * 2, "footprint")]


def test_half_a_storey_is_no_building_of_five_feet() -> None:
    need = plan(addresses([(0, 0), (9000, 0)], stories=[0.5, 1.0]))
    assert need.required_gal[0] == need.required_gal[1] == pytest.approx(50 * 30 * 10 / 7)


@pytest.mark.parametrize(
    ("columns", "floors"),
    [
        ({}, 2), ({"stories": [1.0]}, 1), ({"height_ft": [35.0]}, 3), ({"occupancy": ["barn"]}, 1),
        ({"occupancy": ["apartments"]}, 3), ({"occupancy": ["hotel"], "height_ft": [40.0]}, 4),
        ({"floor_area_sqft": [1500.0]}, 1), ({"length_ft": [50.0], "width_ft": [30.0], "height_ft": [9.0]}, 1),
    ],
)  # fmt: skip
def test_floors_that_no_table_gives_are_as_high_as_ten_feet(columns: dict[str, Any], floors: int) -> None:
    """The NFA formula asks for every floor; the default dwelling has two, and was reckoned with one.

    A barn is one space to its roof; a floor area whose storeys nobody knows is one floor.
    """
    table = addresses([(0, 0)], **columns)
    need = plan(table, rules=RequiredFlowRules(method="nfa"))
    kind = occupancy_of(str(table.occupancy[0]))
    assert need.required_gpm[0] == pytest.approx(kind.length_ft * kind.width_ft / 3 * floors)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("Store/Residence", "store"), ("HOME/STORE", "store"), ("Residence with barn", "farm"), ("barn/house", "farm"),
        ("Sawmill, residence", "mill"), ("Dwelling w/ sawmill", "mill"), ("Residence/Mixed use", "commercial"),
        ("mixed use", "commercial"), ("club house", "place of assembly"), ("farmhouse, white", "dwelling"),
        ("old mobile home", "mobile home"), ("Pine mobile home park", "mobile home"), ("school garage", "school"),
        ("House, detached garage", "dwelling"), ("home office upstairs", "dwelling"),
    ],
)  # fmt: skip
def test_of_two_kinds_in_one_text_the_one_counts_that_needs_more(text: str, kind: str) -> None:
    """The longest word decided: a store with a home above it was a dwelling, the lightest hazard."""
    assert occupancy_of(text).name == kind


def test_footprint_of_any_angle() -> None:
    """A building turned on its corner is measured along its own sides."""
    turned = lonlat([(0, 0), (60, 60), (30, 90), (-30, 30), (0, 0)])
    need = plan(addresses([(15, 45)]), turned)
    assert need.required_gal[0] == pytest.approx(60 * np.sqrt(2) * 30 * np.sqrt(2) * 20 / 7, rel=2e-3)
    assert need.basis[0] == "nfpa1142:footprint"


def test_largest_footprint_that_is_nearer_to_no_other_address() -> None:
    """The barn belongs to the farm next door, the shed is too small, a mansion out of reach stays out."""
    table = addresses([(0, 0), (400, 0)])
    barn = box(250, 0, 100, 100)
    house, shed, mansion = box(20, 0, 50, 40), box(-20, 0, 9, 9), box(-600, 0, 200, 200)
    need = plan(table, barn, house, shed, mansion)
    assert need.required_gal.tolist() == pytest.approx([50 * 40 * 20 / 7, 100 * 100 * 20 / 7], rel=2e-3)
    assert need.basis.tolist() == ["nfpa1142:footprint"] * 2


def test_two_addresses_in_one_building_share_it() -> None:
    """At equal distance neither is nearer."""
    need = plan(addresses([(10, 10), (40, 10)]), box(0, 0, 60, 30))
    assert need.basis.tolist() == ["nfpa1142:footprint"] * 2


def test_crossed_rings_do_not_stop_the_plan() -> None:
    """A ring that crosses itself is taken by its hull; a ring of two points is passed over."""
    bow_tie = lonlat([(0, 0), (60, 30), (60, 0), (0, 30), (0, 0)])
    need = plan(addresses([(30, 15)]), bow_tie, lonlat([(0, 0), (1, 1)]))
    assert need.required_gal[0] == pytest.approx(60 * 30 * 20 / 7, rel=2e-3)


# ------------------------------------------------------------------ exposure


@pytest.mark.parametrize(
    ("gap_ft", "side_ft", "exposed"), [(40, 20, True), (60, 20, False), (40, 8, False)], ids=["near", "far", "small"]
)
def test_exposure_from_footprints(gap_ft: float, side_ft: float, *, exposed: bool) -> None:
    """Another building within 50 ft and of at least 100 ft2 multiplies the supply by 1.5."""
    need = plan(addresses([(25, 15)]), box(0, 0, 50, 30), box(50 + gap_ft, 0, side_ft, side_ft))
    assert need.required_gal[0] == pytest.approx(50 * 30 * 20 / 7 * (1.5 if exposed else 1.0), rel=2e-3)


def test_severe_hazard_counts_small_neighbours() -> None:
    """At hazard 3 and 4 a neighbour of any size is an exposure (NFPA 1142 4.1.5)."""
    table = addresses([(25, 15)], occupancy_hazard=[4.0], construction=["II"])
    need = plan(table, box(0, 0, 50, 30), box(90, 0, 8, 8))
    assert need.required_gal[0] == pytest.approx(30000 / 4 * 0.75 * 1.5, rel=2e-3)


def test_exposure_of_the_table_wins() -> None:
    """Yes and no of the row stand against the footprints."""
    table = addresses([(25, 15), (2000, 0)], exposure=[0.0, 1.0])
    need = plan(table, box(0, 0, 50, 30), box(60, 0, 50, 30))
    assert need.required_gal[0] == pytest.approx(30000 / 7, rel=2e-3)
    assert need.required_gal[1] == pytest.approx(30000 / 7 * 1.5)


def test_iso_dwelling_uses_the_distance() -> None:
    """A neighbour at 20 ft asks for 1,000 gpm, at 60 ft for 750, none for 500 (older edition)."""
    table = addresses([(25, 15), (2025, 15), (4025, 15)])
    rings = [box(0, 0, 50, 30), box(70, 0, 50, 30), box(2000, 0, 50, 30), box(2110, 0, 50, 30), box(4000, 0, 50, 30)]
    need = plan(table, *rings, rules=RequiredFlowRules(method="iso"))
    assert need.required_gpm.tolist() == [1000.0, 750.0, 500.0]


# ------------------------------------------------------------------ occupancy, given values, flags


def test_occupancies_have_their_own_defaults() -> None:
    """A farm is not a dwelling; a pole needs the least there is and is not called a building."""
    kinds = ["commercial farm", "Mobile Home", "UTILITY POLE W/PHONE", "house of worship"]
    need = plan(addresses([(0, 0), (9000, 0), (18000, 0), (27000, 0)], occupancy=kinds))
    assert need.required_gal.tolist() == pytest.approx([150000 / 4 * 1.5, 25200 / 7, 2000, 96000 / 6 * 1.5])
    assert need.required_gpm.tolist() == [1000.0, 500.0, 250.0, 1000.0]
    assert need.basis.tolist() == [
        "nfpa1142:default farm",
        "nfpa1142:default mobile home",
        "nfpa1142:not a building",
        "nfpa1142:default house of worship",
    ]
    assert need.assumed.tolist() == [True, True, False, True]


def test_a_size_in_the_table_is_a_building_after_all() -> None:
    """A helipad with a hangar in the table is planned as a building; without a height it gets two storeys."""
    need = plan(addresses([(0, 0)], occupancy=["helipad"], length_ft=[50.0], width_ft=[30.0]))
    assert need.basis[0] == "nfpa1142:table"
    assert need.required_gal[0] == pytest.approx(50 * 30 * 20 / 7 * 1.5)


def test_given_values_win_and_complete_each_other() -> None:
    """Rate only, total only, both: and the basis says which followed from which."""
    table = addresses(
        [(0, 0), (9000, 0), (18000, 0), (27000, 0)],
        required_gpm=[300.0, np.nan, 400.0, np.nan], required_gal=[np.nan, 12000.0, 9000.0, np.nan],
        occupancy=["dwelling", "dwelling", "utility pole", "dwelling"],
    )  # fmt: skip
    need = plan(table)
    assert need.required_gpm.tolist() == [300.0, 750.0, 400.0, 500.0]
    assert need.required_gal.tolist() == pytest.approx([36000, 12000, 9000, 30000 / 7])
    assert need.basis.tolist() == [
        "given:table, gal = gpm x 120 min",
        "given:table, gpm by nfpa1142 steps of gal",
        "given:table",
        "nfpa1142:default dwelling",
    ]
    assert need.assumed.tolist() == [False, False, False, True]


def test_method_given_without_values() -> None:
    """The district's rate stands where a row gives none; no building is assumed for it."""
    need = plan(addresses([(0, 0)]), rules=RequiredFlowRules(method="given", default_gpm=350.0))
    assert (need.required_gpm[0], need.basis[0], bool(need.assumed[0])) == (350.0, "given:district default", False)


def test_required_min_by_method() -> None:
    """`"method"`: the method's own total over its rate, at least 20 min."""
    need = plan(
        addresses([(0, 0), (9000, 0)], occupancy=["farm", "dwelling"]), rules=RequiredFlowRules(required_min="method")
    )
    assert need.required_min.tolist() == pytest.approx([56250 / 1000, 20.0])


def test_sprinklers_do_not_change_the_need() -> None:
    """Sprinklers are a flag elsewhere, never zero here."""
    table = addresses([(0, 0), (9000, 0)], sprinklered=[1.0, np.nan])
    need = plan(table)
    assert need.required_gal[0] == need.required_gal[1]


def test_no_addresses() -> None:
    """An empty table gives an empty answer."""
    few = addresses([(0, 0)])
    empty = AddressTable(**{name: getattr(few, name)[:0] for name in AddressTable.__dataclass_fields__})
    assert len(plan(empty, box(0, 0, 50, 30))) == 0


# ------------------------------------------------------------------ the table of occupancies


def test_words_are_unique_and_plain() -> None:
    """No word names two kinds, and every kind is either a building or says why not."""
    words = [word for kind in OCCUPANCIES for word in kind.words]
    assert len(words) == len(set(words))
    assert all(word == word.lower().strip() for word in words)
    for kind in OCCUPANCIES:
        assert bool(kind.no_building) == (kind.length_ft == 0)
        assert 3 <= kind.hazard <= 7


def test_part_of_a_text_never_makes_it_no_building() -> None:
    """'Tank' alone is an installation; a text that only contains it falls to what else it says, or a dwelling."""
    assert occupancy_of("tank").no_building
    assert occupancy_of("old tank, now a cabin") is DWELLING
    assert occupancy_of("tank 7") is DWELLING
    assert occupancy_of("Volunteer fire station no. 3").name == "fire station"
    assert occupancy_of("landmark") is DWELLING


@pytest.mark.parametrize("district", ["vt_essex_south", "vt_franklin_qc", "usvi_st_john"])
def test_every_real_occupancy_is_known(district: str) -> None:
    """Each site type of real emergency address points stands in the table by its whole text."""
    known = {word for kind in OCCUPANCIES for word in kind.words} | {""}
    with shared("districts", district, "addresses.csv").open(encoding="utf-8", newline="") as file:
        seen = {row["occupancy"].lower() for row in csv.DictReader(file)}
    assert seen <= known
