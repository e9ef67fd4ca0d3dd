"""How a card shares its page below the top third among map, way, timeline, cautions and notes."""

from __future__ import annotations

from collections.abc import Callable, Container, Hashable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import chain, product
from typing import NamedTuple

from preplan.render import card_rest, card_way, paper, words
from preplan.render.card_facts import HALF_PT, Facts
from preplan.render.first_drive import ENDS, LAST, WHOLE
from preplan.render.paper import SMALL_PT, Block, Line

WAYS_PT = (208.0, 264.0, 330.0)
"""Width of the directions beside the map: the more, the more a card has to say."""
LEAST_MAP_PT, MOST_MAP_PT = 112.0, 286.0
NOTES_PT, LEAST_NOTES_PT = 60.0, 12.0
"""Room for notes; the least holds the place to sign alone."""
LEAST_BELOW_PT = 48.0
STRIP_PT, LEAST_STRIP_PT = 74.0, 64.0
"""Height of the timeline strip; the second where a card has much to say."""
BEHIND_PT = 10.0
"""Height of the line that says that the strip stands on the page behind."""
_STRIP_LEGEND = " Grey: gallons on scene. Hatched: too little flows. Bars: loads."
_NEAR_PT = 0.01
_DRIVES = (((False, WHOLE), (False, ENDS), (True, ENDS), (False, LAST), (True, LAST)), ((False, 0), (True, 0)))
"""Whether other texts are brief, and how many steps of the first drive are told: the last ones on the page behind."""
_NO_DRIVE = (((False, 0), (True, 0)),)
CARE_GOES_ON = Line("TAKE CARE, continued", SMALL_PT, bold=True)
"""Heading of cautions that begin in another place."""


def timeline_height(facts: Facts, strip_pt: float = STRIP_PT) -> float:
    """Give the height of the band that `timeline_band` fills below the table of levels, points."""
    return 0.0 if facts.group.strip is None else strip_pt + SMALL_PT * 1.6


def strip_words(facts: Facts) -> str:
    """Say what a card's timeline shows; '' where none runs."""
    if facts.group.strip is None:
        return ""
    return words.called_words(facts.plan, facts.lead, facts.group.strip.called) + _STRIP_LEGEND


def small_strip_height(facts: Facts) -> float:
    """Give the height of a timeline in one of the two columns, with the words above it, points."""
    if facts.group.strip is None:
        return 0.0
    return LEAST_STRIP_PT + paper.height_of(paper.paragraph(strip_words(facts), HALF_PT, SMALL_PT)) + 4.0


@dataclass(frozen=True, slots=True)
class Layout:
    """What stands beside the map and below the table, and the heights that give way to each other, points."""

    map_pt: float
    """Height of the map."""
    way_pt: float
    """Width of what stands beside it."""
    band_pt: float
    """Height of the timeline over the full width, 0: it stands elsewhere."""
    beside: Sequence[Line]
    columns: tuple[Sequence[Line], Sequence[Line]]
    below_pt: float
    """Height of the two columns; the notes take what is left."""
    strip_column: int = -1
    """Which of them ends with the timeline, -1: none."""
    way_behind: bool = False
    """Every step of the way stands on the page behind."""
    rest: tuple[Block, ...] = ()
    """What else found no room."""

    @property
    def strip_behind(self) -> bool:
        """Tell whether the timeline stands on the page behind."""
        return 0.0 < self.band_pt <= BEHIND_PT


@dataclass(frozen=True, slots=True)
class _Try:
    """One way to set a card."""

    way_pt: float
    band_pt: float
    small: bool
    """The timeline stands in a column."""
    ends: bool = False
    """Of the way the first and the last steps alone stand in front."""


def layout_of(facts: Facts, free: float, *, drive_above: bool = False) -> Layout:
    """Share a height, in points; `drive_above`: the top third says how units come from their stations.

    On a full card the strip becomes lower, then half as wide, and the map narrower. Where that is not enough to tell
    every turn a line a step, how units come from their stations goes on the page behind, then the way; then what else
    has no room goes there too.
    """
    texts = Texts(facts, drive_above=drive_above)
    drives = _NO_DRIVE if drive_above or not facts.group.ways_in else _DRIVES
    for tries, told in product(_tries(texts, free), drives):
        for one in tries:
            way = texts.ends(one.way_pt) if one.ends else texts.way(one.way_pt)
            if way.height > free - one.band_pt - LEAST_NOTES_PT:
                continue
            # a caution takes a line at least, so those that cannot stand beside the map need not be set for there
            fits = way.height + texts.cautions * SMALL_PT * paper.LEADING <= free - one.band_pt - LEAST_NOTES_PT
            # two columns are at least half as high as all that stands in them: most ways to set a full card end here
            most_pt = 2.0 * (free - one.band_pt - way.height - LEAST_NOTES_PT) + 1.0 - texts.strip_pt * one.small
            for (brief, most), beside in product(told, (True, False)[not fits : 1 + bool(texts.cautions)]):
                if texts.below_pt(brief=brief, most=most, beside=beside) > most_pt:
                    continue
                found = _set(texts, way, one, free, brief=brief, most=most, beside=beside)
                if found is not None:
                    return found
    return _cut(texts, free)


def _tries(texts: Texts, free: float) -> Iterator[list[_Try]]:
    """List the ways to set a card, what is best to read first; those by step end where even the widest is too long.

    Those with every step come first, then those with the ends alone.
    """
    low, most = timeline_height(texts.facts, LEAST_STRIP_PT), free - LEAST_NOTES_PT
    bands = ((low, False), (0.0, True)) if low else ((0.0, False),)
    first = _Try(WAYS_PT[0], timeline_height(texts.facts, STRIP_PT), small=False)
    tries = [(way_pt, band, small) for (band, small), way_pt in product(bands, WAYS_PT)]
    if card_way.steps(texts.facts) * SMALL_PT * paper.LEADING <= most:
        yield [first, *(_Try(*one) for one in tries if texts.way(WAYS_PT[-1]).height <= most)]
    if card_way.is_long(texts.facts):
        yield [replace(first, ends=True), *(_Try(*one, ends=True) for one in tries)]


def _set(texts: Texts, way: Block, one: _Try, free: float, *, brief: bool, most: int, beside: bool) -> Layout | None:
    """Set a card one way; None: something has no room. Of the first drive `most` steps are told, 0: it goes behind."""
    if beside and texts.cautions:
        way = way.over(texts.care(one.way_pt))
    care = [] if beside else texts.care_below
    blocks = [texts.joined(brief=brief), *care, *texts.first_drive(most)]
    strip_pt = texts.strip_pt if one.small else 0.0
    parted = parted_at([block.height for block in blocks], strip_pt, under_care=range(2, 1 + len(care)))
    map_pt, below_pt = _share(free - one.band_pt, parted.high_pt, way.height)
    if way.height > map_pt + _NEAR_PT or parted.high_pt > below_pt + _NEAR_PT:
        return None
    return Layout(
        map_pt, one.way_pt, one.band_pt, way.lines, parted.columns(blocks), below_pt,
        strip_column=parted.strip_column if one.small else -1, way_behind=one.ends,
        rest=() if most else tuple(texts.first_drive(WHOLE)),
    )  # fmt: skip


def _cut(texts: Texts, free: float) -> Layout:
    """Set a card that has too much to say: the way has its room, and what has none goes on the page behind.

    The timeline goes there first, since a page behind there is and the officer's sentences say the same.
    """
    band = min(timeline_height(texts.facts, LEAST_STRIP_PT), BEHIND_PT)
    ends = card_way.is_long(texts.facts)
    ways = [(way_pt, texts.ends(way_pt) if ends else texts.way(way_pt)) for way_pt in WAYS_PT]
    fitting = [one for one in ways if one[1].height <= free - band - LEAST_BELOW_PT - LEAST_NOTES_PT]
    way_pt, way = fitting[0] if fitting else ways[-1]
    before = len(texts.otherwise(brief=True))
    drive = texts.first_drive(LAST)
    blocks = [*map(Block.of, texts.otherwise(brief=True)), *texts.care_below, *drive]
    for kept in range(len(blocks), -1, -1):
        shown = blocks[:kept] + [_more(texts, kept, before)] * (kept < len(blocks) - len(drive))
        under_care = range(before + 1, min(kept, before + len(texts.care_below)))
        parted = parted_at([block.height for block in shown], under_care=under_care)
        map_pt, below_pt = _share(free - band, parted.high_pt, way.height)
        if parted.high_pt <= below_pt + _NEAR_PT and way.height <= map_pt + _NEAR_PT:
            break
    whole = way.height <= map_pt + _NEAR_PT
    return Layout(
        map_pt, way_pt, band, paper.trimmed(way.lines, map_pt, words.NEXT_PAGE), parted.columns(shown), below_pt,
        way_behind=ends or not whole, rest=texts.rest(kept),
    )  # fmt: skip


def _more(texts: Texts, kept: int, before: int) -> Block:
    """Say that texts stand on the page behind; warnings among them are told as such."""
    care = texts.care_below
    what = "… MORE WARNINGS" if care and kept < before + len(care) else "… and more"
    return Block.of([Line(f"{what}: see {words.NEXT_PAGE}", SMALL_PT, bold=True)])


class Parted(NamedTuple):
    """Texts in two columns, the first going on in the second, and a strip below the shorter one."""

    first: int
    """Texts in the first column."""
    high_pt: float
    """Height of the higher column."""
    strip_column: int
    """Which one is shorter."""
    headed: bool = False
    """The second one goes on with cautions, and says so."""

    def columns(self, blocks: Sequence[Block]) -> tuple[Sequence[Line], Sequence[Line]]:
        """Give the lines of both columns."""
        left, right = (
            [line for block in some for line in block.lines] for some in (blocks[: self.first], blocks[self.first :])
        )
        return left, [CARE_GOES_ON] * self.headed + right


def parted_at(heights: Sequence[float], strip_pt: float = 0.0, under_care: Container[int] = ()) -> Parted:
    """Part texts of some heights, in points, so that the columns are low.

    The texts `under_care` are cautions below another one: the second column needs a heading more to begin with one.

    >>> parted_at([30.0, 10.0, 10.0])
    Parted(first=1, high_pt=30.0, strip_column=1, headed=False)
    >>> parted_at([30.0, 20.0, 60.0], under_care=[2])
    Parted(first=2, high_pt=69.6, strip_column=0, headed=True)
    """
    left, right = sum(heights), 0.0
    best = Parted(len(heights), max(left, strip_pt), 1)
    for some in range(len(heights) - 1, -1, -1):
        left, right = left - heights[some], right + heights[some]
        headed = some in under_care
        below = right + CARE_GOES_ON.height * headed
        high = max(left, below, min(left, below) + strip_pt)
        if high < best.high_pt - _NEAR_PT:
            best = Parted(some, high, int(left > below), headed)
    return best


class Texts:
    """The texts of one card that give way to each other, each set once however often the layout is tried.

    Those for beside the map are set for a width in points; what stands below is the same whatever that is.
    """

    def __init__(self, facts: Facts, *, drive_above: bool) -> None:
        """Set the cautions below; everything else is set when first asked."""
        self.facts, self._drive_above = facts, drive_above
        items = card_rest.cautions(facts, HALF_PT)
        self.cautions = len(items)
        """How many there are."""
        self.care_below = [card_rest.under_heading(items[:1]), *items[1:]] if items else []
        """The cautions for the columns, the heading with the first."""
        self.care_pt = sum(block.height for block in self.care_below)
        self._set: dict[Hashable, Block] = {}
        self._else: dict[bool, list[list[Line]]] = {}

    @cached_property
    def strip_pt(self) -> float:
        """Height of the timeline in a column."""
        return small_strip_height(self.facts)

    def below_pt(self, *, brief: bool, most: int, beside: bool) -> float:
        """Add up the heights of what stands below the table, points."""
        care_pt = 0.0 if beside else self.care_pt
        return self.joined(brief=brief).height + care_pt + sum(block.height for block in self.first_drive(most))

    def _once(self, key: Hashable, write: Callable[[], Sequence[Line]]) -> Block:
        """Set a text unless it is set."""
        if key not in self._set:
            self._set[key] = Block.of(write())
        return self._set[key]

    def care(self, width: float) -> Block:
        """Give the cautions for beside the map, under their heading."""
        return self._once(("care", width), lambda: card_rest.under_heading(card_rest.cautions(self.facts, width)).lines)

    def way(self, width: float) -> Block:
        """Give both legs, a line a step; without a trip why there is none."""
        return self._once(("way", width), lambda: card_way.way(self.facts, width))

    def ends(self, width: float) -> Block:
        """Give the first and the last step of both legs."""
        return self._once(("ends", width), lambda: card_way.ends_of_way(self.facts, width))

    def otherwise(self, *, brief: bool) -> list[list[Line]]:
        """Give what else there is, each for itself."""
        if brief not in self._else:
            self._else[brief] = card_rest.otherwise(self.facts, brief=brief)
        return self._else[brief]

    def joined(self, *, brief: bool) -> Block:
        """Give the same as one text."""
        return self._once(("otherwise", brief), lambda: [*chain.from_iterable(self.otherwise(brief=brief))])

    def first_drive(self, most: int) -> list[Block]:
        """Give how units come from their stations, `most` steps of each way; none where it stands elsewhere."""
        if self._drive_above or not most:
            return []
        told = self._once(("first drive", most), lambda: card_rest.first_drive(self.facts, most))
        return [told] if told.lines else []

    def rest(self, kept: int) -> tuple[Block, ...]:
        """Give the texts for the columns from one on, for the page behind, under their heading."""
        before = len(self.otherwise(brief=True))
        left = [*map(Block.of, self.otherwise(brief=False)[kept:])] if kept < before else []
        care = self.care_below[max(kept - before, 0) :]
        if kept and left:
            left.insert(0, Block.of([Line("IF SOMETHING IS OUT, continued", SMALL_PT, bold=True)]))
        drive = self.first_drive(WHOLE) if kept <= before + len(self.care_below) else []
        if kept > before and care:
            care.insert(0, Block.of([CARE_GOES_ON]))
        return (*left, *care, *drive)


def _share(free: float, wanted: float, beside: float) -> tuple[float, float]:
    """Share the height left among map and what stands beside it, text below, and notes, which give way first."""
    height = min(MOST_MAP_PT, max(LEAST_MAP_PT, free - wanted - NOTES_PT))
    height = max(height, min(beside, free - wanted - LEAST_NOTES_PT))
    below = min(wanted, free - height - LEAST_NOTES_PT)
    if below < min(wanted, LEAST_BELOW_PT):
        below = min(wanted, LEAST_BELOW_PT)
        height = free - below - LEAST_NOTES_PT
    if height < LEAST_MAP_PT:  # a map that nobody can read helps nobody: text goes on behind
        height = LEAST_MAP_PT
        below = max(free - height - LEAST_NOTES_PT, 0.0)
    return height, below
