"""`preplan columns` and `preplan rules`: what tables and the district file may say, and what results say."""

from __future__ import annotations

import json
from collections.abc import Sequence
from textwrap import wrap

from preplan.by_hand.options import LINE_LETTERS, one_of
from preplan.inputs.column_words import TITLES, WORDS
from preplan.inputs.district_file import CARDS_BACKUP, CARDS_PER
from preplan.inputs.table_specs import EVERY_SPEC
from preplan.render.fields import about
from preplan.rules import Rules, rule_lines

_COLUMN_LETTERS = 21
_RULE_LETTERS = 31


RESULTS = {
    "addresses.csv": "the answer for each address, a row an address, in the months that decide",
    "levels.csv": "what each response level brings, a row an address and level, in the months that decide",
    "seasons.csv": "the same for all months, a row for those that are alike",
    "trips.csv": "round trips, a row an address and fill site, in the months that decide",
    "tankers.csv": "what each tanker of a level does, a row an address, level and tanker, in the months that decide",
    "dispatch.csv": "for the dispatch centre, a row a road and range of house numbers",
    "cards.csv": "what cards say that no other table has, a row an address that has a card",
    "rejected.csv": "what was not planned, a row a fault",
    "changes.csv": "what `preplan compare --csv` writes, a row an address that changed",
}
"""Tables that are written, and what each is about. Layers of preplan.gpkg and sheets of addresses.xlsx say themselves
what their columns mean."""
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
    results = result_columns()
    tables = [*WORDS, *results] if table is None else [_named(table, (*WORDS, *results))]
    said = []
    if tables[0] in WORDS:
        said.append("* a table must have it. Other columns may be left out, and an empty cell means: not known.")
    for one in tables:
        said += ["", f"{one}: {TITLES[one] if one in WORDS else RESULTS[one]}"]
        said += _given(one) if one in WORDS else _written(one, results[one])
    return "\n".join(said).lstrip("\n")


def _named(table: str, known: Sequence[str]) -> str:
    """Find a table by its name, with or without the ending of its file."""
    plain = table.strip().casefold()
    for meant in (plain, f"{plain}.csv", plain.removesuffix(".csv")):
        if meant in known:
            return meant
    return one_of("TABLE", table, known)


def result_columns() -> dict[str, tuple[str, ...]]:
    """Give the columns of every table that is written, by its file."""
    from preplan.compare.export import CHANGE_COLUMNS  # noqa: PLC0415 - tables are slow to import
    from preplan.render import tables  # noqa: PLC0415
    from preplan.render.dispatch import DISPATCH_COLUMNS  # noqa: PLC0415

    return {
        "addresses.csv": tables.ADDRESS_COLUMNS, "levels.csv": tables.LEVEL_COLUMNS,
        "seasons.csv": tables.SEASON_COLUMNS, "trips.csv": tables.TRIP_COLUMNS, "tankers.csv": tables.HAUL_COLUMNS,
        "dispatch.csv": DISPATCH_COLUMNS, "cards.csv": tables.CARD_COLUMNS, "rejected.csv": tables.REJECTED_COLUMNS,
        "changes.csv": CHANGE_COLUMNS,
    }  # fmt: skip


def _given(table: str) -> list[str]:
    """Explain the columns of a table that people fill in."""
    lines = []
    for column, meaning in WORDS[table].items():
        mark = "*" if column in EVERY_SPEC[table].required else " "
        lines += _beside(f"{mark} {column}", meaning, _COLUMN_LETTERS)
    return lines


def _written(table: str, listed: Sequence[str]) -> list[str]:
    """Explain the columns of a table that is written; those of old and new results under one."""
    meanings, lines = about(table), list[str]()
    for column in listed:
        base, _, end = column.rpartition("_")
        if column in meanings:
            lines += _beside(f"  {column}", ". ".join(meanings[column]), _COLUMN_LETTERS)
        elif end == "old":
            lines += _beside(f"  {base}_old, {base}_new", ". ".join(meanings[base]), _COLUMN_LETTERS)
    return lines


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
