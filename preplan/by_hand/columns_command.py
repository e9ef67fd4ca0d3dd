"""`preplan columns` and `preplan rules`: what tables and the district file may say, with what it means."""

from __future__ import annotations

from textwrap import wrap

from preplan.by_hand.options import LINE_LETTERS, one_of
from preplan.inputs.column_words import TITLES, WORDS
from preplan.inputs.columns import EVERY_SPEC
from preplan.rules import RuleLine, Rules, rule_lines

_COLUMN_LETTERS = 21
_RULE_LETTERS = 26


def columns(table: str | None) -> str:
    """Say what each column of a table means, or of every table; * marks those that a table must have."""
    tables = list(WORDS) if table is None else [one_of("TABLE", table, WORDS)]
    said = ["* a table must have it. Other columns may be left out, and an empty cell means: not known."]
    for one in tables:
        said += ["", f"{one}: {TITLES[one]}"]
        for column, meaning in WORDS[one].items():
            mark = "*" if column in EVERY_SPEC[one].required else " "
            said += _beside(f"{mark} {column}", meaning, _COLUMN_LETTERS)
    return "\n".join(said)


def rules() -> str:
    """List every rule by its table in the district file, with its value, unit and meaning."""
    said = ["Write a rule under its table: [shuttle], then fill_gpm = 600. report.pdf prints each with its source."]
    group = ""
    for line in rule_lines(Rules()):
        if line.group != group:
            group = line.group
            said += ["", f"[{group}]"]
        said += _beside(f"  {line.name}", f"{_value(line)}: {line.meaning}", _RULE_LETTERS)
    return "\n".join(said)


def _value(line: RuleLine) -> str:
    value = sorted(line.value) if isinstance(line.value, frozenset) else line.value
    text = str(value).lower() if isinstance(value, bool) else str(value)
    return f"{text} {line.unit}".rstrip()


def _beside(label: str, text: str, letters: int) -> list[str]:
    """Write a text beside its label, or under it where the label is long."""
    lines = wrap(text, LINE_LETTERS - letters)
    first = [f"{label:<{letters}}{lines[0]}"] if len(label) < letters else [label, " " * letters + lines[0]]
    return [*first, *(" " * letters + line for line in lines[1:])]
