"""`preplan columns`, `preplan rules` and the README's example: what a newcomer needs before the first run."""

from __future__ import annotations

import csv
import io
import re
import shutil
import tomllib
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from preplan import build
from preplan.by_hand.columns_command import RESULTS, result_columns
from preplan.cli import app
from preplan.compare.export import CHANGE_COLUMNS
from preplan.inputs import cells
from preplan.inputs.address_headers import NUMBER_PARTS, STREET_PARTS, UNIT_PARTS
from preplan.inputs.column_words import TITLES, WORDS
from preplan.inputs.district_file import KEYS
from preplan.inputs.reader import read_inputs
from preplan.inputs.table_specs import SPECS
from preplan.plan import Plan
from preplan.render.card_table import cards_csv
from preplan.render.fields import OWN, about
from preplan.render.tables import hauls_csv, rejected_csv
from preplan.rules import District, Rules
from tests.example_plan import example_plan
from tests.faults.small import SmallDistrict
from tests.inputs_folder import sheet_of
from tests.test_tables import WRITERS

HOME = Path(__file__).resolve().parents[1]
UNSAID = {"geometry", *NUMBER_PARTS, *STREET_PARTS, *UNIT_PARTS}
"""Columns that come with map layers and address data, and that nobody fills in by hand."""


def run(*words: str) -> tuple[int, str]:
    result = CliRunner().invoke(app, list(words))
    return result.exit_code, result.output


@pytest.mark.parametrize("table", SPECS)
def test_every_column_is_explained(table: str) -> None:
    """With a mark where a table must have it."""
    assert set(SPECS[table].names) - UNSAID <= set(WORDS[table])
    status, text = run("columns", table)
    assert status == 0
    assert f"{table}: {TITLES[table]}" in text
    for column in set(SPECS[table].names) - UNSAID:
        mark = r"\*" if column in SPECS[table].required else " "
        assert re.search(rf"^{mark} {column}\s", text, re.MULTILINE), column
    assert max(map(len, text.splitlines())) <= 100
    assert text in run("columns")[1] or table != "addresses"


WRITTEN: dict[str, Callable[[Plan], bytes]] = {
    **{f"{name}.csv": writer for name, writer in WRITERS.items()},
    "tankers.csv": hauls_csv, "cards.csv": cards_csv, "rejected.csv": lambda _plan: rejected_csv(()),
}  # fmt: skip


def test_every_table_that_is_written_is_explained() -> None:
    """And so is the table that `preplan compare` writes; a table explained is one that is written."""
    tables = {name for name in build.RESULTS if name.endswith(".csv")}
    assert tables == set(WRITTEN)
    assert {*tables, "changes.csv"} == set(result_columns()) == set(RESULTS)
    assert set(OWN) <= set(RESULTS)


@pytest.mark.parametrize("file", WRITTEN)
def test_every_column_that_is_written_is_explained(file: str) -> None:
    """In its order, with its unit, and none besides."""
    head = next(csv.reader(io.StringIO(WRITTEN[file](example_plan()).decode())))
    status, text = run("columns", file)
    assert status == 0
    assert re.findall(r"^  (\w+)(?: |$)", text, re.MULTILINE) == head
    assert set(OWN.get(file, ())) <= set(head), "a meaning for no column"
    for column in head:
        title, meaning = about(file)[column]
        unit = column.rpartition("_")[2]
        assert unit not in {"gpm", "gal", "min", "mi", "ft", "lb"} or f"({unit})" in title, column
        assert meaning.endswith("."), column
    assert max(map(len, text.splitlines()[1:])) <= 100


def test_the_table_of_changes_explains_old_and_new_together() -> None:
    text = run("columns", "changes.csv")[1]
    for column in CHANGE_COLUMNS:
        assert re.search(rf"^  (?:\w+, )?{column}\b", text, re.MULTILINE), column
    plain = {column.removesuffix("_old").removesuffix("_new") for column in CHANGE_COLUMNS}
    assert set(OWN["changes.csv"]) <= plain, "a meaning for no column"


@pytest.mark.parametrize(("said", "meant"), [("trips", "trips.csv"), ("Fill_Sites.csv", "fill_sites")])
def test_a_table_is_found_with_and_without_its_ending(said: str, meant: str) -> None:
    assert run("columns", said) == run("columns", meant)
    assert run("columns", "addresses") != run("columns", "addresses.csv"), "one is filled in, the other written"


def test_an_unknown_table_is_refused_with_those_known() -> None:
    status, text = run("columns", "pumps")
    assert status == 2
    assert "'pumps' must be one of addresses, fill_sites" in text


def test_every_rule_is_listed_under_its_table() -> None:
    status, text = run("rules")
    assert status == 0
    for group in fields(Rules):
        part = text.partition(f"[{group.name}]\n")[2].partition("\n[")[0]
        for rule in fields(getattr(Rules(), group.name)):
            assert re.search(rf"^{rule.name} = .*(\n +)?# \S", part, re.MULTILINE), rule.name
    assert max(map(len, text.splitlines())) <= 100


def test_the_list_of_rules_is_a_district_file_s_own_tables(tmp_path: Path) -> None:
    """Pasted whole, it changes nothing; it has every key of the tables that are no rules too."""
    text = run("rules")[1]
    said = tomllib.loads(text)
    for table in ("cards", "map"):
        assert tuple(said[table]) == KEYS[table]
    shutil.copytree(HOME / "data_samples" / "millrace", tmp_path / "mine")
    file = tmp_path / "mine" / "district.toml"
    head = file.read_text(encoding="utf-8").partition("[roads]")[0]
    levels = '[[response_levels]]\nname = "Level 1"\nengines = 3\ntankers = 3\n'
    with_roads = text.replace("[roads]\n", '[roads]\nfile = "roads.osm.gz"\n')
    file.write_text(f"{head}\n{with_roads}\n{levels}", encoding="utf-8")
    district = read_inputs(file).district
    assert district.rules == Rules()
    plain = District(name="", date="", levels=())
    assert (district.cards_per, district.cards_backup, district.tiles) == (
        plain.cards_per, plain.cards_backup, plain.tiles,
    )  # fmt: skip


@pytest.mark.parametrize(("said", "staffed"), [("volunteer", 0.0), ("Career", 1.0), ("paid on call", 0.0), ("", None)])
def test_staffed_may_be_said_in_the_trade_s_words(said: str, staffed: float | None) -> None:
    """The README says volunteer, so a table may."""
    sheet = sheet_of("stations", "station_id,name,lon,lat,staffed", [["S1", "House", "-72", "44", said]])
    (value,) = sheet.yes_no("staffed", cells.STAFFED).tolist()
    assert np.isnan(value) if staffed is None else value == staffed
    assert not sheet.faults


def test_the_readme_s_example_can_be_copied_over_the_sample_s_tables(tmp_path: Path) -> None:
    """It is the first thing that a newcomer tries."""
    shutil.copytree(HOME / "data_samples" / "millrace", tmp_path / "mine")
    readme = (HOME / "README.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"```toml\n(.*?)```", readme, re.DOTALL)
    (tmp_path / "mine" / "district.toml").write_text(example, encoding="utf-8")
    inputs = read_inputs(tmp_path / "mine" / "district.toml")
    assert inputs.district.name == "Millrace Fire District"
    assert not inputs.rejected


def test_roads_without_a_date_ask_for_one(tmp_path: Path) -> None:
    """The pages' date comes from the district file or from the roads; where neither has one, check says so."""
    one = SmallDistrict()
    one.files["roads.osm"] = one.xml().replace('timestamp="2026-04-30T00:00:00Z"', "")
    assert "under [district]" not in run("check", str(one.write(tmp_path / "dated")))[1]
    one.toml = one.toml.replace("date = 2026-05-01\n", "")
    assert "of unknown date; write date = ... under [district]" in run("check", str(one.write(tmp_path / "undated")))[1]
