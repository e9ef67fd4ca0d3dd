"""Values that hold at times only, such as '7.5 @ (Nov-Apr)': what they say, and the months in which they may hold.

Source: OpenStreetMap wiki, Conditional restrictions, and the months of Key:opening_hours. Only months and seasons are
understood; hours, weekdays, weather and the like may come true on any day, so such a condition may hold in every month
it names.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from preplan.records import ALL_MONTHS

_NAMES = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTH = r"(?P<{0}>jan|feb|mar|apr|may|jun|jul|aug|sept?|oct|nov|dec)[a-z]*\.?(?:\s+\d{{1,2}})?"
_SPAN = re.compile(rf"(?<![a-z]){_MONTH.format('first')}(?:\s*-\s*{_MONTH.format('last')})?(?![a-z:])")
_DAYS = re.compile(r"-\s*\d{1,2}\b(?!:)")
"""The end of 'Nov 15-30'."""
_CLAUSE = re.compile(r"\s*(?P<value>[^@;]+?)\s*@\s*(?:\((?P<inside>[^)]*)\)|(?P<bare>[^;]*))\s*(?:;|$)")
_ABOVE = re.compile(r"(?:max)?(?P<what>weight|weightrating|axleload|height|width|length)\s*>=?\s*(?P<value>[^<>=]+)")
_AND = re.compile(r"\s+and\s+", re.IGNORECASE)
_YEAR = re.compile(r"\b(?:19|20)\d\d\b")
_DASHES = str.maketrans("\N{EN DASH}\N{EM DASH}", "--")
_SEASONS = {
    **dict.fromkeys(("winter", "snow"), "nov-apr"), "spring": "mar-may", "summer": "jun-aug",
    **dict.fromkeys(("autumn", "fall"), "sep-nov"),
}  # fmt: skip
"""Months that words for a season stand for; snow may lie in the winter of a road that nobody ploughs (OpenStreetMap
wiki, Conditional restrictions, has the words; the months are this program's careful choice, for a northern year)."""
_REMARK = re.compile(r'"[^"]*"')
_RULES = re.compile(r";|\|\|")
_SHUT = re.compile(r":?\s*\b(?:off|closed)\b")
_FEW_DAYS = re.compile(r"\s*[a-z]+\s*\d{1,2}(?:\s*[-,]\s*\d{1,2})*\s*")
"""Days of one month, as a holiday: a rule that shuts on them shuts no month."""
_SEASON = re.compile(rf"\b({'|'.join(_SEASONS)})\b")


def named_months(text: str) -> frozenset[int]:
    """Give the months that opening hours name, 'Apr 15-Dec 1': all where they name none, none where all is 'off'.

    >>> sorted(named_months("May-Oct 08:00-20:00")), len(named_months("24/7; PH off"))
    ([5, 6, 7, 8, 9, 10], 12)
    >>> named_months("closed"), len(named_months('"by appointment"'))
    (frozenset(), 12)
    """
    plain = _REMARK.sub("", text.lower())
    if not _SHUT.sub("", plain).strip():
        return frozenset() if _SHUT.search(plain) else ALL_MONTHS
    opened: set[int] = set()
    found = ALL_MONTHS
    for rule in _RULES.split(plain):
        said = _SHUT.sub("", rule)
        months, whole = _months(said)
        if not _SHUT.search(rule):
            opened |= months if rule.strip() else frozenset[int]()
        elif whole and not _FEW_DAYS.fullmatch(_plain(said)):
            found -= months
    return found & opened if opened else found


class Clause(NamedTuple):
    """One value with its condition."""

    value: str
    months: frozenset[int]
    """Months in which the condition may hold."""
    whole: bool
    """It holds through these months, whatever the hour."""
    above: tuple[tuple[str, str], ...] = ()
    """What a vehicle exceeds for whom it holds, such as ('weight', '7.5')."""
    on_snow: bool = False
    """It holds while it snows, or lies."""

    def may_hold(self, months: frozenset[int]) -> bool:
        """Tell whether it may hold at some hour of the months: snow may fall in any of them, though it seldom lies."""
        return self.on_snow or bool(self.months & months)


def clauses(text: str) -> tuple[Clause, ...]:
    """Take a conditional value apart; () where it is not written as one.

    >>> [(one.value, sorted(one.months), one.whole) for one in clauses("7.5 @ (Nov-Feb); none @ (Mo-Fr 06:00-18:00)")]
    [('7.5', [1, 2, 11, 12], True), ('none', [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12], False)]
    >>> clauses("no @ (06:00-22:00 AND weight>7.5)")[0].above
    (('weight', '7.5'),)
    >>> clauses("35")
    ()
    """
    found, at = [], 0
    while at < len(text):
        match = _CLAUSE.match(text, at)
        if match is None:
            return ()
        condition = match["inside"] if match["inside"] is not None else match["bare"]
        parts = (_ABOVE.fullmatch(part.strip()) for part in _AND.split(condition))
        above = tuple((part["what"], part["value"].strip()) for part in parts if part)
        found.append(Clause(match["value"], *_months(condition), above, "snow" in condition.lower()))
        at = match.end()
    return tuple(found)


def _months(condition: str) -> tuple[frozenset[int], bool]:
    """Give the months in which a condition may hold, and whether it names nothing but months."""
    text = _plain(condition)
    if _YEAR.search(text):
        return ALL_MONTHS, False  # a time that is past or passes
    named = {month for span in _SPAN.finditer(text) for month in _span(span["first"], span["last"] or span["first"])}
    rest = _DAYS.sub("", _SPAN.sub("", text)).strip(" ,;")
    if rest and _SEASON.search(_REMARK.sub("", condition).lower()):
        return ALL_MONTHS, False  # 'wet; snow' holds in summer too
    return (frozenset(named), not rest) if named else (ALL_MONTHS, False)


def _plain(condition: str) -> str:
    """Write a condition in small letters, its seasons as months, without remarks in quotes."""
    text = _REMARK.sub("", condition).strip().lower().translate(_DASHES)
    return _SEASON.sub(lambda word: _SEASONS[word[1]], text)


def _span(first: str, last: str) -> list[int]:
    """List the months from one to another, over the new year if need be; a month that is touched counts whole."""
    low, high = _NAMES.index(first[:3]), _NAMES.index(last[:3])
    return [(low + step) % 12 + 1 for step in range((high - low) % 12 + 1)]
