"""The bars of the report, legible in black and white."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from preplan.render import paper, symbols_pdf, words
from preplan.render.paper import BLACK, FOOT_PT, GREY, TOP_PT, Document


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar of a chart: its length, and the words at its end."""

    label: str
    value: float
    words: str
    status: str = ""
    """A status word draws its symbol before the label."""


BAR_PT = 17.0
"""Height of a bar with its gap."""
_LABEL_PT = (150.0, 300.0)
"""Room for the labels of bars, at least and at most."""


def bars(document: Document, rows: Sequence[Bar], whole: float) -> None:
    """Draw level bars, told apart by length alone, `whole` at full width; together unless they fill half a page.

    Labels have the room of the longest: names that begin alike would be cut to the same words.
    """
    pen, value_pt, together_pt = document.pen, 150.0, BAR_PT * len(rows)
    if together_pt < (TOP_PT - FOOT_PT) / 2.0:
        document.room(together_pt)
    longest = max((paper.width_of(words.printable(row.label), paper.BODY_PT) + 20.0 for row in rows), default=0.0)
    left = paper.LEFT_PT + min(max(longest, _LABEL_PT[0]), _LABEL_PT[1])
    full = paper.RIGHT_PT - left - value_pt
    for row in rows:
        document.room(BAR_PT)
        top = document.y = document.y - BAR_PT
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
    document.y -= 4.0
