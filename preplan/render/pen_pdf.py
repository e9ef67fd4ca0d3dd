"""A pen that writes the page language itself: text, lines and shapes in a fraction of the library's time."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from typing import Any, TypeAlias

from reportlab.lib.pagesizes import letter
from reportlab.pdfgen.canvas import Canvas

from preplan.render import words
from preplan.render.lettering_pdf import BODY_PT, BOLD, LEADING, REGULAR, Line, width_of

PAGE_WIDTH_PT, PAGE_HEIGHT_PT = letter
MARGIN_PT = 36.0
LEFT_PT, RIGHT_PT = MARGIN_PT, PAGE_WIDTH_PT - MARGIN_PT
BLUE, YELLOW = (0x00 / 255, 0x72 / 255, 0xB2 / 255), (0xF0 / 255, 0xE4 / 255, 0x42 / 255)
BLACK, GREY, WHITE = (0.0, 0.0, 0.0), (0.45, 0.45, 0.45), (1.0, 1.0, 1.0)
_WRITTEN = re.compile(r"(?P<name>/\S+) 1 Tf [^(]*\((?P<code>.*)\) Tj", re.DOTALL)

_MOST_SAID = 20_000
"""Texts that a document keeps as it writes them."""

Run: TypeAlias = tuple[float, float, str, float, bool]
"""A run of text: x and y of its base line's start, what is said, size, bold."""


def _fit(text: str) -> str:
    return text if text.isprintable() else words.printable(text)


class Script(dict[int, str]):
    """How one document writes the characters of one font: each is asked of the library once, then looked up.

    The library's own way takes half of a card's time. A character beyond the first 256 of a document stands in
    a second part of the font and goes the library's way.
    """

    def __init__(self, canvas: Any, font: str) -> None:
        """Learn the name by which the page language knows the font."""
        super().__init__()
        self._canvas, self._font = canvas, font
        self.name, self[ord("a")] = self._ask("a")
        self._far: set[str] = set()

    def _ask(self, character: str) -> tuple[str, str]:
        block = self._canvas.beginText()
        block.setFont(self._font, 1)
        block.textOut(character)
        found = _WRITTEN.search(block.getCode())
        if found is None:
            raise AssertionError("the drawing library writes text in a form that is not known here")
        return found["name"], found["code"]

    def __missing__(self, point: int) -> str:
        """Learn a character."""
        name, code = self._ask(chr(point))
        if name != self.name:
            self._far.add(chr(point))
        self[point] = code
        return code

    def written(self, text: str) -> str | None:
        """Give a text as the page language has it; None: the library must write it."""
        said = _fit(text)
        code = said.translate(self)
        return code if self._far.isdisjoint(said) else None


class _Said(dict[str, str | None]):
    """What a script wrote, by the text: neighbours' cards say much the same."""

    def __init__(self, script: Script) -> None:
        super().__init__()
        self.script = script

    def __missing__(self, text: str) -> str | None:
        if len(self) >= _MOST_SAID:
            self.clear()
        self[text] = written = self.script.written(text)
        return written


class Pen:
    """Draws text and shapes on a canvas; every text passes through `words.printable`."""

    def __init__(self, canvas: Canvas) -> None:
        """Hold a canvas."""
        self.canvas: Any = canvas
        self._stamps: dict[object, str] = {}
        self._forms: dict[str, str] = {}
        self._said = {bold: _Said(Script(canvas, font)) for bold, font in ((False, REGULAR), (True, BOLD))}

    def text(
        self, x: float, y: float, said: str, size: float = BODY_PT, *, bold: bool = False, align: str = "left"
    ) -> None:
        """Write one line whose base line starts, ends (`right`) or is centred (`middle`) at x, y."""
        if align != "left":
            x -= width_of(said, size, bold=bold) * (1.0 if align == "right" else 0.5)
        self.write([(x, y, said, size, bold)])

    def write(self, runs: Iterable[Run]) -> None:
        """Write many runs of text at once, which is faster than one by one."""
        code = ["BT"]
        font: tuple[bool, float] | None = None
        for x, y, text, size, bold in runs:
            said = self._said[bold]
            written = said[text]
            if written is None:
                self._library_text(x, y, text, size, bold=bold)
                continue
            if font != (bold, size):
                font = (bold, size)
                code.append(f"{said.script.name} {size:g} Tf")
            if written:
                code.append(f"1 0 0 1 {x:.2f} {y:.2f} Tm ({written}) Tj")
        if len(code) > 1:
            self.put("\n".join([*code, "ET"]))

    def _library_text(self, x: float, y: float, text: str, size: float, *, bold: bool, slope: float = 0.0) -> None:
        block = self.canvas.beginText(x, y)
        block.setFont(BOLD if bold else REGULAR, size)
        if slope:
            cos, sin = math.cos(slope), math.sin(slope)
            block.setTextTransform(cos, sin, -sin, cos, x, y)
        block.textOut(_fit(text))
        self.canvas.drawText(block)

    def lines(self, x: float, top: float, lines: Sequence[Line]) -> float:
        """Write lines from a top edge down; gives the lower edge."""
        runs: list[Run] = []
        for said, size, bold, indent, _ in lines:
            top -= size * LEADING
            runs.append((x + indent, top + size * 0.25, said, size, bold))
        self.write(runs)
        return top

    def slanted(
        self, runs: Iterable[tuple[str, float, float, float]], size: float, *, bold: bool = False, halo: bool = False
    ) -> None:
        """Write words from a base line's start x, y along a slope in radians; as a halo their outlines alone."""
        texts = self._said[bold]
        code = [f"BT {texts.script.name} {size:g} Tf {int(halo)} Tr"]
        for text, x, y, slope in runs:
            written = texts[text]
            if written is None:
                if not halo:
                    self._library_text(x, y, text, size, bold=bold, slope=slope)
                continue
            cos, sin = math.cos(slope), math.sin(slope)
            code.append(f"{cos:.6f} {sin:.6f} {-sin:.6f} {cos:.6f} {x:.2f} {y:.2f} Tm ({written}) Tj")
        self.put("\n".join([*code, "0 Tr ET"]))

    # ----------------------------------------------------------------------- lines and shapes

    def put(self, code: str) -> None:
        """Write code of the page language; the library's own call takes twice the time."""
        self.canvas._code.append(code)  # noqa: SLF001

    def save(self) -> None:
        """Keep colours, widths and dashes until `restore`."""
        self.put("q")

    def restore(self) -> None:
        """Take up what was kept."""
        self.put("Q")

    def width(self, points: float) -> None:
        """Set the width of lines."""
        self.put(f"{points:g} w")

    def dash(self, *lengths: float) -> None:
        """Set dashes and gaps; none: whole lines."""
        self.put(f"[{' '.join(f'{one:g}' for one in lengths)}] 0 d")

    def ink(self, stroke: tuple[float, float, float], fill: tuple[float, float, float]) -> None:
        """Set the colours of outlines and of areas (text takes the second)."""
        self.put(_ink(stroke, fill))

    def path(self, code: str, *, stroke: bool = True, fill: bool = False) -> None:
        """Draw a path that is written in the page language already."""
        self.put(f"{code} {_PAINT[stroke, fill]}")

    def rule(self, y: float, left: float = LEFT_PT, right: float = RIGHT_PT, width: float = 0.5) -> None:
        """Draw a level line."""
        self.put(f"{width:g} w {left:.2f} {y:.2f} m {right:.2f} {y:.2f} l S")

    def strokes(self, *ends: tuple[float, float, float, float]) -> None:
        """Draw straight lines, each from x, y to x, y."""
        self.path(" ".join(f"{x0:.2f} {y0:.2f} m {x1:.2f} {y1:.2f} l" for x0, y0, x1, y1 in ends))

    def rect(self, x: float, y: float, width: float, height: float, *, stroke: bool = True, fill: bool = False) -> None:
        """Draw a rectangle from its lower left corner."""
        self.path(f"{x:.2f} {y:.2f} {width:.2f} {height:.2f} re", stroke=stroke, fill=fill)

    def clip(self, x: float, y: float, width: float, height: float) -> None:
        """Draw inside a rectangle only, until `restore`."""
        self.put(f"{x:.2f} {y:.2f} {width:.2f} {height:.2f} re W n")

    def circle(self, x: float, y: float, radius: float, *, stroke: bool = True, fill: bool = False) -> None:
        """Draw a circle."""
        r, k = radius, radius * _QUARTER
        points = [(0, r), (k, r), (r, k), (r, 0), (r, -k), (k, -r), (0, -r), (-k, -r), (-r, -k), (-r, 0), (-r, k),
                  (-k, r), (0, r)]  # fmt: skip
        self.curves([(x + east, y + north) for east, north in points], stroke=stroke, fill=fill)

    def curves(self, points: Sequence[tuple[float, float]], *, stroke: bool = True, fill: bool = False) -> None:
        """Draw curves: a start, then for each curve its two handles and its end."""
        said = [f"{x:.2f} {y:.2f}" for x, y in points]
        parts = [f"{' '.join(said[at : at + 3])} c" for at in range(1, len(said), 3)]
        self.path(f"{said[0]} m {' '.join(parts)}", stroke=stroke, fill=fill)

    def shape(self, points: Sequence[tuple[float, float]]) -> None:
        """Draw a closed shape through points, filled."""
        said = [f"{x:.2f} {y:.2f}" for x, y in points]
        self.path(f"{said[0]} m {' l '.join(said[1:])} l h", fill=True)

    def stamp(self, key: object, x: float, y: float, draw: Callable[[], None]) -> None:
        """Put a symbol at x, y; `draw` draws it at 0, 0, once a document: after that it is known by its key."""
        self.put(f"q 1 0 0 1 {x:.2f} {y:.2f} cm\n{self._drawn(key, draw)}\nQ")

    def again(self, key: object, draw: Callable[[], None]) -> None:
        """Draw what many pages have alike; `draw` draws it once a document, as for a stamp."""
        self.put(self._drawn(key, draw))

    def shown(self, name: str, form: Callable[[], object]) -> str:
        """Give the code that shows a form on this page; `form` makes it, once a document."""
        canvas = self.canvas
        if name not in self._forms:
            canvas._doc.addForm(name, form())  # noqa: SLF001 - the library itself would pack it anew for each
            self._forms[name] = f"/{canvas._doc.getXObjectName(name)} Do"  # noqa: SLF001
        canvas._formsinuse.append(name)  # noqa: SLF001
        return self._forms[name]

    def _drawn(self, key: object, draw: Callable[[], None]) -> str:
        if key not in self._stamps:
            code = self.canvas._code  # noqa: SLF001 - the library has no way to draw for later
            begun = len(code)
            draw()
            self._stamps[key] = "\n".join(code[begun:])
            del code[begun:]
        return self._stamps[key]


_PAINT = {(True, False): "S", (False, True): "f", (True, True): "B"}
_QUARTER = 0.5523
"""Length of the handles of a curve that is a quarter of a circle of radius 1."""


@lru_cache(maxsize=64)
def _ink(stroke: tuple[float, float, float], fill: tuple[float, float, float]) -> str:
    one, other = (" ".join(f"{part:.3f}".rstrip("0").rstrip(".") for part in colour) for colour in (stroke, fill))
    return f"{one} RG {other} rg"
