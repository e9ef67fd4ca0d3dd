"""Texts of a card in two columns below its table, the first going on in the second."""

from __future__ import annotations

from collections.abc import Container, Sequence
from typing import NamedTuple

from preplan.render.paper import SMALL_PT, Block, Line

CARE_GOES_ON = Line("TAKE CARE, continued", SMALL_PT, bold=True)
"""Heading of cautions that begin in another place."""
NEAR_PT = 0.01
"""Heights this near are equal."""


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
        if high < best.high_pt - NEAR_PT:
            best = Parted(some, high, int(left > below), headed)
    return best
