"""Cards: one page for neighbours along a road whose answers agree, and the index that finds them.

A card answers in the order in which a night officer asks: where, what to call, can we do it, where is the dump
site, where do tankers fill; then the map, the way, what else there is, and what was assumed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from preplan.plan import Plan
from preplan.plan_cards import CardGroup
from preplan.processes import unswept
from preplan.render import (
    card_rest,
    card_way,
    card_words,
    index_pdf,
    paper,
    side_by_side,
    status_index_pdf,
    symbols_pdf,
    words,
)
from preplan.render.card_behind import Behind
from preplan.render.card_columns import NEAR_PT
from preplan.render.card_facts import GAP_PT, HALF_PT, WIDTH_PT, Facts
from preplan.render.card_layout import (
    BEHIND_PT,
    LEAST_BELOW_PT,
    LEAST_MAP_PT,
    LEAST_NOTES_PT,
    layout_of,
)
from preplan.render.card_parts import NOTE_PT, draw_map, small_timeline, subject_of, timeline_band
from preplan.render.card_texts import LEAST_STRIP_PT, small_strip_height, timeline_height
from preplan.render.charts import Picture
from preplan.render.first_drive import ENDS, LAST, WHOLE
from preplan.render.paper import BODY_PT, FOOT_PT, LEFT_PT, RIGHT_PT, SMALL_PT, Block, Document, Line
from preplan.render.scene import Box

MOST_IN_ONE_FILE = 500
"""Above this many cards the set is split, and cards.pdf is the index alone."""
_ROW_PT, _LISTED_PT = (138.0, 176.0), 260.0
"""Most height of the two rows of the top third, and of the first where it lists all units, without a shuttle."""
_MOST_OFFICER = 8
"""Lines of the officer's sentences: those of real districts take six at most."""
_LEAST_LOW_PT = 2.0 * SMALL_PT * paper.LEADING
"""Lines that say what is assumed and whom the card covers, at least."""
_SIGN_GAP_PT, _DATE_PT = 10.0, 110.0
"""Gap between what stands in the row to sign, and the width of its date."""
_RULED_PT = 28.0
"""Height of the rules and gaps about the table of response levels."""
_TABLE = (("response level", card_rest.LEVEL_PT), ("gpm held", 50.0), ("steady", 36.0), ("on arrival", 48.0),
          ("meets?", 44.0), ("fill site", 40.0), ("held back by", 62.0), ("1 tanker out", card_rest.ONE_OUT_PT),
          ("tankers", card_rest.TANKERS_PT))  # fmt: skip

# --------------------------------------------------------------------------- how a card is drawn


def _draw_card(document: Document, picture: Picture, group: CardGroup, count: str) -> Behind:
    """Draw one card on a new page; gives what found no room on it."""
    facts = Facts(picture.plan, group)
    subject = subject_of(picture, facts)
    pen = document.pen
    document.begin(count)
    top = _top(facts, card_words.approach(facts, subject))
    roomy = _with_first_drive(facts, top)
    y = _draw_top(document, facts, roomy)
    rows, more = list(card_rest.level_rows(facts)), _more_levels(facts)
    free = y - FOOT_PT - _RULED_PT - NOTE_PT - card_rest.TABLE_ROW_PT * (len(rows) + bool(more))
    less, less_cut = card_rest.less_rows(facts, free - LEAST_MAP_PT - LEAST_BELOW_PT - LEAST_NOTES_PT - _LEAST_LOW_PT)
    rows, free = [*rows, *less], free - card_rest.TABLE_ROW_PT * len(less)
    for low, low_cut in _lowest(facts, free - LEAST_MAP_PT - LEAST_BELOW_PT - LEAST_NOTES_PT):
        layout = layout_of(facts, free - paper.height_of(low), drive_above=roomy is not top, basis_behind=low_cut)
        if not layout.lacks:
            break
    pen.lines(RIGHT_PT - layout.way_pt, y, layout.beside)
    page = Box(LEFT_PT, y - layout.map_pt, RIGHT_PT - layout.way_pt - GAP_PT, y)
    parted = layout.way_behind and card_way.cuts_loaded(facts)
    y = draw_map(pen, picture, page, subject.without_inner_turns() if parted else subject)
    y = _draw_table(pen, y, rows, facts.level - card_rest.levels_shown(facts).start, more)
    if layout.band_pt == BEHIND_PT:
        pen.text(LEFT_PT, y - layout.band_pt + 2.0, layout.told, SMALL_PT, bold=True)
    else:
        timeline_band(pen, Box(LEFT_PT, y - layout.band_pt, RIGHT_PT, y), facts)
    y -= layout.band_pt + 4.0
    under = pen.lines(LEFT_PT, y, layout.over)
    for at, (x, lines) in enumerate(zip((LEFT_PT, LEFT_PT + HALF_PT + GAP_PT), layout.columns, strict=True)):
        end = pen.lines(x, under, lines)
        if at == layout.strip_column:
            small_timeline(pen, x, end - small_strip_height(facts), facts)
    y = pen.lines(LEFT_PT, y - 4.0 - layout.below_pt, low)
    _draw_notes(pen, y - 4.0, "" if layout.band_pt == BEHIND_PT else layout.told)
    whole = [
        *(part.lines for part in top if part.cut),
        *([card_words.officer(facts, HALF_PT)] if _officer(facts).cut else []),
        *([less_cut] if less_cut else []),
        *([card_rest.assumed(facts, HALF_PT)] if low_cut else []),
    ]
    cut = [Block.of([*lines, Line("", 4.0)]) for lines in whole]
    return Behind(facts, picture, subject, layout, cut)


def _lowest(facts: Facts, room: float) -> Iterator[tuple[list[Line], bool]]:
    """Say what is assumed and whom the card covers; then, for a card that has no room for it, the latter alone.

    Tells whether what is assumed stands behind. Where names without end leave no room for the least map and text, they
    end here.
    """
    basis, strip_pt = card_rest.assumed(facts), timeline_height(facts, LEAST_STRIP_PT)
    if paper.height_of([*basis, *card_rest.covered(facts)[:1]]) <= room + NEAR_PT:
        yield [*basis, *_covered(facts, room - paper.height_of(basis) - strip_pt)], False
    yield _covered(facts, room - strip_pt), True


def _where_covered(facts: Facts) -> str:
    """Say how many addresses a card covers, and where they stand."""
    return f"Covers {len(facts.group.addresses)}: see the index"


def _covered(facts: Facts, room: float) -> list[Line]:
    """List the addresses of a card as far as there is room; in any case how many, and where they stand."""
    every = card_rest.covered(facts)
    shown = paper.trimmed(every, max(room, paper.height_of(every[:1])), "the index")
    if len(shown) > 1 or shown == every:
        return shown
    return [Line(_where_covered(facts), SMALL_PT)]


def _more_levels(facts: Facts) -> str:
    """Say how many response levels the table has no row for, and where they stand; '' where it has all."""
    more = len(facts.plan.district.levels) - len(card_rest.levels_shown(facts))
    return f"and {more} more level{'s' * (more > 1)}: levels.csv" if more else ""


@dataclass(frozen=True)
class _Part:
    """One of the four texts of the top third, and the height that it may take, points."""

    lines: list[Line]
    most_pt: float

    @property
    def cut(self) -> bool:
        """Tell whether it takes more."""
        return self.shown != self.lines

    @cached_property
    def shown(self) -> list[Line]:
        """Give what stands on the card."""
        return paper.trimmed(self.lines, self.most_pt, words.NEXT_PAGE)


_SIDES = ((0, 1), (3, 2), (2, 3))
"""Columns of the top third that may have room below, each with its neighbour."""
_Top = tuple[_Part, _Part, _Part, _Part]
"""What to call, whether it is enough, the dump site and the fill site."""


def _top(facts: Facts, approach: str) -> _Top:
    """Give what to call, whether it is enough, the dump site and the fill site."""
    call, others = _ROW_PT
    call = call if facts.level >= 0 else _LISTED_PT
    return (
        _Part(card_words.call(facts), call),
        _Part(card_words.can(facts), call - 18.0),
        _Part(card_words.dump(facts), others),
        _Part(card_words.fill(facts, approach), others),
    )


def _officer(facts: Facts) -> _Part:
    """Give the officer's sentences over the full width."""
    return _Part(card_words.officer(facts), _MOST_OFFICER * card_words.OFFICER_PT * paper.LEADING)


def _with_first_drive(facts: Facts, top: _Top) -> _Top:
    """Add how units come from their stations where a column of the top third ends above its neighbour."""
    if not facts.group.ways_in:
        return top
    high = [paper.height_of(part.shown) for part in top]
    high[1] += paper.height_of([_status(facts)])
    room = max(high[beside] - high[at] for at, beside in _SIDES)
    for most in (WHOLE, ENDS, LAST):
        if room < SMALL_PT * paper.LEADING * (1 + len(facts.group.ways_in) * (most == WHOLE)):
            continue  # not even a line for each way, so it need not be set
        drive = card_rest.first_drive(facts, most)
        drive_pt = paper.height_of(drive)
        for at, beside in _SIDES:
            if high[at] + drive_pt <= high[beside] and not top[at].cut:
                parts = list(top)
                parts[at] = _Part([*top[at].lines, *drive], high[beside])
                return parts[0], parts[1], parts[2], parts[3]
    return top


def _status(facts: Facts) -> Line:
    """Give the status in words, beside its mark."""
    said, size = paper.shrunk(card_words.status_line(facts), 15.0, 10.0, HALF_PT - 20.0, bold=True)
    return Line(said, size, bold=True)


def _draw_top(document: Document, facts: Facts, parts: _Top) -> float:
    """Draw the top third, which answers first; gives its lower edge."""
    pen, y = document.pen, document.y
    headline, below = card_words.where(facts)
    said, size = paper.shrunk(headline, card_words.HEAD_PT, card_words.LEAST_HEAD_PT, WIDTH_PT, bold=True)
    y = pen.lines(LEFT_PT, y, [Line(said, size, bold=True)])
    there = Line(paper.ellipsis(card_words.place(facts), BODY_PT, WIDTH_PT))
    where = [*paper.paragraph(below, WIDTH_PT, most=2), there]
    y = pen.lines(LEFT_PT, y, where) - 3.0
    pen.rule(y, width=1.0)
    middle = LEFT_PT + HALF_PT + GAP_PT
    call, can, dump, fill = (part.shown for part in parts)
    first = pen.lines(LEFT_PT, y - 2.0, [Line("WHAT TO CALL", SMALL_PT, bold=True), *call])
    if facts.level >= 0:
        pen.text(LEFT_PT + HALF_PT, y - 10.0, "minutes after each unit's call", SMALL_PT, align="right")
    top = pen.lines(middle, y - 2.0, [Line("CAN WE DO IT", SMALL_PT, bold=True)])
    symbols_pdf.status_mark(pen, facts.status, middle + 7.0, top - 9.0, 14.0)
    second = pen.lines(middle + 20.0, top, [_status(facts)])
    second = pen.lines(middle, second, can)
    y = min(first, second) - 3.0
    pen.rule(y, width=0.5)
    officer = _officer(facts)
    if officer.lines:
        y = pen.lines(LEFT_PT, y - 2.0, officer.shown) - 3.0
        pen.rule(y, width=0.5)
    return min(pen.lines(LEFT_PT, y - 2.0, dump), pen.lines(middle, y - 2.0, fill)) - 5.0


def _draw_table(pen: paper.Pen, top: float, rows: Sequence[tuple[str, ...]], shown: int, more: str) -> float:
    """Draw the table of response levels, the one shown in bold, and below how many `more` there are.

    Gives its lower edge.
    """
    runs: list[paper.Run] = []
    for k, row in enumerate([[head for head, _ in _TABLE], *rows]):
        x, y, bold = LEFT_PT, top - (9.0 if k == 0 else 10.5 + card_rest.TABLE_ROW_PT * k), k in (0, shown + 1)
        columns = _TABLE if len(row) == len(_TABLE) else (("", WIDTH_PT),)  # what is said below it is one line
        for said, (_, width) in zip(row, columns, strict=True):
            runs.append((x, y, paper.ellipsis(said, SMALL_PT, width - 4.0, bold=bold), SMALL_PT, bold))
            x += width
    pen.write(runs)
    pen.rule(top - 12.0, width=0.8)
    low = top - 15.0 - card_rest.TABLE_ROW_PT * (len(rows) + bool(more))
    if more:
        pen.text(LEFT_PT, low + 4.5, more, SMALL_PT)
    pen.rule(low, width=0.5)
    return low


def _draw_notes(pen: paper.Pen, top: float, told: str) -> None:
    """Leave room for notes in the field, and a place to sign; beside it what stands on the page behind."""
    sign = FOOT_PT + 3.0
    if top - 9.0 > sign + SMALL_PT:
        pen.text(LEFT_PT, top - 9.0, "Notes", SMALL_PT, bold=True)
    y = top - 24.0
    pen.ink(paper.GREY, paper.BLACK)
    while y > sign + 14.0:
        pen.rule(y, width=0.3)
        y -= 15.0
    pen.ink(paper.BLACK, paper.BLACK)
    told_pt = paper.width_of(told, SMALL_PT, bold=True) + _SIGN_GAP_PT if told else 0.0
    pen.text(RIGHT_PT, sign, told, SMALL_PT, bold=True, align="right")
    right = RIGHT_PT - told_pt
    date = right - _DATE_PT
    x = LEFT_PT
    for said, end in (("Verified on the ground by", date - _SIGN_GAP_PT), ("date", right)):
        pen.text(x, sign, said, SMALL_PT)
        pen.rule(sign - 1.0, x + paper.width_of(said, SMALL_PT) + 4.0, end)
        x = date


# --------------------------------------------------------------------------- files


def _sorted(plan: Plan) -> list[CardGroup]:
    """Put the groups in order of road and number, those on roads without a name by the road that is near."""

    def key(group: CardGroup) -> tuple[object, ...]:
        return (not group.road, words.natural_key(index_pdf.heading_of(group)), group.first_number, group.lead)

    return sorted(plan.groups, key=key)


def _drawn(document: Document, picture: Picture, groups: Sequence[CardGroup], first: int, total: int) -> bytes:
    """Draw cards into a document, and give its file."""
    with unswept():
        _draw_all(document, picture, groups, first, total)
        return document.finish()


def _draw_all(document: Document, picture: Picture, groups: Sequence[CardGroup], first: int, total: int) -> None:
    """Draw cards one after the other, each with its bookmark under its road's, and behind it what found no room."""
    road, titles = None, index_pdf.titles_of(picture.plan, groups)
    for at, group in enumerate(groups, first):
        count = f"card {at + 1} of {total}"
        behind = _draw_card(document, picture, group, count)
        name = index_pdf.heading_of(group)
        if name != road:
            document.mark(f"road{at}", name)
            road = name
        document.mark(f"card{at}", titles[at - first], 1)
        behind.draw(document, count)


def cards(plan: Plan, processes: int = 1) -> Iterator[tuple[str, bytes]]:
    """Draw the index and every card: cards.pdf, and above 500 cards the files cards/001.pdf and on, in any order.

    Parameters
    ----------
    plan
        What is drawn.
    processes
        How many may share the work; the files are the same.

    Yields
    ------
    tuple[str, bytes]
        A file's name below the results folder, and its content.
    """
    groups = _sorted(plan)
    if len(groups) <= MOST_IN_ONE_FILE:
        laid = _Index.of(plan, groups)
        document = Document(plan.district, "tanker shuttle cards")
        laid.draw(document, plan)
        yield "cards.pdf", _drawn(document, Picture(plan), groups, 0, len(groups))
        return
    size = _in_a_file(len(groups))
    # The index is a part like any other, the first: other processes take their time to start.
    for part, content in side_by_side.made(_Parts(plan), -(-len(groups) // size) + 1, processes):
        yield _place((part - 1) * size, size).partition("#")[0] if part else "cards.pdf", content


def places(plan: Plan) -> list[tuple[CardGroup, str]]:
    """List the groups in the cards' order, each with where its card is, `file#page`, as the index names it."""
    groups = _sorted(plan)
    size = _in_a_file(len(groups))
    found = [_place(at, size) for at in range(len(groups))] if size else _Index.of(plan, groups).places
    return list(zip(groups, found, strict=True))


@dataclass(frozen=True, slots=True)
class _Index:
    """Both indexes laid out, before anything is drawn."""

    by_road: list[list[index_pdf.Row]]
    by_status: list[list[status_index_pdf.Row]]
    places: list[str]
    """Where each card is: `file#page`, the file empty for this one."""
    pages: int

    @classmethod
    def of(cls, plan: Plan, groups: Sequence[CardGroup]) -> _Index:
        """Lay out until the pages that the index takes agree with the page numbers that it names."""
        entries = index_pdf.entries_of(plan, groups)
        by_road, pages = index_pdf.columns_of(plan, entries), 0
        size = _in_a_file(len(groups))
        while True:
            places = [_place(at, size) if size else f"#{pages + 1 + at}" for at in range(len(groups))]
            by_status = status_index_pdf.columns_of(status_index_pdf.rows_of(plan, entries, places))
            now = (len(by_road) + 1) // 2 + (len(by_status) + 1) // 2
            # More pages make no number shorter, so this ends; a page too many stays blank.
            if now <= pages:
                return cls(by_road, by_status, places, pages)
            pages = now

    def draw(self, document: Document, plan: Plan) -> None:
        """Draw both."""
        index_pdf.draw_index(document, plan, self.by_road, self.places)
        status_index_pdf.draw(document, self.by_status, self.places)
        while document.page < self.pages:
            document.begin("index")


def _in_a_file(count: int) -> int:
    """Give how many cards each file holds, 0: all stand behind the index.

    An even number of files, so that two processes have as much to draw as each other.
    """
    if count <= MOST_IN_ONE_FILE:
        return 0
    return -(-count // (2 * -(-count // (2 * MOST_IN_ONE_FILE))))


def _place(at: int, size: int) -> str:
    """Say in which file, and there on which page, a card stands."""
    return f"cards/{at // size + 1:03d}.pdf#{at % size + 1}"


@dataclass(frozen=True, slots=True)
class _Parts:
    """What a process needs to draw parts of a large set."""

    plan: Plan

    def __call__(self) -> Callable[[int], bytes]:
        """Make ready to draw the index, which is part 0, or cards."""
        groups, picture = _sorted(self.plan), Picture(self.plan)

        def draw(part: int) -> bytes:
            if part == 0:
                laid = _Index.of(self.plan, groups)
                index = Document(self.plan.district, "tanker shuttle cards", pages=laid.pages)
                laid.draw(index, self.plan)
                return index.finish()
            size = _in_a_file(len(groups))
            first = (part - 1) * size
            mine = groups[first : first + size]
            return _drawn(Document(self.plan.district, "tanker shuttle cards"), picture, mine, first, len(groups))

        return draw


def one_card(plan: Plan, address: int) -> bytes:
    """Draw the one card that covers an address (row of the address table), with the sheet of its backup behind."""
    plan = replace(plan, district=replace(plan.district, cards_backup="sheet"))
    for group in plan.groups:
        if address in group.addresses:
            document = Document(plan.district, "tanker shuttle card")
            _draw_card(document, Picture(plan), group, "").draw(document, "")
            return document.finish()
    document = Document(plan.district, "no card", pages=1)
    document.begin()
    document.heading(words.where_words(plan, address))
    status = words.status_words(str(plan.answers.status[address]), plan.district.rules.hydrants.reach_ft)
    document.flow(f"{words.first_up(status)}: no tanker shuttle is planned for this address.", 11.0)
    return document.finish()
