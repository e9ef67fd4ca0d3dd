"""The timeline strip as a picture of pixels."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from preplan.records import FloatArray
from preplan.render import lettering_pdf, strip
from preplan.render.words import printable

DOTS_PER_INCH = 200
_FINER = 3  # drawn so much larger, then made smaller: edges come out smooth
_PT_PER_INCH = 72.0


def document(parts: Sequence[strip.Part], width_pt: float, height_pt: float, title: str) -> bytes:
    """Draw parts as a grey PNG of 200 dots an inch; the same bytes every time."""
    scale = DOTS_PER_INCH * _FINER / _PT_PER_INCH
    size = round(width_pt * scale / _FINER), round(height_pt * scale / _FINER)
    picture = Image.new("L", (size[0] * _FINER, size[1] * _FINER), 255)
    pen = _Pen(ImageDraw.Draw(picture), scale, height_pt)
    for part in parts:
        if isinstance(part, strip.Stroke):
            pen.stroke(part)
        elif isinstance(part, strip.Area):
            pen.area(part)
        else:
            pen.words(part)
    buffer = io.BytesIO()
    picture.reduce(_FINER).save(buffer, "PNG", dpi=(DOTS_PER_INCH, DOTS_PER_INCH), optimize=True, pnginfo=_about(title))
    return buffer.getvalue()


def _about(title: str) -> object:
    from PIL.PngImagePlugin import PngInfo  # noqa: PLC0415 - one use

    info = PngInfo()
    info.add_itxt("Title", title)
    return info


class _Pen:
    """Draws on pixels that count from the upper left."""

    def __init__(self, drawing: ImageDraw.ImageDraw, scale: float, height_pt: float) -> None:
        self.drawing, self.scale, self.height_pt = drawing, scale, height_pt
        self.font = ImageFont.truetype(str(lettering_pdf.font_file(lettering_pdf.REGULAR)), strip.TEXT_PT * scale)

    def _pixels(self, points: FloatArray) -> list[tuple[float, float]]:
        return [(x * self.scale, (self.height_pt - y) * self.scale) for x, y in points.tolist()]

    def stroke(self, part: strip.Stroke) -> None:
        width = max(1, round(part.width_pt * self.scale))
        for path in part.paths:
            pieces = [path] if part.dash_pt is None else dashes(path, *part.dash_pt)
            for piece in pieces:
                self.drawing.line(self._pixels(piece), fill=round(255 * part.shade), width=width, joint="curve")

    def area(self, part: strip.Area) -> None:
        self.drawing.polygon(self._pixels(part.points), fill=round(255 * part.shade))

    def words(self, part: strip.Words) -> None:
        place = part.x * self.scale, (self.height_pt - part.y) * self.scale
        self.drawing.text(place, printable(part.said), fill=0, font=self.font, anchor="ls")


def dashes(path: FloatArray, drawn: float, left_out: float) -> Iterator[FloatArray]:
    """Cut a line through (n, 2) points into the pieces that a dashed pen draws.

    >>> [piece[:, 0].tolist() for piece in dashes(np.array([[0.0, 0.0], [5.0, 0.0]]), 1.0, 2.0)]
    [[0.0, 1.0], [3.0, 4.0]]
    """
    along = np.append(0.0, np.hypot(*np.diff(path, axis=0).T).cumsum())
    for start in np.arange(0.0, along[-1], drawn + left_out).tolist():
        stop = min(start + drawn, float(along[-1]))
        inside = along[(along > start) & (along < stop)]
        at = np.concatenate([[start], inside, [stop]])
        yield np.column_stack([np.interp(at, along, path[:, 0]), np.interp(at, along, path[:, 1])])
