"""What the commands by hand share: how options are checked, and how answers are written."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import MISSING, dataclass, fields
from difflib import get_close_matches
from inspect import Parameter, Signature
from pathlib import Path
from textwrap import wrap
from types import NoneType, UnionType
from typing import Annotated, Any, TypeVar, get_args, get_origin, get_type_hints

import typer

from preplan.errors import Finding, InputError
from preplan.render.words import CAUTIONS, printable

BY_HAND = "command line"
"""Stands for the file in a finding about an option."""
LINE_LETTERS = 100
"""Longer lines of text are wrapped."""
_LABEL_LETTERS = 17
_MOST: Mapping[str, float] = {
    "gpm": 1e5, "gal": 1e9, "ft": 1e5, "mi": 500.0, "min": 7.0 * 24.0 * 60.0, "psi": 1000.0, "in": 60.0, "n": 1000.0,
}  # fmt: skip
"""Largest number of each unit that anybody can mean (common sense, no source); an option may allow less."""
_UNITS = {"share": "fraction"}
"""Units that an option calls otherwise than a column's name does."""

Given = float | Sequence[float] | None
"""The number or numbers of an option; None: not given."""


def must_be(
    values: Mapping[str, Given], *, above: float = -math.inf, least: float = -math.inf, most: float = math.inf
) -> None:
    """Refuse numbers outside their range, all of them at once; None is not given.

    Raises
    ------
    InputError
        With the option, the value and the rule of each that is refused.
    """
    bounds = [f"above {above:g}"] * (above > -math.inf) + [f"at least {least:g}"] * (least > -math.inf)
    bounds += [f"at most {most:g}"] * (most < math.inf)
    rule = f"must be {' and '.join(bounds)}" if bounds else "must be a number"
    findings = [
        Finding(file=BY_HAND, column=name, value=f"{one:g}", rule=rule)
        for name, value in values.items()
        for one in (value if isinstance(value, Sequence) else [value])
        if one is not None and not (math.isfinite(one) and above < one and least <= one <= most)
    ]
    if findings:
        raise InputError(findings)


def one_of(option: str, value: str, known: Iterable[str]) -> str:
    """Refuse a word that is not known.

    Raises
    ------
    InputError
        With the words that are, and the one that is nearest to it.
    """
    words = tuple(known)
    if value not in words:
        near = get_close_matches(value.casefold(), words, n=1)
        meant = f"did you mean {near[0]}?" if near else ""
        raise refused(option, f"must be one of {', '.join(words)}", value, meant)
    return value


def written(path: Path) -> None:
    """Say which file was written, beside the answer, which may go into another program."""
    typer.echo(f"Written: {printable(str(path))}", err=True)


def refused(option: str, rule: str, value: str = "", remedy: str = "") -> InputError:
    """Make the error for one option."""
    return InputError([Finding(file=BY_HAND, column=option, value=value, rule=rule, remedy=remedy)])


def as_json(answer: Mapping[str, object]) -> str:
    """Write an answer for other programs, unrounded; what is not known or endless is null."""
    return json.dumps(_known(answer), indent=2, allow_nan=False)


def _known(value: object) -> object:
    if isinstance(value, Mapping):
        return {str(key): _known(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_known(one) for one in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def labelled(label: str, said: str) -> list[str]:
    """Write a label and what is said about it, wrapped beside the label.

    >>> labelled("Gap", "none")
    ['Gap              none']
    """
    return wrap(f"{label:<{_LABEL_LETTERS}}{said}", LINE_LETTERS, subsequent_indent=" " * _LABEL_LETTERS)


def table(head: Sequence[str], rows: Sequence[Sequence[str]], left: int = 1) -> list[str]:
    """Write rows under a head, each column as wide as it must be; the first `left` columns begin at the left.

    >>> table(("size", "psi"), (("3 in", "12"), ("2 x 3 in", "3")))
    ['size      psi', '3 in       12', '2 x 3 in    3']
    """
    widths = [max(map(len, column)) for column in zip(head, *rows, strict=True)]
    return [
        "  ".join(
            f"{cell:<{width}}" if at < left else f"{cell:>{width}}"
            for at, (cell, width) in enumerate(zip(line, widths, strict=True))
        ).rstrip()
        for line in (head, *rows)
    ]


def cautions() -> list[str]:
    """Give the cautions that close every answer in words."""
    return wrap(CAUTIONS, LINE_LETTERS)


# --------------------------------------------------------------------------- options as fields


def option(metavar: str, text: str, *names: str) -> typer.models.OptionInfo:
    """Describe an option whose default is told in its text."""
    made: typer.models.OptionInfo = typer.Option(*names, metavar=metavar, help=text, show_default=False)
    return made


def switch(name: str, text: str) -> typer.models.OptionInfo:
    """Describe an option that is given or not."""
    made: typer.models.OptionInfo = typer.Option(name, help=text)
    return made


def option_name(field_name: str) -> str:
    """Give the option of a field.

    >>> option_name("fill_gpm")
    '--fill-gpm'
    """
    return "--" + field_name.replace("_", "-")


Asked = TypeVar("Asked")


def command(asked: type[Asked], job: Callable[[Asked], str]) -> Callable[..., str]:
    """Make a command out of a dataclass whose fields are its options and the job that answers it.

    Numbers reach the command as texts and are read here, as the tables read them: with thousands marks and units.
    """
    hints = get_type_hints(asked, include_extras=True)
    listed = fields(asked)  # type: ignore[arg-type]  # a class made by `dataclass`, which has no name as a type
    kinds = {one.name: kind for one in listed if (kind := _kind_of(hints[one.name]))}

    def run(**given: object) -> str:
        return job(asked(**_numbers(given, kinds)))

    parameters = []
    for one in listed:
        hint, default = hints[one.name], Parameter.empty if one.default is MISSING else one.default
        if one.name in kinds:
            hint = kinds[one.name].as_text
            default = str(default) if isinstance(default, int | float) else default
        parameters.append(Parameter(one.name, Parameter.KEYWORD_ONLY, annotation=hint, default=default))
    run.__signature__ = Signature(parameters)  # type: ignore[attr-defined]
    run.__annotations__ = {one.name: one.annotation for one in parameters}
    run.__doc__, run.__name__ = job.__doc__, job.__name__
    return run


# --------------------------------------------------------------------------- numbers of options


@dataclass(frozen=True, slots=True)
class _Kind:
    """How the number or numbers of an option are read."""

    whole: bool
    unit: str
    """As it ends a column's name, '' for none."""
    as_text: object
    """What stands in the place of the field's type."""


def _kind_of(hint: object) -> _Kind | None:
    """Find how an option's field is read; None where it is no number."""
    said, about = get_args(hint)
    parts = [one for one in (get_args(said) if get_origin(said) is UnionType else (said,)) if one is not NoneType]
    many = get_origin(parts[0]) is list
    number = get_args(parts[0])[0] if many else parts[0]
    if number not in {int, float}:
        return None
    text: object = list[str] if many else str
    if said is not parts[0]:
        text |= None  # type: ignore[operator]  # a type, which its name as an object does not say
    unit = str(about.metavar).lower()
    return _Kind(number is int, _UNITS.get(unit, unit), Annotated[text, about])


def _numbers(given: Mapping[str, object], kinds: Mapping[str, _Kind]) -> dict[str, Any]:
    """Read the numbers among the options given, and refuse all those at once that are none.

    Raises
    ------
    InputError
        With the option, the value and the rule of each.
    """
    findings: list[Finding] = []

    def read(name: str, text: str) -> float:
        value, rule = _read(text, kinds[name])
        if rule:
            findings.append(Finding(file=BY_HAND, column=option_name(name), value=text, rule=rule))
        return value

    numbers: dict[str, Any] = dict(given)
    for name, value in given.items():
        if name in kinds and value is not None:
            numbers[name] = [read(name, one) for one in value] if isinstance(value, list) else read(name, str(value))
    if findings:
        raise InputError(findings)
    return numbers


def _read(text: str, kind: _Kind) -> tuple[float, str]:
    """Read a number as a table's cell is read, and say what is wrong with it, '' for nothing."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        from preplan.inputs.cells import number  # noqa: PLC0415 - the tables' room is slow to import
        from preplan.inputs.units_written import expected  # noqa: PLC0415

        value = number(text.strip(), kind.unit)
        if math.isnan(value):
            return value, expected(text, kind.unit)
    if abs(value) > _MOST.get(kind.unit, math.inf):
        return value, f"must be at most {_MOST[kind.unit]:,.10g}"
    if not kind.whole:
        return value, ""
    return (int(value), "") if value % 1 == 0 else (value, "must be a whole number")
