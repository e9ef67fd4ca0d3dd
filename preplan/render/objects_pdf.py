"""Objects of a PDF that write themselves in one go: the library's own dictionaries take a sixth of a card's time."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Sequence
from typing import Any

from reportlab.pdfbase import pdfdoc

_PACKING = 1
"""The library's own 6 takes twice the time, for a file smaller by an eighth."""


def _fonts(document: Any) -> str:
    """Name the dictionary of all fonts; it is in the document by the time anything is written."""
    return "/Font {} {} R /ProcSet [ /PDF /Text ]".format(*document.idToObjectNumberAndVersion[pdfdoc.BasicFonts])


class Resources(pdfdoc.PDFObject):  # type: ignore[misc]  # the library has no types
    """What a page draws with: the fonts, and some forms by their names."""

    def __init__(self, forms: Iterable[str]) -> None:
        """Take each form once."""
        self._forms = dict.fromkeys(forms)

    def format(self, document: Any) -> bytes:
        """Write the dictionary."""
        numbers, shown = document.idToObjectNumberAndVersion, ""
        if self._forms:
            names = [document.getXObjectName(name) for name in self._forms]
            shown = f" /XObject << {' '.join('/{} {} {} R'.format(name, *numbers[name]) for name in names)} >>"
        return f"<< {_fonts(document)}{shown} >>".encode()


class Stream(pdfdoc.PDFObject):  # type: ignore[misc]  # the library has no types
    """Code of the page language, packed."""

    __RefOnly__ = 1  # the library's word for what is an object of its own

    def __init__(self, code: str) -> None:
        """Pack it."""
        self._packed = zlib.compress(code.encode(), _PACKING)

    def format(self, _: Any) -> bytes:
        """Write the object."""
        head = f"<<\n/Filter /FlateDecode /Length {len(self._packed)}\n>>\nstream\n"
        return b"%s%sendstream\n" % (head.encode(), self._packed)


class Form(pdfdoc.PDFObject):  # type: ignore[misc]  # the library has no types
    """Code of the page language that pages show by a name, packed already: many documents may have it."""

    __RefOnly__ = 1

    def __init__(self, box: Sequence[int], packed: bytes) -> None:
        """Take the box that it draws in, and its code."""
        self._box, self._packed = box, packed

    def format(self, document: Any) -> bytes:
        """Write the object."""
        left, low, right, top = self._box
        head = (
            f"<<\n/BBox [ {left} {low} {right} {top} ] /Filter /FlateDecode /FormType 1 /Length {len(self._packed)} "
            f"/Matrix [ 1 0 0 1 0 0 ] /Resources <<\n{_fonts(document)}\n>> \n  /Subtype /Form /Type /XObject\n>>\n"
            "stream\n"
        )
        return b"%s%sendstream\n" % (head.encode(), self._packed)
