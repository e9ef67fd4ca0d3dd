"""Planted faults: exit status, message and what is still planned, each as the command line tells it."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
import typer

from preplan.cli import EXIT_INPUT, _exit_status
from preplan.inputs.reader import read_inputs
from preplan.plan_inputs import Inputs
from tests.conftest import Golden
from tests.faults.built import BUILDERS
from tests.inputs_folder import FILES, toml, write_folder

HERE = Path(__file__).parent / "faults"
FAULTS: list[dict[str, Any]] = tomllib.loads((HERE / "planted.toml").read_text(encoding="utf-8"))["fault"]
GOOD = [f"G{i}" for i in range(1, 10)]
TABLES = {
    **{role: FILES[f"{role}.csv"] for role in ("fill_sites", "stations", "apparatus")},
    "addresses": "address_id,label,lon,lat\n"
    + "".join(f"{one},{one[1]} Mill Road,-72.0{one[1]},44.001\n" for one in GOOD),
    "hydrants": "hydrant_id,lon,lat\n" + "".join(f"h{i},-72.0{i},44.001\n" for i in range(1, 9)),
    "closures": "closure_id,kind,way_id,value\nc1,closed,7,\n",
}


def planted(folder: Path, fault: dict[str, Any]) -> Path:
    """Write the district with one fault and return its district file."""
    role = fault.get("table", "addresses")
    table = TABLES[role]
    if "columns" in fault:
        further = fault["columns"].count(",") + 1
        header, *rows = table.splitlines()
        table = "\n".join([f"{header},{fault['columns']}", *(row + "," * further for row in rows)]) + "\n"
    if "row" in fault:
        table += fault["row"] + "\n"
    said = dict(fault.get("district", {}))
    mapped = said.pop("columns_addresses", "")
    if role in {"hydrants", "closures"}:
        said["files"] = f'{role} = "{role}.csv"'
    text = toml(**said) + (f"\n[columns.addresses]\n{mapped}\n" if mapped else "")
    if "built" in fault:
        text = text.replace('"addresses.csv"', f'"{BUILDERS[fault["built"]](folder)}"')
    files = {"addresses_csv": TABLES["addresses"], f"{role}_csv": fault.get("text", table)}
    if "built" in fault:
        files["addresses_csv"] = None
    return write_folder(folder, district_toml=text, **files)


def told(path: Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, str, Inputs | None]:
    """Read a district as the command line does; its exit status, its words and what was read."""
    read = None
    status = 0
    try:
        with _exit_status():
            read = read_inputs(path)
    except typer.Exit as stop:
        status = stop.exit_code
    words = capsys.readouterr().err
    if read is not None:
        words += "".join(
            f"rejected: {r.file} row {r.row}, column {r.column}: {r.value!r} {r.rule}\n" for r in read.rejected
        )
        words += "".join(f"note: {note}\n" for note in read.notes)
    return status, words, read


def test_there_are_enough_faults_and_none_twice() -> None:
    names = [fault["name"] for fault in FAULTS]
    assert len(names) == len(set(names))
    assert len(names) >= 80


def test_planted_faults(tmp_path: Path, capsys: pytest.CaptureFixture[str], golden: Golden) -> None:
    """Each fault has its exit status and leaves the rest planned; the messages are a committed text."""
    lines = []
    for i, fault in enumerate(FAULTS):
        folder = tmp_path / f"{i}"
        folder.mkdir()
        status, words, read = told(planted(folder, fault), capsys)
        name = fault["name"]
        assert status == fault["exit"], (name, words)
        assert words.strip(), name
        assert str(tmp_path) not in words, name
        ids = [] if read is None else read.addresses.address_id.tolist()
        if status == EXIT_INPUT:
            assert read is None, name
        elif "built" in fault or ("text" in fault and fault.get("table", "addresses") == "addresses"):
            assert ids == fault["planned"], name
        else:
            assert ids == sorted([*GOOD, *fault.get("planned", [])]), name
        lines.append(f"== {name}\nexit {status}\n{words}planned: {', '.join(ids) or 'nothing'}\n")
    messages = "\n".join(lines)
    assert messages == golden(HERE / "messages.txt", messages)


def test_no_planted_row_is_lost(tmp_path: Path) -> None:
    """Where a district is read, each row of addresses and hydrants is planned or rejected, never both."""
    for i, fault in enumerate(one for one in FAULTS if one["exit"] == 0):
        folder = tmp_path / f"{i}"
        folder.mkdir()
        read = read_inputs(planted(folder, fault))
        for role, table in (("addresses", read.addresses), ("hydrants", read.hydrants)):
            out = {one.row for one in read.rejected if one.file.startswith(role)}
            aside = read.left_out.get(role, 0)
            assert len(table) + len(out) + aside == read.rows.get(role, 0), fault["name"]
        assert not set(read.addresses.row.tolist()) & {
            one.row for one in read.rejected if one.file.startswith("addresses")
        }
