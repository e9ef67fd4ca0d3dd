"""Fill sites and their circuits for the tablets and receivers that units carry: GPX 1.1 and KML 2.2.

Each fill site is a point. The way that tankers drive to and from the largest group of addresses it serves is a pair
of lines, one loaded, one empty. Names and notes are other people's text: escaped, and rid of the characters that XML
cannot hold.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

import numpy as np

from preplan.months import month_words
from preplan.records import FloatArray
from preplan.render import circuits
from preplan.render.limit_places import named_words
from preplan.render.route_lines import driven, leg_lines, legs_of, thinned
from preplan.render.tables import NOT_XML
from preplan.render.words import CAUTIONS, ROAD_CREDIT, rate_words
from preplan.street_words import called

if TYPE_CHECKING:
    from preplan.plan import Plan
    from preplan.plan_cards import CardGroup, OtherCircuit
    from preplan.records import FillSite

_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
_COPYRIGHT = (
    '<copyright author="OpenStreetMap contributors">'
    "<license>https://opendatacommons.org/licenses/odbl/1-0/</license></copyright>"
)
"""Stands in a file that copies roads."""
_LINES = {"out": ("ff29241d", 5), "back": ("ff7b766f", 3)}
"""Colour (KML: opacity, blue, green, red) and width in pixels of each leg's line; KML knows no dashes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Leg:
    """One line: a leg of the circuit that stands for a fill site."""

    kind: str
    """out (loaded) or back (empty)."""
    name: str
    about: str
    lonlat: FloatArray
    """Points in the direction of travel, shape (points, 2)."""


def fill_sites_gpx(plan: Plan) -> bytes:
    """Write every fill site, those out of service included and marked, as a GPX waypoint; circuits as tracks."""
    legs = _circuits(plan)
    points = "".join(
        f'<wpt lat="{site.lat:.6f}" lon="{site.lon:.6f}"><name>{_text(_point_name(site, number))}</name>'
        f"<desc>{_text(_about(site))}</desc><sym>Water Source</sym><type>{_text(site.kind)}</type></wpt>\n"
        for number, site in enumerate(plan.sites, start=1)
    )
    tracks = "".join(
        f"<trk><name>{_text(leg.name)}</name><desc>{_text(leg.about)}</desc><type>{leg.kind}</type><trkseg>"
        + "".join(f'<trkpt lat="{lat:.6f}" lon="{lon:.6f}"/>' for lon, lat in leg.lonlat.tolist())
        + "</trkseg></trk>\n"
        for leg in legs
    )
    return (
        f'{_HEAD}<gpx version="1.1" creator="preplan" xmlns="http://www.topografix.com/GPX/1/1">\n'
        f"<metadata><name>{_text(_title(plan))}</name><desc>{_text(_notice(legs))}</desc>{_COPYRIGHT if legs else ''}"
        f"</metadata>\n{points}{tracks}</gpx>\n"
    ).encode()


def fill_sites_kml(plan: Plan) -> bytes:
    """Write every fill site, those out of service included and marked, as a KML placemark; circuits as lines."""
    legs = _circuits(plan)
    styles = "".join(
        f'<Style id="{kind}"><LineStyle><color>{colour}</color><width>{width}</width></LineStyle></Style>\n'
        for kind, (colour, width) in _LINES.items()
    )
    points = "".join(
        f"<Placemark><name>{_text(_point_name(site, number))}</name><description>{_html(_about(site))}</description>"
        f"<Point><coordinates>{site.lon:.6f},{site.lat:.6f}</coordinates></Point></Placemark>\n"
        for number, site in enumerate(plan.sites, start=1)
    )
    lines = "".join(
        f"<Placemark><name>{_text(leg.name)}</name><description>{_html(leg.about)}</description>"
        f"<styleUrl>#{leg.kind}</styleUrl><LineString><tessellate>1</tessellate><coordinates>"
        + " ".join(f"{lon:.6f},{lat:.6f}" for lon, lat in leg.lonlat.tolist())
        + "</coordinates></LineString></Placemark>\n"
        for leg in legs
    )
    folders = f"<Folder><name>Fill sites</name>\n{points}</Folder>\n<Folder><name>Circuits</name>\n{lines}</Folder>\n"
    return (
        f'{_HEAD}<kml xmlns="http://www.opengis.net/kml/2.2"><Document><name>{_text(_title(plan))}</name>'
        f"<description>{_html(_notice(legs))}</description>\n{styles}{folders}</Document></kml>\n"
    ).encode()


# --------------------------------------------------------------------------- circuits


def _circuits(plan: Plan) -> list[_Leg]:
    """Trace, for each fill site, the round trip of the largest group of addresses it is chosen for: out, then back.

    Of one that is a second fill site only, the largest of those; of one that serves in other months only than those
    that decide, the largest of these.
    """
    wanted, on_sheets = _largest(plan), plan.on_sheets()
    roads = thinned(plan.roads)
    parts = []
    for one, wants in ((plan, False), (on_sheets, True)):
        mine = {site: trip for site, (trip, _, other) in wanted.items() if (other is not None) == wants}
        trips = np.array([mine[site] for site in sorted(mine)], dtype=np.int32)
        legs = legs_of(one, trips)
        lonlat, of_leg = leg_lines(roads, driven(one, legs))
        for k, (trip, loaded) in enumerate(zip(legs.trip.tolist(), legs.loaded.tolist(), strict=True)):
            site = int(one.trips.site[trip])
            _, group, other = wanted[site]
            parts.append((site, _leg(one, site, group, other, trip, lonlat[of_leg == k], loaded=loaded)))
    return [leg for _, leg in sorted(parts, key=lambda part: part[0])]


def _largest(plan: Plan) -> dict[int, tuple[int, CardGroup, OtherCircuit | None]]:
    """Find, by fill site, the trip of the largest group that fills there, and what its sheet says of other months."""
    largest: dict[int, tuple[int, CardGroup, OtherCircuit | None]] = {}

    def weigh(found: Iterable[tuple[int, int, CardGroup, OtherCircuit | None]]) -> None:
        before = set(largest)
        for site, trip, group, other in found:
            larger = site not in largest or len(group.addresses) > len(largest[site][1].addresses)
            if larger and site not in before:
                largest[site] = trip, group, other

    for table in (plan.levels.trip, plan.levels.split_trip):
        trips = plan.answers.shown(table)
        own = ((int(trips[group.lead]), group) for group in plan.groups if trips[group.lead] >= 0)
        weigh((int(plan.trips.site[trip]), trip, group, None) for trip, group in own)
    weigh((other.site, other.trip, group, other) for group in plan.groups for other in group.others if other.months)
    return largest


def _leg(
    plan: Plan,
    site: int,
    group: CardGroup,
    other: OtherCircuit | None,
    trip: int,
    lonlat: FloatArray,
    *,
    loaded: bool,
) -> _Leg:
    """Name a leg by its fill site and the run of addresses it serves."""
    trips = plan.trips
    there = _run(plan, group)
    minutes, miles = (trips.out_min, trips.out_mi) if loaded else (trips.back_min, trips.back_mi)
    way = f"to {there}, loaded" if loaded else f"from {there}, empty"
    count = len(group.addresses)
    far = f"{minutes[trip]:.1f} min, {miles[trip]:.2f} mi; true to about 2 m; {count} address{'es' * (count != 1)}"
    when, *told = _then(plan, group, other) if other else _planned(plan, group, trip)
    return _Leg(
        kind="out" if loaded else "back",
        name=f"{_name(plan.sites[site], site + 1)}: {way}{when}",
        about="; ".join(filter(None, (far, *told))),
        lonlat=lonlat,
    )


def _planned(plan: Plan, group: CardGroup, trip: int) -> Iterator[str]:
    """Say when a circuit is driven, behind a comma, by whom, and in which months its way does not hold."""
    second = bool(trip == plan.answers.shown(plan.levels.split_trip)[group.lead])
    driven_in = circuits.months_driven(plan, group.lead, second=second)
    always = len(driven_in) == sum(len(season.months) for season in plan.seasons)
    yield "" if always else f", in {month_words(driven_in)} only"
    yield circuits.drivers_words(plan, group.lead, second=second)
    for flag in circuits.not_this_way(plan, group.lead, second=second):
        yield named_words(plan, replace(flag, circuit=0)).removesuffix(".")


def _then(plan: Plan, group: CardGroup, other: OtherCircuit) -> tuple[str, str]:
    """Say when a circuit of other months is driven, behind a comma, and by whom."""
    return f", in {month_words(other.months)} only", circuits.then_words(plan, group.lead, other)


def _run(plan: Plan, group: CardGroup) -> str:
    """Say which addresses a group holds."""
    if not group.road:
        return str(plan.addresses.label[group.lead])
    ends = sorted({number for number in (group.first_number, group.last_number) if number >= 0})
    return " ".join(filter(None, ("-".join(map(str, ends)), called(group.road))))


# --------------------------------------------------------------------------- words


def _title(plan: Plan) -> str:
    return f"Fill sites, {plan.district.name}, {plan.district.date}"


def _notice(legs: list[_Leg]) -> str:
    """Caution; and name the roads' licence where roads are copied."""
    return f"{CAUTIONS} {ROAD_CREDIT}" if legs else CAUTIONS


def _name(site: FillSite, number: int) -> str:
    """Begin with the number that the site has on map and cards; say at once when it cannot be used."""
    return f"{number} {site.name}" + ("" if site.in_service else " - OUT OF SERVICE")


def _point_name(site: FillSite, number: int) -> str:
    """Name a point with its season: a receiver lists the name alone."""
    return _name(site, number) + (f" - {month_words(site.months)} only" if site.in_service and site.seasonal else "")


def _about(site: FillSite) -> str:
    facts = (
        site.kind,
        rate_words(site),
        month_words(site.months),
        f"connection: {site.connection}" if site.connection else "",
        f"id {site.site_id}",
        site.notes,
    )
    return "; ".join(fact for fact in facts if fact)


def _text(text: str) -> str:
    return escape(NOT_XML.sub(" ", text))


def _html(text: str) -> str:
    """Write a description of KML, which programs show as HTML: other people's tags stand there as they wrote them."""
    return _text(escape(text))
