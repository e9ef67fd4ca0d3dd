"""Whole numbers as short text for the page: zigzag, in letters that JSON and HTML leave as they are.

A number is written from its lowest digit on. Letters below `_LAST` end it, those from there on say that more follows,
each worth `_MORE` times as much as the one before: small numbers, such as steps between neighbours, take one letter.
The page's script holds the matching `unpack`.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections import Counter
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from preplan.records import FloatArray

DEGREE_STEPS = 100_000
"""Places on the page are whole hundred-thousandths of a degree, about 1.1 m."""
NOT_KNOWN = -1
"""Stands for a missing or endless number in a packed column; every packed quantity is 0 or more."""
_LETTERS = np.array([code for code in range(32, 127) if chr(code) not in '"&,<=>\\^~'], dtype=np.uint8)
_LAST = 58
"""Of the letters those that end a number: on pages of real districts this share of them makes the shortest text."""
_MORE = len(_LETTERS) - _LAST
_SHORT = 8
"""Columns no longer than this are packed number by number even where all are equal."""
_LEAST_RUN = 6
"""Numbers that make a run worth a copy, which takes about four bytes."""
_MIX = np.int64(1_000_003) ** np.arange(_LEAST_RUN, dtype=np.int64)
_NUMBER = re.compile(r"[0-9]+(?:[.,][0-9]+)*")
_GAP = "\x00"
"""Stands for a number in a form; no text of a page has such a character."""
_MOST = 2**31
"""The script's whole numbers stay exact under 32-bit operations below this."""

Ints = npt.NDArray[np.int64]
Page = dict[str, Any]
"""A part of the page's data: plain text, whole numbers, lists and dicts of them."""


@dataclass(slots=True)
class Texts:
    """A list of distinct values, each named by its place."""

    values: list[Any] = field(default_factory=list)
    places: dict[Hashable, int] = field(default_factory=dict)

    def place(self, value: Hashable) -> int:
        """Give the place of a value, adding it where it is new."""
        if value not in self.places:
            self.places[value] = len(self.values)
            self.values.append(value)
        return self.places[value]


class Forms:
    """Sentences that differ by their numbers alone, each kept as the place of its form and the numbers."""

    def __init__(self, texts: Iterable[str]) -> None:
        """Find the forms that two or more of some distinct texts have."""
        counts = Counter(_NUMBER.sub(_GAP, text) for text in texts)
        self.values = [form for form, count in counts.items() if count > 1 and _GAP in form]
        """Forms; a gap stands for each number."""
        self._places = {form: place for place, form in enumerate(self.values)}

    def packed(self, text: str) -> str | tuple[int, str]:
        """Pack a text: as it is, or as its form and its numbers, a blank between.

        >>> forms = Forms(["12 ft off", "1,300 ft off", "near"])
        >>> forms.packed("12 ft off"), forms.packed("near")
        ((0, '12'), 'near')
        """
        place = self._places.get(_NUMBER.sub(_GAP, text), -1)
        return text if place < 0 or _GAP in text else (place, " ".join(_NUMBER.findall(text)))


def pack(values: npt.ArrayLike) -> str:
    r"""Pack whole numbers of any shape, row by row, in the shortest of four ways.

    One number alone, often: '=count,number'. Mostly 0: '~count,places,numbers', both packed plainly, the places of
    what is not 0 as steps. Runs that came before: '^numbers,copies', both packed plainly; see `_repeats`. Else
    plainly.

    Raises
    ------
    OverflowError
        Where a number lies outside plus or minus 2**30.

    >>> pack([0, -1, 1, 300]), pack([3] * 100), pack([0] * 50 + [7])
    (' !#l6', '=100,3', '~51,p!,1')
    """
    signed = np.asarray(values, dtype=np.int64).ravel()
    if signed.size > _SHORT and np.all(signed == signed[0]):
        return f"={signed.size},{signed[0]}"
    places = np.flatnonzero(signed)
    if signed.size > _SHORT and len(places) < signed.size / 2:
        rare = f"~{signed.size},{_plain(steps(places))},{_plain(signed[places])}"
        return min(_plain(signed), rare, key=len)
    if signed.size > _LEAST_RUN * _SHORT:
        return min(_plain(signed), _repeats(signed), key=len)
    return _plain(signed)


def _repeats(signed: Ints) -> str:
    """Pack each number once, and runs that came before as copies.

    A copy is three numbers: how many new ones go before it, how many are copied, and from how far back. Of the places
    where a run of `_LEAST_RUN` came before the last one is taken, and followed as far as both go on alike.
    """
    last = _last_seen(signed)
    known = np.flatnonzero(last >= 0).tolist()
    numbers, copies = [], []
    done, at = 0, 0  # all before `done` is packed; `at` is the next of `known` to be looked at
    while at < len(known):
        here = known[at]
        back = here - int(last[here])
        length = _alike(signed, here, back)
        numbers.append(signed[done:here])
        copies += [here - done, length, back]
        done = here + length
        at = bisect_left(known, done, at)
    numbers.append(signed[done:])
    return f"^{_plain(np.concatenate(numbers))},{_plain(np.array(copies, dtype=np.int64))}"


def _last_seen(signed: Ints) -> Ints:
    """Give for each place the last place before it at which the same `_LEAST_RUN` numbers begin, -1: none."""
    runs = np.lib.stride_tricks.sliding_window_view(signed, _LEAST_RUN)
    with np.errstate(over="ignore"):  # a sum that may be that of other numbers too: such neighbours only lose a copy
        mixed = runs @ _MIX
    order = np.argsort(mixed, kind="stable")
    same = np.concatenate([[False], np.all(runs[order[1:]] == runs[order[:-1]], axis=1)])
    last = np.full(len(runs), -1, dtype=np.int64)
    last[order[same]] = order[np.flatnonzero(same) - 1]
    return last


def _alike(signed: Ints, here: int, back: int) -> int:
    """Count how many numbers from `here` on are the same as those `back` before; a run may go on into itself."""
    length, step = _LEAST_RUN, 32
    while True:
        one = signed[here + length : here + length + step]
        other = signed[here + length - back : here + length - back + len(one)]
        differs = np.flatnonzero(one != other)
        if len(differs):
            return length + int(differs[0])
        if len(one) < step:
            return length + len(one)
        length, step = length + step, 2 * step


def _plain(signed: Ints) -> str:
    """Pack each number as its own letters."""
    folded = (signed << 1) ^ (signed >> 63)
    if folded.size and int(folded.max()) >= _MOST:
        raise OverflowError("a packed number must lie within plus or minus 2**30")
    limits = np.cumsum(_LAST * np.int64(_MORE) ** np.arange(6))
    sizes = 1 + np.sum(folded[:, None] >= limits, axis=1)
    starts = np.concatenate([[0], np.cumsum(sizes)])
    digits = np.zeros(int(starts[-1]), dtype=np.int64)
    for k in range(int(sizes.max(initial=0))):
        row, more = sizes > k, sizes > k + 1
        digits[starts[:-1][row] + k] = np.where(more, _LAST + (folded - _LAST) % _MORE, folded)[row]
        folded = np.where(more, (folded - _LAST) // _MORE, folded)
    return _LETTERS[digits].tobytes().decode("ascii")


def steps(values: npt.ArrayLike) -> Ints:
    """Replace each number, or row of numbers, but the first by its difference from the one before.

    >>> steps([5, 7, 4]).tolist()
    [5, 2, -3]
    """
    given = np.asarray(values, dtype=np.int64)
    stepped = given.copy()
    stepped[1:] -= given[:-1]
    return stepped


def grid(degrees: FloatArray) -> Ints:
    """Round degrees to whole hundred-thousandths; a missing one becomes 0, so the caller marks it elsewhere."""
    rounded: Ints = np.nan_to_num(np.round(degrees * DEGREE_STEPS), nan=0.0, posinf=0.0, neginf=0.0).astype(np.int64)
    return rounded


def whole(values: npt.ArrayLike, scale: float = 1.0, *, way: str = "near") -> Ints:
    """Turn quantities into whole numbers of 1 / scale; -1 where missing or endless.

    `way` is 'near', 'down' for what is supplied, or 'up' for what is needed; a millionth is noise.

    >>> whole([249.9999999, 7.2, float("nan")], way="down").tolist()
    [250, 7, -1]
    """
    scaled = np.asarray(values, dtype=np.float64) * scale
    known = np.isfinite(scaled)
    held = np.where(known, scaled, 0.0)
    rounded = {"near": np.round(held), "down": np.floor(held + 1e-6), "up": np.ceil(held - 1e-6)}[way]
    held_apart: Ints = np.where(known, rounded, NOT_KNOWN).astype(np.int64)
    return held_apart


def lines(parts: Sequence[FloatArray]) -> dict[str, str]:
    """Pack lines of lon, lat points: how many points each has, and the steps from point to point.

    Points that fall on the one before are left out, but a line keeps at least two points.
    """
    if not parts:
        return {"n": "", "lon": "", "lat": ""}
    lonlat = grid(np.concatenate(parts))
    counts = np.array([len(part) for part in parts], dtype=np.int64)
    ends = np.cumsum(counts) - 1
    moved = np.any(np.diff(lonlat, axis=0, prepend=lonlat[:1]) != 0, axis=1)
    moved[ends] = True
    moved[ends - counts + 1] = True
    owner = np.repeat(np.arange(len(counts)), counts)
    kept = lonlat[moved]
    return {
        "n": pack(np.bincount(owner[moved], minlength=len(counts))),
        "lon": pack(steps(kept[:, 0])),
        "lat": pack(steps(kept[:, 1])),
    }
