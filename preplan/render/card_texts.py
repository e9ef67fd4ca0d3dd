"""The texts of a card that give way to each other, and the heights that they take."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Hashable, Iterator, Sequence
from functools import cached_property
from itertools import chain
from typing import NamedTuple

from preplan.months import month_words
from preplan.render import card_rest, card_way, paper, strip, words
from preplan.render.card_columns import CARE_GOES_ON, parted_at
from preplan.render.card_facts import HALF_PT, WIDTH_PT, Facts
from preplan.render.first_drive import LAST, WHOLE
from preplan.render.paper import SMALL_PT, Block, Line

STRIP_PT, LEAST_STRIP_PT = 74.0, 64.0
"""Height of the timeline strip; the second where a card has much to say."""
_CLOSE = "\u2022 Close call"
"""How the caution begins that breaks nothing."""
_ARRIVING, _ELSE, _BASIS = "how units arrive from their stations", "what else if something is out", "what is assumed"
_SHORTER = {_ARRIVING: "arrivals", _ELSE: "more if out"}
"""What stands on the page behind, and in a line that is too narrow."""
_MORE = "more"
"""The rest of it, in a line that is too narrow even so."""


def timeline_height(facts: Facts, strip_pt: float = STRIP_PT) -> float:
    """Give the height of the band that `timeline_band` fills below the table of levels, points."""
    return 0.0 if facts.group.strip is None else strip_pt + SMALL_PT * 1.6


def strip_words(facts: Facts) -> str:
    """Say what a card's timeline shows; '' where none runs."""
    (said,) = facts.once("timeline", lambda: [_strip_words(facts)])
    return said


def _strip_words(facts: Facts) -> str:
    if facts.group.strip is None:
        return ""
    other, arrival, when = facts.other, float(facts.plan.answers.first_arrival_min[facts.lead]), ""
    if other is not None and other.weakest is not None:
        arrival, when = other.weakest.first_arrival_min, f"{words.first_up(month_words(other.weakest_months))}. "
    lines = facts.group.strip
    return f"{when}{words.called_words(facts.plan, arrival, lines.called)} {strip.hatched_words(lines)}"


def small_strip_height(facts: Facts) -> float:
    """Give the height of a timeline in one of the two columns, with the words above it, points."""
    if facts.group.strip is None:
        return 0.0
    return LEAST_STRIP_PT + paper.height_of(paper.paragraph(strip_words(facts), HALF_PT, SMALL_PT)) + 4.0


class Piece(NamedTuple):
    """One text below the table of a card that has too much to say; sorted as they stand there."""

    kind: int
    at: int = 0
    """Which one of its kind."""

    @property
    def is_caution(self) -> bool:
        """Tell whether it is one, at length or in brief."""
        return self.kind in (_CARE, _LIMIT)

    def told_in(self, shown: frozenset[Piece]) -> bool:
        """Tell whether some pieces say it, at length or in brief."""
        if self.is_caution:
            return any(one.is_caution and one.at == self.at for one in shown)
        return bool(shown.intersection(_BRIEFLY)) if self in _BRIEFLY else self in shown


_IN_BRIEF, _OTHERWISE, _CARE, _LIMIT, _DRIVE = range(5)
"""Who stands in, in brief and at length; a caution, at length and, of a limit, in brief; the first drive."""
_BRIEFLY = (Piece(_IN_BRIEF), Piece(_IN_BRIEF, 1), Piece(_IN_BRIEF, 2))
"""Who stands in, in brief: in a column under the heading, without that, and over the full width."""


def with_piece(shown: frozenset[Piece], more: Piece) -> frozenset[Piece]:
    """Show one more; what is told at length is not told in brief besides."""
    if more.kind == _LIMIT:
        return shown if Piece(_CARE, more.at) in shown else shown | {more}
    if more.kind == _IN_BRIEF:
        return shown if shown.intersection(_BRIEFLY) else shown | {more}
    brief = {Piece(_LIMIT, more.at)} if more.kind == _CARE else _BRIEFLY if more == Piece(_OTHERWISE, 0) else ()
    return shown.difference(brief) | {more}


class Below(NamedTuple):
    """What stands below the table: over the full width, and under that in two columns."""

    high_pt: float
    over: Sequence[Line]
    columns: tuple[Sequence[Line], Sequence[Line]]


class Texts:
    """The texts of one card that give way to each other, each set once however often the layout is tried.

    Those for beside the map are set for a width in points; what stands below is the same whatever that is.
    """

    def __init__(self, facts: Facts, *, drive_above: bool, basis_behind: bool = False) -> None:
        """Set the cautions below; everything else is set when first asked."""
        self.facts, self._drive_above, self._basis_behind = facts, drive_above, basis_behind
        self._items = card_rest.cautions(facts, HALF_PT)
        self.cautions = len(self._items)
        """How many there are."""
        self.care_below = _headed(self._items)
        """The cautions for the columns, the heading with the first."""
        self._set: dict[Hashable, Block] = {}
        self._else: dict[bool, list[list[Line]]] = {}
        self._below_pt: dict[tuple[bool, int, bool], float] = {}

    @cached_property
    def strip_pt(self) -> float:
        """Height of the timeline in a column."""
        return small_strip_height(self.facts)

    def below_pt(self, *, brief: bool, most: int, beside: bool) -> float:
        """Add up the heights of what stands below the table, points."""
        key = brief, most, beside
        if key not in self._below_pt:
            blocks = [self.joined(brief=brief), *self.first_drive(most), *([] if beside else self.care_below)]
            self._below_pt[key] = sum(block.height for block in blocks)
        return self._below_pt[key]

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

    def ends(self, width: float, *, out: int = card_way.ENDS, back: int = card_way.ENDS) -> Block:
        """Give the first and the last step of both legs, or none."""
        return self._once(
            ("ends", width, out, back), lambda: card_way.ends_of_way(self.facts, width, out=out, back=back)
        )  # fmt: skip

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
        return [told] if told.height else []

    @cached_property
    def gravest(self) -> tuple[Piece, ...]:
        """List what stands on a card before all else that it says below its table, what weighs most first.

        Who stands in, what breaks a bridge or blocks a lane, what is too weak near by, a hose lay that brings more.
        """
        hose = card_rest.hose_at(self.facts)
        return (
            *(_BRIEFLY if self._in_brief.height else ()),
            *(Piece(_CARE, at) for at in range(card_rest.grave_cautions(self.facts))),
            *(Piece(_LIMIT, at) for at in self._limits),
            *[Piece(_OTHERWISE, hose)] * (0 < hose < len(self.otherwise(brief=True))),
        )

    def lighter(self) -> Iterator[Piece]:
        """List the other pieces of a card that is too full, what weighs most first."""
        grave, hose = card_rest.grave_cautions(self.facts), card_rest.hose_at(self.facts)
        yield from [Piece(_OTHERWISE, 0)] * bool(self._in_brief.height)
        yield from (Piece(_CARE, at) for at in range(grave, self.cautions))
        yield from (Piece(_OTHERWISE, at) for at in range(1, len(self.otherwise(brief=True))) if at != hose)
        yield from [Piece(_DRIVE)] * bool(self.first_drive(LAST))

    def lacking(self, shown: frozenset[Piece]) -> tuple[bool, ...]:
        """Tell which of the gravest are not among some pieces, neither whole nor in brief."""
        return tuple(not piece.told_in(shown) for piece in self.gravest)

    @cached_property
    def _in_brief(self) -> Block:
        """Who stands in, in a line or two."""
        return Block.of(card_rest.backup_in_brief(self.facts))

    @cached_property
    def _over(self) -> Block:
        """Say the same over the full width, without a heading."""
        return Block.of(card_rest.backup_in_brief(self.facts, WIDTH_PT)[1:])

    @cached_property
    def _limits(self) -> dict[int, tuple[str, Block]]:
        """Limits among the cautions, the road of each and what it says in a line or two, by their place there."""
        return card_rest.limits_in_brief(self.facts)

    def below(self, shown: frozenset[Piece]) -> Below:
        """Set some pieces below the table, each where it belongs."""
        here = sorted((at, kind) for kind, at in shown if kind in (_CARE, _LIMIT))
        care = [self._items[at] if kind == _CARE else self._limits[at][1] for at, kind in here]
        blocks = [self._in_brief] if _BRIEFLY[0] in shown else []
        blocks += [Block.of(self._in_brief.lines[1:])] if _BRIEFLY[1] in shown else []
        others = [self.otherwise(brief=True)[at] for kind, at in sorted(shown) if kind == _OTHERWISE]
        if others and not shown.intersection((*_BRIEFLY, Piece(_OTHERWISE, 0))):
            others[0] = [card_rest.OUT, *others[0]]  # who stands in has the heading, and no room here
        blocks += map(Block.of, others)
        first = len(blocks)
        blocks += _headed(care)
        under_care = range(first + 1, len(blocks))
        blocks += self.first_drive(LAST) if Piece(_DRIVE) in shown else []
        parted = parted_at([block.height for block in blocks], under_care=under_care)
        over = self._over if _BRIEFLY[2] in shown else Block.of([])
        return Below(over.height + parted.high_pt, over.lines, parted.columns(blocks))

    def rest(self, shown: frozenset[Piece]) -> tuple[Block, ...]:
        """Give the texts that are not among some, for the page behind, under their headings."""
        before = {at for kind, at in shown if kind == _OTHERWISE}
        all_told = len(before) == len(self.otherwise(brief=True))
        left = [] if all_told else [
            Block.of(lines) for at, lines in enumerate(self.otherwise(brief=False)) if at not in before
        ]  # fmt: skip
        if 0 in before and left:
            left.insert(0, Block.of([Line("IF SOMETHING IS OUT, continued", SMALL_PT, bold=True)]))
        told = {at for kind, at in shown if kind == _CARE}
        care = [item for at, item in enumerate(self._items) if at not in told]
        if care and any(kind in (_CARE, _LIMIT) for kind, _ in shown):
            care.insert(0, Block.of([CARE_GOES_ON]))
        else:
            care = _headed(care)
        return (*left, *care, *([] if Piece(_DRIVE) in shown else self.first_drive(WHOLE)))

    def told_alone(self, *, drive: bool) -> str:
        """Say that how units come from their stations stands on the page behind, where no text below the table does."""
        behind = [_ARRIVING] * (drive and bool(self.first_drive(WHOLE))) + [_BASIS] * self._basis_behind
        return f"{words.first_up(words.NEXT_PAGE)}: {', '.join(behind)}." if behind else ""

    def told(self, shown: frozenset[Piece]) -> str:
        """Say what stands on the page behind; warnings among it are told as such."""
        kinds = Counter(kind for kind, _ in shown)
        kept = {at for kind, at in shown if kind == _CARE}
        care = [item for at, item in enumerate(self._items) if at not in kept]
        grave = any(not item.lines[0].said.startswith(_CLOSE) for item in care)
        # a limit that has no room even in brief is named here at least
        roads = [road for at, (road, _) in self._limits.items() if not {Piece(_CARE, at), Piece(_LIMIT, at)} & shown]
        tight = enumerate(card_rest.tight_places(self.facts))
        roads = [*dict.fromkeys([*(place for at, place in tight if at not in kept), *roads])]
        warnings = _more_warnings([one for one in roads if one])
        behind = [
            (warnings if grave else "which levels are a close call", bool(care)),
            ("the timeline", self.facts.group.strip is not None),
            (_ELSE, kinds[_OTHERWISE] < len(self.otherwise(brief=True))),
            (_ARRIVING, not kinds[_DRIVE] and bool(self.first_drive(LAST))),
            (_BASIS, self._basis_behind),
        ]
        return one_line([said for said, there in behind if there])


def _more_warnings(roads: Sequence[str]) -> str:
    """Name the roads of further warnings, the last ones by their number where the line has no room for all."""
    for kept in range(len(roads), 0, -1):
        rest = f" and {len(roads) - kept} more" if kept < len(roads) else ""
        said = f"MORE WARNINGS ({', '.join(roads[:kept])}{rest})"
        if kept == 1 or paper.width_of(_behind([said, _MORE]), SMALL_PT, bold=True) <= WIDTH_PT:
            return said
    return "MORE WARNINGS"


def one_line(behind: Sequence[str]) -> str:
    """Name what stands on the page behind in one line: more briefly where need be, then the last things as `more`."""
    named = list(behind)
    for long, short in ("", ""), *_SHORTER.items():
        named = [short if one == long else one for one in named]
        if paper.width_of(_behind(named), SMALL_PT, bold=True) <= WIDTH_PT:
            return _behind(named)
    while len(named) > 1 and paper.width_of(_behind([*named, _MORE]), SMALL_PT, bold=True) > WIDTH_PT:
        named.pop()
    return paper.ellipsis(_behind([*named, _MORE]), SMALL_PT, WIDTH_PT, bold=True)


def _behind(named: Sequence[str]) -> str:
    return f"{words.first_up(words.NEXT_PAGE)}: {', '.join(named)}." if named else ""


def _headed(items: Sequence[Block]) -> list[Block]:
    """Put the heading over the first of some cautions."""
    return [card_rest.under_heading(items[:1]), *items[1:]] if items else []
