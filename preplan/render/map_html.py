"""A finished plan -> the map as one page that opens with no network, as a string.

The page holds Leaflet, its own script and style, the plan's data and, for readers with scripts off, a still
map. A policy in its head forbids every request and every script but these, each named by its hash; a link
forgotten in the page then fails in a test, not in the truck.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Mapping
from html import escape
from importlib.resources import files
from typing import Any

import folium
from branca.element import Figure, MacroElement
from folium.template import Template

from preplan.plan import Plan
from preplan.render import words
from preplan.render.map_data import map_data
from preplan.render.map_frame import view_frame
from preplan.render.map_svg import fill_site_table, still_legend, still_map
from preplan.rules import tile_host

SCRIPTS = (
    "map_decode.js",
    "map_routes.js",
    "map_what_if.js",
    "map_symbols.js",
    "map_stamps.js",
    "map_canvas.js",
    "map_strip.js",
    "map_strip_panel.js",
    "map_panel.js",
    "map_depends.js",
    "map_what_if_panel.js",
    "map_search.js",
    "map_start.js",
)
"""The page's own script, in the order in which its parts build on each other."""
PLACES = {name: f"<!-- place of {name} -->" for name in ("title", "head", "before", "after")}
"""What the templates of folium are given instead of texts: it takes whatever it has rendered for a template once
more, so that braces in other people's text would be run. The texts come in afterwards."""
MOST_ZOOM, LEAST_ZOOM = 19, 7


class PlanMap(folium.Map):
    """A folium map without its links to other hosts, with a head and a body of our own."""

    # Lists of this class: those of folium's own class would be shared by every map of the process.
    default_js: list[tuple[str, str]] = []  # noqa: RUF012 - declared so by folium
    default_css: list[tuple[str, str]] = []  # noqa: RUF012
    _template = Template(
        """
        {%- macro header(this, kwargs) -%}{{ this.places.head }}{%- endmacro -%}
        {%- macro html(this, kwargs) -%}{{ this.places.before }}
        <div class="folium-map" id={{ this.get_name()|tojson }}></div>
        {{ this.places.after }}{%- endmacro -%}
        {%- macro script(this, kwargs) -%}
        const planMap = L.map({{ this.get_name()|tojson }}, {
            center: {{ this.location|tojson }}, crs: L.CRS.{{ this.crs }}, ...{{ this.options|tojavascript }}
        });
        const {{ this.get_name() }} = planMap;
        {%- endmacro -%}
        """
    )

    places = PLACES

    def __init__(self, plan: Plan) -> None:
        """Centre on the plan; the script fits the view."""
        frame = view_frame(plan)
        super().__init__(
            location=[(frame.south + frame.north) / 2, (frame.west + frame.east) / 2],
            zoom_start=12,
            tiles=None,
            zoom_animation=False,
            fade_animation=False,
            attribution_control=True,
        )
        # Without tiles nothing else tells Leaflet how far to zoom.
        self.options |= {"minZoom": LEAST_ZOOM, "maxZoom": MOST_ZOOM, "zoomSnap": 0.5}
        self._id = "plan"


class PlanScript(MacroElement):
    """The page's own script, after the map and its layers."""

    _template = Template("{%- macro script(this, kwargs) -%}{{ this.source }}{%- endmacro -%}")

    def __init__(self, source: str) -> None:
        """Keep the source."""
        super().__init__()  # type: ignore[no-untyped-call]
        self._name, self._id = "PlanScript", "plan"
        self.source = source


def map_page(plan: Plan) -> str:
    """Write the whole page; the same plan gives the same text."""
    tiles_from = tile_host(plan.district.tiles)
    page = PlanMap(plan)
    if tiles_from:
        page.add_child(_tiles(plan.district.tiles, tiles_from))
    page.add_child(PlanScript(_own_script()))
    figure = Figure(title=PLACES["title"])
    figure.add_child(page)
    frame = str(figure.render()).replace("<html>", '<html lang="en">', 1)
    texts = {
        "title": escape(f"{words.printable(plan.district.name)}: water supply map"),
        "head": _head(""),
        "before": _header(plan, tiles=bool(tiles_from)),
        "after": _after(plan),
    }
    policy = _policy(_filled(frame, texts), tiles_from)
    return _filled(frame, texts | {"head": _head(policy)})


def _filled(frame: str, texts: Mapping[str, str]) -> str:
    """Put the texts into their places, all in one pass: a text that names a place stays a text."""
    places = {place: texts[name] for name, place in PLACES.items()}
    return re.sub("|".join(map(re.escape, places)), lambda found: places[found[0]], frame)


def embedded_json(data: dict[str, Any]) -> str:
    r"""Write JSON that may stand inside a script element: no markup, no line ends of its own.

    Raises
    ------
    ValueError
        Where a number is not finite.

    >>> embedded_json({"label": "</script>\u2028&"})
    '{"label":"\\u003c/script\\u003e\\u2028\\u0026"}'
    """
    text = json.dumps(data, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("<", r"\u003c").replace(">", r"\u003e").replace("&", r"\u0026")


def _asset(name: str) -> str:
    return files("preplan.render").joinpath("assets", name).read_text(encoding="utf-8")


def _inline_script(text: str) -> str:
    """Make a script fit to stand in the page: no end tag inside, no link to a source map beside it."""
    bare = re.sub(r"\n?//# sourceMappingURL=.*", "", text)
    return re.sub(r"</(script)", r"<\\/\1", bare, flags=re.IGNORECASE)


def _own_script() -> str:
    """Join the parts of the page's own script, without comments and indents, which are for who reads the sources."""
    lines = (line.strip() for name in SCRIPTS for line in _asset(name).splitlines())
    source = "\n".join(line for line in lines if line and not line.startswith("//"))
    return _inline_script(f'(function () {{\n"use strict";\n{source}}})();')


def _style(name: str) -> str:
    """Read a style without comments and indents, likewise."""
    lines = (line.strip() for line in re.sub(r"/\*.*?\*/", "", _asset(name), flags=re.DOTALL).splitlines())
    return "\n".join(line for line in lines if line)


def _head(policy: str) -> str:
    """Write policy, styles and Leaflet; the pictures that Leaflet's style names are not used here."""
    leaflet_style = re.sub(r"url\([^)]*\)", "none", _style("leaflet.css"))
    return "\n".join(
        [
            policy,
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            '<meta name="referrer" content="no-referrer">',
            f"<style>{leaflet_style}</style>",
            f"<style>{_style('map.css')}</style>",
            f"<noscript><style>{_style('still.css')}</style></noscript>",
            f"<!-- Leaflet, the script below:\n{_asset('LEAFLET-LICENSE.txt')}-->",
            f"<script>{_inline_script(_asset('leaflet.js'))}</script>",
        ]
    )


def _header(plan: Plan, *, tiles: bool) -> str:
    online = '<button type="button" id="tiles" aria-pressed="false">Online background</button>' if tiles else ""
    what_if = '<button type="button" id="what-if">What if</button>' if plan.what_if is not None else ""
    return f"""<header>
<h1>{escape(words.printable(plan.district.name))}</h1>
<div class="search">
<input type="search" id="search" placeholder="Address, road, fill site, unit"
 aria-label="Search an address, its ID, a road, a fill site, a station or a unit"
 role="combobox" aria-expanded="false" aria-controls="found" aria-autocomplete="list" autocomplete="off"
 spellcheck="false">
<ul id="found" role="listbox" aria-label="What is found" hidden></ul>
</div>
<button type="button" id="legend">Legend</button>
{what_if}
<button type="button" id="lists" aria-label="Lists: fill sites, units, bridges, closures">Lists</button>
<button type="button" id="whole" aria-label="Whole district">Whole<span class="more"> district</span></button>
<button type="button" id="night" aria-pressed="false">Night</button>
<button type="button" id="print">Print</button>
{online}
</header>"""


def _after(plan: Plan) -> str:
    """Write panel, data, the page for scripts off, and the cautions."""
    dated = escape(words.data_words(plan.district))
    return f"""<div id="sheet-head"></div>
<div id="notes"><div id="banner" role="status" hidden></div><div id="filtered" role="status" hidden></div></div>
<aside aria-label="Details"><button type="button" id="close" aria-label="Close">&times;</button>
<p id="said" role="status"></p><div id="panel-body"></div></aside>
<noscript><main class="still">
<p>Scripts are off: this is the still map. Choosing an address needs scripts; the cards, in
cards.pdf or in the folder cards, do not.</p>
{still_map(plan)}
{still_legend(plan)}
<p>Status colours are not hydrant flow classes.
Drops are fill sites: dashed in some months only, crossed when out of service.</p>
<div class="wide">{fill_site_table(plan)}</div>
</main></noscript>
<footer><strong>{escape(words.CAUTIONS)}</strong> {dated} Road data &copy;
<a href="https://www.openstreetmap.org/copyright" rel="noreferrer">OpenStreetMap contributors</a>, ODbL.</footer>
<script type="application/json" id="plan-data">{embedded_json(map_data(plan))}</script>"""


def _tiles(template: str, source: str) -> folium.TileLayer:
    """Make the online background, off at start; its element name is fixed, for the script and for equal bytes."""
    host = source.split("://", 1)[1].removeprefix("*.")
    layer = folium.TileLayer(tiles=template, attr=host, name="online", show=False, max_zoom=MOST_ZOOM)
    layer._name, layer._id = "tile_layer", "online"  # noqa: SLF001 - folium offers no other way to fix its name
    return layer


def _policy(html: str, tile_source_: str) -> str:
    """Write the policy: nothing from anywhere but the scripts and styles of this page, by their hashes."""
    hashes = {
        tag: " ".join(_hash(text) for text in re.findall(rf"<{tag}>(.*?)</{tag}>", html, re.DOTALL))
        for tag in ("script", "style")
    }
    rules = [
        "default-src 'none'",
        f"script-src {hashes['script']}",
        f"style-src {hashes['style']}",
        f"img-src data: blob: {tile_source_}".strip(),
        "connect-src 'none'",
        "base-uri 'none'",
        "form-action 'none'",
    ]
    return f'<meta http-equiv="Content-Security-Policy" content="{"; ".join(rules)}">'


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"
