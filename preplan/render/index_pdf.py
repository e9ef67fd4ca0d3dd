"""The index of the cards: every address by road and number, with its status and the page of its card."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from preplan.plan import CardGroup, Plan
from preplan.render import paper, symbols_pdf, words
from preplan.render.card_words import WIDTH_PT
from preplan.render.paper import FOOT_PT, LEFT_PT, SMALL_PT, Document, Line


@dataclass(frozen=True, slots=True)
class Entry:
    """One address in the index."""

    address: int
    road: str
    card: int
    """Position of its card, -1: no card."""


_COLUMN = (WIDTH_PT - 18.0) / 2
_LABEL = _COLUMN - 160.0
_LEVEL_NOTE = (
    f"level: the lowest response level whose {words.FLOW} meets the required flow. "
    "Status colours are not hydrant flow classes."
)


def entries_of(plan: Plan, groups: Sequence[CardGroup]) -> list[Entry]:
    """List every address by road and number."""
    card = {address: at for at, group in enumerate(groups) for address in group.addresses}
    streets = [words.printable(street) for street in plan.addresses.street]
    # A table may spell a road in many ways: cards name each once, and so does the index, whoever has a card.
    name_of = {streets[a]: words.printable(groups[at].road) for a, at in card.items() if groups[at].road}
    listed = []
    for address, street in enumerate(streets):
        at = card.get(address, -1)
        own = words.printable(groups[at].road) if at >= 0 else ""
        listed.append(Entry(address, own or name_of.get(street, "") or street, at))

    def key(entry: Entry) -> tuple[object, ...]:
        number = int(plan.addresses.number[entry.address])
        label = words.natural_key(str(plan.addresses.label[entry.address]))
        return (not entry.road, words.natural_key(entry.road), number, label, entry.address)

    return sorted(listed, key=key)


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the index: a road (no entry) or an address, its label broken into lines."""

    lines: tuple[str, ...]
    entry: Entry | None = None

    @property
    def height(self) -> float:
        """Give the room that the row takes, in points."""
        return len(self.lines) * SMALL_PT * 1.22 + (2.0 if self.entry else 8.0)


def columns_of(plan: Plan, entries: Sequence[Entry]) -> list[list[Row]]:
    """Set the rows into columns, two a page, before anything is drawn: page numbers depend on it."""
    tall = paper.TOP_PT - 70.0 - FOOT_PT
    columns: list[list[Row]] = [[]]
    used, road = 0.0, None
    for entry in entries:
        label = Row(tuple(paper.wrap(words.where_words(plan, entry.address), SMALL_PT, _LABEL)), entry)
        head = Row(tuple(paper.wrap(entry.road or "No road name", SMALL_PT, _COLUMN, bold=True, most=2)))
        rows = [label] if entry.road == road else [head, label]
        if used + sum(row.height for row in rows) > tall and columns[-1]:
            columns.append([])
            used, rows = 0.0, [head, label]
        columns[-1] += rows
        used += sum(row.height for row in rows)
        road = entry.road
    return columns


def draw_index(document: Document, plan: Plan, columns: Sequence[Sequence[Row]], places: Sequence[str]) -> None:
    """Draw the index; `places` says, card by card, where each is."""
    for at, column in enumerate(columns):
        left = LEFT_PT + (at % 2) * (_COLUMN + 18.0)
        if at % 2 == 0:
            document.begin("index")
            top = document.pen.lines(LEFT_PT, document.y, [Line("Index by road and number", 13.0, bold=True)])
            draw_counts(document.pen, plan, top - 8.0)
            document.pen.lines(LEFT_PT, top - 10.0, [Line(_LEVEL_NOTE, SMALL_PT)])
            if at == 0:
                document.mark("index", "Index")
        y = document.y - 48.0
        for x, head in ((0.0, "address"), (_LABEL + 12.0, "status"), (_LABEL + 72.0, "level")):
            document.pen.text(left + x, y, head, SMALL_PT)
        document.pen.text(left + _COLUMN, y, "page", SMALL_PT, align="right")
        y -= 3.0
        for row in column:
            y = _draw_row(document, plan, row, left, y, places)


def draw_counts(pen: paper.Pen, plan: Plan, y: float) -> None:
    """Draw each status with its symbol and the number of its addresses."""
    x = LEFT_PT
    for status, count in plan.counts().items():
        said = f"{count:,} {words.status_words(status, plan.district.rules.hydrants.reach_ft)}"
        symbols_pdf.status_mark(pen, status, x + 4.0, y + 3.0, 7.0)
        pen.text(x + 11.0, y, said, SMALL_PT)
        x += paper.width_of(said, SMALL_PT) + 25.0


def _draw_row(document: Document, plan: Plan, row: Row, left: float, top: float, places: Sequence[str]) -> float:
    """Draw one row of the index; gives its lower edge."""
    pen, low = document.pen, top - row.height
    first = top - SMALL_PT * 1.22 + 1.0 - (0.0 if row.entry else 6.0)
    for at, line in enumerate(row.lines):
        pen.text(left, first - at * SMALL_PT * 1.22, line, SMALL_PT, bold=row.entry is None)
    if row.entry is None:
        return low
    status = str(plan.answers.status[row.entry.address])
    symbols_pdf.status_mark(pen, status, left + _LABEL + 5.0, first + 3.0, 7.0)
    pen.text(left + _LABEL + 12.0, first, words.status_words(status, plan.district.rules.hydrants.reach_ft), SMALL_PT)
    level = int(plan.answers.level[row.entry.address])
    if row.entry.card < 0:
        return low
    if status in ("served", "higher level") and level >= 0:
        short = words.level_words(plan.district.levels[level].name).removeprefix("response level ")
        pen.text(left + _LABEL + 72.0, first, paper.ellipsis(short, SMALL_PT, 24.0), SMALL_PT)
    file, _, page = places[row.entry.card].partition("#")
    said = f"{file.removeprefix('cards/').removesuffix('.pdf')}, page {page}" if file else page
    pen.text(left + _COLUMN, first, said, SMALL_PT, align="right")
    link(document, row.entry.card, places[row.entry.card], (left, low, left + _COLUMN, top))
    return low


def link(document: Document, card: int, place: str, area: tuple[float, float, float, float]) -> None:
    """Make an area of the page lead to a card, in this file or in another."""
    file, _, _ = place.partition("#")
    if file:
        document.pen.canvas.linkURL(f"{file}#nameddest=card{card}", area, relative=1)
    else:
        document.pen.canvas.linkAbsolute("", f"card{card}", area, Border="[0 0 0]")
