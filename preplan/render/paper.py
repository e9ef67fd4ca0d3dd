"""What every page on paper shares: fonts, text that fits, a pen, the header and the cautions."""

from __future__ import annotations

import io
import math
import re
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
BLACK, GREY, WHITE = (0.0, 0.0, 0.0), (0.45, 0.45, 0.45), (1.0, 1.0, 1.0)
_WRITTEN = re.compile(r"(?P<name>/\S+) 1 Tf [^(]*\((?P<code>.*)\) Tj", re.DOTALL)
_FONTS = Path(__file__).parent / "assets" / "fonts"
_FILES = {REGULAR: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}


@lru_cache(maxsize=1)
def load_fonts() -> None:
    """Make the program's own fonts known to the drawing library, once.

    Pages are also written as plain bytes: the library's default spends a fifth of the time and of the file on
    a text form that no reader needs any more.
    """
    rl_config.useA85 = 0
    for name in _FILES:
        pdfmetrics.registerFont(TTFont(name, str(font_file(name)), shapable=False))


def font_file(name: str) -> Path:
    """Give the file of one of the program's own fonts, `REGULAR` or `BOLD`."""
    return _FONTS / _FILES[name]


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
    return list(_wrapped(said, size, width, bold, most))


@lru_cache(maxsize=20_000)
def _wrapped(said: str, size: float, width: float, bold: bool, most: int | None) -> tuple[str, ...]:
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
    return tuple(lines)


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


class Script(dict[int, str]):
    """How one document writes the characters of one font: each is asked of the library once, then looked up.

    The library's own way takes half of a card's time. A character beyond the first 256 of a document stands in
    a second part of the font and goes the library's way.
    """

    def __init__(self, canvas: Any, font: str) -> None:
        """Learn the name by which the page language knows the font."""
        super().__init__()
        self._canvas, self._font = canvas, font
        self.name, self[ord("a")] = self._ask("a")
        self.far: set[str] = set()

    def _ask(self, character: str) -> tuple[str, str]:
        block = self._canvas.beginText()
        block.setFont(self._font, 1)
        block.textOut(character)
        found = _WRITTEN.search(block.getCode())
        if found is None:
            raise AssertionError("the drawing library writes text in a form that is not known here")
        return found["name"], found["code"]

    def __missing__(self, point: int) -> str:
        """Learn a character."""
        name, code = self._ask(chr(point))
        if name != self.name:
            self.far.add(chr(point))
        self[point] = code
        return code


class Pen:
    """Draws text and shapes on a canvas; every text passes through `words.printable`."""

    def __init__(self, canvas: Canvas) -> None:
        """Hold a canvas."""
        self.canvas: Any = canvas
        self._scripts = {bold: Script(canvas, font) for bold, font in ((False, REGULAR), (True, BOLD))}

    def text(
        self, x: float, y: float, said: str, size: float = BODY_PT, *, bold: bool = False, align: str = "left"
    ) -> None:
        """Write one line whose base line starts, ends (`right`) or is centred (`middle`) at x, y."""
        if align != "left":
            x -= width_of(said, size, bold=bold) * (1.0 if align == "right" else 0.5)
        self.write([(x, y, said, size, bold)])

    def write(self, runs: Iterable[Run]) -> None:
        """Write many runs of text at once, which is faster than one by one."""
        code = ["BT"]
        font: tuple[bool, float] | None = None
        for x, y, text, size, bold in runs:
            said = text if text.isprintable() else words.printable(text)
            script = self._scripts[bold]
            written = said.translate(script)
            if script.far and not script.far.isdisjoint(said):
                self._library_text(x, y, said, size, bold=bold)
                continue
            if font != (bold, size):
                font = (bold, size)
                code.append(f"{script.name} {size:g} Tf")
            if said:
                code.append(f"1 0 0 1 {x:.2f} {y:.2f} Tm ({written}) Tj")
        if len(code) > 1:
            self.canvas.addLiteral("\n".join([*code, "ET"]))

    def _library_text(self, x: float, y: float, said: str, size: float, *, bold: bool) -> None:
        block = self.canvas.beginText(x, y)
        block.setFont(BOLD if bold else REGULAR, size)
        block.textOut(said)
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
