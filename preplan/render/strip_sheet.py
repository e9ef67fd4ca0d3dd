"""The timeline strip as a file of its own: PDF, SVG or PNG, all laid out alike."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from preplan.plan_cards import Strip
from preplan.render import paper, strip, strip_pdf, strip_png, strip_svg
from preplan.render.scene import Box
from preplan.render.strip import Part, Words
from preplan.render.words import CAUTIONS, printable

WIDTH_PT, HEIGHT_PT = 576.0, 216.0
"""8 x 3 in."""
_MARGIN_PT = 18.0
_LINE_PT = strip.TEXT_PT * paper.LEADING

_DRAWERS: Mapping[str, Callable[[list[Part], float, float, str], bytes]] = MappingProxyType(
    {".pdf": strip_pdf.document, ".svg": strip_svg.document, ".png": strip_png.document}
)


def sheet(lines: Strip, title: str, ending: str) -> bytes:
    """Draw a strip with its title, what the marks mean, and the cautions; the same bytes every time.

    Parameters
    ----------
    lines
        What to show.
    title
        One line above it.
    ending
        `.pdf`, `.svg` or `.png`.

    Raises
    ------
    KeyError
        For another ending.
    """
    return _DRAWERS[ending](layout(lines, title), WIDTH_PT, HEIGHT_PT, printable(title))


def layout(lines: Strip, title: str) -> list[Part]:
    """Lay out the whole sheet, in points up from its lower left."""
    width = WIDTH_PT - 2 * _MARGIN_PT
    top = HEIGHT_PT - _MARGIN_PT
    said = paper.ellipsis(printable(title), strip.TEXT_PT, width)
    foot = paper.wrap(CAUTIONS, strip.TEXT_PT, width)
    low = _MARGIN_PT + len(foot) * _LINE_PT + 4.0
    box = Box(_MARGIN_PT, low, WIDTH_PT - _MARGIN_PT, top - _LINE_PT - 4.0)
    return [
        Words(_MARGIN_PT, top - strip.TEXT_PT, said),
        *strip.picture(lines, box, strip_pdf.measure, legend=True),
        *(
            Words(_MARGIN_PT, _MARGIN_PT + (len(foot) - 1 - at) * _LINE_PT, line)
            for at, line in enumerate(foot)
        ),
    ]  # fmt: skip
