"""The map's search in a real browser: what an officer types finds the house that is meant, and no other."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from itertools import cycle
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from preplan.plan import Plan, SearchWords
from preplan.render.map_html import map_page
from preplan.render.map_search import id_columns, search_data
from preplan.render.us_grid import grid_words
from preplan.render.words import coordinates
from preplan.roads.street_names import search_words
from tests.browser import Opened, opened, page_source, written
from tests.example_plan import example_plan
from tests.plan_checks import SAMPLE, plan_of

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page


@pytest.fixture(scope="module")
def plan() -> Plan:
    return plan_of(SAMPLE / "district.toml")


@pytest.fixture(scope="module")
def file_url(sample_url: str) -> str:
    return sample_url


def listed(page: Page, words: str) -> list[str]:
    page.fill("#search", words)
    return [text.split("\n")[-1] for text in page.locator("#found li").all_inner_texts()]


def whole(page: Page, words: str) -> list[str]:
    """List what is found with all its lines."""
    page.fill("#search", words)
    return page.locator("#found li").all_inner_texts()


@pytest.mark.parametrize(
    "words",
    ["354 beaver meadow road", "beaver meadow 354", "354  beaver", "Beaver Meadow Rd, 354", "354 BEAV MEAD", "MR0005",
     "mr0005", "354, Beaver Meadow"],
)  # fmt: skip
def test_a_house_is_found_however_it_is_written(wide: Opened, words: str) -> None:
    assert listed(wide.page, words) == ["354 Beaver Meadow Rd"]
    wide.page.keyboard.press("Enter")
    assert wide.page.inner_text("#panel-body h2") == "354 Beaver Meadow Rd"


def test_house_numbers_are_matched_whole_and_enter_opens_no_other_house(wide: Opened) -> None:
    page = wide.page
    assert listed(page, "35 Beaver Meadow Rd")[0] == "No 35 Beaver Meadow Rd; nearest numbers:"  # 354 begins with it
    assert listed(page, "54 Beaver Meadow Rd")[0] == "No 54 Beaver Meadow Rd; nearest numbers:"  # and ends with this
    found = listed(page, "4 Beaver Meadow Rd")
    assert found[:3] == ["No 4 Beaver Meadow Rd; nearest numbers:", "14 BEAVER MEADOW RD", "98 BEAVER MEADOW RD"]
    page.keyboard.press("Enter")
    assert not page.is_visible("#panel-body h2")
    assert page.input_value("#search") == "4 Beaver Meadow Rd"
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    assert page.inner_text("#panel-body h2") == "14 BEAVER MEADOW RD"
    assert page.input_value("#search") == "14 BEAVER MEADOW RD"


@pytest.mark.parametrize(
    "words",
    ["354 baever meadow", "354 Beavr Meadow Rd", "354 beaver medow road", "354 beeaver meadow", "354 Beaver Meadwo",
     "354 ebaver meado"],
)  # fmt: skip
def test_a_slip_of_the_thumb_is_forgiven_and_enter_opens_nothing_by_it(wide: Opened, words: str) -> None:
    page = wide.page
    found = listed(page, words)
    assert found[0].startswith("Nothing is spelt ")
    assert found[0].endswith("; near it:")
    assert found[1:] == ["354 Beaver Meadow Rd"]
    page.keyboard.press("Enter")
    assert not page.is_visible("#panel-body h2")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    assert page.inner_text("#panel-body h2") == "354 Beaver Meadow Rd"


@pytest.mark.parametrize("words", ["1533 State", "1533 state route", "1533 State Rte"])
def test_a_numbered_road_is_found_while_its_number_is_still_to_be_typed(wide: Opened, words: str) -> None:
    """It said that nothing was found, until the last figure; Enter opens nothing, for the number may be another."""
    page = wide.page
    found = listed(page, words)
    assert found[0] == "Go on with the road's number; so far:"
    assert "1533 SR 917" in found
    page.keyboard.press("Enter")
    assert not page.is_visible("#panel-body h2")
    assert listed(page, "1533 State Route 917") == ["1533 SR 917"]
    assert "1533 SR 917" not in listed(page, "1533 State Route 918")


def test_two_slips_in_a_short_word_and_any_in_a_number_are_not_forgiven(wide: Opened) -> None:
    page = wide.page
    for words in ("354 bvaer medwo", "Beaer Mqzow", "T3l", "zzzz", "Qxzgristmill"):
        assert listed(page, words) == ["Nothing found."], words
    assert listed(page, "345 Baever Meadow Rd")[0] == "No 345 Baever Meadow Rd; nearest numbers:"
    assert "Gristmill Rd" in "".join(listed(page, "Grstimil"))  # of a road and its houses alike


@pytest.mark.parametrize(
    ("words", "title"),
    [("fill site 7", "Fill site 7: Sumac Hill tank"), ("F07", "Fill site 7: Sumac Hill tank"), ("T31", "Unit T31"),
     ("sumac tank", "Fill site 7: Sumac Hill tank"), ("station 2", "Station 2: Millrace Station 2")],
)  # fmt: skip
def test_sites_units_and_stations_are_found(wide: Opened, words: str, title: str) -> None:
    wide.page.fill("#search", words)
    wide.page.keyboard.press("Enter")
    assert wide.page.inner_text("#panel-body h2") == title
    assert wide.page.input_value("#search") == ""


def test_a_unit_is_found_with_a_blank_before_its_number(wide: Opened) -> None:
    assert listed(wide.page, "T 31")[0] == "Unit T31, tanker"
    wide.page.keyboard.press("Enter")
    assert wide.page.inner_text("#panel-body h2") == "Unit T31"


@pytest.mark.parametrize(
    ("words", "without"),
    [("354 N Beaver Meadow Rd", "N"), ("354 Beaver Meadow Rd, Millrace NY 12345", "MILLRACE NY 12345"),
     ("354 Beaver Meadow Rd Springfield", "SPRINGFIELD"), ("354 Beaver Meadow Rd New Springfield", "NEW SPRINGFIELD")],
)  # fmt: skip
def test_a_word_too_many_is_told_and_enter_opens_nothing_by_it(wide: Opened, words: str, without: str) -> None:
    """A direction that the label lacks, and the town behind a road."""
    page = wide.page
    page.fill("#search", "T31")
    page.keyboard.press("Enter")
    assert listed(page, words) == [f"Nothing has {without} too; without it:", "354 Beaver Meadow Rd"]
    page.keyboard.press("Enter")
    assert not page.is_visible("#panel-body h2")
    assert listed(page, "nothing like it") == ["Nothing found."]


def test_a_town_behind_any_address_finds_that_address(wide: Opened, plan: Plan) -> None:
    """Millrace stands in other labels too, Springfield in none: the house of its number comes before others."""
    labels = plan.addresses.label[::23].tolist()
    for label, town in zip(labels, cycle(("Millrace", "springfield", "Old Springfield NY")), strict=False):
        assert label in listed(wide.page, f"{label} {town}"), (label, town)
    assert len(labels) > 20


@pytest.mark.parametrize(
    ("words", "found"),
    [("school house rd 250", "250 SCHOOLHOUSE RD"), ("powderhouse rd 40", "40 Powder House Rd"),
     ("sr917 17", "17 SR 917"), ("17 state route 917, Millrace", "17 SR 917"),
     ("3762 state route 917", "3762A SR 917"), ("831 Bobolink Lot 2", "831 Bobolink Rd Lot 1"),
     ("tanker 31", "Unit T31, tanker")],
)  # fmt: skip
def test_names_and_numbers_are_found_as_they_are_spoken(wide: Opened, words: str, found: str) -> None:
    """Two words for one, no blank before a route's number, no letter behind a house's."""
    assert found in listed(wide.page, words)[:2]


def test_of_several_places_none_opens_before_one_is_picked(wide: Opened) -> None:
    page = wide.page
    if page.is_visible("#close"):
        page.click("#close")
    for words in ("kettle pond", "e1", "bridge"):
        assert len(listed(page, words)) > 1
        page.keyboard.press("Enter")
        assert page.locator("#found [aria-selected=true]").count() == 1, words
        assert not page.is_visible("#panel-body h2"), words
        page.keyboard.press("Escape")


@pytest.mark.parametrize("words", ["kiln/gristmill", "Gristmill Rd & Kiln", "kiln rd at gristmill rd"])
def test_a_crossing_leads_to_the_place_and_to_who_lives_about_it(wide: Opened, plan: Plan, words: str) -> None:
    """The crossing is where stretches of both roads end; addresses come by their distance from it."""
    first, place, *others = whole(wide.page, words)
    assert first.startswith("The crossing")
    assert {"Kiln Road", "Gristmill Road"} == set(place.split("\n")[-1].split(" and "))
    feet = [int(found[1]) for one in others if (found := re.search(r"(\d+)\sft away", one))]
    assert feet == sorted(feet)
    assert len(feet) == 5
    table, ends = plan.roads, {}
    for name in ("Kiln Road", "Gristmill Road"):
        rows = np.flatnonzero(table.name == name)
        ends[name] = {*table.from_node[rows].tolist(), *table.to_node[rows].tolist()}
    (node,) = ends["Kiln Road"] & ends["Gristmill Road"]
    row = int(np.flatnonzero((table.from_node == node) | (table.to_node == node))[0])
    lon, lat = plan.line(row)[0 if table.from_node[row] == node else -1]
    east = (plan.addresses.lon - lon) * math.cos(math.radians(lat))
    nearest = np.argsort(np.hypot(east, plan.addresses.lat - lat))[:5]
    assert [one.split("\n")[0] for one in others] == plan.addresses.label[nearest].tolist()


def test_a_crossing_is_found_by_both_its_roads(wide: Opened, plan: Plan) -> None:
    kiln = [group for group in plan.groups if group.cross_street and group.road == "Kiln Road"]
    cross = {group.cross_street: group.lead for group in kiln}
    for other, lead in cross.items():
        label = str(plan.addresses.label[lead])
        found = whole(wide.page, f"{label} and {other}") + whole(wide.page, f"{other} & Kiln Road")
        assert any(label in one for one in found), other
    assert len(cross) > 2


def test_the_list_says_how_many_there_are(wide: Opened, plan: Plan) -> None:
    names = [*plan.addresses.label.tolist(), *set(plan.roads.name.tolist()), *(site.name for site in plan.sites)]
    on_road = sum(re.search("kiln (rd|road)", name, re.IGNORECASE) is not None for name in names)
    assert on_road > 12
    assert listed(wide.page, "kiln rd")[-1] == f"First 12 of {on_road}."
    assert wide.page.text_content("#said") == f"First 12 of {on_road}."
    assert listed(wide.page, "no such place") == ["Nothing found."]
    assert wide.page.text_content("#said") == "Nothing found."


def test_what_was_chosen_stands_back_while_something_else_is_typed(wide: Opened) -> None:
    page = wide.page
    page.fill("#search", "MR0005")
    page.keyboard.press("Enter")
    page.fill("#search", "no such place")
    assert page.evaluate("() => document.body.classList.contains('astray')")
    assert float(page.evaluate("() => getComputedStyle(document.querySelector('#panel-body')).opacity")) < 0.5
    page.keyboard.press("Enter")
    assert not page.is_visible("aside")
    assert not page.is_visible("#drawn")
    page.fill("#search", "MR0005")
    page.keyboard.press("Enter")
    assert not page.evaluate("() => document.body.classList.contains('astray')")
    page.click("#lists")
    assert page.input_value("#search") == ""


def relabelled(plan: Plan, labels: list[str], ids: list[str]) -> Plan:
    """Give the hand-drawn district other labels and ids, and the words that planning hands over."""
    table = replace(
        plan.addresses, label=np.array(labels, dtype=np.object_), address_id=np.array(ids, dtype=np.object_)
    )
    groups = tuple(replace(one, cross_street=f"Cross {k}") for k, one in enumerate(plan.groups))
    return replace(plan, addresses=table, groups=groups, search_words=search_words())


@contextmanager
def relabelled_page(browser: Browser, folder: Path, labels: list[str], ids: list[str]) -> Iterator[Opened]:
    """Open the map of that district; it complains of nothing."""
    path = folder / "map.html"
    path.write_text(map_page(relabelled(example_plan(), labels, ids)), encoding="utf-8")
    found = opened(browser, path.as_uri())
    yield found
    assert found.complaints == []


@pytest.fixture
def other(browser: Browser, tmp_path: Path) -> Iterator[Opened]:
    labels = ["12 N Main St", "40 VT Route 2", "7 Tenth Ave", "9 Main St", "9 Main St", "12-1/2 Mill Rd"]
    ids = ["A1", "A2", "A3", "A04", "A05", "no number"]
    with relabelled_page(browser, tmp_path, labels, ids) as found:
        yield found


@pytest.mark.parametrize(
    ("words", "label"),
    [
        ("12 north main street", "12 N Main St"), ("main n 12", "12 N Main St"), ("rt 2", "40 VT Route 2"),
        ("40 state route 2", "40 VT Route 2"), ("sr 2", "40 VT Route 2"), ("us 2", "40 VT Route 2"),
        ("Vermont Route 2", "40 VT Route 2"), ("10th avenue", "7 Tenth Ave"), ("12-1/2 mill", "12-1/2 Mill Rd"),
        ("a3", "7 Tenth Ave"), ("no number", "12-1/2 Mill Rd"),
    ],
)  # fmt: skip
def test_suffixes_directions_and_routes_are_read_both_ways(other: Opened, words: str, label: str) -> None:
    assert [one for one in listed(other.page, words) if one[0].isdigit()] == [label]


def test_houses_of_one_label_are_told_apart(other: Opened) -> None:
    other.page.fill("#search", "9 main")
    found = other.page.locator("#found li").all_inner_texts()
    assert len(found) == 2
    assert len(set(found)) == 2
    assert all(f"ID {one}" in text for one, text in zip(("A04", "A05"), found, strict=True))
    # of houses of one label none opens before somebody has seen which one it is
    other.page.keyboard.press("Enter")
    assert other.page.locator("#found [aria-selected=true]").count() == 1
    assert not other.page.locator("#panel-body .beside").count()
    other.page.keyboard.press("Enter")
    assert "ID A04" in written(other.page, "#panel-body .beside")


@pytest.fixture
def odd(browser: Browser, tmp_path: Path) -> Iterator[Page]:
    labels = ["012 Mill Road", "21 Ka\u02bbahumanu Hwy", "35 Co Rd 12", "100A Main St", "60 Mill Rd", "60 Mill Road"]
    ids = ["5.12", "51.2", "ab1", "AB-1", "x", "y"]
    with relabelled_page(browser, tmp_path, labels, ids) as found:
        yield found.page


def test_no_address_opens_that_is_not_the_only_one_meant(odd: Page) -> None:
    """Parcel 51.2 is not 5.12; where a house stands on Mill Rd and one on Mill Road, nobody knows which is meant."""
    for words, label in (("5.12", "012 Mill Road"), ("51.2", "21 Ka\u02bbahumanu Hwy"), ("AB1", "35 Co Rd 12")):
        odd.fill("#search", words)
        odd.keyboard.press("Enter")
        assert odd.inner_text("#panel-body h2") == label
    for words in ("512", "60 mill rd", "60 Mill Road"):
        assert len(listed(odd, words)) == 2, words
        odd.click("#close")
        odd.fill("#search", words)
        odd.keyboard.press("Enter")
        assert not odd.is_visible("#panel-body h2"), words
        odd.keyboard.press("Enter")
        assert odd.is_visible("#panel-body h2"), words


def test_of_two_houses_whose_letters_nobody_typed_none_opens(browser: Browser, tmp_path: Path) -> None:
    """One writes its letter apart and one at its number; where there is one alone, or the letter is typed, it opens."""
    labels = ["100A Main St", "100 B Main St", "7 B Mill Rd", "9 Mill Rd", "9A Mill Rd", "100C Elm St"]
    path = tmp_path / "map.html"
    path.write_text(map_page(relabelled(example_plan(), labels, list("pqrstu"))), encoding="utf-8")
    page = opened(browser, path.as_uri()).page
    assert listed(page, "100 main st") == ["100 B Main St", "100A Main St"]
    page.click("#close")
    for words, label in (
        ("100 main st", ""), ("100 b main st", labels[1]), ("7 mill rd", labels[2]), ("9 mill rd", labels[3]),
        ("100a main st", labels[0]),
    ):  # fmt: skip
        page.fill("#search", words)
        page.keyboard.press("Enter")
        assert page.is_visible("#panel-body h2") is bool(label), words
        assert not label or page.inner_text("#panel-body h2") == label


@pytest.mark.parametrize(
    ("words", "label"),
    [("12 mill rd", "012 Mill Road"), ("21 kaahumanu", "21 Ka\u02bbahumanu Hwy"),
     ("21 ka\u2018ahumanu hwy", "21 Ka\u02bbahumanu Hwy"), ("35 cr 12", "35 Co Rd 12"),
     ("35 County Road 12", "35 Co Rd 12"), ("035 cnty rd 12", "35 Co Rd 12"), ("100 A Main", "100A Main St")],
)  # fmt: skip
def test_zeros_marks_letters_and_county_roads_are_read_either_way(odd: Page, words: str, label: str) -> None:
    assert label in listed(odd, words)[:2]
    assert not any(one.startswith(("No ", "Nothing ")) for one in listed(odd, words))


def test_a_road_takes_the_place_of_the_house_that_was_open(wide: Opened, plan: Plan) -> None:
    """Its card would seem to be the answer; the road is marked, and the way back stays."""
    page = wide.page
    house = str(plan.addresses.label[0])
    page.fill("#search", house)
    page.keyboard.press("Enter")
    assert house in written(page, "#panel-body h2")
    page.fill("#search", "fiddlehead")
    page.keyboard.press("Enter")
    assert written(page, "#panel-body h2") == "Fiddlehead Road"
    assert page.input_value("#search") == ""
    assert not page.is_visible("#drawn")
    count = sum("fiddlehead" in str(road).lower() for road in plan.roads.name[plan.frontages.segment])
    assert f"{count} addresses stand on it" in written(page, "#panel-body")
    page.get_by_role("button", name=f"Back to {house}").click()
    assert house in written(page, "#panel-body h2")
    page.click("#close")


def test_a_place_and_a_grid_square_are_found_as_cards_print_them(wide: Opened, plan: Plan) -> None:
    page = wide.page
    for row in (0, 100, 300):
        lat, lon = float(plan.addresses.lat[row]), float(plan.addresses.lon[row])
        found = whole(page, f"{lat:.5f}, {lon:.5f}")
        assert found[0].startswith("Nearest to ")
        assert str(plan.addresses.label[row]) in found[1]
        assert re.search(r"\b[0-3]\s?ft away", found[1])
        assert whole(page, f"{lat:.5f} {-lon:.5f}")[1:] == found[1:]  # nobody says the sign over the radio
        minutes = coordinates(lon, lat)[0]
        for words in (minutes, minutes.replace("\u00b0", " ").replace("'", ""), f"{-lon:.5f}W {lat:.5f}N",
                      f"{lon:.5f}, {lat:.5f}", in_seconds(lon, lat)):  # fmt: skip
            again = whole(page, words)
            assert again[0].startswith("Nearest to "), words
            assert str(plan.addresses.label[row]) in again[1], words
        square = grid_words(lon, lat)
        assert any(str(plan.addresses.label[row]) in one for one in whole(page, square)), square
    page.fill("#search", "")


def in_seconds(lon: float, lat: float) -> str:
    """Write a place in degrees, minutes and seconds, with the marks of print."""
    parts = []
    for value, letter in ((lat, "N"), (-lon, "W")):
        minutes, seconds = divmod(round(value * 36_000) / 10.0, 60.0)
        parts.append(f"{int(minutes // 60)}\u00b0{int(minutes % 60)}\u2032{seconds:.1f}\u2033{letter}")
    return " ".join(parts)


def test_a_place_of_another_country_is_said_to_lie_outside(wide: Opened, plan: Plan) -> None:
    """`8,220 mi away` from a slip of the sign sent nobody anywhere, and yet looked like an answer."""
    lat = float(plan.addresses.lat[0])
    (said,) = whole(wide.page, f"{lat:.5f} N 12.34567 E")
    assert re.search(r"lies [\d,]+\s?mi from the nearest address: outside the district\.", said)
    for words in ("450 N 300 W", "12 34", "12.5 Mill", "1.50 2"):
        assert not any("outside" in one or "Nearest to" in one for one in whole(wide.page, words)), words
    wide.page.fill("#search", "")


def test_a_house_number_with_a_letter_leads_to_the_nearest_and_opens_none(wide: Opened) -> None:
    found = listed(wide.page, "98B beaver meadow")
    assert found[0] == "No 98B Beaver Meadow; nearest numbers:"
    assert len(found) > 3
    wide.page.fill("#search", "")


def test_houses_of_one_label_are_found_by_their_cross_street(browser: Browser, tmp_path: Path, plan: Plan) -> None:
    """As the list tells them apart."""
    groups = tuple(replace(one, cross_street=f"Zebra{k} Road") for k, one in enumerate(plan.groups[:40]))
    path = tmp_path / "map.html"
    path.write_text(map_page(replace(plan, groups=groups)), encoding="utf-8")
    found = opened(browser, path.as_uri())
    lead = groups[7].lead
    assert any(str(plan.addresses.label[lead]) in one for one in whole(found.page, "zebra7"))


def test_only_spellings_of_the_district_s_own_words_are_in_the_page(plan: Plan) -> None:
    found = search_data(plan)["spellings"]
    assert "ROAD" in found["RD"]
    assert "CSWY" not in found
    assert search_data(replace(plan, search_words=SearchWords()))["spellings"] == {}


def test_ids_come_back_whole(plan: Plan) -> None:
    columns, stems = id_columns(plan)
    ids = [
        stems[stem][0] + (str(number).zfill(stems[stem][1]) if stems[stem][1] else "")
        for stem, number in zip(columns["idStem"], columns["idNumber"], strict=True)
    ]
    assert ids == plan.addresses.address_id.tolist()


def test_the_page_reads_words_as_the_keys_of_roads_do(other: Opened) -> None:
    """Every spelling that the page holds becomes its short form there too."""
    shorts = other.page.evaluate(
        f"""() => {{
          {page_source("map_search.js")}
          return [...shortOf.keys()].map((word) => [word, inShort(word)]);
        }}"""
    )
    assert len(shorts) > 10
    known = search_words().short_of
    assert all(known.get(word, word) == short for word, short in shorts)
