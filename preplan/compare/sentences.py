"""What a difference or a cause says in plain words, for one address or for several at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

import pandas as pd

from preplan.compare.answers import UNITS
from preplan.compare.causes import CAUSES, stands_behind
from preplan.compare.runs import RunChange
from preplan.plan import STATUSES
from preplan.render.words import basis_words, level_words, number, printable

_MOST = 3
"""Texts of several addresses that are told; the rest is counted."""


def differences_words(rows: pd.DataFrame, told: Sequence[str]) -> Iterator[str]:
    """Say the differences of some addresses, kind by kind, in the order of `told`."""
    for what in told:
        mine = rows[rows["what"] == what]
        if len(mine):
            yield difference_words(what, mine)


def difference_words(what: str, rows: pd.DataFrame) -> str:
    """Say differences of one kind; of several addresses, from the least to the most.

    Parameters
    ----------
    what
        The kind, of `answers.TO_DO` or `answers.NUMBERS`.
    rows
        Rows of `Answers.differences`: `subject`, `old`, `new`.
    """
    if what in _OTHER_WORDS:
        return _OTHER_WORDS[what](rows)
    if what in UNITS:
        return f"{what} {_span(rows['old'])} -> {_span(rows['new'])}{UNITS[what]}"
    return f"{what} {_joined(rows['old'])} -> {_joined(rows['new'])}"


def _flag_changes(rows: pd.DataFrame) -> str:
    """Say which flags are new and which are gone."""
    came = _joined((_flag(one) for one in rows["new"] if one), most=99)
    gone = (_flag(old) for old, new in zip(rows["old"], rows["new"], strict=True) if old and not new)
    went = _joined(gone, most=99)
    return "; ".join(filter(None, [came and f"now flagged: {came}", went and f"no longer flagged: {went}"]))


def _flag(text: str) -> str:
    """Write a flag with its value.

    >>> _flag("no way for=T11 T12"), _flag("dead end")
    ('no way for T11 T12', 'dead end')
    """
    return text.replace("=", " ", 1)


def _grade(rows: pd.DataFrame) -> str:
    return f"{_joined(map(answer_words, rows['old']))} -> {_joined(map(answer_words, rows['new']))}"


def answer_words(text: str) -> str:
    """Say an answer: a status as it is, a response level in full.

    >>> answer_words("not met"), answer_words("Level 2")
    ('not met', 'response level 2')
    """
    return text if text in STATUSES or not text else level_words(text)


def _without_and_with(word: str, rows: pd.DataFrame) -> str:
    went, came = (_joined(one for one in rows[end] if one) for end in ("old", "new"))
    return f"{word}: " + ", ".join(filter(None, [went and f"without {went}", came and f"now {came}"]))


def _in_winter(texts: Iterable[str]) -> str:
    return _joined(one or "the same site" for one in texts)


def _sites_say(rows: pd.DataFrame) -> str:
    pairs = zip(rows["subject"], rows["new"], strict=True)
    return "what the card says of its fill site: " + _joined(f"{site} {said}" for site, said in pairs)


def _site_numbers(rows: pd.DataFrame) -> str:
    cells = zip(rows["subject"], rows["old"], rows["new"], strict=True)
    return "number on map and cards: " + _joined(f"{site} {old} -> {new}" for site, old, new in cells)


def _levels(rows: pd.DataFrame) -> str:
    """Say what other levels hold, level by level."""
    levels = rows.groupby("subject", sort=True)
    return "; ".join(
        f"{level_words(str(level))} holds {_span(mine['old'])} -> {_span(mine['new'])} gpm" for level, mine in levels
    )


def _level_sites(rows: pd.DataFrame) -> str:
    levels = rows.groupby("subject", sort=True)
    return "; ".join(
        f"{level_words(str(level))} from {_joined(mine['old'])} -> {_joined(mine['new'])}" for level, mine in levels
    )


Words = Callable[[pd.DataFrame], str]
_OTHER_WORDS: Mapping[str, Words] = {
    "grade": _grade,
    "level name": _grade,
    "units": lambda rows: _without_and_with("units sent", rows),
    "in the shuttle": lambda rows: _without_and_with("in the shuttle", rows),
    "units' order": lambda _rows: "units come in another order",
    "jobs": lambda rows: f"engines: {'; '.join(dict.fromkeys(rows['old']))} -> {'; '.join(dict.fromkeys(rows['new']))}",
    "winter": lambda rows: f"in winter from {_in_winter(rows['old'])} -> {_in_winter(rows['new'])}",
    "call by": lambda rows: f"call by minute {_span(rows['old'])} -> {_span(rows['new'])}",
    "way": lambda rows: f"another way, {_joined(rows['new'])}, from and to {_joined(rows['subject'])}",
    "fill site's card": _sites_say,
    "fill site's number": _site_numbers,
    "to mind": _flag_changes,
    "remarks": _flag_changes,
    "other level": _levels,
    "other level's site": _level_sites,
    "basis": lambda rows: f"requirement {_joined(map(basis_words, rows['new']))}",
}


# --------------------------------------------------------------------------- causes


def causes_words(rows: pd.DataFrame, changes: Sequence[RunChange]) -> str:
    """Say all causes of some addresses, each group with what may stand behind it.

    Parameters
    ----------
    rows
        Rows of the causes: `code`, `subject`, `old`, `new`.
    changes
        What differs at large.
    """
    together: dict[str, list[str]] = {}
    for code in CAUSES:
        for subject, mine in rows[rows["code"] == code].groupby("subject", sort=False):
            together.setdefault(behind_words(code, str(subject), changes), []).append(cause_words(code, mine))
    parts = (", ".join(dict.fromkeys(said)) + behind for behind, said in together.items())
    return "; ".join(parts)


def cause_words(code: str, rows: pd.DataFrame) -> str:
    """Say causes of one code and subject; of several addresses, from the least to the most."""
    subject = str(rows["subject"].iloc[0])
    return _CAUSES[code](subject, rows) if code in _CAUSES else _joined(rows["new"])


def behind_words(code: str, subject: str, changes: Sequence[RunChange]) -> str:
    """Name what differs at large and may stand behind a cause, '' for nothing."""
    names = list(dict.fromkeys(one.short for one in stands_behind(changes, code, subject)))
    more = f" and {len(names) - _MOST} more" if len(names) > _MOST else ""
    return f" (changed: {', '.join(names[:_MOST])}{more})" if names else ""


def _was(word: str, rows: pd.DataFrame, unit: str) -> str:
    """Say a number and what it was."""
    return f"{word} {_span(rows['new'])}{unit}, was {_span(rows['old'])}"


def _requirement(subject: str, rows: pd.DataFrame) -> str:
    if subject == "basis":
        return f"requirement {_joined(map(basis_words, rows['new']))}, was {_joined(map(basis_words, rows['old']))}"
    word = {"required": "needs", "required for": "needs it for", "required total": "needs in all"}[subject]
    return _was(word, rows, UNITS[subject])


def _road(subject: str, rows: pd.DataFrame) -> str:
    came = list(dict.fromkeys(_flag(one) for one in rows["new"] if one))
    said = came[0] if len(came) == 1 else subject  # of several addresses, not each one's trucks and bridges
    return f"now flagged: {printable(said)}" if came else f"no longer flagged: {subject}"


def _trip(subject: str, rows: pd.DataFrame) -> str:
    if (rows["new"] == "").all():
        return f"no round trip from {subject} is known now"
    if (rows["old"] == "").all():
        return f"a round trip from {subject} is known now, {_span(rows['new'])} min"
    return _was(f"round trip from {subject}", rows, " min")


_CAUSES: Mapping[str, Callable[[str, pd.DataFrame], str]] = {
    "requirement": _requirement,
    "hydrant": lambda _subject, rows: f"hydrant that counts: {_joined(rows['new'])}, was {_joined(rows['old'])}",
    "road": _road,
    "trip": _trip,
    "posting": lambda subject, rows: _was(
        f"a posted or rated limit makes the way from {subject} longer by", rows, " min"
    ),
    "arrival": lambda subject, rows: _was(f"{subject} comes at minute", rows, ""),
    "first water": lambda _subject, rows: _was("first water at minute", rows, ""),
    "driveway": lambda _subject, rows: _was("driveway", rows, " ft"),
    "place": lambda _subject, rows: f"the address point moved {_span(rows['new'])} ft",
    "label": lambda _subject, rows: f"the label was {_joined(rows['old'])}",
    "not told": lambda _subject, _rows: "not told by the files",
}


# --------------------------------------------------------------------------- parts


def _joined(texts: Iterable[str], most: int = _MOST) -> str:
    """Put texts together, each once, in order; an empty one is none."""
    said = list(dict.fromkeys(printable(one) or "none" for one in texts))
    more = [f"{len(said) - most} more"] if len(said) > most else []
    return ", ".join([*said[:most], *more])


def _span(texts: Iterable[str]) -> str:
    """Write numbers from the least to the most, those not known as 'none'.

    >>> _span(["7.1", "9.2", ""]), _span(["1250"]), _span([""])
    ('7.1 to 9.2 or none', '1,250', 'none')
    """
    given = list(texts)
    known = sorted({float(one) for one in given if one})
    digits = 0 if all(one.is_integer() for one in known) else 1
    ends = " to ".join(number(one, digits) for one in dict.fromkeys((known[0], known[-1]))) if known else ""
    return " or ".join(filter(None, [ends, "none" if "" in given else ""]))
