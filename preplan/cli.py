"""The command line: one command a job. Reads what is asked, calls the room that knows, prints the answer."""

from __future__ import annotations

import io
import os
import sys
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import wraps
from json import dumps
from pathlib import Path
from typing import Annotated, Any, NoReturn

import typer
from typer.core import TyperCommand, TyperOption

from preplan import __version__
from preplan.by_hand import compare_command, demand, draft_command, lay_command, relay_command, shuttle_command
from preplan.by_hand.options import Asked, command, option, switch
from preplan.errors import EXIT_STOPPED, STOPPED, InputError, PlaceError, PreplanError
from preplan.render.words import CAUTIONS, printable

EXIT_FAILED, EXIT_INPUT = 1, 2
TRACEBACK_VARIABLE = "PREPLAN_TRACEBACK"
"""Environment variable that lets a fault of the program end in Python's own lines, for those who mend it."""
_UNTOUCHED = "Previous results are untouched"
MOST_FINDINGS = 100
"""Findings printed in full; the rest is counted."""
DRILL_EXAMPLES = """Example, with the log of the sample district:

\b
  preplan drill data_samples/millrace/district.toml data_samples/millrace/drill.csv

The log is a table with the columns unit_id, event, time, and perhaps gallons and place; `preplan columns drill_log`
says what may stand in them. Four events will do: at fill site, full, at dump site, empty.
"""

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


class _Once(TyperCommand):
    """A command that takes an option once, unless it is a list: the library would take the last in silence."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Refuse an option that is given again, whose first value would be lost."""
        _, _, given = self.make_parser(ctx).parse_args(args=list(args))
        for one, times in Counter(given).items():
            if not isinstance(one, TyperOption) or one.multiple:
                continue
            if times > 1 and (one.secondary_opts or not one.is_flag):
                either = " or ".join((max(one.opts, key=len), *one.secondary_opts))
                ctx.fail(f"{either} is given {times} times: give it once")
        return super().parse_args(ctx, args)


def main() -> None:
    """Run the command line; the console entry."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal without a letter prints its code instead of failing
            stream.reconfigure(errors="backslashreplace")
    try:
        app(prog_name="preplan")
    except OSError as error:  # what else the system refuses is told by the rooms: this is of the output
        if os.environ.get(TRACEBACK_VARIABLE):
            raise
        _output_lost(error)


def _output_lost(error: OSError) -> NoReturn:
    """Say that what was to be printed is lost, and keep Python from trying it again, and saying so, at its end."""
    with suppress(OSError):  # it may be stderr that cannot be written
        typer.echo(f"cannot write the output: {error.strerror or error}", err=True)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        os.dup2(nowhere, stream.fileno())
    sys.exit(EXIT_FAILED)


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


@app.command(cls=_Once)
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


@app.command(cls=_Once, short_help="List every fault of a district's tables and roads.")
def check(district: DistrictFile) -> None:
    """Read a district's tables and roads and list every fault; plan nothing."""
    with _exit_status(), _progress() as progress:
        from preplan.build import check_district  # noqa: PLC0415 - every room is slow to import

        lines = check_district(district, progress)
    for line in lines:
        typer.echo(printable(line))


@app.command(cls=_Once, short_help="Make the card of one address.")
def card(
    district: DistrictFile,
    address_id: Annotated[
        str, typer.Argument(metavar="ADDRESS_ID", help="As in the address table, or the whole label in quotes.")
    ],
    out: OutFolder = None,
) -> None:
    """Make the card of one address, and behind it the way over its backup."""
    with _exit_status(), _progress() as progress:
        from preplan.build import one_card  # noqa: PLC0415 - every room is slow to import

        path, whose = one_card(district, address_id, out, progress)
    typer.echo(f"Card of {printable(whose)}: {printable(path)}")


@app.command(cls=_Once, epilog=DRILL_EXAMPLES, short_help="Hold a tanker drill's log against the plan.")
def drill(
    district: DistrictFile,
    log: Annotated[Path, typer.Argument(metavar="LOG", help="What was timed: CSV or XLSX.", show_default=False)],
    site: Annotated[str, option("SITE_ID", "Where tankers filled, for rows that name no place.")] = "",
    address: Annotated[str, option("ADDRESS_ID", "Where they dumped, for rows that name no place.")] = "",
    *,
    json: Annotated[bool, switch("--json", "Print JSON, unrounded.")] = False,
) -> None:
    """Hold a tanker drill's log against the plan: measured beside predicted, and your own handling times."""
    with _exit_status(), _progress() as progress:
        from preplan.build import drill_district  # noqa: PLC0415 - every room is slow to import
        from preplan.by_hand.drill import HandDrill  # noqa: PLC0415 - the same

        answer = HandDrill(*drill_district(district, log, site, address, progress))
        said = answer.json() if json else answer.text()
    typer.echo(said)


@app.command(cls=_Once, short_help="Find where new fill sites help most.")
def sites(
    district: DistrictFile,
    new: Annotated[int, typer.Option("--new", metavar="K", help="How many new fill sites at most: 1 to 20.")],
    candidates: Annotated[
        Path | None,
        typer.Option(
            "--candidates",
            metavar="FILE",
            help="Table of places where one could be built, with the columns of the fill sites. Default: the table "
            "that the district file names as candidates, else where mapped water is near a road for tankers.",
        ),
    ] = None,
    count: Annotated[
        str,
        typer.Option(
            "--count",
            metavar="addresses|gpm",
            help="Bring most addresses up to the requirement, or most required flow.",
        ),
    ] = "addresses",
    level: Annotated[
        str, typer.Option("--level", metavar="NAME", help="Response level that shall meet, or one below. Default: any.")
    ] = "",
    json: Annotated[bool, typer.Option("--json", help="Print JSON, unrounded.")] = False,
) -> None:
    """Find where new fill sites help most, and plan the district again with them; writes nothing."""
    with _exit_status(), _progress() as progress:
        from preplan import new_sites  # noqa: PLC0415 - every room is slow to import

        answer = new_sites.new_sites(district, new, progress, table=candidates, counted=count, level=level)
    if json:
        typer.echo(dumps(new_sites.as_record(answer), indent=2))
        return
    for line in new_sites.as_text(answer):
        typer.echo(printable(line))


@app.command(cls=_Once, short_help="Say what the columns of the tables mean.")
def columns(
    table: Annotated[
        str | None,
        typer.Argument(
            metavar="[TABLE]",
            help="addresses, fill_sites and so on, or a table of the results: dispatch.csv. Default: all.",
        ),
    ] = None,
) -> None:
    """Say what the columns of the tables mean, yours and those of the results, with units and choices."""
    with _exit_status():
        from preplan.by_hand import columns_command  # noqa: PLC0415 - the tables' room is slow to import

        said = columns_command.columns(table)
    typer.echo(said)


@app.command(cls=_Once, short_help="List every rule that the district file may set.")
def rules() -> None:
    """List every rule that the district file may set: name, value, unit and meaning."""
    from preplan.by_hand import columns_command  # noqa: PLC0415 - the tables' room is slow to import

    typer.echo(columns_command.rules())


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
        raise typer.Exit(EXIT_INPUT if isinstance(error, PlaceError) else EXIT_FAILED) from None
    except MemoryError:
        typer.echo("memory ran out; use a smaller road file or a larger machine. " + _UNTOUCHED, err=True)
        raise typer.Exit(EXIT_FAILED) from None
    except KeyboardInterrupt:
        typer.echo(STOPPED, err=True)
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


# --------------------------------------------------------------------------- by hand


def _by_hand(asked: type[Asked], job: Callable[[Asked], str]) -> Callable[..., None]:
    """Make a command out of a question that needs no district: its options, and the job that answers them."""
    answer = command(asked, job)

    @wraps(answer)
    def run(**given: object) -> None:
        with _exit_status():
            said = answer(**given)
        typer.echo(said)

    return run


app.command(cls=_Once, epilog=compare_command.EXAMPLES, short_help="Compare two results of a district.")(
    _by_hand(compare_command.Compared, compare_command.compare)
)
app.command(cls=_Once, epilog=shuttle_command.EXAMPLES, short_help="Work out one tanker shuttle by hand.")(
    _by_hand(shuttle_command.MinuteByMinute, shuttle_command.shuttle)
)
app.command(cls=_Once, short_help="Work out what one building needs.")(_by_hand(demand.Building, demand.demand))

hydraulics = typer.Typer(
    help="Work out one hose lay, draft, transfer or relay by hand.", epilog=CAUTIONS, no_args_is_help=True,
    rich_markup_mode=None,
)  # fmt: skip
app.add_typer(hydraulics, name="hydraulics")
hydraulics.command(cls=_Once, epilog=lay_command.EXAMPLES, short_help="Work out one hose lay.")(
    _by_hand(lay_command.LayAsked, lay_command.lay)
)
hydraulics.command(cls=_Once, epilog=draft_command.DRAFT_EXAMPLES, short_help="Work out what a pump drafts.")(
    _by_hand(draft_command.DraftAsked, draft_command.draft)
)
hydraulics.command(
    cls=_Once, epilog=draft_command.TRANSFER_EXAMPLES, short_help="Work out a transfer between portable tanks."
)(_by_hand(draft_command.TransferAsked, draft_command.transfer))
hydraulics.command(cls=_Once, epilog=relay_command.EXAMPLES, short_help="Work out a relay of engines.")(
    _by_hand(relay_command.RelayAsked, relay_command.relay)
)
