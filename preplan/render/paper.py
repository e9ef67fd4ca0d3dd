"""What every page on paper shares: the sheet, the header and the cautions, text that flows, tables."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from reportlab.pdfgen.canvas import Canvas

from preplan.render import words
from preplan.render.lettering_pdf import (
    BODY_PT,
    LEADING,
    REGULAR,
    SMALL_PT,
    Block,
    Line,
    ellipsis,
    height_of,
    load_fonts,
    paragraph,
    shrunk,
    trimmed,
    width_of,
    wrap,
)
from preplan.render.objects_pdf import Resources, Stream
from preplan.render.pen_pdf import (
    BLACK,
    BLUE,
    GREY,
    LEFT_PT,
    MARGIN_PT,
    PAGE_HEIGHT_PT,
    PAGE_WIDTH_PT,
    RIGHT_PT,
    WHITE,
    YELLOW,
    Pen,
    Run,
)
from preplan.rules import District

__all__ = [
    "BLACK",
    "BLUE",
    "BODY_PT",
    "FOOT_PT",
    "GREY",
    "LEADING",
    "LEFT_PT",
    "MARGIN_PT",
    "PAGE_HEIGHT_PT",
    "PAGE_WIDTH_PT",
    "REGULAR",
    "RIGHT_PT",
    "SMALL_PT",
    "TABLE_PT",
    "TOP_PT",
    "WHITE",
    "YELLOW",
    "Block",
    "Document",
    "Line",
    "Pen",
    "Run",
    "ellipsis",
    "height_of",
    "paragraph",
    "shrunk",
    "trimmed",
    "width_of",
    "wrap",
]  # fmt: skip

TOP_PT = PAGE_HEIGHT_PT - MARGIN_PT
FOOT_PT = 66.0
"""Nothing but the footer stands below this."""
TABLE_PT = 110.0
"""Room below a heading for a few lines of text and a table's first rows."""
_TOGETHER = 5
"""Lines of a paragraph that no page's end parts."""


def _cell(said: str, width: float, *, bold: bool = False) -> list[str]:
    """Break a table's cell; one text never fills a page."""
    return wrap(said, SMALL_PT, width - 6.0, bold=bold, most=12)


# --------------------------------------------------------------------------- pages


def _cautions() -> list[str]:
    """Give the lines of the cautions in the footer; what else it says stands on the next one."""
    return wrap(words.CAUTIONS, SMALL_PT, RIGHT_PT - LEFT_PT, bold=True)


def _foot_line(at: int) -> float:
    """Give the base line of a line of the footer."""
    return FOOT_PT - 14.0 - at * SMALL_PT * LEADING


class _Sheets(Canvas):  # type: ignore[misc]  # the library has no types
    """The library's canvas, but for what it writes about each page, and how hard it packs it."""

    def _setXObjects(self, thing: Any) -> None:  # noqa: N802 - the library's name
        thing.Resources, thing.Contents = Resources(self._formsinuse), Stream(thing.stream)


@dataclass(slots=True)
class Document:
    """One PDF in the making: the same bytes every time, fonts embedded, cautions on every page."""

    district: District
    title: str
    page: int = 0
    """Of those that are counted: what a page has no room for stands on one behind it, under the same number."""
    pages: int | None = None
    """How many there are in all, where it is known before."""
    sheet: int = 1
    """Of those under one number: the second and further ones stand behind the first."""
    goes_on: str = ""
    """What a page says at its upper right that goes on with the one before; '': the date of the data."""
    buffer: io.BytesIO = field(default_factory=io.BytesIO)
    pen: Pen = field(init=False)
    y: float = TOP_PT
    """Where text that flows goes on."""

    def __post_init__(self) -> None:
        """Open the canvas."""
        load_fonts()
        canvas = _Sheets(
            self.buffer,
            pagesize=(PAGE_WIDTH_PT, PAGE_HEIGHT_PT),
            invariant=1,
            pageCompression=1,
            initialFontName=REGULAR,
            lang="en-US",
        )
        canvas.setTitle(words.printable(f"{self.title}: {self.district.name}"))
        canvas.setAuthor("preplan")
        canvas.setSubject(words.CAUTIONS)
        self.pen = Pen(canvas)

    def begin(self, right: str = "", *, behind: bool = False) -> None:
        """Start a page with its header and footer; a page before it is finished.

        One `behind` another has no number of its own, so that an index can name pages before they are drawn.
        """
        if self.page:
            self.pen.canvas.showPage()
        self.page += not behind
        self._number(behind=behind)
        pen = self.pen
        pen.again("head", self._head)
        said = right or self.goes_on or words.date_words(self.district.date)
        pen.text(RIGHT_PT, TOP_PT - SMALL_PT, said, SMALL_PT, align="right")
        pen.again("rules and foot", self._foot)
        of = f" of {self.pages}" if self.pages else ""
        pen.text(
            RIGHT_PT, _foot_line(len(_cautions())), f"page {self.page}{of}{self._continued}", SMALL_PT, align="right"
        )
        self.y = TOP_PT - 16.0

    def _number(self, *, behind: bool) -> None:
        """Tell readers by which number the page is known, where that does not follow from the page before."""
        canvas, before = self.pen.canvas, self.sheet
        at = canvas.getPageNumber() - 1
        self.sheet = before + 1 if behind else 1
        if behind:
            canvas.addPageLabel(at, prefix=f"{self.page}{self._continued}")
        elif before > 1 or at == 0:
            canvas.addPageLabel(at, style="ARABIC", start=self.page)

    @property
    def _continued(self) -> str:
        """Say that a page goes on with a number, and which sheet under it this is."""
        return f" continued, sheet {self.sheet}" if self.sheet > 1 else ""

    def _head(self) -> None:
        """Write what the header of every page says."""
        self.pen.ink(BLACK, BLACK)
        left = ellipsis(words.printable(f"{self.district.name}: {self.title}"), SMALL_PT, 340.0)
        self.pen.text(LEFT_PT, TOP_PT - SMALL_PT, left, SMALL_PT)

    def _foot(self) -> None:
        """Rule off header and footer, and write what the footer of every page says."""
        pen = self.pen
        pen.rule(TOP_PT - 12.0)
        pen.rule(FOOT_PT - 4.0)
        said = [(line, True) for line in _cautions()]
        said.append((f"{words.data_words(self.district)} {words.ROAD_CREDIT}", False))
        for at, (line, bold) in enumerate(said):
            pen.text(LEFT_PT, _foot_line(at), line, SMALL_PT, bold=bold)

    def room(self, height: float) -> bool:
        """Go to a new page unless `height` points are left; tells whether one was begun."""
        if self.page and self.y - height >= FOOT_PT:
            return False
        self.begin()
        return True

    def heading(self, said: str, size: float = 13.0, *, keep: float = 30.0, bookmark: bool = False) -> None:
        """Write a heading, with room kept below for what it heads; it may be listed in the outline."""
        lines = paragraph(said, RIGHT_PT - LEFT_PT, size, bold=True, most=3)
        self.room(height_of(lines) + keep + 8.0)
        if bookmark:
            self.mark(said, said)
        self.y = self.pen.lines(LEFT_PT, self.y - 8.0, lines) - 2.0

    def flow(self, said: str, size: float = BODY_PT, *, bold: bool = False, indent: float = 0.0) -> None:
        """Write a paragraph; a long one over pages if need be."""
        lines = paragraph(said, RIGHT_PT - LEFT_PT - indent, size, bold=bold)
        if len(lines) <= _TOGETHER:
            self.room(height_of(lines))
        for line in lines:
            self.room(line.height)
            self.y = self.pen.lines(LEFT_PT + indent, self.y, [line])

    def mark(self, key: str, title: str, level: int = 0) -> None:
        """Set a bookmark on this page and list it in the outline."""
        self.pen.canvas.bookmarkPage(key)
        self.pen.canvas.addOutlineEntry(words.printable(title)[:200] or "-", key, level, closed=level == 0)

    def table(self, head: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float]) -> None:
        """Write a table whose cells wrap; the head is repeated on every page, and no last row stands there alone."""
        heights = [
            max(len(_cell(c, w)) for c, w in zip(row, widths, strict=True)) * SMALL_PT * LEADING + 3.0 for row in rows
        ]
        self._row(head, widths, bold=True, keep=max([24.0, *heights[:1]]))
        for at, row in enumerate(rows):
            last_two = len(rows) > 2 and at == len(rows) - 2
            if self.room(sum(heights[at:]) if last_two else heights[at]):
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
