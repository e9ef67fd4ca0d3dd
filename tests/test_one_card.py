"""`preplan card`: the card's file is named after its address, and an id that no row has is refused at once."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from preplan.cli import EXIT_INPUT, app
from tests.faults.small import SmallDistrict, write_small_district


def card(district: Path, address_id: str) -> Result:
    return CliRunner().invoke(app, ["card", str(district), address_id, "--out", str(district.parent.parent / "out")])


@pytest.mark.parametrize(
    ("address_id", "asked", "name"),
    [
        ("G1", " G1 ", "card-G1.pdf"),
        ("12-B.4_x", "12-B.4_x", "card-12-B.4_x.pdf"),
        ("12 Mill/Rd", "12 Mill/Rd", "card-row-2.pdf"),
        ("..", "..", "card-row-2.pdf"),
        ("G" * 300, "G" * 300, "card-row-2.pdf"),
    ],
)
def test_a_card_is_named_after_its_address(tmp_path: Path, address_id: str, asked: str, name: str) -> None:
    """Where the id is no name that every system takes, after the row; blanks around what is asked do not count."""
    one = SmallDistrict()
    table = str(one.files["addresses.csv"])
    assert table.splitlines()[1].startswith("G1,")
    one.files["addresses.csv"] = table.replace("\nG1,", f"\n{address_id},", 1)
    result = card(one.write(tmp_path / "mine"), asked)
    assert result.exit_code == 0, result.stderr
    assert [path.name for path in (tmp_path / "out").iterdir()] == [name]
    assert result.stdout == f"Card in {tmp_path / 'out' / name}\n"


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("g1x", "addresses, column address_id: 'g1x' is no address_id that is planned; did you mean G1"),
        ("?", "'?' is no address_id that is planned; see the column address_id of your table"),
        ("BAD", "addresses.csv row 2 (BAD), column lon: 'west' is not a number"),
    ],
)
def test_an_id_that_is_not_planned_is_refused_before_the_roads_are_read(tmp_path: Path, asked: str, said: str) -> None:
    """With the ids that come near, or with what is wrong with its row."""
    one = SmallDistrict()
    header, *rows = str(one.files["addresses.csv"]).splitlines()
    bad = ["BAD" if name == "address_id" else "west" if name == "lon" else "1" for name in header.split(",")]
    one.files["addresses.csv"] = "\n".join([header, ",".join(bad), *rows])
    result = card(one.write(tmp_path / "mine"), asked)
    assert result.exit_code == EXIT_INPUT
    assert said in result.stderr
    assert "reading roads" not in result.stderr
    assert not (tmp_path / "out").exists()


def test_the_small_district_has_the_card(tmp_path: Path) -> None:
    """It is a page of its own, like any result."""
    assert card(write_small_district(tmp_path / "mine"), "G1").exit_code == 0
    assert (tmp_path / "out" / "card-G1.pdf").read_bytes().startswith(b"%PDF")
