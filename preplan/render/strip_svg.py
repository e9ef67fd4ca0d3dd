"""The timeline strip as SVG text."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from preplan.records import FloatArray
from preplan.render import strip
from preplan.render.strip_pdf import measure
from preplan.render.words import printable

_FONTS = "'DejaVu Sans', Verdana, sans-serif"


def document(parts: Sequence[strip.Part], width_pt: float, height_pt: float, title: str) -> bytes:
    """Draw parts as one SVG that needs nothing else; a text keeps its width whatever the reader's font."""
    drawn = "\n".join(_part(part, height_pt) for part in parts)
    said = escape(printable(title))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width_pt:g}pt" height="{height_pt:g}pt" '
        f'viewBox="0 0 {width_pt:g} {height_pt:g}" role="img" aria-label="{said}" '
        f'font-family="{_FONTS}" font-size="{strip.TEXT_PT:g}" fill="none" stroke-linejoin="round">\n'
        f"<title>{said}</title>\n"
        f'<rect width="{width_pt:g}" height="{height_pt:g}" fill="#ffffff"/>\n'
        f"{drawn}\n</svg>\n"
    ).encode()


def _part(part: strip.Part, height_pt: float) -> str:
    if isinstance(part, strip.Stroke):
        dash = "" if part.dash_pt is None else f' stroke-dasharray="{part.dash_pt[0]:g} {part.dash_pt[1]:g}"'
        path = "".join(_path(one, height_pt) for one in part.paths)
        return f'<path d="{path}" stroke="{_shade(part.shade)}" stroke-width="{part.width_pt:g}"{dash}/>'
    if isinstance(part, strip.Area):
        return f'<path d="{_path(part.points, height_pt)}Z" fill="{_shade(part.shade)}"/>'
    width = measure(part.said)
    return (
        f'<text x="{part.x:.2f}" y="{height_pt - part.y:.2f}" textLength="{width:.2f}" '
        f'lengthAdjust="spacingAndGlyphs" fill="{_shade(strip.BLACK)}">{escape(printable(part.said))}</text>'
    )


def _path(points: FloatArray, height_pt: float) -> str:
    return "M" + "L".join(f"{x:.2f} {height_pt - y:.2f}" for x, y in points.tolist())


def _shade(shade: float) -> str:
    return "#" + f"{round(255 * shade):02x}" * 3
