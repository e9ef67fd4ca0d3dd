"""How a card shares its page below the top third among map, way, timeline, cautions and notes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

from preplan.render import card_way, paper, words
from preplan.render.card_columns import NEAR_PT, parted_at
from preplan.render.card_facts import Facts
from preplan.render.card_texts import LEAST_STRIP_PT, STRIP_PT, Piece, Texts, timeline_height, with_piece
from preplan.render.first_drive import ENDS, LAST, WHOLE
from preplan.render.paper import SMALL_PT, Block, Line

WAYS_PT = (208.0, 264.0, 330.0)
"""Width of the directions beside the map: the more, the more a card has to say."""
LEAST_MAP_PT, MOST_MAP_PT = 112.0, 286.0
NOTES_PT, LEAST_NOTES_PT = 60.0, 12.0
"""Room for notes; the least holds the place to sign alone."""
LEAST_BELOW_PT = 48.0
BEHIND_PT = 10.0
"""Height of the line that says what stands on the page behind."""
_DRIVES = (((False, WHOLE), (False, ENDS), (True, ENDS), (False, LAST), (True, LAST)), ((False, 0), (True, 0)))
"""Whether other texts are brief, and how many steps of the first drive are told: the last ones on the page behind."""
_NO_DRIVE = (((False, 0), (True, 0)),)


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
    strip_behind: bool = False
    """So does the timeline."""
    rest: tuple[Block, ...] = ()
    """What else found no room."""
    told: str = ""
    """What the card says of all that: a full one in place of the timeline."""


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
    if way.height > map_pt + NEAR_PT or parted.high_pt > below_pt + NEAR_PT:
        return None
    return Layout(
        map_pt, one.way_pt, one.band_pt, way.lines, parted.columns(blocks), below_pt,
        strip_column=parted.strip_column if one.small else -1, way_behind=one.ends,
        rest=() if most else tuple(texts.first_drive(WHOLE)), told="" if most else texts.told_alone,
    )  # fmt: skip


def _cut(texts: Texts, free: float) -> Layout:
    """Set a card that has too much to say: the way has its room, then what weighs most; the rest goes behind.

    The timeline goes there first, since a page behind there is and the officer's sentences say the same.
    """
    ends = card_way.is_long(texts.facts)
    ways = [(way_pt, texts.ends(way_pt) if ends else texts.way(way_pt)) for way_pt in WAYS_PT]
    fitting = [one for one in ways if one[1].height <= free - BEHIND_PT - LEAST_BELOW_PT - LEAST_NOTES_PT]
    way_pt, way = fitting[0] if fitting else ways[-1]
    shown: frozenset[Piece] = frozenset()
    for piece in texts.by_weight():
        tried = with_piece(shown, piece)
        high_pt = texts.below(tried).high_pt
        map_pt, below_pt = _share(free - BEHIND_PT, high_pt, way.height)
        if high_pt <= below_pt + NEAR_PT and way.height <= map_pt + NEAR_PT:
            shown = tried
    below = texts.below(shown)
    map_pt, below_pt = _share(free - BEHIND_PT, below.high_pt, way.height)
    whole = way.height <= map_pt + NEAR_PT
    return Layout(
        map_pt, way_pt, BEHIND_PT, paper.trimmed(way.lines, map_pt, words.NEXT_PAGE), below.columns, below_pt,
        way_behind=ends or not whole, strip_behind=texts.facts.group.strip is not None, rest=texts.rest(shown),
        told=texts.told(shown),
    )  # fmt: skip


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
