"""`preplan columns` and `preplan rules`: what tables and the district file may say, with what it means."""

from __future__ import annotations

import json
from textwrap import wrap

from preplan.by_hand.options import LINE_LETTERS, one_of
from preplan.inputs.column_words import TITLES, WORDS
from preplan.inputs.columns import EVERY_SPEC
from preplan.inputs.district_file import CARDS_BACKUP, CARDS_PER
from preplan.rules import Rules, rule_lines

_COLUMN_LETTERS = 21
_RULE_LETTERS = 31


OTHER_TABLES = {
    "cards": (
        ("per", CARDS_PER[0], f"one card for neighbours whose answers agree, or one for each {CARDS_PER[1]}"),
        ("backup", CARDS_BACKUP[0], f"the backup is a line on each card, or has a {CARDS_BACKUP[1]} behind it"),
    ),
    "map": (("tiles", "", "address of online map tiles with {z}, {x} and {y}; none: the map asks nobody"),),
}
"""What the district file may say that is no rule of the plan: name, default and meaning."""


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
    """List every rule with its default as the district file has it, its unit and its meaning: TOML as it stands."""
    said = [
        "# Every rule with its default, as the district file may set it: copy a line below its [table].",
        "# report.pdf prints each with its source.",
    ]
    group = ""
    for line in rule_lines(Rules()):
        if line.group != group:
            group = line.group
            said += ["", f"[{group}]"]
        unit = f"{line.unit}; " * bool(line.unit)
        said += _beside(f"{line.name} = {_toml(line.value)}", f"{unit}{line.meaning}", _RULE_LETTERS, "# ")
    for table, lines in OTHER_TABLES.items():
        said += ["", f"[{table}]"]
        for name, value, meaning in lines:
            said += _beside(f"{name} = {_toml(value)}", meaning, _RULE_LETTERS, "# ")
    return "\n".join(said)


def _toml(value: object) -> str:
    """Write a rule's value as the district file has it.

    >>> _toml(True), _toml("nfa"), _toml(frozenset({5, 4})), _toml(((1.0, 2.0),)), _toml(7.5)
    ('true', '"nfa"', '[4, 5]', '[[1.0, 2.0]]', '7.5')
    """
    if isinstance(value, frozenset):
        return _toml(tuple(sorted(value)))
    if isinstance(value, tuple):
        return f"[{', '.join(map(_toml, value))}]"
    return json.dumps(value)


def _beside(label: str, text: str, letters: int, mark: str = "") -> list[str]:
    """Write a text beside its label, or under it where the label is long; each line of it behind a mark."""
    lines = [f"{mark}{line}" for line in wrap(text, LINE_LETTERS - letters - len(mark))]
    first = [f"{label:<{letters}}{lines[0]}"] if len(label) < letters else [label, " " * letters + lines[0]]
    return [*first, *(" " * letters + line for line in lines[1:])]
