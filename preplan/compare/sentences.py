"""What a difference or a cause says in plain words, for one address or for several at once."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from preplan.compare.answers import UNITS
from preplan.compare.causes import stands_behind
from preplan.compare.runs import RunChange
from preplan.plan import STATUSES
from preplan.render.words import basis_words, level_words, number, printable

NOT_TOLD = "not told by the files"
_STATUSES = frozenset(STATUSES)


def difference_words(what: str, rows: pd.DataFrame) -> str:
    """Say differences of one kind; of several addresses, from the least to the most.

    Parameters
    ----------
    what
        The kind, of `answers.TO_DO` or `answers.NUMBERS`.
    rows
        Rows of `Answers.differences`: `subject`, `old`, `new`.
    """
    old, new = rows["old"].tolist(), rows["new"].tolist()
    if what in UNITS:
        return f"{what} {_span(old)} -> {_span(new)}{UNITS[what]}"
    if what == "call by":
        return f"call by minute {_span(old)} -> {_span(new)}"
    if what in {"to mind", "remarks"}:
        return _flag_changes(rows)
    if what in _OTHER_WORDS:
        return _OTHER_WORDS[what](rows)
    return f"{what} {_joined(old)} -> {_joined(new)}"


def _flag_changes(rows: pd.DataFrame) -> str:
    """Say which flags are new and which are gone."""
    came = _joined(one for one in rows["new"] if one)
    went = _joined(old for old, new in zip(rows["old"], rows["new"], strict=True) if old and not new)
    return "; ".join(filter(None, [came and f"now flagged: {came}", went and f"no longer flagged: {went}"]))


def _grade(rows: pd.DataFrame) -> str:
    return f"{_joined(map(answer_words, rows['old']))} -> {_joined(map(answer_words, rows['new']))}"


def _without_and_with(word: str, rows: pd.DataFrame) -> str:
    went, came = (_joined(one for one in rows[end] if one) for end in ("old", "new"))
    return f"{word}: " + ", ".join(filter(None, [went and f"without {went}", came and f"now {came}"]))


def _way(rows: pd.DataFrame) -> str:
    return f"another way to and from {_joined(rows['subject'])} ({_joined(rows['new'])})"


def _cards(rows: pd.DataFrame) -> str:
    pairs = zip(rows["subject"], rows["new"], strict=True)
    return "fill site's card: " + _joined(f"{printable(site)}: {said}" for site, said in pairs)


def _site_number(rows: pd.DataFrame) -> str:
    cells = zip(rows["subject"], rows["old"], rows["new"], strict=True)
    return "fill site's number on map and cards: " + _joined(f"{printable(s)} {old} -> {new}" for s, old, new in cells)


def _levels(rows: pd.DataFrame) -> str:
    """Say what other levels hold; of several addresses, which levels differ."""
    said = []
    for level, mine in rows.groupby("subject", sort=True):
        olds, news = set(mine["old"]), set(mine["new"])
        flows = f": {_joined(olds)} -> {_joined(news)}" if len(olds) == len(news) == 1 else ""
        said.append(f"{level_words(str(level))}{flows}")
    return "other levels: " + "; ".join(said)


_OTHER_WORDS = {
    "grade": _grade,
    "level name": _grade,
    "units": lambda rows: _without_and_with("units sent", rows),
    "in the shuttle": lambda rows: _without_and_with("in the shuttle", rows),
    "units' order": lambda _rows: "units come in another order: look at their jobs",
    "way": _way,
    "fill site's card": _cards,
    "fill site's number": _site_number,
    "other levels": _levels,
    "basis": lambda rows: f"requirement {_joined(map(basis_words, rows['new']))}",
}


# --------------------------------------------------------------------------- causes


def cause_words(code: str, rows: pd.DataFrame, changes: Sequence[RunChange]) -> str:
    """Say causes of one code; of several addresses, from the least to the most.

    Parameters
    ----------
    code
        Of `causes.CAUSES`.
    rows
        Rows of the causes: `subject`, `old`, `new`.
    changes
        What differs at large: what may stand behind a cause is named with it.
    """
    if code in {"fill site", "unit", "response level", "rule"}:
        return _joined(rows["new"])
    if code == "not told":
        return NOT_TOLD
    parts = [_CAUSES[code](str(subject), mine) for subject, mine in rows.groupby("subject", sort=False)]
    said = ", ".join(dict.fromkeys(parts))
    behind = {one.short: None for subject in rows["subject"].unique() for one in stands_behind(changes, code, subject)}
    return f"{said} ({behind_words(list(behind))})" if behind else said


def behind_words(names: Sequence[str], most: int = 4) -> str:
    """List what may stand behind a cause.

    >>> behind_words(["closures.csv", "roads.osm"])
    'changed: closures.csv, roads.osm'
    """
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return f"changed: {', '.join(names[:most])}{more}"


def _was(word: str, rows: pd.DataFrame, unit: str) -> str:
    """Say a number and what it was."""
    old, new = _span(rows["old"]), _span(rows["new"])
    return f"{word} {new}{unit}, was {old}"


def _requirement(subject: str, rows: pd.DataFrame) -> str:
    if subject == "basis":
        return f"requirement {_joined(map(basis_words, rows['new']))}, was {_joined(map(basis_words, rows['old']))}"
    word = {"required": "needs", "required for": "needs it for", "required total": "needs in all"}[subject]
    return _was(word, rows, UNITS[subject])


def _road(subject: str, rows: pd.DataFrame) -> str:
    came = _joined(one for one in rows["new"] if one)
    return f"now flagged: {came}" if came else f"no longer flagged: {printable(subject)}"


def _trip(subject: str, rows: pd.DataFrame) -> str:
    site = printable(subject)
    if (rows["new"] == "").all():
        return f"no round trip from {site} is known now"
    if (rows["old"] == "").all():
        return f"a round trip from {site} is known now, {_span(rows['new'])} min"
    return _was(f"round trip from {site}", rows, " min")


_CAUSES = {
    "requirement": _requirement,
    "hydrant": lambda _subject, rows: f"hydrant that counts: {_joined(rows['new'])}, was: {_joined(rows['old'])}",
    "road": _road,
    "trip": _trip,
    "posting": lambda subject, rows: _was(f"way from {printable(subject)} round a limit takes", rows, " min more"),
    "arrival": lambda subject, rows: _was(f"{printable(subject)} comes at minute", rows, ""),
    "first water": lambda _subject, rows: _was("first water at minute", rows, ""),
    "driveway": lambda _subject, rows: _was("driveway", rows, " ft"),
    "place": lambda _subject, rows: f"the address point moved {_span(rows['new'])} ft",
    "label": lambda _subject, rows: f"the label was {_joined(rows['old'])}",
}


# --------------------------------------------------------------------------- parts


def answer_words(text: str) -> str:
    """Say an answer: a status as it is, a response level in full.

    >>> answer_words("not met"), answer_words("Level 2")
    ('not met', 'response level 2')
    """
    return text if text in _STATUSES else level_words(text)


def _joined(texts: object) -> str:
    """Put texts together, each once, in order."""
    return ", ".join(dict.fromkeys(printable(one) or "none" for one in texts))  # type: ignore[attr-defined]


def _span(texts: object) -> str:
    """Write numbers from the least to the most, those not known as 'none'.

    >>> _span(["7.1", "9.2", ""]), _span(["1250"]), _span([""])
    ('7.1 to 9.2 or none', '1,250', 'none')
    """
    known = sorted({float(one) for one in texts if one != ""})  # type: ignore[attr-defined]
    none = any(one == "" for one in texts)  # type: ignore[attr-defined]
    digits = 1 if any("." in one for one in texts) else 0  # type: ignore[attr-defined]
    ends = " to ".join(number(one, digits) for one in dict.fromkeys((known[0], known[-1]))) if known else ""
    return " or ".join(filter(None, [ends, "none" if none else ""]))
