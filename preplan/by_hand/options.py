"""What the commands by hand share: how options are checked, and how answers are written."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import MISSING, fields
from inspect import Parameter, Signature
from textwrap import wrap
from typing import TypeVar, get_type_hints

import typer

from preplan.errors import Finding, InputError
from preplan.render.words import CAUTIONS

BY_HAND = "command line"
"""Stands for the file in a finding about an option."""
LINE_LETTERS = 100
"""Longer lines of text are wrapped."""
_LABEL_LETTERS = 17

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
    """Refuse a word that is not known."""
    words = tuple(known)
    if value not in words:
        raise refused(option, f"must be one of {', '.join(words)}", value)
    return value


def refused(option: str, rule: str, value: str = "") -> InputError:
    """Make the error for one option."""
    return InputError([Finding(file=BY_HAND, column=option, value=value, rule=rule)])


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
    """Make a command out of a dataclass whose fields are its options and the job that answers it."""
    hints = get_type_hints(asked, include_extras=True)
    listed = fields(asked)  # type: ignore[arg-type]  # a class made by `dataclass`, which has no name as a type

    def run(**given: object) -> str:
        return job(asked(**given))

    parameters = [
        Parameter(
            one.name, Parameter.KEYWORD_ONLY, annotation=hints[one.name],
            default=Parameter.empty if one.default is MISSING else one.default,
        )
        for one in listed
    ]  # fmt: skip
    run.__signature__ = Signature(parameters)  # type: ignore[attr-defined]
    run.__annotations__ = {one.name: hints[one.name] for one in listed}
    run.__doc__, run.__name__ = job.__doc__, job.__name__
    return run
