"""The command line: one command a job. Reads what is asked, calls the room that knows, prints the answer."""

from __future__ import annotations

import io
import json
import math
import os
import sys
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from textwrap import wrap
from typing import Annotated

import numpy as np
import typer

from preplan import __version__
from preplan.by_hand import LINE_LETTERS, HandShuttle
from preplan.errors import Finding, InputError, PreplanError
from preplan.render.words import CAUTIONS, need, number, printable
from preplan.rules import RequiredFlowRules, ShuttleRules
from preplan.water import required_flow as need_of

EXIT_FAILED, EXIT_INPUT, EXIT_STOPPED = 1, 2, 130
TRACEBACK_VARIABLE = "PREPLAN_TRACEBACK"
"""Environment variable that lets a fault of the program end in Python's own lines, for those who mend it."""
_UNTOUCHED = "Previous results are untouched"
MOST_FINDINGS = 100
"""Findings printed in full; the rest is counted."""
_RULES = ShuttleRules()
_BY_HAND = "command line"
_METHODS_BY_HAND = tuple(method for method in need_of.METHODS if method != "given")

app = typer.Typer(
    name="preplan",
    help="Water supply pre-plans for fire districts without hydrants: which fill site, how many tankers, "
    "how many gallons per minute, at every address.",
    epilog=CAUTIONS,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

DistrictFile = Annotated[Path, typer.Argument(metavar="DISTRICT.toml", help="The district file.", show_default=False)]
OutFolder = Annotated[
    Path | None,
    typer.Option("--out", metavar="DIR", help="Folder of the results. Default: outputs/<folder of the district file>."),
]


def main() -> None:
    """Run the command line; the console entry."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal without a letter prints its code instead of failing
            stream.reconfigure(errors="backslashreplace")
    app(prog_name="preplan")


def _print_version(asked: bool) -> None:
    if asked:
        typer.echo(f"preplan {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    *,
    _version: Annotated[
        bool, typer.Option("--version", help="Print the version and stop.", is_eager=True, callback=_print_version)
    ] = False,
) -> None:
    """Take the options that stand before the command."""


# --------------------------------------------------------------------------- a district


@app.command()
def build(district: DistrictFile, out: OutFolder = None) -> None:
    """Plan a district: map, cards, site cards, report and tables.

    Written whole or not at all: results of an earlier run stay until the new ones are complete.
    """
    with _exit_status(), _progress() as progress:
        from preplan.build import build_district  # noqa: PLC0415 - every room is slow to import

        built = build_district(district, out, progress)
    for line in built.summary():
        typer.echo(printable(line), err=True)
    typer.echo(f"Results in {printable(built.folder)}")


@app.command()
def check(district: DistrictFile) -> None:
    """Read a district's tables and roads and list every fault; plan nothing."""
    with _exit_status(), _progress() as progress:
        from preplan.build import check_district  # noqa: PLC0415 - every room is slow to import

        lines = check_district(district, progress)
    for line in lines:
        typer.echo(printable(line))


@app.command()
def card(
    district: DistrictFile,
    address_id: Annotated[str, typer.Argument(metavar="ADDRESS_ID", help="As in the address table.")],
    out: OutFolder = None,
) -> None:
    """Make the card of one address."""
    with _exit_status(), _progress() as progress:
        from preplan.build import one_card  # noqa: PLC0415 - every room is slow to import

        path = one_card(district, address_id, out, progress)
    typer.echo(f"Card in {printable(path)}")


@contextmanager
def _exit_status() -> Iterator[None]:
    """Turn what the program raises on purpose into a message on stderr and an exit status."""
    try:
        yield
    except InputError as error:
        for finding in error.findings[:MOST_FINDINGS]:
            typer.echo(printable(finding), err=True)
        if len(error.findings) > MOST_FINDINGS:
            typer.echo(f"and {len(error.findings) - MOST_FINDINGS} more", err=True)
        raise typer.Exit(EXIT_INPUT) from None
    except PreplanError as error:
        for line in str(error).splitlines():
            typer.echo(printable(line), err=True)
        raise typer.Exit(EXIT_FAILED) from None
    except MemoryError:
        typer.echo("memory ran out; use a smaller road file or a larger machine. " + _UNTOUCHED, err=True)
        raise typer.Exit(EXIT_FAILED) from None
    except KeyboardInterrupt:
        typer.echo("stopped; previous results are untouched", err=True)
        raise typer.Exit(EXIT_STOPPED) from None
    except Exception as error:
        if os.environ.get(TRACEBACK_VARIABLE):
            raise
        typer.echo(printable(_fault_of_ours(error)), err=True)
        raise typer.Exit(EXIT_FAILED) from None


def _fault_of_ours(error: Exception) -> str:
    """Say that the program is at fault, and where, without a page of its lines."""
    ours = [one for one in traceback.extract_tb(error.__traceback__) if "preplan" in Path(one.filename).parts]
    where = f" in {Path(ours[-1].filename).name}, line {ours[-1].lineno}" if ours else ""
    return (
        f"the program failed{where}: {type(error).__name__}: {error}. This is a fault of the program: please report it "
        f"with the district's files ({TRACEBACK_VARIABLE}=1 prints more). {_UNTOUCHED}"
    )


@contextmanager
def _progress() -> Iterator[Callable[[str, float], None]]:
    """Show stages on stderr: a bar on a terminal, one plain line a stage elsewhere."""
    if not _on_terminal():
        said: list[str] = []

        def line(stage: str, _share: float) -> None:
            if said[-1:] != [stage]:
                said.append(stage)
                typer.echo(stage, err=True)

        yield line
        return
    from rich.console import Console  # noqa: PLC0415 - only on a terminal
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn  # noqa: PLC0415

    name = TextColumn("{task.description}", markup=False)
    with Progress(name, BarColumn(), TaskProgressColumn(), TimeElapsedColumn(), console=Console(stderr=True)) as bars:
        task = bars.add_task("starting", total=1.0)
        yield lambda stage, share: bars.update(task, description=stage, completed=share)


def _on_terminal() -> bool:
    return sys.stderr.isatty()


# --------------------------------------------------------------------------- one shuttle by hand


@app.command()
def shuttle(  # noqa: PLR0913 - one argument an option
    *,
    tank: Annotated[list[float], typer.Option(metavar="GAL", help="Tank of a tanker; repeat for each.")],
    miles_out: Annotated[float | None, typer.Option(metavar="MI", help="Fill site to dump site, by road.")] = None,
    miles_back: Annotated[float | None, typer.Option(metavar="MI", help="Dump site back to fill site.")] = None,
    min_out: Annotated[float | None, typer.Option(metavar="MIN", help="The same in minutes, loaded.")] = None,
    min_back: Annotated[float | None, typer.Option(metavar="MIN", help="The way back in minutes, empty.")] = None,
    fill_gpm: Annotated[float, typer.Option(metavar="GPM", help="Rate into one tanker.")] = _RULES.fill_gpm,
    site_gpm: Annotated[
        float | None,
        typer.Option(metavar="GPM", help="What the site gives in all. Default: fill-gpm x fill-positions."),
    ] = None,
    dump_gpm: Annotated[
        float | None, typer.Option(metavar="GPM", help="Default: 1000 for tanks of 1,000 to 3,500 gal, else 500.")
    ] = None,
    fill_hookup: Annotated[
        float, typer.Option(metavar="MIN", help="Connecting and breaking at the fill site.")
    ] = _RULES.fill_hookup_min,
    fill_maneuver: Annotated[
        float, typer.Option(metavar="MIN", help="Positioning at the fill site; holds no place.")
    ] = _RULES.fill_maneuver_min,
    dump_hookup: Annotated[
        float, typer.Option(metavar="MIN", help="Opening and closing at the dump site.")
    ] = _RULES.dump_hookup_min,
    dump_maneuver: Annotated[
        float, typer.Option(metavar="MIN", help="Positioning at the dump site; holds no place.")
    ] = _RULES.dump_maneuver_min,
    fill_positions: Annotated[int, typer.Option(metavar="N", help="Tankers that can fill at once.")] = 1,
    usable: Annotated[
        float, typer.Option(metavar="SHARE", help="Share of a tank that reaches the fire.")
    ] = _RULES.usable_fraction,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, unrounded.")] = False,
) -> None:
    """Work out one tanker shuttle by hand: what it sustains, and what holds it back.

    Give the way either in miles (0.65 + 1.7 x miles minutes for each leg) or in minutes.
    """
    with _exit_status():
        _must_be({"--tank": tank, "--fill-gpm": fill_gpm, "--site-gpm": site_gpm, "--dump-gpm": dump_gpm}, above=0)
        _must_be({"--fill-hookup": fill_hookup, "--fill-maneuver": fill_maneuver}, least=0)
        _must_be({"--dump-hookup": dump_hookup, "--dump-maneuver": dump_maneuver}, least=0)
        _must_be({"--usable": usable}, above=0, most=1)
        _must_be({"--fill-positions": fill_positions}, least=1)
        trip_min = _trip_min(miles_out, miles_back, min_out, min_back)
        rules = ShuttleRules(
            fill_hookup_min=fill_hookup, fill_maneuver_min=fill_maneuver, dump_hookup_min=dump_hookup,
            dump_maneuver_min=dump_maneuver, usable_fraction=usable,
        )  # fmt: skip
        total_gpm = fill_gpm * fill_positions if site_gpm is None else site_gpm
        answer = HandShuttle(
            tank, rules, trip_min=trip_min, fill_gpm=fill_gpm, site_gpm=total_gpm, dump_gpm=dump_gpm,
            positions=fill_positions,
        )  # fmt: skip
    typer.echo(answer.json() if as_json else answer.text())


def _trip_min(
    miles_out: float | None, miles_back: float | None, min_out: float | None, min_back: float | None
) -> float:
    """Give the minutes driven in one round trip, from miles or from minutes."""
    _must_be({"--miles-out": miles_out, "--miles-back": miles_back}, least=0)
    _must_be({"--min-out": min_out, "--min-back": min_back}, least=0)
    if min_out is not None and min_back is not None and miles_out is None and miles_back is None:
        return min_out + min_back
    if miles_out is not None and miles_back is not None and min_out is None and min_back is None:
        from preplan.roads.speeds import rule_min  # noqa: PLC0415 - the roads' room is slow to import

        return float(rule_min(np.array([miles_out, miles_back])).sum())
    rule = "give --miles-out and --miles-back, or --min-out and --min-back: both of one pair and none of the other"
    raise InputError([Finding(file=_BY_HAND, rule=rule)])


def _must_be(
    values: dict[str, float | list[float] | None],
    *,
    above: float = -math.inf,
    least: float = -math.inf,
    most: float = math.inf,
) -> None:
    """Refuse numbers outside their range, all of them at once; None is not given."""
    bounds = [f"above {above:g}"] * (above > -math.inf) + [f"at least {least:g}"] * (least > -math.inf)
    bounds += [f"at most {most:g}"] * (most < math.inf)
    findings = []
    for option, value in values.items():
        for one in value if isinstance(value, list) else [value]:
            if one is not None and not (math.isfinite(one) and above < one and least <= one <= most):
                rule = f"must be {' and '.join(bounds)}"
                findings.append(Finding(file=_BY_HAND, column=option, value=f"{one:g}", rule=rule))
    if findings:
        raise InputError(findings)


# --------------------------------------------------------------------------- one building by hand


@app.command()
def demand(  # noqa: PLR0913 - one argument an option
    *,
    length: Annotated[float, typer.Option(metavar="FT", help="Length of the building.")],
    width: Annotated[float, typer.Option(metavar="FT", help="Width of the building.")],
    height: Annotated[float, typer.Option(metavar="FT", help="Height, with half of the roof above the eaves.")],
    hazard: Annotated[
        int, typer.Option(metavar="3..7", min=3, max=7, help="Occupancy hazard number: 3 severe, 7 light.")
    ] = 7,
    construction: Annotated[str, typer.Option(metavar="I..V", help="Type of construction: I to V (wood frame).")] = "V",
    exposure: Annotated[bool, typer.Option("--exposure", help="Another building stands within 50 ft.")] = False,
    dwelling: Annotated[
        bool | None,
        typer.Option(
            "--dwelling/--no-dwelling",
            help="A one- or two-family dwelling, whose construction number counts at most 1.0. "
            "Default: yes at hazard number 7.",
            show_default=False,
        ),
    ] = None,
    method: Annotated[str, typer.Option(help=f"One of {', '.join(_METHODS_BY_HAND)}.")] = "nfpa1142",
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, unrounded.")] = False,
) -> None:
    """Work out what one building needs: gallons in all, gallons per minute, and for how long."""
    with _exit_status():
        _must_be({"--length": length, "--width": width, "--height": height}, above=0)
        kind = _one_of("--construction", construction.upper(), need_of.CONSTRUCTION_TYPES)
        rules = RequiredFlowRules(method=_one_of("--method", method.lower(), _METHODS_BY_HAND))
        home = hazard == need_of.LIGHT_HAZARD if dwelling is None else dwelling
        building = need_of.one_building(
            length, width, height, hazard=hazard, construction=kind, dwelling=home, exposure=exposure
        )
        needed = need_of.required_flow(building, rules)
    gal, gpm, held = (float(a[0]) for a in (needed.required_gal, needed.required_gpm, needed.required_min))
    if as_json:
        said = {"method": rules.method, "required_gal": gal, "required_gpm": gpm, "required_min": held}
        typer.echo(json.dumps({**said, "rule": needed.rule[0]}, indent=2))
        return
    lines = [
        f"Required flow    {need(gpm)} gpm for {number(held)} min",
        f"Method's total   {need(gal)} gal",
        f"Volume           {number(building.volume_cuft[0])} ft3",
        *wrap(f"Rule             {needed.rule[0]}", LINE_LETTERS, subsequent_indent=" " * 17),
        *wrap(CAUTIONS, LINE_LETTERS),
    ]
    typer.echo("\n".join(lines))


def _one_of(option: str, value: str, known: tuple[str, ...]) -> str:
    """Refuse a word that is not known."""
    if value not in known:
        rule = f"must be one of {', '.join(known)}"
        raise InputError([Finding(file=_BY_HAND, column=option, value=value, rule=rule)])
    return value
