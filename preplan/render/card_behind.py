"""Pages behind a card: the way of a long circuit with a large map, what else had no room, the second fill site."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from preplan.months import month_words
from preplan.render import card_other, card_rest, card_way, card_words, paper, words
from preplan.render.card_columns import NEAR_PT
from preplan.render.card_facts import GAP_PT, HALF_PT, WIDTH_PT, Facts
from preplan.render.card_layout import Layout
from preplan.render.card_parts import NOTE_PT, draw_map, small_timeline, subject_of
from preplan.render.card_seasons import sites_of
from preplan.render.card_texts import small_strip_height
from preplan.render.charts import Picture
from preplan.render.paper import BODY_PT, FOOT_PT, LEFT_PT, RIGHT_PT, SMALL_PT, Block, Document, Line
from preplan.render.route_pdf import Subject
from preplan.render.scene import Box

_LARGER = 1.25
"""Letters of the way on a page behind a card, over those on it."""
_LOW_MAP_PT, _LEAST_MAP_PT, _LARGE_MAP_PT, _MOST_MAP_PT = 140.0, 190.0, 260.0, 420.0
"""Height of the map: the least where that saves a page or keeps the timeline, and else; that for which letters become
smaller; the most."""
_GOES_ON = ", continued"
_MORE = Line("… continued on the next page", SMALL_PT, bold=True)
_CAUTION = "•"
"""How a caution begins."""
_STRIP = "\x00timeline"
"""Stands for the timeline among lines of text; no text that is drawn has such a character."""

Columns = tuple[list[Line], list[Line]]


@dataclass(frozen=True, slots=True)
class Behind:
    """What found no room on a card, and the circuit over the second fill site."""

    facts: Facts
    picture: Picture
    subject: Subject
    layout: Layout
    cut: Sequence[Block]
    """Texts of the top third that found no room."""

    def draw(self, document: Document, count: str) -> None:
        """Draw it on pages behind; nothing where the card holds all.

        What stands beside no way goes on the sheet of the second fill site, where there is one.
        """
        facts, layout, split = self.facts, self.layout, self.facts.cell("split_trip") >= 0
        rest, strip = [*self.cut, *layout.rest], [_strip_gap(facts)] * layout.strip_behind
        if layout.way_behind or ((rest or strip) and not split):
            _begin(document, facts, count, _GOES_ON)
            _draw_way(document, self.picture, facts, self.subject, count, [*rest, *strip], legs=layout.way_behind)
            rest, strip = [], []
        if split:
            # one text, under a heading of its own: it is of the card, not of the second fill site
            title = Line(f"FROM THE CARD IN FRONT, FILL SITE {facts.cell('site') + 1}", SMALL_PT, bold=True)
            whole = [Block.of([title, *(line for block in rest for line in _begun(block.lines))])] if rest else []
            _draw_other(document, self.picture, facts.over_second(), count, [*whole, *strip])
        for other in facts.sheets:
            over = facts.over_other(other)
            # what the timeline says its sentences say too
            strip = [_strip_gap(over)] if over.group.strip is not None else []
            _draw_other(document, self.picture, over, count, (), if_room=strip)


def _begin(document: Document, facts: Facts, count: str, title: str) -> None:
    """Begin a page behind a card, under a heading with the fill site, the tankers and the months that it is told of.

    A page may be read by itself.
    """
    document.begin(count, behind=True)
    document.heading(f"{card_words.where(facts)[0]}{title}", card_words.LEAST_HEAD_PT)
    whose = whose_words(facts)
    if whose:
        said = paper.ellipsis(whose, BODY_PT, WIDTH_PT, bold=True)
        document.y = document.pen.lines(LEFT_PT, document.y, [Line(said, BODY_PT, bold=True)])


def whose_words(facts: Facts) -> str:
    """Say which fill site and tankers a page is of, and in which months unless that is all year; '' without a site."""
    sites = sites_of(facts) if facts.on_card else [facts.cell("site")]
    if not sites or min(sites) < 0:
        return ""
    plan = facts.plan
    units = np.flatnonzero(plan.levels.used[facts.lead, facts.level]).tolist() if facts.on_card else [*facts.tankers]
    named = words.printable(" ".join(plan.unit_ids(np.isin(np.arange(len(plan.units)), units), facts.lead)))
    months = facts.own_months if facts.other is None else facts.other.months
    when = f", {month_words(months)}" if months else ""
    return f"Fill site {' and '.join(str(site + 1) for site in sites)}: tankers {named or words.NOT_KNOWN}{when}"


def _strip_gap(facts: Facts) -> Block:
    """Keep the place of the timeline in a column: it stands where this line does."""
    return Block.of([Line(_STRIP, small_strip_height(facts) / paper.LEADING)])


def _legs(facts: Facts, larger: float) -> Columns:
    """Give both legs, a line a step, in larger letters; without a trip why there is none."""
    width = HALF_PT / larger
    if facts.cell("trip") < 0:
        return _scaled(_begun(card_way.way(facts, width)), larger), []
    out, back = card_way.out_leg(facts, width), card_way.every_turn_back(facts, width)
    return _scaled(_begun(out), larger), _scaled(_begun(back), larger)


def _begun(lines: Sequence[Line]) -> list[Line]:
    """Mark where a text begins, so that it has its heading again where it goes on; cautions are of the text before."""
    return [line._replace(starts=not line.said.startswith(_CAUTION)) for line in lines[:1]] + list(lines[1:])


def _appended(columns: Columns, blocks: Sequence[Block]) -> Columns:
    """Put further texts below two columns, each below the one that is shorter then."""
    high, at = list(map(paper.height_of, columns)), 0
    for block in blocks:
        # a caution stays under its heading
        at = at if block.lines and block.lines[0].said.startswith(_CAUTION) else int(high[1] < high[0])
        columns[at].extend(_begun(block.lines))
        high[at] += block.height
    return columns


def _draw_way(
    document: Document,
    picture: Picture,
    facts: Facts,
    subject: Subject,
    count: str,
    rest: Sequence[Block],
    *,
    legs: bool = True,
    if_room: Sequence[Block] = (),
) -> None:
    """Draw a map over the full width, as large as the text allows, and the text below it in two columns.

    Both legs, where they are asked for, are in larger letters if the map may still be large; a text `if_room` is left
    out where it would take a page more.
    """
    room = document.y - FOOT_PT - NOTE_PT - 12.0
    for told in [[*rest, *if_room], rest] if if_room else [rest]:
        for larger, least_pt in ((_LARGER, _LARGE_MAP_PT), (1.0, _LEAST_MAP_PT)):
            columns = _appended(_legs(facts, larger) if legs else ([], []), told)
            high = room - max(map(paper.height_of, columns))
            if high >= least_pt:
                break
        if high >= _LOW_MAP_PT:
            break
    if subject.out_ft is not None:
        high = min(_MOST_MAP_PT, high if high >= _LOW_MAP_PT else _LEAST_MAP_PT)
        top = document.y - 4.0
        document.y = draw_map(document.pen, picture, Box(LEFT_PT, top - high, RIGHT_PT, top), subject) - 4.0
    _flow(document, facts, columns, count)


def _scaled(lines: Sequence[Line], by: float) -> list[Line]:
    return [line._replace(size=line.size * by, indent=line.indent * by) for line in lines]


def _flow(document: Document, facts: Facts, columns: Columns, count: str) -> None:
    """Let two columns flow side by side down the pages behind a card."""
    fresh = False
    while any(columns):
        columns = columns if columns[0] else columns[::-1]
        low = document.y
        for x, lines in zip((LEFT_PT, LEFT_PT + HALF_PT + GAP_PT), columns, strict=True):
            room = document.y - FOOT_PT
            fits = _fitting(lines, room, fresh=fresh)
            if _is_parted(lines, fits):
                fits = _fitting(lines, room - _MORE.height, fresh=fresh)
            goes_on = [_MORE] * _is_parted(lines, fits)
            low = min(low, _draw_lines(document.pen, x, document.y, [*lines[:fits], *goes_on], facts))
            lines[:] = _left(lines, fits)
        document.y = low
        if any(columns):
            _begin(document, facts, count, _GOES_ON if facts.on_card else f", {facts.fill_site_words}{_GOES_ON}")
            fresh = True


def _fitting(lines: Sequence[Line], room: float, *, fresh: bool) -> int:
    """Count the lines that stand in a height, points: no sentence is parted that its indent tells.

    No heading is left alone; on a `fresh` page some stand in any case.
    """
    fits, used = 0, 0.0
    while fits < len(lines) and used + lines[fits].height <= room + NEAR_PT:
        used += lines[fits].height
        fits += 1
    whole = fits
    while whole and whole < len(lines) and (lines[whole].indent or _is_heading(lines[whole - 1])):
        whole -= 1
    return whole or fits * fresh


def _is_parted(lines: Sequence[Line], fits: int) -> bool:
    """Tell whether a text begun in the first lines of a column goes on behind them."""
    after = next((line for line in lines[fits:] if line.said), None)
    return fits > 0 and after is not None and not after.starts


def _left(lines: Sequence[Line], fits: int) -> list[Line]:
    """Give what is left of a column behind its first lines, under its heading again, without blanks before it."""
    left = list(lines[fits:])
    while left and not left[0].said:
        del left[0]
    title = next((line for line in reversed(lines[:fits]) if line.starts), None)
    if title is None or not title.bold or not left or left[0].starts:
        return left
    room = HALF_PT - paper.width_of(_GOES_ON, title.size, bold=True)
    said = paper.ellipsis(title.said.removesuffix(_GOES_ON), title.size, room, bold=True)
    return [title._replace(said=f"{said}{_GOES_ON}"), *left]


def _is_heading(line: Line) -> bool:
    return line.starts and line.bold


def _draw_lines(pen: paper.Pen, x: float, top: float, lines: Sequence[Line], facts: Facts) -> float:
    """Write lines, and draw the timeline where it has its place; gives the lower edge."""
    at = next((k for k, line in enumerate(lines) if line.said == _STRIP), len(lines))
    top = pen.lines(x, top, lines[:at])
    if at == len(lines):
        return top
    top -= lines[at].height
    small_timeline(pen, x, top, facts)
    return pen.lines(x, top, lines[at + 1 :])


def _draw_other(
    document: Document,
    picture: Picture,
    facts: Facts,
    count: str,
    rest: Sequence[Block],
    *,
    if_room: Sequence[Block] = (),
) -> None:
    """Draw the sheet of another fill site: where, its map, and every turn; below, what else is left."""
    subject = subject_of(picture, facts)
    _begin(document, facts, count, f", {facts.fill_site_words}")
    pen = document.pen
    top = pen.lines(LEFT_PT, document.y, card_other.at_other(facts)) - 3.0
    pen.rule(top, width=0.5)
    left = pen.lines(LEFT_PT, top - 2.0, card_words.fill(facts, card_words.approach(facts, subject)))
    document.y = min(left, pen.lines(LEFT_PT + HALF_PT + GAP_PT, top - 2.0, card_words.dump(facts))) - 2.0
    full = paper.paragraph("Leave the fill site full, the dump site empty: never half.", HALF_PT, BODY_PT)
    care = [Block.of([*full, Line("", 4.0)]), card_rest.under_heading(card_rest.cautions(facts, HALF_PT))]
    _draw_way(document, picture, facts, subject, count, [*care, *rest], if_room=if_room)
