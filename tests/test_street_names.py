"""Street names: spellings of one street share a key, different streets do not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from preplan.records import text_array
from preplan.roads.label_streets import with_label_streets
from preplan.roads.street_names import address_street, loosen, misspellings, normalise, road_keys
from tests.road_builder import address_table, draw

# suffixes and units: USPS Publication 28, Appendix C; directionals: Appendix B
SAME = [
    ("Victory Road", "VICTORY RD"),
    ("North Main Street", "N. Main St."),
    ("Old County Road South", "OLD COUNTY RD S"),
    ("Southeast Pond Road", "SE POND RD"),
    ("Smith Road Extension", "SMITH RD EXT"),
    ("Matthews Knoll", "MATTHEWS KNL"),
    ("Whispering Pines", "WHISPERING PNES"),
    ("Nana's Lane", "NANAS LN"),
    ("Nana\u2019s Lane", "NANAS LN"),
    ("Fourth Street", "4TH ST"),
    ("Eleventh Avenue", "11th Ave"),
    ("First Avenue", "1ST AVE"),
    ("Saint Armand Road", "ST ARMAND RD"),
    ("Mount Tug Road", "MT TUG RD"),
    ("Gift & Regenback Road", "Gift and Regenback Rd"),
    ("Rue de l'\u00c9glise", "RUE DE LEGLISE"),
    ("Hall-Way  Road", "HALL WAY RD"),
]
ROUTES = [
    ("VT ROUTE 105", "VT 105"),
    ("Vermont Route 105", "VT 105"),
    ("VT ROUTE 105 E", "VT 105"),
    ("New Hampshire Route 16", "NH 16"),
    ("NH 115-A", "NH 115A"),
    ("VT State Highway 9", "VT 9"),
    ("US HIGHWAY 2", "US 2"),
    ("U.S. Route 2", "US 2"),
    ("US Route 3 North", "US 3"),
    ("Rte 10 Alt", "RTE 10 ALT"),
    ("Route 10 Alternate", "RTE 10 ALT"),
    ("INTERSTATE 89 N", "I 89"),
    ("I-89", "I 89"),
    ("CO HWY 12", "CR 12"),
    ("County Road 12", "CR 12"),
    ("County Road A", "CR A"),
    ("STATE ROUTE 012", "SR 12"),
    ("TOWN HWY 32", "TR 32"),
    ("Forest Service Road 14", "FR 14"),
    ("FR 14", "FR 14"),
    ("FARM TO MARKET RD 1960", "FM 1960"),
]
DIFFERENT = [
    ("Hall Road", "Hill Road"),
    ("N Main St", "S Main St"),
    ("VT 105", "VT 105A"),
    ("VT 105", "NH 105"),
    ("CO HWY 12", "CO 12"),
    ("Old Route 2", "Route 2"),
    ("10 Mile Road", "5 Mile Road"),
    ("Smith Road", "Smith Road Extension"),
]


@pytest.mark.parametrize(("long", "short"), SAME)
def test_spellings_of_one_street_share_a_key(long: str, short: str) -> None:
    assert normalise(long) == normalise(short) != ""


@pytest.mark.parametrize(("written", "key"), ROUTES)
def test_numbered_roads_are_class_and_number(written: str, key: str) -> None:
    assert normalise(written) == key


@pytest.mark.parametrize(("one", "other"), DIFFERENT)
def test_different_streets_keep_different_keys(one: str, other: str) -> None:
    assert normalise(one) != normalise(other)


@pytest.mark.parametrize(
    ("street", "number", "key"),
    [
        ("343 VICTORY RD", 343, "VICTORY RD"),
        ("VICTORY RD", 343, "VICTORY RD"),
        ("12B Main St Unit 4", 12, "MAIN ST"),
        ("12-14 Main St # 4", 12, "MAIN ST"),
        ("12 1/2 Main St", 12, "MAIN ST"),
        ("012 Main St, Springfield VT", 12, "MAIN ST"),
        ("42 ROUTE 105", 42, "RTE 105"),
        ("7031 VT ROUTE 102", 7031, "VT 102"),
        ("22 3RD ST", 22, "3RD ST"),
        ("10 Mile Rd", 343, "10 MILE RD"),
        ("10 Mile Rd", -1, "10 MILE RD"),
        ("Old Lot Rd", 5, "OLD LOT RD"),
        ("Mill St Lot 12", 5, "ML ST"),
        ("", 5, ""),
    ],
)
def test_an_address_gives_its_street_alone(street: str, number: int, key: str) -> None:
    assert address_street(street, number) == key


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("VT 105", "Route 105"),
        ("State Route 12", "NH 12"),
        ("Hill Top Drive", "HILLTOP LN"),
        ("South Side Rd", "SOUTHSIDE RD"),
    ],
)
def test_blurred_keys_forgive_class_suffix_and_spaces(one: str, other: str) -> None:
    assert normalise(one) != normalise(other)
    assert loosen(normalise(one)) == loosen(normalise(other))


def test_interstates_and_county_roads_are_not_blurred_into_state_routes() -> None:
    assert len({loosen(key) for key in ("I 89", "CR 89", "TR 89", "VT 89")}) == 4


@pytest.mark.parametrize(
    ("one", "other", "alike"),
    [
        ("WENDEL RD", "Wendell Road", True),
        ("COMMERCIAL AVE", "Commericial Avenue", True),
        ("PARISH ST", "Parrish Street", True),
        ("BARKER RD", "Parker Road", False),
        ("HALL RD", "Hill Road", False),
        ("VT 1051", "VT 1052", False),
    ],
)
def test_one_wrong_letter_is_forgiven_in_long_names_after_the_first(one: str, other: str, alike: bool) -> None:
    forms = [misspellings(loosen(normalise(name))) for name in (one, other)]
    assert bool(forms[0] & forms[1]) == alike


def test_a_road_answers_to_all_its_names() -> None:
    keys = road_keys("Centerline Road / High Road", "US 2;VT 114", {"alt_name": "Post Road", "old_name": "Town Hwy 1"})
    assert keys == {"CENTERLINE RD", "HIGH RD", "US 2", "VT 114", "POST RD", "TR 1"}
    assert road_keys("", "", {}) == frozenset()


def test_a_letter_or_a_grid_before_the_street_is_known_by_the_roads() -> None:
    """Letters apart from their number, and the grid numbers of some states; a lettered street keeps its letter."""
    named = ("Mill Road", "A Street", "County Road A", "E Lake Road", "Lake Road")
    nodes = {f"{end}{k}": (east, 100.0 * k) for k in range(len(named)) for end, east in (("a", 0.0), ("b", 500.0))}
    town = draw(nodes, [(f"a{k}", f"b{k}", {"name": name}) for k, name in enumerate(named)])
    read = {
        "12 A Mill Rd": (("A Mill Rd", 12), ("Mill Rd", 12)),
        "12 B Mill Road, Rear": (("B Mill Road", 12), ("Mill Road", 12)),
        "12 A St": (("A St", 12), ("A St", 12)),
        "12 E Lake Rd": (("E Lake Rd", 12), ("E Lake Rd", 12)),
        "12 B Elm Rd": (("B Elm Rd", 12), ("B Elm Rd", 12)),
        "N1234 County Rd A": (("", -1), ("County Rd A", 1234)),
        "W204N11912 Mill Rd #3": (("", -1), ("Mill Rd", 11912)),
        "N6 W23001 Mill Rd": (("", -1), ("Mill Rd", 23001)),
    }
    was, becomes = zip(*read.values(), strict=True)
    table = replace(
        address_table([(100.0, 10.0)] * len(read)),
        label=text_array(list(read)),
        street=text_array([street for street, _ in was]),
        number=np.array([number for _, number in was], dtype=np.int32),
    )
    found, rows = with_label_streets(table, town.roads)
    assert list(zip(found.street.tolist(), found.number.tolist(), strict=True)) == list(becomes)
    assert rows.tolist() == [0, 1, 5, 6, 7]


@given(st.text(max_size=40))
def test_any_text_has_a_key_and_keys_are_stable(text: str) -> None:
    key = normalise(text)
    assert normalise(key) == key
    assert loosen(key).startswith("~")
    assert isinstance(address_street(text, 12), str)


def test_a_street_in_front_of_its_number_is_known_by_the_roads() -> None:
    """Neither a numbered highway nor a road whose name ends in a number is parted; nor is what no road is called."""
    named = ("Pulpit Road", "County Road 12", "Area 51", "Area")
    nodes = {f"{end}{k}": (east, 100.0 * k) for k in range(len(named)) for end, east in (("a", 0.0), ("b", 500.0))}
    town = draw(nodes, [(f"a{k}", f"b{k}", {"name": name}) for k, name in enumerate(named)])
    read = {
        "Pulpit Rd 45, camp": ("Pulpit Rd", 45), "Co Rd 12 7B": ("Co Rd 12", 7), "Area 7": ("Area", 7),
        "County Road 12": ("", -1), "Area 51": ("", -1), "Hill Rd 9": ("", -1), "Pulpit Rd": ("", -1),
        "Pulpit Rd 0": ("", -1),
    }  # fmt: skip
    table = address_table([(100.0, 10.0)] * len(read))
    found, rows = with_label_streets(replace(table, label=text_array(list(read))), town.roads)
    assert list(zip(found.street.tolist(), found.number.tolist(), strict=True)) == list(read.values())
    assert rows.tolist() == [0, 1, 2]
    given = replace(found, street=text_array(["Elm Street"] * len(read)), number=np.full(len(read), -1, dtype=np.int32))
    assert with_label_streets(given, town.roads)[0] is given


def test_a_number_within_a_label_is_read_beside_the_own_street_alone() -> None:
    """A hall by its name, a garage on a numbered route; what stands near, at a corner or twice is no number of it."""
    named = ("Sumac Hill Road", "State Route 917", "Ridge Road", "10 Mile Road")
    nodes = {f"{end}{k}": (east, 100.0 * k) for k in range(len(named)) for end, east in (("a", 0.0), ("b", 500.0))}
    town = draw(nodes, [(f"a{k}", f"b{k}", {"name": name}) for k, name in enumerate(named)])
    read = {
        "Grange Hall, 872 Sumac Hill Rd": ("Sumac Hill Road", 872),
        "Garage, 3363-A SR 917, Millrace": ("State Route 917", 3363),
        "SR 917 1657, single family dwelling": ("State Route 917", 1657),
        "Mast, 12 - 14 Ridge Rd": ("Ridge Road", 12),
        "Store, 124 Ridge Rd": ("", 124),
        "Barn near 355 Ridge Rd": ("Ridge Road", -1),
        "Farm, 12 Ridge Rd, 14 Ridge Rd": ("Ridge Road", -1),
        "Farm, 12 Ridge Rd, rear": ("Sumac Hill Road", -1),
        "Shop, SR 917": ("State Route 917", -1),
        "Camp, 10 Mile Road": ("10 Mile Road", -1),
        "Lodge, 10 Mile Rd": ("", -1),
        "Depot, 7 Elm Street": ("", -1),
    }
    table = replace(
        address_table([(100.0, 10.0)] * len(read)),
        label=text_array(list(read)),
        street=text_array([street for street, _ in read.values()]),
        number=np.full(len(read), -1, dtype=np.int32),
    )
    found, rows = with_label_streets(table, town.roads)
    assert found.number.tolist() == [number for _, number in read.values()]
    assert rows.tolist() == [0, 1, 2, 3, 4]
    assert found.street[4] == "Ridge Rd"
