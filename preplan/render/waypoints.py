"""Fill sites as waypoints for the tablets and receivers that units carry: GPX 1.1 and KML 2.2.

Names and notes are other people's text: escaped, and rid of the characters that XML cannot hold.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

from preplan.render.words import CAUTIONS, months, rate_words

if TYPE_CHECKING:
    from preplan.plan import Plan
    from preplan.records import FillSite

_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What XML 1.0 cannot hold, even escaped (Extensible Markup Language 1.0, production 2)."""


def fill_sites_gpx(plan: Plan) -> bytes:
    """Write every fill site, those out of service included and marked, as a GPX waypoint."""
    points = "".join(
        f'<wpt lat="{site.lat:.6f}" lon="{site.lon:.6f}"><name>{_text(_name(site, number))}</name>'
        f"<desc>{_text(_about(site))}</desc><sym>Water Source</sym><type>{_text(site.kind)}</type></wpt>\n"
        for number, site in enumerate(plan.sites, start=1)
    )
    return (
        f'{_HEAD}<gpx version="1.1" creator="preplan" xmlns="http://www.topografix.com/GPX/1/1">\n'
        f"<metadata><name>{_text(_title(plan))}</name><desc>{_text(CAUTIONS)}</desc></metadata>\n{points}</gpx>\n"
    ).encode()


def fill_sites_kml(plan: Plan) -> bytes:
    """Write every fill site, those out of service included and marked, as a KML placemark."""
    points = "".join(
        f"<Placemark><name>{_text(_name(site, number))}</name><description>{_text(_about(site))}</description>"
        f"<Point><coordinates>{site.lon:.6f},{site.lat:.6f}</coordinates></Point></Placemark>\n"
        for number, site in enumerate(plan.sites, start=1)
    )
    return (
        f'{_HEAD}<kml xmlns="http://www.opengis.net/kml/2.2"><Document><name>{_text(_title(plan))}</name>'
        f"<description>{_text(CAUTIONS)}</description>\n{points}</Document></kml>\n"
    ).encode()


def _title(plan: Plan) -> str:
    return f"Fill sites, {plan.district.name}, {plan.district.date}"


def _name(site: FillSite, number: int) -> str:
    """Begin with the number that the site has on map and cards; say at once when it cannot be used."""
    return f"{number} {site.name}" + ("" if site.in_service else " - OUT OF SERVICE")


def _about(site: FillSite) -> str:
    facts = (
        site.kind,
        rate_words(site),
        months(site.months),
        f"connection: {site.connection}" if site.connection else "",
        f"id {site.site_id}",
        site.notes,
    )
    return "; ".join(fact for fact in facts if fact)


def _text(text: str) -> str:
    return escape(_NOT_XML.sub(" ", text))
