"""Styles for QGIS as QML: the same shape and shade for a status as on the map and the cards.

Only what QGIS 3.22 and later read by themselves: simple markers, lines, and drawings carried inside the style.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from xml.sax.saxutils import quoteattr

from preplan.plan_tables import STATUSES
from preplan.render.kind_marks import svg_path
from preplan.render.words import status_words

DARK = "29,36,41,255"
WHITE = "255,255,255,255"
CLEAR = "255,255,255,0"
GREY = "111,118,123,255"
_STATUS_MARKS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "served": {"name": "circle", "color": "0,114,178,255", "outline_color": WHITE, "size": "2.6"},
        "higher level": {"name": "square", "color": "240,228,66,255", "outline_color": DARK, "size": "2.6"},
        "not met": {"name": "triangle", "color": "0,0,0,255", "outline_color": "0,0,0,255", "size": "3"},
        "no route": {"name": "cross2", "color": DARK, "outline_color": DARK, "size": "2.8", "outline_width": "0.8"},
        "hydrant": {"name": "circle", "color": CLEAR, "outline_color": GREY, "size": "1.6"},
    }
)
"""One status, one shape, one shade."""
_DROP = "M12 1.5C14 7 21.5 12 21.5 19.5A9.5 9.5 0 0 1 2.5 19.5C2.5 12 10 7 12 1.5Z"
_HOUSE = "M2 20V10L12 3L22 10V20Z"


@dataclass(frozen=True, slots=True)
class _Look:
    """How one layer is drawn."""

    renderer: str
    """The element `renderer-v2`."""
    label: str = ""
    """Column printed on the symbols, '' for none."""


def layer_styles(
    reach_ft: float, fill_sites: Iterable[tuple[str, str]], titles: Mapping[str, Mapping[str, str]]
) -> dict[str, str]:
    """Return the style of each layer that has one, by the layer's name.

    Parameters
    ----------
    reach_ft
        Distance within which a hydrant counts, ft; printed with its status.
    fill_sites
        (kind, use) of the fill sites there are; use is 'all year', 'seasonal' or 'out of service'.
    titles
        Title of each column by its name, for each layer: QGIS reads titles from the style, not from the file.
    """
    looks = _looks(reach_ft, fill_sites)
    return {name: _qml(look, titles.get(name, {})) for name, look in looks.items()}


def _looks(reach_ft: float, fill_sites: Iterable[tuple[str, str]]) -> dict[str, _Look]:
    """Say how each layer is drawn."""
    drops = [(f"{kind}, {use}", f"{kind}, {use}", _drawing(_drop(kind, use), "7")) for kind, use in fill_sites]
    return {
        "addresses": _categorised(
            "status", [(status, status_words(status, reach_ft), _status_mark(status)) for status in STATUSES], "marker"
        ),
        "fill_sites": _categorised("concat(kind, ', ', use)", drops, "marker", label="number"),
        "stations": _single(_drawing(_svg(24, 24, _path(_HOUSE)), "6"), "marker", label="number"),
        "routes": _categorised(
            "leg",
            [("out", "out, loaded", _road_line(solid=True)), ("back", "back, empty", _road_line(solid=False))],
            "line",
        ),
        "roads_used": _single(_line("110,110,110,255", "0.7"), "line"),
        "bridges": _categorised(
            "kind",
            [
                ("posted bridge", "posted bridge", _line(DARK, "1.8") + _line(WHITE, "0.9")),
                (
                    "posted bridge, weight unknown",
                    "bridge, posted, but no weight: unknown",
                    _line(DARK, "1.8") + _line(WHITE, "0.9", "dash dot"),
                ),
                ("posted road", "posted road", _line(DARK, "1.2", "dash")),
                ("unposted bridge", "bridge, no posting: unknown", _line(DARK, "1.8") + _line(WHITE, "0.9", "dot")),
            ],
            "line",
        ),
        "problems": _single(
            _marker({"name": "diamond", "color": WHITE, "outline_color": DARK, "size": "2.6"}), "marker"
        ),
    }


# --------------------------------------------------------------------------- symbols


def _status_mark(status: str) -> str:
    return _marker({"outline_width": "0.3", **_STATUS_MARKS[status]})


def _marker(options: Mapping[str, str]) -> str:
    return _layer("SimpleMarker", {"outline_style": "solid", "size_unit": "MM", "joinstyle": "miter", **options})


def _line(colour: str, width_mm: str, pen: str = "solid") -> str:
    return _layer(
        "SimpleLine",
        {
            "line_color": colour, "line_width": width_mm, "line_width_unit": "MM", "line_style": pen,
            "capstyle": "flat", "joinstyle": "round",
        },
    )  # fmt: skip


def _road_line(*, solid: bool) -> str:
    """Draw a route: black casing, light core, dashed for the empty way back."""
    return _line(DARK, "1.4") + _line(WHITE, "0.8", "solid" if solid else "dash")


def _drawing(svg: str, size_mm: str) -> str:
    name = "base64:" + b64encode(svg.encode()).decode("ascii")
    return _layer(
        "SvgMarker", {"name": name, "size": size_mm, "size_unit": "MM", "color": WHITE, "outline_color": DARK}
    )


def _drop(kind: str, use: str) -> str:
    """Draw a fill site: an upright drop with the mark of its kind, dashed when seasonal, crossed out of service."""
    parts = _path(_DROP, dash="3 2" if use == "seasonal" else "")
    parts += _path(svg_path(kind, 4.2, 12.0, 23.8), fill="none", width=1.2)
    if use == "out of service":
        parts += _path("M2 6L22 29M22 6L2 29", fill="none")
    return _svg(24, 32, parts)


def _svg(width: int, height: int, parts: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}"'
        f' viewBox="0 0 {width} {height}">{parts}</svg>'
    )


def _path(d: str, fill: str = "#ffffff", width: float = 1.8, dash: str = "") -> str:
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{d}" fill="{fill}" stroke="#1d2429" stroke-width="{width}" stroke-linejoin="round"{dashes}/>'


# --------------------------------------------------------------------------- QML


def _categorised(attribute: str, rows: Iterable[tuple[str, str, str]], kind: str, label: str = "") -> _Look:
    """Draw by category; each row is (value, words of the legend, symbol layers)."""
    listed = list(rows)
    categories = "".join(
        f'<category render="true" symbol="{n}" value={quoteattr(value)} label={quoteattr(words)}/>'
        for n, (value, words, _) in enumerate(listed)
    )
    symbols = "".join(_symbol(n, layers, kind) for n, (_, _, layers) in enumerate(listed))
    return _Look(
        f'<renderer-v2 type="categorizedSymbol" attr={quoteattr(attribute)} forceraster="0" symbollevels="0"'
        f' enableorderby="0"><categories>{categories}</categories><symbols>{symbols}</symbols></renderer-v2>',
        label,
    )


def _single(layers: str, kind: str, label: str = "") -> _Look:
    return _Look(
        '<renderer-v2 type="singleSymbol" forceraster="0" symbollevels="0" enableorderby="0">'
        f"<symbols>{_symbol(0, layers, kind)}</symbols></renderer-v2>",
        label,
    )


def _symbol(number: int, layers: str, kind: str) -> str:
    return f'<symbol type="{kind}" name="{number}" alpha="1" clip_to_extent="1" force_rhr="0">{layers}</symbol>'


def _layer(kind: str, options: Mapping[str, str]) -> str:
    listed = "".join(f'<Option type="QString" name={quoteattr(k)} value={quoteattr(v)}/>' for k, v in options.items())
    old = "".join(f"<prop k={quoteattr(k)} v={quoteattr(v)}/>" for k, v in options.items())
    return f'<layer class="{kind}" enabled="1" locked="0" pass="0"><Option type="Map">{listed}</Option>{old}</layer>'


def _qml(look: _Look, titles: Mapping[str, str]) -> str:
    """Write the whole style of a layer; the order of its parts is the one QGIS writes."""
    aliases = "".join(
        # Column 0 is the feature id, which the file adds.
        f'<alias index="{n}" field={quoteattr(column)} name={quoteattr(title)}/>'
        for n, (column, title) in enumerate(titles.items(), start=1)
    )
    return (
        "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>"
        f'<qgis version="3.22" styleCategories="Symbology|Labeling|Fields" labelsEnabled="{int(bool(look.label))}">'
        f"{look.renderer}{_labels(look.label) if look.label else ''}<aliases>{aliases}</aliases></qgis>"
    )


def _labels(column: str) -> str:
    """Print a column on the symbol itself."""
    return (
        '<labeling type="simple"><settings calloutType="simple">'
        f'<text-style fieldName={quoteattr(column)} isExpression="0" fontSize="7" fontSizeUnit="Point" fontWeight="75"'
        f' textColor="{DARK}"/>'
        '<placement placement="1" quadOffset="4" xOffset="0" yOffset="0" offsetUnits="MM" offsetType="0"/>'
        '<rendering displayAll="1" obstacle="0" drawLabels="1"/></settings></labeling>'
    )
