"""What `preplan check` says of addresses that can be planned but may be wrong, and its verdict at the end."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from preplan.cli import app
from preplan.inputs.reader import read_inputs
from preplan.planning.occupancies import guessed_use
from tests.faults.small import SmallDistrict

TABLE = "addresses.csv"


def check(one: SmallDistrict, folder: Path) -> str:
    result = CliRunner().invoke(app, ["check", str(one.write(folder))])
    assert result.exit_code == 0, result.stderr
    return result.stdout


def test_addresses_that_join_no_road_are_counted_and_the_farthest_is_named(tmp_path: Path) -> None:
    """A wrong digit of a longitude, 0.7 degrees: 35 miles at 44 degrees north, by hand 0.7 x 69.17 x cos 44."""
    plain = check(SmallDistrict(), tmp_path / "plain")
    assert "no route for them" not in plain
    one = SmallDistrict()
    one.files[TABLE] = str(one.files[TABLE]).replace("\nG2,2 Mill Road,-72.02,", "\nG2,2 Mill Road,-72.72,")
    said = check(one, tmp_path / "off")
    assert "note: addresses: 1 of 9 lie over 1,320 ft from any road for tankers: no route for them" in said
    (miles,) = [float(part.rsplit(", ", 1)[1]) for part in said.split(" mi off")[:1]]
    assert miles == pytest.approx((0.72 - 0.09) * 69.17 * np.cos(np.radians(44.0)), rel=0.02)
    assert "the farthest is G2 (row 3)" in said
    assert "no row is at fault" in said


@pytest.mark.parametrize(("method", "told"), [("given", True), ("nfpa1142", False)])
def test_rows_that_give_no_flow_where_the_table_is_to_give_it_are_counted(
    tmp_path: Path, method: str, *, told: bool
) -> None:
    """A column that was forgotten became 500 gpm for everybody, without a word."""
    one = replace(SmallDistrict(), toml=f'{SmallDistrict().toml}\n[required_flow]\nmethod = "{method}"\n')
    said = check(one, tmp_path)
    assert ("9 of 9 rows give no required_gpm: 500 gpm is taken for each" in said) == told


@pytest.mark.parametrize(("north_deg", "told"), [(0.0005, False), (0.002, True)])
def test_a_fill_site_far_from_its_road_is_told(tmp_path: Path, north_deg: float, *, told: bool) -> None:
    """Tankers are taken to fill in the road: at 180 ft nothing is said, at 729 ft it is (364,600 ft a degree north)."""
    one = SmallDistrict()
    one.files["fill_sites.csv"] = str(one.files["fill_sites.csv"]).replace("-72.0,44.0,", f"-72.0,{44.0 + north_deg},")
    said = check(one, tmp_path)
    assert (
        "lies 729 ft from where tankers are taken to fill, in the nearest road for them but a bridge" in said
    ) == told
    assert ("fill_sites.csv row 2 (S1), column lon, lat" in said) == told


@pytest.mark.parametrize(("hazard", "told"), [("", True), ("4", False)])
def test_words_for_an_occupancy_that_nobody_knows_are_named(tmp_path: Path, hazard: str, *, told: bool) -> None:
    """A dwelling is the lightest hazard: a farm under a county's code would get too little water without a word."""
    one = SmallDistrict()
    header, *rows = str(one.files[TABLE]).splitlines()
    codes = ["A117", "A117", "EDU", "", "farm", *["dwelling"] * (len(rows) - 5)]
    rows = [f"{row},{code},{hazard}" for row, code in zip(rows, codes, strict=True)]
    one.files[TABLE] = "\n".join([f"{header},occupancy,occupancy_hazard", *rows])
    said = check(one, tmp_path / "mine")
    note = "column occupancy: 3 rows in words not known here, so that a dwelling, the lightest hazard, was taken"
    assert (f"{note}: 'A117' (2), 'EDU' (1). Write farm" in said) == told
    assert ("column occupancy: 1 row says nothing of what stands there, so that a dwelling" in said) == told
    guessed = guessed_use(read_inputs(tmp_path / "mine" / "district.toml").addresses, "nfpa1142")
    assert guessed.tolist() == ([True] * 4 if told else [False] * 4) + [False] * (len(rows) - 4)


def test_an_address_far_from_its_street_is_asked_about(tmp_path: Path) -> None:
    """Its place is in reach of another road, so that a route would be planned to where it is not."""
    one = SmallDistrict()
    assert "far from all others" not in check(one, tmp_path / "plain")
    header, *rows = str(one.files[TABLE]).splitlines()
    assert header.startswith("address_id,label,lon,lat")
    lon, lat = rows[0].split(",")[2:4]
    away = [f"Z{i},{i} Vanished Lane,{lon},{float(lat) + i / 1e5:.5f}" for i in (1, 3, 5)]
    there = f"Z7,7 Vanished Lane,{rows[-1].split(',')[2]},{float(lat) + 0.02:.5f}"
    wide = header.count(",") - 3
    one.files[TABLE] = "\n".join([header, *rows, *(row + "," * wide for row in (*away, there))])
    said = check(one, tmp_path / "mine")
    assert f"Z7 (row {len(rows) + 5}, '7 Vanished Lane') 4.2 mi: is their place wrong" in said
    assert "Z1 (row" not in said


def test_the_verdict_counts_rows_at_fault_not_faults(tmp_path: Path) -> None:
    one = SmallDistrict()
    one.files[TABLE] = str(one.files[TABLE]).replace(",30,25,20\n", ",thirty,25,tall\n", 1)
    said = check(one, tmp_path / "mine").splitlines()
    assert said[-1] == "1 row is at fault and would not be planned: mend, and check again"


def test_a_level_that_asks_for_more_than_there_is_says_so(tmp_path: Path) -> None:
    """Three engines and three tankers are in service: level 2 takes them all."""
    one = SmallDistrict()
    assert "asks for" not in check(one, tmp_path / "plain")
    one.toml = one.toml.replace("tankers = 3", "tankers = 40")
    said = check(one, tmp_path / "mine")
    assert "note: response_levels: Level 2 asks for 40 tankers, and the apparatus table has 3 in service" in said


def test_a_pumper_tanker_is_counted_once(tmp_path: Path) -> None:
    """Of six units, one may be an engine or a tanker: four of each cannot all come."""
    one = SmallDistrict()
    one.files["apparatus.csv"] = str(one.files["apparatus.csv"]).replace("E3,H1,engine,", "E3,H1,pumper-tanker,")
    one.toml = one.toml.replace("engines = 3\ntankers = 3", "engines = 3\ntankers = 4")
    assert "Level 2 asks for 7 units, and the apparatus table has 6 in service" in check(one, tmp_path / "mine")


@pytest.mark.parametrize("method", ["nfa", "iowa", "given"])
def test_methods_that_ask_for_no_hazard_say_nothing_of_words(tmp_path: Path, method: str) -> None:
    one = SmallDistrict()
    header, *rows = str(one.files[TABLE]).splitlines()
    one.files[TABLE] = "\n".join([f"{header},occupancy", *(f"{row},A117" for row in rows)])
    one.toml += f'\n[required_flow]\nmethod = "{method}"\n'
    assert "in words not known" not in check(one, tmp_path / "mine")
    one.toml = one.toml.replace(f'"{method}"', '"iso"')
    assert "9 rows in words not known" in check(one, tmp_path / "other")
