"""The timeline strip on paper: into a box of a page, or as a document of its own."""

from __future__ import annotations

import io
from collections.abc import Sequence

from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from preplan.render import paper, strip
from preplan.render.charts import path_code
from preplan.render.paper import Pen
from preplan.render.scene import Box

_DIGITS = 2


def measure(said: str) -> float:
    """Give the width in points of a text of the strip, in the program's own font."""
    return paper.width_of(said, strip.TEXT_PT)


def draw(pen: Pen, page: Box, lines: strip.StripLines, *, legend: bool = False) -> None:
    """Draw a strip into a box of the page, in points; at least 200 x 60, well at 540 x 94 (7.5 x 1.3 in)."""
    _draw(pen, strip.picture(lines, page, measure, legend=legend))


def _draw(pen: Pen, parts: Sequence[strip.Part]) -> None:
    canvas = pen.canvas
    canvas.saveState()
    canvas.setLineJoin(1)
    for part in parts:
        if isinstance(part, strip.Stroke):
            canvas.setStrokeGray(part.shade)
            canvas.setLineWidth(part.width_pt)
            canvas.setDash(list(part.dash_pt or ()))
            canvas.drawPath(PDFPathObject(["n", *(path_code(one, _DIGITS) for one in part.paths)]), stroke=1, fill=0)
        elif isinstance(part, strip.Area):
            canvas.setFillGray(part.shade)
            canvas.drawPath(PDFPathObject(["n", path_code(part.points, _DIGITS), "h"]), stroke=0, fill=1)
        else:
            canvas.setFillGray(strip.BLACK)
            pen.text(part.x, part.y, part.said, strip.TEXT_PT)
    canvas.restoreState()


def document(parts: Sequence[strip.Part], width_pt: float, height_pt: float, title: str) -> bytes:
    """Draw parts as a PDF of one page; the same bytes every time."""
    paper.load_fonts()
    buffer = io.BytesIO()
    canvas = Canvas(
        buffer, pagesize=(width_pt, height_pt), invariant=1, pageCompression=1, initialFontName=paper.REGULAR,
        lang="en-US",
    )  # fmt: skip
    canvas.setTitle(title)
    canvas.setAuthor("preplan")
    _draw(Pen(canvas), parts)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()
