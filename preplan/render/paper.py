"""What every page on paper shares: fonts, a pen that fits text, the symbols, the header and the cautions."""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeAlias

from reportlab import rl_config
from reportlab.lib.pagesizes import letter
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from preplan.records import FillSite
from preplan.render import words
from preplan.rules import District

PAGE_WIDTH_PT, PAGE_HEIGHT_PT = letter
MARGIN_PT = 36.0
LEFT_PT, RIGHT_PT = MARGIN_PT, PAGE_WIDTH_PT - MARGIN_PT
TOP_PT = PAGE_HEIGHT_PT - MARGIN_PT
FOOT_PT = 66.0
"""Nothing but the footer stands below this."""
SMALL_PT = 8.0
"""No text is smaller."""
BODY_PT = 9.0
LEADING = 1.2
"""Line spacing over text size."""
REGULAR, BOLD = "Preplan", "Preplan-Bold"
BLUE, YELLOW = (0x00 / 255, 0x72 / 255, 0xB2 / 255), (0xF0 / 255, 0xE4 / 255, 0x42 / 255)
_SAME_PLACE_PT = 0.01
BLACK, GREY, WHITE = (0.0, 0.0, 0.0), (0.45, 0.45, 0.45), (1.0, 1.0, 1.0)
_FONTS = Path(__file__).parent / "assets" / "fonts"
_FILES = {REGULAR: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}


@lru_cache(maxsize=1)
def load_fonts() -> None:
    """Make the program's own fonts known to the drawing library, once.

    Pages are also written as plain bytes: the library's default spends a fifth of the time and of the file on
    a text form that no reader needs any more.
    """
    rl_config.useA85 = 0
    for name, file in _FILES.items():
        pdfmetrics.registerFont(TTFont(name, str(_FONTS / file), shapable=False))


@lru_cache(maxsize=20_000)
def _unit_width(said: str, font: str) -> float:
    load_fonts()
    return float(pdfmetrics.stringWidth(said, font, 1.0))


def width_of(said: str, size: float, *, bold: bool = False) -> float:
    """Measure a text, in points."""
    return _unit_width(said, BOLD if bold else REGULAR) * size


def ellipsis(said: str, size: float, width: float, *, bold: bool = False) -> str:
    """Shorten a text with '…' until it fits a width."""
    if width_of(said, size, bold=bold) <= width:
        return said
    low, high = 0, len(said)
    while low < high:
        middle = (low + high + 1) // 2
        fits = width_of(said[:middle].rstrip() + "…", size, bold=bold) <= width
        low, high = (middle, high) if fits else (low, middle - 1)
    return said[:low].rstrip() + "…"


def shrunk(said: str, size: float, least: float, width: float, *, bold: bool = False) -> tuple[str, float]:
    """Make a text smaller, down to `least` points, then shorten it, until it fits a width."""
    need = width_of(said, 1.0, bold=bold)
    fitted = size if need * size <= width else max(least, math.floor(width / need * 2) / 2)
    return ellipsis(said, fitted, width, bold=bold), fitted


def wrap(said: str, size: float, width: float, *, bold: bool = False, most: int | None = None) -> list[str]:
    """Break a text into lines of a width, inside words too long for one; at most `most` lines, the last cut."""
    lines, line, used = [], "", 0.0
    space = width_of(" ", size, bold=bold)
    for word in words.printable(said).split(" "):
        long = width_of(word, size, bold=bold)
        if line and used + space + long <= width:
            line, used = f"{line} {word}", used + space + long
            continue
        if line:
            lines.append(line)
        while long > width and len(word) > 1:
            head = _head_that_fits(word, size, width, bold=bold)
            lines.append(word[:head])
            word = word[head:]  # noqa: PLW2901 - what is left of it
            long = width_of(word, size, bold=bold)
        line, used = word, long
    lines.append(line)
    if most is not None and len(lines) > most:
        rest = " ".join(lines[most - 1 :])
        lines = [*lines[: most - 1], ellipsis(f"{rest} …", size, width, bold=bold)]
    return lines


def _head_that_fits(word: str, size: float, width: float, *, bold: bool) -> int:
    used = 0.0
    for count, character in enumerate(word):
        used += width_of(character, size, bold=bold)
        if used > width:
            return max(1, count)
    return len(word)


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a block of text."""

    said: str
    size: float = BODY_PT
    bold: bool = False
    indent: float = 0.0

    @property
    def height(self) -> float:
        """Give the room that the line takes, in points."""
        return self.size * LEADING


def paragraph(
    said: str,
    width: float,
    size: float = BODY_PT,
    *,
    bold: bool = False,
    indent: float = 0.0,
    most: int | None = None,
) -> list[Line]:
    """Break a text into lines; from the second on they are indented."""
    broken = wrap(said, size, width - indent, bold=bold, most=most)
    return [Line(one, size, bold, indent if at else 0.0) for at, one in enumerate(broken)]


def _cell(said: str, width: float, *, bold: bool = False) -> list[str]:
    """Break a table's cell; one text never fills a page."""
    return wrap(said, SMALL_PT, width - 6.0, bold=bold, most=12)


Run: TypeAlias = tuple[float, float, str, float, bool]
"""A run of text: x and y of its base line's start, what is said, size, bold."""


def height_of(lines: Sequence[Line]) -> float:
    """Give the room that lines take, in points."""
    return sum(line.height for line in lines)


def trimmed(lines: Sequence[Line], height: float, more: str = "addresses.csv") -> list[Line]:
    """Keep the lines that fit into a height; where some are left out, the last says where to find `more`."""
    height += 0.01
    if height_of(lines) <= height:
        return list(lines)
    kept: list[Line] = []
    for line in lines:
        if height_of([*kept, line]) > height:
            break
        kept.append(line)
    return [*kept[:-1], Line(f"… and more: see {more}", SMALL_PT)] if kept else []


class Pen:
    """Draws text and shapes on a canvas; every text passes through `words.printable`."""

    def __init__(self, canvas: Canvas) -> None:
        """Hold a canvas."""
        self.canvas: Any = canvas

    def text(
        self, x: float, y: float, said: str, size: float = BODY_PT, *, bold: bool = False, align: str = "left"
    ) -> None:
        """Write one line whose base line starts, ends (`right`) or is centred (`middle`) at x, y."""
        if align != "left":
            x -= width_of(said, size, bold=bold) * (1.0 if align == "right" else 0.5)
        self.write([(x, y, said, size, bold)])

    def write(self, runs: Iterable[Run]) -> None:
        """Write many runs of text at once, which is faster than one by one."""
        block: Any = None
        font: tuple[bool, float] | None = None
        at = (0.0, 0.0)
        for x, y, said, size, bold in runs:
            if not said:
                continue
            if block is None:
                block, at = self.canvas.beginText(x, y), (x, y)
            if font != (bold, size):
                font = (bold, size)
                block.setFont(BOLD if bold else REGULAR, size, size * LEADING)
            # a line right under one of its own size stands where the pen already is
            if abs(at[0] - x) + abs(at[1] - y) > _SAME_PLACE_PT:
                block.setTextOrigin(x, y)
            block.textLine(said if said.isprintable() else words.printable(said))
            at = (x, y - size * LEADING)
        if block is not None:
            self.canvas.drawText(block)

    def lines(self, x: float, top: float, lines: Sequence[Line]) -> float:
        """Write lines from a top edge down; gives the lower edge."""
        runs: list[Run] = []
        for line in lines:
            top -= line.height
            runs.append((x + line.indent, top + line.size * 0.25, line.said, line.size, line.bold))
        self.write(runs)
        return top

    def rule(self, y: float, left: float = LEFT_PT, right: float = RIGHT_PT, width: float = 0.5) -> None:
        """Draw a level line."""
        self.canvas.setLineWidth(width)
        self.canvas.line(left, y, right, y)

    def ink(self, stroke: tuple[float, float, float], fill: tuple[float, float, float]) -> None:
        """Set the colours of outlines and of areas (text takes the second)."""
        self.canvas.setStrokeColorRGB(*stroke)
        self.canvas.setFillColorRGB(*fill)

    def shape(self, points: Sequence[tuple[float, float]], *, fill: bool = True, closed: bool = True) -> None:
        """Draw a shape through points."""
        path = self.canvas.beginPath()
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        if closed:
            path.close()
        self.canvas.drawPath(path, stroke=1, fill=int(fill))


# --------------------------------------------------------------------------- symbols


def status_mark(pen: Pen, status: str, x: float, y: float, size: float) -> None:
    """Draw a status symbol of a width, centred: one status, one shape, one shade."""
    half = size / 2
    canvas = pen.canvas
    canvas.saveState()
    canvas.setLineWidth(max(0.8, size * 0.1))
    if status == "served":
        pen.ink(BLUE, BLUE)
        canvas.circle(x, y, half, stroke=0, fill=1)
    elif status == "higher level":
        pen.ink(BLACK, YELLOW)
        canvas.rect(x - half * 0.88, y - half * 0.88, size * 0.88, size * 0.88, fill=1)
    elif status == "not met":
        pen.ink(BLACK, BLACK)
        pen.shape([(x - half, y - half * 0.85), (x + half, y - half * 0.85), (x, y + half * 0.95)])
    elif status == "no route":
        canvas.setLineWidth(size * 0.26)
        canvas.line(x - half * 0.8, y - half * 0.8, x + half * 0.8, y + half * 0.8)
        canvas.line(x - half * 0.8, y + half * 0.8, x + half * 0.8, y - half * 0.8)
    else:
        pen.ink(GREY, WHITE)
        canvas.circle(x, y, half * 0.62, stroke=1, fill=0)
    canvas.restoreState()


def star_mark(pen: Pen, x: float, y: float, size: float) -> None:
    """Draw the star of the chosen address's dump site."""
    pen.canvas.saveState()
    pen.ink(WHITE, BLACK)
    pen.canvas.setLineWidth(1.0)
    turns = [math.pi / 2 + k * math.pi / 5 for k in range(10)]
    reach = [size / 2, size / 4.6] * 5
    pen.shape([(x + r * math.cos(t), y + r * math.sin(t)) for r, t in zip(reach, turns, strict=True)])
    pen.canvas.restoreState()


def fill_mark(pen: Pen, site: FillSite, label: str, x: float, y: float, size: float = 18.0) -> None:
    """Draw a fill site: an upright drop with its number, a mark for its kind, dashed when seasonal, crossed if out."""
    canvas, r = pen.canvas, max(size, width_of(label, SMALL_PT, bold=True) + 5.0) / 2
    canvas.saveState()
    pen.ink(BLACK, WHITE)
    canvas.setLineWidth(1.2)
    if site.seasonal:
        canvas.setDash([2.2, 1.6])
    path = canvas.beginPath()
    path.moveTo(x, y + r * 1.9)
    path.curveTo(x + r * 0.35, y + r * 1.25, x + r, y + r * 0.8, x + r, y)
    path.curveTo(x + r, y - r * 1.33, x - r, y - r * 1.33, x - r, y)
    path.curveTo(x - r, y + r * 0.8, x - r * 0.35, y + r * 1.25, x, y + r * 1.9)
    path.close()
    canvas.drawPath(path, stroke=1, fill=1)
    canvas.setDash([])
    _kind_mark(pen, site.kind, x, y - r * 0.63)
    if not site.in_service:
        canvas.setLineWidth(1.0)
        canvas.line(x - r, y - r, x + r, y + r * 1.4)
        canvas.line(x - r, y + r * 1.4, x + r, y - r)
        pen.ink(WHITE, WHITE)
        half = width_of(label, SMALL_PT, bold=True) / 2 + 0.8
        canvas.rect(x - half, y - r * 0.12 - 0.8, 2 * half, SMALL_PT * 0.92, stroke=0, fill=1)
    pen.ink(BLACK, BLACK)
    pen.text(x, y - r * 0.12, label, SMALL_PT, bold=True, align="middle")
    canvas.restoreState()


def _kind_mark(pen: Pen, kind: str, x: float, y: float) -> None:
    """Draw the small inner mark of a fill site's kind, about 7 by 4 points."""
    canvas = pen.canvas
    canvas.setLineWidth(0.9)
    if kind == "draft":
        path = canvas.beginPath()
        path.moveTo(x - 3.6, y)
        path.curveTo(x - 1.8, y + 3.2, x - 1.8, y + 1.0, x, y)
        path.curveTo(x + 1.8, y - 1.0, x + 1.8, y - 3.2, x + 3.6, y)
        canvas.drawPath(path, stroke=1, fill=0)
        return
    pieces = {
        "hydrant": ((-2.5, 0, 2.5, 0), (0, -2, 0, 2)),
        "dry hydrant": ((0, -2, 0, 1.8), (0, 1.8, 2.6, 1.8)),
        "cistern": ((-3, 1.2, 3, 1.2), (-3, -1.2, 3, -1.2)),
        "tank": ((-2.5, 1.8, -2.5, -1.8), (-2.5, -1.8, 2.5, -1.8), (2.5, -1.8, 2.5, 1.8)),
    }
    for x0, y0, x1, y1 in pieces.get(kind, ()):
        canvas.line(x + x0, y + y0, x + x1, y + y1)


def station_mark(pen: Pen, label: str, x: float, y: float, size: float = 15.0) -> None:
    """Draw a station: the outline of a gabled house with its number."""
    half = max(size, width_of(label, SMALL_PT) + 4.0) / 2
    pen.canvas.saveState()
    pen.ink(BLACK, WHITE)
    pen.canvas.setLineWidth(1.0)
    low, eaves, ridge = y - 6.0, y + 4.0, y + 10.0
    pen.shape([(x - half, low), (x + half, low), (x + half, eaves), (x, ridge), (x - half, eaves)])
    pen.ink(BLACK, BLACK)
    pen.text(x, y - 4.0, label, SMALL_PT, align="middle")
    pen.canvas.restoreState()


# --------------------------------------------------------------------------- pages


@dataclass(slots=True)
class Document:
    """One PDF in the making: the same bytes every time, fonts embedded, cautions on every page."""

    district: District
    title: str
    page: int = 0
    pages: int | None = None
    """How many there are in all, where it is known before."""
    buffer: io.BytesIO = field(default_factory=io.BytesIO)
    pen: Pen = field(init=False)
    y: float = TOP_PT
    """Where text that flows goes on."""

    def __post_init__(self) -> None:
        """Open the canvas."""
        load_fonts()
        canvas = Canvas(
            self.buffer, pagesize=letter, invariant=1, pageCompression=1, initialFontName=REGULAR, lang="en-US"
        )
        canvas.setTitle(words.printable(f"{self.title}: {self.district.name}"))
        canvas.setAuthor("preplan")
        canvas.setSubject(words.CAUTIONS)
        self.pen = Pen(canvas)

    def begin(self, right: str = "") -> None:
        """Start a page with its header and footer; a page before it is finished."""
        if self.page:
            self.pen.canvas.showPage()
        self.page += 1
        pen = self.pen
        pen.ink(BLACK, BLACK)
        left = ellipsis(words.printable(f"{self.district.name}: {self.title}"), SMALL_PT, 340.0)
        pen.text(LEFT_PT, TOP_PT - SMALL_PT, left, SMALL_PT)
        pen.text(RIGHT_PT, TOP_PT - SMALL_PT, right or words.date_words(self.district.date), SMALL_PT, align="right")
        pen.rule(TOP_PT - 12.0)
        self.y = TOP_PT - 16.0
        self._footer()

    def _footer(self) -> None:
        pen = self.pen
        pen.rule(FOOT_PT - 4.0)
        cautions = wrap(words.CAUTIONS, SMALL_PT, RIGHT_PT - LEFT_PT, bold=True)
        y = FOOT_PT - 14.0
        for line in cautions:
            pen.text(LEFT_PT, y, line, SMALL_PT, bold=True)
            y -= SMALL_PT * LEADING
        data = f"{words.first_up(words.date_words(self.district.date))}. {words.ROAD_CREDIT}"
        pen.text(LEFT_PT, y, data, SMALL_PT)
        of = f" of {self.pages}" if self.pages else ""
        pen.text(RIGHT_PT, y, f"page {self.page}{of}", SMALL_PT, align="right")

    def room(self, height: float, right: str = "") -> bool:
        """Go to a new page unless `height` points are left; tells whether one was begun."""
        if self.page and self.y - height >= FOOT_PT:
            return False
        self.begin(right)
        return True

    def heading(self, said: str, size: float = 13.0, *, keep: float = 30.0, bookmark: bool = False) -> None:
        """Write a heading, with room kept below for what it heads; it may be listed in the outline."""
        lines = paragraph(said, RIGHT_PT - LEFT_PT, size, bold=True, most=3)
        self.room(height_of(lines) + keep + 8.0)
        if bookmark:
            self.mark(said, said)
        self.y = self.pen.lines(LEFT_PT, self.y - 8.0, lines) - 2.0

    def flow(self, said: str, size: float = BODY_PT, *, bold: bool = False, indent: float = 0.0) -> None:
        """Write a paragraph, over pages if need be."""
        for line in paragraph(said, RIGHT_PT - LEFT_PT - indent, size, bold=bold):
            self.room(line.height)
            self.y = self.pen.lines(LEFT_PT + indent, self.y, [line])

    def mark(self, key: str, title: str, level: int = 0) -> None:
        """Set a bookmark on this page and list it in the outline."""
        self.pen.canvas.bookmarkPage(key)
        self.pen.canvas.addOutlineEntry(words.printable(title)[:200] or "-", key, level, closed=level == 0)

    def table(self, head: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float]) -> None:
        """Write a table whose cells wrap; the head is repeated on every page."""
        self._row(head, widths, bold=True, keep=24.0)
        for row in rows:
            height = max(len(_cell(c, w)) for c, w in zip(row, widths, strict=True))
            if self.room(height * SMALL_PT * LEADING + 3.0):
                self._row(head, widths, bold=True)
            self._row(row, widths)

    def _row(self, cells: Sequence[str], widths: Sequence[float], *, bold: bool = False, keep: float = 0.0) -> None:
        broken = [
            [Line(line, SMALL_PT, bold) for line in _cell(cell, width, bold=bold)]
            for cell, width in zip(cells, widths, strict=True)
        ]
        height = max(height_of(lines) for lines in broken) + 3.0
        self.room(height + keep)
        x = LEFT_PT
        for lines, width in zip(broken, widths, strict=True):
            self.pen.lines(x, self.y, lines)
            x += width
        self.y -= height
        self.pen.rule(self.y + 0.5, width=0.8 if bold else 0.25)

    def finish(self) -> bytes:
        """Close the file and give its bytes."""
        if not self.page:
            self.begin()
        self.pen.canvas.showPage()
        self.pen.canvas.save()
        return self.buffer.getvalue()
