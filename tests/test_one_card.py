"""`preplan card`: the card's file is named after its address, and an id that no row has is refused at once."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from preplan.cli import EXIT_INPUT, app
from preplan.errors import InputError
from preplan.inputs.asked_address import asked_address
from tests.faults.small import SmallDistrict, write_small_district
from tests.pdf_words import words_of
from tests.test_inputs_addresses import addresses


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
    label = "1 Mill Road"
    assert result.stdout == f"Card of {address_id}, {label}: {tmp_path / 'out' / name}\n"


def test_cards_of_ids_that_differ_in_capitals_alone_are_two_files(tmp_path: Path) -> None:
    """Many a disk takes both names for one, and the second card would replace the first."""
    one = SmallDistrict()
    one.files["addresses.csv"] = str(one.files["addresses.csv"]).replace("\nG2,", "\ng1,", 1)
    district = one.write(tmp_path / "mine")
    assert [card(district, asked).exit_code for asked in ("G1", "g1")] == [0, 0]
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["card-row-2.pdf", "card-row-3.pdf"]


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (
            "g1x",
            "'g1x' is no address_id that is planned, nor the label of one address; did you mean G1",
        ),
        (
            "?",
            "nor the label of one address; see the column address_id of your table",
        ),
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


HEADER = "id,label,lon,lat"
ROWS = (
    "A1|9 Pond Road, rear|-72|44", "A2|9 Pond Road|-72|44", "A3|12 Pond Road|-72|44", "A4|Old Mill|-72|44",
    "A5|Old Mill|-72|44",
)  # fmt: skip


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("A3", "A3"),
        ("12 pond  road", "A3"),
        ("9 Pond Road rear", "A1"),
        ("9 POND ROAD", "A2"),
        ("12 Pond Rd.", "A3"),
        ("a3", "A3"),
    ],
)
def test_an_address_is_found_by_its_id_or_its_whole_label(said: str, meant: str) -> None:
    table, _ = addresses(HEADER, *ROWS)
    assert asked_address(table, (), said) == meant


@pytest.mark.parametrize(
    ("said", "offered"),
    [
        ("Old Mill", "did you mean A4 (Old Mill) or A5 (Old Mill)?"),  # two of one label: nobody guesses
        ("12 Ponds Road", "did you mean A3 (12 Pond Road)?"),
        ("Road", "did you mean A1 (9 Pond Road, rear) or A2 (9 Pond Road) or A3 (12 Pond Road)?"),
        ("a33", "did you mean A3 (12 Pond Road)"),
        ("12 Pon Road", "did you mean A3 (12 Pond Road)?"),  # no word of a name is shortened
        ("Elsewhere 7", "see the column address_id of your table"),
    ],
)
def test_what_is_no_address_is_refused_with_those_that_come_near(said: str, offered: str) -> None:
    table, _ = addresses(HEADER, *ROWS)
    with pytest.raises(InputError, match=re.escape(offered)):
        asked_address(table, (), said)


def test_a_build_says_which_cards_are_of_an_earlier_plan(tmp_path: Path) -> None:
    """They stay, since no set of results lists them, and would pass for new."""
    mine = write_small_district(tmp_path / "mine")
    for one in ("G1", "G2"):
        assert card(mine, one).exit_code == 0
    built = CliRunner().invoke(app, ["build", str(mine), "--out", str(tmp_path / "out")])
    assert built.exit_code == 0, built.stderr
    said = built.stdout + built.stderr
    assert "card-G1.pdf and 1 other: of an earlier plan; make again with `preplan card`" in said
    assert (tmp_path / "out" / "card-G2.pdf").is_file()


def test_the_card_of_one_address_has_its_own_figures_and_no_neighbours(tmp_path: Path) -> None:
    """In the set its neighbours along Mill Road share a card, whose figures are those of the weakest of them."""
    mine = write_small_district(tmp_path / "mine")
    assert card(mine, "G4").exit_code == 0
    said = words_of((tmp_path / "out" / "card-G4.pdf").read_bytes())
    assert "4 Mill Road" in said
    assert "addresses; figures are for the weakest" not in said
    built = CliRunner().invoke(app, ["build", str(mine), "--out", str(tmp_path / "out")])
    assert built.exit_code == 0
    every = words_of((tmp_path / "out" / "cards.pdf").read_bytes())
    assert "addresses; figures are for the weakest" in every
