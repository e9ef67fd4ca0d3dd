"""The timeline strip on paper: into a box of a page, or as a document of its own."""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import partial

import numpy as np
from reportlab.pdfgen.canvas import Canvas

from preplan.plan_cards import Strip
from preplan.records import FloatArray
from preplan.render import lettering_pdf, strip
from preplan.render.pen_pdf import Pen
from preplan.render.route_pdf import lines_code, path_code
from preplan.render.scene import Box

_DIGITS = 2


def measure(said: str) -> float:
    """Give the width in points of a text of the strip, in the program's own font."""
    return lettering_pdf.width_of(said, strip.TEXT_PT)


def draw(pen: Pen, page: Box, lines: Strip, *, legend: bool = False) -> None:
    """Draw a strip into a box of the page, in points; at least 200 x 60, well at 540 x 94 (7.5 x 1.3 in)."""
    _draw(pen, strip.picture(lines, page, measure, legend=legend))


def _draw(pen: Pen, parts: Sequence[strip.Part]) -> None:
    pen.save()
    pen.put("1 j")  # corners of lines are round
    for part in parts:
        if isinstance(part, strip.Stroke):
            pen.again(("stroke", part.shade, part.width_pt, part.dash_pt), partial(_take_up, pen, part))
            pen.path(_code(part.paths))
        elif isinstance(part, strip.Area):
            pen.ink((part.shade,) * 3, (part.shade,) * 3)
            pen.path(f"{path_code(part.points, _DIGITS)} h", stroke=False, fill=True)
        else:
            pen.ink((strip.BLACK,) * 3, (strip.BLACK,) * 3)
            pen.text(part.x, part.y, part.said, strip.TEXT_PT)
    pen.restore()


def _take_up(pen: Pen, stroke: strip.Stroke) -> None:
    """Set colour, width and dashes of a stroke."""
    pen.ink((stroke.shade,) * 3, (stroke.shade,) * 3)
    pen.width(stroke.width_pt)
    pen.dash(*(stroke.dash_pt or ()))


def _code(paths: tuple[FloatArray, ...] | FloatArray) -> str:
    if isinstance(paths, np.ndarray):
        return lines_code(paths, _DIGITS)
    return " ".join([path_code(one, _DIGITS) for one in paths])


def document(parts: Sequence[strip.Part], width_pt: float, height_pt: float, title: str) -> bytes:
    """Draw parts as a PDF of one page; the same bytes every time."""
    lettering_pdf.load_fonts()
    buffer = io.BytesIO()
    canvas = Canvas(
        buffer, pagesize=(width_pt, height_pt), invariant=1, pageCompression=1, initialFontName=lettering_pdf.REGULAR,
        lang="en-US",
    )  # fmt: skip
    canvas.setTitle(title)
    canvas.setAuthor("preplan")
    _draw(Pen(canvas), parts)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()
