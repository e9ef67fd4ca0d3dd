"""The bars of the report, legible in black and white."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from preplan.render import paper, symbols_pdf, words
from preplan.render.paper import BLACK, GREY, Pen


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar of a chart: its length, and the words at its end."""

    label: str
    value: float
    words: str
    status: str = ""
    """A status word draws its symbol before the label."""


_LABEL_PT = (150.0, 300.0)
"""Room for the labels of bars, at least and at most."""


def bars(pen: Pen, top: float, rows: Sequence[Bar], whole: float) -> float:
    """Draw level bars, told apart by length alone, `whole` at full width; gives the lower edge.

    Labels have the room of the longest: names that begin alike would be cut to the same words.
    """
    value_pt, row_pt = 150.0, 17.0
    longest = max((paper.width_of(words.printable(row.label), paper.BODY_PT) + 20.0 for row in rows), default=0.0)
    left = paper.LEFT_PT + min(max(longest, _LABEL_PT[0]), _LABEL_PT[1])
    full = paper.RIGHT_PT - left - value_pt
    for row in rows:
        top -= row_pt
        x = paper.LEFT_PT
        if row.status:
            symbols_pdf.status_mark(pen, row.status, x + 5.0, top + 6.0, 9.0)
            x += 14.0
        label = paper.ellipsis(words.printable(row.label), paper.BODY_PT, left - x - 6.0)
        pen.ink(BLACK, BLACK)
        pen.text(x, top + 3.0, label)
        length = full * min(1.0, max(0.0, row.value / whole)) if whole > 0 else 0.0
        pen.ink(GREY, (0.94, 0.94, 0.94))
        pen.width(0.4)
        pen.rect(left, top, full, 11.0, fill=True)
        pen.ink(BLACK, (0.35, 0.35, 0.35))
        if length > 0:
            pen.rect(left, top, length, 11.0, fill=True)
        pen.ink(BLACK, BLACK)
        pen.text(left + full + 6.0, top + 3.0, row.words)
    return top
