"""Fill sites for receivers: well-formed whatever the names, each site in place, each circuit there and back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from preplan.plan import Plan
from preplan.plan_cards import FillsElsewhere
from preplan.plan_tables import FIRST_CIRCUIT, NOT_THIS_WAY, Flag
from preplan.records import text_array
from preplan.render.waypoints import fill_sites_gpx, fill_sites_kml
from preplan.render.words import CAUTIONS, ROAD_CREDIT
from tests.example_plan import example_plan, other_plan, split_plan
from tests.test_tables import changed, picked

Writer = Callable[[Plan], bytes]
GPX, KML = "{http://www.topografix.com/GPX/1/1}", "{http://www.opengis.net/kml/2.2}"
HOSTILE = "<b>Mill & Pond</b> ]]> \x07"
both = pytest.mark.parametrize("writer", [fill_sites_gpx, fill_sites_kml])


def sites(content: bytes) -> list[tuple[str, str]]:
    """List name and place (as written) of every point."""
    root = ET.fromstring(content)  # noqa: S314  our own bytes
    if root.tag.startswith(GPX):
        points = root.findall(f"{GPX}wpt")
        return [(p.findtext(f"{GPX}name", ""), f"{p.get('lon')},{p.get('lat')}") for p in points]
    marks = [mark for mark in root.iter(f"{KML}Placemark") if mark.find(f"{KML}Point") is not None]
    return [(p.findtext(f"{KML}name", ""), p.findtext(f"{KML}Point/{KML}coordinates", "")) for p in marks]


def lines(content: bytes) -> dict[str, list[tuple[float, float]]]:
    """Give the lon, lat points of every line by its name."""
    root = ET.fromstring(content)  # noqa: S314  our own bytes
    if root.tag.startswith(GPX):
        return {
            track.findtext(f"{GPX}name", ""): [
                (float(point.get("lon", "")), float(point.get("lat", ""))) for point in track.iter(f"{GPX}trkpt")
            ]
            for track in root.findall(f"{GPX}trk")
        }
    found = {}
    for mark in root.iter(f"{KML}Placemark"):
        text = mark.findtext(f"{KML}LineString/{KML}coordinates", "")
        if text:
            lonlat = [point.split(",") for point in text.split()]
            found[mark.findtext(f"{KML}name", "")] = [(float(lon), float(lat)) for lon, lat in lonlat]
    return found


def about(content: bytes) -> str:
    """Give the text of the file about itself."""
    root = ET.fromstring(content)  # noqa: S314  our own bytes
    return root.findtext(f"{GPX}metadata/{GPX}desc", "") or root.findtext(f"{KML}Document/{KML}description", "")


@both
def test_sites(writer: Writer) -> None:
    """One point a site, in place, whatever its name; those out of service said to be, others with their season."""
    plan = example_plan()
    odd = replace(plan.sites[0], name=HOSTILE, notes='"quoted" <!--', lon=-72.0412346)
    plan = replace(plan, sites=(odd, *plan.sites[1:]))
    assert sites(writer(plan)) == [
        ("1 <b>Mill & Pond</b> ]]>  ", "-72.041235,44.000000"),
        ("2 Quarry pond (summer) - April to November only", "-72.010000,44.001000"),
        ("3 Old cistern - OUT OF SERVICE", "-72.020000,43.991000"),
    ]
    assert writer(plan) == writer(plan)


@both
def test_circuit_of_the_largest_group(writer: Writer) -> None:
    """Of the groups a site serves the one with most addresses; loaded from the site, empty back to it."""
    found = lines(writer(example_plan()))
    assert list(found) == [
        "1 Mill Pond dry hydrant: to 7-9 Quarry Lane, loaded",
        "1 Mill Pond dry hydrant: from 7-9 Quarry Lane, empty",
    ]
    out, back = found.values()
    assert out == back[::-1], "in the drawn plan both legs take one way"
    assert out[0] == pytest.approx((-72.04, 44.0))
    # 0.7 of Quarry Lane, which runs from 44.000 nearly due north to 44.012.
    assert out[-1][1] == pytest.approx(44.0084, abs=1e-4)
    assert [pytest.approx(lat) for _, lat in out[1:3]] == [44.0018, 44.002]


@both
def test_each_site_that_serves_has_a_circuit_in_order(writer: Writer) -> None:
    """Site 2 serves one group, site 1 the others; the lines stand in the order of the sites."""
    plan = example_plan()
    trips = replace(
        plan.trips,
        out_leaf=np.array([0, 2, 1, 2, 2, 2], dtype=np.int32),
        back_leaf=np.array([3, 5, 4, 5, 5, 5], dtype=np.int32),
    )
    trip = plan.levels.trip.copy()
    trip[0] = 1
    found = lines(writer(replace(plan, trips=trips, levels=replace(plan.levels, trip=trip))))
    assert [name.split()[0] for name in found] == ["1", "1", "2", "2"]
    assert list(found)[2] == "2 Quarry pond (summer): to 12 Mill Road, loaded"
    # a site that is nobody's first has the circuit of those who fill there besides another
    split = split_plan()
    found = lines(writer(replace(split, trips=trips)))
    assert [name.split()[0] for name in found] == ["1", "1", "2", "2"]
    assert list(found)[2] == "2 Quarry pond (summer): to 12 Mill Road, loaded"


def descriptions(content: bytes) -> list[str]:
    """List what is said of every line."""
    root = ET.fromstring(content)  # noqa: S314  our own bytes
    tracks = [track.findtext(f"{GPX}desc", "") for track in root.findall(f"{GPX}trk")]
    lines_of = [mark for mark in root.iter(f"{KML}Placemark") if mark.find(f"{KML}LineString") is not None]
    return tracks or [mark.findtext(f"{KML}description", "") for mark in lines_of]


def other_winter(plan: Plan) -> Plan:
    """Let tankers fill at no site that is shown from December to March."""
    never = np.full_like(plan.levels.site, -1)
    seasons = tuple(replace(one, best_site=never) if 12 in one.months else one for one in plan.seasons)
    return replace(plan, seasons=seasons)


def shut_in_november(plan: Plan, lead: int) -> Plan:
    """Let the way of an address over its fill site not hold in November."""
    flags = list(plan.answers.flags)
    flags[lead] = (*flags[lead], Flag(NOT_THIS_WAY, "11", circuit=FIRST_CIRCUIT))
    return replace(plan, answers=replace(plan.answers, flags=tuple(flags)))


@both
def test_a_circuit_says_in_which_months_it_is_driven_and_by_whom(writer: Writer) -> None:
    plan = example_plan()
    assert all("only" not in name for name in lines(writer(plan)))
    named = list(lines(writer(other_winter(plan))))
    assert named == [f"{name}, in April to November only" for name in lines(writer(plan))]
    (group,) = (one for one in plan.groups if one.road == "Quarry Lane")
    shut = writer(shut_in_november(plan, group.lead))
    assert list(lines(shut)) == [f"{name}, in December to October only" for name in lines(writer(plan))]
    told = "; 2 addresses; November: NOT THIS WAY, a road on the way is shut or posted then"
    assert all(said.endswith(told) for said in descriptions(shut))
    split = split_plan()
    out, back = (np.array(leaf, dtype=np.int32) for leaf in ([0, 2, 1, 2, 2, 2], [3, 5, 4, 5, 5, 5]))
    alone = replace(split, groups=split.groups[:1], trips=replace(split.trips, out_leaf=out, back_leaf=back))
    drivers = [said.partition("; 1 address; ")[2] for said in descriptions(writer(alone))]
    assert drivers == ["T1 only, T2 fill at fill site 2"] * 2 + ["T2 only"] * 2


@both
def test_a_site_that_serves_in_other_months_only_has_their_circuit(writer: Writer) -> None:
    """A unit sent there in February by its tablet finds the way; from a plan of the months that decide it had none."""
    (group, *rest), plan = other_plan(backup=False).groups, other_plan(backup=False)
    out, back = (np.array(leaf, dtype=np.int32) for leaf in ([0, 2, 1, 2, 2, 2], [3, 5, 4, 5, 5, 5]))
    traced = replace(plan, sheet_trips=replace(plan.sheet_trips, out_leaf=out, back_leaf=back))
    own = lines(writer(example_plan()))
    found = lines(writer(traced))
    there = "2 Quarry pond (summer): {} 12 Mill Road, {}, in December to March only"
    assert list(found) == [*own, there.format("to", "loaded"), there.format("from", "empty")]
    assert [found[name] for name in own] == [*own.values()]
    assert not descriptions(writer(traced))[-1].endswith("only")
    # where tankers fill at two sites then, who drives it
    split = split_plan().levels.split
    then = replace(plan.seasons[1], split_site=np.where(split == 1, 0, -1).astype(np.int32))
    first = FillsElsewhere(months=(12, 1, 2, 3), site=0, tankers=(3,), fill_engine=-1)
    other = replace(group.others[0], tankers=(4,), elsewhere=(first,))
    parted = replace(traced, seasons=(plan.seasons[0], then), groups=(replace(group, others=(other,)), *rest))
    assert descriptions(writer(parted))[-1].endswith("; T2 only, then T1 fills at fill site 1")


@both
def test_names_of_groups_are_escaped(writer: Writer) -> None:
    plan = example_plan()
    groups = tuple(replace(group, road=HOSTILE if group.road else "") for group in plan.groups)
    assert any(HOSTILE.replace("\x07", " ") in name for name in lines(writer(replace(plan, groups=groups))))
    nameless = tuple(replace(group, road="") for group in plan.groups)
    labels = text_array([HOSTILE] * len(plan.addresses))
    plan = replace(plan, groups=nameless, addresses=replace(plan.addresses, label=labels))
    assert any(HOSTILE.replace("\x07", " ") in name for name in lines(writer(plan)))


@both
def test_licence_is_named_where_roads_are_copied(writer: Writer) -> None:
    plan = example_plan()
    assert about(writer(plan)) == f"{CAUTIONS} {ROAD_CREDIT}"
    untraced = replace(plan, trips=changed(plan.trips, out_leaf=-1))
    assert lines(writer(untraced)) == {}
    assert about(writer(untraced)) == CAUTIONS


@both
def test_a_plan_without_addresses_has_its_sites(writer: Writer) -> None:
    plan = picked(example_plan(), [])
    assert len(sites(writer(plan))) == 3
    assert lines(writer(plan)) == {}


def test_order_of_a_gpx_file() -> None:
    """The schema of GPX 1.1 asks for metadata, waypoints, tracks, in this order, and for a copyright's author."""
    root = ET.fromstring(fill_sites_gpx(example_plan()))  # noqa: S314  our own bytes
    assert [child.tag.removeprefix(GPX) for child in root] == ["metadata", "wpt", "wpt", "wpt", "trk", "trk"]
    copied = root.find(f"{GPX}metadata/{GPX}copyright")
    assert copied is not None
    assert copied.get("author") == "OpenStreetMap contributors"
    assert [child.tag.removeprefix(GPX) for child in root.findall(f"{GPX}trk")[0]] == ["name", "desc", "type", "trkseg"]
