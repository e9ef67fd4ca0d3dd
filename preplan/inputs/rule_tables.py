"""Rules of the district file: any field of the rule classes by its name, checked by its own default and limit."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import Field, fields
from typing import Any

from preplan.inputs import cells
from preplan.inputs.toml_document import Document, KeyPath
from preplan.records import ALL_MONTHS
from preplan.rules import Rules

RULE_TABLES: Mapping[str, type[Any]] = {
    group.name: group.default_factory  # type: ignore[misc]
    for group in fields(Rules)
}
"""Rule class of each table of the district file."""
WORDS: Mapping[tuple[str, str], Sequence[str]] = {
    ("roads", "travel"): ("network", "rule"),
    ("roads", "bare_weight"): ("stricter", "tonnes", "short tons"),
    ("required_flow", "method"): ("nfpa1142", "iso", "nfa", "iowa", "given"),
}
"""Words a rule may take, where it is a word."""
FAR = 10.0
"""How many times as much or as little as the program's own number is asked about (this program's choice)."""
BY_METHOD = "method"
"""`required_min` may be this word instead of a number."""
_SHARES = ("_fraction", "_share", "_gain")
"""Endings of rules that are shares of one, so that 90 for 90 % is a fault."""


def rule_names(table: str) -> tuple[str, ...]:
    """List the rules of one table of the district file."""
    return tuple(one.name for one in fields(RULE_TABLES[table]))


def rule_homes() -> dict[str, str]:
    """Give the table of each rule whose name stands in one table only."""
    names = [(name, table) for table in RULE_TABLES for name in rule_names(table)]
    every = [name for name, _ in names]
    return {name: table for name, table in names if every.count(name) == 1}


def read_rules(document: Document) -> Rules:
    """Read every rule table; a rule at fault keeps its default and is among the document's findings."""
    groups = {}
    for table, kind in RULE_TABLES.items():
        said = document.table(table)
        given = {
            one.name: _rule(document, (table, one.name), one, said[one.name])
            for one in fields(kind)
            if one.name in said
        }
        groups[table] = kind(**given)
    rules = Rules(**groups)
    _check_together(document, rules)
    return rules


def _check_together(document: Document, rules: Rules) -> None:
    """Find rules that leave no water: pressure that the pump has not, or a tank that is dead water alone."""
    shuttle = rules.shuttle
    for name, other in (("supply_residual_psi", "supply_psi"), ("dead_water_fraction", "tank_room_fraction")):
        value, most = getattr(shuttle, name), getattr(shuttle, other)
        if value >= most:
            named = name if name in document.table("shuttle") else other
            rule = f"leaves no water: {name} ({value:g}) must be below {other} ({most:g})"
            document.fault(("shuttle", named), rule, value=getattr(shuttle, named))


def _rule(document: Document, path: KeyPath, rule: Field[Any], value: object) -> Any:
    """Read one rule by the type of its default."""
    default = rule.default
    table, name = str(path[0]), rule.name
    if name == "required_min" and isinstance(value, str):
        if value != BY_METHOD:
            expected, remedy = f'must be a number, or "{BY_METHOD}"', "write a number without quotes or unit"
            document.fault(path, expected, value=value, remedy=remedy)
        return BY_METHOD
    if isinstance(default, bool):
        return document.truth(path, value, default=default)
    if isinstance(default, str):
        return document.word(path, value, WORDS[table, name], default)
    if isinstance(default, frozenset):
        return _months(document, path, value)
    if isinstance(default, tuple):
        return _steps(document, path, value, default)
    # every quantity of the rules is a size, a rate or a time: none is below zero
    low = rule.metadata["low"] or 0.0
    high = rule.metadata["high"] or (1.0 if name.endswith(_SHARES) else None)
    whole = isinstance(default, int)
    number = document.number(path, value, low=low, high=high, whole=whole, unit=rule.metadata["unit"])
    if number is None:
        return default
    _ask_if_odd(document, path, number, rule)
    return int(number) if whole else float(number)


def _ask_if_odd(document: Document, path: KeyPath, number: float, rule: Field[Any]) -> None:
    """Ask about a number that is possible and far from the program's own: seconds for minutes, a digit too many."""
    own, unit = rule.default, rule.metadata["unit"]
    if not isinstance(own, int | float) or not own or not number or own / FAR < number < own * FAR:
        return
    doubt = f"is a digit{' or the unit' * bool(unit)} wrong"
    doubt = "are these seconds" if unit == "min" and number > own else doubt
    asked = f"is far from the program's own {f'{own:,g} {unit}'.rstrip()}: {doubt}? It is taken as it is."
    document.ask(path, number, asked)


def _months(document: Document, path: KeyPath, value: object) -> frozenset[int]:
    """Read months as a text such as '4-11' or as a list of numbers."""
    months = None
    if isinstance(value, str):
        months = cells.months(value)
    elif isinstance(value, list) and value and all(type(one) is int and one in ALL_MONTHS for one in value):
        months = frozenset(value)
    if months is None:
        document.fault(path, cells.MONTHS_EXPECTED + " (or a list of numbers)", value=value)
        return ALL_MONTHS
    return months


def _steps(
    document: Document, path: KeyPath, value: object, default: tuple[tuple[float, float], ...]
) -> tuple[tuple[float, float], ...]:
    """Read pairs of distance and most flow, distances rising."""
    pairs: list[Any] = value if isinstance(value, list) and value else [None]
    good = all(
        isinstance(pair, list)
        and len(pair) == 2
        and all(
            isinstance(one, int | float) and not isinstance(one, bool) and 0.0 <= one < float("inf") for one in pair
        )
        for pair in pairs
    )
    steps = tuple((float(pair[0]), float(pair[1])) for pair in pairs) if good else ()
    if not good or any(after[0] <= before[0] for before, after in itertools.pairwise(steps)):
        document.fault(
            path, "must be pairs [ft, gpm] with rising distances, such as [[300, 1000], [600, 670]]", value=value
        )
        return default
    return steps
