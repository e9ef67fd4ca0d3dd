"""Months in the year's round: as words for people, and as spans for tables."""

from __future__ import annotations

from collections.abc import Iterable

from preplan.records import ALL_MONTHS

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip
_SHORT = 3
"""Letters of a month where there is little room."""


def month_words(which: Iterable[int], *, short: bool = False) -> str:
    """Name months as one stretch, round the turn of the year if need be.

    >>> [month_words(some) for some in (range(4, 12), {12, 1, 2, 3}, range(1, 13), [5], [1, 7])]
    ['April to November', 'December to March', 'all year', 'May', 'January, July']
    >>> month_words({3, 4, 5}, short=True)
    'Mar to May'
    """
    open_in = sorted(set(which))
    if set(open_in) == ALL_MONTHS:
        return "all year"
    names = [name[:_SHORT] for name in _MONTHS] if short else _MONTHS
    starts = [m for m in open_in if (m - 2) % 12 + 1 not in open_in]
    if len(starts) != 1:
        return ", ".join(names[m - 1] for m in open_in) or "no month"
    last = (starts[0] + len(open_in) - 2) % 12 + 1
    first_word, last_word = names[starts[0] - 1], names[last - 1]
    return first_word if len(open_in) == 1 else f"{first_word} to {last_word}"


def months_text(which: frozenset[int]) -> str:
    """Write months as ranges, across the new year where they run on.

    >>> months_text(frozenset({11, 12, 1, 2, 3}))
    '11-3'
    >>> months_text(frozenset({4, 6, 7}))
    '4,6-7'
    """
    if which == ALL_MONTHS or not which:
        return "1-12" if which else ""
    starts = [m for m in sorted(which) if (m - 2) % 12 + 1 not in which]
    runs = []
    for start in starts:
        end = start
        while end % 12 + 1 in which:
            end = end % 12 + 1
        runs.append(f"{start}" if end == start else f"{start}-{end}")
    return ",".join(runs)


def months_of(text: str) -> list[int]:
    """List the months that `months_text` wrote.

    >>> months_of("11-2,5"), months_of("")
    ([11, 12, 1, 2, 5], [])
    """
    found: list[int] = []
    for span in filter(None, text.split(",")):
        first, _, last = span.partition("-")
        count = (int(last or first) - int(first)) % 12 + 1
        found += [(int(first) - 1 + k) % 12 + 1 for k in range(count)]
    return found
