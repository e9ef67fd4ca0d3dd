"""Names on stems, set in rows above a plot so that no name runs into another and no stem crosses a name."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

BESIDE_PT = 1.5
"""From a stem to its name."""
APART_PT = 3.0
"""Least from the end of a name to the next stem or name of its row."""


@dataclass(frozen=True, slots=True)
class Flag:
    """A name on a stem; what comes close together shares one name."""

    stems: tuple[float, ...]
    """Places from the left; the name stands at the first."""
    said: str
    left: float
    width: float
    row: int = 0
    """From the plot up."""
    extra: bool = False
    """Left out where even joined names leave no room; never joined to another."""


@dataclass(frozen=True, slots=True)
class Names:
    """Sets names between two edges of the page, in at most some rows."""

    left: float
    right: float
    rows: int
    measure: Callable[[str], float]

    def flag(self, stems: tuple[float, ...], said: str, *, extra: bool = False) -> Flag:
        """Make one flag: its name right of the stem, or left of it at the right edge, shortened to the room."""
        while self.measure(said) > self.right - self.left - 2 * BESIDE_PT and len(said) > 1:
            said = said[:-2].rstrip() + "…"
        width = self.measure(said)
        left = stems[0] + BESIDE_PT
        if left + width > self.right:
            left = max(self.left, stems[0] - BESIDE_PT - width)
        return Flag(stems, said, left, width, extra=extra)

    def place(self, flags: Sequence[Flag]) -> list[Flag]:
        """Set flags, names from left to right; names join, then extra ones go, until all have a row."""
        names, extra = ([flag for flag in flags if flag.extra == which] for which in (False, True))
        return self._joined(names, extra) or self._joined(names, [])

    def _joined(self, names: Sequence[Flag], extra: Sequence[Flag]) -> list[Flag]:
        """Join the names that stand closest until all have a row; nothing where even one name has none."""
        left = list(names)
        while left or extra:
            tried = sorted([*left, *extra], key=lambda flag: flag.stems[0])
            rows = rows_of(tried)
            if max(rows) < self.rows:
                return [replace(flag, row=row) for flag, row in zip(tried, rows, strict=True)]
            if len(left) < 2:
                break
            spaces = [after.stems[0] - before.stems[-1] for before, after in pairwise(left)]
            at = spaces.index(min(spaces))
            one, other = left[at : at + 2]
            left[at : at + 2] = [self.flag(one.stems + other.stems, f"{one.said}, {other.said}")]
        return []


def rows_of(flags: Sequence[Flag]) -> list[int]:
    """Give each of some flags, from left to right, the lowest row in which it does not run into a later one."""
    placed: list[tuple[float, int]] = []
    for flag in reversed(flags):
        end = flag.left + flag.width + APART_PT
        below = [row for begins, row in placed if begins < end]
        placed.append((min(flag.left, flag.stems[0]), 1 + max(below, default=-1)))
    return [row for _, row in reversed(placed)]
