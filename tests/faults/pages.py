"""What no page may hold, whatever went in: a number that is none, or the words of a program that failed."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping

from tests.pdf_words import texts_of

NOT_NUMBERS = re.compile(r"(?<!= )(?<![\w.'=-])[+-]?(?:nan|inf|infinity|none|null)(?![\w.'-])", re.IGNORECASE)
"""How a number that is none would be written."""
OTHER_PEOPLES = frozenset(
    {"label", "flags", "address_id", "fill_site_id", "backup_site_id", "site_id", "street", "road"}
)
"""Columns of other people's text, which may say anything."""
_TAGS = re.compile(r"<(script|style)\b.*?</\1>|<[^>]*>", re.DOTALL)


def not_numbers(files: Mapping[str, bytes]) -> list[str]:
    """List the places of a set of results where a number is none; texts of a faultless district say none themselves."""
    return [f"{name}: {said}" for name, content in files.items() for said in _found(name, content)]


def _found(name: str, content: bytes) -> Iterator[str]:
    if name.endswith(".csv") and name != "rejected.csv":
        for row in csv.DictReader(io.StringIO(content.decode("utf-8"))):
            for column, cell in row.items():
                if column not in OTHER_PEOPLES and NOT_NUMBERS.fullmatch(cell.lstrip("'")):
                    yield f"{column} {cell}"
    elif name.endswith(".pdf"):
        for page in texts_of(content):
            yield from NOT_NUMBERS.findall(page.replace("none", "").replace("None", ""))
    elif name.endswith((".gpx", ".kml")):
        yield from NOT_NUMBERS.findall(content.decode("utf-8"))
    elif name.endswith(".html"):
        shown = _TAGS.sub(" ", content.decode("utf-8"))
        yield from (said for said in NOT_NUMBERS.findall(shown) if said.lower() != "none")
        yield from re.findall(r'="[^"]*\bNaN\b[^"]*"', content.decode("utf-8"))
