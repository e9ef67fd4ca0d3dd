"""The index by status: for each status its roads, and where their cards are."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from preplan.plan import Plan
from preplan.plan_tables import STATUSES
from preplan.render import index_pdf, paper, symbols_pdf, words
from preplan.render.card_facts import WIDTH_PT
from preplan.render.index_pdf import Entry
from preplan.render.paper import FOOT_PT, LEFT_PT, SMALL_PT, Document, Line

_GAP_PT = 18.0
_COLUMN_PT = (WIDTH_PT - _GAP_PT) / 2
_LEADING_PT = SMALL_PT * 1.22
_HEAD_PT = 18.0
_TOP_PT = 40.0
ORDER = ("not met", "no route", *(status for status in STATUSES if status not in ("not met", "no route")))
"""What is lacking comes first."""


class Row(NamedTuple):
    """One line of the index by status."""

    said: str
    status: str = ""
    """Given for the heading of a status."""
    card: int = -1
    """Card that the line leads to, -1: none."""
    indent: float = 0.0

    @property
    def height(self) -> float:
        """Give the room that the row takes, in points."""
        return _HEAD_PT if self.status else _LEADING_PT


def rows_of(plan: Plan, entries: Sequence[Entry], places: Sequence[str]) -> list[Row]:
    """List each status with its roads in order, and the files and pages of their cards."""
    reach_ft = plan.district.rules.hydrants.reach_ft
    by_status: dict[str, dict[str, list[Entry]]] = {status: {} for status in ORDER}
    for entry in entries:
        roads = by_status[str(plan.answers.status[entry.address])]
        roads.setdefault(entry.road, []).append(entry)
    rows = []
    for status, roads in by_status.items():
        count = sum(entry.count for mine in roads.values() for entry in mine)
        rows.append(Row(f"{words.status_words(status, reach_ft)}: {count:,}", status))
        for road, mine in roads.items():
            cards = sorted({entry.card for entry in mine} - {-1})
            at = f": {pages_words([places[card] for card in cards])}" if cards else ""
            mine_are = sum(entry.count for entry in mine)
            many = f"{mine_are:,} address{'es' * (mine_are > 1)}"
            said = paper.paragraph(f"{road}, {many}{at}", _COLUMN_PT, SMALL_PT, indent=10.0)
            rows += [Row(line.said, card=cards[0] if cards else -1, indent=line.indent) for line in said]
    return rows


def pages_words(places: Sequence[str]) -> str:
    """Write places as pages, volume by volume.

    >>> pages_words(["#7", "#9"]), pages_words(["cards/001.pdf#3", "cards/002.pdf#1"])
    ('pages 7, 9', 'volume 001, page 3; volume 002, page 1')
    >>> pages_words(["cards/004.pdf#3", *(f"cards/004.pdf#{page}" for page in range(61, 91))])
    'volume 004, pages 3, 61 to 90'
    """
    files: dict[str, list[int]] = {}
    for place in places:
        file, _, page = place.partition("#")
        files.setdefault(file.removeprefix("cards/").removesuffix(".pdf"), []).append(int(page))
    said = [
        f"{f'volume {file}, ' if file else ''}page{'s' * (len(pages) > 1)} {_runs(pages)}"
        for file, pages in files.items()
    ]
    return "; ".join(said)


def _runs(pages: Sequence[int]) -> str:
    """Write rising numbers, three and more that follow each other as one run.

    >>> _runs([3, 4, 7, 8, 9])
    '3, 4, 7 to 9'
    """
    runs = words.in_runs(pages)
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs)


def columns_of(rows: Sequence[Row]) -> list[list[Row]]:
    """Set the rows into columns, two a page; a heading never ends a column."""
    tall = paper.TOP_PT - 16.0 - _TOP_PT - FOOT_PT
    columns: list[list[Row]] = [[]]
    used = 0.0
    for row in rows:
        if used + row.height + (_LEADING_PT if row.status else 0.0) > tall and columns[-1]:
            columns.append([])
            used = 0.0
        columns[-1].append(row)
        used += row.height
    return columns


def draw(document: Document, columns: Sequence[Sequence[Row]], places: Sequence[str]) -> None:
    """Draw the index by status, from a new page on."""
    for at, column in enumerate(columns):
        left = LEFT_PT + (at % 2) * (_COLUMN_PT + _GAP_PT)
        if at % 2 == 0:
            document.begin("index")
            said = "Index by status: addresses on each road, and where their cards are"
            document.pen.lines(LEFT_PT, document.y, [Line(said, 13.0, bold=True)])
            if at == 0:
                document.mark("by status", "Index by status")
        y = document.y - _TOP_PT + 12.0
        for row in column:
            _draw_row(document, row, left, y, places)
            y -= row.height


def _draw_row(document: Document, row: Row, left: float, top: float, places: Sequence[str]) -> None:
    """Draw one row below its top edge."""
    pen, base = document.pen, top - row.height + 2.0
    if row.status:
        symbols_pdf.status_mark(pen, row.status, left + 5.0, base + 3.5, 8.0)
        pen.text(left + 14.0, base, row.said, bold=True)
        return
    pen.text(left + row.indent, base, row.said, SMALL_PT)
    if row.card >= 0:
        index_pdf.link(document, row.card, places[row.card], (left, base - 2.0, left + _COLUMN_PT, top))
