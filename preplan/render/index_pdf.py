"""The index of the cards: every address by road and number, with its status and the page of its card."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_cards import CardGroup
from preplan.render import card_facts, card_words, paper, symbols_pdf, us_grid, words
from preplan.render.card_facts import WIDTH_PT
from preplan.render.paper import FOOT_PT, LEFT_PT, SMALL_PT, Document, Line


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the index: an address, or some of one label that share a card."""

    address: int
    road: str
    """Heading under which it stands: its road, or the road near which one without a name lies."""
    card: int
    """Position of its card, -1: no card."""
    label: str = ""
    count: int = 1
    """How many addresses it stands for."""


_COLUMN = (WIDTH_PT - 18.0) / 2
_LABEL = _COLUMN - 160.0
_STATUS_PT = _COLUMN - _LABEL - 12.0
_LEVEL_NOTE = (
    "level: lowest that meets; (level): none meets, it holds most; months: no route then. "
    "Status colours are not hydrant flow classes."
)
_NAMELESS = "No road name"
_NEAR_MI = 1.0
"""A road without a name is near no cross street that is farther (this program's choice)."""
_ASSUMED = "(no road named: nearest)"


def entries_of(plan: Plan, groups: Sequence[CardGroup]) -> list[Entry]:
    """List every address by road and number; those of one label and card in one entry, others told apart by place."""
    card = {address: at for at, group in enumerate(groups) for address in group.addresses}
    alike: dict[tuple[str, str, int], list[int]] = {}
    for address, road in enumerate(plan.road.tolist()):
        at = card.get(address, -1)
        own = address if at < 0 else -1  # without a card each has its own line
        key = (
            _heading(road, groups[at] if at >= 0 else None),
            words.where_words(plan, address),
            at if own < 0 else -1 - own,
        )
        alike.setdefault(key, []).append(address)
    times = Counter((road, label) for road, label, _ in alike)
    listed = []
    for (road, label, _), same in alike.items():
        at = card.get(same[0], -1)
        named = bool(plan.road[same[0]])
        near = words.cross_street(groups[at]) if named and at >= 0 else ""
        place = _place(plan, same[0], near) if not named or times[road, label] > 1 else ""
        count = f" ({len(same)} of these)" if len(same) > 1 else ""
        listed.append(Entry(same[0], road, at, f"{label}{count}{place}", len(same)))

    def key_of(entry: Entry) -> tuple[object, ...]:
        number = int(plan.addresses.number[entry.address])
        named = bool(plan.road[entry.address])
        return (not named, words.natural_key(entry.road), number, words.natural_key(entry.label), entry.address)

    return sorted(listed, key=key_of)


def heading_of(group: CardGroup) -> str:
    """Name the heading of a card: its road, or the road near which one without a name lies."""
    return _heading(group.road, group)


def _heading(road: str, group: CardGroup | None) -> str:
    near = words.printable(group.cross_street) if group and group.cross_mi <= _NEAR_MI else ""
    return words.road_name(road) or (f"{_NAMELESS}, near {near}" if near else f"{_NAMELESS}, no cross street near")


def _place(plan: Plan, address: int, cross_street: str) -> str:
    """Tell one address from others of its label: by its cross street, and its place as the card has it."""
    lon, lat = float(plan.addresses.lon[address]), float(plan.addresses.lat[address])
    near = f" near {cross_street}" if cross_street else ""
    grid = " ".join(us_grid.grid_words(lon, lat).split()[-2:])
    return f"{near}, {f'grid {grid}' if grid else words.coordinates(lon, lat)[1]}"


def titles_of(plan: Plan, groups: Sequence[CardGroup]) -> list[str]:
    """Name each card for the bookmarks: its headline, and its place where several have the same."""
    heads = [card_words.where(card_facts.Facts(plan, group))[0] for group in groups]
    times = Counter(heads)
    return [
        f"{head}{_place(plan, group.lead, words.cross_street(group))}" if times[head] > 1 else head
        for head, group in zip(heads, groups, strict=True)
    ]


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the index: a road (no entry) or an address, its label broken into lines."""

    lines: tuple[str, ...]
    entry: Entry | None = None
    hydrant: tuple[str, ...] = ()
    """Which hydrant counts for it, broken into lines; none for an address that none serves."""

    @property
    def height(self) -> float:
        """Give the room that the row takes, in points."""
        return max(len(self.lines), len(self.hydrant)) * SMALL_PT * 1.22 + (2.0 if self.entry else 8.0)


def columns_of(plan: Plan, entries: Sequence[Entry]) -> list[list[Row]]:
    """Set the rows into columns, two a page, before anything is drawn: page numbers depend on it."""
    tall = paper.TOP_PT - 70.0 - FOOT_PT
    assumed = plan.road_assumed
    # Under a road's heading, all or some may stand there for want of a road in their table.
    named = {entry.road for entry in entries if not assumed[entry.address]}
    columns: list[list[Row]] = [[]]
    used, road = 0.0, None
    for entry in entries:
        alone = f" {_ASSUMED}" if assumed[entry.address] and entry.road in named else ""
        counts = str(plan.answers.status[entry.address]) == "hydrant"
        hydrant = paper.wrap(_hydrant_words(plan, entry.address), SMALL_PT, _STATUS_PT) if counts else ()
        label = Row(tuple(paper.wrap(f"{entry.label}{alone}", SMALL_PT, _LABEL)), entry, tuple(hydrant))
        whole = "" if entry.road in named else f" {_ASSUMED}"
        head = Row(tuple(paper.wrap(f"{entry.road}{whole}", SMALL_PT, _COLUMN, bold=True, most=2)))
        rows = [label] if entry.road == road else [head, label]
        if used + sum(row.height for row in rows) > tall and columns[-1]:
            columns.append([])
            used, rows = 0.0, [head, label]
        columns[-1] += rows
        used += sum(row.height for row in rows)
        road = entry.road
    return columns


def _hydrant_words(plan: Plan, address: int) -> str:
    """Say which hydrant counts for an address, how far it is, what it counts for, and what it gives if that is more."""
    far = words.feet(float(plan.near_hydrant.distance_ft[address]))
    named, counts = words.hydrant_words(plan, address)
    return f"{named}, {far}, {counts}"


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
    said = words.status_words(status, plan.district.rules.hydrants.reach_ft)
    for at, line in enumerate(row.hydrant or (said,)):
        x, y = left + _LABEL + 12.0, first - at * SMALL_PT * 1.22
        pen.text(x, y, paper.ellipsis(line, SMALL_PT, _STATUS_PT), SMALL_PT)
    if row.entry.card < 0:
        return low
    file, _, page = places[row.entry.card].partition("#")
    said = f"{file.removeprefix('cards/').removesuffix('.pdf')}, page {page}" if file else page
    room = _COLUMN - _LABEL - 76.0 - paper.width_of(said, SMALL_PT)
    pen.text(left + _LABEL + 72.0, first, paper.ellipsis(_level(plan, row.entry.address), SMALL_PT, room), SMALL_PT)
    pen.text(left + _COLUMN, first, said, SMALL_PT, align="right")
    link(document, row.entry.card, places[row.entry.card], (left, low, left + _COLUMN, top))
    return low


def _level(plan: Plan, address: int) -> str:
    """Write the level of an address, in brackets where it does not meet; where there is no route, in which months."""
    level, months = int(plan.answers.level[address]), plan.months_without(address)
    if level < 0:
        no_route = str(plan.answers.status[address]) == "no route"
        return month_words(months, short=True) if months and no_route else ""
    short = words.level_words(plan.district.levels[level].name).removeprefix("response level ")
    return f"({short})" if str(plan.answers.status[address]) == "not met" else short


def link(document: Document, card: int, place: str, area: tuple[float, float, float, float]) -> None:
    """Make an area of the page lead to a card, in this file or in another."""
    file, _, _ = place.partition("#")
    if file:
        document.pen.canvas.linkURL(f"{file}#nameddest=card{card}", area, relative=1)
    else:
        document.pen.canvas.linkAbsolute("", f"card{card}", area, Border="[0 0 0]")
