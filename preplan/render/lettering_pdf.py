"""Fonts, and text that fits: measuring, shortening, breaking into lines. Nothing is drawn here."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from functools import lru_cache
from itertools import chain
from pathlib import Path
from typing import NamedTuple

from reportlab import rl_config
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from preplan.render import words

SMALL_PT = 8.0
"""No text is smaller."""
BODY_PT = 9.0
LEADING = 1.2
"""Line spacing over text size."""
REGULAR, BOLD = "Preplan", "Preplan-Bold"
_UNITS = "gpm|gal|mi|ft|min|lb|tons|tonnes|in|hours?|minutes?|miles|%"
_BOUND = re.compile(rf" (?:(?<=[0-9] )(?=(?:{_UNITS})\b|%)|(?<=\bminute )(?=[0-9]))")
"""Between a number and what it counts no line is broken. It begins with the blank, which is found at once."""
_STEP = re.compile(r"(?<=\. )[0-9]+(?: to [0-9]+)?\. (?=\S)")
"""Nor behind the number of a step, where steps follow each other in one paragraph."""
_PART_OF_A_SENTENCE = 3
"""Most lines that are left out besides, so that a text ends with a sentence."""
_TIED = "\u00a0"
_FONTS = Path(__file__).parent / "assets" / "fonts"
_FILES = {REGULAR: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}


def font_file(name: str) -> Path:
    """Give the file of one of the program's own fonts, `REGULAR` or `BOLD`."""
    return _FONTS / _FILES[name]


@lru_cache(maxsize=1)
def load_fonts() -> None:
    """Make the program's own fonts known to the drawing library, once.

    Pages are also written as plain bytes: the library's default spends a fifth of the time and of the file on
    a text form that no reader needs any more.
    """
    rl_config.useA85 = 0
    for name, file in _FILES.items():
        pdfmetrics.registerFont(TTFont(name, str(_FONTS / file), shapable=False))


class _Widths(dict[str, float]):
    """Widths of one font's characters, thousandths of its size: each is asked of the library once, then looked up."""

    def __init__(self, font: str) -> None:
        super().__init__()
        self._font = font

    def __missing__(self, character: str) -> float:
        load_fonts()
        self[character] = width = float(pdfmetrics.stringWidth(character, self._font, 1000.0))
        return width


_WIDTHS = {font: _Widths(font) for font in _FILES}


@lru_cache(maxsize=20_000)
def _unit_width(said: str, font: str) -> float:
    return 0.001 * sum(map(_WIDTHS[font].__getitem__, said))


def width_of(said: str, size: float, *, bold: bool = False) -> float:
    """Measure a text, in points."""
    return _unit_width(said, BOLD if bold else REGULAR) * size


def lacks_letters(said: str) -> bool:
    """Tell whether the program's font lacks a letter of a text: a box stands in for it."""
    load_fonts()
    known = pdfmetrics.getFont(REGULAR).face.charToGlyph
    return any(ord(letter) not in known for letter in said if not letter.isspace())


def ellipsis(said: str, size: float, width: float, *, bold: bool = False) -> str:
    """Shorten a text with '…' until it fits a width."""
    if width_of(said, size, bold=bold) <= width:
        return said
    low, high = 0, len(said)
    while low < high:
        middle = (low + high + 1) // 2
        fits = width_of(said[:middle].rstrip() + "…", size, bold=bold) <= width
        low, high = (middle, high) if fits else (low, middle - 1)
    return said[:low].rstrip() + "…"


def shrunk(said: str, size: float, least: float, width: float, *, bold: bool = False) -> tuple[str, float]:
    """Make a text smaller, down to `least` points, then shorten it, until it fits a width."""
    need = width_of(said, 1.0, bold=bold)
    fitted = size if need * size <= width else max(least, math.floor(width / need * 2) / 2)
    return ellipsis(said, fitted, width, bold=bold), fitted


def wrap(said: str, size: float, width: float, *, bold: bool = False, most: int | None = None) -> list[str]:
    """Break a text into lines of a width, inside words too long for one; at most `most` lines, the last cut."""
    return list(_wrapped(said, size, width, bold, most))


@lru_cache(maxsize=20_000)
def _wrapped(said: str, size: float, width: float, bold: bool, most: int | None) -> tuple[str, ...]:
    lines, line, used = [], "", 0.0
    space = width_of(" ", size, bold=bold)
    for word, long in _measured(said, size, bold):
        if line and used + space + long <= width:
            line, used = f"{line} {word}", used + space + long
            continue
        if line:
            lines.append(line)
        while long > width and len(word) > 1:
            head = _head_that_fits(word, size, width, bold=bold)
            lines.append(word[:head])
            word = word[head:]  # noqa: PLW2901 - what is left of it
            long = width_of(word, size, bold=bold)  # noqa: PLW2901
        line, used = word, long
    lines = [one.replace(_TIED, " ") for one in [*lines, line]]
    if most is not None and len(lines) > most:
        rest = " ".join(lines[most - 1 :])
        lines = [*lines[: most - 1], ellipsis(f"{rest} …", size, width, bold=bold)]
    return tuple(lines)


@lru_cache(maxsize=20_000)
def _measured(said: str, size: float, bold: bool) -> tuple[tuple[str, float], ...]:
    """Part a text into words, each with its width: one text is broken for several widths."""
    font = BOLD if bold else REGULAR
    tied = _STEP.sub(lambda number: number[0].replace(" ", _TIED), _BOUND.sub(_TIED, words.printable(said)))
    return tuple([(word, _unit_width(word, font) * size) for word in tied.split(" ")])


def _head_that_fits(word: str, size: float, width: float, *, bold: bool) -> int:
    used = 0.0
    for count, character in enumerate(word):
        used += width_of(character, size, bold=bold)
        if used > width:
            return max(1, count)
    return len(word)


class Line(NamedTuple):
    """One line of a block of text."""

    said: str
    size: float = BODY_PT
    bold: bool = False
    indent: float = 0.0
    starts: bool = False
    """A text begins with it, its heading if it is bold: known where texts flow over pages."""

    @property
    def height(self) -> float:
        """Give the room that the line takes, in points."""
        return self.size * LEADING


def paragraph(
    said: str,
    width: float,
    size: float = BODY_PT,
    *,
    bold: bool = False,
    indent: float = 0.0,
    most: int | None = None,
) -> list[Line]:
    """Break a text into lines; from the second on they are indented."""
    return list(_paragraph(said, width, size, bold, indent, most))


@lru_cache(maxsize=20_000)
def _paragraph(said: str, width: float, size: float, bold: bool, indent: float, most: int | None) -> tuple[Line, ...]:
    """Set a paragraph: neighbours' cards have many in common, since they are driven to by the same roads."""
    broken = _wrapped(said, size, width - indent, bold, most)
    return tuple([Line(one, size, bold, indent if at else 0.0) for at, one in enumerate(broken)])


def height_of(lines: Sequence[Line]) -> float:
    """Give the room that lines take, in points."""
    return sum([line.size * LEADING for line in lines])


class Block(NamedTuple):
    """Texts below each other, whose height is added up once, for a layout that tries many orders of them."""

    parts: tuple[tuple[Line, ...], ...]
    """Texts from the top down; joined only where they are drawn."""
    height: float

    @classmethod
    def of(cls, lines: Sequence[Line]) -> Block:
        """Measure some lines."""
        return cls((tuple(lines),), height_of(lines))

    @property
    def lines(self) -> tuple[Line, ...]:
        """Give all lines."""
        return tuple(chain.from_iterable(self.parts))

    def over(self, other: Block) -> Block:
        """Put another block below this one."""
        return Block(self.parts + other.parts, self.height + other.height)


def trimmed(lines: Sequence[Line], height: float, more: str = "addresses.csv") -> list[Line]:
    """Keep the lines that fit into a height; where some are left out, the last says where to find `more`.

    They end with a sentence where one ends near: half of one may say the contrary.

    >>> some = list(map(Line, ("Fill at the pond.", "Not at the", "hydrant when", "it freezes.", "Turn", "left.")))
    >>> [line.said for line in trimmed(some, 4 * BODY_PT * LEADING, "page 2")]
    ['Fill at the pond.', '… and more: see page 2']
    """
    height += 0.01
    if height_of(lines) <= height:
        return list(lines)
    kept: list[Line] = []
    used = 0.0
    for line in lines:
        used += line.height
        if used > height:
            break
        kept.append(line)
    if not kept:
        return []
    kept.pop()  # gives its room to what is said in its place
    whole = next((k for k in range(len(kept), max(0, len(kept) - _PART_OF_A_SENTENCE), -1) if _ends(kept[k - 1])), 0)
    return [*kept[: whole or len(kept)], Line(f"… and more: see {more}", SMALL_PT)]


def _ends(line: Line) -> bool:
    """Tell whether a sentence ends with a line."""
    return line.said.endswith((".", ":"))
