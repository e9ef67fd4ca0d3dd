"""`preplan compare`: which addresses changed between two results of a district, and why."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from preplan.by_hand.options import as_json, must_be, option, refused, switch, written
from preplan.compare.steps import FLOW_STEP_GPM, MINUTES_STEP, Steps

if TYPE_CHECKING:
    from preplan.compare.results import Results

EXAMPLES = """Examples: keep the results that are in the trucks, build again, and compare.

\b
  cp -r outputs/millrace outputs/printed-2026-05-01
  preplan build data_samples/millrace/district.toml
  preplan compare outputs/printed-2026-05-01 outputs/millrace --csv changes.csv
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """The arguments and options."""

    old: Annotated[
        Path, typer.Argument(metavar="OLD_DIR", help="Results of the earlier `preplan build`.", show_default=False)
    ]
    new: Annotated[
        Path,
        typer.Argument(metavar="NEW_DIR", help="Results of the later one.", show_default=False),
    ]
    gpm: Annotated[float, typer.Option(metavar="GPM", help="Flows that differ by less leave an address unchanged.")] = (
        FLOW_STEP_GPM
    )
    minutes: Annotated[
        float, typer.Option(metavar="MIN", help="Minutes that differ by less leave an address unchanged.")
    ] = MINUTES_STEP
    all: Annotated[bool, switch("--all", "Print every address; else the first of each group, and how many more.")] = (
        False
    )
    csv: Annotated[
        Path | None,
        option("FILE", "Write a table: one row a changed address, with all that differs and every cause."),
    ] = None
    json: Annotated[bool, switch("--json", "Print JSON: all of it.")] = False


def compare(asked: Compared) -> str:
    """Compare two results of a district: which addresses changed, for better or worse, and why.

    Addresses are matched by address_id. Those whose answer is worse come first (served, each higher response level, not
    met, no route; or as before: not met with a tenth of the need less held, no route in more months), then those that
    are better, those with the same answer and other instructions (fill site, backup, second fill site, units, call-by
    minute, way, warnings), those with other numbers alone, and those that are new or gone. Causes are what the files of
    both results tell; where they tell none, it says so. Nothing is planned, no roads are read, and the results stay as
    they are. Exit status 0 whether or not anything changed.
    """
    must_be({"--gpm": asked.gpm, "--minutes": asked.minutes}, least=0)
    from preplan.compare import export, report  # noqa: PLC0415 - tables are slow to import
    from preplan.compare.comparison import compare as held_together  # noqa: PLC0415
    from preplan.compare.results import read_pair  # noqa: PLC0415

    old, new = read_pair(asked.old, asked.new)
    found = held_together(old, new, Steps(gpm=asked.gpm, min=asked.minutes))
    if asked.csv is not None:
        _write(asked.csv, export.changes_csv(found), (old, new))
    if asked.json:
        return as_json(export.as_answer(found))
    return report.text(found, None if asked.all else report.LISTED)


def _write(path: Path, content: bytes, both: tuple[Results, Results]) -> None:
    """Write the table, but over none of the results' own files."""
    from preplan.write import RUN_FILE, write_file  # noqa: PLC0415 - only here

    if not path.parent.exists():
        raise refused("--csv", "lies in a folder that is not there; make it first", str(path))
    for one in both:
        if path.parent.samefile(one.folder) and path.name in {RUN_FILE, *one.run["files"]}:
            raise refused("--csv", "is a file of the results; choose another name", str(path))
    header = content.partition(b"\n")[0]
    if path.exists() and (not path.is_file() or not path.read_bytes().startswith(header)):
        raise refused("--csv", "is there, and no table of changes; choose another name", str(path))
    write_file(path, content, "--csv")
    written(path)
