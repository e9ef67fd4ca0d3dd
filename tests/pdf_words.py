"""The words of a PDF as another program reads them: they stand on its pages as text, not as outlines of letters."""

from __future__ import annotations

from pypdfium2 import PdfDocument


def texts_of(file: bytes) -> list[str]:
    """Give the text of every page, line by line, in the order in which it was written."""
    with PdfDocument(file) as document:
        return [page.get_textpage().get_text_range() for page in document]


def pages_of(file: bytes) -> list[str]:
    """Give the words of every page with one blank between them, wherever its lines are broken."""
    return [" ".join(text.split()) for text in texts_of(file)]


def words_of(file: bytes) -> str:
    """Give all words of a document."""
    return " ".join(pages_of(file))
