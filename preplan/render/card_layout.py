"""How a card shares its page below the top third among map, way, timeline, cautions and notes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import NamedTuple

from preplan.render import card_way, paper, words
from preplan.render.card_columns import NEAR_PT, parted_at
from preplan.render.card_facts import Facts
from preplan.render.card_texts import LEAST_STRIP_PT, STRIP_PT, Piece, Texts, timeline_height, with_piece
from preplan.render.first_drive import ENDS, LAST, WHOLE
from preplan.render.paper import SMALL_PT, Block, Line

WAYS_PT = (208.0, 264.0, 330.0)
"""Width of the directions beside the map: the more, the more a card has to say."""
LEAST_MAP_PT, MOST_MAP_PT = 112.0, 286.0
_LOW_MAP_PT = 90.0
"""Height of a map that has a larger one behind it, where all that is grave has no room else."""
NOTES_PT, LEAST_NOTES_PT = 60.0, 12.0
"""Room for notes; the least holds the place to sign alone."""
LEAST_BELOW_PT = 48.0
BEHIND_PT = 10.0
"""Height of the line that says what stands on the page behind."""
_DRIVES = (((False, WHOLE), (False, ENDS), (True, ENDS), (False, LAST), (True, LAST)), ((False, 0), (True, 0)))
"""Whether other texts are brief, and how many steps of the first drive are told: the last ones on the page behind."""
_GIVING_WAY = (
    (card_way.ENDS, card_way.ENDS, LEAST_MAP_PT),
    (card_way.ENDS, card_way.NONE, LEAST_MAP_PT),
    (card_way.ENDS, card_way.NONE, _LOW_MAP_PT),
    (card_way.NONE, card_way.NONE, _LOW_MAP_PT),
)
"""Steps of the loaded and of the empty leg on a card that has too much to say, and the least height of its map."""
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
    over: Sequence[Line] = ()
    """What stands over the two columns, over the full width; their height includes it."""
    lacks: bool = False
    """Something grave is among it."""


@dataclass(frozen=True, slots=True)
class _Try:
    """One way to set a card."""

    way_pt: float
    band_pt: float
    small: bool
    """The timeline stands in a column."""
    ends: bool = False
    """Of the way the first and the last steps alone stand in front."""


def layout_of(facts: Facts, free: float, *, drive_above: bool = False, basis_behind: bool = False) -> Layout:
    """Share a height, in points; `drive_above`: the top third says how units come from their stations.

    `basis_behind`: what is assumed stands on the page behind.

    On a full card the strip becomes lower, then half as wide, and the map narrower. Where that is not enough to tell
    every turn a line a step, how units come from their stations goes on the page behind, then the way; then what else
    has no room goes there too.
    """
    texts = Texts(facts, drive_above=drive_above, basis_behind=basis_behind)
    drives = _NO_DRIVE if drive_above or not facts.group.ways_in else _DRIVES
    for tries, told in product(_tries(texts, free), drives):
        for one in tries:
            way = texts.ends(one.way_pt) if one.ends else texts.way(one.way_pt)
            if way.height > free - one.band_pt - LEAST_NOTES_PT:
                continue
            # a caution takes a line at least, so those that cannot stand beside the map need not be set for there
            high_pt = {True: way.height + texts.cautions * SMALL_PT * paper.LEADING, False: way.height}
            fits = high_pt[True] <= free - one.band_pt - LEAST_NOTES_PT
            for (brief, most), beside in product(told, (True, False)[not fits : 1 + bool(texts.cautions)]):
                left_pt = free - one.band_pt - max(high_pt[beside], LEAST_MAP_PT) - LEAST_NOTES_PT
                # two columns are at least half as high as all in them: most ways to set a full card end here
                in_columns_pt = texts.below_pt(brief=brief, most=most, beside=beside) + texts.strip_pt * one.small
                if in_columns_pt > 2.0 * left_pt + 1.0:
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
        rest=() if most else tuple(texts.first_drive(WHOLE)), told=texts.told_alone(drive=not most),
    )  # fmt: skip


def _cut(texts: Texts, free: float) -> Layout:
    """Set a card that has too much to say: what is grave has its room beside the way, then what weighs most.

    The rest goes behind.

    The timeline goes there first, since a page behind there is and the officer's sentences say the same.
    """
    way, shown = _with_gravest(texts, free)
    lacks = any(texts.lacking(shown))
    if not lacks:  # nothing light stands where something grave has no room
        shown = _packed(texts, texts.lighter(), free, way, shown, in_order=True)
    below = texts.below(shown)
    map_pt, below_pt = _share(free - BEHIND_PT, below.high_pt, way.told.height, way.map_pt)
    whole = way.told.height <= map_pt + NEAR_PT
    return Layout(
        map_pt, way.width_pt, BEHIND_PT, paper.trimmed(way.told.lines, map_pt, words.NEXT_PAGE), below.columns,
        below_pt, way_behind=way.ends or not whole, strip_behind=texts.facts.group.strip is not None,
        rest=texts.rest(shown), told=texts.told(shown), lacks=lacks, over=below.over,
    )  # fmt: skip


class _Way(NamedTuple):
    """One way to tell the way on a card that has too much to say."""

    width_pt: float
    told: Block
    ends: bool
    """The others of its steps stand on the page behind, with a large map."""
    map_pt: float
    """Least height of the map beside it."""
    out: int
    """Steps of the loaded leg in front: `ENDS` or `NONE`."""


def _short_ways(texts: Texts, free: float) -> Iterator[_Way]:
    """List these, what is best to read first: in the narrowest place that leaves some room, else in a wider one.

    Where all that is grave has no room else, the turns of the empty leg, which is driven later, go behind; then the map
    becomes lower; all turns go behind for who stands in alone.
    """
    least, long = BEHIND_PT + LEAST_BELOW_PT + LEAST_NOTES_PT, card_way.is_long(texts.facts)
    for at, (out, back, map_pt) in enumerate(_GIVING_WAY):
        ends = long or at > 0
        told = [texts.ends(width, out=out, back=back) if ends else texts.way(width) for width in WAYS_PT]
        ways = [_Way(width, one, ends, map_pt, out) for width, one in zip(WAYS_PT, told, strict=True)]
        fitting = [one for one in ways if one.told.height <= free - least]
        yield from fitting
        yield from (one for one in reversed(ways) if one not in fitting)


def _with_gravest(texts: Texts, free: float) -> tuple[_Way, frozenset[Piece]]:
    """Give the first way beside which all that is grave has room, else that which leaves it to what weighs most."""
    tried: list[tuple[tuple[bool, ...], _Way, frozenset[Piece]]] = []
    for way in _short_ways(texts, free):
        if way.out == card_way.NONE and not min(lacks for lacks, *_ in tried)[0]:
            break
        shown = _packed(texts, texts.gravest, free, way)
        tried.append((texts.lacking(shown), way, shown))
        if not any(tried[-1][0]):
            break
    _, way, shown = min(tried, key=lambda one: one[0])
    return way, shown


def _packed(
    texts: Texts,
    pieces: Iterable[Piece],
    free: float,
    way: _Way,
    shown: frozenset[Piece] = frozenset(),
    *,
    in_order: bool = False,
) -> frozenset[Piece]:
    """Add to what is `shown` below the table each piece that has room beside those before it, below the way.

    `in_order`: no caution stands there that weighs less than one which has no room.
    """
    full = False
    for piece in pieces:
        if full and piece.is_caution:
            continue
        tried = with_piece(shown, piece)
        high_pt = texts.below(tried).high_pt
        map_pt, below_pt = _share(free - BEHIND_PT, high_pt, way.told.height, way.map_pt)
        if high_pt <= below_pt + NEAR_PT and way.told.height <= map_pt + NEAR_PT:
            shown = tried
        elif piece.is_caution and not piece.told_in(shown):
            full = in_order
    return shown


def _share(free: float, wanted: float, beside: float, least_map: float = LEAST_MAP_PT) -> tuple[float, float]:
    """Share the height left among map and what stands beside it, text below, and notes, which give way first."""
    height = min(MOST_MAP_PT, max(least_map, free - wanted - NOTES_PT))
    height = max(height, min(beside, free - wanted - LEAST_NOTES_PT))
    below = min(wanted, free - height - LEAST_NOTES_PT)
    if below < min(wanted, LEAST_BELOW_PT):
        below = min(wanted, LEAST_BELOW_PT)
        height = free - below - LEAST_NOTES_PT
    if height < least_map:  # a map that nobody can read helps nobody: text goes on behind
        height = least_map
        below = max(free - height - LEAST_NOTES_PT, 0.0)
    return height, below
