"""Cards: one page for neighbours along a road whose answers agree, and the index that finds them.

A card answers in the order in which a night officer asks: where, what to call, can we do it, where is the dump
site, where do tankers fill; then the map, the way, what else there is, and what was assumed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product

from preplan.plan import CardGroup, Plan
from preplan.render import (
    card_rest,
    card_way,
    card_words,
    index_pdf,
    paper,
    scene,
    side_by_side,
    status_index_pdf,
    strip_pdf,
    symbols_pdf,
    words,
)
from preplan.render.card_facts import GAP_PT, HALF_PT, WIDTH_PT, Facts
from preplan.render.card_way import RunOn
from preplan.render.charts import Picture
from preplan.render.paper import BODY_PT, FOOT_PT, LEFT_PT, RIGHT_PT, SMALL_PT, Block, Document, Line
from preplan.render.route_pdf import Subject
from preplan.render.scene import Box

MOST_IN_ONE_FILE = 500
"""Above this many cards the set is split, and cards.pdf is the index alone."""
_WAYS_PT = (208.0, 264.0, 330.0)
"""Width of the directions beside the map: the more, the more a card has to say."""
_LEAST_MAP_PT, _MOST_MAP_PT = 120.0, 286.0
_MAP_NOTE = "Solid: loaded, to the star. Dashed: empty, back to the drop. Bold numbers: turns."
_BRIDGE_NOTE = " Brackets: bridges, postings."
_NOTES_PT, _LEAST_NOTES_PT = 60.0, 12.0
"""Room for notes; the least holds the place to sign alone."""
_LEAST_BELOW_PT = 48.0
_ROW_PT = (126.0, 96.0)
"""Most height of the two rows of the top third."""
_SEASONS_PT = 36.0
"""More of it where the fill site changes with the season."""
_TABLE = (("response level", 78.0), ("gpm held", 50.0), ("on arrival", 50.0), ("meets?", 46.0), ("fill site", 40.0),
          ("held back by", 68.0), ("1 tanker out", 68.0), ("tankers", 140.0))  # fmt: skip
_BEHIND_PT = 10.0
"""Height of the line that says that the strip stands on the page behind."""
_STRIP_BEHIND_PT = 110.0
STRIP_PT, LEAST_STRIP_PT = 74.0, 64.0
"""Height of the timeline strip; the second where a card has much to say."""
_STRIP_LEGEND = " Grey: gallons on scene. Hatched: too little flows. Bars: loads."


# --------------------------------------------------------------------------- how a card is drawn


def timeline_height(facts: Facts, strip_pt: float = STRIP_PT) -> float:
    """Give the height of the band that `timeline_band` fills below the table of levels, points."""
    return 0.0 if facts.group.strip is None else strip_pt + SMALL_PT * 1.6


def timeline_band(pen: paper.Pen, band: Box, facts: Facts) -> None:
    """Draw the timeline of the lead address as a strip over the full width; nothing where none runs."""
    if facts.group.strip is None:
        return
    if band.height <= _BEHIND_PT:
        pen.text(band.left, band.bottom + 2.0, f"Timeline: see {words.NEXT_PAGE}.", SMALL_PT)
        return
    called = words.called_words(facts.plan, facts.lead, facts.group.strip.called)
    pen.text(band.left, band.top - SMALL_PT * 1.3, called + _STRIP_LEGEND, SMALL_PT)
    page = Box(band.left, band.bottom, band.right, band.top - SMALL_PT * 1.6 - 4.0)
    strip_pdf.draw(pen, page, facts.group.strip)


@dataclass(frozen=True, slots=True)
class _Layout:
    """What stands beside the map and below the table, and the heights that give way to each other, points."""

    map_pt: float
    """Height of the map."""
    way_pt: float
    """Width of what stands beside it."""
    beside: Sequence[Line]
    columns: tuple[Sequence[Line], Sequence[Line]]
    below_pt: float
    """Height of the two columns; the notes take what is left."""
    whole: bool = True
    """Nothing is cut."""
    run_on: RunOn = card_way.BY_STEP
    """Which legs are told as one paragraph."""

    @classmethod
    def with_strip(cls, facts: Facts, free: float) -> tuple[_Layout, float]:
        """Give the layout, and the height of the timeline's band.

        On a full card the strip becomes lower and the map narrower; where that is not enough to tell every turn and
        warning, and its room would be, the strip stands on the page behind: the officer's sentences say the same.
        """
        low = timeline_height(facts, LEAST_STRIP_PT)
        tried = ((timeline_height(facts, STRIP_PT), _WAYS_PT[0]), *product((low, min(low, _BEHIND_PT)), _WAYS_PT))
        texts, found = _Texts(facts), []
        for band, way_pt in tried:
            found.append((cls.of(texts, way_pt, free - band), band))
            if found[-1][0].whole:
                return found[-1]
        return found[-1]

    @classmethod
    def of(cls, texts: _Texts, way_pt: float, free: float) -> _Layout:
        """Put the cautions under the directions where there is room, else below the table.

        What each tanker does gives way first: it stands in the tables too.
        """
        way, every = texts.way(way_pt, card_way.BY_STEP), texts.cautions
        for brief, kept in product((False, True), (every, 0) if every else (0,)):
            care, (left, right) = texts.care(way_pt, kept), texts.below(kept, brief=brief)
            wanted, beside_pt = max(left.height, right.height), way.height + care.height
            map_pt, below_pt = _share(free, wanted, beside_pt)
            if beside_pt <= map_pt + 0.01 and wanted <= below_pt + 0.01:
                return cls(map_pt, way_pt, way.over(care).lines, (left.lines, right.lines), below_pt)
        return cls._parted(texts, way_pt, free)

    @classmethod
    def _parted(cls, texts: _Texts, way_pt: float, free: float) -> _Layout:
        """Put beside the map what fits there of directions and cautions, the rest below: better parted than left out.

        The way back stands below before a leg is told as one paragraph, and that comes before half a leg.
        """
        best: tuple[float, float, Block, tuple[Block, Block], RunOn] | None = None
        least_cut_pt = math.inf
        apart = (False, True) if texts.facts.cell("trip") >= 0 else (False,)
        forms = card_way.RUN_ON if way_pt > _WAYS_PT[0] else card_way.RUN_ON[:1]
        for run_on, back_below, kept in product(forms, apart, range(texts.cautions, -1, -1)):
            if least_cut_pt <= 0.01:
                break
            below = (run_on[1],) if back_below else ()
            way = texts.out(way_pt, run_on=run_on[0]) if back_below else texts.way(way_pt, run_on)
            care, columns = texts.care(way_pt, kept), texts.below(kept, brief=True, back=below)
            wanted, beside_pt = max(columns[0].height, columns[1].height), way.height + care.height
            map_pt, below_pt = _share(free, wanted, beside_pt)
            cut_pt = max(wanted - below_pt, 0.0) + max(beside_pt - map_pt, 0.0)
            if cut_pt < least_cut_pt - 0.01:
                least_cut_pt, best = cut_pt, (map_pt, below_pt, way.over(care), columns, run_on)
        if best is None:
            raise AssertionError("a card without a layout")
        map_pt, below_pt, beside, (left, right), run_on = best
        shown = paper.trimmed(beside.lines, map_pt, words.NEXT_PAGE)
        return cls(map_pt, way_pt, shown, (left.lines, right.lines), below_pt, least_cut_pt <= 0.01, run_on)


class _Texts:
    """The texts of one card that give way to each other, each set once however often the layout is tried.

    Those for beside the map are set for a width in points; what stands below is the same whatever that is.
    """

    def __init__(self, facts: Facts) -> None:
        """Set the cautions below; everything else is set when first asked."""
        self.facts = facts
        self._care_below = card_rest.cautions(facts, HALF_PT)
        self.cautions = len(self._care_below)
        """How many there are."""
        self._care: dict[float, list[Block]] = {}
        self._set: dict[Hashable, Block] = {}
        self._below: dict[tuple[int, bool, tuple[bool, ...]], tuple[Block, Block]] = {}

    def _once(self, key: Hashable, write: Callable[[], Sequence[Line]]) -> Block:
        """Set a text unless it is set."""
        if key not in self._set:
            self._set[key] = Block.of(write())
        return self._set[key]

    def care(self, width: float, kept: int) -> Block:
        """Give the first cautions for beside the map, under their heading."""
        if width not in self._care:
            items = card_rest.cautions(self.facts, width)
            self._care[width] = [card_rest.under_heading(items[:some]) for some in range(len(items) + 1)]
        return self._care[width][kept]

    def way(self, width: float, run_on: RunOn) -> Block:
        """Give both legs, told as one paragraph or step by step; without a trip why there is none."""
        return self._once(("way", width, run_on), lambda: self._way(width, run_on))

    def _way(self, width: float, run_on: RunOn) -> Sequence[Line]:
        if self.facts.cell("trip") < 0:
            return card_way.why_not(self.facts, width)
        return [*self.out(width, run_on=run_on[0]).lines, *self._back(width, run_on=run_on[1]).lines]

    def out(self, width: float, *, run_on: bool) -> Block:
        """Give the loaded leg alone."""
        return self._once(("out", width, run_on), lambda: card_way.out_leg(self.facts, width, run_on=run_on))

    def _back(self, width: float, *, run_on: bool) -> Block:
        """Give the empty leg alone; one that is the way back is never run on."""
        run_on &= self.facts.astray is None
        return self._once(("back", width, run_on), lambda: card_way.back_leg(self.facts, width, run_on=run_on))

    def below(self, kept: int, *, brief: bool, back: tuple[bool, ...] = ()) -> tuple[Block, Block]:
        """Give the two columns below the strip, with the cautions from `kept` on.

        `back` says, where the empty leg stands there, whether it is one paragraph; else it is empty.
        """
        if (kept, brief, back) not in self._below:
            left = self._once(("otherwise", brief), lambda: card_rest.otherwise(self.facts, brief=brief))
            right = self._back(HALF_PT, run_on=back[0]) if back else Block.of([])
            head = "TAKE CARE, FURTHER" if kept else "TAKE CARE"
            self._below[kept, brief, back] = card_rest.below(left, self._care_below[kept:], head, right)
        return self._below[kept, brief, back]


def _share(free: float, wanted: float, beside: float) -> tuple[float, float]:
    """Share the height left among map and what stands beside it, text below, and notes, which give way first."""
    height = min(_MOST_MAP_PT, max(_LEAST_MAP_PT, free - wanted - _NOTES_PT))
    height = max(height, min(beside, free - wanted - _LEAST_NOTES_PT))
    below = min(wanted, free - height - _LEAST_NOTES_PT)
    if below < min(wanted, _LEAST_BELOW_PT):
        below = min(wanted, _LEAST_BELOW_PT)
        height = free - below - _LEAST_NOTES_PT
    if height < _LEAST_MAP_PT:  # a map that nobody can read helps nobody: text goes on behind
        height = _LEAST_MAP_PT
        below = max(free - height - _LEAST_NOTES_PT, 0.0)
    return height, below


@dataclass(frozen=True, slots=True)
class _Behind:
    """What found no room on a card, and the circuit over the second fill site."""

    facts: Facts
    picture: Picture
    lines: Sequence[Line]
    strip: bool
    """The timeline's strip is among it."""

    def draw(self, document: Document, count: str) -> None:
        """Draw it on pages behind, where there is room for larger letters; nothing where there is none."""
        self._draw_rest(document, count)
        if self.facts.cell("split_trip") >= 0:
            _draw_second(document, self.picture, self.facts, count)

    def _draw_rest(self, document: Document, count: str) -> None:
        if not self.lines and not self.strip:
            return
        document.begin(count, behind=True)
        document.heading(f"{card_words.where(self.facts)[0]}, continued", card_words.LEAST_HEAD_PT)
        if self.strip:
            band = timeline_height(self.facts, _STRIP_BEHIND_PT)
            timeline_band(document.pen, Box(LEFT_PT, document.y - band, RIGHT_PT, document.y), self.facts)
            document.y -= band + 8.0
        _flow_large(document, self.lines, count)


def _flow_large(document: Document, lines: Sequence[Line], count: str) -> None:
    """Let lines flow down the pages behind a card in larger letters."""
    for line in lines:
        large = line._replace(size=line.size * card_rest.LARGER, indent=line.indent * card_rest.LARGER)
        if document.y - large.height < FOOT_PT:
            document.begin(count, behind=True)
        document.y = document.pen.lines(LEFT_PT, document.y, [large])


def _draw_second(document: Document, picture: Picture, first: Facts, count: str) -> None:
    """Draw the sheet of those who fill at the second site: where, its map, and every turn."""
    facts = first.over_second()
    steps = facts.group.out_steps
    subject = picture.subject(facts.group.addresses, facts.lead, facts.cell("trip"), steps=steps)
    document.begin(count, behind=True)
    document.heading(f"{card_words.where(facts)[0]}, second fill site", card_words.LEAST_HEAD_PT)
    pen = document.pen
    top = pen.lines(LEFT_PT, document.y, card_words.at_second(facts)) - 3.0
    pen.rule(top, width=0.5)
    left = pen.lines(LEFT_PT, top - 2.0, card_words.fill(facts, _approach(subject)))
    y = min(left, pen.lines(LEFT_PT + HALF_PT + GAP_PT, top - 2.0, card_words.dump(facts)))
    page = Box(LEFT_PT, y - 6.0 - _MOST_MAP_PT, RIGHT_PT, y - 6.0)
    picture.draw(pen, page, subject)
    note = _MAP_NOTE + _BRIDGE_NOTE * bool(subject.bridges)
    pen.text(LEFT_PT, page.bottom - 9.0, note, SMALL_PT)
    document.y = page.bottom - 16.0
    width = WIDTH_PT / card_rest.LARGER
    full = paper.paragraph("Leave the fill site full, the dump site empty: never half.", width, SMALL_PT)
    care = card_rest.under_heading(card_rest.cautions(facts, width)).lines
    _flow_large(document, [*card_way.way(facts, width), *full, Line("", 4.0), *care], count)


def _draw_card(document: Document, picture: Picture, group: CardGroup, count: str) -> _Behind:
    """Draw one card on a new page; gives what found no room on it."""
    facts = Facts(picture.plan, group)
    others = facts.cell("backup"), facts.cell("split")
    subject = picture.subject(group.addresses, facts.lead, facts.cell("trip"), others, group.out_steps)
    pen = document.pen
    document.begin(count)
    top = _top(facts, _approach(subject))
    y = _draw_top(document, facts, top)
    rows = list(card_rest.level_rows(facts))
    first = min(max(0, facts.level - card_rest.MOST_LEVELS + 1), max(0, len(rows) - card_rest.MOST_LEVELS))
    rows = rows[first : first + card_rest.MOST_LEVELS]
    assumed = card_rest.assumed(facts)
    free = y - FOOT_PT - 41.0 - 11.5 * len(rows) - paper.height_of(assumed)
    least = _LEAST_MAP_PT + _LEAST_BELOW_PT + _LEAST_NOTES_PT + timeline_height(facts, LEAST_STRIP_PT)
    covered = paper.trimmed(card_rest.covered(facts), max(free - least, 0.0), "the index")
    free -= paper.height_of(covered)
    covered = [*assumed, *covered]
    layout, band = _Layout.with_strip(facts, free)
    picture.draw(pen, Box(LEFT_PT, y - layout.map_pt, RIGHT_PT - layout.way_pt - GAP_PT, y), subject)
    pen.lines(RIGHT_PT - layout.way_pt, y, layout.beside)
    if subject.out_ft is not None:
        note = _MAP_NOTE + _BRIDGE_NOTE * bool(subject.bridges)
        pen.text(LEFT_PT, y - layout.map_pt - 9.0, note, SMALL_PT)
    y = _draw_table(pen, y - layout.map_pt - 13.0, rows, facts.level - first)
    timeline_band(pen, Box(LEFT_PT, y - band, RIGHT_PT, y), facts)
    y -= band + 4.0
    for x, lines in zip((LEFT_PT, LEFT_PT + HALF_PT + GAP_PT), layout.columns, strict=True):
        pen.lines(x, y, paper.trimmed(lines, layout.below_pt, words.NEXT_PAGE))
    y = pen.lines(LEFT_PT, y - 4.0 - layout.below_pt, covered)
    _draw_notes(pen, y - 4.0)
    further = [line for part in top if part.cut for line in [*part.lines, Line("", 4.0)]]
    if further or not layout.whole or not card_way.tells_all_turns(facts, layout.run_on):
        further += card_rest.further(facts)
    return _Behind(facts, picture, further, 0.0 < band <= _BEHIND_PT)


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


def _top(facts: Facts, approach: str) -> tuple[_Part, _Part, _Part, _Part]:
    """Give what to call, whether it is enough, the dump site and the fill site."""
    call, others = _ROW_PT
    return (
        _Part(card_words.call(facts), call),
        _Part(card_words.can(facts), call - 18.0),
        _Part(card_words.dump(facts), others),
        _Part(card_words.fill(facts, approach), others + _SEASONS_PT),
    )


def _draw_top(document: Document, facts: Facts, parts: tuple[_Part, _Part, _Part, _Part]) -> float:
    """Draw the top third, which answers first; gives its lower edge."""
    pen, y = document.pen, document.y
    headline, below = card_words.where(facts)
    said, size = paper.shrunk(headline, card_words.HEAD_PT, card_words.LEAST_HEAD_PT, WIDTH_PT, bold=True)
    y = pen.lines(LEFT_PT, y, [Line(said, size, bold=True)])
    where = [Line(paper.ellipsis(one, BODY_PT, WIDTH_PT)) for one in (below, card_words.place(facts))]
    y = pen.lines(LEFT_PT, y, where) - 3.0
    pen.rule(y, width=1.0)
    middle = LEFT_PT + HALF_PT + GAP_PT
    call, can, dump, fill = (part.shown for part in parts)
    first = pen.lines(LEFT_PT, y - 2.0, [Line("WHAT TO CALL", SMALL_PT, bold=True), *call])
    if facts.level >= 0:
        pen.text(LEFT_PT + HALF_PT, y - 10.0, "minutes after each unit's own call", SMALL_PT, align="right")
    top = pen.lines(middle, y - 2.0, [Line("CAN WE DO IT", SMALL_PT, bold=True)])
    symbols_pdf.status_mark(pen, facts.status, middle + 7.0, top - 9.0, 14.0)
    second = pen.lines(middle + 20.0, top, [Line(facts.status, 15.0, bold=True)])
    second = pen.lines(middle, second, can)
    y = min(first, second) - 3.0
    pen.rule(y, width=0.5)
    officer = card_words.officer(facts)
    if officer:
        y = pen.lines(LEFT_PT, y - 2.0, officer) - 3.0
        pen.rule(y, width=0.5)
    return min(pen.lines(LEFT_PT, y - 2.0, dump), pen.lines(middle, y - 2.0, fill)) - 5.0


def _approach(subject: Subject) -> str:
    """Say in which direction empty tankers come to the fill site, and on which side of the road it is."""
    if subject.back_ft is None or subject.site_ft is None:
        return ""
    side = scene.side_at_end(subject.back_ft, subject.site_ft)
    on = f", the site on their {side}" if side else ""
    return f"Empty tankers arrive heading {scene.heading(subject.back_ft)}{on}."


def _draw_table(pen: paper.Pen, top: float, rows: Sequence[tuple[str, ...]], shown: int) -> float:
    """Draw the table of response levels, the one shown in bold; gives its lower edge."""
    runs: list[paper.Run] = []
    for k, row in enumerate([[head for head, _ in _TABLE], *rows]):
        x, y, bold = LEFT_PT, top - (9.0 if k == 0 else 10.5 + 11.5 * k), k in (0, shown + 1)
        for said, (_, width) in zip(row, _TABLE, strict=True):
            runs.append((x, y, paper.ellipsis(said, SMALL_PT, width - 4.0, bold=bold), SMALL_PT, bold))
            x += width
    pen.write(runs)
    pen.rule(top - 12.0, width=0.8)
    low = top - 15.0 - 11.5 * len(rows)
    pen.rule(low, width=0.5)
    return low


def _draw_notes(pen: paper.Pen, top: float) -> None:
    """Leave room for notes in the field, and a place to sign."""
    sign = FOOT_PT + 3.0
    if top - 9.0 > sign + SMALL_PT:
        pen.text(LEFT_PT, top - 9.0, "Notes", SMALL_PT, bold=True)
    y = top - 24.0
    pen.ink(paper.GREY, paper.BLACK)
    while y > sign + 14.0:
        pen.rule(y, width=0.3)
        y -= 15.0
    pen.ink(paper.BLACK, paper.BLACK)
    pen.text(LEFT_PT, sign, "Verified on the ground by", SMALL_PT)
    pen.rule(sign - 1.0, LEFT_PT + 118.0, LEFT_PT + 330.0)
    pen.text(LEFT_PT + 340.0, sign, "date", SMALL_PT)
    pen.rule(sign - 1.0, LEFT_PT + 364.0, RIGHT_PT)


# --------------------------------------------------------------------------- files


def _sorted(plan: Plan) -> list[CardGroup]:
    """Put the groups in order of road and number, those on roads without a name by the road that is near."""

    def key(group: CardGroup) -> tuple[object, ...]:
        return (not group.road, words.natural_key(index_pdf.heading_of(group)), group.first_number, group.lead)

    return sorted(plan.groups, key=key)


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
        _draw_all(document, Picture(plan), groups, 0, len(groups))
        yield "cards.pdf", document.finish()
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
            document = Document(self.plan.district, "tanker shuttle cards")
            _draw_all(document, picture, mine, first, len(groups))
            return document.finish()

        return draw


def one_card(plan: Plan, address: int) -> bytes:
    """Draw the one card that covers an address (row of the address table)."""
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
