"""Which names the printed pages cannot write as they are: letters that their font lacks, or that run right to left."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence

from preplan.records import RoadTable, TextArray
from preplan.render import words
from preplan.render.lettering_pdf import lacks_letters

_RIGHT_TO_LEFT = frozenset({"R", "AL"})
"""Bidirectional classes of letters that are written from right to left (Unicode Standard, annex 9)."""


def unwritten(labels: TextArray, roads: RoadTable, named: Sequence[str]) -> Iterator[str]:
    """Note how many labels, roads and other names print wrong, with one of each kind, as sentences without a stop."""
    texts = dict.fromkeys(map(words.printable, (*labels.tolist(), *roads.name.tolist(), *named)))
    odd = [text for text in texts if not text.isascii()]
    lacking = [text for text in odd if lacks_letters(text)]
    turned = [text for text in odd if any(unicodedata.bidirectional(letter) in _RIGHT_TO_LEFT for letter in text)]
    for found, what in (
        (lacking, "have letters that the printed pages lack and show as boxes"),
        (turned, "run from right to left, and the printed pages show their letters in the wrong order"),
    ):
        if found:
            yield f"{len(found):,} names {what}, such as {found[0]!r}; the map and the tables have them as they are"
