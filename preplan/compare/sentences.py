"""What a difference or a cause says in plain words, for one address or for several at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import NamedTuple, TypeAlias

import pandas as pd

from preplan.compare.answers import UNITS
from preplan.compare.causes import CAUSES, stands_behind
from preplan.compare.runs import RunChange
from preplan.plan_tables import STATUSES
from preplan.render.words import basis_words, level_words, number, printable


class Fact(NamedTuple):
    """One difference, or one cause, of an address."""

    kind: str
    """Of `answers.TO_DO`, `answers.NUMBERS` or `causes.CAUSES`."""
    subject: str
    old: str
    new: str


Facts: TypeAlias = Sequence[Fact]
_MOST = 3
"""Texts of several addresses that are told; the rest is counted."""


def facts_by_address(table: pd.DataFrame, kind: str) -> dict[int, list[Fact]]:
    """Cut a table of differences or causes into the facts of each address; `kind` is its column of kinds."""
    facts: dict[int, list[Fact]] = {}
    columns = (table[name].tolist() for name in ("at", kind, "subject", "old", "new"))
    for at, *cells in zip(*columns, strict=True):
        facts.setdefault(at, []).append(Fact(*cells))
    return facts


def differences_words(facts: Facts, told: Sequence[str]) -> list[str]:
    """Say the differences of some addresses, kind by kind, in the order of `told`."""
    kinds = _sorted_by(facts, lambda fact: fact.kind)
    return [_difference(kind, kinds[kind]) for kind in told if kind in kinds]


def _difference(kind: str, facts: Facts) -> str:
    """Say differences of one kind; of several addresses, from the least to the most."""
    if kind in _OTHER_WORDS:
        return _OTHER_WORDS[kind](facts)
    if kind in UNITS:
        return f"{kind} {_span(_old(facts))} -> {_span(_new(facts))}{UNITS[kind]}"
    return f"{kind} {_joined(_old(facts))} -> {_joined(_new(facts))}"


def _old(facts: Facts) -> list[str]:
    return [fact.old for fact in facts]


def _new(facts: Facts) -> list[str]:
    return [fact.new for fact in facts]


def _sorted_by(facts: Facts, key: Callable[[Fact], str]) -> dict[str, list[Fact]]:
    """Sort facts into lists, in the order in which their keys first come."""
    found: dict[str, list[Fact]] = {}
    for fact in facts:
        found.setdefault(key(fact), []).append(fact)
    return found


def _flag_changes(rows: Facts) -> str:
    """Say which flags are new and which are gone."""
    came = _joined((_flag(fact.new) for fact in rows if fact.new), most=99)
    went = _joined((_flag(fact.old) for fact in rows if fact.old and not fact.new), most=99)
    return "; ".join(filter(None, [came and f"now flagged: {came}", went and f"no longer flagged: {went}"]))


def _flag(text: str) -> str:
    """Write a flag with its value.

    >>> _flag("no way for=T11 T12"), _flag("dead end")
    ('no way for T11 T12', 'dead end')
    """
    return text.replace("=", " ", 1)


def _grade(rows: Facts) -> str:
    return f"{_joined(map(answer_words, _old(rows)))} -> {_joined(map(answer_words, _new(rows)))}"


def answer_words(text: str) -> str:
    """Say an answer: a status as it is, a response level in full.

    >>> answer_words("not met"), answer_words("Level 2")
    ('not met', 'response level 2')
    """
    return text if text in STATUSES or not text else level_words(text)


def _without_and_with(word: str, rows: Facts) -> str:
    went, came = (_joined(filter(None, ends(rows))) for ends in (_old, _new))
    return f"{word}: " + ", ".join(filter(None, [went and f"without {went}", came and f"now {came}"]))


def _in_winter(texts: Iterable[str]) -> str:
    return _joined(one or "the same site" for one in texts)


def _sites_say(rows: Facts) -> str:
    return "what the card says of its fill site: " + _joined(f"{fact.subject} {fact.new}" for fact in rows)


def _site_numbers(rows: Facts) -> str:
    return "number on map and cards: " + _joined(f"{fact.subject} {fact.old} -> {fact.new}" for fact in rows)


def _seasons(rows: Facts) -> str:
    """Say what the seasons bring that differs; of several addresses that it does."""
    if len({(fact.old, fact.new) for fact in rows}) > 1:
        return "by season: other fill sites or flows"
    old, new = rows[0].old.split("; "), rows[0].new.split("; ")
    parts = ("; ".join(part for part in one if part not in other) for one, other in ((old, new), (new, old)))
    return "by season: " + " -> ".join(part or "all year the same" for part in parts)


def _levels(rows: Facts) -> str:
    """Say what other levels hold, level by level."""
    levels = sorted(_sorted_by(rows, lambda fact: fact.subject).items())
    return "; ".join(
        f"{level_words(level)} holds {_span(_old(mine))} -> {_span(_new(mine))} gpm" for level, mine in levels
    )


def _level_names(rows: Facts) -> str:
    return "name of " + _joined(
        f"{answer_words(fact.old) or 'no level'} -> {answer_words(fact.new) or 'no level'}" for fact in rows
    )


def _level_rests(rows: Facts) -> str:
    levels = _joined(level_words(fact.subject) for fact in rows)
    return f"{levels}: other tankers, limit, or flow on arrival or with one out"


def _level_sites(rows: Facts) -> str:
    levels = sorted(_sorted_by(rows, lambda fact: fact.subject).items())
    return "; ".join(
        f"{level_words(level)} from {_joined(_old(mine))} -> {_joined(_new(mine))}" for level, mine in levels
    )


Words = Callable[[Facts], str]
_OTHER_WORDS: Mapping[str, Words] = {
    "grade": _grade,
    "level name": _grade,
    "units": lambda rows: _without_and_with("units sent", rows),
    "in the shuttle": lambda rows: _without_and_with("in the shuttle", rows),
    "units' order": lambda _rows: "units come in another order",
    "jobs": lambda rows: f"engines {_joined(_old(rows))} -> {_joined(_new(rows))}",
    "winter": lambda rows: f"in winter from {_in_winter(_old(rows))} -> {_in_winter(_new(rows))}",
    "call by": lambda rows: f"call by minute {_span(_old(rows))} -> {_span(_new(rows))}",
    "way": lambda rows: f"another way, {_joined(_new(rows))}, from and to {_joined(fact.subject for fact in rows)}",
    "from the station": lambda rows: f"another way from the station: {_joined(_new(rows))}",
    "sheets": lambda _rows: "what the sheets behind the card say",
    "near the fill site": lambda rows: f"near the fill site: {_joined(_new(rows)) or 'no limit is told any more'}",
    "fill site's card": _sites_say,
    "fill site's number": _site_numbers,
    "season": _seasons,
    "season's flow": _seasons,
    "to mind": _flag_changes,
    "remarks": _flag_changes,
    "other level": _levels,
    "other level's site": _level_sites,
    "other level's name": _level_names,
    "other level's rest": _level_rests,
    "basis": lambda rows: f"requirement {_joined(map(basis_words, _new(rows)))}",
}


# --------------------------------------------------------------------------- causes


def causes_words(facts: Facts, changes: Sequence[RunChange]) -> str:
    """Say all causes of some addresses, each group with what may stand behind it.

    Parameters
    ----------
    facts
        The causes.
    changes
        What differs at large.
    """
    together: dict[str, list[str]] = {}
    codes = _sorted_by(facts, lambda fact: fact.kind)
    for code in filter(codes.__contains__, CAUSES):
        for subject, mine in _sorted_by(codes[code], lambda fact: fact.subject).items():
            together.setdefault(behind_words(code, subject, changes), []).append(cause_words(mine))
    return "; ".join(", ".join(dict.fromkeys(said)) + behind for behind, said in together.items())


def cause_words(facts: Facts) -> str:
    """Say causes of one code and subject; of several addresses, from the least to the most."""
    code, subject = facts[0].kind, facts[0].subject
    return _CAUSES[code](subject, facts) if code in _CAUSES else _joined(_new(facts))


def behind_words(code: str, subject: str, changes: Sequence[RunChange]) -> str:
    """Name what differs at large and may stand behind a cause, '' for nothing."""
    names = list(dict.fromkeys(one.short for one in stands_behind(changes, code, subject)))
    more = f" and {len(names) - _MOST} more" if len(names) > _MOST else ""
    return f" (changed: {', '.join(names[:_MOST])}{more})" if names else ""


def _was(word: str, rows: Facts, unit: str) -> str:
    """Say a number and what it was."""
    return f"{word} {_span(_new(rows))}{unit}, was {_span(_old(rows))}"


def _requirement(subject: str, rows: Facts) -> str:
    if subject == "basis":
        return f"requirement {_joined(map(basis_words, _new(rows)))}, was {_joined(map(basis_words, _old(rows)))}"
    word = {"required": "needs", "required for": "needs it for", "required total": "needs in all"}[subject]
    return _was(word, rows, UNITS[subject])


def _road(subject: str, rows: Facts) -> str:
    came = list(dict.fromkeys(_flag(one) for one in _new(rows) if one))
    said = came[0] if len(came) == 1 else subject  # of several addresses, not each one's trucks and bridges
    return f"now flagged: {printable(said)}" if came else f"no longer flagged: {subject}"


def _trip(subject: str, rows: Facts) -> str:
    if not any(_new(rows)):
        return f"no round trip from {subject} is known now"
    if not any(_old(rows)):
        return f"a round trip from {subject} is known now, {_span(_new(rows))} min"
    return _was(f"round trip from {subject}", rows, " min")


_CAUSES: Mapping[str, Callable[[str, Facts], str]] = {
    "requirement": _requirement,
    "hydrant": lambda _subject, rows: f"hydrant that counts: {_joined(_new(rows))}, was {_joined(_old(rows))}",
    "road": _road,
    "trip": _trip,
    "posting": lambda subject, rows: _was(
        f"a posted or rated limit makes the way from {subject} longer by", rows, " min"
    ),
    "arrival": lambda subject, rows: _was(f"{subject} comes at minute", rows, ""),
    "first water": lambda _subject, rows: _was("first water at minute", rows, ""),
    "driveway": lambda _subject, rows: _was("driveway", rows, " ft"),
    "place": lambda _subject, rows: f"the address point moved {_span(_new(rows))} ft",
    "label": lambda _subject, rows: f"the label was {_joined(_old(rows))}",
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
